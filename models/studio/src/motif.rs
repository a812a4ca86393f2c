//! Motifs: small pictures drawn from leaves, petals, stems and geometry, kept at several sizes for clean reduction.

mod draw;

use crate::rng::Rng;
use crate::vec3::{V3, floor};
use draw::Canvas;

/// What is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// Flowers and leaves on bent stems.
    Spray,
    /// One flower seen from the front.
    Rosette,
    /// A twig with leaves in pairs.
    Twig,
    /// A pointed star of straight strokes.
    Star,
    /// Rolling scroll, joins to itself left and right.
    Scroll,
    /// Hanging garland, joins to itself.
    Garland,
    /// Row of beads or dots, joins to itself.
    Dots,
    /// Zigzag with dots, joins to itself.
    Zigzag,
    /// Lozenge lattice, joins to itself.
    Lattice,
    /// An open fan of blades.
    Fan,
    /// Overlapping rings, joins to itself.
    Rings,
    /// A thistle-like seed head on a straight stem.
    Seedhead,
}

/// How it is put on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hand {
    /// Flat colours, crisp (decal, screen).
    Decal,
    /// Colours with a dark outline (printed and filled).
    Outlined,
    /// Brush: uneven, soft.
    Brush,
}

/// A motif, premultiplied RGBA at halving sizes.
#[derive(Clone, Debug)]
pub struct Motif {
    /// How many times it looks alike within its own width, joined to itself: 1 for all but the
    /// geometrical ones.
    pub alike: u32,
    levels: Vec<(usize, Vec<[f32; 4]>)>,
}

const SIZE: usize = 192;

impl Motif {
    /// Draws a subject in up to four inks.
    pub fn new(subject: Subject, hand: Hand, inks: &[V3; 4], rng: &mut Rng) -> Motif {
        let mut canvas = Canvas::new(SIZE, hand, rng.bits() as u32);
        draw::subject(&mut canvas, subject, inks, rng);
        let mut levels = vec![(SIZE, canvas.into_pixels())];
        while levels[levels.len() - 1].0 > 6 {
            let (n, big) = &levels[levels.len() - 1];
            let half = n / 2;
            let mut small = vec![[0.0; 4]; half * half];
            for (i, s) in small.iter_mut().enumerate() {
                let (x, y) = (i % half * 2, i / half * 2);
                for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                    let b = big[(y + dy) * n + x + dx];
                    for k in 0..4 {
                        s[k] += 0.25 * b[k];
                    }
                }
            }
            levels.push((half, small));
        }
        let alike = alike(subject, inks[0] == inks[1]);
        Motif { alike, levels }
    }

    /// Colour at u, v in −1..1 (v up); `footprint` is the width of a pixel in the same measure. Wraps in u if `wrap`.
    pub fn at(&self, u: f32, v: f32, footprint: f32, wrap: bool) -> [f32; 4] {
        if v.abs() > 1.0 || (!wrap && u.abs() > 1.0) {
            return [0.0; 4];
        }
        let want = footprint * 0.5 * SIZE as f32;
        let level = (want.max(1.0).log2() + 0.3) as usize;
        let (n, px) = &self.levels[level.min(self.levels.len() - 1)];
        let x = (u * 0.5 + 0.5) * *n as f32 - 0.5;
        let y = (0.5 - v * 0.5) * *n as f32 - 0.5;
        let (x0, y0) = (floor(x), floor(y));
        let (tx, ty) = (x - x0, y - y0);
        let n_i = *n as i32;
        let get = |i: i32, j: i32| {
            let i = if wrap { i.rem_euclid(n_i) } else { i };
            if i < 0 || j < 0 || i >= n_i || j >= n_i {
                [0.0; 4]
            } else {
                px[(j * n_i + i) as usize]
            }
        };
        let (i, j) = (x0 as i32, y0 as i32);
        let (a, b, c, d) = (get(i, j), get(i + 1, j), get(i, j + 1), get(i + 1, j + 1));
        let mut out = [0.0; 4];
        for k in 0..4 {
            let top = a[k] + (b[k] - a[k]) * tx;
            let low = c[k] + (d[k] - c[k]) * tx;
            out[k] = top + (low - top) * ty;
        }
        out
    }
}

/// By what `draw` draws: of four dots, discs or rings in a row every second is the same.
fn alike(subject: Subject, one_ink: bool) -> u32 {
    match subject {
        Subject::Rings if one_ink => 4,
        Subject::Dots | Subject::Zigzag | Subject::Lattice | Subject::Rings => 2,
        _ => 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reduction_keeps_the_ink() {
        let inks = [V3::splat(0.1); 4];
        let m = Motif::new(Subject::Rosette, Hand::Decal, &inks, &mut Rng::new(3));
        let mean =
            |l: &(usize, Vec<[f32; 4]>)| l.1.iter().map(|p| p[3]).sum::<f32>() / l.1.len() as f32;
        let (a, b) = (mean(&m.levels[0]), mean(&m.levels[4]));
        assert!(a > 0.1 && (a - b).abs() < 1e-3, "{a} {b}");
    }
}
