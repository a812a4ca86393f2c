//! Plane figures: the hull of a region, and whether it has the four sides of a
//! rectangle seen in perspective.

use imageproc::point::Point;

/// Most that the points along a side may be off their line (root mean square),
/// pixels.
const OFF_LINE_PX: f64 = 0.6;
/// Longer over shorter side of a card, in the picture, at most.
const LONGEST: f64 = 2.2;
/// A side over the opposite one at most, and the least sine of a corner: what
/// perspective makes of a rectangle that faces more or less to the camera.
const OPPOSITE: f64 = 1.45;
const CORNER_SINE: f64 = 0.8;

/// The convex hull of a region whose pixels come row by row: down along the
/// first pixels of the rows and up along the last (Andrew 1979).
pub(super) fn hull(region: &[Point<i32>]) -> Vec<Point<i32>> {
    let rows = || region.chunk_by(|p, q| p.y == q.y);
    let mut round = chain(rows().map(|row| row[0]));
    round.extend(chain(rows().rev().map(|row| row[row.len() - 1])));
    round.dedup();
    round
}

/// What is left of a line of points when it may only bend one way.
fn chain(points: impl Iterator<Item = Point<i32>>) -> Vec<Point<i32>> {
    let mut kept: Vec<Point<i32>> = Vec::new();
    for p in points {
        while let [.., a, b] = kept[..] {
            let bend = (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x);
            if bend < 0 {
                break;
            }
            kept.pop();
        }
        kept.push(p);
    }
    kept
}

/// Pixels of a convex figure through the middles of pixels (Pick's theorem, the
/// points on its border counted by its length).
pub(super) fn area(figure: &[[f64; 2]]) -> f64 {
    let (mut twice, mut round) = (0.0, 0.0);
    for (i, p) in figure.iter().enumerate() {
        let q = figure[(i + 1) % figure.len()];
        twice += p[0] * q[1] - q[0] * p[1];
        round += (p[0] - q[0]).hypot(p[1] - q[1]);
    }
    f64::abs(twice) / 2.0 + round / 2.0 + 1.0
}

/// The four corners of a convex figure that enclose most, as positions in it: for
/// each diagonal the farthest corner on either side.
fn largest_four_sided(hull: &[[f64; 2]]) -> Option<[usize; 4]> {
    let n = hull.len();
    let triangle = |a: usize, b: usize, c: usize| {
        let [a, b, c] = [hull[a], hull[b], hull[c % n]];
        ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])).abs()
    };
    let mut best: Option<(f64, [usize; 4])> = None;
    for i in 0..n {
        for j in i + 2..n {
            let farthest = |range: std::ops::Range<usize>| {
                range
                    .map(|k| (triangle(i, j, k), k))
                    .max_by(|a, b| a.0.total_cmp(&b.0))
            };
            if let (Some(one), Some(other)) = (farthest(i + 1..j), farthest(j + 1..n + i)) {
                let both = one.0 + other.0;
                if best.is_none_or(|(most, _)| both > most) {
                    best = Some((both, [i, one.1, j, other.1]));
                }
            }
        }
    }
    best.map(|(_, corners)| corners)
}

/// Where four straight lines meet that lie along the sides of a convex figure,
/// its rounded corners left out; `None` where it has no four straight sides.
pub(super) fn four_lines(hull: &[[f64; 2]]) -> Option<[[f64; 2]; 4]> {
    let at = largest_four_sided(hull)?;
    let mut lines = [([0.0; 2], [0.0; 2]); 4];
    for (side, line) in lines.iter_mut().enumerate() {
        let end = if side == 3 {
            at[0] + hull.len()
        } else {
            at[side + 1]
        };
        let edge: Vec<[f64; 2]> = (at[side]..=end).map(|i| hull[i % hull.len()]).collect();
        *line = straight(&edge)?;
    }
    let meet = |k: usize| -> Option<[f64; 2]> {
        let ((p, d), (q, e)) = (lines[(k + 3) % 4], lines[k]);
        let sine = d[0] * e[1] - d[1] * e[0];
        let far = ((q[0] - p[0]) * e[1] - (q[1] - p[1]) * e[0]) / sine;
        (sine.abs() > 0.2).then(|| [p[0] + far * d[0], p[1] + far * d[1]])
    };
    Some([meet(0)?, meet(1)?, meet(2)?, meet(3)?])
}

/// Middle and direction of the line along the middle three fifths of an edge, if
/// that is straight.
fn straight(edge: &[[f64; 2]]) -> Option<([f64; 2], [f64; 2])> {
    const POINTS: usize = 15;
    let length = |i: usize| (edge[i + 1][0] - edge[i][0]).hypot(edge[i + 1][1] - edge[i][1]);
    let whole: f64 = (0..edge.len() - 1).map(length).sum();
    let place = |share: f64| {
        let mut left = share * whole;
        let mut i = 0;
        while i + 2 < edge.len() && left > length(i) {
            left -= length(i);
            i += 1;
        }
        let t = left / length(i).max(1e-9);
        [0, 1].map(|k| edge[i][k] + t * (edge[i + 1][k] - edge[i][k]))
    };
    let points: [[f64; 2]; POINTS] =
        std::array::from_fn(|i| place(0.2 + 0.6 * i as f64 / (POINTS - 1) as f64));
    let middle = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / POINTS as f64);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in points {
        let (x, y) = (p[0] - middle[0], p[1] - middle[1]);
        (xx, xy, yy) = (xx + x * x, xy + x * y, yy + y * y);
    }
    // The greater axis of the points' spread, and what lies across it.
    let turn = 0.5 * (2.0 * xy).atan2(xx - yy);
    let across = (xx + yy) / 2.0 - ((xx - yy) / 2.0).hypot(xy);
    let off = (across.max(0.0) / POINTS as f64).sqrt();
    (off <= OFF_LINE_PX).then(|| (middle, [turn.cos(), turn.sin()]))
}

/// Whether four corners may be a card's.
pub(super) fn may_be_rectangle(corners: &[[f64; 2]; 4]) -> bool {
    let side = |i: usize| {
        let (p, q) = (corners[i % 4], corners[(i + 1) % 4]);
        [q[0] - p[0], q[1] - p[1]]
    };
    let length = |i: usize| side(i)[0].hypot(side(i)[1]) + 1.0;
    let ratio = |a: f64, b: f64| a.max(b) / a.min(b);
    let square = (0..4).all(|i| {
        let (a, b) = (side(i), side(i + 1));
        (a[0] * b[1] - a[1] * b[0]).abs() >= CORNER_SINE * length(i) * length(i + 1)
    });
    square
        && ratio(length(0) + length(2), length(1) + length(3)) <= LONGEST
        && ratio(length(0), length(2)) <= OPPOSITE
        && ratio(length(1), length(3)) <= OPPOSITE
}
