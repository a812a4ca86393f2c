//! What a generation holds and what it was made from.

use std::{collections::BTreeMap, fs, path::Path};

use serde::{Deserialize, Serialize};

use super::snapshot::ChannelSpec;
use crate::{
    channel::Metric,
    config,
    error::{Error, Kind, Result},
    hash,
};

pub(super) const FILE: &str = "MANIFEST.json";

/// Format of generations this program writes and reads.
pub(super) const FORMAT: u32 = 1;

/// The manifest of a generation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Manifest {
    /// [`FORMAT`].
    pub(super) format: u32,
    /// The catalogue's count of changes to features that were there already.
    pub(super) base: u64,
    /// The catalogue's revision when it was made; for people.
    pub(super) revision: u64,
    /// Greatest number of a view it covers; later ones are read from the catalogue.
    pub(super) last_view: i64,
    /// SHA-256 over the numbers and hashes of the views it covers.
    pub(super) covers: String,
    /// How its graphs were built.
    pub(super) graphs: Graphs,
    /// One entry for each channel.
    pub(super) channels: Vec<Stored>,
    /// SHA-256 of each file.
    pub(super) files: BTreeMap<String, String>,
    /// SHA-256 of this manifest with an empty seal.
    pub(super) seal: String,
}

/// A channel in a generation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Stored {
    pub(super) name: String,
    pub(super) version: u32,
    pub(super) dim: usize,
    /// `l1` or `l2`.
    pub(super) metric: String,
    pub(super) rows: usize,
    /// Begin of the names of its files.
    pub(super) stem: String,
    /// Files of its graph; none if it is scanned.
    pub(super) graph: Vec<String>,
}

impl Manifest {
    /// Reads and checks the manifest in `folder`.
    pub(super) fn read(folder: &Path) -> Result<Self> {
        let path = folder.join(FILE);
        let damaged = |what: &str| {
            Error::new(Kind::Cabinet, what)
                .in_file(&path)
                .remedy("nothing is lost: it is made again from the catalogue")
        };
        let text = fs::read_to_string(&path).map_err(|e| Error::from(e).in_file(&path))?;
        let manifest: Self =
            serde_json::from_str(&text).map_err(|_| damaged("is no manifest of this format"))?;
        if manifest.format != FORMAT {
            return Err(damaged("is of another format"));
        }
        if manifest.seal != manifest.sealed()? {
            return Err(damaged("was altered"));
        }
        Ok(manifest)
    }

    /// The seal it should have.
    pub(super) fn sealed(&self) -> Result<String> {
        let mut open = self.clone();
        open.seal.clear();
        let text = serde_json::to_vec(&open)
            .map_err(|e| Error::new(Kind::Internal, "a manifest cannot be written").caused_by(e))?;
        Ok(hash::sha256(text.as_ref()))
    }

    /// Whether other settings would give another generation: where every channel
    /// has too few rows for a graph under both, they would not.
    pub(super) fn suits(&self, settings: &config::Nearest) -> bool {
        let wanted = Graphs::from(settings);
        let from = wanted.graph_from.min(self.graphs.graph_from);
        wanted == self.graphs || self.channels.iter().all(|stored| stored.rows < from)
    }

    /// The stored channel that `spec` asks for.
    pub(super) fn channel(&self, spec: &ChannelSpec) -> Option<&Stored> {
        self.channels.iter().find(|stored| {
            stored.name == spec.name
                && stored.version == spec.version
                && stored.dim == spec.dim
                && stored.metric == metric_name(spec.metric)
        })
    }
}

/// A metric as it is written.
pub(super) fn metric_name(metric: Metric) -> &'static str {
    match metric {
        Metric::L1 => "l1",
        Metric::L2 => "l2",
        Metric::Places => "places",
    }
}

/// Settings that give another graph. Those of search need no new one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Graphs {
    pub(super) graph_from: usize,
    pub(super) graph_links: usize,
    pub(super) build_width: usize,
}

impl From<&config::Nearest> for Graphs {
    fn from(settings: &config::Nearest) -> Self {
        Self {
            graph_from: settings.graph_from,
            graph_links: settings.graph_links,
            build_width: settings.build_width,
        }
    }
}
