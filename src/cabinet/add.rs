//! Adding photos.

use std::path::Path;

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::{
    Cabinet, Labels, Origin,
    change::{self, NOW},
    history::{self, By, Subject},
    schema::broken,
};
use crate::{
    channel::Vector,
    error::{Error, Kind, Result},
};

/// The features of one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Feature {
    /// Name of the channel.
    pub channel: String,
    /// Version of the channel that made it.
    pub version: u32,
    /// The numbers.
    pub vector: Vector,
}

/// A photo to be added. Thumbnail, outline, palette and warnings are kept as
/// given; only `describe` and the reports know what is in them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NewView {
    /// The piece it shows; without it the photo becomes a piece of its own,
    /// named after the file.
    pub piece: Option<String>,
    /// Path of the photo as the user gave it.
    pub photo: String,
    /// SHA-256 of the file, 64 lower-case hexadecimal digits.
    pub sha256: String,
    /// Width of the upright photo.
    pub width_px: u32,
    /// Height of the upright photo.
    pub height_px: u32,
    /// When it was taken, where known.
    pub captured: Option<String>,
    /// How the piece was seen (`side`, `oblique`, `top`): as told, else as read from
    /// its outline.
    pub view: Option<String>,
    /// Warnings, as JSON.
    pub warnings_json: String,
    /// A small picture of the piece.
    pub thumbnail_jpeg: Vec<u8>,
    /// Its contour, as JSON.
    pub outline_json: String,
    /// Its colours, as JSON.
    pub palette_json: String,
    /// One entry for each channel that speaks.
    pub features: Vec<Feature>,
    /// What is known about it.
    pub labels: Labels,
    /// Where the labels come from.
    pub origin: Origin,
}

/// What became of a photo that was to be added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Added {
    /// It is in the cabinet, durably.
    Added {
        /// Name of its piece.
        piece: String,
        /// Its number.
        view_id: i64,
    },
    /// The same file is there already; nothing was changed.
    Duplicate {
        /// Name of the piece it shows.
        piece: String,
        /// The path under which it was added.
        photo: String,
        /// Its number.
        view_id: i64,
    },
}

impl Added {
    /// Number of the view, added now or before.
    pub fn view_id(&self) -> i64 {
        match self {
            Self::Added { view_id, .. } | Self::Duplicate { view_id, .. } => *view_id,
        }
    }

    /// Name of the piece.
    pub fn piece(&self) -> &str {
        match self {
            Self::Added { piece, .. } | Self::Duplicate { piece, .. } => piece,
        }
    }
}

impl Cabinet {
    /// Adds one photo. When this returns, the photo is on disk.
    ///
    /// # Errors
    /// [`Kind::Usage`] if its labels contradict each other, [`Kind::Internal`] if
    /// it is malformed, [`Kind::Cabinet`] or [`Kind::Io`] if it cannot be kept;
    /// then nothing of it is.
    pub fn add_view(&mut self, view: &NewView) -> Result<Added> {
        let mut added = self.add_views(std::slice::from_ref(view))?;
        added
            .pop()
            .ok_or_else(|| Error::new(Kind::Internal, "a photo was added without an answer"))
    }

    /// Adds several photos in one transaction: all of them or none, with one wait
    /// for the disk. The answers are in the order of `views`.
    ///
    /// # Errors
    /// As [`Cabinet::add_view`], naming the photo.
    pub fn add_views(&mut self, views: &[NewView]) -> Result<Vec<Added>> {
        if views.is_empty() {
            return Ok(Vec::new());
        }
        self.write(|tx| {
            views
                .iter()
                .map(|view| add(tx, view).map_err(|e| e.in_file(&view.photo)))
                .collect()
        })
    }

    /// Whether a file of this content is in the cabinet, and where: what
    /// [`Cabinet::add_view`] would answer, before the photo has been described.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the catalogue is damaged.
    pub fn find_content(&self, sha256: &str) -> Result<Option<Added>> {
        self.here(duplicate(&self.connection, sha256))
    }
}

fn duplicate(connection: &Connection, sha256: &str) -> Result<Option<Added>> {
    connection
        .prepare_cached(
            "SELECT p.name, v.photo, v.id FROM views v JOIN pieces p ON p.id = v.piece_id
             WHERE v.sha256 = ? AND v.removed_at IS NULL",
        )
        .and_then(|mut query| {
            query
                .query_row([sha256], |row| {
                    Ok(Added::Duplicate {
                        piece: row.get(0)?,
                        photo: row.get(1)?,
                        view_id: row.get(2)?,
                    })
                })
                .optional()
        })
        .map_err(broken)
}

fn check(view: &NewView) -> Result<()> {
    let hex = |c: u8| c.is_ascii_digit() || (b'a'..=b'f').contains(&c);
    if view.sha256.len() != 64 || !view.sha256.bytes().all(hex) {
        return Err(Error::new(Kind::Internal, "a photo has no valid hash"));
    }
    for (i, feature) in view.features.iter().enumerate() {
        if view.features[..i]
            .iter()
            .any(|f| f.channel == feature.channel)
        {
            return Err(Error::new(
                Kind::Internal,
                format!("a photo has two features of channel {}", feature.channel),
            ));
        }
    }
    view.labels.check_years()
}

fn add(tx: &Transaction<'_>, view: &NewView) -> Result<Added> {
    check(view)?;
    if let Some(found) = duplicate(tx, &view.sha256)? {
        return Ok(found);
    }
    let given = view
        .piece
        .as_deref()
        .map(str::trim)
        .filter(|name| !name.is_empty());
    let piece = match given {
        Some(name) => name.to_owned(),
        None => unused_name(tx, &view.photo)?,
    };
    let piece_id = piece_id(tx, &piece)?;
    tx.prepare_cached(&format!(
        "INSERT INTO views (piece_id, photo, sha256, width_px, height_px, captured, seen_as,
             added_at, warnings_json, outline_json, palette_json, thumbnail)
         VALUES (?, ?, ?, ?, ?, ?, ?, {NOW}, ?, ?, ?, ?)"
    ))
    .and_then(|mut insert| {
        insert.execute(params![
            piece_id,
            view.photo,
            view.sha256,
            view.width_px,
            view.height_px,
            view.captured,
            view.view,
            view.warnings_json,
            view.outline_json,
            view.palette_json,
            view.thumbnail_jpeg,
        ])
    })
    .map_err(broken)?;
    let view_id = tx.last_insert_rowid();
    keep_features(tx, view_id, &view.features)?;
    let subject = Subject {
        piece_id,
        piece: &piece,
        view: Some((view_id, &view.photo)),
    };
    history::record(tx, By::new(&view.origin.who), "add", &subject, None)?;
    for (label, value) in view.labels.iter() {
        change::set(tx, &subject, label, value, &view.origin)?;
    }
    change::check_years(tx, piece_id)?;
    Ok(Added::Added { piece, view_id })
}

/// Writes the features of a view, in place of what is there.
pub(super) fn keep_features(
    tx: &Transaction<'_>,
    view_id: i64,
    features: &[Feature],
) -> Result<()> {
    let mut insert = tx
        .prepare_cached(
            "INSERT INTO features (view_id, channel, version, dim, vector) VALUES (?, ?, ?, ?, ?)",
        )
        .map_err(broken)?;
    for feature in features {
        insert
            .execute(params![
                view_id,
                feature.channel,
                feature.version,
                feature.vector.dim() as i64,
                feature.vector.to_bytes(),
            ])
            .map_err(broken)?;
    }
    Ok(())
}

/// The number of the piece called `name`, which is made if there is none.
fn piece_id(tx: &Transaction<'_>, name: &str) -> Result<i64> {
    if let Some(id) = change::find_piece(tx, name)? {
        return Ok(id);
    }
    tx.execute("INSERT INTO pieces (name) VALUES (?)", [name])
        .map_err(broken)?;
    Ok(tx.last_insert_rowid())
}

/// A name after the file that no piece has yet, removed ones included.
fn unused_name(connection: &Connection, photo: &str) -> Result<String> {
    let stem = Path::new(photo)
        .file_stem()
        .map(|stem| stem.to_string_lossy().trim().to_owned())
        .filter(|stem| !stem.is_empty())
        .unwrap_or_else(|| "piece".to_owned());
    let is_used = |number: u64| match number {
        1 => change::find_piece(connection, &stem),
        _ => change::find_piece(connection, &format!("{stem}-{number}")),
    };
    // Ten thousand files may all be called "front": doubling, then halving, asks
    // a few dozen times instead of ten thousand.
    let (mut used, mut free) = (0, 1);
    while is_used(free)?.is_some() {
        (used, free) = (free, free * 2);
    }
    while free - used > 1 {
        let middle = used + (free - used) / 2;
        if is_used(middle)?.is_some() {
            used = middle;
        } else {
            free = middle;
        }
    }
    Ok(match free {
        1 => stem,
        number => format!("{stem}-{number}"),
    })
}
