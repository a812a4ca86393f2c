//! The body's profile: half-width against height, left and right, without
//! handle and spout.
//!
//! What breaks the symmetry does not belong to the body: the body of a row is
//! the run that holds the axis, and where its two sides differ the lesser one
//! counts and the other is noted as *covered*. Loops on both sides (a sugar
//! bowl) are symmetrical; they are known by their holes, and the rows where
//! they join the body are bridged.

use super::{Outline, axis::Axis, rows::Rows};

/// The body in the upright frame, one entry a row, top to bottom.
#[derive(Clone, Debug)]
pub struct Profile {
    /// The rows it was read from, holes and handles included.
    pub rows: Rows,
    /// x of the axis in the upright frame, pixels.
    pub axis_px: f64,
    /// First row of the body (the rim, or the top of the finial).
    pub first: usize,
    /// Row after the last one of the body (the foot).
    pub end: usize,
    /// Half-width left of the axis; `None` where a part covers it.
    pub left_px: Vec<Option<f64>>,
    /// Half-width right of the axis.
    pub right_px: Vec<Option<f64>>,
    /// Half-width of the body: the mean of both sides, or the one that is free,
    /// or bridged between free rows.
    pub half_px: Vec<f64>,
}

/// Sides that differ by more than this share of the greatest half-width are
/// not of one body.
const UNLIKE: f64 = 0.035;
/// The marks of a part grow until the sides differ by less than this.
const ALIKE: f64 = 0.014;
/// Share of the height within which an end may be uneven.
const ENDS: f64 = 0.025;
/// Rows a profile is cut into at the least, where the picture has the pixels.
const LEAST_ROWS: f64 = 240.0;

impl Profile {
    /// Half-widths of the body alone, top to bottom.
    pub fn body(&self) -> &[f64] {
        &self.half_px[self.first..self.end]
    }

    /// Height of a row, pixels.
    pub fn step_px(&self) -> f64 {
        self.rows.step_px
    }

    /// Greatest half-width, pixels.
    pub fn widest_px(&self) -> f64 {
        self.body().iter().copied().fold(0.0, f64::max)
    }

    /// Root mean square of half the difference between the sides, pixels, where
    /// both are free.
    pub fn asymmetry_px(&self) -> f64 {
        let (sum, n) = (self.first..self.end)
            .filter_map(|i| Some(self.left_px[i]? - self.right_px[i]?))
            .fold((0.0, 0.0), |(sum, n), d| (sum + d * d / 4.0, n + 1.0));
        if n > 0.0 { (sum / n).sqrt() } else { 0.0 }
    }

    /// Half-width of the body at a row; just beyond its ends that of the end, 0
    /// farther off.
    pub fn half_near(&self, row: usize) -> f64 {
        let reach = (ENDS * (self.end - self.first) as f64).ceil() as usize;
        if row + reach < self.first || row >= self.end + reach {
            return 0.0;
        }
        // The very first rows are still rounding off.
        let inner = self.end - self.first > 2 * reach;
        let inset = if inner { reach } else { 0 };
        if row < self.first {
            self.half_px[self.first + inset]
        } else if row >= self.end {
            self.half_px[self.end - 1 - inset]
        } else {
            self.half_px[row]
        }
    }

    /// Whether the piece reaches as far to the left of the axis at a row as to the
    /// right, parts included.
    pub fn sides_agree(&self, row: usize) -> bool {
        self.rows
            .run_at(row, self.axis_px)
            .is_some_and(|[left, right]| {
                let off = (right - self.axis_px) - (self.axis_px - left);
                off.abs() <= (UNLIKE * self.widest_px()).max(1.5)
            })
    }

    /// Whether neither side of a row is free.
    pub fn is_covered(&self, row: usize) -> bool {
        self.left_px[row].is_none() && self.right_px[row].is_none()
    }

    /// Share of the body's rows where one side at least is free.
    pub fn seen_share(&self) -> f64 {
        let seen = (self.first..self.end)
            .filter(|i| !self.is_covered(*i))
            .count();
        seen as f64 / (self.end - self.first).max(1) as f64
    }
}

/// Reads the profile about an axis. `None` if the axis misses the piece.
pub fn read(outline: &Outline, axis: &Axis) -> Option<Profile> {
    let height = f64::from(outline.bounds().height());
    let rows = Rows::cut(outline, axis.lean_rad, (height / LEAST_ROWS).min(1.0));
    let x = axis.x_px;
    let count = rows.count();
    let runs: Vec<Option<[f64; 2]>> = (0..count).map(|row| rows.run_at(row, x)).collect();
    // The longest stretch of rows in which the axis is inside the piece; a hole
    // across the axis (the loop of a bail handle) ends it.
    let (mut first, mut end) = longest(&runs)?;
    let side = |k: usize| -> Vec<f64> {
        runs.iter()
            .map(|run| run.map_or(0.0, |run| if k == 0 { x - run[0] } else { run[1] - x }))
            .collect()
    };
    let (left, right) = (side(0), side(1));
    let widest = (first..end)
        .map(|i| left[i].min(right[i]))
        .fold(0.0, f64::max);
    if widest <= 0.0 || end - first < 12 {
        return None;
    }
    // A base that is not quite level begins on one side.
    let level = |i: usize| (left[i] - right[i]).abs() <= (UNLIKE * widest).max(1.5);
    let reach = (ENDS * (end - first) as f64) as usize;
    first = (first..=first + reach).find(|i| level(*i)).unwrap_or(first);
    end = (end - reach..=end)
        .rev()
        .find(|i| level(*i - 1))
        .unwrap_or(end);
    let mut covered = [vec![false; count], vec![false; count]];
    mark_unlike(&left, &right, first..end, widest, &mut covered);
    mark_loops(&rows, x, &mut covered);
    mark_doubtful(first..end, &mut covered);
    let free = |k: usize, values: &[f64]| -> Vec<Option<f64>> {
        values
            .iter()
            .zip(&covered[k])
            .enumerate()
            .map(|(i, (v, covered))| ((first..end).contains(&i) && !covered).then_some(*v))
            .collect()
    };
    let (left_px, right_px) = (free(0, &left), free(1, &right));
    let mut half: Vec<Option<f64>> = left_px
        .iter()
        .zip(&right_px)
        .map(|(l, r)| match (l, r) {
            (Some(l), Some(r)) => Some((l + r) / 2.0),
            (one, other) => one.or(*other),
        })
        .collect();
    bridge(&mut half[first..end]);
    let half_px = half
        .into_iter()
        .enumerate()
        .map(|(i, v)| v.unwrap_or(left[i].min(right[i])))
        .collect();
    Some(Profile {
        rows,
        axis_px: x,
        first,
        end,
        left_px,
        right_px,
        half_px,
    })
}

fn longest(runs: &[Option<[f64; 2]>]) -> Option<(usize, usize)> {
    let mut best: Option<(usize, usize)> = None;
    let mut start = None;
    for i in 0..=runs.len() {
        match (runs.get(i).copied().flatten(), start) {
            (Some(_), None) => start = Some(i),
            (None, Some(from)) => {
                if best.is_none_or(|(a, b)| i - from > b - a) {
                    best = Some((from, i));
                }
                start = None;
            }
            _ => {}
        }
    }
    best
}

/// Marks the wider side where the sides differ, and on until they agree again.
fn mark_unlike(
    left: &[f64],
    right: &[f64],
    body: std::ops::Range<usize>,
    widest: f64,
    covered: &mut [Vec<bool>; 2],
) {
    let unlike = (UNLIKE * widest).max(1.5);
    let alike = (ALIKE * widest).max(0.6);
    for (k, sign) in [(0, 1.0), (1, -1.0)] {
        let over = |i: usize| sign * (left[i] - right[i]);
        let seeds: Vec<usize> = body.clone().filter(|i| over(*i) > unlike).collect();
        for seed in seeds {
            let up = (body.start..seed).rev().take_while(|i| over(*i) > alike);
            let down = (seed..body.end).take_while(|i| over(*i) > alike);
            for i in up.chain(down) {
                covered[k][i] = true;
            }
        }
    }
}

/// Marks the rows beside a covered stretch where the other side is covered too:
/// there is nothing to tell where the part ends.
fn mark_doubtful(body: std::ops::Range<usize>, covered: &mut [Vec<bool>; 2]) {
    for k in [0, 1] {
        let other = covered[1 - k].clone();
        let down: Vec<usize> = body.clone().skip(1).collect();
        for i in &down {
            covered[k][*i] |= covered[k][i - 1] && other[*i];
        }
        for i in down.iter().rev() {
            covered[k][i - 1] |= covered[k][*i] && other[i - 1];
        }
    }
}

/// Marks the rows where a loop on the side joins the body: above and below its
/// hole, as far as the loop is thick.
fn mark_loops(rows: &Rows, x: f64, covered: &mut [Vec<bool>; 2]) {
    for hole in &rows.outline.holes {
        let (mut top, mut bottom) = (f64::INFINITY, f64::NEG_INFINITY);
        let (mut near, mut far) = (f64::INFINITY, f64::NEG_INFINITY);
        for p in hole {
            top = top.min(f64::from(p[1]));
            bottom = bottom.max(f64::from(p[1]));
            near = near.min(f64::from(p[0]));
            far = far.max(f64::from(p[0]));
        }
        let k = if far < x {
            0
        } else if near > x {
            1
        } else {
            continue;
        };
        let row = |y: f64| ((y - rows.top_px) / rows.step_px).floor();
        let last = rows.count() as f64 - 1.0;
        let middle = row((top + bottom) / 2.0).clamp(0.0, last) as usize;
        // The run beyond the hole is the loop itself.
        let thick = rows
            .runs(middle)
            .iter()
            .filter(|run| if k == 0 { run[1] < x } else { run[0] > x })
            .map(|run| run[1] - run[0])
            .fold(0.0, f64::max)
            .min(bottom - top);
        let join = 1.8 * thick;
        // Where a hole is rounded it does not reach the body yet.
        let round = (0.35 * thick).max(0.22 * (bottom - top));
        for (from, to) in [(top - join, top + round), (bottom - round, bottom + join)] {
            let (from, to) = (row(from).max(0.0), row(to).min(last));
            if from <= to {
                covered[k][from as usize..=to as usize].fill(true);
            }
        }
    }
}

/// Fills gaps by straight lines between the nearest free rows; gaps at an end
/// stay.
fn bridge(values: &mut [Option<f64>]) {
    let free: Vec<(usize, f64)> = values
        .iter()
        .enumerate()
        .filter_map(|(i, v)| Some((i, (*v)?)))
        .collect();
    for pair in free.windows(2) {
        let ((i, a), (j, b)) = (pair[0], pair[1]);
        for (n, value) in values[i..j].iter_mut().enumerate() {
            *value = Some(a + (b - a) * n as f64 / (j - i) as f64);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{axis, trace};
    use super::*;

    /// A cup 120 wide and 100 high at the middle of a 300 x 200 mask, with loops.
    fn cup(loops: &[f64]) -> Outline {
        let (width, height) = (300usize, 200usize);
        let mask: Vec<u8> = (0..width * height)
            .map(|i| {
                let (x, y) = ((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
                let body = (x - 150.0).abs() < 60.0 - 0.2 * (y - 50.0).max(0.0)
                    && (50.0..150.0).contains(&y);
                let ring = loops.iter().any(|cx| {
                    let r = (x - cx).hypot(y - 95.0);
                    (22.0..32.0).contains(&r)
                });
                if body || ring { 255 } else { 0 }
            })
            .collect();
        trace(&mask, width).unwrap()
    }

    #[test]
    fn handles_do_not_count_for_the_body() {
        for loops in [&[][..], &[214.0], &[214.0, 86.0]] {
            let outline = cup(loops);
            let axis = axis::find(&outline).unwrap();
            assert!((axis.x_px - 150.0).abs() < 0.6, "{axis:?}");
            let profile = read(&outline, &axis).unwrap();
            assert_eq!(profile.body().len(), profile.end - profile.first);
            for (i, w) in profile.half_px.iter().enumerate() {
                let y = profile.rows.y_px(i);
                let true_half = 60.0 - 0.2 * (y - 50.0).max(0.0);
                assert!(
                    (w - true_half).abs() < 2.5,
                    "{loops:?}: {w} for {true_half} at {y}"
                );
            }
        }
    }
}
