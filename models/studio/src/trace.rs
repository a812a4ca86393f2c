//! Tracing: rays to colours and masks.

mod ground;
mod march;
mod shade;

use crate::camera::View;
use crate::scene::Scene;
use crate::vec3::V3;
use rayon::prelude::*;
use shade::{Arrival, Met};

/// A traced picture in linear light with the truth of every pixel.
#[derive(Clone, Debug)]
pub struct Frame {
    /// Width, pixels.
    pub width: usize,
    /// Height, pixels.
    pub height: usize,
    /// Colour, linear, row by row.
    pub colour: Vec<V3>,
    /// Visible share of every piece in every pixel, 0..255, one mask a piece.
    pub masks: Vec<Vec<u8>>,
    /// Distance and normal at pixel centres, for drawings: piece and part code, distance mm, normal.
    pub centre: Vec<Hit>,
}

/// What the ray through a pixel's centre met.
#[derive(Clone, Copy, Debug, Default)]
pub struct Hit {
    /// Piece number plus one; 0 for the background.
    pub item: u16,
    /// Code of the part and zone, to find inner lines.
    pub part: u16,
    /// Distance, mm.
    pub t_mm: f32,
    /// Normal in the scene.
    pub normal: V3,
}

/// Free distances by tile of pixels, before each piece.
struct Tiles {
    across: usize,
    pieces: usize,
    free: Vec<f32>,
}

/// Width of a tile, pixels.
const TILE: usize = 4;

impl Tiles {
    fn new(world: &march::World, view: &View, w: usize, h: usize) -> Tiles {
        let (across, down) = (w.div_ceil(TILE), h.div_ceil(TILE));
        // Half a tile's diagonal and the sub-pixel offsets, as the tangent of an angle.
        let open = (TILE as f32 * 0.5 + 0.5) * std::f32::consts::SQRT_2 * view.footprint_mm(1.0);
        let pieces = world.scene.items.len();
        let mut free = vec![f32::MAX; across * down * pieces];
        if pieces > 0 {
            free.par_chunks_mut(across * pieces)
                .enumerate()
                .for_each(|(j, row)| {
                    for (i, out) in row.chunks_mut(pieces).enumerate() {
                        let middle = |k: usize| (k * TILE) as f32 + TILE as f32 * 0.5;
                        world.free(view.eye, view.ray(middle(i), middle(j)), open, out);
                    }
                });
        }
        Tiles {
            across,
            pieces,
            free,
        }
    }

    fn at(&self, x: usize, y: usize) -> &[f32] {
        let first = ((y / TILE) * self.across + x / TILE) * self.pieces;
        &self.free[first..first + self.pieces]
    }
}

const SUB: [[f32; 2]; 4] = [
    [0.375, 0.125],
    [-0.375, -0.125],
    [0.125, -0.375],
    [-0.125, 0.375],
];

/// What the ray through a pixel's centre met, if anything. Boxed: most pixels meet nothing, and what they meet is large.
type Place = Option<Box<Met>>;

/// Renders a scene. Every pixel gets one ray, pixels at edges get four more. Where the
/// rays round a pixel met one even surface, its own ray is looked for on that alone. Light is found at every
/// eighth pixel and, where it or the surface does not go on evenly, at every fourth, every other, every one.
pub fn render(scene: &Scene) -> Frame {
    let (w, h) = (scene.camera.width, scene.camera.height);
    let view = scene.camera.view();
    let world = march::World::new(scene);
    let tiles = Tiles::new(&world, &view, w, h);
    let look = |x: usize, y: usize| -> Place {
        let at = (x as f32 + 0.5, y as f32 + 0.5);
        shade::meet(&world, &view, tiles.at(x, y), at.0, at.1).map(Box::new)
    };
    let met = [4, 2, 1].into_iter().fold(Vec::new(), |wider, step| {
        let across = w.div_ceil(2 * step);
        each(w.div_ceil(step), h.div_ceil(step), |i, j| {
            let (x, y) = (i * step, j * step);
            if i % 2 == 0
                && j % 2 == 0
                && let Some(known) = wider.get(j / 2 * across + i / 2)
            {
                return Place::clone(known);
            }
            around(&wider, across, i, j)
                .and_then(|four| {
                    let at = (x as f32 + 0.5, y as f32 + 0.5);
                    shade::between(&world, &view, &four, at.0, at.1).map(Box::new)
                })
                .or_else(|| look(x, y))
        })
    });
    let sparse = [8, 4, 2].into_iter().fold(None, |wider, step| {
        Some(Sparse::new(&world, &met, w, h, step, wider.as_ref()))
    });
    let ground = ground::Light::new(&world, &view, w, h);
    // A plain table changes so slowly that most of it can be blended from places apart.
    let even = scene
        .backdrop
        .is_even()
        .then(|| ground::Even::new(&world, &view, &ground, w, h));
    let first: Vec<(V3, Arrival)> = each(w, h, |x, y| match &met[y * w + x] {
        None => {
            let at = [x as f32 + 0.5, y as f32 + 0.5];
            let c = even
                .as_ref()
                .and_then(|e| e.at(at))
                .unwrap_or_else(|| shade::background(&world, &view, &ground, at));
            (c, Arrival::default())
        }
        Some(m) => {
            let a = sparse
                .as_ref()
                .and_then(|s| s.carried(&met, w, h, x, y))
                .unwrap_or_else(|| shade::arrival(&world, m));
            (shade::colour(&world, &view, m, &a), a)
        }
    });
    let tones: Vec<f32> = first
        .iter()
        .map(|(c, _)| c.luminance().clamp(0.0, 1.2).sqrt())
        .collect();
    let done: Vec<(V3, [u8; 8])> = each(w, h, |x, y| {
        let i = y * w + x;
        let mut c = first[i].0;
        let mut cover = [0u32; 8];
        let mut count = |item: usize| {
            if let Some(k) = cover.get_mut(item) {
                *k += 1;
            }
        };
        if let Some(m) = &met[i] {
            count(m.item);
        }
        let mut n = 1;
        let extra = roughness(&tones, &met, w, h, x, y);
        if extra > 0 {
            // Bounded before the mean, or one mirrored light would leave a jagged edge.
            c = bounded(c);
            let free = closer(&met, tiles.at(x, y), w, h, x, y);
            for &[dx, dy] in &SUB[..extra] {
                let (px, py) = (x as f32 + 0.5 + dx, y as f32 + 0.5 + dy);
                // What the pixels on that side show, and the light that falls there.
                let (nx, ny) = (beside(x, dx, w), beside(y, dy, h));
                let near = [i, y * w + nx, ny * w + x, ny * w + nx];
                // Within a surface the rays of a pixel meet what its middle meets; on an outline they meet the nearest
                // that they can of what is shown beside it, or they are traced.
                let mut shown: [Option<&Met>; 4] = near.map(|k| met[k].as_deref());
                if extra < OUTLINE {
                    shown[1..].fill(None);
                }
                shown.sort_by(|a, b| {
                    let t = |m: &Option<&Met>| m.map_or(f32::MAX, |m| m.t);
                    t(a).total_cmp(&t(b))
                });
                let found = shown
                    .into_iter()
                    .flatten()
                    .find_map(|m| shade::between(&world, &view, &[m], px, py))
                    .or_else(|| shade::meet(&world, &view, &free, px, py));
                let k = match found {
                    None => shade::background(&world, &view, &ground, [px, py]),
                    Some(m) => {
                        count(m.item);
                        let a = near
                            .into_iter()
                            .find(|&k| met[k].as_ref().is_some_and(|o| m.alike(o)))
                            .map_or_else(|| shade::arrival(&world, &m), |k| first[k].1);
                        shade::colour(&world, &view, &m, &a)
                    }
                };
                c = c + bounded(k);
                n += 1;
            }
            c = c * (1.0 / n as f32);
        }
        (c, cover.map(|k| (k * 255 / n) as u8))
    });
    Frame {
        width: w,
        height: h,
        masks: (0..scene.items.len().min(8))
            .map(|k| done.iter().map(|c| c.1[k]).collect())
            .collect(),
        colour: done.into_iter().map(|c| c.0).collect(),
        centre: met
            .iter()
            .map(|m| m.as_ref().map_or(Hit::default(), |m| m.hit()))
            .collect(),
    }
}

/// What was met round the place (`i`, `j`) of a grid of which every second place, both ways, is known.
fn around(known: &[Place], across: usize, i: usize, j: usize) -> Option<[&Met; 4]> {
    let at = |i: usize, j: usize| {
        let there = (i < across).then(|| known.get(j * across + i));
        there.flatten().and_then(|m| m.as_deref())
    };
    let (i0, j0, i1, j1) = (i / 2, j / 2, i.div_ceil(2), j.div_ceil(2));
    Some([at(i0, j0)?, at(i1, j0)?, at(i0, j1)?, at(i1, j1)?])
}

/// A value for every pixel, row by row in parallel.
fn each<T: Send + Default>(w: usize, h: usize, f: impl Fn(usize, usize) -> T + Sync) -> Vec<T> {
    let mut out = Vec::new();
    out.resize_with(w * h, T::default);
    out.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        for (x, v) in row.iter_mut().enumerate() {
            *v = f(x, y);
        }
    });
    out
}

/// Light that arrives at every so many pixels.
struct Sparse {
    /// Distance of the nodes, pixels.
    step: usize,
    across: usize,
    nodes: Vec<Option<Arrival>>,
}

impl Sparse {
    /// Light at the nodes: carried over from the `wider` ones, twice as far apart, where that will do.
    fn new(
        world: &march::World,
        met: &[Place],
        w: usize,
        h: usize,
        step: usize,
        wider: Option<&Sparse>,
    ) -> Sparse {
        let (across, down) = (w.div_ceil(step), h.div_ceil(step));
        let nodes = each(across, down, |i, j| {
            let (x, y) = (i * step, j * step);
            let m = met[y * w + x].as_ref()?;
            wider
                .and_then(|s| s.carried(met, w, h, x, y))
                .or_else(|| Some(shade::arrival(world, m)))
        });
        Sparse {
            step,
            across,
            nodes,
        }
    }

    /// Light at a node, or half way between nodes if the surface goes on evenly between them.
    fn carried(&self, met: &[Place], w: usize, h: usize, x: usize, y: usize) -> Option<Arrival> {
        let here = met[y * w + x].as_ref()?;
        let step = self.step;
        let node = |x: usize, y: usize| self.nodes[y / step * self.across + x / step];
        let (x0, y0) = (x / step * step, y / step * step);
        let (x1, y1) = (x.next_multiple_of(step), y.next_multiple_of(step));
        if (x0, y0) == (x1, y1) {
            return node(x, y);
        }
        if x1 >= w || y1 >= h {
            return None;
        }
        let mut lo = [f32::MAX; 4];
        let mut hi = [f32::MIN; 4];
        let mut sum = [0.0; 4];
        let mut n = 0.0;
        for (i, j) in [(x0, y0), (x1, y0), (x0, y1), (x1, y1)] {
            let alike = met[j * w + i].as_ref().is_some_and(|m| m.alike(here));
            match node(i, j).filter(|_| alike) {
                Some(a) => {
                    n += 1.0;
                    for k in 0..4 {
                        lo[k] = lo[k].min(a.parts[k]);
                        hi[k] = hi[k].max(a.parts[k]);
                        sum[k] += a.parts[k];
                    }
                }
                // At the very edge of a surface what its nearest nodes know will do.
                None if step > 2 => return None,
                None => {}
            }
        }
        // The wider apart, the more may lie between them.
        let limit = if step > 2 { 0.08 } else { 0.2 };
        (n > 0.0 && (0..4).all(|k| hi[k] - lo[k] < limit)).then_some(Arrival {
            parts: sum.map(|s| s / n),
        })
    }
}

/// Free distances within a pixel: what its tile knows, and what the rays round it found.
fn closer(met: &[Place], tile: &[f32], w: usize, h: usize, x: usize, y: usize) -> Vec<f32> {
    let mut nearest = vec![f32::MAX; tile.len()];
    for j in y.saturating_sub(1)..=(y + 1).min(h - 1) {
        for i in x.saturating_sub(1)..=(x + 1).min(w - 1) {
            if let Some(m) = &met[j * w + i] {
                nearest[m.item] = nearest[m.item].min(m.t);
            }
        }
    }
    // A little before the nearest of them: a surface that bulges between rays is not jumped over. Pieces that none of
    // the rays met keep what the tile knows.
    tile.iter()
        .zip(nearest)
        .map(|(&t, n)| {
            if n < f32::MAX {
                t.max(n * 0.995 - 1.0)
            } else {
                t
            }
        })
        .collect()
}

/// The next pixel along an axis on the side of `d`, if there is one.
fn beside(x: usize, d: f32, n: usize) -> usize {
    if d < 0.0 {
        x.saturating_sub(1)
    } else {
        (x + 1).min(n - 1)
    }
}

fn bounded(c: V3) -> V3 {
    crate::vec3::v3(c.x.min(4.0), c.y.min(4.0), c.z.min(4.0))
}

/// Extra rays that a pixel needs: four on outlines, two where only paint or light changes, none elsewhere.
fn roughness(tones: &[f32], met: &[Place], w: usize, h: usize, x: usize, y: usize) -> usize {
    let (tone, a) = (tones[y * w + x], &met[y * w + x]);
    let near = [
        (x.wrapping_sub(1), y),
        (x + 1, y),
        (x, y.wrapping_sub(1)),
        (x, y + 1),
    ];
    let mut extra = 0;
    for (i, j) in near {
        if i >= w || j >= h {
            continue;
        }
        let limit = match (a, &met[j * w + i]) {
            (Some(a), Some(b)) if a.item == b.item && a.n.dot(b.n) >= 0.8 => 0.08,
            (None, None) => 0.16,
            _ => return OUTLINE,
        };
        if (tone - tones[j * w + i]).abs() > limit {
            extra = 2;
        }
    }
    extra
}

/// Extra rays of a pixel on an outline.
const OUTLINE: usize = SUB.len();
