//! `footring identify`: what the pieces in photos resemble.

use std::{path::PathBuf, sync::Arc};

use clap::Args;

use super::{
    ColourArgs, Common, Exit, Format, SeeingArgs, batch, exhibit, names::Names, output, trust,
};
use crate::{
    cabinet::{Cabinet, Snapshot},
    channel::REGISTRY,
    describe::{Described, Engine},
    error::{Error, Kind, Result},
    identify::{
        self, Identified, Neighbours, Options, Query, Weights,
        reading::{Failure, Reading, SCHEMA, Status},
        told::Told,
    },
    photo::{self, Photo},
    report::{self, Exhibit},
};

#[derive(Debug, Args)]
pub(super) struct IdentifyArgs {
    /// Photos, or folders of photos
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    /// All photos show one and the same piece
    #[arg(long)]
    one_piece: bool,
    /// Rank the matches by these channels alone: outline, form, decoration, colour, general
    #[arg(long, value_name = "CH[,CH]")]
    by: Option<String>,
    /// What is known already: a level (form, shape, pattern, glaze) is then settled; width_mm,
    /// height_mm and mark weigh. May be given several times, and goes for all photos
    #[arg(long, value_name = "NAME=VALUE")]
    know: Vec<String>,
    /// Number of matches
    #[arg(long, default_value_t = 10, value_name = "N")]
    top: usize,
    /// Leave out the photo itself where the cabinet holds the same file
    #[arg(long)]
    skip_same_photo: bool,
    /// Order the outlines anew by the cabinet's own neighbourhood graph: what the neighbours of
    /// the nearest resemble counts too. Answers are marked; slower at first
    #[arg(long)]
    graph: bool,
    /// Write one self-contained HTML page with the evidence
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    /// Write the mask of each piece as PNG, at the size of its photo
    #[arg(long, value_name = "DIR")]
    mask_dir: Option<PathBuf>,
    #[command(flatten)]
    colour: ColourArgs,
    #[command(flatten)]
    seeing: SeeingArgs,
}

pub(super) fn run(args: &IdentifyArgs, common: &Common) -> Result<Exit> {
    let files = super::photos(&args.paths)?;
    let weights = match &args.by {
        Some(names) => Weights::by(names)?,
        None => Weights::default(),
    };
    let cabinet = Cabinet::open_read(&common.cabinet)?;
    let mut engine = common.engine(args.seeing.cutout)?;
    engine.neutral = args.colour.point(&files)?;
    if args.graph && !engine.config.identify.align {
        return Err(Error::new(Kind::Usage, "--graph rests on aligned outlines")
            .remedy("leave `align = false` out of the settings file, or --graph out"));
    }
    let snapshot = cabinet.snapshot(&engine.config.nearest, &identify::channel_specs())?;
    tell_stale(&snapshot, common.quiet);
    if let Some(dir) = &args.mask_dir {
        std::fs::create_dir_all(dir).map_err(|e| Error::from(e).in_file(dir))?;
    }
    let mut options = Options {
        weights,
        top: args.top,
        skip_same_photo: args.skip_same_photo,
        scan_below: engine.config.nearest.graph_from,
        align: engine.config.identify.align,
        details: engine.config.identify.details,
        told: Told::read(&args.know)?,
        calibration: Arc::default(),
        graph: args.graph.then(|| Arc::new(Neighbours::new(&snapshot))),
    };
    options.calibration = trust::calibration(&cabinet, &snapshot, &options, common.quiet)?;
    let asking = Asking {
        engine: &engine,
        cabinet: &cabinet,
        snapshot: &snapshot,
        options,
        with_pictures: args.page.is_some(),
        quiet: common.quiet,
    };
    let masks = args.mask_dir.as_ref().map(|dir| Masks {
        dir: dir.clone(),
        names: Names::default(),
    });
    let (readings, exhibits) = if args.one_piece {
        asking.one_piece(&files, masks)?
    } else {
        asking.each(&files, masks, |reading| {
            if common.format == Format::Jsonl {
                output::put(&report::jsonl(std::slice::from_ref(reading))?)?;
            }
            Ok(())
        })?
    };
    match common.format {
        Format::Jsonl if args.one_piece => output::put(&report::jsonl(&readings)?)?,
        Format::Jsonl => {}
        Format::Json => output::put(&report::json(&readings)?)?,
        Format::Csv => output::put(&report::csv(&readings)?)?,
        Format::Table => output::put(&report::table(&readings, output::terminal()))?,
    }
    if let Some(page) = &args.page {
        let heading = output::heading(&common.cabinet.display().to_string());
        let text = report::page(&readings, &exhibits, &heading);
        output::page(page, &text, common.quiet)?;
    }
    let failed = readings
        .iter()
        .filter(|r| r.status == Status::Failed)
        .count();
    Ok(Exit::of(failed, readings.len()))
}

/// Everything that is the same for all photos of a run.
pub(super) struct Asking<'a> {
    pub(super) engine: &'a Engine,
    pub(super) cabinet: &'a Cabinet,
    pub(super) snapshot: &'a Snapshot,
    pub(super) options: Options,
    pub(super) with_pictures: bool,
    pub(super) quiet: bool,
}

/// Readings and the pictures that go with each.
type Answers = (Vec<Reading>, Vec<Vec<Exhibit>>);

impl Asking<'_> {
    /// Reads each photo by itself, in order.
    pub(super) fn each(
        &self,
        files: &[PathBuf],
        mut masks: Option<Masks>,
        mut put: impl FnMut(&Reading) -> Result<()>,
    ) -> Result<Answers> {
        let bar = output::progress(files.len(), "identifying", self.quiet);
        let mut readings = Vec::with_capacity(files.len());
        let mut exhibits = Vec::with_capacity(files.len());
        // The cabinet itself stays on this thread; its database is not shared.
        let (engine, snapshot, options) = (self.engine, self.snapshot, &self.options);
        batch::in_order(
            files,
            |file| {
                let photo = photo::read(file, &engine.config.photo)?;
                let described = engine.describe(&photo)?;
                let query = Query {
                    views: vec![(photo.sha256.as_str(), &described)],
                };
                let identified = identify::identify(&query, snapshot, options)?;
                Ok((photo, described, identified))
            },
            |i, answer| {
                bar.inc(1);
                let name = files[i].display().to_string();
                let (reading, pictures) = match answer {
                    Ok((photo, described, identified)) => {
                        if let Some(masks) = &mut masks {
                            masks.write(&photo, &described)?;
                        }
                        let views = [(name.clone(), &described)];
                        self.finish(name, &views, identified)
                    }
                    Err(e) => (failed(name, &e.in_file(&files[i])), Vec::new()),
                };
                put(&reading)?;
                readings.push(reading);
                exhibits.push(pictures);
                Ok(())
            },
        )?;
        bar.finish_and_clear();
        Ok((readings, exhibits))
    }

    /// Reads all photos as views of one piece. Views that cannot be read become
    /// rows of their own beside the answer.
    fn one_piece(&self, files: &[PathBuf], mut masks: Option<Masks>) -> Result<Answers> {
        let mut seen: Vec<(String, Photo, Described)> = Vec::new();
        let mut readings = Vec::new();
        let engine = self.engine;
        batch::in_order(
            files,
            |file| {
                let photo = photo::read(file, &engine.config.photo)?;
                let described = engine.describe(&photo)?;
                Ok((photo, described))
            },
            |i, answer| {
                let name = files[i].display().to_string();
                match answer {
                    Ok((photo, described)) => {
                        if let Some(masks) = &mut masks {
                            masks.write(&photo, &described)?;
                        }
                        seen.push((name, photo, described));
                    }
                    Err(e) => readings.push(failed(name, &e.in_file(&files[i]))),
                }
                Ok(())
            },
        )?;
        let mut exhibits = vec![Vec::new(); readings.len()];
        if !seen.is_empty() {
            let query = Query {
                views: seen
                    .iter()
                    .map(|(_, photo, described)| (photo.sha256.as_str(), described))
                    .collect(),
            };
            let identified = identify::identify(&query, self.snapshot, &self.options)?;
            let names: Vec<&str> = seen.iter().map(|(name, _, _)| name.as_str()).collect();
            let views: Vec<(String, &Described)> = seen
                .iter()
                .map(|(name, _, described)| (name.clone(), described))
                .collect();
            let (reading, pictures) = self.finish(names.join(", "), &views, identified);
            readings.insert(0, reading);
            exhibits.insert(0, pictures);
        }
        Ok((readings, exhibits))
    }

    fn finish(
        &self,
        name: String,
        views: &[(String, &Described)],
        identified: Identified,
    ) -> (Reading, Vec<Exhibit>) {
        let mut warnings = Vec::new();
        for warning in views.iter().flat_map(|(_, d)| &d.warnings) {
            if !warnings.contains(warning) {
                warnings.push(warning.clone());
            }
        }
        let pictures = if self.with_pictures {
            vec![exhibit::exhibit(
                views,
                &identified,
                self.cabinet,
                self.snapshot,
            )]
        } else {
            Vec::new()
        };
        let reading = Reading {
            schema: SCHEMA.to_owned(),
            photo: name,
            status: Status::Ok,
            error: None,
            warnings,
            pieces: vec![identified.reading],
            views: match views {
                [_] => Vec::new(),
                several => several.iter().map(|(name, _)| name.clone()).collect(),
            },
        };
        (reading, pictures)
    }
}

fn failed(name: String, e: &Error) -> Reading {
    Reading {
        schema: SCHEMA.to_owned(),
        photo: name,
        status: Status::Failed,
        error: Some(Failure::from(e)),
        warnings: Vec::new(),
        pieces: Vec::new(),
        views: Vec::new(),
    }
}

/// Says when features were made by another version of a channel.
pub(super) fn tell_stale(snapshot: &Snapshot, quiet: bool) {
    let stale = (0..REGISTRY.len())
        .map(|channel| snapshot.stale(channel))
        .max()
        .unwrap_or(0);
    if stale > 0 && !quiet {
        output::say(format_args!(
            "footring: {stale} photos were described by another version and are left out in part; \
             run `footring cabinet refresh`"
        ));
    }
}

/// Where masks are written.
pub(super) struct Masks {
    dir: PathBuf,
    names: Names,
}

impl Masks {
    fn write(&mut self, photo: &Photo, described: &Described) -> Result<()> {
        let name = self.names.of(&photo.source);
        let (width, height) = photo.pixels.dimensions();
        let mut png = std::io::Cursor::new(Vec::new());
        described
            .cutout
            .mask_at(width, height)
            .write_to(&mut png, image::ImageFormat::Png)
            .map_err(|e| Error::new(Kind::Internal, "no mask could be made").caused_by(e))?;
        crate::file::write_whole(&self.dir.join(name + ".png"), png.get_ref())
    }
}
