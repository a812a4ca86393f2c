//! Grounds: glaze colours and how they sit on the body.

use crate::revolve::{Role, Skin};
use crate::rng::{Rng, lattice, noise_on};
use crate::section::Zone;
use crate::solid::{Part, Surface};
use crate::vec3::{V3, floor, lerp, smoothstep, srgb};
use std::sync::LazyLock;

/// A named ground colour.
#[derive(Clone, Debug)]
pub struct Glaze {
    /// Name.
    pub name: String,
    /// Colour, linear.
    pub colour: V3,
    /// 1 glossy, 0 matt.
    pub gloss: f32,
    /// Strength of cloudy variation.
    pub mottle: f32,
    /// Share of the surface with speckles.
    pub speckle: f32,
    /// Colour of speckles.
    pub speck: V3,
    /// Where the glaze runs thin over edges, its colour breaks to this ...
    pub thin: V3,
    /// ... by this much.
    pub breaks: f32,
}

/// How colour sits on the piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Treatment {
    /// The glaze all over, inside and out (a clear glaze when the colour is white).
    AllOver,
    /// Dipped in a colour: inside and out alike.
    Dipped,
    /// Slip or spray outside (on flatware: on the face); inside and foot stay white.
    SlipOutside,
    /// One colour outside, this one inside.
    TwoTone(V3),
    /// The upper part, above this fraction of the height, is left white.
    DippedFoot(f32),
}

impl Treatment {
    /// Name for the labels.
    pub fn name(self) -> &'static str {
        match self {
            Treatment::AllOver => "clear glaze",
            Treatment::Dipped => "dipped",
            Treatment::SlipOutside => "slip outside",
            Treatment::TwoTone(_) => "two-tone",
            Treatment::DippedFoot(_) => "half dipped",
        }
    }
}

/// What a point of the surface looks like before light falls on it.
#[derive(Clone, Copy, Debug)]
pub struct Paint {
    /// Diffuse colour.
    pub colour: V3,
    /// 1 glossy, 0 matt.
    pub gloss: f32,
    /// 1 metal.
    pub metal: f32,
}

/// White of the pottery's body under a clear glaze.
pub const BODY_WHITE: u32 = 0xe9e6dd;

/// The same as linear colour, and that of the bare clay: asked for at every pixel.
static WHITE: LazyLock<V3> = LazyLock::new(|| srgb(BODY_WHITE));
static CLAY: LazyLock<V3> = LazyLock::new(|| srgb(0xd8cdb8));

impl Glaze {
    /// A plain glossy glaze.
    pub fn new(name: &str, hex: u32) -> Glaze {
        let colour = srgb(hex);
        Glaze {
            name: name.to_string(),
            colour,
            gloss: 0.95,
            mottle: 0.05,
            speckle: 0.0,
            speck: colour * 0.25,
            thin: colour.mix(srgb(0xd9c7a8), 0.5),
            breaks: 0.0,
        }
    }

    /// A random ground: a third whites and creams, the others colours.
    pub fn random(name: &str, rng: &mut Rng) -> Glaze {
        let pale = rng.chance(0.34);
        let (l, c) = if pale {
            (rng.range(0.7, 0.86), rng.range(0.0, 0.08))
        } else {
            (rng.range(0.05, 0.6), rng.range(0.15, 0.75))
        };
        let hue = rng.range(0.0, std::f32::consts::TAU);
        let wave = |o: f32| 1.0 + c * (hue + o).cos();
        let raw = crate::vec3::v3(wave(0.0), wave(2.1), wave(4.2));
        let colour = raw * (l / raw.luminance().max(0.05));
        let colour = crate::vec3::v3(
            colour.x.clamp(0.01, 0.88),
            colour.y.clamp(0.01, 0.88),
            colour.z.clamp(0.01, 0.88),
        );
        Glaze {
            name: name.to_string(),
            colour,
            gloss: if rng.chance(0.8) {
                rng.range(0.85, 1.0)
            } else {
                rng.range(0.1, 0.5)
            },
            mottle: rng.range(0.02, 0.3).powf(1.5),
            speckle: if rng.chance(0.25) {
                rng.range(0.05, 0.3)
            } else {
                0.0
            },
            speck: colour * rng.range(0.1, 0.4),
            thin: colour.mix(srgb(0xb08a5c), 0.6),
            breaks: if rng.chance(0.3) {
                rng.range(0.3, 0.9)
            } else {
                0.0
            },
        }
    }

    fn paint(&self, p: V3, skin: &Skin, edge: bool, seed: u32) -> Paint {
        let cloud = noise_on(p, 17.0, seed) + 0.5 * noise_on(p, 6.0, seed ^ 1) - 0.75;
        let mut colour = self.colour * (1.0 + self.mottle * cloud * 1.4);
        if self.breaks > 0.0 && edge {
            let t = smoothstep(
                4.5,
                0.6,
                skin.from_rim_mm + 2.0 * (noise_on(p, 5.0, seed ^ 2) - 0.5),
            );
            colour = colour.mix(self.thin, self.breaks * t);
        }
        if self.speckle > 0.0 {
            // One speck at most a cell of 3 mm, on the unrolled surface.
            let (u, v) = (
                skin.angle_rad * skin.radius_mm.max(4.0) / 3.0,
                skin.from_rim_mm / 3.0,
            );
            let (i, j) = (floor(u) as i32, floor(v) as i32);
            if lattice(i, j, seed ^ 11) < self.speckle {
                let (cu, cv) = (
                    0.3 + 0.4 * lattice(i, j, seed ^ 12),
                    0.3 + 0.4 * lattice(i, j, seed ^ 13),
                );
                let d = (u - i as f32 - cu).hypot(v - j as f32 - cv);
                let r = 0.06 + 0.14 * lattice(i, j, seed ^ 14);
                colour = colour.mix(self.speck, 0.85 * smoothstep(r + 0.08, r - 0.05, d));
            }
        }
        Paint {
            colour,
            gloss: self.gloss,
            metal: 0.0,
        }
    }
}

/// Ground of a piece: glaze and treatment.
#[derive(Clone, Debug)]
pub struct Ground {
    /// Glaze.
    pub glaze: Glaze,
    /// How it sits.
    pub treatment: Treatment,
}

impl Ground {
    /// The ground at a surface point. `height_mm` is the height of the piece.
    pub fn paint(&self, p: V3, at: &Surface, height_mm: f32, seed: u32) -> Paint {
        let skin = &at.skin;
        let body = matches!(at.part, Part::Body(_));
        let white = Paint {
            colour: *WHITE,
            gloss: 0.95,
            metal: 0.0,
        };
        let full = self
            .glaze
            .paint(p, skin, body && skin.zone != Zone::Under, seed);
        // The standing ring is wiped clean of glaze.
        if body && skin.zone == Zone::Under && p.y < 0.5 && at.role != Role::Lid {
            return Paint {
                colour: *CLAY,
                gloss: 0.0,
                metal: 0.0,
            };
        }
        let inside = at.bore || (body && skin.zone == Zone::Inside);
        let face = if at.role == Role::Flat {
            inside
        } else {
            !inside && (!body || skin.zone == Zone::Outside)
        };
        let blend = |share: f32| Paint {
            colour: white.colour.mix(full.colour, share),
            gloss: lerp(white.gloss, full.gloss, share),
            metal: 0.0,
        };
        match self.treatment {
            Treatment::AllOver | Treatment::Dipped => full,
            Treatment::SlipOutside => {
                if !face {
                    return blend(if body && at.role != Role::Lid {
                        smoothstep(1.2, 0.6, skin.from_rim_mm) * 0.6
                    } else {
                        0.0
                    });
                }
                // The slip stops a little above the foot, by hand: not quite straight.
                let wander = 1.5 * (noise_on(p, 25.0, seed ^ 21) - 0.5);
                let foot = if at.role == Role::Hollow && body {
                    smoothstep(3.6, 4.2, p.y + wander)
                } else {
                    1.0
                };
                blend(foot)
            }
            Treatment::TwoTone(other) => {
                if face {
                    full
                } else {
                    Paint {
                        colour: other,
                        ..full
                    }
                }
            }
            Treatment::DippedFoot(to) => {
                let wander = 1.2 * (noise_on(p, 30.0, seed ^ 22) - 0.5);
                let edge = to * height_mm + wander;
                if at.role == Role::Lid {
                    blend(1.0)
                } else {
                    blend(smoothstep(edge + 0.5, edge - 0.5, p.y))
                }
            }
        }
    }
}
