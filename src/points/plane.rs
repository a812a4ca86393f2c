//! A grey plane, its blurs and halves, and the piece continued beyond its edge.

use image::{GrayImage, RgbImage};

use crate::raster;

/// Kernels end at so many standard deviations.
const REACH: f32 = 3.0;
/// Coverage from which a pixel is the piece's.
const COVERED: u8 = 200;
/// What the grey inside is brought to: its median and its standard deviation, which is
/// taken as this at least.
const MEDIAN: f32 = 128.0;
const SPREAD: f32 = 45.0;
const LEAST_SPREAD: f32 = 6.0;

/// Grey values row by row.
#[derive(Clone, Debug)]
pub(super) struct Plane {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) values: Vec<f32>,
}

impl Plane {
    fn new(width: usize, height: usize, values: Vec<f32>) -> Self {
        debug_assert_eq!(width * height, values.len());
        Self {
            width,
            height,
            values,
        }
    }

    pub(super) fn row(&self, y: usize) -> &[f32] {
        &self.values[y * self.width..(y + 1) * self.width]
    }

    pub(super) fn at(&self, x: usize, y: usize) -> f32 {
        self.values[y * self.width + x]
    }

    /// Between four pixels; x and y count from the middle of the first. Beyond the
    /// edge as at it.
    pub(super) fn between(&self, x: f32, y: f32) -> f32 {
        let x = x.clamp(0.0, (self.width - 1) as f32);
        let y = y.clamp(0.0, (self.height - 1) as f32);
        let (left, top) = (x as usize, y as usize);
        let (right, below) = (
            (left + 1).min(self.width - 1),
            (top + 1).min(self.height - 1),
        );
        let (u, v) = (x - left as f32, y - top as f32);
        let across = |y: usize| self.at(left, y) * (1.0 - u) + self.at(right, y) * u;
        across(top) * (1.0 - v) + across(below) * v
    }

    /// Blurred by a Gaussian, beyond the edge as at it.
    pub(super) fn blurred(&self, sigma_px: f32) -> Self {
        let kernel = kernel(sigma_px);
        let reach = kernel.len() - 1;
        let (width, height) = (self.width, self.height);
        let mut down = Vec::with_capacity(width * height);
        for y in 0..height {
            let mut sum: Vec<f32> = self.row(y).iter().map(|v| v * kernel[0]).collect();
            for (i, k) in kernel.iter().enumerate().skip(1) {
                let above = self.row(y.saturating_sub(i));
                let below = self.row((y + i).min(height - 1));
                for ((sum, a), b) in sum.iter_mut().zip(above).zip(below) {
                    *sum += k * (a + b);
                }
            }
            down.extend(sum);
        }
        let mut across = vec![0.0; width * height];
        let mut padded = vec![0.0; width + 2 * reach];
        for (sum, row) in across.chunks_exact_mut(width).zip(down.chunks_exact(width)) {
            padded[..reach].fill(row[0]);
            padded[reach..reach + width].copy_from_slice(row);
            padded[reach + width..].fill(row[width - 1]);
            for (i, k) in kernel.iter().enumerate() {
                let left = &padded[reach - i..][..width];
                let right = &padded[reach + i..][..width];
                // The middle is met from both sides.
                let k = if i == 0 { k / 2.0 } else { *k };
                for ((sum, a), b) in sum.iter_mut().zip(left).zip(right) {
                    *sum += k * (a + b);
                }
            }
        }
        Self::new(width, height, across)
    }

    /// Every second pixel of every second row.
    pub(super) fn every_second(&self) -> Self {
        let (width, height) = (self.width.div_ceil(2), self.height.div_ceil(2));
        let rows = (0..height).map(|y| self.row(2 * y));
        let values = rows.flat_map(|row| row.iter().step_by(2).copied());
        Self::new(width, height, values.collect())
    }

    /// This less another of its size.
    pub(super) fn less(&self, other: &Self) -> Self {
        let values = self.values.iter().zip(&other.values).map(|(a, b)| a - b);
        Self::new(self.width, self.height, values.collect())
    }
}

/// One half of a Gaussian, from its middle; the whole sums to 1.
fn kernel(sigma_px: f32) -> Vec<f32> {
    let reach = (REACH * sigma_px).ceil().max(1.0) as usize;
    let mut half: Vec<f32> = (0..=reach)
        .map(|i| (-0.5 * (i as f32 / sigma_px.max(1e-3)).powi(2)).exp())
        .collect();
    let sum = 2.0 * half.iter().sum::<f32>() - half[0];
    half.iter_mut().for_each(|v| *v /= sum);
    half
}

/// Where the piece is, `edge_px` of its edge taken off; the edge of the picture is none.
pub(super) fn inside(cover: &GrayImage, edge_px: usize) -> Vec<bool> {
    let (width, height) = (cover.width() as usize, cover.height() as usize);
    let least = |from: &[bool], along: usize, step: usize, lines: usize, next: usize| {
        let mut out = vec![false; from.len()];
        for line in 0..lines {
            // Pixels in a row up to here that are covered.
            let mut run = 0;
            for i in 0..along + edge_px {
                // What lies beyond the picture is not asked.
                run = match i < along && !from[line * next + i * step] {
                    true => 0,
                    false => run + 1,
                };
                if let Some(middle) = i.checked_sub(edge_px)
                    && middle < along
                {
                    out[line * next + middle * step] = run >= (2 * edge_px + 1).min(i + 1);
                }
            }
        }
        out
    };
    let covered: Vec<bool> = cover.as_raw().iter().map(|v| *v > COVERED).collect();
    let across = least(&covered, width, 1, height, width);
    least(&across, height, width, width, 1)
}

/// The grey of the piece, what lies around it continued smoothly from inside, of one
/// median and one spread. `None` where hardly anything of it is there.
pub(super) fn standardised(picture: &RgbImage, cover: &GrayImage) -> Option<Plane> {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let surely = inside(cover, 2);
    let [r, g, b] = [0.299, 0.587, 0.114f32];
    let grey: Vec<f32> = picture
        .pixels()
        .map(|p| r * f32::from(p.0[0]) + g * f32::from(p.0[1]) + b * f32::from(p.0[2]))
        .collect();
    let mut within: Vec<f32> = grey
        .iter()
        .zip(cover.as_raw())
        .filter(|(_, cover)| **cover > COVERED)
        .map(|(v, _)| *v)
        .collect();
    if within.len() < 64 || !surely.contains(&true) {
        return None;
    }
    let mean = within.iter().sum::<f32>() / within.len() as f32;
    let variance = within.iter().map(|v| (v - mean).powi(2)).sum::<f32>() / within.len() as f32;
    let middle = within.len() / 2;
    let median = *within.select_nth_unstable_by(middle, f32::total_cmp).1;
    let gain = SPREAD / variance.sqrt().max(LEAST_SPREAD);
    let sums = grey
        .iter()
        .zip(&surely)
        .map(|(v, sure)| if *sure { [*v, 1.0] } else { [0.0; 2] })
        .collect();
    let values = continued(sums, width, height)
        .into_iter()
        .zip(grey)
        .zip(&surely)
        .map(|((around, own), sure)| if *sure { own } else { around })
        .map(|v| ((v - median) * gain + MEDIAN).clamp(0.0, 255.0));
    Some(Plane::new(width, height, values.collect()))
}

/// Values where some are known, each with its weight, and continued smoothly where none
/// are: summed up into ever smaller pictures, and filled from those on the way back
/// ("pull-push", Gortler, Grzeszczuk, Szeliski & Cohen 1996).
fn continued(sums: Vec<[f32; 2]>, width: usize, height: usize) -> Vec<f32> {
    if width <= 1 && height <= 1 {
        let known = sums.first().filter(|[_, weight]| *weight > 0.0);
        return vec![known.map_or(MEDIAN, |[sum, weight]| sum / weight)];
    }
    let (w, h) = (width.div_ceil(2), height.div_ceil(2));
    let mut halves = vec![[0.0f32; 2]; w * h];
    for (row, y) in sums.chunks_exact(width).zip(0..) {
        for (cells, half) in row.chunks(2).zip(&mut halves[y / 2 * w..]) {
            for [sum, weight] in cells {
                half[0] += sum;
                half[1] += weight;
            }
        }
    }
    // A place weighs no more than a whole pixel, however much lies under it.
    for [sum, weight] in &mut halves {
        let most = weight.max(1.0);
        (*sum, *weight) = (*sum / most, *weight / most);
    }
    let coarse = Plane::new(w, h, continued(halves, w, h));
    sums.iter()
        .enumerate()
        .map(|(i, [sum, weight])| {
            if *weight >= 1.0 {
                return *sum;
            }
            let (x, y) = ((i % width) as f32, (i / width) as f32);
            sum + (1.0 - weight) * coarse.between(x / 2.0 - 0.25, y / 2.0 - 0.25)
        })
        .collect()
}

/// The a* and b* of a picture, blurred; taken where they are asked for.
pub(super) struct Tint([Plane; 2]);

impl Tint {
    /// From a quarter of the pixels: colour is never finer than the blur.
    pub(super) fn new(picture: &RgbImage, sigma_px: f32) -> Self {
        let (width, height) = (picture.width().div_ceil(2), picture.height().div_ceil(2));
        let small = raster::resize(picture, width, height);
        let lab: Vec<[f32; 3]> = small.pixels().map(|p| raster::lab(p.0)).collect();
        let of = |i: usize| {
            let values = lab.iter().map(|lab| lab[i]).collect();
            Plane::new(width as usize, height as usize, values).blurred(sigma_px / 2.0)
        };
        Self([of(1), of(2)])
    }

    pub(super) fn at(&self, x: f32, y: f32) -> [f32; 2] {
        let of = |plane: &Plane| plane.between(x / 2.0 - 0.25, y / 2.0 - 0.25);
        [of(&self.0[0]), of(&self.0[1])]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edge_is_taken_off_on_all_sides_but_the_pictures() {
        let cover = GrayImage::from_fn(20, 12, |x, y| {
            image::Luma([if x >= 5 && y >= 2 { 255 } else { 0 }])
        });
        for (i, found) in inside(&cover, 3).into_iter().enumerate() {
            let (x, y) = (i % 20, i / 20);
            assert_eq!(found, x >= 8 && y >= 5, "{x} {y}");
        }
    }

    #[test]
    fn a_blur_keeps_what_is_even_and_spreads_a_spot_as_a_gaussian() {
        let even = Plane::new(9, 7, vec![3.0; 63]).blurred(2.5);
        assert!(even.values.iter().all(|v| (v - 3.0).abs() < 1e-5));
        let mut spot = Plane::new(41, 41, vec![0.0; 41 * 41]);
        spot.values[20 * 41 + 20] = 1.0;
        let spot = spot.blurred(3.0);
        let ratio = spot.at(23, 20) / spot.at(20, 20);
        assert!((ratio - (-0.5f32).exp()).abs() < 1e-4, "{ratio}");
        let variance: f32 = (0..41 * 41)
            .map(|i| spot.values[i] * ((i % 41) as f32 - 20.0).powi(2))
            .sum();
        assert!((variance - 9.0).abs() < 0.4, "{variance}");
    }
}
