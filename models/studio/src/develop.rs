//! Developing: from traced light to the bytes of a photo, with the faults of real ones.

use crate::rng::{Rng, lattice};
use crate::trace::Frame;
use crate::vec3::{V3, lerp, smoothstep, v3};
use serde::Serialize;

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
        let gain = self.exposure_ev.exp2();
        let [r, g, b] = self.white_balance;
        let wb = v3(r * gain, g * gain, b * gain);
        let mut px: Vec<V3> = frame
            .colour
            .iter()
            .enumerate()
            .map(|(i, c)| {
                let x = (i % w) as f32 / w as f32 - 0.5;
                let y = (i / w) as f32 / h as f32 - 0.5;
                let fall = 1.0 - self.vignette * smoothstep(0.1, 0.75, (x * x + y * y).sqrt());
                let c = *c * wb * fall;
                // Highlights are bounded before the blur, as a sensor bounds them.
                v3(c.x.min(2.0), c.y.min(2.0), c.z.min(2.0))
            })
            .collect();
        if self.blur_px > 0.05 {
            px = blur(&px, w, h, self.blur_px);
        }
        // Light is bounded at 2 by now. The root spreads the table's places where the curve is steep.
        let curve: Vec<f32> = (0..=CURVE + 1)
            .map(|i| self.tone(2.0 * (i as f32 / CURVE as f32).powi(2)))
            .collect();
        let tone = |v: f32| {
            let at = (v.clamp(0.0, 2.0) * 0.5).sqrt() * CURVE as f32;
            let i = at as usize;
            lerp(curve[i], curve[i + 1], at - i as f32)
        };
        let mut out = Vec::with_capacity(w * h * 3);
        for (i, c) in px.iter().enumerate() {
            let c = if self.mono {
                V3::splat(c.luminance())
            } else {
                *c
            };
            let (x, y) = ((i % w) as i32, (i / w) as i32);
            let grain =
                |k: u32| lattice(x, y, self.seed ^ k) + lattice(x, y, self.seed ^ k ^ 0x55) - 1.0;
            let luma = grain(1) * 2.4 * self.noise;
            for (k, v) in [c.x, c.y, c.z].into_iter().enumerate() {
                let tone = tone(v);
                // Shadows are noisier than lights.
                let n = luma
                    + if self.mono {
                        0.0
                    } else {
                        grain(7 + k as u32) * 1.2 * self.noise
                    };
                let v = tone + n * (1.3 - 0.7 * tone);
                out.push((v * 255.0 + 0.5).clamp(0.0, 255.0) as u8);
            }
        }
        out
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

/// Places of the tone curve's table; its error is a hundredth of a display step.
const CURVE: usize = 2048;

fn blur(px: &[V3], w: usize, h: usize, sigma: f32) -> Vec<V3> {
    let reach = (sigma * 2.6).ceil().max(1.0) as isize;
    let mut kernel: Vec<f32> = (-reach..=reach)
        .map(|k| (-0.5 * (k as f32 / sigma).powi(2)).exp())
        .collect();
    let sum: f32 = kernel.iter().sum();
    for k in &mut kernel {
        *k /= sum;
    }
    let pass = |src: &[V3], across: bool| -> Vec<V3> {
        (0..w * h)
            .map(|i| {
                let (x, y) = ((i % w) as isize, (i / w) as isize);
                let mut c = V3::splat(0.0);
                for (j, k) in kernel.iter().enumerate() {
                    let o = j as isize - reach;
                    let (sx, sy) = if across {
                        ((x + o).clamp(0, w as isize - 1), y)
                    } else {
                        (x, (y + o).clamp(0, h as isize - 1))
                    };
                    c = c + src[sy as usize * w + sx as usize] * *k;
                }
                c
            })
            .collect()
    };
    pass(&pass(px, true), false)
}
