//! One configuration: defaults here, then a TOML file, then flags.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Kind, Result};

/// Everything that can be set.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Limits on what is decoded.
    pub photo: Photo,
    /// How pieces are cut out.
    pub cutout: Cutout,
    /// Which index is used and how it is built.
    pub nearest: Nearest,
    /// How the matches are ranked.
    pub identify: Identify,
}

/// Limits on what is decoded.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Photo {
    /// Largest photo that is decoded, in millions of pixels.
    pub max_megapixels: u32,
    /// Longest side of a photo that is decoded, in pixels.
    pub max_side_px: u32,
    /// Memory one decoder may take, in MiB.
    pub max_memory_mib: u64,
    /// Largest file that is opened, in MiB.
    pub max_file_mib: u64,
}

impl Default for Photo {
    fn default() -> Self {
        Self {
            max_megapixels: 120,
            max_side_px: 30_000,
            max_memory_mib: 1024,
            max_file_mib: 256,
        }
    }
}

/// How pieces are cut out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Cutout {
    /// Longest side of the copy on which edges are found, in pixels. Smaller
    /// photos are never enlarged.
    pub working_px: u32,
}

impl Default for Cutout {
    fn default() -> Self {
        Self { working_px: 1024 }
    }
}

/// Which index is used and how it is built.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Nearest {
    /// Below this number of views every view is measured on every channel; from
    /// there on graphs propose candidates. One channel alone would be scanned
    /// faster than a graph is searched up to some 200,000 views, but all five
    /// together (2,784 numbers a view) take a tenth of a second at 100,000.
    pub graph_from: usize,
    /// Neighbours per point in the graph.
    pub graph_links: usize,
    /// Candidates kept while the graph is built.
    pub build_width: usize,
    /// Candidates kept while the graph is searched. The graph is never built
    /// twice alike, and half of this found as little as 0.983 of the ten
    /// nearest in an unlucky build of 20,000 rows in groups; this many found
    /// all of them in each of nine, three of them with these links and this
    /// build width.
    pub search_width: usize,
    /// The graph is asked for this many times the wanted number, and the
    /// answers are ranked again by their exact distance.
    pub over_fetch: usize,
}

impl Default for Nearest {
    fn default() -> Self {
        Self {
            graph_from: 20_000,
            graph_links: 16,
            build_width: 100,
            search_width: 128,
            over_fetch: 4,
        }
    }
}

/// How the matches are ranked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Identify {
    /// Whether the outlines nearest by their vector are aligned point by point.
    pub align: bool,
    /// Whether decorations are compared once more by the places that say most.
    pub details: bool,
}

impl Default for Identify {
    fn default() -> Self {
        Self {
            align: true,
            details: true,
        }
    }
}

impl Config {
    /// Reads a TOML file; what it leaves out keeps its default.
    ///
    /// # Errors
    /// [`Kind::Missing`] if the file cannot be read, [`Kind::Usage`] if it is no
    /// TOML or names an unknown setting.
    pub fn read(file: &Path) -> Result<Self> {
        let text = std::fs::read_to_string(file).map_err(|e| Error::from(e).in_file(file))?;
        toml::from_str(&text).map_err(|e| {
            Error::new(Kind::Usage, "is not a configuration footring understands")
                .in_file(file)
                .caused_by(e)
                .remedy("see the README's section on settings")
        })
    }
}
