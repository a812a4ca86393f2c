//! Two outlines laid over each other, with where they part.
//!
//! Shapes carry presentation attributes and a class: on its own the drawing is
//! complete, and a page's style sheet may still recolour it.

use std::fmt::Write as _;

use super::svg;
use crate::outline::{Aligner, Contour, Outline, Pair};

/// What a side of a square of the piece's area is drawn as.
const SIDE: f32 = 80.0;
/// White left round a drawing, so that strokes are not cut.
const PAD: f32 = 4.0;
/// Outlines part where points that answer each other lie farther apart than
/// this, in sides of that square; from the second on the shading is full.
const PARTED: [f32; 3] = [0.03, 0.06, 0.12];

/// A drawing and what must be said of it.
pub(super) struct Overlay {
    /// The drawing.
    pub(super) svg: String,
    /// Whether the query had to be mirrored to fit, and is drawn so.
    pub(super) is_mirrored: bool,
}

/// Lays two outlines over each other as they were compared: of one area, the
/// middles of their boxes in one place. `query` is a line, `matched` a dashed
/// one, and between points that answer each other it is shaded where they part.
/// `label` is read to those who cannot see it.
///
/// `None` if either outline has no extent.
pub(super) fn overlay(query: &Outline, matched: &Outline, label: &str) -> Option<Overlay> {
    let contours = [Contour::new(query)?, Contour::new(matched)?];
    // As they stand: they are drawn so.
    let found = Aligner::new(&contours[0], 1.0).align(&contours[1]);
    let query = placed(query, found.mirrored)?;
    let matched = placed(matched, false)?;
    let (mut low, mut high) = ([f32::INFINITY; 2], [f32::NEG_INFINITY; 2]);
    for p in query.outer.iter().chain(&matched.outer) {
        for axis in 0..2 {
            low[axis] = low[axis].min(p[axis]);
            high[axis] = high[axis].max(p[axis]);
        }
    }
    let mut out = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" class="overlay" role="img" aria-label="{}" viewBox="{:.2} {:.2} {:.2} {:.2}">"#,
        super::page::escape(label),
        low[0] - PAD,
        low[1] - PAD,
        high[0] - low[0] + 2.0 * PAD,
        high[1] - low[1] + 2.0 * PAD,
    );
    for (step, opacity) in [(1, 0.3), (2, 0.55), (3, 0.8)] {
        let d = ribbon(&found.pairs, step);
        if !d.is_empty() {
            // Writing to a String cannot fail.
            let _ = write!(
                out,
                r##"<path class="parted" d="{d}" fill="#c9922b" fill-opacity="{opacity}"/>"##
            );
        }
    }
    let _ = write!(
        out,
        r##"<path class="line-query" d="{}" fill="none" stroke="#8a4b2a" stroke-width="1.2" stroke-linejoin="round"/>"##,
        svg::path(&query, 1.0, [0.0; 2])
    );
    let _ = write!(
        out,
        r##"<path class="line-match" d="{}" fill="none" stroke="#1f4e66" stroke-width="1.2" stroke-dasharray="4 2.4" stroke-linejoin="round"/></svg>"##,
        svg::path(&matched, 1.0, [0.0; 2])
    );
    Some(Overlay {
        svg: out,
        is_mirrored: found.mirrored,
    })
}

/// An outline in the place and size of its contour, as drawn.
fn placed(outline: &Outline, mirrored: bool) -> Option<Outline> {
    let (middle, side) = Contour::frame(outline)?;
    let mut placed = outline.mapped(middle, SIDE / side);
    if mirrored {
        for p in placed
            .outer
            .iter_mut()
            .chain(placed.holes.iter_mut().flatten())
        {
            p[0] = -p[0];
        }
    }
    Some(placed)
}

/// The strips between the contours where they are parted by `step` of the
/// steps, as path data.
fn ribbon(pairs: &[Pair], step: usize) -> String {
    let mut d = String::new();
    for (i, a) in pairs.iter().enumerate() {
        let b = &pairs[(i + 1) % pairs.len()];
        let parted = apart(a).max(apart(b));
        if PARTED.iter().filter(|least| parted > **least).count() != step {
            continue;
        }
        for (k, p) in [a.first, a.second, b.second, b.first].iter().enumerate() {
            let command = if k == 0 { 'M' } else { 'L' };
            let _ = write!(d, "{command}{:.2} {:.2}", p[0] * SIDE, p[1] * SIDE);
        }
        d.push('Z');
    }
    d
}

fn apart(pair: &Pair) -> f32 {
    (pair.first[0] - pair.second[0]).hypot(pair.first[1] - pair.second[1])
}

#[cfg(test)]
mod tests {
    use super::{super::svg::tests::outline, *};

    fn square(left: f32, top: f32, side: f32) -> Outline {
        outline(&[
            [left, top],
            [left, top + side],
            [left + side, top + side],
            [left + side, top],
        ])
    }

    #[test]
    fn outlines_of_any_unit_land_on_each_other_and_nothing_is_shaded() {
        let drawn = overlay(
            &square(300.0, 40.0, 200.0),
            &square(-0.5, -0.5, 1.0),
            "a & b",
        )
        .expect("both have an extent");
        let d = r#"d="M-40.00 -40.00L-40.00 40.00L40.00 40.00L40.00 -40.00Z""#;
        assert_eq!(drawn.svg.matches(d).count(), 2, "{}", drawn.svg);
        assert!(drawn.svg.contains("a &amp; b"));
        assert!(!drawn.svg.contains("parted"), "{}", drawn.svg);
    }

    #[test]
    fn where_outlines_part_is_shaded_and_nowhere_else() {
        // A corner is missing; the box stays the same.
        let cut = outline(&[
            [0.0, 0.0],
            [0.0, 10.0],
            [10.0, 10.0],
            [10.0, 3.0],
            [7.0, 0.0],
        ]);
        let drawn = overlay(&square(0.0, 0.0, 10.0), &cut, "").expect("both have an extent");
        let shaded: Vec<f32> = drawn
            .svg
            .split("class=\"parted\" d=\"")
            .skip(1)
            .filter_map(|rest| rest.split('"').next())
            .flat_map(|d| d.split(['M', 'L', 'Z', ' ']))
            .filter_map(|n| n.parse().ok())
            .collect();
        assert!(!shaded.is_empty());
        // The query's corner is at the upper right (or, mirrored, at the left).
        let flip = if drawn.is_mirrored { -1.0 } else { 1.0 };
        let (mut nearest, mut farthest) = (f32::INFINITY, 0.0f32);
        for p in shaded.as_chunks::<2>().0 {
            let off = (p[0] * flip - 40.0).hypot(p[1] + 40.0);
            nearest = nearest.min(off);
            farthest = farthest.max(off);
        }
        assert!(nearest < 8.0, "{nearest}");
        assert!(farthest < 45.0, "{farthest}");
    }

    #[test]
    fn what_has_no_extent_is_not_drawn() {
        let one = square(0.0, 0.0, 1.0);
        let flat = [[1.0, 1.0], [4.0, 1.0]];
        for bad in [outline(&[]), outline(&[[f32::NAN; 2]]), outline(&flat)] {
            assert!(overlay(&one, &bad, "").is_none());
            assert!(overlay(&bad, &one, "").is_none());
        }
    }
}
