//! `footring cabinet settle`: readings that are confirmed or corrected become
//! part of the reference set.

mod job;

use std::{
    collections::{BTreeMap, HashMap, HashSet},
    io::Read,
    path::{Path, PathBuf},
};

use clap::Args;
use serde::Serialize;

use super::pairs;
use crate::{
    cabinet::{Added, Cabinet, Labels, NewView, Origin},
    cli::{
        Common, Exit, SeeingArgs, batch,
        known::Known,
        output,
        rows::{Row, Rows},
        view,
    },
    config,
    describe::Engine,
    error::{Error, Kind, Result},
    identify::{
        self,
        reading::{Failure, Reading},
    },
    photo, report,
    warning::Warning,
};
use job::Job;

#[derive(Debug, Args)]
pub(in crate::cli) struct SettleArgs {
    /// Readings, as `identify --format jsonl` writes them; `-` is standard input
    #[arg(required = true, value_name = "READING.jsonl")]
    readings: Vec<PathBuf>,
    /// Only this photo of the readings; may be given several times
    #[arg(long, value_name = "NAME")]
    photo: Vec<String>,
    /// What is settled, as in `form=teapot`, in place of what the readings say; an empty value
    /// leaves the level open
    #[arg(long, visible_alias = "label", value_name = "LABEL=VALUE")]
    level: Vec<String>,
    /// A labels file that corrects several readings at once
    #[arg(long, value_name = "FILE")]
    labels: Option<PathBuf>,
    /// The photos show this piece of the cabinet
    #[arg(long, value_name = "NAME")]
    piece: Option<String>,
    /// Who settled it
    #[arg(long, default_value = "command line", value_name = "NAME")]
    who: String,
    /// How sure that is, from 0 (a guess) to 1 (known)
    #[arg(long, default_value_t = 1.0, value_name = "0..1")]
    certainty: f64,
    /// Keep a copy of each photo in the cabinet
    #[arg(long)]
    keep_photos: bool,
    /// Only say what would be done
    #[arg(long)]
    dry_run: bool,
    #[command(flatten)]
    seeing: SeeingArgs,
}

/// What became of one photo, schema `footring.settled/1`.
#[derive(Serialize)]
struct Settled {
    schema: &'static str,
    photo: String,
    status: &'static str,
    piece: Option<String>,
    /// What was settled.
    labels: Labels,
    /// What the piece was labelled before, and the reading says otherwise.
    kept: Labels,
    /// Levels without a label, with the labels they are open between.
    open: BTreeMap<&'static str, Vec<String>>,
    error: Option<Failure>,
    warnings: Vec<Warning>,
}

pub(super) fn run(args: &SettleArgs, common: &Common) -> Result<Exit> {
    let origin = Origin {
        who: args.who.trim().to_owned(),
        certainty: args.certainty,
    };
    if origin.who.is_empty() || !(0.0..=1.0).contains(&origin.certainty) {
        return Err(Error::new(
            Kind::Usage,
            "--who must be a name and --certainty a number from 0 to 1",
        ));
    }
    let mut readings = Vec::new();
    for file in &args.readings {
        readings.extend(read(file)?);
    }
    let known = match &args.labels {
        Some(file) => Known::from_file(file)?,
        None => Known::default(),
    };
    known.tell_unknown(common.quiet);
    let jobs = job::jobs(
        &readings,
        &pairs(&args.level)?,
        &known,
        args.piece.as_deref(),
    )?;
    let jobs = job::chosen(jobs, &args.photo)?;
    if jobs.is_empty() {
        return Err(
            Error::new(Kind::Usage, "there is no reading to settle").in_file(&args.readings[0])
        );
    }

    let mut cabinet = if args.dry_run {
        Cabinet::open_read(&common.cabinet)?
    } else {
        Cabinet::open(&common.cabinet)?
    };
    if let Some(piece) = &args.piece
        && cabinet.labels_of(piece)?.is_none()
    {
        return Err(Error::new(
            Kind::Usage,
            format!("the cabinet has no piece \"{piece}\""),
        )
        .in_file(&common.cabinet)
        .remedy("see `footring cabinet list`, or leave --piece out: the photo is then a new piece"));
    }
    let settings = common.config()?;
    let engine = if args.dry_run {
        None
    } else {
        Some(common.engine(args.seeing.cutout)?)
    };
    cabinet.join_changes();
    let there: HashSet<String> = cabinet.views()?.into_iter().map(|v| v.sha256).collect();
    let bar = output::progress(jobs.len(), "settling", common.quiet);
    let mut rows = Rows::new(common.format)?;
    let mut settling = Settling {
        cabinet: &mut cabinet,
        origin: &origin,
        keep_photos: args.keep_photos,
        pieces: HashMap::new(),
    };
    let (mut done, mut open, mut failed) = (0, 0, 0);
    batch::in_order(
        &jobs,
        |job| see(job, &there, engine.as_ref(), &settings.photo),
        |i, seen| {
            bar.inc(1);
            let row = settling.settle(&jobs[i], seen);
            match row.status {
                "failed" => failed += 1,
                "open" => open += 1,
                _ => done += 1,
            }
            rows.put(row)
        },
    )?;
    bar.finish_and_clear();
    rows.finish()?;
    if !common.quiet {
        let would = if args.dry_run { "would be " } else { "" };
        output::say(format_args!(
            "footring: {done} {would}settled, {open} left open, {failed} failed; cabinet {}",
            common.cabinet.display()
        ));
    }
    if !args.dry_run {
        // Makes the next search start at once.
        cabinet.snapshot(&settings.nearest, &identify::channel_specs())?;
    }
    Ok(Exit::of(failed, jobs.len()))
}

fn read(file: &Path) -> Result<Vec<Reading>> {
    let mut text = String::new();
    let read = if file == Path::new("-") {
        std::io::stdin().read_to_string(&mut text)
    } else {
        std::fs::File::open(file).and_then(|mut opened| opened.read_to_string(&mut text))
    };
    read.map_err(Error::from)
        .and_then(|_| report::read_jsonl(&text))
        .map_err(|e| e.in_file(file))
}

/// A photo, looked at as far as is needed.
enum Seen {
    /// Nothing is to be done with it.
    Left,
    /// It is in the cabinet already, with this content.
    There(String),
    /// It is new; nothing was asked for but to say so.
    New,
    /// It is new, and was described.
    Described(Box<NewView>, Vec<Warning>),
}

fn see(
    job: &Job,
    there: &HashSet<String>,
    engine: Option<&Engine>,
    limits: &config::Photo,
) -> Result<Seen> {
    if job.error.is_some() || job.is_idle() {
        return Ok(Seen::Left);
    }
    let file = Path::new(&job.photo);
    let photo = photo::read(file, limits)
        .map_err(|e| e.remedy("run this in the folder in which the photo was identified"))?;
    if there.contains(&photo.sha256) {
        return Ok(Seen::There(photo.sha256));
    }
    let Some(engine) = engine else {
        return Ok(Seen::New);
    };
    let (view, warnings) = view::describe(file, photo, engine)?;
    Ok(Seen::Described(Box::new(view), warnings))
}

/// What goes on from photo to photo.
struct Settling<'a> {
    cabinet: &'a mut Cabinet,
    origin: &'a Origin,
    keep_photos: bool,
    /// The piece of each reading whose first view has found its piece.
    pieces: HashMap<usize, String>,
}

impl Settling<'_> {
    fn settle(&mut self, job: &Job, seen: Result<Seen>) -> Settled {
        let mut row = Settled {
            schema: "footring.settled/1",
            photo: job.photo.clone(),
            status: "failed",
            piece: None,
            labels: Labels::new(),
            kept: Labels::new(),
            open: BTreeMap::new(),
            error: job.error.clone(),
            warnings: Vec::new(),
        };
        if row.error.is_none()
            && let Err(e) = seen.and_then(|seen| self.carry_out(job, seen, &mut row))
        {
            row.status = "failed";
            row.error = Some(Failure::from(&e.in_file(&job.photo)));
        }
        row
    }

    fn carry_out(&mut self, job: &Job, seen: Seen, row: &mut Settled) -> Result<()> {
        let wanted = job.piece.clone();
        let wanted = wanted.or_else(|| self.pieces.get(&job.reading).cloned());
        match seen {
            Seen::Left => {
                row.status = "open";
                row.open = job.open(&Labels::new());
            }
            Seen::There(sha256) => self.relabel(job, &sha256, wanted, row)?,
            Seen::New => {
                row.status = "would_join";
                self.label(job, wanted.as_deref(), row)?;
                row.piece = wanted;
            }
            Seen::Described(view, warnings) => {
                row.warnings = warnings;
                self.label(job, wanted.as_deref(), row)?;
                let labels = row.labels.clone();
                let view = view::labelled(*view, wanted.clone(), labels, self.origin.clone());
                match self.cabinet.add_view(&view)? {
                    Added::Added { piece, .. } => {
                        if self.keep_photos {
                            self.cabinet
                                .keep_photo(Path::new(&job.photo), &view.sha256)?;
                        }
                        row.status = "joined";
                        row.piece = Some(piece);
                    }
                    // The same content came earlier in this run.
                    Added::Duplicate { .. } => {
                        self.relabel(job, &view.sha256, wanted, row)?;
                    }
                }
            }
        }
        if let Some(piece) = &row.piece {
            self.pieces.insert(job.reading, piece.clone());
        }
        Ok(())
    }

    /// Says what is settled about a photo of `piece` (a new one where `None`): what
    /// was typed, and of the reading what the piece has no label for yet.
    fn label(&self, job: &Job, piece: Option<&str>, row: &mut Settled) -> Result<()> {
        let has = match piece {
            Some(piece) => self.cabinet.labels_of(piece)?,
            None => None,
        };
        let has = has.unwrap_or_default();
        (row.labels, row.kept) = job.labels(&has)?;
        row.open = job.open(&has);
        Ok(())
    }

    /// Gives a photo that is in the cabinet already its labels.
    fn relabel(
        &mut self,
        job: &Job,
        sha256: &str,
        wanted: Option<String>,
        row: &mut Settled,
    ) -> Result<()> {
        let found = self.cabinet.find_content(sha256)?;
        let piece = found.map(|found| found.piece().to_owned());
        let is_another = wanted.is_some_and(|wanted| piece.as_deref() != Some(&*wanted));
        if let Some(piece) = piece.as_deref().filter(|_| is_another) {
            return Err(Error::new(
                Kind::Usage,
                format!("is in the cabinet already, as a photo of \"{piece}\""),
            )
            .remedy("leave the piece out, or remove the photo from the cabinet first"));
        }
        self.label(job, piece.as_deref(), row)?;
        row.piece = piece;
        if !self.cabinet.is_writable() {
            row.status = "would_relabel";
            return Ok(());
        }
        let values: Vec<(&str, &str)> = row.labels.iter().collect();
        let changed = self.cabinet.relabel(sha256, &values, self.origin)?;
        row.status = if changed > 0 {
            "relabelled"
        } else {
            "unchanged"
        };
        Ok(())
    }
}

impl Settled {
    fn said(labels: &Labels) -> String {
        let pairs: Vec<String> = labels.iter().map(|(l, v)| format!("{l}={v}")).collect();
        pairs.join(", ")
    }

    fn left(&self) -> String {
        let levels: Vec<String> = self
            .open
            .iter()
            .map(|(level, labels)| match labels.as_slice() {
                [] => (*level).to_owned(),
                some => format!("{level} ({})", some.join(" or ")),
            })
            .collect();
        levels.join(", ")
    }
}

impl Row for Settled {
    const COLUMNS: &'static [&'static str] = &[
        "photo", "status", "piece", "labels", "kept", "open", "error",
    ];

    fn text(&self) -> String {
        let mut text = format!("{}  {}", self.photo, self.status.replace('_', " "));
        match (&self.piece, self.status) {
            (Some(piece), _) => text += &format!(" as {piece}"),
            (None, "would_join") => text += " as a new piece",
            _ => {}
        }
        for (name, said) in [
            ("", Self::said(&self.labels)),
            ("kept ", Self::said(&self.kept)),
            ("left open: ", self.left()),
        ] {
            if !said.is_empty() {
                text += &format!("; {name}{said}");
            }
        }
        if let Some(error) = &self.error {
            text += &format!(": {}", error.message);
        }
        text
    }

    fn cells(&self) -> Vec<String> {
        let error = self.error.as_ref().map(|e| e.message.clone());
        vec![
            self.photo.clone(),
            self.status.to_owned(),
            self.piece.clone().unwrap_or_default(),
            Self::said(&self.labels),
            Self::said(&self.kept),
            self.left(),
            error.unwrap_or_default(),
        ]
    }
}
