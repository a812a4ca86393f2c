//! Makes the pictures: each stamp on one of three grounds, and as it is.

use std::{
    fs,
    path::{Path, PathBuf},
};

use image::{GrayImage, Luma, Rgb, RgbImage, RgbaImage};
use rayon::prelude::*;

use crate::{Result, rng::Rng};

/// Longer side of the smallest stamp used, pixels.
const SMALLEST_PX: u32 = 150;
/// Longer side of the largest; there are posters among them.
const LARGEST_PX: u32 = 1_000;
/// The largest part must hold this share of a stamp: footring reads one piece.
const ONE_PIECE: f64 = 0.98;

/// Writes `laid`, `raw` and their truths below `out`.
pub(super) fn make(folder: &Path, out: &Path) -> Result<()> {
    for part in ["laid", "laid-truth", "raw", "raw-truth"] {
        fs::create_dir_all(out.join(part))?;
    }
    let mut files = Vec::new();
    walk(folder, &mut files)?;
    files.sort();
    let stamps: Vec<(String, RgbaImage)> = files
        .par_iter()
        .filter_map(|file| Some((name(folder, file), image::open(file).ok()?.to_rgba8())))
        .filter(|(_, stamp)| is_fit(stamp))
        .collect();
    if stamps.is_empty() {
        return Err(format!("{}: no stamps", folder.display()).into());
    }
    stamps
        .par_iter()
        .enumerate()
        .try_for_each(|(i, (name, stamp))| {
            let file = format!("{name}.png");
            let truth = |dir: &str, mask: GrayImage| mask.save(out.join(dir).join(&file));
            stamp.save(out.join("raw").join(&file))?;
            truth("raw-truth", alpha(stamp))?;
            let (photo, mask) = lay(stamp, i);
            photo.save(out.join("laid").join(&file))?;
            truth("laid-truth", mask)
        })
        .map_err(|e: image::ImageError| e.to_string())?;
    Ok(())
}

fn walk(dir: &Path, files: &mut Vec<PathBuf>) -> Result<()> {
    for entry in fs::read_dir(dir)? {
        let path = entry?.path();
        if path.is_dir() {
            walk(&path, files)?;
        } else if path.extension().is_some_and(|e| e == "png") {
            files.push(path);
        }
    }
    Ok(())
}

/// `animals/birds/vulture.png` becomes `animals-birds-vulture`.
fn name(folder: &Path, file: &Path) -> String {
    let inside = file.strip_prefix(folder).unwrap_or(file).with_extension("");
    inside.to_string_lossy().replace(['/', ' ', '.'], "-")
}

/// Whether a stamp is one object of a fair size with transparency around it.
fn is_fit(stamp: &RgbaImage) -> bool {
    let longest = stamp.width().max(stamp.height());
    let total = f64::from(stamp.width()) * f64::from(stamp.height());
    let count =
        |test: fn(u8) -> bool| stamp.pixels().filter(|p| test(p.0[3])).count() as f64 / total;
    (SMALLEST_PX..=LARGEST_PX).contains(&longest)
        && count(|a| a < 10) >= 0.05
        && count(|a| a > 245) >= 0.10
        && largest_share(&alpha(stamp)) >= ONE_PIECE
}

fn alpha(stamp: &RgbaImage) -> GrayImage {
    GrayImage::from_fn(stamp.width(), stamp.height(), |x, y| {
        Luma([stamp.get_pixel(x, y).0[3]])
    })
}

/// Share of the covered pixels that the largest connected part has.
fn largest_share(mask: &GrayImage) -> f64 {
    let (width, height) = mask.dimensions();
    let mut seen = vec![false; (width * height) as usize];
    let (mut largest, mut total) = (0usize, 0usize);
    let mut waiting = Vec::new();
    for start in 0..seen.len() {
        if seen[start] || mask.as_raw()[start] < 128 {
            continue;
        }
        seen[start] = true;
        waiting.push(start as u32);
        let mut size = 0;
        while let Some(at) = waiting.pop() {
            size += 1;
            let (x, y) = (at % width, at / width);
            for ny in y.saturating_sub(1)..(y + 2).min(height) {
                for nx in x.saturating_sub(1)..(x + 2).min(width) {
                    let next = ny * width + nx;
                    if !seen[next as usize] && mask.as_raw()[next as usize] >= 128 {
                        seen[next as usize] = true;
                        waiting.push(next);
                    }
                }
            }
        }
        total += size;
        largest = largest.max(size);
    }
    largest as f64 / total.max(1) as f64
}

/// A stamp in the middle of a ground a third larger, and its mask there.
fn lay(stamp: &RgbaImage, i: usize) -> (RgbImage, GrayImage) {
    let mut rng = Rng::new(5_500 + i as u64);
    let side = stamp.width().max(stamp.height());
    let (width, height) = (stamp.width() + side / 3, stamp.height() + side / 3);
    let mut photo = match i % 3 {
        0 => gradient(width, height, &mut rng),
        1 => cloth(width, height, &mut rng),
        _ => wood(width, height, &mut rng),
    };
    let mut mask = GrayImage::new(width, height);
    let (left, top) = ((width - stamp.width()) / 2, (height - stamp.height()) / 2);
    for (x, y, p) in stamp.enumerate_pixels() {
        let cover = f32::from(p.0[3]) / 255.0;
        let under = photo.get_pixel_mut(x + left, y + top);
        for c in 0..3 {
            let v = f32::from(p.0[c]) * cover + f32::from(under.0[c]) * (1.0 - cover);
            under.0[c] = v.round() as u8;
        }
        mask.put_pixel(x + left, y + top, Luma([p.0[3]]));
    }
    (photo, mask)
}

fn shade(base: [f64; 3], by: f64) -> Rgb<u8> {
    Rgb(base.map(|v| (v + by).clamp(0.0, 255.0).round() as u8))
}

/// Grey, lighter at one side.
fn gradient(width: u32, height: u32, rng: &mut Rng) -> RgbImage {
    let (from, to, turn) = (
        120.0 + 60.0 * rng.unit(),
        190.0 + 50.0 * rng.unit(),
        std::f64::consts::TAU * rng.unit(),
    );
    RgbImage::from_fn(width, height, |x, y| {
        let (u, v) = (
            f64::from(x) / f64::from(width),
            f64::from(y) / f64::from(height),
        );
        let along = 0.5 + ((u - 0.5) * turn.cos() + (v - 0.5) * turn.sin()) / 1.5;
        shade([from + (to - from) * along; 3], 0.0)
    })
}

/// A woven cloth of one colour with noise in it.
fn cloth(width: u32, height: u32, rng: &mut Rng) -> RgbImage {
    let base = [0; 3].map(|_| 70.0 + 130.0 * rng.unit());
    let step = 3.0 + 3.0 * rng.unit();
    RgbImage::from_fn(width, height, |x, y| {
        let weave = (f64::from(x) / step).sin() * (f64::from(y) / step).cos();
        shade(base, 9.0 * weave + 26.0 * (rng.unit() - 0.5))
    })
}

/// Boards with a grain along them.
fn wood(width: u32, height: u32, rng: &mut Rng) -> RgbImage {
    let base = [
        150.0 + 50.0 * rng.unit(),
        105.0 + 40.0 * rng.unit(),
        65.0 + 30.0 * rng.unit(),
    ];
    let board = f64::from(height) / (2.0 + 3.0 * rng.unit());
    let phases: Vec<f64> = (0..8).map(|_| 100.0 * rng.unit()).collect();
    RgbImage::from_fn(width, height, |x, y| {
        let (x, y) = (f64::from(x), f64::from(y));
        let phase = phases[(y / board) as usize % phases.len()];
        let grain = (0.35 * y + 6.0 * (0.011 * x + phase).sin() + phase).sin();
        let seam = if y % board < 1.5 { -45.0 } else { 0.0 };
        shade(
            base,
            13.0 * grain + 0.5 * phase - 25.0 + seam + 8.0 * (rng.unit() - 0.5),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_part_is_measured() {
        let mut mask = GrayImage::new(5, 3);
        for (x, y) in [(0, 0), (1, 1), (0, 1), (4, 2)] {
            mask.put_pixel(x, y, Luma([255]));
        }
        assert!((largest_share(&mask) - 0.75).abs() < 1e-9);
    }

    #[test]
    fn a_laid_stamp_keeps_its_mask() {
        let stamp = RgbaImage::from_fn(30, 20, |x, _| {
            image::Rgba([10, 20, 30, if x < 15 { 255 } else { 0 }])
        });
        for i in 0..3 {
            let (photo, mask) = lay(&stamp, i);
            assert_eq!(photo.dimensions(), (40, 30));
            let covered = mask.pixels().filter(|p| p.0[0] == 255).count();
            assert_eq!(covered, 15 * 20);
            assert_eq!(photo.get_pixel(6, 6).0, [10, 20, 30]);
        }
    }
}
