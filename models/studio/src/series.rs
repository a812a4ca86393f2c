//! Controlled series: one thing is varied and known exactly, everything else is drawn at random.

mod decorations;

use crate::backdrop::BACKDROPS;
use crate::develop::Development;
use crate::form::Form;
use crate::glaze::{BODY_WHITE, Glaze, Ground, Treatment};
use crate::light::RIGS;
use crate::output::{self, Error};
use crate::pattern::{From, Ink, Layer, Pattern};
use crate::photo::{Angle, Piece, Placed, Shot, shoot};
use crate::rng::Rng;
use crate::shape::Shape;
use crate::vec3::{V3, srgb, v3};
use palette::color_difference::Ciede2000;
use palette::convert::FromColorUnclamped;
use palette::white_point::D65;
use palette::{IntoColor, Lab, LinSrgb};
use rayon::prelude::*;
use serde::Serialize;
use std::path::Path;

pub use decorations::decorations;

/// Differences of the glaze pairs, CIEDE2000.
pub const GLAZE_STEPS: [f64; 4] = [1.0, 2.0, 4.0, 8.0];

/// A photo of a series, one line of `series.jsonl`.
#[derive(Serialize)]
struct Line {
    photo: String,
    /// Pieces with the same number are compared.
    group: usize,
    /// Difference of the glaze from the group's first, CIEDE2000; 0 for the first itself.
    step: f64,
    /// Whether it is the first once more, in the same set-up.
    again: bool,
    /// Which of the lights.
    light: usize,
    rig: String,
    /// CIE L*a*b* (D65) of the glaze.
    lab: [f64; 3],
    /// Middle of the grey card, pixels, where there is one.
    card_px: Option<[f32; 2]>,
    view: String,
    treatment: String,
    /// Whether the pattern has lines round the piece.
    lined: bool,
}

/// Groups of one glaze, twice, and four that differ from it by `GLAZE_STEPS`, on one shape, each photographed in three
/// set-ups of light, camera and table with a grey card beside it, and in three without; exposure and white balance
/// drift from photo to photo. Gives the number of photos.
pub fn glazes(seed: u64, groups: usize, size_px: usize, out: &Path) -> Result<usize, Error> {
    let root = Rng::new(seed);
    let mut jobs = Vec::new();
    for group in 0..groups {
        let mut rng = root.fork("group", group as u64);
        let base = loop {
            let lab = lab(Glaze::random("", &mut rng).colour);
            // Room on all sides, so that the steps stay within what a screen can show.
            if (20.0..88.0).contains(&lab[0]) && chroma(lab) < 45.0 {
                break lab;
            }
        };
        // The first once more: one glaze, one set-up, another moment of the camera.
        let mut kinds = vec![(0.0, base, false), (0.0, base, true)];
        for step in GLAZE_STEPS {
            kinds.push((step, stepped(base, step, &mut rng), false));
        }
        for (step, lab, again) in kinds {
            for light in 0..3 {
                for card in [true, false] {
                    jobs.push((group, step, lab, again, light, card));
                }
            }
        }
    }
    let lines: Vec<String> = jobs
        .par_iter()
        .map(|&(group, step, lab, again, light, card)| {
            let mut rng = root.fork("group shape", group as u64);
            let form = rng.pick(&[
                Form::Teacup,
                Form::Mug,
                Form::CerealBowl,
                Form::Creamer,
                Form::DinnerPlate,
            ]);
            let shape = Shape::random("S", &mut rng);
            let pattern = if rng.chance(0.5) {
                Pattern::plain()
            } else {
                Pattern::random("D", &mut rng)
            };
            let glaze = Glaze {
                colour: linear(lab),
                ..Glaze::new("G", 0x80_80_80)
            };
            let ground = Ground {
                glaze,
                treatment: Treatment::Dipped,
            };
            let first = rng.int(0, 5) as usize;
            let (more, beside) = (
                if again { "again" } else { "" },
                if card { "c" } else { "" },
            );
            let id = format!("{group:03}-{step}{more}-{light}{beside}");
            let piece = Piece::ware(&id, &shape, form, &ground, &pattern);
            // One set-up for the whole group: only the piece is changed for another of its shape.
            let mut rng = root.fork("set-up", (group * 6 + light * 2 + usize::from(card)) as u64);
            let angle = match form.is_flat() {
                true => Angle::Top,
                false if rng.chance(0.5) => Angle::Side,
                false => Angle::Oblique,
            };
            let shot = Shot {
                angle,
                rig: RIGS[(first + light * 2) % RIGS.len()],
                card,
                ..shot(angle, size_px, &mut rng)
            };
            let name = format!("photos/{id}.jpg");
            let mut development = Development::usual(&mut root.fork(&id, 0));
            // One camera: its exposure and white balance drift, its tone curve does not.
            development.contrast = Development::usual(&mut rng).contrast;
            let photo = shoot(&[Placed::middle(&piece)], &shot, &name, Some(development));
            output::write(&out.join(&name), &photo.jpeg()?)?;
            json(&Line {
                photo: name,
                group,
                step,
                again,
                light,
                rig: shot.rig.to_string(),
                lab,
                card_px: photo.truth.card_px,
                view: photo.truth.view.clone(),
                treatment: piece.treatment,
                lined: lined(&pattern),
            })
        })
        .collect::<Result<_, Error>>()?;
    output::write(&out.join("series.jsonl"), lines.concat().as_bytes())?;
    Ok(lines.len())
}

/// Hollowware at an angle in every treatment, plain and decorated, and with a band or a line. Gives the number of photos.
pub fn treatments(seed: u64, groups: usize, size_px: usize, out: &Path) -> Result<usize, Error> {
    const KINDS: usize = 7;
    let root = Rng::new(seed);
    let lines: Vec<String> = (0..groups * KINDS)
        .into_par_iter()
        .map(|job| {
            let (group, kind) = (job / KINDS, job % KINDS);
            let mut rng = root.fork("treatment", group as u64);
            let shape = Shape::random("S", &mut rng);
            let form = rng.pick(&[Form::Teacup, Form::Mug, Form::CerealBowl]);
            let mut colour = Glaze::random("G", &mut rng);
            while !(0.04..0.5).contains(&colour.colour.luminance()) {
                colour = Glaze::random("G", &mut rng);
            }
            let mut pattern = if rng.chance(0.5) {
                Pattern::plain()
            } else {
                Pattern::random("D", &mut rng)
            };
            let other = srgb(rng.pick(&[0xd8c070, 0x9fb4b0, 0xd0a090, 0x6f86a6, 0x8aa070]));
            let treatment = match kind {
                0 => Treatment::SlipOutside,
                1 => Treatment::Dipped,
                2 => Treatment::TwoTone(other),
                3 => Treatment::DippedFoot(rng.range(0.4, 0.65)),
                _ => Treatment::AllOver,
            };
            let mut name = treatment.name();
            if kind > 4 {
                (name, pattern) = ringed(kind == 5, colour.colour, &mut rng);
            }
            if treatment == Treatment::AllOver {
                colour = Glaze::new("G", BODY_WHITE);
            }
            let ground = Ground {
                glaze: colour,
                treatment,
            };
            let id = format!("{group:03}-{kind}");
            let piece = Piece::ware(&id, &shape, form, &ground, &pattern);
            let mut rng = root.fork(&id, 1);
            let shot = shot(Angle::Oblique, size_px, &mut rng);
            let file = format!("photos/{id}.jpg");
            let photo = shoot(&[Placed::middle(&piece)], &shot, &file, None);
            output::write(&out.join(&file), &photo.jpeg()?)?;
            json(&Line {
                photo: file,
                group,
                step: 0.0,
                again: false,
                light: 0,
                rig: shot.rig.to_string(),
                lab: lab(ground.glaze.colour),
                card_px: None,
                view: photo.truth.view.clone(),
                treatment: name.to_string(),
                lined: lined(&pattern),
            })
        })
        .collect::<Result<_, Error>>()?;
    output::write(&out.join("series.jsonl"), lines.concat().as_bytes())?;
    Ok(lines.len())
}

fn lined(pattern: &Pattern) -> bool {
    let is_line = |layer: &Layer| matches!(layer, Layer::Line { .. });
    pattern.layers.iter().any(is_line)
}

/// White ware with a band or a line in a colour, near the rim or lower down.
fn ringed(wide: bool, colour: V3, rng: &mut Rng) -> (&'static str, Pattern) {
    let (name, width_mm) = if wide {
        ("band", rng.range(6.0, 14.0))
    } else {
        ("line", rng.range(1.2, 2.4))
    };
    let at_mm = if rng.chance(0.5) {
        0.0
    } else {
        rng.range(4.0, 12.0)
    };
    let layer = Layer::Line {
        from: From::Edge,
        at_mm,
        width_mm,
        ink: Ink::Colour(colour),
    };
    (name, Pattern::new(name, [0; 4], &[], vec![layer], 1))
}

fn shot(angle: Angle, size_px: usize, rng: &mut Rng) -> Shot {
    Shot {
        angle,
        rig: rng.pick(&RIGS),
        backdrop: rng.pick(&BACKDROPS),
        size_px: (size_px, size_px),
        fill: rng.range(0.7, 0.88),
        handle_left: false,
        turn_rad: 0.4,
        shift: [0.0, 0.0],
        card: false,
        seed: rng.bits(),
    }
}

fn json(line: &impl Serialize) -> Result<String, Error> {
    serde_json::to_string(line)
        .map(|text| text + "\n")
        .map_err(|e| Error::new(format!("series: {e}")))
}

/// A colour that differs from `base` by `step`, in a direction of its own.
fn stepped(base: [f64; 3], step: f64, rng: &mut Rng) -> [f64; 3] {
    loop {
        let d = [0; 3].map(|_| f64::from(rng.normal()));
        let at = |t: f64| [0, 1, 2].map(|i| base[i] + t * d[i]);
        let (mut low, mut high) = (0.0, 40.0);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if difference(base, at(middle)) < step {
                low = middle;
            } else {
                high = middle;
            }
        }
        let found = at(low);
        let c = linear(found);
        let shown = [c.x, c.y, c.z].iter().all(|v| (0.01..0.9).contains(v));
        if shown && (difference(base, found) - step).abs() < 1e-3 {
            return found;
        }
    }
}

fn chroma(lab: [f64; 3]) -> f64 {
    lab[1].hypot(lab[2])
}

/// CIEDE2000 difference of two CIE L*a*b* (D65) colours.
fn difference(a: [f64; 3], b: [f64; 3]) -> f64 {
    let colour = |[l, a, b]: [f64; 3]| Lab::<D65, f64>::new(l, a, b);
    colour(a).difference(colour(b))
}

/// CIE L*a*b* (D65) of linear sRGB.
fn lab(c: V3) -> [f64; 3] {
    let rgb = LinSrgb::new(c.x, c.y, c.z).into_format::<f64>();
    let lab: Lab<D65, f64> = rgb.into_color();
    [lab.l, lab.a, lab.b]
}

/// Linear sRGB of CIE L*a*b* (D65); may lie outside 0..1.
pub fn linear([l, a, b]: [f64; 3]) -> V3 {
    let rgb: LinSrgb<f64> = LinSrgb::from_color_unclamped(Lab::<D65, f64>::new(l, a, b));
    v3(rgb.red as f32, rgb.green as f32, rgb.blue as f32)
}
