//! Decorations of every kind, with where they sit and how often they are repeated round the piece.

use super::{json, shot};
use crate::form::Form;
use crate::glaze::{BODY_WHITE, Glaze, Ground, Treatment};
use crate::motif::{Hand, Subject};
use crate::output::{self, Error};
use crate::pattern::{From, Ink, LOOSE, Layer, Pattern, random_inks};
use crate::photo::{Angle, Piece, Placed, shoot};
use crate::rng::Rng;
use crate::shape::{Emboss, Rim, Shape};
use crate::vec3::srgb;
use rayon::prelude::*;
use serde::Serialize;
use std::f32::consts::PI;
use std::path::Path;

/// A photo, one line of `series.jsonl`.
#[derive(Serialize)]
struct Line {
    photo: String,
    mask: String,
    /// Pieces with the same number have the same shape.
    group: usize,
    kind: &'static str,
    form: &'static str,
    /// Whether the ground is white.
    white: bool,
    view: String,
    elevation_deg: f32,
    /// Whether the rim is waved or faceted, or ribs, flutes, beads or weave go round.
    moulded: bool,
    /// Of each layer that goes round in motifs: how often it looks like itself in one turn,
    repeats: Vec<u32>,
    /// and between which distances from the rim it lies, as shares of the decorated side.
    at: Vec<[f32; 2]>,
}

/// The kinds, in the order of the photos of a group.
const KINDS: [&str; 9] = [
    "plain",
    "edge line",
    "border",
    "border again",
    "border and centre",
    "centre",
    "sprigs",
    "all over",
    "bands",
];

/// Plates from above, a third of them at an angle, and open hollowware from the side and at an angle: one shape a group
/// in every kind of decoration. Gives the number of photos.
pub fn decorations(seed: u64, groups: usize, size_px: usize, out: &Path) -> Result<usize, Error> {
    let root = Rng::new(seed);
    let lines: Vec<String> = (0..groups * KINDS.len())
        .into_par_iter()
        .map(|job| {
            let (group, kind) = (job / KINDS.len(), KINDS[job % KINDS.len()]);
            let mut rng = root.fork("decorated shape", group as u64);
            let shape = Shape::random("S", &mut rng);
            let form = rng.pick(&[
                Form::DinnerPlate,
                Form::Saucer,
                Form::DinnerPlate,
                Form::CerealBowl,
                Form::Teacup,
                Form::Mug,
            ]);
            let id = format!("{group:03}-{}", job % KINDS.len());
            let mut rng = root.fork(&id, 0);
            let white = rng.chance(0.7);
            let ground = Ground {
                glaze: match white {
                    true => Glaze::new("G", BODY_WHITE),
                    false => Glaze::random("G", &mut rng),
                },
                treatment: match white {
                    true => Treatment::AllOver,
                    false => Treatment::Dipped,
                },
            };
            let pattern = pattern(kind, &mut rng);
            let piece = Piece::ware(&id, &shape, form, &ground, &pattern);
            let angle = match form.is_flat() {
                true if rng.chance(0.67) => Angle::Top,
                false if rng.chance(0.5) => Angle::Side,
                _ => Angle::Oblique,
            };
            let mut shot = shot(angle, size_px, &mut rng);
            if form.is_flat() {
                shot.turn_rad = PI;
            }
            let (name, mask) = (format!("photos/{id}.jpg"), format!("masks/{id}.png"));
            let photo = shoot(&[Placed::middle(&piece)], &shot, &name, None);
            output::write(&out.join(&name), &photo.jpeg()?)?;
            output::write_mask(&out.join(&mask), size_px, size_px, &photo.masks[0])?;
            let repeats = piece.finish.repeats(&piece.solid);
            json(&Line {
                photo: name,
                mask,
                group,
                kind,
                form: form.name(),
                white,
                view: photo.truth.view.clone(),
                elevation_deg: photo.truth.camera.elevation_deg,
                moulded: shape.rim != Rim::Plain
                    || !matches!(shape.emboss, Emboss::None | Emboss::Rings(..)),
                repeats: repeats.iter().map(|(n, _)| *n).collect(),
                at: repeats.iter().map(|(_, at)| *at).collect(),
            })
        })
        .collect::<Result<_, Error>>()?;
    output::write(&out.join("series.jsonl"), lines.concat().as_bytes())?;
    Ok(lines.len())
}

fn pattern(kind: &str, rng: &mut Rng) -> Pattern {
    let inks = random_inks(rng);
    let hand = rng.pick(&[Hand::Decal, Hand::Outlined, Hand::Brush]);
    let running = rng.pick(&[
        Subject::Scroll,
        Subject::Garland,
        Subject::Dots,
        Subject::Zigzag,
        Subject::Lattice,
        Subject::Rings,
        Subject::Rosette,
        Subject::Twig,
    ]);
    let loose = rng.pick(&LOOSE);
    let ink = |k: usize| Ink::Colour(srgb(inks[k]));
    let line = |at_mm: f32, width_mm: f32, k: usize| Layer::Line {
        from: From::Edge,
        at_mm,
        width_mm,
        ink: ink(k),
    };
    let border = Layer::Border {
        motif: 0,
        from: From::Edge,
        at_mm: rng.range(2.0, 6.0),
        height_mm: rng.range(7.0, 17.0),
        pitch: rng.range(1.2, 2.4),
    };
    let centre = |share: f32| Layer::Centre { motif: 1, share };
    let mut layers = match kind {
        "edge line" => vec![line(0.0, rng.range(0.8, 2.2), 0)],
        "border" | "border again" => vec![border],
        "border and centre" => vec![border, centre(rng.range(0.4, 0.75))],
        "centre" => vec![centre(rng.range(0.6, 0.92))],
        "sprigs" => vec![Layer::Sprigs {
            motif: 1,
            count: rng.int(3, 8),
            share: rng.range(0.65, 0.95),
        }],
        "all over" => vec![Layer::AllOver {
            motif: 1,
            size_mm: 14.0,
            pitch_mm: 14.0 * rng.range(1.15, 1.9),
        }],
        "bands" => vec![
            line(rng.range(3.0, 8.0), rng.range(4.0, 9.0), 0),
            line(22.0, 1.6, 2),
        ],
        _ => Vec::new(),
    };
    if kind.starts_with("border") && rng.chance(0.5) {
        layers.push(line(0.0, rng.range(0.8, 2.2), 2));
    }
    let drawn = [(running, hand), (loose, hand)];
    Pattern::new(kind, inks, &drawn, layers, rng.bits())
}
