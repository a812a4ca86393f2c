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
    pub(super) list_share: f64,
}

pub(super) fn of(level: Level) -> &'static Prior {
    match level {
        Level::Form => &FORM,
        Level::Shape => &SHAPE,
        Level::Pattern => &PATTERN,
        Level::Glaze => &GLAZE,
    }
}

// World 88003 of the studio (60 shapes, 40 decorations, 8 glazes, three photos a
// piece): two cabinets of 100 pieces and two of 300, without a seventh of shapes
// and decorations. Each diagonal of the information is raised by 0.01, so that no
// direction is left quite free.
const FORM: Prior = Prior {
    logit: [7.38, 4.25, 3.41],
    information: [
        [0.0681, -0.0640, -0.0199],
        [-0.0640, 0.1086, 0.0277],
        [-0.0199, 0.0277, 0.0195],
    ],
    firm_from: 0.97,
    likely_from: 0.65,
    list_share: 0.91,
};

const SHAPE: Prior = Prior {
    logit: [5.91, 2.38, 5.23],
    information: [
        [0.1947, -0.1531, -0.1332],
        [-0.1531, 0.1825, 0.1358],
        [-0.1332, 0.1358, 0.1286],
    ],
    firm_from: 0.92,
    likely_from: 0.65,
    list_share: 0.99,
};

const PATTERN: Prior = Prior {
    logit: [11.76, 6.70, 3.20],
    information: [
        [0.0420, -0.0442, -0.0154],
        [-0.0442, 0.0828, 0.0245],
        [-0.0154, 0.0245, 0.0188],
    ],
    firm_from: 0.90,
    likely_from: 0.65,
    list_share: 0.99,
};

// Seven glazes far apart taught it; a set of close ones soon teaches otherwise.
const GLAZE: Prior = Prior {
    logit: [11.45, 6.52, 4.72],
    information: [
        [0.0181, -0.0128, -0.0002],
        [-0.0128, 0.0347, -0.0001],
        [-0.0002, -0.0001, 0.0105],
    ],
    firm_from: 0.97,
    likely_from: 0.65,
    list_share: 0.99,
};
