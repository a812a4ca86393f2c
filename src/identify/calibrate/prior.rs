//! What certainty rests on before a cabinet has taught any: learnt in the
//! studio's world.

use super::logit::{Matrix, Vector};
use crate::identify::reading::Level;

/// What one level is judged by at first.
#[derive(Clone, Copy, Debug)]
pub(super) struct Prior {
    /// As [`super::Judge::logit`].
    pub(super) logit: Vector,
    /// How much one trial tells of it: the mean Fisher information.
    pub(super) information: Matrix,
    /// As in [`super::Judge`].
    pub(super) firm_from: f64,
    /// As in [`super::Judge`].
    pub(super) likely_from: f64,
    /// As in [`super::Judge`].
    pub(super) list_share: Option<f64>,
    /// How often at least a piece is taken to be not in the set: seldom on the
    /// level of piece types, of which there are few (an assumption).
    pub(super) unknown_at_least: f64,
}

pub(super) fn of(level: Level) -> &'static Prior {
    match level {
        Level::Form => &FORM,
        Level::Shape => &SHAPE,
        Level::Pattern => &PATTERN,
        Level::Glaze => &GLAZE,
    }
}

// Logit and information: world 88003 of the studio (60 shapes, 40 decorations, 8
// glazes, three photos a piece), two cabinets of 100 pieces and two of 300, without
// a seventh of shapes and decorations. Each diagonal of the information is raised
// by 0.01, so that no direction is left quite free. Limits are cautious: they are
// for sets that are too small to teach better ones. In six cabinets of 30 pieces an
// answer from them on was right in 0.94 (form: no limit reached more), 0.99 (shape)
// and 0.99 (pattern) of 600 questions to each.
const FORM: Prior = Prior {
    logit: [8.06, 4.69, -3.54],
    information: [
        [0.0311, -0.0194, -0.0044],
        [-0.0194, 0.0448, 0.0075],
        [-0.0044, 0.0075, 0.0118],
    ],
    firm_from: 0.995,
    likely_from: 0.85,
    list_share: Some(0.98),
    unknown_at_least: 0.05,
};

const SHAPE: Prior = Prior {
    logit: [7.88, 2.24, 6.96],
    information: [
        [0.0871, -0.0858, -0.0495],
        [-0.0858, 0.1475, 0.0736],
        [-0.0495, 0.0736, 0.0525],
    ],
    firm_from: 0.98,
    likely_from: 0.85,
    // In that world no short list held the right shape often enough.
    list_share: None,
    unknown_at_least: 0.15,
};

const PATTERN: Prior = Prior {
    logit: [11.37, 6.32, 2.44],
    information: [
        [0.0356, -0.0358, -0.0117],
        [-0.0358, 0.0724, 0.0197],
        [-0.0117, 0.0197, 0.0167],
    ],
    firm_from: 0.97,
    likely_from: 0.85,
    list_share: Some(0.98),
    unknown_at_least: 0.15,
};

// Eight glazes far apart taught it; a set of close ones soon teaches otherwise.
const GLAZE: Prior = Prior {
    logit: [11.34, 6.12, 4.57],
    information: [
        [0.0169, -0.0110, -0.0002],
        [-0.0110, 0.0323, -0.0002],
        [-0.0002, -0.0002, 0.0104],
    ],
    firm_from: 0.97,
    likely_from: 0.85,
    list_share: Some(0.98),
    unknown_at_least: 0.15,
};
