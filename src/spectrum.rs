//! The discrete Fourier transform, which several rooms need.

/// A complex number: real and imaginary part.
pub type Complex = [f32; 2];

/// Discrete Fourier transform in place, a power of two long (Cooley & Tukey 1965).
pub fn transform(values: &mut [Complex]) {
    let n = values.len();
    let bits = n.trailing_zeros();
    for i in 0..n {
        let j = i.reverse_bits() >> (usize::BITS - bits);
        if i < j {
            values.swap(i, j);
        }
    }
    let mut half = 1;
    while half < n {
        for k in 0..half {
            let (sin, cos) = (-std::f32::consts::PI * k as f32 / half as f32).sin_cos();
            for start in (k..n).step_by(2 * half) {
                let ([ar, ai], [br, bi]) = (values[start], values[start + half]);
                let turned = [br * cos - bi * sin, br * sin + bi * cos];
                values[start] = [ar + turned[0], ai + turned[1]];
                values[start + half] = [ar - turned[0], ai - turned[1]];
            }
        }
        half *= 2;
    }
}

/// The transform back, in place; not divided by the length.
pub fn back(values: &mut [Complex]) {
    let turned = |values: &mut [Complex]| values.iter_mut().for_each(|v| v[1] = -v[1]);
    turned(values);
    transform(values);
    turned(values);
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
