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
/// Points of the thinned outline that the search uses, and how many of them
/// count once while the axis is only roughly known.
const POINTS: usize = 600;
const ROUGHLY: usize = 4;
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
    let field = Field::new(outline);
    let points: Vec<[f64; 2]> = resample(&outline.outer, POINTS)
        .into_iter()
        .map(|p| p.map(f64::from))
        .collect();
    let pivot = [
        f64::from(bounds.left + bounds.right) / 2.0,
        f64::from(bounds.top + bounds.bottom) / 2.0,
    ];
    let size = width.max(height);
    // Of every `nth` point.
    let landed = |deg: f64, off: f64, reach: f64, nth: usize| {
        let mirror = Mirror::new(pivot, deg.to_radians(), off);
        let sum: f64 = points
            .iter()
            .step_by(nth)
            .map(|p| (1.0 - (field.at(mirror.of(*p)) / reach).powi(2)).max(0.0))
            .sum();
        let share = sum / points.len().div_ceil(nth) as f64;
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
        let nth = if halving < 3 { ROUGHLY } else { 1 };
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
    let mirror = Mirror::new(pivot, deg.to_radians(), off);
    let support = points
        .iter()
        .filter(|p| field.at(mirror.of(**p)) < LANDS * size)
        .count();
    Some(Axis {
        lean_rad: deg.to_radians(),
        x_px: if near { vote.x_px } else { x_px },
        support: support as f64 / points.len() as f64,
        residual: vote.spread_px / (vote.widest_px / 2.0).max(1e-9),
    })
}

/// A mirror line.
struct Mirror {
    pivot: [f64; 2],
    /// Unit vector across the line.
    across: [f64; 2],
    off: f64,
}

impl Mirror {
    /// The line that leans clockwise by `lean_rad` and passes the pivot at a
    /// distance of `off` pixels to its right.
    fn new(pivot: [f64; 2], lean_rad: f64, off: f64) -> Self {
        let (sin, cos) = lean_rad.sin_cos();
        Self {
            pivot,
            across: [cos, sin],
            off,
        }
    }

    fn of(&self, p: [f64; 2]) -> [f64; 2] {
        let along = (p[0] - self.pivot[0]) * self.across[0]
            + (p[1] - self.pivot[1]) * self.across[1]
            - self.off;
        [
            p[0] - 2.0 * along * self.across[0],
            p[1] - 2.0 * along * self.across[1],
        ]
    }
}

/// Distance to the contour (holes included) on a coarse grid.
struct Field {
    left: f64,
    top: f64,
    cell: f64,
    side: [usize; 2],
    /// For each cell the distance from its middle to the contour, pixels.
    distance: Vec<f32>,
}

/// Cells along the longer side of the field, margin included.
const CELLS: f64 = 240.0;
/// Margin round the outline, cells.
const MARGIN: usize = 12;

impl Field {
    fn new(outline: &Outline) -> Self {
        let bounds = outline.bounds();
        let (width, height) = (f64::from(bounds.width()), f64::from(bounds.height()));
        let cell = width.max(height) / (CELLS - 2.0 * MARGIN as f64);
        let cells = |length: f64| (length / cell).ceil() as usize + 2 * MARGIN + 1;
        let side = [cells(width), cells(height)];
        let mut field = Self {
            left: f64::from(bounds.left) - MARGIN as f64 * cell,
            top: f64::from(bounds.top) - MARGIN as f64 * cell,
            cell,
            side,
            distance: vec![f32::INFINITY; side[0] * side[1]],
        };
        let mut nearest: Vec<Option<[f64; 2]>> = vec![None; side[0] * side[1]];
        for ring in std::iter::once(&outline.outer).chain(&outline.holes) {
            for (a, b) in edges(ring) {
                let (a, b) = (a.map(f64::from), b.map(f64::from));
                let length = (b[0] - a[0]).hypot(b[1] - a[1]);
                let pieces = (2.0 * length / cell).ceil().max(1.0) as usize;
                for n in 0..pieces {
                    let t = n as f64 / pieces as f64;
                    let p = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
                    let (i, j) = field.cell_of(p);
                    field.offer(&mut nearest, i, j, p);
                }
            }
        }
        field.spread(&mut nearest);
        // Squares are compared until here: roots are dear.
        for d in &mut field.distance {
            *d = d.sqrt();
        }
        field
    }

    fn cell_of(&self, p: [f64; 2]) -> (usize, usize) {
        let at =
            |v: f64, low: f64, n: usize| (((v - low) / self.cell).max(0.0) as usize).min(n - 1);
        (
            at(p[0], self.left, self.side[0]),
            at(p[1], self.top, self.side[1]),
        )
    }

    /// Keeps `p` for a cell if it is nearer than what is kept; distances are
    /// squared here.
    fn offer(&mut self, nearest: &mut [Option<[f64; 2]>], i: usize, j: usize, p: [f64; 2]) {
        let middle = [
            self.left + (i as f64 + 0.5) * self.cell,
            self.top + (j as f64 + 0.5) * self.cell,
        ];
        let distance = ((p[0] - middle[0]).powi(2) + (p[1] - middle[1]).powi(2)) as f32;
        let at = j * self.side[0] + i;
        if distance < self.distance[at] {
            self.distance[at] = distance;
            nearest[at] = Some(p);
        }
    }

    /// Hands nearest points on to neighbours, forth and back (Danielsson 1980).
    fn spread(&mut self, nearest: &mut [Option<[f64; 2]>]) {
        let [w, h] = self.side;
        let hand = |field: &mut Self,
                    nearest: &mut [Option<[f64; 2]>],
                    from: (usize, usize),
                    to: (usize, usize)| {
            if let Some(p) = nearest[from.1 * w + from.0] {
                field.offer(nearest, to.0, to.1, p);
            }
        };
        for j in 0..h {
            for i in 0..w {
                if j > 0 {
                    hand(self, nearest, (i, j - 1), (i, j));
                }
                if i > 0 {
                    hand(self, nearest, (i - 1, j), (i, j));
                }
            }
            for i in (0..w - 1).rev() {
                hand(self, nearest, (i + 1, j), (i, j));
            }
        }
        for j in (0..h - 1).rev() {
            for i in 0..w {
                hand(self, nearest, (i, j + 1), (i, j));
                if i > 0 {
                    hand(self, nearest, (i - 1, j), (i, j));
                }
            }
            for i in (0..w - 1).rev() {
                hand(self, nearest, (i + 1, j), (i, j));
            }
        }
    }

    /// Distance from a point to the contour, pixels, between the cells'.
    fn at(&self, p: [f64; 2]) -> f64 {
        let u = (p[0] - self.left) / self.cell - 0.5;
        let v = (p[1] - self.top) / self.cell - 0.5;
        let inside =
            u >= 0.0 && v >= 0.0 && u < (self.side[0] - 1) as f64 && v < (self.side[1] - 1) as f64;
        if !inside {
            return f64::INFINITY;
        }
        let (i, j) = (u as usize, v as usize);
        let (s, t) = (u - i as f64, v - j as f64);
        let d = |i: usize, j: usize| f64::from(self.distance[j * self.side[0] + i]);
        (d(i, j) * (1.0 - s) + d(i + 1, j) * s) * (1.0 - t)
            + (d(i, j + 1) * (1.0 - s) + d(i + 1, j + 1) * s) * t
    }
}

struct Vote {
    x_px: f64,
    spread_px: f64,
    widest_px: f64,
}

/// Counts the rows whose widest run has its middle in the fullest window.
fn count(rows: &Rows, agree: f64) -> Vote {
    let mut middles: Vec<(f64, f64)> = rows
        .runs
        .iter()
        .filter_map(|runs| {
            runs.iter()
                .map(|[left, right]| ((left + right) / 2.0, right - left))
                .max_by(|a, b| a.1.total_cmp(&b.1))
        })
        .collect();
    let widest_px = middles.iter().map(|m| m.1).fold(0.0, f64::max);
    // Narrow runs are tips of spouts and handles.
    middles.retain(|m| m.1 > 0.12 * widest_px);
    middles.sort_by(|a, b| a.0.total_cmp(&b.0));
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
