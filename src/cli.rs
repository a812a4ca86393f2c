//! The command line: what can be asked, and the only room that knows the
//! terminal. Results go to stdout, everything else to stderr.

mod add;
mod assess;
mod batch;
mod cabinet;
mod demo;
mod doctor;
mod exhibit;
mod identify;
mod known;
mod names;
mod outline;
mod output;
mod rows;
mod split;
mod trust;
mod view;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::{
    colour::NeutralPoint,
    config::Config,
    cutout::Method,
    describe::Engine,
    error::{Error, Kind, Result},
    photo,
};

/// Exit codes of the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Exit {
    /// Everything went well.
    Fine = 0,
    /// The command failed.
    Failed = 1,
    /// The command line, the configuration or a labels file is wrong.
    Usage = 2,
    /// The command was carried out, but some inputs failed.
    SomeFailed = 3,
}

/// Says what a piece of ceramic tableware is from photographs, by visual
/// similarity to a reference set you own (a "cabinet").
#[derive(Debug, Parser)]
#[command(
    name = "footring",
    version,
    after_help = "Begin with `footring add PHOTOS --cabinet C --labels labels.csv`, then \
                  `footring identify PHOTO --cabinet C --page answer.html`.\n\
                  Exit codes: 0 fine, 1 failed, 2 usage, 3 done but some inputs failed.\n\
                  A visual match is no food-safety test, no appraisal and no authentication."
)]
pub struct Cli {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    command: Command,
}

/// What every command understands.
#[derive(Clone, Debug, Args)]
struct Common {
    /// The cabinet's folder
    #[arg(
        long,
        global = true,
        env = "FOOTRING_CABINET",
        default_value = "cabinet",
        value_name = "DIR"
    )]
    cabinet: PathBuf,
    /// Form of the result
    #[arg(long, global = true, value_enum, default_value_t, value_name = "FORM")]
    format: Format,
    /// No progress and no notes, only results and errors
    #[arg(long, short, global = true)]
    quiet: bool,
    /// Photos worked on at a time [default: one for each core]
    #[arg(long, global = true, value_name = "N")]
    threads: Option<usize>,
    /// A TOML file with settings
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
}

/// Form of a result.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum Format {
    /// A table for people
    #[default]
    Table,
    /// One JSON document
    Json,
    /// One JSON object a line
    Jsonl,
    /// Comma-separated values
    Csv,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Add photos to the cabinet, with or without labels
    Add(add::AddArgs),
    /// Say what the pieces in photos resemble
    Identify(identify::IdentifyArgs),
    /// Cut photos of several pieces into one picture a piece
    Split(split::SplitArgs),
    /// Draw and measure outline and profile of the pieces in photos
    Outline(outline::OutlineArgs),
    /// Try the cabinet on itself: how well it answers, and what it takes for what
    Assess(assess::AssessArgs),
    /// List, correct, check and tidy the cabinet
    #[command(subcommand)]
    Cabinet(cabinet::CabinetCommand),
    /// Add the invented demo pottery and identify its query photos
    Demo(demo::DemoArgs),
    /// Check the installation and the cabinet
    Doctor,
}

/// How pieces are seen.
#[derive(Clone, Debug, Args)]
struct SeeingArgs {
    /// How the piece is cut out of the photo
    #[arg(long, value_enum, default_value_t, value_name = "HOW")]
    cutout: CutoutArg,
}

/// How colours are read.
#[derive(Clone, Debug, Args)]
struct ColourArgs {
    /// A place in the photo that shows a grey card or anything neutral, in pixels of the upright
    /// photo; with PERCENT, how much light it sends back (18 for a grey card), lightness is known
    /// too. Without it a grey card beside the piece is looked for
    #[arg(long, value_name = "X,Y[,PERCENT]", value_parser = neutral)]
    neutral: Option<NeutralPoint>,
}

impl ColourArgs {
    /// The point, which means one photo.
    fn point(&self, files: &[PathBuf]) -> Result<Option<NeutralPoint>> {
        if self.neutral.is_some() && files.len() != 1 {
            return Err(Error::new(
                Kind::Usage,
                format!(
                    "--neutral names a place in one photo, and {} were given",
                    files.len()
                ),
            )
            .remedy("give the photos one at a time, or lay a grey card beside each piece"));
        }
        Ok(self.neutral)
    }
}

fn neutral(text: &str) -> std::result::Result<NeutralPoint, String> {
    let numbers: Option<Vec<f32>> = text
        .split(',')
        .map(|n| n.trim().parse().ok().filter(|v: &f32| v.is_finite()))
        .collect();
    let point = |x_px, y_px, percent| NeutralPoint {
        x_px,
        y_px,
        percent,
    };
    match numbers.as_deref() {
        Some([x, y]) => Ok(point(*x, *y, None)),
        Some([x, y, percent]) if *percent > 0.0 && *percent <= 100.0 => {
            Ok(point(*x, *y, Some(*percent)))
        }
        _ => Err("X,Y in pixels and, if it is known, a reflectance of 0 to 100 percent".to_owned()),
    }
}

/// How the piece is cut out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum CutoutArg {
    /// Transparency, silhouette or line drawing where the photo is one, else the network
    #[default]
    Auto,
    /// By the network, whatever the photo is
    Model,
    /// By the photo's own transparency
    Alpha,
    /// The picture is a silhouette or a line drawing
    Silhouette,
    /// Not at all: the whole photo is the piece
    None,
}

impl From<CutoutArg> for Method {
    fn from(arg: CutoutArg) -> Self {
        match arg {
            CutoutArg::Auto => Self::Auto,
            CutoutArg::Model => Self::Model,
            CutoutArg::Alpha => Self::Alpha,
            CutoutArg::Silhouette => Self::Silhouette,
            CutoutArg::None => Self::None,
        }
    }
}

/// Runs the program and says how it went; errors are told on stderr.
pub fn run() -> Exit {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(e) => {
            // Help and version are results, the rest is a usage error.
            let exit = if e.use_stderr() {
                Exit::Usage
            } else {
                Exit::Fine
            };
            // A closed pipe is the reader's choice.
            let _ = e.print();
            return exit;
        }
    };
    match carry_out(&cli) {
        Ok(exit) => exit,
        Err(e) => {
            output::say(format_args!("footring: {e}"));
            match e.kind() {
                crate::error::Kind::Usage => Exit::Usage,
                _ => Exit::Failed,
            }
        }
    }
}

fn carry_out(cli: &Cli) -> Result<Exit> {
    let common = &cli.common;
    if let Some(threads) = common.threads {
        // Fails only if a pool exists already, which is then the one in force.
        let _ = rayon::ThreadPoolBuilder::new()
            .num_threads(threads.max(1))
            .build_global();
    }
    match &cli.command {
        Command::Add(args) => add::run(args, common),
        Command::Identify(args) => identify::run(args, common),
        Command::Split(args) => split::run(args, common),
        Command::Outline(args) => outline::run(args, common),
        Command::Assess(args) => assess::run(args, common),
        Command::Cabinet(command) => cabinet::run(command, common),
        Command::Demo(args) => demo::run(args, common),
        Command::Doctor => doctor::run(common),
    }
}

/// The photos named, and those in the folders named.
fn photos(paths: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let files = photo::gather(paths);
    if files.is_empty() {
        let error = Error::new(Kind::Usage, "no photos were found")
            .remedy("name a photo or a folder with JPEG, PNG, WebP or TIFF photos");
        return Err(match paths.first() {
            Some(path) => error.in_file(path),
            None => error,
        });
    }
    Ok(files)
}

impl Exit {
    /// For a batch of which so many failed.
    fn of(failed: usize, all: usize) -> Self {
        match failed {
            0 => Self::Fine,
            n if n == all => Self::Failed,
            _ => Self::SomeFailed,
        }
    }
}

impl Common {
    fn config(&self) -> Result<Config> {
        self.config
            .as_ref()
            .map_or_else(|| Ok(Config::default()), |file| Config::read(file))
    }

    fn engine(&self, cutout: CutoutArg) -> Result<Engine> {
        Engine::load(self.config()?, cutout.into())
    }
}
