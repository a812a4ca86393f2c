//! Line drawings: outline and main lines in black on paper, from the same geometry.

use crate::rng::{fbm, noise};
use crate::trace::Hits;

/// A drawing as sRGB bytes from what was met at twice the size; the result has half its width and height.
pub fn draw(hits: &Hits, seed: u32) -> (usize, usize, Vec<u8>) {
    let (w, h) = (hits.width, hits.height);
    let ink: Vec<f32> = (0..w * h).map(|i| edge(hits, i % w, i / w)).collect();
    let (ow, oh) = (w / 2, h / 2);
    let mut out = Vec::with_capacity(ow * oh * 3);
    for y in 0..oh {
        for x in 0..ow {
            // A pen line about two pixels wide: the darkest of a small neighbourhood, averaged.
            let mut k = 0.0f32;
            for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                let mut m = 0.0f32;
                for (ex, ey) in [
                    (0i32, 0i32),
                    (1, 0),
                    (-1, 0),
                    (0, 1),
                    (0, -1),
                    (2, 0),
                    (0, 2),
                    (1, 1),
                    (-1, -1),
                ] {
                    let sx = (2 * x as i32 + dx + ex).clamp(0, w as i32 - 1) as usize;
                    let sy = (2 * y as i32 + dy + ey).clamp(0, h as i32 - 1) as usize;
                    m = m.max(ink[sy * w + sx]);
                }
                k += 0.25 * m;
            }
            let paper = 0.95 - 0.03 * fbm(x as f32 * 0.02, y as f32 * 0.02, seed);
            let press = 0.9 - 0.15 * noise(x as f32 * 0.11, y as f32 * 0.11, seed ^ 1);
            let v = paper * (1.0 - k * press);
            for tint in [1.0, 0.985, 0.955] {
                out.push((v * tint * 255.0 + 0.5).clamp(0.0, 255.0) as u8);
            }
        }
    }
    (ow, oh, out)
}

/// Ink at a pixel: 1 on outlines, less on the lines inside.
fn edge(f: &Hits, x: usize, y: usize) -> f32 {
    let a = f.at[y * f.width + x];
    let mut ink = 0.0f32;
    for (i, j) in [(x + 1, y), (x, y + 1)] {
        if i >= f.width || j >= f.height {
            continue;
        }
        let b = f.at[j * f.width + i];
        if a.item != b.item {
            return 1.0;
        }
        if a.item == 0 {
            continue;
        }
        let step = (a.t_mm - b.t_mm).abs() / a.t_mm.max(1.0);
        if step > 0.008 {
            ink = ink.max(1.0);
        } else if a.part != b.part {
            ink = ink.max(0.75);
        } else if a.normal.dot(b.normal) < 0.8 {
            ink = ink.max(0.8);
        }
    }
    ink
}
