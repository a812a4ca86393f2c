//! The contour itself, as evenly spaced points the way the piece stands: what
//! the outlines of a short list are aligned by. By itself it is ranked by only
//! where that is asked for.

use super::{Channel, Metric, Subject, Vector};
use crate::outline::{CONTOUR_DIM, Contour};

/// The contour channel.
pub(super) const CHANNEL: Channel = Channel {
    name: "contour",
    version: 4,
    dim: CONTOUR_DIM,
    metric: Metric::L1,
    unrelated: 40.0,
    ranked: false,
    describe,
    about: "the outline as points, by which short lists are aligned",
};

fn describe(subject: &Subject<'_>) -> Option<Vector> {
    Vector::new(Contour::new(subject.outline)?.as_slice()).ok()
}
