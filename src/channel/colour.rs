//! The colour channel: how much of the surface has which colour.
//!
//! A histogram over L*a*b* (6 x 8 x 8 cells, each pixel shared between its
//! neighbouring cells so that a small shift of light is a small distance), its
//! square root taken, so that the Euclidean distance is Hellinger's. Specular
//! highlights and the soft edge are left out.

use super::{Channel, Metric, Subject, Vector};
use crate::{cutout::Cutout, raster};

const CELLS: [usize; 3] = [6, 8, 8];
/// Lowest and highest value covered on L*, a*, b*.
const RANGE: [(f32, f32); 3] = [(0.0, 100.0), (-50.0, 60.0), (-60.0, 70.0)];

/// The colour channel.
pub(super) const CHANNEL: Channel = Channel {
    name: "colour",
    version: 1,
    dim: CELLS[0] * CELLS[1] * CELLS[2],
    metric: Metric::L2,
    unrelated: 1.0,
    ranked: true,
    describe,
    about: "how much of the surface has which colour, glare left out",
};

fn describe(subject: &Subject<'_>) -> Option<Vector> {
    if !subject.has_colour || !subject.cutout.origin.shows_surface() {
        return None;
    }
    let mut histogram = vec![0.0f32; CHANNEL.dim];
    let mut total = 0.0f32;
    for lab in surface_lab(subject.cutout, 1) {
        let mut low = [0usize; 3];
        let mut share = [0.0f32; 3];
        for i in 0..3 {
            let (from, to) = RANGE[i];
            let at = (lab[i] - from) / (to - from) * CELLS[i] as f32 - 0.5;
            let at = at.clamp(0.0, (CELLS[i] - 1) as f32);
            low[i] = (at as usize).min(CELLS[i] - 2);
            share[i] = at - low[i] as f32;
        }
        for corner in 0..8usize {
            let bit = |i: usize| corner >> i & 1;
            let weight: f32 = (0..3)
                .map(|i| {
                    if bit(i) == 1 {
                        share[i]
                    } else {
                        1.0 - share[i]
                    }
                })
                .product();
            let cell =
                ((low[0] + bit(0)) * CELLS[1] + low[1] + bit(1)) * CELLS[2] + low[2] + bit(2);
            histogram[cell] += weight;
        }
        total += 1.0;
    }
    if total < 16.0 {
        return None;
    }
    Vector::unit(
        histogram
            .into_iter()
            .map(|v| (v / total).sqrt())
            .collect::<Vec<_>>(),
    )
    .ok()
}

/// L*a*b* of the pixels well inside the mask and not burnt out, every `step`-th
/// of them along rows and columns (more where the piece is large: some ten
/// thousand samples say all there is to say).
pub(super) fn surface_lab(cutout: &Cutout, step: u32) -> impl Iterator<Item = [f32; 3]> + '_ {
    const SAMPLES: f64 = 20_000.0;
    let covered = cutout.mask.iter().filter(|v| **v > 250).count() as f64;
    let step = step.max((covered / SAMPLES).sqrt().round() as u32).max(1);
    cutout
        .working
        .enumerate_pixels()
        .filter(move |(x, y, _)| x % step == 0 && y % step == 0)
        .filter(|(x, y, _)| cutout.mask.get_pixel(*x, *y).0[0] > 250)
        .filter(|(_, _, p)| !is_highlight(p.0))
        .map(|(_, _, p)| raster::lab(p.0))
}

/// A specular highlight on glaze is clipped in every channel.
pub(crate) fn is_highlight(rgb: [u8; 3]) -> bool {
    rgb.iter().all(|v| *v >= 250)
}
