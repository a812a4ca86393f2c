//! The cabinet: the reference set on disk.
//!
//! A cabinet is a folder. `catalogue.sqlite` is the truth: pieces, their labels,
//! their photos ("views"), the views' features, and the history of every change.
//! `generation-NNNN/` holds what search needs in the form it needs it; it is made
//! from the catalogue and made again whenever it does not fit. `photos/` may hold
//! copies of the photos. `index/README.md` describes every file by version.
//!
//! One process writes at a time ([`Cabinet::open`] takes a lock);
//! [`Cabinet::open_read`] never waits for it. What a method reported as done
//! survives the process being killed and the machine losing power.

mod add;
mod change;
mod files;
mod folders;
mod generation;
mod history;
mod labels;
mod labels_file;
mod list;
mod lock;
mod manifest;
mod notes;
mod photos;
mod schema;
mod snapshot;
mod undo;
mod verify;
mod vocabulary;

use std::{
    fs,
    path::{Path, PathBuf},
};

use rusqlite::Connection;

pub use add::{Added, Feature, NewView};
pub use change::{Compacted, Origin};
pub use folders::{FolderLabels, FolderTemplate};
pub use history::Change;
pub use labels::{LEVELS, Labels, PIECE_LABELS, VIEW_LABELS};
pub use labels_file::{LabelsFile, LabelsRow, write_labels};
pub use list::{Piece, Stats, View, ViewDetail};
pub use notes::Note;
pub use snapshot::{ChannelSpec, Found, Snapshot, SnapshotPiece, SnapshotView, Source};
pub use undo::Reversed;
pub use verify::{Concern, Problem};
pub use vocabulary::{Known, Vocabulary, Years};

use crate::error::{Error, Kind, Result};
use lock::WriterLock;
use schema::broken;

/// An open cabinet.
#[derive(Debug)]
pub struct Cabinet {
    dir: PathBuf,
    connection: Connection,
    lock: Option<WriterLock>,
    /// Whether all that is written from now on is one change.
    is_joined: bool,
    /// Whether what is written next goes on the change before it.
    goes_on: bool,
}

impl Cabinet {
    /// Opens a cabinet for writing, or makes one where there is none.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if another process is writing it, if a newer footring
    /// wrote it, or if the folder holds other things; [`Kind::Io`] or
    /// [`Kind::Missing`] if the folder cannot be written.
    pub fn create_or_open(dir: impl AsRef<Path>) -> Result<Self> {
        let dir = dir.as_ref();
        if !dir.join(schema::CATALOGUE).exists() {
            check_vacant(dir)?;
            fs::create_dir_all(dir).map_err(|e| Error::from(e).in_file(dir))?;
        }
        Self::open_as(dir, true, true)
    }

    /// Opens an existing cabinet for writing.
    ///
    /// # Errors
    /// As [`Cabinet::create_or_open`], and [`Kind::Cabinet`] if there is none.
    pub fn open(dir: impl AsRef<Path>) -> Result<Self> {
        Self::open_as(dir.as_ref(), true, false)
    }

    /// Opens an existing cabinet for reading, whoever writes it meanwhile.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if there is none, or if a newer footring wrote it.
    pub fn open_read(dir: impl AsRef<Path>) -> Result<Self> {
        Self::open_as(dir.as_ref(), false, false)
    }

    fn open_as(dir: &Path, write: bool, create: bool) -> Result<Self> {
        if !create && !dir.join(schema::CATALOGUE).exists() {
            return Err(schema::no_cabinet(dir));
        }
        let lock = write.then(|| WriterLock::take(dir)).transpose()?;
        let connection = schema::open(dir, write, create).map_err(|e| e.in_file(dir))?;
        Ok(Self {
            dir: dir.to_path_buf(),
            connection,
            lock,
            is_joined: false,
            goes_on: false,
        })
    }

    /// Its folder.
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// Whether it was opened for writing.
    pub fn is_writable(&self) -> bool {
        self.lock.is_some()
    }

    /// A count that grows with every change.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the catalogue is damaged.
    pub fn revision(&self) -> Result<u64> {
        self.here(meta(&self.connection, "revision"))
    }

    /// From here on, all that is written through this handle is one change to
    /// [`Cabinet::undo`], for a command that writes as it goes. Without this each
    /// method that writes makes a change of its own.
    pub fn join_changes(&mut self) {
        self.is_joined = true;
        self.goes_on = false;
    }

    /// Names the cabinet in an error.
    fn here<T>(&self, result: Result<T>) -> Result<T> {
        result.map_err(|e| e.in_file(&self.dir))
    }

    /// Runs `change` as one durable transaction and counts it as a revision.
    fn write<T>(
        &mut self,
        change: impl FnOnce(&rusqlite::Transaction<'_>) -> Result<T>,
    ) -> Result<T> {
        if self.lock.is_none() {
            return Err(Error::new(
                Kind::Internal,
                "a cabinet opened for reading was to be changed",
            )
            .in_file(&self.dir));
        }
        let done = (|| {
            let tx = self
                .connection
                .transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)
                .map_err(broken)?;
            if !self.goes_on {
                count(&tx, "change")?;
            }
            let done = change(&tx)?;
            count(&tx, "revision")?;
            tx.commit().map_err(broken)?;
            self.goes_on = self.is_joined;
            Ok(done)
        })();
        done.map_err(|e: Error| e.in_file(&self.dir))
    }
}

fn meta(connection: &Connection, key: &str) -> Result<u64> {
    connection
        .query_row("SELECT value FROM meta WHERE key = ?", [key], |row| {
            row.get::<_, i64>(0)
        })
        .map(i64::cast_unsigned)
        .map_err(broken)
}

fn count(connection: &Connection, key: &str) -> Result<()> {
    connection
        .execute("UPDATE meta SET value = value + 1 WHERE key = ?", [key])
        .map(drop)
        .map_err(broken)
}

/// A new cabinet is not laid among other files, where `compact` and the reader's
/// eye would take them for parts of it.
fn check_vacant(dir: &Path) -> Result<()> {
    let entries = match fs::read_dir(dir) {
        Ok(entries) => entries,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(()),
        Err(e) => return Err(Error::from(e).in_file(dir)),
    };
    for entry in entries {
        let entry = entry.map_err(|e| Error::from(e).in_file(dir))?;
        let name = entry.file_name();
        if ![lock::LOCK_FILE, lock::HOLDER_FILE]
            .iter()
            .any(|ours| name == *ours)
        {
            return Err(Error::new(
                Kind::Cabinet,
                format!(
                    "is no cabinet and holds other files (\"{}\")",
                    name.display()
                ),
            )
            .in_file(dir)
            .remedy("name a new or empty folder for the cabinet"));
        }
    }
    Ok(())
}
