//! The arithmetic of every result, apart from where its numbers come from.

/// Average precision of a ranking: the mean, over all `relevant` items there
/// are, of the precision at each one found. `None` if there are none.
pub(crate) fn average_precision(hits: &[bool], relevant: usize) -> Option<f64> {
    let mut found = 0usize;
    let mut sum = 0.0;
    for (i, hit) in hits.iter().enumerate() {
        if *hit {
            found += 1;
            sum += found as f64 / (i + 1) as f64;
        }
    }
    (relevant > 0).then(|| sum / relevant as f64)
}

/// Share of hits among the first `k`; places that are not there are misses.
pub(crate) fn precision_at(hits: &[bool], k: usize) -> f64 {
    hits.iter().take(k).filter(|hit| **hit).count() as f64 / k as f64
}

/// 95 % interval of a proportion (Wilson 1927), sound near 0 and 1 as well.
pub(crate) fn wilson(hits: usize, n: usize) -> [f64; 2] {
    const Z: f64 = 1.959_963_984_540_054;
    if n == 0 {
        return [0.0, 1.0];
    }
    let n = n as f64;
    let p = hits as f64 / n;
    let middle = p + Z * Z / (2.0 * n);
    let reach = Z * (p * (1.0 - p) / n + Z * Z / (4.0 * n * n)).sqrt();
    let whole = 1.0 + Z * Z / n;
    [
        ((middle - reach) / whole).max(0.0),
        ((middle + reach) / whole).min(1.0),
    ]
}

/// How often a value of `high` lies above one of `low`, ties counted half: the area
/// under the receiver operating characteristic (Mann & Whitney 1947).
pub(crate) fn auroc(high: &[f64], low: &[f64]) -> f64 {
    let above: f64 = high
        .iter()
        .flat_map(|h| low.iter().map(move |l| h.total_cmp(l)))
        .map(|order| match order {
            std::cmp::Ordering::Greater => 1.0,
            std::cmp::Ordering::Equal => 0.5,
            std::cmp::Ordering::Less => 0.0,
        })
        .sum();
    above / (high.len() * low.len()) as f64
}

/// Mean; NaN of nothing.
pub(crate) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// The value below which a share `q` of the values lies, between neighbours
/// linearly; NaN of nothing.
pub(crate) fn quantile(values: &[f64], q: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let Some(last) = sorted.len().checked_sub(1) else {
        return f64::NAN;
    };
    let at = q.clamp(0.0, 1.0) * last as f64;
    let low = at.floor() as usize;
    let high = (low + 1).min(last);
    sorted[low] + (sorted[high] - sorted[low]) * (at - low as f64)
}

/// Intersection over union of two masks, each covered from 128 on. Two empty
/// masks are the same.
pub(crate) fn iou(a: &[u8], b: &[u8]) -> f64 {
    let (mut both, mut either) = (0u64, 0u64);
    for (a, b) in a.iter().zip(b) {
        let (a, b) = (*a >= 128, *b >= 128);
        both += u64::from(a && b);
        either += u64::from(a || b);
    }
    if either == 0 {
        1.0
    } else {
        both as f64 / either as f64
    }
}

/// Mean absolute difference of two masks, 0 to 1.
pub(crate) fn mask_mae(a: &[u8], b: &[u8]) -> f64 {
    let sum: u64 = a
        .iter()
        .zip(b)
        .map(|(a, b)| u64::from(a.abs_diff(*b)))
        .sum();
    sum as f64 / 255.0 / a.len().max(1) as f64
}

/// What retrieval came to, over all queries that had something to find.
#[derive(Clone, Debug, Default)]
pub(crate) struct Retrieval {
    first: usize,
    average_precision: Vec<f64>,
    precision_at_5: Vec<f64>,
}

impl Retrieval {
    /// Counts one query: its ranking, and how many relevant items there are.
    pub(crate) fn count(&mut self, hits: &[bool], relevant: usize) {
        let Some(ap) = average_precision(hits, relevant) else {
            return;
        };
        self.first += usize::from(hits.first() == Some(&true));
        self.average_precision.push(ap);
        self.precision_at_5.push(precision_at(hits, 5));
    }
    /// Queries counted.
    pub(crate) fn n(&self) -> usize {
        self.average_precision.len()
    }
    /// Queries whose nearest is relevant.
    pub(crate) fn first(&self) -> usize {
        self.first
    }
    pub(crate) fn map(&self) -> f64 {
        mean(&self.average_precision)
    }
    pub(crate) fn p5(&self) -> f64 {
        mean(&self.precision_at_5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() < 5e-4, "{a} is not {b}");
    }

    #[test]
    fn average_precision_by_hand() {
        // (1/1 + 2/3 + 3/5) / 3
        near(
            average_precision(&[true, false, true, false, true], 3).unwrap(),
            0.7556,
        );
        // One of two is never found: (1/2) / 2.
        near(average_precision(&[false, true, false], 2).unwrap(), 0.25);
        near(average_precision(&[true, true], 2).unwrap(), 1.0);
        assert_eq!(average_precision(&[false], 0), None);
    }

    #[test]
    fn precision_counts_missing_places_as_misses() {
        near(
            precision_at(&[true, false, true, true, false, true], 5),
            0.6,
        );
        near(precision_at(&[true, true], 5), 0.4);
    }

    #[test]
    fn wilson_as_published() {
        // Newcombe, Statistics in Medicine 17 (1998), table I, method 3.
        for (hits, n, low, high) in [
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ] {
            let [l, h] = wilson(hits, n);
            near(l, low);
            near(h, high);
        }
        assert_eq!(wilson(0, 0), [0.0, 1.0]);
    }

    #[test]
    fn quantiles_by_hand() {
        near(quantile(&[3.0, 1.0, 2.0, 4.0], 0.5), 2.5);
        near(quantile(&[0.0, 10.0], 0.1), 1.0);
        near(quantile(&[7.0], 0.9), 7.0);
        assert!(quantile(&[], 0.5).is_nan());
    }

    #[test]
    fn masks_by_hand() {
        near(iou(&[255, 255, 0, 0], &[255, 0, 200, 0]), 1.0 / 3.0);
        near(iou(&[0, 0], &[0, 0]), 1.0);
        near(mask_mae(&[255, 0], &[0, 0]), 0.5);
    }

    #[test]
    fn retrieval_leaves_out_queries_with_nothing_to_find() {
        let mut r = Retrieval::default();
        r.count(&[true, false, true], 2);
        r.count(&[false, true, false], 1);
        r.count(&[false, false, false], 0);
        assert_eq!((r.n(), r.first()), (2, 1));
        near(r.map(), (5.0 / 6.0 + 0.5) / 2.0);
        near(r.p5(), 0.3);
    }
}
