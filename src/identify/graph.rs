//! The third look at outlines, where it is asked for: who the neighbours of the
//! neighbours are.
//!
//! Every view of the cabinet is joined to those whose outlines lie nearest to
//! its own, so that a likeness may pass from view to view. It is spread by
//! diffusion on the tensor product of that graph with itself (Yang, Prasad &
//! Latecki 2013): views count as alike whose own walks meet. No label is used.

use std::{collections::HashMap, sync::OnceLock};

use rayon::prelude::*;

use super::{
    align::Outlines,
    compare::Probe,
    short_list::{Link, nearer},
};
use crate::cabinet::Snapshot;

/// Links of a view, the one to itself among them.
const LINKS: usize = 10;

/// Links kept beyond that: views of the query's own file may be among them, and
/// are then left out.
const SPARE: usize = 4;

/// Views nearest by the vector that are aligned to find the links.
const ALIGNED: usize = 100;

/// How often a likeness is passed on.
const ROUNDS: usize = 3;

/// The neighbourhood graph of one snapshot's outlines. A view's links are found
/// when they are first asked for, and kept.
#[derive(Debug)]
pub struct Neighbours(Vec<OnceLock<Vec<Link>>>);

impl Neighbours {
    /// The graph of this snapshot, none of it made yet.
    pub fn new(snapshot: &Snapshot) -> Self {
        Self(
            (0..snapshot.views().len())
                .map(|_| OnceLock::new())
                .collect(),
        )
    }

    /// A view's links, nearest first; none where it has no outline.
    fn of(&self, view: u32, snapshot: &Snapshot) -> &[Link] {
        let kept = &self.0[view as usize];
        if kept.get().is_none() {
            // Not made inside the lock: finding links may hand out work, and a
            // thread that waits for the lock could be the one to take it on.
            let _ = kept.set(links(view, snapshot));
        }
        kept.get().map_or(&[], Vec::as_slice)
    }
}

fn links(view: u32, snapshot: &Snapshot) -> Vec<Link> {
    let probe = Probe::of_view(snapshot, view);
    let Some(own) = Outlines::of(&probe) else {
        return Vec::new();
    };
    let near = own.nearest(snapshot, ALIGNED);
    let mut links = own.distances(snapshot, &near);
    links.retain(|(other, _)| *other != view);
    links.push((view, 0.0));
    links.sort_by(nearer);
    links.truncate(LINKS + SPARE);
    links
}

/// Orders views anew, those most alike first. `measured` are the query's own
/// distances, to all views that are to be ordered; views that are the query
/// itself are left out by `keep`.
///
/// Views that a likeness reaches and that are not among them are asked of
/// `measure`, and come with the answer.
pub(super) fn order(
    neighbours: &Neighbours,
    snapshot: &Snapshot,
    mut measured: HashMap<u32, f64>,
    keep: &(dyn Fn(u32) -> bool + Sync),
    measure: impl FnOnce(&[u32]) -> Vec<Link>,
) -> Vec<Link> {
    let mut own: Vec<Link> = measured.iter().map(|(v, d)| (*v, *d)).collect();
    own.sort_by(nearer);
    // The query is one more node, nearest to itself.
    own.truncate(LINKS - 1);
    let reached = reached(neighbours, snapshot, &own, keep);
    let new: Vec<u32> = reached
        .into_iter()
        .filter(|view| !measured.contains_key(view))
        .collect();
    measured.extend(measure(&new));

    let mut nodes: Vec<Link> = measured.into_iter().collect();
    nodes.sort_by(nearer);
    let rows: Vec<Vec<Link>> = nodes
        .par_iter()
        .map(|(view, _)| {
            let links = neighbours.of(*view, snapshot).iter();
            links.copied().filter(|link| keep(link.0)).collect()
        })
        .collect();
    let alike = spread(&nodes, &rows);
    let mut order: Vec<usize> = (0..nodes.len()).collect();
    // Sorting keeps those equally alike in the order of their distance.
    order.sort_by(|a, b| alike[*b].total_cmp(&alike[*a]));
    order.into_iter().map(|i| nodes[i]).collect()
}

/// What can be come at over the links, the query's own first.
fn reached(
    neighbours: &Neighbours,
    snapshot: &Snapshot,
    own: &[Link],
    keep: &(dyn Fn(u32) -> bool + Sync),
) -> Vec<u32> {
    let mut reached: Vec<u32> = own.iter().map(|link| link.0).collect();
    let mut from = 0;
    for _ in 1..ROUNDS {
        let newest = &reached[from..];
        from = reached.len();
        let beyond: Vec<u32> = newest
            .par_iter()
            .flat_map_iter(|view| {
                let links = neighbours.of(*view, snapshot).iter().map(|link| link.0);
                links.filter(|view| keep(*view)).take(LINKS)
            })
            .collect();
        for view in beyond {
            if !reached.contains(&view) {
                reached.push(view);
            }
        }
    }
    reached
}

/// How alike each node is to the query. `nodes` are views with the query's
/// distance to them, nearest first; `rows` the links of each, nearest first.
///
/// The likeness is the query's row of the sum over t of P^t (P^t)', where P
/// holds what each node passes on along its links.
fn spread(nodes: &[Link], rows: &[Vec<Link>]) -> Vec<f64> {
    let position: HashMap<u32, usize> = nodes.iter().enumerate().map(|(i, n)| (n.0, i)).collect();
    // The query stands behind the others.
    let query = nodes.len();
    let mut links: Vec<Vec<(usize, f64)>> = Vec::with_capacity(nodes.len() + 1);
    let mut reach: Vec<f64> = Vec::with_capacity(nodes.len() + 1);
    for (node, row) in nodes.iter().zip(rows) {
        let place = row.partition_point(|link| link.1 <= node.1);
        let mut row: Vec<(Option<usize>, f64)> = row
            .iter()
            .map(|link| (position.get(&link.0).copied(), link.1))
            .collect();
        row.insert(place, (Some(query), node.1));
        row.truncate(LINKS);
        reach.push(row.last().map_or(0.0, |link| link.1));
        // Links that lead out of the circle pass nothing on in it.
        links.push(
            row.into_iter()
                .filter_map(|(to, distance)| Some((to?, distance)))
                .collect(),
        );
    }
    let mut own = vec![(query, 0.0)];
    own.extend(nodes.iter().enumerate().map(|(i, n)| (i, n.1)));
    own.truncate(LINKS);
    reach.push(own.last().map_or(0.0, |link| link.1));
    links.push(own);
    // How much is passed on falls with the distance, on the scale of both ends
    // (Zelnik-Manor & Perona 2004).
    for (from, row) in links.iter_mut().enumerate() {
        for (to, value) in row.iter_mut() {
            let scale = (reach[from] * reach[*to]).max(1e-12);
            *value = (-*value * *value / scale).exp();
        }
        let sum: f64 = row.iter().map(|link| link.1).sum();
        row.iter_mut().for_each(|link| link.1 /= sum);
    }
    // Where walks from the query stand after each round.
    let mut walks = vec![vec![0.0; nodes.len() + 1]];
    walks[0][query] = 1.0;
    for round in 0..ROUNDS {
        let mut next = vec![0.0; nodes.len() + 1];
        for (row, share) in links.iter().zip(&walks[round]) {
            for (to, value) in row {
                next[*to] += share * value;
            }
        }
        walks.push(next);
    }
    // And who, walking as long, would meet them there.
    let mut alike = walks[ROUNDS].clone();
    for walk in walks[..ROUNDS].iter().rev() {
        let back = links.iter().map(|row| {
            row.iter()
                .map(|(to, value)| alike[*to] * value)
                .sum::<f64>()
        });
        alike = walk.iter().zip(back).map(|(w, b)| w + b).collect();
    }
    alike.truncate(nodes.len());
    alike
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two crowds of twelve on a line. The query lies between them, and nearest
    /// to one that belongs to the second crowd; more of the first are near.
    #[test]
    fn a_crowd_draws_its_own_before_a_stray_one() {
        let place = |i: u32| {
            if i < 12 {
                0.02 * f64::from(i)
            } else {
                0.6 + 0.02 * f64::from(i - 12)
            }
        };
        let all: Vec<u32> = (0..24).collect();
        let row = |from: f64| -> Vec<Link> {
            let mut row: Vec<Link> = all.iter().map(|i| (*i, (place(*i) - from).abs())).collect();
            row.sort_by(nearer);
            row
        };
        let mut nodes = row(0.38);
        // As far as the alignment tells, a stray of the second crowd is near.
        nodes.iter_mut().find(|n| n.0 == 20).unwrap().1 = 0.1;
        nodes.sort_by(nearer);
        assert_eq!(nodes[0].0, 20);
        let rows: Vec<Vec<Link>> = nodes
            .iter()
            .map(|n| row(place(n.0)).into_iter().take(LINKS + SPARE).collect())
            .collect();
        let alike = spread(&nodes, &rows);
        let first = (0..nodes.len())
            .max_by(|a, b| alike[*a].total_cmp(&alike[*b]))
            .unwrap();
        assert!(nodes[first].0 < 12, "{nodes:?} {alike:?}");
    }

    /// The same sum written down plainly, with matrices.
    #[test]
    fn what_is_spread_is_the_row_of_the_plain_sum() {
        let place = |i: usize| (i as f64 * 0.7).sin() + 0.05 * i as f64;
        let n = 30;
        let row = |from: f64| -> Vec<Link> {
            let mut row: Vec<Link> = (0..n)
                .map(|i| (i as u32, (place(i) - from).abs()))
                .collect();
            row.sort_by(nearer);
            row
        };
        let nodes = row(0.31);
        let rows: Vec<Vec<Link>> = nodes
            .iter()
            .map(|node| row(place(node.0 as usize)))
            .collect();
        let found = spread(&nodes, &rows);

        let at = |i: usize| {
            if i < n {
                place(nodes[i].0 as usize)
            } else {
                0.31
            }
        };
        let far = |i: usize, j: usize| (at(i) - at(j)).abs();
        let mut near = vec![vec![]; n + 1];
        for (i, near) in near.iter_mut().enumerate() {
            *near = (0..=n).collect::<Vec<_>>();
            near.sort_by(|a, b| far(i, *a).total_cmp(&far(i, *b)));
            near.truncate(LINKS);
        }
        let reach: Vec<f64> = (0..=n).map(|i| far(i, near[i][LINKS - 1])).collect();
        let mut p = vec![vec![0.0; n + 1]; n + 1];
        for i in 0..=n {
            for j in &near[i] {
                p[i][*j] = (-far(i, *j).powi(2) / (reach[i] * reach[*j])).exp();
            }
            let sum: f64 = p[i].iter().sum();
            p[i].iter_mut().for_each(|v| *v /= sum);
        }
        let mut w = vec![vec![0.0; n + 1]; n + 1];
        let one = |w: &mut Vec<Vec<f64>>| (0..=n).for_each(|i| w[i][i] += 1.0);
        one(&mut w);
        for _ in 0..ROUNDS {
            let half: Vec<Vec<f64>> = (0..=n)
                .map(|i| {
                    (0..=n)
                        .map(|j| (0..=n).map(|k| p[i][k] * w[k][j]).sum())
                        .collect()
                })
                .collect();
            w = (0..=n)
                .map(|i| {
                    (0..=n)
                        .map(|j| (0..=n).map(|k| half[i][k] * p[j][k]).sum())
                        .collect()
                })
                .collect();
            one(&mut w);
        }
        for (i, found) in found.iter().enumerate() {
            assert!((found - w[n][i]).abs() < 1e-9, "{i}: {found} {}", w[n][i]);
        }
    }
}
