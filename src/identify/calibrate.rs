//! From distances to shares of the evidence, learnt from the cabinet itself.
//!
//! On each level a conditional logit (McFadden 1974) weighs the labels of the
//! set against "not in the set". A label at distance `d` has the utility
//! `-a ln d`, so that what counts is by how many times it is nearer than another;
//! the unknown has `b - c m`, where `m` is the mean of `ln d` over the labels that
//! come next after the first: among labels that all lie near, being near says
//! little. `a`, `b` and `c` maximise the likelihood of the trials of
//! [`super::rehearse`], each counted once as it is and once with its label struck
//! off, beside a Gaussian prior at what the studio's world taught, which weighs as
//! much as [`PRIOR_TRIALS`] trials. So a small cabinet answers as the prior does,
//! and a large one by its own experience.
//!
//! From the same trials, each judged by parameters to which its own fold added
//! nothing, come the shares from which a label is called firm or likely, and how
//! much of the evidence a short list has to hold.

use serde::{Deserialize, Serialize};

mod kept;
mod logit;
mod prior;

use super::{
    reading::Levels,
    rehearse::{Asked, Trial},
};
use logit::{LABELS, Lesson, PRIOR_TRIALS, Question, Vector, fit, probabilities};
use prior::Prior;

/// Version of what [`Calibration`] means.
const VERSION: u32 = 1;

/// By how much the trials have to surpass a promise before it is given.
const SPARE: f64 = 0.01;

/// How often a piece is taken to be not in the set, before anything is seen.
const UNKNOWN_BEFORE: f64 = 0.2;

/// What the words promise: the share of answers that are right.
pub const FIRM: f64 = 0.97;
/// As [`FIRM`].
pub const LIKELY: f64 = 0.80;
/// How often a short list holds the right label.
pub const LISTED: f64 = 0.95;

/// Parts into which trials are divided, so that none is judged by itself.
const FOLDS: usize = 5;

/// How distances turn into certainty on every level.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// Raised when the meaning of the numbers changes.
    pub version: u32,
    /// What each level is judged by.
    pub levels: Levels<Judge>,
}

/// How distances on one level turn into certainty.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Judge {
    /// Sharpness `a`, threshold `b` and crowding `c` of the module's text.
    pub logit: [f64; 3],
    /// Share from which a label is firm.
    pub firm_from: f64,
    /// Share from which a label is likely.
    pub likely_from: f64,
    /// Share of the labels' evidence that a short list holds.
    pub list_share: f64,
    /// Trials in which the set held the right label.
    pub trials: usize,
}

/// Shares of the evidence: of each label, nearest first, and of none of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Shares {
    /// Of the labels, in the order given.
    pub labels: Vec<f64>,
    /// Of what is not in the set.
    pub unknown: f64,
}

impl Judge {
    /// Shares by the distances of labels, nearest first. They sum to 1.
    pub fn shares(&self, distances: &[f64]) -> Shares {
        shares(&self.logit, &Question::new(distances))
    }

    /// How many labels, largest share first, make the short list.
    pub fn short_list(&self, shares: &Shares) -> usize {
        let known = 1.0 - shares.unknown;
        let mut held = 0.0;
        for (i, share) in shares.labels.iter().enumerate() {
            held += share;
            if held >= self.list_share * known {
                return i + 1;
            }
        }
        shares.labels.len()
    }
}

fn shares(logit: &Vector, question: &Question) -> Shares {
    let mut labels = probabilities(logit, question);
    let unknown = labels.pop().unwrap_or(1.0);
    Shares { labels, unknown }
}

/// The lessons of a trial: as it was asked, and with its label struck off.
fn lessons(asked: &Asked) -> Vec<Lesson> {
    let lesson = |found: Vec<f64>, right: Option<usize>, counts: f64| Lesson {
        right: right.unwrap_or(found.len().min(LABELS)),
        question: Question::new(&found),
        counts,
    };
    let all: Vec<f64> = asked.found.iter().map(|(_, d)| *d).collect();
    let place = asked.found.iter().position(|(l, _)| *l == asked.truth);
    let others: Vec<f64> = asked
        .found
        .iter()
        .filter(|(label, _)| *label != asked.truth)
        .map(|(_, d)| *d)
        .collect();
    let mut lessons = Vec::new();
    // Without its piece the set may not hold the label any more: that is the
    // second lesson, not the first.
    if let Some(place) = place.filter(|place| *place < LABELS) {
        lessons.push(lesson(all, Some(place), 1.0 - UNKNOWN_BEFORE));
    }
    if !others.is_empty() {
        lessons.push(lesson(others, None, UNKNOWN_BEFORE));
    }
    lessons
}

impl Default for Calibration {
    /// What certainty rests on before the cabinet has taught any.
    fn default() -> Self {
        Self::learn(&[])
    }
}

impl Calibration {
    /// What the trials teach, beside the prior.
    pub fn learn(trials: &[Trial]) -> Self {
        Self {
            version: VERSION,
            levels: Levels::each(|level| {
                let asked: Vec<&Asked> = trials
                    .iter()
                    .filter_map(|trial| trial.levels.get(level).as_ref())
                    .collect();
                judge(&asked, prior::of(level))
            }),
        }
    }
}

/// A lesson judged by parameters that have not seen it.
struct Judged {
    shares: Shares,
    /// Place of the right label; `None` where the set does not hold it.
    right: Option<usize>,
    counts: f64,
}

impl Judged {
    fn first(&self) -> f64 {
        self.shares.labels.first().copied().unwrap_or(0.0)
    }

    fn is_right(&self) -> bool {
        self.right == Some(0)
    }
}

fn judge(asked: &[&Asked], prior: &Prior) -> Judge {
    let by_trial: Vec<Vec<Lesson>> = asked.iter().map(|asked| lessons(asked)).collect();
    let apart = |fold: Option<usize>| -> Vector {
        let others: Vec<&Lesson> = by_trial
            .iter()
            .enumerate()
            .filter(|(i, _)| Some(i % FOLDS) != fold)
            .flat_map(|(_, lessons)| lessons)
            .collect();
        fit(&others, prior)
    };
    let folds: Vec<Vector> = (0..FOLDS).map(|fold| apart(Some(fold))).collect();
    let judged: Vec<Judged> = by_trial
        .iter()
        .enumerate()
        .flat_map(|(i, lessons)| lessons.iter().map(move |lesson| (i, lesson)))
        .map(|(i, lesson)| Judged {
            shares: shares(&folds[i % FOLDS], &lesson.question),
            right: (lesson.right < lesson.question.log_distances.len()).then_some(lesson.right),
            counts: lesson.counts,
        })
        .collect();
    let firm_from = threshold(&judged, FIRM, prior.firm_from);
    let likely_from = threshold(&judged, LIKELY, prior.likely_from).min(firm_from);
    let known = judged.iter().filter(|j| j.right.is_some()).count();
    Judge {
        logit: apart(None),
        firm_from,
        likely_from,
        list_share: list_share(&judged, likely_from, prior.list_share),
        trials: known,
    }
}

/// The least share from which on the first label is right as often as promised.
///
/// Right answers among the trials are counted beside [`PRIOR_TRIALS`] that are
/// right as often as their share says, so that a few lucky ones prove nothing.
fn threshold(judged: &[Judged], promise: f64, usual: f64) -> f64 {
    let mut order: Vec<&Judged> = judged.iter().collect();
    order.sort_by(|a, b| b.first().total_cmp(&a.first()));
    let (mut counts, mut right, mut shares) = (0.0, 0.0, 0.0);
    let mut least = None;
    for (i, j) in order.iter().enumerate() {
        counts += j.counts;
        right += if j.is_right() { j.counts } else { 0.0 };
        shares += j.counts * j.first();
        let next = order.get(i + 1).map(|j| j.first());
        if next == Some(j.first()) {
            continue;
        }
        let rate = (right + PRIOR_TRIALS * shares / counts) / (counts + PRIOR_TRIALS);
        if rate >= promise + SPARE && counts >= PRIOR_TRIALS {
            least = Some(j.first());
        }
    }
    // Far below the promise a share is no word to rest on: the next photo may be
    // of something that the trials held none of.
    least.unwrap_or(usual).clamp(promise - 0.15, 0.999)
}

/// The share of the evidence that a list has to hold, so that in [`LISTED`] of the
/// cases in which nothing better can be said it holds the right label (split
/// conformal prediction: Vovk, Gammerman & Shafer 2005).
fn list_share(judged: &[Judged], likely_from: f64, usual: f64) -> f64 {
    let mut before: Vec<f64> = judged
        .iter()
        .filter(|j| j.first() < likely_from)
        .filter_map(|j| {
            let held: f64 = j.shares.labels[..j.right?].iter().sum();
            Some(held / (1.0 - j.shares.unknown).max(1e-12))
        })
        .collect();
    let n = before.len();
    let place = ((n + 1) as f64 * LISTED).ceil() as usize;
    if n < 2 * PRIOR_TRIALS as usize || place > n {
        return usual;
    }
    before.sort_by(f64::total_cmp);
    (before[place - 1] + 1e-6).min(0.9999)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::identify::reading::Level;

    /// Numbers that look random and are the same each time (SplitMix64).
    fn chance(state: &mut u64) -> f64 {
        *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = *state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Questions of a made-up cabinet: the right label lies near, less so in half
    /// of the cases, in which it may come second.
    fn trials(n: usize, seed: u64) -> Vec<Asked> {
        let mut state = seed;
        (0..n)
            .map(|i| {
                let reach = if i % 2 == 0 { 0.4 } else { 1.2 };
                let mut found: Vec<(String, f64)> = (0..12)
                    .map(|label| {
                        let d = match label {
                            0 => 0.1 + reach * chance(&mut state),
                            _ => 0.5 + chance(&mut state),
                        };
                        (format!("label {label}"), d)
                    })
                    .collect();
                found.sort_by(|a, b| a.1.total_cmp(&b.1));
                Asked {
                    truth: "label 0".to_owned(),
                    found,
                }
            })
            .collect()
    }

    #[test]
    fn the_promises_hold_for_questions_that_taught_nothing() {
        let taught = trials(300, 1);
        let judge = judge(&taught.iter().collect::<Vec<_>>(), prior::of(Level::Shape));
        let (mut firm, mut likely, mut open) = ((0, 0), (0, 0), (0, 0));
        for asked in trials(2000, 2) {
            let distances: Vec<f64> = asked.found.iter().map(|(_, d)| *d).collect();
            let shares = judge.shares(&distances);
            let place = asked.found.iter().position(|(l, _)| *l == asked.truth);
            let list = judge.short_list(&shares);
            let (of, is_right) = match shares.labels[0] {
                p if p >= judge.firm_from => (&mut firm, place == Some(0)),
                p if p >= judge.likely_from => (&mut likely, place == Some(0)),
                _ => (&mut open, place.is_some_and(|place| place < list)),
            };
            of.0 += usize::from(is_right);
            of.1 += 1;
        }
        let rate = |(right, all): (usize, usize)| right as f64 / all as f64;
        assert!(
            firm.1 > 500 && likely.1 > 100 && open.1 > 100,
            "{firm:?} {likely:?} {open:?}"
        );
        // Two points are what 300 trials leave open.
        assert!(rate(firm) >= FIRM - 0.02, "firm {firm:?}");
        assert!(rate(likely) >= LIKELY - 0.02, "likely {likely:?}");
        assert!(rate(open) >= LISTED - 0.02, "list {open:?}");
    }

    #[test]
    fn shares_sum_to_one_and_a_lone_label_is_judged_too() {
        let judge = &Calibration::default().levels.shape;
        for distances in [&[][..], &[0.3], &[0.0, 0.0], &[0.2, 0.9, 1.5]] {
            let shares = judge.shares(distances);
            let sum: f64 = shares.labels.iter().sum::<f64>() + shares.unknown;
            assert!((sum - 1.0).abs() < 1e-9);
            assert!(shares.labels.iter().all(|s| s.is_finite()));
        }
    }

    #[test]
    fn a_few_lucky_trials_do_not_outweigh_the_prior() {
        let taught = trials(4, 3);
        let judge = judge(&taught.iter().collect::<Vec<_>>(), prior::of(Level::Shape));
        let prior = prior::of(Level::Shape);
        assert_eq!(judge.firm_from, prior.firm_from);
        for (a, b) in judge.logit.iter().zip(prior.logit) {
            assert!((a - b).abs() < 0.35 * b, "{a} {b}");
        }
    }
}
