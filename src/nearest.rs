//! Nearest vectors of one channel: an exact scan and a graph behind one trait.
//!
//! The exact scan ([`Flat`]) is the truth. The graph ([`Graph`]) only proposes
//! candidates; what it proposes is ranked by the same exact distance over the
//! same rows, so the two can differ in what they miss and in nothing else.

mod best;
mod flat;
mod hnsw;
mod slab;

use std::path::Path;

pub use flat::Flat;
pub use hnsw::Graph;
pub use slab::Slab;

use crate::{
    channel::Metric,
    config,
    error::{Error, Kind, Result},
};

/// A row of the index and how far it is from the query.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Row in the index's [`Slab`].
    pub id: u32,
    /// Exact distance by the index's metric.
    pub distance: f32,
}

/// Which rows may be answered: removed pieces and the query's own photo are
/// left out this way.
pub type Keep<'a> = &'a (dyn Fn(u32) -> bool + Sync);

/// Nearest rows to a query.
pub trait Index: Send + Sync {
    /// The rows themselves.
    fn slab(&self) -> &Slab;

    /// How distances are measured.
    fn metric(&self) -> Metric;

    /// Name of the method, for reports.
    fn method(&self) -> &'static str;

    /// The `k` nearest rows that `keep` lets pass, nearest first, those equally
    /// far by row. Distances are exact; only [`Graph`] may miss a row.
    ///
    /// # Errors
    /// [`Kind::Internal`] if the query has another dimension than the rows or an
    /// entry that is not finite.
    fn search(&self, query: &[f32], k: usize, keep: Keep<'_>) -> Result<Vec<Hit>>;

    /// Writes what cannot be made from the rows quickly into `folder` and names
    /// the files; an exact scan has none.
    ///
    /// # Errors
    /// [`Kind::Io`] if the files cannot be written.
    fn store(&self, folder: &Path, name: &str) -> Result<Vec<String>> {
        let _ = (folder, name);
        Ok(Vec::new())
    }

    /// Number of rows.
    fn len(&self) -> usize {
        self.slab().len()
    }

    /// Whether there are no rows.
    fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Number of entries of each row.
    fn dim(&self) -> usize {
        self.slab().dim()
    }
}

/// Builds the index that suits the number of rows: an exact scan below
/// [`config::Nearest::graph_from`], a graph from there on, unless it leads to so
/// few of the rows (many equal ones, say) that a scan is better all the same. Sets
/// of places only look again at a short list, so they get no graph.
///
/// # Errors
/// [`Kind::Cabinet`] if the graph cannot be built.
pub fn build(settings: &config::Nearest, metric: Metric, slab: Slab) -> Result<Box<dyn Index>> {
    if slab.len() < settings.graph_from.max(2) || metric == Metric::Places {
        return Ok(Box::new(Flat::new(metric, slab)));
    }
    let graph = Graph::build(settings, metric, slab)?;
    if graph.loose().len() > graph.len() / LOOSE_MAX {
        return Ok(Box::new(graph.into_flat()));
    }
    Ok(Box::new(graph))
}

/// A graph that misses one row in so many is not used.
const LOOSE_MAX: usize = 10;

/// Refuses a query that cannot be compared with the rows.
fn check_query(slab: &Slab, query: &[f32]) -> Result<()> {
    if query.len() != slab.dim() {
        return Err(Error::new(
            Kind::Internal,
            format!(
                "a query of {} entries was compared with rows of {}",
                query.len(),
                slab.dim()
            ),
        ));
    }
    if query.iter().any(|v| !v.is_finite()) {
        return Err(Error::new(Kind::Internal, "a query is not finite"));
    }
    Ok(())
}
