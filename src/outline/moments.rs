//! Hu's seven moments (1962) of the region that an outline fills.
//!
//! The region's moments are exact: each is an integral along the contour
//! (Green's theorem), so no pixels are counted.

use super::{Outline, edges};

/// Hu's seven invariants; the seventh changes its sign when the region is
/// mirrored. Zeros for an outline without area.
pub fn hu(outline: &Outline) -> [f64; 7] {
    let mut m = [[0.0f64; 4]; 4];
    // About the first point, so that large coordinates do not eat the digits.
    let from = outline
        .outer
        .first()
        .copied()
        .unwrap_or_default()
        .map(f64::from);
    for ring in std::iter::once(&outline.outer).chain(&outline.holes) {
        for (a, b) in edges(ring) {
            let at = |p: [f32; 2]| [f64::from(p[0]) - from[0], f64::from(p[1]) - from[1]];
            add_triangle(&mut m, at(a), at(b));
        }
    }
    // Holes run the other way; the sign of the whole depends on the direction.
    if m[0][0] < 0.0 {
        m.iter_mut().flatten().for_each(|v| *v = -*v);
    }
    let area = m[0][0];
    if area.is_nan() || area <= 0.0 {
        return [0.0; 7];
    }
    let (x, y) = (m[1][0] / area, m[0][1] / area);
    // Central moments, then free of size.
    let size = |order: i32| area.powf(1.0 + f64::from(order) / 2.0);
    let n20 = (m[2][0] - x * m[1][0]) / size(2);
    let n11 = (m[1][1] - x * m[0][1]) / size(2);
    let n02 = (m[0][2] - y * m[0][1]) / size(2);
    let n30 = (m[3][0] - 3.0 * x * m[2][0] + 2.0 * x * x * m[1][0]) / size(3);
    let n21 = (m[2][1] - 2.0 * x * m[1][1] - y * m[2][0] + 2.0 * x * x * m[0][1]) / size(3);
    let n12 = (m[1][2] - 2.0 * y * m[1][1] - x * m[0][2] + 2.0 * y * y * m[1][0]) / size(3);
    let n03 = (m[0][3] - 3.0 * y * m[0][2] + 2.0 * y * y * m[0][1]) / size(3);
    let (p, q) = (n30 + n12, n21 + n03);
    let (r, s) = (n30 - 3.0 * n12, 3.0 * n21 - n03);
    [
        n20 + n02,
        (n20 - n02).powi(2) + 4.0 * n11 * n11,
        r * r + s * s,
        p * p + q * q,
        r * p * (p * p - 3.0 * q * q) + s * q * (3.0 * p * p - q * q),
        (n20 - n02) * (p * p - q * q) + 4.0 * n11 * p * q,
        s * p * (p * p - 3.0 * q * q) - r * q * (3.0 * p * p - q * q),
    ]
}

/// Adds the signed moments up to order three of the triangle between the origin
/// and an edge.
fn add_triangle(m: &mut [[f64; 4]; 4], [x0, y0]: [f64; 2], [x1, y1]: [f64; 2]) {
    let cross = x0 * y1 - x1 * y0;
    m[0][0] += cross / 2.0;
    m[1][0] += cross * (x0 + x1) / 6.0;
    m[0][1] += cross * (y0 + y1) / 6.0;
    m[2][0] += cross * (x0 * x0 + x0 * x1 + x1 * x1) / 12.0;
    m[1][1] += cross * (x0 * (2.0 * y0 + y1) + x1 * (y0 + 2.0 * y1)) / 24.0;
    m[0][2] += cross * (y0 * y0 + y0 * y1 + y1 * y1) / 12.0;
    m[3][0] += cross * (x0 + x1) * (x0 * x0 + x1 * x1) / 20.0;
    m[0][3] += cross * (y0 + y1) * (y0 * y0 + y1 * y1) / 20.0;
    m[2][1] += cross
        * (x0 * x0 * (3.0 * y0 + y1) + 2.0 * x0 * x1 * (y0 + y1) + x1 * x1 * (y0 + 3.0 * y1))
        / 60.0;
    m[1][2] += cross
        * (y0 * y0 * (3.0 * x0 + x1) + 2.0 * y0 * y1 * (x0 + x1) + y1 * y1 * (x0 + 3.0 * x1))
        / 60.0;
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(ring: &[[f32; 2]]) -> [f64; 7] {
        hu(&Outline {
            outer: ring.to_vec(),
            holes: vec![],
        })
    }

    fn near(got: f64, want: f64) {
        assert!(
            (got - want).abs() <= 2e-5 * want.abs() + 1e-12,
            "{got} for {want}"
        );
    }

    /// Closed forms of filled regions, from the definitions.
    #[test]
    fn regions_agree_with_closed_forms() {
        let ellipse = |a: f64, b: f64| -> Vec<[f32; 2]> {
            (0..4000)
                .map(|i| f64::from(i) * std::f64::consts::TAU / 4000.0)
                .map(|t| [(50.0 + a * t.cos()) as f32, (20.0 + b * t.sin()) as f32])
                .collect()
        };
        near(of(&ellipse(1.0, 1.0))[0], 1.0 / std::f64::consts::TAU);
        let two = of(&ellipse(2.0, 1.0));
        near(two[0], 0.198_943_7);
        near(two[1], 0.014_248_3);
        near(
            of(&[[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])[0],
            1.0 / 6.0,
        );
        let rectangle = of(&[[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]]);
        near(rectangle[0], 5.0 / 24.0);
        near(rectangle[1], 1.0 / 64.0);
        let side = 3f32.sqrt();
        let triangle = of(&[[-1.0, 0.0], [1.0, 0.0], [0.0, side]]);
        near(triangle[0], 3f64.sqrt() / 9.0);
        near(triangle[2], 0.004_561_8);
    }

    #[test]
    fn a_mirrored_triangle_changes_only_the_sign_of_the_seventh() {
        let want = [
            0.231_481_5,
            0.016_546_6,
            0.006_026_8,
            5.398_1e-4,
            6.102_2e-7,
            2.690_1e-5,
            -7.586_9e-7,
        ];
        let right = of(&[[0.0, 0.0], [3.0, 0.0], [0.0, 4.0]]);
        let left = of(&[[0.0, 0.0], [-3.0, 0.0], [0.0, 4.0]]);
        for i in 0..7 {
            near(right[i].abs(), f64::abs(want[i]));
            near(left[i], if i == 6 { -right[i] } else { right[i] });
        }
    }

    /// Numbers from OpenCV 5.0.0.93 (PyPI opencv-python-headless): `HuMoments` of
    /// `moments` of the contour.
    #[test]
    fn a_polygon_agrees_with_opencv() {
        let got = of(&[
            [3.0, 1.0],
            [8.0, 2.0],
            [11.0, 6.0],
            [9.0, 9.0],
            [10.0, 13.0],
            [4.0, 12.0],
            [1.0, 8.0],
            [2.0, 5.0],
        ]);
        let want = [
            1.721169162326e-01,
            2.479166675500e-03,
            2.776672496614e-05,
            6.163053738155e-06,
            5.390808310570e-11,
            1.397211987985e-07,
            5.994919587590e-11,
        ];
        for (g, w) in got.iter().zip(want) {
            near(*g, w);
        }
    }

    #[test]
    fn what_has_no_area_has_no_moments() {
        assert_eq!(hu(&Outline::default()), [0.0; 7]);
    }
}
