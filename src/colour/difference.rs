//! The difference of two grounds with its own doubt.
//!
//! Light moves lightness far more than hue, so the two parts are weighed apart:
//! chroma and hue are compared at one luminance, where shade has no say, and
//! lightness by itself. Two colours are told apart when the parts together lie
//! beyond what their doubts explain.

use serde::{Deserialize, Serialize};

use super::{
    Ground,
    ground::{LEVEL, at_level},
};
use crate::raster;

/// How far two grounds are apart.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Difference {
    /// CIEDE2000 of the colours as read.
    pub delta_e00: f32,
    /// One standard deviation of it.
    pub doubt: f32,
    /// Whether the photos tell them apart at all.
    pub told_apart: bool,
}

/// Standard deviations beyond which two colours are told apart: some one in a
/// hundred of equal ones would be (three parts, normally spread).
const BEYOND: f32 = 3.4;
/// Surroundings that differ by less (CIEDE2000) are the same set-up.
const SAME_SURROUND: f32 = 4.0;
/// How far the two balances may have gone apart, by that difference: what moved the
/// surroundings moved the pieces.
const DRIFT: f32 = 0.25;
/// Doubts within one set-up, where the pieces have one outline: what the
/// camera's own drift leaves.
const SAME_CHROMA: f32 = 0.5;
const SAME_LIGHTNESS: f32 = 0.7;

/// The difference of two grounds. `same_outline`: the two pieces have one form,
/// so that one light shades them alike.
pub fn difference(a: &Ground, b: &Ground, same_outline: bool) -> Difference {
    let lab = |g: &Ground| g.lab.map(f64::from);
    let delta_e00 = raster::delta_e00(lab(a), lab(b)) as f32;
    let drift = a
        .surround_lab
        .zip(b.surround_lab)
        .map(|(a, b)| raster::delta_e00(a.map(f64::from), b.map(f64::from)) as f32)
        .filter(|apart| same_outline && *apart < SAME_SURROUND)
        .map(|apart| DRIFT * apart);
    let (chroma, lightness) = match drift {
        Some(drift) => (
            SAME_CHROMA.hypot(drift) * std::f32::consts::SQRT_2,
            SAME_LIGHTNESS.hypot(drift) * std::f32::consts::SQRT_2,
        ),
        None => (
            a.doubt.chroma.hypot(b.doubt.chroma),
            a.doubt.lightness.hypot(b.doubt.lightness),
        ),
    };
    let (p, q) = (at_level(a.lab), at_level(b.lab));
    let parts = [
        (a.lab[0] - b.lab[0]) / lightness,
        (p[0] - q[0]) / chroma,
        (p[1] - q[1]) / chroma,
    ];
    let beyond = parts.iter().map(|v| v * v).sum::<f32>().sqrt();
    Difference {
        delta_e00,
        doubt: doubt(a, b, chroma, lightness),
        told_apart: beyond > BEYOND,
    }
}

/// How far CIEDE2000 moves when the second colour moves by one standard
/// deviation along each axis, the axes being independent; never less than the
/// least of them, as a difference near zero can only grow.
fn doubt(a: &Ground, b: &Ground, chroma: f32, lightness: f32) -> f32 {
    // Chroma at the level of a grey card grows with lightness.
    let level = raster::lab_of_linear([LEVEL; 3])[0];
    let scale = ((b.lab[0] + 16.0) / (level + 16.0)).max(0.3);
    let from = a.lab.map(f64::from);
    let own = b.lab.map(f64::from);
    let base = raster::delta_e00(from, own);
    let steps = [lightness, chroma * scale, chroma * scale];
    let moved: f64 = (0..3)
        .map(|i| {
            let mut other = own;
            other[i] += f64::from(steps[i]);
            let alone = raster::delta_e00(own, other);
            // Along the difference the move counts in full, across it little.
            let along = (raster::delta_e00(from, other) - base).abs();
            if base < alone {
                alone * alone
            } else {
                along * along
            }
        })
        .sum();
    moved.sqrt() as f32
}
