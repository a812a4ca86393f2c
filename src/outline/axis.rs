//! The axis of symmetry of a vessel seen from the side.
//!
//! Handle and spout break the symmetry, often over most of the height, so the
//! axis is the one on which most of the contour *agrees*, not a mean of all.
//! Two votes (after Hough; common practice, no source): for each lean the
//! middles of the rows are counted in a narrow window, which proposes a place;
//! then the contour is mirrored about it, and the points that land on the
//! contour again are counted. The second vote hears the flat rim and foot too,
//! without which a round body could lean any way.

use super::{Outline, edges, resample, rows::Rows};

/// Greatest lean looked for, degrees.
const MOST_LEAN_DEG: i32 = 20;
/// Rows of the search.
const ROWS: f64 = 120.0;
/// Points of the thinned outline, and every how many of them the search uses while
/// the axis is only roughly known and afterwards.
const POINTS: usize = 600;
const ROUGHLY: usize = 4;
const FINELY: usize = 2;
/// Points of the outline whose rows are cut while the axis is only roughly known.
const ROUGH_POINTS: usize = 200;
/// A row agrees with an axis within this share of the greatest width.
const AGREE: f64 = 0.008;
/// A mirrored point agrees within this share of the outline's size.
const LANDS: f64 = 0.012;
/// Vote lost for each degree of lean: what is alike from all sides (a ball)
/// counts as upright.
const UPRIGHT_PER_DEG: f64 = 0.002;

/// An axis of symmetry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axis {
    /// Lean, radians, clockwise as seen.
    pub lean_rad: f64,
    /// Place in the upright frame (see [`Rows`]), pixels.
    pub x_px: f64,
    /// Share of the contour that lands on the contour when mirrored, 0 to 1.
    pub support: f64,
    /// Spread of the middles of the rows that agree (root mean square), as a
    /// share of the greatest half-width.
    pub residual: f64,
}

/// The axis on which most of the contour agrees. `None` for an outline without
/// extent.
pub fn find(outline: &Outline) -> Option<Axis> {
    let bounds = outline.bounds();
    let (width, height) = (f64::from(bounds.width()), f64::from(bounds.height()));
    if !(width > 0.0 && height > 0.0 && width.is_finite() && height.is_finite()) {
        return None;
    }
    let thin = outline.thinned(ROUGH_POINTS);
    let pivot = [
        f64::from(bounds.left + bounds.right) / 2.0,
        f64::from(bounds.top + bounds.bottom) / 2.0,
    ];
    let field = Field::new(outline, pivot);
    let points: Vec<[f32; 2]> = resample(&outline.outer, POINTS)
        .into_iter()
        .map(|p| field.in_cells(p.map(f64::from)).map(|c| c as f32))
        .collect();
    let size = width.max(height);
    // Of every `nth` point.
    let landed = |deg: f64, off: f64, reach: f64, nth: usize| {
        let mirror = field.mirror(deg.to_radians(), off);
        let per_reach = (field.cell / reach) as f32;
        let land = |p: &[f32; 2]| {
            let off = field.at(mirror.of(*p)) * per_reach;
            (1.0 - off * off).max(0.0)
        };
        // Chunks, since a strided iterator is slow.
        let sum: f32 = points.chunks(nth).map(|some| land(&some[0])).sum();
        let share = f64::from(sum) / points.len().div_ceil(nth) as f64;
        share * (1.0 - UPRIGHT_PER_DEG * deg.abs())
    };
    let reach = LANDS * size;
    let mut best = (f64::NEG_INFINITY, 0.0, 0.0);
    for deg in (-MOST_LEAN_DEG..=MOST_LEAN_DEG).map(f64::from) {
        let rows = Rows::cut(&thin, deg.to_radians(), height / ROWS);
        let off = count(&rows, 2.0 * AGREE).x_px - pivot[0];
        let score = landed(deg, off, 2.0 * reach, ROUGHLY);
        if score > best.0 {
            best = (score, deg, off);
        }
    }
    // Downhill by halving steps.
    let (mut step_deg, mut step_px, mut reach) = (0.6, 0.006 * size, 2.0 * reach);
    for halving in 0..6 {
        let nth = if halving < 3 { ROUGHLY } else { FINELY };
        best.0 = landed(best.1, best.2, reach, nth);
        for _ in 0..12 {
            let before = best.0;
            for (deg, off) in [
                (step_deg, 0.0),
                (-step_deg, 0.0),
                (0.0, step_px),
                (0.0, -step_px),
            ] {
                let (deg, off) = (best.1 + deg, best.2 + off);
                let score = landed(deg, off, reach, nth);
                if score > best.0 {
                    best = (score, deg, off);
                }
            }
            if best.0 <= before {
                break;
            }
        }
        step_deg *= 0.5;
        step_px *= 0.5;
        reach = (reach * 0.8).max(0.008 * size);
    }
    let (_, deg, off) = best;
    let rows = Rows::cut(outline, deg.to_radians(), height / (2.0 * ROWS));
    let vote = count(&rows, AGREE);
    // The rows place the axis more finely, where they speak of the same one.
    let x_px = pivot[0] + off;
    let near = (vote.x_px - x_px).abs() < 0.01 * size;
    let mirror = field.mirror(deg.to_radians(), off);
    let lands = (LANDS * size / field.cell) as f32;
    let support = points
        .iter()
        .filter(|p| field.at(mirror.of(**p)) < lands)
        .count();
    Some(Axis {
        lean_rad: deg.to_radians(),
        x_px: if near { vote.x_px } else { x_px },
        support: support as f64 / points.len() as f64,
        residual: vote.spread_px / (vote.widest_px / 2.0).max(1e-9),
    })
}

/// A mirror line through a field, cells.
struct Mirror {
    /// Unit vector across the line.
    across: [f32; 2],
    /// How far from the field's pivot the line passes.
    off: f32,
}

impl Mirror {
    fn of(&self, p: [f32; 2]) -> [f32; 2] {
        let [x, y] = self.across;
        let twice = 2.0 * (p[0] * x + p[1] * y - self.off);
        [p[0] - twice * x, p[1] - twice * y]
    }
}

/// Distance to the contour (holes included) on a coarse grid, near the contour.
/// Places are given in cells from a pivot.
struct Field {
    pivot: [f64; 2],
    /// Side of a cell, pixels.
    cell: f64,
    /// From the corner of the grid to the pivot, cells.
    corner: [f32; 2],
    side: [usize; 2],
    /// For each cell the distance from its middle to the contour, cells; `FAR`
    /// where it is farther.
    distance: Vec<f32>,
}

/// Cells along the longer side of the field, margin included.
const CELLS: f64 = 240.0;
/// Margin round the outline, cells.
const MARGIN: usize = 12;

/// How far from the contour distances are told, cells: beyond twice the widest
/// reach of the search nothing lands, and a contour is a small part of the grid.
const FAR: f32 = 6.0;

impl Field {
    fn new(outline: &Outline, pivot: [f64; 2]) -> Self {
        let bounds = outline.bounds();
        let (width, height) = (f64::from(bounds.width()), f64::from(bounds.height()));
        let cell = width.max(height) / (CELLS - 2.0 * MARGIN as f64);
        let cells = |length: f64| (length / cell).ceil() as usize + 2 * MARGIN + 1;
        let side = [cells(width), cells(height)];
        let corner = [0, 1].map(|k| {
            let low = [bounds.left, bounds.top][k];
            ((pivot[k] - f64::from(low)) / cell) as f32 + MARGIN as f32
        });
        let mut field = Self {
            pivot,
            cell,
            corner,
            side,
            // Squares are compared at first: roots are dear.
            distance: vec![FAR * FAR; side[0] * side[1]],
        };
        let mut nearest = vec![[0.0f32; 2]; side[0] * side[1]];
        for ring in std::iter::once(&outline.outer).chain(&outline.holes) {
            for (a, b) in edges(ring) {
                let [a, b] = [a, b].map(|p| field.in_cells(p.map(f64::from)));
                let length = ((b[0] - a[0]).powi(2) + (b[1] - a[1]).powi(2)).sqrt();
                let pieces = (2.0 * length).ceil().max(1.0) as usize;
                for n in 0..pieces {
                    let t = n as f64 / pieces as f64;
                    let p = [0, 1].map(|k| (a[k] + t * (b[k] - a[k])) as f32 + field.corner[k]);
                    let [i, j] = [0, 1].map(|k| (p[k].max(0.0) as usize).min(side[k] - 1));
                    field.offer(&mut nearest, [i, j], p);
                }
            }
        }
        field.spread(&mut nearest);
        for d in &mut field.distance {
            *d = d.sqrt();
        }
        field
    }

    /// A point, pixels of the outline, in cells from the pivot.
    fn in_cells(&self, p: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|k| (p[k] - self.pivot[k]) / self.cell)
    }

    /// The line that leans clockwise by `lean_rad` and passes the pivot at a
    /// distance of `off` pixels to its right.
    fn mirror(&self, lean_rad: f64, off: f64) -> Mirror {
        let (sin, cos) = lean_rad.sin_cos();
        Mirror {
            across: [cos as f32, sin as f32],
            off: (off / self.cell) as f32,
        }
    }

    /// Keeps `p`, cells from the corner, for a cell if it is nearer than what is kept.
    fn offer(&mut self, nearest: &mut [[f32; 2]], [i, j]: [usize; 2], p: [f32; 2]) {
        let (x, y) = (p[0] - i as f32 - 0.5, p[1] - j as f32 - 0.5);
        let (at, distance) = (j * self.side[0] + i, x * x + y * y);
        if distance < self.distance[at] {
            self.distance[at] = distance;
            nearest[at] = p;
        }
    }

    /// Hands nearest points on to neighbours, forth and back (Danielsson 1980).
    fn spread(&mut self, nearest: &mut [[f32; 2]]) {
        let [w, h] = self.side;
        let hand =
            |field: &mut Self, nearest: &mut [[f32; 2]], from: [usize; 2], to: [usize; 2]| {
                let at = from[1] * w + from[0];
                if field.distance[at] < FAR * FAR {
                    field.offer(nearest, to, nearest[at]);
                }
            };
        let row = |field: &mut Self, nearest: &mut [[f32; 2]], before: Option<usize>, j: usize| {
            for i in 0..w {
                if let Some(before) = before {
                    hand(field, nearest, [i, before], [i, j]);
                }
                if i > 0 {
                    hand(field, nearest, [i - 1, j], [i, j]);
                }
            }
            for i in (0..w - 1).rev() {
                hand(field, nearest, [i + 1, j], [i, j]);
            }
        };
        for j in 0..h {
            row(self, nearest, j.checked_sub(1), j);
        }
        for j in (0..h - 1).rev() {
            row(self, nearest, Some(j + 1), j);
        }
    }

    /// Distance from a point to the contour, cells, between the cells'; where it
    /// is far off, at least `FAR`.
    fn at(&self, p: [f32; 2]) -> f32 {
        let [u, v] = [0, 1].map(|k| p[k] + self.corner[k] - 0.5);
        let [w, h] = self.side;
        let inside = u >= 0.0 && v >= 0.0 && u < (w - 1) as f32 && v < (h - 1) as f32;
        if !inside {
            return FAR;
        }
        let (i, j) = (u as usize, v as usize);
        let (s, t) = (u - i as f32, v - j as f32);
        let row = |j: usize| {
            let near = &self.distance[j * w + i..][..2];
            near[0] + s * (near[1] - near[0])
        };
        let (above, below) = (row(j), row(j + 1));
        above + t * (below - above)
    }
}

struct Vote {
    x_px: f64,
    spread_px: f64,
    widest_px: f64,
}

/// Counts the rows whose widest run has its middle in the fullest window.
fn count(rows: &Rows, agree: f64) -> Vote {
    let mut middles: Vec<(f64, f64)> = (0..rows.count())
        .filter_map(|row| {
            rows.runs(row)
                .iter()
                .map(|[left, right]| ((left + right) / 2.0, right - left))
                .max_by(|a, b| a.1.total_cmp(&b.1))
        })
        .collect();
    let widest_px = middles.iter().map(|m| m.1).fold(0.0, f64::max);
    // Narrow runs are tips of spouts and handles.
    middles.retain(|m| m.1 > 0.12 * widest_px);
    middles.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let reach = (agree * widest_px).max(0.4);
    let mut end = 0;
    let mut fullest = (0, 0);
    for start in 0..middles.len() {
        while end < middles.len() && middles[end].0 - middles[start].0 <= 2.0 * reach {
            end += 1;
        }
        if end - start > fullest.1 - fullest.0 {
            fullest = (start, end);
        }
    }
    let inside = &middles[fullest.0..fullest.1];
    let n = inside.len().max(1) as f64;
    let x_px = inside.iter().map(|m| m.0).sum::<f64>() / n;
    let off = |m: &(f64, f64)| (m.0 - x_px) / reach;
    Vote {
        x_px,
        spread_px: reach * (inside.iter().map(|m| off(m).powi(2)).sum::<f64>() / n).sqrt(),
        widest_px,
    }
}

#[cfg(test)]
mod tests {
    use super::super::rows::turn;
    use super::*;

    /// A bowl with a handle on its right, leaning by `deg` clockwise.
    fn leaning(deg: f64) -> Outline {
        let profile = |u: f64| 30.0 + 50.0 * u.sqrt();
        let mut outer = Vec::new();
        for i in 0..=100 {
            let u = f64::from(i) / 100.0;
            outer.push([200.0 + profile(u), 300.0 - 120.0 * u]);
        }
        for i in (0..=100).rev() {
            let u = f64::from(i) / 100.0;
            outer.push([200.0 - profile(u), 300.0 - 120.0 * u]);
        }
        let handle = [[310.0, 210.0], [320.0, 235.0], [310.0, 260.0]];
        outer.splice(40..70, handle.into_iter().rev());
        let outer = outer
            .into_iter()
            .map(|p| turn(p, [200.0, 250.0], deg.to_radians()))
            .map(|[x, y]| [x as f32, y as f32])
            .collect();
        Outline {
            outer,
            holes: vec![],
        }
    }

    #[test]
    fn a_leaning_bowl_is_found_to_lean_in_spite_of_its_handle() {
        for deg in [-14.0, -3.3, 0.0, 1.0, 8.0] {
            let axis = find(&leaning(deg)).unwrap();
            let found = axis.lean_rad.to_degrees();
            assert!((found - deg).abs() < 0.3, "{found} for {deg}");
            assert!(axis.support > 0.5 && axis.residual < 0.01, "{axis:?}");
        }
    }

    #[test]
    fn what_has_no_extent_has_no_axis() {
        assert_eq!(find(&Outline::default()), None);
    }
}
