//! The cheapest way to walk round two contours at once, by dynamic programming
//! in a band about an even walk.

use super::contour::POINTS;

/// How far, in points, the alignment may drift from an even walk.
pub(super) const DRIFT: usize = 10;
/// Width of the band in which paths run.
const BAND: usize = 2 * DRIFT + 1;
/// Starting points from which height functions are aligned.
const STARTS: usize = 4;
/// Starting points nearer to each other than this lead to the same path.
const APART: usize = 3;

/// What a step costs that moves on one contour only: this share of the
/// difference there, and this much.
#[derive(Clone, Copy)]
pub(super) struct Skip {
    pub(super) share: f32,
    pub(super) fixed: f32,
}

/// Columns of the costs: all shifts, with the band's width to spare.
pub(super) const COLUMNS: usize = POINTS + 2 * DRIFT;

/// `costs[i][s]`: how much point `i` of the second contour differs from point
/// `i + s - DRIFT` of the first.
pub(super) type Costs = [[f32; COLUMNS]; POINTS];

/// The cheapest path from the most promising starts that `allowed` lets pass,
/// over the number of points, and its start.
pub(super) fn best(costs: &Costs, skip: Skip, allowed: impl Fn(usize) -> bool) -> (f32, usize) {
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

/// The points that the cheapest path from `start` joins, on the first contour
/// and on the second, with how much they differ in parts of `unrelated`.
pub(super) fn pairs(
    costs: &Costs,
    start: usize,
    skip: Skip,
    unrelated: f32,
) -> Vec<(usize, usize, f32)> {
    let mut steps = Box::new([[0u8; BAND]; POINTS]);
    path(costs, start, skip, Some(&mut steps));
    let (mut i, mut k) = (POINTS - 1, DRIFT);
    let mut pairs = Vec::with_capacity(2 * POINTS);
    loop {
        let first = (i + start + k + POINTS - DRIFT) % POINTS;
        pairs.push((first, i, costs[i][start + k] / unrelated));
        match steps[i][k] {
            FIRST => k -= 1,
            SECOND => (i, k) = (i - 1, k + 1),
            _ if i == 0 => break,
            _ => i -= 1,
        }
    }
    pairs.reverse();
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;

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
        for (share, fixed) in [(0.5, 0.05), (1.0, 0.0)] {
            let skip = Skip { share, fixed };
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
}
