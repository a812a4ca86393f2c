//! Halftone screens of printed pictures: dots in a square lattice that is turned
//! against the page, usually by 45 degrees so that the eye sees it least (Ulichney
//! 1987, Digital Halftoning, chapter 5). In the spectrum such a lattice is a
//! narrow peak, with its like at a right angle. Cloth and blocks of JPEG files lie
//! along the page and are left alone.

use image::RgbImage;
use imageproc::filter::gaussian_blur_f32;

use crate::{raster, spectrum::transform_rows};

/// Side of the windows whose spectra are averaged (Welch 1967), pixels.
const WINDOW: usize = 128;
/// Windows along each side of the picture at most.
const WINDOWS: usize = 4;
/// Distances of lines of dots that are looked for, pixels.
const PERIOD_PX: std::ops::Range<f32> = 2.3..14.0;
/// Least angle between a lattice and the page, degrees.
const TURNED_DEG: f32 = 18.0;
/// How far a peak stands above the greatest value round it, at least.
const ABOVE: f32 = 6.0;
/// Half the sides of the squares between which "round it" lies.
const ROUND: std::ops::RangeInclusive<i32> = 4..=6;
/// Standard deviation of the Gaussian that takes a lattice out, by its period:
/// 2 % of the dots' contrast is left.
const SIGMA: f32 = 0.45;

/// The distance between the lines of dots of a printed screen, pixels; `None`
/// where there is none, or the picture is too small to tell.
pub fn screen_px(picture: &RgbImage) -> Option<f32> {
    let power = mean_power(picture)?;
    let at = |x: i32, y: i32| {
        let n = WINDOW as i32;
        power[(y.rem_euclid(n) * n + x.rem_euclid(n)) as usize]
    };
    // The greatest value next to a place, and how far it stands out.
    let stands_out = |x: i32, y: i32| {
        let near = square(1).map(|(i, j)| at(x + i, y + j)).fold(0.0, f32::max);
        let round = square(*ROUND.end())
            .filter(|(i, j)| i.abs().max(j.abs()) >= *ROUND.start())
            .map(|(i, j)| at(x + i, y + j));
        near / round.fold(f32::MIN_POSITIVE, f32::max)
    };
    let n = WINDOW as f32;
    let (shortest, longest) = (n / PERIOD_PX.end, n / PERIOD_PX.start);
    let mut best: Option<(f32, [i32; 2])> = None;
    for y in 0..WINDOW as i32 / 2 {
        for x in 1..WINDOW as i32 / 2 {
            let far = (x as f32).hypot(y as f32);
            let turned = (y as f32).atan2(x as f32).to_degrees();
            let is_turned = (TURNED_DEG..=90.0 - TURNED_DEG).contains(&turned);
            if !(shortest..longest).contains(&far) || !is_turned {
                continue;
            }
            let least = stands_out(x, y).min(stands_out(-y, x));
            // Of all peaks that stand out the strongest is the lattice's own;
            // the others are its multiples.
            let strength = at(x, y) * far * far;
            if least >= ABOVE && best.is_none_or(|(most, _)| strength > most) {
                best = Some((strength, [x, y]));
            }
        }
    }
    best.map(|(_, [x, y])| n / (x as f32).hypot(y as f32))
}

/// The picture with a screen of that period smoothed away.
pub fn unscreened(picture: &RgbImage, screen_px: f32) -> RgbImage {
    gaussian_blur_f32(picture, SIGMA * screen_px)
}

/// The places of a square about the middle.
fn square(half: i32) -> impl Iterator<Item = (i32, i32)> {
    (-half..=half).flat_map(move |j| (-half..=half).map(move |i| (i, j)))
}

/// Mean power spectrum of windows spread over the picture, zero frequency first.
fn mean_power(picture: &RgbImage) -> Option<Vec<f32>> {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    if width < WINDOW || height < WINDOW {
        return None;
    }
    let starts = |size: usize| -> Vec<usize> {
        let count = (size / WINDOW).clamp(1, WINDOWS);
        let room = size - WINDOW;
        (0..count)
            .map(|i| room * (2 * i + 1) / (2 * count))
            .collect()
    };
    let hann: Vec<f32> = (0..WINDOW)
        .map(|i| 0.5 - 0.5 * (std::f32::consts::TAU * (i as f32 + 0.5) / WINDOW as f32).cos())
        .collect();
    let mut power = vec![0.0; WINDOW * WINDOW];
    for top in starts(height) {
        for left in starts(width) {
            let grey = |x: usize, y: usize| {
                let pixel = picture.get_pixel((left + x) as u32, (top + y) as u32);
                f32::from(raster::luma(pixel.0))
            };
            let places = || (0..WINDOW).flat_map(|y| (0..WINDOW).map(move |x| (x, y)));
            let mean = places().map(|(x, y)| grey(x, y)).sum::<f32>() / (WINDOW * WINDOW) as f32;
            let mut field: Vec<[f32; 2]> = places()
                .map(|(x, y)| [(grey(x, y) - mean) * hann[x] * hann[y], 0.0])
                .collect();
            // Rows, then columns as the rows of the field turned over, and back.
            for _ in 0..2 {
                transform_rows(&mut field, WINDOW);
                field = places().map(|(x, y)| field[x * WINDOW + y]).collect();
            }
            for (power, [re, im]) in power.iter_mut().zip(&field) {
                *power += re * re + im * im;
            }
        }
    }
    Some(power)
}
