//! White balance: what in the photo is known to be neutral, and what the light
//! is taken out by.
//!
//! Each of linear red, green and blue is scaled so that the neutral patch comes
//! out grey (von Kries's rule in the camera's own primaries). A grey card of
//! known reflectance tells how much light there was, too; it does so for the
//! piece only if it faces as the piece's surface does.

use imageproc::{
    geometry::min_area_rect,
    point::Point,
    region_labelling::{Connectivity, connected_components},
};
use serde::{Deserialize, Serialize};

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

/// Takes the balance from the point, else from a grey card found beside the
/// piece, else leaves the camera's.
///
/// # Errors
/// [`Kind::Usage`] if the point lies outside the photo or shows nothing even.
pub(super) fn balance(cutout: &Cutout, point: Option<NeutralPoint>) -> Result<Balance> {
    if let Some(point) = point {
        return given(cutout, point);
    }
    Ok(find(cutout).unwrap_or_default())
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
    Ok(match point.percent {
        Some(percent) => grey(median, percent / 100.0, Reference::Card),
        None => {
            let rgb = raster::linear(median);
            // The cast alone: the luminance stays.
            grey(median, raster::luminance(rgb), Reference::Patch)
        }
    })
}

/// The balance under which `rgb` is a grey of that reflectance.
fn grey(rgb: [u8; 3], reflectance: f32, reference: Reference) -> Balance {
    Balance {
        reference,
        gains: raster::linear(rgb).map(|v| reflectance / v.max(1e-4)),
    }
}

/// Median of each channel.
fn median(patch: &mut [[u8; 3]]) -> [u8; 3] {
    std::array::from_fn(|i| {
        let middle = patch.len() / 2;
        patch.select_nth_unstable_by_key(middle, |p| p[i]).1[i]
    })
}

/// Longest side of the copy on which a card is looked for, pixels.
const LOOK_PX: u32 = 144;
/// A card is flat: neighbours differ by no more than this in any channel.
const FLAT: u8 = 6;
/// Share of the photo that a card has.
const CARD_SHARE: std::ops::Range<f64> = 0.004..0.12;
/// Least share of its smallest rectangle that a card fills.
const FILLS: f64 = 0.76;
/// Longer over shorter side of that rectangle, at most.
const LONGEST: f64 = 2.2;
/// Lightness (L*) that a grey card has in a fairly exposed photo.
const CARD_LIGHTNESS: std::ops::Range<f32> = 20.0..68.0;
/// Most chroma of a grey card under a light that a camera has not balanced.
const CARD_CHROMA: f32 = 8.0;
/// Least step (largest channel) to what surrounds a card.
const CARD_STEP: i32 = 10;

/// A flat, grey, nearly rectangular patch apart from the piece, if there is
/// exactly one.
fn find(cutout: &Cutout) -> Option<Balance> {
    let (width, height) = cutout.working.dimensions();
    let scale = (LOOK_PX as f32 / width.max(height) as f32).min(1.0);
    let size = |px: u32| ((px as f32 * scale).round() as u32).max(1);
    let small = raster::resize(&cutout.working, size(width), size(height));
    let mask = raster::resize_grey(&cutout.mask, size(width), size(height));
    let (width, height) = small.dimensions();
    let flat = image::GrayImage::from_fn(width, height, |x, y| {
        let here = small.get_pixel(x, y).0;
        let even = |x: u32, y: u32| {
            let there = small.get_pixel(x, y).0;
            (0..3).all(|i| here[i].abs_diff(there[i]) <= FLAT)
        };
        let inside = x > 0 && y > 0 && x + 1 < width && y + 1 < height;
        let is_flat = inside
            && mask.get_pixel(x, y).0[0] < 100
            && even(x - 1, y)
            && even(x + 1, y)
            && even(x, y - 1)
            && even(x, y + 1);
        image::Luma([if is_flat { 255 } else { 0 }])
    });
    let labels = connected_components(&flat, Connectivity::Four, image::Luma([0]));
    let mut regions: Vec<Vec<Point<i32>>> = Vec::new();
    for (x, y, label) in labels.enumerate_pixels() {
        let label = label.0[0] as usize;
        if label > 0 {
            if label >= regions.len() {
                regions.resize_with(label + 1, Vec::new);
            }
            regions[label].push(Point::new(x as i32, y as i32));
        }
    }
    let mut cards = regions
        .iter()
        .filter_map(|region| card(region, &small))
        .collect::<Vec<_>>();
    (cards.len() == 1).then(|| grey(cards.remove(0), GREY_CARD, Reference::Found))
}

/// The colour of a region if it looks like a grey card.
fn card(region: &[Point<i32>], picture: &image::RgbImage) -> Option<[u8; 3]> {
    let (width, height) = picture.dimensions();
    let whole = f64::from(width) * f64::from(height);
    if !CARD_SHARE.contains(&(region.len() as f64 / whole)) {
        return None;
    }
    let touches = |p: &Point<i32>| {
        p.x <= 1 || p.y <= 1 || p.x + 2 >= width as i32 || p.y + 2 >= height as i32
    };
    if region.iter().any(touches) {
        return None;
    }
    let mut colours: Vec<[u8; 3]> = region
        .iter()
        .map(|p| picture.get_pixel(p.x as u32, p.y as u32).0)
        .collect();
    let median = median(&mut colours);
    let [l, a, b] = raster::lab(median);
    if !CARD_LIGHTNESS.contains(&l) || a.hypot(b) > CARD_CHROMA {
        return None;
    }
    let corners = min_area_rect(region).map(|p| [f64::from(p.x), f64::from(p.y)]);
    let side = |i: usize, j: usize| {
        (corners[i][0] - corners[j][0]).hypot(corners[i][1] - corners[j][1]) + 1.0
    };
    let (long, short) = (side(0, 1).max(side(1, 2)), side(0, 1).min(side(1, 2)));
    if long > LONGEST * short || (region.len() as f64) < FILLS * long * short {
        return None;
    }
    // A card ends in a step all round; a flat stretch of wall fades out.
    let middle = [0, 1].map(|i| corners.iter().map(|c| c[i]).sum::<f64>() / 4.0);
    let steps = (0..24)
        .filter(|k| {
            let (c, next) = (corners[k / 6], corners[(k / 6 + 1) % 4]);
            let t = (f64::from(*k as i32 % 6) + 0.5) / 6.0;
            let edge = [0, 1].map(|i| c[i] + (next[i] - c[i]) * t);
            let out = [edge[0] - middle[0], edge[1] - middle[1]];
            let far = 1.0 + 4.0 / out[0].hypot(out[1]).max(1.0);
            let [x, y] = [0, 1].map(|i| (middle[i] + out[i] * far).round());
            if x < 0.0 || y < 0.0 || x >= f64::from(width) || y >= f64::from(height) {
                return false;
            }
            let there = picture.get_pixel(x as u32, y as u32).0;
            (0..3).any(|i| (i32::from(there[i]) - i32::from(median[i])).abs() >= CARD_STEP)
        })
        .count();
    (steps >= 20).then_some(median)
}

/// The usual colour of what surrounds the piece (CIE L*a*b*), the light taken
/// out: the same table under the same light looks the same again. `None` where
/// the piece fills the photo.
pub(super) fn surround(cutout: &Cutout, balance: &Balance) -> Option<[f32; 3]> {
    let step = (cutout.working.width().max(cutout.working.height()) / 128).max(1);
    let mut around: Vec<[u8; 3]> = cutout
        .working
        .enumerate_pixels()
        .filter(|(x, y, _)| x % step == 0 && y % step == 0)
        .filter(|(x, y, _)| cutout.mask.get_pixel(*x, *y).0[0] == 0)
        .map(|(_, _, p)| p.0)
        .collect();
    (around.len() >= 64)
        .then(|| raster::lab_of_linear(balance.apply(raster::linear(median(&mut around)))))
}
