//! The levels taken together, and labels that may be taken for each other.

use super::html::{self, escape};
use crate::{
    identify::reading::{LookAlike, PieceReading},
    report::{Exhibit, words},
};

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
    for pair in &piece.look_alikes {
        let [a, b] = &pair.labels;
        out.push_str(&format!(
            "<article class=\"match\">\n<h4><bdi>{}</bdi> <i>or</i> <bdi>{}</bdi> <span class=\"meaning\">{}</span></h4>\n",
            escape(a),
            escape(b),
            escape(&pair.level)
        ));
        pictures(out, pair, exhibit);
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

fn pictures(out: &mut String, pair: &LookAlike, exhibit: Option<&Exhibit>) {
    let mut figures = String::new();
    for ((label, piece), rank) in pair.labels.iter().zip(&pair.pieces).zip(pair.ranks) {
        let sample = rank
            .and_then(|rank| rank.checked_sub(1))
            .and_then(|at| exhibit?.matches.get(at));
        if let Some(source) = sample.and_then(|sample| html::thumbnail(&sample.thumbnail)) {
            figures.push_str(&format!(
                "<figure class=\"thumb\"><img src=\"{source}\" alt=\"{0}, a piece of the set\"><figcaption><bdi>{1}</bdi>: <bdi>{0}</bdi></figcaption></figure>\n",
                escape(piece),
                escape(label)
            ));
        }
    }
    if !figures.is_empty() {
        out.push_str(&format!("<div class=\"parts\">\n{figures}</div>\n"));
    }
}
