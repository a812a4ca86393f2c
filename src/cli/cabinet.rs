//! `footring cabinet`: look at the reference set, correct it, check and tidy it.

mod history;
mod note;
mod refresh;
mod settle;

use clap::Subcommand;

use super::{Common, Exit, Format, output, rows::to_json};
use crate::{
    cabinet::{self, Cabinet, Labels, Origin, View},
    error::{Error, Kind, Result},
};

#[derive(Debug, Subcommand)]
pub(super) enum CabinetCommand {
    /// List the photos with their labels (`--format csv` writes a labels file)
    List,
    /// Show one piece or photo with its history
    Show {
        /// Name of a piece, path or hash of a photo
        target: String,
    },
    /// Correct labels without touching photos
    Relabel {
        /// Name of a piece, path or hash of a photo
        target: String,
        /// Labels as in `shape=Brannet`; an empty value takes a label away
        #[arg(required = true, value_name = "LABEL=VALUE")]
        values: Vec<String>,
    },
    /// Add the photos of readings with the labels that are settled
    Settle(settle::SettleArgs),
    /// Note how to tell two labels apart, or show what is noted
    Note(note::NoteArgs),
    /// Give a piece another name
    Rename {
        /// Its name
        piece: String,
        /// Its new name
        name: String,
    },
    /// Leave a piece or photo out of all answers
    Remove {
        /// Name of a piece, path or hash of a photo
        target: String,
    },
    /// Bring back what was removed
    Restore {
        /// Name of a piece, path or hash of a photo
        target: String,
    },
    /// List what was changed, when and by whom, newest first
    History {
        /// Only what is about this piece
        #[arg(long, value_name = "NAME")]
        piece: Option<String>,
        /// No more than so many lines
        #[arg(long, value_name = "N")]
        limit: Option<usize>,
    },
    /// Take back the last changes; what one command did is one change
    Undo {
        /// How many
        #[arg(default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..))]
        n: u64,
    },
    /// Do again what `undo` took back last
    Redo {
        /// How many
        #[arg(default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..))]
        n: u64,
    },
    /// Describe all photos again, after an update of footring
    Refresh(refresh::RefreshArgs),
    /// Look for damage
    Verify,
    /// Take removed photos away for good
    Compact,
}

pub(super) fn run(command: &CabinetCommand, common: &Common) -> Result<Exit> {
    let by_hand = Origin::new("command line");
    match command {
        CabinetCommand::List => list(common),
        CabinetCommand::Show { target } => show(target, common),
        CabinetCommand::Relabel { target, values } => {
            let pairs = pairs(values)?;
            let changed = Cabinet::open(&common.cabinet)?.relabel(target, &pairs, &by_hand)?;
            done(common, &format!("{changed} labels changed"))
        }
        CabinetCommand::Settle(args) => settle::run(args, common),
        CabinetCommand::Note(args) => note::run(args, common),
        CabinetCommand::Rename { piece, name } => {
            Cabinet::open(&common.cabinet)?.rename(piece, name, &by_hand)?;
            done(common, &format!("{piece} is now called {name}"))
        }
        CabinetCommand::Remove { target } => {
            let photos = Cabinet::open(&common.cabinet)?.remove(target, &by_hand)?;
            done(
                common,
                &format!(
                    "{photos} photos removed; `cabinet restore` brings them back until `cabinet compact`"
                ),
            )
        }
        CabinetCommand::Restore { target } => {
            let photos = Cabinet::open(&common.cabinet)?.restore(target, &by_hand)?;
            done(common, &format!("{photos} photos are back"))
        }
        CabinetCommand::History { piece, limit } => {
            history::history(piece.as_deref(), *limit, common)
        }
        CabinetCommand::Undo { n } => history::undo(*n, common),
        CabinetCommand::Redo { n } => history::redo(*n, common),
        CabinetCommand::Refresh(args) => refresh::run(args, common),
        CabinetCommand::Verify => verify(common),
        CabinetCommand::Compact => {
            let gone = Cabinet::open(&common.cabinet)?.compact()?;
            done(
                common,
                &format!(
                    "{} photos, {} pieces and {} copies taken away",
                    gone.views, gone.pieces, gone.copies
                ),
            )
        }
    }
}

/// Labels with their values, as in `shape=Brannet`.
fn pairs(values: &[String]) -> Result<Vec<(&str, &str)>> {
    values
        .iter()
        .map(|value| {
            let (label, value) = value.split_once('=').ok_or_else(|| {
                Error::new(Kind::Usage, format!("`{value}` is no LABEL=VALUE"))
                    .remedy("write for instance shape=Brannet")
            })?;
            let label = label.trim();
            if Labels::is_known(label) {
                return Ok((label, value.trim()));
            }
            let known: Vec<&str> = cabinet::PIECE_LABELS
                .iter()
                .chain(&cabinet::VIEW_LABELS)
                .copied()
                .collect();
            Err(Error::new(Kind::Usage, format!("`{label}` is no label"))
                .remedy(format!("use one of {}", known.join(", "))))
        })
        .collect()
}

fn done(common: &Common, text: &str) -> Result<Exit> {
    if !common.quiet {
        output::say(format_args!("footring: {text}"));
    }
    Ok(Exit::Fine)
}

fn list(common: &Common) -> Result<Exit> {
    let views = Cabinet::open_read(&common.cabinet)?.views()?;
    match common.format {
        Format::Csv => {
            let mut text = Vec::new();
            cabinet::write_labels(&views, &mut text)?;
            output::put(&String::from_utf8_lossy(&text))?;
        }
        Format::Jsonl => {
            for view in &views {
                output::put(&(to_json(&as_json(view))? + "\n"))?;
            }
        }
        Format::Json => {
            let all: Vec<_> = views.iter().map(as_json).collect();
            output::put(&(to_json(&all)? + "\n"))?;
        }
        Format::Table => {
            for view in &views {
                let label = |name| view.labels.get(name).unwrap_or("-");
                output::put(&format!(
                    "{}  {}  {} / {} / {} / {}\n",
                    view.piece,
                    view.photo,
                    label("form"),
                    label("shape"),
                    label("pattern"),
                    label("glaze"),
                ))?;
            }
        }
    }
    Ok(Exit::Fine)
}

/// One photo of the cabinet, schema `footring.view/1`.
fn as_json(view: &View) -> serde_json::Value {
    serde_json::json!({
        "schema": "footring.view/1",
        "piece": view.piece,
        "photo": view.photo,
        "sha256": view.sha256,
        "width_px": view.width_px,
        "height_px": view.height_px,
        "captured": view.captured,
        "added_at": view.added_at,
        "labels": view.labels,
    })
}

fn show(target: &str, common: &Common) -> Result<Exit> {
    let cabinet = Cabinet::open_read(&common.cabinet)?;
    let views: Vec<View> = cabinet
        .views()?
        .into_iter()
        .filter(|v| v.piece == target || v.photo == target || v.sha256 == target)
        .collect();
    let Some(first) = views.first() else {
        return Err(Error::new(
            Kind::Usage,
            format!("the cabinet has no piece or photo \"{target}\""),
        )
        .in_file(&common.cabinet)
        .remedy("see `footring cabinet list`"));
    };
    if matches!(common.format, Format::Json | Format::Jsonl) {
        for view in &views {
            output::put(&(to_json(&as_json(view))? + "\n"))?;
        }
        return Ok(Exit::Fine);
    }
    output::put(&format!("piece {}\n", first.piece))?;
    for (label, value) in first.labels.iter() {
        output::put(&format!("  {label}: {value}\n"))?;
    }
    for view in &views {
        let kept = cabinet.view(view.id)?;
        output::put(&format!(
            "photo {}\n  {} x {} px, added {}, sha256 {}\n  warnings: {}\n",
            view.photo,
            view.width_px,
            view.height_px,
            view.added_at,
            view.sha256,
            kept.warnings_json,
        ))?;
    }
    for line in history::of_piece(&cabinet, &first.piece)? {
        output::put(&(line + "\n"))?;
    }
    Ok(Exit::Fine)
}

fn verify(common: &Common) -> Result<Exit> {
    let cabinet = Cabinet::open_read(&common.cabinet)?;
    let problems = cabinet.verify()?;
    for problem in &problems {
        output::put(&format!("{:?}: {}\n", problem.concern, problem.text))?;
    }
    if problems.is_empty() {
        let stats = cabinet.stats()?;
        output::put(&format!(
            "no damage found: {} pieces, {} photos\n",
            stats.pieces, stats.views
        ))?;
        Ok(Exit::Fine)
    } else {
        Ok(Exit::Failed)
    }
}
