//! Damaged files, the same every time: cut short, bits turned, beginnings
//! overwritten, emptied, text, and headers that promise 60,000 x 60,000 pixels.

use std::{
    fs,
    io::Cursor,
    path::{Path, PathBuf},
};

use crate::{Result, rng::Rng};

const DAMAGED: usize = 300;
const GOOD: usize = 10;
const SIDE: u32 = 60_000;

/// Writes all files; how many there are, and the names of the good ones.
pub(super) fn make(dir: &Path, photos: &[PathBuf]) -> Result<(usize, Vec<String>)> {
    fs::create_dir_all(dir)?;
    let mut rng = Rng::new(300_300);
    let mut sources: Vec<(Vec<u8>, &str)> = Vec::new();
    for (i, photo) in photos.iter().skip(GOOD).step_by(7).take(12).enumerate() {
        if i % 3 == 0 {
            let picture = image::open(photo)?.thumbnail(320, 320);
            let mut png = Cursor::new(Vec::new());
            picture.write_to(&mut png, image::ImageFormat::Png)?;
            sources.push((png.into_inner(), "png"));
        } else {
            sources.push((fs::read(photo)?, "jpg"));
        }
    }
    let huge = [
        (huge_png(), "png"),
        (huge_jpeg(), "jpg"),
        (huge_webp(), "webp"),
        (huge_tiff(), "tif"),
    ];
    for i in 0..DAMAGED {
        let (source, ending) = &sources[rng.below(sources.len())];
        let mut bytes = source.clone();
        let (what, ending) = match i % 10 {
            0..=2 => {
                bytes.truncate(rng.below(bytes.len()));
                ("cut", *ending)
            }
            3..=5 => {
                for _ in 0..1 + rng.below(40) {
                    let at = rng.below(bytes.len());
                    bytes[at] ^= 1 << rng.below(8);
                }
                ("bits", *ending)
            }
            6 => {
                let at = rng.below(bytes.len() / 2);
                let end = (at + 64 + rng.below(4_000)).min(bytes.len());
                bytes[at..end].fill(0);
                ("zeros", *ending)
            }
            7 => {
                bytes = if rng.below(4) == 0 {
                    Vec::new()
                } else {
                    vec![0; 1 + rng.below(20_000)]
                };
                ("empty", *ending)
            }
            8 => {
                let line = "This was a note about a cup, and somebody renamed it.\n";
                bytes = line.repeat(1 + rng.below(50)).into_bytes();
                ("text", "jpg")
            }
            _ => {
                let (header, ending) = &huge[(i / 10) % huge.len()];
                bytes = header.clone();
                // No two files are the same file.
                bytes.extend((i as u32).to_le_bytes());
                ("huge", *ending)
            }
        };
        fs::write(dir.join(format!("{i:03}-{what}.{ending}")), bytes)?;
    }
    let mut good = Vec::new();
    for (k, photo) in photos.iter().take(GOOD).enumerate() {
        // Spread among the damaged ones.
        let name = format!("{:03}-good.jpg", k * DAMAGED / GOOD + 15);
        fs::copy(photo, dir.join(&name))?;
        good.push(name);
    }
    Ok((DAMAGED + GOOD, good))
}

fn huge_png() -> Vec<u8> {
    let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut header = SIDE.to_be_bytes().to_vec();
    header.extend(SIDE.to_be_bytes());
    header.extend([8, 2, 0, 0, 0]);
    // An empty zlib stream: the pixels never come.
    let chunks: [(&[u8], &[u8]); 3] = [
        (b"IHDR", &header),
        (b"IDAT", &[0x78, 0x9c, 0x03, 0, 0, 0, 0, 1]),
        (b"IEND", &[]),
    ];
    for (kind, data) in chunks {
        png.extend((data.len() as u32).to_be_bytes());
        let checked = [kind, data].concat();
        png.extend(&checked);
        png.extend(crc32(&checked).to_be_bytes());
    }
    png
}

fn crc32(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for byte in bytes {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = (crc >> 1) ^ (0xedb8_8320 & (crc & 1).wrapping_neg());
        }
    }
    !crc
}

fn huge_jpeg() -> Vec<u8> {
    let side = (SIDE as u16).to_be_bytes();
    let mut jpeg = vec![0xff, 0xd8];
    // One quantisation table of ones.
    jpeg.extend([0xff, 0xdb, 0, 67, 0]);
    jpeg.extend([1; 64]);
    jpeg.extend([
        0xff, 0xc0, 0, 11, 8, side[0], side[1], side[0], side[1], 1, 1, 0x11, 0,
    ]);
    // A Huffman table of one code each for DC and AC.
    for class in [0x00, 0x10] {
        jpeg.extend([0xff, 0xc4, 0, 20, class, 1]);
        jpeg.extend([0; 15]);
        jpeg.push(0);
    }
    jpeg.extend([0xff, 0xda, 0, 8, 1, 1, 0, 0, 63, 0]);
    jpeg.extend([0; 64]);
    jpeg.extend([0xff, 0xd9]);
    jpeg
}

fn huge_webp() -> Vec<u8> {
    let mut chunk = b"VP8X".to_vec();
    chunk.extend(10u32.to_le_bytes());
    chunk.extend([0; 4]);
    chunk.extend(&(SIDE - 1).to_le_bytes()[..3]);
    chunk.extend(&(SIDE - 1).to_le_bytes()[..3]);
    // A picture inside, cut off after its first bytes.
    chunk.extend(b"VP8L");
    chunk.extend(6u32.to_le_bytes());
    chunk.extend([0x2f, 0xff, 0xff, 0xff, 0x0f, 0]);
    let mut webp = b"RIFF".to_vec();
    webp.extend((4 + chunk.len() as u32).to_le_bytes());
    webp.extend(b"WEBP");
    webp.extend(chunk);
    webp
}

fn huge_tiff() -> Vec<u8> {
    let mut tiff = b"II*\0".to_vec();
    tiff.extend(8u32.to_le_bytes());
    // Width, height, bits, compression, colour, strip, samples, rows, length.
    let entries: [(u16, u32); 9] = [
        (256, SIDE),
        (257, SIDE),
        (258, 8),
        (259, 1),
        (262, 1),
        (273, 200),
        (277, 1),
        (278, SIDE),
        (279, 64),
    ];
    tiff.extend((entries.len() as u16).to_le_bytes());
    for (tag, value) in entries {
        tiff.extend(tag.to_le_bytes());
        tiff.extend(4u16.to_le_bytes());
        tiff.extend(1u32.to_le_bytes());
        tiff.extend(value.to_le_bytes());
    }
    tiff.resize(264, 0);
    tiff
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crc_as_published() {
        // The check value of CRC-32.
        assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    }

    #[test]
    fn a_huge_header_says_what_it_should() {
        let reader = image::ImageReader::new(Cursor::new(huge_png()))
            .with_guessed_format()
            .unwrap();
        assert_eq!(reader.into_dimensions().unwrap(), (SIDE, SIDE));
        let reader = image::ImageReader::new(Cursor::new(huge_jpeg()))
            .with_guessed_format()
            .unwrap();
        assert_eq!(reader.into_dimensions().unwrap(), (SIDE, SIDE));
    }
}
