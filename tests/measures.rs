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
    measure::{self, Length, Measures},
    pose, trace,
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

fn measured(form: Form, seed: u64, elevation_deg: f32) -> Option<(f64, Measures, Piece)> {
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
    let frame = render(&Scene {
        items: vec![item],
        backdrop: Backdrop::named("paper sweep", &mut rng),
        rig: Rig::named("overcast", PI * 0.5, &mut rng),
        camera,
    });
    let mask = &frame.masks[0];
    let outline = trace(mask, SIDE).unwrap();
    let edge_px = measure::softness_px(mask, outline.perimeter_px());
    let measures = measure::measure(&pose::read(&outline), edge_px)?;
    Some((mm_per_px, measures, piece))
}

fn found(form: Form, seed: u64, elevation_deg: f32) -> Vec<Found> {
    let Some((mm, m, piece)) = measured(form, seed, elevation_deg) else {
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
