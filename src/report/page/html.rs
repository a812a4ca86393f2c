//! The pieces of markup that every part of the page uses.

use std::io::Cursor;

use base64::{Engine as _, engine::general_purpose::STANDARD};
use image::{
    ExtendedColorType, GrayImage, ImageEncoder as _, ImageFormat, ImageReader, Limits, RgbImage,
    codecs::{jpeg::JpegEncoder, png::PngEncoder},
};

use crate::report::words;

/// Quality of the JPEGs on the page: traces of compression stay below what a
/// screen shows at this size.
const QUALITY: u8 = 85;
/// Largest side of a thumbnail that is decoded to take its metadata out.
const THUMBNAIL_PX: u32 = 4096;

/// Text for an element or a quoted attribute.
pub(in crate::report) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in words::plain(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// A path for an element, to be broken after its slashes.
pub(super) fn path(path: &str) -> String {
    escape(path).replace('/', "/<wbr>")
}

/// The word with its first letter in upper case.
pub(in crate::report) fn capital(word: &str) -> String {
    let mut chars = word.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(chars).collect()
    })
}

/// A titled list of remarks, or nothing if there are none.
pub(super) fn list(out: &mut String, class: &str, title: &str, texts: &[&str]) {
    if texts.is_empty() {
        return;
    }
    out.push_str(&format!("<div class=\"{class}\"><h3>{title}</h3><ul>\n"));
    for text in texts {
        out.push_str(&format!("<li>{}</li>\n", sentence(text)));
    }
    out.push_str("</ul></div>\n");
}

/// A remark, which may be a bare clause, written as a sentence.
fn sentence(text: &str) -> String {
    let mut said = escape(&capital(text.trim()));
    if !said.ends_with(['.', '!', '?']) {
        said.push('.');
    }
    said
}

/// A horizontal bar; its number stands beside it as text. `value` and `mark` are
/// shares of the full length. Like every small drawing it has a size of its own,
/// for readers that drop the style sheet.
pub(super) fn bar(value: f64, mark: Option<f64>) -> String {
    let length = |v: f64| {
        if v.is_finite() {
            v.clamp(0.0, 1.0) * 100.0
        } else {
            0.0
        }
    };
    let mark = mark.map_or_else(String::new, |m| {
        let x = length(m);
        format!("<path class=\"mark\" d=\"M{x:.1} 0V10\"/>")
    });
    format!(
        "<svg class=\"bar\" width=\"100\" height=\"8\" viewBox=\"0 0 100 10\" preserveAspectRatio=\"none\" aria-hidden=\"true\"><rect class=\"track\" width=\"100\" height=\"10\"/><rect class=\"fill\" width=\"{:.1}\" height=\"10\"/>{mark}</svg>",
        length(value)
    )
}

/// A picture as a data URI; `None` if it has no pixels.
pub(super) fn jpeg(picture: &RgbImage) -> Option<String> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, QUALITY)
        .write_image(
            picture,
            picture.width(),
            picture.height(),
            ExtendedColorType::Rgb8,
        )
        .ok()?;
    Some(data("image/jpeg", &bytes))
}

/// A mask as a data URI; `None` if it has no pixels.
pub(super) fn png(mask: &GrayImage) -> Option<String> {
    let mut bytes = Vec::new();
    PngEncoder::new(&mut bytes)
        .write_image(mask, mask.width(), mask.height(), ExtendedColorType::L8)
        .ok()?;
    Some(data("image/png", &bytes))
}

/// A thumbnail as a data URI, without whatever else its file says: a page is
/// sent on, and positions, serial numbers and owners are nobody's business.
pub(super) fn thumbnail(file: &[u8]) -> Option<String> {
    if is_bare(file)? {
        return Some(data("image/jpeg", file));
    }
    let mut reader = ImageReader::with_format(Cursor::new(file), ImageFormat::Jpeg);
    let mut limits = Limits::default();
    limits.max_image_width = Some(THUMBNAIL_PX);
    limits.max_image_height = Some(THUMBNAIL_PX);
    reader.limits(limits);
    jpeg(&reader.decode().ok()?.to_rgb8())
}

/// Whether a JPEG holds nothing but its picture; `None` if it is no JPEG.
fn is_bare(file: &[u8]) -> Option<bool> {
    let mut rest = file.strip_prefix(&[0xff, 0xd8])?;
    loop {
        let [0xff, marker, high, low, ..] = *rest else {
            return None;
        };
        match marker {
            // The picture itself: what follows is coded, up to the end.
            0xda => return Some(file.ends_with(&[0xff, 0xd9])),
            // Application data beside the plain header (E0) and the colour
            // transform (EE), and comments.
            0xe1..=0xed | 0xef | 0xfe => return Some(false),
            _ => {}
        }
        let length = usize::from(u16::from_be_bytes([high, low]));
        rest = rest.get(2 + length..)?;
    }
}

fn data(kind: &str, bytes: &[u8]) -> String {
    format!("data:{kind};base64,{}", STANDARD.encode(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_of_a_text_can_become_markup() {
        assert_eq!(
            escape("<script>\"'&\u{0}\u{202e}"),
            "&lt;script&gt;&quot;&#39;&amp;\u{fffd}"
        );
    }

    #[test]
    fn metadata_of_thumbnails_is_taken_out() {
        let uri = jpeg(&RgbImage::new(8, 8)).expect("encodes");
        let bare = STANDARD
            .decode(uri.trim_start_matches("data:image/jpeg;base64,"))
            .expect("is base64");
        assert_eq!(thumbnail(&bare), Some(uri));

        let mut tagged = bare[..2].to_vec();
        tagged.extend([0xff, 0xe1, 0, 12]);
        tagged.extend(b"GPS 51.5 N");
        tagged.extend(&bare[2..]);
        let cleaned = thumbnail(&tagged).expect("decodes");
        let cleaned = STANDARD
            .decode(cleaned.trim_start_matches("data:image/jpeg;base64,"))
            .expect("is base64");
        assert!(!cleaned.windows(3).any(|w| w == b"GPS"));
        assert_eq!(is_bare(&cleaned), Some(true));

        assert_eq!(thumbnail(b"<svg onload=x>"), None);
        assert_eq!(thumbnail(&[0xff, 0xd8, 0xff, 0xe0, 0xff]), None);
    }
}
