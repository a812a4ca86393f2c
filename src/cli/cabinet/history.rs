//! `footring cabinet history`, `undo` and `redo`.

use serde::Serialize;

use crate::{
    cabinet::{Cabinet, Change, Origin, Reversed},
    cli::{
        Common, Exit, output,
        rows::{Row, Rows},
    },
    error::{Error, Kind, Result},
};

/// Lines of a change that are shown to people.
const SHOWN: usize = 12;

/// One line of the history, schema `footring.change/1`.
#[derive(Serialize)]
struct Line {
    schema: &'static str,
    change: Option<u64>,
    undoes: Option<u64>,
    undone: bool,
    at: String,
    who: String,
    action: String,
    piece: String,
    photo: Option<String>,
    label: Option<String>,
    old: Option<String>,
    new: Option<String>,
}

impl From<Change> for Line {
    fn from(change: Change) -> Self {
        Self {
            schema: "footring.change/1",
            change: change.number,
            undoes: change.undoes,
            undone: change.is_undone,
            at: change.at,
            who: change.who,
            action: change.action,
            piece: change.piece,
            photo: change.photo,
            label: change.label,
            old: change.old,
            new: change.new,
        }
    }
}

impl Row for Line {
    const COLUMNS: &'static [&'static str] = &[
        "change", "undoes", "undone", "at", "who", "action", "piece", "photo", "label", "old",
        "new",
    ];

    fn text(&self) -> String {
        let number = self.change.map_or("-".to_owned(), |n| n.to_string());
        let what = match &self.label {
            Some(label) => format!(
                "{}: {label}: {} -> {}",
                self.piece,
                self.old.as_deref().unwrap_or("-"),
                self.new.as_deref().unwrap_or("-")
            ),
            None => format!("{}: {}", self.piece, self.photo.as_deref().unwrap_or("")),
        };
        let fate = match self.undoes {
            Some(n) if self.undone => format!(" [took back {n}; done again]"),
            Some(n) => format!(" [took back {n}]"),
            None if self.undone => " [taken back]".to_owned(),
            None => String::new(),
        };
        format!(
            "{number:>4}  {}  {}  {} {what}{fate}",
            self.at, self.who, self.action
        )
    }

    fn cells(&self) -> Vec<String> {
        let number = |n: Option<u64>| n.map(|n| n.to_string()).unwrap_or_default();
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        vec![
            number(self.change),
            number(self.undoes),
            self.undone.to_string(),
            self.at.clone(),
            self.who.clone(),
            self.action.clone(),
            self.piece.clone(),
            text(&self.photo),
            text(&self.label),
            text(&self.old),
            text(&self.new),
        ]
    }
}

/// The history's lines, newest first.
pub(super) fn history(piece: Option<&str>, limit: Option<usize>, common: &Common) -> Result<Exit> {
    let cabinet = Cabinet::open_read(&common.cabinet)?;
    let limit = limit.unwrap_or(usize::MAX);
    let mut lines = match piece {
        Some(piece) => cabinet.history_of(piece)?,
        None => cabinet.history(limit)?,
    };
    if let (Some(piece), []) = (piece, lines.as_slice()) {
        return Err(Error::new(
            Kind::Usage,
            format!("the cabinet has no piece \"{piece}\", and had none"),
        )
        .in_file(&common.cabinet)
        .remedy("see `footring cabinet list` for their names"));
    }
    lines.truncate(limit);
    let mut rows = Rows::new(common.format)?;
    for line in lines {
        rows.put(Line::from(line))?;
    }
    rows.finish()?;
    Ok(Exit::Fine)
}

/// The lines about a piece as text, for `cabinet show`.
pub(super) fn of_piece(cabinet: &Cabinet, piece: &str) -> Result<Vec<String>> {
    let lines = cabinet.history_of(piece)?;
    Ok(lines.into_iter().map(|c| Line::from(c).text()).collect())
}

/// One change that was taken back or done again, schema `footring.undone/1`.
#[derive(Serialize)]
struct Undone {
    schema: &'static str,
    status: &'static str,
    change: u64,
    at: String,
    who: String,
    lines: Vec<String>,
    passed: Vec<u64>,
}

impl Row for Undone {
    const COLUMNS: &'static [&'static str] = &["status", "change", "at", "who", "lines", "passed"];

    fn text(&self) -> String {
        let status = self.status.replace('_', " ");
        let mut text = String::new();
        for passed in &self.passed {
            text += &format!(
                "change {passed} only described photos again, or said where they are now, and was left as it is\n"
            );
        }
        text += &format!(
            "change {} of {}, {}: {status}",
            self.change, self.who, self.at
        );
        for line in self.lines.iter().take(SHOWN) {
            text += &format!("\n  {line}");
        }
        if let more @ 1.. = self.lines.len().saturating_sub(SHOWN) {
            text += &format!("\n  and {more} more");
        }
        text
    }

    fn cells(&self) -> Vec<String> {
        let passed: Vec<String> = self.passed.iter().map(u64::to_string).collect();
        vec![
            self.status.to_owned(),
            self.change.to_string(),
            self.at.clone(),
            self.who.clone(),
            self.lines.join("\n"),
            passed.join(" "),
        ]
    }
}

/// Takes back the last `n` changes, newest first, each on its own.
pub(super) fn undo(n: u64, common: &Common) -> Result<Exit> {
    reverse(n, "taken_back", Cabinet::undo, common)
}

/// Does again what the last `n` undos took back.
pub(super) fn redo(n: u64, common: &Common) -> Result<Exit> {
    reverse(n, "done_again", Cabinet::redo, common)
}

fn reverse(
    n: u64,
    status: &'static str,
    step: impl Fn(&mut Cabinet, &Origin) -> Result<Reversed>,
    common: &Common,
) -> Result<Exit> {
    let mut cabinet = Cabinet::open(&common.cabinet)?;
    let mut rows = Rows::new(common.format)?;
    for done in 0..n {
        match step(&mut cabinet, &Origin::default()) {
            Ok(Reversed {
                number,
                at,
                who,
                lines,
                passed,
            }) => rows.put(Undone {
                schema: "footring.undone/1",
                status,
                change: number,
                at,
                who,
                lines,
                passed,
            })?,
            Err(e) if done == 0 => return Err(e),
            Err(e) => {
                rows.finish()?;
                output::say(format_args!("footring: {e}"));
                return Ok(Exit::SomeFailed);
            }
        }
    }
    rows.finish()?;
    Ok(Exit::Fine)
}
