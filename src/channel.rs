//! The registry of channels: what two pieces can be compared by.
//!
//! A channel is a name, a version, a dimension, a metric and a function that
//! makes a [`Vector`] of a piece seen in a photo. Everything else (storage,
//! weights, search, reports, the shared tests) follows from the registry, so
//! adding one is a new file here and one line in [`REGISTRY`].

mod colour;
mod contour;
mod crop;
mod embedding;
mod ground;
mod outline;
mod vector;

pub(crate) use crop::on_ground;
pub use crop::{CROP_PX, Crop, crop};
pub use embedding::{Embedding, Networks, embed};
pub use vector::{Metric, PLACE, Vector};

use crate::{colour::Colours, cutout::Cutout, outline::Outline};

/// One way to compare two pieces.
#[derive(Clone, Copy, Debug)]
pub struct Channel {
    /// Its name in the cabinet, in readings and for `--by`.
    pub name: &'static str,
    /// Raised whenever the numbers it gives change; older features are stale.
    pub version: u32,
    /// Number of entries of its vectors.
    pub dim: usize,
    /// How two vectors are compared.
    pub metric: Metric,
    /// The usual distance between two unrelated pieces by its metric. Distances
    /// are divided by it, so that 1 means "no more alike than any two pieces"
    /// on every channel.
    pub unrelated: f32,
    /// Whether readings show it and rank by it without being asked to.
    pub ranked: bool,
    /// Makes the vector; `None` where the photo does not show it.
    pub describe: fn(&Subject<'_>) -> Option<Vector>,
    /// One line for people.
    pub about: &'static str,
}

/// What a channel may look at.
#[derive(Clone, Copy, Debug)]
pub struct Subject<'a> {
    /// The piece at working resolution.
    pub cutout: &'a Cutout,
    /// Its contour, in pixels of the cutout.
    pub outline: &'a Outline,
    /// What the network says of it; absent for silhouettes and drawings, whose
    /// surface is not seen.
    pub embedding: Option<&'a Embedding>,
    /// Whether the photo has colour at all.
    pub has_colour: bool,
    /// Its colours, the light taken out.
    pub colours: &'a Colours,
}

/// All channels, in the order in which they are shown.
pub const REGISTRY: &[Channel] = &[
    outline::CHANNEL,
    embedding::FORM,
    embedding::DECORATION,
    colour::CHANNEL,
    embedding::GENERAL,
    contour::CHANNEL,
    ground::CHANNEL,
    embedding::DETAILS,
];

/// A piece's vectors, by position in the registry; `None` where a channel is
/// absent, which is never counted as a difference.
pub type Features = Vec<Option<Vector>>;

/// Describes a piece by every channel.
pub fn describe(subject: &Subject<'_>) -> Features {
    REGISTRY
        .iter()
        .map(|channel| (channel.describe)(subject))
        .inspect(|vector| {
            debug_assert!(
                vector
                    .iter()
                    .all(|v| REGISTRY.iter().any(|c| c.dim == v.dim()))
            );
        })
        .collect()
}

/// The position of the channel called `name`.
pub fn position(name: &str) -> Option<usize> {
    REGISTRY.iter().position(|channel| channel.name == name)
}
