//! Taking changes back, newest first, by what the history holds of them. Taking
//! back is a change itself, noted like any other, and can be done again.

use std::collections::BTreeSet;

use rusqlite::{OptionalExtension, Transaction, params};

use super::{
    Cabinet, Origin, change,
    history::{self, By, Subject},
    notes,
    schema::broken,
};
use crate::error::{Error, Kind, Result};

/// A change that was taken back, or done again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reversed {
    /// Its number in the history.
    pub number: u64,
    /// When it was made, UTC.
    pub at: String,
    /// Who or what made it.
    pub who: String,
    /// Its lines in plain words, in the order in which they were made.
    pub lines: Vec<String>,
    /// Later changes that were passed over because they only described photos
    /// again: there is nothing of the user's in them.
    pub passed: Vec<u64>,
}

impl Cabinet {
    /// Takes back the newest change that still holds: labels, names and notes get
    /// their former values, with who said so and how sure it was; photos that it
    /// added are removed, those that it removed are back.
    ///
    /// # Errors
    /// [`Kind::Usage`] if there is none, or it cannot be taken back (a footring
    /// before format 2 made it, or [`Cabinet::compact`] took its photos away);
    /// then nothing is changed.
    pub fn undo(&mut self, origin: &Origin) -> Result<Reversed> {
        self.write(|tx| {
            let undone = history::taken_back(tx)?;
            let mut passed = Vec::new();
            for whole in history::changes(tx)? {
                if whole.undoes.is_some() || undone.contains(&whole.number) {
                    continue;
                }
                if whole.is_description {
                    passed.push(whole.number.cast_unsigned());
                    continue;
                }
                take_back(tx, whole.number, &origin.who)?;
                return told(tx, whole.number, passed);
            }
            let older: bool = tx
                .query_row(
                    "SELECT count(*) > 0 FROM history WHERE change IS NULL",
                    [],
                    |row| row.get(0),
                )
                .map_err(broken)?;
            Err(if older {
                Error::new(
                    Kind::Usage,
                    "what is left of the history was written by an older footring, which did not keep what taking it back needs",
                )
                .remedy("correct it with `footring cabinet relabel`, `remove` or `restore`")
            } else {
                Error::new(Kind::Usage, "there is no change to take back")
            })
        })
    }

    /// Does again what [`Cabinet::undo`] took back last, if nothing was changed
    /// since.
    ///
    /// # Errors
    /// [`Kind::Usage`] if there is nothing of the kind.
    pub fn redo(&mut self, origin: &Origin) -> Result<Reversed> {
        self.write(|tx| {
            let undone = history::taken_back(tx)?;
            let changes = history::changes(tx)?;
            let originals: BTreeSet<i64> = changes
                .iter()
                .filter(|whole| whole.undoes.is_none())
                .map(|whole| whole.number)
                .collect();
            for whole in changes {
                match whole.undoes {
                    _ if undone.contains(&whole.number) || whole.is_description => {}
                    Some(taken) if originals.contains(&taken) => {
                        take_back(tx, whole.number, &origin.who)?;
                        return told(tx, taken, Vec::new());
                    }
                    // An undo that was done again before this one.
                    Some(_) => {}
                    None => break,
                }
            }
            Err(Error::new(
                Kind::Usage,
                "nothing was taken back that could be done again",
            )
            .remedy("see `footring cabinet history`"))
        })
    }
}

/// A line as it has to be turned round.
struct Line {
    at: String,
    who: String,
    action: String,
    piece_id: Option<i64>,
    piece: String,
    view: Option<(i64, String)>,
    note_id: Option<i64>,
    label: Option<String>,
    old: Option<String>,
    old_who: Option<String>,
    old_certainty: Option<f64>,
    new: Option<String>,
}

fn take_back(tx: &Transaction<'_>, number: i64, who: &str) -> Result<()> {
    let by = By {
        who,
        undoes: Some(number),
    };
    let mut pieces = BTreeSet::new();
    for line in lines(tx, number)?.iter().rev() {
        turn_round(tx, by, line).map_err(|e| {
            Error::new(
                e.kind(),
                format!("change {number} cannot be taken back: {e}"),
            )
        })?;
        pieces.extend(line.piece_id);
    }
    for piece in pieces {
        change::check_years(tx, piece)?;
    }
    Ok(())
}

/// What the history says of a change.
fn told(tx: &Transaction<'_>, number: i64, passed: Vec<u64>) -> Result<Reversed> {
    let lines = lines(tx, number)?;
    let first = |of: fn(&Line) -> &String| lines.first().map(of).cloned().unwrap_or_default();
    Ok(Reversed {
        number: number.cast_unsigned(),
        at: first(|line| &line.at),
        who: first(|line| &line.who),
        lines: lines.iter().map(words).collect(),
        passed,
    })
}

fn lines(tx: &Transaction<'_>, number: i64) -> Result<Vec<Line>> {
    tx.prepare_cached(
        "SELECT at, who, action, piece_id, piece, view_id, photo, note_id, label, old, old_who,
             old_certainty, new
         FROM history WHERE change = ? ORDER BY id",
    )
    .and_then(|mut query| {
        query
            .query_map([number], |row| {
                let photo: Option<String> = row.get(6)?;
                Ok(Line {
                    at: row.get(0)?,
                    who: row.get(1)?,
                    action: row.get(2)?,
                    piece_id: row.get(3)?,
                    piece: row.get(4)?,
                    view: row
                        .get::<_, Option<i64>>(5)?
                        .map(|id| (id, photo.unwrap_or_default())),
                    note_id: row.get(7)?,
                    label: row.get(8)?,
                    old: row.get(9)?,
                    old_who: row.get(10)?,
                    old_certainty: row.get(11)?,
                    new: row.get(12)?,
                })
            })?
            .collect()
    })
    .map_err(broken)
}

/// Does the opposite of one line.
fn turn_round(tx: &Transaction<'_>, by: By<'_>, line: &Line) -> Result<()> {
    if line.action == "note" {
        let id = line.note_id.ok_or_else(|| malformed(line))?;
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        let (old, new, who) = (text(&line.old), text(&line.new), text(&line.old_who));
        return notes::put_back(tx, by, id, [&old, &new], &who);
    }
    let subject = Subject {
        piece_id: line.piece_id.ok_or_else(|| malformed(line))?,
        piece: &line.piece,
        view: line.view.as_ref().map(|(id, photo)| (*id, photo.as_str())),
    };
    if !change::is_there(tx, &subject)? {
        let what = line.view.as_ref().map_or(&line.piece, |(_, photo)| photo);
        return Err(Error::new(
            Kind::Usage,
            format!("\"{what}\" was taken away for good by `footring cabinet compact`"),
        ));
    }
    match line.action.as_str() {
        "add" | "restore" => change::put_away(tx, by, &subject),
        "remove" => change::bring_back(tx, by, &subject),
        "label" => {
            let label = line.label.as_deref().ok_or_else(|| malformed(line))?;
            let now = change::value(tx, &subject, label)?;
            if now.as_ref().map(|(value, _, _)| value) != line.new.as_ref() {
                return Err(gone(&format!("the {label} of \"{}\"", line.piece)));
            }
            let origin = Origin {
                who: line.old_who.clone().unwrap_or_else(|| by.who.to_owned()),
                certainty: line.old_certainty.unwrap_or(1.0),
            };
            let old = line.old.as_deref().unwrap_or("");
            change::set_by(tx, by, &subject, label, old, &origin).map(drop)
        }
        "rename" => {
            let (old, new) = (line.old.as_deref(), line.new.as_deref());
            let (Some(old), Some(new)) = (old, new) else {
                return Err(malformed(line));
            };
            let name: Option<String> = tx
                .query_row(
                    "SELECT name FROM pieces WHERE id = ?",
                    params![subject.piece_id],
                    |row| row.get(0),
                )
                .optional()
                .map_err(broken)?;
            if name.as_deref() != Some(new) {
                return Err(gone(&format!("the piece \"{new}\"")));
            }
            change::rename_by(tx, by, subject.piece_id, new, old)
        }
        // Described again: the photo is the same, and the newer description the
        // one that fits this program.
        "features" => Ok(()),
        _ => Err(malformed(line)),
    }
}

fn gone(what: &str) -> Error {
    Error::new(
        Kind::Usage,
        format!("{what} is no longer as that change left it"),
    )
}

fn malformed(line: &Line) -> Error {
    Error::new(
        Kind::Usage,
        format!(
            "this footring does not know how to turn \"{}\" round",
            line.action
        ),
    )
    .remedy("update footring")
}

/// A line in plain words.
fn words(line: &Line) -> String {
    let Line { action, piece, .. } = line;
    let value = |value: &Option<String>| value.clone().unwrap_or_else(|| "-".to_owned());
    match (&line.label, &line.view) {
        (Some(label), _) => format!(
            "{action} {piece}: {label} {} -> {}",
            value(&line.old),
            value(&line.new)
        ),
        (None, Some((_, photo))) => format!("{action} {piece}: {photo}"),
        (None, None) => format!("{action} {piece}"),
    }
}
