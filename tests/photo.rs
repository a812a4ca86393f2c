//! Photographs that are whole: orientation, colour, transparency, metadata.

use std::{
    io::Cursor,
    path::{Path, PathBuf},
};

use base64::{Engine, prelude::BASE64_STANDARD};
use footring::{
    config,
    error::Kind,
    photo::{self, Photo},
    warning::Code,
};
use image::{
    DynamicImage, ExtendedColorType, GrayImage, ImageEncoder, Rgb, RgbImage,
    codecs::{jpeg::JpegEncoder, png::PngEncoder, webp::WebPEncoder},
};
use moxcms::ColorProfile;
use tempfile::TempDir;

fn read(file: &Path) -> Photo {
    photo::read(file, &config::Photo::default()).unwrap_or_else(|e| panic!("{e}"))
}

fn save(dir: &TempDir, name: &str, bytes: &[u8]) -> PathBuf {
    let file = dir.path().join(name);
    std::fs::write(&file, bytes).expect("temporary folder");
    file
}

fn folder() -> TempDir {
    tempfile::tempdir().expect("temporary folder")
}

fn png(
    raw: &[u8],
    (width, height): (u32, u32),
    kind: ExtendedColorType,
    icc: Option<&[u8]>,
    exif: Option<&[u8]>,
) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = PngEncoder::new(&mut out);
    if let Some(icc) = icc {
        encoder
            .set_icc_profile(icc.to_vec())
            .expect("PNG holds profiles");
    }
    if let Some(exif) = exif {
        encoder
            .set_exif_metadata(exif.to_vec())
            .expect("PNG holds EXIF");
    }
    encoder
        .write_image(raw, width, height, kind)
        .expect("encodes");
    out
}

fn jpeg(picture: &DynamicImage, icc: Option<&[u8]>, exif: Option<&[u8]>) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut out, 95);
    if let Some(icc) = icc {
        encoder
            .set_icc_profile(icc.to_vec())
            .expect("JPEG holds profiles");
    }
    if let Some(exif) = exif {
        encoder
            .set_exif_metadata(exif.to_vec())
            .expect("JPEG holds EXIF");
    }
    encoder.encode_image(picture).expect("encodes");
    out
}

fn field(tag: exif::Tag, value: exif::Value) -> exif::Field {
    exif::Field {
        tag,
        ifd_num: exif::In::PRIMARY,
        value,
    }
}

fn ascii(text: &str) -> exif::Value {
    exif::Value::Ascii(vec![text.as_bytes().to_vec()])
}

fn exif_block(fields: &[exif::Field]) -> Vec<u8> {
    let mut writer = exif::experimental::Writer::new();
    for f in fields {
        writer.push_field(f);
    }
    let mut out = Cursor::new(Vec::new());
    writer.write(&mut out, false).expect("writes EXIF");
    out.into_inner()
}

/// Four quarters: red, green / blue, yellow.
fn quarters() -> RgbImage {
    RgbImage::from_fn(64, 32, |x, y| match (x < 32, y < 16) {
        (true, true) => Rgb([220, 20, 20]),
        (false, true) => Rgb([20, 200, 20]),
        (true, false) => Rgb([20, 20, 220]),
        (false, false) => Rgb([220, 220, 20]),
    })
}

/// Names the colour at the middle of each quarter, row by row.
fn layout(pixels: &RgbImage) -> String {
    let (w, h) = pixels.dimensions();
    [(1, 1), (3, 1), (1, 3), (3, 3)]
        .iter()
        .map(|(x, y)| {
            let [r, g, b] = pixels.get_pixel(w * x / 4, h * y / 4).0;
            match (r > 128, g > 128, b > 128) {
                (true, false, false) => 'R',
                (false, true, false) => 'G',
                (false, false, true) => 'B',
                (true, true, false) => 'Y',
                _ => '?',
            }
        })
        .collect()
}

/// EXIF 2.3 (CIPA DC-008), tag 274, says where the stored row 0 and column 0
/// are to be seen: 1 top/left, 2 top/right, 3 bottom/right, 4 bottom/left,
/// 5 left/top, 6 right/top, 7 right/bottom, 8 left/bottom. Stored is RG over BY;
/// each expected layout was written down from that table by hand.
const UPRIGHT: [(u16, &str); 8] = [
    (1, "RGBY"),
    (2, "GRYB"),
    (3, "YBGR"),
    (4, "BYRG"),
    (5, "RBGY"),
    (6, "BRYG"),
    (7, "YGBR"),
    (8, "GYRB"),
];

#[test]
fn all_orientations_stand_upright_in_every_format() {
    let dir = folder();
    let stored = quarters();
    for (value, expected) in UPRIGHT {
        let block = exif_block(&[field(
            exif::Tag::Orientation,
            exif::Value::Short(vec![value]),
        )]);
        let mut prefixed = b"Exif\0\0".to_vec();
        prefixed.extend(&block);
        let mut webp = Vec::new();
        let mut encoder = WebPEncoder::new_lossless(&mut webp);
        encoder
            .set_exif_metadata(prefixed)
            .expect("WebP holds EXIF");
        encoder
            .write_image(&stored, 64, 32, ExtendedColorType::Rgb8)
            .expect("encodes");
        for (name, bytes) in [
            ("a.jpg", jpeg(&stored.clone().into(), None, Some(&block))),
            (
                "a.png",
                png(
                    &stored,
                    (64, 32),
                    ExtendedColorType::Rgb8,
                    None,
                    Some(&block),
                ),
            ),
            ("a.webp", webp),
            ("a.tif", tiff_turned(&stored, value)),
        ] {
            let photo = read(&save(&dir, name, &bytes));
            assert_eq!(
                layout(&photo.pixels),
                expected,
                "{name}, orientation {value}"
            );
            let size = if value < 5 { (64, 32) } else { (32, 64) };
            assert_eq!(
                photo.pixels.dimensions(),
                size,
                "{name}, orientation {value}"
            );
        }
    }
}

/// A TIFF 6.0 file by hand (section 2 and 8): the encoder at hand writes no
/// orientation.
fn tiff_turned(picture: &RgbImage, orientation: u16) -> Vec<u8> {
    let raw = picture.as_raw();
    let (w, h) = picture.dimensions();
    let entries: [(u16, u16, u32, u32); 11] = [
        (256, 4, 1, w),
        (257, 4, 1, h),
        (258, 3, 3, 8 + 2 + 11 * 12 + 4),
        (259, 3, 1, 1),
        (262, 3, 1, 2),
        (273, 4, 1, 8 + 2 + 11 * 12 + 4 + 6),
        (274, 3, 1, u32::from(orientation)),
        (277, 3, 1, 3),
        (278, 4, 1, h),
        (279, 4, 1, raw.len() as u32),
        (284, 3, 1, 1),
    ];
    let mut out = b"II*\0\x08\0\0\0".to_vec();
    out.extend(11_u16.to_le_bytes());
    for (tag, kind, count, value) in entries {
        out.extend(tag.to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(count.to_le_bytes());
        out.extend(value.to_le_bytes());
    }
    out.extend([0; 4]);
    out.extend([8, 0, 8, 0, 8, 0]);
    out.extend(raw);
    out
}

#[test]
fn transparency_is_turned_with_the_picture_and_laid_on_white() {
    let dir = folder();
    let block = exif_block(&[field(exif::Tag::Orientation, exif::Value::Short(vec![6]))]);
    // Two pixels side by side, the left one transparent; turned by 90 degrees
    // clockwise the left one is on top.
    let raw = [9, 9, 9, 0, 9, 9, 9, 255];
    let file = png(&raw, (2, 1), ExtendedColorType::Rgba8, None, Some(&block));
    let photo = read(&save(&dir, "a.png", &file));
    assert_eq!(photo.pixels.as_raw()[..], [255, 255, 255, 9, 9, 9]);
    assert_eq!(photo.alpha.map(GrayImage::into_raw), Some(vec![0, 255]));
}

type Matrix = [[f64; 3]; 3];

fn times(m: &Matrix, v: [f64; 3]) -> [f64; 3] {
    m.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2])
}

fn inverse(m: &Matrix) -> Matrix {
    let minor = |r: usize, c: usize| {
        let (a, b) = ((r + 1) % 3, (r + 2) % 3);
        let (d, e) = ((c + 1) % 3, (c + 2) % 3);
        m[a][d] * m[b][e] - m[a][e] * m[b][d]
    };
    let det: f64 = (0..3).map(|c| m[0][c] * minor(0, c)).sum();
    std::array::from_fn(|r| std::array::from_fn(|c| minor(c, r) / det))
}

/// Linear RGB to XYZ from chromaticities, by the usual derivation (SMPTE RP 177).
fn to_xyz(primaries: [[f64; 2]; 3], white: [f64; 2]) -> Matrix {
    let xyz = |[x, y]: [f64; 2]| [x / y, 1.0, (1.0 - x - y) / y];
    let p = primaries.map(xyz);
    let columns: Matrix = std::array::from_fn(|r| std::array::from_fn(|c| p[c][r]));
    let scale = times(&inverse(&columns), xyz(white));
    std::array::from_fn(|r| std::array::from_fn(|c| columns[r][c] * scale[c]))
}

const D65: [f64; 2] = [0.3127, 0.3290];
/// IEC 61966-2-1 (ITU-R BT.709 primaries).
const SRGB: [[f64; 2]; 3] = [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]];
/// SMPTE EG 432-1, as CSS Color 4 takes it for display-p3 (white D65).
const P3: [[f64; 2]; 3] = [[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]];
/// Adobe RGB (1998) Color Image Encoding, 4.3.1.
const ADOBE: [[f64; 2]; 3] = [[0.64, 0.33], [0.21, 0.71], [0.15, 0.06]];

/// IEC 61966-2-1.
fn srgb_decode(v: f64) -> f64 {
    if v <= 0.04045 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

fn srgb_encode(v: f64) -> f64 {
    let v = v.clamp(0.0, 1.0);
    if v <= 0.003_130_8 {
        v * 12.92
    } else {
        1.055 * v.powf(1.0 / 2.4) - 0.055
    }
}

/// What a colour is in sRGB, out-of-gamut colours clipped channel by channel.
fn expected(rgb: [u8; 3], primaries: [[f64; 2]; 3], decode: impl Fn(f64) -> f64) -> [f64; 3] {
    let linear = rgb.map(|v| decode(f64::from(v) / 255.0));
    let xyz = times(&to_xyz(primaries, D65), linear);
    times(&inverse(&to_xyz(SRGB, D65)), xyz).map(|v| 255.0 * srgb_encode(v))
}

#[test]
fn the_reckoning_agrees_with_the_published_matrix() {
    // CSS Color 4, sample code: display-p3 to XYZ.
    let published = [
        [0.486_570_9, 0.265_667_7, 0.198_217_3],
        [0.228_974_6, 0.691_738_5, 0.079_286_9],
        [0.0, 0.045_113_4, 1.043_944_4],
    ];
    let ours = to_xyz(P3, D65);
    for (a, b) in ours.as_flattened().iter().zip(published.as_flattened()) {
        assert!((a - b).abs() < 1e-5, "{a} {b}");
    }
}

const COLOURS: [[u8; 3]; 12] = [
    [0, 0, 0],
    [255, 255, 255],
    [128, 128, 128],
    [200, 100, 50],
    [60, 120, 90],
    [40, 60, 140],
    [180, 170, 150],
    [230, 200, 60],
    [12, 20, 9],
    [140, 60, 70],
    [255, 0, 0],
    [0, 255, 0],
];

fn near(found: &[u8], wanted: [f64; 3], tolerance: f64, what: &str) {
    for (f, w) in found.iter().zip(wanted) {
        assert!(
            (f64::from(*f) - w).abs() <= tolerance,
            "{what}: {found:?}, expected {wanted:?}"
        );
    }
}

#[test]
fn display_p3_and_adobe_rgb_become_srgb() {
    let dir = folder();
    // Adobe RGB (1998), 4.3.4.2: the exponent is 2 + 51/256.
    let adobe = |v: f64| v.powf(2.199_218_75);
    let p3 = ColorProfile::new_display_p3().encode().expect("encodes");
    let rgb98 = ColorProfile::new_adobe_rgb().encode().expect("encodes");
    for (icc, primaries, gamma) in [(&p3, P3, false), (&rgb98, ADOBE, true)] {
        let raw = COLOURS.as_flattened();
        let deep: Vec<u8> = raw.iter().flat_map(|&v| [v, v]).collect();
        let mut with_alpha = Vec::new();
        for c in COLOURS {
            with_alpha.extend([c[0], c[1], c[2], 255]);
        }
        let size = (12, 1);
        for (what, file) in [
            (
                "8 bits",
                png(raw, size, ExtendedColorType::Rgb8, Some(icc), None),
            ),
            (
                "16 bits",
                png(&deep, size, ExtendedColorType::Rgb16, Some(icc), None),
            ),
            (
                "alpha",
                png(&with_alpha, size, ExtendedColorType::Rgba8, Some(icc), None),
            ),
        ] {
            let photo = read(&save(&dir, "a.png", &file));
            assert_eq!(photo.warnings, []);
            for (found, colour) in photo.pixels.pixels().zip(COLOURS) {
                let wanted = if gamma {
                    expected(colour, primaries, adobe)
                } else {
                    expected(colour, primaries, srgb_decode)
                };
                near(
                    &found.0,
                    wanted,
                    1.0,
                    &format!("{what} {colour:?} adobe {gamma}"),
                );
            }
        }
    }
}

#[test]
fn a_jpeg_with_a_profile_is_converted_too() {
    let dir = folder();
    let p3 = ColorProfile::new_display_p3().encode().expect("encodes");
    let flat = RgbImage::from_pixel(32, 32, Rgb([60, 120, 90]));
    let file = jpeg(&flat.clone().into(), Some(&p3), None);
    let untagged = read(&save(&dir, "b.jpg", &jpeg(&flat.into(), None, None)));
    let photo = read(&save(&dir, "a.jpg", &file));
    // From the colour that JPEG made of it, within 1.
    let stored = untagged.pixels.get_pixel(9, 9).0;
    near(
        &photo.pixels.get_pixel(9, 9).0,
        expected(stored, P3, srgb_decode),
        1.0,
        "JPEG",
    );
    assert_ne!(photo.pixels, untagged.pixels);
}

#[test]
fn cameras_that_only_mark_adobe_rgb_are_believed() {
    let dir = folder();
    // CIPA DC-009 (DCF 2.0): interoperability index R03 is the optional colour
    // space, R98 is sRGB.
    for (index, converted) in [("R03", true), ("R98", false)] {
        let block = exif_block(&[field(exif::Tag::InteroperabilityIndex, ascii(index))]);
        let file = png(
            &[60, 120, 90],
            (1, 1),
            ExtendedColorType::Rgb8,
            None,
            Some(&block),
        );
        let photo = read(&save(&dir, "a.png", &file));
        let wanted = if converted {
            expected([60, 120, 90], ADOBE, |v| v.powf(2.199_218_75))
        } else {
            [60.0, 120.0, 90.0]
        };
        near(&photo.pixels.get_pixel(0, 0).0, wanted, 1.0, index);
    }
}

#[test]
fn grey_profiles_are_followed() {
    let dir = folder();
    let icc = ColorProfile::new_gray_with_gamma(1.8)
        .encode()
        .expect("encodes");
    let raw: Vec<u8> = (0..=255).collect();
    let file = png(&raw, (256, 1), ExtendedColorType::L8, Some(&icc), None);
    let photo = read(&save(&dir, "a.png", &file));
    assert_eq!(photo.warnings, []);
    // A tone curve of 1.8 by its definition (ICC.1, curveType with one entry).
    for (x, found) in (0..=255_u8).zip(photo.pixels.pixels()) {
        let wanted = 255.0 * srgb_encode((f64::from(x) / 255.0).powf(1.8));
        // The curve is steep near black, where tables are coarse.
        let tolerance = if x < 8 { 3.0 } else { 1.5 };
        near(&found.0, [wanted; 3], tolerance, &format!("grey {x}"));
    }
}

#[test]
fn what_is_srgb_already_is_left_as_it_is() {
    let dir = folder();
    let raw = COLOURS.as_flattened();
    let srgb = ColorProfile::new_srgb().encode().expect("encodes");
    for icc in [None, Some(&srgb[..])] {
        let file = png(raw, (12, 1), ExtendedColorType::Rgb8, icc, None);
        let photo = read(&save(&dir, "a.png", &file));
        assert_eq!(photo.pixels.as_raw(), raw);
        assert_eq!(photo.warnings, []);
        assert!(photo.alpha.is_none());
    }
}

#[test]
fn a_profile_that_cannot_be_used_is_reported_and_ignored() {
    let dir = folder();
    let grey = ColorProfile::new_gray_with_gamma(2.2)
        .encode()
        .expect("encodes");
    let mut cut = ColorProfile::new_display_p3().encode().expect("encodes");
    cut.truncate(200);
    for icc in [&b"not a profile"[..], &grey, &cut] {
        let file = png(
            COLOURS.as_flattened(),
            (12, 1),
            ExtendedColorType::Rgb8,
            Some(icc),
            None,
        );
        let photo = read(&save(&dir, "a.png", &file));
        assert_eq!(photo.pixels.as_raw(), COLOURS.as_flattened());
        let codes: Vec<Code> = photo.warnings.iter().map(|w| w.code).collect();
        assert_eq!(codes, [Code::ProfileIgnored]);
    }
}

#[test]
fn every_kind_of_pixel_is_read() {
    let dir = folder();
    // 51 is a fifth of 255 and 13107 of 65535, so every depth can hold it.
    let grey16: Vec<u8> = 13107_u16.to_ne_bytes().to_vec();
    let rgb16 = [grey16.clone(), vec![255; 2], vec![0; 2]].concat();
    let cases = [
        (
            png(&[51], (1, 1), ExtendedColorType::L8, None, None),
            [51; 3],
        ),
        (
            png(&[51, 255], (1, 1), ExtendedColorType::La8, None, None),
            [51; 3],
        ),
        (
            png(&[51, 0], (1, 1), ExtendedColorType::La8, None, None),
            [255; 3],
        ),
        (
            png(&grey16, (1, 1), ExtendedColorType::L16, None, None),
            [51; 3],
        ),
        (
            png(&rgb16, (1, 1), ExtendedColorType::Rgb16, None, None),
            [51, 255, 0],
        ),
        (palette_png(), [51, 255, 0]),
    ];
    for (i, (file, wanted)) in cases.iter().enumerate() {
        let photo = read(&save(&dir, "a.png", file));
        assert_eq!(photo.pixels.get_pixel(0, 0).0, *wanted, "case {i}");
    }
    for (i, picture) in [
        DynamicImage::ImageRgb8(quarters()),
        DynamicImage::ImageRgb16(DynamicImage::from(quarters()).into_rgb16()),
        DynamicImage::ImageRgba8(DynamicImage::from(quarters()).into_rgba8()),
    ]
    .iter()
    .enumerate()
    {
        let mut out = Cursor::new(Vec::new());
        picture
            .write_to(&mut out, image::ImageFormat::Tiff)
            .expect("encodes");
        let photo = read(&save(&dir, "a.dat", &out.into_inner()));
        assert_eq!(photo.pixels, quarters(), "TIFF {i}");
    }
}

/// One pixel of entry 1 of a two-colour palette. Bytes after PNG 11.2 with
/// check sums reckoned here; the data are one stored deflate block (RFC 1951).
fn palette_png() -> Vec<u8> {
    let crc = |bytes: &[u8]| {
        !bytes.iter().fold(u32::MAX, |mut c, &b| {
            c ^= u32::from(b);
            for _ in 0..8 {
                c = if c & 1 == 1 {
                    0xEDB8_8320 ^ (c >> 1)
                } else {
                    c >> 1
                };
            }
            c
        })
    };
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    for (name, body) in [
        (&b"IHDR"[..], &b"\0\0\0\x01\0\0\0\x01\x01\x03\0\0\0"[..]),
        (b"PLTE", &[7, 7, 7, 51, 255, 0]),
        (b"IDAT", b"\x78\x01\x01\x02\0\xfd\xff\0\x80\0\x82\0\x81"),
        (b"IEND", b""),
    ] {
        let chunk = [name, body].concat();
        out.extend((body.len() as u32).to_be_bytes());
        out.extend(&chunk);
        out.extend(crc(&chunk).to_be_bytes());
    }
    out
}

/// 16 x 16 of C 0, M 80 %, Y 80 %, K 20 %, written by Pillow 12 (libjpeg-turbo)
/// as Adobe programs do, inks inverted.
const CMYK: &str = "/9j/7gAOQWRvYmUAZAAAAAAA/9sAQwADAgIDAgIDAwMDBAMDBAUIBQUEBAUKBwcGCAwKDAwLCgsLDQ4SEA0OEQ4LCxAWEBETFBUVFQwPFxgWFBgSFBUU/8AAFAgAEAAQBEMRAE0RAFkRAEsRAP/EAB8AAAEFAQEBAQEBAAAAAAAAAAABAgMEBQYHCAkKC//EALUQAAIBAwMCBAMFBQQEAAABfQECAwAEEQUSITFBBhNRYQcicRQygZGhCCNCscEVUtHwJDNicoIJChYXGBkaJSYnKCkqNDU2Nzg5OkNERUZHSElKU1RVVldYWVpjZGVmZ2hpanN0dXZ3eHl6g4SFhoeIiYqSk5SVlpeYmZqio6Slpqeoqaqys7S1tre4ubrCw8TFxsfIycrS09TV1tfY2drh4uPk5ebn6Onq8fLz9PX29/j5+v/aAA4EQwBNAFkASwAAPwD9U6+Mq+Mq+y6KKKKKKKKKKKK//9k=";

#[test]
fn a_cmyk_jpeg_has_its_colours_the_right_way_round() {
    let dir = folder();
    let bytes = BASE64_STANDARD.decode(CMYK).expect("base64");
    let photo = read(&save(&dir, "a.jpg", &bytes));
    // Plain conversion (PDF 1.7, 10.3.5 in effect): R = (1-C)(1-K).
    near(
        &photo.pixels.get_pixel(8, 8).0,
        [204.0, 40.8, 40.8],
        3.0,
        "CMYK",
    );
}

#[test]
fn the_date_is_kept_and_whereabouts_and_names_are_not() {
    let dir = folder();
    let secret = "SECRET-4711";
    let degrees = |d| {
        exif::Value::Rational(vec![
            exif::Rational { num: d, denom: 1 },
            exif::Rational { num: 0, denom: 1 },
            exif::Rational { num: 0, denom: 1 },
        ])
    };
    let block = exif_block(&[
        field(exif::Tag::DateTimeOriginal, ascii("2024:05:06 17:08:09")),
        field(exif::Tag::DateTime, ascii("2025:01:01 00:00:00")),
        field(exif::Tag::GPSLatitudeRef, ascii("N")),
        field(exif::Tag::GPSLatitude, degrees(48)),
        field(
            exif::Tag::GPSAreaInformation,
            exif::Value::Undefined(secret.into(), 0),
        ),
        field(exif::Tag::Artist, ascii(secret)),
        field(exif::Tag::CameraOwnerName, ascii(secret)),
        field(exif::Tag::BodySerialNumber, ascii(secret)),
    ]);
    let bytes = jpeg(&quarters().into(), None, Some(&block));
    assert!(
        bytes.windows(secret.len()).any(|w| w == secret.as_bytes()),
        "the test is void"
    );
    let photo = read(&save(&dir, "a.jpg", &bytes));
    assert_eq!(photo.captured.as_deref(), Some("2024-05-06T17:08:09"));
    // Every field, named one by one: a new field must be thought about here.
    let Photo {
        source: _,
        sha256: _,
        pixels: _,
        alpha: _,
        captured,
        warnings,
    } = photo;
    let text = format!("{captured:?} {warnings:?}");
    assert!(!text.contains(secret) && !text.contains("48"), "{text}");
}

#[test]
fn the_digest_is_of_the_files_bytes() {
    let dir = folder();
    let bytes = palette_png();
    let photo = read(&save(&dir, "a.png", &bytes));
    use sha2::Digest;
    let wanted: String = sha2::Sha256::digest(&bytes)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    assert_eq!(photo.sha256, wanted);
    assert_eq!(photo.sha256.len(), 64);
}

#[test]
fn what_is_no_file_is_told_apart() {
    let dir = folder();
    for (path, kind) in [
        (dir.path().join("absent.jpg"), Kind::Missing),
        (dir.path().to_path_buf(), Kind::Usage),
    ] {
        let e = photo::read(&path, &config::Photo::default()).expect_err("no photo");
        assert_eq!(e.kind(), kind);
        assert_eq!(e.file(), Some(path.as_path()));
        assert!(e.to_string().contains("; "), "no remedy: {e}");
    }
}

#[test]
fn limits_are_the_users() {
    let dir = folder();
    let file = save(
        &dir,
        "a.png",
        &png(
            quarters().as_raw(),
            (64, 32),
            ExtendedColorType::Rgb8,
            None,
            None,
        ),
    );
    let standard = config::Photo::default();
    for (limits, word) in [
        (
            config::Photo {
                max_side_px: 63,
                ..standard.clone()
            },
            "max_side_px",
        ),
        (
            config::Photo {
                max_megapixels: 0,
                ..standard.clone()
            },
            "max_megapixels",
        ),
        (
            config::Photo {
                max_memory_mib: 0,
                ..standard.clone()
            },
            "max_memory_mib",
        ),
        (
            config::Photo {
                max_file_mib: 0,
                ..standard.clone()
            },
            "max_file_mib",
        ),
    ] {
        let e = photo::read(&file, &limits).expect_err("over the limit");
        assert_eq!(e.kind(), Kind::TooLarge);
        assert!(e.to_string().contains(word), "{e}");
    }
    assert!(
        photo::read(
            &file,
            &config::Photo {
                max_side_px: 64,
                ..standard
            }
        )
        .is_ok()
    );
}

#[test]
fn folders_become_their_photos() {
    let dir = folder();
    let root = dir.path();
    std::fs::create_dir_all(root.join("b/.hidden")).expect("temporary folder");
    for name in [
        "c.JPG",
        "a.heic",
        "notes.txt",
        ".x.jpg",
        "b/2.nef",
        "b/1.png",
        "b/.hidden/3.png",
    ] {
        save(&dir, name, b"");
    }
    #[cfg(unix)]
    std::os::unix::fs::symlink(root, root.join("b/loop")).expect("temporary folder");
    let given = [
        root.to_path_buf(),
        root.join("notes.txt"),
        root.join("absent"),
    ];
    let found: Vec<PathBuf> = photo::gather(&given)
        .iter()
        .map(|f| f.strip_prefix(root).expect("inside").to_path_buf())
        .collect();
    let wanted = [
        "a.heic",
        "b/1.png",
        "b/2.nef",
        "c.JPG",
        "notes.txt",
        "absent",
    ]
    .map(PathBuf::from);
    assert_eq!(found, wanted);
    assert!(photo::has_photo_extension(Path::new("x.Dng")));
    assert!(!photo::has_photo_extension(Path::new("jpg")));
}
