//! The studio's command line.

use clap::{Parser, Subcommand};
use footring_studio::form::Form;
use footring_studio::output::Error;
use footring_studio::world::{self, World};
use footring_studio::{demo, series, sheet};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

/// A small deterministic renderer of turned ware: makes footring's demo set and its test worlds.
///
/// Everything it shows is invented. The same seed gives the same bytes, whatever the number of threads.
#[derive(Parser)]
#[command(name = "studio", version)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Write the demo set: reference photos with labels, query photos with their truth.
    Demo {
        /// Folder to write to, e.g. index/demo.
        #[arg(long)]
        out: PathBuf,
    },
    /// Write a test world: random shapes crossed with random decorations.
    ///
    /// DIR/photos/*.jpg, DIR/masks/*.png (8 bit, visible share of each pixel), DIR/labels.csv (footring's labels; `piece`
    /// is one object), DIR/truth.jsonl (one line a photo: camera, light, development, pieces with size and scale).
    World {
        /// Seed of everything.
        #[arg(long)]
        seed: u64,
        /// Number of shapes (moulded families).
        #[arg(long, default_value_t = 12)]
        shapes: usize,
        /// Number of decorations (patterns).
        #[arg(long, default_value_t = 12)]
        decorations: usize,
        /// Number of glazes shared by the decorations in turn; 0: each decoration has a ground of its own.
        #[arg(long, default_value_t = 0)]
        glazes: usize,
        /// Photos of each piece, differing in camera, light and background.
        #[arg(long, visible_alias = "photos-per-pair", default_value_t = 4)]
        views: usize,
        /// Shapes that each decoration appears on.
        #[arg(long, value_name = "K", default_value_t = 3)]
        shapes_per_decoration: usize,
        /// Piece types to draw from, separated by commas (e.g. "teacup,mug"); all when left out.
        #[arg(long, value_delimiter = ',')]
        forms: Vec<String>,
        /// Piece types made of each (shape, decoration) pair; each is a piece of its own.
        #[arg(long, default_value_t = 1)]
        forms_per_pair: usize,
        /// Width and height of the photos, pixels.
        #[arg(long, default_value_t = 512)]
        size: usize,
        /// Chance (0..1) that things which are no ware stand beside the piece; they get no mask and no label.
        #[arg(long, default_value_t = 0.0)]
        clutter: f32,
        /// Share (0..1) of black-and-white photos.
        #[arg(long, default_value_t = 0.0)]
        mono: f32,
        /// Folder to write to.
        #[arg(long)]
        out: PathBuf,
    },
    /// Write photos of several pieces on one table, with a mask for every piece.
    Scene {
        /// Seed of everything.
        #[arg(long)]
        seed: u64,
        /// Pieces on the table, 0 to 8.
        #[arg(long, default_value_t = 5)]
        pieces: usize,
        /// Things among them that are no ware, 0 to 8; they get no mask.
        #[arg(long, default_value_t = 0)]
        strangers: usize,
        /// Number of photos.
        #[arg(long, default_value_t = 1)]
        count: usize,
        /// Width and height of the photos, pixels.
        #[arg(long, default_value_t = 768)]
        size: usize,
        /// Folder to write to.
        #[arg(long)]
        out: PathBuf,
    },
    /// Write a controlled series: glazes that differ by known steps (three lights, with and without a grey card), every
    /// treatment at an angle, or decorations of every kind (with masks). DIR/photos/*.jpg and DIR/series.jsonl, one line a photo.
    Series {
        /// What is varied.
        #[arg(value_enum)]
        what: Varied,
        /// Seed of everything.
        #[arg(long)]
        seed: u64,
        /// Groups: a glaze and four near it, or one of each treatment or kind of decoration.
        #[arg(long, default_value_t = 20)]
        groups: usize,
        /// Width and height of the photos, pixels.
        #[arg(long, default_value_t = 400)]
        size: usize,
        /// Folder to write to.
        #[arg(long)]
        out: PathBuf,
    },
    /// Put all pictures below a folder on one contact sheet.
    Sheet {
        /// Folder with JPEG or PNG pictures.
        dir: PathBuf,
        /// PNG to write.
        #[arg(long)]
        out: PathBuf,
        /// Width of a cell, pixels.
        #[arg(long, default_value_t = 220)]
        cell: usize,
        /// Cells across.
        #[arg(long, default_value_t = 8)]
        columns: usize,
    },
    /// Measure the speed: photos of 512 pixels a second, encoding included, files not written.
    Bench {
        /// Number of photos.
        #[arg(long, default_value_t = 48)]
        photos: usize,
    },
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum Varied {
    /// The glaze, by CIEDE2000 1, 2, 4 and 8.
    Glazes,
    /// How the colour sits.
    Treatments,
    /// Where the decoration sits, and how often it is repeated round the piece.
    Decorations,
}

fn say(text: &str) {
    // A closed pipe is the reader's choice, not an error of ours.
    let _ = writeln!(std::io::stdout(), "{text}");
}

fn run(command: Command) -> Result<(), Error> {
    match command {
        Command::Demo { out } => {
            let (reference, queries, bytes) = demo::make(&out)?;
            say(&format!(
                "{reference} reference photos and {queries} queries in {} ({:.1} MB)",
                out.display(),
                bytes as f64 / 1e6
            ));
        }
        Command::World {
            seed,
            shapes,
            decorations,
            glazes,
            views,
            shapes_per_decoration,
            forms,
            forms_per_pair,
            size,
            clutter,
            mono,
            out,
        } => {
            let forms = forms
                .iter()
                .map(|f| {
                    Form::named(f.trim())
                        .ok_or_else(|| Error::new(format!("no such piece type: {f}")))
                })
                .collect::<Result<Vec<_>, _>>()?;
            let world = World {
                seed,
                shapes,
                decorations,
                glazes,
                views,
                shapes_per_decoration,
                forms,
                forms_per_pair,
                size_px: size,
                clutter,
                mono,
            };
            let n = world::make(&world, &out)?;
            say(&format!("{n} photos in {}", out.display()));
        }
        Command::Scene {
            seed,
            pieces,
            strangers,
            count,
            size,
            out,
        } => {
            let n = world::scenes(seed, pieces, strangers, count, size, &out)?;
            say(&format!("{n} scenes in {}", out.display()));
        }
        Command::Series {
            what,
            seed,
            groups,
            size,
            out,
        } => {
            let make = match what {
                Varied::Glazes => series::glazes,
                Varied::Treatments => series::treatments,
                Varied::Decorations => series::decorations,
            };
            let n = make(seed, groups, size, &out)?;
            say(&format!("{n} photos in {}", out.display()));
        }
        Command::Sheet {
            dir,
            out,
            cell,
            columns,
        } => write_sheet(&dir, &out, cell, columns)?,
        Command::Bench { photos } => {
            let start = Instant::now();
            world::bench(photos)?;
            let s = start.elapsed().as_secs_f64();
            say(&format!(
                "{photos} photos of 512 px in {s:.2} s: {:.1} photos/s on {} threads",
                photos as f64 / s,
                rayon::current_num_threads()
            ));
        }
    }
    Ok(())
}

fn write_sheet(dir: &Path, out: &Path, cell: usize, columns: usize) -> Result<(), Error> {
    if cell < 16 || columns == 0 {
        return Err(Error::new(
            "a sheet needs cells of at least 16 pixels and one column",
        ));
    }
    let paths = sheet::pictures(dir)?;
    sheet::sheet(&paths, cell, columns)?.write_png(out)?;
    say(&format!("{} pictures on {}", paths.len(), out.display()));
    Ok(())
}

fn main() -> ExitCode {
    match run(Cli::parse().command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            let _ = writeln!(std::io::stderr(), "studio: {e}");
            ExitCode::FAILURE
        }
    }
}
