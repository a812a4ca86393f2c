//! Marching squares on a soft mask (Lorensen & Cline 1987, in the plane).
//!
//! Traps avoided: the mask is read as zero beyond its frame, so a piece that
//! touches the frame still closes; crossings are interpolated, so a 10 x 10
//! square has area 100 and not 81; saddles are decided by the mean of the four
//! corners, so a spur of one pixel is walked once. Where the mask goes from full
//! to empty within four pixels, what they cover together says where the edge
//! runs, with no error for a straight one; interpolation would put it up to 0.086
//! pixels off. Sharp corners, which the grid cuts, are put back.

use std::collections::HashMap;

use super::{Outline, Ring, ring_area_px2};

/// Holes smaller than this share of the outer area are noise of the mask.
const SMALLEST_HOLE: f64 = 0.0008;

/// The level at which the contour runs: half covered.
const LEVEL: f32 = 127.5;

/// A pixel that is covered whole.
const FULL: f32 = 255.0;

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
        // Two pixels before the edge's first, and so on to the second after its last.
        let around: [f32; 6] = std::array::from_fn(|k| {
            let (dx, dy) = if down { (2, k) } else { (k, 2) };
            match ((i + dx).checked_sub(2), (j + dy).checked_sub(2)) {
                (Some(x), Some(y)) => value(x, y),
                _ => 0.0,
            }
        });
        let t = crossing(around);
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
            rings.push(with_corners(ring, [width as f32, height as f32]));
        }
    }
    rings
}

/// Where the contour crosses between the third and the fourth of six pixels in a
/// line, 0 to 1.
fn crossing(around: [f32; 6]) -> f32 {
    if around[2] < around[3] {
        let mut turned = around;
        turned.reverse();
        return 1.0 - crossing(turned);
    }
    let [outer, before, a, b, after, beyond] = around;
    let from_full = before == FULL || outer == FULL;
    let to_empty = after == 0.0 || beyond == 0.0;
    if from_full && to_empty && before >= a && b >= after {
        ((before + a + b + after) / FULL - 1.5).clamp(0.0, 1.0)
    } else {
        (LEVEL - a) / (b - a)
    }
}

/// Points on each side by which a corner is judged.
const STRAIGHT: usize = 4;
/// Points that a corner may have spoilt, at most.
const SPOILT: usize = 4;
/// How far, in pixels, points of a straight side may lie off it.
const OFF: f32 = 0.04;
/// Sides meet at a corner if they turn by more than 30 degrees (its sine).
const TURN: f32 = 0.5;
/// How far, in pixels, a side may be from the corner at which it ends.
const REACH: f32 = 3.0;

/// The ring with its sharp corners, which the grid cuts by some 0.3 pixels: where
/// two straight sides end within a few points, those give way to the point in
/// which the sides meet, if that lies on the picture.
fn with_corners(ring: Ring, frame: [f32; 2]) -> Ring {
    let n = ring.len();
    if n < 2 * (2 * STRAIGHT + SPOILT) {
        return ring;
    }
    // What comes after each point, and whether it is spoilt by a corner itself.
    let mut meets: Vec<Option<[f32; 2]>> = vec![None; n];
    let mut taken = vec![false; n];
    let mut spoilt = vec![false; n];
    let mut from = 0;
    while from < n {
        let end = from + STRAIGHT - 1;
        let found = (0..=SPOILT).find_map(|k| Some((k, meeting(&ring, from, end + 1 + k)?)));
        from += 1;
        let Some((k, meet)) = found else { continue };
        if !(0..2).all(|axis| (0.0..=frame[axis]).contains(&meet[axis])) {
            continue;
        }
        // The last corner may be the first one again.
        if (end..=end + 1 + k).any(|i| taken[i % n]) {
            continue;
        }
        for i in end..=end + 1 + k {
            taken[i % n] = true;
            spoilt[i % n] = i > end && i <= end + k;
        }
        meets[end % n] = Some(meet);
        from = end + 1 + k;
    }
    let kept = |(i, p): (usize, [f32; 2])| [(!spoilt[i]).then_some(p), meets[i]];
    ring.iter()
        .copied()
        .enumerate()
        .flat_map(kept)
        .flatten()
        .collect()
}

/// Where the straight side that begins at one point of the ring meets the one
/// that begins at another, if they are straight and do.
fn meeting(ring: &[[f32; 2]], first: usize, second: usize) -> Option<[f32; 2]> {
    let (a, u) = side(ring, first)?;
    let (b, v) = side(ring, second)?;
    let sine = u[0] * v[1] - u[1] * v[0];
    if sine.abs() < TURN {
        return None;
    }
    let t = ((b[0] - a[0]) * v[1] - (b[1] - a[1]) * v[0]) / sine;
    let meet = [a[0] + t * u[0], a[1] + t * u[1]];
    let end = ring[(first + STRAIGHT - 1) % ring.len()];
    let gap = (meet[0] - end[0]) * u[0] + (meet[1] - end[1]) * u[1];
    let rest = (b[0] - meet[0]) * v[0] + (b[1] - meet[1]) * v[1];
    ((0.0..=REACH).contains(&gap) && (0.0..=REACH).contains(&rest)).then_some(meet)
}

/// The point and direction of the side that begins at a point of the ring, if it
/// is straight.
fn side(ring: &[[f32; 2]], from: usize) -> Option<([f32; 2], [f32; 2])> {
    let at = |k: usize| ring[(from + k) % ring.len()];
    let (a, b) = (at(0), at(STRAIGHT - 1));
    let along = [b[0] - a[0], b[1] - a[1]];
    let length = along[0].hypot(along[1]);
    if length <= 0.0 {
        return None;
    }
    let along = along.map(|v| v / length);
    (1..STRAIGHT - 1)
        .map(at)
        .all(|p| ((p[0] - a[0]) * along[1] - (p[1] - a[1]) * along[0]).abs() <= OFF)
        .then_some((a, along))
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
        assert!((outline.area_px2() - 100.0).abs() < 1e-3, "{outline:?}");
        assert!((outline.perimeter_px() - 40.0).abs() < 1e-3, "{outline:?}");
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
        assert!((outline.area_px2() - 800.0).abs() < 1e-3);
        assert!(ring_area_px2(&outline.holes[0]) < 0.0);
    }

    #[test]
    fn nothing_covered_gives_nothing() {
        assert!(trace(&[0; 64], 8).is_none());
        assert!(trace(&[], 0).is_none());
    }
}
