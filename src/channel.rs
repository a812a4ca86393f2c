//! The registry of channels: what two pieces can be compared by.
//!
//! A channel is a name, a version, a dimension, a metric and a function that
//! makes a [`Vector`] of a described photo. Everything else (storage, weights,
//! search, reports, the shared tests) follows from the registry, so adding one
//! is a new file here and one line in [`REGISTRY`].

mod vector;

pub use vector::{Metric, Vector};
