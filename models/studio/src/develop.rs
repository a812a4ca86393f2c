//! Developing: from traced light to the bytes of a photo, with the faults of real ones.

use crate::rng::{Rng, lattice};
use crate::trace::Frame;
use crate::vec3::{V3, lerp, smoothstep, v3};
use serde::Serialize;
use std::collections::VecDeque;

/// How a photo is developed.
#[derive(Clone, Debug, Serialize)]
pub struct Development {
    /// Exposure against the right one, stops.
    pub exposure_ev: f32,
    /// Gains of red, green and blue: the drift of the white balance.
    pub white_balance: [f32; 3],
    /// Blur of lens and focus, standard deviation in pixels.
    pub blur_px: f32,
    /// Noise, standard deviation at mid grey, 0..1.
    pub noise: f32,
    /// Fall of light to the corners, 0..1.
    pub vignette: f32,
    /// Black-and-white.
    pub mono: bool,
    /// Strength of the tone curve, 1 is usual.
    pub contrast: f32,
    /// JPEG quality.
    pub jpeg_quality: u8,
    /// Seed of the noise.
    #[serde(skip)]
    pub seed: u32,
}

impl Development {
    /// A clean studio photo with small drifts.
    pub fn usual(rng: &mut Rng) -> Development {
        let warm = rng.normal() * 0.035;
        let tint = rng.normal() * 0.012;
        Development {
            exposure_ev: rng.normal() * 0.16,
            white_balance: [1.0 + warm, 1.0 + tint, 1.0 - warm],
            blur_px: rng.range(0.3, 0.65),
            noise: rng.range(0.002, 0.008),
            vignette: rng.range(0.0, 0.18),
            mono: false,
            contrast: rng.range(0.92, 1.08),
            jpeg_quality: rng.int(82, 92) as u8,
            seed: rng.bits() as u32,
        }
    }

    /// The photo as sRGB bytes, row by row.
    pub fn develop(&self, frame: &Frame) -> Vec<u8> {
        let (w, h) = (frame.width, frame.height);
        let curve = Curve::new(|v| self.tone(v));
        let mut out = vec![0u8; w * h * 3];
        let kernel = kernel(self.blur_px);
        let reach = kernel.len() / 2;
        // The rows that a row is blurred from, its own in the middle.
        let mut rows: VecDeque<Vec<V3>> = VecDeque::new();
        let mut next = 0;
        let (mut down, mut across) = (vec![V3::default(); w], vec![V3::default(); w]);
        let mut wide = Vec::with_capacity(w + 2 * reach);
        // Noise of a row: of all colours alike, and of each of its own. Whole rows at a time, many pixels at once.
        let mut luma = vec![0.0f32; w];
        let mut own = [(); 3].map(|()| vec![0.0f32; w]);
        for (y, shown) in out.chunks_exact_mut(3 * w).enumerate() {
            while next <= (y + reach).min(h - 1) {
                let mut row = if rows.len() > 2 * reach {
                    rows.pop_front().unwrap_or_default()
                } else {
                    Vec::with_capacity(w)
                };
                self.expose(frame, next, &mut row);
                rows.push_back(row);
                next += 1;
            }
            // Down: weighted rows added up. Across: the same of each row with its ends repeated.
            down.fill(V3::default());
            for (j, k) in kernel.iter().enumerate() {
                let from = (y + j).saturating_sub(reach).min(h - 1);
                add(&mut down, &rows[from + rows.len() - next], *k);
            }
            wide.clear();
            wide.extend(std::iter::repeat_n(down[0], reach));
            wide.extend_from_slice(&down);
            wide.extend(std::iter::repeat_n(down[w - 1], reach));
            across.fill(V3::default());
            for (j, k) in kernel.iter().enumerate() {
                add(&mut across, &wide[j..j + w], *k);
            }
            self.grain(y, 1, 2.4, &mut luma);
            if !self.mono {
                for (k, grain) in (7..).zip(&mut own) {
                    self.grain(y, k, 1.2, grain);
                }
            }
            let [red, green, blue] = &own;
            let own = red.iter().zip(green).zip(blue);
            let pixels = shown.chunks_exact_mut(3).zip(&across);
            for ((px, c), (luma, ((red, green), blue))) in pixels.zip(luma.iter().zip(own)) {
                let c = if self.mono {
                    V3::splat(c.luminance())
                } else {
                    *c
                };
                // Shadows are noisier than lights.
                let byte = |light: f32, own: f32| {
                    let tone = curve.at(light);
                    let v = tone + (luma + own) * (1.3 - 0.7 * tone);
                    (v * 255.0 + 0.5).clamp(0.0, 255.0) as u8
                };
                px.copy_from_slice(&[byte(c.x, *red), byte(c.y, *green), byte(c.z, *blue)]);
            }
        }
        out
    }

    /// The light of row `y` that the sensor counts.
    fn expose(&self, frame: &Frame, y: usize, row: &mut Vec<V3>) {
        let (w, h) = (frame.width, frame.height);
        let gain = self.exposure_ev.exp2();
        let [r, g, b] = self.white_balance;
        let wb = v3(r * gain, g * gain, b * gain);
        let v = y as f32 / h as f32 - 0.5;
        row.clear();
        row.extend((0..w).zip(&frame.colour[y * w..(y + 1) * w]).map(|(x, c)| {
            let u = x as f32 / w as f32 - 0.5;
            let fall = 1.0 - self.vignette * smoothstep(0.1, 0.75, (u * u + v * v).sqrt());
            let c = *c * wb * fall;
            // Highlights are bounded before the blur, as a sensor bounds them.
            v3(c.x.min(2.0), c.y.min(2.0), c.z.min(2.0))
        }));
    }

    /// Noise of row `y`, `strength` times what is usual, of the kind `k`.
    fn grain(&self, y: usize, k: u32, strength: f32, row: &mut [f32]) {
        let (a, b) = (self.seed ^ k, self.seed ^ k ^ 0x55);
        for (x, v) in (0..).zip(row) {
            let sum = lattice(x, y as i32, a) + lattice(x, y as i32, b) - 1.0;
            *v = sum * strength * self.noise;
        }
    }

    /// Scene light to display value, 0..1, with a soft shoulder.
    fn tone(&self, v: f32) -> f32 {
        let v = v.max(0.0);
        let knee = 0.7;
        let v = if v > knee {
            knee + (1.0 - knee) * (1.0 - (-(v - knee) / (1.0 - knee)).exp())
        } else {
            v
        };
        let s = if v <= 0.003_130_8 {
            12.92 * v
        } else {
            1.055 * v.powf(1.0 / 2.4) - 0.055
        };
        // Contrast turns about a middle grey.
        (0.5 + (s - 0.5) * self.contrast).clamp(0.0, 1.0)
    }
}

/// A curve over light from 0 to 2 in a table whose places are as fine as the light is weak: those of a number's leading
/// bits. Between them it is blended, and off by a tenth of a display step at most, where it bends.
struct Curve {
    table: Vec<f32>,
}

impl Curve {
    /// Bits of a number that are left out, all but seven of its fraction.
    const SKIP: u32 = 23 - 7;
    /// The least light of its own, under a hundredth of a display step.
    const LEAST: f32 = 1.0 / 65_536.0;
    /// The most.
    const MOST: f32 = 2.0;

    fn new(curve: impl Fn(f32) -> f32) -> Curve {
        let first = Curve::LEAST.to_bits() >> Curve::SKIP;
        let last = Curve::MOST.to_bits() >> Curve::SKIP;
        let table = (first..=last + 1)
            .map(|i| curve(f32::from_bits(i << Curve::SKIP)))
            .collect();
        Curve { table }
    }

    fn at(&self, v: f32) -> f32 {
        let bits = v.clamp(Curve::LEAST, Curve::MOST).to_bits() - Curve::LEAST.to_bits();
        let i = (bits >> Curve::SKIP) as usize;
        let whole = 1 << Curve::SKIP;
        let t = (bits & (whole - 1)) as f32 / whole as f32;
        lerp(self.table[i], self.table[i + 1], t)
    }
}

/// Weights of a blur of `sigma_px`, one alone where it would not show.
fn kernel(sigma_px: f32) -> Vec<f32> {
    if sigma_px <= 0.05 {
        return vec![1.0];
    }
    let reach = (sigma_px * 2.6).ceil().max(1.0) as usize;
    let mut kernel: Vec<f32> = (0..=2 * reach)
        .map(|k| (-0.5 * ((k as f32 - reach as f32) / sigma_px).powi(2)).exp())
        .collect();
    let sum: f32 = kernel.iter().sum();
    for k in &mut kernel {
        *k /= sum;
    }
    kernel
}

fn add(to: &mut [V3], from: &[V3], weight: f32) {
    for (t, f) in to.iter_mut().zip(from) {
        *t = *t + *f * weight;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_gives_what_the_curve_gives() {
        let d = Development {
            contrast: 1.08,
            ..Development::usual(&mut Rng::new(3))
        };
        let curve = Curve::new(|v| d.tone(v));
        for i in 0..=40_000 {
            let v = i as f32 / 20_000.0;
            let (got, want) = (curve.at(v) * 255.0, d.tone(v) * 255.0);
            assert!((got - want).abs() < 0.1, "{v}: {got} against {want}");
        }
    }
}
