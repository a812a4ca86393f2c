//! Reproducible vectors in groups, as photos of related pieces give: centres
//! drawn evenly from the unit sphere, group sizes uneven, members spread around
//! their centre by a Gaussian, scaled to unit length.

/// A small seeded generator.
pub(crate) struct Seeded(u64);

impl Seeded {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5851_f42d_4c95_7f2d)
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to 1, neither included.
    pub(crate) fn even(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    pub(crate) fn gaussian(&mut self) -> f32 {
        let radius = (-2.0 * self.even().ln()).sqrt();
        (radius * (std::f64::consts::TAU * self.even()).cos()) as f32
    }
}

/// `base` rows and `queries` more from the same groups, `dim` entries each. A
/// member lies `spread` from its centre, which is 1 long. With `in_order` the
/// groups come one after the other, as folders are added.
pub(crate) fn clustered(
    seed: u64,
    base: usize,
    queries: usize,
    dim: usize,
    spread: f32,
    in_order: bool,
) -> (Vec<f32>, Vec<f32>) {
    let mut random = Seeded::new(seed);
    let groups = (base / 100).max(4);
    let centres: Vec<Vec<f32>> = (0..groups)
        .map(|_| unit((0..dim).map(|_| random.gaussian()).collect()))
        .collect();
    let step = spread / (dim as f32).sqrt();
    let mut draw = |n: usize, sorted: bool| {
        // Squaring makes some groups a good deal larger than others.
        let mut chosen: Vec<usize> = (0..n)
            .map(|_| (random.even().powi(2) * groups as f64) as usize)
            .collect();
        if sorted {
            chosen.sort_unstable();
        }
        let mut values = Vec::with_capacity(n * dim);
        for group in chosen {
            let member = centres[group].iter().map(|c| c + step * random.gaussian());
            values.extend(unit(member.collect()));
        }
        values
    };
    let rows = draw(base, in_order);
    (rows, draw(queries, false))
}

fn unit(mut values: Vec<f32>) -> Vec<f32> {
    let norm = values.iter().map(|v| v * v).sum::<f32>().sqrt();
    values.iter_mut().for_each(|v| *v /= norm);
    values
}
