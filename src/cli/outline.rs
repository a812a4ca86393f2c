//! `footring outline`: outline, profile and measures of the pieces in photos.

use std::path::{Path, PathBuf};

use clap::Args;

use super::{Common, Exit, Format, SeeingArgs, batch, names::Names, output};
use crate::{
    describe::Described,
    error::{Error, Kind, Result},
    identify::reading::Status,
    outline::drawing,
    photo,
    report::sheet::{self, Known, Sheet},
};

#[derive(Debug, Args)]
pub(super) struct OutlineArgs {
    /// Photos, silhouettes or line drawings, or folders of them
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    /// Write the outline as SVG (for several photos: a folder)
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Write the profile drawing as SVG (for several photos: a folder)
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// The piece's overall width as photographed, handle included, in millimetres
    #[arg(long, value_name = "MM", value_parser = length)]
    width_mm: Option<f64>,
    /// The piece's overall height in millimetres
    #[arg(long, value_name = "MM", value_parser = length)]
    height_mm: Option<f64>,
    /// A scale bar beside the piece: its two ends in pixels of the upright photo, its length
    #[arg(long, value_name = "X1,Y1,X2,Y2,MM", value_parser = bar)]
    scale: Option<Bar>,
    #[command(flatten)]
    seeing: SeeingArgs,
}

/// A scale bar's ends and length.
#[derive(Clone, Copy, Debug)]
struct Bar([f64; 5]);

fn length(text: &str) -> std::result::Result<f64, String> {
    text.parse()
        .ok()
        .filter(|v: &f64| v.is_finite() && *v > 0.0)
        .ok_or_else(|| "a length in millimetres above 0 is needed".to_owned())
}

fn bar(text: &str) -> std::result::Result<Bar, String> {
    let numbers: Vec<f64> = text
        .split(',')
        .filter_map(|n| n.trim().parse().ok())
        .filter(|v: &f64| v.is_finite())
        .collect();
    match <[f64; 5]>::try_from(numbers) {
        Ok(b) if b[4] > 0.0 && (b[2] - b[0]).hypot(b[3] - b[1]) >= 2.0 => Ok(Bar(b)),
        _ => Err("five numbers are needed: x and y of both ends in pixels, at least 2 apart, and the length in mm".to_owned()),
    }
}

pub(super) fn run(args: &OutlineArgs, common: &Common) -> Result<Exit> {
    let files = super::photos(&args.paths)?;
    let engine = common.engine(args.seeing.cutout)?;
    let mut drawings = [&args.svg, &args.profile].map(|to| Drawings::new(to.as_deref(), &files));
    for drawings in drawings.iter().flatten() {
        drawings.make_folder()?;
    }
    let known = Known {
        width_mm: args.width_mm,
        height_mm: args.height_mm,
        bar: args.scale.map(|bar| bar.0),
    };
    let bar = output::progress(files.len(), "outlining", common.quiet);
    let mut sheets: Vec<Sheet> = Vec::with_capacity(files.len());
    batch::in_order(
        &files,
        |file| {
            let photo = photo::read(file, &engine.config.photo)?;
            let described = engine.describe(&photo)?;
            let (measures, scale) = sheet::measured(&described, &known);
            let sheet = sheet::sheet(
                file.display().to_string(),
                &described,
                measures.as_ref(),
                scale,
            );
            let outline = outline_of(&described, photo.pixels.dimensions().into());
            let profile =
                measures.and_then(|m| drawing::profile(&described.pose, &m, scale.map(|s| s[0])));
            Ok((sheet, outline, profile))
        },
        |i, answer| {
            bar.inc(1);
            let sheet = match answer {
                Ok((sheet, outline, profile)) => {
                    let [svg, section] = &mut drawings;
                    if let Some(svg) = svg {
                        svg.write(&files[i], &outline)?;
                    }
                    if let Some(section) = section {
                        match profile {
                            Some(profile) => section.write(&files[i], &profile)?,
                            None if common.quiet => {}
                            None => output::say(format_args!(
                                "footring: {}: no profile shows, so none was drawn; photograph it level from the side",
                                files[i].display()
                            )),
                        }
                    }
                    sheet
                }
                Err(e) => sheet::failed(files[i].display().to_string(), &e.in_file(&files[i])),
            };
            if common.format == Format::Jsonl {
                output::put(&(json(&sheet, false)? + "\n"))?;
            }
            sheets.push(sheet);
            Ok(())
        },
    )?;
    bar.finish_and_clear();
    match common.format {
        Format::Jsonl => {}
        Format::Json => output::put(&(json(&sheets, true)? + "\n"))?,
        Format::Csv => output::put(&sheet::csv(&sheets)?)?,
        Format::Table => output::put(&sheet::table(&sheets))?,
    }
    let failed = sheets.iter().filter(|s| s.status == Status::Failed).count();
    Ok(Exit::of(failed, sheets.len()))
}

fn outline_of(described: &Described, size_px: [u32; 2]) -> String {
    let scale = f64::from(described.cutout.photo_per_working);
    drawing::outline(&described.outline, &described.pose, size_px, scale)
}

fn json(value: &impl serde::Serialize, pretty: bool) -> Result<String> {
    let text = if pretty {
        serde_json::to_string_pretty(value)
    } else {
        serde_json::to_string(value)
    };
    text.map_err(|e| Error::new(Kind::Internal, "no JSON could be made").caused_by(e))
}

/// Where drawings of one kind go: one file for one photo, a folder for several.
struct Drawings {
    to: PathBuf,
    is_folder: bool,
    names: Names,
}

impl Drawings {
    fn new(to: Option<&Path>, files: &[PathBuf]) -> Option<Self> {
        to.map(|to| Self {
            to: to.to_owned(),
            is_folder: files.len() > 1 || to.is_dir(),
            names: Names::default(),
        })
    }

    fn make_folder(&self) -> Result<()> {
        if !self.is_folder {
            return Ok(());
        }
        std::fs::create_dir_all(&self.to).map_err(|e| {
            Error::from(e)
                .in_file(&self.to)
                .remedy("for several photos name a folder")
        })
    }

    fn write(&mut self, photo: &Path, svg: &str) -> Result<()> {
        if !self.is_folder {
            return crate::file::write_whole(&self.to, svg.as_bytes());
        }
        let file = self.to.join(self.names.of(photo) + ".svg");
        crate::file::write_whole(&file, svg.as_bytes())
    }
}
