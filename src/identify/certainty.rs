//! How settled a level is: by the share of the evidence that the first label has,
//! against what the cabinet's own trials say of such shares
//! ([`super::calibrate`]).
//!
//! | certainty | when |
//! |---|---|
//! | firm | the first label's share is one from which 97 of 100 were right |
//! | likely | one from which 80 of 100 were right |
//! | several | else, where less speaks for "not in the set" than for all labels, and a short list holds the right one 95 times of 100 |
//! | unknown | else: nothing of the set stands out |
//!
//! Where the cabinet knows one label only, there is no margin to speak of and
//! nothing is better than likely. A glaze is never better than likely either:
//! light and camera move a colour further than close glazes differ. Nor is a piece
//! type of which the set has one or two pieces: they do not show what all of its
//! kind look like; nor, in a small set, one that was seen from above or at an angle
//! only: where the set lacks the plate to a saucer, nothing in it speaks against that.

use super::{
    calibrate::{Calibration, Judge, LIST_MOST, Shares, from_above, worth},
    reading::{Candidate, Certainty, Level, Levels, Settled, View},
    told::Told,
};

/// Pieces of a piece type that the set has to have before it can be firm. In the
/// studio's world 88003, in sets of 30 pieces, answers of the greatest shares were
/// right in 0.93, and with three pieces or more in 0.98.
pub(super) const FORM_PIECES: usize = 3;

/// Pieces with a piece type that the set has to have before that can be firm by photos
/// from above or at an angle alone. In the studio's world 99003 such answers were right
/// in 26 of 30 in sets of 30, all others in 276 of 281; in one set of 60 in 21 of 21 and
/// in one of 100 in 35 of 37, too few to say that the limit could be lower.
const PIECES_FOR_ANY_VIEW: usize = 100;

/// What a word rests on beside the shares.
#[derive(Clone, Copy)]
pub(super) struct Rests {
    /// Pieces of the set that bear the first label.
    first: usize,
    /// Pieces that bear any label of the level.
    all: usize,
    /// Whether the piece was seen from above or at an angle only.
    from_above: bool,
}

impl Rests {
    /// `pieces`: how many bear each label, nearest first; `seen`: how each photo shows
    /// the piece.
    pub(super) fn new(pieces: impl Iterator<Item = usize> + Clone, seen: &[View]) -> Self {
        Self {
            first: pieces.clone().next().unwrap_or(0),
            all: pieces.sum(),
            from_above: from_above(seen),
        }
    }
}

/// Gives each candidate its share and says how settled each level is. A level that
/// is unknown keeps its candidates, so that the user sees what came nearest.
/// `seen`: how each of the photos shows the piece.
pub(super) fn judge(
    levels: &mut Levels<Vec<Candidate>>,
    calibration: &Calibration,
    seen: &[View],
) -> (Levels<Certainty>, Levels<Settled>) {
    let mut certainty = Levels::default();
    let settled = Levels::each(|level| {
        let judge = calibration.levels.get(level);
        let (word, settled) = judge_level(level, levels.get_mut(level), judge, seen);
        *certainty.get_mut(level) = word;
        settled
    });
    (certainty, settled)
}

/// Leaves a level open where something speaks for another label than the first:
/// the list then reaches to that, as far as lists go.
pub(super) fn open_for(
    label: &str,
    candidates: &[Candidate],
    certainty: &mut Certainty,
    settled: &mut Settled,
) {
    let Some(place) = candidates.iter().position(|c| c.label == label) else {
        return;
    };
    if place > 0 && matches!(certainty, Certainty::Firm | Certainty::Likely) {
        *certainty = Certainty::Several;
        settled.short_list = settled.short_list.max((place + 1).min(LIST_MOST));
    }
}

/// Settles the levels that are told, whatever the photos resemble.
pub(super) fn as_told(
    told: &Told,
    levels: &mut Levels<Vec<Candidate>>,
    certainty: &mut Levels<Certainty>,
    settled: &mut Levels<Settled>,
) {
    for level in Level::ALL {
        let Some(label) = told.label(level) else {
            continue;
        };
        let candidates = levels.get_mut(level);
        candidates.retain(|candidate| candidate.label == label);
        for candidate in candidates.iter_mut() {
            candidate.probability = 1.0;
        }
        // A label that the set does not hold is told all the same, and nothing of
        // the set is like it.
        *certainty.get_mut(level) = match candidates.is_empty() {
            true => Certainty::Unknown,
            false => Certainty::Firm,
        };
        *settled.get_mut(level) = Settled {
            short_list: candidates.len(),
            told: true,
            ..Settled::default()
        };
    }
}

/// The word for shares of the evidence on a level.
pub(super) fn word(level: Level, judge: &Judge, shares: &Shares, rests: Rests) -> Certainty {
    let first = shares.first();
    let may_be_firm = match level {
        Level::Form => {
            rests.first >= FORM_PIECES && (rests.all >= PIECES_FOR_ANY_VIEW || !rests.from_above)
        }
        Level::Shape | Level::Pattern => true,
        Level::Glaze => false,
    };
    if first >= judge.firm_from && shares.labels.len() > 1 && may_be_firm {
        Certainty::Firm
    } else if first >= judge.likely_from && !shares.labels.is_empty() {
        Certainty::Likely
    } else if Judge::is_unknown(shares) || judge.short_list(shares).is_none() {
        Certainty::Unknown
    } else {
        Certainty::Several
    }
}

fn judge_level(
    level: Level,
    candidates: &mut [Candidate],
    judge: &Judge,
    seen: &[View],
) -> (Certainty, Settled) {
    if candidates.is_empty() {
        return (Certainty::Unknown, Settled::default());
    }
    let distances: Vec<f64> = candidates.iter().map(|c| c.distance).collect();
    let shares = judge.shares(&distances, worth(level, seen));
    let rounded = |share: f64| (share * 1e4).round() / 1e4;
    for (i, candidate) in candidates.iter_mut().enumerate() {
        candidate.probability = rounded(shares.labels.get(i).copied().unwrap_or(0.0));
    }
    let short_list = judge.short_list(&shares);
    let settled = Settled {
        short_list: short_list.unwrap_or(0),
        unknown: rounded(shares.unknown),
        trials: judge.trials,
        told: false,
    };
    let rests = Rests::new(candidates.iter().map(|c| c.pieces), seen);
    (word(level, judge, &shares, rests), settled)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(distances: &[f64]) -> (Vec<Candidate>, Certainty, Settled) {
        let mut levels = Levels {
            pattern: distances
                .iter()
                .enumerate()
                .map(|(i, d)| Candidate {
                    label: format!("label {i}"),
                    distance: *d,
                    pieces: 1,
                    probability: 0.0,
                    matches: Vec::new(),
                })
                .collect(),
            ..Levels::default()
        };
        let (certainty, settled) = judge(&mut levels, &Calibration::default(), &[View::Side]);
        (levels.pattern, certainty.pattern, settled.pattern)
    }

    #[test]
    fn certainty_never_exceeds_what_the_margin_allows() {
        let crowd = [0.75, 0.8, 0.8, 0.85];
        let with = |first: &[f64]| [first, &crowd].concat();
        assert_eq!(judged(&with(&[0.1])).1, Certainty::Firm);
        assert_eq!(judged(&with(&[0.1, 0.11])).1, Certainty::Several);
        assert_eq!(judged(&with(&[0.72, 0.74])).1, Certainty::Unknown);
        assert_eq!(judged(&[]).1, Certainty::Unknown);
        assert!(!matches!(judged(&[0.01]).1, Certainty::Firm));
    }

    #[test]
    fn a_few_pieces_or_views_from_above_do_not_make_a_piece_type_firm() {
        let judge = &Calibration::default().levels.form;
        let shares = Shares {
            labels: vec![0.999, 0.0005],
            unknown: 0.0005,
        };
        let of = |level, first, all, seen: &[View]| {
            let rests = Rests {
                first,
                all,
                from_above: from_above(seen),
            };
            word(level, judge, &shares, rests)
        };
        let side = View::Side;
        assert_eq!(of(Level::Form, 2, 30, &[side]), Certainty::Likely);
        assert_eq!(of(Level::Form, 3, 30, &[side]), Certainty::Firm);
        assert_eq!(of(Level::Pattern, 1, 30, &[side]), Certainty::Firm);
        // Nor does a small set by what is seen from above.
        for view in [View::Top, View::Oblique] {
            assert_eq!(of(Level::Form, 9, 30, &[view]), Certainty::Likely);
            assert_eq!(of(Level::Form, 9, 30, &[view, side]), Certainty::Firm);
            assert_eq!(of(Level::Form, 9, 300, &[view]), Certainty::Firm);
            assert_eq!(of(Level::Shape, 9, 30, &[view]), Certainty::Firm);
        }
        assert_eq!(of(Level::Form, 9, 30, &[View::Unknown]), Certainty::Firm);
    }

    #[test]
    fn a_level_is_left_open_for_another_label_and_never_made_surer() {
        let (candidates, _, settled) = judged(&[0.1, 0.75, 0.8, 0.8, 0.85]);
        let opened = |label: &str, word: Certainty| {
            let (mut word, mut settled) = (word, settled.clone());
            open_for(label, &candidates, &mut word, &mut settled);
            (word, settled.short_list)
        };
        assert_eq!(opened("label 2", Certainty::Firm), (Certainty::Several, 3));
        assert_eq!(
            opened("label 2", Certainty::Likely),
            (Certainty::Several, 3)
        );
        let as_it_was = settled.short_list;
        for (label, word) in [
            ("label 0", Certainty::Firm),
            ("none of them", Certainty::Firm),
            ("label 2", Certainty::Unknown),
        ] {
            assert_eq!(opened(label, word), (word, as_it_was));
        }
    }

    #[test]
    fn shares_leave_room_for_what_is_not_in_the_set() {
        let (candidates, _, settled) = judged(&[0.4, 0.45, 0.7, 0.8]);
        let sum: f64 = candidates.iter().map(|c| c.probability).sum();
        assert!(settled.unknown > 0.0);
        assert!((sum + settled.unknown - 1.0).abs() < 1e-3);
    }

    #[test]
    fn a_short_list_grows_with_the_doubt() {
        assert_eq!(judged(&[0.1, 0.7, 0.8, 0.8]).2.short_list, 1);
        assert!(judged(&[0.4, 0.41, 0.42, 0.8]).2.short_list >= 3);
    }
}
