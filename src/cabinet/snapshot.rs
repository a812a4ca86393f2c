//! One unchanging state of the cabinet, ready to be searched. It can be shared
//! between threads and outlives the cabinet it was taken from.

use std::{collections::HashMap, path::PathBuf};

use rayon::prelude::*;
use rusqlite::Connection;

use super::{
    Cabinet, Labels, Note, Vocabulary, files, generation,
    generation::{Loaded, Making, Rows},
    list,
    lock::WriterLock,
    manifest::Manifest,
    meta, notes,
    schema::broken,
};
use crate::{
    channel::{Channel, Metric},
    config,
    error::{Error, Kind, Result},
    nearest::{Flat, Index},
    outline::pose::View as Seen,
};

/// No row, or no view.
const NONE: u32 = u32::MAX;

/// Later views that are read from the catalogue at every start before it is worth
/// making a new generation: so many, or a tenth of what it covers.
const LATER_MAX: usize = 500;

/// A channel that is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelSpec {
    /// Its name.
    pub name: String,
    /// Its version; features of other versions are stale and left out.
    pub version: u32,
    /// Number of entries of its vectors.
    pub dim: usize,
    /// How two vectors are compared.
    pub metric: Metric,
}

impl From<&Channel> for ChannelSpec {
    fn from(channel: &Channel) -> Self {
        Self {
            name: channel.name.to_owned(),
            version: channel.version,
            dim: channel.dim,
            metric: channel.metric,
        }
    }
}

/// A photo in a snapshot.
#[derive(Clone, Debug, PartialEq)]
pub struct SnapshotView {
    /// Its number in the cabinet.
    pub id: i64,
    /// Its piece, by position in [`Snapshot::pieces`].
    pub piece: u32,
    /// Path under which it was added, or where it was found since.
    pub photo: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// When it was taken, where known.
    pub captured: Option<String>,
    /// How the piece was seen: as told, else as read from its outline.
    pub seen: Seen,
    /// Labels of the piece and of the photo.
    pub labels: Labels,
}

/// A piece in a snapshot.
#[derive(Clone, Debug, PartialEq)]
pub struct SnapshotPiece {
    /// Its name.
    pub name: String,
    /// Labels of the piece itself.
    pub labels: Labels,
    /// Its photos, by position in [`Snapshot::views`].
    pub views: Vec<u32>,
}

/// A view near a query.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// The view, by position in [`Snapshot::views`].
    pub view: u32,
    /// Exact distance by the channel's metric.
    pub distance: f32,
}

/// How a snapshot came about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// From this generation, with so many later views from the catalogue.
    Generation(PathBuf, usize),
    /// From the catalogue; this generation was made on the way.
    Made(PathBuf),
    /// From the catalogue alone, because no generation fits and none could be
    /// written.
    Memory,
}

struct Part {
    spec: ChannelSpec,
    index: Box<dyn Index>,
    /// View of each row.
    view_of: Vec<u32>,
    /// Row of each view.
    row_of: Vec<u32>,
    stale: usize,
}

/// One state of the cabinet, ready to be searched.
pub struct Snapshot {
    revision: u64,
    source: Source,
    pieces: Vec<SnapshotPiece>,
    views: Vec<SnapshotView>,
    parts: Vec<Part>,
    vocabulary: Vocabulary,
    pub(super) notes: Vec<Note>,
}

impl std::fmt::Debug for Snapshot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Snapshot")
            .field("revision", &self.revision)
            .field("source", &self.source)
            .field("pieces", &self.pieces.len())
            .field("views", &self.views.len())
            .finish_non_exhaustive()
    }
}

impl Snapshot {
    /// The cabinet's revision it shows.
    pub fn revision(&self) -> u64 {
        self.revision
    }

    /// How it came about.
    pub fn source(&self) -> &Source {
        &self.source
    }

    /// All pieces that have a photo.
    pub fn pieces(&self) -> &[SnapshotPiece] {
        &self.pieces
    }

    /// All photos, in the order in which they were added.
    pub fn views(&self) -> &[SnapshotView] {
        &self.views
    }

    /// The piece that a view shows.
    pub fn piece(&self, view: u32) -> &SnapshotPiece {
        &self.pieces[self.views[view as usize].piece as usize]
    }

    /// What the set knows of its labels.
    pub fn vocabulary(&self) -> &Vocabulary {
        &self.vocabulary
    }

    /// The channels asked for, in that order: a channel's position here is what
    /// the methods below call `channel`.
    pub fn channels(&self) -> impl ExactSizeIterator<Item = &ChannelSpec> {
        self.parts.iter().map(|part| &part.spec)
    }

    /// Photos whose features of a channel were made by another version of it, or
    /// have another length. They are left out of that channel until they are
    /// described again (see [`Cabinet::replace_features`]).
    pub fn stale(&self, channel: usize) -> usize {
        self.parts[channel].stale
    }

    /// Number of photos that have a channel.
    pub fn len(&self, channel: usize) -> usize {
        self.parts[channel]
            .row_of
            .iter()
            .filter(|row| **row != NONE)
            .count()
    }

    /// Whether there are no photos.
    pub fn is_empty(&self) -> bool {
        self.views.is_empty()
    }

    /// A view's vector, unless it lacks the channel.
    pub fn vector(&self, channel: usize, view: u32) -> Option<&[f32]> {
        let part = &self.parts[channel];
        match *part.row_of.get(view as usize)? {
            NONE => None,
            row => Some(part.index.slab().row(row)),
        }
    }

    /// The `k` views nearest by one channel that `keep` lets pass, nearest first,
    /// those equally far in the order in which they were added. Views that lack
    /// the channel are not among them.
    ///
    /// # Errors
    /// [`Kind::Internal`] if the query has another dimension than the channel.
    pub fn nearest(
        &self,
        channel: usize,
        query: &[f32],
        k: usize,
        keep: &(dyn Fn(u32) -> bool + Sync),
    ) -> Result<Vec<Found>> {
        let part = &self.parts[channel];
        let hits = part
            .index
            .search(query, k, &|row| match part.view_of[row as usize] {
                NONE => false,
                view => keep(view),
            })?;
        Ok(hits
            .into_iter()
            .map(|hit| Found {
                view: part.view_of[hit.id as usize],
                distance: hit.distance,
            })
            .collect())
    }

    /// The index behind a channel; its rows are not views (see
    /// [`Snapshot::nearest`]).
    pub fn index_of(&self, channel: usize) -> &dyn Index {
        &*self.parts[channel].index
    }
}

impl Cabinet {
    /// Takes a snapshot for the given channels (the whole registry, so that one
    /// generation serves every question). Uses the generation on disk, or makes
    /// a new one where it does not fit; where that cannot be written, works from
    /// the catalogue in memory.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the catalogue is damaged, [`Kind::Io`] if the disk is
    /// full.
    pub fn snapshot(
        &self,
        settings: &config::Nearest,
        channels: &[ChannelSpec],
    ) -> Result<Snapshot> {
        self.here(self.reading(|c| {
            Taking {
                cabinet: self,
                c,
                settings,
                channels,
            }
            .take()
        }))
    }
}

struct Taking<'a> {
    cabinet: &'a Cabinet,
    c: &'a Connection,
    settings: &'a config::Nearest,
    channels: &'a [ChannelSpec],
}

/// A generation that fits the catalogue.
struct Fit {
    folder: PathBuf,
    manifest: Manifest,
    /// Views added since.
    later: usize,
    /// Whether so much changed since that a new one is worth its while.
    is_worn: bool,
}

impl Taking<'_> {
    fn take(&self) -> Result<Snapshot> {
        let base = meta(self.c, "base")?;
        let revision = meta(self.c, "revision")?;
        let fit = self.fit(base)?;
        if let Some(fit) = &fit
            && !fit.is_worn
            && let Ok(loaded) = self.load(fit)
        {
            return self.assemble(
                revision,
                Source::Generation(fit.folder.clone(), fit.later),
                loaded,
            );
        }
        // Only one process makes generations, and only where it may write.
        let borrowed = match self.cabinet.is_writable() {
            true => None,
            false if files::is_writable(&self.cabinet.dir) => {
                WriterLock::take(&self.cabinet.dir).ok()
            }
            false => None,
        };
        if self.cabinet.is_writable() || borrowed.is_some() {
            let last_view = last_view(self.c)?;
            let making = Making {
                dir: &self.cabinet.dir,
                base,
                revision,
                last_view,
                covers: generation::covers(self.c, last_view)?,
                settings: self.settings,
                specs: self.channels,
            };
            match generation::make(&making, self.c) {
                Ok((folder, loaded)) => {
                    return self.assemble(revision, Source::Made(folder), loaded);
                }
                // A generation saves time; what it is made of is all here.
                Err(e) if matches!(e.kind(), Kind::Io | Kind::Missing) => {}
                Err(e) => return Err(e),
            }
        }
        if let Some(fit) = &fit
            && let Ok(loaded) = self.load(fit)
        {
            return self.assemble(
                revision,
                Source::Generation(fit.folder.clone(), fit.later),
                loaded,
            );
        }
        let loaded = self
            .channels
            .iter()
            .map(|spec| {
                let Rows { views, slab } = generation::rows(self.c, spec, 0)?;
                // A graph takes minutes that one question does not repay.
                let index: Box<dyn Index> = Box::new(Flat::new(spec.metric, slab));
                Ok(Loaded { views, index })
            })
            .collect::<Result<Vec<_>>>()?;
        self.assemble(revision, Source::Memory, loaded)
    }

    /// The newest generation, if it was made from this catalogue for these
    /// channels and settings.
    fn fit(&self, base: u64) -> Result<Option<Fit>> {
        let Some((_, folder)) = generation::list(&self.cabinet.dir).into_iter().next() else {
            return Ok(None);
        };
        let Ok(manifest) = Manifest::read(&folder) else {
            return Ok(None);
        };
        if manifest.base != base
            || !manifest.suits(self.settings)
            || !self
                .channels
                .iter()
                .all(|spec| manifest.channel(spec).is_some())
            || manifest.covers != generation::covers(self.c, manifest.last_view)?
        {
            return Ok(None);
        }
        let count = |condition: &str| -> Result<usize> {
            self.c
                .query_row(
                    &format!("SELECT count(*) FROM views WHERE {condition}"),
                    [manifest.last_view],
                    |row| row.get::<_, i64>(0),
                )
                .map(|n| n as usize)
                .map_err(broken)
        };
        let later = count("id > ?")?;
        let covered = count("id <= ?")?;
        let removed = count("id <= ? AND removed_at IS NOT NULL")?;
        Ok(Some(Fit {
            folder,
            manifest,
            later,
            is_worn: later > LATER_MAX.max(covered / 10) || removed > LATER_MAX.max(covered / 2),
        }))
    }

    fn load(&self, fit: &Fit) -> Result<Vec<Loaded>> {
        let mut to_load = Vec::with_capacity(self.channels.len());
        for spec in self.channels {
            let stored = fit.manifest.channel(spec).ok_or_else(|| {
                Error::new(
                    Kind::Internal,
                    "a generation lacks a channel it was to have",
                )
            })?;
            let later = generation::rows(self.c, spec, fit.manifest.last_view)?;
            to_load.push((spec, stored, later));
        }
        // Hashing the files is most of the work.
        let settings = self.settings;
        to_load
            .par_iter()
            .map(|(spec, stored, later)| {
                generation::load(&fit.folder, &fit.manifest, stored, spec, settings, later)
            })
            .collect()
    }

    fn assemble(&self, revision: u64, source: Source, loaded: Vec<Loaded>) -> Result<Snapshot> {
        let mut labels = list::labels_by_piece(self.c)?;
        let mut pieces: Vec<SnapshotPiece> = Vec::new();
        let mut positions: HashMap<i64, u32> = HashMap::new();
        let mut views = Vec::new();
        for (piece_id, view) in list::views_where(self.c, "v.removed_at IS NULL")? {
            let piece = *positions.entry(piece_id).or_insert_with(|| {
                pieces.push(SnapshotPiece {
                    name: view.piece.clone(),
                    labels: labels.remove(&piece_id).unwrap_or_default(),
                    views: Vec::new(),
                });
                (pieces.len() - 1) as u32
            });
            pieces[piece as usize].views.push(views.len() as u32);
            views.push(SnapshotView {
                seen: view.seen(),
                id: view.id,
                piece,
                photo: view.photo,
                sha256: view.sha256,
                captured: view.captured,
                labels: view.labels,
            });
        }
        let parts = self
            .channels
            .iter()
            .zip(loaded)
            .map(|(spec, loaded)| {
                let mut row_of = vec![NONE; views.len()];
                let view_of = loaded
                    .views
                    .iter()
                    .enumerate()
                    .map(
                        |(row, id)| match views.binary_search_by_key(id, |view| view.id) {
                            Ok(view) => {
                                row_of[view] = row as u32;
                                view as u32
                            }
                            Err(_) => NONE,
                        },
                    )
                    .collect();
                Ok(Part {
                    spec: spec.clone(),
                    index: loaded.index,
                    view_of,
                    row_of,
                    stale: stale(self.c, spec)?,
                })
            })
            .collect::<Result<Vec<_>>>()?;
        Ok(Snapshot {
            revision,
            source,
            vocabulary: Vocabulary::of(pieces.iter().map(|piece| &piece.labels)),
            notes: notes::all(self.c)?,
            pieces,
            views,
            parts,
        })
    }
}

fn last_view(connection: &Connection) -> Result<i64> {
    connection
        .query_row("SELECT coalesce(max(id), 0) FROM views", [], |row| {
            row.get(0)
        })
        .map_err(broken)
}

fn stale(connection: &Connection, spec: &ChannelSpec) -> Result<usize> {
    connection
        .query_row(
            "SELECT count(*) FROM features f JOIN views v ON v.id = f.view_id
             WHERE v.removed_at IS NULL AND f.channel = ? AND NOT (f.version = ? AND f.dim = ?)",
            rusqlite::params![spec.name, spec.version, spec.dim as i64],
            |row| row.get::<_, i64>(0),
        )
        .map(|n| n as usize)
        .map_err(broken)
}
