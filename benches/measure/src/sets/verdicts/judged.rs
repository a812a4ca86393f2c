//! One level of many answers against the truth.

use crate::{
    answer::{Candidate, Piece},
    bench::Bench,
    line::Line,
    metric::{auroc, mean, wilson},
};

/// What the set holds of a piece that is asked about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Held {
    /// The piece itself, in other photos.
    Piece,
    /// Its label, by other pieces.
    Label,
    /// Neither.
    Nothing,
}

/// An answer and the truth on one level.
pub(super) struct Asked<'a> {
    pub(super) piece: &'a Piece,
    pub(super) truth: &'a str,
    pub(super) held: Held,
}

/// How far under its promise the lower end of the 95 % interval may lie.
const SLACK: f64 = 0.02;

/// Puts the lines of one level: promises, coverage, known against unknown (near
/// ones among `asked`, `far` ones apart), and how far shares are from rates.
pub(super) fn put(bench: &mut Bench, name: &str, level: &str, asked: &[Asked<'_>], far: &[&Piece]) {
    let first = |a: &Asked<'_>| a.piece.levels.of(level).first().map(|c| c.probability);
    let is_called = |a: &Asked<'_>, word: &str| a.piece.certainty.of(level) == word;
    let is_right = |a: &Asked<'_>| {
        let first = a.piece.levels.of(level).first();
        first.is_some_and(|c| c.label == a.truth)
    };
    let called =
        |is: &str| -> Vec<&Asked<'_>> { asked.iter().filter(|a| is_called(a, is)).collect() };

    for (is, promise) in [("firm", 0.97), ("likely", 0.80)] {
        let of = called(is);
        let right = of.iter().filter(|a| is_right(a)).count();
        promised(bench, &format!("{name}.{is}"), right, of.len(), promise);
    }
    let open: Vec<&Asked<'_>> = called("several")
        .into_iter()
        .filter(|a| a.held != Held::Nothing)
        .collect();
    let listed = |a: &&&Asked<'_>| {
        let list = a.piece.settled.of(level).short_list;
        let named: &[Candidate] = a.piece.levels.of(level);
        named.iter().take(list).any(|c| c.label == a.truth)
    };
    let held = open.iter().filter(listed).count();
    promised(bench, &format!("{name}.several"), held, open.len(), 0.95);
    let lengths: Vec<f64> = open
        .iter()
        .map(|a| a.piece.settled.of(level).short_list as f64)
        .collect();
    bench.put(Line::new(
        format!("{name}.several_length"),
        mean(&lengths),
        open.len(),
    ));

    let known: Vec<&Asked<'_>> = asked.iter().filter(|a| a.held == Held::Piece).collect();
    let firm = known.iter().filter(|a| is_called(a, "firm")).count();
    let line = Line::share(format!("{name}.coverage"), firm, known.len());
    bench.put(
        match name {
            "verdicts.300.shape" => line.at_least(0.60),
            _ => line,
        }
        .note("answers called firm, of pieces that the set holds in other photos"),
    );
    let right = known.iter().filter(|a| is_right(a)).count();
    bench.put(
        Line::share(format!("{name}.r1"), right, known.len())
            .note("the nearest label is right, of pieces that the set holds in other photos"),
    );

    let unknown = |piece: &Piece| piece.settled.of(level).unknown;
    let of_known: Vec<f64> = known.iter().map(|a| unknown(a.piece)).collect();
    let near: Vec<f64> = asked
        .iter()
        .filter(|a| a.held == Held::Nothing)
        .map(|a| unknown(a.piece))
        .collect();
    if !near.is_empty() {
        bench.put(
            Line::new(format!("{name}.auroc_near"), auroc(&near, &of_known), near.len())
                .at_least(0.85)
                .note("pieces whose label was left out against pieces that the set holds, by the share of \"not in the set\""),
        );
    }
    if !far.is_empty() {
        let far: Vec<f64> = far.iter().map(|piece| unknown(piece)).collect();
        bench.put(
            Line::new(
                format!("{name}.auroc_far"),
                auroc(&far, &of_known),
                far.len(),
            )
            .at_least(0.95)
            .note("photos of other things against pieces that the set holds"),
        );
    }
    let shares: Vec<(f64, bool)> = asked
        .iter()
        .filter_map(|a| Some((first(a)?, is_right(a))))
        .collect();
    bench.put(
        Line::new(
            format!("{name}.calibration_error"),
            calibration_error(&shares),
            shares.len(),
        )
        .at_most(0.03)
        .baseline(by_chance(&shares))
        .note("how far the first label's share is from how often it is right, over ten bins; baseline: what true shares would show by chance"),
    );
}

/// A promise holds if the interval does not reach further below it than [`SLACK`].
fn promised(bench: &mut Bench, name: &str, right: usize, n: usize, promise: f64) {
    if n == 0 {
        bench.put(Line::new(name, f64::NAN, 0).note("no answer was called so"));
        return;
    }
    let low = wilson(right, n)[0];
    let mut line = Line::share(name, right, n).note(format!(
        "promised: {promise}; holds if the lower end of the interval is at least {:.2}",
        promise - SLACK
    ));
    line.bound = Some(promise);
    line.holds = Some(low >= promise - SLACK);
    bench.put(line);
}

/// Expected calibration error over ten bins of equal width (Guo et al. 2017).
fn calibration_error(shares: &[(f64, bool)]) -> f64 {
    let sum: f64 = (0..10)
        .map(|bin| {
            let of: Vec<&(f64, bool)> = shares
                .iter()
                .filter(|(share, _)| ((share * 10.0) as usize).min(9) == bin)
                .collect();
            let share: f64 = of.iter().map(|(share, _)| share).sum();
            let right = of.iter().filter(|(_, right)| *right).count() as f64;
            (share - right).abs()
        })
        .sum();
    sum / shares.len() as f64
}

/// The same, to be expected if every share were true: the mean deviation of the number
/// right in each bin, taken as normal (Geary 1935).
fn by_chance(shares: &[(f64, bool)]) -> f64 {
    let mut variance = [0.0; 10];
    for (share, _) in shares {
        variance[((share * 10.0) as usize).min(9)] += share * (1.0 - share);
    }
    let mean_deviation = |v: f64| (v * std::f64::consts::FRAC_2_PI).sqrt();
    variance.into_iter().map(mean_deviation).sum::<f64>() / shares.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_error_of_shares_is_their_distance_from_the_rates() {
        // Two bins: 0.8 said and 1 right of 2; 0.3 said and 0 right of 2.
        let shares = [(0.8, true), (0.8, false), (0.3, false), (0.3, false)];
        assert!((calibration_error(&shares) - 0.3).abs() < 1e-12);
        // A coin thrown 32 times is off by 2.2393 heads in the mean (De Moivre).
        assert!((by_chance(&[(0.5, true); 32]) * 32.0 - 2.2393).abs() < 0.03);
    }
}
