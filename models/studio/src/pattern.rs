//! Patterns: decoration as layers on the unrolled surface, fit for any shape and any piece type.

use crate::glaze::Paint;
use crate::motif::{Hand, Motif, Subject};
use crate::revolve::{Role, Skin};
use crate::rng::{Rng, noise_on};
use crate::section::Zone;
use crate::vec3::{V3, smoothstep, srgb, wrap_angle};
use std::f32::consts::{PI, TAU};
use std::sync::LazyLock;

/// What a layer is drawn with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ink {
    /// Ceramic colour.
    Colour(V3),
    /// Burnished gold.
    Gold,
    /// Platinum.
    Platinum,
}

/// From where a layer is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum From {
    /// The edge of plates, the rim of cups, the edge of lids; inwards or downwards.
    Edge,
    /// The verge of plates, the shoulder of hollowware.
    Verge,
    /// The foot of hollowware, upwards; plates have none.
    Foot,
}

/// One layer. Sizes are in mm on a piece of 80 mm radius and follow the piece.
#[derive(Clone, Debug)]
pub enum Layer {
    /// A line or band round the piece.
    Line {
        /// Measured from.
        from: From,
        /// Distance of its nearer side.
        at_mm: f32,
        /// Width.
        width_mm: f32,
        /// Ink.
        ink: Ink,
    },
    /// A motif repeated round the piece.
    Border {
        /// Index of the motif.
        motif: usize,
        /// Measured from.
        from: From,
        /// Distance of its nearer side.
        at_mm: f32,
        /// Height of the motif.
        height_mm: f32,
        /// Width of a repeat over its height.
        pitch: f32,
    },
    /// A single motif in the well of plates and on both sides of hollowware.
    Centre {
        /// Index of the motif.
        motif: usize,
        /// Size as a share of the room there is.
        share: f32,
    },
    /// A few motifs spaced round the rim of plates or the body of hollowware.
    Sprigs {
        /// Index of the motif.
        motif: usize,
        /// How many on a plate.
        count: u32,
        /// Size as a share of the rim's width.
        share: f32,
    },
    /// Motifs scattered in a staggered order over everything.
    AllOver {
        /// Index of the motif.
        motif: usize,
        /// Size.
        size_mm: f32,
        /// Distance from one to the next.
        pitch_mm: f32,
    },
    /// Sponged colour.
    Sponge {
        /// Ink.
        ink: Ink,
        /// Size of the sponge's holes.
        hole_mm: f32,
        /// Share covered, 0..1.
        cover: f32,
        /// Depth of the zone from the edge; 0 for everything.
        depth_mm: f32,
    },
}

/// A pattern: its motifs and layers.
#[derive(Clone, Debug)]
pub struct Pattern {
    /// Name.
    pub name: String,
    /// Motifs the layers use.
    pub motifs: Vec<Motif>,
    /// Layers, lowest first.
    pub layers: Vec<Layer>,
}

/// Where on a piece the pattern is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// Role of the body.
    pub role: Role,
    /// Place on the body.
    pub skin: Skin,
    /// Point in the piece's frame, mm.
    pub point: V3,
    /// Greatest radius of the body, mm.
    pub radius_mm: f32,
    /// By what measures of patterns are multiplied on a body of that size.
    pub scale: f32,
    /// Radius at the rim, mm.
    pub rim_radius_mm: f32,
    /// Length of the decorated side from the rim, mm.
    pub length_mm: f32,
    /// Distance of verge or shoulder from the rim, mm.
    pub verge_mm: f32,
    /// Width of a pixel on the surface, mm.
    pub px_mm: f32,
}

impl Place {
    /// Where a border begins, from where it is measured, and how high it is, mm.
    fn girdle(&self, at_mm: f32, height_mm: f32) -> [f32; 2] {
        let (mut start, mut h) = (at_mm * self.scale, height_mm * self.scale);
        let room = if self.role == Role::Lid {
            self.verge_mm.max(6.0)
        } else if self.role == Role::Flat {
            self.verge_mm
        } else {
            self.length_mm * 0.8
        };
        if self.role != Role::Hollow && start + h > room {
            h = (room - start).max(room * 0.7);
            start = (room - h).max(0.0);
        }
        [start, h]
    }

    /// How many motifs of a border of that height go round.
    fn around(&self, height_mm: f32, pitch: f32) -> f32 {
        (TAU * self.rim_radius_mm / (height_mm * pitch))
            .round()
            .max(3.0)
    }

    /// How many motifs of an all-over pattern go round in a row.
    fn columns(&self, pitch_mm: f32) -> f32 {
        (TAU * self.radius_mm / (2.0 * pitch_mm)).round().max(2.0) * 2.0
    }

    /// How many sprigs go round where a plate has `count`.
    fn sprigs(&self, count: u32) -> u32 {
        match self.role {
            Role::Flat => count.max(2),
            Role::Hollow => 2 * (count / 2).max(1),
            Role::Lid => (count / 2 * 2).max(2),
        }
    }
}

/// Motifs that stand alone.
pub(crate) const LOOSE: [Subject; 6] = [
    Subject::Spray,
    Subject::Rosette,
    Subject::Twig,
    Subject::Star,
    Subject::Fan,
    Subject::Seedhead,
];

impl Pattern {
    /// How often each layer that goes round the piece in motifs looks like itself in one turn about the axis, and
    /// between which distances (mm, from the rim along the decorated side) it lies; the place says on which body.
    pub fn repeats(&self, at: &Place) -> Vec<(u32, [f32; 2])> {
        let of = |layer: &Layer| match layer {
            Layer::Border {
                motif,
                at_mm,
                height_mm,
                pitch,
                from: From::Edge,
            } => {
                let [start, h] = at.girdle(*at_mm, *height_mm);
                let n = at.around(h, *pitch) as u32 * self.motifs[*motif].alike;
                Some((n, [start, start + h]))
            }
            Layer::Sprigs { count, .. } => Some((at.sprigs(*count), [0.0, at.verge_mm])),
            // On flatware it is scattered in rows, which do not go round.
            Layer::AllOver { pitch_mm, .. } if at.role != Role::Flat => {
                let n = at.columns(pitch_mm * at.scale);
                Some((n as u32, [0.0, at.length_mm]))
            }
            _ => None,
        };
        self.layers.iter().filter_map(of).collect()
    }

    /// No decoration.
    pub fn plain() -> Pattern {
        Pattern {
            name: "Plain".to_string(),
            motifs: Vec::new(),
            layers: Vec::new(),
        }
    }

    /// A pattern from motifs (subject, hand) in four inks (two flower colours, leaf, centre) and its layers.
    pub fn new(
        name: &str,
        inks: [u32; 4],
        drawn: &[(Subject, Hand)],
        layers: Vec<Layer>,
        seed: u64,
    ) -> Pattern {
        let inks = inks.map(srgb);
        let root = Rng::new(seed);
        Pattern {
            name: name.to_string(),
            motifs: drawn
                .iter()
                .enumerate()
                .map(|(i, (s, h))| Motif::new(*s, *h, &inks, &mut root.fork("motif", i as u64)))
                .collect(),
            layers,
        }
    }

    /// A random pattern.
    pub fn random(name: &str, rng: &mut Rng) -> Pattern {
        let inks = random_inks(rng);
        let hand = rng.pick(&[Hand::Decal, Hand::Outlined, Hand::Brush]);
        let running = [
            Subject::Scroll,
            Subject::Garland,
            Subject::Dots,
            Subject::Zigzag,
            Subject::Lattice,
            Subject::Rings,
        ];
        let mut drawn = Vec::new();
        let mut layers = Vec::new();
        let ink = |rng: &mut Rng| match rng.int(0, 9) {
            0 => Ink::Gold,
            1 => Ink::Platinum,
            k => Ink::Colour(srgb(inks[k as usize % 4])),
        };
        let kind = rng.int(0, 7);
        match kind {
            0 | 1 => {
                drawn.push((rng.pick(&LOOSE), hand));
                layers.push(Layer::Centre {
                    motif: 0,
                    share: rng.range(0.6, 0.92),
                });
            }
            2 | 3 => {
                drawn.push((rng.pick(&running), hand));
                let height_mm = rng.range(7.0, 17.0);
                let at_mm = rng.range(2.0, 6.0);
                layers.push(Layer::Border {
                    motif: 0,
                    from: From::Edge,
                    at_mm,
                    height_mm,
                    pitch: rng.range(1.2, 2.4),
                });
                if rng.chance(0.5) {
                    drawn.push((rng.pick(&LOOSE), hand));
                    layers.push(Layer::Centre {
                        motif: 1,
                        share: rng.range(0.4, 0.75),
                    });
                }
            }
            4 => {
                drawn.push((rng.pick(&LOOSE), hand));
                let size_mm = rng.range(8.0, 20.0);
                layers.push(Layer::AllOver {
                    motif: 0,
                    size_mm,
                    pitch_mm: size_mm * rng.range(1.15, 1.9),
                });
            }
            5 => {
                drawn.push((rng.pick(&LOOSE), hand));
                layers.push(Layer::Sprigs {
                    motif: 0,
                    count: rng.int(3, 8),
                    share: rng.range(0.65, 0.95),
                });
            }
            6 => {
                layers.push(Layer::Sponge {
                    ink: Ink::Colour(srgb(inks[0])),
                    hole_mm: rng.range(2.0, 6.0),
                    cover: rng.range(0.35, 0.7),
                    depth_mm: rng.pick(&[0.0, 14.0, 22.0]),
                });
            }
            _ => {
                let mut at_mm = rng.range(0.0, 5.0);
                for _ in 0..rng.int(1, 4) {
                    let width_mm = rng.pick(&[0.8, 1.6, 4.0, 8.0, 12.0]) * rng.range(0.8, 1.2);
                    layers.push(Layer::Line {
                        from: From::Edge,
                        at_mm,
                        width_mm,
                        ink: ink(rng),
                    });
                    at_mm += width_mm + rng.range(1.2, 6.0);
                }
            }
        }
        if kind != 7 && rng.chance(0.6) {
            layers.push(Layer::Line {
                from: From::Edge,
                at_mm: 0.0,
                width_mm: rng.range(0.8, 2.2),
                ink: ink(rng),
            });
        }
        if rng.chance(0.35) {
            layers.push(Layer::Line {
                from: From::Verge,
                at_mm: 0.0,
                width_mm: rng.range(0.6, 2.4),
                ink: ink(rng),
            });
        }
        if rng.chance(0.25) {
            layers.push(Layer::Line {
                from: From::Foot,
                at_mm: rng.range(4.0, 8.0),
                width_mm: rng.range(0.6, 2.0),
                ink: ink(rng),
            });
        }
        Pattern::new(name, inks, &drawn, layers, rng.bits())
    }

    /// The paint with the pattern over it.
    pub fn over(&self, ground: Paint, at: &Place, seed: u32) -> Paint {
        let faced = match at.role {
            Role::Flat => at.skin.zone == Zone::Inside,
            Role::Hollow | Role::Lid => at.skin.zone == Zone::Outside,
        };
        let mut paint = ground;
        for layer in &self.layers {
            // A line on the very edge goes over it.
            let edge =
                matches!(layer, Layer::Line { from: From::Edge, at_mm, .. } if *at_mm <= 0.01);
            if faced || (edge && at.skin.zone != Zone::Under && at.role != Role::Lid) {
                self.lay(layer, &mut paint, at, seed);
            }
        }
        paint
    }

    fn lay(&self, layer: &Layer, paint: &mut Paint, at: &Place, seed: u32) {
        let k = at.scale;
        let skin = &at.skin;
        match layer {
            Layer::Line {
                from,
                at_mm,
                width_mm,
                ink,
            } => {
                if at.role == Role::Lid && *from != From::Edge {
                    return;
                }
                let Some(v) = measure(*from, at) else { return };
                let w = (width_mm * k).max(0.5);
                let mid = at_mm * k + w * 0.5;
                let soft = (at.px_mm * 0.5).max(0.12);
                let a = smoothstep(w * 0.5 + soft, w * 0.5 - soft, (v - mid).abs());
                put(paint, *ink, a);
            }
            Layer::Border {
                motif,
                from,
                at_mm,
                height_mm,
                pitch,
            } => {
                let Some(v) = measure(*from, at) else { return };
                let [start, h] = at.girdle(*at_mm, *height_mm);
                let y = 1.0 - 2.0 * (v - start) / h;
                if y.abs() > 1.0 {
                    return;
                }
                let n = at.around(h, *pitch);
                let u = (skin.angle_rad / TAU * n + 0.25).rem_euclid(1.0) * 2.0 - 1.0;
                let c = self.motifs[*motif].at(u, y, at.px_mm * 2.0 / h, true);
                over(paint, c);
            }
            Layer::Centre { motif, share } => match at.role {
                Role::Flat => {
                    let s = (at.radius_mm - at.verge_mm) * share;
                    let (x, z) = (at.point.x, at.point.z);
                    over(
                        paint,
                        self.motifs[*motif].at(x / s, -z / s, at.px_mm / s, false),
                    );
                }
                Role::Hollow => {
                    let s = (at.length_mm * 0.5 * share).min(at.radius_mm * 0.92);
                    let side = if skin.angle_rad > 0.0 { 1.0 } else { -1.0 };
                    // Left to right as seen from that side.
                    let du = -wrap_angle(skin.angle_rad - side * PI * 0.5) * at.radius_mm;
                    let dv = at.length_mm * 0.5 - skin.from_rim_mm;
                    over(
                        paint,
                        self.motifs[*motif].at(du / s, dv / s, at.px_mm / s, false),
                    );
                }
                Role::Lid => {}
            },
            Layer::Sprigs {
                motif,
                count,
                share,
            } => {
                let (room, mid) = match at.role {
                    Role::Flat => (at.verge_mm, at.verge_mm * 0.52),
                    Role::Hollow => (at.length_mm * 0.62, at.length_mm * 0.48),
                    Role::Lid => (at.verge_mm, at.verge_mm * 0.5),
                };
                let n = at.sprigs(*count) as f32;
                let r = if at.role == Role::Flat {
                    at.radius_mm - mid
                } else if at.role == Role::Lid {
                    at.radius_mm * 0.7
                } else {
                    at.radius_mm
                };
                let s = (room * 0.5 * share).min(PI * r / n * 0.95);
                let step = TAU / n;
                let a = skin.angle_rad - PI * 0.5;
                let near = (a / step).round() * step;
                let du = -(a - near) * r;
                let dv = mid - skin.from_rim_mm;
                over(
                    paint,
                    self.motifs[*motif].at(du / s, dv / s, at.px_mm / s, false),
                );
            }
            Layer::AllOver {
                motif,
                size_mm,
                pitch_mm,
            } => {
                let (size, pitch) = (size_mm * k, pitch_mm * k);
                let s = size * 0.5;
                let (u, v) = if at.role == Role::Flat {
                    (at.point.x, at.point.z)
                } else {
                    let n = at.columns(pitch);
                    (skin.angle_rad / TAU * n * pitch, skin.from_rim_mm)
                };
                let row = (v / pitch).round();
                let shift = if (row as i32).rem_euclid(2) == 0 {
                    0.0
                } else {
                    0.5
                };
                let column = (u / pitch - shift).round() + shift;
                let (du, dv) = (u - column * pitch, row * pitch - v);
                if at.role == Role::Lid && skin.from_rim_mm > at.verge_mm * 1.25 {
                    return;
                }
                over(
                    paint,
                    self.motifs[*motif].at(du / s, dv / s, at.px_mm / s, false),
                );
            }
            Layer::Sponge {
                ink,
                hole_mm,
                cover,
                depth_mm,
            } => {
                let p = at.point;
                let h = hole_mm * k;
                let n = 0.5 * noise_on(p, h, seed)
                    + 0.3 * noise_on(p, h * 0.45, seed ^ 1)
                    + 0.2 * noise_on(p, h * 3.0, seed ^ 2);
                let mut t = *cover;
                if *depth_mm > 0.0 {
                    let d = depth_mm * k;
                    t *= smoothstep(d * 1.15, d * 0.75, skin.from_rim_mm);
                }
                let level = 0.75 - 0.5 * t;
                let a = smoothstep(level - 0.05, level + 0.06, n) * 0.9;
                put(paint, *ink, if t > 0.02 { a } else { 0.0 });
            }
        }
    }
}

fn measure(from: From, at: &Place) -> Option<f32> {
    match from {
        From::Edge => Some(at.skin.from_rim_mm),
        From::Verge => Some(at.skin.from_rim_mm - at.verge_mm),
        From::Foot if at.role == Role::Hollow => Some(at.skin.from_foot_mm),
        From::Foot => None,
    }
}

static GOLD: LazyLock<V3> = LazyLock::new(|| srgb(0xd9a441));
static PLATINUM: LazyLock<V3> = LazyLock::new(|| srgb(0xc3c2bf));

fn put(paint: &mut Paint, ink: Ink, a: f32) {
    let (colour, metal) = match ink {
        Ink::Colour(c) => (c, 0.0),
        Ink::Gold => (*GOLD, 1.0),
        Ink::Platinum => (*PLATINUM, 1.0),
    };
    paint.colour = paint.colour.mix(colour, a);
    paint.metal += (metal - paint.metal) * a;
}

fn over(paint: &mut Paint, c: [f32; 4]) {
    let k = 1.0 - c[3];
    paint.colour = paint.colour * k + crate::vec3::v3(c[0], c[1], c[2]);
    paint.metal *= k;
}

/// Inks that go together: two flower colours, leaf, centre.
pub(crate) fn random_inks(rng: &mut Rng) -> [u32; 4] {
    if rng.chance(0.3) {
        // One colour, as of a transfer print.
        let c = rng.pick(&[0x223a78, 0x3a2a20, 0x6b2230, 0x1f4a38, 0x2d2d33, 0x553a6a]);
        return [c; 4];
    }
    let flowers = [
        0xc2364f, 0xe08a2c, 0xd8b13a, 0x5b77c4, 0x8a4fa0, 0xe39aa8, 0x2f8fa0, 0xa03a2a, 0xf0efe6,
        0x3d4f9a,
    ];
    let leaves = [0x3f7a3a, 0x6d8a3c, 0x2f5f4f, 0x7a7440, 0x4a6a6a, 0x5a4632];
    let hearts = [0xe8c23c, 0x6b3b1f, 0x1f1f24, 0xf2e6b0, 0xc9542c];
    [
        rng.pick(&flowers),
        rng.pick(&flowers),
        rng.pick(&leaves),
        rng.pick(&hearts),
    ]
}
