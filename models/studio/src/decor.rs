//! The finish of a piece: ground and pattern together, or another material for things that are no ware.

use crate::glaze::{Ground, Paint};
use crate::pattern::{Pattern, Place};
use crate::revolve::{Revolved, Role, Skin};
use crate::rng::{fbm, noise_on};
use crate::section::Zone;
use crate::shape::Emboss;
use crate::solid::{Part, Solid, Surface};
use crate::vec3::{V3, lerp, smoothstep};

/// Another material.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stuff {
    /// Wood with upright grain.
    Wood,
    /// Skin of a fruit.
    Fruit,
    /// Bare steel.
    Steel,
}

/// What covers a piece.
#[derive(Clone, Debug)]
pub enum Finish {
    /// Glazed and decorated ware.
    Ware {
        /// Ground.
        ground: Ground,
        /// Pattern.
        pattern: Pattern,
        /// Embossing that is too fine for the geometry.
        emboss: Emboss,
        /// Seed of the small accidents of this very piece.
        seed: u32,
    },
    /// Something else, in a colour.
    Other(Stuff, V3),
}

impl Finish {
    /// Paint at a surface point; `px_mm` is the width of a pixel there.
    pub fn paint(&self, solid: &Solid, p: V3, at: &Surface, px_mm: f32) -> Paint {
        match self {
            Finish::Ware {
                ground,
                pattern,
                seed,
                ..
            } => {
                let base = ground.paint(p, at, solid.high.y, *seed);
                if pattern.layers.is_empty() {
                    return base;
                }
                let Part::Body(i) = at.part else { return base };
                let body = &solid.bodies[usize::from(i)];
                let place = Place::on(body, at.skin, p, px_mm);
                pattern.over(base, &place, *seed)
            }
            Finish::Other(stuff, colour) => other(*stuff, *colour, p, at),
        }
    }

    /// What goes round the (first) body in motifs: how often it looks like itself in one turn, and between which
    /// distances from the rim it lies, as shares of the decorated side.
    pub fn repeats(&self, solid: &Solid) -> Vec<(u32, [f32; 2])> {
        let Finish::Ware { pattern, .. } = self else {
            return Vec::new();
        };
        let (body, p) = (&solid.bodies[0], V3::default());
        let place = Place::on(body, body.skin(p), p, 1.0);
        let length = place.length_mm;
        let found = pattern.repeats(&place).into_iter();
        found.map(|(n, at)| (n, at.map(|v| v / length))).collect()
    }

    /// Height of fine embossing at a place, mm: the beads and the weave.
    pub fn bump_mm(&self, body: &Revolved, skin: &Skin) -> f32 {
        let Finish::Ware { emboss, .. } = self else {
            return 0.0;
        };
        let shown = match body.role {
            Role::Flat => skin.zone == Zone::Inside,
            _ => skin.zone == Zone::Outside,
        };
        if !shown {
            return 0.0;
        }
        match *emboss {
            Emboss::Beads(pitch) => {
                let r = body.section.points[body.section.rim][0]
                    .max(body.section.points[body.section.foot][0]);
                let n = (std::f32::consts::TAU * r / pitch).round();
                let u = (skin.angle_rad / std::f32::consts::TAU * n).rem_euclid(1.0) - 0.5;
                let v = (skin.from_rim_mm - pitch * 0.85) / pitch;
                let d = (u * u + v * v).sqrt() / 0.46;
                if d < 1.0 {
                    0.26 * pitch * (1.0 - d * d).sqrt()
                } else {
                    0.0
                }
            }
            Emboss::Basket(pitch) => {
                let mask = match body.role {
                    Role::Flat => {
                        smoothstep(1.5, 3.0, skin.from_rim_mm)
                            * smoothstep(
                                body.verge_mm * 0.94,
                                body.verge_mm * 0.84,
                                skin.from_rim_mm,
                            )
                    }
                    Role::Hollow => {
                        let l = body.section.outside_mm();
                        smoothstep(l * 0.08, l * 0.12, skin.from_foot_mm)
                            * smoothstep(l * 0.52, l * 0.46, skin.from_foot_mm)
                    }
                    Role::Lid => 0.0,
                };
                if mask <= 0.0 {
                    return 0.0;
                }
                let r = body.radius_mm();
                let n = (std::f32::consts::PI * r / pitch).round() * 2.0;
                let u = skin.angle_rad / std::f32::consts::TAU * n;
                let v = skin.from_rim_mm / (pitch * 0.6);
                let over = ((u.floor() + v.floor()) as i32).rem_euclid(2) == 0;
                let (f, g) = (u - u.floor(), v - v.floor());
                let h = if over {
                    (f * std::f32::consts::PI).sin() * (g * std::f32::consts::PI).sin().powf(0.4)
                } else {
                    0.35 * (g * std::f32::consts::PI).sin()
                };
                mask * h * 0.9
            }
            _ => 0.0,
        }
    }

    /// Whether `bump_mm` can be other than zero.
    pub fn has_bump(&self) -> bool {
        matches!(
            self,
            Finish::Ware {
                emboss: Emboss::Beads(_) | Emboss::Basket(_),
                ..
            }
        )
    }
}

impl Place {
    /// A place on a body.
    fn on(body: &Revolved, skin: Skin, point: V3, px_mm: f32) -> Place {
        let s = &body.section;
        Place {
            role: body.role,
            skin,
            point,
            radius_mm: body.radius_mm(),
            scale: body.pattern_scale(),
            rim_radius_mm: s.points[s.rim][0].max(s.points[s.foot][0]),
            length_mm: if body.role == Role::Flat {
                s.inside_mm()
            } else {
                s.outside_mm()
            },
            verge_mm: body.verge_mm,
            px_mm,
        }
    }
}

fn other(stuff: Stuff, colour: V3, p: V3, at: &Surface) -> Paint {
    match stuff {
        Stuff::Wood => {
            let ring =
                ((p.x + 31.0).hypot(p.z) * 0.55 + 2.0 * fbm(p.x * 0.03, p.y * 0.01, 3)).sin();
            let fine = noise_on(crate::vec3::v3(p.x * 6.0, p.y * 0.4, p.z * 6.0), 5.0, 4);
            Paint {
                colour: colour * (0.84 + 0.14 * ring + 0.16 * fine),
                gloss: 0.25,
                metal: 0.0,
            }
        }
        Stuff::Fruit => {
            let speck = smoothstep(0.72, 0.85, noise_on(p, 1.6, 7));
            let blush = smoothstep(0.35, 0.75, noise_on(p, 45.0, 8));
            let c = colour.mix(crate::vec3::v3(0.45, 0.12, 0.05), 0.35 * blush);
            let stalk = matches!(at.part, Part::Tube(_));
            let c = if stalk {
                crate::vec3::v3(0.09, 0.05, 0.025)
            } else {
                c * (1.0 - 0.3 * speck)
            };
            Paint {
                colour: c,
                gloss: if stalk { 0.0 } else { 0.4 },
                metal: 0.0,
            }
        }
        Stuff::Steel => {
            let brushed = noise_on(crate::vec3::v3(p.x * 0.2, p.y * 8.0, p.z * 0.2), 4.0, 9);
            Paint {
                colour: colour * lerp(0.85, 1.0, brushed),
                gloss: 0.6,
                metal: 1.0,
            }
        }
    }
}
