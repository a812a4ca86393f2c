//! Light: soft boxes, windows and the room round them, for shading and for what a glaze mirrors.

use crate::rng::Rng;
use crate::vec3::{V3, smoothstep, v3};

/// How far round the edge of its shadow side a soft light reaches.
pub(crate) const WRAP: f32 = 0.12;

/// A rectangular light far away.
#[derive(Clone, Debug)]
pub struct Softbox {
    /// Direction towards it.
    pub dir: V3,
    side: V3,
    up: V3,
    /// Half width and half height, as tangents of the angle seen.
    pub half: [f32; 2],
    /// Light that falls on a surface facing it.
    pub power: V3,
    /// Panes across and up, for a window; 1 for a soft box.
    pub panes: [u32; 2],
}

impl Softbox {
    /// A light at an azimuth (against the camera's) and an elevation.
    pub fn new(azimuth_rad: f32, elevation_rad: f32, half: [f32; 2], power: V3) -> Softbox {
        let (ce, se) = (elevation_rad.cos(), elevation_rad.sin());
        let dir = v3(ce * azimuth_rad.cos(), se, ce * azimuth_rad.sin());
        let side = v3(-azimuth_rad.sin(), 0.0, azimuth_rad.cos());
        Softbox {
            dir,
            side,
            up: side.cross(dir).unit(),
            half,
            power,
            panes: [1, 1],
        }
    }

    /// What a mirror turned to `d` sees of it, 0..1; `blur` widens the edges.
    pub fn seen(&self, d: V3, blur: f32) -> f32 {
        let c = d.dot(self.dir);
        if c <= 0.05 {
            return 0.0;
        }
        let (u, v) = (d.dot(self.side) / c, d.dot(self.up) / c);
        let e = 0.025 + blur;
        let inside = smoothstep(self.half[0] + e, self.half[0] - e, u.abs())
            * smoothstep(self.half[1] + e, self.half[1] - e, v.abs());
        if inside <= 0.0 || self.panes == [1, 1] {
            return inside;
        }
        let bar = |x: f32, half: f32, n: u32| {
            let s = (x / half * 0.5 + 0.5) * n as f32;
            let t = (s - s.round()).abs() / n as f32 * half * 2.0;
            if s.round() < 0.5 || s.round() > n as f32 - 0.5 {
                1.0
            } else {
                smoothstep(0.0, 0.02 + blur, t - 0.012)
            }
        };
        inside * bar(u, self.half[0], self.panes[0]) * bar(v, self.half[1], self.panes[1])
    }

    /// Angular radius for the softness of its shadow.
    pub fn softness(&self) -> f32 {
        (self.half[0] * self.half[1]).sqrt()
    }
}

/// All the light of a photo.
#[derive(Clone, Debug)]
pub struct Rig {
    /// What kind of set-up it is.
    pub name: &'static str,
    /// Lights; the first is the key light.
    pub boxes: Vec<Softbox>,
    /// Even light from above.
    pub sky: V3,
    /// Light sent back by the surroundings at table height.
    pub bounce: V3,
}

/// Set-ups to choose from.
pub const RIGS: [&str; 6] = [
    "softbox left",
    "softbox right",
    "two softboxes",
    "window",
    "overhead",
    "overcast",
];

impl Rig {
    /// A set-up by name, with small chances of its own. `camera_azimuth_rad` says from where the lights are counted.
    pub fn named(name: &'static str, camera_azimuth_rad: f32, rng: &mut Rng) -> Rig {
        let j = |rng: &mut Rng, x: f32| rng.range(-x, x);
        let a = |off_deg: f32| camera_azimuth_rad + off_deg.to_radians();
        let el = |deg: f32| deg.to_radians();
        let white = |k: f32| V3::splat(k);
        let mut boxes = Vec::new();
        let mut bounce = 0.2;
        let sky;
        let left = a(52.0 + j(rng, 14.0));
        let right = a(-52.0 + j(rng, 14.0));
        let high = el(46.0 + j(rng, 9.0));
        match name {
            "softbox left" => {
                boxes.push(Softbox::new(left, high, [0.34, 0.42], white(0.66)));
                sky = 0.3;
            }
            "softbox right" => {
                boxes.push(Softbox::new(right, high, [0.38, 0.38], white(0.66)));
                sky = 0.3;
            }
            "two softboxes" => {
                boxes.push(Softbox::new(left, high, [0.3, 0.42], white(0.46)));
                boxes.push(Softbox::new(right, high - 0.1, [0.24, 0.42], white(0.27)));
                sky = 0.27;
            }
            "window" => {
                let side = if rng.chance(0.5) { 70.0 } else { -70.0 };
                let mut b = Softbox::new(
                    a(side + j(rng, 8.0)),
                    el(32.0 + j(rng, 5.0)),
                    [0.42, 0.56],
                    v3(0.62, 0.66, 0.71),
                );
                b.panes = [2, rng.int(2, 3)];
                boxes.push(b);
                sky = 0.33;
            }
            "overhead" => {
                boxes.push(Softbox::new(
                    a(j(rng, 60.0)),
                    el(76.0 + j(rng, 5.0)),
                    [0.5, 0.34],
                    white(0.62),
                ));
                sky = 0.3;
                bounce = 0.28;
            }
            "lamp" => {
                boxes.push(Softbox::new(
                    a(j(rng, 70.0)),
                    el(42.0 + j(rng, 8.0)),
                    [0.09, 0.09],
                    v3(0.95, 0.72, 0.45),
                ));
                sky = 0.14;
                bounce = 0.08;
            }
            _ => {
                boxes.push(Softbox::new(
                    a(j(rng, 70.0)),
                    el(64.0),
                    [0.85, 0.7],
                    white(0.42),
                ));
                sky = 0.5;
                bounce = 0.3;
            }
        }
        for b in &mut boxes {
            b.power = b.power * 1.18;
        }
        Rig {
            name,
            boxes,
            sky: V3::splat(sky * 1.12),
            bounce: V3::splat(bounce),
        }
    }

    /// Radiance that a mirror turned to `d` sees; `ground` is the table's light, `blur` the roughness.
    pub fn mirror(&self, d: V3, blur: f32, ground: V3) -> V3 {
        let up = smoothstep(-0.12 - blur, 0.12 + blur, d.y);
        // A room: darker low down, light overhead.
        let room = self.sky * (0.35 + 0.75 * d.y.max(0.0)) + self.bounce * 0.3;
        let mut c = ground.mix(room, up);
        for b in &self.boxes {
            let k = b.seen(d, blur);
            if k > 0.0 {
                // The smaller the light, the brighter its face for the same power.
                let face = 1.4 / (b.half[0] * b.half[1]).max(0.02).sqrt();
                c = c + b.power * (k * face * (1.0 / (1.0 + 3.0 * blur)) * 2.6);
            }
        }
        c
    }
}
