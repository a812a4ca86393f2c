//! The edge of a coarse mask, found again in the photo.
//!
//! A guided filter (He, Sun & Tang 2013) with the colour photo as guide, its
//! coefficients computed on a smaller copy (He & Sun 2015, "Fast guided
//! filter"): within a window the mask is modelled as a linear function of
//! colour, so its edge moves onto the photo's edge. The result is made steeper
//! again, since the model is soft where colours are alike.

use image::{GrayImage, RgbImage};

use super::Coarse;

/// Side of the copy on which coefficients are computed, pixels.
const GUIDE_PX: usize = 512;
/// Window radius as a share of that copy's longest side: a bit more than a
/// cell of the network's answer.
const RADIUS_SHARE: f32 = 0.0075;
/// Colour variance (of 0..1) below which a window counts as flat.
const FLATNESS: f32 = 2e-4;
/// How steep the final edge is.
const STEEPNESS: f32 = 3.0;

/// The mask at the photo's size with its edge on the photo's edge.
pub(super) fn refine(photo: &RgbImage, coarse: &Coarse) -> GrayImage {
    let (width, height) = (photo.width() as usize, photo.height() as usize);
    let longest = width.max(height);
    let scale = (GUIDE_PX as f32 / longest as f32).min(1.0);
    let small = (
        ((width as f32 * scale) as usize).max(1),
        ((height as f32 * scale) as usize).max(1),
    );
    let guide = crate::raster::resize(photo, small.0 as u32, small.1 as u32);
    let mask = stretched(coarse, small.0, small.1);
    let radius = ((RADIUS_SHARE * small.0.max(small.1) as f32).round() as usize).max(2);
    let coefficients = coefficients(guide.as_raw(), &mask, small, radius);

    let (sx, sy) = (
        small.0 as f32 / width as f32,
        small.1 as f32 / height as f32,
    );
    let source = photo.as_raw();
    let soft = |y: usize, row: &mut [[f32; 1]]| {
        let fy = ((y as f32 + 0.5) * sy - 0.5).clamp(0.0, (small.1 - 1) as f32);
        for (x, q) in row.iter_mut().enumerate() {
            let fx = ((x as f32 + 0.5) * sx - 0.5).clamp(0.0, (small.0 - 1) as f32);
            let a = bilinear(&coefficients, small.0, small.1, fx, fy);
            let at = (y * width + x) * 3;
            q[0] = a[3]
                + (0..3)
                    .map(|c| a[c] * f32::from(source[at + c]) / 255.0)
                    .sum::<f32>();
        }
    };
    // Where decoration meets a background of its own tone the model follows the
    // decoration's pixels; a window of three takes that tooth off.
    let mut refined = Vec::with_capacity(width * height);
    box_mean(width, height, 1, soft, |row: &[[f32; 1]]| {
        refined.extend(row.iter().map(|[q]| {
            let steep = (q - 0.5) * STEEPNESS + 0.5;
            (steep.clamp(0.0, 1.0) * 255.0).round() as u8
        }));
    });
    GrayImage::from_raw(width as u32, height as u32, refined).unwrap_or_default()
}

/// The network's square stretched to `width` x `height`, bilinear.
fn stretched(coarse: &Coarse, width: usize, height: usize) -> Vec<f32> {
    let side = coarse.side;
    let limit = (side - 1) as f32;
    let mut out = Vec::with_capacity(width * height);
    for y in 0..height {
        let fy = ((y as f32 + 0.5) * side as f32 / height as f32 - 0.5).clamp(0.0, limit);
        let (y0, ty) = (fy as usize, fy.fract());
        let y1 = (y0 + 1).min(side - 1);
        for x in 0..width {
            let fx = ((x as f32 + 0.5) * side as f32 / width as f32 - 0.5).clamp(0.0, limit);
            let (x0, tx) = (fx as usize, fx.fract());
            let x1 = (x0 + 1).min(side - 1);
            let v = |x: usize, y: usize| coarse.values[y * side + x];
            let top = v(x0, y0) * (1.0 - tx) + v(x1, y0) * tx;
            let bottom = v(x0, y1) * (1.0 - tx) + v(x1, y1) * tx;
            out.push(top * (1.0 - ty) + bottom * ty);
        }
    }
    out
}

/// Per pixel the linear model `mask = a_r r + a_g g + a_b b + b`, averaged over
/// the windows that hold the pixel.
fn coefficients(
    guide: &[u8],
    mask: &[f32],
    (width, height): (usize, usize),
    radius: usize,
) -> Vec<[f32; 4]> {
    // Means of: r g b, mask, mask*r mask*g mask*b, rr rg rb gg gb bb.
    let products = |y: usize, row: &mut [[f32; 13]]| {
        for (x, out) in row.iter_mut().enumerate() {
            let i = y * width + x;
            let m = mask[i];
            let [r, g, b] = [0, 1, 2].map(|c| f32::from(guide[i * 3 + c]) / 255.0);
            *out = [
                r,
                g,
                b,
                m,
                m * r,
                m * g,
                m * b,
                r * r,
                r * g,
                r * b,
                g * g,
                g * b,
                b * b,
            ];
        }
    };
    let mut models: Vec<[f32; 4]> = Vec::with_capacity(width * height);
    box_mean(width, height, radius, products, |row| {
        models.extend(row.iter().map(model));
    });
    let mut out = Vec::with_capacity(width * height);
    box_mean(
        width,
        height,
        radius,
        |y, row: &mut [[f32; 4]]| row.copy_from_slice(&models[y * width..(y + 1) * width]),
        |row| out.extend_from_slice(row),
    );
    out
}

/// The linear model of a window with these means.
fn model(v: &[f32; 13]) -> [f32; 4] {
    let [r, g, b, m] = [v[0], v[1], v[2], v[3]];
    let cov = [v[4] - m * r, v[5] - m * g, v[6] - m * b];
    let [rr, rg, rb, gg, gb, bb] = [
        v[7] - r * r + FLATNESS,
        v[8] - r * g,
        v[9] - r * b,
        v[10] - g * g + FLATNESS,
        v[11] - g * b,
        v[12] - b * b + FLATNESS,
    ];
    // Inverse of the symmetric 3 x 3 covariance by cofactors.
    let c00 = gg * bb - gb * gb;
    let c01 = rb * gb - rg * bb;
    let c02 = rg * gb - rb * gg;
    let det = rr * c00 + rg * c01 + rb * c02;
    let c11 = rr * bb - rb * rb;
    let c12 = rg * rb - rr * gb;
    let c22 = rr * gg - rg * rg;
    let inv = 1.0 / det.max(1e-12);
    let a = [
        (c00 * cov[0] + c01 * cov[1] + c02 * cov[2]) * inv,
        (c01 * cov[0] + c11 * cov[1] + c12 * cov[2]) * inv,
        (c02 * cov[0] + c12 * cov[1] + c22 * cov[2]) * inv,
    ];
    [a[0], a[1], a[2], m - a[0] * r - a[1] * g - a[2] * b]
}

/// Mean over the window of `2 * radius + 1` pixels a side, cut at the frame.
/// `fill` makes a row of values, `put` takes a row of means, both from the top
/// down. Only as many rows as a window has are kept, so that all of it stays in
/// the processor's cache.
fn box_mean<const N: usize>(
    width: usize,
    height: usize,
    radius: usize,
    mut fill: impl FnMut(usize, &mut [[f32; N]]),
    mut put: impl FnMut(&[[f32; N]]),
) {
    let mut values = vec![[0.0f32; N]; width];
    let kept = (2 * radius + 2).min(height);
    let mut rows = vec![[0.0f32; N]; width * kept];
    let mut sums = vec![[0.0f64; N]; width];
    let mut means = vec![[0.0f32; N]; width];
    let add = |sums: &mut [[f64; N]], row: &[[f32; N]], sign: f64| {
        for (sum, row) in sums.iter_mut().zip(row) {
            for (s, v) in sum.iter_mut().zip(row) {
                *s += sign * f64::from(*v);
            }
        }
    };
    for next in 0..height + radius {
        if next < height {
            fill(next, &mut values);
            let row = &mut rows[next % kept * width..][..width];
            slide(&values, radius, |x, mean| row[x] = mean);
            add(&mut sums, row, 1.0);
        }
        let Some(y) = next.checked_sub(radius) else {
            continue;
        };
        if y > radius {
            add(
                &mut sums,
                &rows[(y - radius - 1) % kept * width..][..width],
                -1.0,
            );
        }
        let count = ((y + radius).min(height - 1) - y.saturating_sub(radius) + 1) as f64;
        for (o, sum) in means.iter_mut().zip(&sums) {
            for (o, s) in o.iter_mut().zip(sum) {
                *o = (s / count) as f32;
            }
        }
        put(&means);
    }
}

/// Running mean along one row.
fn slide<const N: usize>(row: &[[f32; N]], radius: usize, mut put: impl FnMut(usize, [f32; N])) {
    let mut sums = [0.0f64; N];
    let add = |sums: &mut [f64; N], x: usize, sign: f64| {
        for (s, v) in sums.iter_mut().zip(&row[x]) {
            *s += sign * f64::from(*v);
        }
    };
    for x in 0..radius.min(row.len()) {
        add(&mut sums, x, 1.0);
    }
    for x in 0..row.len() {
        if x + radius < row.len() {
            add(&mut sums, x + radius, 1.0);
        }
        if x > radius {
            add(&mut sums, x - radius - 1, -1.0);
        }
        let count = ((x + radius).min(row.len() - 1) - x.saturating_sub(radius) + 1) as f64;
        put(x, sums.map(|s| (s / count) as f32));
    }
}

fn bilinear(values: &[[f32; 4]], width: usize, height: usize, x: f32, y: f32) -> [f32; 4] {
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(width - 1), (y0 + 1).min(height - 1));
    let (tx, ty) = (x.fract(), y.fract());
    let [a, b, c, d] = [
        values[y0 * width + x0],
        values[y0 * width + x1],
        values[y1 * width + x0],
        values[y1 * width + x1],
    ];
    std::array::from_fn(|i| {
        (a[i] * (1.0 - tx) + b[i] * tx) * (1.0 - ty) + (c[i] * (1.0 - tx) + d[i] * tx) * ty
    })
}
