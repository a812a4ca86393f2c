//! The history: a line for every change, and which lines belong together.
//!
//! Lines of one number in `change` were one change to the user: what one
//! transaction wrote, or one whole command (see [`Cabinet::join_changes`]).

use std::collections::HashSet;

use rusqlite::{Connection, Row, Transaction, params};

use super::{Cabinet, change::NOW, schema, schema::broken};
use crate::error::Result;

/// One line of the history.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Number that the lines of one change share; `None` for lines that a
    /// footring before format 2 wrote.
    pub number: Option<u64>,
    /// The number of the change that this one took back.
    pub undoes: Option<u64>,
    /// Whether it was taken back since.
    pub is_undone: bool,
    /// When, UTC.
    pub at: String,
    /// Who or what.
    pub who: String,
    /// `add`, `label`, `rename`, `remove`, `restore`, `features` or `note`.
    pub action: String,
    /// Name of the piece at that time; of a note, the two labels.
    pub piece: String,
    /// The photo, where it was about one.
    pub photo: Option<String>,
    /// The label that was changed; of a note, the level.
    pub label: Option<String>,
    /// Its value before.
    pub old: Option<String>,
    /// Its value after.
    pub new: Option<String>,
}

/// What a line of history is about.
pub(super) struct Subject<'a> {
    pub(super) piece_id: i64,
    pub(super) piece: &'a str,
    pub(super) view: Option<(i64, &'a str)>,
}

/// What changed, where something has a value: its label, its value before with
/// who said so and how sure it was, and its value after.
#[derive(Clone, Copy, Default)]
pub(super) struct Value<'a> {
    pub(super) label: &'a str,
    pub(super) old: Option<&'a str>,
    pub(super) old_who: Option<&'a str>,
    pub(super) old_certainty: Option<f64>,
    pub(super) new: Option<&'a str>,
}

/// Who makes a change, and which one it takes back.
#[derive(Clone, Copy)]
pub(super) struct By<'a> {
    pub(super) who: &'a str,
    pub(super) undoes: Option<i64>,
}

impl<'a> By<'a> {
    pub(super) fn new(who: &'a str) -> Self {
        Self { who, undoes: None }
    }
}

/// Writes a line of history about a piece or a photo.
pub(super) fn record(
    tx: &Transaction<'_>,
    by: By<'_>,
    action: &str,
    subject: &Subject<'_>,
    value: Option<Value<'_>>,
) -> Result<()> {
    let ids = [Some(subject.piece_id), subject.view.map(|(id, _)| id), None];
    let photo = subject.view.map(|(_, photo)| photo);
    insert(tx, by, action, ids, (subject.piece, photo), value)
}

/// Writes a line of history about a note; `pair` names its labels.
pub(super) fn record_note(
    tx: &Transaction<'_>,
    by: By<'_>,
    id: i64,
    pair: &str,
    value: Value<'_>,
) -> Result<()> {
    insert(
        tx,
        by,
        "note",
        [None, None, Some(id)],
        (pair, None),
        Some(value),
    )
}

/// `ids` are those of the piece, the view and the note; `names` those of the
/// piece and the photo.
fn insert(
    tx: &Transaction<'_>,
    by: By<'_>,
    action: &str,
    ids: [Option<i64>; 3],
    names: (&str, Option<&str>),
    value: Option<Value<'_>>,
) -> Result<()> {
    let label = value.map(|value| value.label);
    let value = value.unwrap_or_default();
    tx.prepare_cached(&format!(
        "INSERT INTO history (at, change, undoes, who, action, piece_id, view_id, note_id, piece,
             photo, label, old, old_who, old_certainty, new)
         VALUES ({NOW}, (SELECT value FROM meta WHERE key = 'change'), ?, ?, ?, ?, ?, ?, ?, ?, ?,
             ?, ?, ?, ?)"
    ))
    .and_then(|mut insert| {
        insert.execute(params![
            by.undoes,
            by.who,
            action,
            ids[0],
            ids[1],
            ids[2],
            names.0,
            names.1,
            label,
            value.old,
            value.old_who,
            value.old_certainty,
            value.new,
        ])
    })
    .map(drop)
    .map_err(broken)
}

impl Cabinet {
    /// The latest lines, newest first.
    ///
    /// # Errors
    /// [`crate::error::Kind::Cabinet`] if the catalogue is damaged.
    pub fn history(&self, limit: usize) -> Result<Vec<Change>> {
        let limit = i64::try_from(limit).unwrap_or(i64::MAX);
        self.here(self.reading(|c| {
            let is_old = !schema::knows_changes(c)?;
            lines(c, is_old, &format!("ORDER BY id DESC LIMIT {limit}"), &[])
        }))
    }

    /// All lines about a piece, under whatever name, newest first.
    ///
    /// # Errors
    /// [`crate::error::Kind::Cabinet`] if the catalogue is damaged.
    pub fn history_of(&self, piece: &str) -> Result<Vec<Change>> {
        self.here(self.reading(|c| {
            let is_old = !schema::knows_changes(c)?;
            // A name may have been another piece's before: the number counts where
            // there is one, and the name for pieces that are gone.
            let condition = if is_old {
                "piece = ?1"
            } else {
                "piece_id = (SELECT id FROM pieces WHERE name = ?1)
                 OR piece = ?1 AND (piece_id IS NULL OR piece_id NOT IN (SELECT id FROM pieces))"
            };
            lines(
                c,
                is_old,
                &format!("WHERE {condition} ORDER BY id DESC"),
                &[&piece],
            )
        }))
    }
}

fn lines(
    c: &Connection,
    is_old: bool,
    which: &str,
    values: &[&dyn rusqlite::ToSql],
) -> Result<Vec<Change>> {
    let undone = if is_old {
        HashSet::new()
    } else {
        taken_back(c)?
    };
    let numbers = if is_old {
        "NULL, NULL"
    } else {
        "change, undoes"
    };
    c.prepare(&format!(
        "SELECT {numbers}, at, who, action, piece, photo, label, old, new FROM history {which}"
    ))
    .and_then(|mut query| {
        query
            .query_map(values, |row| line(row, &undone))?
            .collect::<rusqlite::Result<Vec<_>>>()
    })
    .map_err(broken)
}

fn line(row: &Row<'_>, undone: &HashSet<i64>) -> rusqlite::Result<Change> {
    let number: Option<i64> = row.get(0)?;
    Ok(Change {
        number: number.map(i64::cast_unsigned),
        undoes: row.get::<_, Option<i64>>(1)?.map(i64::cast_unsigned),
        is_undone: number.is_some_and(|n| undone.contains(&n)),
        at: row.get(2)?,
        who: row.get(3)?,
        action: row.get(4)?,
        piece: row.get(5)?,
        photo: row.get(6)?,
        label: row.get(7)?,
        old: row.get(8)?,
        new: row.get(9)?,
    })
}

/// One change as a whole.
pub(super) struct Whole {
    pub(super) number: i64,
    pub(super) undoes: Option<i64>,
    /// Whether photos were described again and nothing else.
    pub(super) is_description: bool,
}

/// All numbered changes, newest first.
pub(super) fn changes(c: &Connection) -> Result<Vec<Whole>> {
    c.prepare_cached(
        "SELECT change, max(undoes), min(action = 'features') FROM history
         WHERE change IS NOT NULL GROUP BY change ORDER BY change DESC",
    )
    .and_then(|mut query| {
        query
            .query_map([], |row| {
                Ok(Whole {
                    number: row.get(0)?,
                    undoes: row.get(1)?,
                    is_description: row.get(2)?,
                })
            })?
            .collect()
    })
    .map_err(broken)
}

/// Changes that a later one took back, unless that one was itself taken back.
pub(super) fn taken_back(c: &Connection) -> Result<HashSet<i64>> {
    let mut gone = HashSet::new();
    for change in changes(c)? {
        if let Some(undoes) = change.undoes
            && !gone.contains(&change.number)
        {
            gone.insert(undoes);
        }
    }
    Ok(gone)
}
