//! Small arithmetic on pictures that several rooms need: scaling and colour
//! coordinates.

use fast_image_resize as fir;
use image::{GrayImage, RgbImage};
use palette::{IntoColor, Lab, LinSrgb, Srgb, convert::FromColorUnclamped, white_point::D65};

/// A copy of another size, bilinear with the footprint of a target pixel (so
/// that making it smaller averages and does not alias).
pub fn resize(picture: &RgbImage, width: u32, height: u32) -> RgbImage {
    let mut out = RgbImage::new(width.max(1), height.max(1));
    scale(picture, &mut out);
    out
}

/// The same for one grey plane.
pub fn resize_grey(picture: &GrayImage, width: u32, height: u32) -> GrayImage {
    let mut out = GrayImage::new(width.max(1), height.max(1));
    scale(picture, &mut out);
    out
}

fn scale(from: &impl fir::IntoImageView, to: &mut impl fir::IntoImageViewMut) {
    let options = fir::ResizeOptions::new()
        .resize_alg(fir::ResizeAlg::Convolution(fir::FilterType::Bilinear))
        .use_alpha(false);
    // Fails only when the two pixel types differ, which the callers rule out.
    if fir::Resizer::new().resize(from, to, &options).is_err() {
        debug_assert!(false, "pixel types differ");
    }
}

/// CIE L*a*b* (D65, 2 degree observer) of an 8-bit sRGB colour.
pub fn lab(rgb: [u8; 3]) -> [f32; 3] {
    let lab: Lab<D65, f32> = Srgb::from(rgb).into_linear::<f32>().into_color();
    [lab.l, lab.a, lab.b]
}

/// Linear sRGB, 0 to 1, of an 8-bit sRGB colour.
pub fn linear(rgb: [u8; 3]) -> [f32; 3] {
    Srgb::from(rgb).into_linear::<f32>().into()
}

/// CIE L*a*b* (D65) of linear sRGB; not bounded above.
pub fn lab_of_linear(rgb: [f32; 3]) -> [f32; 3] {
    let lab: Lab<D65, f32> = LinSrgb::from(rgb).into_color();
    [lab.l, lab.a, lab.b]
}

/// Linear sRGB of CIE L*a*b* (D65); outside 0 to 1 where a screen cannot show it.
pub fn linear_of_lab([l, a, b]: [f32; 3]) -> [f32; 3] {
    LinSrgb::from_color_unclamped(Lab::<D65, f32>::new(l, a, b)).into()
}

/// Relative luminance (Rec. 709) of linear sRGB.
pub fn luminance([r, g, b]: [f32; 3]) -> f32 {
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// The 8-bit sRGB colour nearest to a L*a*b* value (out-of-gamut clipped).
pub fn srgb([l, a, b]: [f32; 3]) -> [u8; 3] {
    let rgb: Srgb<f32> = Lab::<D65, f32>::new(l, a, b).into_color();
    let rgb: Srgb<u8> = rgb.into_format();
    [rgb.red, rgb.green, rgb.blue]
}

/// CIEDE2000 colour difference (Sharma, Wu & Dalal 2005) of two L*a*b* values.
pub fn delta_e00(a: [f64; 3], b: [f64; 3]) -> f64 {
    use palette::color_difference::Ciede2000;
    let color = |[l, a, b]: [f64; 3]| Lab::<D65, f64>::new(l, a, b);
    color(a).difference(color(b))
}

/// A copy in the grey of its luma.
pub fn grey(picture: &RgbImage) -> RgbImage {
    let mut grey = picture.clone();
    grey.pixels_mut().for_each(|p| p.0 = [luma(p.0); 3]);
    grey
}

/// Rec. 601 luma, 0 to 255.
pub fn luma([r, g, b]: [u8; 3]) -> u8 {
    ((299 * u32::from(r) + 587 * u32::from(g) + 114 * u32::from(b)) / 1000) as u8
}
