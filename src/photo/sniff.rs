//! Tells what a file is by its first bytes. The name is asked only where bytes
//! cannot tell: many raw formats are TIFF files that hold a raw picture.

use std::path::Path;

use crate::error::{Error, Kind, Result};

/// The formats that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Format {
    /// ITU-T T.81, in any wrapping (JFIF, EXIF, Adobe).
    Jpeg,
    /// Portable Network Graphics.
    Png,
    /// RIFF WebP, lossy or lossless.
    WebP,
    /// TIFF 6.0 or `BigTIFF`.
    Tiff,
}

/// Raw files of cameras, by extension.
const RAW: &[&str] = &[
    "3fr", "arw", "cr2", "cr3", "crw", "dcr", "dng", "erf", "iiq", "k25", "kdc", "mef", "mos",
    "mrw", "nef", "nrw", "orf", "ori", "pef", "raf", "raw", "rw2", "rwl", "sr2", "srf", "srw",
    "x3f",
];

/// The extension in lower case, without the dot.
pub(super) fn extension(file: &Path) -> Option<String> {
    Some(file.extension()?.to_str()?.to_ascii_lowercase())
}

/// Whether an extension (lower case) is one of a camera's raw formats.
pub(super) fn is_raw_extension(extension: &str) -> bool {
    RAW.contains(&extension)
}

/// The format of a file that begins with `head`.
///
/// # Errors
/// [`Kind::Unsupported`] for a picture that is not read, [`Kind::Damaged`] for
/// anything else; both with a remedy, without the file's name.
pub(super) fn format(head: &[u8], file: &Path) -> Result<Format> {
    if head.is_empty() {
        return Err(Error::new(Kind::Damaged, "is empty")
            .remedy("copy it again from the camera, the first copy did not finish"));
    }
    if head.starts_with(b"\xff\xd8\xff") {
        return Ok(Format::Jpeg);
    }
    if head.starts_with(b"\x89PNG\r\n\x1a\n") {
        return Ok(Format::Png);
    }
    if head.starts_with(b"RIFF") && head.get(8..12) == Some(b"WEBP") {
        return Ok(Format::WebP);
    }
    let tiff = [&b"II*\0"[..], b"MM\0*", b"II+\0", b"MM\0+"]
        .iter()
        .any(|magic| head.starts_with(magic));
    if tiff && !is_raw_tiff(head, file) {
        return Ok(Format::Tiff);
    }
    Err(refusal(head, file, tiff))
}

/// Whether a TIFF holds a camera's raw picture: read as a TIFF, it would give
/// its thumbnail at best.
fn is_raw_tiff(head: &[u8], file: &Path) -> bool {
    extension(file).is_some_and(|e| is_raw_extension(&e))
        // Canon's CR2 says so behind the TIFF header.
        || head.get(8..10) == Some(b"CR")
        || has_dng_version(head)
}

/// Whether the first directory of a TIFF has `DNGVersion`, the tag that every
/// DNG must have (DNG specification, chapter 4).
fn has_dng_version(head: &[u8]) -> bool {
    const DNG_VERSION: u16 = 0xC612;
    let little = head.starts_with(b"II");
    let two = |at: usize| -> Option<u16> {
        let b = head.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if little {
            u16::from_le_bytes(b)
        } else {
            u16::from_be_bytes(b)
        })
    };
    let directory = || -> Option<usize> {
        let b = head.get(4..8)?.try_into().ok()?;
        usize::try_from(if little {
            u32::from_le_bytes(b)
        } else {
            u32::from_be_bytes(b)
        })
        .ok()
    };
    let Some(start) = directory() else {
        return false;
    };
    let entries = two(start).unwrap_or(0);
    (0..usize::from(entries))
        .map_while(|i| two(start.checked_add(2 + 12 * i)?))
        .any(|tag| tag == DNG_VERSION)
}

/// The error for a file that is not read.
fn refusal(head: &[u8], file: &Path, tiff: bool) -> Error {
    if let Some(brand) = iso_brand(head) {
        return refusal_by_brand(brand, head);
    }
    let raw_magic = [
        &b"FUJIFILMCCD-RAW"[..],
        b"IIRO",
        b"IIRS",
        b"MMOR",
        b"IIU\0",
        b"FOVb",
        b"\0MRM",
    ];
    if tiff || raw_magic.iter().any(|magic| head.starts_with(magic)) {
        return raw();
    }
    let pictures: &[(&[u8], &str)] = &[
        (b"GIF8", "GIF"),
        (b"BM", "BMP"),
        (b"8BPS", "Photoshop"),
        (b"\xff\x0a", "JPEG XL"),
        (b"\0\0\0\x0cJXL ", "JPEG XL"),
        (b"\0\0\0\x0cjP  ", "JPEG 2000"),
        (b"\xff\x4f\xff\x51", "JPEG 2000"),
        (b"\x76\x2f\x31\x01", "OpenEXR"),
        (b"#?RADIANCE", "Radiance HDR"),
        (b"qoif", "QOI"),
        (b"\0\0\x01\0", "icon"),
    ];
    if let Some((_, name)) = pictures.iter().find(|(magic, _)| head.starts_with(magic)) {
        return unsupported(name);
    }
    if head.starts_with(b"%PDF") {
        return Error::new(
            Kind::Damaged,
            "is a PDF document where a photo was expected",
        )
        .remedy("export the picture in it as JPEG or PNG");
    }
    if head.starts_with(b"PK\x03\x04") {
        return Error::new(Kind::Damaged, "is a ZIP archive where a photo was expected")
            .remedy("unpack it and name the folder of photos");
    }
    if is_text(head) {
        return Error::new(Kind::Damaged, "holds text where a photo was expected").remedy(
            "check that the download or copy worked, the file may be an error page saved under a picture's name",
        );
    }
    if extension(file).is_some_and(|e| is_raw_extension(&e)) {
        return raw();
    }
    Error::new(
        Kind::Damaged,
        "does not begin like a JPEG, PNG, WebP or TIFF picture",
    )
    .remedy(super::REMEDY_DAMAGED)
}

/// The major brand of an ISO media file (ISO/IEC 14496-12, `ftyp`).
fn iso_brand(head: &[u8]) -> Option<&[u8]> {
    (head.get(4..8)? == b"ftyp").then(|| head.get(8..12))?
}

fn refusal_by_brand(brand: &[u8], head: &[u8]) -> Error {
    // A generic major brand ("mif1") leaves it to the compatible ones.
    let compatible = head.get(16..head.len().min(64)).unwrap_or_default();
    let has = |wanted: &[u8]| brand == wanted || compatible.chunks_exact(4).any(|b| b == wanted);
    if brand == b"crx " {
        return raw();
    }
    if has(b"avif") || has(b"avis") {
        return unsupported("AVIF");
    }
    if [
        &b"heic"[..],
        b"heix",
        b"heim",
        b"heis",
        b"hevc",
        b"hevx",
        b"mif1",
        b"msf1",
    ]
    .iter()
    .any(|b| has(b))
    {
        return Error::new(Kind::Unsupported, "HEIC is not supported yet").remedy(
            "export it as JPEG; to take JPEG from now on, on an iPhone choose Settings, Camera, Formats, Most Compatible, on other phones switch off HEIF or \"high efficiency\" in the camera's settings",
        );
    }
    Error::new(Kind::Damaged, "is a film where a photo was expected")
        .remedy("save a still picture of it as JPEG")
}

fn raw() -> Error {
    Error::new(Kind::Unsupported, "camera raw is not supported yet").remedy(
        "export it as JPEG or TIFF from the camera maker's program, or set the camera to RAW+JPEG",
    )
}

fn unsupported(name: &str) -> Error {
    Error::new(Kind::Unsupported, format!("{name} is not supported yet"))
        .remedy("open it in an image viewer and save it as JPEG or PNG")
}

/// Whether the bytes read as text: UTF-8 without control characters other than
/// white space. The last character may be cut.
fn is_text(head: &[u8]) -> bool {
    let valid = match std::str::from_utf8(head) {
        Ok(text) => text,
        Err(e) if e.error_len().is_none() => {
            std::str::from_utf8(&head[..e.valid_up_to()]).unwrap_or_default()
        }
        Err(_) => return false,
    };
    !valid.is_empty()
        && valid
            .chars()
            .all(|c| !c.is_control() || matches!(c, '\n' | '\r' | '\t' | '\x0c'))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(head: &[u8], name: &str) -> std::result::Result<Format, (Kind, String)> {
        format(head, Path::new(name)).map_err(|e| (e.kind(), e.to_string()))
    }

    /// Magic numbers: T.81 B.1.1.3, PNG 5.2, WebP container specification, TIFF
    /// 6.0 section 2.
    #[test]
    fn content_decides_not_the_name() {
        assert_eq!(verdict(b"\xff\xd8\xff\xe0", "a.heic"), Ok(Format::Jpeg));
        assert_eq!(verdict(b"\xff\xd8\xff\xe1", "a.nef"), Ok(Format::Jpeg));
        assert_eq!(verdict(b"\x89PNG\r\n\x1a\n", "a.jpg"), Ok(Format::Png));
        assert_eq!(verdict(b"RIFF\0\0\0\0WEBPVP8 ", "a"), Ok(Format::WebP));
        assert_eq!(verdict(b"MM\0*\0\0\0\x08", "a.tif"), Ok(Format::Tiff));
    }

    #[test]
    fn pictures_that_are_not_read_say_what_to_do() {
        let dng = b"II*\0\x08\0\0\0\x02\0\x00\x01\x04\0\x01\0\0\0\x01\0\0\0\x12\xc6\x01\0\x04\0\0\0\x01\x04\0\0";
        for (head, name, word) in [
            (&b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"[..], "a.jpg", "HEIC"),
            (b"\0\0\0\x18ftypmif1\0\0\0\0mif1heic", "a.heic", "HEIC"),
            (b"\0\0\0\x18ftypmif1\0\0\0\0mif1avif", "a.avif", "AVIF"),
            (b"\0\0\0\x18ftypcrx \0\0\0\x01crx isom", "a.cr3", "raw"),
            (b"II*\0\x10\0\0\0CR\x02\0", "a.tif", "raw"),
            (b"II*\0\x08\0\0\0", "a.NEF", "raw"),
            (dng, "a.tif", "raw"),
            (b"FUJIFILMCCD-RAW 0201", "a.raf", "raw"),
            (b"IIU\0\x18\0\0\0", "a.rw2", "raw"),
            (b"GIF89a", "a.gif", "GIF"),
            (b"BM\x36\x10", "a.bmp", "BMP"),
        ] {
            let (kind, text) = verdict(head, name).expect_err(name);
            assert_eq!(kind, Kind::Unsupported, "{name}");
            assert!(text.contains(word), "{name}: {text}");
            assert!(text.contains("JPEG"), "{name} has no remedy: {text}");
        }
    }

    #[test]
    fn what_is_no_picture_is_damaged() {
        for head in [
            &b""[..],
            b"%PDF-1.7",
            b"PK\x03\x04",
            b"<!doctype html><title>404</title>",
            "Tassen, blau, gr\u{fc}n".as_bytes(),
            b"\0\0\0\x20ftypisom",
            &[0; 4096],
        ] {
            let (kind, text) = verdict(head, "a.jpg").expect_err("no picture");
            assert_eq!(kind, Kind::Damaged, "{text}");
            assert!(text.contains("; "), "no remedy: {text}");
        }
    }
}
