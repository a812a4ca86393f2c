//! What the embedding networks say of a piece.
//!
//! Of the piece alone on grey: `shape` knows the moulded form whatever decorates
//! it, `decor` the decoration whatever carries it (supervised contrastive heads
//! on tuned EfficientNet-Lite0s, of two trainings end to end; see the model card), and
//! `details` the places that say most about the decoration. Of the whole photo as it
//! is: `pool`, the general vector of that network as published. The same object
//! in another photo is found far better with its surroundings than without
//! (measured on UKBench: 3.91 of 4 against 3.51), and only there do surroundings
//! help.

use image::{GrayImage, Luma, RgbImage};
use ndarray::{Array4, ArrayD};

use super::{CROP_PX, Channel, Crop, Metric, PLACE, Subject, Vector};
use crate::{error::Result, onnx::Model, raster};

/// The networks that give the vectors.
#[derive(Debug)]
pub struct Networks {
    /// Form and decoration of the piece alone.
    pub embedder: Model,
    /// Everything in the whole photo.
    pub general: Model,
}

/// The vectors of one piece: three of unit length and a set of places.
#[derive(Clone, Debug)]
pub struct Embedding {
    /// The moulded form, 256 entries.
    pub form: Vector,
    /// The decoration, 256 entries.
    pub decoration: Vector,
    /// The places that say most about the decoration, each as long as it weighs.
    pub details: Vector,
    /// Everything, 1280 entries.
    pub general: Vector,
}

/// Form by the network.
pub(super) const FORM: Channel = Channel {
    name: "form",
    version: 8,
    dim: 256,
    metric: Metric::L2,
    unrelated: 1.24,
    ranked: true,
    describe: |subject| subject.embedding.map(|e| e.form.clone()),
    about: "the moulded form as a trained network sees it, whatever the decoration",
};

/// Decoration by the network.
pub(super) const DECORATION: Channel = Channel {
    name: "decoration",
    version: 8,
    dim: 256,
    metric: Metric::L2,
    unrelated: 1.21,
    ranked: true,
    describe: |subject| surface(subject).map(|e| e.decoration.clone()),
    about: "the decoration as a trained network sees it, whatever the shape",
};

/// Places of the crop whose details are kept.
const PLACES: usize = 16;

/// What the decorations of a short list are compared by once more. By itself it
/// is ranked by only where that is asked for.
pub(super) const DETAILS: Channel = Channel {
    name: "details",
    version: 6,
    dim: PLACES * PLACE,
    metric: Metric::Places,
    unrelated: 1.0,
    ranked: false,
    describe: |subject| surface(subject).map(|e| e.details.clone()),
    about: "the places that say most about the decoration, by which short lists are compared again",
};

/// Everything at once: for "the same piece again".
pub(super) const GENERAL: Channel = Channel {
    name: "general",
    version: 3,
    dim: 1280,
    metric: Metric::L2,
    unrelated: 1.0,
    ranked: true,
    describe: |subject| surface(subject).map(|e| e.general.clone()),
    about: "the whole photo at once: finds the same piece in another photo",
};

/// A silhouette or drawing shows form but no surface.
fn surface<'a>(subject: &Subject<'a>) -> Option<&'a Embedding> {
    subject
        .embedding
        .filter(|_| subject.cutout.origin.shows_surface())
}

/// Runs the networks, one on a crop made by [`super::crop()`], one on the whole photo.
///
/// # Errors
/// [`crate::error::Kind::Setup`] if a network does not run.
pub fn embed(crop: &Crop, photo: &RgbImage, networks: &Networks) -> Result<Embedding> {
    let Networks { embedder, general } = networks;
    let of_crop = input(&crop.picture, &crop.cover, embedder.info.channels);
    let whole = input(
        &raster::resize(photo, CROP_PX, CROP_PX),
        &GrayImage::from_pixel(CROP_PX, CROP_PX, Luma([255])),
        general.info.channels,
    );
    let of_crop = embedder.run(of_crop.view(), &["shape", "decor", "details"])?;
    let of_photo = general.run(whole.view(), &["pool"])?;
    let unit = |output: &ArrayD<f32>| Vector::unit(output.iter().copied().collect::<Vec<f32>>());
    Ok(Embedding {
        form: unit(&of_crop[0])?,
        decoration: unit(&of_crop[1])?,
        details: Vector::new(of_crop[2].iter().copied().collect::<Vec<f32>>())?,
        general: unit(&of_photo[0])?,
    })
}

/// RGB from -1 to 1 and, for a network of four channels, coverage from 0 to 1;
/// channels first.
fn input(picture: &RgbImage, cover: &GrayImage, channels: usize) -> Array4<f32> {
    let side = picture.width() as usize;
    let (colour, cover) = (picture.as_raw(), cover.as_raw());
    Array4::from_shape_fn((1, channels, side, side), |(_, c, y, x)| {
        let at = y * side + x;
        match c {
            0..3 => f32::from(colour[at * 3 + c]) / 127.5 - 1.0,
            _ => f32::from(cover[at]) / 255.0,
        }
    })
}
