//! Elastic alignment of two contours: which point of one answers which point
//! of the other, and how far apart they are.
//!
//! Two readings are added. One compares height functions (see `heights`) by
//! dynamic programming from the most promising starting points, on the contour
//! as it is and on its mirror image: it does not know how a piece is turned.
//! The other compares the places of the points, and the way the contour runs
//! there, the way the piece stands: an upturned bowl is no dome.

use super::{
    contour::{Contour, PLACE, POINTS},
    heights::{BANDS, Heights, heights},
    path::{COLUMNS, Costs, DRIFT, Skip, best, pairs},
};

/// How far, in points, a standing piece may be turned (5 points are 18 degrees).
const TURN: usize = 5;

const SKIP_HEIGHTS: Skip = Skip {
    share: 0.5,
    fixed: 0.05,
};
const SKIP_PLACES: Skip = Skip {
    share: 1.0,
    fixed: 0.0,
};

/// Medians between photos of unrelated pieces, so that each reading is 1 there.
const UNRELATED_HEIGHTS: f32 = 0.169;
const UNRELATED_PLACES: f32 = 0.3;

/// Two contours laid upon each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Alignment {
    /// How far apart they are; 1 is the usual distance between unrelated pieces.
    pub distance: f32,
    /// Whether the first was mirrored to fit.
    pub mirrored: bool,
    /// The points that answer each other, once round.
    pub pairs: Vec<Pair>,
}

/// Two points that answer each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// On the contour the aligner was made of, or on its mirror image.
    pub first: [f32; 2],
    /// On the other contour.
    pub second: [f32; 2],
    /// How much the contours differ there; 1 is usual between unrelated pieces.
    pub difference: f32,
}

/// One contour made ready to be aligned with many. Keeps its working memory, so
/// that a pair allocates nothing.
#[derive(Clone, Debug)]
pub struct Aligner {
    sides: [Side; 2],
    costs: Box<Costs>,
    standing: f32,
}

/// One way to see the first contour.
#[derive(Clone, Debug)]
struct Side {
    points: [[f32; 2]; POINTS],
    heights: Table<BANDS>,
    places: Table<PLACE>,
}

/// Descriptors by band, each three times round, so that every shift of a row is
/// contiguous.
type Table<const D: usize> = Box<[[f32; 3 * POINTS]; D]>;

/// Columns worked on at a time; they stay in registers.
const LANES: usize = 20;

impl Aligner {
    /// `standing`: how much the places count beside the heights (1 for photos of
    /// pieces as they stand, little where a piece may be turned any way).
    pub fn new(contour: &Contour, standing: f32) -> Self {
        let side = |contour: &Contour| Side {
            points: *contour.points(),
            heights: table(&heights(contour.points())),
            places: table(&contour.places()),
        };
        Self {
            sides: [side(contour), side(&contour.mirrored())],
            costs: vec![[0.0; COLUMNS]; POINTS]
                .into_boxed_slice()
                .try_into()
                .unwrap_or_else(|_| unreachable!("as many rows as points")),
            standing,
        }
    }

    /// How far another contour is; 1 is the usual distance between unrelated
    /// pieces.
    pub fn distance(&mut self, other: &Contour) -> f32 {
        let heights = heights(other.points());
        let places = other.places();
        let mut least = [f32::INFINITY; 2];
        for side in &self.sides {
            let of_heights = by_heights(side, &heights, &mut self.costs).0;
            let of_places = by_places(side, &places, &mut self.costs).0;
            least = [least[0].min(of_heights), least[1].min(of_places)];
        }
        self.joined(least)
    }

    /// The same with the points that answer each other: by their places where
    /// those count as much as the heights, else by their heights.
    pub fn align(&mut self, other: &Contour) -> Alignment {
        let distance = self.distance(other);
        let (mirrored, pairs) = if self.standing >= 1.0 {
            let places = other.places();
            let each = [0, 1].map(|i| by_places(&self.sides[i], &places, &mut self.costs));
            let (mirrored, start) = chosen(each);
            fill(
                &mut self.costs,
                &places,
                &self.sides[usize::from(mirrored)].places,
            );
            (
                mirrored,
                pairs(&self.costs, start, SKIP_PLACES, UNRELATED_PLACES),
            )
        } else {
            let heights = heights(other.points());
            let each = [0, 1].map(|i| by_heights(&self.sides[i], &heights, &mut self.costs));
            let (mirrored, start) = chosen(each);
            fill(
                &mut self.costs,
                &heights,
                &self.sides[usize::from(mirrored)].heights,
            );
            (
                mirrored,
                pairs(&self.costs, start, SKIP_HEIGHTS, UNRELATED_HEIGHTS),
            )
        };
        let first = &self.sides[usize::from(mirrored)].points;
        let pair = |(i, j, difference): (usize, usize, f32)| Pair {
            first: first[i],
            second: other.points()[j],
            difference,
        };
        Alignment {
            distance,
            mirrored,
            pairs: pairs.into_iter().map(pair).collect(),
        }
    }

    fn joined(&self, [heights, places]: [f32; 2]) -> f32 {
        (heights / UNRELATED_HEIGHTS + self.standing * places / UNRELATED_PLACES)
            / (1.0 + self.standing)
    }
}

/// Whether the mirror image is to be taken, and its start: only where it fits
/// clearly better, for most pieces are nearly their own.
fn chosen([plain, mirrored]: [(f32, usize); 2]) -> (bool, usize) {
    if mirrored.0 < 0.95 * plain.0 {
        (true, mirrored.1)
    } else {
        (false, plain.1)
    }
}

/// Height functions aligned from the most promising starts: distance and start.
fn by_heights(side: &Side, heights: &Heights, costs: &mut Costs) -> (f32, usize) {
    fill(costs, heights, &side.heights);
    best(costs, SKIP_HEIGHTS, |_| true)
}

/// Places aligned from starts that turn the piece little.
fn by_places(side: &Side, places: &[[f32; PLACE]; POINTS], costs: &mut Costs) -> (f32, usize) {
    fill(costs, places, &side.places);
    best(costs, SKIP_PLACES, |start| {
        start.min(POINTS - start) <= TURN
    })
}

fn table<const D: usize>(rows: &[[f32; D]; POINTS]) -> Table<D> {
    let mut table = vec![[0.0; 3 * POINTS]; D];
    for (d, row) in table.iter_mut().enumerate() {
        for (i, v) in row.iter_mut().enumerate() {
            *v = rows[i % POINTS][d];
        }
    }
    table
        .into_boxed_slice()
        .try_into()
        .unwrap_or_else(|_| unreachable!("as many bands as asked for"))
}

/// Sums of absolute differences between each row and each shift of the table.
fn fill<const D: usize>(costs: &mut Costs, rows: &[[f32; D]; POINTS], table: &Table<D>) {
    for (i, (costs, row)) in costs.iter_mut().zip(rows).enumerate() {
        for lanes in (0..POINTS).step_by(LANES) {
            let from = POINTS + i + lanes;
            let mut sums = [0.0f32; LANES];
            for (v, band) in row.iter().zip(table.iter()) {
                if let Some(band) = band[from..].first_chunk::<LANES>() {
                    for (sum, b) in sums.iter_mut().zip(band) {
                        *sum += (v - b).abs();
                    }
                }
            }
            costs[DRIFT + lanes..][..LANES].copy_from_slice(&sums);
        }
        costs.copy_within(POINTS..POINTS + DRIFT, 0);
        costs.copy_within(DRIFT..2 * DRIFT, POINTS + DRIFT);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outline::{Outline, resample};

    /// A lopsided contour: three waves of different size round a circle.
    fn blob(turn: f64, scale: f64, shift: [f64; 2], mirror: bool, start: usize) -> Outline {
        const N: usize = 400;
        let mut outer: Vec<[f32; 2]> = (0..N)
            .map(|i| {
                let t = (i + start) as f64 / N as f64 * std::f64::consts::TAU;
                let r = 1.0 + 0.3 * (2.0 * t).cos() + 0.2 * (3.0 * t + 0.7).sin() + 0.1 * t.sin();
                let (x, y) = (r * (t + turn).cos(), -r * (t + turn).sin());
                let x = if mirror { -x } else { x };
                [(scale * x + shift[0]) as f32, (scale * y + shift[1]) as f32]
            })
            .collect();
        if mirror {
            outer.reverse();
        }
        Outline {
            outer,
            holes: Vec::new(),
        }
    }

    fn contour(outline: &Outline) -> Contour {
        Contour::new(outline).unwrap()
    }

    fn rectangle(width: f32, height: f32) -> Contour {
        contour(&Outline {
            outer: vec![[0.0, 0.0], [0.0, height], [width, height], [width, 0.0]],
            holes: Vec::new(),
        })
    }

    #[test]
    fn place_size_start_and_mirror_make_no_difference_standing() {
        let plain = contour(&blob(0.0, 100.0, [0.0; 2], false, 0));
        let mut aligner = Aligner::new(&plain, 1.0);
        let far = aligner.distance(&rectangle(3.0, 1.0));
        for other in [
            blob(0.0, 730.0, [1000.0, -50.0], false, 0),
            blob(0.0, 100.0, [0.0; 2], false, 137),
            blob(0.0, 31.0, [7.0, 9.0], true, 211),
        ] {
            let near = aligner.distance(&contour(&other));
            assert!(near < 0.03 && near < far / 20.0, "{near} {far}");
        }
    }

    #[test]
    fn turning_makes_no_difference_but_to_a_standing_piece() {
        let plain = contour(&blob(0.0, 100.0, [0.0; 2], false, 0));
        for degrees in [40.0f64, 90.0, 161.0, 180.0, 293.0] {
            let turned = contour(&blob(degrees.to_radians(), 100.0, [0.0; 2], false, 0));
            let free = Aligner::new(&plain, 0.0).distance(&turned);
            let standing = Aligner::new(&plain, 1.0).distance(&turned);
            // The points lie up to half a step elsewhere; unrelated pieces are 1 apart.
            assert!(free < 0.2, "{degrees}: {free}");
            assert!(
                standing > 0.3 && standing > 1.5 * free,
                "{degrees}: {standing}"
            );
        }
    }

    #[test]
    fn alignment_pairs_every_point_and_lays_equal_contours_on_each_other() {
        let plain = contour(&blob(0.0, 100.0, [0.0; 2], false, 0));
        let mirrored = contour(&blob(0.0, 100.0, [0.0; 2], true, 0));
        for standing in [0.0, 1.0] {
            let found = Aligner::new(&plain, standing).align(&mirrored);
            assert!(found.mirrored && found.distance < 0.03);
            assert!(found.pairs.len() >= POINTS);
            for pair in &found.pairs {
                let apart = (pair.first[0] - pair.second[0]).hypot(pair.first[1] - pair.second[1]);
                assert!(apart < 0.08, "{pair:?}");
            }
            for point in mirrored.points() {
                assert!(found.pairs.iter().any(|pair| pair.second == *point));
            }
        }
    }

    #[test]
    fn where_two_outlines_part_is_where_the_difference_is() {
        let whole = Outline {
            outer: resample(&blob(0.0, 100.0, [0.0; 2], false, 0).outer, 400),
            holes: Vec::new(),
        };
        let mut dented = whole.clone();
        for p in &mut dented.outer[30..70] {
            *p = [p[0] * 0.6, p[1] * 0.6];
        }
        let found = Aligner::new(&contour(&whole), 0.0).align(&contour(&dented));
        let worst = found
            .pairs
            .iter()
            .max_by(|a, b| a.difference.total_cmp(&b.difference))
            .unwrap();
        let [x, y] = worst.second;
        // Points 30 to 70 of 400 lie to the upper right.
        assert!(x > 0.0 && y < 0.2, "{worst:?}");
    }
}
