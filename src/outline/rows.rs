//! An outline turned upright and cut into level rows.
//!
//! The *upright frame* used by axis, profile and parts: pixels of the cutout,
//! turned about the middle of the outline's box so that the axis of symmetry is
//! vertical; x to the right, y down.

use super::{Outline, Ring, edges};

/// An outline turned by an angle and cut into rows.
#[derive(Clone, Debug)]
pub struct Rows {
    /// The outline in the upright frame.
    pub outline: Outline,
    /// The fixed point of the turn, pixels of the cutout.
    pub pivot: [f64; 2],
    /// By how much the axis leaned clockwise as seen, radians.
    pub lean_rad: f64,
    /// y of the upper edge of the first row, pixels.
    pub top_px: f64,
    /// Height of a row, pixels.
    pub step_px: f64,
    runs: Runs,
}

/// The filled stretches of all rows in one list.
#[derive(Clone, Debug)]
struct Runs {
    all: Vec<[f64; 2]>,
    /// Where each row's begin, and where the last row's end.
    starts: Vec<usize>,
}

impl Rows {
    /// Turns `outline` counter-clockwise by `lean_rad` and cuts it into rows of
    /// at most `step_px`, sixteen at the least.
    pub fn cut(outline: &Outline, lean_rad: f64, step_px: f64) -> Self {
        let bounds = outline.bounds();
        let pivot = [
            f64::from(bounds.left + bounds.right) / 2.0,
            f64::from(bounds.top + bounds.bottom) / 2.0,
        ];
        let turned = turned(outline, pivot, -lean_rad);
        let bounds = turned.bounds();
        let height = f64::from(bounds.height());
        let count = if height.is_finite() && step_px > 0.0 {
            ((height / step_px).ceil() as usize).clamp(16, 8192)
        } else {
            16
        };
        let step_px = height / count as f64;
        let top_px = f64::from(bounds.top);
        Self {
            runs: scan(&turned, top_px, step_px, count),
            outline: turned,
            pivot,
            lean_rad,
            top_px,
            step_px,
        }
    }

    /// How many rows there are.
    pub fn count(&self) -> usize {
        self.runs.starts.len() - 1
    }

    /// The filled stretches of a row's middle line, left to right.
    pub fn runs(&self, row: usize) -> &[[f64; 2]] {
        &self.runs.all[self.runs.starts[row]..self.runs.starts[row + 1]]
    }

    /// y of the middle of a row, pixels of the upright frame.
    pub fn y_px(&self, row: usize) -> f64 {
        self.top_px + (row as f64 + 0.5) * self.step_px
    }

    /// The run of a row that holds `x`.
    pub fn run_at(&self, row: usize, x: f64) -> Option<[f64; 2]> {
        self.runs(row)
            .iter()
            .copied()
            .find(|[left, right]| *left <= x && x <= *right)
    }

    /// A point of the upright frame in pixels of the cutout.
    pub fn back(&self, p: [f64; 2]) -> [f64; 2] {
        turn(p, self.pivot, self.lean_rad)
    }
}

/// Turns a point about a pivot, clockwise as seen (y points down).
pub fn turn(p: [f64; 2], pivot: [f64; 2], angle_rad: f64) -> [f64; 2] {
    turn_by(p, pivot, angle_rad.sin_cos())
}

fn turn_by(p: [f64; 2], pivot: [f64; 2], (sin, cos): (f64, f64)) -> [f64; 2] {
    let (x, y) = (p[0] - pivot[0], p[1] - pivot[1]);
    [pivot[0] + x * cos - y * sin, pivot[1] + x * sin + y * cos]
}

fn turned(outline: &Outline, pivot: [f64; 2], angle_rad: f64) -> Outline {
    let by = angle_rad.sin_cos();
    let map = |ring: &Ring| -> Ring {
        ring.iter()
            .map(|p| turn_by(p.map(f64::from), pivot, by).map(|v| v as f32))
            .collect()
    };
    Outline {
        outer: map(&outline.outer),
        holes: outline.holes.iter().map(map).collect(),
    }
}

/// Filled stretches by the even-odd rule at the middle of each row.
fn scan(outline: &Outline, top: f64, step: f64, count: usize) -> Runs {
    // How often each row is crossed, then where: rows are many and their runs few.
    let mut ends = vec![0; count + 1];
    crossings(outline, top, step, count, |row, _| ends[row + 1] += 1);
    for row in 0..count {
        ends[row + 1] += ends[row];
    }
    let mut places = vec![0.0; ends[count]];
    let mut next = ends.clone();
    crossings(outline, top, step, count, |row, x| {
        places[next[row]] = x;
        next[row] += 1;
    });
    let mut runs = Runs {
        all: Vec::with_capacity(places.len() / 2),
        starts: vec![0],
    };
    for row in 0..count {
        let found = &mut places[ends[row]..ends[row + 1]];
        found.sort_unstable_by(f64::total_cmp);
        runs.all.extend_from_slice(found.as_chunks::<2>().0);
        runs.starts.push(runs.all.len());
    }
    runs
}

/// Tells of each place where an edge crosses the middle line of a row.
fn crossings(
    outline: &Outline,
    top: f64,
    step: f64,
    count: usize,
    mut tell: impl FnMut(usize, f64),
) {
    if step <= 0.0 {
        return;
    }
    for ring in std::iter::once(&outline.outer).chain(&outline.holes) {
        for (a, b) in edges(ring) {
            let (a, b) = if a[1] <= b[1] { (a, b) } else { (b, a) };
            let (ay, by) = (f64::from(a[1]), f64::from(b[1]));
            // Rows whose middle lies in [ay, by).
            let first = ((ay - top) / step - 0.5).ceil().max(0.0) as usize;
            for row in first..count {
                let y = top + (row as f64 + 0.5) * step;
                if y >= by {
                    break;
                }
                let t = (y - ay) / (by - ay);
                tell(row, f64::from(a[0]) + t * f64::from(b[0] - a[0]));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_with_a_hole_has_two_runs_where_the_hole_is() {
        let square = |a: f32, b: f32| vec![[a, a], [a, b], [b, b], [b, a]];
        let outline = Outline {
            outer: square(0.0, 40.0),
            holes: vec![square(10.0, 30.0)],
        };
        let rows = Rows::cut(&outline, 0.0, 1.0);
        assert_eq!(rows.count(), 40);
        assert_eq!(rows.runs(5), [[0.0, 40.0]]);
        assert_eq!(rows.runs(20), [[0.0, 10.0], [30.0, 40.0]]);
        assert_eq!(rows.run_at(20, 20.0), None);
        assert_eq!(rows.run_at(20, 35.0), Some([30.0, 40.0]));
    }

    #[test]
    fn turning_there_and_back_is_no_turn() {
        let outline = Outline {
            outer: vec![[0.0, 0.0], [0.0, 30.0], [20.0, 30.0], [20.0, 0.0]],
            holes: vec![],
        };
        let rows = Rows::cut(&outline, 0.2, 1.0);
        for (p, q) in rows.outline.outer.iter().zip(&outline.outer) {
            let back = rows.back([f64::from(p[0]), f64::from(p[1])]);
            for k in 0..2 {
                assert!((back[k] - f64::from(q[k])).abs() < 1e-4);
            }
        }
    }
}
