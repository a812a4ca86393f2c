//! Seeded chance: one small generator and lattice noise. Nothing in the studio draws chance from anywhere else.

use crate::vec3::{V3, floor, lerp};

/// A splitmix64 generator. Forks are independent of the order in which they are made, so that adding a step to one part
/// of a scene does not change the others.
#[derive(Clone, Debug)]
pub struct Rng {
    seed: u64,
    state: u64,
}

fn scramble(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

impl Rng {
    /// A generator from a seed.
    pub fn new(seed: u64) -> Rng {
        let seed = scramble(seed ^ 0x5851_f42d_4c95_7f2d);
        Rng { seed, state: seed }
    }

    /// An independent generator for a named purpose.
    pub fn fork(&self, purpose: &str, index: u64) -> Rng {
        let mut h = self.seed;
        for b in purpose.bytes() {
            h = scramble(h ^ u64::from(b)).wrapping_add(0x9e37_79b9_7f4a_7c15);
        }
        Rng::new(scramble(h ^ index.wrapping_mul(0xd134_2543_de82_ef95)))
    }

    /// The next 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        scramble(self.state)
    }

    /// Uniform in 0..1.
    pub fn unit(&mut self) -> f32 {
        (self.bits() >> 40) as f32 / (1u64 << 24) as f32
    }

    /// Uniform in a..b.
    pub fn range(&mut self, a: f32, b: f32) -> f32 {
        lerp(a, b, self.unit())
    }

    /// A whole number in a..=b.
    pub fn int(&mut self, a: u32, b: u32) -> u32 {
        a + (self.bits() % u64::from(b - a + 1)) as u32
    }

    /// True with probability p.
    pub fn chance(&mut self, p: f32) -> bool {
        self.unit() < p
    }

    /// One of the given values; the slice must not be empty.
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[(self.bits() % of.len() as u64) as usize]
    }

    /// Normal with mean 0 and deviation 1 (sum of four uniforms: bounded, which suits photographs).
    pub fn normal(&mut self) -> f32 {
        (self.unit() + self.unit() + self.unit() + self.unit() - 2.0) * 1.732
    }
}

/// Factors of the places and the seed of a lattice.
const ACROSS: u32 = 0x8da6_b343;
const DOWN: u32 = 0xd816_3841;
const KIND: u32 = 0xcb1a_b31f;

/// A fixed random value in 0..1 for a lattice point.
#[inline]
pub fn lattice(x: i32, y: i32, seed: u32) -> f32 {
    mixed(
        (x as u32)
            .wrapping_mul(ACROSS)
            .wrapping_add((y as u32).wrapping_mul(DOWN))
            .wrapping_add(seed.wrapping_mul(KIND)),
    )
}

#[inline]
fn mixed(mut h: u32) -> f32 {
    h = (h ^ (h >> 15)).wrapping_mul(0x2c1b_3c6d);
    h = (h ^ (h >> 12)).wrapping_mul(0x297a_2d39);
    (h ^ (h >> 15)) as f32 / u32::MAX as f32
}

/// A place between lattice points: the point below it, ready for the values of its neighbours, and the eased way on.
struct Between {
    first: u32,
    x: f32,
    y: f32,
}

impl Between {
    fn new(x: f32, y: f32) -> Between {
        let (xf, yf) = (floor(x), floor(y));
        let ease = |t: f32| t * t * (3.0 - 2.0 * t);
        Between {
            first: (xf as i32 as u32)
                .wrapping_mul(ACROSS)
                .wrapping_add((yf as i32 as u32).wrapping_mul(DOWN)),
            x: ease(x - xf),
            y: ease(y - yf),
        }
    }

    /// Smooth noise there. Neighbours differ by the factors, so that each takes an addition.
    fn noise(&self, seed: u32) -> f32 {
        let here = self.first.wrapping_add(seed.wrapping_mul(KIND));
        let next = here.wrapping_add(ACROSS);
        let top = lerp(mixed(here), mixed(next), self.x);
        let low = lerp(
            mixed(here.wrapping_add(DOWN)),
            mixed(next.wrapping_add(DOWN)),
            self.x,
        );
        lerp(top, low, self.y)
    }
}

/// Smooth noise in 0..1 with one feature a unit.
pub fn noise(x: f32, y: f32, seed: u32) -> f32 {
    Between::new(x, y).noise(seed)
}

/// Three octaves of noise, about 0..1 with mean one half.
pub fn fbm(x: f32, y: f32, seed: u32) -> f32 {
    (noise(x, y, seed) * 4.0
        + noise(x * 2.03 + 7.1, y * 2.03 + 3.7, seed ^ 1) * 2.0
        + noise(x * 4.1 + 1.3, y * 4.1 + 9.2, seed ^ 2))
        / 7.0
}

/// Noise in space in 0..1, one feature every `scale_mm`: free of seams and of stretching on a turned body.
pub fn noise_on(p: V3, scale_mm: f32, seed: u32) -> f32 {
    let k = 1.0 / scale_mm;
    let y = p.y * k;
    let below = floor(y);
    let t = y - below;
    let level = Between::new(p.x * k, p.z * k);
    let layer = |i: i32| level.noise(seed ^ (i as u32).wrapping_mul(0x9e37_79b1));
    let i = below as i32;
    lerp(layer(i), layer(i + 1), t * t * (3.0 - 2.0 * t))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn same_seed_same_stream_and_forks_differ() {
        let (mut a, mut b) = (Rng::new(7), Rng::new(7));
        assert!((0..100).all(|_| a.bits() == b.bits()));
        let root = Rng::new(7);
        assert_ne!(root.fork("x", 0).bits(), root.fork("x", 1).bits());
        assert_ne!(root.fork("x", 0).bits(), root.fork("y", 0).bits());
        assert_eq!(root.fork("x", 3).bits(), root.fork("x", 3).bits());
    }

    #[test]
    fn moments_are_right() {
        let mut r = Rng::new(1);
        let n = 40_000;
        let (mut mean, mut square) = (0.0f64, 0.0f64);
        for _ in 0..n {
            let x = f64::from(r.normal());
            mean += x / f64::from(n);
            square += x * x / f64::from(n);
        }
        assert!(mean.abs() < 0.02, "{mean}");
        assert!((square - 1.0).abs() < 0.03, "{square}");
        assert!((0..1000).all(|_| (3..=5).contains(&r.int(3, 5))));
    }

    #[test]
    fn noise_is_continuous_and_bounded() {
        for i in 0..2000 {
            let x = i as f32 * 0.01 - 10.0;
            let (a, b) = (noise(x, 0.3, 5), noise(x + 1e-3, 0.3, 5));
            assert!((0.0..=1.0).contains(&a));
            assert!((a - b).abs() < 0.01);
        }
    }
}
