//! Pictures that are a mask already: silhouettes and line drawings.

use image::{GrayImage, Luma, RgbImage};
use imageproc::{
    distance_transform::Norm,
    morphology::{close, open},
};

use super::Origin;
use crate::raster::luma;

/// Share of pixels that must be near one of the two tones of the picture.
const TWO_TONE_SHARE: f64 = 0.97;
/// How near, in 8-bit steps.
const TONE_REACH: i32 = 40;
/// A drawing's filled area is at least this many times its ink.
const DRAWING_FILL: f64 = 2.0;

/// The mask and what it was made from, if the picture is a silhouette or a
/// line drawing; `None` if it looks like a photograph.
pub(super) fn detect(picture: &RgbImage) -> Option<(GrayImage, Origin)> {
    let tones = two_tones(picture)?;
    Some(fill(picture, tones))
}

/// The mask on the user's word that the picture is a silhouette or a drawing.
pub(super) fn force(picture: &RgbImage) -> (GrayImage, Origin) {
    let tones = two_tones(picture).unwrap_or((0, 255));
    fill(picture, tones)
}

/// The picture's dark and light tone, if nearly all of it is near one of the
/// two, they are far apart, and there is no colour.
fn two_tones(picture: &RgbImage) -> Option<(i32, i32)> {
    let mut histogram = [0u64; 256];
    let mut coloured = 0u64;
    for p in picture.pixels() {
        let (low, high) = (
            p.0.iter().min().copied().unwrap_or(0),
            p.0.iter().max().copied().unwrap_or(0),
        );
        coloured += u64::from(high - low > 24);
        histogram[luma(p.0) as usize] += 1;
    }
    let total = f64::from(picture.width()) * f64::from(picture.height());
    if coloured as f64 > 0.01 * total {
        return None;
    }
    let peak =
        |range: std::ops::Range<usize>| range.max_by_key(|i| histogram[*i]).map_or(0, |i| i as i32);
    let (dark, light) = (peak(0..128), peak(128..256));
    let near: u64 = (0..256i32)
        .filter(|v| (v - dark).abs() <= TONE_REACH || (v - light).abs() <= TONE_REACH)
        .map(|v| histogram[v as usize])
        .sum();
    (light - dark > 120 && near as f64 >= TWO_TONE_SHARE * total).then_some((dark, light))
}

/// Foreground is the tone that does not run along the frame. What the ink
/// encloses is filled when the ink is mere lines.
fn fill(picture: &RgbImage, (dark, light): (i32, i32)) -> (GrayImage, Origin) {
    let (width, height) = picture.dimensions();
    let frame: Vec<u8> = (0..width)
        .flat_map(|x| [(x, 0), (x, height - 1)])
        .chain((0..height).flat_map(|y| [(0, y), (width - 1, y)]))
        .map(|(x, y)| luma(picture.get_pixel(x, y).0))
        .collect();
    let middle = (dark + light) / 2;
    let light_frame = frame.iter().filter(|v| i32::from(**v) > middle).count() * 2 > frame.len();
    // Grey levels between the two tones are the soft edge of the shape.
    let ink = GrayImage::from_fn(width, height, |x, y| {
        let v = i32::from(luma(picture.get_pixel(x, y).0));
        let share = (v - dark) * 255 / (light - dark).max(1);
        let share = if light_frame { 255 - share } else { share };
        Luma([share.clamp(0, 255) as u8])
    });
    let ink_area = ink.iter().map(|v| f64::from(*v) / 255.0).sum::<f64>();
    let filled = enclosed(&ink);
    let filled_area = filled.iter().filter(|v| **v > 0).count() as f64;
    if filled_area > DRAWING_FILL * ink_area {
        (filled, Origin::Drawing)
    } else {
        (ink, Origin::Silhouette)
    }
}

/// Everything that the frame cannot reach without crossing ink, gaps of a few
/// pixels closed, loose strokes (dimension lines, hatching outside) opened away.
fn enclosed(ink: &GrayImage) -> GrayImage {
    let (width, height) = ink.dimensions();
    // Roughly a two-hundredth of the picture: pen lifts are shorter.
    let gap = (width.max(height) / 200).clamp(1, 6) as u8;
    let pad = u32::from(gap) + 2;
    let mut lines = GrayImage::new(width + 2 * pad, height + 2 * pad);
    for (x, y, p) in ink.enumerate_pixels() {
        if p.0[0] > 100 {
            lines.put_pixel(x + pad, y + pad, Luma([255]));
        }
    }
    let lines = close(&lines, Norm::LInf, gap);
    let outside = flood(&lines);
    let mut solid = GrayImage::from_fn(lines.width(), lines.height(), |x, y| {
        Luma([if outside[(y * lines.width() + x) as usize] {
            0
        } else {
            255
        }])
    });
    solid = open(&solid, Norm::LInf, gap);
    if solid.iter().all(|v| *v == 0) {
        solid = lines;
    }
    image::imageops::crop_imm(&solid, pad, pad, width, height).to_image()
}

/// Which pixels are reached from the corner without crossing a set pixel.
fn flood(lines: &GrayImage) -> Vec<bool> {
    let (width, height) = lines.dimensions();
    let index = |x: u32, y: u32| (y * width + x) as usize;
    let mut reached = vec![false; (width * height) as usize];
    let mut open = vec![(0u32, 0u32)];
    reached[0] = true;
    while let Some((x, y)) = open.pop() {
        let around = [
            (x.wrapping_sub(1), y),
            (x + 1, y),
            (x, y.wrapping_sub(1)),
            (x, y + 1),
        ];
        for (x, y) in around {
            if x < width && y < height && !reached[index(x, y)] && lines.get_pixel(x, y).0[0] == 0 {
                reached[index(x, y)] = true;
                open.push((x, y));
            }
        }
    }
    reached
}
