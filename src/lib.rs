//! footring says what a piece of ceramic tableware is from photographs, by
//! visual similarity to a reference set.
//!
//! The rooms below are in the order in which the data flow; each uses only
//! rooms above it (a test holds that).

pub mod error;
pub mod warning;
pub mod config;
pub mod hash;
pub mod file;
pub mod raster;
pub mod spectrum;
pub mod onnx;
pub mod photo;
pub mod cutout;
pub mod outline;
pub mod colour;
pub mod surface;
pub mod channel;
pub mod nearest;
pub mod cabinet;
pub mod describe;
pub mod identify;
pub mod assess;
pub mod report;
pub mod cli;
