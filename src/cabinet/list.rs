//! What is in the cabinet.

use std::collections::{BTreeMap, HashMap};

use rusqlite::{Connection, OptionalExtension, Row};

use super::{Cabinet, Labels, meta, schema::broken};
use crate::{
    error::{Error, Kind, Result},
    outline::pose::View as Seen,
};

/// A piece with at least one photo.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Its name.
    pub name: String,
    /// Labels of the piece itself.
    pub labels: Labels,
    /// Number of photos of it.
    pub views: usize,
}

/// A photo in the cabinet.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// Its number, never given to another.
    pub id: i64,
    /// Name of the piece it shows.
    pub piece: String,
    /// Path under which it was added, or where it was found since.
    pub photo: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Width of the upright photo.
    pub width_px: u32,
    /// Height of the upright photo.
    pub height_px: u32,
    /// When it was taken, where known.
    pub captured: Option<String>,
    /// How the piece was seen: as told when it was added, else as read from its
    /// outline.
    pub view: Option<String>,
    /// When it was added, UTC.
    pub added_at: String,
    /// Labels of the piece and of the photo.
    pub labels: Labels,
}

impl View {
    /// How the piece was seen. A label that was set later overrules the rest.
    pub fn seen(&self) -> Seen {
        let told = self.labels.get("view").or(self.view.as_deref());
        Seen::named(told.unwrap_or_default())
    }
}

/// A photo with all that reports need.
#[derive(Clone, Debug, PartialEq)]
pub struct ViewDetail {
    /// The photo.
    pub view: View,
    /// Warnings, as given.
    pub warnings_json: String,
    /// Contour, as given.
    pub outline_json: String,
    /// Colours, as given.
    pub palette_json: String,
    /// Small picture, as given.
    pub thumbnail_jpeg: Vec<u8>,
}

/// Counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stats {
    /// Pieces with at least one photo.
    pub pieces: usize,
    /// Photos.
    pub views: usize,
    /// Photos removed but not compacted away.
    pub removed: usize,
    /// Changes so far.
    pub revision: u64,
    /// Size of the catalogue, in bytes.
    pub catalogue_bytes: u64,
    /// Number of features by channel and version.
    pub features: BTreeMap<(String, u32), usize>,
    /// For each label, its values with the number of pieces (of photos, for labels
    /// of photos): the cabinet's vocabulary.
    pub vocabulary: BTreeMap<String, BTreeMap<String, usize>>,
}

const VIEW_COLUMNS: &str = "v.id, p.name, v.photo, v.sha256, v.width_px, v.height_px, v.captured,
     v.seen_as, v.added_at, v.piece_id";

fn view_of(row: &Row<'_>) -> rusqlite::Result<(i64, View)> {
    Ok((
        row.get(9)?,
        View {
            id: row.get(0)?,
            piece: row.get(1)?,
            photo: row.get(2)?,
            sha256: row.get(3)?,
            width_px: row.get(4)?,
            height_px: row.get(5)?,
            captured: row.get(6)?,
            view: row.get(7)?,
            added_at: row.get(8)?,
            labels: Labels::new(),
        },
    ))
}

impl Cabinet {
    /// All pieces that have a photo, by name.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the catalogue is damaged.
    pub fn pieces(&self) -> Result<Vec<Piece>> {
        self.here(self.reading(|c| {
            let mut labels = labels_by_piece(c)?;
            c.prepare(
                "SELECT p.id, p.name, count(*) FROM pieces p JOIN views v ON v.piece_id = p.id
                 WHERE v.removed_at IS NULL GROUP BY p.id ORDER BY p.name",
            )
            .and_then(|mut query| {
                query
                    .query_map([], |row| {
                        Ok(Piece {
                            name: row.get(1)?,
                            labels: labels.remove(&row.get::<_, i64>(0)?).unwrap_or_default(),
                            views: row.get::<_, i64>(2)? as usize,
                        })
                    })?
                    .collect()
            })
            .map_err(broken)
        }))
    }

    /// Labels of a piece itself, if there is one of that name with a photo.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the catalogue is damaged.
    pub fn labels_of(&self, piece: &str) -> Result<Option<Labels>> {
        self.here(self.reading(|c| {
            let id: Option<i64> = c
                .prepare_cached(
                    "SELECT p.id FROM pieces p JOIN views v ON v.piece_id = p.id
                     WHERE p.name = ? AND v.removed_at IS NULL",
                )
                .and_then(|mut query| query.query_row([piece], |row| row.get(0)).optional())
                .map_err(broken)?;
            let Some(id) = id else { return Ok(None) };
            let mut found = Labels::new();
            labels_of(c, "piece_labels", "piece_id", id, &mut found)?;
            Ok(Some(found))
        }))
    }

    /// All photos, in the order in which they were added.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the catalogue is damaged.
    pub fn views(&self) -> Result<Vec<View>> {
        self.views_as("v.removed_at IS NULL")
    }

    /// Photos that were removed and can be brought back.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the catalogue is damaged.
    pub fn removed(&self) -> Result<Vec<View>> {
        self.views_as("v.removed_at IS NOT NULL")
    }

    fn views_as(&self, condition: &str) -> Result<Vec<View>> {
        let found = self.here(self.reading(|c| views_where(c, condition)))?;
        Ok(found.into_iter().map(|(_, view)| view).collect())
    }

    /// One photo with its thumbnail, contour and colours.
    ///
    /// # Errors
    /// [`Kind::Usage`] if there is no such view, [`Kind::Cabinet`] if the catalogue
    /// is damaged.
    pub fn view(&self, id: i64) -> Result<ViewDetail> {
        self.here(self.reading(|c| {
            let found = c
                .prepare_cached(&format!(
                    "SELECT {VIEW_COLUMNS}, v.warnings_json, v.outline_json, v.palette_json,
                         v.thumbnail
                     FROM views v JOIN pieces p ON p.id = v.piece_id WHERE v.id = ?"
                ))
                .and_then(|mut query| {
                    query
                        .query_row([id], |row| {
                            let (piece_id, view) = view_of(row)?;
                            Ok((
                                piece_id,
                                ViewDetail {
                                    view,
                                    warnings_json: row.get(10)?,
                                    outline_json: row.get(11)?,
                                    palette_json: row.get(12)?,
                                    thumbnail_jpeg: row.get(13)?,
                                },
                            ))
                        })
                        .optional()
                })
                .map_err(broken)?;
            let (piece_id, mut detail) = found
                .ok_or_else(|| Error::new(Kind::Usage, format!("has no photo of number {id}")))?;
            for (table, key, id) in [
                ("piece_labels", "piece_id", piece_id),
                ("view_labels", "view_id", id),
            ] {
                labels_of(c, table, key, id, &mut detail.view.labels)?;
            }
            Ok(detail)
        }))
    }

    /// Counts of what is in the cabinet.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the catalogue is damaged.
    pub fn stats(&self) -> Result<Stats> {
        self.here(self.reading(|c| {
            let one = |sql: &str| -> Result<i64> {
                c.query_row(sql, [], |row| row.get(0)).map_err(broken)
            };
            let mut stats = Stats {
                pieces: one("SELECT count(DISTINCT piece_id) FROM views WHERE removed_at IS NULL")?
                    as usize,
                views: one("SELECT count(*) FROM views WHERE removed_at IS NULL")? as usize,
                removed: one("SELECT count(*) FROM views WHERE removed_at IS NOT NULL")? as usize,
                revision: meta(c, "revision")?,
                catalogue_bytes: one(
                    "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()",
                )?
                .cast_unsigned(),
                ..Stats::default()
            };
            let mut query = c
                .prepare(
                    "SELECT f.channel, f.version, count(*) FROM features f
                     JOIN views v ON v.id = f.view_id
                     WHERE v.removed_at IS NULL GROUP BY f.channel, f.version",
                )
                .map_err(broken)?;
            let mut rows = query.query([]).map_err(broken)?;
            while let Some(row) = rows.next().map_err(broken)? {
                let key = (row.get(0).map_err(broken)?, row.get(1).map_err(broken)?);
                let n: i64 = row.get(2).map_err(broken)?;
                stats.features.insert(key, n as usize);
            }
            let mut query = c
                .prepare(
                    "SELECT l.label, l.value, count(*) FROM piece_labels l
                     WHERE l.piece_id IN (SELECT piece_id FROM views WHERE removed_at IS NULL)
                     GROUP BY l.label, l.value
                     UNION ALL
                     SELECT l.label, l.value, count(*) FROM view_labels l
                     JOIN views v ON v.id = l.view_id WHERE v.removed_at IS NULL
                     GROUP BY l.label, l.value",
                )
                .map_err(broken)?;
            let mut rows = query.query([]).map_err(broken)?;
            while let Some(row) = rows.next().map_err(broken)? {
                let label: String = row.get(0).map_err(broken)?;
                let n: i64 = row.get(2).map_err(broken)?;
                stats
                    .vocabulary
                    .entry(label)
                    .or_default()
                    .insert(row.get(1).map_err(broken)?, n as usize);
            }
            Ok(stats)
        }))
    }

    /// Runs `read` on one unchanging state of the catalogue, whoever writes it.
    pub(super) fn reading<T>(&self, read: impl FnOnce(&Connection) -> Result<T>) -> Result<T> {
        let tx = self.connection.unchecked_transaction().map_err(broken)?;
        read(&tx)
    }
}

/// Views with their labels, each after the number of its piece.
pub(super) fn views_where(connection: &Connection, condition: &str) -> Result<Vec<(i64, View)>> {
    let by_piece = labels_by_piece(connection)?;
    let mut by_view = labels_by(connection, "SELECT view_id, label, value FROM view_labels")?;
    connection
        .prepare(&format!(
            "SELECT {VIEW_COLUMNS} FROM views v JOIN pieces p ON p.id = v.piece_id
             WHERE {condition} ORDER BY v.id"
        ))
        .and_then(|mut query| {
            query
                .query_map([], |row| {
                    let (piece_id, mut view) = view_of(row)?;
                    view.labels = by_view.remove(&view.id).unwrap_or_default();
                    if let Some(labels) = by_piece.get(&piece_id) {
                        for (label, value) in labels.iter() {
                            view.labels.put(label.to_owned(), value.to_owned());
                        }
                    }
                    Ok((piece_id, view))
                })?
                .collect()
        })
        .map_err(broken)
}

/// Adds the labels of one piece or one view.
fn labels_of(c: &Connection, table: &str, key: &str, id: i64, found: &mut Labels) -> Result<()> {
    let mut query = c
        .prepare_cached(&format!("SELECT label, value FROM {table} WHERE {key} = ?"))
        .map_err(broken)?;
    let mut rows = query.query([id]).map_err(broken)?;
    while let Some(row) = rows.next().map_err(broken)? {
        found.put(row.get(0).map_err(broken)?, row.get(1).map_err(broken)?);
    }
    Ok(())
}

/// Labels of pieces by the number of the piece.
pub(super) fn labels_by_piece(connection: &Connection) -> Result<HashMap<i64, Labels>> {
    labels_by(
        connection,
        "SELECT piece_id, label, value FROM piece_labels",
    )
}

fn labels_by(connection: &Connection, sql: &str) -> Result<HashMap<i64, Labels>> {
    let mut found: HashMap<i64, Labels> = HashMap::new();
    let mut query = connection.prepare(sql).map_err(broken)?;
    let mut rows = query.query([]).map_err(broken)?;
    while let Some(row) = rows.next().map_err(broken)? {
        found
            .entry(row.get(0).map_err(broken)?)
            .or_default()
            .put(row.get(1).map_err(broken)?, row.get(2).map_err(broken)?);
    }
    Ok(found)
}
