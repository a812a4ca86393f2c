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
// for sets that are too small to teach better ones, and were chosen by the present
// network's answers in the same world, of six cabinets of 30 pieces and two of 100, 600
// questions to each: from them on right were 0.98 and 1.00 (shape), 0.98 and 0.99
// (pattern).

// What piece types are judged by is of another world, 99003, whose answers told the
// view: six cabinets of 30 pieces, one of 60 and one of 100. In those of 30 right were 276 of
// 281 (firm, which from above or at an angle is none) and 1,276 of 1,484 (likely).
const FORM: Prior = Prior {
    logit: [8.74, 2.79, -5.53],
    information: [
        [0.0236, -0.0155, -0.0016],
        [-0.0155, 0.0577, 0.0042],
        [-0.0016, 0.0042, 0.0106],
    ],
    firm_from: 0.99,
    likely_from: 0.75,
    list_share: Some(0.95),
    unknown_at_least: 0.03,
};

const SHAPE: Prior = Prior {
    logit: [6.31, 2.59, 5.18],
    information: [
        [0.1036, -0.0811, -0.0484],
        [-0.0811, 0.1245, 0.0637],
        [-0.0484, 0.0637, 0.0481],
    ],
    firm_from: 0.985,
    likely_from: 0.85,
    // In that world no short list held the right shape often enough.
    list_share: None,
    unknown_at_least: 0.15,
};

const PATTERN: Prior = Prior {
    logit: [13.06, 8.45, 0.55],
    information: [
        [0.0349, -0.0342, -0.0119],
        [-0.0342, 0.0630, 0.0183],
        [-0.0119, 0.0183, 0.0167],
    ],
    firm_from: 0.95,
    likely_from: 0.8,
    list_share: Some(0.98),
    unknown_at_least: 0.15,
};

// Eight glazes far apart taught it; a set of close ones soon teaches otherwise.
const GLAZE: Prior = Prior {
    logit: [14.24, 7.86, 6.49],
    information: [
        [0.0162, -0.0103, -0.0006],
        [-0.0103, 0.0290, 0.0006],
        [-0.0006, 0.0006, 0.0105],
    ],
    firm_from: 0.97,
    likely_from: 0.85,
    list_share: Some(0.98),
    unknown_at_least: 0.15,
};
