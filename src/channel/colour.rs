//! The colour channel: how much of the surface has which colour.
//!
//! A histogram over L*a*b* (6 x 8 x 8 cells, each pixel shared between its
//! neighbouring cells so that a small shift of light is a small distance), its
//! square root taken, so that the Euclidean distance is Hellinger's. Specular
//! highlights and the soft edge are left out.

use super::{Channel, Metric, Subject, Vector};
use crate::{colour::surface, raster};

const CELLS: [usize; 3] = [6, 8, 8];
/// Lowest and highest value covered on L*, a*, b*.
const RANGE: [(f32, f32); 3] = [(0.0, 100.0), (-50.0, 60.0), (-60.0, 70.0)];

/// The colour channel.
pub(super) const CHANNEL: Channel = Channel {
    name: "colour",
    version: 2,
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
    for lab in surface(subject.cutout, 1).map(raster::lab) {
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
