//! The few colours a surface is made of, with their areas: for showing, and
//! for naming the ground colour.

use serde::{Deserialize, Serialize};

use crate::raster;

/// Most colours that are told apart.
const COLOURS: usize = 6;
/// Colours nearer than this are one (CIEDE2000).
const SAME_DELTA_E00: f64 = 6.0;
/// A colour with less of the surface than this is not shown.
const SMALLEST_SHARE: f32 = 0.015;

/// One colour and how much of the surface has it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Swatch {
    /// CIE L*a*b*, D65.
    pub lab: [f32; 3],
    /// Nearest 8-bit sRGB.
    pub rgb: [u8; 3],
    /// Share of the surface, 0 to 1.
    pub share: f32,
}

/// The colours of CIE L*a*b* samples by share, largest first; empty where there
/// are too few. k-means (Lloyd) from seeds spread by farthest point, so the same
/// picture always gives the same palette; close colours are joined afterwards.
pub fn palette(samples: &[[f32; 3]]) -> Vec<Swatch> {
    if samples.len() < 16 {
        return Vec::new();
    }
    let n = samples.len() as f32;
    let mean = std::array::from_fn(|i| samples.iter().map(|s| s[i]).sum::<f32>() / n);
    let mut centres: Vec<[f32; 3]> = vec![mean];
    // How far each sample is from the nearest centre.
    let mut far: Vec<f32> = samples.iter().map(|s| apart(mean, *s)).collect();
    // Farthest-point seeds by a high quantile: the very farthest pixel is noise.
    while centres.len() < COLOURS {
        let mut reach: Vec<(f32, usize)> = far.iter().copied().zip(0..).collect();
        let at = reach.len() * 99 / 100;
        reach.select_nth_unstable_by(at, |a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let centre = samples[reach[at].1];
        for (far, sample) in far.iter_mut().zip(samples) {
            *far = far.min(apart(centre, *sample));
        }
        centres.push(centre);
    }
    let mut counts = vec![0.0f32; centres.len()];
    for _ in 0..8 {
        let mut sums = vec![[0.0f32; 3]; centres.len()];
        counts.fill(0.0);
        for s in samples {
            let k = nearest(&centres, *s);
            counts[k] += 1.0;
            (0..3).for_each(|i| sums[k][i] += s[i]);
        }
        for ((centre, sum), count) in centres.iter_mut().zip(&sums).zip(&counts) {
            if *count > 0.0 {
                *centre = sum.map(|v| v / count);
            }
        }
    }
    let mut swatches: Vec<Swatch> = Vec::new();
    let mut order: Vec<usize> = (0..centres.len()).collect();
    order.sort_by(|a, b| counts[*b].total_cmp(&counts[*a]));
    for k in order {
        let share = counts[k] / n;
        let lab = centres[k];
        let same = swatches
            .iter_mut()
            .find(|s| raster::delta_e00(s.lab.map(f64::from), lab.map(f64::from)) < SAME_DELTA_E00);
        match same {
            Some(same) => {
                let whole = same.share + share;
                (0..3).for_each(|i| {
                    same.lab[i] = (same.lab[i] * same.share + lab[i] * share) / whole.max(1e-9)
                });
                same.share = whole;
                same.rgb = raster::srgb(same.lab);
            }
            None => swatches.push(Swatch {
                lab,
                rgb: raster::srgb(lab),
                share,
            }),
        }
    }
    swatches.retain(|s| s.share >= SMALLEST_SHARE);
    swatches.sort_by(|a, b| b.share.total_cmp(&a.share));
    swatches
}

/// The nearest centre.
fn nearest(centres: &[[f32; 3]], sample: [f32; 3]) -> usize {
    let mut best = (0, f32::INFINITY);
    for (k, c) in centres.iter().enumerate() {
        let d = apart(*c, sample);
        if d < best.1 {
            best = (k, d);
        }
    }
    best.0
}

/// The squared distance of two colours.
fn apart(a: [f32; 3], b: [f32; 3]) -> f32 {
    (0..3).map(|i| (a[i] - b[i]).powi(2)).sum()
}
