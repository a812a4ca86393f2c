//! Whether the words keep what they promise.

use serde::{Deserialize, Serialize};

use super::{Rate, curve};
use crate::identify::{
    calibrate::{FIRM, LIKELY, LISTED},
    crossed::{Case, Verdict},
    reading::Certainty,
};

/// How often a word was said, and how often rightly.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WordKept {
    /// The word.
    pub word: Certainty,
    /// How often it was said of a label that the set holds.
    pub said: usize,
    /// How often it was said of one that was struck off.
    pub said_struck_off: usize,
    /// How often it was right: of `firm` and `likely`, that the first label is the
    /// right one; of `unknown`, that the label was struck off (both with so many
    /// struck off as `unknown_before` says); of `several`, that the short list holds
    /// the right label, if the set does.
    pub right: Option<Rate>,
    /// The rate that it promises; `unknown` promises none.
    pub promised: Option<f64>,
    /// Mean number of labels on the short list.
    pub listed: Option<f64>,
}

/// Every word, surest first. Empty without a question.
pub(super) fn kept(verdicts: &[Verdict]) -> Vec<WordKept> {
    if verdicts.is_empty() {
        return Vec::new();
    }
    [
        (Certainty::Firm, Some(FIRM)),
        (Certainty::Likely, Some(LIKELY)),
        (Certainty::Several, Some(LISTED)),
        (Certainty::Unknown, None),
    ]
    .map(|(word, promised)| {
        let said: Vec<(&Verdict, f64)> = curve::weighted(verdicts)
            .filter(|(v, _)| v.word == word)
            .collect();
        let known = || said.iter().filter(|(v, _)| v.case != Case::StruckOff);
        let right = match word {
            Certainty::Several => Rate::of(known().map(|(v, _)| v.is_listed)),
            _ => Rate::weighted(said.iter().map(|(v, weight)| {
                let right = match word {
                    Certainty::Unknown => v.case == Case::StruckOff,
                    _ => v.is_right,
                };
                (if right { 1.0 } else { 0.0 }, *weight)
            })),
        };
        let listed: usize = said.iter().map(|(v, _)| v.listed).sum();
        WordKept {
            word,
            said: known().count(),
            said_struck_off: said.len() - known().count(),
            right,
            promised,
            listed: (word == Certainty::Several && !said.is_empty())
                .then(|| listed as f64 / said.len() as f64),
        }
    })
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assess::curve::tests::verdict;

    #[test]
    fn each_word_is_held_against_its_promise() {
        let with = |word, case, is_right, listed, is_listed| Verdict {
            word,
            listed,
            is_listed,
            ..verdict(case, 0.5, is_right)
        };
        let verdicts = [
            with(Certainty::Firm, Case::Piece, true, 1, true),
            with(Certainty::Firm, Case::Photo, true, 1, true),
            with(Certainty::Firm, Case::StruckOff, false, 1, false),
            with(Certainty::Several, Case::Piece, false, 3, true),
            with(Certainty::Several, Case::Piece, false, 4, false),
            with(Certainty::Several, Case::StruckOff, false, 5, false),
            with(Certainty::Unknown, Case::StruckOff, false, 1, false),
        ];
        let kept = kept(&verdicts);
        let told: Vec<(usize, usize)> = kept.iter().map(|w| (w.said, w.said_struck_off)).collect();
        assert_eq!(told, [(2, 1), (0, 0), (2, 1), (0, 1)]);
        // One in five is new: three struck off weigh one together beside four known.
        let firm = kept[0].right.unwrap();
        assert!((firm.rate - 2.0 / (2.0 + 1.0 / 3.0)).abs() < 1e-12);
        assert_eq!(kept[1].right, None);
        assert_eq!(kept[2].right.unwrap().rate, 0.5);
        assert_eq!(kept[2].listed, Some(4.0));
        assert_eq!(kept[3].right.unwrap().rate, 1.0);
    }
}
