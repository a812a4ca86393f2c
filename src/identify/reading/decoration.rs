//! The decoration in the reading: side, location, technique, colours and motif, each of
//! which may be unknown.

use serde::{Deserialize, Serialize};

use super::{Certainty, Face, NamedSwatch, Zone};

/// The decoration as one photo shows it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DecorationReading {
    /// On which side it was seen; null where none was seen, or the zones are not told.
    pub side: Option<Side>,
    /// The sides that were seen: what lies on another is not known.
    pub seen: Vec<Face>,
    /// Whether it covers all that is seen from above about evenly; never said of an outside.
    pub all_over: bool,
    /// The zones that it was seen on, those of the outside first.
    pub locations: Vec<Location>,
    /// How it was put on, as far as a photo tells.
    pub technique: Technique,
    /// Its colours, largest first; shares are of the piece's surface in the photo.
    pub colours: Vec<NamedSwatch>,
    /// What repeats round the piece; null where nothing surely does.
    pub border: Option<BorderReading>,
    /// The decoration of the set that it resembles most.
    pub motif: Option<MotifMatch>,
}

/// The side of the piece that a decoration is on; of flatware, what is eaten from is inside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Away from the axis.
    Outside,
    /// Towards what the piece holds.
    Inside,
    /// Both were seen to be decorated.
    Both,
}

/// A zone with decoration.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Location {
    /// The zone.
    pub zone: Zone,
    /// Its side; null where the zone has none.
    pub face: Option<Face>,
    /// Share of the zone that is not of the ground's colour, 0 to 1.
    pub share: f32,
}

/// How a decoration was put on, as far as a photo tells it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Technique {
    /// Nothing but the ground's own colour: a glaze or a slip.
    ColouredGround,
    /// Only lines or bands go round.
    Lines,
    /// Colours in a design: printed, decalled or painted.
    Applied,
    /// The photo does not tell.
    #[default]
    Unknown,
}

impl Technique {
    /// In words; `None` where it is not known.
    pub fn name(self) -> Option<&'static str> {
        Some(match self {
            Self::ColouredGround => "coloured glaze or slip",
            Self::Lines => "lines or bands",
            Self::Applied => "printed, decalled or painted",
            Self::Unknown => return None,
        })
    }
}

/// A design that repeats round the piece.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BorderReading {
    /// The zone of its middle.
    pub zone: Zone,
    /// Its side.
    pub face: Option<Face>,
    /// How often it looks like itself in one turn about the axis: fewest and most that the
    /// photo allows.
    pub repeats: [u32; 2],
    /// Whether a whole turn was seen, and counted.
    pub whole_turn: bool,
    /// How much it looks like itself turned by one repeat, 1 is wholly (correlation).
    pub likeness: f64,
}

/// The decoration of the set that is nearest: the first candidate on the level of patterns.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MotifMatch {
    /// The set's own label.
    pub label: String,
    /// Its distance; 1 is the usual distance between unrelated pieces.
    pub distance: f64,
    /// How settled the level of patterns is.
    pub certainty: Certainty,
}
