//! White balance: what in the photo is known to be neutral, and what the light
//! is taken out by.
//!
//! Each of linear red, green and blue is scaled so that the neutral patch comes
//! out grey (von Kries's rule in the camera's own primaries). A grey card of
//! known reflectance tells how much light there was, too; it does so for the
//! piece only if it faces as the piece's surface does.

use serde::{Deserialize, Serialize};

use super::Card;
use crate::{
    cutout::Cutout,
    error::{Error, Kind, Result},
    raster,
};

/// A place in the upright photo that shows something neutral.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NeutralPoint {
    /// Pixels from the left.
    pub x_px: f32,
    /// Pixels from the top.
    pub y_px: f32,
    /// How much of the light it sends back, percent; 18 for a photographer's
    /// grey card. Without it only the cast of the light is taken out.
    pub percent: Option<f32>,
}

/// What the balance rests on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reference {
    /// A grey card that was pointed out, its reflectance known.
    Card,
    /// A neutral patch that was pointed out.
    Patch,
    /// What looks like a grey card was found beside the piece.
    Found,
    /// Nothing: the camera's own balance stands.
    #[default]
    Camera,
}

/// How the light was taken out.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Balance {
    /// What it rests on.
    pub reference: Reference,
    /// Factors on linear red, green and blue.
    pub gains: [f32; 3],
}

impl Default for Balance {
    fn default() -> Self {
        Self {
            reference: Reference::Camera,
            gains: [1.0; 3],
        }
    }
}

impl Balance {
    /// Linear sRGB with the light taken out.
    pub fn apply(&self, rgb: [f32; 3]) -> [f32; 3] {
        std::array::from_fn(|i| rgb[i] * self.gains[i])
    }

    /// Whether the amount of light is known as well as its cast.
    pub fn knows_lightness(&self) -> bool {
        matches!(self.reference, Reference::Card | Reference::Found)
    }
}

/// Reflectance of a photographer's grey card.
const GREY_CARD: f32 = 0.18;
/// Working pixels on each side of a point that are looked at.
const REACH_PX: i64 = 4;
/// A patch darker or brighter than this in any channel says nothing of the light.
const USABLE: std::ops::RangeInclusive<u8> = 20..=245;
/// Most spread of a patch about its median, 8-bit steps (median of the largest
/// channel's): more is an edge or a print.
const EVEN: u8 = 12;

/// Takes the balance from the point, else from a grey card that was found, else leaves
/// the camera's.
///
/// # Errors
/// [`Kind::Usage`] if the point lies outside the photo or shows nothing even.
pub(super) fn balance(
    cutout: &Cutout,
    point: Option<NeutralPoint>,
    card: Option<&Card>,
) -> Result<Balance> {
    if let Some(point) = point {
        return given(cutout, point);
    }
    Ok(card.map_or_else(Balance::default, |card| {
        grey(card.colour, GREY_CARD, Reference::Found)
    }))
}

fn given(cutout: &Cutout, point: NeutralPoint) -> Result<Balance> {
    let unfit = |what: &str| {
        Err(Error::new(Kind::Usage, what.to_owned()).remedy(
            "point at the middle of an evenly lit grey card, in pixels of the upright photo",
        ))
    };
    let scale = cutout.photo_per_working.max(1e-6);
    let (x, y) = (
        (point.x_px / scale).floor() as i64,
        (point.y_px / scale).floor() as i64,
    );
    let (width, height) = cutout.working.dimensions();
    if x < 0 || y < 0 || x >= i64::from(width) || y >= i64::from(height) {
        return unfit("--neutral lies outside the photo");
    }
    let mut patch = Vec::new();
    for dy in -REACH_PX..=REACH_PX {
        for dx in -REACH_PX..=REACH_PX {
            let (x, y) = (x + dx, y + dy);
            if x >= 0 && y >= 0 && x < i64::from(width) && y < i64::from(height) {
                patch.push(cutout.working.get_pixel(x as u32, y as u32).0);
            }
        }
    }
    let median = median(&mut patch);
    if !median.iter().all(|v| USABLE.contains(v)) {
        return unfit("what --neutral points at is too dark or too bright to tell the light");
    }
    let spread = |p: &[u8; 3]| (0..3).map(|i| p[i].abs_diff(median[i])).max().unwrap_or(0);
    let mut spreads: Vec<u8> = patch.iter().map(spread).collect();
    let at = spreads.len() * 9 / 10;
    if *spreads.select_nth_unstable(at).1 > EVEN {
        return unfit("what --neutral points at is not even");
    }
    let rgb = raster::linear(median);
    Ok(match point.percent {
        Some(percent) => grey(rgb, percent / 100.0, Reference::Card),
        // The cast alone: the luminance stays.
        None => grey(rgb, raster::luminance(rgb), Reference::Patch),
    })
}

/// The balance under which linear `rgb` is a grey of that reflectance.
fn grey(rgb: [f32; 3], reflectance: f32, reference: Reference) -> Balance {
    Balance {
        reference,
        gains: rgb.map(|v| reflectance / v.max(1e-4)),
    }
}

/// Median of each channel.
fn median(patch: &mut [[u8; 3]]) -> [u8; 3] {
    std::array::from_fn(|i| {
        let middle = patch.len() / 2;
        patch.select_nth_unstable_by_key(middle, |p| p[i]).1[i]
    })
}

/// The usual colour of what surrounds the piece (CIE L*a*b*), the light taken
/// out: the same table under the same light looks the same again. `None` where
/// the piece fills the photo.
pub(super) fn surround(cutout: &Cutout, balance: &Balance) -> Option<[f32; 3]> {
    let step = (cutout.working.width().max(cutout.working.height()) / 128).max(1);
    let mut around: Vec<[u8; 3]> = super::every(&cutout.working, step)
        .filter(|(x, y, _)| cutout.mask.get_pixel(*x, *y).0[0] == 0)
        .map(|(_, _, rgb)| rgb)
        .collect();
    (around.len() >= 64)
        .then(|| raster::lab_of_linear(balance.apply(raster::linear(median(&mut around)))))
}
