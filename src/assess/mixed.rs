//! Labels that are taken for each other.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Rate;
use crate::identify::{calibrate::LIKELY, rehearse::Asked};

/// Fewer questions about two labels say nothing of how they are told apart.
const QUESTIONS_MIN: usize = 4;

/// One label taken for another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Confusion {
    /// The right label.
    pub truth: String,
    /// The one that came first.
    pub read_as: String,
    /// How often.
    pub times: usize,
}

/// Two labels that are hard to tell apart in this cabinet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mixed {
    /// The labels, by name.
    pub labels: [String; 2],
    /// How often, of the questions about either, the other lay nearer than the right
    /// one. Four questions at least.
    pub mixed: Rate,
    /// How often one was taken for the other.
    pub confused: usize,
    /// How the curator tells them apart.
    pub note: Option<String>,
}

/// What came first where that was wrong, most frequent first.
pub(super) fn confusions(asked: &[&Asked]) -> Vec<Confusion> {
    let mut times: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for asked in asked {
        if let Some(first) = asked.found.first().map(|found| &found.label)
            && *first != asked.truth
        {
            *times.entry((&asked.truth, first)).or_default() += 1;
        }
    }
    let mut found: Vec<Confusion> = times
        .into_iter()
        .map(|((truth, read_as), times)| Confusion {
            truth: truth.to_owned(),
            read_as: read_as.to_owned(),
            times,
        })
        .collect();
    found.sort_by_key(|confusion| std::cmp::Reverse(confusion.times));
    found
}

/// Pairs told apart less often than a likely answer is right, the surest to be
/// hard first. Pairs with fewer than [`QUESTIONS_MIN`] questions are passed over.
///
/// A question about a label counts against each label that lay nearer than it.
pub(super) fn look_alikes(asked: &[&Asked]) -> Vec<Mixed> {
    let mut questions: BTreeMap<&str, usize> = BTreeMap::new();
    // Questions in which the other was nearer, and in which it came first.
    let mut nearer: BTreeMap<[&str; 2], (usize, usize)> = BTreeMap::new();
    for asked in asked {
        let truth = asked.truth.as_str();
        *questions.entry(truth).or_default() += 1;
        let others = asked.found.iter().map(|found| found.label.as_str());
        for (i, other) in others.take_while(|label| *label != truth).enumerate() {
            let mut pair = [truth, other];
            pair.sort_unstable();
            let (times, first) = nearer.entry(pair).or_default();
            *times += 1;
            *first += usize::from(i == 0);
        }
    }
    let mut found: Vec<Mixed> = nearer
        .into_iter()
        .filter_map(|(pair, (times, confused))| {
            let of: usize = pair.iter().filter_map(|label| questions.get(label)).sum();
            if of < QUESTIONS_MIN {
                return None;
            }
            let mixed = Rate::of((0..of).map(|i| i < times))?;
            (mixed.rate > 1.0 - LIKELY + 1e-9).then(|| Mixed {
                labels: pair.map(str::to_owned),
                mixed,
                confused,
                note: None,
            })
        })
        .collect();
    found.sort_by(|a, b| b.mixed.low.total_cmp(&a.mixed.low));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assess::tests::asked;

    #[test]
    fn confusions_are_counted_one_way_and_look_alikes_both_ways() {
        let questions = [
            asked("A", &["B", "A", "C"]),
            asked("A", &["B", "A", "C"]),
            asked("A", &["A", "B", "C"]),
            asked("B", &["A", "B", "C"]),
            asked("C", &["B", "C", "A"]),
            asked("C", &["C", "B", "A"]),
            asked("C", &["C", "A", "B"]),
            // Of D and E there are too few questions.
            asked("D", &["E", "D", "A"]),
            asked("E", &["D", "E", "A"]),
        ];
        let questions: Vec<&Asked> = questions.iter().collect();
        let told: Vec<(String, String, usize)> = confusions(&questions)
            .into_iter()
            .map(|c| (c.truth, c.read_as, c.times))
            .collect();
        let row = |a: &str, b: &str, n| (a.to_owned(), b.to_owned(), n);
        let once = [("B", "A"), ("C", "B"), ("D", "E"), ("E", "D")];
        assert_eq!(told[0], row("A", "B", 2));
        assert_eq!(told[1..], once.map(|(a, b)| row(a, b, 1)));
        let pairs = look_alikes(&questions);
        let told: Vec<(String, f64, usize, usize)> = pairs
            .iter()
            .map(|p| (p.labels.concat(), p.mixed.rate, p.mixed.n, p.confused))
            .collect();
        // A against B in three of four; B against C in one of four.
        assert_eq!(
            told,
            [("AB".to_owned(), 0.75, 4, 3), ("BC".to_owned(), 0.25, 4, 1)]
        );
    }
}
