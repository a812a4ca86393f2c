//! The outline channel: how the contour bends, whatever way the piece is
//! turned, and how it fills its box, the way it stands.
//!
//! Three parts, compared by L1 in one vector:
//! 1. A spectrum. At 256 points and eight scales: the signed area of the
//!    triangle to the two points `s` steps away (Alajlan et al. 2007), the
//!    chord between those, and the height of the triangle, all over the
//!    perimeter; the magnitudes of the first Fourier coefficients of each along
//!    the contour do not know the starting point, the rotation or the mirror
//!    image. Square roots keep the low frequencies from drowning the others.
//! 2. How the areas of the triangles are distributed at each scale, over their
//!    mean: the sorted values in sixteen means, which know no order at all.
//! 3. The silhouette as it stands, in a square of 24 x 24 cells of coverage. A
//!    vessel stands upright, so its pose is evidence.

use super::{Channel, Metric, Vector};
use crate::outline::{Outline, resample, ring_area_px2};

const POINTS: usize = 256;
const SCALES: [usize; 8] = [4, 8, 16, 32, 48, 64, 96, 127];
const FREQUENCIES: usize = 12;
const CELLS: usize = 24;
/// How much the standing silhouette counts beside the spectrum; chosen on half
/// of the outline classes and half of the porcelain photos.
const STANDING: f32 = 8.0;

/// Means into which the sorted values of one scale are drawn together.
const STEPS: usize = 16;
/// How much the distributions count beside the spectrum; chosen as STANDING was.
const SORTED: f32 = 0.0376;

const DIM: usize = SCALES.len() * (3 * FREQUENCIES + STEPS) + CELLS * CELLS;

/// The outline channel.
pub(super) const CHANNEL: Channel = Channel {
    name: "outline",
    version: 5,
    dim: DIM,
    metric: Metric::L1,
    unrelated: 6.4,
    ranked: true,
    describe: |subject| describe(subject.outline),
    about: "the silhouette: how its contour bends and how it stands",
};

/// Describes a closed contour; `None` if it is degenerate.
pub(super) fn describe(outline: &Outline) -> Option<Vector> {
    let mut values = spectrum(outline)?;
    values.extend(standing(outline)?);
    Vector::new(values).ok()
}

fn spectrum(outline: &Outline) -> Option<Vec<f32>> {
    let mut points = resample(&outline.outer, POINTS);
    let area = ring_area_px2(&points);
    if area.abs() < 1.0 {
        return None;
    }
    if area < 0.0 {
        points.reverse();
    }
    let perimeter = outline.perimeter_px() as f32;
    let at = |i: usize| points[i % POINTS];
    let mut values = Vec::with_capacity(DIM);
    for scale in SCALES {
        let mut triangle = [0.0f32; POINTS];
        let mut chord = [0.0f32; POINTS];
        let mut height = [0.0f32; POINTS];
        for i in 0..POINTS {
            let (p, a, b) = (at(i), at(i + POINTS - scale), at(i + scale));
            let u = [a[0] - p[0], a[1] - p[1]];
            let v = [b[0] - p[0], b[1] - p[1]];
            let doubled = u[0] * v[1] - u[1] * v[0];
            let length = (b[0] - a[0]).hypot(b[1] - a[1]);
            triangle[i] = doubled / 2.0 / (perimeter * perimeter);
            chord[i] = length / perimeter;
            height[i] = doubled / (length + 1e-6 * perimeter) / perimeter;
        }
        for function in [&triangle, &chord, &height] {
            values.extend(magnitudes(function).map(f32::sqrt));
        }
        values.extend(sorted(triangle));
    }
    Some(values)
}

/// The sorted values over their mean size, in [`STEPS`] means.
fn sorted(mut function: [f32; POINTS]) -> [f32; STEPS] {
    let size = function.iter().map(|v| v.abs()).sum::<f32>() / POINTS as f32 + 1e-12;
    function.sort_unstable_by(f32::total_cmp);
    let (runs, _) = function.as_chunks::<{ POINTS / STEPS }>();
    std::array::from_fn(|i| SORTED * runs[i].iter().sum::<f32>() / (runs[i].len() as f32 * size))
}

/// Magnitudes of the first Fourier coefficients over the number of points.
fn magnitudes(function: &[f32; POINTS]) -> [f32; FREQUENCIES] {
    std::array::from_fn(|k| {
        let step = std::f64::consts::TAU * k as f64 / POINTS as f64;
        // One rotation a sample: cheaper than a sine each, and in f64 exact
        // enough over 256 steps.
        let (sin, cos) = step.sin_cos();
        let (mut c, mut s) = (1.0f64, 0.0f64);
        let (mut re, mut im) = (0.0f64, 0.0f64);
        for v in function {
            re += f64::from(*v) * c;
            im += f64::from(*v) * s;
            (c, s) = (c * cos - s * sin, s * cos + c * sin);
        }
        (re.hypot(im) / POINTS as f64) as f32
    })
}

/// Coverage of each cell of the square round the box, as L1 weights: the
/// distance of two pieces is the share of the square where only one of them is.
fn standing(outline: &Outline) -> Option<Vec<f32>> {
    let bounds = outline.bounds();
    let side = bounds.width().max(bounds.height());
    if bounds.width() <= 1.0 || bounds.height() <= 1.0 {
        return None;
    }
    let left = (bounds.left + bounds.right - side) / 2.0;
    let top = (bounds.top + bounds.bottom - side) / 2.0;
    // Coverage by scan lines: four lines a row of cells, exact along the line.
    const LINES: usize = 4;
    let mut cells = vec![0.0f32; CELLS * CELLS];
    let rings: Vec<&[[f32; 2]]> = std::iter::once(outline.outer.as_slice())
        .chain(outline.holes.iter().map(Vec::as_slice))
        .collect();
    let mut crossings = Vec::new();
    for line in 0..CELLS * LINES {
        let y = top + (line as f32 + 0.5) / (CELLS * LINES) as f32 * side;
        crossings.clear();
        for ring in &rings {
            for (a, b) in crate::outline::edges(ring) {
                if (a[1] > y) != (b[1] > y) {
                    let x = a[0] + (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]);
                    crossings.push((x - left) / side * CELLS as f32);
                }
            }
        }
        crossings.sort_by(f32::total_cmp);
        let row = &mut cells[line / LINES * CELLS..][..CELLS];
        for pair in crossings.chunks_exact(2) {
            for (x, cell) in row.iter_mut().enumerate() {
                let overlap = pair[1].min(x as f32 + 1.0) - pair[0].max(x as f32);
                *cell += overlap.max(0.0) / LINES as f32;
            }
        }
    }
    let weight = STANDING / (CELLS * CELLS) as f32;
    Some(cells.into_iter().map(|v| v * weight).collect())
}
