//! What the cabinet holds: services, mixed services, and lines that differ in one thing only.

use super::ware;
use crate::form::Form;
use crate::photo::Piece;

/// A piece of the reference set.
pub(super) struct Entry {
    pub(super) piece: Piece,
    pub(super) views: usize,
    pub(super) years: (u32, u32),
    pub(super) mark: &'static str,
    pub(super) notes: &'static str,
}

/// A line of the pottery: what was sold together in one shape.
struct Line {
    shape: &'static str,
    pattern: &'static str,
    glaze: &'static str,
    treatment: &'static str,
    years: (u32, u32),
    mark: &'static str,
    notes: &'static str,
    forms: &'static [Form],
}

use Form::{
    CerealBowl, CoffeePot, CoveredVegetable, Creamer, DinnerPlate, GravyBoat, Jug, Mug, Platter,
    Saucer, SugarBowl, Teacup, Teapot,
};

const LINES: [Line; 16] = [
    Line {
        shape: "Brannet",
        pattern: "Merrin Spray",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1934, 1952),
        mark: "printed",
        notes: "the decal is also on Orvelle",
        forms: &[Teacup, Saucer, DinnerPlate, Teapot, Creamer, SugarBowl],
    },
    Line {
        shape: "Orvelle",
        pattern: "Merrin Spray",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1938, 1950),
        mark: "printed",
        notes: "the decal is also on Brannet",
        forms: &[Teacup, DinnerPlate, Platter, GravyBoat],
    },
    Line {
        shape: "Orvelle",
        pattern: "Gilt Verge",
        glaze: "Oxlip Cream",
        treatment: "clear glaze",
        years: (1936, 1961),
        mark: "printed",
        notes: "",
        forms: &[CoffeePot, CoveredVegetable, Saucer],
    },
    Line {
        shape: "Tussock",
        pattern: "Plain",
        glaze: "Tarn Blue",
        treatment: "dipped",
        years: (1949, 1968),
        mark: "impressed",
        notes: "inside coloured too",
        forms: &[Mug, DinnerPlate, CerealBowl, Jug],
    },
    Line {
        shape: "Tussock",
        pattern: "Plain",
        glaze: "Tarn Blue",
        treatment: "slip outside",
        years: (1955, 1960),
        mark: "",
        notes: "inside and foot white; hollowware unmarked",
        forms: &[Mug, CerealBowl, Jug],
    },
    Line {
        shape: "Tussock",
        pattern: "Pennant Band",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1951, 1958),
        mark: "printed",
        notes: "",
        forms: &[CoffeePot, Mug, Creamer],
    },
    Line {
        shape: "Pellam",
        pattern: "Cress Border",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1929, 1940),
        mark: "printed",
        notes: "",
        forms: &[Teapot, Teacup, DinnerPlate, SugarBowl],
    },
    Line {
        shape: "Pellam",
        pattern: "Sablewick",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1927, 1941),
        mark: "printed",
        notes: "transfer print in one blue",
        forms: &[Platter, CoveredVegetable, Saucer],
    },
    Line {
        shape: "Corvane",
        pattern: "Plain",
        glaze: "Sallow",
        treatment: "dipped",
        years: (1932, 1946),
        mark: "impressed",
        notes: "compare Sallow Light",
        forms: &[Teapot, Teacup, Creamer],
    },
    Line {
        shape: "Corvane",
        pattern: "Plain",
        glaze: "Sallow Light",
        treatment: "dipped",
        years: (1947, 1953),
        mark: "impressed",
        notes: "a little lighter than Sallow",
        forms: &[Teapot, Teacup, Creamer],
    },
    Line {
        shape: "Corvane",
        pattern: "Fenwisp",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1935, 1942),
        mark: "painted",
        notes: "",
        forms: &[DinnerPlate, CerealBowl, SugarBowl],
    },
    Line {
        shape: "Lindle",
        pattern: "Tolla Star",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1956, 1966),
        mark: "",
        notes: "sold with Tussock flatware",
        forms: &[Teacup, CoffeePot, Creamer, SugarBowl],
    },
    Line {
        shape: "Tussock",
        pattern: "Tolla Star",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1956, 1966),
        mark: "printed",
        notes: "sold with Lindle hollowware",
        forms: &[DinnerPlate, Saucer],
    },
    Line {
        shape: "Lindle",
        pattern: "Marl Sponge",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1953, 1957),
        mark: "",
        notes: "",
        forms: &[Mug, Jug],
    },
    Line {
        shape: "Brannet",
        pattern: "Orlop Garland",
        glaze: "Clear White",
        treatment: "clear glaze",
        years: (1933, 1939),
        mark: "printed",
        notes: "",
        forms: &[GravyBoat, CoveredVegetable, DinnerPlate],
    },
    Line {
        shape: "Brannet",
        pattern: "Plain",
        glaze: "Peat",
        treatment: "two-tone",
        years: (1958, 1971),
        mark: "impressed",
        notes: "cream inside",
        forms: &[Mug, Jug],
    },
];

/// A piece of the pottery by its names.
pub(super) fn piece(
    id: &str,
    form: Form,
    shape: &str,
    pattern: &str,
    glaze: &str,
    treatment: &str,
) -> Piece {
    Piece::ware(
        id,
        &ware::shape(shape),
        form,
        &ware::ground(glaze, treatment),
        &ware::pattern(pattern),
    )
}

/// The reference set, in order.
pub(super) fn pieces() -> Vec<Entry> {
    let mut out = Vec::new();
    for l in &LINES {
        for &form in l.forms {
            let id = format!(
                "{:03}-{}-{}",
                out.len() + 1,
                l.shape.to_lowercase(),
                form.name().replace(' ', "-")
            );
            out.push(Entry {
                piece: piece(&id, form, l.shape, l.pattern, l.glaze, l.treatment),
                views: 2,
                years: l.years,
                mark: l.mark,
                notes: l.notes,
            });
        }
    }
    out
}
