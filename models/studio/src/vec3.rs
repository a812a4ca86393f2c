//! Three-vectors: points and directions in millimetres, and linear RGB colours.

use std::ops::{Add, Mul, Neg, Sub};

/// A point, a direction or a colour.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct V3 {
    /// Right, or red.
    pub x: f32,
    /// Up, or green.
    pub y: f32,
    /// Towards the viewer of a default camera, or blue.
    pub z: f32,
}

/// Shorthand for a vector.
pub const fn v3(x: f32, y: f32, z: f32) -> V3 {
    V3 { x, y, z }
}

impl Add for V3 {
    type Output = V3;
    fn add(self, o: V3) -> V3 {
        v3(self.x + o.x, self.y + o.y, self.z + o.z)
    }
}

impl Sub for V3 {
    type Output = V3;
    fn sub(self, o: V3) -> V3 {
        v3(self.x - o.x, self.y - o.y, self.z - o.z)
    }
}

impl Mul<f32> for V3 {
    type Output = V3;
    fn mul(self, k: f32) -> V3 {
        v3(self.x * k, self.y * k, self.z * k)
    }
}

impl Mul for V3 {
    type Output = V3;
    fn mul(self, o: V3) -> V3 {
        v3(self.x * o.x, self.y * o.y, self.z * o.z)
    }
}

impl Neg for V3 {
    type Output = V3;
    fn neg(self) -> V3 {
        v3(-self.x, -self.y, -self.z)
    }
}

impl V3 {
    /// A vector with three equal parts.
    pub const fn splat(k: f32) -> V3 {
        v3(k, k, k)
    }

    /// Scalar product.
    pub fn dot(self, o: V3) -> f32 {
        self.x * o.x + self.y * o.y + self.z * o.z
    }

    /// Vector product.
    pub fn cross(self, o: V3) -> V3 {
        v3(
            self.y * o.z - self.z * o.y,
            self.z * o.x - self.x * o.z,
            self.x * o.y - self.y * o.x,
        )
    }

    /// Euclidean length.
    pub fn length(self) -> f32 {
        self.dot(self).sqrt()
    }

    /// The unit vector in the same direction; the zero vector stays zero.
    pub fn unit(self) -> V3 {
        let l = self.length();
        if l > 0.0 { self * (1.0 / l) } else { self }
    }

    /// Blend towards `o`: 0 gives self, 1 gives `o`.
    pub fn mix(self, o: V3, t: f32) -> V3 {
        self * (1.0 - t) + o * t
    }

    /// Relative luminance of a linear sRGB colour.
    pub fn luminance(self) -> f32 {
        self.dot(v3(0.2126, 0.7152, 0.0722))
    }

    /// Turned about the y axis; `cos_sin` of the angle, x towards z.
    pub fn yaw(self, cos_sin: (f32, f32)) -> V3 {
        let (c, s) = cos_sin;
        v3(self.x * c - self.z * s, self.y, self.x * s + self.z * c)
    }
}

/// A linear colour from an sRGB value such as `0x3a5f8c`.
pub fn srgb(hex: u32) -> V3 {
    let part = |shift: u32| {
        let c = ((hex >> shift) & 255) as f32 / 255.0;
        if c <= 0.04045 {
            c / 12.92
        } else {
            ((c + 0.055) / 1.055).powf(2.4)
        }
    };
    v3(part(16), part(8), part(0))
}

/// Cubic ramp from 0 at `a` to 1 at `b`.
pub fn smoothstep(a: f32, b: f32, x: f32) -> f32 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Linear blend of two numbers.
pub fn lerp(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}

/// An angle brought into −π..π.
pub fn wrap_angle(a_rad: f32) -> f32 {
    use std::f32::consts::{PI, TAU};
    let a = a_rad.rem_euclid(TAU);
    if a > PI { a - TAU } else { a }
}

/// The whole number at or below a value of less than two thousand million: `f32::floor` is a library call on machines
/// without an instruction for it, and noise asks for it a dozen times a pixel.
pub fn floor(v: f32) -> f32 {
    let whole = v as i32 as f32;
    if whole > v { whole - 1.0 } else { whole }
}

/// Arc tangent of y / x in all quarters, to 2e-5 rad: quick, and the same on every machine.
pub fn atan2(y: f32, x: f32) -> f32 {
    use std::f32::consts::{FRAC_PI_2, PI};
    let (ax, ay) = (x.abs(), y.abs());
    let (lo, hi) = (ax.min(ay), ax.max(ay));
    if hi == 0.0 {
        return 0.0;
    }
    let t = lo / hi;
    let s = t * t;
    let mut a =
        t * (0.999_866 + s * (-0.330_299_5 + s * (0.180_141 + s * (-0.085_133 + s * 0.020_835_1))));
    if ay > ax {
        a = FRAC_PI_2 - a;
    }
    if x < 0.0 {
        a = PI - a;
    }
    if y < 0.0 { -a } else { a }
}

/// Cosine, to 2e-5: quick, and the same on every machine.
pub fn cos(a_rad: f32) -> f32 {
    use std::f32::consts::TAU;
    // Folded into a quarter turn about zero by symmetry, then a power series.
    let t = a_rad * (1.0 / TAU);
    // A whole number by conversion: rounding is a library call on machines without an instruction for it.
    let u = (t.abs() - (t.abs() + 0.5) as i32 as f32).abs();
    let (u, sign) = if u > 0.25 { (0.5 - u, -1.0) } else { (u, 1.0) };
    let s = (u * TAU) * (u * TAU);
    sign * (1.0 + s * (-0.5 + s * (0.041_666_6 + s * (-0.001_388_78 + s * 2.4e-5))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quick_functions_agree_with_the_exact_ones() {
        for i in 0..2000 {
            let a = i as f32 * 0.0123 - 12.0;
            assert!((cos(a) - a.cos()).abs() < 5e-5, "{a}");
            let (y, x) = (a.sin() * 3.0, a.cos() * 3.0);
            assert!(wrap_angle(atan2(y, x) - y.atan2(x)).abs() < 5e-5, "{a}");
        }
        assert!((srgb(0xffffff).luminance() - 1.0).abs() < 1e-4);
    }
}
