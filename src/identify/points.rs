//! The last look at decorations: of those nearest so far the points are held against the
//! query's, and a decoration with the same motif lying the same way comes nearer.

use super::{
    compare::Probe,
    reading::SameMotif,
    short_list::{Link, Looked, by_vector, nearer, short_list},
};
use crate::{
    cabinet::Snapshot,
    channel::position,
    points::{Points, SIDE_PX, agreement},
};

/// Views that are looked at for one view of the query, and the most that agreeing points
/// take off a distance. Chosen on the studio's world of seed 5005.
const LENGTH: usize = 40;
const MOST: f64 = 0.6;
/// From so many agreeing points on the same motif is said to be on both.
const SAID_FROM: usize = 18;

/// The decoration's distances after the look at points, in the usual unit. `before` are
/// those of the look at places, where it was taken; they stay where the query has no
/// points. A view without points keeps its distance.
pub(super) fn looked_at(
    probe: &Probe<'_>,
    snapshot: &Snapshot,
    views: &[u32],
    before: Option<Looked>,
) -> Option<Looked> {
    if probe.vector("points").is_none() {
        return before;
    }
    let mut near: Vec<Link> = match &before {
        Some(looked) => looked.links().collect(),
        None => short_list(views, &|view| {
            by_vector(probe, "decoration", snapshot, view)
        }),
    };
    near.sort_by(nearer);
    for (view, distance) in near.iter_mut().take(LENGTH) {
        let apart = by_vector(probe, "points", snapshot, *view).unwrap_or(1.0);
        *distance *= 1.0 - MOST * (1.0 - apart);
    }
    Some(Looked::new(near))
}

/// That one motif is on the query and on a view of the cabinet, where enough points agree
/// in colour. Without colour a motif is not told from its likes in other colours.
pub(super) fn motif(probe: &Probe<'_>, snapshot: &Snapshot, view: u32) -> Option<SameMotif> {
    let stored = snapshot.vector(position("points")?, view)?;
    let [asked, stored] = [probe.vector("points")?, stored].map(Points::from_slice);
    if !asked.has_colour() || !stored.has_colour() {
        return None;
    }
    let agree = agreement(&asked, &stored);
    let share = |v: f32| ((v + 0.5) / SIDE_PX as f32 * 1e3).round() / 1e3;
    (agree.one >= SAID_FROM).then(|| SameMotif {
        points: agree.one,
        places: agree
            .pairs
            .iter()
            .map(|pair| pair.map(|at| at.map(share)))
            .collect(),
    })
}
