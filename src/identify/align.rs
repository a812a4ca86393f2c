//! The second look at outlines: what lies nearest by the outline's vector is
//! aligned with the query point by point, and ranked by both.

use std::collections::HashMap;

use rayon::prelude::*;

use crate::{
    cabinet::Snapshot,
    channel::{REGISTRY, position},
    describe::Described,
    outline::{Aligner, Contour},
};

/// Views that are aligned with one view of the query.
const SHORT_LIST: usize = 200;

/// How much the vector's distance still counts beside the alignment's.
const VECTOR: f64 = 0.35;

/// How much it counts how the piece stands: much in a photo; a silhouette or a
/// drawing may lie any way.
const STANDING: f32 = 1.0;
const LYING: f32 = 0.05;

/// Outline distances after the second look, in the usual unit.
pub(super) struct Aligned {
    by_view: HashMap<u32, f64>,
    /// The greatest of them. What is not on the short list comes after it.
    beyond: f64,
}

impl Aligned {
    /// Takes the short list of `views` and aligns it. `None` where the query has
    /// no outline.
    pub(super) fn new(described: &Described, snapshot: &Snapshot, views: &[u32]) -> Option<Self> {
        let (outline, contour) = (position("outline")?, position("contour")?);
        let vector = described.features.get(outline)?.as_ref()?.as_slice();
        let own = Contour::from_slice(described.features.get(contour)?.as_ref()?.as_slice())?;
        let spec = &REGISTRY[outline];
        let measure = |view: &u32| {
            let stored = snapshot.vector(outline, *view)?;
            let distance = spec.metric.distance(vector, stored) / spec.unrelated;
            Some((*view, f64::from(distance)))
        };
        let mut near: Vec<(u32, f64)> = if views.len() > 2_000 {
            views.par_iter().filter_map(measure).collect()
        } else {
            views.iter().filter_map(measure).collect()
        };
        let order = |a: &(u32, f64), b: &(u32, f64)| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0));
        if near.len() > SHORT_LIST {
            near.select_nth_unstable_by(SHORT_LIST, order);
            near.truncate(SHORT_LIST);
        }
        let standing = if described.cutout.origin.shows_surface() {
            STANDING
        } else {
            LYING
        };
        let mut aligner = Aligner::new(&own, standing);
        let by_view: HashMap<u32, f64> = near
            .into_iter()
            .filter_map(|(view, by_vector)| {
                let other = Contour::from_slice(snapshot.vector(contour, view)?)?;
                let by_alignment = f64::from(aligner.distance(&other));
                Some((view, (by_alignment + VECTOR * by_vector) / (1.0 + VECTOR)))
            })
            .collect();
        let beyond = by_view.values().copied().fold(0.0, f64::max);
        Some(Self { by_view, beyond })
    }

    /// The outline's distance to a view, given that by the vector.
    pub(super) fn distance(&self, view: u32, by_vector: f64) -> f64 {
        self.by_view
            .get(&view)
            .copied()
            .unwrap_or_else(|| by_vector.max(self.beyond))
    }
}
