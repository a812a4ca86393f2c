//! Trivial baselines: what a channel has to surpass to be worth its while.

use std::io::Cursor;

use image::{ImageFormat, ImageReader, Limits, imageops::FilterType};

use super::{Baselines, Rate};
use crate::{cabinet::Snapshot, channel, colour::Ground, identify::reading::Level};

/// Largest side of a thumbnail that is decoded.
const THUMBNAIL_PX: u32 = 4096;

/// What the baselines compare, by position of the view; `None` where a photo lacks
/// it.
#[derive(Clone, Debug, Default)]
pub struct Plain {
    /// Logarithm of height over width of the outline's box.
    log_aspect: Vec<Option<f64>>,
    ground_lab: Vec<Option<[f32; 3]>>,
    hash: Vec<Option<u64>>,
}

impl Plain {
    /// Of a snapshot's views. `hashes` has [`difference_hash`] of each view's
    /// thumbnail.
    pub fn new(snapshot: &Snapshot, hashes: Vec<Option<u64>>) -> Self {
        let views = 0..snapshot.views().len() as u32;
        let vector = |name: &str, view| snapshot.vector(channel::position(name)?, view);
        Self {
            log_aspect: views
                .clone()
                .map(|view| vector("contour", view).and_then(log_aspect))
                .collect(),
            ground_lab: views
                .map(|view| Some(Ground::from_numbers(vector("ground", view)?)?.lab))
                .collect(),
            hash: hashes,
        }
    }

    /// R@1 of each baseline for views asked about with their piece left out.
    pub(super) fn baselines(&self, snapshot: &Snapshot, level: Level, views: &[u32]) -> Baselines {
        let set = Set::new(snapshot, level);
        let lab = |a: &[f32; 3], b: &[f32; 3]| -> f64 {
            let squares = a.iter().zip(b).map(|(a, b)| f64::from(a - b).powi(2));
            squares.sum()
        };
        Baselines {
            aspect_ratio: set.r1(&self.log_aspect, views, &|a, b| (a - b).abs()),
            ground_lab: set.r1(&self.ground_lab, views, &lab),
            thumbnail_hash: set.r1(&self.hash, views, &|a, b| f64::from((a ^ b).count_ones())),
        }
    }
}

/// Piece and label of each view.
struct Set<'a>(Vec<(u32, Option<&'a str>)>);

impl<'a> Set<'a> {
    fn new(snapshot: &'a Snapshot, level: Level) -> Self {
        let views = snapshot.views().iter();
        Self(
            views
                .map(|view| {
                    let labels = &snapshot.pieces()[view.piece as usize].labels;
                    (view.piece, labels.get(level.name()))
                })
                .collect(),
        )
    }

    /// How often the nearest view of another piece bears the right label. Where
    /// several are as near, the share of those that do.
    fn r1<T>(
        &self,
        features: &[Option<T>],
        views: &[u32],
        distance: &dyn Fn(&T, &T) -> f64,
    ) -> Option<Rate> {
        Rate::mean(views.iter().filter_map(|view| {
            let own = features.get(*view as usize)?.as_ref()?;
            let (piece, truth) = self.0[*view as usize];
            let (mut least, mut right, mut all) = (f64::INFINITY, 0, 0);
            for ((other, label), feature) in self.0.iter().zip(features) {
                let (Some(label), Some(feature)) = (label, feature) else {
                    continue;
                };
                if *other == piece {
                    continue;
                }
                let d = distance(own, feature);
                if d < least {
                    (least, right, all) = (d, 0, 0);
                }
                if d == least {
                    right += usize::from(Some(*label) == truth);
                    all += 1;
                }
            }
            (all > 0).then(|| right as f64 / all as f64)
        }))
    }
}

/// Logarithm of height over width of a contour, given as x and y in turn.
fn log_aspect(contour: &[f32]) -> Option<f64> {
    let span = |axis: usize| {
        let along = contour.iter().skip(axis).step_by(2).copied();
        let (low, high) = along.fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
        f64::from(high - low)
    };
    let aspect = (span(1) / span(0)).ln();
    aspect.is_finite().then_some(aspect)
}

/// A perceptual hash of a JPEG: of the picture in 9 x 8 greys, whether each is
/// darker than the one to its right (rows from the top, highest bit first). `None`
/// if it is no picture.
pub fn difference_hash(jpeg: &[u8]) -> Option<u64> {
    let mut reader = ImageReader::with_format(Cursor::new(jpeg), ImageFormat::Jpeg);
    let mut limits = Limits::default();
    limits.max_image_width = Some(THUMBNAIL_PX);
    limits.max_image_height = Some(THUMBNAIL_PX);
    reader.limits(limits);
    let grey = reader.decode().ok()?.to_luma8();
    let small = image::imageops::resize(&grey, 9, 8, FilterType::Triangle);
    let mut hash = 0;
    for y in 0..8 {
        for x in 0..8 {
            let rises = small.get_pixel(x, y).0[0] < small.get_pixel(x + 1, y).0[0];
            hash = hash << 1 | u64::from(rises);
        }
    }
    Some(hash)
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma};

    use super::*;

    fn jpeg(picture: &GrayImage) -> Vec<u8> {
        let mut bytes = Cursor::new(Vec::new());
        picture.write_to(&mut bytes, ImageFormat::Jpeg).unwrap();
        bytes.into_inner()
    }

    #[test]
    fn the_hash_is_of_what_rises_to_the_right() {
        let of = |grey: &dyn Fn(u32, u32) -> u8| {
            let picture = GrayImage::from_fn(180, 160, |x, y| Luma([grey(x, y)]));
            difference_hash(&jpeg(&picture)).unwrap()
        };
        assert_eq!(of(&|x, _| x as u8), u64::MAX);
        assert_eq!(of(&|x, _| 200 - x as u8), 0);
        // Rising in the upper half only.
        let half = of(&|x, y| if y < 80 { x as u8 } else { 200 - x as u8 });
        assert_eq!(half, 0xffff_ffff_0000_0000);
        assert_eq!(difference_hash(b""), None);
        assert_eq!(difference_hash(b"no picture"), None);
    }

    #[test]
    fn the_nearest_of_another_piece_counts_and_equals_are_shared() {
        let set = Set(vec![
            (0, Some("A")),
            (0, Some("A")),
            (1, Some("A")),
            (2, Some("B")),
            (3, None),
        ]);
        let features = [Some(1.0), Some(1.0), Some(2.0), Some(0.0), Some(1.0)];
        let apart = |a: &f64, b: &f64| (a - b).abs();
        // Of the first piece, A and B are as near: half. Of the third, A is nearest.
        let r1 = |views: &[u32]| set.r1(&features, views, &apart).map(|r| (r.rate, r.n));
        assert_eq!(r1(&[0]), Some((0.5, 1)));
        assert_eq!(r1(&[0, 2]), Some((0.75, 2)));
        assert_eq!(set.r1(&[None; 5], &[0, 1], &apart), None);
    }

    #[test]
    fn a_contour_twice_as_high_as_wide() {
        let contour = [0.0, 0.0, 1.0, 0.0, 1.0, 2.0, 0.0, 2.0];
        assert!((log_aspect(&contour).unwrap() - 2f64.ln()).abs() < 1e-9);
        assert_eq!(log_aspect(&[1.0, 1.0]), None);
    }
}
