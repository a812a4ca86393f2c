//! The conditional logit: probabilities of alternatives, and the parameters that
//! make what was seen likeliest.

use super::prior::Prior;

/// Trials that the prior weighs as much as.
pub(super) const PRIOR_TRIALS: f64 = 30.0;

/// Labels after the first whose mean distance says how crowded it is.
const COHORT: usize = 5;

/// Nearer than this is as near as photos can tell.
const LEAST: f64 = 0.02;

/// Labels that take part; what is further away has no share to speak of.
const LABELS: usize = 20;

const N: usize = 3;
pub(super) type Vector = [f64; N];
pub(super) type Matrix = [[f64; N]; N];

/// Distances of one question, ready for the logit.
pub(super) struct Question {
    log_distances: Vec<f64>,
    crowd: f64,
    worth: f64,
}

impl Question {
    /// `worth`: what the logit is multiplied by, as [`super::worth`] says.
    pub(super) fn new(distances: &[f64], worth: f64) -> Self {
        let log_distances: Vec<f64> = distances
            .iter()
            .take(LABELS)
            .map(|d| d.max(LEAST).ln())
            .collect();
        let next: Vec<f64> = log_distances.iter().skip(1).take(COHORT).copied().collect();
        // A set of one label has no crowd; unrelated pieces stand in for it.
        let crowd = next.iter().sum::<f64>() / next.len().max(1) as f64;
        Self {
            log_distances,
            crowd,
            worth,
        }
    }

    /// What speaks for alternative `i`; the last is "none of them".
    fn row(&self, i: usize) -> Vector {
        match self.log_distances.get(i) {
            Some(d) => [-d * self.worth, 0.0, 0.0],
            None => [0.0, self.worth, -self.crowd * self.worth],
        }
    }

    fn alternatives(&self) -> usize {
        self.log_distances.len() + 1
    }
}

fn dot(a: &Vector, b: &Vector) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

pub(super) fn probabilities(logit: &Vector, question: &Question) -> Vec<f64> {
    let utilities: Vec<f64> = (0..question.alternatives())
        .map(|i| dot(logit, &question.row(i)))
        .collect();
    let most = utilities.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut p: Vec<f64> = utilities.iter().map(|u| (u - most).exp()).collect();
    let sum: f64 = p.iter().sum();
    p.iter_mut().for_each(|p| *p /= sum);
    p
}

/// One trial made ready: a question, the alternative that was right, and how much
/// it counts.
pub(super) struct Lesson {
    pub(super) question: Question,
    /// Place of the right label; `None` where it is not in the set.
    pub(super) right: Option<usize>,
    pub(super) counts: f64,
}

/// The parameters that make the lessons likeliest beside the prior, by Newton's
/// method; the likelihood is concave, so there is one best place.
pub(super) fn fit(lessons: &[&Lesson], prior: &Prior) -> Vector {
    let mut logit = prior.logit;
    for _ in 0..50 {
        let mut slope = [0.0; N];
        let mut bend = [[0.0; N]; N];
        for i in 0..N {
            for j in 0..N {
                let weight = PRIOR_TRIALS * prior.information[i][j];
                slope[i] -= weight * (logit[j] - prior.logit[j]);
                bend[i][j] += weight;
            }
        }
        for lesson in lessons {
            learn(&logit, lesson, &mut slope, &mut bend);
        }
        let Some(step) = solve(bend, slope) else {
            break;
        };
        let longest = step.iter().fold(0.0f64, |m, s| m.max(s.abs()));
        // Far from the best place the curve is not what it is there.
        let by = (5.0 / longest.max(1e-12)).min(1.0);
        logit.iter_mut().zip(step).for_each(|(l, s)| *l += by * s);
        if longest < 1e-6 {
            break;
        }
    }
    logit
}

/// Adds what one lesson says: the slope of its log-likelihood and how fast that
/// falls off.
fn learn(logit: &Vector, lesson: &Lesson, slope: &mut Vector, bend: &mut Matrix) {
    let question = &lesson.question;
    let none_of_them = question.alternatives() - 1;
    // A label too far away to take part teaches nothing.
    let right = lesson.right.unwrap_or(none_of_them);
    if lesson.right.is_some_and(|right| right >= none_of_them) {
        return;
    }
    let p = probabilities(logit, question);
    let mut mean = [0.0; N];
    let mut square = [[0.0; N]; N];
    for (i, p) in p.iter().enumerate() {
        let row = question.row(i);
        for a in 0..N {
            mean[a] += p * row[a];
            for b in 0..N {
                square[a][b] += p * row[a] * row[b];
            }
        }
    }
    let right = question.row(right);
    for a in 0..N {
        slope[a] += lesson.counts * (right[a] - mean[a]);
        for b in 0..N {
            bend[a][b] += lesson.counts * (square[a][b] - mean[a] * mean[b]);
        }
    }
}

/// Solves `matrix * x = right` by elimination; `None` where there is no one answer.
fn solve(mut matrix: Matrix, mut right: Vector) -> Option<Vector> {
    for i in 0..N {
        let pivot = (i..N).max_by(|a, b| matrix[*a][i].abs().total_cmp(&matrix[*b][i].abs()))?;
        if matrix[pivot][i].abs() < 1e-12 {
            return None;
        }
        matrix.swap(i, pivot);
        right.swap(i, pivot);
        for j in i + 1..N {
            let times = matrix[j][i] / matrix[i][i];
            let above = matrix[i];
            matrix[j]
                .iter_mut()
                .zip(above)
                .for_each(|(below, above)| *below -= times * above);
            right[j] -= times * right[i];
        }
    }
    let mut x = [0.0; N];
    for i in (0..N).rev() {
        let rest: f64 = (i + 1..N).map(|j| matrix[i][j] * x[j]).sum();
        x[i] = (right[i] - rest) / matrix[i][i];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lesson(distances: &[f64], right: Option<usize>, counts: f64) -> Lesson {
        Lesson {
            question: Question::new(distances, 1.0),
            right,
            counts,
        }
    }

    /// The same posterior, written down plainly, given to the minimisers of SciPy
    /// 1.16 (BFGS, then Nelder-Mead to 1e-10).
    #[test]
    fn the_fit_is_where_a_general_minimiser_puts_it() {
        let lessons = [
            lesson(&[0.2, 0.5, 0.6, 0.9], Some(0), 0.8),
            lesson(&[0.5, 0.6, 0.9], None, 0.2),
            lesson(&[0.3, 0.32, 0.7], Some(1), 0.8),
            lesson(&[0.3, 0.7, 0.8], None, 0.2),
            lesson(&[0.4, 0.9, 1.0, 1.1], Some(0), 0.8),
            lesson(&[0.6, 0.62, 0.64], Some(2), 0.8),
            lesson(&[0.62, 0.64], None, 0.2),
            lesson(&[0.15, 0.2, 0.25], Some(0), 0.8),
            lesson(&[0.2, 0.25], None, 0.2),
        ];
        let prior = Prior {
            logit: [7.38, 4.25, 3.41],
            information: [
                [0.0681, -0.0640, -0.0199],
                [-0.0640, 0.1086, 0.0277],
                [-0.0199, 0.0277, 0.0195],
            ],
            firm_from: 0.9,
            likely_from: 0.7,
            list_share: Some(0.9),
            unknown_at_least: 0.1,
        };
        let found = fit(&lessons.iter().collect::<Vec<_>>(), &prior);
        for (found, scipy) in found.iter().zip(SCIPY) {
            assert!((found - scipy).abs() < 1e-5, "{found} {scipy}");
        }
    }

    const SCIPY: [f64; 3] = [7.0503474, 3.96094171, 3.51660632];
}
