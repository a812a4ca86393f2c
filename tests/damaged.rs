//! Files that are damaged, hostile or no pictures. Whatever they hold, each
//! gives valid pixels or an error that names the file and the remedy.

use std::{
    io::Cursor,
    path::{Path, PathBuf},
    time::{Duration, Instant},
};

use base64::{Engine, prelude::BASE64_STANDARD};
use footring::{
    config,
    error::{Error, Kind},
    photo::{self, Photo},
    warning::Code,
};
use image::{
    DynamicImage, ExtendedColorType, ImageEncoder, Rgb, RgbImage,
    codecs::{jpeg::JpegEncoder, png::PngEncoder, webp::WebPEncoder},
};
use proptest::prelude::*;
use tempfile::TempDir;

/// 48 x 48, progressive, 4:2:0, written by Pillow 12 (libjpeg-turbo).
const PROGRESSIVE: &str = "/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDAA0JCgsKCA0LCgsODg0PEyAVExISEyccHhcgLikxMC4pLSwzOko+MzZGNywtQFdBRkxOUlNSMj5aYVpQYEpRUk//2wBDAQ4ODhMREyYVFSZPNS01T09PT09PT09PT09PT09PT09PT09PT09PT09PT09PT09PT09PT09PT09PT09PT09PT0//wgARCAAwADADASIAAhEBAxEB/8QAGAABAQEBAQAAAAAAAAAAAAAAAwIEAQb/xAAaAQACAgMAAAAAAAAAAAAAAAACBAADAQUG/9oADAMBAAIQAxAAAAHzqImZCIhtQiKbWBbWjQGtqbRram3gW1o581tTbNb4Df8A/8QAFxABAQEBAAAAAAAAAAAAAAAAAQAREP/aAAgBAQABBQIIIIIIIIIIIIIIIIIIIIIIIIIIIIILIIIILOf/xAAXEQEBAQEAAAAAAAAAAAAAAAACAAMR/9oACAEDAQE/AQ4ODg4ODg4OzXb/xAAXEQEBAQEAAAAAAAAAAAAAAAABAAMR/9oACAECAQE/ASIiIiLbcyOt/8QAFBABAAAAAAAAAAAAAAAAAAAAUP/aAAgBAQAGPwIT/8QAGRABAAIDAAAAAAAAAAAAAAAAAQAhIDFA/9oACAEBAAE/Ie1VVVVVVVVVTEqkN0an/9oADAMBAAIAAwAAABBRRkququqj/8QAFhEBAQEAAAAAAAAAAAAAAAAAAQAw/9oACAEDAQE/EMAAARX/xAAYEQACAwAAAAAAAAAAAAAAAAAAQQEwUf/aAAgBAgEBPxCgAZxRp//EABkQAQEBAQEBAAAAAAAAAAAAAABhAREh8f/aAAgBAQABPxCCCCCCCCCCCCCCCCCCCCCCCCCCCCCDnndQQQQc87r3+h//2Q==";

/// 48 x 48, lossy, written by Pillow 12 (libwebp).
const LOSSY_WEBP: &str = "UklGRrAAAABXRUJQVlA4IKQAAAAQBgCdASowADAAPu1wr1Ippj+io4wD8B2JaADBD1EK3mFsRHKQd3XWE10IG+v/0A3AEumT20D13QAA/vt4R29sPsJ2SFeI+0Jup5ev9yg1KBwHY6hOk6zJQ7HGMdOrpm5ffLQpYlJZ7EfcO4zoSxO2VP3O+fhrOgt/pc/J3ZHfByH74ffliYqhFTwCulJEgrwDk/eiulv7FbKElG+or7SvEYAAAA==";

fn pattern(width: u32, height: u32) -> RgbImage {
    let byte = |v: u32| u8::try_from(v % 256).expect("below 256");
    RgbImage::from_fn(width, height, |x, y| {
        Rgb([byte(x * 5), byte(y * 3), byte((x * y) / 7)])
    })
}

fn jpeg(picture: &RgbImage) -> Vec<u8> {
    let mut out = Vec::new();
    JpegEncoder::new_with_quality(&mut out, 85)
        .encode_image(picture)
        .expect("encodes");
    out
}

fn png(picture: &RgbImage) -> Vec<u8> {
    let mut out = Vec::new();
    PngEncoder::new(&mut out)
        .write_image(
            picture,
            picture.width(),
            picture.height(),
            ExtendedColorType::Rgb8,
        )
        .expect("encodes");
    out
}

fn webp(picture: &RgbImage) -> Vec<u8> {
    let mut out = Vec::new();
    WebPEncoder::new_lossless(&mut out)
        .write_image(
            picture,
            picture.width(),
            picture.height(),
            ExtendedColorType::Rgb8,
        )
        .expect("encodes");
    out
}

fn tiff(picture: &RgbImage) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    DynamicImage::from(picture.clone())
        .write_to(&mut out, image::ImageFormat::Tiff)
        .expect("encodes");
    out.into_inner()
}

/// The good files that damage is done to.
fn good() -> Vec<(&'static str, Vec<u8>)> {
    let picture = pattern(120, 90);
    vec![
        ("whole.jpg", jpeg(&picture)),
        (
            "progressive.jpg",
            BASE64_STANDARD.decode(PROGRESSIVE).expect("base64"),
        ),
        ("whole.png", png(&picture)),
        ("lossless.webp", webp(&picture)),
        (
            "lossy.webp",
            BASE64_STANDARD.decode(LOSSY_WEBP).expect("base64"),
        ),
        ("whole.tif", tiff(&picture)),
    ]
}

/// SplitMix64, so that the damage is the same on every run.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n as u64).expect("below n")
    }
}

/// At least 300 files, each with what was done to it.
fn damaged() -> Vec<(String, Vec<u8>)> {
    let mut dice = Dice(1);
    let mut files = Vec::new();
    for (name, bytes) in good() {
        let n = bytes.len();
        for step in 1..20 {
            let mut cut = bytes.clone();
            cut.truncate(n * step / 20);
            files.push((format!("cut{step}-{name}"), cut));
        }
        for few in [1, 3, 8, 11, 12, 20, 26, 40] {
            files.push((format!("first{few}-{name}"), bytes[..few].to_vec()));
        }
        for round in 0..20 {
            let mut flipped = bytes.clone();
            // Half of the rounds aim at the header, where lengths and sizes are.
            let reach = if round % 2 == 0 { n.min(120) } else { n };
            for _ in 0..=dice.below(6) {
                flipped[dice.below(reach)] ^= 1 << dice.below(8);
            }
            files.push((format!("flip{round}-{name}"), flipped));
        }
        for round in 0..4 {
            let mut blank = bytes.clone();
            let from = dice.below(n);
            let to = (from + n / 4).min(n);
            blank[from..to].fill(if round % 2 == 0 { 0 } else { 0xff });
            files.push((format!("blank{round}-{name}"), blank));
        }
        // The start of one format with the body of noise.
        let mut noise: Vec<u8> = (0..2000).map(|_| dice.next().to_le_bytes()[0]).collect();
        noise[..16].copy_from_slice(&bytes[..16]);
        files.push((format!("noise-{name}"), noise));
    }
    files.push(("empty.jpg".to_owned(), Vec::new()));
    files.push(("zeros.png".to_owned(), vec![0; 5000]));
    files.push((
        "text.jpg".to_owned(),
        b"<html><body>404 Not Found</body></html>\n".to_vec(),
    ));
    files.push((
        "words.tif".to_owned(),
        "Teller, blau, gr\u{fc}n\n".repeat(50).into_bytes(),
    ));
    for i in 0..8 {
        let noise = (0..3000).map(|_| dice.next().to_le_bytes()[0]).collect();
        files.push((format!("random{i}.jpg"), noise));
    }
    files
}

fn save(dir: &TempDir, name: &str, bytes: &[u8]) -> PathBuf {
    let file = dir.path().join(name);
    std::fs::write(&file, bytes).expect("temporary folder");
    file
}

/// What holds of every outcome.
fn check(file: &Path, outcome: &Result<Photo, Error>) {
    let name = file.file_name().and_then(|n| n.to_str()).expect("a name");
    match outcome {
        Ok(photo) => {
            let (w, h) = photo.pixels.dimensions();
            assert!(w > 0 && h > 0, "{name}: no pixels");
            assert_eq!(photo.pixels.len(), (w * h * 3) as usize, "{name}");
            if let Some(alpha) = &photo.alpha {
                assert_eq!(alpha.dimensions(), (w, h), "{name}");
            }
        }
        Err(e) => {
            assert!(
                matches!(e.kind(), Kind::Damaged | Kind::Unsupported | Kind::TooLarge),
                "{name}: {:?}",
                e.kind()
            );
            assert_eq!(e.file(), Some(file), "{name}");
            let text = e.to_string();
            assert!(text.contains(name), "{name} is not named: {text}");
            assert!(text.contains("; "), "{name} has no remedy: {text}");
        }
    }
}

#[test]
fn three_hundred_damaged_files_give_pixels_or_an_error_with_a_remedy() {
    let dir = tempfile::tempdir().expect("temporary folder");
    let files = damaged();
    assert!(files.len() >= 300, "only {} files", files.len());
    let (mut readable, mut refused) = (0, 0);
    for (name, bytes) in &files {
        let file = save(&dir, name, bytes);
        let outcome = photo::read(&file, &config::Photo::default());
        check(&file, &outcome);
        if outcome.is_ok() {
            readable += 1;
        } else {
            refused += 1;
        }
    }
    // Both outcomes must occur often, or the damage is not what it should be.
    assert!(
        readable > 30 && refused > 150,
        "{readable} read, {refused} refused"
    );
}

#[test]
fn the_good_files_are_good() {
    let dir = tempfile::tempdir().expect("temporary folder");
    for (name, bytes) in good() {
        let file = save(&dir, name, &bytes);
        let photo = photo::read(&file, &config::Photo::default()).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(photo.warnings, [], "{name}");
    }
}

/// Every cut of every format. A file of these formats that lacks part of its
/// picture is refused, a JPEG that is read is shorter than it was or warned of.
#[test]
fn no_cut_goes_unnoticed() {
    let dir = tempfile::tempdir().expect("temporary folder");
    for (name, bytes) in good() {
        let whole = photo::read(&save(&dir, name, &bytes), &config::Photo::default())
            .unwrap_or_else(|e| panic!("{e}"));
        let steps = (bytes.len() / 250).max(1);
        for cut in (0..bytes.len()).step_by(steps).chain([bytes.len() - 1]) {
            let file = save(&dir, name, &bytes[..cut]);
            let outcome = photo::read(&file, &config::Photo::default());
            check(&file, &outcome);
            let Ok(photo) = outcome else { continue };
            let warned = photo.warnings.iter().any(|w| w.code == Code::Truncated);
            // A PNG that lacks its end mark only has every pixel.
            let complete = name.ends_with("png") && photo.pixels == whole.pixels;
            assert!(warned || complete, "{name} cut at {cut} of {}", bytes.len());
            assert!(name.ends_with("jpg") || complete, "{name} cut at {cut}");
        }
    }
}

#[test]
fn a_jpeg_cut_off_late_keeps_its_upper_part_and_one_cut_off_early_is_refused() {
    let dir = tempfile::tempdir().expect("temporary folder");
    let picture = pattern(320, 320);
    let bytes = jpeg(&picture);
    let whole = photo::read(&save(&dir, "whole.jpg", &bytes), &config::Photo::default())
        .unwrap_or_else(|e| panic!("{e}"));
    let late = save(&dir, "late.jpg", &bytes[..bytes.len() * 3 / 4]);
    let photo = photo::read(&late, &config::Photo::default()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(photo.warnings.len(), 1);
    assert_eq!(photo.warnings[0].code, Code::Truncated);
    let rows = photo.pixels.height();
    assert!((160..320).contains(&rows), "{rows} rows");
    // What is kept is as it was: no row of filling, no smear.
    assert_eq!(
        photo.pixels.as_raw()[..],
        whole.pixels.as_raw()[..photo.pixels.len()]
    );
    let early = save(&dir, "early.jpg", &bytes[..bytes.len() / 3]);
    let e = photo::read(&early, &config::Photo::default()).expect_err("too little");
    assert_eq!(e.kind(), Kind::Damaged);
}

/// A marker that does not belong there ends the picture although the file goes
/// on to its proper end.
#[test]
fn a_jpeg_interrupted_by_a_foreign_marker_says_so() {
    let dir = tempfile::tempdir().expect("temporary folder");
    let mut bytes = jpeg(&pattern(320, 320));
    let middle = bytes.len() * 3 / 4;
    bytes[middle..middle + 4].copy_from_slice(b"\x11\xff\xc8\x00");
    let file = save(&dir, "interrupted.jpg", &bytes);
    let photo = photo::read(&file, &config::Photo::default()).unwrap_or_else(|e| panic!("{e}"));
    let rows = photo.pixels.height();
    assert!((160..320).contains(&rows), "{rows} rows");
    assert_eq!(photo.warnings[0].code, Code::Truncated);
}

/// A progressive picture gets sharper scan by scan: from the first scan on,
/// wherever it breaks off, there is a picture.
#[test]
fn a_progressive_jpeg_is_read_from_its_first_scan_on() {
    let dir = tempfile::tempdir().expect("temporary folder");
    let bytes = BASE64_STANDARD.decode(PROGRESSIVE).expect("base64");
    let scans: Vec<usize> = (0..bytes.len() - 1)
        .filter(|&at| bytes[at..at + 2] == [0xff, 0xda])
        .collect();
    assert!(scans.len() > 3, "the test is void");
    for cut in scans[1]..bytes.len() {
        let file = save(&dir, "cut.jpg", &bytes[..cut]);
        let photo = photo::read(&file, &config::Photo::default())
            .unwrap_or_else(|e| panic!("cut at {cut}: {e}"));
        assert_eq!(photo.pixels.dimensions(), (48, 48), "cut at {cut}");
        assert_eq!(photo.warnings[0].code, Code::Truncated, "cut at {cut}");
    }
}

#[test]
fn a_whole_jpeg_on_mid_grey_is_not_taken_for_a_cut_one() {
    let dir = tempfile::tempdir().expect("temporary folder");
    let mut picture = RgbImage::from_pixel(128, 128, Rgb([128; 3]));
    image::imageops::replace(&mut picture, &pattern(64, 24), 20, 8);
    let file = save(&dir, "grey.jpg", &jpeg(&picture));
    let photo = photo::read(&file, &config::Photo::default()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(photo.warnings, []);
    assert_eq!(photo.pixels.dimensions(), (128, 128));
}

/// Headers that claim 60,000 x 60,000 pixels, laid out after T.81 B.2, PNG
/// 11.2, TIFF 6.0 section 2 and the WebP container specification (VP8X; its
/// sides are 24 bits wide).
fn huge() -> Vec<(&'static str, Vec<u8>)> {
    const SIDE: u32 = 60_000;
    let side = SIDE.to_be_bytes();
    let mut jpeg = jpeg(&pattern(64, 64));
    let frame = jpeg
        .windows(2)
        .position(|w| w == [0xff, 0xc0])
        .expect("baseline frame");
    jpeg[frame + 5..frame + 9].copy_from_slice(&[side[2], side[3], side[2], side[3]]);
    let mut progressive = jpeg.clone();
    progressive[frame + 1] = 0xc2;
    let mut png = png(&pattern(64, 64));
    png[16..24].copy_from_slice(&[side, side].concat());
    // The check sum no longer fits; the size must be refused before it matters.
    let mut webp = b"RIFF\x16\0\0\0WEBPVP8X\x0a\0\0\0\0\0\0\0".to_vec();
    let less_one = (SIDE - 1).to_le_bytes();
    webp.extend(&less_one[..3]);
    webp.extend(&less_one[..3]);
    let mut webp_with_picture = webp.clone();
    let lossy = BASE64_STANDARD.decode(LOSSY_WEBP).expect("base64");
    webp_with_picture.extend(&lossy[12..]);
    let size = u32::try_from(webp_with_picture.len() - 8).expect("small");
    webp_with_picture[4..8].copy_from_slice(&size.to_le_bytes());
    let mut tiff = tiff(&pattern(64, 64));
    let directory = u32::from_le_bytes([tiff[4], tiff[5], tiff[6], tiff[7]]) as usize;
    let entries = u16::from_le_bytes([tiff[directory], tiff[directory + 1]]);
    for i in 0..usize::from(entries) {
        let at = directory + 2 + 12 * i;
        let tag = u16::from_le_bytes([tiff[at], tiff[at + 1]]);
        // Width, height and, so that the number of strips stays right, rows per strip.
        if matches!(tag, 256 | 257 | 278) {
            tiff[at + 2..at + 4].copy_from_slice(&4_u16.to_le_bytes());
            tiff[at + 8..at + 12].copy_from_slice(&SIDE.to_le_bytes());
        }
    }
    vec![
        ("huge.jpg", jpeg),
        ("huge-progressive.jpg", progressive),
        ("huge.png", png),
        ("huge-bare.webp", webp),
        ("huge.webp", webp_with_picture),
        ("huge.tif", tiff),
    ]
}

#[test]
fn sixty_thousand_pixels_a_side_are_refused_at_once() {
    let dir = tempfile::tempdir().expect("temporary folder");
    for (name, bytes) in huge() {
        let file = save(&dir, name, &bytes);
        let before = most_memory();
        let start = Instant::now();
        let outcome = photo::read(&file, &config::Photo::default());
        check(&file, &outcome);
        let e = outcome.expect_err("too large");
        // A WebP with nothing in it may be refused for that first.
        if name != "huge-bare.webp" {
            assert_eq!(e.kind(), Kind::TooLarge, "{e}");
            assert!(e.to_string().contains("60000 x 60000"), "{e}");
        }
        assert!(
            start.elapsed() < Duration::from_millis(500),
            "{name} took long"
        );
        if let (Some(before), Some(after)) = (before, most_memory()) {
            // 60,000 x 60,000 x 3 bytes are 10,300 MiB.
            assert!(
                after - before < 1024 * 1024,
                "{name}: {before} to {after} KiB"
            );
        }
    }
}

/// The largest address space so far, in KiB, where the system tells.
fn most_memory() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmPeak:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any change to any good file, anywhere.
    #[test]
    fn any_damage_is_survived(
        which in 0_usize..6,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in prop::option::of(any::<prop::sample::Index>()),
    ) {
        let dir = tempfile::tempdir().expect("temporary folder");
        let (name, mut bytes) = good().swap_remove(which);
        for (at, value) in changes {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        let file = save(&dir, name, &bytes);
        check(&file, &photo::read(&file, &config::Photo::default()));
    }

    /// Any bytes behind the beginning of any format.
    #[test]
    fn any_bytes_are_survived(
        magic in prop::sample::select(vec![
            &b""[..], b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"II+\0\x08\0\0\0",
            b"RIFF\x40\0\0\0WEBPVP8X", b"RIFF\x40\0\0\0WEBPVP8 ", b"RIFF\x40\0\0\0WEBPVP8L",
            b"\0\0\0\x18ftyp",
        ]),
        rest in prop::collection::vec(any::<u8>(), 0..400),
    ) {
        let dir = tempfile::tempdir().expect("temporary folder");
        let file = save(&dir, "any.bin", &[magic, &rest].concat());
        check(&file, &photo::read(&file, &config::Photo::default()));
    }
}
