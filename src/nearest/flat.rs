//! The exact scan: slow in the end, always right, and the fastest of all while
//! the rows are few.

use std::sync::Arc;

use rayon::prelude::*;

use super::{Hit, Index, Keep, Slab, best::Best, check_query};
use crate::{channel::Metric, error::Result};

/// From this many numbers on, the scan is shared between threads; below, waking
/// them costs more than they save.
const SHARE_FROM: usize = 2_000_000;

/// Numbers that one thread scans in one go.
const PORTION: usize = 500_000;

/// Exact scan over all rows.
#[derive(Clone, Debug)]
pub struct Flat {
    metric: Metric,
    slab: Arc<Slab>,
}

impl Flat {
    /// Takes the rows over; nothing is built.
    pub fn new(metric: Metric, slab: impl Into<Arc<Slab>>) -> Self {
        Self {
            metric,
            slab: slab.into(),
        }
    }
}

impl Index for Flat {
    fn slab(&self) -> &Slab {
        &self.slab
    }

    fn metric(&self) -> Metric {
        self.metric
    }

    fn method(&self) -> &'static str {
        "exact"
    }

    fn search(&self, query: &[f32], k: usize, keep: Keep<'_>) -> Result<Vec<Hit>> {
        check_query(&self.slab, query)?;
        Ok(scan(self.metric, &self.slab, query, k, keep))
    }
}

/// The `k` nearest rows that `keep` lets pass, by looking at every one.
pub(super) fn scan(
    metric: Metric,
    slab: &Slab,
    query: &[f32],
    k: usize,
    keep: Keep<'_>,
) -> Vec<Hit> {
    if k == 0 || slab.is_empty() {
        return Vec::new();
    }
    let dim = slab.dim();
    let portion = |first: usize, values: &[f32]| {
        let mut best = Best::new(k);
        for (i, row) in values.chunks_exact(dim).enumerate() {
            let distance = metric.distance(query, row);
            if best.admits(distance) {
                let id = (first + i) as u32;
                if keep(id) {
                    best.offer(Hit { id, distance });
                }
            }
        }
        best
    };
    let values = slab.values();
    let best = if values.len() < SHARE_FROM {
        portion(0, values)
    } else {
        let rows = (PORTION / dim).max(1);
        values
            .par_chunks(rows * dim)
            .enumerate()
            .map(|(n, values)| portion(n * rows, values))
            .reduce(|| Best::new(k), Best::merge)
    };
    best.into_sorted()
}
