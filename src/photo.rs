//! A photograph, decoded within limits, upright and in sRGB.
//!
//! What a file is, is told by its bytes, not by its name. The order of work:
//! recognise (`sniff`), decode within limits (`jpeg`, `raster`), bring to
//! sRGB (`profile`), lay on white (`flatten`), turn upright (`exif`).

use std::{
    fs::File,
    io::Read,
    path::{Path, PathBuf},
};

use image::{DynamicImage, GrayImage, RgbImage, metadata::Orientation};

use crate::{
    config,
    error::{Error, Kind, Result},
    hash,
    warning::Warning,
};

mod exif;
mod flatten;
mod gather;
mod guard;
mod jpeg;
mod limit;
mod profile;
mod raster;
mod sniff;

pub use gather::{gather, has_photo_extension};

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

/// What the decoders hand over: pixels as stored, and the metadata that says
/// how they are meant.
struct Decoded {
    pixels: DynamicImage,
    icc: Option<Vec<u8>>,
    exif: Option<Vec<u8>>,
    warnings: Vec<Warning>,
}

/// How much of a file is looked at before the rest is read. Raw files are told
/// from the first few kilobytes, so hundreds of megabytes need not be read.
const HEAD_BYTES: u64 = 64 * 1024;

/// Reads one photograph.
///
/// JPEG, PNG, WebP and TIFF are read; of an animation or a multi-page file, the
/// first picture. A JPEG that ends early is returned without its missing part,
/// with a warning, if at least half of its rows are there. Other damage to a
/// JPEG that still decodes to some picture goes unnoticed; so does a JPEG that
/// broke off and was given an end mark by a program that "repaired" it.
///
/// # Errors
/// [`Kind::Missing`], [`Kind::Usage`] (a folder or a device),
/// [`Kind::Unsupported`], [`Kind::Damaged`] (a decoder that panics included),
/// [`Kind::TooLarge`] or [`Kind::Io`], each naming the file and the remedy.
pub fn read(file: &Path, limits: &config::Photo) -> Result<Photo> {
    let (format, bytes) = load(file, limits).map_err(|e| e.in_file(file))?;
    guard::quietly(|| develop(file, format, bytes, limits))
        .unwrap_or_else(|panic| {
            Err(Error::new(
                Kind::Damaged,
                "is damaged in a way the decoder cannot handle",
            )
            .caused_by(panic)
            .remedy(REMEDY_DAMAGED))
        })
        .map_err(|e| e.in_file(file))
}

/// The hash of a photograph's content as in [`Photo::sha256`], without decoding it.
///
/// # Errors
/// Those of [`read`] that show before a picture is decoded.
pub fn sha256(file: &Path, limits: &config::Photo) -> Result<String> {
    let (_, bytes) = load(file, limits).map_err(|e| e.in_file(file))?;
    Ok(hash::sha256(&bytes))
}

const REMEDY_DAMAGED: &str =
    "copy it again from the camera, or open it in an image viewer and save it as JPEG";

/// The whole file in memory, once its first bytes say that it is worth it.
fn load(file: &Path, limits: &config::Photo) -> Result<(sniff::Format, Vec<u8>)> {
    let about = std::fs::metadata(file).map_err(unreadable)?;
    if about.is_dir() {
        // A folder that may not be opened arrives here from `gather`.
        std::fs::read_dir(file).map_err(unreadable)?;
        return Err(
            Error::new(Kind::Usage, "is a folder where one photo was expected")
                .remedy("name a photo inside it"),
        );
    }
    if !about.is_file() {
        // A pipe or device may never end, so it is not even opened.
        return Err(Error::new(Kind::Usage, "is not an ordinary file")
            .remedy("save the photo to a file first"));
    }
    let mut source = File::open(file).map_err(unreadable)?;
    let mut bytes = Vec::new();
    source
        .by_ref()
        .take(HEAD_BYTES)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    let format = sniff::format(&bytes, file)?;
    limit::file_size(about.len(), limits)?;
    // The file may have grown since it was measured: one byte more than allowed
    // is enough to know.
    let most = limit::file_bytes(limits);
    source
        .take(most.saturating_add(1).saturating_sub(HEAD_BYTES))
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    limit::file_size(bytes.len() as u64, limits)?;
    Ok((format, bytes))
}

fn unreadable(e: std::io::Error) -> Error {
    match e.kind() {
        std::io::ErrorKind::NotFound => {
            Error::new(Kind::Missing, "does not exist").remedy("check the spelling of the path")
        }
        std::io::ErrorKind::PermissionDenied => Error::new(Kind::Missing, "may not be opened")
            .remedy("give yourself permission to read it"),
        _ => Error::new(Kind::Io, "cannot be read")
            .caused_by(e)
            .remedy("check the disk or card it is on"),
    }
}

/// From bytes to an upright sRGB picture.
fn develop(
    file: &Path,
    format: sniff::Format,
    bytes: Vec<u8>,
    limits: &config::Photo,
) -> Result<Photo> {
    let sha256 = hash::sha256(&bytes);
    let decoded = match format {
        sniff::Format::Jpeg => jpeg::decode(&bytes, limits)?,
        sniff::Format::Png => raster::decode_png(&bytes, limits)?,
        sniff::Format::WebP => raster::decode_webp(&bytes, limits)?,
        sniff::Format::Tiff => raster::decode_tiff(&bytes, limits)?,
    };
    // A TIFF file is laid out as EXIF is, so the file itself is its metadata.
    let facts = match format {
        sniff::Format::Tiff => exif::facts(bytes),
        _ => decoded.exif.map(exif::facts).unwrap_or_default(),
    };
    let mut warnings = decoded.warnings;
    let (mut pixels, mut alpha, ignored) =
        flatten::to_srgb(decoded.pixels, decoded.icc.as_deref(), facts.adobe_rgb);
    warnings.extend(ignored);
    pixels = upright(DynamicImage::ImageRgb8(pixels), facts.orientation).into_rgb8();
    alpha = alpha.map(|a| upright(DynamicImage::ImageLuma8(a), facts.orientation).into_luma8());
    Ok(Photo {
        source: file.to_path_buf(),
        sha256,
        pixels,
        alpha,
        captured: facts.captured,
        warnings,
    })
}

fn upright(mut picture: DynamicImage, orientation: Orientation) -> DynamicImage {
    picture.apply_orientation(orientation);
    picture
}
