//! Ceramics in real photos, outlined by hand: how good are the masks? How they
//! were drawn is told in `hand.json` itself.

use std::path::PathBuf;

use image::GrayImage;
use serde::Deserialize;

use crate::{
    Result,
    bench::Bench,
    line::Line,
    metric::{iou, mean, quantile},
    picture,
};

const DRAWN: &str = include_str!("../../hand.json");

#[derive(Deserialize)]
struct Drawn {
    photos: Vec<Drawing>,
    /// Some of `photos`, drawn a second time.
    again: Vec<Drawing>,
    /// What other people's masks show, where that is not the piece alone.
    others: Vec<Drawing>,
}

/// One photo and what was drawn over it.
#[derive(Deserialize)]
struct Drawing {
    photo: PathBuf,
    width: u32,
    height: u32,
    outer: Vec<Ring>,
    #[serde(default)]
    holes: Vec<Ring>,
}

/// x, y, x, y, ... in tenths of a pixel.
type Ring = Vec<i32>;

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let drawn: Drawn = serde_json::from_str(DRAWN)?;
    let found = |drawing: &Drawing| {
        // The one photo of a package lies where `make` puts it.
        let cached = bench.settings.cache.parent();
        let roots = bench.settings.data.as_deref().into_iter().chain(cached);
        roots
            .map(|root| root.join(&drawing.photo))
            .find(|file| file.is_file())
    };
    let (photos, drawings): (Vec<PathBuf>, Vec<&Drawing>) = drawn
        .photos
        .iter()
        .filter_map(|drawing| Some((found(drawing)?, drawing)))
        .unzip();
    if photos.is_empty() {
        bench.put(Line::skipped("hand", "none of the photos is there"));
        return Ok(());
    }

    let masks_dir = bench.masks("hand", &photos, &["--top", "1"])?;
    let truths = bench.fresh("hand")?;
    let mut pairs = Vec::new();
    for (photo, drawing) in photos.iter().zip(drawings) {
        let name = format!("{}.png", picture::stem(photo));
        let truth = truths.join(&name);
        drawing.mask().save(&truth)?;
        pairs.push((masks_dir.join(name), truth));
    }
    let ious = picture::compare(&pairs, iou)?;
    bench.put(
        Line::new("hand.mask_iou", mean(&ious), ious.len())
            .note("mean overlap of the mask with the outline drawn by hand"),
    );
    bench.put(
        Line::new("hand.mask_iou_p10", quantile(&ious, 0.1), ious.len()).note("10th percentile"),
    );

    let again: Vec<f64> = drawn
        .again
        .iter()
        .flat_map(|second| drawn.photos.iter().map(move |first| (second, first)))
        .filter(|(second, first)| second.photo == first.photo)
        .map(|(second, first)| iou(first.mask().as_raw(), second.mask().as_raw()))
        .collect();
    bench.put(
        Line::new("hand.again_iou", mean(&again), again.len())
            .note("the hand's own error: overlap of two drawings of one photo"),
    );

    let Ok(saliency) = bench.data("saliency") else {
        return Ok(());
    };
    let mut others = Vec::new();
    for drawing in drawn.in_saliency() {
        let name = format!("{}.png", picture::stem(&drawing.photo));
        let theirs = picture::grey(&saliency.join("masks").join(name))?;
        others.push(iou(drawing.mask().as_raw(), theirs.as_raw()));
    }
    bench.put(
        Line::new("hand.others_iou", mean(&others), others.len())
            .note("overlap of the hand's outlines with masks that other people drew"),
    );
    Ok(())
}

impl Drawn {
    /// What is to be compared with the masks of `saliency`.
    fn in_saliency(&self) -> impl Iterator<Item = &Drawing> {
        self.others.iter().chain(self.photos.iter().filter(|one| {
            one.photo.starts_with("saliency")
                && self.others.iter().all(|other| other.photo != one.photo)
        }))
    }
}

impl Drawing {
    /// How much of each pixel is covered, even-odd.
    fn mask(&self) -> GrayImage {
        // Exact along a row; across it by lines.
        const LINES: u32 = 8;
        let mut mask = GrayImage::new(self.width, self.height);
        let edges: Vec<[f64; 4]> = self
            .outer
            .iter()
            .chain(&self.holes)
            .flat_map(edges)
            .collect();
        let mut covered = vec![0.0; self.width as usize];
        for y in 0..self.height {
            covered.fill(0.0);
            for line in 0..LINES {
                let at = f64::from(y) + (f64::from(line) + 0.5) / f64::from(LINES);
                let mut crossings: Vec<f64> = edges
                    .iter()
                    // Half open, so that a vertex on the line counts once.
                    .filter(|[_, y0, _, y1]| (*y0 <= at) != (*y1 <= at))
                    .map(|[x0, y0, x1, y1]| x0 + (at - y0) / (y1 - y0) * (x1 - x0))
                    .collect();
                crossings.sort_by(f64::total_cmp);
                for span in crossings.chunks_exact(2) {
                    for (x, covered) in covered.iter_mut().enumerate() {
                        let x = x as f64;
                        *covered += (span[1].min(x + 1.0) - span[0].max(x)).max(0.0);
                    }
                }
            }
            for (x, covered) in covered.iter().enumerate() {
                let share = covered / f64::from(LINES);
                mask.put_pixel(x as u32, y, image::Luma([(share * 255.0).round() as u8]));
            }
        }
        mask
    }
}

/// The edges of a closed ring, x, y, x, y each, in pixels.
fn edges(ring: &Ring) -> impl Iterator<Item = [f64; 4]> {
    let (points, _) = ring.as_chunks::<2>();
    let next = points.iter().cycle().skip(1);
    points
        .iter()
        .zip(next)
        .map(|([x0, y0], [x1, y1])| [*x0, *y0, *x1, *y1].map(|v| f64::from(v) / 10.0))
}

#[cfg(test)]
mod tests {
    use std::f64::consts::{PI, TAU};

    use super::*;

    fn drawing(outer: Vec<Ring>, holes: Vec<Ring>) -> Drawing {
        Drawing {
            photo: PathBuf::new(),
            width: 100,
            height: 80,
            outer,
            holes,
        }
    }

    fn disc(x: f64, y: f64, radius: f64) -> Ring {
        (0..360)
            .map(|i| f64::from(i) / 360.0 * TAU)
            .flat_map(|turn| [x + radius * turn.cos(), y + radius * turn.sin()])
            .map(|v| (v * 10.0).round() as i32)
            .collect()
    }

    fn area(mask: &GrayImage) -> f64 {
        mask.as_raw().iter().map(|v| f64::from(*v) / 255.0).sum()
    }

    #[test]
    fn a_rectangle_covers_its_pixels_by_the_share_that_lies_in_it() {
        let mask = drawing(vec![vec![25, 35, 65, 35, 65, 75, 25, 75]], vec![]).mask();
        for (x, y, share) in [
            (1, 5, 0.0),
            (2, 5, 0.5),
            (3, 5, 1.0),
            (6, 5, 0.5),
            (7, 5, 0.0),
            (2, 3, 0.25),
            (4, 7, 0.5),
        ] {
            let is = f64::from(mask.get_pixel(x, y).0[0]) / 255.0;
            assert!((is - share).abs() < 0.003, "{x} {y}: {is}");
        }
    }

    #[test]
    fn a_disc_with_a_hole_has_the_area_of_one() {
        let mask = drawing(vec![disc(50.3, 40.7, 30.0)], vec![disc(45.0, 42.0, 11.0)]).mask();
        let expected = PI * (30.0 * 30.0 - 11.0 * 11.0);
        assert!((area(&mask) / expected - 1.0).abs() < 0.001);
        assert_eq!(mask.get_pixel(45, 42).0, [0]);
    }

    #[test]
    fn what_was_drawn_lies_within_its_photos() {
        let drawn: Drawn = serde_json::from_str(DRAWN).unwrap();
        assert_eq!(drawn.photos.len(), 40);
        assert_eq!(drawn.in_saliency().count(), 8);
        for one in drawn.photos.iter().chain(&drawn.again).chain(&drawn.others) {
            for ring in one.outer.iter().chain(&one.holes) {
                let (points, rest) = ring.as_chunks::<2>();
                assert!(points.len() > 5 && rest.is_empty());
                for [x, y] in points {
                    let (right, below) = (one.width as i32 * 10, one.height as i32 * 10);
                    assert!((0..=right).contains(x) && (0..=below).contains(y));
                }
            }
        }
    }
}
