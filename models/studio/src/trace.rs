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
}

/// What the rays through pixel centres met, for drawings.
#[derive(Clone, Debug)]
pub struct Hits {
    /// Width, pixels.
    pub width: usize,
    /// Height, pixels.
    pub height: usize,
    /// By pixel, row by row.
    pub at: Vec<Hit>,
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

/// What the rays through the places of a grid met, row by row. Most meet nothing, and what they meet is large, so a row
/// keeps only that, and the number of it for every place.
struct Places {
    across: usize,
    rows: Vec<Row>,
}

struct Row {
    /// Which of `met`; past its end where nothing was met.
    which: Vec<u32>,
    met: Vec<Met>,
}

impl Places {
    fn new(
        across: usize,
        down: usize,
        meet: impl Fn(usize, usize) -> Option<Met> + Sync,
    ) -> Places {
        let rows = (0..down)
            .into_par_iter()
            .map(|y| {
                let mut met = Vec::new();
                let which = (0..across)
                    .map(|x| {
                        let Some(m) = meet(x, y) else {
                            return u32::MAX;
                        };
                        met.push(m);
                        met.len() as u32 - 1
                    })
                    .collect();
                Row { which, met }
            })
            .collect();
        Places { across, rows }
    }

    fn down(&self) -> usize {
        self.rows.len()
    }

    /// What was met at a place, if anything was.
    #[inline]
    fn at(&self, x: usize, y: usize) -> Option<&Met> {
        let row = &self.rows[y];
        row.met.get(row.which[x] as usize)
    }

    /// What was met round the place (`i`, `j`) of a grid twice as fine.
    fn around(&self, i: usize, j: usize) -> Option<[&Met; 4]> {
        let (i0, j0, i1, j1) = (i / 2, j / 2, i.div_ceil(2), j.div_ceil(2));
        if i1 >= self.across || j1 >= self.down() {
            return None;
        }
        Some([
            self.at(i0, j0)?,
            self.at(i1, j0)?,
            self.at(i0, j1)?,
            self.at(i1, j1)?,
        ])
    }
}

/// What the rays through the pixels of a scene met. Every fourth pixel, both ways, gets a ray of its own; between those,
/// where they met one surface, it is blended or looked for on that alone.
fn meet(world: &march::World, view: &View, tiles: &Tiles, w: usize, h: usize) -> Places {
    let mut wider: Option<Places> = None;
    for step in [4, 2, 1] {
        let met = Places::new(w.div_ceil(step), h.div_ceil(step), |i, j| {
            let (x, y) = (i * step, j * step);
            let at = (x as f32 + 0.5, y as f32 + 0.5);
            let look = || shade::meet(world, view, tiles.at(x, y), at.0, at.1);
            let Some(wider) = &wider else {
                return look();
            };
            if i % 2 == 0 && j % 2 == 0 {
                return wider.at(i / 2, j / 2).copied();
            }
            wider
                .around(i, j)
                .and_then(|four| {
                    shade::blended(view, four.map(|m| (m, 0.25)), at.0, at.1)
                        .or_else(|| shade::between(world, view, &four, at.0, at.1))
                })
                .or_else(look)
        });
        wider = Some(met);
    }
    wider.unwrap_or(Places {
        across: w,
        rows: Vec::new(),
    })
}

/// What the rays through pixel centres meet.
pub fn hits(scene: &Scene) -> Hits {
    let (width, height) = (scene.camera.width, scene.camera.height);
    let view = scene.camera.view();
    let world = march::World::new(scene);
    let tiles = Tiles::new(&world, &view, width, height);
    let met = meet(&world, &view, &tiles, width, height);
    let at = each(width, height, |x, y| {
        met.at(x, y).map_or(Hit::default(), Met::hit)
    });
    Hits { width, height, at }
}

/// Renders a scene. Every pixel gets one ray, pixels at edges get four more. Light is found at every
/// eighth pixel and, where it or the surface does not go on evenly, at every fourth, every other, every one.
pub fn render(scene: &Scene) -> Frame {
    let (w, h) = (scene.camera.width, scene.camera.height);
    let view = scene.camera.view();
    let world = march::World::new(scene);
    let tiles = Tiles::new(&world, &view, w, h);
    let met = meet(&world, &view, &tiles, w, h);
    let sparse = [8, 4, 2].into_iter().fold(None, |wider, step| {
        Some(Sparse::new(&world, &view, &met, step, wider.as_ref()))
    });
    let arrivals: Vec<Vec<Arrival>> = (0..h)
        .into_par_iter()
        .map(|y| {
            let row = (0..w).filter_map(|x| Some((x, met.at(x, y)?)));
            row.map(|(x, m)| {
                sparse
                    .as_ref()
                    .and_then(|s| s.carried(&met, x, y))
                    .unwrap_or_else(|| shade::arrival(&world, &view, m))
            })
            .collect()
        })
        .collect();
    let arrival = |x: usize, y: usize| arrivals[y].get(met.rows[y].which[x] as usize);
    let ground = ground::Light::new(&world, &view, w, h);
    // A plain table changes so slowly that most of it can be blended from places apart.
    let even = scene
        .backdrop
        .is_even()
        .then(|| ground::Even::new(&world, &view, &ground, w, h));
    let mut colour = each(w, h, |x, y| match (met.at(x, y), arrival(x, y)) {
        (Some(m), Some(a)) => shade::colour(&world, &view, m, a),
        _ => {
            let at = [x as f32 + 0.5, y as f32 + 0.5];
            even.as_ref()
                .and_then(|e| e.at(at))
                .unwrap_or_else(|| shade::background(&world, &view, &ground, at))
        }
    });
    let tones: Vec<f32> = colour
        .iter()
        .map(|c| c.luminance().clamp(0.0, 1.2).sqrt())
        .collect();
    // Further rays of a pixel.
    let more = |x: usize, y: usize, extra: usize, first: V3, cover: &mut Cover| {
        // Bounded before the mean, or one mirrored light would leave a jagged edge.
        let mut sum = bounded(first);
        let free = closer(&met, tiles.at(x, y), w, h, x, y);
        for &[dx, dy] in &SUB[..extra] {
            let (px, py) = (x as f32 + 0.5 + dx, y as f32 + 0.5 + dy);
            // What the pixels on that side show, and the light that falls there.
            let (nx, ny) = (beside(x, dx, w), beside(y, dy, h));
            let near = [(x, y), (nx, y), (x, ny), (nx, ny)];
            let shown = near.map(|(x, y)| met.at(x, y));
            let found = within(&view, shown, [dx, dy], [px, py])
                .or_else(|| {
                    // Within a surface the rays of a pixel meet what its middle meets; on an outline they meet the
                    // nearest that they can of what is shown beside it, or they are traced.
                    let mut shown = shown;
                    if extra < OUTLINE {
                        shown[1..].fill(None);
                    }
                    shown.sort_by(|a, b| {
                        let t = |m: &Option<&Met>| m.map_or(f32::MAX, |m| m.t);
                        t(a).total_cmp(&t(b))
                    });
                    let mut shown = shown.into_iter().flatten();
                    shown.find_map(|m| shade::between(&world, &view, &[m], px, py))
                })
                .or_else(|| shade::meet(&world, &view, &free, px, py));
            let c = match found {
                None => shade::background(&world, &view, &ground, [px, py]),
                Some(m) => {
                    cover.count(m.item());
                    let like = |&(x, y): &(usize, usize)| met.at(x, y).is_some_and(|o| m.alike(o));
                    let known = near.into_iter().find(like);
                    match known.and_then(|(x, y)| arrival(x, y)) {
                        Some(a) => shade::colour(&world, &view, &m, a),
                        None => {
                            let a = shade::arrival(&world, &view, &m);
                            shade::colour(&world, &view, &m, &a)
                        }
                    }
                }
            };
            sum = sum + bounded(c);
        }
        sum * (1.0 / (1 + extra) as f32)
    };
    let mut covers = vec![[0u8; PIECES]; w * h];
    let rows = colour.par_chunks_mut(w).zip(covers.par_chunks_mut(w));
    rows.enumerate().for_each(|(y, (colours, covers))| {
        for (x, (c, covered)) in colours.iter_mut().zip(covers).enumerate() {
            let mut cover = Cover::default();
            if let Some(m) = met.at(x, y) {
                cover.count(m.item());
            }
            let extra = roughness(&tones, &met, w, h, x, y);
            if extra > 0 {
                *c = more(x, y, extra, *c, &mut cover);
            }
            *covered = cover.of(1 + extra);
        }
    });
    Frame {
        width: w,
        height: h,
        masks: (0..scene.items.len().min(PIECES))
            .map(|k| covers.iter().map(|c| c[k]).collect())
            .collect(),
        colour,
    }
}

/// Pieces that get a mask.
const PIECES: usize = 8;

/// Rays of a pixel that met each piece.
#[derive(Default)]
struct Cover {
    rays: [usize; PIECES],
}

impl Cover {
    fn count(&mut self, item: usize) {
        if let Some(k) = self.rays.get_mut(item) {
            *k += 1;
        }
    }

    /// The share of `all` rays, 0..255.
    fn of(&self, all: usize) -> [u8; PIECES] {
        self.rays.map(|k| (k * 255 / all) as u8)
    }
}

/// What the ray at an offset from a pixel's centre meets, blended from what was met there and at its three neighbours on
/// that side, where one even surface shows at them all.
fn within(view: &View, shown: [Option<&Met>; 4], offset: [f32; 2], at: [f32; 2]) -> Option<Met> {
    let [Some(a), Some(b), Some(c), Some(d)] = shown else {
        return None;
    };
    let [u, v] = offset.map(f32::abs);
    let four = [
        (a, (1.0 - u) * (1.0 - v)),
        (b, u * (1.0 - v)),
        (c, (1.0 - u) * v),
        (d, u * v),
    ];
    shade::blended(view, four, at[0], at[1])
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
        view: &View,
        met: &Places,
        step: usize,
        wider: Option<&Sparse>,
    ) -> Sparse {
        let (across, down) = (met.across.div_ceil(step), met.down().div_ceil(step));
        let nodes = each(across, down, |i, j| {
            let (x, y) = (i * step, j * step);
            let m = met.at(x, y)?;
            wider
                .and_then(|s| s.carried(met, x, y))
                .or_else(|| Some(shade::arrival(world, view, m)))
        });
        Sparse {
            step,
            across,
            nodes,
        }
    }

    /// Light at a node, or half way between nodes if the surface goes on evenly between them.
    fn carried(&self, met: &Places, x: usize, y: usize) -> Option<Arrival> {
        let here = met.at(x, y)?;
        let step = self.step;
        let node = |x: usize, y: usize| self.nodes[y / step * self.across + x / step];
        let (x0, y0) = (x / step * step, y / step * step);
        let (x1, y1) = (x.next_multiple_of(step), y.next_multiple_of(step));
        if (x0, y0) == (x1, y1) {
            return node(x, y);
        }
        if x1 >= met.across || y1 >= met.down() {
            return None;
        }
        let mut lo = [f32::MAX; 4];
        let mut hi = [f32::MIN; 4];
        let mut sum = [0.0; 4];
        let mut n = 0.0;
        for (i, j) in [(x0, y0), (x1, y0), (x0, y1), (x1, y1)] {
            let alike = met.at(i, j).is_some_and(|m| m.alike(here));
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
fn closer(met: &Places, tile: &[f32], w: usize, h: usize, x: usize, y: usize) -> Vec<f32> {
    let mut nearest = vec![f32::MAX; tile.len()];
    for j in y.saturating_sub(1)..=(y + 1).min(h - 1) {
        for i in x.saturating_sub(1)..=(x + 1).min(w - 1) {
            if let Some(m) = met.at(i, j) {
                nearest[m.item()] = nearest[m.item()].min(m.t);
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
fn roughness(tones: &[f32], met: &Places, w: usize, h: usize, x: usize, y: usize) -> usize {
    let (tone, a) = (tones[y * w + x], met.at(x, y));
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
        let limit = match (a, met.at(i, j)) {
            (Some(a), Some(b)) if a.item() == b.item() && a.n.dot(b.n) >= 0.8 => 0.08,
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
