//! Marching rays through the distances of the pieces: first hits, shadows, nearness.

use crate::light::Softbox;
use crate::scene::{Item, Scene};
use crate::vec3::{V3, v3};

/// A scene with what tracing needs at hand.
pub(super) struct World<'a> {
    pub(super) scene: &'a Scene,
    /// What the table sends up, and what falls on the wall.
    pub(super) table_light: V3,
    pub(super) wall_light: V3,
    centres: Vec<(V3, f32)>,
}

impl<'a> World<'a> {
    pub(super) fn new(scene: &'a Scene) -> World<'a> {
        let centres = scene
            .items
            .iter()
            .map(|it| {
                // Made here and not by whichever ray asks first, so that no thread waits for another.
                it.solid.coarse();
                let (lo, hi) = (it.solid.low, it.solid.high);
                (it.world((lo + hi) * 0.5), (hi - lo).length() * 0.5)
            })
            .collect();
        let (rig, backdrop) = (&scene.rig, &scene.backdrop);
        let sum = |share: fn(&Softbox) -> f32| {
            rig.boxes
                .iter()
                .fold(rig.sky, |a, b| a + b.power * share(b))
        };
        World {
            scene,
            table_light: backdrop.colour * sum(|b| b.dir.y.max(0.0)),
            wall_light: sum(|_| 0.55),
            centres,
        }
    }

    /// How far the rays of a cone of half angle tangent `open` travel freely before each piece; `f32::MAX` where they all
    /// miss it.
    pub(super) fn free(&self, o: V3, d: V3, open: f32, out: &mut [f32]) {
        for (i, (item, answer)) in self.scene.items.iter().zip(out).enumerate() {
            *answer = f32::MAX;
            let (c, r) = self.centres[i];
            let along = (c - o).dot(d);
            let aside = (c - o - d * along).length();
            if aside > r + open * (along + r) {
                continue;
            }
            let (lo, ld) = (item.local(o), item.local_dir(d));
            let mut t = (along - r * 1.02).max(0.0);
            let end = along + r * 1.02;
            while t < end {
                let h = item.solid.free(lo + ld * t);
                let wide = open * (t + h.max(0.0)) + 0.05;
                if h < wide {
                    *answer = t;
                    break;
                }
                t += (h - wide).max(0.5);
            }
        }
    }

    /// Nearest piece along a ray: its number and the distance. `free` gives the distance known to be free, by piece.
    pub(super) fn hit(&self, o: V3, d: V3, free: &[f32]) -> Option<(usize, f32)> {
        let mut best: Option<(usize, f32)> = None;
        for (i, item) in self.scene.items.iter().enumerate() {
            if free[i] == f32::MAX {
                continue;
            }
            let (lo, ld) = (item.local(o), item.local_dir(d));
            let Some((t0, t1)) = slab(lo, ld, item.solid.low, item.solid.high) else {
                continue;
            };
            let t0 = t0.max(free[i]);
            let t1 = best.map_or(t1, |b| b.1.min(t1));
            if t0 < t1
                && let Some(t) = first(item, lo, ld, t0, t1)
            {
                best = Some((i, t));
            }
        }
        best
    }

    /// The distance along a ray at which it meets a piece, if that is close to `t`, where the surface leans to the ray by
    /// `facing`, the cosine. Nothing before that place is looked for.
    pub(super) fn settle(&self, item: usize, o: V3, d: V3, t: f32, facing: f32) -> Option<f32> {
        if facing < 0.15 {
            return None;
        }
        let item = &self.scene.items[item];
        let (lo, ld) = (item.local(o), item.local_dir(d));
        let (mut at, mut slope) = (t, facing);
        let mut before: Option<(f32, f32)> = None;
        for _ in 0..4 {
            let h = item.solid.distance(lo + ld * at);
            if h.abs() < NEAR_MM {
                return Some(at);
            }
            if let Some((bt, bh)) = before {
                slope = ((bh - h) / (at - bt)).max(0.15);
            }
            before = Some((at, h));
            at += h / slope;
            if (at - t).abs() > 2.0 {
                return None;
            }
        }
        None
    }

    /// Light that arrives along `d` (0..1) from a light of angular radius `soft`.
    pub(super) fn lit(&self, p: V3, d: V3, soft: f32) -> f32 {
        let mut light = 1.0f32;
        for (i, item) in self.scene.items.iter().enumerate() {
            // The cone of the light must come near the piece at all.
            let (c, r) = self.centres[i];
            let along = (c - p).dot(d);
            if along < -r {
                continue;
            }
            let aside = (c - p - d * along.max(0.0)).length();
            if aside > r + soft * (along + r) {
                continue;
            }
            let (lo, ld) = (item.local(p), item.local_dir(d));
            let end = along + r;
            let mut t = (along - r * 1.3).max(1.2);
            for _ in 0..34 {
                let h = item.solid.about(lo + ld * t);
                light = light.min(h / (soft * t));
                if light < 0.02 {
                    return 0.0;
                }
                t += h.clamp(0.7, 30.0);
                if t > end {
                    break;
                }
            }
        }
        let k = light.clamp(0.0, 1.0);
        k * k * (3.0 - 2.0 * k)
    }

    /// Distance to the nearest thing, the table included, up to about `reach`.
    pub(super) fn near(&self, p: V3, reach: f32) -> f32 {
        let mut d = p.y.min(reach);
        for (i, item) in self.scene.items.iter().enumerate() {
            let (c, r) = self.centres[i];
            if (p - c).length() - r < d {
                d = d.min(item.solid.about(item.local(p)));
            }
        }
        d
    }

    /// How open the surroundings of a surface point are, 0..1.
    pub(super) fn open(&self, p: V3, n: V3) -> f32 {
        let mut dark = 0.0;
        let mut weight = 0.34;
        for reach in [2.5f32, 7.0, 17.0, 38.0] {
            let d = self.near(p + n * reach, reach).max(0.0);
            dark += weight * (1.0 - d / reach);
            weight *= 0.82;
        }
        (1.0 - dark).clamp(0.0, 1.0)
    }
}

/// Entry and exit of a ray through a box.
fn slab(o: V3, d: V3, lo: V3, hi: V3) -> Option<(f32, f32)> {
    let axis = |o: f32, d: f32, lo: f32, hi: f32| {
        if d.abs() < 1e-8 {
            return if o < lo || o > hi {
                (1.0, -1.0)
            } else {
                (f32::MIN, f32::MAX)
            };
        }
        let (a, b) = ((lo - o) / d, (hi - o) / d);
        (a.min(b), a.max(b))
    };
    let (x, y, z) = (
        axis(o.x, d.x, lo.x, hi.x),
        axis(o.y, d.y, lo.y, hi.y),
        axis(o.z, d.z, lo.z, hi.z),
    );
    let t0 = x.0.max(y.0).max(z.0).max(0.0);
    let t1 = x.1.min(y.1).min(z.1);
    (t0 < t1).then_some((t0, t1))
}

/// First surface of a piece between two distances, in its own frame.
fn first(item: &Item, o: V3, d: V3, t0: f32, t1: f32) -> Option<f32> {
    let reach = |t: f32| {
        item.solid
            .distance(v3(o.x + d.x * t, o.y + d.y * t, o.z + d.z * t))
    };
    let mut t = t0;
    let mut before: Option<(f32, f32)> = None;
    // Where the last step went further than the distance there allowed: the place that was certain to be free.
    let mut sure: Option<f32> = None;
    // The same of a step along the surface, which may have gone too far in.
    let mut grazed: Option<f32> = None;
    for _ in 0..110 {
        let h = reach(t);
        if let Some(place) = grazed.take()
            && h < NEAR_MM
        {
            (t, before) = (place, None);
            continue;
        }
        if let Some(place) = sure
            && let Some((bt, _)) = before
            && place + h < t
        {
            // The free balls round the two places do not touch: something may lie between them.
            (t, before, sure) = (place, None, None);
            if t <= bt {
                break;
            }
            continue;
        }
        if h < NEAR_MM {
            return Some(t);
        }
        let slope = before.map(|(bt, bh)| (bh - h) / (t - bt));
        // Close to a surface the distance falls evenly along the ray: the place where it would reach zero is tried, and
        // taken if it is a surface.
        if let (Some(slope), Some((_, bh))) = (slope, before)
            && h < 4.0
            && bh < 12.0
            && slope > 0.12
        {
            let guess = t + h / slope;
            let there = reach(guess);
            if there.abs() < NEAR_MM {
                return (guess < t1).then_some(guess);
            }
            // No surface lies between when the guess is nearer to it than here and the way there was free.
            if there > 0.0 && there < h && guess - t <= h + there {
                (t, before, sure) = (guess, Some((t, h)), None);
                continue;
            }
        }
        // Along a surface that it will miss, a ray may take longer steps: until the next free ball would just touch this
        // one, if the distance goes on as it went.
        let step = match slope {
            Some(slope) if slope < 0.5 => 1.9 * h / (1.0 + slope.max(-0.6)),
            _ => h,
        };
        sure = (step > h).then_some(t + h);
        // A grazing ray would creep: unless it all but touches, it takes a least step where that brings it no nearer
        // than half way. What it could jump over is thinner than the step, so it would cover a fraction of a pixel.
        let step = match slope {
            Some(slope) if h > CLOSE_MM && step < GRAZE_MM && slope * GRAZE_MM < 0.5 * h => {
                (sure, grazed) = (None, Some(t + h));
                GRAZE_MM
            }
            _ => step,
        };
        before = Some((t, h));
        t += step;
        if t > t1 {
            // A long step is checked at the end of the way; a sure one has passed it.
            if sure.is_none_or(|place| place > t1) {
                return None;
            }
            t = t1;
        }
    }
    // Crept along a surface: near enough counts as met.
    (reach(t) < 0.25).then_some(t)
}

/// Least step of a ray along a surface that it will miss, and how near it must not be for that, mm.
const GRAZE_MM: f32 = 1.0;
const CLOSE_MM: f32 = 0.15;

/// Distance at which a surface counts as met, mm.
const NEAR_MM: f32 = 0.04;
