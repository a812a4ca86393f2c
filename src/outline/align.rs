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
};

/// How far, in points, the alignment may drift from an even walk.
const DRIFT: usize = 10;
/// Width of the band in which paths run.
const BAND: usize = 2 * DRIFT + 1;
/// Starting points from which height functions are aligned.
const STARTS: usize = 4;
/// Starting points nearer to each other than this lead to the same path.
const APART: usize = 3;
/// How far, in points, a standing piece may be turned (5 points are 18 degrees).
const TURN: usize = 5;

/// What a step costs that moves on one contour only: this share of the
/// difference there, and this much.
#[derive(Clone, Copy)]
struct Skip {
    share: f32,
    fixed: f32,
}
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

/// Columns of the costs: all shifts, with the band's width to spare.
const COLUMNS: usize = POINTS + 2 * DRIFT;

/// `costs[i][s]`: how much point `i` of the second contour differs from point
/// `i + s - DRIFT` of the first.
type Costs = [[f32; COLUMNS]; POINTS];

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

    /// The same with the points that answer each other by their heights.
    pub fn align(&mut self, other: &Contour) -> Alignment {
        let distance = self.distance(other);
        let heights = heights(other.points());
        let each = [0, 1].map(|i| by_heights(&self.sides[i], &heights, &mut self.costs));
        let mirrored = each[1].0 < each[0].0;
        let start = each[usize::from(mirrored)].1;
        let side = &self.sides[usize::from(mirrored)];
        fill::<BANDS>(&mut self.costs, &heights, &side.heights);
        let mut steps = Box::new([[0u8; BAND]; POINTS]);
        path(&self.costs, start, SKIP_HEIGHTS, Some(&mut steps));
        let (mut i, mut k) = (POINTS - 1, DRIFT);
        let mut pairs = Vec::with_capacity(2 * POINTS);
        loop {
            pairs.push(Pair {
                first: side.points[(i + start + k + POINTS - DRIFT) % POINTS],
                second: other.points()[i],
                difference: self.costs[i][start + k] / UNRELATED_HEIGHTS,
            });
            match steps[i][k] {
                FIRST => k -= 1,
                SECOND => (i, k) = (i - 1, k + 1),
                _ if i == 0 => break,
                _ => i -= 1,
            }
        }
        pairs.reverse();
        Alignment {
            distance,
            mirrored,
            pairs,
        }
    }

    fn joined(&self, [heights, places]: [f32; 2]) -> f32 {
        (heights / UNRELATED_HEIGHTS + self.standing * places / UNRELATED_PLACES)
            / (1.0 + self.standing)
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

/// The cheapest path from the most promising starts that `allowed` lets pass,
/// over the number of points, and its start.
fn best(costs: &Costs, skip: Skip, allowed: impl Fn(usize) -> bool) -> (f32, usize) {
    // What an even walk from each start would cost.
    let mut even = [0.0f32; POINTS];
    for row in costs {
        for (sum, cost) in even.iter_mut().zip(&row[DRIFT..]) {
            *sum += cost;
        }
    }
    for (start, sum) in even.iter_mut().enumerate() {
        if !allowed(start) {
            *sum = f32::INFINITY;
        }
    }
    let mut least = (f32::INFINITY, 0);
    for _ in 0..STARTS {
        let start = (0..POINTS)
            .min_by(|a, b| even[*a].total_cmp(&even[*b]))
            .unwrap_or(0);
        if even[start].is_infinite() {
            break;
        }
        let cost = path(costs, start, skip, None) / POINTS as f32;
        if cost < least.0 {
            least = (cost, start);
        }
        for near in POINTS + start - APART..=POINTS + start + APART {
            even[near % POINTS] = f32::INFINITY;
        }
    }
    least
}

/// A step of a path: on both contours, on the first alone, on the second alone.
const BOTH: u8 = 0;
const FIRST: u8 = 1;
const SECOND: u8 = 2;

/// Cost of the cheapest closed path from `start` within the band; `steps` keeps
/// how each of its cells is reached.
fn path(
    costs: &Costs,
    start: usize,
    skip: Skip,
    mut steps: Option<&mut [[u8; BAND]; POINTS]>,
) -> f32 {
    let mut before = [f32::INFINITY; BAND + 1];
    before[DRIFT] = 0.0;
    for (i, row) in costs.iter().enumerate() {
        let row = &row[start..start + BAND];
        let mut now = [f32::INFINITY; BAND + 1];
        let mut left = f32::INFINITY;
        for k in 0..BAND {
            let cost = row[k];
            let alone = skip.share * cost + skip.fixed;
            let both = before[k] + cost;
            // Nothing comes before the first point.
            let second = if i > 0 {
                before[k + 1] + alone
            } else {
                f32::INFINITY
            };
            let first = left + alone;
            left = both.min(second).min(first);
            now[k] = left;
            if let Some(steps) = &mut steps {
                steps[i][k] = if left == both {
                    BOTH
                } else if left == second {
                    SECOND
                } else {
                    FIRST
                };
            }
        }
        before = now;
    }
    before[DRIFT]
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

    /// The recurrence written down plainly, from every cell's own definition,
    /// without a band: the banded path may cost no less, and the same where the
    /// band holds the best.
    fn plain(costs: &[Vec<f64>], skip: Skip) -> f64 {
        let n = costs.len();
        let mut total = vec![vec![f64::INFINITY; n]; n];
        for i in 0..n {
            for j in 0..n {
                let alone = f64::from(skip.share) * costs[i][j] + f64::from(skip.fixed);
                let both = match (i, j) {
                    (0, 0) => 0.0,
                    (0, _) | (_, 0) => f64::INFINITY,
                    _ => total[i - 1][j - 1],
                } + costs[i][j];
                let up = if i > 0 {
                    total[i - 1][j]
                } else {
                    f64::INFINITY
                } + alone;
                let left = if j > 0 {
                    total[i][j - 1]
                } else {
                    f64::INFINITY
                } + alone;
                total[i][j] = both.min(up).min(left);
            }
        }
        total[n - 1][n - 1]
    }

    #[test]
    fn the_banded_path_is_the_path_of_the_plain_recurrence() {
        let mut seed = 7u64;
        let mut random = || {
            seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1);
            (seed >> 40) as f32 / (1u64 << 24) as f32
        };
        for skip in [SKIP_HEIGHTS, SKIP_PLACES] {
            for start in [0usize, 1, 50, 99] {
                let mut costs = vec![[0.0f32; COLUMNS]; POINTS];
                // Dear away from the even walk, so that the best stays in the band.
                let matrix: Vec<Vec<f64>> = (0..POINTS)
                    .map(|i| {
                        (0..POINTS)
                            .map(|j| f64::from(random()) + 0.3 * i.abs_diff(j) as f64)
                            .collect()
                    })
                    .collect();
                for (i, row) in costs.iter_mut().enumerate() {
                    for k in 0..BAND {
                        let j = (i + k + POINTS - DRIFT) % POINTS;
                        // Over the seam there is no path.
                        let inside = (i + k >= DRIFT) && (i + k < POINTS + DRIFT);
                        row[start + k] = if inside { matrix[i][j] as f32 } else { 1e6 };
                    }
                }
                let costs: Box<Costs> = costs.into_boxed_slice().try_into().unwrap();
                let found = f64::from(path(&costs, start, skip, None));
                let truth = plain(&matrix, skip);
                assert!((found - truth).abs() < 1e-3, "{found} {truth}");
            }
        }
    }

    #[test]
    fn alignment_pairs_every_point_and_lays_equal_contours_on_each_other() {
        let plain = contour(&blob(0.0, 100.0, [0.0; 2], false, 0));
        let mirrored = contour(&blob(0.0, 100.0, [0.0; 2], true, 0));
        let found = Aligner::new(&plain, 1.0).align(&mirrored);
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
