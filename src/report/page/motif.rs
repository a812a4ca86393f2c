//! The same motif on two pieces: both outlines beside each other, and where the points
//! lie that agree, each with its number.

use std::fmt::Write as _;

use super::html;
use crate::{
    identify::reading::SameMotif,
    outline::Outline,
    report::{svg, words},
};

/// Side of each drawing, and what lies between the two.
const SIDE: f32 = 100.0;
const GAP: f32 = 8.0;
/// The square that places are shares of, in longer sides of the outline.
const MARGIN: f32 = 1.16;
/// Numbers beyond these would lie on each other.
const NUMBERED: usize = 40;

/// What is said of it, and the drawing where both outlines are there.
pub(super) fn motif(
    out: &mut String,
    motif: &SameMotif,
    outlines: Option<[&Outline; 2]>,
    name: &str,
) {
    out.push_str(&format!(
        "<p class=\"small\">{}.</p>\n",
        html::capital(&words::same_motif(motif))
    ));
    let Some(outlines) = outlines.filter(|two| two.iter().all(|o| o.outer.len() > 2)) else {
        return;
    };
    out.push_str(&format!(
        "<figure class=\"overlaid\"><svg class=\"overlay\" viewBox=\"0 0 {} {SIDE}\" role=\"img\" aria-label=\"Where the points lie that agree, on the piece photographed and on {name}\">",
        2.0 * SIDE + GAP
    ));
    for (side, outline) in outlines.into_iter().enumerate() {
        let left = side as f32 * (SIDE + GAP);
        let bounds = outline.bounds();
        let scale = SIDE / (MARGIN * bounds.width().max(bounds.height())).max(1e-3);
        let middle = |low: f32, high: f32| SIDE / 2.0 - scale * (low + high) / 2.0;
        let shift = [
            left + middle(bounds.left, bounds.right),
            middle(bounds.top, bounds.bottom),
        ];
        let class = ["line-query", "line-match"][side];
        // Writing to a String cannot fail.
        let _ = write!(
            out,
            "<path class=\"{class}\" fill=\"none\" stroke-width=\"1\" d=\"{}\"/>",
            svg::path(outline, scale, shift)
        );
        for (i, pair) in motif.places.iter().take(NUMBERED).enumerate() {
            let [x, y] = pair[side].map(|share| share.clamp(0.0, 1.0) * SIDE);
            if !(x.is_finite() && y.is_finite()) {
                continue;
            }
            let _ = write!(
                out,
                "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"4\" text-anchor=\"middle\" dominant-baseline=\"central\" fill=\"currentColor\">{}</text>",
                left + x,
                y,
                i + 1
            );
        }
    }
    out.push_str("</svg><figcaption><span class=\"small\">each number lies at one point on both</span></figcaption></figure>\n");
}
