//! `footring add`: photos into the cabinet.

use std::{
    collections::HashMap,
    path::{Path, PathBuf},
    time::{Duration, Instant},
};

use clap::Args;
use serde::Serialize;

use super::{ColourArgs, Common, Exit, Format, SeeingArgs, batch, output};
use crate::{
    cabinet::{Added, Cabinet, Feature, FolderTemplate, Labels, LabelsFile, NewView, Origin},
    channel::REGISTRY,
    describe::{Described, Engine},
    error::{Error, Kind, Result},
    identify::reading::Failure,
    photo, raster,
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
    let labels = Known::read(args)?;
    for column in &labels.unknown {
        if !common.quiet {
            output::say(format_args!(
                "footring: the labels file's column `{column}` is not known and is kept as a note"
            ));
        }
    }
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
    let mut rows = Rows::new(common.format)?;
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
    let (piece, known, origin) = labels.of(file)?;
    let photo = photo::read(file, &engine.config.photo)?;
    let described = engine.describe(&photo)?;
    let json = |e: serde_json::Error| Error::new(Kind::Internal, "cannot be kept").caused_by(e);
    let view = NewView {
        piece,
        photo: file.display().to_string(),
        width_px: photo.pixels.width(),
        height_px: photo.pixels.height(),
        captured: photo.captured,
        sha256: photo.sha256,
        view: known.get("view").map(str::to_owned),
        warnings_json: serde_json::to_string(&described.warnings).map_err(json)?,
        thumbnail_jpeg: thumbnail(&described)?,
        outline_json: serde_json::to_string(&described.outline.thinned(240)).map_err(json)?,
        palette_json: serde_json::to_string(&described.colours.swatches).map_err(json)?,
        features: features(&described),
        labels: known,
        origin,
    };
    Ok((view, described.warnings))
}

/// A photo's vectors as the cabinet keeps them.
pub(super) fn features(described: &Described) -> Vec<Feature> {
    REGISTRY
        .iter()
        .zip(&described.features)
        .filter_map(|(channel, vector)| {
            Some(Feature {
                channel: channel.name.to_owned(),
                version: channel.version,
                vector: vector.clone()?,
            })
        })
        .collect()
}

/// A small JPEG of the piece with a margin of its surroundings.
fn thumbnail(described: &Described) -> Result<Vec<u8>> {
    const SIDE_PX: f32 = 240.0;
    let bounds = described.outline.bounds();
    let margin = 0.06 * bounds.width().max(bounds.height());
    let working = &described.cutout.working;
    let left = (bounds.left - margin).max(0.0);
    let top = (bounds.top - margin).max(0.0);
    let right = (bounds.right + margin).min(working.width() as f32);
    let bottom = (bounds.bottom + margin).min(working.height() as f32);
    let (width, height) = ((right - left).max(1.0), (bottom - top).max(1.0));
    let part = image::imageops::crop_imm(
        working,
        left as u32,
        top as u32,
        width.ceil() as u32,
        height.ceil() as u32,
    )
    .to_image();
    let scale = (SIDE_PX / width.max(height)).min(1.0);
    let small = raster::resize(
        &part,
        (width * scale).round() as u32,
        (height * scale).round() as u32,
    );
    let mut jpeg = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 82)
        .encode_image(&small)
        .map_err(|e| Error::new(Kind::Internal, "no thumbnail could be made").caused_by(e))?;
    Ok(jpeg)
}

/// What is known of the photos beforehand.
#[derive(Debug, Default)]
struct Known {
    by_path: HashMap<PathBuf, (Option<String>, Labels)>,
    photos: Vec<PathBuf>,
    unknown: Vec<String>,
    template: Option<FolderTemplate>,
    roots: Vec<PathBuf>,
}

impl Known {
    fn read(args: &AddArgs) -> Result<Self> {
        if let Some(file) = &args.labels {
            return Self::from_file(file);
        }
        Ok(Self {
            template: args
                .labels_from
                .as_deref()
                .map(FolderTemplate::parse)
                .transpose()?,
            roots: args.paths.clone(),
            ..Self::default()
        })
    }

    fn from_file(file: &Path) -> Result<Self> {
        let labels = LabelsFile::read(file)?;
        Ok(Self {
            photos: labels.rows.iter().map(|row| row.path.clone()).collect(),
            by_path: labels
                .rows
                .into_iter()
                .map(|row| (real_path(&row.path), (row.piece, row.labels)))
                .collect(),
            unknown: labels.unknown,
            ..Self::default()
        })
    }

    /// The piece a photo shows and its labels.
    fn of(&self, file: &Path) -> Result<(Option<String>, Labels, Origin)> {
        if let Some((piece, labels)) = self.by_path.get(&real_path(file)) {
            return Ok((piece.clone(), labels.clone(), Origin::new("labels file")));
        }
        if let Some(template) = &self.template {
            let root = self
                .roots
                .iter()
                .filter(|root| file.starts_with(root))
                .max_by_key(|root| root.components().count());
            let root = root.map_or(Path::new(""), PathBuf::as_path);
            if let Some(found) = template.read(file, root)? {
                return Ok((found.piece, found.labels, Origin::new("folder names")));
            }
        }
        Ok((None, Labels::new(), Origin::default()))
    }
}

/// One name for one file, however it was written.
fn real_path(file: &Path) -> PathBuf {
    file.canonicalize().unwrap_or_else(|_| file.to_path_buf())
}

/// Writes rows as they come.
struct Rows {
    format: Format,
    all: Vec<Row>,
}

impl Rows {
    fn new(format: Format) -> Result<Self> {
        if format == Format::Csv {
            output::put("photo,status,piece,error,warnings\n")?;
        }
        Ok(Self {
            format,
            all: Vec::new(),
        })
    }

    fn put(&mut self, row: Row) -> Result<()> {
        match self.format {
            Format::Json => {
                self.all.push(row);
                Ok(())
            }
            Format::Jsonl => output::put(&(to_json(&row)? + "\n")),
            Format::Table => {
                let codes = row.codes();
                let what = match (&row.piece, &row.error) {
                    (Some(piece), _) => format!("{} as {piece}", row.status),
                    (_, Some(error)) => format!("failed: {}", error.message),
                    _ => row.status.to_owned(),
                };
                let care = if codes.is_empty() {
                    String::new()
                } else {
                    format!(" [{codes}]")
                };
                output::put(&format!("{}  {what}{care}\n", row.photo))
            }
            Format::Csv => {
                let mut out = csv::Writer::from_writer(Vec::new());
                let error = row.error.as_ref().map_or("", |e| e.message.as_str());
                let line = out
                    .write_record([
                        &row.photo,
                        row.status,
                        row.piece.as_deref().unwrap_or_default(),
                        error,
                        &row.codes(),
                    ])
                    .map_err(|e| Error::new(Kind::Io, "cannot be written").caused_by(e))
                    .and_then(|()| {
                        out.into_inner().map_err(|e| {
                            Error::new(Kind::Io, "cannot be written").caused_by(e.to_string())
                        })
                    })?;
                output::put(&String::from_utf8_lossy(&line))
            }
        }
    }

    fn finish(&self) -> Result<()> {
        if self.format == Format::Json {
            output::put(&(to_json(&self.all)? + "\n"))?;
        }
        Ok(())
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

pub(super) fn to_json<T: Serialize>(value: &T) -> Result<String> {
    serde_json::to_string(value)
        .map_err(|e| Error::new(Kind::Internal, "cannot be written as JSON").caused_by(e))
}
