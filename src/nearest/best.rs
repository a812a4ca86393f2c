//! The best so many of a stream of hits.

use std::{cmp::Ordering, collections::BinaryHeap};

use super::Hit;

/// Nearest first; equally far by row.
pub(super) fn order(a: &Hit, b: &Hit) -> Ordering {
    a.distance
        .total_cmp(&b.distance)
        .then_with(|| a.id.cmp(&b.id))
}

struct Farthest(Hit);

impl PartialEq for Farthest {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Farthest {}

impl PartialOrd for Farthest {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Farthest {
    fn cmp(&self, other: &Self) -> Ordering {
        order(&self.0, &other.0)
    }
}

/// Keeps the `k` nearest of what it is offered.
pub(super) struct Best {
    k: usize,
    heap: BinaryHeap<Farthest>,
}

impl Best {
    pub(super) fn new(k: usize) -> Self {
        Self {
            k,
            heap: BinaryHeap::with_capacity(k.min(1024) + 1),
        }
    }

    /// Whether a hit at this distance could still enter (at equal distance the
    /// row decides, so it could).
    pub(super) fn admits(&self, distance: f32) -> bool {
        self.heap.len() < self.k
            || self
                .heap
                .peek()
                .is_some_and(|worst| distance <= worst.0.distance)
    }

    pub(super) fn offer(&mut self, hit: Hit) {
        if !self.admits(hit.distance) {
            return;
        }
        self.heap.push(Farthest(hit));
        if self.heap.len() > self.k {
            self.heap.pop();
        }
    }

    pub(super) fn merge(mut self, other: Self) -> Self {
        for hit in other.heap {
            self.offer(hit.0);
        }
        self
    }

    pub(super) fn into_sorted(self) -> Vec<Hit> {
        self.heap
            .into_sorted_vec()
            .into_iter()
            .map(|f| f.0)
            .collect()
    }
}
