//! `footring split`: photos of several pieces cut into one picture a piece.

use std::path::{Path, PathBuf};

use clap::Args;
use image::{Rgba, RgbaImage};
use serde::Serialize;

use super::{
    Common, Exit, batch, exhibit,
    names::Names,
    output,
    rows::{Row, Rows},
};
use crate::{
    cutout::{self, Piece},
    error::{Error, Kind, Result},
    onnx::{self, Model},
    photo,
    report::{CutOut, Lot, PiecesPage, Sight},
};

/// Version of the rows' schema.
const SCHEMA: &str = "footring.split/1";

#[derive(Debug, Args)]
pub(super) struct SplitArgs {
    /// Photos, or folders of photos
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    /// Folder for the pictures, one a piece: PHOTO-1.png, PHOTO-2.png and so on
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Write one self-contained HTML page with the pieces numbered in their photos
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
}

/// One piece of a photo, or a photo in which none was found.
#[derive(Debug, Serialize)]
struct Cut {
    schema: &'static str,
    photo: String,
    /// `ok`, `none` (no ware is seen in the photo) or `failed`.
    status: &'static str,
    /// From 1, by rows from the top, each from the left.
    piece: Option<usize>,
    file: Option<String>,
    /// Left, top, width and height of the picture in the photo, pixels.
    frame_px: Option<[u32; 4]>,
    /// Part of the photo that the piece covers.
    share: Option<f64>,
    /// Whether the photo's edge cuts it off.
    touches_frame: Option<bool>,
    error: Option<String>,
}

impl Cut {
    fn new(photo: &Path, status: &'static str) -> Self {
        Self {
            schema: SCHEMA,
            photo: photo.display().to_string(),
            status,
            piece: None,
            file: None,
            frame_px: None,
            share: None,
            touches_frame: None,
            error: None,
        }
    }
}

impl Row for Cut {
    const COLUMNS: &'static [&'static str] = &[
        "photo",
        "status",
        "piece",
        "file",
        "left_px",
        "top_px",
        "width_px",
        "height_px",
        "share",
        "touches_frame",
        "error",
    ];

    fn text(&self) -> String {
        let photo = &self.photo;
        match (self.piece, &self.file, &self.error) {
            (Some(piece), Some(file), _) => {
                let share = 100.0 * self.share.unwrap_or(0.0);
                let cut = if self.touches_frame == Some(true) {
                    ", cut off by the photo's edge"
                } else {
                    ""
                };
                format!("{photo}: piece {piece}, {share:.1} % of the photo{cut}: {file}")
            }
            (_, _, Some(error)) => format!("{photo}: failed: {error}"),
            _ => format!(
                "{photo}: no ware is seen; `footring identify` reads whatever stands out in it"
            ),
        }
    }

    fn cells(&self) -> Vec<String> {
        let text = |value: Option<String>| value.unwrap_or_default();
        let px = |i: usize| text(self.frame_px.map(|frame| frame[i].to_string()));
        vec![
            self.photo.clone(),
            self.status.to_owned(),
            text(self.piece.map(|n| n.to_string())),
            text(self.file.clone()),
            px(0),
            px(1),
            px(2),
            px(3),
            text(self.share.map(|v| format!("{v:.4}"))),
            text(self.touches_frame.map(|v| v.to_string())),
            text(self.error.clone()),
        ]
    }
}

pub(super) fn run(args: &SplitArgs, common: &Common) -> Result<Exit> {
    let files = super::photos(&args.paths)?;
    let config = common.config()?;
    onnx::library_path()?;
    let model = Model::load(&onnx::models_dir()?, "cutout")?;
    std::fs::create_dir_all(&args.out).map_err(|e| {
        Error::from(e)
            .in_file(&args.out)
            .remedy("name a folder that may be written")
    })?;
    let mut names = Names::default();
    let mut rows = Rows::new(common.format)?;
    let mut page = PiecesPage::default();
    let mut failed = 0;
    let bar = output::progress(files.len(), "splitting", common.quiet);
    batch::in_order(
        &files,
        |file| {
            let photo = photo::read(file, &config.photo)?;
            let pieces = cutout::split(&photo, &model, &config)?;
            let sights = match &args.page {
                Some(_) => exhibit::cut_out(&file.display().to_string(), &photo.pixels, &pieces),
                None => Vec::new(),
            };
            let pictures = pieces.iter().map(png).collect::<Result<Vec<_>>>()?;
            Ok((pieces, pictures, sights))
        },
        |i, answer| {
            bar.inc(1);
            let photo = &files[i];
            let found = match answer {
                Ok((pieces, pictures, sights)) => {
                    let files = put(photo, &pieces, &pictures, &mut names, &args.out, &mut rows)?;
                    Ok(shown(pieces, files, sights))
                }
                Err(e) => {
                    failed += 1;
                    let error = e.in_file(photo).to_string();
                    rows.put(Cut {
                        error: Some(error.clone()),
                        ..Cut::new(photo, "failed")
                    })?;
                    Err(error)
                }
            };
            if args.page.is_some() {
                page.add(&Lot {
                    photo: photo.display().to_string(),
                    found,
                });
            }
            Ok(())
        },
    )?;
    bar.finish_and_clear();
    rows.finish()?;
    if let Some(file) = &args.page {
        output::page(file, &page.finish(&output::heading("")), common.quiet)?;
    }
    Ok(Exit::of(failed, files.len()))
}

/// Writes the pictures of a photo's pieces, each followed by its row, or the row that says
/// that there is none; the names of the pictures.
fn put(
    photo: &Path,
    pieces: &[Piece],
    pictures: &[Vec<u8>],
    names: &mut Names,
    dir: &Path,
    rows: &mut Rows<Cut>,
) -> Result<Vec<String>> {
    if pieces.is_empty() {
        rows.put(Cut::new(photo, "none"))?;
        return Ok(Vec::new());
    }
    let stem = names.of(photo);
    (1..)
        .zip(pieces.iter().zip(pictures))
        .map(|(number, (piece, png))| {
            let file = dir.join(format!("{stem}-{number}.png"));
            crate::file::write_whole(&file, png)?;
            let file = file.display().to_string();
            rows.put(Cut {
                piece: Some(number),
                file: Some(file.clone()),
                frame_px: Some(piece.frame_px),
                share: Some(piece.share),
                touches_frame: Some(piece.touches_frame),
                ..Cut::new(photo, "ok")
            })?;
            Ok(file)
        })
        .collect()
}

/// What the page shows; nothing without it, for then there are no sights.
fn shown(pieces: Vec<Piece>, files: Vec<String>, sights: Vec<Sight>) -> Vec<CutOut> {
    pieces
        .into_iter()
        .zip(files)
        .zip(sights)
        .map(|((piece, file), sight)| CutOut {
            file,
            share: piece.share,
            touches_frame: piece.touches_frame,
            sight,
        })
        .collect()
}

/// The piece with its surroundings, which are transparent: `--cutout auto` then takes the mask
/// as it is, and nothing of the photo is lost.
fn png(piece: &Piece) -> Result<Vec<u8>> {
    let (width, height) = piece.pixels.dimensions();
    let picture = RgbaImage::from_fn(width, height, |x, y| {
        let [r, g, b] = piece.pixels.get_pixel(x, y).0;
        Rgba([r, g, b, piece.mask.get_pixel(x, y).0[0]])
    });
    let mut png = std::io::Cursor::new(Vec::new());
    picture
        .write_to(&mut png, image::ImageFormat::Png)
        .map_err(|e| Error::new(Kind::Internal, "no picture could be made").caused_by(e))?;
    Ok(png.into_inner())
}
