//! The levels taken together, and labels that may be taken for each other.

use super::{
    html::{self, escape},
    matches,
};
use crate::{
    identify::reading::{LookAlike, PieceReading},
    report::{Exhibit, Sample, words},
};

/// Levels whose labels are told apart by the outline.
const BY_OUTLINE: [&str; 2] = ["form", "shape"];

/// What the set knows of the labels together.
pub(super) fn joined(out: &mut String, piece: &PieceReading) {
    let said: Vec<String> = words::joined(&piece.joined)
        .into_iter()
        .map(|(what, said)| match what {
            "joined" | "note" => said,
            what => format!("{what} {said}"),
        })
        .collect();
    let said: Vec<&str> = said.iter().map(String::as_str).collect();
    html::list(out, "advice", "Taken together", &said);
}

/// Each pair side by side, with what parts it.
pub(super) fn look_alikes(out: &mut String, piece: &PieceReading, exhibit: Option<&Exhibit>) {
    if piece.look_alikes.is_empty() {
        return;
    }
    out.push_str(
        "<section class=\"matches\"><h3>May be taken for each other</h3>\n<p class=\"small\">The nearest piece of each label.</p>\n",
    );
    let none = <[Sample; 2]>::default();
    for (i, pair) in piece.look_alikes.iter().enumerate() {
        let [a, b] = &pair.labels;
        out.push_str(&format!(
            "<article class=\"match\">\n<h4><bdi>{}</bdi> <i>or</i> <bdi>{}</bdi> <span class=\"meaning\">{}</span></h4>\n",
            escape(a),
            escape(b),
            escape(&pair.level)
        ));
        let samples = exhibit.and_then(|exhibit| exhibit.look_alikes.get(i));
        pictures(out, pair, samples.unwrap_or(&none));
        if let Some(note) = &pair.note {
            out.push_str(&format!(
                "<p class=\"said\">{}</p><p class=\"small\">Noted by <bdi>{}</bdi>, {}</p>\n",
                escape(&note.text),
                escape(&note.who),
                escape(&note.at)
            ));
        }
        let apart: Vec<String> = pair
            .channels
            .iter()
            .map(|channel| words::apart(channel, &pair.labels))
            .collect();
        if apart.is_empty() {
            out.push_str("<p class=\"small\">No measure sees both.</p>\n");
        } else {
            out.push_str(&format!(
                "<p class=\"small\">{}.</p>\n",
                escape(&html::capital(&apart.join("; ")))
            ));
        }
        out.push_str("</article>\n");
    }
    out.push_str("</section>\n");
}

/// Both pieces, and for what is told by the outline where they part.
fn pictures(out: &mut String, pair: &LookAlike, samples: &[Sample; 2]) {
    let mut figures = String::new();
    let names = [0, 1].map(|i| {
        let (label, piece) = (escape(&pair.labels[i]), escape(&pair.pieces[i]));
        if let Some(source) = html::thumbnail(&samples[i].thumbnail) {
            figures.push_str(&format!(
                "<figure class=\"thumb\"><img src=\"{source}\" alt=\"{piece}, a piece of the set\"><figcaption><bdi>{label}</bdi>: <bdi>{piece}</bdi></figcaption></figure>\n"
            ));
        }
        format!("<bdi>{label}</bdi>")
    });
    if BY_OUTLINE.contains(&&*pair.level) {
        let label = format!(
            "The outline of {} laid over that of {}",
            pair.pieces[0], pair.pieces[1]
        );
        matches::outlines(
            &mut figures,
            [&samples[0].outline, &samples[1].outline],
            [&names[0], &names[1]],
            &label,
        );
    }
    if !figures.is_empty() {
        out.push_str(&format!("<div class=\"parts\">\n{figures}</div>\n"));
    }
}
