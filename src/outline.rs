//! The closed contour of a piece, with its holes, to a fraction of a pixel.

pub mod axis;
pub mod drawing;
pub mod fourier;
pub mod lip;
pub mod measure;
pub mod moments;
pub mod parts;
pub mod pose;
pub mod profile;
pub mod rim;
pub mod rows;
mod align;
mod contour;
mod heights;
mod path;
mod trace;

use serde::{Deserialize, Serialize};

pub use align::{Aligner, Alignment, Pair};
pub use contour::{Contour, DIM as CONTOUR_DIM};
pub use trace::trace;

/// A closed polygon; the last point joins the first. Coordinates are pixels of
/// the picture it was traced in: x to the right, y down, the centre of the
/// top-left pixel at (0.5, 0.5).
pub type Ring = Vec<[f32; 2]>;

/// A piece's outer contour and the holes in it (a handle seen from the side
/// leaves one).
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Outline {
    /// The outer contour, counter-clockwise as seen.
    pub outer: Ring,
    /// Holes, clockwise as seen, largest first.
    pub holes: Vec<Ring>,
}

/// Left, top, right, bottom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Smallest x.
    pub left: f32,
    /// Smallest y.
    pub top: f32,
    /// Largest x.
    pub right: f32,
    /// Largest y.
    pub bottom: f32,
}

impl Bounds {
    /// Right minus left.
    pub fn width(&self) -> f32 {
        self.right - self.left
    }
    /// Bottom minus top.
    pub fn height(&self) -> f32 {
        self.bottom - self.top
    }
}

impl Outline {
    /// Area inside the outer contour less the holes, pixels squared.
    pub fn area_px2(&self) -> f64 {
        ring_area_px2(&self.outer).abs()
            - self
                .holes
                .iter()
                .map(|hole| ring_area_px2(hole).abs())
                .sum::<f64>()
    }

    /// Length of the outer contour, pixels.
    pub fn perimeter_px(&self) -> f64 {
        edges(&self.outer).map(|(a, b)| length(a, b)).sum()
    }

    /// The box around the outer contour.
    pub fn bounds(&self) -> Bounds {
        let mut bounds = Bounds {
            left: f32::INFINITY,
            top: f32::INFINITY,
            right: f32::NEG_INFINITY,
            bottom: f32::NEG_INFINITY,
        };
        for [x, y] in &self.outer {
            bounds.left = bounds.left.min(*x);
            bounds.right = bounds.right.max(*x);
            bounds.top = bounds.top.min(*y);
            bounds.bottom = bounds.bottom.max(*y);
        }
        bounds
    }

    /// The same outline with every coordinate `p` mapped to `(p - origin) * factor`.
    #[must_use]
    pub fn mapped(&self, origin: [f32; 2], factor: f32) -> Self {
        let map = |ring: &Ring| {
            ring.iter()
                .map(|p| [(p[0] - origin[0]) * factor, (p[1] - origin[1]) * factor])
                .collect()
        };
        Self {
            outer: map(&self.outer),
            holes: self.holes.iter().map(map).collect(),
        }
    }

    /// A coarser copy for keeping and drawing: at most `points` points on the
    /// outer contour, evenly spaced, and on each hole in proportion.
    #[must_use]
    pub fn thinned(&self, points: usize) -> Self {
        let spacing = self.perimeter_px() / points.max(3) as f64;
        let thin = |ring: &Ring| {
            let perimeter: f64 = edges(ring).map(|(a, b)| length(a, b)).sum();
            let n = (perimeter / spacing.max(1e-9)).round().max(3.0) as usize;
            if n >= ring.len() {
                ring.clone()
            } else {
                resample(ring, n)
            }
        };
        Self {
            outer: thin(&self.outer),
            holes: self.holes.iter().map(thin).collect(),
        }
    }
}

/// Signed area by the shoelace formula, pixels squared; positive when the ring
/// runs counter-clockwise as seen (y points down).
pub fn ring_area_px2(ring: &[[f32; 2]]) -> f64 {
    -edges(ring)
        .map(|(a, b)| f64::from(a[0]) * f64::from(b[1]) - f64::from(b[0]) * f64::from(a[1]))
        .sum::<f64>()
        / 2.0
}

/// `count` points at equal arc length along a closed ring, beginning at its
/// first point.
pub fn resample(ring: &[[f32; 2]], count: usize) -> Ring {
    let perimeter: f64 = edges(ring).map(|(a, b)| length(a, b)).sum();
    if ring.len() < 2 || perimeter <= 0.0 {
        return vec![ring.first().copied().unwrap_or([0.0; 2]); count];
    }
    let mut points = Vec::with_capacity(count);
    let mut walked = 0.0;
    for (a, b) in edges(ring) {
        let step = length(a, b);
        while points.len() < count {
            let wanted = points.len() as f64 * perimeter / count as f64;
            if wanted > walked + step {
                break;
            }
            let t = if step > 0.0 {
                ((wanted - walked) / step) as f32
            } else {
                0.0
            };
            points.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
        }
        walked += step;
    }
    // Rounding can leave the last point a hair beyond the last edge.
    points.resize(count, ring[0]);
    points
}

/// The edges of a closed ring, in order.
pub fn edges(ring: &[[f32; 2]]) -> impl Iterator<Item = ([f32; 2], [f32; 2])> + '_ {
    ring.iter()
        .copied()
        .zip(ring.iter().copied().cycle().skip(1))
}

fn length(a: [f32; 2], b: [f32; 2]) -> f64 {
    // Single precision squared fits into double: no need of a slower `hypot`.
    let (x, y) = (f64::from(b[0] - a[0]), f64::from(b[1] - a[1]));
    (x * x + y * y).sqrt()
}
