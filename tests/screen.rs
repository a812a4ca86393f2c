//! Halftone screens of prints, drawn by the textbook: clustered dots by a
//! threshold of two cosines on a turned lattice (Ulichney 1987, Digital
//! Halftoning, chapter 5), averaged as a scanner does.

use footring::{
    colour::{screen_px, unscreened},
    raster,
};
use image::{GrayImage, Luma, RgbImage};
use std::f32::consts::TAU;

const SIDE: u32 = 320;

/// A bowl of light on a table: tones from 0.1 to 0.9, no edge along the page.
fn tone(x: f32, y: f32) -> f32 {
    let far = (x - 170.0).hypot(y - 150.0);
    let table = 0.75 - 0.25 * y / SIDE as f32;
    if far < 100.0 {
        0.5 + 0.35 * ((x - 130.0) / 100.0).sin()
    } else {
        table
    }
}

fn rgb(grey: &GrayImage) -> RgbImage {
    RgbImage::from_fn(grey.width(), grey.height(), |x, y| {
        image::Rgb([grey.get_pixel(x, y).0[0]; 3])
    })
}

fn picture(tone: impl Fn(f32, f32) -> f32) -> RgbImage {
    const FINER: u32 = 5;
    rgb(&GrayImage::from_fn(SIDE, SIDE, |x, y| {
        let sum: f32 = (0..FINER * FINER)
            .map(|i| {
                let at = |v: u32, k: u32| v as f32 + (k as f32 + 0.5) / FINER as f32;
                tone(at(x, i % FINER), at(y, i / FINER))
            })
            .sum();
        Luma([(sum / (FINER * FINER) as f32 * 255.0).round() as u8])
    }))
}

fn screened(period_px: f32, turned_deg: f32) -> RgbImage {
    let (sin, cos) = turned_deg.to_radians().sin_cos();
    // Thresholds by rank, so that paper covers as much as the tone says.
    let places = (0..200).flat_map(|i| (0..200).map(move |j| (i as f32, j as f32)));
    let mut spots: Vec<f32> = places
        .map(|(i, j)| (i / 200.0 * TAU).cos() + (j / 200.0 * TAU).cos())
        .collect();
    spots.sort_by(f32::total_cmp);
    picture(|x, y| {
        let (u, v) = (x * cos + y * sin, y * cos - x * sin);
        let wave = |at: f32| (at / period_px * TAU).cos();
        let rank = spots.partition_point(|spot| *spot < wave(u) + wave(v));
        let is_paper = tone(x, y) > rank as f32 / spots.len() as f32;
        f32::from(u8::from(is_paper))
    })
}

/// Root mean square difference of two pictures away from the bowl's edge, where
/// smoothing blurs what was sharp.
fn off(a: &RgbImage, b: &RgbImage) -> f64 {
    let (mut sum, mut n) = (0.0, 0.0);
    for (x, y, p) in a.enumerate_pixels() {
        let far = (x as f32 - 170.0).hypot(y as f32 - 150.0);
        if (far - 100.0).abs() > 20.0 && x > 20 && y > 20 && x < SIDE - 20 && y < SIDE - 20 {
            let d = f64::from(p.0[0]) - f64::from(b.get_pixel(x, y).0[0]);
            (sum, n) = (sum + d * d, n + 1.0);
        }
    }
    (sum / f64::max(n, 1.0)).sqrt()
}

#[test]
fn a_screen_is_measured_and_smoothed_away() {
    let plain = picture(tone);
    for period in [3.0, 4.0, 5.5, 8.0, 11.0] {
        for turned in [45.0, 30.0, 52.0] {
            let dots = screened(period, turned);
            let found = screen_px(&dots).unwrap_or_else(|| panic!("{period} at {turned}"));
            // A cell of the spectrum is period / 128 of it.
            assert!(
                (found / period - 1.0).abs() < 0.1,
                "{period} at {turned}: {found}"
            );
            let (before, after) = (off(&dots, &plain), off(&unscreened(&dots, found), &plain));
            assert!(
                before > 60.0 && after < 8.0,
                "{period} at {turned}: {before} {after}"
            );
        }
    }
}

/// Without a screen nothing is found, so nothing is smoothed: tones alone, grain,
/// cloth along the page, and the blocks of a JPEG file.
#[test]
fn what_is_no_screen_is_left_alone() {
    let mut state = 3u32;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as f32 / (1 << 24) as f32 - 0.5
    };
    let mut grain = picture(tone);
    for p in grain.pixels_mut() {
        let v = (f32::from(p.0[0]) + 40.0 * noise()).clamp(0.0, 255.0) as u8;
        p.0 = [v; 3];
    }
    let cloth = picture(|x, y| tone(x, y) + 0.08 * ((x / 5.0 * TAU).cos() + (y / 5.0 * TAU).cos()));
    let stripes = picture(|x, y| tone(x, y) + 0.1 * ((x + y) / 7.0 * TAU).cos());
    let mut file = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, 20)
        .encode_image(&grain)
        .unwrap();
    let jpeg = image::load_from_memory(&file).unwrap().to_rgb8();
    let small = RgbImage::new(100, 400);
    for (name, picture) in [
        ("tones", &picture(tone)),
        ("grain", &grain),
        ("cloth", &cloth),
        ("stripes", &stripes),
        ("blocks", &jpeg),
        ("too small", &small),
    ] {
        assert_eq!(screen_px(picture), None, "{name}");
    }
}

/// The demo's photos turned to prints have none.
#[test]
fn photos_without_a_screen_have_none() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/index/demo/queries");
    let mut looked_at = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let file = entry.unwrap().path();
        let print = raster::grey(&image::open(&file).unwrap().to_rgb8());
        assert_eq!(screen_px(&print), None, "{}", file.display());
        looked_at += 1;
    }
    assert!(looked_at >= 10, "{looked_at}");
}
