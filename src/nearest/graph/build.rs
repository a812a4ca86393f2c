//! Growing the graph, batch by batch. Rows of one batch are placed at the same
//! time, each in the graph as it was before; their links are then made in a fixed
//! order. So threads share the work, and the graph is always the same.

use rayon::prelude::*;

use super::net::{Near, Net, Space};

/// A batch is this part of the rows placed before it, so that few near rows meet
/// in one and miss each other.
const PART: usize = 32;

/// Largest batch.
const BATCH_MAX: usize = 1_024;

/// Highest layer; a row is that high once in more rows than can be numbered.
const LEVEL_MAX: f64 = 15.0;

/// Builds the graph over all rows. `links` is the greatest number of links in
/// upper layers, `width` the number of rows looked at around a new one.
pub(super) fn build(space: Space<'_>, links: usize, width: usize) -> Net {
    let links = links.clamp(2, 256);
    let width = width.max(links);
    let rows = space.slab.len();
    let mut random = Random(0x2545_f491_4f6c_dd1d);
    let scale = 1.0 / (links as f64).ln();
    let levels = (0..rows)
        .map(|_| (-random.even().ln() * scale).min(LEVEL_MAX) as u8)
        .collect();
    let mut net = Net::new(links, levels);
    // Photos come folder by folder, and a graph grown one group at a time leads
    // badly from group to group.
    let mut order: Vec<u32> = (0..rows as u32).collect();
    for i in (1..rows).rev() {
        order.swap(i, (random.next() % (i as u64 + 1)) as usize);
    }
    let Some((first, mut rest)) = order.split_first() else {
        return net;
    };
    net.entry = *first;
    let mut placed = 1;
    while !rest.is_empty() {
        let size = (placed / PART).clamp(1, BATCH_MAX).min(rest.len());
        let (batch, later) = rest.split_at(size);
        let places: Vec<Vec<Vec<u32>>> = batch
            .par_iter()
            .map(|row| place(&net, space, *row, width))
            .collect();
        link(&mut net, space, batch, &places);
        placed += size;
        rest = later;
    }
    net
}

/// The links a new row gets, for each of its layers from the lowest up.
fn place(net: &Net, space: Space<'_>, row: u32, width: usize) -> Vec<Vec<u32>> {
    let query = space.slab.row(row);
    let level = net.levels[row as usize];
    let top = level.min(net.levels[net.entry as usize]);
    let mut places = vec![Vec::new(); usize::from(level) + 1];
    let mut starts = vec![net.descend(space, query, top)];
    for layer in (0..=top).rev() {
        starts = net.walk(space, query, &starts, width, layer);
        places[usize::from(layer)] = select(space, &starts, net.links);
    }
    places
}

/// Equal rows that a row is linked with: enough to lead from one to the next,
/// and too few to crowd out what leads away from them.
const EQUAL_MAX: usize = 2;

/// Of rows by their distance from one row, those to be linked with it: a row that
/// is nearer to one chosen before than to the row itself is reached by that one.
fn select(space: Space<'_>, sorted: &[Near], most: usize) -> Vec<u32> {
    let mut chosen: Vec<u32> = Vec::with_capacity(most);
    for near in sorted {
        if chosen.len() == most {
            break;
        }
        let is_led_to = |other: &u32| space.between(near.row(), *other) < near.gap();
        let is_crowd = near.gap() == 0.0 && chosen.len() >= EQUAL_MAX;
        if !is_crowd && !chosen.iter().any(is_led_to) {
            chosen.push(near.row());
        }
    }
    chosen
}

/// Links the rows of a batch with their places, both ways.
fn link(net: &mut Net, space: Space<'_>, batch: &[u32], places: &[Vec<Vec<u32>>]) {
    let mut back: Vec<(u8, u32, u32)> = Vec::new();
    for (row, layers) in batch.iter().zip(places) {
        for (layer, links) in layers.iter().enumerate() {
            net.set(*row, layer as u8, links);
            back.extend(links.iter().map(|link| (layer as u8, *link, *row)));
        }
    }
    back.sort_unstable();
    let lists: Vec<(u8, u32, Vec<u32>)> = back
        .chunk_by(|a, b| (a.0, a.1) == (b.0, b.1))
        .collect::<Vec<_>>()
        .into_par_iter()
        .map(|group| {
            let (layer, row, _) = group[0];
            let mut links = net.list(row, layer).to_vec();
            links.extend(group.iter().map(|(_, _, new)| *new));
            if links.len() > net.room(layer) {
                let mut sorted: Vec<Near> = links
                    .iter()
                    .map(|link| Near::new(space.between(row, *link), *link))
                    .collect();
                sorted.sort_unstable();
                links = select(space, &sorted, net.room(layer));
            }
            (layer, row, links)
        })
        .collect();
    for (layer, row, links) in lists {
        net.set(row, layer, &links);
    }
    let level = |row: u32| net.levels[row as usize];
    if let Some(highest) = batch
        .iter()
        .copied()
        .max_by_key(|row| (level(*row), u32::MAX - row))
        && level(highest) > level(net.entry)
    {
        net.entry = highest;
    }
}

/// A small generator (xorshift), always with the same numbers.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    /// Above 0, below 1.
    fn even(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }
}
