//! A shape: the moulded family that a pottery's pieces share. One set of parameters draws every piece type of it.

use crate::rng::Rng;

/// The edge of plates and open ware.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rim {
    /// Plain round edge.
    Plain,
    /// Waves round the edge: number and amplitude as a fraction of the radius.
    Waved(u32, f32),
    /// Straight sides: number of facets and flatness 0..1.
    Faceted(u32, f32),
}

/// Handle styles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Handle {
    /// Round C.
    Loop,
    /// High-shouldered, narrowing to the lower terminal.
    Ear,
    /// Angular: straight arms meeting in a point.
    Pointed,
    /// Flat broad strap.
    Strap,
    /// A small full ring set high.
    Ring,
    /// Square-cornered.
    Square,
}

/// Finials of lids.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finial {
    /// Ball on a short neck.
    Ball,
    /// Flat button.
    Button,
    /// Cone.
    Cone,
    /// Bud: ball drawn to a point.
    Bud,
    /// Loop of clay.
    Loop,
    /// Hollow disc with a raised edge.
    Dish,
}

/// Embossing and turned detail.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Emboss {
    /// Smooth.
    None,
    /// Upright ribs: number, depth mm.
    Ribs(u32, f32),
    /// Upright flutes: number, depth mm.
    Flutes(u32, f32),
    /// Horizontal rings turned into the wall: number, depth mm.
    Rings(u32, f32),
    /// A row of beads under the edge: pitch in mm.
    Beads(f32),
    /// Basket weave on the rim or the lower body: pitch in mm.
    Basket(f32),
}

/// A moulded family.
#[derive(Clone, Debug)]
pub struct Shape {
    /// Name.
    pub name: String,
    /// Height of the greatest width, 0 foot .. 1 rim.
    pub belly: f32,
    /// Roundness of the lower body: 0.8 hollow, 1 straight, 2 round, 3.5 square.
    pub lower: f32,
    /// Roundness of the shoulder.
    pub upper: f32,
    /// Outward turn of the lip, fraction of the radius.
    pub flare: f32,
    /// Width of the foot against the usual one.
    pub foot: f32,
    /// Height of the foot against the usual one; above 2 a pedestal.
    pub pedestal: f32,
    /// Height of the pieces against the usual one.
    pub tall: f32,
    /// Edge.
    pub rim: Rim,
    /// Rim width of plates as a fraction of the radius; 0 for coupe.
    pub plate_rim: f32,
    /// Depth of plates against the usual one.
    pub plate_depth: f32,
    /// Handle style.
    pub handle: Handle,
    /// Handle thickness against the usual one.
    pub handle_weight: f32,
    /// Size of the handle's opening against the usual one.
    pub handle_reach: f32,
    /// Finial style.
    pub finial: Finial,
    /// Dome of lids: height over radius.
    pub lid_dome: f32,
    /// Bend of spouts: 0 straight, 1 swan-necked.
    pub spout_curve: f32,
    /// Embossing.
    pub emboss: Emboss,
    /// Thickness of the wall, mm, for a cup.
    pub wall_mm: f32,
}

impl Default for Shape {
    fn default() -> Shape {
        Shape {
            name: String::new(),
            belly: 0.5,
            lower: 2.0,
            upper: 2.0,
            flare: 0.0,
            foot: 1.0,
            pedestal: 1.0,
            tall: 1.0,
            rim: Rim::Plain,
            plate_rim: 0.28,
            plate_depth: 1.0,
            handle: Handle::Loop,
            handle_weight: 1.0,
            handle_reach: 1.0,
            finial: Finial::Ball,
            lid_dome: 0.3,
            spout_curve: 0.6,
            emboss: Emboss::None,
            wall_mm: 3.0,
        }
    }
}

impl Shape {
    /// A random family. Discrete traits (edge, handle, finial, embossing) and proportions are drawn independently.
    pub fn random(name: &str, rng: &mut Rng) -> Shape {
        let lower = rng.pick(&[0.85, 1.15, 1.7, 2.0, 2.4, 3.4]) * rng.range(0.93, 1.07);
        let upper = rng.pick(&[1.1, 1.6, 2.0, 2.6]) * rng.range(0.94, 1.06);
        let rim = match rng.int(0, 5) {
            0 => Rim::Waved(rng.int(4, 6) * 2, rng.range(0.018, 0.034)),
            1 => Rim::Waved(rng.int(14, 24), rng.range(0.010, 0.016)),
            2 => Rim::Faceted(rng.pick(&[6, 8, 10, 12]), rng.range(0.7, 0.95)),
            _ => Rim::Plain,
        };
        let emboss = match rng.int(0, 8) {
            0 => Emboss::Ribs(rng.int(20, 44), rng.range(0.8, 1.4)),
            1 => Emboss::Flutes(rng.int(14, 26), rng.range(-1.8, -1.0)),
            2 => Emboss::Rings(rng.int(3, 7), rng.range(0.7, 1.2)),
            3 => Emboss::Beads(rng.range(4.0, 7.0)),
            4 => Emboss::Basket(rng.range(6.0, 10.0)),
            _ => Emboss::None,
        };
        Shape {
            name: name.to_string(),
            belly: rng.range(0.24, 0.64),
            lower,
            upper,
            flare: if rng.chance(0.45) {
                rng.range(0.04, 0.14)
            } else {
                0.0
            },
            foot: rng.range(0.82, 1.18),
            pedestal: if rng.chance(0.22) {
                rng.range(2.2, 3.4)
            } else {
                rng.range(0.6, 1.5)
            },
            tall: rng.range(0.86, 1.18),
            rim,
            plate_rim: if rng.chance(0.4) {
                0.0
            } else {
                rng.range(0.2, 0.36)
            },
            plate_depth: rng.range(0.8, 1.3),
            handle: rng.pick(&[
                Handle::Loop,
                Handle::Ear,
                Handle::Pointed,
                Handle::Strap,
                Handle::Ring,
                Handle::Square,
            ]),
            handle_weight: rng.range(0.85, 1.3),
            handle_reach: rng.range(0.85, 1.25),
            finial: rng.pick(&[
                Finial::Ball,
                Finial::Button,
                Finial::Cone,
                Finial::Bud,
                Finial::Loop,
                Finial::Dish,
            ]),
            lid_dome: rng.range(0.14, 0.5),
            spout_curve: rng.range(0.0, 1.0),
            emboss,
            wall_mm: rng.range(2.4, 3.8),
        }
    }
}
