//! PNG, WebP and TIFF. A file of these that breaks off is refused: what is left
//! of them is seldom a picture.

use std::io::Cursor;

use image::{
    DynamicImage, ImageDecoder, ImageError, Limits,
    codecs::{png::PngDecoder, tiff::TiffDecoder, webp::WebPDecoder},
};

use super::{Decoded, REMEDY_DAMAGED, limit};
use crate::{
    config,
    error::{Error, Kind, Result},
};

/// Decodes a PNG; of an animated one, the default picture.
///
/// # Errors
/// [`Kind::TooLarge`], [`Kind::Unsupported`] or [`Kind::Damaged`].
pub(super) fn decode_png(bytes: &[u8], limits: &config::Photo) -> Result<Decoded> {
    // The header's place is fixed (PNG 11.2.1), so the size is known before the
    // decoder sets anything up.
    if let Some(b) = bytes.get(16..24) {
        let side = |i: usize| u32::from_be_bytes([b[i], b[i + 1], b[i + 2], b[i + 3]]);
        limit::dimensions(side(0), side(4), limits)?;
    }
    let decoder = PngDecoder::with_limits(Cursor::new(bytes), allowed(limits))
        .map_err(|e| refused(e, "PNG", limits))?;
    finish(decoder, "PNG", 1, limits)
}

/// Decodes a WebP; of an animated one, the first picture.
///
/// # Errors
/// [`Kind::TooLarge`], [`Kind::Unsupported`] or [`Kind::Damaged`].
pub(super) fn decode_webp(bytes: &[u8], limits: &config::Photo) -> Result<Decoded> {
    if !chunks_are_whole(bytes) {
        return Err(
            Error::new(Kind::Damaged, "is a WebP that breaks off early").remedy(REMEDY_DAMAGED)
        );
    }
    let decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(|e| refused(e, "WebP", limits))?;
    // Beside the picture the decoder holds its planes.
    finish(decoder, "WebP", 2, limits)
}

/// Decodes a TIFF; of one with several pages, the first.
///
/// # Errors
/// [`Kind::TooLarge`], [`Kind::Unsupported`] or [`Kind::Damaged`].
pub(super) fn decode_tiff(bytes: &[u8], limits: &config::Photo) -> Result<Decoded> {
    let decoder = TiffDecoder::new(Cursor::new(bytes)).map_err(|e| refused(e, "TIFF", limits))?;
    // Beside the picture the decoder holds it once more as stored.
    finish(decoder, "TIFF", 2, limits)
}

/// Checks the limits, then decodes. `copies` is how many times the size of the
/// picture the decoder holds.
fn finish<D: ImageDecoder>(
    mut decoder: D,
    name: &str,
    copies: u64,
    limits: &config::Photo,
) -> Result<Decoded> {
    let (width, height) = decoder.dimensions();
    limit::dimensions(width, height, limits)?;
    limit::memory(decoder.total_bytes().saturating_mul(copies), limits)?;
    decoder
        .set_limits(allowed(limits))
        .map_err(|e| refused(e, name, limits))?;
    // Metadata that cannot be read are as good as absent.
    let icc = decoder.icc_profile().ok().flatten();
    let exif = decoder.exif_metadata().ok().flatten();
    let pixels = DynamicImage::from_decoder(decoder).map_err(|e| refused(e, name, limits))?;
    Ok(Decoded {
        pixels,
        icc,
        exif,
        warnings: Vec::new(),
    })
}

fn allowed(limits: &config::Photo) -> Limits {
    let mut allowed = Limits::no_limits();
    allowed.max_image_width = Some(limits.max_side_px);
    allowed.max_image_height = Some(limits.max_side_px);
    allowed.max_alloc = Some(limit::memory_bytes(limits));
    allowed
}

fn refused(e: ImageError, name: &str, limits: &config::Photo) -> Error {
    match e {
        ImageError::Limits(_) => limit::too_much_memory(None, limits),
        ImageError::Unsupported(e) => Error::new(
            Kind::Unsupported,
            format!("is a kind of {name} that is not read"),
        )
        .caused_by(e)
        .remedy("open it in an image viewer and save it as an ordinary 8-bit RGB file"),
        ImageError::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            Error::new(Kind::Damaged, format!("is a {name} that breaks off early"))
                .remedy(REMEDY_DAMAGED)
        }
        e => Error::new(Kind::Damaged, format!("is a damaged {name}"))
            .caused_by(e)
            .remedy(REMEDY_DAMAGED),
    }
}

/// Whether every chunk that a RIFF file announces lies inside the file. The
/// decoder would set aside whatever size a chunk claims, and it decodes lossy
/// data that break off to smeared pixels.
fn chunks_are_whole(bytes: &[u8]) -> bool {
    let size = |at: usize| -> Option<usize> {
        let b = bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        usize::try_from(u32::from_le_bytes(b)).ok()
    };
    let Some(end) = size(4).and_then(|n| n.checked_add(8)) else {
        return false;
    };
    if end > bytes.len() {
        return false;
    }
    let mut at: usize = 12;
    while at + 8 <= end {
        let Some(next) = size(at + 4).and_then(|n| at.checked_add(8)?.checked_add(n)) else {
            return false;
        };
        if next > end {
            return false;
        }
        // Chunks are padded to even length.
        at = next + (next & 1);
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chunk_must_end_inside_the_file() {
        // WebP container specification: size counts what follows it.
        let whole = b"RIFF\x10\0\0\0WEBPVP8 \x03\0\0\0abc\0";
        assert!(chunks_are_whole(whole));
        assert!(!chunks_are_whole(&whole[..whole.len() - 1]));
        let mut huge = whole.to_vec();
        huge[16..20].copy_from_slice(&u32::MAX.to_le_bytes());
        assert!(!chunks_are_whole(&huge));
        assert!(!chunks_are_whole(b"RIFF"));
    }
}
