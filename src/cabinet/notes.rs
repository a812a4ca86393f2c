//! The curator's notes on how to tell two labels of a level apart.

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::{
    Cabinet, Origin, Snapshot,
    change::NOW,
    history::{self, By},
    labels::LEVELS,
    schema,
    schema::broken,
};
use crate::error::{Error, Kind, Result};

/// How to tell two labels apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// The level both labels belong to: one of [`LEVELS`].
    pub level: String,
    /// The two labels, in the order of the alphabet.
    pub labels: [String; 2],
    /// What tells them apart.
    pub text: String,
    /// Who wrote it.
    pub who: String,
    /// When, UTC.
    pub at: String,
}

impl Cabinet {
    /// All notes, by level and labels.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the catalogue is damaged.
    pub fn notes(&self) -> Result<Vec<Note>> {
        self.here(self.reading(all))
    }

    /// Notes how to tell two labels of a level apart, in place of what was noted
    /// before; an empty text takes the note away. Returns whether anything
    /// changed.
    ///
    /// # Errors
    /// [`Kind::Usage`] if the level is none, or the labels are one or empty.
    pub fn set_note(
        &mut self,
        level: &str,
        labels: [&str; 2],
        text: &str,
        origin: &Origin,
    ) -> Result<bool> {
        if !LEVELS.contains(&level) {
            return Err(Error::new(Kind::Usage, format!("`{level}` is no level"))
                .remedy(format!("use one of {}", LEVELS.join(", "))));
        }
        let mut labels = labels.map(str::trim);
        labels.sort_unstable();
        let [a, b] = labels;
        if a == b || a.is_empty() {
            return Err(Error::new(Kind::Usage, "a note needs two labels"));
        }
        let text = text.trim();
        self.write(|tx| {
            tx.execute(
                &format!(
                    "INSERT OR IGNORE INTO notes (level, a, b, text, who, at)
                     VALUES (?, ?, ?, '', '', {NOW})"
                ),
                params![level, a, b],
            )
            .map_err(broken)?;
            let id = tx
                .query_row(
                    "SELECT id FROM notes WHERE level = ? AND a = ? AND b = ?",
                    params![level, a, b],
                    |row| row.get(0),
                )
                .map_err(broken)?;
            put(tx, By::new(&origin.who), id, text, &origin.who)
        })
    }
}

impl Snapshot {
    /// What is noted on two labels of a level, in whichever order.
    pub fn note(&self, level: &str, a: &str, b: &str) -> Option<&Note> {
        let (a, b) = if a < b { (a, b) } else { (b, a) };
        let key = |note: &Note| -> std::cmp::Ordering {
            let [first, second] = &note.labels;
            (note.level.as_str(), first.as_str(), second.as_str()).cmp(&(level, a, b))
        };
        let at = self.notes.binary_search_by(key).ok()?;
        Some(&self.notes[at])
    }
}

/// All notes there are, by level and labels; a catalogue of version 1 has none.
pub(super) fn all(c: &Connection) -> Result<Vec<Note>> {
    if !schema::knows_changes(c)? {
        return Ok(Vec::new());
    }
    c.prepare("SELECT level, a, b, text, who, at FROM notes WHERE text <> '' ORDER BY level, a, b")
        .and_then(|mut query| {
            query
                .query_map([], |row| {
                    Ok(Note {
                        level: row.get(0)?,
                        labels: [row.get(1)?, row.get(2)?],
                        text: row.get(3)?,
                        who: row.get(4)?,
                        at: row.get(5)?,
                    })
                })?
                .collect()
        })
        .map_err(broken)
}

/// Gives a note the text it had before, if it still has the later one.
pub(super) fn put_back(
    tx: &Transaction<'_>,
    by: By<'_>,
    id: i64,
    [old, new]: [&str; 2],
    old_who: &str,
) -> Result<()> {
    let text: Option<String> = tx
        .query_row("SELECT text FROM notes WHERE id = ?", [id], |row| {
            row.get(0)
        })
        .optional()
        .map_err(broken)?;
    if text.as_deref() != Some(new) {
        return Err(Error::new(
            Kind::Usage,
            "the note is no longer as that change left it",
        ));
    }
    put(tx, by, id, old, old_who).map(drop)
}

/// Writes a note's text. The row stays when the text goes, so that the history
/// keeps meaning this pair.
fn put(tx: &Transaction<'_>, by: By<'_>, id: i64, text: &str, who: &str) -> Result<bool> {
    let (level, a, b, old, old_who): (String, String, String, String, String) = tx
        .query_row(
            "SELECT level, a, b, text, who FROM notes WHERE id = ?",
            [id],
            |row| {
                Ok((
                    row.get(0)?,
                    row.get(1)?,
                    row.get(2)?,
                    row.get(3)?,
                    row.get(4)?,
                ))
            },
        )
        .map_err(broken)?;
    if old == text {
        return Ok(false);
    }
    tx.execute(
        &format!("UPDATE notes SET text = ?, who = ?, at = {NOW} WHERE id = ?"),
        params![text, who, id],
    )
    .map_err(broken)?;
    let some = |text: &'_ str| (!text.is_empty()).then(|| text.to_owned());
    history::record_note(
        tx,
        by,
        id,
        &format!("{a} / {b}"),
        history::Value {
            label: &level,
            old: some(&old).as_deref(),
            old_who: some(&old_who).as_deref(),
            old_certainty: None,
            new: some(text).as_deref(),
        },
    )?;
    Ok(true)
}
