//! Light and colour of the table, known at every fourth pixel and blended between where they change little.

use super::march::World;
use super::shade::background;
use crate::camera::View;
use crate::vec3::{V3, v3};
use rayon::prelude::*;

/// Light at a place of the table: openness and the share of each light that arrives.
pub(super) type Share = [f32; 3];

/// Grid of the light on the table, over the picture.
pub(super) struct Light {
    across: usize,
    nodes: Vec<Option<Share>>,
}

/// Distance of the nodes, pixels.
const GRID: usize = 4;

impl Light {
    pub(super) fn new(world: &World, view: &View, w: usize, h: usize) -> Light {
        let across = w.div_ceil(GRID) + 1;
        let down = h.div_ceil(GRID) + 1;
        let found = |i: usize, j: usize| {
            let d = view.ray((i * GRID) as f32, (j * GRID) as f32);
            (d.y < -1e-4).then(|| exact(world, view.eye + d * (-view.eye.y / d.y)))
        };
        // Every other node is found first; those between are found only where these differ.
        let wide = across.div_ceil(2);
        let known: Vec<Option<Share>> = (0..wide * down.div_ceil(2))
            .into_par_iter()
            .map(|k| found(k % wide * 2, k / wide * 2))
            .collect();
        let nodes = (0..across * down)
            .into_par_iter()
            .map(|k| {
                let (i, j) = (k % across, k / across);
                let at = |i: usize, j: usize| {
                    let k = (i < wide).then_some(j * wide + i);
                    k.and_then(|k| known.get(k).copied().flatten())
                };
                let (i0, j0, i1, j1) = (i / 2, j / 2, i.div_ceil(2), j.div_ceil(2));
                if (i0, j0) == (i1, j1) {
                    return at(i0, j0);
                }
                let four = [at(i0, j0), at(i1, j0), at(i0, j1), at(i1, j1)];
                mean(four, 0.04).or_else(|| found(i, j))
            })
            .collect();
        Light { across, nodes }
    }

    /// Light at a picture position that shows the table at `p`.
    pub(super) fn at(&self, world: &World, x: f32, y: f32, p: V3) -> Share {
        let (u, v) = (x / GRID as f32, y / GRID as f32);
        let (i, j) = (u as usize, v as usize);
        let k = j * self.across + i;
        let four = [k, k + 1, k + self.across, k + self.across + 1]
            .map(|k| self.nodes.get(k).copied().flatten());
        let [Some(a), Some(b), Some(c), Some(d)] = four else {
            return exact(world, p);
        };
        let (tu, tv) = (u - i as f32, v - j as f32);
        let mut out = [0.0; 3];
        for n in 0..3 {
            let lo = a[n].min(b[n]).min(c[n]).min(d[n]);
            let hi = a[n].max(b[n]).max(c[n]).max(d[n]);
            if hi - lo > 0.12 {
                return exact(world, p);
            }
            let top = a[n] + (b[n] - a[n]) * tu;
            let low = c[n] + (d[n] - c[n]) * tu;
            out[n] = top + (low - top) * tv;
        }
        out
    }
}

/// Colours of what lies behind the pieces at every fourth pixel, where they change little between.
pub(super) struct Even {
    across: usize,
    nodes: Vec<V3>,
}

impl Even {
    pub(super) fn new(world: &World, view: &View, light: &Light, w: usize, h: usize) -> Even {
        let across = w.div_ceil(GRID) + 1;
        let down = h.div_ceil(GRID) + 1;
        let nodes = (0..across * down)
            .into_par_iter()
            .map(|k| {
                let (i, j) = (k % across, k / across);
                background(world, view, light, [(i * GRID) as f32, (j * GRID) as f32])
            })
            .collect();
        Even { across, nodes }
    }

    /// The colour at a picture position, if it changes little round it.
    pub(super) fn at(&self, at: [f32; 2]) -> Option<V3> {
        let [u, v] = at.map(|x| x / GRID as f32);
        let (i, j) = (u as usize, v as usize);
        let k = j * self.across + i;
        let [a, b, c, d] =
            [k, k + 1, k + self.across, k + self.across + 1].map(|k| self.nodes.get(k).copied());
        let (a, b, c, d) = (a?, b?, c?, d?);
        let lo = a.y.min(b.y).min(c.y).min(d.y);
        let hi = a.y.max(b.y).max(c.y).max(d.y);
        if hi > 1.06 * lo {
            return None;
        }
        let (tu, tv) = (u - i as f32, v - j as f32);
        Some(a.mix(b, tu).mix(c.mix(d, tu), tv))
    }
}

/// The mean of shares that differ by less than `limit`.
fn mean(four: [Option<Share>; 4], limit: f32) -> Option<Share> {
    let [Some(a), Some(b), Some(c), Some(d)] = four else {
        return None;
    };
    let each = |n: usize| [a[n], b[n], c[n], d[n]];
    let even = (0..3).all(|n| {
        let lo = each(n).into_iter().fold(f32::MAX, f32::min);
        let hi = each(n).into_iter().fold(f32::MIN, f32::max);
        hi - lo < limit
    });
    even.then(|| [0, 1, 2].map(|n| each(n).iter().sum::<f32>() * 0.25))
}

fn exact(world: &World, p: V3) -> Share {
    let mut out = [open(world, p), 1.0, 1.0];
    for (k, b) in world.scene.rig.boxes.iter().take(2).enumerate() {
        out[k + 1] = world.lit(p, b.dir, b.softness().max(0.05));
    }
    out
}

/// Openness of the table, with the table itself left out of the reckoning.
fn open(world: &World, p: V3) -> f32 {
    let mut dark = 0.0;
    for (reach, weight) in [(3.0f32, 0.3f32), (12.0, 0.28), (36.0, 0.24)] {
        let d = world.near(v3(p.x, reach, p.z), reach).max(0.0);
        dark += weight * (1.0 - d / reach);
    }
    (1.0 - dark).max(0.08)
}
