//! Measures of rendered ware against what the ware was made from.
//!
//! The studio's camera stands level with the middle of the piece, or 10 degrees
//! above it, ten times the piece's size away, with the handle out to the side
//! (only what lies in the plane of the scale is measured). The truth is the
//! section that was turned, and for the height the clay itself. The ware is plain
//! and round: facets, waves and ribs are not turned. Rules were chosen on shapes
//! of other seeds, from six times the size away.

use std::{f32::consts::PI, sync::Arc};

use footring::outline::{
    measure::{self, Length},
    pose::{self, Pose, TILTED_DEG, View},
    trace,
};
use footring_studio::{
    backdrop::Backdrop,
    camera::Camera,
    form::Form,
    glaze::{Glaze, Ground, Treatment},
    light::Rig,
    pattern::Pattern,
    photo::Piece,
    rng::Rng,
    scene::{Item, Scene},
    shape::{Emboss, Rim, Shape},
    solid::Solid,
    trace::render,
    vec3::v3,
};

/// Side of the pictures, pixels.
const SIDE: usize = 600;
/// How far the camera is, in sizes of the piece.
const AWAY: f32 = 10.0;
/// Seeds of the shapes.
const SEEDS: std::ops::Range<u64> = 700..704;

const FORMS: [Form; 8] = [
    Form::Teacup,
    Form::Mug,
    Form::CerealBowl,
    Form::Creamer,
    Form::Jug,
    Form::CoffeePot,
    Form::Teapot,
    Form::SugarBowl,
];

/// A measure with its truth.
struct Found {
    what: &'static str,
    name: String,
    /// Share of the truth by which it is off.
    error: f64,
    /// Share of the truth by which it says it may be off.
    sigma: f64,
}

fn piece(form: Form, seed: u64) -> Piece {
    let mut shape = Shape::random("s", &mut Rng::new(seed));
    shape.rim = Rim::Plain;
    shape.emboss = Emboss::None;
    let ground = Ground {
        glaze: Glaze::new("white", 0xeeeeee),
        treatment: Treatment::AllOver,
    };
    Piece::ware("p", &shape, form, &ground, &Pattern::plain())
}

/// The highest clay as seen on the axis, mm, to a fiftieth: a lip that rises to one
/// side does not count, a knob does.
fn top_mm(solid: &Solid) -> f64 {
    let mut top = 0.0f32;
    let mut z = solid.low.z;
    while z < solid.high.z {
        let mut y = solid.high.y + 1.0;
        // Steps of the distance end at the surface.
        while y > top {
            let d = solid.distance(v3(0.0, y, z));
            if d < 0.02 {
                top = y;
                break;
            }
            y -= (0.7 * d).max(0.02);
        }
        z += 0.5;
    }
    f64::from(top)
}

/// A piece as the camera shows it.
struct Shown {
    piece: Piece,
    mm_per_px: f64,
    pose: Pose,
    /// Width of its edge.
    edge_px: f64,
    /// Where the camera is: height above the table and distance from the axis.
    camera_mm: [f64; 2],
}

fn show(form: Form, seed: u64, elevation_deg: f32) -> Shown {
    let piece = piece(form, seed);
    let (low, high) = (piece.solid.low, piece.solid.high);
    let height = high.y;
    let item = Item::new(
        Arc::clone(&piece.solid),
        Arc::clone(&piece.finish),
        v3(0.0, 0.0, 0.0),
        0.0,
    );
    let mut rng = Rng::new(3);
    let mut camera = Camera {
        azimuth_rad: PI * 0.5,
        elevation_rad: elevation_deg.to_radians(),
        roll_rad: 0.0,
        target: v3(0.0, height * 0.5, 0.0),
        distance_mm: AWAY * height.max(high.x - low.x),
        focal_mm: 36.0 * AWAY * 0.75,
        width: SIDE,
        height: SIDE,
        shift: [0.0, 0.0],
    };
    let middle = v3((low.x + high.x) * 0.5, height * 0.5, 0.0);
    let middle = camera.view().project(middle);
    camera.shift = [SIDE as f32 * 0.5 - middle[0], SIDE as f32 * 0.5 - middle[1]];
    let mm_per_px = f64::from(camera.mm_per_px(v3(0.0, height * 0.5, 0.0)));
    let eye = camera.view().eye;
    let frame = render(&Scene {
        items: vec![item],
        backdrop: Backdrop::named("paper sweep", &mut rng),
        rig: Rig::named("overcast", PI * 0.5, &mut rng),
        camera,
    });
    let mask = &frame.masks[0];
    let outline = trace(mask, SIDE).unwrap();
    Shown {
        piece,
        mm_per_px,
        pose: pose::read(&outline),
        edge_px: measure::softness_px(mask, outline.perimeter_px()),
        camera_mm: [eye.y, eye.x.hypot(eye.z)].map(f64::from),
    }
}

fn found(form: Form, seed: u64, elevation_deg: f32) -> Vec<Found> {
    let shown = show(form, seed, elevation_deg);
    let (mm, piece) = (shown.mm_per_px, &shown.piece);
    let Some(m) = measure::measure(&shown.pose, shown.edge_px) else {
        return Vec::new();
    };
    let section = &piece.solid.bodies[0].section;
    let wall: Vec<[f64; 2]> = section.points[section.foot..=section.rim]
        .iter()
        .map(|p| p.map(f64::from))
        .collect();
    let rim_mm = wall.iter().map(|p| p[1]).fold(0.0, f64::max);
    let widest_mm = |low: f64, high: f64| {
        let between = wall.iter().filter(|p| (low..=high).contains(&p[1]));
        2.0 * between.map(|p| p[0]).fold(0.0, f64::max)
    };
    let one = |what, length: Option<Length>, truth: f64| {
        length.map(|length| Found {
            what,
            name: format!("{} {seed}", form.name()),
            error: length.px * mm / truth - 1.0,
            sigma: length.error_px * mm / truth,
        })
    };
    let volume = Length {
        px: m.volume_px3[0] * mm * mm,
        error_px: m.volume_px3[1] * mm * mm,
    };
    let is_open = piece.solid.bodies.len() == 1;
    // From above, a lip's height depends on where its rim lies, which is not seen.
    let has_lip = matches!(form, Form::Jug | Form::Creamer);
    let height = if has_lip { "height of a lip" } else { "height" };
    [
        one(height, Some(m.height), top_mm(&piece.solid)),
        // A foot is rounded off below.
        one("foot", m.foot, widest_mm(0.0, 0.02 * rim_mm)),
        one("greatest", Some(m.widest), widest_mm(0.0, rim_mm)),
        // The lip is widest somewhat below its top.
        one(
            "rim",
            m.rim.filter(|_| is_open),
            widest_mm(0.94 * rim_mm, rim_mm),
        ),
        one(
            "volume",
            (is_open && !has_lip).then_some(volume),
            measure::volume(&wall),
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// All measures of what was rendered at an elevation.
fn all(elevation_deg: f32) -> Vec<Found> {
    FORMS
        .iter()
        .flat_map(|form| SEEDS.flat_map(|seed| found(*form, seed, elevation_deg)))
        .collect()
}

/// Holds the measures that say they are sure to within `sure` to `most`: at least
/// `least` of them, five in six, and none off by half as much again. What spout and handle
/// hide on both sides, the height of a lip and a foot under a wide bowl say
/// themselves that they are unsure.
fn check(found: &[Found], what: &str, [sure, most]: [f64; 2], least: usize) {
    let sure: Vec<&Found> = found
        .iter()
        .filter(|f| f.what == what && f.sigma < sure)
        .collect();
    let off: Vec<String> = sure
        .iter()
        .filter(|f| f.error.abs() > most)
        .map(|f| format!("{} {:+.4}", f.name, f.error))
        .collect();
    assert!(sure.len() >= least, "{what}: {} are sure", sure.len());
    assert!(
        6 * off.len() <= sure.len(),
        "{what}: {off:?} of {}",
        sure.len()
    );
    let worst = sure.iter().map(|f| f.error.abs()).fold(0.0, f64::max);
    assert!(worst < 1.5 * most, "{what}: {off:?}");
}

/// An uncertainty is about one standard deviation: nineteen in twenty lie within
/// two.
fn check_doubts(found: &[Found]) {
    let far: Vec<String> = found
        .iter()
        .filter(|f| f.error.abs() > 2.0 * f.sigma)
        .map(|f| format!("{} of {} {:+.4}, {:.4}", f.what, f.name, f.error, f.sigma))
        .collect();
    assert!(20 * far.len() <= found.len(), "{far:?} of {}", found.len());
}

#[test]
fn level_ware_is_measured_within_one_percent() {
    let found = all(0.0);
    for (what, least) in [("height", 14), ("foot", 24), ("greatest", 12), ("rim", 12)] {
        check(&found, what, [0.015, 0.01], least);
    }
    check(&found, "volume", [0.05, 0.05], 12);
    check_doubts(&found);
}

#[test]
fn ware_seen_from_ten_degrees_is_measured_within_three_percent() {
    let found = all(10.0);
    for (what, least) in [("height", 14), ("foot", 24), ("greatest", 12), ("rim", 12)] {
        check(&found, what, [0.03, 0.03], least);
    }
    check_doubts(&found);
}

/// Elevations of the camera above the plane of a plate's, bowl's or cup's rim,
/// degrees, as its pose tells them, each with the true one.
fn elevations(form: Form, elevation_deg: f32) -> Vec<(Pose, f64)> {
    SEEDS
        .map(|seed| {
            let shown = show(form, seed, elevation_deg);
            let rim_mm = f64::from(shown.piece.solid.bodies[0].rim_mm());
            let [height_mm, away_mm] = shown.camera_mm;
            let truth = (height_mm - rim_mm).atan2(away_mm).to_degrees();
            (shown.pose, truth)
        })
        .collect()
}

#[test]
fn the_rim_tells_where_the_camera_stood() {
    // A plate 14.1 degrees off square is 0.97 as wide as long (closed form). From 35
    // degrees on a foot and a curved wall make the lower half of the ellipse.
    for (form, elevation_deg, most_deg) in [
        (Form::DinnerPlate, 90.0 - 14.1, 0.5),
        (Form::DinnerPlate, 30.0, 1.0),
        (Form::CerealBowl, 12.0, 1.0),
        (Form::CerealBowl, 20.0, 1.0),
        (Form::CerealBowl, 35.0, 2.5),
        (Form::Mug, 12.0, 1.0),
        (Form::Mug, 20.0, 1.0),
        (Form::Mug, 35.0, 2.5),
        (Form::Teacup, 20.0, 1.0),
    ] {
        let what = format!("{} at {elevation_deg}", form.name());
        let found = elevations(form, elevation_deg);
        let mut errors: Vec<f64> = found
            .iter()
            .map(|(pose, truth)| (pose.elevation_deg.unwrap_or(f64::NAN) - truth).abs())
            .collect();
        errors.sort_by(f64::total_cmp);
        assert!(errors[2] < most_deg, "{what}: {errors:?}");
        assert!(errors[3] < 2.5 * most_deg, "{what}: {errors:?}");
        let is_warned = f64::from(elevation_deg.min(90.0 - elevation_deg)) > TILTED_DEG;
        let warned = found.iter().filter(|(pose, _)| pose.is_tilted()).count();
        assert_eq!(warned, if is_warned { found.len() } else { 0 }, "{what}");
    }
    // A plate 0.90 as wide as long may be an oval one seen square on: nothing is said.
    for (pose, _) in elevations(Form::DinnerPlate, 90.0 - 25.8) {
        assert_eq!((pose.view, pose.elevation_deg), (View::Unknown, None));
    }
}
