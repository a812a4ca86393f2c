//! What makes a turned body no longer round: ovals, lobes, facets, ribs, a scalloped edge, a pouring lip.
//!
//! A warp maps a point of the finished piece to the plane of the round section, so one section serves every variant and
//! the wall keeps (nearly) its thickness.

use crate::section::Pt;
use crate::vec3::{V3, atan2, cos, smoothstep, v3, wrap_angle};
use std::f32::consts::PI;

/// A lip pulled out of the rim for pouring.
#[derive(Clone, Copy, Debug)]
pub struct Lip {
    /// Direction of the lip, radians from +x towards +z.
    pub angle_rad: f32,
    /// Half width, radians.
    pub width_rad: f32,
    /// How far it reaches out, mm.
    pub reach_mm: f32,
    /// How far it rises, mm.
    pub rise_mm: f32,
    /// Height at which it begins, mm.
    pub from_mm: f32,
}

/// The departure of a body from round.
#[derive(Clone, Copy, Debug)]
pub struct Warp {
    /// Depth (z) over width (x) of the plan; 1 is round.
    pub oval: f32,
    /// Number of waves round the body; 0 for none.
    pub waves: u32,
    /// Amplitude of the waves as a fraction of the radius.
    pub wave: f32,
    /// Number of flat facets; 0 for none.
    pub facets: u32,
    /// How flat they are: 0 round, 1 a polygon.
    pub facet: f32,
    /// Number of ribs (positive depth) or flutes (negative); 0 for none.
    pub ribs: u32,
    /// Depth of ribs, mm.
    pub rib_mm: f32,
    /// True where the warp grows outwards with the radius (plates, lids) and not upwards with the height.
    pub flat: bool,
    /// Radius at which the warp is complete, mm, for flat bodies.
    pub radius_mm: f32,
    /// Height of the body, mm.
    pub height_mm: f32,
    /// Pouring lip.
    pub lip: Option<Lip>,
}

impl Warp {
    /// No departure.
    pub fn round(radius_mm: f32, height_mm: f32) -> Warp {
        Warp {
            oval: 1.0,
            waves: 0,
            wave: 0.0,
            facets: 0,
            facet: 0.0,
            ribs: 0,
            rib_mm: 0.0,
            flat: false,
            radius_mm,
            height_mm,
            lip: None,
        }
    }

    /// True where the angle about the axis matters.
    fn angular(&self) -> bool {
        self.waves > 0 || self.facets > 0 || self.ribs > 0 || self.lip.is_some()
    }

    /// Factor by which a section distance must be shortened to be safe in space.
    pub fn step(&self) -> f32 {
        let lip = if self.lip.is_some() { 0.72 } else { 1.0 };
        let a = if self.angular() { 0.86 } else { 0.97 };
        let rib = 1.0
            / (1.0
                + (self.rib_mm * self.ribs as f32 / self.radius_mm)
                    .powi(2)
                    .min(1.0)
                    * 0.5);
        self.oval.min(1.0) * a * lip * rib
    }

    /// The section point (r, y) of a point in the piece's frame.
    pub fn to_section(&self, p: V3) -> Pt {
        let z = p.z / self.oval;
        let r = (p.x * p.x + z * z).sqrt();
        if !self.angular() {
            return [r, p.y];
        }
        let angle = atan2(z, p.x);
        let full = if self.flat {
            smoothstep(0.25 * self.radius_mm, 0.85 * self.radius_mm, r)
        } else {
            smoothstep(0.02, 0.22, p.y / self.height_mm)
        };
        let mut g = 1.0;
        if self.waves > 0 {
            g += self.wave * full * cos(angle * self.waves as f32);
        }
        if self.facets > 0 {
            let half = PI / self.facets as f32;
            // The angle lies in −π..π, so it is brought above zero before the fraction is taken.
            let k = (angle + 4.0 * PI) / (2.0 * half);
            let a = (k - k as i32 as f32) * 2.0 * half - half;
            // The edge is softened: glaze fills it. Mean radius stays about one.
            let polygon = cos(half) / cos((a * a + 0.0016).sqrt().min(half));
            g += self.facet * full * (polygon * 1.03 - 1.0);
        }
        let mut out = [r / g, p.y];
        if self.ribs > 0 {
            let near_rim = if self.flat {
                1.0
            } else {
                1.0 - smoothstep(0.86, 0.97, p.y / self.height_mm)
            };
            let c = 0.5 + 0.5 * cos(angle * self.ribs as f32);
            // Ribs are narrow ridges, flutes broad hollows: the same wave, raised to a power.
            let h = if self.rib_mm > 0.0 {
                c * c
            } else {
                1.0 - (1.0 - c) * (1.0 - c)
            };
            let d = self.rib_mm * h * full * near_rim;
            if self.flat {
                out[1] -= d * 0.6;
            } else {
                out[0] -= d;
            }
        }
        if let Some(lip) = self.lip {
            let a = wrap_angle(angle - lip.angle_rad) / lip.width_rad;
            let u = smoothstep(lip.from_mm, self.height_mm, p.y);
            if u > 0.0 && a.abs() < 3.0 {
                let e = (-a * a).exp() * u * u;
                out[0] -= lip.reach_mm * e;
                out[1] -= lip.rise_mm * e;
            }
        }
        out
    }

    /// The normal in space of a surface whose section normal at `p` is `n`.
    pub fn normal(&self, p: V3, n: Pt) -> V3 {
        if !self.angular() {
            let z = p.z / self.oval;
            let k = n[0] / (p.x * p.x + z * z).sqrt().max(1e-4);
            return v3(k * p.x, n[1], k * z / self.oval).unit();
        }
        let e = 0.15;
        let f = |q: V3| {
            let s = self.to_section(q);
            s[0] * n[0] + s[1] * n[1]
        };
        v3(
            f(v3(p.x + e, p.y, p.z)) - f(v3(p.x - e, p.y, p.z)),
            f(v3(p.x, p.y + e, p.z)) - f(v3(p.x, p.y - e, p.z)),
            f(v3(p.x, p.y, p.z + e)) - f(v3(p.x, p.y, p.z - e)),
        )
        .unit()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_round_warp_is_the_radius() {
        let w = Warp::round(50.0, 80.0);
        let s = w.to_section(v3(30.0, 10.0, 40.0));
        assert!((s[0] - 50.0).abs() < 1e-4 && s[1] == 10.0);
        let n = w.normal(v3(30.0, 10.0, 40.0), [1.0, 0.0]);
        assert!((n - v3(0.6, 0.0, 0.8)).length() < 1e-3);
    }

    #[test]
    fn an_oval_is_narrower_in_depth() {
        let mut w = Warp::round(50.0, 80.0);
        w.oval = 0.8;
        assert!((w.to_section(v3(0.0, 10.0, 40.0))[0] - 50.0).abs() < 1e-4);
    }
}
