//! One self-contained page: no script, nothing loaded from anywhere, every
//! picture inside it.

mod colour;
mod decoration;
mod html;
mod matches;
mod pieces;
mod stage;
mod together;
mod verdict;

use base64::{Engine as _, engine::general_purpose::STANDARD};
use sha2::{Digest, Sha256};

pub(in crate::report) use html::{capital, escape};
pub use pieces::{CutOut, Lot, PiecesPage};

use crate::{
    identify::{
        cautions,
        reading::{PieceReading, Reading, Status},
    },
    report::{Exhibit, words},
};

/// The title of a page of readings that has none of its own.
const TITLE: &str = "What these pieces resemble";

const STYLE: &str = include_str!("page/style.css");

/// What stands at the head of the page.
#[derive(Clone, Debug, Default)]
pub struct Heading {
    /// The title; a general one where empty.
    pub title: String,
    /// What the reference set is called; left out where empty.
    pub set: String,
    /// When and with what the page was made, as one line; left out where empty.
    pub made: String,
}

/// The page for `readings`. `exhibits[i][j]` holds the pictures of piece `j` of
/// reading `i`; those that are absent are left out.
pub fn page(readings: &[Reading], exhibits: &[Vec<Exhibit>], heading: &Heading) -> String {
    let mut out = String::new();
    head(&mut out, title(heading, TITLE));
    out.push_str("<body>\n");
    intro(&mut out, readings, heading);
    out.push_str("<main>\n");
    summary(&mut out, readings);
    for (i, reading) in readings.iter().enumerate() {
        let pictures = exhibits.get(i).map_or(&[][..], Vec::as_slice);
        photo(&mut out, i + 1, reading, pictures);
    }
    out.push_str("</main>\n");
    foot(&mut out, heading);
    out
}

fn title<'a>(heading: &'a Heading, general: &'a str) -> &'a str {
    if heading.title.trim().is_empty() {
        general
    } else {
        &heading.title
    }
}

/// Everything before the body, with the style sheet that all pages share.
pub(in crate::report) fn head(out: &mut String, title: &str) {
    // The one style sheet is allowed by its hash, so that style smuggled in by
    // a label would have no effect even if escaping failed.
    let hash = STANDARD.encode(Sha256::digest(STYLE));
    out.push_str(&format!(
        concat!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n",
            "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; ",
            "img-src data:; style-src 'sha256-{hash}'; base-uri 'none'; form-action 'none'\">\n",
            "<meta name=\"referrer\" content=\"no-referrer\">\n",
            "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n",
            "<meta name=\"color-scheme\" content=\"light dark\">\n",
            "<title>{title}</title>\n<style>{style}</style>\n</head>\n"
        ),
        hash = hash,
        title = escape(title),
        style = STYLE,
    ));
}

fn intro(out: &mut String, readings: &[Reading], heading: &Heading) {
    let set = if heading.set.trim().is_empty() {
        "a reference set".to_owned()
    } else {
        format!(
            "the reference set <b><bdi>{}</bdi></b>",
            escape(&heading.set)
        )
    };
    out.push_str(&format!(
        concat!(
            "<header class=\"top\">\n<p class=\"kicker\">footring</p>\n<h1>{title}</h1>\n",
            "<p class=\"lead\">Each photo was compared with {set}. This page says what a piece ",
            "resembles in that set and how closely; it does not say what a piece is.</p>\n",
            "<p class=\"tally\">{tally}</p>\n",
            "<p class=\"note\"><strong>Take care.</strong> {short} ",
            "<a href=\"#cautions\">All cautions and figures</a></p>\n</header>\n"
        ),
        title = escape(title(heading, TITLE)),
        set = set,
        tally = tally(readings),
        short = escape(cautions::SHORT),
    ));
}

fn tally(readings: &[Reading]) -> String {
    let pieces = readings.iter().map(|r| r.pieces.len()).sum();
    let failed = readings.iter().filter(|r| failed(r)).count();
    let mut text = format!(
        "{}, {} read",
        words::counted(readings.len(), "photo"),
        words::counted(pieces, "piece")
    );
    if failed > 0 {
        text += &format!(
            ", {} that could not be read",
            words::counted(failed, "photo")
        );
    }
    text + "."
}

fn failed(reading: &Reading) -> bool {
    reading.status == Status::Failed
}

/// Identifier of a photo's or a piece's section.
fn anchor(photo: usize, piece: Option<usize>) -> String {
    match piece {
        None => format!("photo-{photo}"),
        Some(piece) => format!("photo-{photo}-piece-{piece}"),
    }
}

/// The roles are written out because a narrow screen shows the rows as blocks,
/// and a table that is laid out otherwise is no table to a screen reader.
fn summary(out: &mut String, readings: &[Reading]) {
    out.push_str("<section aria-labelledby=\"summary\">\n<h2 id=\"summary\">At a glance</h2>\n");
    out.push_str(&format!("<p>{}</p>\n", escape(words::DISTANCE)));
    out.push_str(concat!(
        "<table class=\"summary\" role=\"table\">\n<thead role=\"rowgroup\"><tr role=\"row\"><th scope=\"col\">Photo</th>",
        "<th scope=\"col\">Form</th><th scope=\"col\">Shape</th>",
        "<th scope=\"col\">Pattern</th><th scope=\"col\">Glaze</th>",
        "<th scope=\"col\">Nearest piece</th><th scope=\"col\">Remarks</th></tr></thead>\n<tbody role=\"rowgroup\">\n"
    ));
    for (i, reading) in readings.iter().enumerate() {
        if reading.pieces.is_empty() {
            let said = if failed(reading) {
                "could not be read"
            } else {
                "no piece was found"
            };
            out.push_str(&format!(
                "<tr role=\"row\">{}<td role=\"cell\" colspan=\"6\" class=\"unread\">{said}</td></tr>\n",
                row_head(i + 1, None, reading)
            ));
        }
        for (j, piece) in reading.pieces.iter().enumerate() {
            let number = (reading.pieces.len() > 1).then_some(j + 1);
            out.push_str(&format!(
                "<tr role=\"row\">{}",
                row_head(i + 1, number, reading)
            ));
            for level in words::levels(piece) {
                out.push_str(&format!(
                    "<td role=\"cell\" data-label=\"{}\"><div>{}</div></td>",
                    html::capital(level.name),
                    verdict::brief(&level)
                ));
            }
            let nearest = piece.matches.first().map_or_else(
                || "–".to_owned(),
                |m| {
                    format!(
                        "<bdi>{}</bdi> {}",
                        escape(&m.piece),
                        words::distance(m.distance)
                    )
                },
            );
            out.push_str(&format!(
                "<td role=\"cell\" data-label=\"Nearest piece\"><div>{nearest}</div></td><td role=\"cell\" data-label=\"Remarks\"><div>{}</div></td></tr>\n",
                remarks(reading, piece)
            ));
        }
    }
    out.push_str("</tbody>\n</table>\n</section>\n");
}

fn row_head(photo: usize, piece: Option<usize>, reading: &Reading) -> String {
    let name = html::path(&reading.photo);
    let which = piece.map_or_else(String::new, |n| format!(", piece {n}"));
    format!(
        "<th role=\"rowheader\" scope=\"row\"><a href=\"#{}\"><bdi>{name}</bdi></a>{which}</th>",
        anchor(photo, piece)
    )
}

fn remarks(reading: &Reading, piece: &PieceReading) -> String {
    let count = |n: usize, one: &str, many: &str| match n {
        0 => None,
        1 => Some(format!("1 {one}")),
        n => Some(format!("{n} {many}")),
    };
    let parts: Vec<String> = [
        count(reading.warnings.len(), "warning", "warnings"),
        count(piece.advice.len(), "hint", "hints"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() {
        "none".to_owned()
    } else {
        parts
            .iter()
            .map(|part| format!("<span class=\"nowrap\">{part}</span>"))
            .collect::<Vec<_>>()
            .join(", ")
    }
}

fn photo(out: &mut String, number: usize, reading: &Reading, exhibits: &[Exhibit]) {
    out.push_str(&format!(
        "<section class=\"photo\" id=\"{id}\" aria-labelledby=\"{id}-name\">\n<p class=\"kicker\">Photo {number}</p>\n<h2 id=\"{id}-name\"><bdi>{}</bdi></h2>\n",
        escape(&reading.photo),
        id = anchor(number, None),
    ));
    if failed(reading) {
        let (kind, message) = reading
            .error
            .as_ref()
            .map_or(("unknown", "no reason was given"), |e| {
                (&*e.kind, &*e.message)
            });
        out.push_str(&format!(
            "<div class=\"failed\"><h3>Could not be read</h3><p>{}</p><p class=\"small\">Error code: <code>{}</code></p></div>\n",
            escape(message),
            escape(kind)
        ));
    } else if reading.pieces.is_empty() {
        out.push_str("<p>The photo was read, but no piece was found in it.</p>\n");
    }
    let warnings: Vec<&str> = reading.warnings.iter().map(|w| &*w.text).collect();
    html::list(out, "warnings", "Warnings", &warnings);
    let sights: Vec<_> = (1..=reading.pieces.len())
        .zip(exhibits)
        .flat_map(|(piece, exhibit)| exhibit.sights.iter().map(move |sight| (piece, sight)))
        .collect();
    stage::stages(out, number, &sights, reading.pieces.len() > 1);
    for (j, piece) in reading.pieces.iter().enumerate() {
        let several = reading.pieces.len() > 1;
        verdict::piece(out, number, j + 1, several, piece, exhibits.get(j));
    }
    out.push_str("</section>\n");
}

/// A figure with its unit, which stay on one line.
fn unit(figure: &str) -> String {
    if figure.starts_with(|c: char| c.is_ascii_digit()) {
        format!("<span class=\"nowrap\">{}</span>", escape(figure))
    } else {
        escape(figure)
    }
}

fn foot(out: &mut String, heading: &Heading) {
    out.push_str(concat!(
        "<footer>\n<section id=\"cautions\" aria-labelledby=\"cautions-name\">\n",
        "<h2 id=\"cautions-name\">Before you use, buy or sell</h2>\n<ul class=\"standing\">\n"
    ));
    for text in cautions::STANDING {
        out.push_str(&format!("<li>{}</li>\n", escape(text)));
    }
    out.push_str(concat!(
        "</ul>\n<div class=\"small\">\n<h3>Figures a laboratory result is held against</h3>\n",
        "<p>footring measures none of this. Rules change and local ones may be stricter: ",
        "look up those in force where you are.</p>\n",
        "<table class=\"limits\">\n<thead><tr><th scope=\"col\">Ware</th>",
        "<th scope=\"col\">Lead</th><th scope=\"col\">Cadmium</th></tr></thead>\n<tbody>\n"
    ));
    let mut rule = "";
    for limit in cautions::LIMITS {
        if limit.rule != rule {
            rule = limit.rule;
            out.push_str(&format!(
                "<tr><th scope=\"rowgroup\" colspan=\"3\">{}</th></tr>\n",
                escape(rule)
            ));
        }
        let cadmium = if limit.cadmium.is_empty() {
            "as hollowware of its size"
        } else {
            limit.cadmium
        };
        out.push_str(&format!(
            "<tr><td>{}</td><td>{}</td><td>{}</td></tr>\n",
            escape(limit.ware),
            unit(limit.lead),
            unit(cadmium)
        ));
    }
    out.push_str("</tbody>\n</table>\n<p>Sources:</p>\n<ul>\n");
    for source in cautions::SOURCES {
        out.push_str(&format!("<li>{}</li>\n", escape(source)));
    }
    out.push_str("</ul>\n</div>\n</section>\n");
    end(out, heading);
}

/// The end of every page's footer: when and with what it was made.
pub(in crate::report) fn end(out: &mut String, heading: &Heading) {
    if !heading.made.trim().is_empty() {
        out.push_str(&format!(
            "<p class=\"small\">{}</p>\n",
            escape(&heading.made)
        ));
    }
    out.push_str("</footer>\n</body>\n</html>\n");
}
