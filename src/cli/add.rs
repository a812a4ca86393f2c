//! `footring add`: photos into the cabinet.

use std::{
    path::{Path, PathBuf},
    time::{Duration, Instant},
};

use clap::Args;
use serde::Serialize;

use super::{ColourArgs, Common, Exit, SeeingArgs, batch, known::Known, output, rows, view};
use crate::{
    cabinet::{Added, Cabinet, NewView},
    describe::Engine,
    error::{Error, Kind, Result},
    identify::reading::Failure,
    photo,
    warning::{Code, Warning},
};

/// Schema of the rows that `add --format jsonl` writes.
const SCHEMA: &str = "footring.added/1";

#[derive(Debug, Args)]
pub(super) struct AddArgs {
    /// Photos, or folders of photos [default: the photos of the labels file]
    paths: Vec<PathBuf>,
    /// A CSV file with what is known; only its column `photo` is required
    #[arg(long, value_name = "FILE")]
    labels: Option<PathBuf>,
    /// Take labels from the folders around a photo, as in `path:shape/pattern`
    #[arg(long, value_name = "path:…", conflicts_with = "labels")]
    labels_from: Option<String>,
    /// Keep a copy of each photo in the cabinet
    #[arg(long)]
    keep_photos: bool,
    #[command(flatten)]
    colour: ColourArgs,
    #[command(flatten)]
    seeing: SeeingArgs,
}

/// What became of one photo.
#[derive(Debug, Serialize)]
struct Row {
    schema: &'static str,
    photo: String,
    status: &'static str,
    piece: Option<String>,
    error: Option<Failure>,
    warnings: Vec<Warning>,
}

/// How many photos of a run came to what.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Tally {
    pub(super) added: usize,
    pub(super) duplicates: usize,
    pub(super) failed: usize,
}

pub(super) fn run(args: &AddArgs, common: &Common) -> Result<Exit> {
    let labels = match (&args.labels, &args.labels_from) {
        (Some(file), _) => Known::from_file(file)?,
        (None, Some(template)) => Known::from_folders(template, &args.paths)?,
        (None, None) => Known::default(),
    };
    labels.tell_unknown(common.quiet);
    let roots = if args.paths.is_empty() {
        labels.photos.clone()
    } else {
        args.paths.clone()
    };
    if roots.is_empty() {
        return Err(Error::new(Kind::Usage, "there is nothing to add")
            .remedy("name photos or folders, or a labels file with --labels"));
    }
    let files = photo::gather(&roots);
    if files.is_empty() {
        return Err(Error::new(Kind::Usage, "no photos were found")
            .in_file(&roots[0])
            .remedy("name a folder with JPEG, PNG, WebP or TIFF photos"));
    }
    let mut engine = common.engine(args.seeing.cutout)?;
    engine.neutral = args.colour.point(&files)?;
    let mut cabinet = Cabinet::create_or_open(&common.cabinet)?;
    let mut rows = rows::Rows::new(common.format)?;
    let tally = add_files(
        &files,
        &labels,
        &engine,
        &mut cabinet,
        args.keep_photos,
        common.quiet,
        |row| rows.put(row),
    )?;
    rows.finish()?;
    if !common.quiet {
        output::say(format_args!(
            "footring: {} added, {} there already, {} failed; cabinet {}",
            tally.added,
            tally.duplicates,
            tally.failed,
            common.cabinet.display()
        ));
    }
    // Makes the next search start at once.
    cabinet.snapshot(&engine.config.nearest, &crate::identify::channel_specs())?;
    Ok(match tally {
        Tally { failed: 0, .. } => Exit::Fine,
        Tally {
            added: 0,
            duplicates: 0,
            ..
        } => Exit::Failed,
        _ => Exit::SomeFailed,
    })
}

/// Adds the demo set; see [`super::demo`].
pub(super) fn add_labelled(
    labels_file: &Path,
    engine: &Engine,
    cabinet: &mut Cabinet,
    quiet: bool,
) -> Result<Tally> {
    let labels = Known::from_file(labels_file)?;
    let files = labels.photos.clone();
    add_files(&files, &labels, engine, cabinet, false, quiet, |row| {
        if let Some(failure) = &row.error {
            output::say(format_args!("footring: {}", failure.message));
        }
        Ok(())
    })
}

fn add_files(
    files: &[PathBuf],
    labels: &Known,
    engine: &Engine,
    cabinet: &mut Cabinet,
    keep_photos: bool,
    quiet: bool,
    mut put: impl FnMut(Row) -> Result<()>,
) -> Result<Tally> {
    cabinet.join_changes();
    let bar = output::progress(files.len(), "adding", quiet);
    let mut tally = Tally::default();
    let mut pending: Vec<(PathBuf, NewView, Vec<Warning>)> = Vec::new();
    let mut since = Instant::now();
    // One wait for the disk for several photos; a row is written only after the
    // photos of its batch are safely there.
    let flush = |pending: &mut Vec<(PathBuf, NewView, Vec<Warning>)>,
                 cabinet: &mut Cabinet,
                 tally: &mut Tally,
                 put: &mut dyn FnMut(Row) -> Result<()>|
     -> Result<()> {
        let views: Vec<NewView> = pending.iter().map(|(_, view, _)| view.clone()).collect();
        let answers: Vec<Result<Added>> = match cabinet.add_views(&views) {
            Ok(added) => added.into_iter().map(Ok).collect(),
            // One bad photo must not take the batch with it.
            Err(e) if matches!(e.kind(), Kind::Usage | Kind::Internal) => {
                views.iter().map(|view| cabinet.add_view(view)).collect()
            }
            Err(e) => return Err(e),
        };
        for ((file, view, mut warnings), answer) in pending.drain(..).zip(answers) {
            let kept = answer.and_then(|added| {
                if keep_photos && matches!(added, Added::Added { .. }) {
                    cabinet.keep_photo(&file, &view.sha256)?;
                }
                Ok(added)
            });
            let (status, piece, error) = match kept {
                Ok(Added::Added { piece, .. }) => {
                    tally.added += 1;
                    ("added", Some(piece), None)
                }
                Ok(Added::Duplicate { piece, .. }) => {
                    tally.duplicates += 1;
                    warnings.push(Warning::new(Code::Duplicate));
                    ("duplicate", Some(piece), None)
                }
                Err(e) => {
                    tally.failed += 1;
                    ("failed", None, Some(Failure::from(&e)))
                }
            };
            put(Row {
                schema: SCHEMA,
                photo: view.photo,
                status,
                piece,
                error,
                warnings,
            })?;
        }
        Ok(())
    };
    batch::in_order(
        files,
        |file| describe_file(file, labels, engine),
        |i, answer| {
            bar.inc(1);
            match answer {
                Ok((view, warnings)) => pending.push((files[i].clone(), view, warnings)),
                Err(e) => {
                    flush(&mut pending, cabinet, &mut tally, &mut put)?;
                    tally.failed += 1;
                    put(Row {
                        schema: SCHEMA,
                        photo: files[i].display().to_string(),
                        status: "failed",
                        piece: None,
                        error: Some(Failure::from(&e.in_file(&files[i]))),
                        warnings: Vec::new(),
                    })?;
                }
            }
            if pending.len() >= 32 || since.elapsed() > Duration::from_secs(1) {
                flush(&mut pending, cabinet, &mut tally, &mut put)?;
                since = Instant::now();
            }
            Ok(())
        },
    )?;
    flush(&mut pending, cabinet, &mut tally, &mut put)?;
    bar.finish_and_clear();
    Ok(tally)
}

fn describe_file(file: &Path, labels: &Known, engine: &Engine) -> Result<(NewView, Vec<Warning>)> {
    let (piece, known, origin) = labels.of(file)?.unwrap_or_default();
    let photo = photo::read(file, &engine.config.photo)?;
    let (view, warnings) = view::describe(file, photo, engine)?;
    Ok((view::labelled(view, piece, known, origin), warnings))
}

impl rows::Row for Row {
    const COLUMNS: &'static [&'static str] = &["photo", "status", "piece", "error", "warnings"];

    fn text(&self) -> String {
        let codes = self.codes();
        let what = match (&self.piece, &self.error) {
            (Some(piece), _) => format!("{} as {piece}", self.status),
            (_, Some(error)) => format!("failed: {}", error.message),
            _ => self.status.to_owned(),
        };
        let care = if codes.is_empty() {
            String::new()
        } else {
            format!(" [{codes}]")
        };
        format!("{}  {what}{care}", self.photo)
    }

    fn cells(&self) -> Vec<String> {
        let error = self.error.as_ref().map(|e| e.message.clone());
        vec![
            self.photo.clone(),
            self.status.to_owned(),
            self.piece.clone().unwrap_or_default(),
            error.unwrap_or_default(),
            self.codes(),
        ]
    }
}

impl Row {
    fn codes(&self) -> String {
        let codes: Vec<String> = self
            .warnings
            .iter()
            .filter_map(|w| serde_json::to_value(w.code).ok())
            .filter_map(|v| v.as_str().map(str::to_owned))
            .collect();
        codes.join(" ")
    }
}
