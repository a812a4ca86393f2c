//! Drawing motifs with a few primitives on a square from −1 to 1, y up.

use super::{Hand, Subject};
use crate::rng::{Rng, noise};
use crate::vec3::{V3, lerp, smoothstep};
use std::f32::consts::{PI, TAU};

/// A square of premultiplied colour.
pub(super) struct Canvas {
    size: usize,
    hand: Hand,
    seed: u32,
    px: Vec<[f32; 4]>,
}

type P = [f32; 2];

fn dir(a: f32, l: f32) -> P {
    [l * a.cos(), l * a.sin()]
}

fn add(a: P, b: P) -> P {
    [a[0] + b[0], a[1] + b[1]]
}

impl Canvas {
    pub(super) fn new(size: usize, hand: Hand, seed: u32) -> Canvas {
        Canvas {
            size,
            hand,
            seed,
            px: vec![[0.0; 4]; size * size],
        }
    }

    pub(super) fn into_pixels(self) -> Vec<[f32; 4]> {
        self.px
    }

    /// Lays ink where `distance` (in canvas units, negative inside) says so, within a box.
    fn lay(&mut self, lo: P, hi: P, ink: V3, distance: impl Fn(P) -> f32) {
        let n = self.size as f32;
        let to = |v: f32| ((v * 0.5 + 0.5) * n).clamp(0.0, n) as usize;
        let (x0, x1) = (to(lo[0]), (to(hi[0]) + 1).min(self.size));
        let (y0, y1) = (to(-hi[1]), (to(-lo[1]) + 1).min(self.size));
        let soft = match self.hand {
            Hand::Brush => 0.03,
            _ => 1.2 / n,
        };
        for y in y0..y1 {
            for x in x0..x1 {
                let p = [
                    (x as f32 + 0.5) / n * 2.0 - 1.0,
                    1.0 - (y as f32 + 0.5) / n * 2.0,
                ];
                let d = distance(p);
                if d > soft {
                    continue;
                }
                let mut a = smoothstep(soft, -soft, d);
                let mut c = ink;
                if self.hand == Hand::Brush {
                    // Colour gathers at the edge of a stroke and thins in its middle.
                    a *= 0.55
                        + 0.35 * smoothstep(-0.09, -0.01, d)
                        + 0.2 * (noise(p[0] * 9.0, p[1] * 9.0, self.seed) - 0.5);
                } else if self.hand == Hand::Outlined {
                    let line = smoothstep(-0.028 - soft, -0.028 + soft, d);
                    c = c.mix(ink * 0.16, line);
                }
                let q = &mut self.px[y * self.size + x];
                for (k, v) in [c.x, c.y, c.z].into_iter().enumerate() {
                    q[k] = q[k] * (1.0 - a) + v * a;
                }
                q[3] = q[3] * (1.0 - a) + a;
            }
        }
    }

    fn disc(&mut self, c: P, r: f32, ink: V3) {
        self.lay([c[0] - r, c[1] - r], [c[0] + r, c[1] + r], ink, |p| {
            (p[0] - c[0]).hypot(p[1] - c[1]) - r
        });
    }

    fn ring(&mut self, c: P, r: f32, w: f32, ink: V3) {
        let o = r + w;
        self.lay([c[0] - o, c[1] - o], [c[0] + o, c[1] + o], ink, |p| {
            ((p[0] - c[0]).hypot(p[1] - c[1]) - r).abs() - w
        });
    }

    /// A leaf or petal from `c` in direction `a`: length, half width, place of the widest point 0..1.
    fn leaf(&mut self, c: P, a: f32, length: f32, half: f32, widest: f32, ink: V3) {
        let (ca, sa) = (a.cos(), a.sin());
        let r = length + half + 0.03;
        self.lay([c[0] - r, c[1] - r], [c[0] + r, c[1] + r], ink, |p| {
            let (x, y) = (p[0] - c[0], p[1] - c[1]);
            let (u, v) = ((x * ca + y * sa) / length, (y * ca - x * sa).abs());
            if !(0.0..=1.0).contains(&u) {
                return 0.1;
            }
            let t = if u < widest {
                u / widest
            } else {
                (1.0 - u) / (1.0 - widest)
            };
            let w = half * (t * PI * 0.5).sin();
            (v - w) * 0.85
        });
    }

    /// A stroke through points, from one half width to another.
    fn stroke(&mut self, path: &[P], w0: f32, w1: f32, ink: V3) {
        let n = path.len().max(2) - 1;
        let m = w0.max(w1) + 0.02;
        let (mut lo, mut hi) = ([1e3f32; 2], [-1e3f32; 2]);
        for p in path {
            for k in 0..2 {
                lo[k] = lo[k].min(p[k] - m);
                hi[k] = hi[k].max(p[k] + m);
            }
        }
        let hand = self.hand;
        // A line has no outline of its own.
        if hand == Hand::Outlined {
            self.hand = Hand::Decal;
        }
        self.lay(lo, hi, ink, |p| {
            let mut best = 1e3f32;
            for (i, w) in path.windows(2).enumerate() {
                let (a, b) = (w[0], w[1]);
                let (ex, ey) = (b[0] - a[0], b[1] - a[1]);
                let t = (((p[0] - a[0]) * ex + (p[1] - a[1]) * ey) / (ex * ex + ey * ey).max(1e-9))
                    .clamp(0.0, 1.0);
                let d = (p[0] - a[0] - ex * t).hypot(p[1] - a[1] - ey * t);
                best = best.min(d - lerp(w0, w1, (i as f32 + t) / n as f32));
            }
            best
        });
        self.hand = hand;
    }

    fn flower(&mut self, c: P, r: f32, petals: u32, turn: f32, inks: &[V3; 4], pointed: bool) {
        let half = (PI / petals as f32 * r * 0.72).min(r * 0.42);
        for i in 0..petals {
            let a = turn + TAU * i as f32 / petals as f32;
            let widest = if pointed { 0.45 } else { 0.68 };
            self.leaf(c, a, r, half, widest, inks[0]);
        }
        for i in 0..petals {
            let a = turn + TAU * (i as f32 + 0.5) / petals as f32;
            self.leaf(c, a, r * 0.58, half * 0.5, 0.6, inks[1]);
        }
        self.disc(c, r * 0.22, inks[3]);
    }
}

fn curve(a: P, b: P, c: P, n: usize) -> Vec<P> {
    (0..=n)
        .map(|i| {
            let t = i as f32 / n as f32;
            let s = 1.0 - t;
            let f = |k: usize| a[k] * s * s + 2.0 * b[k] * s * t + c[k] * t * t;
            [f(0), f(1)]
        })
        .collect()
}

/// Draws a subject.
pub(super) fn subject(cv: &mut Canvas, what: Subject, inks: &[V3; 4], rng: &mut Rng) {
    match what {
        Subject::Spray => spray(cv, inks, rng),
        Subject::Rosette => {
            let n = rng.int(5, 9);
            let pointed = rng.chance(0.4);
            for i in 0..n {
                let a = 0.3 + TAU * (i as f32 + 0.5) / n as f32;
                cv.leaf([0.0, 0.0], a, 0.97, 0.13, 0.6, inks[2]);
            }
            cv.flower([0.0, 0.0], 0.78, n, 0.3, inks, pointed);
        }
        Subject::Twig => {
            let path = curve([-0.85, -0.45], [0.0, -0.25], [0.85, 0.4], 16);
            cv.stroke(&path, 0.022, 0.012, inks[2]);
            let n = rng.int(4, 6) as usize;
            for i in 0..n {
                let p = path[2 + i * 13 / n];
                let s = 1.0 - 0.09 * i as f32;
                cv.leaf(p, 1.15, 0.42 * s, 0.1 * s, 0.45, inks[2]);
                cv.leaf(p, -0.55, 0.42 * s, 0.1 * s, 0.45, inks[1]);
            }
            let tip = path[16];
            cv.leaf(
                [tip[0] - 0.1, tip[1] - 0.05],
                0.45,
                0.25,
                0.06,
                0.45,
                inks[2],
            );
            for i in 0..3 {
                let p = path[4 + i * 4];
                let q = add(p, dir(2.2, 0.22));
                cv.stroke(&[p, q], 0.01, 0.01, inks[2]);
                cv.disc(q, 0.06, inks[0]);
            }
        }
        Subject::Star => {
            let n = rng.int(4, 7) * 2;
            for i in 0..n {
                let a = TAU * i as f32 / n as f32 + PI * 0.5;
                let long = i % 2 == 0;
                let l = if long { 0.95 } else { 0.52 };
                let p = dir(a, l);
                cv.stroke(
                    &[[0.0, 0.0], p],
                    0.045,
                    0.008,
                    if long { inks[0] } else { inks[1] },
                );
                if !long {
                    cv.disc(p, 0.05, inks[3]);
                }
            }
            cv.disc([0.0, 0.0], 0.12, inks[3]);
        }
        Subject::Scroll => {
            let path: Vec<P> = (0..=40)
                .map(|i| {
                    let x = -1.0 + i as f32 / 20.0;
                    [x, 0.42 * (x * PI).sin()]
                })
                .collect();
            cv.stroke(&path, 0.035, 0.035, inks[2]);
            for (x, s) in [(-0.5f32, 1.0f32), (0.5, -1.0)] {
                let y = 0.42 * (x * PI).sin();
                let curl: Vec<P> = (0..=24)
                    .map(|i| {
                        let t = i as f32 / 24.0;
                        let a = s * (PI * 0.5 - t * 5.2);
                        add([x, y - s * 0.42], dir(a, 0.42 * (1.0 - 0.7 * t)))
                    })
                    .collect();
                cv.stroke(&curl, 0.03, 0.02, inks[2]);
                cv.flower([x, y - s * 0.42], 0.2, 5, 0.2, inks, false);
                cv.leaf([x - 0.2, y], s * 1.9, 0.36, 0.1, 0.45, inks[1]);
                cv.leaf([x + 0.22, y], s * 1.1, 0.36, 0.1, 0.45, inks[1]);
            }
        }
        Subject::Garland => {
            for i in 0..26 {
                let x = -1.0 + i as f32 / 13.0;
                let y = 0.55 - 0.8 * (1.0 - x * x);
                let s = 0.8 + 0.3 * (1.0 - x.abs());
                let slope = (1.6 * x).atan();
                cv.leaf([x, y], slope + 0.8, 0.24 * s, 0.06 * s, 0.45, inks[2]);
                cv.leaf([x, y], slope - 0.8, 0.24 * s, 0.06 * s, 0.45, inks[1]);
            }
            for x in [-1.0, 1.0] {
                cv.flower([x, 0.5], 0.26, 6, 0.0, inks, false);
            }
            cv.flower([0.0, -0.25], 0.22, 6, 0.3, inks, false);
        }
        Subject::Dots => {
            for i in 0..4 {
                let x = -0.75 + 0.5 * i as f32;
                if i % 2 == 0 {
                    cv.disc([x, 0.0], 0.2, inks[0]);
                    cv.disc([x, 0.0], 0.08, inks[3]);
                } else {
                    cv.disc([x, 0.0], 0.09, inks[1]);
                }
            }
        }
        Subject::Zigzag => {
            let path = [
                [-1.2, -0.6],
                [-1.0, 0.6],
                [-0.5, -0.6],
                [0.0, 0.6],
                [0.5, -0.6],
                [1.0, 0.6],
                [1.2, -0.6],
            ];
            cv.stroke(&path, 0.07, 0.07, inks[0]);
            for x in [-1.0, 0.0, 1.0] {
                cv.disc([x, -0.2], 0.11, inks[1]);
            }
            for x in [-0.5, 0.5] {
                cv.disc([x, 0.2], 0.11, inks[3]);
            }
        }
        Subject::Lattice => {
            for k in -3..=3 {
                let x = k as f32 * 0.5;
                cv.stroke(&[[x - 1.0, -1.0], [x + 1.0, 1.0]], 0.024, 0.024, inks[0]);
                cv.stroke(&[[x - 1.0, 1.0], [x + 1.0, -1.0]], 0.024, 0.024, inks[0]);
            }
            for i in 0..5 {
                for j in 0..5 {
                    let (x, y) = (-1.0 + 0.5 * i as f32, -1.0 + 0.5 * j as f32);
                    if (i + j) % 2 == 0 {
                        cv.disc([x, y], 0.085, inks[1]);
                    } else {
                        cv.disc([x, y], 0.04, inks[3]);
                    }
                }
            }
        }
        Subject::Fan => {
            let n = rng.int(7, 11);
            for i in 0..n {
                let a = PI * (0.12 + 0.76 * i as f32 / (n - 1) as f32);
                let l = 1.25 + 0.22 * (a).sin();
                cv.leaf([0.0, -0.75], a, l, 0.11, 0.75, inks[i as usize % 2]);
            }
            cv.disc([0.0, -0.75], 0.16, inks[3]);
        }
        Subject::Rings => {
            for i in 0..5 {
                let x = -1.0 + 0.5 * i as f32;
                cv.ring([x, 0.0], 0.42, 0.045, inks[i % 2]);
                cv.disc([x, 0.0], 0.1, inks[3]);
            }
        }
        Subject::Seedhead => {
            cv.stroke(
                &curve([0.0, -0.95], [0.08, -0.4], [0.0, 0.2], 10),
                0.028,
                0.02,
                inks[2],
            );
            cv.leaf([0.02, -0.7], 1.0, 0.6, 0.1, 0.4, inks[2]);
            cv.leaf([0.02, -0.55], 2.2, 0.55, 0.1, 0.4, inks[1]);
            for i in 0..15 {
                let a = PI * (0.06 + 0.88 * i as f32 / 14.0);
                let p = dir(a, 0.62);
                cv.stroke(&[[0.0, 0.25], [p[0], p[1] + 0.25]], 0.014, 0.014, inks[0]);
                cv.disc([p[0], p[1] + 0.25], 0.05, inks[3]);
            }
            cv.leaf([0.0, 0.02], PI * 0.5, 0.42, 0.17, 0.45, inks[0]);
        }
    }
}

fn spray(cv: &mut Canvas, inks: &[V3; 4], rng: &mut Rng) {
    let root = [rng.range(-0.12, 0.12), -0.92];
    let stems = rng.int(3, 5);
    let mut heads = Vec::new();
    for i in 0..stems {
        let t = i as f32 / (stems - 1) as f32 - 0.5;
        let tip = [
            1.25 * t + rng.range(-0.1, 0.1),
            0.62 - 1.3 * t * t + rng.range(-0.12, 0.1),
        ];
        let bend = [tip[0] * 0.15 + rng.range(-0.1, 0.1), rng.range(-0.2, 0.1)];
        let path = curve(root, bend, tip, 16);
        cv.stroke(&path, 0.022, 0.012, inks[2]);
        for k in 0..4 {
            let j = 3 + k * 3;
            let (p, q) = (path[j], path[j + 1]);
            let a = (q[1] - p[1]).atan2(q[0] - p[0]);
            let side = if (k + i as usize).is_multiple_of(2) {
                0.75
            } else {
                -0.75
            };
            let ink = if rng.chance(0.3) { inks[1] } else { inks[2] };
            cv.leaf(
                p,
                a + side,
                rng.range(0.24, 0.36),
                rng.range(0.06, 0.1),
                0.45,
                ink,
            );
        }
        heads.push(tip);
    }
    let petals = rng.int(5, 8);
    let pointed = rng.chance(0.3);
    for (i, h) in heads.iter().enumerate() {
        let r = if i == heads.len() / 2 {
            0.34
        } else {
            rng.range(0.16, 0.25)
        };
        let swapped = [inks[1], inks[0], inks[2], inks[3]];
        let palette = if i % 2 == 0 { inks } else { &swapped };
        cv.flower(*h, r, petals, rng.range(0.0, 1.0), palette, pointed);
    }
    for _ in 0..3 {
        let p = [rng.range(-0.5, 0.5), rng.range(-0.4, 0.3)];
        cv.disc(p, 0.035, inks[3]);
    }
}
