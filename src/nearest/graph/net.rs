//! The links and the walk along them.

use std::{cell::RefCell, cmp::Reverse, collections::BinaryHeap};

use crate::{channel::Metric, nearest::Slab};

/// Rows with what orders as their distance does.
#[derive(Clone, Copy, Debug)]
pub(super) struct Space<'a> {
    pub(super) metric: Metric,
    pub(super) slab: &'a Slab,
}

impl Space<'_> {
    /// The distance without its root, which only costs time here.
    pub(super) fn gap(self, query: &[f32], row: u32) -> f32 {
        let row = self.slab.row(row);
        match self.metric {
            Metric::L1 => self.metric.distance(query, row),
            Metric::L2 => squared(query, row),
        }
    }

    pub(super) fn between(self, a: u32, b: u32) -> f32 {
        self.gap(self.slab.row(a), b)
    }
}

fn squared(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0f32; 16];
    let (a16, a_rest) = a.as_chunks::<16>();
    let (b16, b_rest) = b.as_chunks::<16>();
    for (x, y) in a16.iter().zip(b16) {
        for i in 0..16 {
            let d = x[i] - y[i];
            sums[i] += d * d;
        }
    }
    let rest: f32 = a_rest
        .iter()
        .zip(b_rest)
        .map(|(x, y)| (x - y) * (x - y))
        .sum();
    sums.iter().sum::<f32>() + rest
}

/// A row and how far it is, as one number that orders by distance, then row.
/// (Distances are not negative, so their bits are in their order.)
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Near(u64);

impl Near {
    pub(super) fn new(gap: f32, row: u32) -> Self {
        Self(u64::from(gap.to_bits()) << 32 | u64::from(row))
    }

    pub(super) fn row(self) -> u32 {
        self.0 as u32
    }

    pub(super) fn gap(self) -> f32 {
        f32::from_bits((self.0 >> 32) as u32)
    }
}

/// Links of each row in each of its layers. A list is its length and then its rows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Net {
    /// Greatest number of links in upper layers; twice as many in the lowest.
    pub(super) links: usize,
    /// Where walks begin: a row of the highest layer.
    pub(super) entry: u32,
    /// Highest layer of each row.
    pub(super) levels: Vec<u8>,
    /// Lists of the lowest layer.
    pub(super) lowest: Vec<u32>,
    /// Lists of upper layers, from layer 1 up, for each row that has any.
    pub(super) upper: Vec<u32>,
    /// Where a row's lists in `upper` begin.
    starts: Vec<u32>,
}

impl Net {
    /// Rows without links yet.
    pub(super) fn new(links: usize, levels: Vec<u8>) -> Self {
        let mut at = 0u32;
        let starts = levels
            .iter()
            .map(|level| {
                let start = at;
                at += u32::from(*level) * (links as u32 + 1);
                start
            })
            .collect();
        Self {
            links,
            entry: 0,
            lowest: vec![0; levels.len() * (2 * links + 1)],
            upper: vec![0; at as usize],
            starts,
            levels,
        }
    }

    pub(super) fn rows(&self) -> usize {
        self.levels.len()
    }

    /// Greatest number of links of a row in a layer.
    pub(super) fn room(&self, layer: u8) -> usize {
        match layer {
            0 => 2 * self.links,
            _ => self.links,
        }
    }

    fn start(&self, row: u32, layer: u8) -> usize {
        match layer {
            0 => row as usize * (2 * self.links + 1),
            _ => self.starts[row as usize] as usize + (usize::from(layer) - 1) * (self.links + 1),
        }
    }

    /// Number of links of a row in a layer it has.
    pub(super) fn length(&self, row: u32, layer: u8) -> usize {
        let start = self.start(row, layer);
        let block = if layer == 0 {
            &self.lowest
        } else {
            &self.upper
        };
        block[start] as usize
    }

    /// Links of a row in a layer it has.
    pub(super) fn list(&self, row: u32, layer: u8) -> &[u32] {
        let start = self.start(row, layer);
        let block = if layer == 0 {
            &self.lowest
        } else {
            &self.upper
        };
        let length = block[start] as usize;
        &block[start + 1..=start + length]
    }

    /// Puts links in place of those of a row in a layer; they fit.
    pub(super) fn set(&mut self, row: u32, layer: u8, links: &[u32]) {
        let start = self.start(row, layer);
        let block = if layer == 0 {
            &mut self.lowest
        } else {
            &mut self.upper
        };
        block[start] = links.len() as u32;
        block[start + 1..=start + links.len()].copy_from_slice(links);
    }

    /// Up to `width` rows around the query, nearest first.
    pub(super) fn search(&self, space: Space<'_>, query: &[f32], width: usize) -> Vec<u32> {
        if self.levels.is_empty() {
            return Vec::new();
        }
        let start = self.descend(space, query, 0);
        self.walk(space, query, &[start], width, 0)
            .into_iter()
            .map(Near::row)
            .collect()
    }

    /// The row nearest to the query that plain descent reaches in the layer above
    /// `layer`, or the entry if there is none above.
    pub(super) fn descend(&self, space: Space<'_>, query: &[f32], layer: u8) -> Near {
        let mut here = Near::new(space.gap(query, self.entry), self.entry);
        for above in (layer + 1..=self.levels[self.entry as usize]).rev() {
            loop {
                let nearest = self
                    .list(here.row(), above)
                    .iter()
                    .map(|row| Near::new(space.gap(query, *row), *row))
                    .min()
                    .filter(|nearest| *nearest < here);
                match nearest {
                    Some(nearest) => here = nearest,
                    None => break,
                }
            }
        }
        here
    }

    /// The `width` rows nearest to the query that a walk in one layer meets.
    pub(super) fn walk(
        &self,
        space: Space<'_>,
        query: &[f32],
        starts: &[Near],
        width: usize,
        layer: u8,
    ) -> Vec<Near> {
        MARKS.with_borrow_mut(|marks| {
            marks.clear(self.rows());
            let mut open: BinaryHeap<Reverse<Near>> = BinaryHeap::with_capacity(width);
            let mut best: BinaryHeap<Near> = BinaryHeap::with_capacity(width + 1);
            for start in starts {
                if marks.mark(start.row()) {
                    open.push(Reverse(*start));
                    best.push(*start);
                }
            }
            while let Some(Reverse(here)) = open.pop() {
                if best.len() >= width && best.peek().is_some_and(|worst| here > *worst) {
                    break;
                }
                for row in self.list(here.row(), layer) {
                    if !marks.mark(*row) {
                        continue;
                    }
                    let near = Near::new(space.gap(query, *row), *row);
                    if best.len() < width || best.peek().is_some_and(|worst| near < *worst) {
                        open.push(Reverse(near));
                        best.push(near);
                        if best.len() > width {
                            best.pop();
                        }
                    }
                }
            }
            best.into_sorted_vec()
        })
    }
}

thread_local! {
    static MARKS: RefCell<Marks> = const { RefCell::new(Marks { seen: Vec::new(), now: 0 }) };
}

/// Which rows a walk has met. Clearing it is counting up.
struct Marks {
    seen: Vec<u32>,
    now: u32,
}

impl Marks {
    fn clear(&mut self, rows: usize) {
        if self.seen.len() < rows {
            self.seen.resize(rows, self.now);
        }
        if self.now == u32::MAX {
            self.seen.fill(0);
            self.now = 0;
        }
        self.now += 1;
    }

    /// Whether the row was not met before.
    fn mark(&mut self, row: u32) -> bool {
        let seen = &mut self.seen[row as usize];
        let is_new = *seen != self.now;
        *seen = self.now;
        is_new
    }
}
