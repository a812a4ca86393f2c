//! Colour photos that look for their own black-and-white prints, plain and with
//! the dots of a printed page.

use std::{
    f32::consts::{FRAC_1_SQRT_2, TAU},
    path::{Path, PathBuf},
};

use image::{GrayImage, Luma, imageops};
use rayon::prelude::*;

use super::studio;
use crate::{Result, answer, bench::Bench, line::Line, picture, program::Question};

/// The studio's world: cups, so that decoration and form have to tell.
const WORLD: [&str; 13] = [
    "world",
    "--seed",
    "77015",
    "--shapes",
    "12",
    "--decorations",
    "12",
    "--shapes-per-decoration",
    "4",
    "--views",
    "2",
    "--forms",
    "teacup",
];

/// Distances of the lines of dots, pixels of the print.
const SCREENS_PX: [f32; 3] = [3.5, 5.0, 7.0];
/// Times finer the dots are drawn before the page is scanned.
const FINER: u32 = 4;

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let Some(dir) = studio::rendered(bench, "twins", &WORLD)? else {
        return Ok(());
    };
    let photos = picture::list(&dir.join("photos"), "jpg")?;
    let top = photos.len().to_string();
    let mut kinds = vec![("plain".to_owned(), None)];
    kinds.extend(SCREENS_PX.map(|px| (format!("screen_{px}"), Some(px))));
    for (kind, screen_px) in kinds {
        let folder = bench.fresh(&format!("twins-{kind}"))?;
        let prints = photos
            .par_iter()
            .map(|photo| print(photo, screen_px, &folder).map_err(|e| e.to_string()))
            .collect::<Result<Vec<PathBuf>, String>>()?;
        let name = format!("twins-{kind}");
        let cabinet = bench.cabinet(&name, &prints, &[])?;
        let found = bench.ask(
            &name,
            &Question {
                cabinet: &cabinet,
                photos: &photos,
                args: &["--by", "decoration,form", "--top", &top],
                masks: false,
            },
        )?;
        let hits = found
            .answers
            .iter()
            .filter(|a| a.ranking().first() == Some(&answer::stem(&a.photo)))
            .count();
        bench.put(
            Line::share(format!("twins.{kind}.r1"), hits, photos.len()).note(
                "a colour photo of a cup finds its own black-and-white print first, by decoration and form",
            ),
        );
    }
    Ok(())
}

/// The photo as a black-and-white print, with a screen of that period or none.
fn print(photo: &Path, screen_px: Option<f32>, folder: &Path) -> Result<PathBuf> {
    let mut tones = picture::grey(photo)?;
    if let Some(period) = screen_px {
        tones = screened(&tones, period);
    }
    let file = folder.join(format!("{}.png", picture::stem(photo)));
    tones.save(&file)?;
    Ok(file)
}

/// Clustered dots on a lattice at 45 degrees: black where the tone is below a
/// threshold that rises and falls as two cosines do, by rank, so that paper
/// covers as much as the tone says (Ulichney 1987, Digital Halftoning, chapter
/// 5), drawn finer and averaged as a scanner does.
fn screened(tones: &GrayImage, period_px: f32) -> GrayImage {
    let (width, height) = tones.dimensions();
    let fine = imageops::resize(
        tones,
        width * FINER,
        height * FINER,
        imageops::FilterType::Triangle,
    );
    let mut spots: Vec<f32> = (0..200 * 200)
        .map(|i| ((i % 200) as f32 / 200.0 * TAU).cos() + ((i / 200) as f32 / 200.0 * TAU).cos())
        .collect();
    spots.sort_by(f32::total_cmp);
    let dots = GrayImage::from_fn(width * FINER, height * FINER, |x, y| {
        let at = |v: u32| v as f32 / FINER as f32 * FRAC_1_SQRT_2 / period_px * TAU;
        let (x_at, y_at) = (at(x), at(y));
        let spot = (x_at + y_at).cos() + (x_at - y_at).cos();
        let rank = spots.partition_point(|s| *s < spot) as f32 / spots.len() as f32;
        let is_paper = f32::from(fine.get_pixel(x, y).0[0]) / 255.0 > rank;
        Luma([if is_paper { 255 } else { 0 }])
    });
    GrayImage::from_fn(width, height, |x, y| {
        let sum: u32 = (0..FINER * FINER)
            .map(|i| {
                let dot = dots.get_pixel(x * FINER + i % FINER, y * FINER + i / FINER);
                u32::from(dot.0[0])
            })
            .sum();
        Luma([(sum / (FINER * FINER)) as u8])
    })
}
