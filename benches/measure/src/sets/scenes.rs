//! Photos of several pieces: is each cut out by itself, and nothing where there is no ware?

use std::path::{Path, PathBuf};

use image::{GrayImage, RgbImage, imageops};
use serde::Deserialize;

use super::studio;
use crate::{
    Result,
    bench::Bench,
    line::Line,
    metric::{iou, mean},
    picture,
};

/// Pieces on the table, things among them that are no ware, photos.
const TABLES: [[usize; 3]; 5] = [[1, 1, 24], [2, 0, 24], [3, 1, 24], [5, 1, 24], [7, 0, 24]];
const EMPTY: [usize; 3] = [0, 0, 120];
const STRANGERS: [usize; 3] = [0, 2, 48];
/// Not a seed that anything was chosen on.
const SEED: usize = 77030;
/// A piece is found if what was cut out overlaps it by this.
const FOUND: f64 = 0.7;
/// What is hidden behind others but for less of the photo than this is not asked for.
const LEAST_SHARE: f64 = 0.002;

/// Museum photos laid side by side as one, and their side in it, pixels.
const ACROSS: u32 = 4;
const TILES: usize = 12;
const TILE_PX: u32 = 320;

#[derive(Deserialize)]
struct Scene {
    photo: String,
    pieces: Vec<Thing>,
}

#[derive(Deserialize)]
struct Thing {
    meant: bool,
    #[serde(default)]
    mask: String,
}

/// A row of `footring split --format jsonl`.
#[derive(Deserialize)]
struct Cut {
    photo: PathBuf,
    status: String,
    file: Option<PathBuf>,
    frame_px: Option<[u32; 4]>,
}

/// Pieces that are there, that were cut out, and that are both.
#[derive(Clone, Copy, Default)]
struct Count {
    there: usize,
    cut: usize,
    found: usize,
}

impl Count {
    /// Counts a photo's pieces; keeps how far those that are found overlap.
    fn add(&mut self, truths: &[GrayImage], masks: &[GrayImage], overlaps: &mut Vec<f64>) {
        self.there += truths.len();
        self.cut += masks.len();
        for truth in truths {
            let overlap = |mask: &GrayImage| iou(mask.as_raw(), truth.as_raw());
            let best = masks.iter().map(overlap).fold(0.0, f64::max);
            if best >= FOUND {
                self.found += 1;
                overlaps.push(best);
            }
        }
    }

    fn f1(self) -> f64 {
        2.0 * self.found as f64 / (self.there + self.cut) as f64
    }
}

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let (mut all, mut overlaps) = (Count::default(), Vec::new());
    for table in TABLES {
        let Some((scenes, cuts)) = scenes(bench, table)? else {
            return Ok(());
        };
        let mut count = Count::default();
        for (photo, truths) in &scenes {
            let mut masks = Vec::new();
            for cut in cuts.iter().filter(|cut| cut.photo == *photo) {
                masks.extend(cut.mask(photo)?);
            }
            count.add(truths, &masks, &mut overlaps);
        }
        let name = format!("scenes.f1_of_{}", table[0]);
        bench.put(Line::new(name, count.f1(), count.there));
        all.there += count.there;
        all.cut += count.cut;
        all.found += count.found;
    }
    bench.put(
        Line::new("scenes.f1", all.f1(), all.there)
            .at_least(0.9)
            .note("pieces of a photo cut out by themselves (overlap 0.7)"),
    );
    bench.put(
        Line::new("scenes.iou", mean(&overlaps), overlaps.len())
            .note("overlap of those with the truth"),
    );
    if let Some((scenes, cuts)) = scenes(bench, EMPTY)? {
        let none = cuts.iter().filter(|cut| cut.status == "none").count();
        bench.put(
            Line::share("scenes.nothing", none, scenes.len())
                .at_least(0.98)
                .note("photos of a bare table in which nothing is found"),
        );
    }
    if let Some((scenes, cuts)) = scenes(bench, STRANGERS)? {
        let none = cuts.iter().filter(|cut| cut.status == "none").count();
        bench.put(
            Line::share("scenes.strangers", none, scenes.len())
                .note("photos of two things that are no ware in which none is taken for ware"),
        );
    }
    tiles(bench)
}

/// Real ware: museum photos side by side. What is cut out of them together is held
/// against the masks of each alone, which another network finds.
fn tiles(bench: &mut Bench) -> Result<()> {
    const NAME: &str = "scenes.tiles_f1";
    if !bench.wants(NAME) {
        return Ok(());
    }
    let photos = match bench.data("porcelain") {
        Ok(dir) => picture::list(&dir, "jpg")?,
        Err(why) => {
            bench.put(Line::skipped(NAME, why));
            return Ok(());
        }
    };
    let masks_dir = bench.masks("scenes", &photos, &["--top", "1"])?;
    let dir = bench.fresh("tiles")?;
    let mut all = Vec::new();
    for (k, group) in photos.chunks_exact(TILES).enumerate() {
        let rows = (TILES as u32).div_ceil(ACROSS);
        let (width, height) = (ACROSS * TILE_PX, rows * TILE_PX);
        let mut lot = RgbImage::new(width, height);
        let mut truths = Vec::new();
        for (i, photo) in (0u32..).zip(group) {
            let at = [i % ACROSS * TILE_PX, i / ACROSS * TILE_PX].map(i64::from);
            let size = |picture: &GrayImage| {
                imageops::resize(picture, TILE_PX, TILE_PX, imageops::FilterType::Triangle)
            };
            let pixels =
                image::open(photo)?.resize_exact(TILE_PX, TILE_PX, imageops::FilterType::Triangle);
            imageops::replace(&mut lot, &pixels.to_rgb8(), at[0], at[1]);
            let name = format!("{}.png", picture::stem(photo));
            let mask = picture::grey(&masks_dir.join(name))?;
            let mut truth = GrayImage::new(width, height);
            imageops::replace(&mut truth, &size(&mask), at[0], at[1]);
            truths.push(truth);
        }
        let file = dir.join(format!("lot-{k:02}.png"));
        lot.save(&file)?;
        all.push((file, truths));
    }
    let cuts = split(bench, &dir)?;
    let (mut count, mut overlaps) = (Count::default(), Vec::new());
    for (photo, truths) in &all {
        let mut masks = Vec::new();
        for cut in cuts.iter().filter(|cut| cut.photo == *photo) {
            masks.extend(cut.mask(photo)?);
        }
        count.add(truths, &masks, &mut overlaps);
    }
    bench.put(
        Line::new(NAME, count.f1(), count.there)
            .note("museum photos, twelve side by side as one: each cut out by itself"),
    );
    bench.put(
        Line::new("scenes.tiles_iou", mean(&overlaps), overlaps.len())
            .note("overlap of those with the mask of each photo alone"),
    );
    Ok(())
}

/// A photo and the masks of its pieces.
type Truth = (PathBuf, Vec<GrayImage>);

/// Photos with their truth, and what the program cuts out of them.
fn scenes(
    bench: &mut Bench,
    [pieces, strangers, count]: [usize; 3],
) -> Result<Option<(Vec<Truth>, Vec<Cut>)>> {
    let seed = SEED + 10 * strangers + pieces;
    let numbers = [seed, pieces, strangers, count].map(|n| n.to_string());
    let [seed, pieces, strangers, count] = numbers.each_ref().map(String::as_str);
    let args = [
        "scene",
        "--seed",
        seed,
        "--pieces",
        pieces,
        "--strangers",
        strangers,
        "--count",
        count,
        "--size",
        "768",
    ];
    let Some(dir) = studio::rendered(bench, "scenes", &args)? else {
        return Ok(None);
    };
    let truths: Vec<Scene> = studio::lines(&dir.join("truth.jsonl"))?;
    let mut scenes = Vec::new();
    for scene in truths {
        let mut masks = Vec::new();
        for piece in scene.pieces.iter().filter(|piece| piece.meant) {
            let mask = picture::grey(&dir.join(&piece.mask))?;
            let covered = mask.iter().filter(|v| **v >= 128).count();
            if covered as f64 >= LEAST_SHARE * mask.len() as f64 {
                masks.push(mask);
            }
        }
        scenes.push((dir.join(scene.photo), masks));
    }
    let cuts = split(bench, &dir.join("photos"))?;
    Ok(Some((scenes, cuts)))
}

/// What the program cuts out of the photos of a folder.
fn split(bench: &Bench, photos: &Path) -> Result<Vec<Cut>> {
    let out = bench.fresh("scenes")?;
    let done = bench
        .program
        .command(&out)
        .args(["split", "--format", "jsonl", "--out"])
        .arg(&out)
        .arg(photos)
        .output()?;
    if !done.status.success() {
        return Err(String::from_utf8_lossy(&done.stderr).trim().into());
    }
    let lines = String::from_utf8_lossy(&done.stdout);
    lines
        .lines()
        .map(|line| serde_json::from_str(line).map_err(Into::into))
        .collect()
}

impl Cut {
    /// Its coverage at the size of the photo.
    fn mask(&self, photo: &Path) -> Result<Option<GrayImage>> {
        let (Some(file), Some([left, top, ..])) = (&self.file, self.frame_px) else {
            return Ok(None);
        };
        let (width, height) = image::image_dimensions(photo)?;
        let mut mask = GrayImage::new(width, height);
        let cut = image::open(file)?.to_rgba8();
        for (x, y, pixel) in cut.enumerate_pixels() {
            mask.put_pixel(left + x, top + y, image::Luma([pixel.0[3]]));
        }
        Ok(Some(mask))
    }
}
