//! The photo with the outlines and masks of what was read in it.

use std::sync::Arc;

use image::{GrayImage, Luma, RgbImage};

use super::html::{self, escape};
use crate::{
    outline::Outline,
    report::{Sight, svg},
};

/// One photo with every piece seen in it, each with its number.
struct Stage<'a> {
    photo: &'a Arc<RgbImage>,
    name: &'a str,
    pieces: Vec<(usize, &'a Sight)>,
}

/// Every photo in which pieces are seen, each once; the pieces by their numbers, which are
/// shown where `numbered`.
pub(super) fn stages(out: &mut String, number: usize, sights: &[(usize, &Sight)], numbered: bool) {
    let mut stages: Vec<Stage<'_>> = Vec::new();
    for &piece in sights {
        let (_, sight) = piece;
        match stages
            .iter_mut()
            .find(|s| Arc::ptr_eq(s.photo, &sight.photo))
        {
            Some(stage) => stage.pieces.push(piece),
            None => stages.push(Stage {
                photo: &sight.photo,
                name: &sight.name,
                pieces: vec![piece],
            }),
        }
    }
    if stages.is_empty() {
        return;
    }
    out.push_str("<div class=\"stages\">\n");
    for (i, stage) in stages.iter().enumerate() {
        let id = format!("photo-{number}-view-{}", i + 1);
        figure(out, &id, stage, numbered);
    }
    out.push_str("</div>\n");
}

fn figure(out: &mut String, id: &str, stage: &Stage<'_>, numbered: bool) {
    let (width, height) = stage.photo.dimensions();
    let Some(source) = html::jpeg(stage.photo) else {
        return;
    };
    let name = escape(stage.name);
    out.push_str(&format!(
        concat!(
            "<figure class=\"stage\">\n",
            "<div class=\"toggles\"><input type=\"checkbox\" id=\"{id}-line\" class=\"with-line\" checked>",
            "<label for=\"{id}-line\">Outline</label>",
            "<input type=\"checkbox\" id=\"{id}-veil\" class=\"with-veil\">",
            "<label for=\"{id}-veil\">Dim the background</label></div>\n",
            "<div class=\"frame\"><img src=\"{source}\" width=\"{width}\" height=\"{height}\" alt=\"{alt}\">\n",
            "<svg viewBox=\"0 0 {width} {height}\" aria-hidden=\"true\">"
        ),
        id = id,
        source = source,
        width = width,
        height = height,
        alt = escape(&describe(stage)),
    ));
    if let Some(background) = background(stage).as_ref().and_then(html::png) {
        out.push_str(&format!(
            "<mask id=\"{id}-mask\" maskUnits=\"userSpaceOnUse\" x=\"0\" y=\"0\" width=\"{width}\" height=\"{height}\"><image href=\"{background}\" width=\"{width}\" height=\"{height}\" preserveAspectRatio=\"none\"/></mask><rect class=\"veil\" width=\"{width}\" height=\"{height}\" mask=\"url(#{id}-mask)\"/>"
        ));
    }
    out.push_str("<g class=\"line\">");
    for &(number, sight) in &stage.pieces {
        let d = svg::path(&sight.outline, 1.0, [0.0, 0.0]);
        out.push_str(&format!(
            "<path class=\"halo\" d=\"{d}\"/><path class=\"edge\" d=\"{d}\"/>"
        ));
        if let (true, Some([x, y])) = (numbered, top(&sight.outline)) {
            let r = f64::from(width.max(height)) / 36.0;
            out.push_str(&format!(
                "<circle class=\"badge\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\"/><text class=\"digit\" x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{:.1}\" text-anchor=\"middle\" dominant-baseline=\"central\">{number}</text>",
                r * 1.2
            ));
        }
    }
    out.push_str(&format!(
        "</g></svg></div>\n<figcaption><bdi>{name}</bdi>{}</figcaption>\n</figure>\n",
        if numbered {
            ": the numbers are those of the pieces below"
        } else {
            ": the line is the outline that was compared"
        }
    ));
}

fn describe(stage: &Stage<'_>) -> String {
    match stage.pieces.len() {
        1 => format!("Photo {} with the outline of the piece", stage.name),
        n => format!("Photo {} with the outlines of {n} pieces", stage.name),
    }
}

/// White where no piece is; masks of another size are left out. `None` if none is left.
fn background(stage: &Stage<'_>) -> Option<GrayImage> {
    let (width, height) = stage.photo.dimensions();
    let mut masks = stage
        .pieces
        .iter()
        .map(|(_, sight)| &sight.mask)
        .filter(|m| m.dimensions() == (width, height))
        .peekable();
    masks.peek()?;
    let mut background = GrayImage::from_pixel(width, height, Luma([255]));
    for mask in masks {
        for (b, m) in background.pixels_mut().zip(mask.pixels()) {
            b.0[0] = b.0[0].min(255 - m.0[0]);
        }
    }
    Some(background)
}

/// Where a piece's number goes: at the highest point of its outline.
fn top(outline: &Outline) -> Option<[f32; 2]> {
    outline
        .outer
        .iter()
        .copied()
        .filter(|p| p.iter().all(|v| v.is_finite()))
        .min_by(|a, b| a[1].total_cmp(&b[1]))
}
