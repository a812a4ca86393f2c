//! What one piece resembles, level by level.

use super::{
    anchor, colour, decoration,
    html::{self, escape},
    matches, together,
};
use crate::{
    identify::{
        cautions,
        reading::{Candidate, Certainty, PieceReading},
    },
    report::{
        Exhibit,
        words::{self, Level},
    },
};

/// Labels shown below the answer of a level.
const SHOWN: usize = 3;

/// The section of one piece.
pub(super) fn piece(
    out: &mut String,
    photo: usize,
    number: usize,
    several: bool,
    piece: &PieceReading,
    exhibit: Option<&Exhibit>,
) {
    out.push_str(&format!(
        "<article class=\"piece\" id=\"{}\">\n",
        anchor(photo, Some(number))
    ));
    let title = if several {
        format!("Piece {number}")
    } else {
        "The piece".to_owned()
    };
    out.push_str(&format!(
        "<header class=\"label\"><div><h3>{title}</h3><p class=\"small\">{}; {}</p></div>",
        html::capital(words::view(piece.view)),
        place(piece)
    ));
    crops(out, exhibit);
    out.push_str("</header>\n<div class=\"levels\">\n");
    for level in words::levels(piece) {
        self::level(out, &level);
    }
    out.push_str(concat!(
        "</div>\n<p class=\"small\">Share: how much of the evidence points to a label. ",
        "What is missing to 100 % points to other labels.</p>\n"
    ));
    together::joined(out, piece);
    together::look_alikes(out, piece, exhibit);
    decoration::section(out, piece);
    colour::section(out, piece);
    colour::zones(out, piece);
    let advice: Vec<&str> = piece.advice.iter().map(|a| &**a).collect();
    html::list(out, "advice", "To be surer", &advice);
    matches::matches(out, piece, exhibit);
    own_cautions(out, piece);
    out.push_str("</article>\n");
}

fn place(piece: &PieceReading) -> String {
    let [left, top, width, height] = piece.box_px;
    format!("{width} × {height} px at {left}, {top} of the photo")
}

fn crops(out: &mut String, exhibit: Option<&Exhibit>) {
    for sight in exhibit.iter().flat_map(|e| &e.sights) {
        if let Some(source) = html::jpeg(&sight.crop) {
            out.push_str(&format!(
                "<img class=\"crop\" src=\"{source}\" width=\"{}\" height=\"{}\" alt=\"The piece alone, cut out of {}\">",
                sight.crop.width(),
                sight.crop.height(),
                escape(&sight.name)
            ));
        }
    }
}

/// The standing cautions are said once for all; here a line leads to them, and
/// what this piece has beyond them is said in full.
fn own_cautions(out: &mut String, piece: &PieceReading) {
    let own: Vec<&str> = piece
        .cautions
        .iter()
        .map(|c| &**c)
        .filter(|c| !cautions::STANDING.contains(c))
        .collect();
    html::list(out, "warnings", "Cautions for this piece", &own);
    out.push_str(&format!(
        "<p class=\"small\">{} <a href=\"#cautions\">All cautions and figures</a></p>\n",
        escape(cautions::SHORT)
    ));
}

fn level(out: &mut String, level: &Level<'_>) {
    out.push_str(&format!(
        "<section class=\"level\">\n<h4>{} <span class=\"meaning\">{}</span></h4>\n",
        html::capital(level.name),
        level.meaning
    ));
    let answers = level.answers();
    let answer = if level.candidates.is_empty() {
        "Nothing to compare with".to_owned()
    } else if answers.is_empty() {
        html::capital(level.unanswered())
    } else {
        match level.left_out() {
            0 => labels(answers),
            n => format!("{} <i>or</i> {n} more", labels(answers)),
        }
    };
    out.push_str(&format!("<p class=\"answer\">{answer}</p>\n"));
    out.push_str(&format!(
        "<p class=\"sure\">{}<b>{}</b>: {}</p>\n",
        dots(level.certainty),
        words::certainty(level.certainty),
        if level.candidates.is_empty() {
            "the set has no label on this level, or the photo does not show it"
        } else {
            words::certainty_phrase(level.certainty)
        }
    ));
    if !level.candidates.is_empty() {
        out.push_str(concat!(
            "<table class=\"labels\"><thead><tr><th scope=\"col\">Label</th>",
            "<th scope=\"col\">Distance</th><th scope=\"col\">Share</th></tr></thead>\n<tbody>\n"
        ));
        for candidate in level.candidates.iter().take(SHOWN.max(answers.len())) {
            out.push_str(&format!(
                "<tr><th scope=\"row\"><bdi>{}</bdi></th><td>{}</td><td><span class=\"share\">{}<span class=\"num\">{}</span></span></td></tr>\n",
                escape(&candidate.label),
                words::distance(candidate.distance),
                html::bar(candidate.probability, None),
                escape(&words::percent(candidate.probability)),
            ));
        }
        let none = level.settled.unknown;
        out.push_str(&format!(
            "<tr><th scope=\"row\"><i>not in the set</i></th><td>–</td><td><span class=\"share\">{}<span class=\"num\">{}</span></span></td></tr>\n",
            html::bar(none, None),
            escape(&words::percent(none)),
        ));
        out.push_str(&format!(
            "</tbody></table>\n<p class=\"small\">{}</p>\n",
            escape(&level.basis())
        ));
    }
    out.push_str("</section>\n");
}

/// A level in one cell of the summary.
pub(super) fn brief(level: &Level<'_>) -> String {
    let answers = level.answers();
    let answer = match (answers, level.candidates) {
        (_, []) => "–".to_owned(),
        ([], _) => level.unanswered().to_owned(),
        (some, _) => labels(some),
    };
    format!(
        "{answer} <span class=\"sure\">{}{}</span>",
        dots(level.certainty),
        words::certainty(level.certainty)
    )
}

fn labels(candidates: &[Candidate]) -> String {
    let labels: Vec<String> = candidates
        .iter()
        .map(|c| format!("<bdi>{}</bdi>", escape(&c.label)))
        .collect();
    labels.join(" <i>or</i> ")
}

/// Three dots, as many filled as a level is settled; the word stands beside them.
fn dots(certainty: Certainty) -> String {
    let filled = match certainty {
        Certainty::Firm => 3,
        Certainty::Likely => 2,
        Certainty::Several => 1,
        Certainty::Unknown => 0,
    };
    let mut svg = "<svg class=\"dots\" width=\"32\" height=\"10\" viewBox=\"0 0 32 10\" aria-hidden=\"true\">".to_owned();
    for i in 0..3 {
        let class = if i < filled { "on" } else { "off" };
        svg.push_str(&format!(
            "<circle class=\"{class}\" cx=\"{}\" cy=\"5\" r=\"3.5\"/>",
            5 + 11 * i
        ));
    }
    svg + "</svg>"
}
