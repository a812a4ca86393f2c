//! The circle of a rim whose lip is rounded, as a potter's is.
//!
//! The lip's rounding hides where the rim's ellipse ends: a sharp edge fitted to
//! it lies too deep, by a hundredth to a fiftieth of a cup's height.

use std::sync::LazyLock;

use super::rim::{Cap, SHARPLY, cap, length};

/// Greatest radius of a rounded edge, as a share of the circle's radius: half a
/// wall of 3 to 5 mm on cups and bowls, and more on small ware (common practice,
/// no source).
const ROUNDEST: f64 = 0.06;
/// Steps in which the radius of the edge is sought.
const EDGES: usize = 16;
/// Straight parts that a quarter of a curve is made of.
const PARTS: usize = 48;
/// Sine and cosine of where they meet, from the top to the side.
static QUARTER: LazyLock<[(f64, f64); PARTS + 1]> = LazyLock::new(|| {
    std::array::from_fn(|n| (n as f64 / PARTS as f64 * std::f64::consts::FRAC_PI_2).sin_cos())
});

/// The half ellipse at the beginning of `half_px`, as [`cap`] finds it, of an end
/// whose edge may be rounded.
pub fn lip(half_px: &[f64], step_px: f64) -> Option<Cap> {
    let sharp = cap(half_px, step_px)?;
    let hard = Cap {
        residual: sharp.residual.max(SHARPLY),
        ..sharp
    };
    let rounded = rounded(half_px, step_px, hard);
    Some(if rounded.edge_px > 0.0 {
        rounded
    } else {
        sharp
    })
}

/// The same with a rounded edge, if that fits better: a circle that a small
/// circle runs along shows as half an ellipse moved outwards by the small
/// circle's radius, as far as its outermost points. `sharp` is the best without.
fn rounded(half_px: &[f64], step_px: f64, sharp: Cap) -> Cap {
    let mut best = sharp;
    let most = ROUNDEST * sharp.radius_px;
    let row = |depth: f64| depth / step_px - 0.5;
    let (from, to) = (sharp.sag_px - 2.0 * step_px, sharp.sag_px + most);
    for k in (2.0 * row(from)).max(4.0) as usize..=(2.0 * row(to)) as usize {
        let (i, share) = (k / 2, (k % 2) as f64 / 2.0);
        if i + 1 >= half_px.len() {
            break;
        }
        let radius = half_px[i] + share * (half_px[i + 1] - half_px[i]);
        let depth = (k as f64 / 2.0 + 0.5) * step_px;
        for n in 1..=EDGES {
            let edge = most * n as f64 / EDGES as f64;
            if edge > 0.95 * depth || edge >= 0.5 * radius {
                break;
            }
            let curve = Curve {
                radius,
                depth,
                edge,
            };
            let residual = off_rounded(&half_px[..=i], step_px, &curve, best.residual);
            if residual < best.residual {
                best = Cap {
                    radius_px: radius,
                    sag_px: depth - edge,
                    edge_px: edge,
                    residual,
                };
            }
        }
    }
    best
}

/// Half an ellipse with a rounded edge, pixels: its full width is `radius`, at
/// `depth`.
struct Curve {
    radius: f64,
    depth: f64,
    edge: f64,
}

/// Root mean square distance of rows from a curve, as a share of its width and
/// depth; infinite where it is not less than `least`.
fn off_rounded(half_px: &[f64], step_px: f64, curve: &Curve, least: f64) -> f64 {
    let &Curve {
        radius,
        depth,
        edge,
    } = curve;
    let least = least.powi(2) * half_px.len() as f64;
    let (a, b) = (radius - edge, depth - edge);
    let quarter = &*QUARTER;
    // From the top to the side, in units of the full width and depth.
    let at = |n: usize| {
        let (cos, sin) = quarter[n];
        let across = edge / length(b * cos, a * sin).max(1e-12);
        let x = a * cos + across * b * cos;
        let y = b * sin + across * a * sin;
        [x / radius, y / depth]
    };
    let (mut n, mut before, mut after) = (1, at(0), at(1));
    let mut squares = 0.0;
    for (j, w) in half_px.iter().enumerate() {
        let (u, v) = (w / radius, 1.0 - (j as f64 + 0.5) * step_px / depth);
        // The part of the curve that lies in the same direction.
        while n < PARTS && u * after[1] > v * after[0] {
            n += 1;
            (before, after) = (after, at(n));
        }
        let (s, t) = (u * before[1] - v * before[0], u * after[1] - v * after[0]);
        let share = if s == t {
            0.0
        } else {
            (s / (s - t)).clamp(0.0, 1.0)
        };
        let on = [0, 1].map(|k| before[k] + share * (after[k] - before[k]));
        squares += (length(u, v) / length(on[0], on[1]) - 1.0).powi(2);
        if squares >= least {
            return f64::INFINITY;
        }
    }
    (squares / half_px.len() as f64).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half-widths of an upright beaker with a rounded lip, seen at an elevation,
    /// by the closed form of a curve parallel to an ellipse.
    fn beaker(radius: f64, edge: f64, elevation_deg: f64) -> Vec<f64> {
        let (a, b) = (
            radius - edge,
            (radius - edge) * elevation_deg.to_radians().sin(),
        );
        let curve: Vec<[f64; 2]> = (0..=20_000)
            .map(|i| f64::from(i) / 20_000.0 * std::f64::consts::FRAC_PI_2)
            .map(|t| {
                let length = (b * t.cos()).hypot(a * t.sin());
                let x = a * t.cos() + edge * b * t.cos() / length;
                let y = b * t.sin() + edge * a * t.sin() / length;
                [x, b + edge - y]
            })
            .collect();
        (0..300)
            .map(|row| f64::from(row) + 0.5)
            .map(|depth| {
                let on = curve.iter().find(|p| p[1] <= depth);
                on.map_or(0.0, |p| p[0])
            })
            .collect()
    }

    #[test]
    fn the_ellipse_behind_a_rounded_lip_comes_back() {
        for (edge, deg) in [(4.0, 2.0), (8.0, 2.0), (4.0, 8.0), (8.0, 8.0), (8.0, 20.0)] {
            let cap = lip(&beaker(200.0, edge, deg), 1.0).unwrap();
            let sag = (200.0 - edge) * f64::to_radians(deg).sin();
            assert!((cap.sag_px - sag).abs() < 1.0, "{sag}: {cap:?}");
            assert!((cap.edge_px - edge).abs() < 1.5, "{edge}: {cap:?}");
            assert!((cap.radius_px - 200.0).abs() < 1.0, "{cap:?}");
        }
    }

    #[test]
    fn a_sharp_edge_stays_sharp() {
        let cap = lip(&[100.0; 200], 1.0).unwrap();
        assert!(cap.edge_px < 1.0 && cap.sag_px < 0.5, "{cap:?}");
    }
}
