//! From distances to shares of the evidence, learnt from the cabinet itself.
//!
//! On each level a conditional logit (McFadden 1974) weighs the labels of the
//! set against "not in the set". A label at distance `d` has the utility
//! `-a ln d`, so that what counts is by how many times it is nearer than another;
//! the unknown has `b - c m`, where `m` is the mean of `ln d` over the labels that
//! come next after the first: among labels that all lie near, being near says
//! little. All is multiplied by what the view is worth on the level ([`worth`]).
//! `a`, `b` and `c` maximise the likelihood of the trials of
//! [`super::rehearse`], each counted once as it is and once with its label struck
//! off, beside a Gaussian prior at what the studio's world taught, which weighs as
//! much as [`PRIOR_TRIALS`] trials. So a small cabinet answers as the prior does,
//! and a large one by its own experience.
//!
//! From the same trials, each judged by parameters to which its own fold added
//! nothing, come the shares from which a label is called firm or likely, and how
//! much of the evidence a short list has to hold.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

mod kept;
mod logit;
mod prior;
mod seen;

use super::{
    reading::Levels,
    rehearse::{Asked, FOLDS, LeftOut, Trial, folds},
};
use logit::{Lesson, PRIOR_TRIALS, Question, Vector, fit, probabilities};
use prior::Prior;
pub(in crate::identify) use seen::{from_above, worth};

/// Version of what [`Calibration`] means.
const VERSION: u32 = 5;

/// By how much the trials have to surpass a promise before it is given.
const SPARE: f64 = 0.005;

/// Of questions about labels of the set, how many are taken to be about the pieces of
/// the set themselves, or such as were made alike (an assumption): of mass-made ware
/// more finds are, the more of it the set holds; half in a set of so many pieces. The
/// others are about other pieces of the label.
const HALF_MADE_ALIKE: f64 = 150.0;

fn made_alike(pieces: usize) -> f64 {
    pieces as f64 / (pieces as f64 + HALF_MADE_ALIKE)
}

/// A piece is taken to be not in the set at most this often, before anything is
/// seen.
const UNKNOWN_AT_MOST: f64 = 0.6;

/// What the words promise: the share of answers that are right.
pub const FIRM: f64 = 0.97;
/// As [`FIRM`].
pub const LIKELY: f64 = 0.80;
/// How often a short list holds the right label.
pub const LISTED: f64 = 0.95;

/// A list longer than this is no answer.
pub const LIST_MOST: usize = 7;

/// Trials (as they are counted) that have to stand behind a limit.
const ENOUGH: f64 = 40.0;

/// Until so many pieces have been asked about the limits of firm and likely are the
/// prior's, and from so many on the trials' own; between, they go over from one to the
/// other. In the studio's world the trials of 30 pieces put the limit for piece types so
/// low that firm was right in 0.85 only, and those of 100 that for shapes, in 0.87.
const PIECES_FOR_LIMITS: [f64; 2] = [30.0, 300.0];

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
    /// Share of the labels' evidence that a short list holds; `None` where in the
    /// trials no list of at most [`LIST_MOST`] labels made by such a share held the
    /// right one as often as promised.
    pub list_share: Option<f64>,
    /// How often a piece was taken to be not in the set, before anything is seen.
    pub unknown_before: f64,
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

impl Shares {
    /// The nearest label's; 0 where there is none.
    pub fn first(&self) -> f64 {
        self.labels.first().copied().unwrap_or(0.0)
    }
}

impl Judge {
    /// Shares by the distances of labels, nearest first, and by what the view is worth
    /// on the level: 1 is as much as usual. They sum to 1.
    pub fn shares(&self, distances: &[f64], worth: f64) -> Shares {
        shares(&self.logit, &Question::new(distances, worth))
    }

    /// How many labels, largest share first, make the short list; `None` where one
    /// of at most [`LIST_MOST`] would not do.
    pub fn short_list(&self, shares: &Shares) -> Option<usize> {
        let wanted = match self.list_share {
            Some(share) => share * (1.0 - shares.unknown),
            // Where trials found no share of the labels' evidence that would do, the
            // list has to hold what it promises of all evidence.
            None => LISTED,
        };
        short_list(shares, wanted)
    }

    /// Whether more speaks for "not in the set" than for all labels.
    pub fn is_unknown(shares: &Shares) -> bool {
        shares.unknown > 0.5
    }
}

/// How many labels hold `wanted` of the evidence, if they are not too many.
fn short_list(shares: &Shares, wanted: f64) -> Option<usize> {
    let mut held = 0.0;
    let enough = shares.labels.iter().position(|share| {
        held += share;
        held >= wanted
    });
    enough.map(|i| i + 1).filter(|length| *length <= LIST_MOST)
}

fn shares(logit: &Vector, question: &Question) -> Shares {
    let mut labels = probabilities(logit, question);
    let unknown = labels.pop().unwrap_or(1.0);
    Shares { labels, unknown }
}

/// The lessons of a trial: as it was asked, and with its label struck off, which
/// counts as much as pieces are taken to be not in the set.
fn lessons(tried: &Tried<'_>, unknown_before: f64, made_alike: f64) -> Vec<Lesson> {
    let Tried { asked, worth, .. } = *tried;
    let distances = |keep: &dyn Fn(&str) -> bool| -> Vec<f64> {
        let found = asked.found.iter().filter(|found| keep(&found.label));
        found.map(|found| found.distance).collect()
    };
    // A photo is asked about in either way, so that the two together weigh 2.
    let counts = match tried.left_out {
        LeftOut::Photo => 2.0 * made_alike,
        LeftOut::Piece => 2.0 * (1.0 - made_alike),
    };
    let place = asked.found.iter().position(|f| f.label == asked.truth);
    let others = distances(&|label| label != asked.truth);
    let mut lessons = Vec::new();
    // Without its piece the set may not hold the label any more: that is the
    // second lesson, not the first.
    if place.is_some() {
        lessons.push(Lesson {
            question: Question::new(&distances(&|_| true), worth),
            right: place,
            counts: counts * (1.0 - unknown_before),
        });
    }
    if !others.is_empty() {
        lessons.push(Lesson {
            question: Question::new(&others, worth),
            right: None,
            counts: counts * unknown_before,
        });
    }
    lessons
}

/// How often the next piece bears a label that the set does not hold: as often as
/// pieces of the set bear one that no other does (Good 1953, after Turing), but not
/// less often than is usual on the level.
fn unknown_before(tried: &[Tried<'_>], prior: &Prior) -> f64 {
    let (mut all, mut alone) = (0.0, 0.0);
    for tried in tried.iter().filter(|t| t.left_out == LeftOut::Piece) {
        let Asked { found, truth, .. } = tried.asked;
        all += 1.0;
        if found.iter().all(|found| found.label != *truth) {
            alone += 1.0;
        }
    }
    let rate: f64 = if all > 0.0 { alone / all } else { 0.0 };
    rate.clamp(prior.unknown_at_least, UNKNOWN_AT_MOST)
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
        let fold_of = folds(trials);
        Self {
            version: VERSION,
            levels: Levels::each(|level| {
                let asked: Vec<Tried<'_>> = trials
                    .iter()
                    .zip(&fold_of)
                    .filter_map(|(trial, fold)| {
                        Some(Tried {
                            piece: trial.piece,
                            left_out: trial.left_out,
                            fold: *fold,
                            worth: worth(level, &[trial.seen]),
                            asked: trial.levels.get(level).as_ref()?,
                        })
                    })
                    .collect();
                judge(&asked, prior::of(level))
            }),
        }
    }
}

/// A trial on one level.
struct Tried<'a> {
    piece: u32,
    left_out: LeftOut,
    /// Its part: trials of one part are judged by the others.
    fold: usize,
    /// As [`worth`].
    worth: f64,
    asked: &'a Asked,
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
        self.shares.first()
    }

    fn is_right(&self) -> bool {
        self.right == Some(0)
    }
}

fn judge(tried: &[Tried<'_>], prior: &Prior) -> Judge {
    let unknown_before = unknown_before(tried, prior);
    let pieces: BTreeSet<u32> = tried.iter().map(|tried| tried.piece).collect();
    let alike = made_alike(pieces.len());
    let by_trial: Vec<Vec<Lesson>> = tried
        .iter()
        .map(|tried| lessons(tried, unknown_before, alike))
        .collect();
    let apart = |fold: Option<usize>| -> Vector {
        let others: Vec<&Lesson> = by_trial
            .iter()
            .zip(tried)
            .filter(|(_, tried)| Some(tried.fold) != fold)
            .flat_map(|(lessons, _)| lessons)
            .collect();
        fit(&others, prior)
    };
    let taught_by_others: Vec<Vector> = (0..FOLDS).map(|fold| apart(Some(fold))).collect();
    let judged: Vec<Judged> = by_trial
        .iter()
        .zip(tried)
        .flat_map(|(lessons, tried)| lessons.iter().map(|lesson| (tried.fold, lesson)))
        .map(|(fold, lesson)| Judged {
            shares: shares(&taught_by_others[fold], &lesson.question),
            right: lesson.right,
            counts: lesson.counts,
        })
        .collect();
    let [none, all] = PIECES_FOR_LIMITS;
    let by_trials = ((pieces.len() as f64 - none) / (all - none)).clamp(0.0, 1.0);
    let limit = |promise, below, usual: f64| {
        let learnt = threshold(&judged, promise, below).unwrap_or(usual);
        usual + by_trials * (learnt - usual)
    };
    // Far below the promise a share is no word to rest on: the next photo may be
    // of something that the trials held none of.
    let firm_from = limit(FIRM, f64::INFINITY, prior.firm_from).clamp(0.80, 0.999);
    let likely_from = limit(LIKELY, firm_from, prior.likely_from).clamp(0.6, firm_from);
    Judge {
        logit: apart(None),
        firm_from,
        likely_from,
        list_share: list_share(&judged, likely_from, prior.list_share),
        unknown_before,
        trials: judged.iter().filter(|j| j.right.is_some()).count(),
    }
}

/// The least share from which on, up to `below`, the first label is right as often
/// as promised; `None` where there are too few trials to say.
///
/// Beside the trials [`PRIOR_TRIALS`] are counted that keep the promise and no
/// more, so that a few lucky ones prove nothing.
fn threshold(judged: &[Judged], promise: f64, below: f64) -> Option<f64> {
    let mut order: Vec<&Judged> = judged.iter().filter(|j| j.first() < below).collect();
    order.sort_by(|a, b| b.first().total_cmp(&a.first()));
    let (mut counts, mut right) = (0.0, 0.0);
    let mut least = None;
    for (i, j) in order.iter().enumerate() {
        counts += j.counts;
        right += if j.is_right() { j.counts } else { 0.0 };
        let next = order.get(i + 1).map(|j| j.first());
        if next == Some(j.first()) {
            continue;
        }
        let rate = (right + PRIOR_TRIALS * promise) / (counts + PRIOR_TRIALS);
        if rate >= promise + SPARE && counts >= ENOUGH {
            least = Some(j.first());
        }
    }
    least
}

/// The share of the evidence that a list has to hold, so that in [`LISTED`] of the
/// cases in which a list is given it holds the right label: the least of a few
/// that did in the trials, as in conformal prediction (Vovk, Gammerman & Shafer
/// 2005), but among those trials alone that would have got a list.
fn list_share(judged: &[Judged], likely_from: f64, usual: Option<f64>) -> Option<f64> {
    let open: Vec<&Judged> = judged
        .iter()
        .filter(|j| j.right.is_some() && j.first() < likely_from && !Judge::is_unknown(&j.shares))
        .collect();
    let mut most = 0.0f64;
    for share in [0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.98, 0.99, 0.995] {
        let (mut lists, mut hold) = (0.0, 0.0);
        for j in &open {
            if let Some(length) = short_list(&j.shares, share * (1.0 - j.shares.unknown)) {
                lists += 1.0;
                hold += if j.right < Some(length) { 1.0 } else { 0.0 };
            }
        }
        most = most.max(lists);
        let rate = (hold + PRIOR_TRIALS * LISTED) / (lists + PRIOR_TRIALS);
        if rate >= LISTED + SPARE && lists >= PRIOR_TRIALS {
            return Some(share);
        }
    }
    usual.filter(|_| most < PRIOR_TRIALS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::identify::{reading::Level, rehearse::Found};

    /// Numbers that look random and are the same each time (SplitMix64).
    fn chance(state: &mut u64) -> f64 {
        *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = *state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Questions of a made-up cabinet: the right label lies nearer than its three
    /// look-alikes in most cases.
    fn trials(n: usize, seed: u64) -> Vec<Asked> {
        let mut state = seed;
        (0..n)
            .map(|_| {
                let mut found: Vec<Found> = (0..12)
                    .map(|label| {
                        let distance = match label {
                            0 => 0.2 + 0.5 * chance(&mut state),
                            1..4 => 0.35 + 0.35 * chance(&mut state),
                            _ => 0.8 + 0.6 * chance(&mut state),
                        };
                        Found {
                            label: format!("label {label}"),
                            distance,
                            pieces: 1,
                        }
                    })
                    .collect();
                found.sort_by(|a, b| a.distance.total_cmp(&b.distance));
                Asked {
                    truth: "label 0".to_owned(),
                    found,
                    average_precision: None,
                }
            })
            .collect()
    }

    fn taught(trials: &[Asked]) -> Judge {
        let tried: Vec<Tried<'_>> = trials
            .iter()
            .enumerate()
            .map(|(i, asked)| Tried {
                piece: i as u32,
                left_out: [LeftOut::Piece, LeftOut::Photo][i % 2],
                fold: i % FOLDS,
                worth: 1.0,
                asked,
            })
            .collect();
        judge(&tried, prior::of(Level::Pattern))
    }

    #[test]
    fn the_promises_hold_for_questions_that_taught_nothing() {
        let judge = taught(&trials(300, 1));
        let (mut firm, mut likely, mut open) = ((0, 0), (0, 0), (0, 0));
        for asked in trials(2000, 2) {
            let distances: Vec<f64> = asked.found.iter().map(|f| f.distance).collect();
            let shares = judge.shares(&distances, 1.0);
            let place = asked.found.iter().position(|f| f.label == asked.truth);
            let list = judge.short_list(&shares);
            let (of, is_right) = match shares.labels[0] {
                p if p >= judge.firm_from => (&mut firm, place == Some(0)),
                p if p >= judge.likely_from => (&mut likely, place == Some(0)),
                _ => match list.filter(|_| !Judge::is_unknown(&shares)) {
                    Some(list) => (&mut open, place.is_some_and(|place| place < list)),
                    None => continue,
                },
            };
            of.0 += usize::from(is_right);
            of.1 += 1;
        }
        let rate = |(right, all): (usize, usize)| right as f64 / all as f64;
        assert!(
            firm.1 > 100 && likely.1 > 100 && open.1 > 100,
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
            let shares = judge.shares(distances, 1.0);
            let sum: f64 = shares.labels.iter().sum::<f64>() + shares.unknown;
            assert!((sum - 1.0).abs() < 1e-9);
            assert!(shares.labels.iter().all(|s| s.is_finite()));
        }
    }

    #[test]
    fn a_few_lucky_trials_do_not_outweigh_the_prior() {
        let judge = taught(&trials(4, 3));
        let prior = prior::of(Level::Pattern);
        assert_eq!(judge.firm_from, prior.firm_from);
        for (a, b) in judge.logit.iter().zip(prior.logit) {
            // The crowding is small itself, and known to no better than 1.
            assert!((a - b).abs() < 0.35 * b.max(1.0), "{a} {b}");
        }
    }
}
