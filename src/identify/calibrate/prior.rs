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
// for sets that are too small to teach better ones.
const FORM: Prior = Prior {
    logit: [8.21, 3.10, 3.76],
    information: [
        [0.0327, -0.0219, -0.0064],
        [-0.0219, 0.0478, 0.0099],
        [-0.0064, 0.0099, 0.0133],
    ],
    firm_from: 0.97,
    likely_from: 0.85,
    list_share: Some(0.98),
    unknown_at_least: 0.05,
};

const SHAPE: Prior = Prior {
    logit: [5.86, 2.17, 5.08],
    information: [
        [0.1727, -0.1351, -0.1163],
        [-0.1351, 0.1671, 0.1223],
        [-0.1163, 0.1223, 0.1156],
    ],
    firm_from: 0.97,
    likely_from: 0.85,
    // In that world no short list held the right shape often enough.
    list_share: None,
    unknown_at_least: 0.15,
};

const PATTERN: Prior = Prior {
    logit: [11.96, 6.29, 3.65],
    information: [
        [0.0365, -0.0371, -0.0128],
        [-0.0371, 0.0731, 0.0210],
        [-0.0128, 0.0210, 0.0175],
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
