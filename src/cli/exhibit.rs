//! The pictures for the page, from what was described and what the cabinet keeps.

use std::sync::Arc;

use image::{GrayImage, RgbImage, imageops};

use crate::{
    cabinet::{Cabinet, Snapshot, SnapshotView},
    channel::on_ground,
    colour,
    cutout::Piece,
    describe::Described,
    identify::Identified,
    outline, raster,
    report::{Exhibit, Sample, Sight, Swatch},
};

/// Longest side of a photo on the page.
const PHOTO_PX: u32 = 720;
/// Longest side of a piece that was cut out, there.
const PIECE_PX: u32 = 320;
/// Matches shown with pictures.
const MATCHES: usize = 5;

/// The pictures of one piece: its views by name, its matches, and the pieces that
/// its labels may be confused by.
pub(super) fn exhibit(
    views: &[(String, &Described)],
    identified: &Identified,
    cabinet: &Cabinet,
    snapshot: &Snapshot,
) -> Exhibit {
    let look_alikes = &identified.reading.look_alikes;
    Exhibit {
        sights: views
            .iter()
            .map(|(name, described)| sight(name, described))
            .collect(),
        palette: views
            .first()
            .map(|(_, described)| swatches(&described.colours.swatches))
            .unwrap_or_default(),
        // A page with a picture missing is better than no page.
        matches: identified
            .view_ids
            .iter()
            .take(MATCHES)
            .map(|id| sample(cabinet, *id).unwrap_or_default())
            .collect(),
        look_alikes: look_alikes
            .iter()
            .map(|pair| {
                [0, 1].map(|i| {
                    view_of(snapshot, &pair.pieces[i], &pair.photos[i])
                        .and_then(|id| sample(cabinet, id))
                        .unwrap_or_default()
                })
            })
            .collect(),
    }
}

/// The number of a piece's photo.
fn view_of(snapshot: &Snapshot, piece: &str, photo: &str) -> Option<i64> {
    let is_it = |view: &&SnapshotView| {
        view.photo == photo && snapshot.pieces()[view.piece as usize].name == piece
    };
    snapshot.views().iter().find(is_it).map(|view| view.id)
}

fn sight(name: &str, described: &Described) -> Sight {
    let working = &described.cutout.working;
    let (width, height, scale) = size(working, PHOTO_PX);
    Sight {
        name: name.to_owned(),
        photo: Arc::new(raster::resize(working, width, height)),
        mask: raster::resize_grey(&described.cutout.mask, width, height),
        outline: described.outline.thinned(400).mapped([0.0; 2], scale),
        crop: described.crop.clone(),
    }
}

/// Width and height of a picture whose longest side is `most` at most, and its scale.
fn size(picture: &RgbImage, most: u32) -> (u32, u32, f32) {
    let longest = picture.width().max(picture.height());
    let scale = (most as f32 / longest as f32).min(1.0);
    let of = |px: u32| ((px as f32 * scale).round() as u32).max(1);
    (of(picture.width()), of(picture.height()), scale)
}

/// The pieces cut out of one photo.
pub(super) fn cut_out(name: &str, photo: &RgbImage, pieces: &[Piece]) -> Vec<Sight> {
    let (width, height, scale) = size(photo, PHOTO_PX);
    let photo = Arc::new(raster::resize(photo, width, height));
    let one = |piece: &Piece| {
        let [left, top, w, h] = piece.frame_px.map(|v| (v as f32 * scale).round() as u32);
        let mut mask = GrayImage::new(width, height);
        let own = raster::resize_grey(&piece.mask, w, h);
        imageops::replace(&mut mask, &own, i64::from(left), i64::from(top));
        let outline = outline::trace(mask.as_raw(), width as usize).unwrap_or_default();
        Sight {
            name: name.to_owned(),
            photo: Arc::clone(&photo),
            outline: outline.thinned(400),
            mask,
            crop: alone(piece),
        }
    };
    pieces.iter().map(one).collect()
}

/// The piece on grey, small enough for the page.
fn alone(piece: &Piece) -> RgbImage {
    let (width, height, _) = size(&piece.pixels, PIECE_PX);
    let mut picture = raster::resize(&piece.pixels, width, height);
    let mask = raster::resize_grey(&piece.mask, width, height);
    for (pixel, cover) in picture.pixels_mut().zip(mask.iter()) {
        *pixel = on_ground(pixel, *cover);
    }
    picture
}

fn sample(cabinet: &Cabinet, id: i64) -> Option<Sample> {
    let kept = cabinet.view(id).ok()?;
    let palette: Vec<colour::Swatch> = serde_json::from_str(&kept.palette_json).unwrap_or_default();
    Some(Sample {
        thumbnail: kept.thumbnail_jpeg,
        outline: serde_json::from_str(&kept.outline_json).unwrap_or_default(),
        palette: swatches(&palette),
        photo: kept.view.photo,
    })
}

fn swatches(palette: &[colour::Swatch]) -> Vec<Swatch> {
    palette
        .iter()
        .map(|s| Swatch {
            lab: s.lab,
            rgb: s.rgb,
            share: s.share,
        })
        .collect()
}
