//! A card held beside a piece: a photographer's grey card, or a chart of known colours.

use crate::light::{Rig, WRAP};
use crate::vec3::{V3, v3};

/// A matt card with patches in rows. It throws no shadow and no light.
#[derive(Clone, Debug)]
pub struct Card {
    /// Its middle, mm.
    pub middle: V3,
    /// Direction across, unit length.
    pub across: V3,
    /// Direction up on the card, unit length.
    pub up: V3,
    /// Half width and half height, mm.
    pub half_mm: [f32; 2],
    /// Colours of the patches, linear, row by row from the top left.
    pub patches: Vec<V3>,
    /// Patches in a row.
    pub columns: usize,
}

/// What a photographer's grey card sends back of the light.
pub const GREY: f32 = 0.18;

impl Card {
    /// A grey card, 60 mm by 44 mm, that faces as ware does: upright before a camera along −z, or flat on the table.
    pub fn grey(middle_xz_mm: [f32; 2], flat: bool) -> Card {
        let half_mm = [22.0, 30.0];
        let [x, z] = middle_xz_mm;
        let (middle, up) = if flat {
            (v3(x, 1.0, z), v3(0.0, 0.0, -1.0))
        } else {
            (v3(x, half_mm[1] + 1.0, z), v3(0.0, 1.0, 0.0))
        };
        Card {
            middle,
            across: v3(1.0, 0.0, 0.0),
            up,
            half_mm,
            patches: vec![V3::splat(GREY)],
            columns: 1,
        }
    }

    /// Its corners, for framing.
    pub fn corners(&self) -> [V3; 4] {
        [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)].map(|(u, v)| {
            self.middle + self.across * (u * self.half_mm[0]) + self.up * (v * self.half_mm[1])
        })
    }

    /// Middle of a patch.
    pub fn patch_middle(&self, patch: usize) -> V3 {
        let rows = self.patches.len().div_ceil(self.columns);
        let (i, j) = (patch % self.columns, patch / self.columns);
        let u = (i as f32 + 0.5) / self.columns as f32 * 2.0 - 1.0;
        let v = 1.0 - (j as f32 + 0.5) / rows as f32 * 2.0;
        self.middle + self.across * (u * self.half_mm[0]) + self.up * (v * self.half_mm[1])
    }

    /// Distance along a ray and colour of the patch met.
    pub(crate) fn met(&self, eye: V3, dir: V3) -> Option<(f32, V3)> {
        let n = self.normal();
        let t = (self.middle - eye).dot(n) / dir.dot(n);
        let q = eye + dir * t - self.middle;
        let u = q.dot(self.across) / self.half_mm[0] * 0.5 + 0.5;
        let v = 0.5 - q.dot(self.up) / self.half_mm[1] * 0.5;
        if !(t > 0.0 && (0.0..1.0).contains(&u) && (0.0..1.0).contains(&v)) {
            return None;
        }
        let rows = self.patches.len().div_ceil(self.columns);
        let (i, j) = (
            (u * self.columns as f32) as usize,
            (v * rows as f32) as usize,
        );
        Some((t, *self.patches.get(j * self.columns + i)?))
    }

    /// Light that falls on it with nothing in the way. `below` is what the table sends up.
    pub(crate) fn light(&self, rig: &Rig, below: V3) -> V3 {
        let n = self.normal();
        let sky = (rig.bounce + below * 0.3).mix(rig.sky, 0.5 + 0.5 * n.y);
        rig.boxes.iter().fold(sky, |light, b| {
            light + b.power * ((n.dot(b.dir) + WRAP) / (1.0 + WRAP)).max(0.0)
        })
    }

    fn normal(&self) -> V3 {
        self.across.cross(self.up)
    }
}
