//! From described photos to readings: find candidates, measure them exactly on
//! every channel, rank each level of identity by the channels that speak on it,
//! and say how settled it is.

pub mod cautions;
pub mod reading;

mod advice;
mod align;
pub mod calibrate;
mod certainty;
mod compare;
pub mod crossed;
mod decoration;
mod details;
mod glaze;
mod graph;
mod join;
mod look_alike;
pub mod rehearse;
mod short_list;
mod surface;
pub mod told;
mod treatment;
mod weights;

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use crate::{
    cabinet::{ChannelSpec, Snapshot},
    channel::REGISTRY,
    colour::Difference,
    describe::Described,
    error::{Error, Kind, Result},
};
use calibrate::Calibration;
use compare::{Compared, Probe};
use glaze::Glazes;
use reading::{Candidate, Certainty, Level, Levels, Match, PieceReading, View};
use told::Told;

pub use graph::Neighbours;
pub use join::span;
pub use weights::Weights;

/// Candidates named on a level; more where the short list is longer.
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
    /// Whether the decorations nearest by their vector are compared once more, by
    /// the places that say most.
    pub details: bool,
    /// What is known of the piece already.
    pub told: Told,
    /// How distances turn into certainty.
    pub calibration: Arc<Calibration>,
    /// The cabinet's neighbourhood graph, where it is to order the aligned
    /// outlines anew.
    pub graph: Option<Arc<Neighbours>>,
}

impl Options {
    /// Which second looks are taken: distances differ with and without.
    pub(crate) fn second_looks(&self) -> [bool; 2] {
        [self.align, self.details]
    }
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
    let is_own = |view: u32| own.contains(snapshot.views()[view as usize].sha256.as_str());
    let keep = |view: u32| !options.skip_same_photo || !is_own(view);
    let probes: Vec<Probe<'_>> = query
        .views
        .iter()
        .map(|(_, described)| Probe::of_photo(described))
        .collect();
    let views = compare::candidates(&probes, snapshot, options, &keep)?;
    let compared = compare::compare(&probes, snapshot, options, &views, &is_own);

    let ranks: BTreeMap<u32, usize> = compared
        .iter()
        .take(options.top)
        .enumerate()
        .map(|(i, c)| (c.piece, i + 1))
        .collect();
    let mut levels =
        Levels::each(|level| as_candidates(&compared, snapshot, &ranks, level, &options.told));
    let seen: Vec<View> = query.views.iter().map(|(_, d)| d.pose.view).collect();
    let (mut certainty, mut settled) = certainty::judge(&mut levels, &options.calibration, &seen);
    let glazes = Glazes::new(query, snapshot);
    // What the photos cannot tell apart is open, whatever the trials say.
    let within_doubt = glazes.within_doubt(&levels.glaze, &compared);
    settled.glaze.short_list = settled
        .glaze
        .short_list
        .max(within_doubt.min(levels.glaze.len()));
    if within_doubt > 1 && matches!(certainty.glaze, Certainty::Firm | Certainty::Likely) {
        certainty.glaze = Certainty::Several;
    }
    certainty::as_told(&options.told, &mut levels, &mut certainty, &mut settled);
    let moulding = match options.told.label(Level::Shape) {
        // A told shape is not in doubt.
        Some(_) => Vec::new(),
        None => compare::shapes_by_moulding(&compared, snapshot, &options.told),
    };
    let perhaps_new = join::perhaps_new(&levels, &certainty, &moulding, snapshot.vocabulary());
    if let Some(new) = &perhaps_new {
        certainty::open_for(
            &new.shape,
            &levels.shape,
            &mut certainty.shape,
            &mut settled.shape,
        );
    }
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
    let surfaces = surface::read(query);
    let treatment = treatment::read(&surfaces);
    let decoration = decoration::read(query, &surfaces, &levels.pattern, certainty.pattern);
    let mut advice = advice::advice(&levels, &certainty, &matches, &warnings, &seen);
    advice.extend(treatment::advice(&treatment));
    let joined = join::join(
        &levels,
        &certainty,
        &matches,
        perhaps_new,
        snapshot.vocabulary(),
    );
    let on_level = |level: Level, piece: u32| {
        let alone = Options {
            weights: options.weights.alone(level),
            align: options.align && matches!(level, Level::Form | Level::Shape),
            details: options.details && matches!(level, Level::Shape | Level::Pattern),
            graph: None,
            ..options.clone()
        };
        let views = snapshot.pieces()[piece as usize].views.iter().copied();
        let views: Vec<u32> = views.filter(|view| keep(*view)).collect();
        compare::compare(&probes, snapshot, &alone, &views, &is_own)
            .into_iter()
            .next()
    };
    let look_alikes = look_alike::look_alikes(
        &levels, &certainty, &settled, &compared, snapshot, &on_level,
    );
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
        levels: Levels::each(|level| {
            let candidates = levels.get(level);
            let named = CANDIDATES.max(settled.get(level).short_list);
            candidates[..candidates.len().min(named)].to_vec()
        }),
        certainty,
        joined,
        look_alikes,
        settled,
        colour: glaze::colours(query),
        surface: surface::reading(query, &surfaces),
        treatment,
        decoration,
        matches,
        advice,
        cautions: cautions::standing(),
    };
    Ok(Identified { reading, view_ids })
}

/// Candidates of one level, nearest first, with the ranks of the matches behind
/// each.
fn as_candidates(
    compared: &[Compared],
    snapshot: &Snapshot,
    ranks: &BTreeMap<u32, usize>,
    level: Level,
    told: &Told,
) -> Vec<Candidate> {
    let mut behind: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (piece, rank) in ranks {
        if let Some(label) = snapshot.pieces()[*piece as usize].labels.get(level.name()) {
            behind.entry(label).or_default().push(*rank);
        }
    }
    compare::by_label(compared, snapshot, level, told)
        .into_iter()
        .map(|found| {
            let mut matches = behind.remove(found.label.as_str()).unwrap_or_default();
            matches.sort_unstable();
            Candidate {
                distance: rounded(found.distance),
                pieces: found.pieces,
                probability: 0.0,
                matches,
                label: found.label,
            }
        })
        .collect()
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
