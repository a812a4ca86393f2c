//! JPEG, whole or cut off.
//!
//! Copies from phones and cards that broke off are common, so the decoder runs
//! in its lenient mode: it fills what is missing with mid-grey (128) and says
//! nothing. Whether anything is missing is found here, from the file's markers
//! and from that fill, and the missing rows are cut off, so that later steps
//! see the edge of the photo where the data end.

use image::{DynamicImage, GrayImage, RgbImage};
use zune_jpeg::{
    JpegDecoder,
    errors::DecodeErrors,
    zune_core::{bytestream::ZCursor, colorspace::ColorSpace, options::DecoderOptions},
};

use super::{Decoded, REMEDY_DAMAGED, limit};
use crate::{
    config,
    error::{Error, Kind, Result},
    warning::{Code, Warning},
};

/// The value the decoder leaves where data are missing.
const FILL: u8 = 128;

/// What the markers of a JPEG say (ITU-T T.81, annex B).
#[derive(Debug, Default, PartialEq)]
struct Markers {
    frame: Option<Frame>,
    /// An end-of-image marker follows the first scan.
    ended: bool,
    /// There are ICC profile segments, whole or not.
    profile: bool,
    /// Where a segment between scans begins that the file ends in.
    partial: Option<usize>,
}

#[derive(Debug, PartialEq)]
struct Frame {
    /// Colour components.
    components: u8,
    /// Rows that are coded together: 8 or 16, more for rare samplings.
    unit_rows: u32,
    /// Coefficients per pixel, times 1024.
    samples_per_1024: u64,
    /// The decoder must hold all coefficients until the end.
    buffered: bool,
}

/// Decodes a JPEG.
///
/// # Errors
/// [`Kind::TooLarge`], [`Kind::Unsupported`], or [`Kind::Damaged`] if it cannot
/// be decoded or fewer than half of its rows are there.
pub(super) fn decode(bytes: &[u8], limits: &config::Photo) -> Result<Decoded> {
    let markers = markers(bytes);
    let grey = markers.frame.as_ref().is_some_and(|f| f.components == 1);
    // The decoder gives up on a table that is cut, with all scans before it.
    // Closed before that table, the file gives what it has.
    let closed = markers
        .partial
        .map(|at| [bytes.get(..at).unwrap_or_default(), b"\xff\xd9"].concat());
    let bytes = closed.as_deref().unwrap_or(bytes);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options(grey, false));
    decoder.decode_headers().map_err(refused)?;
    let (Some(info), Some(frame)) = (decoder.info(), markers.frame) else {
        return Err(damaged("has no picture in it"));
    };
    let (width, height) = (u32::from(info.width), u32::from(info.height));
    limit::dimensions(width, height, limits)?;
    let channels: u64 = if grey { 1 } else { 3 };
    let area = u64::from(width) * u64::from(height);
    let coefficients = if frame.buffered {
        area * 2 * frame.samples_per_1024 / 1024
    } else {
        0
    };
    limit::memory(area * channels + coefficients, limits)?;
    match decoder.input_colorspace() {
        Some(
            ColorSpace::Luma
            | ColorSpace::YCbCr
            | ColorSpace::RGB
            | ColorSpace::CMYK
            | ColorSpace::YCCK,
        ) => {}
        other => {
            return Err(
                Error::new(Kind::Unsupported, "is a JPEG with unusual colour channels")
                    .caused_by(format!("{other:?}"))
                    .remedy("open it in an image viewer and save it as an ordinary JPEG"),
            );
        }
    }
    let size =
        usize::try_from(area * channels).map_err(|_| limit::too_much_memory(None, limits))?;
    if decoder.output_buffer_size() != Some(size) {
        return Err(damaged("contradicts itself about its size"));
    }
    let mut pixels = vec![0; size];
    decoder.decode_into(&mut pixels).map_err(refused)?;

    let mut warnings = Vec::new();
    let icc = decoder.icc_profile();
    if markers.profile && icc.is_none() {
        warnings.push(Warning::new(Code::ProfileIgnored));
    }
    let row = size / height as usize;
    let missing = missing_rows(&pixels, row);
    let mut kept = height;
    let broken = if !markers.ended {
        Some(Warning::new(Code::Truncated))
    } else if missing >= frame.unit_rows && !decodes_strictly(bytes, grey, size) {
        // Grey rows may be the photo's own background; that the strict decoder
        // refuses the file says that they are not.
        Some(Warning {
            code: Code::Truncated,
            text: "the file is damaged part-way and the lower part of the picture is missing: copy it again from the camera".to_owned(),
        })
    } else {
        None
    };
    if let Some(warning) = broken {
        if missing > 0 {
            // The last coded rows before the gap are smeared.
            kept = height.saturating_sub(missing + frame.unit_rows);
        }
        // Half: with less, no outline of a piece can be hoped for (common
        // practice, no source).
        if kept * 2 < height || kept == 0 {
            return Err(damaged(&format!(
                "breaks off early, only {kept} of {height} rows are there"
            )));
        }
        warnings.push(warning);
        pixels.truncate(row * kept as usize);
    }
    let pixels = if grey {
        GrayImage::from_raw(width, kept, pixels).map(DynamicImage::ImageLuma8)
    } else {
        RgbImage::from_raw(width, kept, pixels).map(DynamicImage::ImageRgb8)
    };
    Ok(Decoded {
        pixels: pixels.ok_or_else(|| damaged("contradicts itself about its size"))?,
        icc,
        exif: decoder.exif().cloned(),
        warnings,
    })
}

fn options(grey: bool, strict: bool) -> DecoderOptions {
    DecoderOptions::default()
        .set_strict_mode(strict)
        // Dimensions are checked against the user's limits, with a message that
        // names them, before anything is allocated.
        .set_max_width(usize::MAX)
        .set_max_height(usize::MAX)
        .jpeg_set_out_colorspace(if grey {
            ColorSpace::Luma
        } else {
            ColorSpace::RGB
        })
}

fn decodes_strictly(bytes: &[u8], grey: bool, size: usize) -> bool {
    JpegDecoder::new_with_options(ZCursor::new(bytes), options(grey, true))
        .decode_into(&mut vec![0; size])
        .is_ok()
}

/// Rows at the bottom that hold nothing but the decoder's fill.
fn missing_rows(pixels: &[u8], row: usize) -> u32 {
    let filled = pixels
        .rchunks_exact(row)
        .take_while(|r| r.iter().all(|&v| v == FILL))
        .count();
    u32::try_from(filled).unwrap_or(u32::MAX)
}

fn damaged(what: &str) -> Error {
    Error::new(Kind::Damaged, what).remedy(REMEDY_DAMAGED)
}

fn refused(e: DecodeErrors) -> Error {
    let cause = format!("{e:?}").trim().to_owned();
    match e {
        DecodeErrors::Unsupported(_) => {
            Error::new(Kind::Unsupported, "is a kind of JPEG that is not read")
                .caused_by(cause)
                .remedy("open it in an image viewer and save it as an ordinary JPEG")
        }
        _ => damaged("is a damaged JPEG").caused_by(cause),
    }
}

/// Walks the markers from the start to the end of the first picture. Bytes that
/// belong to no segment are coded data or rubbish; both are skipped.
fn markers(bytes: &[u8]) -> Markers {
    let mut found = Markers::default();
    let mut scans = false;
    let mut at = 0;
    while let Some(skip) = bytes
        .get(at..)
        .and_then(|b| b.iter().position(|&b| b == 0xff))
    {
        at += skip + 1;
        let start = at - 1;
        let Some(&marker) = bytes.get(at) else {
            found.partial = scans.then_some(start);
            break;
        };
        match marker {
            // Fill; the marker is still to come.
            0xff => continue,
            // A coded 0xff, restart markers, start of image: nothing follows.
            0x00 | 0x01 | 0xd0..=0xd8 => at += 1,
            0xd9 => {
                if scans {
                    found.ended = true;
                    break;
                }
                at += 1;
            }
            _ => {
                let Some(length) = bytes.get(at + 1..at + 3) else {
                    found.partial = scans.then_some(start);
                    break;
                };
                let length = usize::from(u16::from_be_bytes([length[0], length[1]]));
                let body = bytes
                    .get(at + 3..at + 1 + length.max(2))
                    .unwrap_or_default();
                match marker {
                    0xc0..=0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf
                        if found.frame.is_none() =>
                    {
                        found.frame = frame(marker, body);
                    }
                    0xda => {
                        if let (false, Some(frame)) = (scans, found.frame.as_mut()) {
                            frame.buffered |= body.first() != Some(&frame.components);
                        }
                        scans = true;
                    }
                    0xe2 => found.profile |= body.starts_with(b"ICC_PROFILE\0"),
                    _ => {}
                }
                at += 1 + length.max(2);
                if at > bytes.len() {
                    found.partial = scans.then_some(start);
                }
            }
        }
    }
    found
}

/// The frame header (T.81, B.2.2).
fn frame(marker: u8, body: &[u8]) -> Option<Frame> {
    let components = *body.get(5)?;
    let samplings = body.get(6..)?.chunks_exact(3).take(usize::from(components));
    let (mut h_max, mut v_max, mut samples) = (1, 1, 0);
    for one in samplings {
        let (h, v) = (u32::from(one[1] >> 4), u32::from(one[1] & 15));
        h_max = h_max.max(h);
        v_max = v_max.max(v);
        samples += h * v;
    }
    Some(Frame {
        components,
        unit_rows: 8 * v_max,
        samples_per_1024: (u64::from(samples) * 1024).div_ceil(u64::from(h_max * v_max)),
        buffered: marker == 0xc2,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markers_are_told_from_coded_data() {
        // Laid out after T.81 B.1.1 and B.2: frame of 3 components, 2x2 sampled
        // luma; a thumbnail's end marker inside APP1; a coded 0xff and a
        // restart marker inside the scan.
        let mut file = b"\xff\xd8\xff\xe1\x00\x06\xff\xd8\xff\xd9".to_vec();
        file.extend(
            b"\xff\xc0\x00\x11\x08\x00\x10\x00\x10\x03\x01\x22\x00\x02\x11\x01\x03\x11\x01",
        );
        file.extend(b"\xff\xda\x00\x0c\x03\x01\x00\x02\x11\x03\x11\x00\x3f\x00");
        file.extend(b"\x12\xff\x00\x34\xff\xd0\x56");
        let cut = markers(&file);
        assert!(!cut.ended);
        assert_eq!(
            cut.frame,
            Some(Frame {
                components: 3,
                unit_rows: 16,
                samples_per_1024: 1536,
                buffered: false
            })
        );
        assert_eq!(cut.partial, None);
        // A table (B.2.4.2) that the file ends in.
        let whole = file.len();
        file.extend(b"\xff\xc4\x00\x20\x10\x00");
        assert_eq!(markers(&file).partial, Some(whole));
        file.truncate(whole);
        file.extend(b"\xff\xff\xd9");
        assert!(markers(&file).ended);
        // Every prefix is walked without a panic.
        for n in 0..file.len() {
            let _ = markers(&file[..n]);
        }
    }

    #[test]
    fn only_whole_rows_of_fill_are_missing() {
        let mut pixels = vec![FILL; 12];
        pixels[2] = 7;
        assert_eq!(missing_rows(&pixels, 3), 3);
        pixels[11] = 129;
        assert_eq!(missing_rows(&pixels, 3), 0);
    }
}
