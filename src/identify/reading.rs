//! The answer for one photo, in the form of the schema `footring.reading/1`
//! (documented in the README). Field names and order here *are* the schema.

mod decoration;
mod surface;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::warning::Warning;
pub use decoration::{BorderReading, DecorationReading, Location, MotifMatch, Side, Technique};
pub use surface::{SurfaceReading, Treatment, TreatmentReading};

pub use crate::{
    colour::{Difference, Ground, Reference, Swatch},
    outline::pose::View,
    surface::{Face, Patch, Seen, Tone, Zone},
};

/// Name and version of the schema.
pub const SCHEMA: &str = "footring.reading/1";

/// The answer for one photo (or for several views of one piece).
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Reading {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// The photo as given on the command line; several views are joined by `, `.
    pub photo: String,
    /// Whether the photo could be read.
    pub status: Status,
    /// Why not, when it could not.
    pub error: Option<Failure>,
    /// What to take with care.
    pub warnings: Vec<Warning>,
    /// One entry for each piece read.
    pub pieces: Vec<PieceReading>,
    /// Each photo by itself, where several were read as views of one piece.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub views: Vec<String>,
}

/// Whether a photo could be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// It was read.
    Ok,
    /// It was not; see the error.
    Failed,
}

/// An error as a row of the result.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Failure {
    /// The code of [`crate::error::Kind`].
    pub kind: String,
    /// What was expected, what was found, what mends it.
    pub message: String,
}

impl From<&crate::error::Error> for Failure {
    fn from(e: &crate::error::Error) -> Self {
        Self {
            kind: e.kind().code().to_owned(),
            message: e.to_string(),
        }
    }
}

/// What one piece seen in a photo resembles.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PieceReading {
    /// Left, top, width, height of the piece in the upright photo, pixels.
    pub box_px: [u32; 4],
    /// Area of its mask in the upright photo, pixels squared.
    pub mask_area_px2: f64,
    /// How the piece was seen.
    pub view: View,
    /// Whether the outlines were ordered anew by the cabinet's own neighbourhood
    /// graph: rankings then rest on more than what lies between two outlines.
    #[serde(default)]
    pub reordered_by_graph: bool,
    /// Candidates by level, best first.
    pub levels: Levels<Vec<Candidate>>,
    /// How settled each level is.
    pub certainty: Levels<Certainty>,
    /// The levels taken together by what the set knows of its labels.
    #[serde(default)]
    pub joined: Joined,
    /// Labels that may be taken for each other, on levels that are not firm.
    #[serde(default)]
    pub look_alikes: Vec<LookAlike>,
    /// What stands behind the word on each level.
    #[serde(default)]
    pub settled: Levels<Settled>,
    /// Its colours; null where the photo shows none.
    #[serde(default)]
    pub colour: Option<ColourReading>,
    /// Its surface, zone by zone; null where the photos do not tell the zones.
    #[serde(default)]
    pub surface: Option<SurfaceReading>,
    /// How colour sits on it.
    #[serde(default)]
    pub treatment: TreatmentReading,
    /// Its decoration, in the five parts of the trade.
    #[serde(default)]
    pub decoration: DecorationReading,
    /// The nearest pieces of the cabinet, nearest first.
    pub matches: Vec<Match>,
    /// What would make the answer surer.
    pub advice: Vec<String>,
    /// What the answer must not be used for.
    pub cautions: Vec<String>,
}

/// The labels that stand out, taken together.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Joined {
    /// Whether the set knows shape, pattern and glaze on one piece.
    pub combination: Combination,
    /// The labels that were taken together: firm or likely ones.
    pub labels: Vec<Named>,
    /// Firm labels that the set has on no piece together.
    pub new_pairs: Vec<NewPair>,
    /// That the moulding is not that of any shape on which the set knows the pattern.
    #[serde(default)]
    pub perhaps_new: Option<PerhapsNew>,
    /// Years that fit shape and pattern; null where the set states none, or none
    /// fit.
    pub years: Option<Range>,
    /// That no year fits both, and what the set states.
    pub years_conflict: Option<String>,
    /// Makers that the set states for shape and pattern.
    pub maker: Option<Shared>,
    /// Marks that the set states for shape and pattern.
    pub mark: Option<Shared>,
    /// What else is to be known.
    pub notes: Vec<String>,
}

/// Whether labels are known together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Combination {
    /// Shape and pattern are firm, and the set has them on one piece.
    Known,
    /// Two labels are firm, the set has at least two pieces of each, and none of
    /// both.
    New,
    /// The pattern is firm, and the moulding resembles another shape far more than
    /// those on which the set knows it.
    PerhapsNew,
    /// Neither can be said.
    #[default]
    Open,
}

/// A label with its level.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Named {
    /// The level.
    pub level: String,
    /// The set's own label.
    pub label: String,
}

/// Two labels that the set has on no piece together.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewPair {
    /// The labels.
    pub labels: [Named; 2],
    /// How many pieces of the set bear each.
    pub pieces: [usize; 2],
}

/// A pattern on what seems to be another shape than the set knows it on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PerhapsNew {
    /// The pattern.
    pub pattern: String,
    /// The shape that the moulding resembles most.
    pub shape: String,
    /// The nearest shape on which the set knows the pattern.
    pub known_on: String,
    /// How many times as far that is.
    pub times_as_far: f64,
}

/// Years, and what they rest on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Range {
    /// The first; null where it is not known.
    pub from: Option<i32>,
    /// The last; null where it is not known.
    pub to: Option<i32>,
    /// What the set states for each label.
    pub basis: Vec<Basis>,
}

/// Years that pieces of a label may have been made in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Basis {
    /// The level.
    pub level: String,
    /// The label.
    pub label: String,
    /// The earliest that a piece of it states.
    pub from: Option<i32>,
    /// The latest.
    pub to: Option<i32>,
    /// How many pieces state any.
    pub pieces: usize,
}

/// Values that several labels share, and which labels those are.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shared {
    /// The values, by name.
    pub values: Vec<String>,
    /// The labels that the set states them for.
    pub basis: Vec<Named>,
}

/// Two labels of one level that may be taken for each other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LookAlike {
    /// The level.
    pub level: String,
    /// The nearer label first.
    pub labels: [String; 2],
    /// The piece of each label that is nearest on this level; empty where there
    /// is none.
    pub pieces: [String; 2],
    /// The photo of each piece that is nearest.
    pub photos: [String; 2],
    /// The ranks of those pieces among all; `matches` holds the first of them.
    pub ranks: [Option<usize>; 2],
    /// The channels that speak on this level, what parts the two most first.
    pub channels: Vec<ChannelApart>,
    /// How the curator tells them apart.
    pub note: Option<Remark>,
}

/// How one channel sees two pieces.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChannelApart {
    /// Its name.
    pub channel: String,
    /// Distance of the photo to each piece; 1 is the usual distance between
    /// unrelated pieces.
    pub distances: [f64; 2],
    /// Distance of the two pieces to each other, in the same unit.
    pub apart: Option<f64>,
}

/// What a curator noted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remark {
    /// The note.
    pub text: String,
    /// Who wrote it.
    pub who: String,
    /// When, UTC.
    pub at: String,
}

/// The colours of a piece, the light taken out as far as the photo allows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ColourReading {
    /// What the white balance rests on.
    pub balance: Reference,
    /// The colour that lies under everything else.
    pub ground: Ground,
    /// The other colours, largest first.
    pub decoration: Vec<NamedSwatch>,
}

/// A colour of the decoration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NamedSwatch {
    /// The colour and its share of the surface.
    #[serde(flatten)]
    pub swatch: Swatch,
    /// In plain words, with the notation of Munsell.
    pub name: String,
}

/// One value for each level of identity.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Levels<T> {
    /// Piece type: teacup, saucer, teapot.
    pub form: T,
    /// The moulded family.
    pub shape: T,
    /// The decoration.
    pub pattern: T,
    /// Ground colour or glaze.
    pub glaze: T,
}

/// A level of identity.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Piece type.
    Form,
    /// Moulded family.
    Shape,
    /// Decoration.
    Pattern,
    /// Ground colour or glaze.
    Glaze,
}

impl Level {
    /// All of them, in the order in which they are read.
    pub const ALL: [Self; 4] = [Self::Form, Self::Shape, Self::Pattern, Self::Glaze];

    /// Its name, which is the name of its column in a labels file.
    pub fn name(self) -> &'static str {
        match self {
            Self::Form => "form",
            Self::Shape => "shape",
            Self::Pattern => "pattern",
            Self::Glaze => "glaze",
        }
    }

    /// The level with a name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|level| level.name() == name)
    }
}

impl<T> Levels<T> {
    /// A value for each level.
    pub fn each(mut value: impl FnMut(Level) -> T) -> Self {
        Self {
            form: value(Level::Form),
            shape: value(Level::Shape),
            pattern: value(Level::Pattern),
            glaze: value(Level::Glaze),
        }
    }

    /// Each level's name with its value, in the order of the schema.
    pub fn by_name(&self) -> [(&'static str, &T); 4] {
        Level::ALL.map(|level| (level.name(), self.get(level)))
    }

    /// The value of a level.
    pub fn get(&self, level: Level) -> &T {
        match level {
            Level::Form => &self.form,
            Level::Shape => &self.shape,
            Level::Pattern => &self.pattern,
            Level::Glaze => &self.glaze,
        }
    }

    /// The value of a level, to be changed.
    pub fn get_mut(&mut self, level: Level) -> &mut T {
        match level {
            Level::Form => &mut self.form,
            Level::Shape => &mut self.shape,
            Level::Pattern => &mut self.pattern,
            Level::Glaze => &mut self.glaze,
        }
    }
}

/// A label that may be the answer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Candidate {
    /// The cabinet's own label.
    pub label: String,
    /// Distance of its nearest piece by the channels that speak on this level;
    /// 1 is the usual distance between unrelated pieces.
    pub distance: f64,
    /// Pieces of the set that bear it, of those that were compared.
    pub pieces: usize,
    /// Share of the evidence, 0 to 1, what is not in the set included.
    pub probability: f64,
    /// Ranks (in `matches`) of the pieces behind it.
    pub matches: Vec<usize>,
}

/// How settled a level is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Certainty {
    /// One label, near and clear of the next.
    Firm,
    /// One label stands out.
    Likely,
    /// Open between several.
    Several,
    /// Nothing of the set stands out: it is not in the set, or the photos do not
    /// tell.
    #[default]
    Unknown,
}

/// What stands behind a level's certainty.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Settled {
    /// How many candidates, from the first, hold the right one in 95 of 100 cases
    /// in which the level is open and the piece is in the set; 0 where no list of
    /// at most seven would.
    pub short_list: usize,
    /// Share of the evidence for a label that is not in the set, 0 to 1.
    pub unknown: f64,
    /// Trials with the cabinet's own photos on which this rests; 0 where it rests
    /// on what the program brings along.
    pub trials: usize,
    /// Whether the label was told by the user, and not read from photos.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub told: bool,
}

/// A piece of the cabinet that resembles the one photographed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Match {
    /// 1 is the nearest.
    pub rank: usize,
    /// Its name in the cabinet.
    pub piece: String,
    /// The photo of it that is nearest.
    pub photo: String,
    /// Combined distance; 1 is the usual distance between unrelated pieces.
    pub distance: f64,
    /// Distance by channel name, in the same unit; absent channels are left out.
    pub channels: BTreeMap<String, f64>,
    /// The distance by which it was ranked in place of the outline's, where the
    /// neighbourhood graph ordered the outlines anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outline_by_graph: Option<f64>,
    /// How far its ground colour is from that of the piece photographed; null
    /// where either is not known.
    #[serde(default)]
    pub ground: Option<Difference>,
    /// Its labels by column name.
    pub labels: BTreeMap<String, String>,
}
