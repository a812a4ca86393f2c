//! What is not body: handles, spouts, finials and the foot ring.

use serde::{Deserialize, Serialize};

use super::{profile::Profile, ring_area_px2};

/// A kind of part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Kind {
    /// A handle with a hole through which the background shows.
    Loop,
    /// A tube or lip that leaves the body and ends high up.
    Spout,
    /// Anything else that stands out on one side: a lug, a handle without a
    /// visible hole, a chip of another thing in the mask.
    Projection,
    /// A knob on top of a lid.
    Finial,
    /// The ring on which the piece stands.
    FootRing,
}

/// Where a part is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Left as seen.
    Left,
    /// Right as seen.
    Right,
    /// On the axis.
    Middle,
}

/// A part of a piece. Lengths are pixels of the upright frame; heights are
/// measured from the lowest point of the body.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What it is.
    pub kind: Kind,
    /// Where it is.
    pub side: Side,
    /// How far it stands out from the body; for a finial or a foot ring its
    /// diameter.
    pub reach_px: f64,
    /// Height of its lower end.
    pub from_px: f64,
    /// Height of its upper end.
    pub to_px: f64,
    /// Area of its hole, pixels squared; 0 without.
    pub hole_px2: f64,
}

/// Parts that stand out by less than this share of the greatest half-width are
/// waves of a rim or noise of the mask.
const LEAST_REACH: f64 = 0.10;
/// A spout stands out at least this much.
const SPOUT_REACH: f64 = 0.25;

/// The parts of a piece, from left to right, then those on the axis.
pub fn find(profile: &Profile) -> Vec<Part> {
    let mut parts = Vec::new();
    for side in [Side::Left, Side::Right] {
        parts.extend(beside(profile, side));
    }
    parts.extend(finial(profile));
    parts.extend(foot_ring(profile));
    parts
}

fn height_px(profile: &Profile, row: f64) -> f64 {
    (profile.end as f64 - row) * profile.step_px()
}

/// Stretches of rows in which something lies beyond the body on one side.
fn beside(profile: &Profile, side: Side) -> Vec<Part> {
    let rows = &profile.rows;
    let widest = profile.widest_px();
    let sign = if side == Side::Left { -1.0 } else { 1.0 };
    // The free side of the body stands in where the part covers it.
    let beyond: Vec<f64> = (0..rows.count())
        .map(|row| {
            let far = rows
                .runs(row)
                .iter()
                .map(|[left, right]| {
                    let end = if side == Side::Left { *left } else { *right };
                    sign * (end - profile.axis_px)
                })
                .fold(f64::NEG_INFINITY, f64::max);
            (far - profile.half_near(row)).max(0.0)
        })
        .collect();
    let mut parts = Vec::new();
    let mut start = None;
    for row in 0..=beyond.len() {
        let over = beyond.get(row).is_some_and(|b| *b > 0.02 * widest);
        match (over, start) {
            (true, None) => start = Some(row),
            (false, Some(from)) => {
                start = None;
                let reach_px = beyond[from..row].iter().copied().fold(0.0, f64::max);
                if reach_px < LEAST_REACH * widest {
                    continue;
                }
                parts.push(part(profile, side, from, row, reach_px, &beyond[from..row]));
            }
            _ => {}
        }
    }
    parts
}

fn part(
    profile: &Profile,
    side: Side,
    from: usize,
    end: usize,
    reach_px: f64,
    beyond: &[f64],
) -> Part {
    let rows = &profile.rows;
    let (top, bottom) = (
        rows.top_px + from as f64 * rows.step_px,
        rows.top_px + end as f64 * rows.step_px,
    );
    let hole_px2: f64 = rows
        .outline
        .holes
        .iter()
        .filter(|hole| {
            hole.iter().all(|p| {
                let (x, y) = (f64::from(p[0]), f64::from(p[1]));
                let here = if side == Side::Left {
                    x < profile.axis_px
                } else {
                    x > profile.axis_px
                };
                here && (top..=bottom).contains(&y)
            })
        })
        .map(|hole| ring_area_px2(hole).abs())
        .sum();
    // A spout is farthest out near its upper end.
    let farthest = beyond
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(b.1))
        .map_or(0.5, |(i, _)| (i as f64 + 0.5) / beyond.len() as f64);
    let kind = if hole_px2 > 0.0 {
        Kind::Loop
    } else if reach_px >= SPOUT_REACH * profile.widest_px() && farthest < 0.3 {
        Kind::Spout
    } else {
        Kind::Projection
    };
    Part {
        kind,
        side,
        reach_px,
        from_px: height_px(profile, end as f64),
        to_px: height_px(profile, from as f64),
        hole_px2,
    }
}

/// A knob: the body widens from the top, narrows to a neck and widens again.
fn finial(profile: &Profile) -> Option<Part> {
    const TALLEST: f64 = 0.32;
    const WIDEST: f64 = 0.45;
    let body = profile.body();
    let widest = profile.widest_px();
    let reach = (TALLEST * body.len() as f64) as usize;
    // The neck: the narrowest row below something wider.
    let mut peak: f64 = 0.0;
    let mut neck: Option<(usize, f64, f64)> = None;
    for (i, w) in body.iter().enumerate().take(reach) {
        if *w > WIDEST * widest && neck.is_none() {
            return None;
        }
        if *w > peak && neck.is_none() {
            peak = *w;
        }
        if *w < 0.93 * peak {
            if neck.is_none_or(|(_, _, narrow)| *w < narrow) {
                neck = Some((i, peak, *w));
            } else if neck.is_some_and(|(_, _, narrow)| *w > 1.3 * narrow) {
                break;
            }
        } else if neck.is_some() {
            break;
        }
    }
    let (row, peak, _) = neck?;
    // Below the neck there must be a lid or a body.
    if body[row..].iter().copied().fold(0.0, f64::max) < 2.0 * peak {
        return None;
    }
    Some(Part {
        kind: Kind::Finial,
        side: Side::Middle,
        reach_px: 2.0 * peak,
        from_px: height_px(profile, (profile.first + row) as f64),
        to_px: height_px(profile, profile.first as f64),
        hole_px2: 0.0,
    })
}

/// The ring below the body: near the foot the outline runs down, while above it
/// the wall leaves outwards; the bend between is its upper end.
fn foot_ring(profile: &Profile) -> Option<Part> {
    const TALLEST: f64 = 0.2;
    let body = profile.body();
    let widest = profile.widest_px();
    let step = profile.step_px();
    let n = body.len();
    let reach = ((TALLEST * n as f64) as usize).max(8).min(n / 2);
    let window = (n / 60).max(2);
    // Slope (outwards per upwards) below and above each row near the foot.
    let slope = |from: usize, to: usize| {
        (body[n - 1 - to] - body[n - 1 - from]) / ((to - from) as f64 * step)
    };
    let (row, bend, below) = (window + 1..reach)
        .filter(|i| i + 2 * window < n)
        .map(|i| {
            let below = slope(i - window, i);
            let above = slope(i, i + 2 * window);
            (i, above.atan() - below.atan(), below)
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    // About thirty degrees, the ring itself steep.
    if bend < 0.5 || below > 0.7 {
        return None;
    }
    let radius = body[n - 1 - row..n - 1].iter().copied().fold(0.0, f64::max);
    if radius > 0.95 * widest {
        return None;
    }
    Some(Part {
        kind: Kind::FootRing,
        side: Side::Middle,
        reach_px: 2.0 * radius,
        from_px: 0.0,
        to_px: row as f64 * step,
        hole_px2: 0.0,
    })
}
