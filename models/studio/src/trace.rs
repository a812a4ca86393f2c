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

/// Free distances by tile of pixels.
struct Tiles {
    across: usize,
    free: Vec<Vec<f32>>,
}

/// Width of a tile, pixels.
const TILE: usize = 4;

impl Tiles {
    fn new(world: &march::World, view: &View, w: usize, h: usize) -> Tiles {
        let (across, down) = (w.div_ceil(TILE), h.div_ceil(TILE));
        // Half a tile's diagonal and the sub-pixel offsets, as the tangent of an angle.
        let open = (TILE as f32 * 0.5 + 0.5) * std::f32::consts::SQRT_2 * view.footprint_mm(1.0);
        let free = (0..across * down)
            .into_par_iter()
            .map(|k| {
                let x = ((k % across) * TILE) as f32 + TILE as f32 * 0.5;
                let y = ((k / across) * TILE) as f32 + TILE as f32 * 0.5;
                let mut out = Vec::new();
                world.free(view.eye, view.ray(x, y), open, &mut out);
                out
            })
            .collect();
        Tiles { across, free }
    }

    fn at(&self, x: usize, y: usize) -> &[f32] {
        &self.free[(y / TILE) * self.across + x / TILE]
    }
}

const SUB: [[f32; 2]; 4] = [
    [0.375, 0.125],
    [-0.375, -0.125],
    [0.125, -0.375],
    [-0.125, 0.375],
];

/// What the ray through a pixel's centre met, if anything.
type Place = Option<Box<Met>>;

/// Renders a scene. Every pixel gets one ray, pixels at edges get four more; light is found at every other pixel and
/// carried over where the surface goes on.
pub fn render(scene: &Scene) -> Frame {
    let (w, h) = (scene.camera.width, scene.camera.height);
    let view = scene.camera.view();
    let world = march::World::new(scene);
    let tiles = Tiles::new(&world, &view, w, h);
    // Boxed: most pixels meet nothing, and what they meet is large.
    let met: Vec<Place> = each(w, h, |x, y| {
        shade::meet(
            &world,
            &view,
            tiles.at(x, y),
            x as f32 + 0.5,
            y as f32 + 0.5,
        )
        .map(Box::new)
    });
    let (hw, hh) = (w.div_ceil(2), h.div_ceil(2));
    let sparse: Vec<Option<Arrival>> = each(hw, hh, |x, y| {
        met[2 * y * w + 2 * x]
            .as_ref()
            .map(|m| shade::arrival(&world, m))
    });
    let ground = ground::Light::new(&world, &view, w, h);
    let first: Vec<(V3, Arrival)> = each(w, h, |x, y| match &met[y * w + x] {
        None => {
            let c = shade::background(&world, &view, &ground, [x as f32 + 0.5, y as f32 + 0.5]);
            (c, Arrival::default())
        }
        Some(m) => {
            let a = carried(&met, &sparse, w, h, x, y).unwrap_or_else(|| shade::arrival(&world, m));
            (shade::colour(&world, &view, m, &a), a)
        }
    });
    let done: Vec<(V3, [u8; 8])> = each(w, h, |x, y| {
        let i = y * w + x;
        let (mut c, arrival) = first[i];
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
        let extra = roughness(&first, &met, w, h, x, y);
        if extra > 0 {
            // Bounded before the mean, or one mirrored light would leave a jagged edge.
            c = bounded(c);
            let free = closer(&met, tiles.at(x, y), w, h, x, y);
            for &[dx, dy] in &SUB[..extra] {
                let (px, py) = (x as f32 + 0.5 + dx, y as f32 + 0.5 + dy);
                let k = match shade::meet(&world, &view, &free, px, py) {
                    None => shade::background(&world, &view, &ground, [px, py]),
                    Some(m) => {
                        count(m.item);
                        let same = met[i].as_ref().is_some_and(|o| m.alike(o));
                        let a = if same {
                            arrival
                        } else {
                            shade::arrival(&world, &m)
                        };
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

/// A value for every pixel, in parallel and in order.
fn each<T: Send>(w: usize, h: usize, f: impl Fn(usize, usize) -> T + Sync) -> Vec<T> {
    (0..w * h)
        .into_par_iter()
        .with_min_len(w)
        .map(|i| f(i % w, i / w))
        .collect()
}

/// Light carried over from the neighbours where it was found, if the surface goes on evenly between them.
fn carried(
    met: &[Place],
    sparse: &[Option<Arrival>],
    w: usize,
    h: usize,
    x: usize,
    y: usize,
) -> Option<Arrival> {
    let here = met[y * w + x].as_ref()?;
    let hw = w.div_ceil(2);
    if x.is_multiple_of(2) && y.is_multiple_of(2) {
        return sparse[y / 2 * hw + x / 2];
    }
    let (x0, y0) = (x & !1, y & !1);
    let (x1, y1) = (x.div_ceil(2) * 2, y.div_ceil(2) * 2);
    if x1 >= w || y1 >= h {
        return None;
    }
    let mut lo = [f32::MAX; 4];
    let mut hi = [f32::MIN; 4];
    let mut sum = [0.0; 4];
    for (i, j) in [(x0, y0), (x1, y0), (x0, y1), (x1, y1)] {
        if !met[j * w + i].as_ref()?.alike(here) {
            return None;
        }
        let a = sparse[j / 2 * hw + i / 2]?;
        for k in 0..4 {
            lo[k] = lo[k].min(a.parts[k]);
            hi[k] = hi[k].max(a.parts[k]);
            sum[k] += 0.25 * a.parts[k];
        }
    }
    (0..4)
        .all(|k| hi[k] - lo[k] < 0.14)
        .then_some(Arrival { parts: sum })
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

fn bounded(c: V3) -> V3 {
    crate::vec3::v3(c.x.min(4.0), c.y.min(4.0), c.z.min(4.0))
}

/// Extra rays that a pixel needs: four on outlines, two where only paint or light changes, none elsewhere.
fn roughness(px: &[(V3, Arrival)], met: &[Place], w: usize, h: usize, x: usize, y: usize) -> usize {
    let (c, a) = (&px[y * w + x].0, &met[y * w + x]);
    let tone = |c: &V3| c.luminance().clamp(0.0, 1.2).sqrt();
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
        let (k, b) = (&px[j * w + i].0, &met[j * w + i]);
        let limit = match (a, b) {
            (Some(a), Some(b)) if a.item == b.item && a.n.dot(b.n) >= 0.8 => 0.08,
            (None, None) => 0.16,
            _ => return 4,
        };
        if (tone(c) - tone(k)).abs() > limit {
            extra = 2;
        }
    }
    extra
}
