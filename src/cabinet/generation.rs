//! Generations: the rows and graphs of one state of the catalogue, in files that
//! are read in one go. A generation is built beside, synced, and takes its name by
//! one rename; it is never changed afterwards.

use std::{
    fs::{self, File},
    io::{self, Write},
    path::{Path, PathBuf},
};

use rusqlite::Connection;
use sha2::{Digest, Sha256};

use super::{
    files::{self, Hashing},
    manifest::{self, Manifest, Stored, metric_name},
    schema::broken,
    snapshot::ChannelSpec,
};
use crate::{
    channel::Vector,
    config,
    error::{Error, Kind, Result},
    hash::hex,
    nearest::{self, Flat, Graph, Index, Slab},
};

const PREFIX: &str = "generation-";

/// The rows of one channel and the views they belong to.
pub(super) struct Rows {
    pub(super) views: Vec<i64>,
    pub(super) slab: Slab,
}

/// The index of one channel and the views its rows belong to.
pub(super) struct Loaded {
    pub(super) views: Vec<i64>,
    pub(super) index: Box<dyn Index>,
}

/// Generations in the cabinet, newest first.
pub(super) fn list(dir: &Path) -> Vec<(u32, PathBuf)> {
    let mut found: Vec<(u32, PathBuf)> = fs::read_dir(dir)
        .into_iter()
        .flatten()
        .filter_map(|entry| {
            let path = entry.ok()?.path();
            let number = path
                .file_name()?
                .to_str()?
                .strip_prefix(PREFIX)?
                .parse()
                .ok()?;
            Some((number, path))
        })
        .collect();
    found.sort_by(|a, b| b.cmp(a));
    found
}

/// SHA-256 over the views up to `last`, removed ones included.
pub(super) fn covers(connection: &Connection, last: i64) -> Result<String> {
    let mut hasher = Sha256::new();
    let mut query = connection
        .prepare_cached("SELECT id, sha256 FROM views WHERE id <= ? ORDER BY id")
        .map_err(broken)?;
    let mut rows = query.query([last]).map_err(broken)?;
    while let Some(row) = rows.next().map_err(broken)? {
        let id: i64 = row.get(0).map_err(broken)?;
        let sha256: String = row.get(1).map_err(broken)?;
        hasher.update(id.to_le_bytes());
        hasher.update(sha256.as_bytes());
    }
    Ok(hex(&hasher.finalize()))
}

/// Reads rows of a channel from the catalogue: those of views after `after`.
pub(super) fn rows(connection: &Connection, spec: &ChannelSpec, after: i64) -> Result<Rows> {
    let mut rows = Rows {
        views: Vec::new(),
        slab: Slab::empty(spec.dim)?,
    };
    let parameters = rusqlite::params![spec.name, spec.version, spec.dim as i64, after];
    let n: i64 = connection
        .query_row(
            "SELECT count(*) FROM features
             WHERE channel = ? AND version = ? AND dim = ? AND view_id > ?",
            parameters,
            |row| row.get(0),
        )
        .map_err(broken)?;
    rows.views.reserve_exact(n as usize);
    rows.slab.reserve(n as usize);
    let mut query = connection
        .prepare_cached(
            "SELECT view_id, vector FROM features
             WHERE channel = ? AND version = ? AND dim = ? AND view_id > ? ORDER BY view_id",
        )
        .map_err(broken)?;
    let mut found = query.query(parameters).map_err(broken)?;
    while let Some(row) = found.next().map_err(broken)? {
        let bytes = row
            .get_ref(1)
            .and_then(|v| Ok(v.as_blob()?))
            .map_err(broken)?;
        // A damaged feature takes its photo out of this channel, not the cabinet
        // out of service; `verify` reports it.
        let Ok(vector) = Vector::from_bytes(bytes) else {
            continue;
        };
        if vector.dim() == spec.dim {
            rows.slab.push(vector.as_slice())?;
            rows.views.push(row.get(0).map_err(broken)?);
        }
    }
    Ok(rows)
}

/// Reads a stored channel, with the rows of later views after its own.
///
/// # Errors
/// [`Kind::Cabinet`] or [`Kind::Missing`] if a file is absent or altered; nothing
/// is handed to the graph library before its hash is known to be right.
pub(super) fn load(
    folder: &Path,
    manifest: &Manifest,
    stored: &Stored,
    spec: &ChannelSpec,
    settings: &config::Nearest,
    later: &Rows,
) -> Result<Loaded> {
    let mut values = Vec::new();
    values.reserve_exact((stored.rows + later.slab.len()).saturating_mul(stored.dim));
    read_checked(
        folder,
        manifest,
        &format!("{}.f32", stored.stem),
        |chunk: [u8; 4]| {
            values.push(f32::from_le_bytes(chunk));
        },
    )?;
    let mut views = Vec::with_capacity(stored.rows + later.views.len());
    read_checked(
        folder,
        manifest,
        &format!("{}.views", stored.stem),
        |chunk: [u8; 8]| {
            views.push(i64::from_le_bytes(chunk));
        },
    )?;
    if views.len() != stored.rows || values.len() != stored.rows * stored.dim {
        return Err(Error::new(
            Kind::Cabinet,
            "has another number of rows than its manifest says",
        )
        .in_file(folder));
    }
    values.extend_from_slice(later.slab.values());
    views.extend_from_slice(&later.views);
    let slab = Slab::new(stored.dim, values)?;
    let index: Box<dyn Index> = if stored.graph.is_empty() {
        Box::new(Flat::new(spec.metric, slab))
    } else {
        for file in &stored.graph {
            check_hash(
                manifest,
                folder,
                file,
                &files::hash_file(&folder.join(file))?,
            )?;
        }
        Box::new(Graph::open(
            settings,
            spec.metric,
            slab,
            stored.rows,
            folder,
            &stored.stem,
        )?)
    };
    Ok(Loaded { views, index })
}

fn check_hash(manifest: &Manifest, folder: &Path, name: &str, hash: &str) -> Result<()> {
    if manifest
        .files
        .get(name)
        .is_some_and(|wanted| wanted == hash)
    {
        return Ok(());
    }
    Err(Error::new(Kind::Cabinet, "was altered")
        .in_file(folder.join(name))
        .remedy("nothing is lost: it is made again from the catalogue"))
}

/// Reads a file of items of `N` bytes and checks its hash.
fn read_checked<const N: usize>(
    folder: &Path,
    manifest: &Manifest,
    name: &str,
    mut each: impl FnMut([u8; N]),
) -> Result<()> {
    let path = folder.join(name);
    let mut rest: Vec<u8> = Vec::with_capacity(N);
    let hash = File::open(&path)
        .and_then(|file| {
            files::hash_each(file, |mut bytes| {
                while !rest.is_empty() && !bytes.is_empty() {
                    rest.push(bytes[0]);
                    bytes = &bytes[1..];
                    if let Ok(item) = <[u8; N]>::try_from(rest.as_slice()) {
                        each(item);
                        rest.clear();
                    }
                }
                let (items, left) = bytes.as_chunks::<N>();
                items.iter().for_each(|item| each(*item));
                rest.extend_from_slice(left);
                Ok(())
            })
        })
        .map_err(|e| Error::from(e).in_file(&path))?;
    check_hash(manifest, folder, name, &hash)
}

/// Checks every file of a generation against its manifest.
pub(super) fn check(folder: &Path) -> Result<Manifest> {
    let manifest = Manifest::read(folder)?;
    for name in manifest.files.keys() {
        check_hash(
            &manifest,
            folder,
            name,
            &files::hash_file(&folder.join(name))?,
        )?;
    }
    Ok(manifest)
}

/// What a new generation is made from.
pub(super) struct Making<'a> {
    pub(super) dir: &'a Path,
    pub(super) base: u64,
    pub(super) revision: u64,
    pub(super) last_view: i64,
    pub(super) covers: String,
    pub(super) settings: &'a config::Nearest,
    pub(super) specs: &'a [ChannelSpec],
}

/// Makes a generation of all rows, on disk and in memory, and takes older ones
/// away. The caller is the only writer.
pub(super) fn make(making: &Making<'_>, connection: &Connection) -> Result<(PathBuf, Vec<Loaded>)> {
    let number = list(making.dir).first().map_or(0, |(number, _)| *number) + 1;
    let folder = making.dir.join(format!("{PREFIX}{number:04}"));
    let beside = making
        .dir
        .join(format!(".{PREFIX}{number:04}-{}", std::process::id()));
    let made = fill(making, connection, &beside).and_then(|loaded| {
        fs::rename(&beside, &folder)?;
        files::sync_folder(making.dir)?;
        Ok(loaded)
    });
    match made {
        Ok(loaded) => {
            sweep(making.dir, number);
            Ok((folder, loaded))
        }
        Err(e) => {
            let _ = fs::remove_dir_all(&beside);
            Err(e.in_file(&folder))
        }
    }
}

fn fill(making: &Making<'_>, connection: &Connection, beside: &Path) -> Result<Vec<Loaded>> {
    let _ = fs::remove_dir_all(beside);
    fs::create_dir(beside)?;
    let mut manifest = Manifest {
        format: manifest::FORMAT,
        base: making.base,
        revision: making.revision,
        last_view: making.last_view,
        covers: making.covers.clone(),
        graphs: making.settings.into(),
        channels: Vec::new(),
        files: std::collections::BTreeMap::new(),
        seal: String::new(),
    };
    let mut loaded = Vec::with_capacity(making.specs.len());
    for (i, spec) in making.specs.iter().enumerate() {
        let Rows { views, slab } = rows(connection, spec, 0)?;
        let stem = stem(i, &spec.name);
        let name = format!("{stem}.f32");
        let floats = slab.values().iter().map(|v| v.to_le_bytes());
        manifest
            .files
            .insert(name.clone(), put(&beside.join(name), floats)?);
        let name = format!("{stem}.views");
        let numbers = views.iter().map(|v| v.to_le_bytes());
        manifest
            .files
            .insert(name.clone(), put(&beside.join(name), numbers)?);
        let index = nearest::build(making.settings, spec.metric, slab)?;
        let graph = index.store(beside, &stem)?;
        for name in &graph {
            let path = beside.join(name);
            File::open(&path)?.sync_all()?;
            manifest
                .files
                .insert(name.clone(), files::hash_file(&path)?);
        }
        manifest.channels.push(Stored {
            name: spec.name.clone(),
            version: spec.version,
            dim: spec.dim,
            metric: metric_name(spec.metric).to_owned(),
            rows: views.len(),
            stem,
            graph,
        });
        loaded.push(Loaded { views, index });
    }
    manifest.seal = manifest.sealed()?;
    let text = serde_json::to_string_pretty(&manifest)
        .map_err(|e| Error::new(Kind::Internal, "a manifest cannot be written").caused_by(e))?;
    let mut file = File::create(beside.join(manifest::FILE))?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    files::sync_folder(beside)?;
    Ok(loaded)
}

/// Writes a file of items of `N` bytes and gives its hash once it is on disk.
fn put<const N: usize>(path: &Path, items: impl Iterator<Item = [u8; N]>) -> io::Result<String> {
    let mut file = Hashing::create(path)?;
    for item in items {
        file.write_all(&item)?;
    }
    file.finish()
}

/// Name of a channel's files: its name where that is a plain word.
fn stem(position: usize, name: &str) -> String {
    let plain: String = name
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() {
                c.to_ascii_lowercase()
            } else {
                '-'
            }
        })
        .take(40)
        .collect();
    format!("{position:02}-{plain}")
}

/// Takes away generations other than `current` and what killed builds left.
fn sweep(dir: &Path, current: u32) {
    for (_, path) in list(dir)
        .into_iter()
        .filter(|(number, _)| *number != current)
    {
        let _ = fs::remove_dir_all(path);
    }
    for entry in fs::read_dir(dir).into_iter().flatten().flatten() {
        let name = entry.file_name();
        if name
            .to_str()
            .is_some_and(|name| name.starts_with(".generation-"))
        {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}
