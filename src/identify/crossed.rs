//! Trials judged by what the others taught, so that a cabinet's promises can be
//! held against its own photos.

use rayon::prelude::*;

use super::{
    calibrate::{Calibration, Judge, worth},
    certainty::{self, Rests},
    reading::{Certainty, Level, Levels},
    rehearse::{Asked, FOLDS, Found, LeftOut, Trial, folds},
};

/// What was asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Case {
    /// With the piece left out; others bear its label.
    Piece,
    /// With the photo left out; others show its piece.
    Photo,
    /// With the label left out, so that the right answer is "not in the set".
    StruckOff,
}

/// How a level of a trial was judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    /// What was asked.
    pub case: Case,
    /// Share of the evidence of the first label.
    pub share: f64,
    /// Share of the evidence of "not in the set".
    pub unknown: f64,
    /// The word that an answer would bear.
    pub word: Certainty,
    /// Whether the first label is right.
    pub is_right: bool,
    /// Labels on the short list; 0 where there is none.
    pub listed: usize,
    /// Whether the right one is among them.
    pub is_listed: bool,
    /// How often a piece was taken to be not in the set, before anything was seen.
    pub unknown_before: f64,
}

/// Judges each trial by what the trials of other pieces taught: parameters, limits
/// of the words and length of the list. A trial of which
/// the set holds no piece with the label is judged as struck off alone.
pub fn verdicts(trials: &[Trial]) -> Levels<Vec<Verdict>> {
    let fold_of = folds(trials);
    let by_fold = |is_wanted: &dyn Fn(usize) -> bool| -> Vec<&Trial> {
        let each = trials.iter().zip(&fold_of);
        each.filter(|(_, fold)| is_wanted(**fold))
            .map(|(trial, _)| trial)
            .collect()
    };
    let judged: Vec<Levels<Vec<Verdict>>> = (0..FOLDS)
        .into_par_iter()
        .map(|fold| {
            let others: Vec<Trial> = by_fold(&|f| f != fold).into_iter().cloned().collect();
            let calibration = Calibration::learn(&others);
            Levels::each(|level| {
                by_fold(&|f| f == fold)
                    .into_iter()
                    .filter_map(|trial| Some((trial, trial.levels.get(level).as_ref()?)))
                    .flat_map(|(trial, asked)| {
                        judge(level, calibration.levels.get(level), trial, asked)
                    })
                    .collect()
            })
        })
        .collect();
    Levels::each(|level| {
        judged
            .iter()
            .flat_map(|fold| fold.get(level))
            .copied()
            .collect()
    })
}

fn judge(level: Level, judge: &Judge, trial: &Trial, asked: &Asked) -> Vec<Verdict> {
    let seen = [trial.seen];
    let verdict = |case: Case, found: &[&Found]| {
        let distances: Vec<f64> = found.iter().map(|f| f.distance).collect();
        let rests = Rests::new(found.iter().map(|f| f.pieces), &seen);
        let shares = judge.shares(&distances, worth(level, &seen));
        let place = found.iter().position(|f| f.label == asked.truth);
        let listed = judge.short_list(&shares).unwrap_or(0);
        Verdict {
            case,
            share: shares.first(),
            unknown: shares.unknown,
            word: certainty::word(level, judge, &shares, rests),
            is_right: place == Some(0),
            listed,
            is_listed: place.is_some_and(|place| place < listed),
            unknown_before: judge.unknown_before,
        }
    };
    let all: Vec<&Found> = asked.found.iter().collect();
    let others: Vec<&Found> = all
        .iter()
        .copied()
        .filter(|found| found.label != asked.truth)
        .collect();
    let mut verdicts = Vec::new();
    if others.len() < all.len() {
        let case = match trial.left_out {
            LeftOut::Piece => Case::Piece,
            LeftOut::Photo => Case::Photo,
        };
        verdicts.push(verdict(case, &all));
    }
    // With its label struck off a photo is asked one and the same, whatever else
    // was left out: once is enough.
    if trial.left_out == LeftOut::Piece && !others.is_empty() {
        verdicts.push(verdict(Case::StruckOff, &others));
    }
    verdicts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::identify::reading::View;

    fn trial(view: u32, left_out: LeftOut, truth: &str, found: &[(&str, f64)]) -> Trial {
        let asked = Asked {
            truth: truth.to_owned(),
            found: found
                .iter()
                .map(|(label, distance)| Found {
                    label: (*label).to_owned(),
                    distance: *distance,
                    pieces: 1,
                })
                .collect(),
            average_precision: None,
        };
        Trial {
            view,
            piece: view,
            seen: View::Side,
            left_out,
            own_place: None,
            levels: Levels {
                pattern: Some(asked),
                ..Levels::default()
            },
        }
    }

    #[test]
    fn a_photo_is_asked_with_and_without_its_label_and_a_lone_label_only_without() {
        let found = [("A", 0.1), ("B", 0.8), ("C", 0.9)];
        let trials = [
            trial(0, LeftOut::Photo, "A", &found),
            trial(0, LeftOut::Piece, "A", &found),
            trial(1, LeftOut::Piece, "D", &found),
        ];
        let verdicts = verdicts(&trials);
        let cases: Vec<Case> = verdicts.pattern.iter().map(|v| v.case).collect();
        assert_eq!(
            cases,
            [Case::Photo, Case::Piece, Case::StruckOff, Case::StruckOff]
        );
        assert!(verdicts.pattern[1].is_right && verdicts.pattern[1].is_listed);
        // What is struck off is never right, and has more of the unknown.
        assert!(!verdicts.pattern[2].is_right && !verdicts.pattern[2].is_listed);
        assert!(verdicts.pattern[2].unknown > verdicts.pattern[1].unknown);
        assert!(verdicts.form.is_empty());
    }
}
