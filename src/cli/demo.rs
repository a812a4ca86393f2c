//! `footring demo`: the main job on the invented pottery that ships with it.

use std::{collections::BTreeMap, path::PathBuf, sync::Arc};

use clap::Args;

use super::{Common, CutoutArg, Exit, add, identify::Asking, output, trust};
use crate::{
    cabinet::Cabinet,
    error::{Error, Kind, Result},
    identify::{
        self, Options, Weights,
        reading::{Candidate, Certainty, Reading},
    },
    onnx, photo,
    report::{self, Heading},
};

#[derive(Debug, Args)]
pub(super) struct DemoArgs {
    /// Where the demo's cabinet and page go
    #[arg(long, default_value = "demo-out", value_name = "DIR")]
    out: PathBuf,
    /// The demo set [default: index/demo beside the models]
    #[arg(long, value_name = "DIR")]
    set: Option<PathBuf>,
}

const PLAINLY: &str = "The photos of this demo are rendered, and the pottery, its shapes, patterns and glazes are invented.";

pub(super) fn run(args: &DemoArgs, common: &Common) -> Result<Exit> {
    let set = match &args.set {
        Some(set) => set.clone(),
        None => {
            let models = onnx::models_dir()?;
            let beside = models.canonicalize().unwrap_or(models);
            beside.parent().map_or_else(
                || PathBuf::from("index/demo"),
                |root| root.join("index/demo"),
            )
        }
    };
    // Shown short where it can be.
    let set = std::env::current_dir()
        .ok()
        .and_then(|here| Some(set.strip_prefix(here).ok()?.to_path_buf()))
        .unwrap_or(set);
    let labels = set.join("labels.csv");
    if !labels.is_file() {
        return Err(Error::new(Kind::Missing, "is no demo set")
            .in_file(&set)
            .remedy("run it from the repository, or name the set with --set"));
    }
    let engine = common.engine(CutoutArg::Auto)?;
    std::fs::create_dir_all(&args.out).map_err(|e| Error::from(e).in_file(&args.out))?;
    let folder = args.out.join("cabinet");
    let mut cabinet = Cabinet::create_or_open(&folder)?;
    output::say(format_args!("footring: {PLAINLY}"));
    let tally = add::add_labelled(&labels, &engine, &mut cabinet, common.quiet)?;
    output::say(format_args!(
        "footring: {} reference photos added, {} there already, {} failed",
        tally.added, tally.duplicates, tally.failed
    ));
    let snapshot = cabinet.snapshot(&engine.config.nearest, &identify::channel_specs())?;
    let queries = photo::gather(&[set.join("queries")]);
    let mut options = Options {
        weights: Weights::default(),
        top: 10,
        skip_same_photo: false,
        scan_below: engine.config.nearest.graph_from,
        align: engine.config.identify.align,
        details: engine.config.identify.details,
        told: identify::told::Told::default(),
        calibration: Arc::default(),
        graph: None,
    };
    options.calibration = trust::calibration(&cabinet, &snapshot, &options, common.quiet)?;
    let asking = Asking {
        engine: &engine,
        cabinet: &cabinet,
        snapshot: &snapshot,
        options,
        with_pictures: true,
        quiet: common.quiet,
    };
    let (readings, exhibits) = asking.each(&queries, None, |_| Ok(()))?;
    let truth = Truth::read(&set.join("queries.csv"))?;
    output::put(&truth.table(&readings))?;
    let page = args.out.join("demo.html");
    let heading = Heading {
        title: "The demo pottery: rendered photos, invented wares".to_owned(),
        set: "the demo set".to_owned(),
        made: format!("{PLAINLY} {}", output::made()),
    };
    // Its place is part of the result, below.
    output::page(&page, &report::page(&readings, &exhibits, &heading), true)?;
    let shown = page.canonicalize().unwrap_or(page);
    output::put(&format!(
        "\n{PLAINLY}\nPage to look at: {}\n",
        shown.display()
    ))?;
    Ok(if tally.failed == 0 {
        Exit::Fine
    } else {
        Exit::SomeFailed
    })
}

/// What is true of the query photos: photo name to label by column; a photo of
/// two pieces has two rows.
struct Truth {
    columns: Vec<String>,
    rows: BTreeMap<String, Vec<Vec<String>>>,
}

impl Truth {
    fn read(file: &std::path::Path) -> Result<Self> {
        let wrong = |e: csv::Error| {
            Error::new(Kind::Damaged, "is no table of demo queries")
                .in_file(file)
                .caused_by(e)
        };
        let mut reader = csv::Reader::from_path(file).map_err(wrong)?;
        let columns = reader
            .headers()
            .map_err(wrong)?
            .iter()
            .map(str::to_owned)
            .collect();
        let mut rows: BTreeMap<String, Vec<Vec<String>>> = BTreeMap::new();
        for record in reader.records() {
            let record: Vec<String> = record.map_err(wrong)?.iter().map(str::to_owned).collect();
            let name = record[0].rsplit('/').next().unwrap_or_default().to_owned();
            rows.entry(name).or_default().push(record);
        }
        Ok(Self { columns, rows })
    }

    fn of(&self, row: &[String], column: &str) -> String {
        self.columns
            .iter()
            .position(|c| c == column)
            .and_then(|i| row.get(i))
            .cloned()
            .unwrap_or_default()
    }

    /// One line a level: what was answered, how sure, what is true.
    fn table(&self, readings: &[Reading]) -> String {
        let mut text = String::new();
        let mut right = [0usize; 4];
        let mut asked = [0usize; 4];
        let mut wrong_firm = 0usize;
        for reading in readings {
            let name = reading.photo.rsplit('/').next().unwrap_or_default();
            let Some(rows) = self.rows.get(name) else {
                continue;
            };
            let situation = self.of(&rows[0], "situation");
            text.push_str(&format!("{name}  {situation}\n"));
            let Some(piece) = reading.pieces.first() else {
                let why = reading.error.as_ref().map_or("", |e| e.message.as_str());
                text.push_str(&format!("  failed: {why}\n"));
                continue;
            };
            let levels: [(&str, &[Candidate], Certainty); 4] = [
                ("form", &piece.levels.form, piece.certainty.form),
                ("shape", &piece.levels.shape, piece.certainty.shape),
                ("pattern", &piece.levels.pattern, piece.certainty.pattern),
                ("glaze", &piece.levels.glaze, piece.certainty.glaze),
            ];
            for (i, (level, candidates, certainty)) in levels.into_iter().enumerate() {
                let truths: Vec<String> = rows.iter().map(|row| self.of(row, level)).collect();
                if truths.iter().all(String::is_empty) {
                    continue;
                }
                let answer = match candidates.first() {
                    Some(best) if certainty != Certainty::Unknown => best.label.as_str(),
                    _ => "unknown",
                };
                let distance = candidates
                    .first()
                    .map_or_else(|| "-".to_owned(), |c| format!("{:.2}", c.distance));
                let hit = truths.iter().any(|t| t == answer);
                asked[i] += 1;
                right[i] += usize::from(hit);
                wrong_firm += usize::from(!hit && certainty == Certainty::Firm);
                let certainty = format!("{certainty:?}").to_lowercase();
                text.push_str(&format!(
                    "  {level:<8}{answer:<18}{certainty:<9}{distance:>6}  {} {}\n",
                    if hit { "right" } else { "wrong:" },
                    if hit {
                        String::new()
                    } else {
                        truths.join(" or ")
                    },
                ));
            }
        }
        let share = |i: usize| format!("{} of {}", right[i], asked[i]);
        text.push_str(&format!(
            "\nright, \"unknown\" counted as an answer: form {}, shape {}, pattern {}, glaze {}; firm and wrong: {wrong_firm}\n",
            share(0),
            share(1),
            share(2),
            share(3)
        ));
        text
    }
}
