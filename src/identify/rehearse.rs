//! Rehearsal: photos of the cabinet are taken out and asked about, so that it is
//! known from the set itself how far its answers can be trusted.
//!
//! Each piece is asked about with all its own photos left out (what a piece of
//! its kind would find), and, where it has several, with only the asking one
//! left out (what the same piece, or one made alike, would find). Leaving a label
//! out altogether needs no search of its own: its candidates are struck off.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::{
    Options,
    compare::{self, Compared, Probe},
    reading::{Level, Levels, View},
    told::Told,
};
use crate::{cabinet::Snapshot, error::Result};

/// Labels kept of each answer, nearest first.
const KEPT: usize = 24;

/// What was left out when a photo was asked about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LeftOut {
    /// Every photo of its piece.
    Piece,
    /// The photo alone; its piece has others.
    Photo,
}

/// One photo of the cabinet, asked about.
#[derive(Clone, Debug)]
pub struct Trial {
    /// The view, by position in the snapshot.
    pub view: u32,
    /// Its piece, likewise.
    pub piece: u32,
    /// From where it shows the piece.
    pub seen: View,
    /// What was left out.
    pub left_out: LeftOut,
    /// Place of its own piece among all, nearest first from 1 on, by the combined
    /// distance; `None` where that piece was left out or is not among them.
    pub own_place: Option<usize>,
    /// What came of it on each level on which the piece is labelled.
    pub levels: Levels<Option<Asked>>,
}

/// A label that a question found on a level.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The label.
    pub label: String,
    /// Distance of its nearest piece.
    pub distance: f64,
    /// Pieces that bear it, of those that were compared.
    pub pieces: usize,
}

/// What came of a question on one level.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// The label that would have been right.
    pub truth: String,
    /// Labels, nearest first; the right one is among them if the set holds it.
    pub found: Vec<Found>,
    /// Average precision of the pieces by their distance on the level; `None` where
    /// no piece bears the label or none could be compared.
    pub average_precision: Option<f64>,
}

/// Parts into which trials are divided, so that none is judged by itself.
pub(super) const FOLDS: usize = 5;

/// The part of each trial. Trials of one piece fall into the same, for they tell
/// of each other.
pub(super) fn folds(trials: &[Trial]) -> Vec<usize> {
    let mut place: BTreeMap<u32, usize> = BTreeMap::new();
    trials
        .iter()
        .map(|trial| {
            let next = place.len();
            *place.entry(trial.piece).or_insert(next) % FOLDS
        })
        .collect()
}

/// Views to ask about: at most `most` pieces, spread over the whole cabinet, each
/// by so many of its photos. The same cabinet gives the same views.
pub fn sample(snapshot: &Snapshot, most: usize, photos_each: usize) -> Vec<u32> {
    let pieces = snapshot.pieces();
    let step = (pieces.len() as f64 / most.max(1) as f64).max(1.0);
    (0..)
        .map(|i| (i as f64 * step) as usize)
        .take_while(|piece| *piece < pieces.len())
        .enumerate()
        .flat_map(|(i, piece)| {
            // In turn from the first photo on, from the second and so on: people
            // begin with the best one, and are asked about any.
            let views = &pieces[piece].views;
            let first = i % views.len().max(1);
            views
                .iter()
                .cycle()
                .skip(first)
                .take(photos_each.min(views.len()))
        })
        .copied()
        .collect()
}

/// Asks about views of the cabinet. `asked` is called after each.
///
/// # Errors
/// As [`super::identify()`].
pub fn rehearse(
    snapshot: &Snapshot,
    options: &Options,
    views: &[u32],
    asked: &(dyn Fn() + Sync),
) -> Result<Vec<Trial>> {
    let trials: Vec<Vec<Trial>> = views
        .par_iter()
        .map(|view| {
            let trials = ask(snapshot, options, *view);
            asked();
            trials
        })
        .collect::<Result<_>>()?;
    Ok(trials.into_iter().flatten().collect())
}

/// The trials of one view. What its own piece's other photos add is taken away
/// from one answer, so that there is one search.
fn ask(snapshot: &Snapshot, options: &Options, view: u32) -> Result<Vec<Trial>> {
    let piece = snapshot.views()[view as usize].piece;
    let keep = |other: u32| other != view;
    let probes = [Probe::of_view(snapshot, view)];
    let views = compare::candidates(&probes, snapshot, options, &keep)?;
    let mut compared = compare::compare(&probes, snapshot, options, &views, &|_| false);
    let mut trials = Vec::new();
    if snapshot.pieces()[piece as usize].views.len() > 1 {
        trials.push(trial(&compared, snapshot, view, LeftOut::Photo));
    }
    compared.retain(|c| c.piece != piece);
    trials.push(trial(&compared, snapshot, view, LeftOut::Piece));
    Ok(trials)
}

fn trial(compared: &[Compared], snapshot: &Snapshot, view: u32, left_out: LeftOut) -> Trial {
    let own = snapshot.views()[view as usize].piece;
    let labels = &snapshot.piece(view).labels;
    let levels = Levels::each(|level| {
        let truth = labels.get(level.name())?.to_owned();
        let mut found = compare::by_label(compared, snapshot, level, &Told::default());
        let place = found.iter().position(|found| found.label == truth);
        found.truncate(place.map_or(KEPT, |place| KEPT.max(place + 1)));
        let hits = hits(compared, snapshot, level, &truth);
        let relevant = (0..)
            .zip(snapshot.pieces())
            .filter(|(piece, _)| left_out == LeftOut::Photo || *piece != own)
            .filter(|(_, piece)| piece.labels.get(level.name()) == Some(&truth))
            .count();
        Some(Asked {
            average_precision: average_precision(&hits, relevant).filter(|_| !hits.is_empty()),
            truth,
            found,
        })
    });
    Trial {
        view,
        piece: own,
        seen: snapshot.views()[view as usize].seen,
        left_out,
        own_place: compared
            .iter()
            .position(|c| c.piece == own)
            .map(|place| place + 1),
        levels,
    }
}

/// Which pieces bear a label, those nearest on the level first. Pieces without any
/// label there are passed over: they may be right or wrong.
fn hits(compared: &[Compared], snapshot: &Snapshot, level: Level, truth: &str) -> Vec<bool> {
    let mut ranked: Vec<(f64, bool)> = compare::on_level(compared, snapshot, level)
        .into_iter()
        .filter_map(|(piece, distance)| {
            let labels = &snapshot.pieces()[piece as usize].labels;
            Some((distance, labels.get(level.name())? == truth))
        })
        .collect();
    ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
    ranked.into_iter().map(|(_, hit)| hit).collect()
}

/// Average precision of a ranking: the mean, over all `relevant` items there are,
/// of the precision at each that was found. `None` if there are none.
fn average_precision(hits: &[bool], relevant: usize) -> Option<f64> {
    let found = hits.iter().enumerate().filter(|(_, hit)| **hit);
    let sum: f64 = (1..)
        .zip(found)
        .map(|(found, (i, _))| f64::from(found) / (i + 1) as f64)
        .sum();
    (relevant > 0).then(|| sum / relevant as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Manning, Raghavan & Schuetze, Introduction to Information Retrieval (2008),
    /// exercise 8.8: two rankings of four relevant documents.
    #[test]
    fn average_precision_as_in_the_book() {
        let ranking = |text: &str| -> Vec<bool> { text.chars().map(|c| c == 'R').collect() };
        let of = |text| average_precision(&ranking(text), 4).unwrap();
        let first = (1.0 + 2.0 / 3.0 + 3.0 / 9.0 + 4.0 / 10.0) / 4.0;
        let second = (1.0 / 2.0 + 2.0 / 5.0 + 3.0 / 6.0 + 4.0 / 7.0) / 4.0;
        assert!((of("RNRNNNNNRR") - first).abs() < 1e-12);
        assert!((of("NRNNRRRNNN") - second).abs() < 1e-12);
        assert!((first - 0.6).abs() < 1e-12 && (second - 0.493).abs() < 5e-4);
        // What is never found counts as nothing.
        assert_eq!(average_precision(&[true], 2), Some(0.5));
        assert_eq!(average_precision(&[false], 0), None);
    }
}
