//! The second look at outlines: what lies nearest by the outline's vector is
//! aligned with the query point by point, and ranked by both.

use super::{
    compare::Probe,
    graph::{self, Neighbours},
    short_list::{Link, Looked, by_vector, short_list},
};
use crate::{
    cabinet::Snapshot,
    channel::position,
    outline::{Aligner, Contour},
};

/// How much the vector's distance still counts beside the alignment's.
const VECTOR: f64 = 0.35;

/// How much it counts how the piece stands: much in a photo; a silhouette or a
/// drawing may lie any way.
const STANDING: f32 = 1.0;
const LYING: f32 = 0.05;

/// What the outline of one piece is compared by.
pub(super) struct Outlines<'a> {
    probe: &'a Probe<'a>,
    vector: &'a [f32],
    contour: Contour,
    standing: f32,
}

impl<'a> Outlines<'a> {
    /// Of a view; `None` where it has no outline.
    pub(super) fn of(probe: &'a Probe<'a>) -> Option<Self> {
        Some(Self {
            probe,
            vector: probe.vector("outline")?,
            contour: Contour::from_slice(probe.vector("contour")?)?,
            standing: if probe.shows_surface { STANDING } else { LYING },
        })
    }

    fn by_vector(&self, snapshot: &Snapshot, view: u32) -> Option<f64> {
        by_vector(self.probe, "outline", snapshot, view)
    }

    /// The views nearest by the vector alone, in no order.
    fn short_list(&self, snapshot: &Snapshot, views: &[u32]) -> Vec<u32> {
        let near = short_list(views, &|view| self.by_vector(snapshot, view));
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
    measured: Looked,
    /// Those by which views are ranked, where the neighbourhood graph ordered
    /// them anew.
    by_graph: Option<Looked>,
}

impl Aligned {
    /// Takes the short list of `views` and aligns it. `None` where the query has
    /// no outline.
    pub(super) fn new(probe: &Probe<'_>, snapshot: &Snapshot, views: &[u32]) -> Option<Self> {
        let query = Outlines::of(probe)?;
        let near = query.short_list(snapshot, views);
        Some(Self {
            measured: Looked::new(query.distances(snapshot, &near)),
            by_graph: None,
        })
    }

    /// Orders the short list, and what the graph reaches beyond it, by the
    /// neighbourhood graph. The distances stay those that were measured: they
    /// are handed out again in the new order, so that their unit keeps its
    /// meaning. Views of the query's own file (`is_own`) keep theirs.
    pub(super) fn reordered(
        self,
        probe: &Probe<'_>,
        snapshot: &Snapshot,
        neighbours: &Neighbours,
        is_own: &(dyn Fn(u32) -> bool + Sync),
    ) -> Self {
        let Some(query) = Outlines::of(probe) else {
            return self;
        };
        let others = self.measured.links().filter(|link| !is_own(link.0));
        let order = graph::order(
            neighbours,
            snapshot,
            others.collect(),
            &|view| !is_own(view),
            |views| query.distances(snapshot, views),
        );
        let measured = || self.measured.links().chain(order.iter().copied());
        let mut distances: Vec<f64> = order.iter().map(|link| link.1).collect();
        distances.sort_by(f64::total_cmp);
        let again = order.iter().map(|link| link.0).zip(distances);
        Self {
            by_graph: Some(Looked::new(measured().chain(again))),
            measured: Looked::new(measured()),
        }
    }

    /// The outline's distance to a view, given that by the vector.
    pub(super) fn distance(&self, view: u32, by_vector: f64) -> f64 {
        self.measured.distance(view, by_vector)
    }

    /// The distance by which it is ranked instead, where the neighbourhood graph
    /// was asked.
    pub(super) fn by_graph(&self, view: u32, by_vector: f64) -> Option<f64> {
        Some(self.by_graph.as_ref()?.distance(view, by_vector))
    }
}
