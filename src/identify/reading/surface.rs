//! The surface in the reading, and how colour sits on it.

use serde::{Deserialize, Serialize};

use super::{Certainty, Patch, Seen, View};

/// The surface of a piece as one photo shows it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SurfaceReading {
    /// The view that it was read from.
    pub view: View,
    /// The outside as a whole, the lip left out; null where it is not seen.
    pub outside: Option<Patch>,
    /// The inside as a whole, the lip left out; null where it is not seen.
    pub inside: Option<Patch>,
    /// The zones that are seen, those of the outside first.
    pub zones: Vec<Seen>,
}

/// How colour sits on a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Treatment {
    /// White or nearly, with nothing going round it.
    Plain,
    /// A colour outside, the inside white.
    OutsideOnly,
    /// One colour outside and inside, as of a dipped piece.
    InsideAndOut,
    /// One colour outside, another inside.
    TwoTone,
    /// Coloured below, white above.
    HalfDipped,
    /// A band goes round it.
    Band,
    /// A line goes round it.
    Line,
}

impl Treatment {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::OutsideOnly => "coloured outside only",
            Self::InsideAndOut => "coloured inside and out",
            Self::TwoTone => "two-tone, another colour inside",
            Self::HalfDipped => "coloured below, white above",
            Self::Band => "white with a band",
            Self::Line => "white with a line",
        }
    }
}

/// How colour sits on a piece, as far as its photos tell.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct TreatmentReading {
    /// How settled it is; never firm.
    pub certainty: Certainty,
    /// What it may be: one where likely, several where open, none where unknown.
    pub candidates: Vec<Treatment>,
    /// What it was read from.
    pub basis: String,
    /// Whether the inside was seen.
    pub sees_inside: bool,
}
