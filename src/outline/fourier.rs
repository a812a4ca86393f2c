//! Elliptic Fourier coefficients of a closed contour (Kuhl & Giardina 1982).

use super::edges;

/// Coefficients a, b, c, d of one harmonic: x gets a cos + b sin, y gets c cos
/// + d sin of n times 2 pi the share of the contour walked.
pub type Harmonic = [f64; 4];

/// The first `order` harmonics of a ring, in its own unit, by arc length.
pub fn coefficients(ring: &[[f32; 2]], order: usize) -> Vec<Harmonic> {
    let steps: Vec<([f64; 2], f64)> = edges(ring)
        .map(|(a, b)| {
            [
                f64::from(b[0]) - f64::from(a[0]),
                f64::from(b[1]) - f64::from(a[1]),
            ]
        })
        .map(|d| (d, d[0].hypot(d[1])))
        .filter(|(_, length)| *length > 0.0)
        .collect();
    let total: f64 = steps.iter().map(|(_, length)| length).sum();
    (1..=order)
        .map(|n| {
            let n = n as f64;
            let turn = std::f64::consts::TAU * n / total;
            let factor = total / (2.0 * (n * std::f64::consts::PI).powi(2));
            let mut sum = [0.0; 4];
            let mut walked = 0.0;
            for ([dx, dy], length) in &steps {
                let (sin0, cos0) = (turn * walked).sin_cos();
                walked += length;
                let (sin1, cos1) = (turn * walked).sin_cos();
                let (cos, sin) = ((cos1 - cos0) / length, (sin1 - sin0) / length);
                sum[0] += dx * cos;
                sum[1] += dx * sin;
                sum[2] += dy * cos;
                sum[3] += dy * sin;
            }
            sum.map(|v| v * factor)
        })
        .collect()
}

/// The same freed of size, turn and start point: the first harmonic's major
/// axis becomes 1, lies along x and is where the contour begins. Nothing if the
/// contour has no extent.
pub fn normalised(harmonics: &[Harmonic]) -> Vec<Harmonic> {
    let Some([a, b, c, d]) = harmonics.first().copied() else {
        return Vec::new();
    };
    let start = 0.5 * (2.0 * (a * b + c * d)).atan2(a * a - b * b + c * c - d * d);
    let begin = |[a, b, c, d]: Harmonic, n: usize| {
        let (sin, cos) = (n as f64 * start).sin_cos();
        [
            a * cos + b * sin,
            -a * sin + b * cos,
            c * cos + d * sin,
            -c * sin + d * cos,
        ]
    };
    let [a1, _, c1, _] = begin([a, b, c, d], 1);
    let size = a1.hypot(c1);
    if size.is_nan() || size <= 0.0 {
        return Vec::new();
    }
    let (sin, cos) = (c1 / size, a1 / size);
    harmonics
        .iter()
        .enumerate()
        .map(|(i, h)| {
            let [a, b, c, d] = begin(*h, i + 1);
            [
                (a * cos + c * sin) / size,
                (b * cos + d * sin) / size,
                (c * cos - a * sin) / size,
                (d * cos - b * sin) / size,
            ]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half axes of a harmonic's ellipse.
    fn axes([a, b, c, d]: Harmonic) -> (f64, f64) {
        let (sum, area) = (a * a + b * b + c * c + d * d, (a * d - b * c).abs());
        let root = |sign: f64| (sum + sign * 2.0 * area).max(0.0).sqrt();
        (
            (root(1.0) + root(-1.0)) / 2.0,
            (root(1.0) - root(-1.0)) / 2.0,
        )
    }

    fn near(got: (f64, f64), want: (f64, f64), within: f64) {
        assert!(
            (got.0 - want.0).abs() < within && (got.1 - want.1).abs() < within,
            "{got:?} for {want:?}"
        );
    }

    fn ellipse(a: f64, b: f64) -> Vec<[f32; 2]> {
        (0..4000)
            .map(|i| f64::from(i) * std::f64::consts::TAU / 4000.0)
            .map(|t| [(a * t.cos()) as f32, (b * t.sin()) as f32])
            .collect()
    }

    /// Closed forms: a circle has one harmonic, a square odd ones of 8 sqrt(2) /
    /// (pi n)^2; the rectangle and the ellipse by numerical integration of the
    /// definition (an ellipse is not one harmonic by arc length).
    #[test]
    fn harmonics_agree_with_closed_forms() {
        let circle = coefficients(&ellipse(1.0, 1.0), 4);
        near(axes(circle[0]), (1.0, 1.0), 1e-5);
        near(axes(circle[1]), (0.0, 0.0), 1e-5);
        near(axes(circle[2]), (0.0, 0.0), 1e-5);
        let square = coefficients(&[[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]], 5);
        for (i, h) in square.iter().enumerate() {
            let n = (i + 1) as f64;
            let want = if i % 2 == 0 {
                8.0 * 2f64.sqrt() / (std::f64::consts::PI * n).powi(2)
            } else {
                0.0
            };
            near(axes(*h), (want, want), 1e-9);
        }
        let rectangle = coefficients(&[[2.0, 1.0], [-2.0, 1.0], [-2.0, -1.0], [2.0, -1.0]], 3);
        near(axes(rectangle[0]), (2.105921, 1.215854), 1e-6);
        near(axes(rectangle[2]), (0.270190, 0.0), 1e-6);
        let two_to_one = coefficients(&ellipse(2.0, 1.0), 3);
        near(axes(two_to_one[0]), (1.828412, 1.073017), 1e-5);
        near(axes(two_to_one[2]), (0.128929, 0.089285), 1e-5);
    }

    /// Numbers from pyefd 1.8.0 (PyPI), `elliptic_fourier_descriptors` of the same
    /// ring closed, as they are and with `normalize=True`.
    #[test]
    fn harmonics_agree_with_pyefd() {
        let ring = [
            [3.0, 1.0],
            [8.0, 2.0],
            [11.0, 6.0],
            [9.0, 9.0],
            [10.0, 13.0],
            [4.0, 12.0],
            [1.0, 8.0],
            [2.0, 5.0],
        ];
        let raw = coefficients(&ring, 3);
        let want = [
            [-2.516248776, 3.831135175, -5.233132814, -2.264396834],
            [0.101808032, 0.342823252, -0.131537526, -0.037784162],
            [-0.389309611, -0.368943305, -0.277401466, -0.040783290],
        ];
        let freed = normalised(&raw);
        let want_freed = [
            [-1.000000000, 0.000000000, -0.000000000, -0.755925100],
            [-0.010963627, 0.017122006, -0.040167250, -0.047729299],
            [-0.071789508, 0.005333313, 0.068224272, 0.030294896],
        ];
        let near = |got: &[Harmonic], want: &[Harmonic], sign: f64| {
            for (g, w) in got.iter().flatten().zip(want.iter().flatten()) {
                assert!((g - sign * w).abs() < 1e-8, "{got:?} for {want:?}");
            }
        };
        near(&raw, &want, 1.0);
        // The first ellipse looks the same after half a turn, so either is right.
        near(&freed, &want_freed, want_freed[0][0].signum());
    }

    #[test]
    fn turn_size_and_start_do_not_count() {
        let ring: Vec<[f32; 2]> = vec![[0.0, 0.0], [4.0, 1.0], [6.0, 5.0], [2.0, 7.0], [-1.0, 3.0]];
        let (sin, cos) = 0.7f32.sin_cos();
        let mut moved: Vec<[f32; 2]> = ring
            .iter()
            .map(|[x, y]| [3.0 * (x * cos - y * sin) + 9.0, 3.0 * (x * sin + y * cos)])
            .collect();
        moved.rotate_left(2);
        let one = normalised(&coefficients(&ring, 6));
        let other = normalised(&coefficients(&moved, 6));
        // The start may be either end of the major axis: even harmonics then
        // change sign.
        for (i, (p, q)) in one.iter().zip(&other).enumerate() {
            for (u, v) in p.iter().zip(q) {
                let same = (u - v).abs() < 1e-5;
                assert!(same || (i % 2 == 1 && (u + v).abs() < 1e-5), "{p:?} {q:?}");
            }
        }
    }

    #[test]
    fn a_point_has_no_harmonics() {
        assert!(normalised(&coefficients(&[[1.0, 1.0]; 4], 3)).is_empty());
    }
}
