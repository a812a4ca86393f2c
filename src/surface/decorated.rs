//! Which part of each zone is not of its side's ground: the decoration.
//!
//! Colours are compared at one luminance, where shade has no say; a dark ink on a pale
//! ground that is as neutral as the ground is told by its darkness alone. A reflection lays
//! neutral light over a coloured ground: what lies between the ground and white, and is
//! lighter than the ground, is taken for that, and white on a coloured ground is missed.

use super::{Face, Spot, Surface};
use crate::{
    colour::{self, Sample},
    raster,
};

/// Farther from the ground than this (a*, b* at one luminance) is no shade of it.
const OTHER: f32 = 8.0;
/// How far from the straight line to neutral a reflection may lie (a*, b* at one luminance).
const VEIL: f32 = 5.0;
/// On a ground of at least this lightness, what has less than this share of its light is
/// an ink.
const PALE: f32 = 50.0;
const INK: f32 = 0.15;
/// What is darker (luminance) has no colour to speak of.
const DARKEST: f32 = 0.01;
/// Samples that the colours are read from; more say no more.
const COLOURS_FROM: usize = 800;

/// Says of each zone and side which share of it is decorated, and in which colours.
pub(super) fn read(surface: &mut Surface, found: &[(Spot, Sample)]) {
    let ground = |face: Face| {
        let lab = surface.face(face)?.ground.as_ref()?.lab;
        let rgb = raster::linear_of_lab(lab);
        Some((
            lab[0],
            raster::luminance(rgb),
            colour::at_one_luminance(rgb),
        ))
    };
    let grounds = [Face::Outside, Face::Inside].map(ground);
    let is_other = |face: Face, sample: &Sample| {
        let (lightness, light, ab) = grounds[face as usize]?;
        let luminance = raster::luminance(sample.rgb);
        let far = (sample.ab[0] - ab[0]).hypot(sample.ab[1] - ab[1]);
        let is_ink = lightness > PALE && luminance < INK * light;
        let is_veil = luminance > light && is_between(sample.ab, ab);
        Some((luminance > DARKEST && far > OTHER && !is_veil) || is_ink)
    };
    // Handles and spouts are of the outside's ground.
    let all: Vec<(Spot, Option<bool>, &Sample)> = found
        .iter()
        .map(|(spot, sample)| {
            let face = spot.face.unwrap_or(Face::Outside);
            (*spot, is_other(face, sample), sample)
        })
        .collect();
    let share = |wanted: &dyn Fn(&Spot) -> bool| -> Option<f32> {
        let (mut others, mut n) = (0usize, 0usize);
        for (_, other, _) in all.iter().filter(|(spot, _, _)| wanted(spot)) {
            n += usize::from(other.is_some());
            others += usize::from(*other == Some(true));
        }
        (n > 0).then(|| others as f32 / n as f32)
    };
    for seen in &mut surface.seen {
        let own = Spot {
            zone: seen.zone,
            face: seen.face,
        };
        seen.patch.decorated = share(&|spot| *spot == own);
    }
    for (face, patch) in &mut surface.faces {
        patch.decorated = share(&|spot| spot.face == Some(*face));
    }
    let others: Vec<[f32; 3]> = all
        .iter()
        .filter(|(_, other, _)| *other == Some(true))
        .map(|(_, _, sample)| sample.rgb)
        .collect();
    let step = others.len().div_ceil(COLOURS_FROM).max(1);
    let labs: Vec<[f32; 3]> = others
        .iter()
        .step_by(step)
        .map(|rgb| raster::lab_of_linear(*rgb))
        .collect();
    let whole = others.len() as f32 / found.len().max(1) as f32;
    surface.decoration = colour::palette(&labs);
    for swatch in &mut surface.decoration {
        swatch.share *= whole;
    }
}

/// Whether a colour is the ground's, paler: near the line from the ground to neutral.
fn is_between(ab: [f32; 2], ground: [f32; 2]) -> bool {
    let chroma = ground[0].hypot(ground[1]);
    if chroma < OTHER {
        return false;
    }
    let along = (ab[0] * ground[0] + ab[1] * ground[1]) / chroma;
    let beside = (ab[0] * ground[1] - ab[1] * ground[0]).abs() / chroma;
    (-VEIL..chroma).contains(&along) && beside < VEIL
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ground_under_a_veil_of_white_is_the_ground_and_another_hue_is_not() {
        let level = |lab: [f32; 3]| colour::at_one_luminance(raster::linear_of_lab(lab));
        let blue = [40.0, 2.0, -30.0];
        // Light of a lamp added to the light of the glaze.
        let veiled = raster::linear_of_lab(blue).map(|v| v + 0.15);
        assert!(is_between(colour::at_one_luminance(veiled), level(blue)));
        assert!(!is_between(level([60.0, 30.0, 20.0]), level(blue)));
        // On white nothing is a veil.
        assert!(!is_between(level(blue), level([90.0, 0.0, 2.0])));
    }
}
