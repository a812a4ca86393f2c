//! `footring cabinet note`: the curator's notes on how to tell two labels apart.

use std::collections::BTreeMap;

use clap::Args;
use serde::Serialize;

use super::done;
use crate::{
    cabinet::{Cabinet, LEVELS, Note, Origin},
    cli::{
        Common, Exit,
        rows::{Row, Rows},
    },
    error::{Error, Kind, Result},
};

#[derive(Debug, Args)]
pub(in crate::cli) struct NoteArgs {
    /// One of the two labels; without it all notes are shown
    #[arg(value_name = "LABEL")]
    a: Option<String>,
    /// How to tell them apart; without it what is noted is shown
    #[arg(requires = "against")]
    text: Option<String>,
    /// The other label
    #[arg(long, value_name = "LABEL", requires = "a")]
    against: Option<String>,
    /// The level of the labels, where both occur on more than one
    #[arg(long, value_name = "LEVEL", value_parser = LEVELS)]
    level: Option<String>,
    /// Take the note away
    #[arg(long, requires = "against", conflicts_with = "text")]
    remove: bool,
    /// Who notes it
    #[arg(long, default_value = "command line", value_name = "NAME")]
    who: String,
}

/// One note, schema `footring.note/1`.
#[derive(Serialize)]
struct Shown {
    schema: &'static str,
    level: String,
    labels: [String; 2],
    text: String,
    who: String,
    at: String,
}

impl Row for Shown {
    const COLUMNS: &'static [&'static str] = &["level", "label", "against", "text", "who", "at"];

    fn text(&self) -> String {
        let [a, b] = &self.labels;
        format!(
            "{} {a} against {b}: {} ({}, {})",
            self.level, self.text, self.who, self.at
        )
    }

    fn cells(&self) -> Vec<String> {
        let [a, b] = &self.labels;
        [&self.level, a, b, &self.text, &self.who, &self.at]
            .map(Clone::clone)
            .to_vec()
    }
}

pub(super) fn run(args: &NoteArgs, common: &Common) -> Result<Exit> {
    let (Some(a), Some(b)) = (&args.a, &args.against) else {
        return show(args, common);
    };
    if args.text.is_none() && !args.remove {
        return show(args, common);
    }
    let text = args.text.as_deref().unwrap_or("").trim();
    if text.is_empty() && !args.remove {
        return Err(Error::new(Kind::Usage, "the note is empty")
            .remedy("say what tells them apart, or take the note away with --remove"));
    }
    let mut cabinet = Cabinet::open(&common.cabinet)?;
    let level = match (&args.level, args.remove) {
        // Labels may have gone since they were noted.
        (level, true) => noted(&cabinet, level.as_deref(), [a, b])?,
        (level, false) => {
            level_of(&cabinet, level.as_deref(), [a, b]).map_err(|e| e.in_file(&common.cabinet))?
        }
    };
    let origin = Origin::new(args.who.trim());
    let changed = cabinet.set_note(&level, [a, b], text, &origin)?;
    let what = match (changed, args.remove) {
        (true, false) => "noted",
        (true, true) => "note taken away",
        (false, _) => "nothing changed",
    };
    done(common, &format!("{what}: {level} {a} against {b}"))
}

/// The level on which a pair is noted.
fn noted(cabinet: &Cabinet, level: Option<&str>, labels: [&String; 2]) -> Result<String> {
    let notes = cabinet.notes()?;
    let mut levels = notes
        .iter()
        .filter(|note| labels.iter().all(|label| note.labels.contains(label)))
        .map(|note| note.level.clone())
        .filter(|of| level.is_none_or(|level| level == of));
    let [a, b] = labels;
    match (levels.next(), levels.next()) {
        (Some(level), None) => Ok(level),
        (None, _) => Err(Error::new(
            Kind::Usage,
            format!("nothing is noted on \"{a}\" against \"{b}\""),
        )
        .in_file(cabinet.dir())
        .remedy("see `footring cabinet note`")),
        (Some(_), Some(_)) => Err(ambiguous(a, b)),
    }
}

/// The level on which both labels occur.
fn level_of(cabinet: &Cabinet, level: Option<&str>, [a, b]: [&String; 2]) -> Result<String> {
    let vocabulary = cabinet.stats()?.vocabulary;
    let none = BTreeMap::new();
    let has = |level: &str, label: &String| {
        vocabulary
            .get(level)
            .unwrap_or(&none)
            .contains_key(label.trim())
    };
    let asked: Vec<&str> = LEVELS
        .into_iter()
        .filter(|of| level.is_none_or(|level| level == *of))
        .collect();
    let both: Vec<&str> = asked
        .iter()
        .copied()
        .filter(|level| has(level, a) && has(level, b))
        .collect();
    match both.as_slice() {
        [level] => Ok((*level).to_owned()),
        [_, _, ..] => Err(ambiguous(a, b)),
        [] => {
            let of = |label: &String| {
                let levels: Vec<&str> = LEVELS.into_iter().filter(|l| has(l, label)).collect();
                match levels.as_slice() {
                    [] => format!("\"{label}\" is no label of any level"),
                    some => format!("\"{label}\" is a label of {}", some.join(" and ")),
                }
            };
            let asked = level.map_or("one level".to_owned(), |level| format!("level {level}"));
            Err(Error::new(
                Kind::Usage,
                format!(
                    "the cabinet has not both labels on {asked}: {}, {}",
                    of(a),
                    of(b)
                ),
            )
            .remedy("see `footring cabinet list` for the labels"))
        }
    }
}

fn ambiguous(a: &str, b: &str) -> Error {
    Error::new(
        Kind::Usage,
        format!("\"{a}\" and \"{b}\" are labels of more than one level"),
    )
    .remedy("name it with --level")
}

/// The notes, all or those on the labels that are named.
fn show(args: &NoteArgs, common: &Common) -> Result<Exit> {
    let notes = Cabinet::open_read(&common.cabinet)?.notes()?;
    let is_asked = |note: &Note| {
        args.level.as_ref().is_none_or(|level| note.level == *level)
            && [&args.a, &args.against]
                .into_iter()
                .flatten()
                .all(|label| note.labels.contains(label))
    };
    let mut rows = Rows::new(common.format)?;
    for note in notes.into_iter().filter(is_asked) {
        rows.put(Shown {
            schema: "footring.note/1",
            level: note.level,
            labels: note.labels,
            text: note.text,
            who: note.who,
            at: note.at,
        })?;
    }
    rows.finish()?;
    Ok(Exit::Fine)
}
