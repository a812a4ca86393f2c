//! Outlines as SVG.

use std::fmt::Write as _;

use crate::outline::{Outline, Ring};

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

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// An outline without holes.
    pub(in crate::report) fn outline(outer: &[[f32; 2]]) -> Outline {
        Outline {
            outer: outer.to_vec(),
            holes: vec![],
        }
    }

    #[test]
    fn points_without_numbers_are_left_out() {
        let ring = outline(&[[0.0, 0.0], [f32::NAN, 1.0], [0.0, 0.01], [5.0, 0.0]]);
        assert_eq!(path(&ring, 1.0, [0.0, 0.0]), "M0.00 0.00L5.00 0.00Z");
    }
}
