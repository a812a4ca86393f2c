//! What can be measured on a profile: diameters, height, angle, corners and the
//! volume of revolution, each with an uncertainty.
//!
//! Lengths are pixels of the cutout. The profile is first freed of the
//! elevation of the camera: the half ellipses of rim and foot are cut off at
//! the circles' planes, and heights are divided by the cosine. An uncertainty
//! is about one standard deviation, put together from the softness of the edge,
//! the difference between left and right, the elevation's own uncertainty, and
//! perspective: 0.4 %, and more from above (common practice, no source).

use std::f64::consts::FRAC_PI_2;

use super::{
    pose::{self, Pose, View},
    profile::Profile,
    rim::{self, Cap},
};

/// A length with its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Length {
    /// The length, pixels.
    pub px: f64,
    /// Its uncertainty, pixels.
    pub error_px: f64,
}

/// A sharp bend of the profile.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner {
    /// Height above the foot, pixels.
    pub height_px: f64,
    /// Half-width there, pixels.
    pub half_px: f64,
    /// Turn of the wall going up, degrees: positive bends outwards.
    pub turn_deg: f64,
}

/// Measures of a body of rotation.
#[derive(Clone, Debug, PartialEq)]
pub struct Measures {
    /// Half-width and height of the wall from the foot to the rim (or the top
    /// of the lid), freed of the camera's elevation, pixels.
    pub wall: Vec<[f64; 2]>,
    /// From the foot to the rim, or to the top of lid and finial.
    pub height: Length,
    /// Outer diameter of the rim; absent where a lid hides it.
    pub rim: Option<Length>,
    /// Diameter of the foot.
    pub foot: Option<Length>,
    /// Greatest diameter.
    pub widest: Length,
    /// Height of the greatest diameter.
    pub widest_at_px: f64,
    /// Least diameter between the greatest and the rim, where there is one.
    pub neck: Option<Length>,
    /// Least diameter between the foot and the greatest, where there is one.
    pub stem: Option<Length>,
    /// Angle of the wall in the middle third from upright, degrees; positive
    /// opens upwards. With its uncertainty.
    pub wall_angle_deg: Option<[f64; 2]>,
    /// Sharp bends, from the foot up.
    pub corners: Vec<Corner>,
    /// Volume of the body turned about its axis, pixels cubed, with its
    /// uncertainty. Walls are counted in: an upper bound of the capacity.
    pub volume_px3: [f64; 2],
}

/// Share by which perspective may bend any length.
const PERSPECTIVE: f64 = 0.004;
/// Seen from above, one end of a piece is nearer than its middle: by half its size
/// times the sine, six times the size away.
const NEARER: f64 = 1.0 / 12.0;
/// Uncertainty, as a share, of a diameter that is covered on both sides.
const HIDDEN: f64 = 0.1;
/// A foot is seen as steeply as the rim and the usual distance of the camera
/// tell, give or take this.
const UNLIKELY_RAD: f64 = 0.07;
/// Uncertainty of that, as a standard deviation.
const UNSEEN_RAD: f64 = 0.017;
/// Parts into which a rounded rim is cut.
const EDGE_PARTS: u8 = 4;
/// A lip is widest, and a foot, within this share of its radius from its edge.
const LIP: f64 = 0.03;
const FOOT: f64 = 0.015;
/// So few rows of a foot's ellipse are too few to fit it well.
const FEW_ROWS: f64 = 8.0;
/// A neck is narrower than this share of what is on both sides of it.
const NECK: f64 = 0.97;

/// Measures the body. `edge_px` is how softly the mask ends (see [`softness_px`]).
/// `None` from above, where no profile shows, and where the pose is unknown.
pub fn measure(pose: &Pose, edge_px: f64) -> Option<Measures> {
    let profile = pose.profile.as_ref()?;
    let elevation = pose.elevation_deg?.to_radians();
    if !matches!(pose.view, View::Side | View::Oblique) {
        return None;
    }
    let ends = ends(profile, pose, elevation);
    let wall = wall(profile, &ends);
    let (top, n) = (wall.last()?[1], wall.len());
    if n < 8 || top <= 0.0 {
        return None;
    }
    let off = 2.0 * edge_px.hypot(profile.asymmetry_px());
    let near = PERSPECTIVE.hypot(elevation.sin() * NEARER);
    let across = |radius: f64| Length {
        px: 2.0 * radius,
        error_px: off.hypot(near * 2.0 * radius),
    };
    let error = pose.elevation_error_deg.to_radians();
    // Of a foot reckoned from an elevation that was not seen.
    let foot_doubt = if ends.shows_foot {
        0.0
    } else {
        error.hypot(UNSEEN_RAD) / ends.lower.elevation_deg().to_radians().max(0.05)
    };
    // Where no rim was found, how far back the top lies is not known: a knob is
    // narrow, a lip is not.
    let near_top = profile.body()[profile.body().len() / 20];
    let top_doubt = pose.upper.map_or(near_top * elevation.sin(), |_| 0.0);
    let planes = (ends.upper.radius_px + ends.lower.radius_px) * elevation.cos() * error
        / std::f64::consts::SQRT_2;
    let height = Length {
        px: top,
        error_px: [
            edge_px,
            planes,
            top * elevation.tan() * error,
            foot_doubt * ends.lower.sag_px,
            top_doubt,
            near * top,
        ]
        .iter()
        .fold(0.0, |sum, e| sum.hypot(*e)),
    };
    let mut foot = across(ends.lower.radius_px);
    foot.error_px = foot.error_px.hypot(foot_doubt * foot.px);
    let at = (0..n).max_by(|a, b| wall[*a][0].total_cmp(&wall[*b][0]))?;
    let mut widest = across(wall[at][0]);
    // Where spout and handle both cover it, it is bridged and little is known.
    let broad = profile.widest_px();
    let hidden = (profile.first..profile.end)
        .filter(|row| profile.half_px[*row] > 0.95 * broad)
        .any(|row| profile.is_covered(row));
    if hidden {
        widest.error_px = widest.error_px.hypot(HIDDEN * widest.px);
    }
    // A knob is no neck.
    let below_lid = super::parts::find(profile)
        .iter()
        .find(|p| p.kind == super::parts::Kind::Finial)
        .map_or(top, |finial| top * finial.from_px / finial.to_px.max(1.0));
    let shoulder: Vec<f64> = wall[at..]
        .iter()
        .filter(|p| p[1] <= below_lid)
        .map(|p| p[0])
        .collect();
    let leg: Vec<f64> = wall[..=at].iter().rev().map(|p| p[0]).collect();
    let volume = volume(&wall);
    Some(Measures {
        height,
        rim: pose.upper.map(|_| across(ends.upper.radius_px)),
        foot: Some(foot),
        widest,
        widest_at_px: wall[at][1],
        neck: narrowest(&shoulder).map(across),
        stem: narrowest(&leg).map(across),
        wall_angle_deg: wall_angle(&wall, off),
        corners: corners(&wall),
        volume_px3: [
            volume,
            // The errors have the same causes.
            volume * (2.0 * widest.error_px / widest.px + height.error_px / height.px),
        ],
        wall,
    })
}

/// The planes in which the body ends.
struct Ends {
    upper: Cap,
    lower: Cap,
    /// Whether the foot shows as half an ellipse.
    shows_foot: bool,
    /// Cosine of the elevation half way up.
    cosine: f64,
}

fn ends(profile: &Profile, pose: &Pose, elevation: f64) -> Ends {
    let body = profile.body();
    let step = profile.step_px();
    // Above: the rim's half ellipse; a lid ends in a point or a knob.
    let upper = pose.upper.map_or(
        Cap {
            radius_px: body[0],
            sag_px: 0.0,
            edge_px: 0.0,
            residual: 0.0,
        },
        |cap| widened(cap, body, step, LIP),
    );
    // Below: the half ellipse of the foot, if it was seen as steeply as it should.
    let below: Vec<f64> = body.iter().rev().copied().collect();
    let expected = elevation + pose::nearness_rad(profile);
    let fitted = pose.lower.or_else(|| rim::cap(&below, step)).filter(|cap| {
        let found = cap.elevation_deg().to_radians();
        found > elevation - UNLIKELY_RAD && found < expected + UNLIKELY_RAD
    });
    let lower = fitted.map_or_else(
        || hidden_foot(&below, step, expected),
        // Few rows tell little of the curve, but all of the width.
        |cap| {
            if cap.sag_px / step < FEW_ROWS {
                widened(cap, &below, step, FOOT)
            } else {
                cap
            }
        },
    );
    let middle = (elevation + lower.elevation_deg().to_radians()) / 2.0;
    Ends {
        upper,
        lower,
        shows_foot: fitted.is_some(),
        cosine: middle.cos(),
    }
}

/// The circle with the greatest radius that `half_px` comes to just beyond its
/// plane: within a `share` of the radius.
fn widened(cap: Cap, half_px: &[f64], step: f64, share: f64) -> Cap {
    let within = (cap.sag_px + cap.edge_px + share * cap.radius_px) / step;
    let rows = half_px.iter().take(within as usize).copied();
    Cap {
        radius_px: rows.fold(cap.radius_px, f64::max),
        ..cap
    }
}

/// The circle of a foot whose sides a wide body hides: from its lowest part, at
/// the elevation at which it should be seen.
fn hidden_foot(below: &[f64], step: f64, elevation: f64) -> Cap {
    let sine = elevation.sin();
    // Width w at depth d of an ellipse that is sine times as high as it is wide.
    let radius = |row: usize| {
        let d = (row as f64 + 0.5) * step;
        (below[row].powi(2) + (d / sine).powi(2)) * sine / (2.0 * d)
    };
    // The body only widens what shows of it. The first row is too near the edge.
    let reach = ((0.5 * radius(4) * sine / step) as usize).clamp(4, below.len() - 1);
    let radius_px = (1..=reach).map(radius).fold(f64::INFINITY, f64::min);
    Cap {
        radius_px,
        sag_px: radius_px * sine,
        edge_px: 0.0,
        residual: 0.0,
    }
}

/// The wall between the planes of foot and rim.
fn wall(profile: &Profile, ends: &Ends) -> Vec<[f64; 2]> {
    let step = profile.step_px();
    let n = profile.body().len();
    let (low, high) = (ends.lower.sag_px, n as f64 * step - ends.upper.sag_px);
    let mut wall = vec![[ends.lower.radius_px, 0.0]];
    for (i, half) in profile.body().iter().rev().enumerate() {
        let y = (i as f64 + 0.5) * step;
        if y > low && y < high - ends.upper.edge_px {
            wall.push([*half, (y - low) / ends.cosine]);
        }
    }
    // The rim's edge is a quarter of a circle, which the ellipse hides.
    let (top, edge) = ((high - low) / ends.cosine, ends.upper.edge_px);
    for part in 0..=EDGE_PARTS {
        let (sin, cos) = (f64::from(part) / f64::from(EDGE_PARTS) * FRAC_PI_2).sin_cos();
        wall.push([
            ends.upper.radius_px - edge * (1.0 - cos),
            top - edge * (1.0 - sin),
        ]);
    }
    wall
}

/// The least of `half` if it is narrower than what lies on both sides of it.
fn narrowest(half: &[f64]) -> Option<f64> {
    let (at, least) = half
        .iter()
        .copied()
        .enumerate()
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let beyond = half[at..].iter().copied().fold(0.0, f64::max);
    let before = half[..=at].iter().copied().fold(0.0, f64::max);
    (least < NECK * beyond && least < NECK * before).then_some(least)
}

/// The slope of a straight line through the middle third.
fn wall_angle(wall: &[[f64; 2]], off: f64) -> Option<[f64; 2]> {
    let top = wall.last()?[1];
    let middle: Vec<[f64; 2]> = wall
        .iter()
        .copied()
        .filter(|p| (top / 3.0..=2.0 * top / 3.0).contains(&p[1]))
        .collect();
    if middle.len() < 5 {
        return None;
    }
    let n = middle.len() as f64;
    let mean = [0, 1].map(|k| middle.iter().map(|p| p[k]).sum::<f64>() / n);
    let (mut cross, mut square) = (0.0, 0.0);
    for p in &middle {
        cross += (p[0] - mean[0]) * (p[1] - mean[1]);
        square += (p[1] - mean[1]).powi(2);
    }
    let slope = cross / square.max(1e-9);
    let error = (off / 2.0 / (top / 3.0)).atan().to_degrees();
    Some([slope.atan().to_degrees(), error])
}

/// Bends of more than a third of a right angle within a twentieth of the wall.
fn corners(wall: &[[f64; 2]]) -> Vec<Corner> {
    const POINTS: usize = 240;
    const REACH: usize = 7;
    const LEAST_DEG: f64 = 30.0;
    let even = evenly(wall, POINTS);
    let turn = |i: usize| {
        let heading = |a: [f64; 2], b: [f64; 2]| (b[1] - a[1]).atan2(b[0] - a[0]);
        let before = heading(even[i - REACH], even[i]);
        let after = heading(even[i], even[i + REACH]);
        let turn = (before - after).to_degrees();
        (turn + 540.0).rem_euclid(360.0) - 180.0
    };
    let turns: Vec<f64> = (0..even.len())
        .map(|i| {
            if (REACH..even.len().saturating_sub(REACH)).contains(&i) {
                turn(i)
            } else {
                0.0
            }
        })
        .collect();
    (REACH..turns.len().saturating_sub(REACH))
        .filter(|i| {
            let around = &turns[i - REACH..=i + REACH];
            let most = around.iter().map(|t| t.abs()).fold(0.0, f64::max);
            turns[*i].abs() >= LEAST_DEG
                && turns[*i].abs() >= most
                && !turns[i - REACH..*i].iter().any(|t| t.abs() >= most)
        })
        .map(|i| Corner {
            height_px: even[i][1],
            half_px: even[i][0],
            turn_deg: turns[i],
        })
        .collect()
}

/// Points at equal distances along an open line.
fn evenly(line: &[[f64; 2]], count: usize) -> Vec<[f64; 2]> {
    let length = |a: [f64; 2], b: [f64; 2]| (b[0] - a[0]).hypot(b[1] - a[1]);
    let total: f64 = line.windows(2).map(|p| length(p[0], p[1])).sum();
    let mut points = Vec::with_capacity(count);
    let mut walked = 0.0;
    for pair in line.windows(2) {
        let step = length(pair[0], pair[1]);
        while points.len() < count {
            let wanted = points.len() as f64 * total / (count - 1) as f64;
            if wanted > walked + step || step <= 0.0 {
                break;
            }
            let t = (wanted - walked) / step;
            points.push([0, 1].map(|k| pair[0][k] + t * (pair[1][k] - pair[0][k])));
        }
        walked += step;
    }
    points
}

/// Volume of a line turned about the axis, closed by level planes at its ends:
/// the sum of frusta, which is Pappus' theorem for a polygon. Points are
/// half-width and height; the unit of the result is that of the points cubed.
pub fn volume(line: &[[f64; 2]]) -> f64 {
    line.windows(2)
        .map(|p| {
            let ([r0, h0], [r1, h1]) = (p[0], p[1]);
            std::f64::consts::PI / 3.0 * (h1 - h0) * (r0 * r0 + r0 * r1 + r1 * r1)
        })
        .sum::<f64>()
        .abs()
}

/// How softly a mask ends: half the width over which it falls from three
/// quarters to one quarter, pixels, and half a pixel at the least.
pub fn softness_px(mask: &[u8], perimeter_px: f64) -> f64 {
    let between = mask.iter().filter(|v| (64..192).contains(*v)).count();
    (between as f64 / perimeter_px.max(1.0) / 2.0).max(0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed forms in mm and mL: cylinder d 80 x h 90, frustum R 75 r 40 h 60,
    /// cap of height 40 of a sphere of radius 100, hemisphere of radius 60, and
    /// the latter's error as a polygon of 5, 10 and 20 sides.
    #[test]
    fn volumes_agree_with_closed_forms() {
        let ml = |line: &[[f64; 2]]| volume(line) / 1000.0;
        assert!((ml(&[[40.0, 0.0], [40.0, 90.0]]) - 452.389).abs() < 1e-3);
        assert!((ml(&[[40.0, 0.0], [75.0, 60.0]]) - 642.456).abs() < 1e-3);
        let sphere = |radius: f64, from: f64, sides: usize| -> Vec<[f64; 2]> {
            let start = (from / radius).acos();
            (0..=sides)
                .map(|i| start * i as f64 / sides as f64)
                .map(|a| [radius * a.sin(), radius * (1.0 - a.cos())])
                .collect()
        };
        assert!((ml(&sphere(100.0, 60.0, 20_000)) - 435.634).abs() < 1e-3);
        for (sides, percent) in [(5, -2.447), (10, -0.616), (20, -0.154)] {
            let error = (ml(&sphere(60.0, 0.0, sides)) / 452.389 - 1.0) * 100.0;
            assert!((error - percent).abs() < 0.001, "{error} for {percent}");
        }
    }

    #[test]
    fn corners_are_where_the_wall_bends() {
        let wall = [[20.0, 0.0], [20.0, 10.0], [60.0, 30.0], [60.0, 90.0]];
        let found = corners(&wall);
        assert_eq!(found.len(), 2, "{found:?}");
        assert!((found[0].height_px - 10.0).abs() < 1.0 && found[0].turn_deg > 50.0);
        assert!((found[1].height_px - 30.0).abs() < 1.0 && found[1].turn_deg < -50.0);
    }

    #[test]
    fn a_cylinder_has_no_neck_and_a_jar_has_one() {
        assert_eq!(narrowest(&[50.0, 50.0, 49.9]), None);
        assert_eq!(narrowest(&[80.0, 60.0, 40.0, 45.0]), Some(40.0));
        assert_eq!(narrowest(&[]), None);
    }
}
