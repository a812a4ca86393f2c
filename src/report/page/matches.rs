//! The nearest pieces of the set, and why they are near.

use std::collections::BTreeMap;

use super::{
    colour,
    html::{self, escape},
};
use crate::{
    identify::reading::{Match, PieceReading},
    outline::Outline,
    report::{
        Exhibit, Sample, Swatch,
        overlay::{self, Overlay},
        words,
    },
};

/// Bars of distance end here; one scale for all of them, so that they compare.
const SCALE: f64 = 1.5;
/// Matches shown where no pictures were given.
const WITHOUT_PICTURES: usize = 3;
/// Labels that belong to the levels, in their order.
const LEVELS: [&str; 4] = ["form", "shape", "pattern", "glaze"];

/// The cards of the nearest pieces.
pub(super) fn matches(out: &mut String, piece: &PieceReading, exhibit: Option<&Exhibit>) {
    out.push_str("<section class=\"matches\"><h3>Nearest pieces of the set</h3>\n");
    if piece.matches.is_empty() {
        out.push_str("<p>No piece of the set can be compared with this one.</p></section>\n");
        return;
    }
    let none = Exhibit::default();
    let exhibit = exhibit.unwrap_or(&none);
    let shown = match exhibit.matches.len() {
        0 => WITHOUT_PICTURES,
        n => n,
    };
    out.push_str(&format!(
        "<p class=\"small\">{} Every bar runs from 0 to {SCALE}; the tick is at 1.</p>\n",
        escape(words::DISTANCE)
    ));
    if piece.reordered_by_graph {
        out.push_str(&format!(
            "<p class=\"small\">{} The outline's own distance stands beside the one by the graph, which took its place.</p>\n",
            escape(words::BY_GRAPH)
        ));
    }
    let blank = Sample::default();
    for (i, m) in piece.matches.iter().take(shown).enumerate() {
        let sample = exhibit.matches.get(i).unwrap_or(&blank);
        card(out, m, sample, exhibit);
    }
    if let more @ 1.. = piece.matches.len().saturating_sub(shown) {
        out.push_str(&format!(
            "<p class=\"small\">{more} more, farther away, {} not shown.</p>\n",
            if more == 1 { "is" } else { "are" }
        ));
    }
    out.push_str("</section>\n");
}

fn card(out: &mut String, m: &Match, sample: &Sample, exhibit: &Exhibit) {
    let name = escape(&m.piece);
    out.push_str(&format!(
        "<article class=\"match\">\n<h4><span class=\"rank\">{}</span> <bdi>{name}</bdi></h4>\n",
        m.rank
    ));
    out.push_str(&format!("<p class=\"said\">{}</p>\n", sentence(m)));
    out.push_str("<div class=\"parts\">\n");
    if let Some(source) = html::thumbnail(&sample.thumbnail) {
        let photo = if sample.photo.is_empty() {
            &m.photo
        } else {
            &sample.photo
        };
        out.push_str(&format!(
            "<figure class=\"thumb\"><img src=\"{source}\" alt=\"{name}, a piece of the set\"><figcaption><bdi>{}</bdi></figcaption></figure>\n",
            html::path(photo)
        ));
    }
    bars(out, m);
    if let Some(sight) = exhibit.sights.first() {
        outlines(
            out,
            [&sight.outline, &sample.outline],
            ["this photo", &format!("<bdi>{name}</bdi>")],
            &format!(
                "The outline of the piece photographed laid over that of {}",
                m.piece
            ),
        );
    }
    out.push_str("</div>\n");
    colours(out, &exhibit.palette, &sample.palette, &name);
    colour::difference(out, m.ground.as_ref());
    notes(out, &m.labels);
    out.push_str("</article>\n");
}

/// What may be said of a likeness, and no more.
fn sentence(m: &Match) -> String {
    let labels: Vec<String> = LEVELS
        .iter()
        .filter_map(|&level| {
            let label = m.labels.get(level).filter(|l| !l.trim().is_empty())?;
            Some(format!("<em><bdi>{}</bdi></em> ({level})", escape(label)))
        })
        .collect();
    let labelled = if labels.is_empty() {
        "which the set does not label".to_owned()
    } else {
        format!("labelled {} by the set", labels.join(", "))
    };
    format!(
        "Resembles <b><bdi>{}</bdi></b> (distance {}), {labelled}.",
        escape(&m.piece),
        words::distance(m.distance)
    )
}

fn bars(out: &mut String, m: &Match) {
    out.push_str(
        "<div class=\"channels\"><table class=\"bars\"><caption>Distance</caption><tbody>\n",
    );
    let mut row = |name: &str, d: f64, class: &str| {
        out.push_str(&format!(
            "<tr{class}><th scope=\"row\">{}</th><td>{}</td><td class=\"num\">{}</td></tr>\n",
            escape(name),
            html::bar(d / SCALE, Some(1.0 / SCALE)),
            words::distance(d)
        ));
    };
    row("together", m.distance, " class=\"whole\"");
    for (channel, &d) in &m.channels {
        row(channel, d, "");
    }
    if let Some(d) = m.outline_by_graph {
        row("outline, by the graph", d, "");
    }
    out.push_str("</tbody></table></div>\n");
}

/// Two outlines laid over each other. `names` are markup, `label` is read to those
/// who cannot see it.
pub(super) fn outlines(
    out: &mut String,
    [query, matched]: [&Outline; 2],
    names: [&str; 2],
    label: &str,
) {
    let Some(Overlay { svg, is_mirrored }) = overlay::overlay(query, matched, label) else {
        return;
    };
    let mirrored = if is_mirrored { ", mirrored" } else { "" };
    out.push_str(&format!(
        concat!(
            "<figure class=\"overlaid\">{svg}<figcaption>",
            "<span class=\"key\">{solid} {first}{mirrored}</span> ",
            "<span class=\"key\">{dashed} {second}</span>",
            "<span class=\"small\">drawn at one area, as they are compared; ",
            "shaded where they part</span></figcaption></figure>\n"
        ),
        svg = svg,
        solid = key("line-query"),
        first = names[0],
        mirrored = mirrored,
        dashed = key("line-match"),
        second = names[1],
    ));
}

fn key(class: &str) -> String {
    let dash = if class == "line-match" {
        " stroke-dasharray=\"4 2.4\""
    } else {
        ""
    };
    format!(
        "<svg class=\"stroke\" width=\"24\" height=\"4\" viewBox=\"0 0 24 4\" aria-hidden=\"true\"><path class=\"{class}\" d=\"M0 2H24\" stroke-width=\"1.6\"{dash}/></svg>"
    )
}

fn colours(out: &mut String, query: &[Swatch], matched: &[Swatch], name: &str) {
    if query.is_empty() || matched.is_empty() {
        return;
    }
    out.push_str("<div class=\"colours\">\n");
    palette(out, "This photo", query);
    palette(out, &format!("<bdi>{name}</bdi>"), matched);
    out.push_str("</div>\n");
}

fn palette(out: &mut String, title: &str, swatches: &[Swatch]) {
    out.push_str(&format!(
        "<div class=\"palette\"><p class=\"caption\">{title}: colours</p>"
    ));
    out.push_str(
        "<svg class=\"strip\" width=\"300\" height=\"20\" viewBox=\"0 0 100 10\" preserveAspectRatio=\"none\" aria-hidden=\"true\">",
    );
    let total: f32 = swatches.iter().map(share).sum();
    let mut x = 0.0;
    for swatch in swatches {
        let width = share(swatch) / total.max(f32::EPSILON) * 100.0;
        out.push_str(&format!(
            "<rect x=\"{x:.2}\" width=\"{width:.2}\" height=\"10\" fill=\"{}\"/>",
            hex(swatch)
        ));
        x += width;
    }
    out.push_str("</svg><ul>\n");
    for swatch in swatches {
        let [l, a, b] = swatch
            .lab
            .map(|v| if v.is_finite() { v.round() + 0.0 } else { 0.0 });
        out.push_str(&format!(
            "<li><svg class=\"chip\" width=\"14\" height=\"14\" viewBox=\"0 0 10 10\" aria-hidden=\"true\"><rect width=\"10\" height=\"10\" fill=\"{}\"/></svg><span class=\"num\">{}</span> <span class=\"lab\">L* {l} a* {a} b* {b}</span></li>\n",
            hex(swatch),
            escape(&words::percent(f64::from(swatch.share)))
        ));
    }
    out.push_str("</ul></div>\n");
}

fn share(swatch: &Swatch) -> f32 {
    if swatch.share.is_finite() {
        swatch.share.max(0.0)
    } else {
        0.0
    }
}

fn hex(swatch: &Swatch) -> String {
    let [r, g, b] = swatch.rgb;
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// The labels that belong to no level, such as maker or year.
fn notes(out: &mut String, labels: &BTreeMap<String, String>) {
    let notes: Vec<String> = labels
        .iter()
        .filter(|(column, text)| !LEVELS.contains(&&***column) && !text.trim().is_empty())
        .map(|(column, text)| {
            let (name, unit) = match column.strip_suffix("_mm") {
                Some(name) => (name, " mm"),
                None => (column.as_str(), ""),
            };
            format!(
                "<div><dt>{}</dt><dd><bdi>{}</bdi>{unit}</dd></div>",
                escape(&name.replace('_', " ")),
                escape(text)
            )
        })
        .collect();
    if !notes.is_empty() {
        out.push_str(&format!(
            "<p class=\"caption\">The set also notes</p><dl class=\"notes\">{}</dl>\n",
            notes.concat()
        ));
    }
}
