//! How a piece was seen: from which side, how steeply, and about which axis.
//!
//! The view is read from the circles of the piece: the rim (and the foot) of
//! ware turned about an axis shows as an ellipse whose minor over major axis is
//! the sine of the camera's elevation above its plane. Ware that is not round
//! (oval platters, gravy boats) breaks that rule; where the signs contradict
//! each other the view is unknown.

use serde::{Deserialize, Serialize};

use super::{
    Outline,
    axis::{self, Axis},
    lip,
    profile::{self, Profile},
    rim::{self, Cap, Ellipse, Round},
};

/// From where a piece was seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum View {
    /// Level with the piece, or nearly.
    Side,
    /// From above at an angle: the rim is an ellipse.
    Oblique,
    /// Square on from above.
    Top,
    /// Not told.
    #[default]
    Unknown,
}

impl View {
    /// The view that a label names; unknown if it names none of these.
    pub fn named(name: &str) -> Self {
        match name.trim().to_lowercase().as_str() {
            "side" => Self::Side,
            "oblique" => Self::Oblique,
            "top" => Self::Top,
            _ => Self::Unknown,
        }
    }

    /// Its name; `None` where it is unknown.
    pub fn name(self) -> Option<&'static str> {
        match self {
            Self::Side => Some("side"),
            Self::Oblique => Some("oblique"),
            Self::Top => Some("top"),
            Self::Unknown => None,
        }
    }
}

/// The pose of a piece.
#[derive(Clone, Debug)]
pub struct Pose {
    /// From where it was seen.
    pub view: View,
    /// Elevation of the camera above the plane of the rim (or of the foot where
    /// the rim does not show), degrees: 0 is level, 90 straight from above.
    pub elevation_deg: Option<f64>,
    /// Uncertainty of the elevation, degrees.
    pub elevation_error_deg: f64,
    /// The axis of symmetry; of no meaning from straight above.
    pub axis: Option<Axis>,
    /// The rim as an ellipse, pixels of the cutout.
    pub rim: Option<Ellipse>,
    /// The end of the body above, where it is half an ellipse.
    pub upper: Option<Cap>,
    /// The end of the body below, where it is half an ellipse.
    pub lower: Option<Cap>,
    /// The body's profile about the axis.
    pub profile: Option<Profile>,
}

/// Up to this elevation a view counts as from the side. On rendered ware at 10
/// degrees, height and foot were within 3 % in the median, the rim and lipped
/// pieces often not.
const SIDE_DEG: f64 = 10.0;
/// Beyond this angle off level (or off square) an outline is no longer the
/// profile (or the plan).
pub const TILTED_DEG: f64 = 15.0;
/// From this elevation on a view counts as from the top.
const TOP_DEG: f64 = 65.0;
/// Fewer rows in agreement are no symmetry.
const LEAST_SUPPORT: f64 = 0.3;
/// The whole outline is an ellipse if half of it is within this share of one.
const ROUND: f64 = 0.028;
/// A lip's remainder widens by this much within this share of its radius.
const LIP_WIDENS: f64 = 1.2;
const LIP_REACH: f64 = 0.6;
/// Uncertainty of the radius of a rounded edge, as a share.
const EDGE: f64 = 0.3;
/// A foot is narrower than this share of the body.
const FOOT: f64 = 0.85;
/// How far the lowest and highest part may be cut flat in something round.
const CUT: f64 = -0.04;

impl Pose {
    /// Degrees off the nearer of level and square-on.
    pub fn tilt_deg(&self) -> Option<f64> {
        self.elevation_deg.map(|e| e.min(90.0 - e))
    }

    /// Whether the camera was so far off level and square-on that the outline
    /// misleads.
    pub fn is_tilted(&self) -> bool {
        self.view != View::Unknown && self.tilt_deg().is_some_and(|t| t > TILTED_DEG)
    }
}

/// Reads the pose of an outline.
pub fn read(outline: &Outline) -> Pose {
    let axis = axis::find(outline);
    let profile = axis.and_then(|axis| profile::read(outline, &axis));
    let ends = profile.as_ref().map(|p| {
        let mut below = p.body().to_vec();
        below.reverse();
        (
            lip::lip(p.body(), p.step_px()).filter(|cap| is_rim(p, cap)),
            rim::cap(&below, p.step_px()),
        )
    });
    let (upper, lower) = ends.unwrap_or_default();
    let mut pose = Pose {
        view: View::Unknown,
        elevation_deg: None,
        elevation_error_deg: 0.0,
        axis,
        rim: None,
        upper,
        lower,
        profile,
    };
    let round = rim::whole(outline);
    match round.filter(|round| is_round(round) && !is_half(round, pose.upper)) {
        Some(round) => from_above(&mut pose, &round),
        None => from_side(&mut pose),
    }
    pose
}

/// Whether the body's upper end is a rim, and not what the lip of a jug leaves
/// when it rises on one side: that goes on to widen, and the other side more.
fn is_rim(profile: &Profile, cap: &Cap) -> bool {
    let row = |px: f64| profile.first + (px / profile.step_px()) as usize;
    let (depth, below) = (cap.sag_px + cap.edge_px, LIP_REACH * cap.radius_px);
    let rows = row(depth)..row(depth + below).min(profile.end);
    let widens = rows
        .clone()
        .any(|row| profile.half_px[row] > LIP_WIDENS * cap.radius_px);
    let agree = rows.clone().filter(|row| profile.sides_agree(*row));
    !widens || 2 * agree.count() > rows.len()
}

fn is_round(round: &Round) -> bool {
    let whole = round.residual < ROUND && round.below > CUT && round.above > CUT;
    // A cup from above has its handle anywhere; a dish with a knob is no plate.
    let ratio = round.ellipse.minor_px / round.ellipse.major_px;
    if ratio > TOP_DEG.to_radians().sin() {
        whole && round.support > 0.72
    } else {
        whole && round.support > 0.9 && round.below < -CUT && round.above < -CUT
    }
}

/// Whether the upper half alone is a far better ellipse, of another shape: a
/// bowl at an angle, whose body happens to round it off below.
fn is_half(round: &Round, upper: Option<Cap>) -> bool {
    let whole = round.ellipse.elevation_deg();
    upper
        .is_some_and(|cap| cap.residual < 0.6 * round.residual && cap.elevation_deg() + 8.0 < whole)
}

/// The whole outline is one ellipse: a plate, or hollowware from above.
fn from_above(pose: &mut Pose, round: &Round) {
    let ratio = round.ellipse.minor_px / round.ellipse.major_px;
    let elevation = round.ellipse.elevation_deg();
    let lies = round.ellipse.turn_rad.to_degrees().abs();
    pose.rim = Some(round.ellipse);
    if elevation >= TOP_DEG {
        pose.view = View::Top;
    } else if (20.0..70.0).contains(&lies) {
        // Nothing round shows as an ellipse that lies across: an oval piece.
        pose.view = View::Top;
        return;
    } else if lies >= 70.0 {
        // An egg on its end: not told by its outline.
        pose.rim = None;
        return;
    } else if elevation > 45.0 {
        // A round piece at an angle, or an oval one from straight above.
        return;
    } else {
        pose.view = View::Oblique;
        if elevation <= SIDE_DEG {
            pose.view = View::Side;
        }
    }
    pose.elevation_deg = Some(elevation);
    // The error of a sine near 1 is large.
    pose.elevation_error_deg = spread(ratio, round.residual.max(0.004));
}

/// The ends of a body of rotation tell how steeply it was seen.
fn from_side(pose: &mut Pose) {
    let Some((axis, profile)) = pose.axis.as_ref().zip(pose.profile.as_ref()) else {
        return;
    };
    if axis.support < LEAST_SUPPORT {
        return;
    }
    // A base as wide as the body may be rounded: only a foot is a circle for sure.
    let foot = pose
        .lower
        .filter(|c| c.radius_px < FOOT * profile.widest_px());
    let upper = pose.upper.map(|c| (c, c.elevation_deg()));
    // From nearby the foot is seen more steeply than the rim.
    let low = |c: Cap| (c.elevation_deg() - nearness_rad(profile).to_degrees()).max(0.0);
    let lower = foot.map(|c| (c, low(c)));
    // A domed lid looks like half a rim: where the foot is seen far flatter, the
    // foot is the truth.
    let (cap, elevation, is_upper) = match (upper, lower) {
        (Some((_, up)), Some((l, low))) if up > low + 12.0 && up > 2.0 * low => (l, low, false),
        (Some((u, up)), _) => (u, up, true),
        (None, Some((l, low))) => (l, low, false),
        (None, None) => return,
    };
    if !is_upper {
        pose.upper = None;
    }
    pose.view = if elevation <= SIDE_DEG {
        View::Side
    } else if elevation < TOP_DEG {
        View::Oblique
    } else {
        View::Unknown
    };
    if pose.view == View::Unknown {
        return;
    }
    pose.elevation_deg = Some(elevation);
    let ratio = cap.sag_px / cap.radius_px;
    let pixel = 0.7 / cap.radius_px;
    pose.elevation_error_deg = spread(
        ratio,
        pixel
            .hypot(cap.residual * ratio)
            .hypot(EDGE * cap.edge_px / cap.radius_px),
    );
    if !is_upper {
        pose.elevation_error_deg += nearness_rad(profile).to_degrees() / 2.0;
    }
    if is_upper && elevation > 2.0 {
        let y = profile.rows.top_px + profile.first as f64 * profile.step_px() + cap.sag_px;
        pose.rim = Some(Ellipse {
            centre_px: profile.rows.back([profile.axis_px, y]),
            major_px: cap.radius_px,
            minor_px: cap.sag_px,
            turn_rad: axis.lean_rad,
        });
    }
}

/// How much more steeply the foot is seen than the rim, radians, from where
/// pieces are usually photographed: some eight times their size away (common
/// practice, no source).
pub fn nearness_rad(profile: &Profile) -> f64 {
    let height = profile.body().len() as f64 * profile.step_px();
    let size = height.max(2.0 * profile.widest_px());
    (height / (8.0 * size)).atan()
}

/// Degrees by which an elevation moves when its sine moves by `error`.
fn spread(sine: f64, error: f64) -> f64 {
    let at = |s: f64| s.clamp(0.0, 1.0).asin().to_degrees();
    (at(sine + error) - at(sine - error)) / 2.0
}

#[cfg(test)]
mod tests {
    use super::{super::rim::tests::drawn, *};

    fn ellipse(ratio: f64, turn_deg: f64) -> Ellipse {
        Ellipse {
            centre_px: [400.0, 300.0],
            major_px: 200.0,
            minor_px: 200.0 * ratio,
            turn_rad: f64::to_radians(turn_deg),
        }
    }

    #[test]
    fn a_view_is_known_by_its_name_and_anything_else_is_not_told() {
        for view in [View::Side, View::Oblique, View::Top] {
            assert_eq!(View::named(view.name().unwrap()), view);
        }
        assert_eq!(View::named(" Side "), View::Side);
        for name in ["", "base", "unknown"] {
            assert_eq!(View::named(name), View::Unknown);
        }
        assert_eq!(View::Unknown.name(), None);
    }

    /// Closed form: minor over major axis is the cosine of the angle off square.
    #[test]
    fn the_rim_tells_how_far_off_square_a_plate_was_seen() {
        for (ratio, off_deg) in [(0.97, 14.1), (0.90, 25.8)] {
            let off = 90.0 - ellipse(ratio, 0.0).elevation_deg();
            assert!((off - off_deg).abs() < 0.05, "{off} for {ratio}");
        }
        let pose = read(&drawn(&ellipse(0.97, 0.0)));
        assert_eq!(pose.view, View::Top);
        assert!((pose.tilt_deg().unwrap() - 14.1).abs() < 0.3, "{pose:?}");
        assert!(!pose.is_tilted());
    }

    #[test]
    fn views_of_flat_ware_are_told_as_far_as_an_ellipse_tells() {
        let view = |ratio, turn| read(&drawn(&ellipse(ratio, turn))).view;
        assert_eq!(view(0.45, 0.0), View::Oblique);
        // Oval, and turned: nothing round shows so.
        assert_eq!(view(0.7, 45.0), View::Top);
        // A round plate at an angle, or an oval one square on.
        assert_eq!(view(0.8, 0.0), View::Unknown);
        assert!(read(&drawn(&ellipse(0.45, 0.0))).is_tilted());
    }

    /// A beaker of radius 100 and height 180, seen from far off at an elevation.
    fn beaker(elevation_deg: f64) -> Outline {
        let (sin, cos) = elevation_deg.to_radians().sin_cos();
        let arc = |from: f64, y: f64| {
            (0..=180).map(move |i| from + f64::from(i)).map(move |deg| {
                let (s, c) = deg.to_radians().sin_cos();
                [(300.0 + 100.0 * c) as f32, (y - 100.0 * sin * s) as f32]
            })
        };
        let outer = arc(0.0, 200.0)
            .chain(arc(180.0, 200.0 + 180.0 * cos))
            .collect();
        Outline {
            outer,
            holes: vec![],
        }
    }

    /// Closed form: the rim of a cylinder far off is an ellipse with axes in the
    /// ratio of the sine. A sharp edge is taken for a rounded lip, 1 degree less.
    #[test]
    fn a_beaker_seen_from_above_tells_the_elevation_and_its_measures() {
        for (deg, view) in [(4.0, View::Side), (8.0, View::Side), (30.0, View::Oblique)] {
            let pose = read(&beaker(deg));
            let found = pose.elevation_deg.unwrap();
            assert_eq!(pose.view, view, "{deg}");
            assert!((found - deg).abs() < 1.6, "{found} for {deg}");
            assert_eq!(pose.is_tilted(), deg > 15.0);
            let m = super::super::measure::measure(&pose, 0.5).unwrap();
            assert!((m.widest.px / 200.0 - 1.0).abs() < 0.01, "{deg}: {m:?}");
            assert!((m.height.px / 180.0 - 1.0).abs() < 0.03, "{deg}: {m:?}");
        }
    }
}
