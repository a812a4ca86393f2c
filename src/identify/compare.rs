//! What is asked against what the cabinet holds: exact distances on every
//! channel, and from them one on each level of identity.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::{
    Options,
    align::Aligned,
    details,
    reading::{Level, Levels, View},
    rehearse::Found,
    told::Told,
    weights,
};
use crate::{
    cabinet::Snapshot,
    channel::{self, REGISTRY},
    describe::Described,
    error::Result,
};

/// Distances by channel, in units of the usual distance between unrelated
/// pieces; `None` where either side lacks the channel.
pub(super) type Distances = [Option<f64>; REGISTRY.len()];

/// One view that is asked about: a photo just described, or one of the cabinet's
/// own.
pub(super) struct Probe<'a> {
    vectors: [Option<&'a [f32]>; REGISTRY.len()],
    /// Whether the picture shows the surface, as photos do and silhouettes and
    /// line drawings do not.
    pub(super) shows_surface: bool,
    /// From where it was seen.
    view: View,
}

impl<'a> Probe<'a> {
    pub(super) fn of_photo(described: &'a Described) -> Self {
        Self {
            vectors: std::array::from_fn(|channel| {
                Some(described.features.get(channel)?.as_ref()?.as_slice())
            }),
            shows_surface: described.cutout.origin.shows_surface(),
            view: described.pose.view,
        }
    }

    pub(super) fn of_view(snapshot: &'a Snapshot, view: u32) -> Self {
        let vectors = std::array::from_fn(|channel| snapshot.vector(channel, view));
        let form = channel::position("form");
        Self {
            vectors,
            // What a network says of the surface is absent where none is shown.
            shows_surface: form.is_some_and(|form| vectors[form].is_some()),
            view: snapshot.views()[view as usize].seen,
        }
    }

    /// Whether this view and one of the cabinet are both known to be level on.
    fn level_on(&self, snapshot: &Snapshot, view: u32) -> bool {
        let at_an_angle = |view| matches!(view, View::Oblique | View::Top | View::Unknown);
        !at_an_angle(self.view) && !at_an_angle(snapshot.views()[view as usize].seen)
    }

    /// Its vector on a channel, unless it lacks that.
    pub(super) fn vector(&self, channel: &str) -> Option<&'a [f32]> {
        self.vectors[channel::position(channel)?]
    }

    fn distances(&self, snapshot: &Snapshot, options: &Options, view: u32) -> Distances {
        std::array::from_fn(|channel| {
            if !REGISTRY[channel].ranked && !options.weights.any(channel) {
                return None;
            }
            let stored = snapshot.vector(channel, view)?;
            let spec = &REGISTRY[channel];
            let distance = spec.metric.distance(self.vectors[channel]?, stored);
            Some(f64::from(distance / spec.unrelated))
        })
    }
}

/// A piece of the cabinet against the query.
pub(super) struct Compared {
    pub(super) piece: u32,
    /// Its nearest view.
    pub(super) view: u32,
    /// Distances of that view, as measured.
    pub(super) channels: Distances,
    /// The distance that stood for its outline's, where the neighbourhood graph
    /// ordered the outlines anew.
    pub(super) by_graph: Option<f64>,
    /// Combined distance.
    pub(super) distance: f64,
    /// Distance on each level, of whichever view is nearest there. A form's is that
    /// of the moulding alone; in a shape's the decoration has a say.
    pub(super) levels: Levels<Option<f64>>,
}

/// The views worth measuring exactly: all of a small cabinet, else what the
/// channels that are asked for propose. Only such as `keep` lets pass.
///
/// # Errors
/// [`crate::error::Kind::Internal`] if a vector does not fit the index.
pub(super) fn candidates(
    probes: &[Probe<'_>],
    snapshot: &Snapshot,
    options: &Options,
    keep: &(dyn Fn(u32) -> bool + Sync),
) -> Result<Vec<u32>> {
    let total = snapshot.views().len();
    if total < options.scan_below {
        return Ok((0..total as u32).filter(|view| keep(*view)).collect());
    }
    let wanted = (options.top * 4).max(200);
    let mut found = BTreeSet::new();
    for probe in probes {
        for (channel, vector) in probe.vectors.iter().enumerate() {
            if let Some(vector) = vector
                && options.weights.any(channel)
            {
                let near = snapshot.nearest(channel, vector, wanted, keep)?;
                found.extend(near.into_iter().map(|f| f.view));
            }
        }
    }
    Ok(found.into_iter().collect())
}

/// Measures views on every channel and keeps for each piece its nearest; nearest
/// pieces first. Views of the query's own files are those for which `is_own`
/// holds.
pub(super) fn compare(
    probes: &[Probe<'_>],
    snapshot: &Snapshot,
    options: &Options,
    views: &[u32],
    is_own: &(dyn Fn(u32) -> bool + Sync),
) -> Vec<Compared> {
    let mut by_piece: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for view in views {
        by_piece
            .entry(snapshot.views()[*view as usize].piece)
            .or_default()
            .push(*view);
    }
    let by_piece: Vec<_> = by_piece.into_iter().collect();
    let outline = channel::position("outline").filter(|i| options.align && options.weights.any(*i));
    let align = |probe: &Probe<'_>| {
        let aligned = outline.and_then(|_| Aligned::new(probe, snapshot, views))?;
        Some(match &options.graph {
            Some(graph) => aligned.reordered(probe, snapshot, graph, is_own),
            None => aligned,
        })
    };
    let aligned: Vec<Option<Aligned>> = probes.iter().map(align).collect();
    let decoration =
        channel::position("decoration").filter(|i| options.details && options.weights.any(*i));
    let looked: Vec<_> = probes
        .iter()
        .map(|probe| decoration.and_then(|_| details::looked_at(probe, snapshot, views)))
        .collect();
    let compare_piece = |(piece, views): &(u32, Vec<u32>)| {
        let mut measured: Vec<Vec<Distances>> = probes
            .iter()
            .map(|probe| {
                views
                    .iter()
                    .map(|view| probe.distances(snapshot, options, *view))
                    .collect()
            })
            .collect();
        if let Some(i) = decoration {
            for (row, looked) in measured.iter_mut().zip(&looked) {
                let Some(looked) = looked else { continue };
                for (d, view) in row.iter_mut().zip(views) {
                    d[i] = d[i].map(|by_vector| looked.distance(*view, by_vector));
                }
            }
        }
        let mut all = measured.clone();
        if let Some(i) = outline {
            for ((measured, ranked), aligned) in measured.iter_mut().zip(&mut all).zip(&aligned) {
                let Some(aligned) = aligned else { continue };
                for ((measured, ranked), view) in measured.iter_mut().zip(ranked).zip(views) {
                    let Some(by_vector) = measured[i] else {
                        continue;
                    };
                    measured[i] = Some(aligned.distance(*view, by_vector));
                    ranked[i] = aligned.by_graph(*view, by_vector).or(measured[i]);
                }
            }
        }
        // Several views of the query: each finds the view it resembles most,
        // and the mean of those is the distance.
        let nearest = |combine: &dyn Fn(&Distances, bool) -> Option<f64>| -> Option<f64> {
            let each: Vec<f64> = all
                .iter()
                .zip(probes)
                .filter_map(|(row, probe)| {
                    row.iter()
                        .zip(views)
                        .filter_map(|(d, view)| combine(d, probe.level_on(snapshot, *view)))
                        .min_by(f64::total_cmp)
                })
                .collect();
            (!each.is_empty()).then(|| each.iter().sum::<f64>() / each.len() as f64)
        };
        let weights = &options.weights;
        let distance = nearest(&|d, _| weights.overall(d))?;
        let (_, from, at) = all
            .iter()
            .enumerate()
            .flat_map(|(from, row)| row.iter().enumerate().map(move |(at, d)| (from, at, d)))
            .filter_map(|(from, at, d)| Some((weights.overall(d)?, from, at)))
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        let graph = options.graph.as_ref().and(aligned[from].as_ref());
        let by = |level| nearest(&|d, level_on| weights.level(level, d, level_on));
        let (form, pattern) = (by(Level::Form), by(Level::Pattern));
        Some(Compared {
            piece: *piece,
            view: views[at],
            channels: measured[from][at],
            by_graph: outline
                .filter(|_| graph.is_some())
                .and_then(|i| all[from][at][i]),
            distance,
            levels: Levels {
                form,
                shape: form.map(|moulding| weights::shape(moulding, pattern)),
                pattern,
                glaze: by(Level::Glaze),
            },
        })
    };
    let mut compared: Vec<Compared> = if views.len() > 2_000 {
        by_piece.par_iter().filter_map(compare_piece).collect()
    } else {
        by_piece.iter().filter_map(compare_piece).collect()
    };
    compared.sort_by(|a, b| {
        a.distance
            .total_cmp(&b.distance)
            .then(a.piece.cmp(&b.piece))
    });
    compared
}

/// The distances of pieces on a level. One whose moulding and decoration are both
/// among the nearest is nearer as a shape ([`weights::by_both`]).
pub(super) fn on_level(
    compared: &[Compared],
    snapshot: &Snapshot,
    level: Level,
) -> Vec<(u32, f64)> {
    // Where the set has their pattern on one shape alone, the decoration says nothing
    // of that shape beside others.
    let is_on_other_shapes = |piece: u32| {
        let labels = &snapshot.pieces()[piece as usize].labels;
        let pattern = labels.get(Level::Pattern.name());
        pattern.is_some_and(|pattern| snapshot.vocabulary().shapes_of(pattern) > 1)
    };
    let near_by_both = match level {
        Level::Shape => near_by_both(compared, is_on_other_shapes),
        Level::Form | Level::Pattern | Level::Glaze => BTreeSet::new(),
    };
    compared
        .iter()
        .filter_map(|c| {
            let distance = (*c.levels.get(level))?;
            Some(match near_by_both.contains(&c.piece) {
                true => (c.piece, weights::by_both(distance)),
                false => (c.piece, distance),
            })
        })
        .collect()
}

/// Of how many the nearest are looked at; chosen in the studio's world 88003.
const NEAREST: usize = 5;

/// Of the pieces that `counts` lets pass, those that are among the nearest by
/// moulding and among the nearest by decoration.
fn near_by_both(compared: &[Compared], counts: impl Fn(u32) -> bool) -> BTreeSet<u32> {
    let nearest = |level: Level| -> BTreeSet<u32> {
        let mut order: Vec<(f64, u32)> = compared
            .iter()
            .filter_map(|c| Some(((*c.levels.get(level))?, c.piece)))
            .collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        order.truncate(NEAREST);
        order.into_iter().map(|(_, piece)| piece).collect()
    };
    let by_decoration = nearest(Level::Pattern);
    let by_moulding = nearest(Level::Form);
    let by_both = by_moulding.intersection(&by_decoration);
    by_both.copied().filter(|piece| counts(*piece)).collect()
}

/// The labels of one level, nearest first, each by its nearest piece, as far as
/// that agrees with what is told.
pub(super) fn by_label(
    compared: &[Compared],
    snapshot: &Snapshot,
    level: Level,
    told: &Told,
) -> Vec<Found> {
    ranked(on_level(compared, snapshot, level), snapshot, level, told)
}

/// The shapes as [`by_label`], by their moulding alone.
pub(super) fn shapes_by_moulding(
    compared: &[Compared],
    snapshot: &Snapshot,
    told: &Told,
) -> Vec<Found> {
    let by_moulding = on_level(compared, snapshot, Level::Form);
    ranked(by_moulding, snapshot, Level::Shape, told)
}

fn ranked(
    distances: Vec<(u32, f64)>,
    snapshot: &Snapshot,
    level: Level,
    told: &Told,
) -> Vec<Found> {
    let mut by_label: BTreeMap<&str, (f64, usize)> = BTreeMap::new();
    for (piece, distance) in distances {
        let labels = &snapshot.pieces()[piece as usize].labels;
        if let Some(label) = labels.get(level.name())
            && let Some(factor) = told.factor(level, labels)
        {
            let (nearest, pieces) = by_label.entry(label).or_insert((f64::INFINITY, 0));
            *nearest = nearest.min(distance * factor);
            *pieces += 1;
        }
    }
    let mut found: Vec<Found> = by_label
        .into_iter()
        .map(|(label, (distance, pieces))| Found {
            label: label.to_owned(),
            distance,
            pieces,
        })
        .collect();
    found.sort_by(|a, b| a.distance.total_cmp(&b.distance));
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pieces by their distances of moulding and decoration.
    fn compared(distances: &[(f64, Option<f64>)]) -> Vec<Compared> {
        (0..)
            .zip(distances)
            .map(|(piece, (form, pattern))| Compared {
                piece,
                view: piece,
                channels: Distances::default(),
                by_graph: None,
                distance: *form,
                levels: Levels {
                    form: Some(*form),
                    shape: Some(*form),
                    pattern: *pattern,
                    glaze: None,
                },
            })
            .collect()
    }

    #[test]
    fn a_piece_counts_that_is_near_by_moulding_and_by_decoration() {
        // Twelve pieces: by moulding the first are nearest, by decoration the last
        // and the third; the first shows no decoration.
        let mut distances: Vec<(f64, Option<f64>)> = (0..12)
            .map(|i| (0.1 + 0.05 * f64::from(i), Some(0.9 - 0.05 * f64::from(i))))
            .collect();
        distances[0].1 = None;
        distances[2].1 = Some(0.05);
        let compared = compared(&distances);
        assert_eq!(near_by_both(&compared, |_| true), [2].into());
        assert!(near_by_both(&compared, |piece| piece != 2).is_empty());
        // Of few pieces all are among the nearest that show a decoration.
        assert_eq!(near_by_both(&compared[..3], |_| true), [1, 2].into());
    }
}
