//! Changing what is there: labels, removing and bringing back, compacting. Every
//! change leaves a line in the history.

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::{
    Cabinet, Feature, Labels, add, count,
    history::{By, Subject, Value, record},
    labels, photos,
    schema::broken,
};
use crate::error::{Error, Kind, Result};

/// This moment, in SQL.
pub(super) const NOW: &str = "strftime('%Y-%m-%dT%H:%M:%SZ', 'now')";

/// Where labels come from and how sure they are.
#[derive(Clone, Debug, PartialEq)]
pub struct Origin {
    /// What said so: `labels file`, `folder names`, `command line`.
    pub who: String,
    /// From 0 (a guess) to 1 (known).
    pub certainty: f64,
}

impl Origin {
    /// Known, from `who`.
    pub fn new(who: impl Into<String>) -> Self {
        Self {
            who: who.into(),
            certainty: 1.0,
        }
    }
}

impl Default for Origin {
    fn default() -> Self {
        Self::new("command line")
    }
}

/// What [`Cabinet::compact`] took away for good.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Compacted {
    /// Photos.
    pub views: usize,
    /// Pieces of which no photo was left.
    pub pieces: usize,
    /// Copies in `photos/` that belonged to no photo.
    pub copies: usize,
}

struct Target {
    piece_id: i64,
    piece: String,
    /// Number, path and whether removed.
    views: Vec<(i64, String, bool)>,
    whole: bool,
}

impl Cabinet {
    /// Sets labels of a piece (by name), or of the piece and photo (by the photo's
    /// path or hash). An empty value takes a label away. Labels of a photo (such
    /// as `notes`) go to that photo, or to all photos of the piece. Features are
    /// not touched, so nothing needs to be built again. Returns the number of
    /// labels that changed.
    ///
    /// # Errors
    /// [`Kind::Usage`] if there is no such piece or photo, or a value is
    /// impossible; then nothing is changed.
    pub fn relabel(
        &mut self,
        target: &str,
        values: &[(&str, &str)],
        origin: &Origin,
    ) -> Result<usize> {
        self.write(|tx| {
            let target = resolve(tx, target, Some(false))?;
            let mut changed = 0;
            for (label, value) in values {
                let (label, value) = (label.trim(), value.trim());
                if Labels::is_of_view(label) {
                    for (id, photo, _) in &target.views {
                        let subject = target.subject(Some((*id, photo)));
                        changed += usize::from(set(tx, &subject, label, value, origin)?);
                    }
                } else {
                    let subject = target.subject(None);
                    changed += usize::from(set(tx, &subject, label, value, origin)?);
                }
            }
            check_years(tx, target.piece_id)?;
            Ok(changed)
        })
    }

    /// Gives a piece another name.
    ///
    /// # Errors
    /// [`Kind::Usage`] if there is no such piece or the name is taken.
    pub fn rename(&mut self, piece: &str, name: &str, origin: &Origin) -> Result<()> {
        self.write(|tx| {
            let name = name.trim();
            if name.is_empty() {
                return Err(Error::new(Kind::Usage, "a piece needs a name"));
            }
            let id = find_piece(tx, piece)?.ok_or_else(|| unknown(piece))?;
            rename_by(tx, By::new(&origin.who), id, piece, name)
        })
    }

    /// Removes a piece (by name) or one photo (by path or hash). It is left out
    /// of every answer at once and can be brought back until [`Cabinet::compact`].
    /// Returns the number of photos removed.
    ///
    /// # Errors
    /// [`Kind::Usage`] if there is no such piece or photo.
    pub fn remove(&mut self, target: &str, origin: &Origin) -> Result<usize> {
        self.write(|tx| {
            let target = resolve(tx, target, Some(false))?;
            for (id, photo, _) in &target.views {
                let subject = target.subject(Some((*id, photo)));
                put_away(tx, By::new(&origin.who), &subject)?;
            }
            Ok(target.views.len())
        })
    }

    /// Brings back what was removed. Returns the number of photos.
    ///
    /// # Errors
    /// [`Kind::Usage`] if nothing of that name is removed, or the same file was
    /// added again meanwhile.
    pub fn restore(&mut self, target: &str, origin: &Origin) -> Result<usize> {
        self.write(|tx| {
            let target = resolve(tx, target, Some(true))?;
            for (id, photo, _) in &target.views {
                let subject = target.subject(Some((*id, photo)));
                bring_back(tx, By::new(&origin.who), &subject)?;
            }
            Ok(target.views.len())
        })
    }

    /// Puts features in place of those of the same channels: after a channel got a
    /// new version, without losing labels or history. `moved`: where the photo is now,
    /// if it is no longer where it was added from.
    ///
    /// # Errors
    /// [`Kind::Usage`] if there is no such view.
    pub fn replace_features(
        &mut self,
        view_id: i64,
        features: &[Feature],
        moved: Option<&str>,
        origin: &Origin,
    ) -> Result<()> {
        self.write(|tx| {
            let (piece_id, piece, photo): (i64, String, String) = tx
                .query_row(
                    "SELECT p.id, p.name, v.photo FROM views v JOIN pieces p ON p.id = v.piece_id
                     WHERE v.id = ?",
                    [view_id],
                    |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
                )
                .optional()
                .map_err(broken)?
                .ok_or_else(|| unknown(&view_id.to_string()))?;
            for feature in features {
                tx.execute(
                    "DELETE FROM features WHERE view_id = ? AND channel = ?",
                    params![view_id, feature.channel],
                )
                .map_err(broken)?;
            }
            add::keep_features(tx, view_id, features)?;
            if let Some(now) = moved {
                let place = params![now, view_id];
                tx.execute("UPDATE views SET photo = ? WHERE id = ?", place)
                    .map_err(broken)?;
            }
            let value = moved.map(|now| Value {
                label: "photo",
                old: Some(&photo),
                new: Some(now),
                ..Value::default()
            });
            let subject = Subject {
                piece_id,
                piece: &piece,
                view: Some((view_id, &photo)),
            };
            record(tx, By::new(&origin.who), "features", &subject, value)?;
            count(tx, "base")
        })
    }

    /// Takes removed photos away for good, with pieces that have none left and
    /// copies of photos that belong to nothing, and gives their space back.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] or [`Kind::Io`] if the catalogue cannot be written.
    pub fn compact(&mut self) -> Result<Compacted> {
        let (views, pieces, kept) = self.write(|tx| {
            let views = tx
                .execute("DELETE FROM views WHERE removed_at IS NOT NULL", [])
                .map_err(broken)?;
            let pieces = tx
                .execute(
                    "DELETE FROM pieces WHERE id NOT IN (SELECT piece_id FROM views)",
                    [],
                )
                .map_err(broken)?;
            if views > 0 {
                count(tx, "base")?;
            }
            let kept = tx
                .prepare("SELECT sha256 FROM views")
                .and_then(|mut query| {
                    query
                        .query_map([], |row| row.get::<_, String>(0))?
                        .collect::<rusqlite::Result<std::collections::HashSet<_>>>()
                })
                .map_err(broken)?;
            Ok((views, pieces, kept))
        })?;
        self.here(
            self.connection
                .execute_batch("VACUUM; PRAGMA wal_checkpoint(TRUNCATE)")
                .map_err(broken),
        )?;
        let copies = photos::sweep(&self.dir, &kept)?;
        Ok(Compacted {
            views,
            pieces,
            copies,
        })
    }
}

impl Target {
    fn subject<'a>(&'a self, view: Option<(i64, &'a str)>) -> Subject<'a> {
        Subject {
            piece_id: self.piece_id,
            piece: &self.piece,
            view,
        }
    }
}

fn unknown(target: &str) -> Error {
    Error::new(
        Kind::Usage,
        format!("the cabinet has no piece or photo \"{target}\""),
    )
    .remedy("see `footring cabinet list` for their names")
}

/// A piece by its name, else a photo by its path or hash. With `removed`, only
/// views in that state count.
fn resolve(tx: &Connection, target: &str, removed: Option<bool>) -> Result<Target> {
    let target = target.trim();
    let mut query = tx
        .prepare_cached(
            "SELECT p.id, p.name, v.id, v.photo, v.removed_at IS NOT NULL, p.name = ?1
             FROM views v JOIN pieces p ON p.id = v.piece_id
             WHERE (p.name = ?1 OR v.photo = ?1 OR v.sha256 = ?1)
             ORDER BY v.id",
        )
        .map_err(broken)?;
    let rows = query
        .query_map([target], |row| {
            Ok((
                row.get::<_, i64>(0)?,
                row.get::<_, String>(1)?,
                (row.get(2)?, row.get(3)?, row.get(4)?),
                row.get::<_, bool>(5)?,
            ))
        })
        .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
        .map_err(broken)?;
    let whole = rows.iter().any(|row| row.3);
    let mut found: Option<Target> = None;
    for (piece_id, piece, view, named) in rows {
        let (_, _, is_removed): (i64, String, bool) = view;
        if named != whole || removed.is_some_and(|wanted| wanted != is_removed) {
            continue;
        }
        let entry = found.get_or_insert_with(|| Target {
            piece_id,
            piece,
            views: Vec::new(),
            whole,
        });
        if entry.piece_id != piece_id {
            return Err(Error::new(
                Kind::Usage,
                format!("\"{target}\" is a photo of more than one piece"),
            )
            .remedy("name the piece"));
        }
        entry.views.push(view);
    }
    let found = found.ok_or_else(|| unknown(target))?;
    debug_assert!(found.whole || !found.views.is_empty());
    Ok(found)
}

/// The number of a piece, whether or not it has photos left.
pub(super) fn find_piece(connection: &Connection, name: &str) -> Result<Option<i64>> {
    connection
        .prepare_cached("SELECT id FROM pieces WHERE name = ?")
        .and_then(|mut query| query.query_row([name], |row| row.get(0)).optional())
        .map_err(broken)
}

/// Whether the piece, and the view where there is one, is in the catalogue,
/// removed or not.
pub(super) fn is_there(tx: &Connection, subject: &Subject<'_>) -> Result<bool> {
    let has = |table: &str, id: i64| {
        tx.prepare_cached(&format!("SELECT count(*) > 0 FROM {table} WHERE id = ?"))
            .and_then(|mut query| query.query_row([id], |row| row.get::<_, bool>(0)))
            .map_err(broken)
    };
    Ok(has("pieces", subject.piece_id)?
        && match subject.view {
            Some((id, _)) => has("views", id)?,
            None => true,
        })
}

/// Leaves the subject's view out of all answers.
pub(super) fn put_away(tx: &Transaction<'_>, by: By<'_>, subject: &Subject<'_>) -> Result<()> {
    tx.execute(
        &format!("UPDATE views SET removed_at = {NOW} WHERE id = ? AND removed_at IS NULL"),
        [subject.view.map(|(id, _)| id)],
    )
    .map_err(broken)?;
    record(tx, by, "remove", subject, None)
}

/// Brings the subject's view back.
pub(super) fn bring_back(tx: &Transaction<'_>, by: By<'_>, subject: &Subject<'_>) -> Result<()> {
    let (id, photo) = subject.view.unzip();
    tx.execute("UPDATE views SET removed_at = NULL WHERE id = ?", [id])
        .map_err(|e| match e.sqlite_error_code() {
            Some(rusqlite::ErrorCode::ConstraintViolation) => Error::new(
                Kind::Usage,
                "the same file was added again since it was removed",
            )
            .in_file(photo.unwrap_or_default())
            .remedy("remove the newer one first, or leave it so"),
            _ => broken(e),
        })?;
    record(tx, by, "restore", subject, None)
}

/// Gives a piece another name, unless it is taken.
pub(super) fn rename_by(
    tx: &Transaction<'_>,
    by: By<'_>,
    piece_id: i64,
    piece: &str,
    name: &str,
) -> Result<()> {
    if find_piece(tx, name)?.is_some() {
        return Err(Error::new(
            Kind::Usage,
            format!("a piece is called \"{name}\" already"),
        ));
    }
    let subject = Subject {
        piece_id,
        piece,
        view: None,
    };
    let value = Value {
        label: "piece",
        old: Some(piece),
        new: Some(name),
        ..Value::default()
    };
    record(tx, by, "rename", &subject, Some(value))?;
    tx.execute(
        "UPDATE pieces SET name = ? WHERE id = ?",
        params![name, piece_id],
    )
    .map(drop)
    .map_err(broken)
}

/// Sets one label of the view or the piece, whichever it belongs to, and notes it
/// in the history. Returns whether it changed.
pub(super) fn set(
    tx: &Transaction<'_>,
    subject: &Subject<'_>,
    label: &str,
    value: &str,
    origin: &Origin,
) -> Result<bool> {
    set_by(tx, By::new(&origin.who), subject, label, value, origin)
}

/// The table a label is kept in, its key and that key's value.
fn place(subject: &Subject<'_>, label: &str) -> (&'static str, &'static str, i64) {
    match subject.view {
        Some((view_id, _)) if Labels::is_of_view(label) => ("view_labels", "view_id", view_id),
        _ => ("piece_labels", "piece_id", subject.piece_id),
    }
}

/// The value of a label, who said so, and how sure it is.
pub(super) fn value(
    tx: &Connection,
    subject: &Subject<'_>,
    label: &str,
) -> Result<Option<(String, String, f64)>> {
    let (table, key, id) = place(subject, label);
    tx.prepare_cached(&format!(
        "SELECT value, who, certainty FROM {table} WHERE {key} = ? AND label = ?"
    ))
    .and_then(|mut query| {
        query
            .query_row(params![id, label], |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?))
            })
            .optional()
    })
    .map_err(broken)
}

/// As [`set`], where who makes the change is another than who says what the
/// label is: taking back a change gives a value back to whom it was from.
pub(super) fn set_by(
    tx: &Transaction<'_>,
    by: By<'_>,
    subject: &Subject<'_>,
    label: &str,
    value: &str,
    origin: &Origin,
) -> Result<bool> {
    labels::check(label, value)?;
    if !(0.0..=1.0).contains(&origin.certainty) {
        return Err(Error::new(Kind::Usage, "certainty must be from 0 to 1"));
    }
    let old = self::value(tx, subject, label)?;
    let same = match &old {
        Some((old, _, certainty)) => {
            old == value && certainty.to_bits() == origin.certainty.to_bits()
        }
        None => value.is_empty(),
    };
    if same {
        return Ok(false);
    }
    let (table, key, id) = place(subject, label);
    if value.is_empty() {
        tx.prepare_cached(&format!(
            "DELETE FROM {table} WHERE {key} = ? AND label = ?"
        ))
        .and_then(|mut delete| delete.execute(params![id, label]))
        .map_err(broken)?;
    } else {
        tx.prepare_cached(&format!(
            "INSERT INTO {table} ({key}, label, value, who, certainty) VALUES (?, ?, ?, ?, ?)
             ON CONFLICT DO UPDATE SET value = excluded.value, who = excluded.who,
                 certainty = excluded.certainty"
        ))
        .and_then(|mut insert| {
            insert.execute(params![id, label, value, origin.who, origin.certainty])
        })
        .map_err(broken)?;
    }
    let change = Value {
        label,
        old: old.as_ref().map(|(value, _, _)| value.as_str()),
        old_who: old.as_ref().map(|(_, who, _)| who.as_str()),
        old_certainty: old.as_ref().map(|(_, _, certainty)| *certainty),
        new: (!value.is_empty()).then_some(value),
    };
    record(tx, by, "label", subject, Some(change))?;
    Ok(true)
}

/// Refuses years of a piece that contradict each other.
pub(super) fn check_years(tx: &Connection, piece_id: i64) -> Result<()> {
    let mut labels = Labels::new();
    let mut query = tx
        .prepare_cached(
            "SELECT label, value FROM piece_labels
             WHERE piece_id = ? AND label IN ('year_from', 'year_to')",
        )
        .map_err(broken)?;
    let mut rows = query.query([piece_id]).map_err(broken)?;
    while let Some(row) = rows.next().map_err(broken)? {
        labels.put(row.get(0).map_err(broken)?, row.get(1).map_err(broken)?);
    }
    labels.check_years()
}
