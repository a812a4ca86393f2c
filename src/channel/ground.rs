//! The ground colour with its doubt: what glazes are told apart by, two at a
//! time ([`crate::colour::difference`]). By itself it is ranked by only where
//! that is asked for, and then as plain L*a*b*.

use super::{Channel, Metric, Subject, Vector};
use crate::colour::Ground;

/// The ground channel.
pub(super) const CHANNEL: Channel = Channel {
    name: "ground",
    version: 3,
    dim: Ground::DIM,
    metric: Metric::L2,
    unrelated: 40.0,
    ranked: false,
    describe,
    about: "the ground colour and its doubt, by which two glazes are told apart",
};

fn describe(subject: &Subject<'_>) -> Option<Vector> {
    Vector::new(subject.colours.ground.as_ref()?.to_numbers()).ok()
}
