//! The decoration of the piece in its five parts, and what repeats round it.

use super::{
    colour,
    html::{self, escape},
};
use crate::{
    identify::reading::{Face, PieceReading},
    report::words,
};

/// The section of the decoration: each part, and the colours with their areas.
pub(super) fn section(out: &mut String, piece: &PieceReading) {
    let decoration = &piece.decoration;
    if words::decoration_line(decoration).is_none() {
        return;
    }
    out.push_str("<section class=\"tones\"><h3>Decoration</h3>\n<table class=\"limits\"><tbody>\n");
    let mut row = |name: &str, said: &str| {
        out.push_str(&format!(
            "<tr><th scope=\"row\">{}</th><td><bdi>{}</bdi></td></tr>\n",
            html::capital(name),
            escape(said)
        ));
    };
    for (name, said) in words::decoration(decoration) {
        row(name, &said);
    }
    if let Some(border) = &decoration.border {
        row("repeats", &words::border(border));
    }
    out.push_str("</tbody></table>\n");
    if !decoration.colours.is_empty() {
        out.push_str("<ul>\n");
        for found in &decoration.colours {
            let swatch = &found.swatch;
            colour::tone(out, "", swatch.rgb, swatch.lab, swatch.share, &found.name);
        }
        out.push_str("</ul>\n");
    }
    let not_seen = match decoration.seen.as_slice() {
        [Face::Outside] => "The inside was not seen. ",
        [Face::Inside] => "The outside was not seen. ",
        _ => "",
    };
    out.push_str(&format!(
        "<p class=\"small\">{not_seen}Decoration is what is not of its side's ground colour. Prints, decals and painting look alike in a photo, and gold or platinum is not told from other colours.</p>\n</section>\n"
    ));
}
