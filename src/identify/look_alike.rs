//! Labels of the short list that are hard to tell apart: where the nearest piece
//! of each differs, and what the curator noted.

use super::{
    compare::{Compared, Distances},
    reading::{Candidate, Certainty, ChannelApart, Level, Levels, LookAlike, Remark, Settled},
    rounded,
    weights::Weights,
};
use crate::{cabinet::Snapshot, channel::REGISTRY};

/// Compares a piece, given by its position in the snapshot, by what speaks on a
/// level alone: its view that is nearest overall may be another.
pub(super) type OnLevel<'a> = &'a dyn Fn(Level, u32) -> Option<Compared>;

/// The nearest label of each level that is not firm beside those that may be
/// meant instead.
pub(super) fn look_alikes(
    levels: &Levels<Vec<Candidate>>,
    certainty: &Levels<Certainty>,
    settled: &Levels<Settled>,
    compared: &[Compared],
    snapshot: &Snapshot,
    on_level: OnLevel<'_>,
) -> Vec<LookAlike> {
    let mut found = Vec::new();
    for level in Level::ALL {
        let candidates = levels.get(level);
        let named = match certainty.get(level) {
            Certainty::Firm | Certainty::Unknown => 0,
            Certainty::Likely => 2,
            Certainty::Several => settled.get(level).short_list,
        };
        let mut named = candidates.iter().take(named);
        let Some(first) = named.next() else { continue };
        for other in named {
            found.push(pair(level, [first, other], compared, snapshot, on_level));
        }
    }
    found
}

fn pair(
    level: Level,
    candidates: [&Candidate; 2],
    compared: &[Compared],
    snapshot: &Snapshot,
    on_level: OnLevel<'_>,
) -> LookAlike {
    let labels = candidates.map(|candidate| candidate.label.clone());
    let note = snapshot.note(level.name(), &labels[0], &labels[1]);
    let nearest = [0, 1].map(|i| nearest(level, &labels[i], compared, snapshot));
    let seen = nearest.map(|at| on_level(level, compared[at?].piece));
    let named = |name: &dyn Fn(u32) -> String| {
        [0, 1].map(|i| seen[i].as_ref().map_or_else(String::new, |c| name(c.view)))
    };
    LookAlike {
        level: level.name().to_owned(),
        note: note.map(|note| Remark {
            text: note.text.clone(),
            who: note.who.clone(),
            at: note.at.clone(),
        }),
        pieces: named(&|view| snapshot.piece(view).name.clone()),
        photos: named(&|view| snapshot.views()[view as usize].photo.clone()),
        channels: match &seen {
            [Some(a), Some(b)] => channels(level, [a, b], snapshot),
            _ => Vec::new(),
        },
        // Matches are the first of the compared pieces, in their order.
        ranks: nearest.map(|at| at.map(|at| at + 1)),
        labels,
    }
}

/// Position of the piece of a label that is nearest on its level.
fn nearest(level: Level, label: &str, compared: &[Compared], snapshot: &Snapshot) -> Option<usize> {
    let mut best: Option<(f64, usize)> = None;
    for (at, c) in compared.iter().enumerate() {
        let distance = c.levels.get(level);
        // Numbers first: most pieces are out by them, without a look at labels.
        if let Some(distance) = *distance
            && best.is_none_or(|(least, _)| distance < least)
            && snapshot.pieces()[c.piece as usize].labels.get(level.name()) == Some(label)
        {
            best = Some((distance, at));
        }
    }
    best.map(|(_, at)| at)
}

/// How far the photo is from both pieces, and they from each other, on each
/// channel that speaks on the level; what parts them most comes first.
fn channels(level: Level, [a, b]: [&Compared; 2], snapshot: &Snapshot) -> Vec<ChannelApart> {
    let mut found: Vec<ChannelApart> = REGISTRY
        .iter()
        .enumerate()
        .filter(|(i, _)| speaks(level, *i))
        .filter_map(|(i, channel)| {
            let apart = snapshot
                .vector(i, a.view)
                .zip(snapshot.vector(i, b.view))
                .map(|(a, b)| f64::from(channel.metric.distance(a, b) / channel.unrelated));
            Some(ChannelApart {
                channel: channel.name.to_owned(),
                distances: [rounded(a.channels[i]?), rounded(b.channels[i]?)],
                apart: apart.map(rounded),
            })
        })
        .collect();
    let parted = |c: &ChannelApart| (c.distances[0] - c.distances[1]).abs();
    found.sort_by(|x, y| parted(y).total_cmp(&parted(x)));
    found
}

/// Whether a channel counts on a level.
fn speaks(level: Level, channel: usize) -> bool {
    let mut alone: Distances = [None; REGISTRY.len()];
    alone[channel] = Some(0.0);
    let weights = Weights::default().alone(level);
    weights.overall(&alone).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_surface_says_nothing_about_a_shape_nor_the_outline_about_a_pattern() {
        let of = |level| -> Vec<&str> {
            let speaking = (0..REGISTRY.len()).filter(|i| speaks(level, *i));
            speaking.map(|i| REGISTRY[i].name).collect()
        };
        assert_eq!(of(Level::Shape), ["outline", "form"]);
        assert_eq!(of(Level::Form), ["outline", "form"]);
        assert_eq!(of(Level::Pattern), ["decoration", "colour"]);
        assert_eq!(of(Level::Glaze), ["colour"]);
    }
}
