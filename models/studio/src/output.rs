//! Writing pictures and text, with errors that name the file.

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};
use std::fmt;
use std::fs;
use std::path::Path;

/// What went wrong, and where.
#[derive(Debug)]
pub struct Error {
    what: String,
}

impl Error {
    /// An error with its message.
    pub fn new(what: impl Into<String>) -> Error {
        Error { what: what.into() }
    }

    fn at(path: &Path, e: impl fmt::Display) -> Error {
        Error::new(format!("{}: {e}", path.display()))
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

impl std::error::Error for Error {}

/// A developed picture.
#[derive(Clone, Debug)]
pub struct Picture {
    /// Width, pixels.
    pub width: usize,
    /// Height, pixels.
    pub height: usize,
    /// RGB bytes.
    pub rgb: Vec<u8>,
}

impl Picture {
    /// The picture as a JPEG file's bytes.
    pub fn jpeg(&self, quality: u8) -> Result<Vec<u8>, Error> {
        let mut out = Vec::new();
        JpegEncoder::new_with_quality(&mut out, quality)
            .write_image(
                &self.rgb,
                self.width as u32,
                self.height as u32,
                ExtendedColorType::Rgb8,
            )
            .map_err(|e| Error::new(format!("JPEG: {e}")))?;
        Ok(out)
    }

    /// Writes the picture as PNG.
    pub fn write_png(&self, path: &Path) -> Result<(), Error> {
        make_room(path)?;
        image::save_buffer(
            path,
            &self.rgb,
            self.width as u32,
            self.height as u32,
            ExtendedColorType::Rgb8,
        )
        .map_err(|e| Error::at(path, e))
    }
}

/// Writes an 8-bit mask as PNG.
pub fn write_mask(path: &Path, width: usize, height: usize, mask: &[u8]) -> Result<(), Error> {
    make_room(path)?;
    image::save_buffer(
        path,
        mask,
        width as u32,
        height as u32,
        ExtendedColorType::L8,
    )
    .map_err(|e| Error::at(path, e))
}

/// Writes bytes, making the folders above.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    make_room(path)?;
    fs::write(path, bytes).map_err(|e| Error::at(path, e))
}

fn make_room(path: &Path) -> Result<(), Error> {
    match path.parent() {
        Some(dir) => fs::create_dir_all(dir).map_err(|e| Error::at(dir, e)),
        None => Ok(()),
    }
}
