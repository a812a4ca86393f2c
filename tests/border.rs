//! What repeats round a piece, counted on drawn rings (closed form: a wave of known count
//! on an ellipse, a stripe of known width on a cylinder) and on the studio's plates.

mod cut;

use std::f64::consts::{PI, TAU};

use footring::{
    colour::Balance,
    cutout::Cutout,
    outline::pose,
    surface::{self, Border},
};
use footring_studio::{
    form::Form,
    glaze::{Glaze, Ground, Treatment},
    motif::{Hand, Subject},
    pattern::{From, Layer, Pattern},
    photo::{Angle, Piece, Placed, Shot, shoot},
    shape::Shape,
};
use image::{GrayImage, Luma, Rgb, RgbImage};

use cut::{cutout, outline_of};

const SIDE: u32 = 480;
const WHITE: [f64; 3] = [225.0, 222.0, 214.0];
const BLUE: [f64; 3] = [60.0, 80.0, 150.0];

fn border_of(cutout: &Cutout) -> Option<Border> {
    let outline = outline_of(cutout);
    let pose = pose::read(&outline);
    surface::read(cutout, &outline, &pose, &Balance::default(), true)?.border
}

/// A white disc seen by a camera from nearby at 75 degrees, so that it is nearer below than
/// above by a tenth, and on its rim the ink that `ink` gives: angle (0 to 2 pi) and share of
/// the radius to 0 (white) to 1 (blue). `edge` is the radius by the angle.
fn plate(edge: impl Fn(f64) -> f64, ink: impl Fn(f64, f64) -> f64) -> Cutout {
    const FINE: u32 = 3;
    let mut working = RgbImage::from_pixel(SIDE, SIDE, Rgb([110; 3]));
    let mut mask = GrayImage::new(SIDE, SIDE);
    for (px, py, pixel) in working.enumerate_pixels_mut() {
        let (mut met, mut sum) = (0, [0.0; 3]);
        for k in 0..FINE * FINE {
            let at = |p: u32, k: u32| {
                let p = f64::from(p) + (f64::from(k) + 0.5) / f64::from(FINE);
                (p - f64::from(SIDE) / 2.0) / (0.42 * f64::from(SIDE))
            };
            let (u, v) = (
                at(px, k % FINE),
                at(py, k / FINE) / 75f64.to_radians().sin(),
            );
            // Perspective: the picture of (x, y) is (x, y) / (1 - 0.05 y).
            let near = 1.0 / (1.0 + 0.05 * v);
            let (x, y) = (u * near, v * near);
            let angle = y.atan2(x).rem_euclid(TAU);
            let share = x.hypot(y) / edge(angle);
            if share > 1.0 {
                sum = [0, 1, 2].map(|i| sum[i] + 110.0);
                continue;
            }
            met += 1;
            let ink = ink(angle, share);
            sum = [0, 1, 2].map(|i| sum[i] + WHITE[i] + ink * (BLUE[i] - WHITE[i]));
        }
        pixel.0 = sum.map(|v| (v / f64::from(FINE * FINE)).round() as u8);
        mask.put_pixel(px, py, Luma([(255 * met / (FINE * FINE)) as u8]));
    }
    cutout(working, mask)
}

/// `count` motifs between two radii: each a drop, thick on one side, so that a half of it is
/// not like the other.
fn drops(count: u32) -> impl Fn(f64, f64) -> f64 {
    move |angle, share| {
        let along = (angle / TAU * f64::from(count)).fract();
        let across = (share - 0.82) / 0.08;
        let is_in = across.abs() < 1.0 - 1.2 * along;
        if is_in { 1.0 } else { 0.0 }
    }
}

#[test]
fn a_border_of_known_count_is_counted_whatever_the_count_and_the_camera() {
    for count in [7, 12, 23, 24, 47, 80] {
        let border = border_of(&plate(|_| 1.0, drops(count)));
        let border = border.unwrap_or_else(|| panic!("{count} not found"));
        assert!(border.is_whole);
        assert_eq!(border.repeats, [count; 2]);
    }
    // Broad motifs are as slow as the light: they may be missed, and are not miscounted.
    for count in [4, 5, 6] {
        if let Some(border) = border_of(&plate(|_| 1.0, drops(count))) {
            assert_eq!(border.repeats, [count; 2]);
        }
    }
}

#[test]
fn every_second_motif_of_another_size_makes_one_repeat_of_two() {
    let alternate = |angle: f64, share: f64| {
        let n = angle / TAU * 36.0;
        let size = if (n as u32).is_multiple_of(2) {
            0.42
        } else {
            0.22
        };
        let (x, y) = (n.fract() - 0.5, (share - 0.85) / 0.14);
        if x.hypot(y) < size { 1.0 } else { 0.0 }
    };
    let border = border_of(&plate(|_| 1.0, alternate)).unwrap();
    assert_eq!(border.repeats, [18; 2]);
}

#[test]
fn what_does_not_repeat_and_what_is_moulded_is_no_border() {
    // Nothing; a line round; blots at places that are not regular.
    assert!(border_of(&plate(|_| 1.0, |_, _| 0.0)).is_none());
    let line = |_: f64, share: f64| {
        if (0.8..0.9).contains(&share) {
            1.0
        } else {
            0.0
        }
    };
    assert!(border_of(&plate(|_| 1.0, line)).is_none());
    let blots = |angle: f64, share: f64| {
        let at = [0.3, 0.8, 2.1, 2.9, 3.2, 4.9, 5.3];
        let is_near = at.iter().any(|a| (angle - a).abs() < 0.12);
        if is_near && (0.75..0.92).contains(&share) {
            1.0
        } else {
            0.0
        }
    };
    assert!(border_of(&plate(|_| 1.0, blots)).is_none());
    // A waved edge with a line that follows it: the waves are the potter's.
    let waved = plate(|angle| 1.0 + 0.02 * (12.0 * angle).cos(), line);
    assert!(border_of(&waved).is_none());
}

/// An upright cylinder seen level from `away` radii, with upright stripes a third of a repeat
/// wide round its upper half. Closed form: a line of sight and a circle.
fn cylinder(count: f64, away: f64) -> Cutout {
    let half = 170.0;
    let reach = 1.0 / (away * away - 1.0).sqrt();
    let mut working = RgbImage::from_pixel(SIDE, SIDE, Rgb([110; 3]));
    let mut mask = GrayImage::new(SIDE, SIDE);
    for (px, py, pixel) in working.enumerate_pixels_mut() {
        let x = (f64::from(px) + 0.5 - f64::from(SIDE) / 2.0) / half;
        let y = f64::from(py) + 0.5;
        if x.abs() > 1.0 || !(60.0..420.0).contains(&y) {
            continue;
        }
        // The eye at (0, away) looks along (t, -1) with t up to `reach` at the silhouette.
        let t = x * reach;
        let (a, b, c) = (t * t + 1.0, -away, away * away - 1.0);
        let s = (-b - (b * b - a * c).max(0.0).sqrt()) / a;
        let azimuth = (t * s).atan2(away - s);
        let along = ((azimuth + PI) / TAU * count).fract();
        let is_ink = along < 0.33 && (90.0..220.0).contains(&y);
        pixel.0 = (if is_ink { BLUE } else { WHITE }).map(|v| v as u8);
        mask.put_pixel(px, py, Luma([255]));
    }
    cutout(working, mask)
}

#[test]
fn of_a_part_of_the_turn_the_count_lies_within_what_is_said() {
    for (count, away) in [(16.0, 6.0), (24.0, 5.0), (24.0, 12.0), (36.0, 8.0)] {
        let border = border_of(&cylinder(count, away));
        let border = border.unwrap_or_else(|| panic!("{count} from {away} not found"));
        assert!(!border.is_whole);
        let [low, high] = border.repeats.map(f64::from);
        assert!(
            low <= count && count <= high && high < 1.35 * low,
            "{count} from {away}: {low} to {high}"
        );
    }
}

#[test]
fn borders_of_rendered_plates_are_counted() {
    let ground = Ground {
        glaze: Glaze::new("white", 0xe9e6dd),
        treatment: Treatment::AllOver,
    };
    let (mut told, mut n) = (0, 0);
    for (k, subject) in [
        Subject::Twig,
        Subject::Garland,
        Subject::Scroll,
        Subject::Dots,
    ]
    .into_iter()
    .enumerate()
    {
        let layer = Layer::Border {
            motif: 0,
            from: From::Edge,
            at_mm: 4.0,
            height_mm: 11.0,
            pitch: 1.5 + 0.1 * k as f32,
        };
        let inks = [0x3d4f9a, 0xa03a2a, 0x3f7a3a, 0xe8c23c];
        let pattern = Pattern::new("d", inks, &[(subject, Hand::Decal)], vec![layer], 4);
        let shape = Shape::default();
        let piece = Piece::ware("p", &shape, Form::DinnerPlate, &ground, &pattern);
        let shot = Shot {
            angle: Angle::Top,
            rig: "window",
            backdrop: "plain table",
            size_px: (480, 480),
            fill: 0.85,
            handle_left: false,
            turn_rad: 3.0,
            shift: [0.0, 0.0],
            card: false,
            seed: 900 + k as u64,
        };
        let photo = shoot(&[Placed::middle(&piece)], &shot, "p", None);
        let working = RgbImage::from_raw(480, 480, photo.picture.rgb).unwrap();
        let mask = GrayImage::from_raw(480, 480, photo.masks[0].clone()).unwrap();
        let truth = piece.finish.repeats(&piece.solid)[0].0;
        n += 1;
        if let Some(border) = border_of(&cutout(working, mask)) {
            assert_eq!(border.repeats, [truth; 2], "{subject:?}");
            told += 1;
        }
    }
    assert!(told >= 3, "{told} of {n}");
}
