//! The levels taken together, by what the set knows of its labels: whether
//! shape, pattern and glaze are known on one piece, and which years and makers
//! fit all of them.
//!
//! One shape carries many patterns and one pattern sits on many shapes, so a pair
//! that the set does not hold is a find and not a mistake: it is reported, never
//! bent into a pair that is known (common practice, no source).

use super::reading::{
    Basis, Candidate, Certainty, Combination, Joined, Levels, Match, Named, NewPair, PerhapsNew,
    Range,
};
use super::rehearse::Found;
use crate::cabinet::{Known, Vocabulary, Years};

/// Levels of which each pair may be known on one piece or not.
const JOINED: [&str; 3] = ["shape", "pattern", "glaze"];
/// Levels whose labels come with years and makers of their own.
const DATED: [&str; 2] = ["shape", "pattern"];
/// Pieces that bear a label before its absence from a combination says anything:
/// of a label seen once, one combination is all that can be known.
const PIECES_MIN: usize = 2;

/// The nearest shape on which the set knows a firm or likely pattern is so many times as
/// far by its moulding as another. In the studio's world 88003, in sets that knew every
/// pattern on one shape alone, this was so for 1 of 100 pieces whose shape and pattern
/// the set held together, and for 6 of 10 whose shape it knew with other patterns.
const OTHER_SHAPE: f64 = 1.6;

/// A level's label, and whether it is firm.
struct Settled<'a> {
    level: &'static str,
    label: &'a str,
    is_firm: bool,
    known: &'a Known,
}

/// Joins the labels that stand out on their levels.
pub(super) fn join(
    levels: &Levels<Vec<Candidate>>,
    certainty: &Levels<Certainty>,
    matches: &[Match],
    perhaps_new: Option<PerhapsNew>,
    vocabulary: &Vocabulary,
) -> Joined {
    let settled: Vec<Settled<'_>> = levels
        .by_name()
        .into_iter()
        .zip(certainty.by_name())
        .filter_map(|((level, candidates), (_, certainty))| {
            let is_firm = match certainty {
                Certainty::Firm => true,
                Certainty::Likely => false,
                Certainty::Several | Certainty::Unknown => return None,
            };
            let label = candidates.first()?.label.as_str();
            let known = vocabulary.known(level, label)?;
            Some(Settled {
                level,
                label,
                is_firm,
                known,
            })
        })
        .collect();
    let dated: Vec<&Settled<'_>> = settled
        .iter()
        .filter(|s| DATED.contains(&s.level))
        .collect();
    let (mut combination, new_pairs) = combination(&settled, vocabulary);
    if perhaps_new.is_some() && combination != Combination::New {
        combination = Combination::PerhapsNew;
    }
    let (years, years_conflict) = years(&dated);
    let (maker, maker_conflict) = shared(&dated, "maker", |known| &known.makers);
    let (mark, _) = shared(&dated, "mark", |known| &known.marks);
    let mut notes: Vec<String> = maker_conflict.into_iter().collect();
    notes.extend(matches.first().and_then(borrowed));
    Joined {
        combination,
        new_pairs,
        perhaps_new,
        labels: settled
            .iter()
            .filter(|s| JOINED.contains(&s.level))
            .map(named)
            .collect(),
        years,
        years_conflict,
        maker,
        mark,
        notes,
    }
}

fn named(settled: &Settled<'_>) -> Named {
    Named {
        level: settled.level.to_owned(),
        label: settled.label.to_owned(),
    }
}

/// Whether firm labels are known on one piece. Shape and pattern decide; a glaze
/// can only add that it is new.
fn combination(settled: &[Settled<'_>], vocabulary: &Vocabulary) -> (Combination, Vec<NewPair>) {
    let firm: Vec<&Settled<'_>> = settled
        .iter()
        .filter(|s| s.is_firm && JOINED.contains(&s.level))
        .collect();
    let mut new_pairs = Vec::new();
    let mut is_known = false;
    for (i, a) in firm.iter().enumerate() {
        for b in &firm[i + 1..] {
            let together = vocabulary.together((a.level, a.label), (b.level, b.label));
            if together > 0 {
                is_known |= (a.level, b.level) == ("shape", "pattern");
            } else if a.known.pieces.min(b.known.pieces) >= PIECES_MIN {
                new_pairs.push(NewPair {
                    labels: [named(a), named(b)],
                    pieces: [a.known.pieces, b.known.pieces],
                });
            }
        }
    }
    let combination = match (new_pairs.as_slice(), is_known) {
        ([_, ..], _) => Combination::New,
        ([], true) => Combination::Known,
        ([], false) => Combination::Open,
    };
    (combination, new_pairs)
}

/// Whether a firm or likely pattern sits on what seems to be another shape than those on
/// which the set knows it. `moulding`: shapes by their moulding alone, nearest
/// first.
pub(super) fn perhaps_new(
    levels: &Levels<Vec<Candidate>>,
    certainty: &Levels<Certainty>,
    moulding: &[Found],
    vocabulary: &Vocabulary,
) -> Option<PerhapsNew> {
    let pattern = levels.pattern.first().map(|c| c.label.as_str())?;
    let pieces = vocabulary.known("pattern", pattern)?.pieces;
    let stands_out = matches!(certainty.pattern, Certainty::Firm | Certainty::Likely);
    if !stands_out || pieces < PIECES_MIN {
        return None;
    }
    let is_known_on = |shape: &str| vocabulary.together(("shape", shape), ("pattern", pattern)) > 0;
    let nearest = moulding.first()?;
    let known_on = moulding.iter().find(|found| is_known_on(&found.label))?;
    let times_as_far = known_on.distance / nearest.distance.max(f64::EPSILON);
    (times_as_far >= OTHER_SHAPE).then(|| PerhapsNew {
        pattern: pattern.to_owned(),
        shape: nearest.label.clone(),
        known_on: known_on.label.clone(),
        times_as_far: (times_as_far * 10.0).round() / 10.0,
    })
}

/// The years that fit all labels, with what each says; or that none do.
fn years(dated: &[&Settled<'_>]) -> (Option<Range>, Option<String>) {
    let basis: Vec<Basis> = dated
        .iter()
        .filter(|s| s.known.years.pieces > 0)
        .map(|s| {
            let Years { from, to, pieces } = s.known.years;
            Basis {
                level: s.level.to_owned(),
                label: s.label.to_owned(),
                from,
                to,
                pieces,
            }
        })
        .collect();
    if basis.is_empty() {
        return (None, None);
    }
    let from = basis.iter().filter_map(|b| b.from).max();
    let to = basis.iter().filter_map(|b| b.to).min();
    if from.zip(to).is_some_and(|(from, to)| from > to) {
        let said: Vec<String> = basis
            .iter()
            .map(|b| format!("{} {} {}", b.level, b.label, span(b.from, b.to)))
            .collect();
        return (
            None,
            Some(format!(
                "no year fits all: the set has {}; look at the piece again, or at the years in the set",
                said.join(" and ")
            )),
        );
    }
    (Some(Range { from, to, basis }), None)
}

/// Years in words.
pub fn span(from: Option<i32>, to: Option<i32>) -> String {
    match (from, to) {
        (Some(from), Some(to)) if from == to => format!("in {from}"),
        (Some(from), Some(to)) => format!("from {from} to {to}"),
        (Some(from), None) => format!("from {from} on"),
        (None, Some(to)) => format!("up to {to}"),
        (None, None) => "in unknown years".to_owned(),
    }
}

/// What the set states for every label that it states anything for; or that they
/// have nothing in common.
fn shared<'a>(
    dated: &[&Settled<'a>],
    what: &str,
    of: impl Fn(&'a Known) -> &'a std::collections::BTreeSet<String>,
) -> (Option<super::reading::Shared>, Option<String>) {
    let stating: Vec<_> = dated
        .iter()
        .map(|s| (*s, of(s.known)))
        .filter(|(_, values)| !values.is_empty())
        .collect();
    let Some((_, first)) = stating.first() else {
        return (None, None);
    };
    let values: Vec<String> = first
        .iter()
        .filter(|value| stating.iter().all(|(_, values)| values.contains(*value)))
        .cloned()
        .collect();
    if values.is_empty() {
        let said: Vec<String> = stating
            .iter()
            .map(|(s, values)| {
                let values: Vec<&str> = values.iter().map(String::as_str).collect();
                format!("{} {} by {}", s.level, s.label, values.join(" or "))
            })
            .collect();
        return (
            None,
            Some(format!(
                "no {what} fits all: the set has {}; body and decoration may be of different makers",
                said.join(" and ")
            )),
        );
    }
    let basis = stating.iter().map(|(s, _)| named(s)).collect();
    (Some(super::reading::Shared { values, basis }), None)
}

/// That the nearest piece was made for another shape than the one it goes with.
fn borrowed(nearest: &Match) -> Option<String> {
    let from = nearest.labels.get("borrowed_from")?;
    Some(format!(
        "the nearest piece, {}, is known to be borrowed from the shape {from}",
        nearest.piece
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cabinet::Labels;
    use std::collections::BTreeMap;

    /// Two shapes and two patterns, each pair but one on two pieces.
    fn set() -> Vec<Labels> {
        let piece = |shape, pattern, from, to, maker| {
            Labels::of(&[
                ("shape", shape),
                ("pattern", pattern),
                ("glaze", "white"),
                ("year_from", from),
                ("year_to", to),
                ("maker", maker),
            ])
        };
        vec![
            piece("Brannet", "Vine", "1930", "1940", "Quellmoor"),
            piece("Brannet", "Vine", "1932", "1938", "Quellmoor"),
            piece("Tussock", "Vine", "1935", "1950", "Quellmoor"),
            piece("Tussock", "Band", "1948", "1955", "Hollin Works"),
            piece("Tussock", "Band", "1949", "", "Hollin Works"),
            Labels::of(&[("shape", "Lone"), ("pattern", "Sprig"), ("glaze", "white")]),
        ]
    }

    fn joined(shape: (&str, Certainty), pattern: (&str, Certainty)) -> Joined {
        let candidate = |label: &str| {
            vec![Candidate {
                label: label.to_owned(),
                distance: 0.1,
                pieces: 2,
                probability: 0.9,
                matches: vec![1],
            }]
        };
        let levels = Levels {
            form: vec![],
            shape: candidate(shape.0),
            pattern: candidate(pattern.0),
            glaze: candidate("white"),
        };
        let certainty = Levels {
            form: Certainty::Unknown,
            shape: shape.1,
            pattern: pattern.1,
            glaze: Certainty::Likely,
        };
        join(&levels, &certainty, &[], None, &Vocabulary::of(&set()))
    }

    #[test]
    fn only_firm_labels_that_are_well_known_make_a_new_combination() {
        use Certainty::{Firm, Likely, Several, Unknown};
        let combination = |shape, pattern| joined(shape, pattern).combination;
        assert_eq!(
            combination(("Brannet", Firm), ("Vine", Firm)),
            Combination::Known
        );
        assert_eq!(
            combination(("Tussock", Firm), ("Vine", Firm)),
            Combination::Known
        );
        assert_eq!(
            combination(("Brannet", Firm), ("Band", Firm)),
            Combination::New
        );
        for certainty in [Likely, Several, Unknown] {
            assert_eq!(
                combination(("Brannet", certainty), ("Band", Firm)),
                Combination::Open
            );
            assert_eq!(
                combination(("Brannet", Firm), ("Band", certainty)),
                Combination::Open
            );
        }
        // One piece of a shape says nothing of what it may carry.
        assert_eq!(
            combination(("Lone", Firm), ("Band", Firm)),
            Combination::Open
        );
        assert_eq!(
            combination(("Lone", Firm), ("Sprig", Firm)),
            Combination::Known
        );
        let new = joined(("Brannet", Firm), ("Band", Firm));
        assert_eq!(new.new_pairs.len(), 1);
        assert_eq!(new.new_pairs[0].pieces, [2, 2]);
        assert_eq!(new.labels.len(), 3);
    }

    #[test]
    fn a_pattern_on_a_moulding_far_from_its_shapes_is_perhaps_new() {
        let candidate = |label: &str| Candidate {
            label: label.to_owned(),
            distance: 0.1,
            pieces: 2,
            probability: 0.9,
            matches: vec![],
        };
        let vocabulary = Vocabulary::of(&set());
        let found = |pattern: &str, word, moulding: &[(&str, f64)]| {
            let levels = Levels {
                pattern: vec![candidate(pattern)],
                ..Levels::default()
            };
            let certainty = Levels {
                pattern: word,
                ..Levels::default()
            };
            let moulding: Vec<Found> = moulding
                .iter()
                .map(|(label, distance)| Found {
                    label: (*label).to_owned(),
                    distance: *distance,
                    pieces: 2,
                })
                .collect();
            perhaps_new(&levels, &certainty, &moulding, &vocabulary)
        };
        // The set has the pattern Band on Tussock alone.
        let apart = [("Brannet", 0.2), ("Tussock", 0.4)];
        let new = found("Band", Certainty::Firm, &apart).unwrap();
        assert_eq!(
            (new.shape.as_str(), new.known_on.as_str()),
            ("Brannet", "Tussock")
        );
        assert!((new.times_as_far - 2.0).abs() < 1e-9);
        assert_eq!(found("Band", Certainty::Likely, &apart), Some(new));
        assert_eq!(found("Band", Certainty::Several, &apart), None);
        let near = [("Brannet", 0.3), ("Tussock", 0.4)];
        assert_eq!(found("Band", Certainty::Firm, &near), None);
        // Vine is known on both; of Sprig there is one piece only.
        assert_eq!(found("Vine", Certainty::Firm, &apart), None);
        assert_eq!(
            found("Sprig", Certainty::Firm, &[("Brannet", 0.1), ("Lone", 0.9)]),
            None
        );
    }

    #[test]
    fn years_are_those_that_fit_shape_and_pattern() {
        use Certainty::{Firm, Likely, Several};
        let range = |joined: &Joined| joined.years.as_ref().map(|r| (r.from, r.to));
        let both = joined(("Brannet", Firm), ("Vine", Likely));
        // The shape 1930 to 1940, the pattern 1930 to 1950.
        assert_eq!(range(&both), Some((Some(1930), Some(1940))));
        assert_eq!(both.years.unwrap().basis.len(), 2);
        assert_eq!(both.maker.unwrap().values, ["Quellmoor"]);
        let one = joined(("Brannet", Firm), ("Vine", Several));
        assert_eq!(range(&one), Some((Some(1930), Some(1940))));
        assert_eq!(one.years.unwrap().basis[0].level, "shape");
        // The shape 1930 to 1940, the pattern 1948 to 1955.
        let none = joined(("Brannet", Firm), ("Band", Firm));
        assert_eq!(range(&none), None);
        let said = none.years_conflict.unwrap();
        assert!(said.contains("Brannet from 1930 to 1940"), "{said}");
        assert!(said.contains("Band from 1948 to 1955"), "{said}");
        assert_eq!(none.maker, None);
        assert!(
            none.notes[0].contains("different makers"),
            "{:?}",
            none.notes
        );
        // Nothing is stated of these.
        let silent = joined(("Lone", Firm), ("Sprig", Firm));
        assert_eq!((range(&silent), silent.years_conflict), (None, None));
    }

    #[test]
    fn a_borrowed_piece_is_named_where_it_is_the_nearest() {
        let nearest = |labels: &[(&str, &str)]| Match {
            rank: 1,
            piece: "a plate".to_owned(),
            photo: String::new(),
            distance: 0.1,
            channels: BTreeMap::new(),
            outline_by_graph: None,
            ground: None,
            labels: labels
                .iter()
                .map(|(k, v)| ((*k).to_owned(), (*v).to_owned()))
                .collect(),
        };
        let matches = [nearest(&[("borrowed_from", "Tussock")]), nearest(&[])];
        let none = (Levels::default(), Levels::default(), Vocabulary::default());
        let with = |matches: &[Match]| join(&none.0, &none.1, matches, None, &none.2).notes;
        assert_eq!(
            with(&matches),
            ["the nearest piece, a plate, is known to be borrowed from the shape Tussock"]
        );
        assert!(with(&matches[1..]).is_empty());
        assert!(with(&[]).is_empty());
    }
}
