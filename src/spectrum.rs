//! The discrete Fourier transform, which several rooms need.

use std::sync::{LazyLock, Mutex, PoisonError};

use rustfft::{FftDirection, FftPlanner, num_complex};

/// A complex number: real and imaginary part.
pub type Complex = [f32; 2];

/// Keeps what it has planned for each length.
static PLANNER: LazyLock<Mutex<FftPlanner<f32>>> = LazyLock::new(|| Mutex::new(FftPlanner::new()));

/// Discrete Fourier transform in place.
pub fn transform(values: &mut [Complex]) {
    of_each(values, values.len(), FftDirection::Forward);
}

/// The transform of each of the rows of `length` that `values` is made of, in place.
pub fn transform_rows(values: &mut [Complex], length: usize) {
    of_each(values, length, FftDirection::Forward);
}

/// The transform back, in place; not divided by the length.
pub fn back(values: &mut [Complex]) {
    of_each(values, values.len(), FftDirection::Inverse);
}

fn of_each(values: &mut [Complex], length: usize, direction: FftDirection) {
    // A planner is only a cache: what a panic elsewhere left in it is sound.
    let mut planner = PLANNER.lock().unwrap_or_else(PoisonError::into_inner);
    let plan = planner.plan_fft(length, direction);
    drop(planner);
    let mut buffer: Vec<num_complex::Complex<f32>> = values
        .iter()
        .map(|[re, im]| num_complex::Complex::new(*re, *im))
        .collect();
    plan.process(&mut buffer);
    for (value, found) in values.iter_mut().zip(buffer) {
        *value = [found.re, found.im];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By the definition: a wave of k turns is one line at k, and back again it is itself.
    #[test]
    fn a_wave_is_one_line_and_comes_back() {
        let wave: Vec<Complex> = (0..64)
            .map(|i| {
                let (sin, cos) = (std::f32::consts::TAU * 5.0 * i as f32 / 64.0).sin_cos();
                [cos, sin]
            })
            .collect();
        let mut values = wave.clone();
        transform(&mut values);
        for (k, [re, im]) in values.iter().enumerate() {
            let wanted = if k == 5 { 64.0 } else { 0.0 };
            assert!(
                (re - wanted).abs() < 1e-3 && im.abs() < 1e-3,
                "{k} {re} {im}"
            );
        }
        back(&mut values);
        for (a, b) in values.iter().zip(&wave) {
            assert!((a[0] / 64.0 - b[0]).abs() < 1e-4 && (a[1] / 64.0 - b[1]).abs() < 1e-4);
        }
    }
}
