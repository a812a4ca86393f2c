//! From described photos to readings: find candidates, measure them exactly on
//! every channel, rank each level of identity by the channels that speak on it,
//! and say how settled it is.

pub mod cautions;
pub mod reading;

mod advice;
mod align;
mod certainty;
mod glaze;
mod graph;
mod join;
mod look_alike;
mod weights;

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use rayon::prelude::*;

use crate::{
    cabinet::{ChannelSpec, Snapshot},
    channel::{self, Features, REGISTRY},
    colour::Difference,
    describe::Described,
    error::{Error, Kind, Result},
};
use align::Aligned;
use glaze::Glazes;
use reading::{Candidate, Levels, Match, PieceReading};

pub use graph::Neighbours;
pub use join::span;
pub use weights::Weights;

/// Candidates named on a level.
const CANDIDATES: usize = 5;

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Options {
    /// How the matches are ranked.
    pub weights: Weights,
    /// How many matches are wanted.
    pub top: usize,
    /// Whether views with the content of the query itself are left out.
    pub skip_same_photo: bool,
    /// From this number of views on, channels propose candidates first.
    pub scan_below: usize,
    /// Whether the outlines nearest by their vector are aligned point by point.
    pub align: bool,
    /// The cabinet's neighbourhood graph, where it is to order the aligned
    /// outlines anew.
    pub graph: Option<Arc<Neighbours>>,
}

/// One piece to be read: its views, each with the hash of its file.
#[derive(Clone, Debug)]
pub struct Query<'a> {
    /// Each view with the SHA-256 of its file.
    pub views: Vec<(&'a str, &'a Described)>,
}

/// The channels of the registry, as the cabinet wants them named.
pub fn channel_specs() -> Vec<ChannelSpec> {
    REGISTRY.iter().map(ChannelSpec::from).collect()
}

/// Distances by channel, in units of the usual distance between unrelated
/// pieces; `None` where either side lacks the channel.
type Distances = [Option<f64>; REGISTRY.len()];

/// A piece of the cabinet against the query.
struct Compared {
    piece: u32,
    /// Its nearest view.
    view: u32,
    /// Distances of that view, as measured.
    channels: Distances,
    /// The distance that stood for its outline's, where the neighbourhood graph
    /// ordered the outlines anew.
    by_graph: Option<f64>,
    /// Combined distance.
    distance: f64,
    /// Distance on each level, of whichever view is nearest there.
    levels: Levels<Option<f64>>,
}

/// A reading with the cabinet's views behind its matches.
#[derive(Clone, Debug)]
pub struct Identified {
    /// The answer.
    pub reading: PieceReading,
    /// For each match, the number of its view in the cabinet.
    pub view_ids: Vec<i64>,
}

/// Reads one piece.
///
/// # Errors
/// [`crate::error::Kind::Internal`] if a vector does not fit the index, or if
/// the query has no view.
pub fn identify(query: &Query<'_>, snapshot: &Snapshot, options: &Options) -> Result<Identified> {
    let Some((_, best)) = query.views.first() else {
        return Err(Error::new(
            Kind::Internal,
            "a piece without a view was to be read",
        ));
    };
    let own: BTreeSet<&str> = query.views.iter().map(|(sha256, _)| *sha256).collect();
    let keep = |view: u32| {
        !options.skip_same_photo || !own.contains(snapshot.views()[view as usize].sha256.as_str())
    };
    let views = candidates(query, snapshot, options, &keep)?;
    let mut compared = compare(query, snapshot, options, &views);
    compared.sort_by(|a, b| {
        a.distance
            .total_cmp(&b.distance)
            .then(a.piece.cmp(&b.piece))
    });

    let ranks: BTreeMap<u32, usize> = compared
        .iter()
        .take(options.top)
        .enumerate()
        .map(|(i, c)| (c.piece, i + 1))
        .collect();
    let candidates = Levels {
        form: level(&compared, snapshot, &ranks, "form", |l| l.form),
        shape: level(&compared, snapshot, &ranks, "shape", |l| l.shape),
        pattern: level(&compared, snapshot, &ranks, "pattern", |l| l.pattern),
        glaze: level(&compared, snapshot, &ranks, "glaze", |l| l.glaze),
    };
    let (levels, mut certainty) = certainty::judge(candidates);
    let glazes = Glazes::new(query, snapshot);
    glazes.doubt(&levels.glaze, &compared, &mut certainty.glaze);
    let matches: Vec<Match> = compared
        .iter()
        .take(options.top)
        .enumerate()
        .map(|(i, c)| as_match(i + 1, c, snapshot, glazes.difference(c)))
        .collect();
    let scale = best.cutout.photo_per_working;
    let bounds = best.outline.bounds();
    let px = |v: f32| (v * scale).round().max(0.0) as u32;
    let warnings: Vec<_> = query
        .views
        .iter()
        .flat_map(|(_, d)| d.warnings.iter())
        .collect();
    let advice = advice::advice(&levels, &certainty, &matches, &warnings);
    let joined = join::join(&levels, &certainty, &matches, snapshot.vocabulary());
    let look_alikes = look_alike::look_alikes(&levels, &certainty, &compared, snapshot);
    let view_ids = compared
        .iter()
        .take(options.top)
        .map(|c| snapshot.views()[c.view as usize].id)
        .collect();
    let reading = PieceReading {
        box_px: [
            px(bounds.left),
            px(bounds.top),
            px(bounds.width()),
            px(bounds.height()),
        ],
        mask_area_px2: (best.outline.area_px2() * f64::from(scale) * f64::from(scale)).round(),
        view: best.pose.view,
        reordered_by_graph: compared.iter().any(|c| c.by_graph.is_some()),
        levels: Levels {
            form: trimmed(levels.form),
            shape: trimmed(levels.shape),
            pattern: trimmed(levels.pattern),
            glaze: trimmed(levels.glaze),
        },
        certainty,
        joined,
        look_alikes,
        colour: glaze::colours(query),
        matches,
        advice,
        cautions: cautions::standing(),
    };
    Ok(Identified { reading, view_ids })
}

fn trimmed(mut candidates: Vec<Candidate>) -> Vec<Candidate> {
    candidates.truncate(CANDIDATES);
    candidates
}

/// The views worth measuring exactly: all of a small cabinet, else what the
/// channels that are asked for propose.
fn candidates(
    query: &Query<'_>,
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
    for (_, described) in &query.views {
        for (channel, vector) in described.features.iter().enumerate() {
            if let Some(vector) = vector
                && options.weights.any(channel)
            {
                let near = snapshot.nearest(channel, vector.as_slice(), wanted, keep)?;
                found.extend(near.into_iter().map(|f| f.view));
            }
        }
    }
    Ok(found.into_iter().collect())
}

/// Measures views on every channel and keeps for each piece its nearest.
fn compare(
    query: &Query<'_>,
    snapshot: &Snapshot,
    options: &Options,
    views: &[u32],
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
    let is_own = |view: u32| {
        let sha256 = snapshot.views()[view as usize].sha256.as_str();
        query.views.iter().any(|(own, _)| *own == sha256)
    };
    let align = |described: &Described| {
        let aligned = outline.and_then(|_| Aligned::new(described, snapshot, views))?;
        Some(match &options.graph {
            Some(graph) => aligned.reordered(described, snapshot, graph, &is_own),
            None => aligned,
        })
    };
    let aligned: Vec<Option<Aligned>> = query.views.iter().map(|(_, d)| align(d)).collect();
    let compare_piece = |(piece, views): &(u32, Vec<u32>)| {
        let mut measured: Vec<Vec<Distances>> = query
            .views
            .iter()
            .map(|(_, described)| {
                views
                    .iter()
                    .map(|view| distances(&described.features, snapshot, options, *view))
                    .collect()
            })
            .collect();
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
        let nearest = |combine: &dyn Fn(&Distances) -> Option<f64>| -> Option<f64> {
            let each: Vec<f64> = all
                .iter()
                .filter_map(|row| row.iter().filter_map(combine).min_by(f64::total_cmp))
                .collect();
            (!each.is_empty()).then(|| each.iter().sum::<f64>() / each.len() as f64)
        };
        let weights = &options.weights;
        let distance = nearest(&|d| weights.overall(d))?;
        let (_, from, at) = all
            .iter()
            .enumerate()
            .flat_map(|(from, row)| row.iter().enumerate().map(move |(at, d)| (from, at, d)))
            .filter_map(|(from, at, d)| Some((weights.overall(d)?, from, at)))
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        let graph = options.graph.as_ref().and(aligned[from].as_ref());
        Some(Compared {
            piece: *piece,
            view: views[at],
            channels: measured[from][at],
            by_graph: outline
                .filter(|_| graph.is_some())
                .and_then(|i| all[from][at][i]),
            distance,
            levels: Levels {
                form: nearest(&|d| weights.form(d)),
                shape: nearest(&|d| weights.shape(d)),
                pattern: nearest(&|d| weights.pattern(d)),
                glaze: nearest(&|d| weights.glaze(d)),
            },
        })
    };
    if views.len() > 2_000 {
        by_piece.par_iter().filter_map(compare_piece).collect()
    } else {
        by_piece.iter().filter_map(compare_piece).collect()
    }
}

fn distances(features: &Features, snapshot: &Snapshot, options: &Options, view: u32) -> Distances {
    std::array::from_fn(|channel| {
        if !REGISTRY[channel].ranked && !options.weights.any(channel) {
            return None;
        }
        let query = features.get(channel)?.as_ref()?;
        let stored = snapshot.vector(channel, view)?;
        let spec = &REGISTRY[channel];
        let distance = spec.metric.distance(query.as_slice(), stored);
        Some(f64::from(distance / spec.unrelated))
    })
}

/// Candidates of one level, nearest first: for each label its nearest piece.
fn level(
    compared: &[Compared],
    snapshot: &Snapshot,
    ranks: &BTreeMap<u32, usize>,
    name: &str,
    pick: impl Fn(&Levels<Option<f64>>) -> Option<f64>,
) -> Vec<Candidate> {
    let mut by_label: BTreeMap<&str, (f64, Vec<usize>)> = BTreeMap::new();
    for c in compared {
        let label = snapshot.pieces()[c.piece as usize].labels.get(name);
        if let (Some(label), Some(distance)) = (label, pick(&c.levels)) {
            let entry = by_label.entry(label).or_insert((f64::INFINITY, Vec::new()));
            entry.0 = entry.0.min(distance);
            entry.1.extend(ranks.get(&c.piece));
        }
    }
    let mut candidates: Vec<Candidate> = by_label
        .into_iter()
        .map(|(label, (distance, mut matches))| {
            matches.sort_unstable();
            Candidate {
                label: label.to_owned(),
                distance: rounded(distance),
                probability: 0.0,
                matches,
            }
        })
        .collect();
    candidates.sort_by(|a, b| a.distance.total_cmp(&b.distance));
    candidates
}

fn as_match(rank: usize, c: &Compared, snapshot: &Snapshot, ground: Option<Difference>) -> Match {
    let view = &snapshot.views()[c.view as usize];
    Match {
        rank,
        piece: snapshot.piece(c.view).name.clone(),
        photo: view.photo.clone(),
        distance: rounded(c.distance),
        channels: REGISTRY
            .iter()
            .zip(&c.channels)
            .filter_map(|(channel, d)| Some((channel.name.to_owned(), rounded((*d)?))))
            .collect(),
        outline_by_graph: c.by_graph.map(rounded),
        ground,
        labels: view
            .labels
            .iter()
            .map(|(k, v)| (k.to_owned(), v.to_owned()))
            .collect(),
    }
}

/// Four places are more than any photo can bear, and keep the output readable.
fn rounded(v: f64) -> f64 {
    (v * 1e4).round() / 1e4
}
