//! The three facts that are taken from a file's EXIF. Everything else in it
//! (position, serial numbers, names) is left where it is.

use exif::{Exif, In, Tag, Value};
use image::metadata::Orientation;

/// What a picture's EXIF says about how to show it and when it was taken.
#[derive(Debug, PartialEq)]
pub(super) struct Facts {
    /// How the pixels must be turned to stand upright.
    pub(super) orientation: Orientation,
    /// `YYYY-MM-DDThh:mm:ss`, the camera's own clock.
    pub(super) captured: Option<String>,
    /// The camera says that the pixels are Adobe RGB. Many cameras say so here
    /// and embed no profile.
    pub(super) adobe_rgb: bool,
}

impl Default for Facts {
    fn default() -> Self {
        Self {
            orientation: Orientation::NoTransforms,
            captured: None,
            adobe_rgb: false,
        }
    }
}

/// Reads the facts from an EXIF block (or a TIFF file, which is laid out the
/// same). What is damaged or absent counts as not said.
pub(super) fn facts(mut block: Vec<u8>) -> Facts {
    // WebP and PNG files by some programs carry JPEG's prefix too.
    if block.starts_with(b"Exif\0\0") {
        block.drain(..6);
    }
    let mut reader = exif::Reader::new();
    reader.continue_on_error(true);
    let Ok(exif) = reader
        .read_raw(block)
        .or_else(|e| e.distill_partial_result(|_| {}))
    else {
        return Facts::default();
    };
    Facts {
        orientation: exif
            .get_field(Tag::Orientation, In::PRIMARY)
            .and_then(|f| f.value.get_uint(0))
            .and_then(|n| u8::try_from(n).ok())
            .and_then(Orientation::from_exif)
            .unwrap_or(Orientation::NoTransforms),
        captured: text(&exif, Tag::DateTimeOriginal).and_then(iso_date),
        // "R03" marks DCF's optional colour space, which is Adobe RGB (CIPA
        // DC-009, DCF 2.0).
        adobe_rgb: text(&exif, Tag::InteroperabilityIndex).is_some_and(|t| t.starts_with(b"R03")),
    }
}

fn text(exif: &Exif, tag: Tag) -> Option<&[u8]> {
    match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(lines) => lines.first().map(Vec::as_slice),
        _ => None,
    }
}

/// EXIF writes `YYYY:MM:DD HH:MM:SS`; cameras whose clock was never set write
/// blanks or zeros, which is no date.
fn iso_date(written: &[u8]) -> Option<String> {
    let t = exif::DateTime::from_ascii(written).ok()?;
    let possible = t.year > 0
        && (1..=12).contains(&t.month)
        && (1..=31).contains(&t.day)
        && t.hour < 24
        && t.minute < 60
        && t.second <= 60;
    possible.then(|| {
        format!(
            "{:04}-{:02}-{:02}T{:02}:{:02}:{:02}",
            t.year, t.month, t.day, t.hour, t.minute, t.second
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_date_that_can_be_is_one() {
        // EXIF 2.3, 4.6.5: "YYYY:MM:DD HH:MM:SS", 24-hour; unknown is blanks.
        assert_eq!(
            iso_date(b"2023:07:09 08:05:01").as_deref(),
            Some("2023-07-09T08:05:01")
        );
        for none in [
            &b"    :  :     :  :  "[..],
            b"0000:00:00 00:00:00",
            b"2023:13:09 08:05:01",
            b"2023:07:09 25:05:01",
            b"",
            b"yesterday",
        ] {
            assert_eq!(iso_date(none), None, "{}", none.escape_ascii());
        }
    }

    #[test]
    fn rubbish_says_nothing() {
        assert_eq!(facts(vec![]), Facts::default());
        assert_eq!(
            facts(b"Exif\0\0II*\0\xff\xff\xff\xff".to_vec()),
            Facts::default()
        );
    }
}
