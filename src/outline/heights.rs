//! Height functions (Wang, Bai, You, Liu & Latecki 2012): at each point of a
//! contour, how far the rest of it rises above the tangent there, walked once
//! round. They know neither place, size nor turn, and say much about parts.

use super::contour::POINTS;

/// Runs of the walk over which heights are averaged.
pub(super) const BANDS: usize = 20;

/// Heights at every point, `[point][band]`.
pub(super) type Heights = [[f32; BANDS]; POINTS];

/// Heights of a contour that runs counter-clockwise as seen.
///
/// Each band is scaled by its greatest height on the contour, so that all
/// scales of it count, and weighted by how near it lies to the point: what is
/// near moves less when parts bend.
pub(super) fn heights(points: &[[f32; 2]; POINTS]) -> Heights {
    let mut heights = [[0.0f32; BANDS]; POINTS];
    let mut greatest = [1e-9f32; BANDS];
    for (i, bands) in heights.iter_mut().enumerate() {
        let (p, before, after) = (
            points[i],
            points[(i + POINTS - 1) % POINTS],
            points[(i + 1) % POINTS],
        );
        let along = [after[0] - before[0], after[1] - before[1]];
        let length = along[0].hypot(along[1]) + 1e-9;
        let normal = [-along[1] / length, along[0] / length];
        for (m, band) in bands.iter_mut().enumerate() {
            let (from, to) = (edge(m), edge(m + 1));
            let sum: f32 = (from + 1..=to)
                .map(|step| {
                    let q = points[(i + step) % POINTS];
                    (q[0] - p[0]) * normal[0] + (q[1] - p[1]) * normal[1]
                })
                .sum();
            *band = sum / (to - from) as f32;
            greatest[m] = greatest[m].max(band.abs());
        }
    }
    let weights = weights();
    for bands in &mut heights {
        for m in 0..BANDS {
            bands[m] *= weights[m] / greatest[m];
        }
    }
    heights
}

/// Where band `m` begins: the walk over the other points in equal parts.
fn edge(m: usize) -> usize {
    (m * (POINTS - 1) + BANDS / 2) / BANDS
}

/// One over the number of bands to the point, summing to 1.
fn weights() -> [f32; BANDS] {
    let raw: [f32; BANDS] = std::array::from_fn(|m| 1.0 / (m + 1).min(BANDS - m) as f32);
    let sum: f32 = raw.iter().sum();
    raw.map(|w| w / sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// On a circle of radius r the height at arc angle t is r (1 - cos t), the
    /// same at every point.
    #[test]
    fn heights_of_a_circle_are_those_of_the_closed_form() {
        let angle = |i: usize| i as f64 * std::f64::consts::TAU / POINTS as f64;
        let circle: [[f32; 2]; POINTS] = std::array::from_fn(|i| {
            [
                (3.0 * angle(i).cos()) as f32,
                // Counter-clockwise as seen: y points down.
                (-3.0 * angle(i).sin()) as f32,
            ]
        });
        let heights = heights(&circle);
        let raw: Vec<f64> = (0..BANDS)
            .map(|m| {
                let (from, to) = (edge(m), edge(m + 1));
                (from + 1..=to).map(|s| 1.0 - angle(s).cos()).sum::<f64>() / (to - from) as f64
            })
            .collect();
        for (m, (w, raw)) in weights().iter().zip(&raw).enumerate() {
            assert!(*raw > 0.0);
            for bands in &heights {
                // Scaled by the greatest of the band, which is every one here.
                assert!((bands[m].abs() - w).abs() < 1e-5, "{m}: {}", bands[m]);
            }
        }
        let sign = heights[0][0].signum();
        assert!(heights.iter().flatten().all(|h| h.signum() == sign));
    }
}
