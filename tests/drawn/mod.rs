//! Masks drawn by supersampling, for several tests; each uses a part of it.
#![allow(dead_code)]

/// Sub-samples of a pixel along each side, where an edge has to be exact.
const EXACT: usize = 64;
/// The same, where it has to be soft.
const SOFT: usize = 8;

/// A drawn mask.
pub(crate) struct Drawing {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) mask: Vec<u8>,
}

/// Coverage of each pixel by the shape, 0 to 255.
pub(crate) fn draw(width: usize, height: usize, inside: impl Fn(f64, f64) -> bool) -> Vec<u8> {
    sampled(width, height, EXACT, inside)
}

fn sampled(
    width: usize,
    height: usize,
    samples: usize,
    inside: impl Fn(f64, f64) -> bool,
) -> Vec<u8> {
    let mut mask = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            let at = |i: usize, j: usize, n: usize| {
                inside(
                    x as f64 + (i as f64 + 0.5) / n as f64,
                    y as f64 + (j as f64 + 0.5) / n as f64,
                )
            };
            // Where a coarse look agrees, the fine one would.
            let coarse = (0..16).filter(|k| at(k % 4, k / 4, 4)).count();
            let share = if coarse == 0 || coarse == 16 {
                let around = (0..9).filter(|k| {
                    inside(
                        x as f64 + (k % 3) as f64 / 2.0,
                        y as f64 + (k / 3) as f64 / 2.0,
                    )
                });
                if around.count() == coarse / 16 * 9 {
                    coarse as f64 / 16.0
                } else {
                    fine(samples, &at)
                }
            } else {
                fine(samples, &at)
            };
            mask.push((share * 255.0).round() as u8);
        }
    }
    mask
}

fn fine(n: usize, at: &impl Fn(usize, usize, usize) -> bool) -> f64 {
    let hits = (0..n * n).filter(|k| at(k % n, k / n, n)).count();
    hits as f64 / (n * n) as f64
}

/// A jug with a handle to the right and a lip to the left; lengths as shares of
/// its height.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Jug {
    /// Half the width of the foot and of the mouth.
    pub(crate) foot: f64,
    pub(crate) mouth: f64,
    /// How far the belly stands out, and the lip.
    pub(crate) belly: f64,
    pub(crate) lip: f64,
    /// Outer radius and thickness of the handle.
    pub(crate) handle: f64,
    pub(crate) thick: f64,
}

impl Default for Jug {
    fn default() -> Self {
        Self {
            foot: 0.2,
            mouth: 0.25,
            belly: 0.12,
            lip: 0.1,
            handle: 0.24,
            thick: 0.07,
        }
    }
}

impl Jug {
    /// Whether a point of the unit square, y up from the foot, is in the jug.
    fn inside(self, x: f64, y: f64) -> bool {
        let bulge = self.belly * 4.0 * y * (1.0 - y);
        let half = self.foot + (self.mouth - self.foot) * y + bulge;
        let body = (0.0..1.0).contains(&y) && x.abs() < half;
        let lip = (0.8..1.0).contains(&y) && x < 0.0 && -x < half + self.lip * (y - 0.8) / 0.2;
        let r = (x - half.min(0.5)).hypot(y - 0.55);
        let handle = x > 0.0 && r < self.handle && r > self.handle - self.thick;
        body || lip || handle
    }

    /// Draws it on a square of `side` pixels, the jug's height 0.6 of it, moved
    /// by so many pixels, turned by so many degrees.
    pub(crate) fn draw(self, side: usize, shift: [f64; 2], turn: f64, mirror: bool) -> Drawing {
        let scale = side as f64 * 0.6;
        let centre = side as f64 / 2.0;
        let (sin, cos) = turn.to_radians().sin_cos();
        let mask = sampled(side, side, SOFT, |x, y| {
            let (x, y) = (x - centre - shift[0], y - centre - shift[1]);
            let (x, y) = (x * cos + y * sin, y * cos - x * sin);
            let x = if mirror { -x } else { x };
            self.inside(x / scale, 0.5 - y / scale)
        });
        Drawing {
            width: side,
            height: side,
            mask,
        }
    }
}

/// A plate seen from the side.
pub(crate) fn plate(side: usize) -> Drawing {
    let s = side as f64;
    let mask = draw(side, side, |x, y| {
        let (x, y) = ((x / s - 0.5).abs(), y / s - 0.5);
        (0.0..0.1).contains(&y) && x < 0.42 - y * 2.2
    });
    Drawing {
        width: side,
        height: side,
        mask,
    }
}
