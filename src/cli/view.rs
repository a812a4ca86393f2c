//! A photo as the cabinet keeps it.

use std::path::Path;

use crate::{
    cabinet::{Feature, Labels, NewView, Origin},
    channel::REGISTRY,
    describe::{Described, Engine},
    error::{Error, Kind, Result},
    photo::Photo,
    raster,
    warning::Warning,
};

/// Describes a photo; what is known about it is still to be said.
pub(super) fn describe(
    file: &Path,
    photo: Photo,
    engine: &Engine,
) -> Result<(NewView, Vec<Warning>)> {
    let described = engine.describe(&photo)?;
    let json = |e: serde_json::Error| Error::new(Kind::Internal, "cannot be kept").caused_by(e);
    let view = NewView {
        photo: file.display().to_string(),
        width_px: photo.pixels.width(),
        height_px: photo.pixels.height(),
        captured: photo.captured,
        sha256: photo.sha256,
        warnings_json: serde_json::to_string(&described.warnings).map_err(json)?,
        thumbnail_jpeg: thumbnail(&described)?,
        outline_json: serde_json::to_string(&described.outline.thinned(240)).map_err(json)?,
        palette_json: serde_json::to_string(&described.colours.swatches).map_err(json)?,
        features: features(&described),
        view: described.pose.view.name().map(str::to_owned),
        ..NewView::default()
    };
    Ok((view, described.warnings))
}

/// Says what is known about a photo, and who says so.
pub(super) fn labelled(
    view: NewView,
    piece: Option<String>,
    labels: Labels,
    origin: Origin,
) -> NewView {
    NewView {
        piece,
        view: labels.get("view").map(str::to_owned).or(view.view),
        labels,
        origin,
        ..view
    }
}

/// A photo's vectors as the cabinet keeps them.
pub(super) fn features(described: &Described) -> Vec<Feature> {
    REGISTRY
        .iter()
        .zip(&described.features)
        .filter_map(|(channel, vector)| {
            Some(Feature {
                channel: channel.name.to_owned(),
                version: channel.version,
                vector: vector.clone()?,
            })
        })
        .collect()
}

/// A small JPEG of the piece with a margin of its surroundings.
fn thumbnail(described: &Described) -> Result<Vec<u8>> {
    const SIDE_PX: f32 = 240.0;
    let bounds = described.outline.bounds();
    let margin = 0.06 * bounds.width().max(bounds.height());
    let working = &described.cutout.working;
    let left = (bounds.left - margin).max(0.0);
    let top = (bounds.top - margin).max(0.0);
    let right = (bounds.right + margin).min(working.width() as f32);
    let bottom = (bounds.bottom + margin).min(working.height() as f32);
    let (width, height) = ((right - left).max(1.0), (bottom - top).max(1.0));
    let part = image::imageops::crop_imm(
        working,
        left as u32,
        top as u32,
        width.ceil() as u32,
        height.ceil() as u32,
    )
    .to_image();
    let scale = (SIDE_PX / width.max(height)).min(1.0);
    let small = raster::resize(
        &part,
        (width * scale).round() as u32,
        (height * scale).round() as u32,
    );
    let mut jpeg = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 82)
        .encode_image(&small)
        .map_err(|e| Error::new(Kind::Internal, "no thumbnail could be made").caused_by(e))?;
    Ok(jpeg)
}
