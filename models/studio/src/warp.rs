//! What makes a turned body no longer round: ovals, lobes, facets, ribs, a scalloped edge, a pouring lip.
//!
//! A warp maps a point of the finished piece to the plane of the round section, so one section serves every variant and
//! the wall keeps (nearly) its thickness.

use crate::section::Pt;
use crate::vec3::{V3, atan2, cos, lerp, smoothstep, v3, wrap_angle};
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
        self.shaped(r, p.y, self.toward(atan2(z, p.x)))
    }

    /// The departure in one direction from the axis, where it is complete.
    fn toward(&self, angle_rad: f32) -> Departure {
        let mut out = Departure::default();
        if self.waves > 0 {
            out.widen += self.wave * cos(angle_rad * self.waves as f32);
        }
        if self.facets > 0 {
            let half = PI / self.facets as f32;
            // The angle lies in −π..π, so it is brought above zero before the fraction is taken.
            let k = (angle_rad + 4.0 * PI) / (2.0 * half);
            let a = (k - k as i32 as f32) * 2.0 * half - half;
            // The edge is softened: glaze fills it. Mean radius stays about one.
            let polygon = cos(half) / cos((a * a + 0.0016).sqrt().min(half));
            out.widen += self.facet * (polygon * 1.03 - 1.0);
        }
        if self.ribs > 0 {
            let c = 0.5 + 0.5 * cos(angle_rad * self.ribs as f32);
            // Ribs are narrow ridges, flutes broad hollows: the same wave, raised to a power.
            out.raise_mm = self.rib_mm
                * if self.rib_mm > 0.0 {
                    c * c
                } else {
                    1.0 - (1.0 - c) * (1.0 - c)
                };
        }
        if let Some(lip) = self.lip {
            let a = wrap_angle(angle_rad - lip.angle_rad) / lip.width_rad;
            if a.abs() < 3.0 {
                out.lip = (-a * a).exp();
            }
        }
        out
    }

    /// The section point at radius `r` and height `y` under a departure.
    #[inline]
    fn shaped(&self, r: f32, y: f32, d: Departure) -> Pt {
        let full = if self.flat {
            ramp(0.25 * self.radius_mm, 0.85 * self.radius_mm, r)
        } else {
            ramp(0.02 * self.height_mm, 0.22 * self.height_mm, y)
        };
        let mut out = [r / (1.0 + full * d.widen), y];
        if self.ribs > 0 {
            if self.flat {
                out[1] -= d.raise_mm * full * 0.6;
            } else {
                let near_rim = 1.0 - ramp(0.86 * self.height_mm, 0.97 * self.height_mm, y);
                out[0] -= d.raise_mm * full * near_rim;
            }
        }
        if let Some(lip) = self.lip
            && d.lip > 0.0
        {
            let u = ramp(lip.from_mm, self.height_mm, y);
            let e = d.lip * u * u;
            out[0] -= lip.reach_mm * e;
            out[1] -= lip.rise_mm * e;
        }
        out
    }

    /// A point of the piece's frame with its place in the section.
    pub(crate) fn place(&self, p: V3) -> Placed {
        let z = p.z / self.oval;
        let r = (p.x * p.x + z * z).sqrt();
        if !self.angular() {
            return Placed {
                p,
                r,
                toward: Departure::default(),
                at: [r, p.y],
            };
        }
        let toward = self.toward(atan2(z, p.x));
        Placed {
            p,
            r,
            toward,
            at: self.shaped(r, p.y, toward),
        }
    }

    /// The normal in space of a surface whose section normal at `placed` is `n`.
    pub(crate) fn normal(&self, placed: &Placed, n: Pt) -> V3 {
        let p = placed.p;
        if !self.angular() {
            let z = p.z / self.oval;
            let k = n[0] / placed.r.max(1e-4);
            return v3(k * p.x, n[1], k * z / self.oval).unit();
        }
        let e = 0.1;
        let f = |s: Pt| s[0] * n[0] + s[1] * n[1];
        let aside = |x: f32, z: f32| f(self.to_section(v3(x, p.y, z)));
        let here = f(placed.at);
        // Above `p` the direction from the axis is the same.
        v3(
            aside(p.x + e, p.z) - here,
            f(self.shaped(placed.r, p.y + e, placed.toward)) - here,
            aside(p.x, p.z + e) - here,
        )
        .unit()
    }
}

/// A point with what its warp makes of it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Placed {
    p: V3,
    r: f32,
    toward: Departure,
    /// The section point.
    pub(crate) at: Pt,
}

/// `smoothstep` with its ends, where most points lie, taken without a division.
fn ramp(a: f32, b: f32, x: f32) -> f32 {
    if x >= b {
        1.0
    } else if x <= a {
        0.0
    } else {
        smoothstep(a, b, x)
    }
}

/// What a warp does in one direction from the axis.
#[derive(Clone, Copy, Debug, Default)]
struct Departure {
    /// Share by which the radius grows.
    widen: f32,
    /// How far the surface is raised, mm; ribs up, flutes down.
    raise_mm: f32,
    /// Weight of the lip, 0..1.
    lip: f32,
}

/// A warp with its departures in a table: marching asks for them a million times a photo, and the arc tangent with its
/// cosines was most of the answer's cost. It is off by less than two hundredths of a millimetre; normals, which would show
/// its corners, are taken from the warp itself.
#[derive(Clone, Debug)]
pub struct Tabled {
    warp: Warp,
    /// Departures by direction, the first again at the end; empty where the angle does not matter.
    toward: Vec<Departure>,
}

/// Directions in the table.
const DIRECTIONS: usize = 2048;

impl Tabled {
    /// The table of a warp.
    pub fn new(warp: Warp) -> Tabled {
        let toward = if warp.angular() {
            (0..=DIRECTIONS)
                .map(|i| {
                    // The way round a square is as good as the angle and needs no arc tangent.
                    let way = (i % DIRECTIONS) as f32 * 4.0 / DIRECTIONS as f32;
                    let x = (way - 2.0).abs() - 1.0;
                    let z = (1.0 - x.abs()) * if way < 2.0 { 1.0 } else { -1.0 };
                    warp.toward(atan2(z, x))
                })
                .collect()
        } else {
            Vec::new()
        };
        Tabled { warp, toward }
    }

    /// The section point (r, y) of a point in the piece's frame.
    pub fn to_section(&self, p: V3) -> Pt {
        let z = p.z / self.warp.oval;
        let r = (p.x * p.x + z * z).sqrt();
        if self.toward.is_empty() {
            return [r, p.y];
        }
        let x = p.x / (p.x.abs() + z.abs()).max(1e-9);
        let way = if z >= 0.0 { 1.0 - x } else { 3.0 + x };
        let at = way * (DIRECTIONS as f32 / 4.0);
        let i = (at as usize).min(DIRECTIONS - 1);
        let t = at - i as f32;
        let (a, b) = (&self.toward[i], &self.toward[i + 1]);
        let departure = Departure {
            widen: lerp(a.widen, b.widen, t),
            raise_mm: lerp(a.raise_mm, b.raise_mm, t),
            lip: lerp(a.lip, b.lip, t),
        };
        self.warp.shaped(r, p.y, departure)
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
        let n = w.normal(&w.place(v3(30.0, 10.0, 40.0)), [1.0, 0.0]);
        assert!((n - v3(0.6, 0.0, 0.8)).length() < 1e-3);
    }

    #[test]
    fn the_table_gives_what_the_warp_gives() {
        let lip = Lip {
            angle_rad: PI,
            width_rad: 0.3,
            reach_mm: 9.0,
            rise_mm: 4.0,
            from_mm: 30.0,
        };
        for (waves, facets, ribs, lip) in [
            (6, 0, 0, None),
            (0, 8, 0, None),
            (0, 0, 32, None),
            (0, 0, 0, Some(lip)),
            (3, 12, 20, Some(lip)),
        ] {
            let warp = Warp {
                oval: 0.9,
                waves,
                wave: 0.04,
                facets,
                facet: 0.8,
                ribs,
                rib_mm: 1.1,
                lip,
                ..Warp::round(50.0, 80.0)
            };
            let tabled = Tabled::new(warp);
            for i in 0..5_000 {
                let angle = i as f32 * 0.001_7 - 4.0;
                let p = v3(
                    48.0 * angle.cos(),
                    20.0 + 0.01 * i as f32,
                    48.0 * angle.sin(),
                );
                let (a, b) = (warp.to_section(p), tabled.to_section(p));
                let gap = (a[0] - b[0]).abs().max((a[1] - b[1]).abs());
                assert!(gap < 0.02, "{waves} {facets} {ribs} at {angle}: {gap} mm");
            }
        }
    }

    #[test]
    fn an_oval_is_narrower_in_depth() {
        let mut w = Warp::round(50.0, 80.0);
        w.oval = 0.8;
        assert!((w.to_section(v3(0.0, 10.0, 40.0))[0] - 50.0).abs() < 1e-4);
    }
}
