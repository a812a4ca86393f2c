//! How well a cabinet answers, by trying it on itself: its own photos are asked
//! about, each with its piece left out ([`crate::identify::rehearse`]), and what
//! came of it is counted.
//!
//! [`Assessment`] is the result, in the form of the schema
//! `footring.assessment/1` (documented in the README). Field names and order here
//! *are* the schema.

mod baseline;
mod curve;
mod mixed;
mod rate;
mod unknown;
mod word;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use baseline::{Plain, difference_hash};
pub use curve::{Bin, Curve, RiskPoint};
pub use mixed::{Confusion, Mixed};
pub use rate::Rate;
pub use unknown::Known;
pub use word::WordKept;

use crate::{
    cabinet::Snapshot,
    identify::{
        crossed::{self, Verdict},
        reading::{Level, Levels},
        rehearse::{Asked, LeftOut, Trial},
    },
};

/// Name and version of the schema.
pub const SCHEMA: &str = "footring.assessment/1";

/// How well a cabinet answers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Assessment {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// The cabinet's folder as given.
    pub cabinet: String,
    /// Pieces in it.
    pub pieces: usize,
    /// Photos in it.
    pub photos: usize,
    /// Pieces asked about, each by one photo.
    pub asked: usize,
    /// What came of it on each level.
    pub levels: Levels<LevelAssessment>,
    /// The same piece in another photo, where that was asked for.
    pub same_piece: Option<SamePiece>,
}

/// How well one level is answered. Rates are absent where nothing was asked.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct LevelAssessment {
    /// Why the level could not be tried.
    pub note: Option<String>,
    /// Pieces of the set labelled on it.
    pub pieces: usize,
    /// Labels of the set.
    pub labels: usize,
    /// Pieces asked about that do not show it, or only to channels that the set
    /// lacks; they count nowhere below.
    pub not_shown: usize,
    /// The right label comes first.
    pub r1: Option<Rate>,
    /// It is among the first five.
    pub r5: Option<Rate>,
    /// Mean over labels of each label's own rate; `n` counts labels.
    pub macro_r1: Option<Rate>,
    /// As `macro_r1`, of the first five.
    pub macro_r5: Option<Rate>,
    /// Mean average precision of the pieces, ranked by distance on the level.
    pub map: Option<Rate>,
    /// The right label comes first by something trivial.
    pub baselines: Baselines,
    /// How often a piece is taken to be not in the set, before anything is seen.
    pub unknown_before: Option<f64>,
    /// How far shares are right.
    pub calibration: Option<Curve>,
    /// What is wrong of the surest answers, surest first.
    pub risk: Vec<RiskPoint>,
    /// Whether the words keep what they promise.
    pub words: Vec<WordKept>,
    /// How well "not in the set" is told.
    pub known: Option<Known>,
    /// What was taken for what, most frequent first.
    pub confusions: Vec<Confusion>,
    /// Labels that are hard to tell apart here, the hardest first.
    pub look_alikes: Vec<Mixed>,
    /// Labels of one piece only: nothing is left to find when that is asked about.
    pub single: Vec<String>,
}

/// R@1 of each trivial baseline, on the same questions; absent where the photos
/// lack what it needs.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Baselines {
    /// Height over width of the outline's box.
    pub aspect_ratio: Option<Rate>,
    /// L*a*b* of the ground.
    pub ground_lab: Option<Rate>,
    /// A difference hash of the thumbnail.
    pub thumbnail_hash: Option<Rate>,
}

/// How well the same piece is found in another photo.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SamePiece {
    /// Pieces of several photos that were asked about, each by one of them.
    pub asked: usize,
    /// The nearest piece is the same one.
    pub r1: Option<Rate>,
    /// Mean average precision; with one right piece a question this is the mean of
    /// one over its place.
    pub map: Option<Rate>,
}

/// Counts what came of trials. `plain` holds what the baselines need.
pub fn assess(snapshot: &Snapshot, trials: &[Trial], plain: &Plain) -> Levels<LevelAssessment> {
    let verdicts = crossed::verdicts(trials);
    Levels::each(|level| {
        let mut labelled: BTreeMap<&str, usize> = BTreeMap::new();
        for piece in snapshot.pieces() {
            if let Some(label) = piece.labels.get(level.name()) {
                *labelled.entry(label).or_default() += 1;
            }
        }
        let asked: Vec<(u32, &Asked)> = trials
            .iter()
            .filter(|trial| trial.left_out == LeftOut::Piece)
            .filter_map(|trial| Some((trial.view, trial.levels.get(level).as_ref()?)))
            .collect();
        let baselines = |views: &[u32]| plain.baselines(snapshot, level, views);
        let mut assessed = count(&labelled, &asked, verdicts.get(level), &baselines);
        for pair in &mut assessed.look_alikes {
            let [a, b] = &pair.labels;
            pair.note = snapshot.note(level.name(), a, b).map(|n| n.text.clone());
        }
        assessed
    })
}

/// How well the same piece is found in another photo, by the combined distance.
pub fn same_piece(trials: &[Trial]) -> SamePiece {
    let places: Vec<Option<usize>> = trials
        .iter()
        .filter(|trial| trial.left_out == LeftOut::Photo)
        .map(|trial| trial.own_place)
        .collect();
    let over = |place: &Option<usize>| place.map_or(0.0, |place| 1.0 / place as f64);
    SamePiece {
        asked: places.len(),
        r1: Rate::of(places.iter().map(|place| *place == Some(1))),
        map: Rate::mean(places.iter().map(over)),
    }
}

/// One level. `labelled` has the set's labels with their number of pieces, `asked`
/// the questions with the piece left out, by view.
fn count(
    labelled: &BTreeMap<&str, usize>,
    asked: &[(u32, &Asked)],
    verdicts: &[Verdict],
    baselines: &dyn Fn(&[u32]) -> Baselines,
) -> LevelAssessment {
    let single: Vec<String> = labelled
        .iter()
        .filter(|(_, pieces)| **pieces < 2)
        .map(|(label, _)| (*label).to_owned())
        .collect();
    // Only what the set still holds without the piece can be found.
    let answerable: Vec<(u32, &Asked)> = asked
        .iter()
        .copied()
        .filter(|(_, asked)| labelled.get(asked.truth.as_str()).is_some_and(|n| *n > 1))
        .collect();
    let (shown, hidden): (Vec<_>, Vec<_>) = answerable
        .into_iter()
        .partition(|(_, asked)| !asked.found.is_empty());
    let note = match () {
        () if labelled.is_empty() => Some("no piece is labelled on this level"),
        () if labelled.len() == single.len() => Some("no label has two pieces"),
        () if shown.is_empty() && !hidden.is_empty() => {
            Some("no photo that was asked about shows it")
        }
        () if shown.is_empty() => Some("no piece that was asked about shares its label"),
        () if labelled.len() == 1 => Some("one label only: nothing to take it for"),
        () => None,
    };
    let mut assessed = LevelAssessment {
        note: note.map(str::to_owned),
        pieces: labelled.values().sum(),
        labels: labelled.len(),
        not_shown: hidden.len(),
        single,
        ..LevelAssessment::default()
    };
    if shown.is_empty() {
        return assessed;
    }
    let places: Vec<(&str, Option<usize>)> = shown
        .iter()
        .map(|(_, asked)| (asked.truth.as_str(), place(asked)))
        .collect();
    let within = |k: usize| {
        places
            .iter()
            .map(move |(truth, place)| (*truth, place.is_some_and(|place| place < k)))
    };
    let views: Vec<u32> = shown.iter().map(|(view, _)| *view).collect();
    let asked: Vec<&Asked> = shown.iter().map(|(_, asked)| *asked).collect();
    assessed.r1 = Rate::of(within(1).map(|(_, right)| right));
    assessed.r5 = Rate::of(within(5).map(|(_, right)| right));
    assessed.macro_r1 = Rate::over_labels(within(1));
    assessed.macro_r5 = Rate::over_labels(within(5));
    assessed.map = Rate::mean(asked.iter().filter_map(|asked| asked.average_precision));
    assessed.baselines = baselines(&views);
    assessed.unknown_before = curve::unknown_before(verdicts);
    assessed.calibration = curve::calibration(verdicts);
    assessed.risk = curve::risk(verdicts);
    assessed.words = word::kept(verdicts);
    assessed.known = unknown::known(verdicts);
    assessed.confusions = mixed::confusions(&asked);
    assessed.look_alikes = mixed::look_alikes(&asked);
    assessed
}

/// Place of the right label, from 0 on.
fn place(asked: &Asked) -> Option<usize> {
    asked
        .found
        .iter()
        .position(|found| found.label == asked.truth)
}

impl Assessment {
    /// Whether any level could be tried.
    pub fn is_any(&self) -> bool {
        Level::ALL
            .iter()
            .any(|level| self.levels.get(*level).r1.is_some())
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::identify::{reading::View, rehearse::Found};

    /// A question of which these labels came back, nearest first, a tenth apart.
    pub(crate) fn asked(truth: &str, found: &[&str]) -> Asked {
        Asked {
            truth: truth.to_owned(),
            found: (1..)
                .zip(found)
                .map(|(i, label)| Found {
                    label: (*label).to_owned(),
                    distance: 0.1 * f64::from(i),
                    pieces: 2,
                })
                .collect(),
            average_precision: Some(0.5),
        }
    }

    #[test]
    fn rates_are_over_questions_and_over_labels() {
        let questions = [
            asked("A", &["A", "B"]),
            asked("A", &["A", "B"]),
            asked("A", &["A", "B"]),
            asked("B", &["A", "B"]),
            // Of C there is one piece: not to be found when it is left out.
            asked("C", &["A", "B"]),
            asked("B", &[]),
        ];
        let by_view: Vec<(u32, &Asked)> = (0..).zip(&questions).collect();
        let labelled = [("A", 4), ("B", 3), ("C", 1)].into();
        let found = count(&labelled, &by_view, &[], &|views| {
            assert_eq!(views, [0, 1, 2, 3]);
            Baselines::default()
        });
        assert_eq!((found.pieces, found.labels, found.not_shown), (8, 3, 1));
        assert_eq!(found.single, ["C"]);
        let rate = |rate: &Option<Rate>| rate.as_ref().map(|r| (r.rate, r.n));
        assert_eq!(rate(&found.r1), Some((0.75, 4)));
        assert_eq!(rate(&found.r5), Some((1.0, 4)));
        // A always, B never.
        assert_eq!(rate(&found.macro_r1), Some((0.5, 2)));
        assert_eq!(found.note, None);
    }

    #[test]
    fn a_level_that_cannot_be_tried_says_why() {
        let note = |labelled: &[(&str, usize)], asked: &[(u32, &Asked)]| {
            let labelled = labelled.iter().copied().collect();
            let found = count(&labelled, asked, &[], &|_| Baselines::default());
            assert_eq!(found.r1, None);
            found.note.unwrap()
        };
        assert!(note(&[], &[]).contains("labelled"));
        assert!(note(&[("A", 1), ("B", 1)], &[]).contains("two pieces"));
        let hidden = asked("A", &[]);
        assert!(note(&[("A", 2)], &[(0, &hidden)]).contains("shows"));
        assert!(note(&[("A", 2), ("B", 1)], &[]).contains("shares"));
    }

    #[test]
    fn the_same_piece_is_counted_by_its_place() {
        let trial = |own_place| Trial {
            view: 0,
            piece: 0,
            seen: View::Side,
            left_out: LeftOut::Photo,
            own_place,
            levels: Levels::default(),
        };
        let found = same_piece(&[trial(Some(1)), trial(Some(4)), trial(None), trial(Some(1))]);
        assert_eq!(found.asked, 4);
        assert_eq!(found.r1.unwrap().rate, 0.5);
        assert_eq!(found.map.unwrap().rate, (1.0 + 0.25 + 0.0 + 1.0) / 4.0);
    }
}
