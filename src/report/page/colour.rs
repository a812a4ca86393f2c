//! The colours of the piece, and how far a ground of the set is from its own.

use super::html::escape;
use crate::{
    colour::Difference,
    identify::reading::{ColourReading, Face, PieceReading, Zone},
    report::words,
};

/// The section of the piece's own colours; nothing where none were read.
pub(super) fn section(out: &mut String, piece: &PieceReading) {
    let Some(colour) = &piece.colour else { return };
    out.push_str("<section class=\"tones\"><h3>Colours</h3>\n<ul>\n");
    let ground = &colour.ground;
    tone(
        out,
        "ground",
        ground.rgb,
        ground.lab,
        ground.share,
        &ground.name,
    );
    for other in &colour.decoration {
        let swatch = &other.swatch;
        tone(
            out,
            "decoration",
            swatch.rgb,
            swatch.lab,
            swatch.share,
            &other.name,
        );
    }
    out.push_str(&format!(
        "</ul>\n<p class=\"small\">{} {}</p>\n</section>\n",
        escape(words::balance(colour.balance)),
        escape(&doubt(colour))
    ));
}

fn doubt(colour: &ColourReading) -> String {
    let doubt = colour.ground.doubt;
    format!(
        "The ground's lightness may be off by {:.0}, its hue and chroma by {:.1} (L*, and a* and b* at the lightness of a grey card; one standard deviation).",
        doubt.lightness, doubt.chroma
    )
}

pub(super) fn tone(
    out: &mut String,
    kind: &str,
    rgb: [u8; 3],
    lab: [f32; 3],
    share: f32,
    name: &str,
) {
    let [r, g, b] = rgb;
    // Adding zero turns a negative zero into a plain one.
    let [l, a, bb] = lab.map(|v| if v.is_finite() { v.round() + 0.0 } else { 0.0 });
    out.push_str(&format!(
        concat!(
            "<li><svg class=\"chip\" width=\"28\" height=\"28\" viewBox=\"0 0 10 10\" aria-hidden=\"true\">",
            "<rect width=\"10\" height=\"10\" fill=\"#{:02x}{:02x}{:02x}\"/></svg>",
            "<span><b>{}</b> {} <span class=\"small\">{} of the surface, L* {} a* {} b* {}</span></span></li>\n"
        ),
        r,
        g,
        b,
        kind,
        escape(name),
        escape(&words::percent(f64::from(share))),
        l,
        a,
        bb
    ));
}

/// The zones of the surface with their grounds; nothing where none were told.
pub(super) fn zones(out: &mut String, piece: &PieceReading) {
    let Some(surface) = &piece.surface else {
        return;
    };
    out.push_str("<section class=\"tones\"><h3>Zones</h3>\n");
    let treatment = words::treatment(&piece.treatment)
        .unwrap_or_else(|| "unknown: the photo does not tell it".to_owned());
    out.push_str(&format!("<p>Treatment {}.</p>\n<ul>\n", escape(&treatment)));
    for seen in &surface.zones {
        let Some(ground) = &seen.patch.ground else {
            continue;
        };
        let side = match seen.face {
            Some(Face::Outside) => " outside",
            Some(Face::Inside) if seen.zone != Zone::Inside => " inside",
            _ => "",
        };
        let name = format!("{}{side}", seen.zone.name());
        let share = seen.patch.share;
        tone(out, &name, ground.rgb, ground.lab, share, &ground.name);
    }
    out.push_str(&format!(
        "</ul>\n<p class=\"small\">The ground colour of each zone, {}; highlights left out.</p>\n</section>\n",
        words::view(surface.view)
    ));
}

/// How far a match's ground is from the piece's.
pub(super) fn difference(out: &mut String, ground: Option<&Difference>) {
    if let Some(ground) = ground {
        out.push_str(&format!(
            "<p class=\"small ground\">Ground colour: {}.</p>\n",
            escape(&words::difference(ground))
        ));
    }
}
