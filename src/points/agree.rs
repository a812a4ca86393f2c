//! Which points of two pictures look alike and lie alike.
//!
//! A pair of points that look alike tells how one picture is laid on the other: by how
//! much it is scaled and turned. Pairs nearby that are where that puts them, and say the
//! same of scale and turn, support it. A motif on a rounded piece bends, so each pair
//! is asked about its surroundings only and no one map has to fit all.

use std::{collections::BTreeSet, f32::consts::TAU};

use super::{PATCH, Point, Points};

/// Patches of unit length are alike from this cosine on (0.75 apart).
const ALIKE: f32 = 1.0 - 0.75 * 0.75 / 2.0;
/// Most by which a* or b* may differ where both photos show colour.
const TINT: f32 = 8.0;
/// Most by which two points may differ in size.
const SCALE: f32 = 4.0;
/// Pairs support each other within this distance, px of the first picture; in the
/// second that times their scale where it is above 1.
const NEAR_PX: f32 = 110.0;
/// How far off a supporting pair may lie: so much, and so much of its distance.
const OFF_PX: f32 = 3.0;
const OFF: f32 = 0.22;
/// Most by which its scale (natural logarithm) and its turn (radians) may differ.
const LN_SCALE: f32 = 0.5;
const TURN: f32 = 0.5;
/// Points as near as this are at one place, which counts once.
const PLACE_PX: f32 = 3.0;
/// Supporters that make a pair one of those that agree.
const SUPPORT: usize = 2;
/// Places beyond two at which the distance is a half. Chosen on the studio's world of seed
/// 5005.
const HALF: f32 = 8.0;

/// How far the points of two pictures agree.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Agreement {
    /// Places that agree with at least two others nearby.
    pub all: usize,
    /// Most places that agree with one pair.
    pub one: usize,
    /// What `one` counts: places in the first picture and in the second.
    pub pairs: Vec<[[f32; 2]; 2]>,
}

impl Agreement {
    /// From 1, where hardly any place agrees, towards 0. Two may agree by chance.
    pub fn distance(&self) -> f32 {
        HALF / (HALF + self.all.saturating_sub(2) as f32)
    }
}

/// A pair of points that look alike, and the map that it stands for.
struct Pair {
    from: [f32; 2],
    to: [f32; 2],
    /// The places that the points are counted for.
    places: [usize; 2],
    scale: f32,
    ln_scale: f32,
    turn: f32,
    /// Cosine and sine of the turn, times the scale.
    map: [f32; 2],
}

/// Holds the points of two pictures against each other.
pub fn agreement(a: &Points, b: &Points) -> Agreement {
    let pairs = alike(a, b);
    let n = pairs.len();
    let mutual = |i: usize, j: usize| {
        is_supported(&pairs[i], &pairs[j]) && is_supported(&pairs[j], &pairs[i])
    };
    let mut supporters = vec![Vec::new(); n];
    for i in 0..n {
        for j in i + 1..n {
            if mutual(i, j) {
                supporters[i].push(j);
                supporters[j].push(i);
            }
        }
    }
    let distinct = |of: &[usize]| {
        let on = |side: usize| {
            let places: BTreeSet<usize> = of.iter().map(|i| pairs[*i].places[side]).collect();
            places.len()
        };
        on(0).min(on(1))
    };
    let counts: Vec<usize> = supporters.iter().map(|of| distinct(of)).collect();
    let agree: Vec<usize> = (0..n).filter(|i| counts[*i] >= SUPPORT).collect();
    let Some(best) = (0..n).max_by_key(|i| (counts[*i], std::cmp::Reverse(*i))) else {
        return Agreement::default();
    };
    if counts[best] == 0 {
        return Agreement::default();
    }
    let mut shown = vec![best];
    for i in &supporters[best] {
        let is_new = |side: usize| {
            let place = pairs[*i].places[side];
            shown.iter().all(|j| pairs[*j].places[side] != place)
        };
        if is_new(0) && is_new(1) {
            shown.push(*i);
        }
    }
    Agreement {
        all: distinct(&agree),
        one: counts[best] + 1,
        pairs: shown
            .into_iter()
            .map(|i| [pairs[i].from, pairs[i].to])
            .collect(),
    }
}

/// For each point of `a` the one most like it of `b`, if `a`'s is among the two most like
/// that one.
fn alike(a: &Points, b: &Points) -> Vec<Pair> {
    let (places_a, places_b) = (places(a), places(b));
    let cosines: Vec<Vec<f32>> =
        a.0.iter()
            .map(|p| b.0.iter().map(|q| dot(&p.patch, &q.patch)).collect())
            .collect();
    let mut pairs = Vec::new();
    for (i, row) in cosines.iter().enumerate() {
        let Some((j, cosine)) = row
            .iter()
            .copied()
            .enumerate()
            .max_by(|x, y| x.1.total_cmp(&y.1))
        else {
            continue;
        };
        let nearer = cosines.iter().filter(|other| other[j] > cosine).count();
        if cosine > ALIKE && nearer < 2 {
            pairs.extend(pair([&a.0[i], &b.0[j]], [places_a[i], places_b[j]]));
        }
    }
    pairs
}

fn pair([p, q]: [&Point; 2], places: [usize; 2]) -> Option<Pair> {
    let scale = q.size_px / p.size_px;
    let differ = |[a, b]: [[f32; 2]; 2]| (0..2).any(|i| (a[i] - b[i]).abs() >= TINT);
    if !(scale < SCALE && scale > 1.0 / SCALE)
        || p.tint.zip(q.tint).is_some_and(|(a, b)| differ([a, b]))
    {
        return None;
    }
    let turn = q.angle - p.angle;
    Some(Pair {
        from: p.at,
        to: q.at,
        places,
        scale,
        ln_scale: scale.ln(),
        turn,
        map: [scale * turn.cos(), scale * turn.sin()],
    })
}

/// Whether `other` lies where the map of `one` puts it.
fn is_supported(one: &Pair, other: &Pair) -> bool {
    let [px, py] = [0, 1].map(|i| other.from[i] - one.from[i]);
    let [qx, qy] = [0, 1].map(|i| other.to[i] - one.to[i]);
    let (far, far_to) = (px.hypot(py), qx.hypot(qy));
    let [cosine, sine] = one.map;
    let off = (cosine * px - sine * py - qx).hypot(sine * px + cosine * py - qy);
    let turn = (other.turn - one.turn + TAU / 2.0).rem_euclid(TAU) - TAU / 2.0;
    off < OFF_PX + OFF * far_to
        && (PLACE_PX..NEAR_PX).contains(&far)
        && (PLACE_PX..NEAR_PX * one.scale.max(1.0)).contains(&far_to)
        && (other.ln_scale - one.ln_scale).abs() < LN_SCALE
        && turn.abs() < TURN
}

/// For each point the first that is at its place.
fn places(points: &Points) -> Vec<usize> {
    let at_one = |a: &Point, b: &Point| (0..2).all(|i| (a.at[i] - b.at[i]).abs() < PLACE_PX);
    let mut places: Vec<usize> = Vec::with_capacity(points.0.len());
    for (i, point) in points.0.iter().enumerate() {
        let same = points.0[..i].iter().position(|other| at_one(other, point));
        places.push(same.map_or(i, |first| places[first]));
    }
    places
}

fn dot(a: &[f32; PATCH], b: &[f32; PATCH]) -> f32 {
    let mut sums = [0.0f32; 8];
    for (x, y) in a.as_chunks::<8>().0.iter().zip(b.as_chunks::<8>().0) {
        for i in 0..8 {
            sums[i] += x[i] * y[i];
        }
    }
    sums.iter().sum()
}
