//! The pictures for the page, from what was described and what the cabinet keeps.

use std::sync::Arc;

use crate::{
    cabinet::{Cabinet, Snapshot, SnapshotView},
    colour,
    describe::Described,
    identify::Identified,
    raster,
    report::{Exhibit, Sample, Sight, Swatch},
};

/// Longest side of a photo on the page.
const PHOTO_PX: u32 = 720;
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
    let longest = working.width().max(working.height());
    let scale = (PHOTO_PX as f32 / longest as f32).min(1.0);
    let size = |px: u32| ((px as f32 * scale).round() as u32).max(1);
    let (width, height) = (size(working.width()), size(working.height()));
    Sight {
        name: name.to_owned(),
        photo: Arc::new(raster::resize(working, width, height)),
        mask: raster::resize_grey(&described.cutout.mask, width, height),
        outline: described.outline.thinned(400).mapped([0.0; 2], scale),
        crop: described.crop.clone(),
    }
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
