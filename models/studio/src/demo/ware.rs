//! Shapes, patterns and glazes of the invented pottery. No name and no form here is a real one's.

use crate::glaze::{BODY_WHITE, Glaze, Ground, Treatment};
use crate::motif::{Hand, Subject};
use crate::pattern::{From, Ink, Layer, Pattern};
use crate::shape::{Emboss, Finial, Handle, Rim, Shape};
use crate::vec3::srgb;

/// A shape of the pottery by name; an unknown name gives the plainest one.
pub(super) fn shape(name: &str) -> Shape {
    let base = Shape {
        name: name.to_string(),
        ..Shape::default()
    };
    match name {
        // Waved edge, turned-out lip, beads: the showy one.
        "Orvelle" => Shape {
            belly: 0.4,
            lower: 2.1,
            upper: 1.7,
            flare: 0.1,
            pedestal: 1.5,
            rim: Rim::Waved(10, 0.026),
            plate_rim: 0.3,
            handle: Handle::Ear,
            handle_reach: 1.1,
            finial: Finial::Bud,
            lid_dome: 0.42,
            spout_curve: 1.0,
            emboss: Emboss::Beads(5.2),
            wall_mm: 2.7,
            ..base
        },
        // Straight-sided coupe ware of the kitchen.
        "Tussock" => Shape {
            belly: 0.36,
            lower: 3.3,
            upper: 2.7,
            foot: 1.14,
            pedestal: 0.6,
            plate_rim: 0.0,
            plate_depth: 1.15,
            handle: Handle::Strap,
            handle_weight: 1.1,
            finial: Finial::Button,
            lid_dome: 0.16,
            spout_curve: 0.1,
            wall_mm: 3.6,
            ..base
        },
        // Eight sides and angles everywhere.
        "Pellam" => Shape {
            belly: 0.45,
            lower: 1.45,
            upper: 1.35,
            foot: 0.95,
            tall: 1.06,
            rim: Rim::Faceted(8, 0.95),
            plate_rim: 0.26,
            handle: Handle::Pointed,
            handle_reach: 1.12,
            finial: Finial::Cone,
            lid_dome: 0.36,
            spout_curve: 0.0,
            wall_mm: 3.0,
            ..base
        },
        // Fluted, on a raised foot.
        "Corvane" => Shape {
            belly: 0.56,
            lower: 1.9,
            upper: 2.2,
            foot: 0.9,
            pedestal: 2.5,
            tall: 1.08,
            rim: Rim::Waved(18, 0.009),
            plate_rim: 0.33,
            handle: Handle::Loop,
            handle_weight: 0.92,
            finial: Finial::Loop,
            lid_dome: 0.34,
            spout_curve: 0.85,
            emboss: Emboss::Flutes(18, -1.7),
            wall_mm: 2.8,
            ..base
        },
        // Low and ringed; only hollowware was made in it.
        "Lindle" => Shape {
            belly: 0.27,
            lower: 1.7,
            upper: 1.25,
            flare: 0.07,
            foot: 1.1,
            tall: 0.95,
            handle: Handle::Square,
            handle_weight: 1.15,
            finial: Finial::Dish,
            lid_dome: 0.2,
            spout_curve: 0.3,
            emboss: Emboss::Rings(5, 1.1),
            wall_mm: 3.4,
            ..base
        },
        // Basket-moulded; made by someone else: it is not in the set.
        "Veshnel" => Shape {
            belly: 0.62,
            lower: 1.25,
            upper: 1.9,
            foot: 1.05,
            pedestal: 1.2,
            rim: Rim::Waved(6, 0.03),
            plate_rim: 0.22,
            handle: Handle::Ring,
            handle_weight: 1.25,
            finial: Finial::Ball,
            lid_dome: 0.5,
            spout_curve: 0.5,
            emboss: Emboss::Basket(8.0),
            ..base
        },
        // Brannet: round and plain.
        _ => Shape {
            belly: 0.44,
            lower: 2.05,
            upper: 2.05,
            handle: Handle::Loop,
            handle_weight: 1.05,
            finial: Finial::Ball,
            lid_dome: 0.28,
            plate_rim: 0.25,
            spout_curve: 0.65,
            ..base
        },
    }
}

/// A pattern of the pottery by name; an unknown name gives plain ware.
pub(super) fn pattern(name: &str) -> Pattern {
    let gold = |from, at_mm, width_mm| Layer::Line {
        from,
        at_mm,
        width_mm,
        ink: Ink::Gold,
    };
    let line = |from, at_mm, width_mm, hex| Layer::Line {
        from,
        at_mm,
        width_mm,
        ink: Ink::Colour(srgb(hex)),
    };
    match name {
        "Merrin Spray" => Pattern::new(
            name,
            [0xc93a5a, 0xe9a33a, 0x3f7a46, 0xf0d060],
            &[
                (Subject::Spray, Hand::Outlined),
                (Subject::Twig, Hand::Outlined),
            ],
            vec![
                Layer::Centre {
                    motif: 0,
                    share: 0.82,
                },
                line(From::Edge, 0.0, 1.2, 0x3f7a46),
            ],
            41,
        ),
        "Tolla Star" => Pattern::new(
            name,
            [0x1f6f7a, 0x1f6f7a, 0x2a2f33, 0xd9792c],
            &[(Subject::Star, Hand::Decal)],
            vec![Layer::Sprigs {
                motif: 0,
                count: 6,
                share: 0.82,
            }],
            42,
        ),
        "Fenwisp" => Pattern::new(
            name,
            [0x6a4a8c, 0x7a9a5a, 0x4f7a4a, 0xd0a23a],
            &[(Subject::Seedhead, Hand::Brush)],
            vec![Layer::AllOver {
                motif: 0,
                size_mm: 27.0,
                pitch_mm: 29.0,
            }],
            43,
        ),
        "Cress Border" => Pattern::new(
            name,
            [0xd8843a, 0x8aa04a, 0x3f6a3a, 0xb23a2a],
            &[(Subject::Scroll, Hand::Decal)],
            vec![
                Layer::Border {
                    motif: 0,
                    from: From::Edge,
                    at_mm: 3.5,
                    height_mm: 15.0,
                    pitch: 2.0,
                },
                line(From::Edge, 0.0, 1.4, 0x3f6a3a),
            ],
            44,
        ),
        "Orlop Garland" => Pattern::new(
            name,
            [0x4f74c0, 0xe0b0b8, 0x5f7f4f, 0xf0e2a0],
            &[
                (Subject::Garland, Hand::Brush),
                (Subject::Rosette, Hand::Brush),
            ],
            vec![
                Layer::Border {
                    motif: 0,
                    from: From::Edge,
                    at_mm: 2.5,
                    height_mm: 17.0,
                    pitch: 2.1,
                },
                Layer::Centre {
                    motif: 1,
                    share: 0.34,
                },
            ],
            45,
        ),
        // One colour, as of a transfer print.
        "Sablewick" => Pattern::new(
            name,
            [0x24407c; 4],
            &[
                (Subject::Lattice, Hand::Decal),
                (Subject::Spray, Hand::Decal),
            ],
            vec![
                Layer::Border {
                    motif: 0,
                    from: From::Edge,
                    at_mm: 1.5,
                    height_mm: 14.0,
                    pitch: 1.0,
                },
                line(From::Edge, 17.0, 0.8, 0x24407c),
                line(From::Edge, 0.0, 1.2, 0x24407c),
                Layer::Centre {
                    motif: 1,
                    share: 0.62,
                },
            ],
            46,
        ),
        "Pennant Band" => Pattern::new(
            name,
            [0xc2402c, 0xc2402c, 0x2d3f6c, 0x2d3f6c],
            &[],
            vec![
                line(From::Edge, 5.0, 9.0, 0xc2402c),
                line(From::Edge, 16.5, 2.2, 0x2d3f6c),
                line(From::Edge, 21.0, 1.0, 0x2d3f6c),
                line(From::Foot, 5.0, 2.0, 0x2d3f6c),
            ],
            47,
        ),
        "Gilt Verge" => Pattern::new(
            name,
            [0x000000; 4],
            &[],
            vec![
                gold(From::Edge, 0.0, 2.2),
                gold(From::Verge, 0.0, 1.3),
                gold(From::Foot, 3.5, 1.3),
            ],
            48,
        ),
        "Marl Sponge" => Pattern::new(
            name,
            [0x6c3f2a; 4],
            &[],
            vec![
                Layer::Sponge {
                    ink: Ink::Colour(srgb(0x2f6a5c)),
                    hole_mm: 4.2,
                    cover: 0.62,
                    depth_mm: 24.0,
                },
                line(From::Edge, 0.0, 1.6, 0x6c3f2a),
            ],
            49,
        ),
        _ => Pattern::plain(),
    }
}

/// A ground of the pottery: glaze by name, with a treatment in words; unknown words give the clear white glaze.
pub(super) fn ground(glaze: &str, treatment: &str) -> Ground {
    let g = match glaze {
        "Oxlip Cream" => Glaze::new(glaze, 0xe9dcb4),
        "Tarn Blue" => Glaze {
            mottle: 0.06,
            breaks: 0.35,
            ..Glaze::new(glaze, 0x4f86a8)
        },
        "Sallow" => Glaze {
            mottle: 0.08,
            breaks: 0.3,
            ..Glaze::new(glaze, 0x8f9c62)
        },
        // A little lighter than Sallow and otherwise the same.
        "Sallow Light" => Glaze {
            mottle: 0.08,
            breaks: 0.3,
            ..Glaze::new(glaze, 0xa3b075)
        },
        "Peat" => Glaze {
            gloss: 0.7,
            mottle: 0.2,
            breaks: 0.6,
            ..Glaze::new(glaze, 0x5a4032)
        },
        "Lichen" => Glaze {
            gloss: 0.3,
            mottle: 0.15,
            speckle: 0.3,
            ..Glaze::new(glaze, 0x9fb0a0)
        },
        // Not in the set.
        "Ember" => Glaze {
            mottle: 0.07,
            breaks: 0.5,
            ..Glaze::new(glaze, 0xb8492e)
        },
        _ => Glaze {
            mottle: 0.02,
            ..Glaze::new("Clear White", BODY_WHITE)
        },
    };
    let treatment = match treatment {
        "dipped" => Treatment::Dipped,
        "slip outside" => Treatment::SlipOutside,
        "two-tone" => Treatment::TwoTone(srgb(0xe6dcc2)),
        _ => Treatment::AllOver,
    };
    Ground {
        glaze: g,
        treatment,
    }
}
