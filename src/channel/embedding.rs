//! What the embedding network says of a crop: one pass, three vectors.
//!
//! `shape` knows the moulded form whatever decorates it, `decor` the decoration
//! whatever carries it (supervised contrastive heads on EfficientNet-Lite0; see
//! the model card), `pool` is the backbone's own general vector.

use image::RgbImage;
use ndarray::Array4;

use super::{Channel, Metric, Subject, Vector};
use crate::{error::Result, onnx::Model};

/// The three vectors of one crop, each of unit length.
#[derive(Clone, Debug)]
pub struct Embedding {
    /// The moulded form, 128 entries.
    pub form: Vector,
    /// The decoration, 128 entries.
    pub decoration: Vector,
    /// Everything, 1280 entries.
    pub general: Vector,
}

/// Form by the network.
pub(super) const FORM: Channel = Channel {
    name: "form",
    version: 1,
    dim: 128,
    metric: Metric::L2,
    unrelated: 1.0,
    describe: |subject| subject.embedding.map(|e| e.form.clone()),
    about: "the moulded form as a trained network sees it, whatever the decoration",
};

/// Decoration by the network.
pub(super) const DECORATION: Channel = Channel {
    name: "decoration",
    version: 1,
    dim: 128,
    metric: Metric::L2,
    unrelated: 1.0,
    describe: |subject| surface(subject).map(|e| e.decoration.clone()),
    about: "the decoration as a trained network sees it, whatever the shape",
};

/// Everything at once: for "the same piece again".
pub(super) const GENERAL: Channel = Channel {
    name: "general",
    version: 1,
    dim: 1280,
    metric: Metric::L2,
    unrelated: 1.0,
    describe: |subject| surface(subject).map(|e| e.general.clone()),
    about: "everything at once: finds the same piece in another photo",
};

/// A silhouette or drawing shows form but no surface.
fn surface<'a>(subject: &Subject<'a>) -> Option<&'a Embedding> {
    subject
        .embedding
        .filter(|_| subject.cutout.origin.shows_surface())
}

/// Runs the network on a crop made by [`super::crop`].
///
/// # Errors
/// [`crate::error::Kind::Setup`] if the network does not run.
pub fn embed(crop: &RgbImage, model: &Model) -> Result<Embedding> {
    let side = crop.width() as usize;
    let raw = crop.as_raw();
    let input = Array4::from_shape_fn((1, 3, side, side), |(_, c, y, x)| {
        f32::from(raw[(y * side + x) * 3 + c]) / 127.5 - 1.0
    });
    let outputs = model.run(input.view(), &["shape", "decor", "pool"])?;
    let unit = |i: usize| Vector::unit(outputs[i].iter().copied().collect::<Vec<f32>>());
    Ok(Embedding {
        form: unit(0)?,
        decoration: unit(1)?,
        general: unit(2)?,
    })
}
