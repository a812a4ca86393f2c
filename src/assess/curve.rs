//! How far shares of the evidence are right, and what is wrong of the surest
//! answers.
//!
//! Here and for the words questions with their label struck off weigh as much as the
//! shares themselves take pieces to be not in the set, before anything is seen.

use serde::{Deserialize, Serialize};

use super::Rate;
use crate::identify::crossed::{Case, Verdict};

/// Bins of equal width.
const BINS: usize = 10;
/// Points of a curve of risk.
const POINTS: usize = 100;

/// How often answers are right, by the share of the evidence that they have.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Curve {
    /// Mean distance between share and rate, over all answers (the expected
    /// calibration error).
    pub error: f64,
    /// The error to be expected of so many answers if each were right exactly as
    /// often as its share says.
    pub by_chance: f64,
    /// Bins in which there is an answer, smallest shares first.
    pub bins: Vec<Bin>,
}

/// Answers of about the same share.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bin {
    /// Smallest share.
    pub from: f64,
    /// Largest share.
    pub to: f64,
    /// Mean share.
    pub share: f64,
    /// How many are right.
    pub right: Rate,
}

/// What is wrong of the answers from a share on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct RiskPoint {
    /// The least share that is answered.
    pub share: f64,
    /// How many of all questions are answered.
    pub coverage: f64,
    /// How many of the answers are wrong.
    pub risk: f64,
}

/// How often a piece is taken to be not in the set; the mean over the judges.
pub(super) fn unknown_before(verdicts: &[Verdict]) -> Option<f64> {
    let sum: f64 = verdicts.iter().map(|v| v.unknown_before).sum();
    (!verdicts.is_empty()).then(|| sum / verdicts.len() as f64)
}

/// What a question with its label struck off weighs where another weighs 1.
fn struck_off_weight(verdicts: &[Verdict]) -> f64 {
    let before = unknown_before(verdicts).unwrap_or(0.0);
    let struck_off = verdicts
        .iter()
        .filter(|v| v.case == Case::StruckOff)
        .count();
    let known = verdicts.len() - struck_off;
    before / (1.0 - before) * known as f64 / struck_off.max(1) as f64
}

/// Verdicts with their weights.
pub(super) fn weighted(verdicts: &[Verdict]) -> impl Iterator<Item = (&Verdict, f64)> {
    let struck_off = struck_off_weight(verdicts);
    verdicts.iter().map(move |v| match v.case {
        Case::StruckOff => (v, struck_off),
        Case::Piece | Case::Photo => (v, 1.0),
    })
}

/// The calibration curve of the first label; `None` without a question.
pub(super) fn calibration(verdicts: &[Verdict]) -> Option<Curve> {
    let mut bins: [Vec<(&Verdict, f64)>; BINS] = Default::default();
    let mut all = 0.0;
    for (v, weight) in weighted(verdicts).filter(|(_, weight)| *weight > 0.0) {
        bins[((v.share * BINS as f64) as usize).min(BINS - 1)].push((v, weight));
        all += weight;
    }
    let (mut error, mut by_chance) = (0.0, 0.0);
    let bins: Vec<Bin> = (0..)
        .zip(&bins)
        .filter_map(|(i, bin)| {
            let right = Rate::weighted(bin.iter().map(|(v, weight)| (right(v), *weight)))?;
            let weights: f64 = bin.iter().map(|(_, weight)| weight).sum();
            let share = bin.iter().map(|(v, weight)| v.share * weight).sum::<f64>() / weights;
            error += weights / all * (share - right.rate).abs();
            by_chance += scatter(bin) / all;
            let edge = |i: i32| f64::from(i) / BINS as f64;
            Some(Bin {
                from: edge(i),
                to: edge(i + 1),
                share,
                right,
            })
        })
        .collect();
    (!bins.is_empty()).then_some(Curve {
        error,
        by_chance,
        bins,
    })
}

/// By how much the weight of the right answers is off the sum of the shares, in the
/// mean, if the shares are true: of a sum of many small chances, taken as normal, the
/// mean deviation is the standard deviation times the root of 2/pi (Geary 1935).
fn scatter(answers: &[(&Verdict, f64)]) -> f64 {
    let variance: f64 = answers
        .iter()
        .map(|(v, weight)| weight * weight * v.share * (1.0 - v.share))
        .sum();
    (variance * std::f64::consts::FRAC_2_PI).sqrt()
}

fn right(v: &Verdict) -> f64 {
    if v.is_right { 1.0 } else { 0.0 }
}

/// Risk against coverage, the surest answers first. Answers of one share come
/// together; of many points one in each hundredth part is kept.
pub(super) fn risk(verdicts: &[Verdict]) -> Vec<RiskPoint> {
    let mut order: Vec<(&Verdict, f64)> = weighted(verdicts).collect();
    order.sort_by(|a, b| b.0.share.total_cmp(&a.0.share));
    let all: f64 = order.iter().map(|(_, weight)| weight).sum();
    let (mut weights, mut wrong) = (0.0, 0.0);
    let mut points: Vec<RiskPoint> = Vec::new();
    for (i, (v, weight)) in order.iter().enumerate() {
        weights += weight;
        wrong += weight * (1.0 - right(v));
        if order.get(i + 1).is_some_and(|next| next.0.share == v.share) {
            continue;
        }
        let coverage = weights / all;
        let is_last = i + 1 == order.len();
        // The first few answers alone say nothing of a rate.
        let apart = coverage - points.last().map_or(0.0, |last| last.coverage);
        if is_last || apart >= 1.0 / POINTS as f64 {
            points.push(RiskPoint {
                share: v.share,
                coverage,
                risk: wrong / weights,
            });
        }
    }
    points
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::identify::reading::Certainty;

    pub(in crate::assess) fn verdict(case: Case, share: f64, is_right: bool) -> Verdict {
        Verdict {
            case,
            share,
            unknown: 1.0 - share,
            word: Certainty::Likely,
            is_right,
            listed: 1,
            is_listed: is_right,
            unknown_before: 0.2,
        }
    }

    #[test]
    fn the_error_is_the_mean_gap_between_share_and_rate() {
        // Worked by hand. Without one struck off all weigh the same: two at 0.95, one
        // of them right, gap 0.45; two at 0.55, both right, gap 0.45; one at 0.05,
        // wrong, gap 0.05.
        let verdicts = [
            verdict(Case::Piece, 0.95, true),
            verdict(Case::Piece, 0.95, false),
            verdict(Case::Piece, 0.55, true),
            verdict(Case::Photo, 0.55, true),
            verdict(Case::Piece, 0.05, false),
        ];
        let curve = calibration(&verdicts).unwrap();
        assert!((curve.error - (0.4 * 0.45 + 0.4 * 0.45 + 0.2 * 0.05)).abs() < 1e-12);
        let bins: Vec<(f64, usize)> = curve.bins.iter().map(|b| (b.from, b.right.n)).collect();
        assert_eq!(bins, [(0.0, 1), (0.5, 2), (0.9, 2)]);
        assert!(calibration(&[]).is_none());
    }

    #[test]
    fn true_shares_err_by_chance_alone() {
        // 32 answers at 0.5: of 32 throws of a coin the heads are off 16 by 2.2393 in the
        // mean, 16 C(32, 16) / 2^32 (De Moivre's formula for the mean deviation).
        let verdicts = vec![verdict(Case::Piece, 0.5, true); 32];
        let by_chance = calibration(&verdicts).unwrap().by_chance;
        let exact = 16.0 * 601_080_390.0 / 2f64.powi(32);
        assert!((by_chance * 32.0 / exact - 1.0).abs() < 0.01);
        let sure = vec![verdict(Case::Piece, 1.0, true); 4];
        assert_eq!(calibration(&sure).unwrap().by_chance, 0.0);
    }

    #[test]
    fn questions_struck_off_weigh_as_often_as_pieces_are_new() {
        let mut verdicts = vec![verdict(Case::Piece, 0.9, true); 4];
        verdicts.extend([verdict(Case::StruckOff, 0.9, false); 2]);
        // One in five is new: two struck off weigh one together, 4 of 5 are right.
        let curve = calibration(&verdicts).unwrap();
        assert!((curve.bins[0].right.rate - 0.8).abs() < 1e-12);
    }

    #[test]
    fn risk_is_read_from_the_surest_answers_on() {
        let points = risk(&[
            verdict(Case::Piece, 0.2, true),
            verdict(Case::Piece, 0.9, true),
            verdict(Case::Piece, 0.5, false),
            verdict(Case::Piece, 0.5, true),
        ]);
        let told: Vec<[f64; 3]> = points
            .iter()
            .map(|p| [p.share, p.coverage, p.risk])
            .collect();
        assert_eq!(
            told,
            [[0.9, 0.25, 0.0], [0.5, 0.75, 1.0 / 3.0], [0.2, 1.0, 0.25]]
        );
    }
}
