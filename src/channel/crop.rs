//! The piece alone on grey, squared: what the embedding network sees.

use image::{GrayImage, Luma, Rgb, RgbImage};

use crate::{cutout::Cutout, outline::Outline, raster};

/// Side of the crop, pixels.
pub const CROP_PX: u32 = 224;

/// Margin on each side as a share of the piece's longer side.
const PAD: f32 = 0.08;

/// Grey outside the piece.
const GROUND: f32 = 128.0;

/// The piece alone, squared, [`CROP_PX`] a side.
#[derive(Clone, Debug)]
pub struct Crop {
    /// The piece on grey.
    pub picture: RgbImage,
    /// Its coverage, 0 to 255.
    pub cover: GrayImage,
}

/// A pixel on grey, as far as the piece covers it (0 to 255).
pub(crate) fn on_ground(pixel: &Rgb<u8>, cover: u8) -> Rgb<u8> {
    let share = f32::from(cover) / 255.0;
    Rgb(pixel
        .0
        .map(|v| (f32::from(v) * share + GROUND * (1.0 - share)).round() as u8))
}

/// The masked, squared crop of the piece.
pub fn crop(cutout: &Cutout, outline: &Outline) -> Crop {
    let bounds = outline.bounds();
    let side = bounds.width().max(bounds.height()).max(8.0) * (1.0 + 2.0 * PAD);
    let left = (bounds.left + bounds.right - side) / 2.0;
    let top = (bounds.top + bounds.bottom - side) / 2.0;
    let (left, top) = (left.floor() as i64, top.floor() as i64);
    let side = side.ceil() as i64;
    let (width, height) = cutout.working.dimensions();
    let inside = |x: u32, y: u32| {
        let (x, y) = (i64::from(x) + left, i64::from(y) + top);
        (x >= 0 && y >= 0 && x < i64::from(width) && y < i64::from(height))
            .then_some((x as u32, y as u32))
    };
    let cover = GrayImage::from_fn(side as u32, side as u32, |x, y| {
        inside(x, y).map_or(Luma([0]), |(x, y)| *cutout.mask.get_pixel(x, y))
    });
    let picture = RgbImage::from_fn(side as u32, side as u32, |x, y| {
        let Some((at_x, at_y)) = inside(x, y) else {
            return Rgb([GROUND as u8; 3]);
        };
        on_ground(
            cutout.working.get_pixel(at_x, at_y),
            cover.get_pixel(x, y).0[0],
        )
    });
    Crop {
        picture: raster::resize(&picture, CROP_PX, CROP_PX),
        cover: raster::resize_grey(&cover, CROP_PX, CROP_PX),
    }
}
