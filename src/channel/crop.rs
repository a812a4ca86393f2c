//! The piece alone on grey, squared: what the embedding network sees.

use image::{Rgb, RgbImage};

use crate::{cutout::Cutout, outline::Outline, raster};

/// Side of the crop, pixels.
pub const CROP_PX: u32 = 224;

/// Margin on each side as a share of the piece's longer side.
const PAD: f32 = 0.08;

/// Grey outside the piece.
const GROUND: f32 = 128.0;

/// The masked, squared crop of the piece, [`CROP_PX`] a side.
pub fn crop(cutout: &Cutout, outline: &Outline) -> RgbImage {
    let bounds = outline.bounds();
    let side = bounds.width().max(bounds.height()).max(8.0) * (1.0 + 2.0 * PAD);
    let left = (bounds.left + bounds.right - side) / 2.0;
    let top = (bounds.top + bounds.bottom - side) / 2.0;
    let (left, top) = (left.floor() as i64, top.floor() as i64);
    let side = side.ceil() as i64;
    let (width, height) = cutout.working.dimensions();
    let square = RgbImage::from_fn(side as u32, side as u32, |x, y| {
        let (x, y) = (i64::from(x) + left, i64::from(y) + top);
        if x < 0 || y < 0 || x >= i64::from(width) || y >= i64::from(height) {
            return Rgb([GROUND as u8; 3]);
        }
        let (x, y) = (x as u32, y as u32);
        let cover = f32::from(cutout.mask.get_pixel(x, y).0[0]) / 255.0;
        let pixel = cutout.working.get_pixel(x, y).0;
        Rgb(pixel.map(|v| (f32::from(v) * cover + GROUND * (1.0 - cover)).round() as u8))
    });
    raster::resize(&square, CROP_PX, CROP_PX)
}
