//! Circles of the piece (rim, foot, a plate's edge) seen at an angle: ellipses.
//!
//! A circle whose plane the line of sight meets at the elevation e shows as an
//! ellipse with minor over major axis sin e; off square it is seen by 90° − e
//! (orthographic view; a camera from well back comes close).

use super::{Outline, resample};

/// The half ellipse with which a body of rotation ends, above or below.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cap {
    /// Half the major axis: the radius of the circle, pixels.
    pub radius_px: f64,
    /// Half the minor axis, pixels: 0 where the circle is seen edge-on.
    pub sag_px: f64,
    /// Radius of the rounded edge that carries the circle, pixels: 0 where it is
    /// sharp. Its outermost circle lies this much inside of its outermost point.
    pub edge_px: f64,
    /// Root mean square distance of the outline from it, as a share of the axes.
    pub residual: f64,
}

impl Cap {
    /// The angle at which the line of sight meets the plane of the circle,
    /// degrees.
    pub fn elevation_deg(&self) -> f64 {
        (self.sag_px / self.radius_px.max(1e-9))
            .clamp(0.0, 1.0)
            .asin()
            .to_degrees()
    }
}

/// Steepest elevation that half an ellipse is taken for, sine.
const STEEPEST: f64 = 0.94;
/// A half ellipse fits if it is within this share of its axes.
const FITS: f64 = 0.03;
/// It fits beyond doubt within this.
pub(super) const SHARPLY: f64 = 0.01;
/// No row may be farther off than this, beside a pixel and a half.
const MOST: f64 = 0.05;
/// The circle must have at least this share of the greatest radius.
const LEAST_RADIUS: f64 = 0.22;

/// Length of a vector whose parts are shares, so that no square can overflow: it is
/// asked of every row for every depth, and `hypot` takes several times as long.
pub(super) fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// The half ellipse at the beginning of `half_px`: half-widths of rows of
/// `step_px`, from the end of the body inwards. `None` if the end is of another
/// shape (a finial, a rounded base).
///
/// For each depth T the rows down to T are compared with a half ellipse that is
/// T deep and has there its full width; the depth that fits best is the sag.
pub fn cap(half_px: &[f64], step_px: f64) -> Option<Cap> {
    let widest = half_px.iter().copied().fold(0.0, f64::max);
    if half_px.len() < 12 || widest <= 0.0 {
        return None;
    }
    let depth = |row: f64| (row + 0.5) * step_px;
    let mut best: Option<Cap> = None;
    // Half a row is as fine as the rows can tell.
    for k in 6..2 * (half_px.len() - 1) {
        let row = k as f64 / 2.0;
        let (i, share) = (k / 2, (k % 2) as f64 / 2.0);
        let radius = half_px[i] + share * (half_px[i + 1] - half_px[i]);
        let sag = depth(row);
        if sag > STEEPEST * widest {
            break;
        }
        if radius < LEAST_RADIUS * widest || sag > STEEPEST * radius {
            continue;
        }
        // A residual no less than the best so far ends it early.
        let least = best.map_or(f64::INFINITY, |b| b.residual.powi(2) * (i + 1) as f64);
        // No part of it may be of another shape: a flat foot below a round belly.
        let most = MOST + 1.5 / sag;
        let mut squares = 0.0;
        for (j, w) in half_px[..=i].iter().enumerate() {
            let off = length(w / radius, 1.0 - depth(j as f64) / sag) - 1.0;
            squares += off * off;
            if off.abs() > most || squares >= least {
                squares = f64::INFINITY;
                break;
            }
        }
        let residual = (squares / (i + 1) as f64).sqrt();
        if residual < best.map_or(f64::INFINITY, |b| b.residual) {
            best = Some(Cap {
                radius_px: radius,
                sag_px: sag,
                edge_px: 0.0,
                residual,
            });
        }
    }
    let sharply = best.filter(|cap| cap.residual <= SHARPLY);
    sharply
        .or_else(|| edge_on(half_px, step_px, widest))
        .or_else(|| best.filter(|cap| cap.residual <= FITS))
}

/// A cap too shallow for its shape to be seen; its sag follows from the area
/// that it lacks against a square end: (1 - pi/4) times radius times sag.
fn edge_on(half_px: &[f64], step_px: f64, widest: f64) -> Option<Cap> {
    const ROWS: usize = 6;
    const HALF: usize = ROWS / 2;
    let radius = half_px[ROWS - 1];
    let square = half_px[1] >= 0.8 * radius && radius >= LEAST_RADIUS * widest;
    let grows = (half_px[ROWS - 1] - half_px[HALF]) / radius;
    // A wall that widens from a sharp foot is no arc: it is followed to the end.
    let slope = (half_px[ROWS - 1] - half_px[HALF]).max(0.0) / (ROWS - 1 - HALF) as f64;
    let wall = |row: f64| half_px[HALF] - slope * (HALF as f64 - row);
    square.then(|| {
        let lacking: f64 = half_px[..HALF]
            .iter()
            .enumerate()
            .map(|(row, w)| (wall(row as f64) - w).max(0.0) * step_px)
            .sum();
        let radius_px = wall(-0.5);
        let shape = 1.0 - std::f64::consts::FRAC_PI_4;
        Cap {
            radius_px,
            sag_px: lacking / (shape * radius_px),
            edge_px: 0.0,
            residual: grows.abs().min(FITS),
        }
    })
}

/// An ellipse in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ellipse {
    /// Centre, pixels of the cutout.
    pub centre_px: [f64; 2],
    /// Half the major axis, pixels.
    pub major_px: f64,
    /// Half the minor axis, pixels.
    pub minor_px: f64,
    /// Direction of the major axis, radians clockwise as seen from "to the
    /// right", -pi/2 to pi/2.
    pub turn_rad: f64,
}

impl Ellipse {
    /// The angle at which the line of sight meets the plane of the circle that
    /// shows as this ellipse, degrees: 90 square on.
    pub fn elevation_deg(&self) -> f64 {
        (self.minor_px / self.major_px.max(1e-9))
            .clamp(0.0, 1.0)
            .asin()
            .to_degrees()
    }

    /// Where a point lies: 0 on the ellipse, -1 in its centre, 1 at twice its
    /// size.
    pub fn off(&self, p: [f64; 2]) -> f64 {
        let (sin, cos) = self.turn_rad.sin_cos();
        let (x, y) = (p[0] - self.centre_px[0], p[1] - self.centre_px[1]);
        let u = (x * cos + y * sin) / self.major_px;
        let v = (-x * sin + y * cos) / self.minor_px;
        length(u, v) - 1.0
    }

    /// In which direction a point lies, as [`Ellipse::at`] takes it.
    pub fn angle_rad(&self, p: [f64; 2]) -> f64 {
        let (sin, cos) = self.turn_rad.sin_cos();
        let (x, y) = (p[0] - self.centre_px[0], p[1] - self.centre_px[1]);
        let v = (-x * sin + y * cos) / self.minor_px;
        v.atan2((x * cos + y * sin) / self.major_px)
    }

    /// A point of the ellipse; `t_rad` runs clockwise as seen from the end of
    /// the major axis.
    pub fn at(&self, t_rad: f64) -> [f64; 2] {
        let (sin, cos) = self.turn_rad.sin_cos();
        let (u, v) = (self.major_px * t_rad.cos(), self.minor_px * t_rad.sin());
        [
            self.centre_px[0] + u * cos - v * sin,
            self.centre_px[1] + u * sin + v * cos,
        ]
    }
}

/// The whole outline taken for an ellipse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Round {
    /// The ellipse.
    pub ellipse: Ellipse,
    /// Median distance of the outline from it, as a share of the axes.
    pub residual: f64,
    /// Share of the outline within 8 % of it; the rest is handles and spouts.
    pub support: f64,
    /// Mean distance of the outline's lowest part, negative where it is cut flat.
    pub below: f64,
    /// Mean distance of the outline's highest part.
    pub above: f64,
}

/// Points by which the whole outline is judged.
const POINTS: usize = 360;

/// Fits an ellipse to the outer contour: least squares on the conic's equation,
/// with points far off weighed down (Tukey's biweight) so that a handle does
/// not count. `None` if no ellipse comes of it.
pub fn whole(outline: &Outline) -> Option<Round> {
    let points: Vec<[f64; 2]> = resample(&outline.outer, POINTS)
        .into_iter()
        .map(|p| p.map(f64::from))
        .collect();
    let mut weights = vec![1.0; points.len()];
    let mut found = None;
    for _ in 0..12 {
        let ellipse = conic(&points, &weights)?;
        let mut off: Vec<f64> = points.iter().map(|p| ellipse.off(*p).abs()).collect();
        let sorted = {
            let mut sorted = off.clone();
            sorted.sort_by(f64::total_cmp);
            sorted
        };
        let residual = sorted[sorted.len() / 2];
        let reach = (6.0 * residual).clamp(0.02, 0.5);
        for (w, d) in weights.iter_mut().zip(&mut off) {
            *w = (1.0 - (*d / reach).powi(2)).max(0.0).powi(2);
        }
        found = Some((ellipse, residual));
    }
    let (ellipse, residual) = found?;
    let near = points.iter().filter(|p| ellipse.off(**p).abs() < 0.08);
    // Within about 25 degrees of straight down or up in the ellipse's own measure.
    let mean = |sign: f64| {
        let (sum, n) = points
            .iter()
            .filter(|p| {
                let (x, y) = (p[0] - ellipse.centre_px[0], p[1] - ellipse.centre_px[1]);
                let (w, h) = extent(&ellipse);
                sign * y / h > 0.9 * (x / w).hypot(y / h)
            })
            .fold((0.0, 0.0), |(sum, n), p| (sum + ellipse.off(*p), n + 1.0));
        if n > 0.0 { sum / n } else { -1.0 }
    };
    Some(Round {
        ellipse,
        residual,
        support: near.count() as f64 / points.len() as f64,
        below: mean(1.0),
        above: mean(-1.0),
    })
}

/// Half the width and height of an ellipse's box.
fn extent(e: &Ellipse) -> (f64, f64) {
    let (sin, cos) = e.turn_rad.sin_cos();
    (
        (e.major_px * cos).hypot(e.minor_px * sin),
        (e.major_px * sin).hypot(e.minor_px * cos),
    )
}

/// Weighted least squares for A x² + B xy + C y² + D x + E y = 1, in
/// coordinates moved to the centroid and scaled, where the equation is sound
/// because the centroid lies inside.
fn conic(points: &[[f64; 2]], weights: &[f64]) -> Option<Ellipse> {
    let total: f64 = weights.iter().sum();
    if total < 6.0 {
        return None;
    }
    let mean = [0, 1].map(|k| {
        points
            .iter()
            .zip(weights)
            .map(|(p, w)| p[k] * w)
            .sum::<f64>()
            / total
    });
    let scale = (points
        .iter()
        .zip(weights)
        .map(|(p, w)| w * ((p[0] - mean[0]).powi(2) + (p[1] - mean[1]).powi(2)))
        .sum::<f64>()
        / total)
        .sqrt();
    if scale.is_nan() || scale <= 0.0 {
        return None;
    }
    let mut normal = [[0.0f64; 6]; 5];
    for (p, w) in points.iter().zip(weights) {
        let (x, y) = ((p[0] - mean[0]) / scale, (p[1] - mean[1]) / scale);
        let row = [x * x, x * y, y * y, x, y, 1.0];
        for i in 0..5 {
            for j in 0..6 {
                normal[i][j] += w * row[i] * row[j];
            }
        }
    }
    let [a, b, c, d, e] = solve(normal)?;
    let det = 4.0 * a * c - b * b;
    if det <= 1e-9 {
        return None;
    }
    let (cx, cy) = ((b * e - 2.0 * c * d) / det, (b * d - 2.0 * a * e) / det);
    let level = 1.0 + a * cx * cx + b * cx * cy + c * cy * cy;
    let (mean_curve, spread) = (
        (a + c) / 2.0,
        (((a - c) / 2.0).powi(2) + b * b / 4.0).sqrt(),
    );
    let (small, large) = (mean_curve - spread, mean_curve + spread);
    if level / small <= 0.0 || level / large <= 0.0 {
        return None;
    }
    // The major axis lies along the smaller eigenvalue.
    let mut turn_rad = 0.5 * (-b).atan2(c - a);
    if spread < 1e-12 {
        turn_rad = 0.0;
    }
    Some(Ellipse {
        centre_px: [mean[0] + cx * scale, mean[1] + cy * scale],
        major_px: (level / small).sqrt() * scale,
        minor_px: (level / large).sqrt() * scale,
        turn_rad,
    })
}

/// Solves five equations by elimination with pivots.
fn solve(mut m: [[f64; 6]; 5]) -> Option<[f64; 5]> {
    for i in 0..5 {
        let pivot = (i..5).max_by(|a, b| m[*a][i].abs().total_cmp(&m[*b][i].abs()))?;
        m.swap(i, pivot);
        if m[i][i].abs() < 1e-12 {
            return None;
        }
        for r in 0..5 {
            if r != i {
                let f = m[r][i] / m[i][i];
                let from = m[i];
                for (v, u) in m[r].iter_mut().zip(from) {
                    *v -= f * u;
                }
            }
        }
    }
    Some(std::array::from_fn(|i| m[i][5] / m[i][i]))
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// An ellipse as an outline of 720 points.
    pub(in crate::outline) fn drawn(e: &Ellipse) -> Outline {
        let outer = (0..720)
            .map(|i| e.at(-f64::from(i) * std::f64::consts::TAU / 720.0))
            .map(|p| p.map(|v| v as f32))
            .collect();
        Outline {
            outer,
            holes: vec![],
        }
    }

    #[test]
    fn an_ellipse_is_found_again_in_spite_of_a_handle() {
        let e = Ellipse {
            centre_px: [300.0, 200.0],
            major_px: 150.0,
            minor_px: 90.0,
            turn_rad: 0.3,
        };
        let mut outline = drawn(&e);
        for p in &mut outline.outer[100..160] {
            p[1] -= 30.0;
        }
        let found = whole(&outline).unwrap();
        assert!((found.ellipse.major_px - 150.0).abs() < 1.0, "{found:?}");
        assert!((found.ellipse.minor_px - 90.0).abs() < 1.0, "{found:?}");
        assert!((found.ellipse.turn_rad - 0.3).abs() < 0.02, "{found:?}");
        assert!(found.residual < 0.01 && found.support > 0.85, "{found:?}");
    }

    /// Half-widths of an upright cylinder seen at an elevation.
    fn cylinder(elevation_deg: f64) -> Vec<f64> {
        let (r, b) = (100.0, 100.0 * elevation_deg.to_radians().sin());
        (0..200)
            .map(|i| f64::from(i) + 0.5)
            .map(|t| {
                if t < b {
                    r * (1.0 - (1.0 - t / b).powi(2)).sqrt()
                } else {
                    r
                }
            })
            .collect()
    }

    #[test]
    fn elevations_of_a_cylinder_come_back() {
        for deg in [0.0, 1.0, 2.0, 5.0, 10.0, 20.0, 35.0, 50.0] {
            let cap = cap(&cylinder(deg), 1.0).unwrap();
            let found = cap.elevation_deg();
            assert!((found - deg).abs() < 0.6, "{found} for {deg}: {cap:?}");
            assert!((cap.radius_px - 100.0).abs() < 1.5, "{cap:?}");
        }
    }

    #[test]
    fn a_finial_is_no_rim() {
        let lid: Vec<f64> = (0..200)
            .map(|i| match i {
                0..20 => 8.0,
                20..30 => 5.0,
                _ => f64::from(i - 28) * 0.9,
            })
            .collect();
        assert_eq!(cap(&lid, 1.0), None);
    }
}
