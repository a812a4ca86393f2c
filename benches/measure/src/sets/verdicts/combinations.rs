//! Combinations of a shape and a pattern that a set does not hold: are they found,
//! and is any bent into one that it holds?

use std::{
    collections::{BTreeMap, BTreeSet},
    path::PathBuf,
};

use super::{World, question};
use crate::{
    Result,
    answer::{Answer, Piece},
    bench::Bench,
    line::Line,
    rng::Rng,
};

pub(super) const NAME: &str = "verdicts.pairs";

/// Pairs of labels that a set holds on one piece.
pub(super) struct Seen<'a> {
    /// Shape and pattern.
    pairs: BTreeSet<(&'a str, &'a str)>,
    /// Shape and piece type.
    moulds: BTreeSet<(&'a str, &'a str)>,
}

impl<'a> Seen<'a> {
    pub(super) fn new(world: &'a World, added: &[PathBuf]) -> Self {
        let both = |a: &str, b: &str| -> BTreeSet<(&'a str, &'a str)> {
            let of = added.iter().map(|p| world.of(p));
            of.map(|l| (l[a].as_str(), l[b].as_str())).collect()
        };
        Self {
            pairs: both("shape", "pattern"),
            moulds: both("shape", "form"),
        }
    }

    fn has_pattern(&self, pattern: &str) -> bool {
        self.pairs.iter().any(|pair| pair.1 == pattern)
    }
}

/// Whether a new combination, or perhaps one, was said of each piece.
#[derive(Default)]
pub(super) struct Tally {
    new: Vec<bool>,
    /// Of the new ones, called another shape, firmly.
    bent: usize,
    old: Vec<bool>,
    other_type: Vec<bool>,
}

impl Tally {
    /// Counts new pairs of a shape and a pattern that the set knows apart, and pairs that
    /// are none. Only those count as new of which the set has the shape in this very piece
    /// type: of a cup nobody can tell the shape by its plates.
    pub(super) fn count(
        &mut self,
        world: &World,
        seen: &Seen<'_>,
        asked: &[PathBuf],
        answers: &[Answer],
    ) {
        for (photo, answer) in asked.iter().zip(answers) {
            let own = world.of(photo);
            let pair = (own["shape"].as_str(), own["pattern"].as_str());
            let piece = answer.pieces.first();
            let is_said = piece.is_some_and(|piece| {
                ["new", "perhaps_new"].contains(&piece.joined.combination.as_str())
            });
            if seen.pairs.contains(&pair) {
                self.old.push(is_said);
            } else if !seen.has_pattern(pair.1) {
                continue;
            } else if seen.moulds.contains(&(pair.0, own["form"].as_str())) {
                self.bent += usize::from(piece.is_some_and(|p| is_bent(p, pair.0)));
                self.new.push(is_said);
            } else if seen.moulds.iter().any(|mould| mould.0 == pair.0) {
                self.other_type.push(is_said);
            }
        }
    }

    pub(super) fn put(&self, bench: &mut Bench, name: &str) {
        let share = |end: &str, said: &[bool]| {
            let count = said.iter().filter(|said| **said).count();
            Line::share(format!("{name}.{end}"), count, said.len())
        };
        bench.put(
            share("new_found", &self.new)
                .at_least(0.90)
                .note("the set has this piece type of the shape, and the pattern, not together: reported as a new combination, or perhaps one"),
        );
        bench.put(
            Line::share(format!("{name}.new_bent"), self.bent, self.new.len())
                .note("of those, called another shape, firmly"),
        );
        bench.put(
            share("new_found_other_type", &self.other_type)
                .note("the same where the set has the shape in other piece types only"),
        );
        bench.put(
            share("new_alarms", &self.old)
                .at_most(0.03)
                .note("shape and pattern are together in the set, and called a new combination, or perhaps one"),
        );
    }
}

fn is_bent(piece: &Piece, shape: &str) -> bool {
    let first = piece.levels.of("shape").first();
    piece.certainty.of("shape") == "firm" && first.is_some_and(|c| c.label != shape)
}

/// Sets that know each pattern on one shape alone, as those of beginners do.
const SETS: usize = 3;

/// Asks such sets; the answers of all are counted together.
pub(super) fn pairs(bench: &mut Bench, world: &World) -> Result<()> {
    if !bench.wants(NAME) {
        return Ok(());
    }
    let mut shapes: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for labels in world.eligible() {
        let shapes = shapes.entry(&labels["pattern"]).or_default();
        shapes.insert(&labels["shape"]);
    }
    let mut rng = Rng::new(77_011);
    let mut tally = Tally::default();
    let asked = world.asked();
    for _ in 0..SETS {
        let chosen: BTreeSet<(&str, &str)> = shapes
            .iter()
            .map(|(pattern, shapes)| {
                let mut shapes: Vec<&str> = shapes.iter().copied().collect();
                rng.shuffle(&mut shapes);
                (shapes[0], *pattern)
            })
            .collect();
        let pieces: BTreeSet<&str> = world
            .eligible()
            .filter(|l| chosen.contains(&(l["shape"].as_str(), l["pattern"].as_str())))
            .map(|l| l["piece"].as_str())
            .collect();
        let added = world.added(&pieces);
        let cabinet = world.cabinet(bench, &added)?;
        let found = bench.ask("verdicts", &question(&cabinet, &asked))?;
        tally.count(world, &Seen::new(world, &added), &asked, &found.answers);
    }
    tally.put(bench, NAME);
    Ok(())
}
