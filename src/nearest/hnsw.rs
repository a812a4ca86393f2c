//! The graph, for now answered by the exact scan until it is written.
use super::*;
/// The graph.
pub struct Graph(Flat);
impl Graph {
    /// Builds.
    ///
    /// # Errors
    /// none
    pub fn build(_s: &config::Nearest, metric: Metric, slab: Slab) -> Result<Self> {
        Ok(Self(Flat::new(metric, slab)))
    }
    /// Opens.
    ///
    /// # Errors
    /// none
    pub fn open(
        _s: &config::Nearest,
        metric: Metric,
        slab: Slab,
        _rows: usize,
        _folder: &Path,
        _name: &str,
    ) -> Result<Self> {
        Ok(Self(Flat::new(metric, slab)))
    }
}
impl Index for Graph {
    fn slab(&self) -> &Slab {
        self.0.slab()
    }
    fn metric(&self) -> Metric {
        self.0.metric()
    }
    fn method(&self) -> &'static str {
        "graph"
    }
    fn search(&self, query: &[f32], k: usize, keep: Keep<'_>) -> Result<Vec<Hit>> {
        self.0.search(query, k, keep)
    }
}
