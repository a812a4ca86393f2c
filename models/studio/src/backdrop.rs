//! What the pieces stand on and in front of: paper sweep, painted table, wood, woven cloth, stone.

use crate::card::Card;
use crate::rng::{Rng, fbm, noise};
use crate::vec3::{V3, floor, smoothstep, srgb, v3};

/// The surface of the table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Table {
    /// Seamless paper that rises into the background.
    Sweep,
    /// A painted or laminated top.
    Plain,
    /// Boards; width in mm.
    Wood(f32),
    /// Woven cloth; thread pitch in mm, stripe pitch in mm (0 for none).
    Cloth(f32, f32),
    /// Honed stone.
    Stone,
}

/// Table and wall.
#[derive(Clone, Debug)]
pub struct Backdrop {
    /// Name for the truth.
    pub name: &'static str,
    /// Surface.
    pub table: Table,
    /// Main colour of the table.
    pub colour: V3,
    /// Second colour: grain, stripe, vein.
    pub second: V3,
    /// Colour of the wall behind.
    pub wall: V3,
    /// Distance from the origin to the far edge of the table, mm.
    pub far_mm: f32,
    /// Turn of the grain or weave, radians.
    turn: (f32, f32),
    /// Seed of its texture.
    pub seed: u32,
    /// A grey card or chart that stands or lies there.
    pub card: Option<Card>,
}

/// Backdrops to choose from.
pub const BACKDROPS: [&str; 5] = ["paper sweep", "plain table", "wood", "woven cloth", "stone"];

impl Backdrop {
    /// A backdrop by name, with colours drawn.
    pub fn named(name: &'static str, rng: &mut Rng) -> Backdrop {
        let papers = [
            0xb9bcc0, 0x9aa0a5, 0x7d8388, 0xc9c4ba, 0x8f9a98, 0x6f7a86, 0xd7d5d0,
        ];
        let paints = [
            0x5f6f79, 0x8a7f74, 0x4f5a52, 0xa89f93, 0x74808a, 0x3f474f, 0x9c8f86,
        ];
        let woods = [
            (0x8a6440, 0x5e3f26),
            (0xb58a5c, 0x8d6540),
            (0x6a4a34, 0x422c1e),
            (0xa77f58, 0x70502f),
            (0x9b8a77, 0x756553),
        ];
        let cloths = [
            (0xa9a294, 0x6f7a8c),
            (0x8793a0, 0xd8d8d4),
            (0xb5a58e, 0x8f4d44),
            (0x7d8b78, 0xc9ccb8),
            (0x5d6673, 0x9aa3ae),
            (0xc4bcae, 0x9aa58f),
        ];
        let walls = [0xa8a49c, 0x8c949a, 0xb9b2a5, 0x6f767c, 0x97a09b, 0xc3bfb8];
        let seed = rng.bits() as u32;
        let (table, colour, second) = match name {
            "paper sweep" => {
                let c = srgb(rng.pick(&papers));
                (Table::Sweep, c, c)
            }
            "wood" => {
                let (a, b) = rng.pick(&woods);
                (Table::Wood(rng.range(70.0, 150.0)), srgb(a), srgb(b))
            }
            "woven cloth" => {
                let (a, b) = rng.pick(&cloths);
                let stripe = if rng.chance(0.4) {
                    rng.range(26.0, 60.0)
                } else {
                    0.0
                };
                (Table::Cloth(rng.range(1.2, 2.4), stripe), srgb(a), srgb(b))
            }
            "stone" => (
                Table::Stone,
                srgb(rng.pick(&[0x6d6f70, 0x8b8a86, 0x54585c])),
                srgb(0xb9b7b0),
            ),
            _ => {
                let c = srgb(rng.pick(&paints));
                (Table::Plain, c, c)
            }
        };
        let wall = if table == Table::Sweep {
            colour
        } else {
            srgb(rng.pick(&walls))
        };
        Backdrop {
            name,
            table,
            colour,
            second,
            wall,
            far_mm: rng.range(420.0, 900.0),
            turn: rng.range(-0.5f32, 0.5).sin_cos(),
            seed,
            card: None,
        }
    }

    /// Colour of the table at a place (mm), and how glossy it is; `px_mm` is the width of a pixel there.
    pub fn at(&self, p: V3, px_mm: f32) -> (V3, f32) {
        let (s, c) = self.turn;
        let (x, z) = (p.x * c - p.z * s, p.x * s + p.z * c);
        match self.table {
            Table::Sweep => (
                self.colour * (0.97 + 0.06 * noise(x * 0.01, z * 0.01, self.seed)),
                0.0,
            ),
            Table::Plain => (
                self.colour * (0.92 + 0.14 * fbm(x * 0.012, z * 0.012, self.seed)),
                0.35,
            ),
            Table::Wood(board) => {
                let n = floor(z / board);
                let along = x + n * 371.3;
                let within = z / board - n;
                let wave = fbm(along * 0.004, z * 0.03 + n * 11.0, self.seed) * 5.0;
                let ring = (within * 5.0 + wave) * 3.1;
                let grain = 0.5 + 0.5 * ring.sin();
                let fine = noise(along * 0.02, z * 1.1, self.seed ^ 5);
                let tone = noise(n * 3.7, 0.5, self.seed ^ 9);
                let mut col = self.colour.mix(
                    self.second,
                    0.15 + 0.4 * grain * 0.7 + 0.3 * (fine - 0.3) + 0.25 * (tone - 0.5),
                );
                let gap = (within.min(1.0 - within)) * board;
                col = col * (0.45 + 0.55 * smoothstep(0.2, 1.0 + px_mm, gap));
                (col, 0.4)
            }
            Table::Cloth(thread, stripe) => {
                let wob = 0.5 * noise(x * 0.05, z * 0.05, self.seed);
                let (u, v) = (x / thread + wob, z / thread - wob);
                // Threads too fine for the pixel fade into their mean instead of into moiré.
                let fade = (1.0 - px_mm / thread * 1.2).clamp(0.0, 1.0);
                let over = ((floor(u) + floor(v)) as i32).rem_euclid(2) == 0;
                let f = if over { v } else { u };
                let round = 4.0 * (f - floor(f)) * (1.0 - (f - floor(f)));
                let slub = noise(u * 0.14, floor(v) * 1.7, self.seed ^ 3) - 0.5
                    + noise(floor(u) * 1.7, v * 0.14, self.seed ^ 4)
                    - 0.5;
                let mut col = self.colour;
                if stripe > 0.0 {
                    let t = (x / stripe).rem_euclid(1.0);
                    let k = smoothstep(0.06 + px_mm / stripe, 0.06, (t - 0.5).abs());
                    col = col.mix(self.second, 0.75 * k);
                }
                let fold = noise(x * 0.006, z * 0.006, self.seed ^ 8) - 0.5;
                (
                    col * (0.9 + 0.26 * fade * (round - 0.66) + 0.12 * slub + 0.1 * fold),
                    0.0,
                )
            }
            Table::Stone => {
                let v = fbm(x * 0.02, z * 0.02, self.seed);
                let vein = smoothstep(
                    0.035,
                    0.0,
                    (fbm(x * 0.008 + v, z * 0.012, self.seed ^ 6) - 0.5).abs(),
                );
                let grit = noise(x * 0.7, z * 0.7, self.seed ^ 7) - 0.5;
                (
                    self.colour.mix(self.second, 0.35 * vein) * (0.85 + 0.3 * v + 0.08 * grit),
                    0.3,
                )
            }
        }
    }

    /// True where the table has no texture as fine as a few pixels, and nothing stands on it but the pieces.
    pub(crate) fn is_even(&self) -> bool {
        matches!(self.table, Table::Sweep | Table::Plain) && self.card.is_none()
    }

    /// Colour of what lies beyond the table in the direction `d`.
    pub fn beyond(&self, d: V3) -> V3 {
        let k = 0.62 + 0.3 * smoothstep(-0.3, 0.5, d.y);
        self.wall * k
    }

    /// How far the ground at `p` belongs to the wall: 0 table, 1 wall. `away` is the level direction of the view.
    pub fn wall_share(&self, p: V3, away: V3, px_mm: f32) -> f32 {
        let d = p.dot(v3(away.x, 0.0, away.z).unit());
        let soft = if self.table == Table::Sweep {
            0.9 * self.far_mm
        } else {
            14.0 + 2.0 * px_mm
        };
        smoothstep(self.far_mm - soft, self.far_mm + soft, d)
    }
}
