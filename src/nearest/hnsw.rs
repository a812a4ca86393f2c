//! The graph: proposes candidates without looking at every row. The only file
//! that uses the graph library.
//!
//! What the library does not do is done here. Its points hold no vectors but the
//! number of a row, so rows are in memory once. It cannot delete, and its own
//! filter can come back empty-handed, so rows are filtered after it answered, and
//! whenever too few are left every row is looked at instead. A point that its
//! build left unreachable would never be found: after a build each point is
//! looked for, and those that are not found are put on a list that every search
//! scans. Damaged files end the process inside it: whoever opens a stored graph
//! has checked their hashes.

use std::{
    fs,
    panic::{AssertUnwindSafe, catch_unwind},
    path::Path,
    sync::Arc,
};

use hnsw_rs::{api::AnnT, hnsw::Hnsw, hnswio::HnswIo, prelude::Distance};
use rayon::prelude::*;

use super::{Flat, Hit, Index, Keep, Slab, best::Best, check_query, flat};
use crate::{
    channel::Metric,
    config,
    error::{Error, Kind, Result},
};

/// Layers of the graph; the library's greatest number, which its files need.
const LAYERS: usize = 16;

/// Rows asked whether a filter lets them pass, to tell what share does.
const SAMPLE: usize = 256;

/// Share of rows that must pass the filter for the graph to be of use.
const PASSING_MIN: f64 = 0.1;

/// Share of the rows as candidates from which on looking at all is as fast.
const CANDIDATES_MAX: f64 = 0.05;

/// Graph over rows, answering with exact distances.
pub struct Graph {
    metric: Metric,
    slab: Arc<Slab>,
    graph: Hnsw<'static, u32, Gap>,
    /// Rows that every search looks at: those the graph does not lead to, and
    /// those that came after it was built.
    loose: Vec<u32>,
    /// Rows known to the graph.
    built: usize,
    search_width: usize,
    over_fetch: usize,
}

impl std::fmt::Debug for Graph {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Graph")
            .field("metric", &self.metric)
            .field("rows", &self.slab.len())
            .field("loose", &self.loose.len())
            .finish_non_exhaustive()
    }
}

impl Graph {
    /// Builds a graph over all rows and makes sure that each can be found.
    ///
    /// # Errors
    /// [`Kind::Internal`] if the library fails.
    pub fn build(settings: &config::Nearest, metric: Metric, slab: Slab) -> Result<Self> {
        let slab = Arc::new(slab);
        let rows = slab.len();
        let mut graph = Hnsw::new(
            settings.graph_links.clamp(2, 255),
            rows,
            LAYERS,
            settings.build_width.max(1),
            Gap::new(metric, &slab),
        );
        // Photos come folder by folder, and a graph grown one group at a time
        // leads badly from group to group.
        let order = shuffled(rows);
        let built = catch_unwind(AssertUnwindSafe(|| {
            let points: Vec<[u32; 1]> = order.iter().map(|row| [*row]).collect();
            let entries: Vec<(&[u32], usize)> = points
                .iter()
                .map(|point| (point.as_slice(), point[0] as usize))
                .collect();
            // A first skeleton in a fixed order: threads that start on nothing
            // leave each other's points without links.
            let (first, rest) = entries.split_at(entries.len().min(SKELETON));
            for entry in first {
                graph.insert_slice(*entry);
            }
            rest.par_iter().for_each(|entry| graph.insert_slice(*entry));
        }));
        if built.is_err() {
            return Err(failed("could not be built"));
        }
        graph.set_searching_mode(true);
        let mut built = Self {
            metric,
            slab,
            graph,
            loose: Vec::new(),
            built: rows,
            search_width: settings.search_width.max(1),
            over_fetch: settings.over_fetch.max(1),
        };
        built.loose = (0..rows as u32)
            .into_par_iter()
            .filter(|row| {
                let query = Gap::query(built.slab.row(*row));
                !built.candidates(&query, built.search_width).contains(row)
            })
            .collect();
        Ok(built)
    }

    /// Opens a graph that [`Index::store`] wrote for the first `rows` rows of
    /// `slab`. The caller has checked the hashes of its files.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the files are not those of such a graph.
    pub fn open(
        settings: &config::Nearest,
        metric: Metric,
        slab: Slab,
        rows: usize,
        folder: &Path,
        name: &str,
    ) -> Result<Self> {
        let path = folder.join(loose_file(name));
        let bytes = fs::read(&path).map_err(|e| Error::from(e).in_file(&path))?;
        let (items, rest) = bytes.as_chunks::<4>();
        let mut loose: Vec<u32> = items.iter().map(|item| u32::from_le_bytes(*item)).collect();
        let slab = Arc::new(slab);
        // The library ties the graph to its reader for life; it holds a path.
        let reader: &'static HnswIo = Box::leak(Box::new(HnswIo::new(folder, name)));
        let loaded = catch_unwind(AssertUnwindSafe(|| {
            reader.load_hnsw_with_dist::<u32, Gap>(Gap::new(metric, &slab))
        }));
        let unfit = || failed("could not be opened").in_file(folder);
        let Ok(Ok(mut graph)) = loaded else {
            return Err(unfit());
        };
        if graph.get_nb_point() != rows
            || rows > slab.len()
            || !rest.is_empty()
            || loose.iter().any(|row| *row as usize >= rows)
        {
            return Err(unfit());
        }
        graph.set_searching_mode(true);
        loose.extend(rows as u32..slab.len() as u32);
        Ok(Self {
            metric,
            slab,
            graph,
            loose,
            built: rows,
            search_width: settings.search_width.max(1),
            over_fetch: settings.over_fetch.max(1),
        })
    }

    /// The same rows, to be scanned.
    pub fn into_flat(self) -> Flat {
        Flat::new(self.metric, self.slab)
    }

    /// Rows that the graph does not lead to, or that it does not know.
    pub fn loose(&self) -> &[u32] {
        &self.loose
    }

    /// The rows the graph proposes, `width` at most.
    fn candidates(&self, query: &[u32], width: usize) -> Vec<u32> {
        self.graph
            .search(query, width, width)
            .into_iter()
            .map(|neighbour| neighbour.d_id as u32)
            .collect()
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
        let passing = passing(self.built, keep);
        let wanted = (k * self.over_fetch) as f64 / passing.max(PASSING_MIN);
        if passing < PASSING_MIN || wanted > CANDIDATES_MAX * self.built as f64 {
            return Ok(all());
        }
        let width = self.search_width.max(wanted as usize);
        let mut best = Best::new(k);
        let mut proposed = 0;
        let mut offer = |id: u32| {
            let distance = self.metric.distance(query, self.slab.row(id));
            if keep(id) {
                best.offer(Hit { id, distance });
                return true;
            }
            false
        };
        for id in self.candidates(&Gap::query(query), width) {
            proposed += usize::from(offer(id));
        }
        // Had it led to fewer than were wanted, others may be there all the same.
        if proposed < k {
            return Ok(all());
        }
        for id in &self.loose {
            offer(*id);
        }
        Ok(best.into_sorted())
    }

    fn store(&self, folder: &Path, name: &str) -> Result<Vec<String>> {
        let written = catch_unwind(AssertUnwindSafe(|| self.graph.file_dump(folder, name)));
        match written {
            Ok(Ok(used)) if used == name => {}
            _ => {
                return Err(Error::new(Kind::Io, "a graph could not be written").in_file(folder));
            }
        }
        let loose = self
            .loose
            .iter()
            .filter(|row| (**row as usize) < self.built);
        let bytes: Vec<u8> = loose.flat_map(|row| row.to_le_bytes()).collect();
        let path = folder.join(loose_file(name));
        fs::write(&path, bytes).map_err(|e| Error::from(e).in_file(&path))?;
        Ok(vec![
            format!("{name}.hnsw.graph"),
            format!("{name}.hnsw.data"),
            loose_file(name),
        ])
    }
}

/// Rows inserted one after the other before threads share the rest.
const SKELETON: usize = 2_000;

fn loose_file(name: &str) -> String {
    format!("{name}.loose")
}

fn failed(what: &str) -> Error {
    Error::new(Kind::Cabinet, format!("a graph {what}"))
        .remedy("nothing is lost: it is made again from the catalogue")
}

/// Share of rows that pass, by asking evenly spaced ones.
fn passing(rows: usize, keep: Keep<'_>) -> f64 {
    let step = (rows / SAMPLE).max(1);
    let (mut asked, mut passed) = (0usize, 0usize);
    for row in (0..rows).step_by(step) {
        asked += 1;
        passed += usize::from(keep(row as u32));
    }
    passed as f64 / asked.max(1) as f64
}

/// The rows in an order that is always the same and has nothing to do with them.
fn shuffled(rows: usize) -> Vec<u32> {
    let mut order: Vec<u32> = (0..rows as u32).collect();
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    for i in (1..rows).rev() {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        order.swap(i, (state % (i as u64 + 1)) as usize);
    }
    order
}

/// The distance between what the library holds: one number is a row, more are a
/// query, as the bits of its entries after a first number that says nothing.
#[derive(Clone)]
struct Gap {
    metric: Metric,
    slab: Arc<Slab>,
}

impl Gap {
    fn new(metric: Metric, slab: &Arc<Slab>) -> Self {
        Self {
            metric,
            slab: Arc::clone(slab),
        }
    }

    fn query(values: &[f32]) -> Vec<u32> {
        std::iter::once(0)
            .chain(values.iter().map(|v| v.to_bits()))
            .collect()
    }
}

impl Distance<u32> for Gap {
    fn eval(&self, a: &[u32], b: &[u32]) -> f32 {
        match (a, b) {
            ([a], [b]) => gap(self.metric, self.slab.row(*a), self.slab.row(*b), |v| v),
            ([_, query @ ..], [row]) | ([row], [_, query @ ..]) => {
                gap(self.metric, query, self.slab.row(*row), f32::from_bits)
            }
            _ => f32::MAX,
        }
    }
}

/// What orders as the distance does; the root is left out, it only costs time.
fn gap<T: Copy>(metric: Metric, a: &[T], b: &[f32], value: impl Fn(T) -> f32) -> f32 {
    let mut sums = [0.0f32; 8];
    let (a8, a_rest) = a.as_chunks::<8>();
    let (b8, b_rest) = b.as_chunks::<8>();
    let mut rest = 0.0;
    match metric {
        Metric::L1 => {
            for (x, y) in a8.iter().zip(b8) {
                for i in 0..8 {
                    sums[i] += (value(x[i]) - y[i]).abs();
                }
            }
            for (x, y) in a_rest.iter().zip(b_rest) {
                rest += (value(*x) - y).abs();
            }
        }
        Metric::L2 => {
            for (x, y) in a8.iter().zip(b8) {
                for i in 0..8 {
                    let d = value(x[i]) - y[i];
                    sums[i] += d * d;
                }
            }
            for (x, y) in a_rest.iter().zip(b_rest) {
                let d = value(*x) - y;
                rest += d * d;
            }
        }
        Metric::Places => {
            let a: Vec<f32> = a.iter().map(|v| value(*v)).collect();
            return metric.distance(&a, b);
        }
    }
    sums.iter().sum::<f32>() + rest
}
