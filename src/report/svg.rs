//! Outlines as SVG.
//!
//! Shapes carry presentation attributes and a class: on its own the drawing is
//! complete, and a page's style sheet may still recolour it.

use std::fmt::Write as _;

use crate::outline::{Outline, Ring};

/// Height of the box into which outlines are scaled to be laid over each other.
const BOX: f32 = 100.0;
/// White left round a drawing, so that strokes are not cut.
const PAD: f32 = 4.0;
/// Points nearer than this to the one before are left out of a drawing.
const FINE: f32 = 0.15;

/// Path data (`d`) of closed polylines, scaled by `scale` about the origin and
/// moved by `shift`. Points that are no numbers are left out, and so are those
/// that could not be seen apart from the one before.
pub fn path(outline: &Outline, scale: f32, shift: [f32; 2]) -> String {
    let mut d = String::new();
    for ring in rings(outline) {
        let mut last: Option<[f32; 2]> = None;
        let mut points = 0;
        for &[x, y] in ring {
            let p = [x * scale + shift[0], y * scale + shift[1]];
            if !p.iter().all(|v| v.is_finite()) {
                continue;
            }
            if last.is_some_and(|q| (p[0] - q[0]).hypot(p[1] - q[1]) < FINE) {
                continue;
            }
            let command = if points == 0 { 'M' } else { 'L' };
            // Writing to a String cannot fail.
            let _ = write!(d, "{command}{:.2} {:.2}", p[0] + 0.0, p[1] + 0.0);
            last = Some(p);
            points += 1;
        }
        if points > 0 {
            d.push('Z');
        }
    }
    d
}

fn rings(outline: &Outline) -> impl Iterator<Item = &Ring> {
    std::iter::once(&outline.outer).chain(&outline.holes)
}

/// Two outlines laid over each other, both scaled to the same height and
/// centred on the same axis: `query` as a filled shape with a solid line,
/// `matched` as a dashed line. `label` is read to those who cannot see it.
///
/// `None` if either outline has no extent.
pub fn overlay(query: &Outline, matched: &Outline, label: &str) -> Option<String> {
    let query = Placed::new(query)?;
    let matched = Placed::new(matched)?;
    let width = query.width.max(matched.width);
    let mut svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" class="overlay" role="img" aria-label="{}" viewBox="{:.2} {:.2} {:.2} {:.2}">"#,
        super::page::escape(label),
        -width / 2.0 - PAD,
        -PAD,
        width + 2.0 * PAD,
        BOX + 2.0 * PAD,
    );
    let _ = write!(
        svg,
        r##"<path class="line-query" d="{}" fill="#8a4b2a" fill-opacity="0.14" fill-rule="evenodd" stroke="#8a4b2a" stroke-width="1.4" stroke-linejoin="round"/>"##,
        query.path()
    );
    let _ = write!(
        svg,
        r##"<path class="line-match" d="{}" fill="none" stroke="#1f4e66" stroke-width="1.4" stroke-dasharray="4 2.4" stroke-linejoin="round"/>"##,
        matched.path()
    );
    svg.push_str("</svg>");
    Some(svg)
}

/// An outline with the scale and shift that put it into the common box.
struct Placed<'a> {
    outline: &'a Outline,
    scale: f32,
    shift: [f32; 2],
    width: f32,
}

impl<'a> Placed<'a> {
    fn new(outline: &'a Outline) -> Option<Self> {
        let mut low = [f32::INFINITY; 2];
        let mut high = [f32::NEG_INFINITY; 2];
        for p in rings(outline)
            .flatten()
            .filter(|p| p.iter().all(|v| v.is_finite()))
        {
            for axis in 0..2 {
                low[axis] = low[axis].min(p[axis]);
                high[axis] = high[axis].max(p[axis]);
            }
        }
        let [width, height] = [high[0] - low[0], high[1] - low[1]];
        let scale = BOX / height;
        let fits = scale.is_finite() && scale > 0.0 && (width * scale).is_finite();
        if !fits || width <= 0.0 {
            return None;
        }
        Some(Self {
            outline,
            scale,
            shift: [-(low[0] + high[0]) / 2.0 * scale, -low[1] * scale],
            width: width * scale,
        })
    }

    fn path(&self) -> String {
        path(self.outline, self.scale, self.shift)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outline(outer: &[[f32; 2]]) -> Outline {
        Outline {
            outer: outer.to_vec(),
            holes: vec![],
        }
    }

    fn square(left: f32, top: f32, side: f32) -> Outline {
        outline(&[
            [left, top],
            [left + side, top],
            [left + side, top + side],
            [left, top + side],
        ])
    }

    #[test]
    fn outlines_of_any_unit_land_on_each_other() {
        let svg = overlay(
            &square(300.0, 40.0, 200.0),
            &square(-0.5, -0.5, 1.0),
            "a & b",
        )
        .expect("both have an extent");
        let d = r#"d="M-50.00 0.00L50.00 0.00L50.00 100.00L-50.00 100.00Z""#;
        assert_eq!(svg.matches(d).count(), 2, "{svg}");
        assert!(svg.contains("a &amp; b"));
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

    #[test]
    fn points_without_numbers_are_left_out() {
        let ring = outline(&[[0.0, 0.0], [f32::NAN, 1.0], [0.0, 0.01], [5.0, 0.0]]);
        assert_eq!(path(&ring, 1.0, [0.0, 0.0]), "M0.00 0.00L5.00 0.00Z");
    }
}
