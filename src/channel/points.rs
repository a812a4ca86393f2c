//! Points of the decoration: whether two pieces bear one motif is seen by how many of
//! them look alike and lie alike. By itself it is ranked by only where that is asked for.

use super::{Channel, Metric, Subject, Vector, crop::squared};
use crate::points::{DIM, Points, SIDE_PX};

/// The points channel.
pub(super) const CHANNEL: Channel = Channel {
    name: "points",
    version: 1,
    dim: DIM,
    metric: Metric::Points,
    unrelated: 1.0,
    ranked: false,
    describe,
    about: "points of the decoration, by whose places the nearest of a short list are checked",
};

fn describe(subject: &Subject<'_>) -> Option<Vector> {
    if !subject.cutout.origin.shows_surface() {
        return None;
    }
    let crop = squared(subject.cutout, subject.outline, SIDE_PX);
    let points = Points::find(&crop.picture, &crop.cover, subject.has_colour);
    Vector::new(points.to_numbers()).ok()
}
