//! Points as a vector: three bytes to a number, which a 32-bit float holds exactly. So a
//! piece's points take a quarter of what plain numbers would.

use std::f32::consts::TAU;

use super::{DIM, PATCH, Point, Points, SIDE_PX};

/// Numbers of one point: place, size and angle, tint, and the patch.
pub(super) const NUMBERS: usize = 3 + PATCH.div_ceil(3);

/// Steps of twelve bits.
const FINE: f32 = 4095.0;
/// Sizes are kept by their logarithm, up to this.
const GREATEST_PX: f32 = 128.0;
/// Entries of a patch of unit length are hardly ever greater.
const GREATEST: f32 = 0.6;

impl Points {
    /// As numbers, [`DIM`] of them; zeros where there are fewer points.
    pub fn to_numbers(&self) -> Vec<f32> {
        let mut numbers: Vec<f32> = self.0.iter().flat_map(packed).collect();
        numbers.resize(DIM, 0.0);
        numbers
    }

    /// Reads what [`Points::to_numbers`] wrote. Numbers that it never writes give points
    /// that are somewhere, or none.
    pub fn from_slice(numbers: &[f32]) -> Self {
        let (points, _) = numbers.as_chunks::<NUMBERS>();
        Self(points.iter().map_while(unpacked).collect())
    }
}

fn packed(point: &Point) -> [f32; NUMBERS] {
    let steps = |share: f32, of: f32| (share.clamp(0.0, 1.0) * of).round() as u32;
    let side = SIDE_PX as f32;
    let [x, y] = point.at.map(|v| steps(v / side, FINE));
    // Zero means that there is no point.
    let size = steps(point.size_px.max(1.0).ln() / GREATEST_PX.ln(), FINE).max(1);
    let angle = steps(point.angle.rem_euclid(TAU) / TAU, FINE);
    let signed = |v: f32| (v.round().clamp(-127.0, 127.0) as i32 + 128) as u32;
    let tint = point
        .tint
        .map_or(0, |[a, b]| 1 << 16 | signed(a) << 8 | signed(b));
    let mut numbers = [0.0; NUMBERS];
    numbers[..3].copy_from_slice(&[x << 12 | y, size << 12 | angle, tint].map(|v| v as f32));
    for (number, three) in numbers[3..].iter_mut().zip(point.patch.chunks(3)) {
        let bytes = three.iter().map(|v| signed(v / GREATEST * 127.0));
        *number = bytes.fold(0, |all, byte| all << 8 | byte) as f32;
    }
    numbers
}

fn unpacked(numbers: &[f32; NUMBERS]) -> Option<Point> {
    let whole = numbers.map(|v| v as u32 & 0xff_ffff);
    let [place, form, tint] = [whole[0], whole[1], whole[2]];
    let of = |steps: u32| (steps & 0xfff) as f32 / FINE;
    let signed = |byte: u32| (byte & 0xff) as f32 - 128.0;
    if form >> 12 == 0 {
        return None;
    }
    let mut patch = [0.0; PATCH];
    for (three, packed) in patch.chunks_mut(3).zip(&whole[3..]) {
        let last = three.len() - 1;
        for (i, v) in three.iter_mut().enumerate() {
            *v = signed(packed >> (8 * (last - i)));
        }
    }
    Some(Point {
        at: [place >> 12, place].map(|v| of(v) * SIDE_PX as f32),
        size_px: (of(form >> 12) * GREATEST_PX.ln()).exp(),
        angle: of(form) * TAU,
        tint: (tint >> 16 == 1).then(|| [signed(tint >> 8), signed(tint)]),
        patch: super::unit(patch)?,
    })
}
