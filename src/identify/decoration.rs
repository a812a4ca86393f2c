//! The decoration in its five parts: side, location, technique where it shows, colours,
//! and the decoration of the set that it resembles. What a photo does not show stays
//! unknown: a zone that is not seen is not said to be bare, and prints, decals and
//! painting are not told from each other.

use super::{
    Query,
    reading::{
        BorderReading, Candidate, Certainty, DecorationReading, Face, Location, MotifMatch,
        NamedSwatch, Side, Swatch, Technique, Zone,
    },
    surface,
};
use crate::{
    colour, raster,
    surface::{Border, Layers, Seen, Surface},
};

/// Zones with less of the piece's surface than this, and those of which less than this is
/// not of the ground's colour, are not said to be decorated (limits chosen on the studio's
/// series `decorations` of seed 610; see DEVELOPERS.md).
const SEEN: f32 = 0.01;
const DECORATED: f32 = 0.03;
/// Handles mirror what is round them; this much of one has to be of another colour.
const HANDLE: f32 = 0.15;
/// What is seen from above is decorated all over if each of its zones is, the most by no more
/// than so many times the least. Of an outside too few zones are seen: rim and body may be
/// decorated apart.
const EVENLY: f32 = 3.0;
/// A ground of more chroma than this at one luminance is coloured.
const COLOURED: f32 = 8.0;

/// The decoration of the view that shows most sides.
pub(super) fn read(
    query: &Query<'_>,
    surfaces: &[Option<Surface>],
    patterns: &[Candidate],
    certainty: Certainty,
) -> DecorationReading {
    let motif = patterns.first().map(|nearest| MotifMatch {
        label: nearest.label.clone(),
        distance: nearest.distance,
        certainty,
    });
    let shown = surface::shown(surfaces).and_then(|view| surfaces[view].as_ref());
    let read = shown.map(of_view).unwrap_or_else(|| DecorationReading {
        colours: super::glaze::colours(query).map_or_else(Vec::new, |c| c.decoration),
        ..DecorationReading::default()
    });
    DecorationReading { motif, ..read }
}

fn of_view(surface: &Surface) -> DecorationReading {
    let of = |seen: &Seen| Location {
        zone: seen.zone,
        face: seen.face,
        share: seen.patch.decorated.unwrap_or(0.0),
    };
    // The foot stands in its own shade, which has colours of the table.
    let known: Vec<Location> = surface
        .seen
        .iter()
        .filter(|seen| seen.patch.share >= SEEN && seen.patch.decorated.is_some())
        .filter(|seen| seen.zone != Zone::Foot)
        .map(of)
        .collect();
    let repeats = |at: &Location| {
        let spot = surface.border.as_ref().map(|border| border.spot);
        spot.is_some_and(|spot| (spot.zone, spot.face) == (at.zone, at.face))
    };
    let locations: Vec<Location> = known
        .iter()
        .filter(|at| {
            let least = if at.face.is_none() { HANDLE } else { DECORATED };
            at.share >= least || repeats(at)
        })
        .copied()
        .collect();
    let faces = [Face::Outside, Face::Inside];
    let on = |face: Face| locations.iter().any(|at| at.face == Some(face));
    let all_over = {
        let zones = || known.iter().filter(|at| at.zone != Zone::EdgeLine);
        let (least, most) = zones().fold((f32::MAX, 0.0f32), |(a, b), at| {
            (a.min(at.share), b.max(at.share))
        });
        let sees_centre = zones().any(|at| at.zone == Zone::Centre);
        sees_centre && least >= DECORATED && most <= EVENLY * least
    };
    let border = surface.border.as_ref().map(border);
    let side = match faces.map(on) {
        [true, true] => Some(Side::Both),
        [true, false] => Some(Side::Outside),
        [false, true] => Some(Side::Inside),
        [false, false] => None,
    };
    DecorationReading {
        side,
        seen: surface.faces.iter().map(|(face, _)| *face).collect(),
        all_over,
        technique: technique(surface, &locations, border.is_some()),
        locations,
        colours: match side {
            Some(_) => surface.decoration.iter().map(named).collect(),
            None => Vec::new(),
        },
        border,
        motif: None,
    }
}

fn named(swatch: &Swatch) -> NamedSwatch {
    NamedSwatch {
        swatch: swatch.clone(),
        name: colour::words(swatch.lab),
    }
}

fn border(found: &Border) -> BorderReading {
    BorderReading {
        zone: found.spot.zone,
        face: found.spot.face,
        repeats: found.repeats,
        whole_turn: found.is_whole,
        likeness: (found.likeness * 100.0).round() / 100.0,
    }
}

fn technique(surface: &Surface, at: &[Location], repeats: bool) -> Technique {
    let Some(first) = at.first() else {
        let is_coloured = |face: &Face| {
            let ground = surface.face(*face).and_then(|patch| patch.ground.as_ref());
            ground.is_some_and(|ground| {
                let [a, b] = colour::at_one_luminance(raster::linear_of_lab(ground.lab));
                a.hypot(b) > COLOURED
            })
        };
        return match [Face::Outside, Face::Inside].iter().any(is_coloured) {
            true => Technique::ColouredGround,
            false => Technique::Unknown,
        };
    };
    let is_edge = at.len() == 1 && first.zone == Zone::EdgeLine && first.share > 0.5;
    if is_edge || surface.layers.as_ref().is_some_and(is_lines) && !repeats {
        return Technique::Lines;
    }
    match !repeats && at.iter().all(|at| at.zone == Zone::EdgeLine) {
        true => Technique::Unknown,
        false => Technique::Applied,
    }
}

/// Whether something goes round, and hardly anything else is there.
fn is_lines(layers: &Layers) -> bool {
    let wide: f64 = layers.runs.iter().map(|run| run.to - run.from).sum();
    !layers.runs.is_empty() && layers.above < 2.5 * wide + 0.02
}
