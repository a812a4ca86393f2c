//! The second look at outlines: what lies nearest by the outline's vector is
//! aligned with the query point by point, and ranked by both.

use std::{cmp::Ordering, collections::HashMap};

use rayon::prelude::*;

use super::{
    compare::Probe,
    graph::{self, Link, Neighbours},
};
use crate::{
    cabinet::Snapshot,
    channel::{REGISTRY, position},
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

/// Nearer first; of those equally near the one that was added first.
pub(super) fn nearer(a: &Link, b: &Link) -> Ordering {
    a.1.total_cmp(&b.1).then(a.0.cmp(&b.0))
}

/// What the outline of one piece is compared by.
pub(super) struct Outlines<'a> {
    vector: &'a [f32],
    contour: Contour,
    standing: f32,
}

impl<'a> Outlines<'a> {
    /// Of a view; `None` where it has no outline.
    pub(super) fn of(probe: &Probe<'a>) -> Option<Self> {
        Some(Self {
            vector: probe.vector("outline")?,
            contour: Contour::from_slice(probe.vector("contour")?)?,
            standing: if probe.shows_surface { STANDING } else { LYING },
        })
    }

    fn by_vector(&self, snapshot: &Snapshot, view: u32) -> Option<f64> {
        let outline = position("outline")?;
        let spec = &REGISTRY[outline];
        let stored = snapshot.vector(outline, view)?;
        Some(f64::from(
            spec.metric.distance(self.vector, stored) / spec.unrelated,
        ))
    }

    /// The views nearest by the vector alone, in no order.
    fn short_list(&self, snapshot: &Snapshot, views: &[u32]) -> Vec<u32> {
        let measure = |view: &u32| Some((*view, self.by_vector(snapshot, *view)?));
        let mut near: Vec<Link> = if views.len() > 2_000 {
            views.par_iter().filter_map(measure).collect()
        } else {
            views.iter().filter_map(measure).collect()
        };
        if near.len() > SHORT_LIST {
            near.select_nth_unstable_by(SHORT_LIST, nearer);
            near.truncate(SHORT_LIST);
        }
        near.into_iter().map(|link| link.0).collect()
    }

    /// The `k` views of the whole snapshot nearest by the vector.
    pub(super) fn nearest(&self, snapshot: &Snapshot, k: usize) -> Vec<u32> {
        let Some(outline) = position("outline") else {
            return Vec::new();
        };
        snapshot
            .nearest(outline, self.vector, k, &|_| true)
            .map(|found| found.into_iter().map(|f| f.view).collect())
            .unwrap_or_default()
    }

    /// Distances by alignment and vector together, in the usual unit; views
    /// without an outline are left out.
    pub(super) fn distances(&self, snapshot: &Snapshot, views: &[u32]) -> Vec<Link> {
        let Some(contour) = position("contour") else {
            return Vec::new();
        };
        let mut aligner = Aligner::new(&self.contour, self.standing);
        views
            .iter()
            .filter_map(|view| {
                let by_vector = self.by_vector(snapshot, *view)?;
                let other = Contour::from_slice(snapshot.vector(contour, *view)?)?;
                let by_alignment = f64::from(aligner.distance(&other));
                Some((*view, (by_alignment + VECTOR * by_vector) / (1.0 + VECTOR)))
            })
            .collect()
    }
}

/// Outline distances after the second look, in the usual unit.
pub(super) struct Aligned {
    by_view: HashMap<u32, f64>,
    /// Those by which views are ranked, where the neighbourhood graph ordered
    /// them anew.
    by_graph: Option<HashMap<u32, f64>>,
    /// The greatest of them. What is not on the short list comes after it.
    beyond: f64,
}

impl Aligned {
    /// Takes the short list of `views` and aligns it. `None` where the query has
    /// no outline.
    pub(super) fn new(probe: &Probe<'_>, snapshot: &Snapshot, views: &[u32]) -> Option<Self> {
        let query = Outlines::of(probe)?;
        let near = query.short_list(snapshot, views);
        let by_view: HashMap<u32, f64> = query.distances(snapshot, &near).into_iter().collect();
        let beyond = by_view.values().copied().fold(0.0, f64::max);
        Some(Self {
            by_view,
            by_graph: None,
            beyond,
        })
    }

    /// Orders the short list, and what the graph reaches beyond it, by the
    /// neighbourhood graph. The distances stay those that were measured: they
    /// are handed out again in the new order, so that their unit keeps its
    /// meaning. Views of the query's own file (`is_own`) keep theirs.
    pub(super) fn reordered(
        mut self,
        probe: &Probe<'_>,
        snapshot: &Snapshot,
        neighbours: &Neighbours,
        is_own: &(dyn Fn(u32) -> bool + Sync),
    ) -> Self {
        let Some(query) = Outlines::of(probe) else {
            return self;
        };
        let others = self.by_view.iter().filter(|(view, _)| !is_own(**view));
        let measured = others.map(|(view, d)| (*view, *d)).collect();
        let order = graph::order(
            neighbours,
            snapshot,
            measured,
            &|view| !is_own(view),
            |views| query.distances(snapshot, views),
        );
        self.by_view.extend(order.iter().copied());
        self.beyond = self.by_view.values().copied().fold(0.0, f64::max);
        let mut distances: Vec<f64> = order.iter().map(|link| link.1).collect();
        distances.sort_by(f64::total_cmp);
        let mut by_graph = self.by_view.clone();
        by_graph.extend(order.iter().map(|link| link.0).zip(distances));
        self.by_graph = Some(by_graph);
        self
    }

    /// The outline's distance to a view, given that by the vector.
    pub(super) fn distance(&self, view: u32, by_vector: f64) -> f64 {
        self.of(&self.by_view, view, by_vector)
    }

    /// The distance by which it is ranked instead, where the neighbourhood graph
    /// was asked.
    pub(super) fn by_graph(&self, view: u32, by_vector: f64) -> Option<f64> {
        Some(self.of(self.by_graph.as_ref()?, view, by_vector))
    }

    fn of(&self, known: &HashMap<u32, f64>, view: u32, by_vector: f64) -> f64 {
        known
            .get(&view)
            .copied()
            .unwrap_or_else(|| by_vector.max(self.beyond))
    }
}
