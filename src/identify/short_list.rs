//! A second look at what lies nearest by one vector, too dear to be given to all.

use std::{cmp::Ordering, collections::HashMap};

use rayon::prelude::*;

use super::compare::Probe;
use crate::{
    cabinet::Snapshot,
    channel::{REGISTRY, position},
};

/// Views that are looked at again for one view of the query.
const LENGTH: usize = 200;

/// A view and the distance to it.
pub(super) type Link = (u32, f64);

/// Nearer first; of those equally near the one that was added first.
pub(super) fn nearer(a: &Link, b: &Link) -> Ordering {
    a.1.total_cmp(&b.1).then(a.0.cmp(&b.0))
}

/// The distance of a view by the stored vectors of one channel, in the usual unit.
pub(super) fn by_vector(
    probe: &Probe<'_>,
    channel: &str,
    snapshot: &Snapshot,
    view: u32,
) -> Option<f64> {
    let at = position(channel)?;
    let spec = &REGISTRY[at];
    let stored = snapshot.vector(at, view)?;
    Some(f64::from(
        spec.metric.distance(probe.vector(channel)?, stored) / spec.unrelated,
    ))
}

/// The views nearest by `measure`, in no order; those it cannot measure are left
/// out.
pub(super) fn short_list(
    views: &[u32],
    measure: &(dyn Fn(u32) -> Option<f64> + Sync),
) -> Vec<Link> {
    let measure = |view: &u32| Some((*view, measure(*view)?));
    let mut near: Vec<Link> = if views.len() > 2_000 {
        views.par_iter().filter_map(measure).collect()
    } else {
        views.iter().filter_map(measure).collect()
    };
    if near.len() > LENGTH {
        near.select_nth_unstable_by(LENGTH, nearer);
        near.truncate(LENGTH);
    }
    near
}

/// The distances that the second look gave.
pub(super) struct Looked {
    by_view: HashMap<u32, f64>,
    /// The greatest of them. What is not on the short list comes after it.
    beyond: f64,
}

impl Looked {
    pub(super) fn new(links: impl IntoIterator<Item = Link>) -> Self {
        let by_view: HashMap<u32, f64> = links.into_iter().collect();
        let beyond = by_view.values().copied().fold(0.0, f64::max);
        Self { by_view, beyond }
    }

    /// What was measured, in no order.
    pub(super) fn links(&self) -> impl Iterator<Item = Link> + '_ {
        self.by_view.iter().map(|(view, d)| (*view, *d))
    }

    /// The distance to a view, given that by the vector.
    pub(super) fn distance(&self, view: u32, by_vector: f64) -> f64 {
        self.by_view
            .get(&view)
            .copied()
            .unwrap_or_else(|| by_vector.max(self.beyond))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_on_the_list_comes_after_it() {
        let looked = Looked::new([(3, 0.9), (1, 0.2)]);
        assert_eq!(looked.distance(1, 0.5), 0.2);
        assert_eq!(looked.distance(7, 0.5), 0.9);
        assert_eq!(looked.distance(7, 1.1), 1.1);
    }

    #[test]
    fn the_nearest_are_on_the_list_and_what_has_no_vector_is_not() {
        let views: Vec<u32> = (0..1000).collect();
        let far = |view: u32| view.is_multiple_of(2).then(|| f64::from(view));
        let mut found: Vec<u32> = short_list(&views, &far).iter().map(|l| l.0).collect();
        found.sort_unstable();
        let wanted: Vec<u32> = (0..200).map(|i| 2 * i).collect();
        assert_eq!(found, wanted);
    }
}
