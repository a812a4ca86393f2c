//! How settled a level is: a simple rule that never claims more than the margin
//! to the next *different* label allows.
//!
//! With `d1` the distance of the nearest label and `d2` of the next one, and
//! the margin `(d2 - d1) / d2`:
//!
//! | certainty | distance | margin |
//! |---|---|---|
//! | firm | `d1` at most 0.45 | at least 0.35 |
//! | likely | `d1` at most 0.65 | at least 0.15 |
//! | several | `d1` at most 0.80 | any |
//! | unknown | else | |
//!
//! Where the cabinet knows one label only, there is no margin to speak of and
//! nothing is better than likely. A glaze is never better than likely either:
//! light and camera move a colour further than close glazes differ. The share of a candidate is
//! `exp(-d / 0.08)` over the sum of the same for all candidates and for "not in
//! the set" at 0.80.

use super::reading::{Candidate, Certainty, Levels};

/// Beyond this distance nothing is named.
const UNKNOWN_FROM: f64 = 0.80;
/// Scale on which a difference of distances counts as evidence.
const SCALE: f64 = 0.08;

/// Gives each candidate its share and each level its certainty. A level that is
/// unknown keeps its candidates, so that the user sees what came nearest.
pub(super) fn judge(levels: Levels<Vec<Candidate>>) -> (Levels<Vec<Candidate>>, Levels<Certainty>) {
    let (form, a) = judge_level(levels.form);
    let (shape, b) = judge_level(levels.shape);
    let (pattern, c) = judge_level(levels.pattern);
    let (glaze, d) = judge_level(levels.glaze);
    let d = if d == Certainty::Firm {
        Certainty::Likely
    } else {
        d
    };
    (
        Levels {
            form,
            shape,
            pattern,
            glaze,
        },
        Levels {
            form: a,
            shape: b,
            pattern: c,
            glaze: d,
        },
    )
}

fn judge_level(mut candidates: Vec<Candidate>) -> (Vec<Candidate>, Certainty) {
    let Some(nearest) = candidates.first().map(|c| c.distance) else {
        return (candidates, Certainty::Unknown);
    };
    // Relative to the nearest, so that nothing underflows.
    let weight = |d: f64| ((nearest - d) / SCALE).exp();
    let total: f64 =
        candidates.iter().map(|c| weight(c.distance)).sum::<f64>() + weight(UNKNOWN_FROM);
    for candidate in &mut candidates {
        let share = weight(candidate.distance) / total;
        candidate.probability = (share * 1e4).round() / 1e4;
    }
    let certainty = match candidates.get(1) {
        _ if nearest > UNKNOWN_FROM => Certainty::Unknown,
        Some(next) => {
            let margin = (next.distance - nearest) / next.distance.max(1e-9);
            if nearest <= 0.45 && margin >= 0.35 {
                Certainty::Firm
            } else if nearest <= 0.65 && margin >= 0.15 {
                Certainty::Likely
            } else {
                Certainty::Several
            }
        }
        None if nearest <= 0.45 => Certainty::Likely,
        None => Certainty::Several,
    };
    (candidates, certainty)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(distances: &[f64]) -> (Vec<Candidate>, Certainty) {
        judge_level(
            distances
                .iter()
                .enumerate()
                .map(|(i, d)| Candidate {
                    label: format!("label {i}"),
                    distance: *d,
                    probability: 0.0,
                    matches: Vec::new(),
                })
                .collect(),
        )
    }

    #[test]
    fn certainty_never_exceeds_what_the_margin_allows() {
        assert_eq!(judged(&[0.2, 0.7]).1, Certainty::Firm);
        assert_eq!(judged(&[0.2, 0.25]).1, Certainty::Likely);
        assert_eq!(judged(&[0.2, 0.21]).1, Certainty::Several);
        assert_eq!(judged(&[0.6, 0.61]).1, Certainty::Several);
        assert_eq!(judged(&[0.9, 3.0]).1, Certainty::Unknown);
        assert_eq!(judged(&[]).1, Certainty::Unknown);
        assert_eq!(judged(&[0.01]).1, Certainty::Likely);
    }

    #[test]
    fn shares_leave_room_for_what_is_not_in_the_set() {
        let (candidates, _) = judged(&[0.8, 0.8]);
        let sum: f64 = candidates.iter().map(|c| c.probability).sum();
        assert!((sum - 2.0 / 3.0).abs() < 1e-3);
    }
}
