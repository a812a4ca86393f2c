//! Marching squares on a soft mask (Lorensen & Cline 1987, in the plane).
//!
//! Traps avoided: the mask is read as zero beyond its frame, so a piece that
//! touches the frame still closes; crossings are interpolated, so a 10 x 10
//! square has area 100 and not 81; saddles are decided by the mean of the four
//! corners, so a spur of one pixel is walked once.

use std::collections::HashMap;

use super::{Outline, Ring, ring_area_px2};

/// Holes smaller than this share of the outer area are noise of the mask.
const SMALLEST_HOLE: f64 = 0.0008;

/// The level at which the contour runs: half covered.
const LEVEL: f32 = 127.5;

/// Traces the largest region of `mask` (row-major, `width` columns, 255
/// covered) and the holes in it. `None` if nothing is covered by half.
pub fn trace(mask: &[u8], width: usize) -> Option<Outline> {
    let rings = rings(mask, width);
    let area: Vec<f64> = rings.iter().map(|ring| ring_area_px2(ring)).collect();
    let outer = (0..rings.len())
        .filter(|i| area[*i] > 0.0)
        .max_by(|a, b| area[*a].total_cmp(&area[*b]))?;
    let mut holes: Vec<usize> = (0..rings.len())
        .filter(|i| {
            area[*i] < -SMALLEST_HOLE * area[outer]
                && rings[*i]
                    .first()
                    .is_some_and(|point| contains(&rings[outer], *point))
        })
        .collect();
    holes.sort_by(|a, b| area[*a].total_cmp(&area[*b]));
    Some(Outline {
        outer: rings[outer].clone(),
        holes: holes.into_iter().map(|i| rings[i].clone()).collect(),
    })
}

/// Whether a point lies inside a ring (even-odd rule).
pub(crate) fn contains(ring: &[[f32; 2]], [x, y]: [f32; 2]) -> bool {
    super::edges(ring)
        .filter(|(a, b)| {
            (a[1] > y) != (b[1] > y) && x < (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]) + a[0]
        })
        .count()
        % 2
        == 1
}

/// All closed contours; covered area lies to their left as seen, so outer
/// contours have positive area and holes negative.
fn rings(mask: &[u8], width: usize) -> Vec<Ring> {
    if width == 0 || mask.len() < width {
        return Vec::new();
    }
    let height = mask.len() / width;
    // Corner (i, j) of the grid is the centre of pixel (i - 1, j - 1); a border
    // of zeros surrounds the mask.
    let value = |i: usize, j: usize| -> f32 {
        if i == 0 || j == 0 || i > width || j > height {
            0.0
        } else {
            f32::from(mask[(j - 1) * width + i - 1])
        }
    };
    // An edge of the grid: from corner (i, j) to the right (false) or down (true).
    type Edge = (u32, u32, bool);
    let mut next: HashMap<Edge, Edge> = HashMap::new();
    let mut order: Vec<Edge> = Vec::new();
    for j in 0..=height {
        for i in 0..=width {
            let corners = [
                value(i, j),
                value(i + 1, j),
                value(i + 1, j + 1),
                value(i, j + 1),
            ];
            let inside = corners.map(|v| v > LEVEL);
            let case = inside
                .iter()
                .enumerate()
                .fold(0u8, |case, (bit, inside)| case | (u8::from(*inside) << bit));
            if case == 0 || case == 15 {
                continue;
            }
            let (x, y) = (i as u32, j as u32);
            let top = (x, y, false);
            let bottom = (x, y + 1, false);
            let left = (x, y, true);
            let right = (x + 1, y, true);
            let filled = corners.iter().sum::<f32>() / 4.0 > LEVEL;
            // Corner bits: 1 top-left, 2 top-right, 4 bottom-right, 8 bottom-left.
            let segments: &[(Edge, Edge)] = match case {
                1 => &[(top, left)],
                2 => &[(right, top)],
                3 => &[(right, left)],
                4 => &[(bottom, right)],
                5 if filled => &[(top, right), (bottom, left)],
                5 => &[(top, left), (bottom, right)],
                6 => &[(bottom, top)],
                7 => &[(bottom, left)],
                8 => &[(left, bottom)],
                9 => &[(top, bottom)],
                10 if filled => &[(left, top), (right, bottom)],
                10 => &[(right, top), (left, bottom)],
                11 => &[(right, bottom)],
                12 => &[(left, right)],
                13 => &[(top, right)],
                14 => &[(left, top)],
                _ => &[],
            };
            for (to, from) in segments {
                next.insert(*from, *to);
                order.push(*from);
            }
        }
    }
    let point = |(i, j, down): Edge| -> [f32; 2] {
        let (i, j) = (i as usize, j as usize);
        let a = value(i, j);
        let b = if down {
            value(i, j + 1)
        } else {
            value(i + 1, j)
        };
        let t = (LEVEL - a) / (b - a);
        let (x, y) = (i as f32 - 0.5, j as f32 - 0.5);
        if down { [x, y + t] } else { [x + t, y] }
    };
    let mut rings = Vec::new();
    for start in order {
        let mut ring = Ring::new();
        let mut edge = start;
        while let Some(following) = next.remove(&edge) {
            ring.push(point(edge));
            edge = following;
        }
        if ring.len() >= 3 {
            rings.push(ring);
        }
    }
    rings
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mask_of(width: usize, height: usize, inside: impl Fn(usize, usize) -> bool) -> Vec<u8> {
        (0..width * height)
            .map(|i| if inside(i % width, i / width) { 255 } else { 0 })
            .collect()
    }

    #[test]
    fn a_square_of_ten_has_area_near_a_hundred_and_runs_counter_clockwise() {
        let mask = mask_of(20, 20, |x, y| (5..15).contains(&x) && (5..15).contains(&y));
        let outline = trace(&mask, 20).unwrap();
        // A hard mask cuts the four corners: half a pixel of area in all.
        assert!((outline.area_px2() - 99.5).abs() < 1e-3, "{outline:?}");
        assert!(ring_area_px2(&outline.outer) > 0.0);
    }

    #[test]
    fn a_piece_that_fills_the_frame_still_closes() {
        let outline = trace(&[255; 16], 4).unwrap();
        assert!((outline.area_px2() - 15.5).abs() < 1e-3);
    }

    #[test]
    fn a_hole_is_found_and_taken_off_the_area() {
        let mask = mask_of(40, 40, |x, y| {
            let inside = |lo, hi| (lo..hi).contains(&x) && (lo..hi).contains(&y);
            inside(5, 35) && !inside(15, 25)
        });
        let outline = trace(&mask, 40).unwrap();
        assert_eq!(outline.holes.len(), 1);
        assert!((outline.area_px2() - 800.0).abs() < 1.1);
        assert!(ring_area_px2(&outline.holes[0]) < 0.0);
    }

    #[test]
    fn nothing_covered_gives_nothing() {
        assert!(trace(&[0; 64], 8).is_none());
        assert!(trace(&[], 0).is_none());
    }
}
