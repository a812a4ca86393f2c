//! A rate with how far it can be trusted.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// A rate with its 95 % interval (Wilson 1927), which is sound near 0 and 1 and for
/// few cases.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rate {
    /// The rate, or a mean of values from 0 to 1.
    pub rate: f64,
    /// Cases.
    pub n: usize,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

impl Rate {
    /// How many of the cases are right; `None` of none.
    pub fn of(cases: impl Iterator<Item = bool>) -> Option<Self> {
        Self::mean(cases.map(|right| if right { 1.0 } else { 0.0 }))
    }

    /// Mean of values from 0 to 1. They scatter no further than a rate of the same
    /// mean would, so its interval is wide enough for them.
    pub fn mean(values: impl Iterator<Item = f64>) -> Option<Self> {
        Self::weighted(values.map(|value| (value, 1.0)))
    }

    /// Mean of values with weights. The interval is that of as many equal cases as
    /// tell as much (Kish 1965).
    pub fn weighted(cases: impl Iterator<Item = (f64, f64)>) -> Option<Self> {
        let (mut n, mut sum, mut weights, mut squares) = (0, 0.0, 0.0, 0.0);
        for (value, weight) in cases {
            n += 1;
            sum += value * weight;
            weights += weight;
            squares += weight * weight;
        }
        if n == 0 || weights <= 0.0 {
            return None;
        }
        let rate = sum / weights;
        let [low, high] = wilson(rate, weights * weights / squares);
        Some(Self { rate, n, low, high })
    }

    /// Mean over labels of each label's own rate; `n` counts labels.
    pub fn over_labels<'a>(cases: impl Iterator<Item = (&'a str, bool)>) -> Option<Self> {
        let mut by_label: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
        for (label, right) in cases {
            let (hits, n) = by_label.entry(label).or_default();
            *hits += usize::from(right);
            *n += 1;
        }
        Self::mean(by_label.values().map(|(hits, n)| *hits as f64 / *n as f64))
    }
}

/// 95 % interval of a rate `p` among `n` cases.
fn wilson(p: f64, n: f64) -> [f64; 2] {
    const Z: f64 = 1.959_963_984_540_054;
    let middle = p + Z * Z / (2.0 * n);
    let reach = Z * (p * (1.0 - p) / n + Z * Z / (4.0 * n * n)).sqrt();
    let whole = 1.0 + Z * Z / n;
    [
        ((middle - reach) / whole).max(0.0),
        ((middle + reach) / whole).min(1.0),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_as_published() {
        // 45 of 50: the trade's own example, 78.6 to 95.7 %. The others: Newcombe,
        // Statistics in Medicine 17 (1998), table I, method 3.
        for (hits, n, low, high) in [
            (45, 50, 0.786, 0.957),
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ] {
            let rate = Rate::of((0..n).map(|i| i < hits)).unwrap();
            assert!((rate.low - low).abs() < 5e-4, "{rate:?}");
            assert!((rate.high - high).abs() < 5e-4, "{rate:?}");
        }
        assert_eq!(Rate::of(std::iter::empty()), None);
    }

    #[test]
    fn weights_count_as_many_cases_as_tell_as_much() {
        // Equal weights are no weights.
        let plain = Rate::of([true, false, true].into_iter()).unwrap();
        let equal = [(1.0, 0.2), (0.0, 0.2), (1.0, 0.2)];
        let weighted = Rate::weighted(equal.into_iter()).unwrap();
        assert!((plain.low - weighted.low).abs() < 1e-12);
        // One case of weight 3 beside one of weight 1: 16 / 10 cases, 3 / 4 right.
        let uneven = Rate::weighted([(1.0, 3.0), (0.0, 1.0)].into_iter()).unwrap();
        assert_eq!((uneven.rate, uneven.n), (0.75, 2));
        let [low, high] = wilson(0.75, 1.6);
        assert_eq!([uneven.low, uneven.high], [low, high]);
    }
}
