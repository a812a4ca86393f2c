//! From pixels of any depth, with or without colour and transparency, to 8-bit
//! sRGB on white.

use image::{DynamicImage, GrayImage, RgbImage};

use super::profile::{self, Source};
use crate::warning::{Code, Warning};

/// Brings `picture` to 8-bit sRGB by its profile. Without one it is taken as
/// sRGB, or as Adobe RGB if `adobe_rgb` says so. Gives the pixels on white,
/// the transparency if any pixel is not opaque, and a warning if the profile
/// could not be used.
pub(super) fn to_srgb(
    picture: DynamicImage,
    icc: Option<&[u8]>,
    adobe_rgb: bool,
) -> (RgbImage, Option<GrayImage>, Option<Warning>) {
    let alpha = transparency(&picture);
    let source = match icc {
        Some(icc) => Some(Source::Embedded(icc)),
        None if adobe_rgb && picture.color().has_color() => Some(Source::AdobeRgb),
        None => None,
    };
    let (mut pixels, used) = match source {
        Some(source) => profile::convert(picture, &source),
        None => (picture.into_rgb8(), true),
    };
    if let Some(alpha) = &alpha {
        lay_on_white(&mut pixels, alpha);
    }
    let warning = (!used).then(|| Warning::new(Code::ProfileIgnored));
    (pixels, alpha, warning)
}

/// The transparency, if any pixel is not opaque. Many programs write an alpha
/// channel that is 255 throughout; that is none.
fn transparency(picture: &DynamicImage) -> Option<GrayImage> {
    if !picture.color().has_alpha() {
        return None;
    }
    let alpha: Vec<u8> = match picture {
        DynamicImage::ImageLumaA8(p) => p.pixels().map(|p| p.0[1]).collect(),
        DynamicImage::ImageRgba8(p) => p.pixels().map(|p| p.0[3]).collect(),
        DynamicImage::ImageLumaA16(p) => p.pixels().map(|p| narrow(p.0[1])).collect(),
        DynamicImage::ImageRgba16(p) => p.pixels().map(|p| narrow(p.0[3])).collect(),
        other => other.to_rgba8().pixels().map(|p| p.0[3]).collect(),
    };
    if alpha.iter().all(|&a| a == u8::MAX) {
        return None;
    }
    GrayImage::from_raw(picture.width(), picture.height(), alpha)
}

/// 16 bits to 8, rounded: 65535 is 255 x 257.
pub(super) fn narrow(value: u16) -> u8 {
    u8::try_from((u32::from(value) + 128) / 257).unwrap_or(u8::MAX)
}

/// Mixes with white in encoded values, as image viewers and browsers do.
fn lay_on_white(pixels: &mut RgbImage, alpha: &GrayImage) {
    for (pixel, a) in pixels.pixels_mut().zip(alpha.pixels()) {
        let a = u32::from(a.0[0]);
        for channel in &mut pixel.0 {
            let mixed = (u32::from(*channel) * a + 255 * (255 - a) + 127) / 255;
            *channel = u8::try_from(mixed).unwrap_or(u8::MAX);
        }
    }
}

#[cfg(test)]
mod tests {
    use image::{LumaA, Rgba, RgbaImage};

    use super::*;

    #[test]
    fn transparency_is_reported_only_where_there_is_some() {
        let opaque = RgbaImage::from_pixel(2, 1, Rgba([10, 20, 30, 255]));
        let (pixels, alpha, _) = to_srgb(DynamicImage::ImageRgba8(opaque.clone()), None, false);
        assert!(alpha.is_none());
        assert_eq!(pixels.get_pixel(0, 0).0, [10, 20, 30]);

        let mut holed = opaque;
        holed.put_pixel(1, 0, Rgba([0, 0, 0, 51]));
        let (pixels, alpha, _) = to_srgb(DynamicImage::ImageRgba8(holed), None, false);
        // A fifth of black on white: 255 x 0.8.
        assert_eq!(pixels.get_pixel(1, 0).0, [204; 3]);
        assert_eq!(alpha.expect("has a hole").into_raw(), [255, 51]);
    }

    #[test]
    fn sixteen_bits_round_and_grey_spreads() {
        assert_eq!(
            [0, 128, 129, 65_406, 65_407, 65_535].map(narrow),
            [0, 0, 1, 254, 255, 255]
        );
        let grey = image::ImageBuffer::from_pixel(1, 1, LumaA([0x8080_u16, 0xffff]));
        let (pixels, alpha, _) = to_srgb(DynamicImage::ImageLumaA16(grey), None, false);
        assert_eq!(pixels.get_pixel(0, 0).0, [0x80; 3]);
        assert!(alpha.is_none());
    }
}
