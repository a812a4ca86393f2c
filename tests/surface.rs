//! The straightened surface against what is known of it: a cylinder with a checker
//! seen by a known camera, an ellipse with spokes and rings, and the studio's ware,
//! of which every pixel's zone and place are known.

mod cut;

use std::{f32::consts::PI, sync::Arc};

use footring::{
    colour::Balance,
    cutout::{Cutout, Origin},
    outline::{
        Outline,
        pose::{self, View},
        rim::Ellipse,
        trace,
    },
    surface::{self, Face, Strip, Zone, Zones},
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
    section,
    shape::{Emboss, Rim, Shape},
    solid::Part,
    trace::{hits, render},
    vec3::v3,
};
use image::{GrayImage, Luma, Rgb, RgbImage, imageops};

use cut::{cutout, outline_of};

/// A hollow cylinder of radius 1 and this height, its foot at 0.
const TALL: f64 = 1.7;
/// A pinhole camera so far from its middle, looking down at this angle.
const AWAY: f64 = 16.0;
const DOWN_DEG: f64 = 24.0;
/// Sides of the checker's fields, degrees of azimuth and share of the height.
const FIELD: [f64; 2] = [20.0, 0.125];

/// What a ray meets: the inside, or a place on the outside (azimuth in degrees, height).
enum Met {
    Inside,
    Outside(f64, f64),
}

/// Closed form: a line and a cylinder, a line and a plane.
fn meet(u: f64, v: f64) -> Option<Met> {
    let (sin, cos) = DOWN_DEG.to_radians().sin_cos();
    let eye = [0.0, TALL / 2.0 + AWAY * sin, AWAY * cos];
    let ray = [u, -sin + v * cos, -cos - v * sin];
    // The mouth is met before the wall in front of it is not.
    let mouth = (TALL - eye[1]) / ray[1];
    let at = |t: f64| [0, 1, 2].map(|k| eye[k] + t * ray[k]);
    let [x, _, z] = at(mouth);
    if x.hypot(z) < 1.0 {
        return Some(Met::Inside);
    }
    let (a, b) = (ray[0].powi(2) + ray[2].powi(2), eye[2] * ray[2]);
    let inner = b * b - a * (eye[2].powi(2) - 1.0);
    if inner < 0.0 {
        return None;
    }
    let [x, y, z] = at((-b - inner.sqrt()) / a);
    (0.0..=TALL)
        .contains(&y)
        .then(|| Met::Outside(x.atan2(z).to_degrees(), y))
}

fn is_dark(azimuth_deg: f64, down: f64) -> bool {
    let field = (azimuth_deg / FIELD[0]).floor() + (down / FIELD[1]).floor();
    field.rem_euclid(2.0) == 1.0
}

/// The cylinder photographed, 480 pixels square.
fn cylinder() -> Cutout {
    const SIDE: u32 = 480;
    const FINE: u32 = 4;
    let scale = 0.33 * f64::from(SIDE) * AWAY;
    let mut working = RgbImage::from_pixel(SIDE, SIDE, Rgb([120; 3]));
    let mut mask = GrayImage::new(SIDE, SIDE);
    for (x, y, pixel) in working.enumerate_pixels_mut() {
        let (mut met, mut sum) = (0, [0u32; 3]);
        for k in 0..FINE * FINE {
            let at = |p: u32, k: u32| {
                f64::from(p) + (f64::from(k) + 0.5) / f64::from(FINE) - f64::from(SIDE) / 2.0
            };
            let (u, v) = (at(x, k % FINE) / scale, -at(y, k / FINE) / scale);
            let rgb: [u8; 3] = match meet(u, v) {
                None => [120; 3],
                Some(Met::Inside) => [60, 80, 160],
                Some(Met::Outside(azimuth, height)) => {
                    match is_dark(azimuth, 1.0 - height / TALL) {
                        true => [60, 30, 30],
                        false => [230, 220, 200],
                    }
                }
            };
            met += u32::from(meet(u, v).is_some());
            (0..3).for_each(|i| sum[i] += u32::from(rgb[i]));
        }
        pixel.0 = sum.map(|v| (v / (FINE * FINE)) as u8);
        mask.put_pixel(x, y, Luma([(255 * met / (FINE * FINE)) as u8]));
    }
    cutout(working, mask)
}

/// Share of the seen cells of a strip, of those for which `wanted` has an answer, that
/// are dark or light as wanted; and how many there are.
fn agreement(strip: &Strip, wanted: impl Fn(f64, f64) -> Option<bool>) -> (f64, usize) {
    let (mut right, mut n) = (0, 0);
    for (column, row, pixel) in strip.picture.enumerate_pixels() {
        if strip.seen.get_pixel(column, row).0[0] == 0 {
            continue;
        }
        if let Some(dark) = wanted(f64::from(column) + 0.5, f64::from(row) + 0.5) {
            n += 1;
            right += usize::from((pixel.0[0] < 145) == dark);
        }
    }
    (right as f64 / n as f64, n)
}

#[test]
fn a_checker_on_a_cylinder_comes_back_straight() {
    let cutout = cylinder();
    let pose = pose::read(&outline_of(&cutout));
    assert_eq!(pose.view, View::Oblique);
    let zones = Zones::of(&outline_of(&cutout), &pose).unwrap();
    let strip = surface::outside(&cutout, zones.rings.as_ref().unwrap());
    let rows = f64::from(strip.picture.height());
    let middle = f64::from(strip.picture.width()) / 2.0;
    let (share, n) = agreement(&strip, |column, row| {
        let azimuth = ((column - middle) * strip.column_rad).to_degrees();
        // The lip, the foot and the far sides are where a pixel is many degrees.
        let down = row / rows;
        let inner = (0.03..0.97).contains(&down) && azimuth.abs() < 55.0;
        inner.then(|| is_dark(azimuth, down))
    });
    assert!(n > 40_000, "{n}");
    // Fields are 20 degrees and an eighth high: off by a tenth of a field along and
    // across, a fifth of the cells would be wrong; by chance half are right.
    assert!(share > 0.88, "{share}");
}

#[test]
fn the_mouth_of_a_cylinder_is_inside_and_its_wall_outside() {
    let cutout = cylinder();
    let outline = outline_of(&cutout);
    let seen = surface::read(
        &cutout,
        &outline,
        &pose::read(&outline),
        &Balance::default(),
        true,
    )
    .unwrap();
    let face = |wanted: Face| {
        let (_, patch) = seen.faces.iter().find(|(face, _)| *face == wanted).unwrap();
        (patch.share, patch.ground.clone().unwrap())
    };
    let (inside, outside) = (face(Face::Inside), face(Face::Outside));
    // The blue that was drawn, CIE L*a*b* by the sRGB formulas.
    assert!(
        inside.1.lab[2] < -35.0 && inside.1.share > 0.97,
        "{inside:?}"
    );
    assert!(
        outside.1.lab[2] > -5.0 && outside.0 > 2.0 * inside.0,
        "{outside:?}"
    );
    let shares: f32 = seen.seen.iter().map(|s| s.patch.share).sum();
    assert!((shares - 1.0).abs() < 1e-3, "{shares}");
}

/// Closed form: an ellipse is a circle seen at an angle, so spokes become columns and
/// smaller ellipses rows.
#[test]
fn spokes_and_rings_of_an_ellipse_become_columns_and_rows() {
    let ellipse = Ellipse {
        centre_px: [260.0, 200.0],
        major_px: 220.0,
        minor_px: 120.0,
        turn_rad: 0.3,
    };
    let (sin, cos) = ellipse.turn_rad.sin_cos();
    let polar = |x: u32, y: u32| {
        let (x, y) = (f64::from(x) + 0.5 - 260.0, f64::from(y) + 0.5 - 200.0);
        let (u, v) = ((x * cos + y * sin) / 220.0, (-x * sin + y * cos) / 120.0);
        (v.atan2(u).to_degrees(), u.hypot(v))
    };
    let dark = |deg: f64, r: f64| is_dark(deg.rem_euclid(360.0), 1.0 - r);
    let working = RgbImage::from_fn(520, 400, |x, y| {
        let (deg, r) = polar(x, y);
        Rgb(if dark(deg, r) { [40; 3] } else { [220; 3] })
    });
    let mask = GrayImage::from_fn(520, 400, |x, y| {
        Luma([if polar(x, y).1 < 1.05 { 255 } else { 0 }])
    });
    let strip = surface::within(&cutout(working, mask), &ellipse);
    let rows = f64::from(strip.picture.height());
    let (share, n) = agreement(&strip, |column, row| {
        let r = 1.0 - row / rows;
        // Near the middle a spoke is thinner than a pixel.
        (r > 0.25).then(|| dark((column * strip.column_rad).to_degrees(), r))
    });
    assert!(n > 80_000, "{n}");
    assert!(share > 0.95, "{share}");
}

#[test]
fn a_mirrored_photo_has_the_same_zones_and_a_turned_one_has_none_that_are_made_up() {
    let (own, mirrored) = {
        let own = cylinder();
        let mirrored = cutout(
            imageops::flip_horizontal(&own.working),
            imageops::flip_horizontal(&own.mask),
        );
        (own, mirrored)
    };
    let shares = |cutout: &Cutout| -> Vec<(Zone, f32)> {
        let outline = outline_of(cutout);
        let pose = pose::read(&outline);
        let seen = surface::read(cutout, &outline, &pose, &Balance::default(), true).unwrap();
        seen.seen.iter().map(|s| (s.zone, s.patch.share)).collect()
    };
    let (a, b) = (shares(&own), shares(&mirrored));
    assert_eq!(a.len(), b.len(), "{a:?} {b:?}");
    for ((zone, a), (other, b)) in a.into_iter().zip(b) {
        assert!(
            zone == other && (a - b).abs() < 0.01,
            "{zone:?} {a}, {other:?} {b}"
        );
    }
}

#[test]
fn what_shows_no_surface_or_no_pose_has_no_zones() {
    let own = cylinder();
    let outline = outline_of(&own);
    let pose = pose::read(&outline);
    let read = |cutout: &Cutout, outline: &Outline, pose: &pose::Pose| {
        surface::read(cutout, outline, pose, &Balance::default(), true).is_none()
    };
    let drawing = Cutout {
        origin: Origin::Drawing,
        ..own.clone()
    };
    assert!(read(&drawing, &outline, &pose));
    let unknown = pose::Pose {
        view: View::Unknown,
        ..pose
    };
    assert!(read(&own, &outline, &unknown));
}

/// A piece of the studio's, plain and round, seen at an angle, and what each pixel
/// of it shows.
fn ware(form: Form, seed: u64) -> (Vec<u8>, Vec<Option<Truth>>, usize) {
    const SIDE: usize = 480;
    let mut shape = Shape::random("s", &mut Rng::new(seed));
    shape.rim = Rim::Plain;
    shape.emboss = Emboss::None;
    let ground = Ground {
        glaze: Glaze::new("white", 0xeeeeee),
        treatment: Treatment::AllOver,
    };
    let piece = Piece::ware("p", &shape, form, &ground, &Pattern::plain());
    let middle = |y: f32| v3(0.0, y, 0.0);
    let item = Item::new(
        Arc::clone(&piece.solid),
        Arc::clone(&piece.finish),
        middle(0.0),
        0.0,
    );
    let (low, high) = (piece.solid.low, piece.solid.high);
    let mut rng = Rng::new(5);
    let mut camera = Camera {
        azimuth_rad: PI * 0.5,
        elevation_rad: 28f32.to_radians(),
        roll_rad: 0.0,
        target: middle(high.y * 0.5),
        distance_mm: 8.0 * high.y.max(high.x - low.x),
        focal_mm: 36.0 * 8.0 * 0.72,
        width: SIDE,
        height: SIDE,
        shift: [0.0, 0.0],
    };
    camera.shift[0] =
        SIDE as f32 * 0.5 - camera.view().project(v3((low.x + high.x) * 0.5, 0.0, 0.0))[0];
    let view = camera.view();
    let scene = Scene {
        items: vec![item],
        backdrop: Backdrop::named("paper sweep", &mut rng),
        rig: Rig::named("overcast", PI * 0.5, &mut rng),
        camera,
    };
    let frame = render(&scene);
    let wall = {
        let s = &piece.solid.bodies[0].section;
        s.outside_mm()
    };
    let truth = hits(&scene)
        .at
        .iter()
        .enumerate()
        .map(|(i, hit)| {
            if hit.item == 0 {
                return None;
            }
            let (x, y) = ((i % SIDE) as f32 + 0.5, (i / SIDE) as f32 + 0.5);
            let (s, _) = scene.items[0].surface(view.eye + view.ray(x, y) * hit.t_mm);
            Some(match (s.part, s.skin.zone) {
                (Part::Tube(_), _) => Truth::Handle,
                (_, section::Zone::Inside) => Truth::Inside,
                _ => Truth::Outside {
                    // The camera looks along -z, so what faces it lies at a quarter turn.
                    azimuth_deg: f64::from((PI * 0.5 - s.skin.angle_rad).to_degrees()),
                    down: f64::from(s.skin.from_rim_mm / wall),
                },
            })
        })
        .collect();
    (frame.masks[0].clone(), truth, SIDE)
}

#[derive(Clone, Copy, Debug)]
enum Truth {
    Handle,
    Inside,
    Outside { azimuth_deg: f64, down: f64 },
}

#[test]
fn rendered_ware_shows_the_zones_that_it_has() {
    let (mut right, mut n) = ([0usize; 3], [0usize; 3]);
    let (mut turned, mut moved) = (Vec::new(), Vec::new());
    for form in [Form::Teacup, Form::Mug, Form::CerealBowl] {
        for seed in 810..813 {
            let (mask, truth, side) = ware(form, seed);
            let outline = trace(&mask, side).unwrap();
            let Some(zones) = Zones::of(&outline, &pose::read(&outline)) else {
                continue;
            };
            let wall = zones.rings.as_ref().map_or(1.0, |rings| rings.wall_px());
            for (i, truth) in truth.iter().enumerate() {
                let p = [(i % side) as f64 + 0.5, (i / side) as f64 + 0.5];
                let (Some(truth), Some(spot)) = (truth, zones.spot(p)) else {
                    continue;
                };
                // The lip belongs to both sides.
                if spot.zone == Zone::EdgeLine {
                    continue;
                }
                let (k, is_right) = match (spot.zone, spot.face) {
                    (Zone::Handle, _) => (2, matches!(truth, Truth::Handle)),
                    (_, Some(Face::Inside)) => (1, matches!(truth, Truth::Inside)),
                    _ => (0, matches!(truth, Truth::Outside { .. })),
                };
                n[k] += 1;
                right[k] += usize::from(is_right);
                if let (0, Truth::Outside { azimuth_deg, down }, Some(place)) =
                    (k, truth, zones.outside(p))
                    && azimuth_deg.abs() < 60.0
                {
                    turned.push((place.azimuth_rad.to_degrees() - azimuth_deg).abs());
                    moved.push((place.arc_px / wall - down).abs());
                }
            }
        }
    }
    let share = |k: usize| right[k] as f64 / n[k] as f64;
    assert!(n[0] > 100_000 && n[1] > 100_000 && n[2] > 5_000, "{n:?}");
    // A handle that stands out beside the body hides part of it.
    assert!(
        share(0) > 0.96 && share(1) > 0.97 && share(2) > 0.9,
        "{:?}",
        [0, 1, 2].map(share)
    );
    let median = |values: &mut Vec<f64>| {
        let middle = values.len() / 2;
        *values.select_nth_unstable_by(middle, f64::total_cmp).1
    };
    let (turned, moved) = (median(&mut turned), median(&mut moved));
    assert!(
        turned < 2.0 && moved < 0.04,
        "{turned} degrees, {moved} of the wall"
    );
}
