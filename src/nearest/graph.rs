//! The graph: proposes candidates without looking at every row.
//!
//! A hierarchical navigable small-world graph (Malkov and Yashunin, IEEE TPAMI
//! 42(4), 2020): every row has links to rows around it, few rows are also in
//! sparser layers above, and a search walks from a fixed entry towards the query,
//! layer by layer, keeping a list of the nearest seen. It holds only links, 4 bytes
//! each; the vectors stay in the slab. The build is shared between threads and
//! still gives the same graph every time.
//!
//! Rows are filtered after the walk, and whenever too few are left every row is
//! looked at instead. A row that no walk leads to would never be found: after a
//! build each is looked for, and those that are not found go on a list that every
//! search scans.

mod build;
mod file;
mod net;

use std::{fs, path::Path, sync::Arc};

use rayon::prelude::*;

use self::net::{Net, Space};
use super::{Flat, Hit, Index, Keep, Slab, best::Best, check_query, flat};
use crate::{
    channel::Metric,
    config,
    error::{Error, Result},
};

/// Rows asked whether a filter lets them pass, to tell what share does.
const SAMPLE: usize = 256;

/// Share of rows that must pass the filter for the graph to be of use.
const PASSING_MIN: f64 = 0.1;

/// Share of the rows as candidates from which on looking at all is as fast.
const CANDIDATES_MAX: f64 = 0.05;

/// Graph over rows, answering with exact distances.
#[derive(Debug)]
pub struct Graph {
    metric: Metric,
    slab: Arc<Slab>,
    net: Net,
    /// Rows that every search looks at: those no walk leads to, and those that
    /// came after the build.
    loose: Vec<u32>,
    search_width: usize,
    over_fetch: usize,
}

impl Graph {
    /// Builds a graph over all rows and makes sure that each can be found.
    pub fn build(settings: &config::Nearest, metric: Metric, slab: Slab) -> Self {
        let space = Space {
            metric,
            slab: &slab,
        };
        let net = build::build(space, settings.graph_links, settings.build_width);
        let search_width = settings.search_width.max(1);
        let loose = (0..slab.len() as u32)
            .into_par_iter()
            .filter(|row| {
                !net.search(space, slab.row(*row), search_width)
                    .contains(row)
            })
            .collect();
        Self {
            metric,
            slab: Arc::new(slab),
            net,
            loose,
            search_width,
            over_fetch: settings.over_fetch.max(1),
        }
    }

    /// Opens a graph that [`Index::store`] wrote for the first `rows` rows of
    /// `slab`. Later rows are scanned by every search.
    ///
    /// # Errors
    /// [`crate::error::Kind::Missing`] if the file cannot be read,
    /// [`crate::error::Kind::Cabinet`] if it is not that of such a graph.
    pub fn open(
        settings: &config::Nearest,
        metric: Metric,
        slab: Slab,
        rows: usize,
        folder: &Path,
        name: &str,
    ) -> Result<Self> {
        let path = folder.join(file_name(name));
        let bytes = fs::read(&path).map_err(|e| Error::from(e).in_file(&path))?;
        let (net, mut loose) =
            file::read(&bytes, rows.min(slab.len())).map_err(|e| e.in_file(&path))?;
        loose.extend(net.rows() as u32..slab.len() as u32);
        Ok(Self {
            metric,
            slab: Arc::new(slab),
            net,
            loose,
            search_width: settings.search_width.max(1),
            over_fetch: settings.over_fetch.max(1),
        })
    }

    /// The same rows, to be scanned.
    pub fn into_flat(self) -> Flat {
        Flat::new(self.metric, self.slab)
    }

    /// Rows that no walk leads to, or that the graph does not know.
    pub fn loose(&self) -> &[u32] {
        &self.loose
    }
}

impl Index for Graph {
    fn slab(&self) -> &Slab {
        &self.slab
    }

    fn metric(&self) -> Metric {
        self.metric
    }

    fn method(&self) -> &'static str {
        "graph"
    }

    fn search(&self, query: &[f32], k: usize, keep: Keep<'_>) -> Result<Vec<Hit>> {
        check_query(&self.slab, query)?;
        let all = || flat::scan(self.metric, &self.slab, query, k, keep);
        let rows = self.net.rows();
        let passing = passing(rows, keep);
        let wanted = k as f64 * self.over_fetch as f64 / passing.max(PASSING_MIN);
        if passing < PASSING_MIN || wanted > CANDIDATES_MAX * rows as f64 {
            return Ok(all());
        }
        let space = Space {
            metric: self.metric,
            slab: &self.slab,
        };
        let width = self.search_width.max(wanted as usize);
        let proposed: Vec<u32> = self
            .net
            .search(space, query, width)
            .into_iter()
            .filter(|id| keep(*id))
            .collect();
        // Had it led to fewer than were wanted, others may be there all the same.
        if proposed.len() < k {
            return Ok(all());
        }
        let mut best = Best::new(k);
        let loose = self.loose.iter().copied().filter(|id| keep(*id));
        // A loose row may be proposed all the same; it is answered once.
        let is_new = |id: &u32| !proposed.contains(id);
        for id in proposed.iter().copied().chain(loose.filter(is_new)) {
            let distance = self.metric.distance(query, self.slab.row(id));
            best.offer(Hit { id, distance });
        }
        Ok(best.into_sorted())
    }

    fn store(&self, folder: &Path, name: &str) -> Result<Vec<String>> {
        let name = file_name(name);
        let path = folder.join(&name);
        let rows = self.net.rows() as u32;
        let loose: Vec<u32> = self
            .loose
            .iter()
            .copied()
            .filter(|row| *row < rows)
            .collect();
        fs::write(&path, file::write(&self.net, &loose))
            .map_err(|e| Error::from(e).in_file(&path))?;
        Ok(vec![name])
    }
}

fn file_name(name: &str) -> String {
    format!("{name}.graph")
}

/// Share of rows that pass, by asking evenly spaced ones.
fn passing(rows: usize, keep: Keep<'_>) -> f64 {
    let step = (rows / SAMPLE).max(1);
    let asked = (0..rows).step_by(step);
    let passed = asked.clone().filter(|row| keep(*row as u32)).count();
    passed as f64 / asked.len().max(1) as f64
}
