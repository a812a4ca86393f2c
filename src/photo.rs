//! A photograph, decoded within limits, upright and in sRGB.

use std::path::{Path, PathBuf};

use image::{GrayImage, RgbImage};

use crate::{
    config,
    error::{Error, Kind, Result},
    warning::Warning,
};

/// A decoded photograph: upright, 8-bit sRGB. GPS position, serial numbers and
/// owner names of the file are never read into it.
#[derive(Clone, Debug)]
pub struct Photo {
    /// Where it came from.
    pub source: PathBuf,
    /// SHA-256 of the file's bytes, lower-case hexadecimal.
    pub sha256: String,
    /// Pixels after orientation and colour conversion; alpha composited on white.
    pub pixels: RgbImage,
    /// The file's own transparency where it has any (255 opaque), same size.
    pub alpha: Option<GrayImage>,
    /// When it was taken, as written by the camera (`YYYY-MM-DDThh:mm:ss`), where known.
    pub captured: Option<String>,
    /// What to take with care.
    pub warnings: Vec<Warning>,
}

/// Reads one photograph.
///
/// # Errors
/// [`Kind::Missing`], [`Kind::Unsupported`], [`Kind::Damaged`] (a decoder that
/// panics included) or [`Kind::TooLarge`], each naming the file and the remedy.
pub fn read(file: &Path, limits: &config::Photo) -> Result<Photo> {
    let _ = limits;
    Err(Error::new(Kind::Internal, "not written yet").in_file(file))
}
