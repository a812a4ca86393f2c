//! Colours in the reading: what the piece has, and which glazes of the set the
//! photos can tell from it at all.

use super::{
    Query,
    compare::Compared,
    reading::{Candidate, ColourReading, NamedSwatch},
};
use crate::{
    cabinet::Snapshot,
    channel,
    colour::{self, Difference, Ground},
};

/// Outlines nearer than this (in units of unrelated pieces) are one form, so
/// that one light shades both alike.
const SAME_OUTLINE: f64 = 0.35;

/// The query's ground beside those of the set.
pub(super) struct Glazes<'a> {
    own: Option<Ground>,
    snapshot: &'a Snapshot,
}

impl<'a> Glazes<'a> {
    pub(super) fn new(query: &Query<'_>, snapshot: &'a Snapshot) -> Self {
        let own = query
            .views
            .iter()
            .find_map(|(_, described)| described.colours.ground.clone());
        Self { own, snapshot }
    }

    /// How far a piece's ground is from the query's.
    pub(super) fn difference(&self, compared: &Compared) -> Option<Difference> {
        let ground = channel::position("ground")?;
        let stored = Ground::from_numbers(self.snapshot.vector(ground, compared.view)?)?;
        let outline = compared.channels[channel::position("outline")?];
        let same_outline = outline.is_some_and(|d| d < SAME_OUTLINE);
        Some(colour::difference(
            self.own.as_ref()?,
            &stored,
            same_outline,
        ))
    }

    /// How many labels, from the nearest on, these photos cannot tell from the
    /// nearest; 1 where none.
    pub(super) fn within_doubt(&self, candidates: &[Candidate], compared: &[Compared]) -> usize {
        let nearest = |label: &str| {
            compared
                .iter()
                .filter(|c| {
                    let labels = &self.snapshot.pieces()[c.piece as usize].labels;
                    labels.get("glaze") == Some(label)
                })
                .filter_map(|c| Some((c.levels.glaze?, c)))
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(_, c)| c)
        };
        let in_doubt = |candidate: &Candidate| {
            nearest(&candidate.label)
                .and_then(|compared| self.difference(compared))
                .is_some_and(|d| !d.told_apart)
        };
        1 + candidates
            .iter()
            .skip(1)
            .take_while(|candidate| in_doubt(candidate))
            .count()
    }
}

/// The colours of the first view that shows any.
pub(super) fn colours(query: &Query<'_>) -> Option<ColourReading> {
    query.views.iter().find_map(|(_, described)| {
        let colours = &described.colours;
        Some(ColourReading {
            balance: colours.balance.reference,
            ground: colours.ground.clone()?,
            decoration: colours
                .decoration()
                .into_iter()
                .map(|swatch| NamedSwatch {
                    swatch: swatch.clone(),
                    name: colour::words(swatch.lab),
                })
                .collect(),
        })
    })
}
