//! `footring assess`: how well a cabinet answers, by trying it on itself.

use std::{path::PathBuf, sync::Arc};

use clap::Args;

use super::{Common, Exit, Format, identify::tell_stale, output, rows::to_json, trust};
use crate::{
    assess::{self, Assessment, Plain, SCHEMA, difference_hash},
    cabinet::{Cabinet, Snapshot},
    error::{Error, Kind, Result},
    identify::{self, Options, Weights, calibrate::Calibration, told::Told},
    report,
};

#[derive(Debug, Args)]
pub(super) struct AssessArgs {
    /// Pieces that are asked about, spread over the cabinet
    #[arg(long, default_value_t = trust::PIECES as u64, value_name = "N",
          value_parser = clap::value_parser!(u64).range(1..))]
    pieces: u64,
    /// Also how well the same piece is found in another photo
    #[arg(long)]
    photos: bool,
    /// Write one self-contained HTML page with plots
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
}

pub(super) fn run(args: &AssessArgs, common: &Common) -> Result<Exit> {
    let cabinet = Cabinet::open_read(&common.cabinet)?;
    let config = common.config()?;
    let snapshot = cabinet.snapshot(&config.nearest, &identify::channel_specs())?;
    tell_stale(&snapshot, common.quiet);
    let options = Options {
        weights: Weights::default(),
        top: 10,
        skip_same_photo: false,
        scan_below: config.nearest.graph_from,
        align: config.identify.align,
        details: config.identify.details,
        told: Told::default(),
        calibration: Arc::default(),
        graph: None,
    };
    let most = usize::try_from(args.pieces).unwrap_or(usize::MAX);
    let trials = trust::rehearsed(&snapshot, &options, (most, 1), common.quiet)?;
    let asked = snapshot.pieces().len().min(most);
    // A shorter trial than `identify` makes for itself must not stand in for it.
    if asked >= trust::PIECES_MIN && asked >= snapshot.pieces().len().min(trust::PIECES) {
        // A cabinet that may not be written is assessed all the same.
        let _ = Calibration::learn(&trials).keep(cabinet.dir(), &snapshot, options.second_looks());
    }
    let plain = Plain::new(&snapshot, hashes(&cabinet, &snapshot, common.quiet)?);
    let assessment = Assessment {
        schema: SCHEMA.to_owned(),
        cabinet: common.cabinet.display().to_string(),
        pieces: snapshot.pieces().len(),
        photos: snapshot.views().len(),
        asked,
        levels: assess::assess(&snapshot, &trials, &plain),
        same_piece: args.photos.then(|| assess::same_piece(&trials)),
    };
    let same_piece = assessment.same_piece.as_ref();
    if !assessment.is_any() && same_piece.is_none_or(|same| same.asked == 0) {
        return Err(too_few(&assessment));
    }
    match common.format {
        Format::Json => output::put(&report::assessment_json(&assessment)?)?,
        Format::Jsonl => output::put(&(to_json(&assessment)? + "\n"))?,
        Format::Csv => output::put(&report::assessment_csv(&assessment)?)?,
        Format::Table => {
            output::put(&report::assessment_table(&assessment, output::terminal()))?;
        }
    }
    if let Some(page) = &args.page {
        let heading = output::heading(&common.cabinet.display().to_string());
        let text = report::assessment_page(&assessment, &heading);
        output::page(page, &text, common.quiet)?;
    }
    Ok(Exit::Fine)
}

/// A hash of each view's thumbnail.
fn hashes(cabinet: &Cabinet, snapshot: &Snapshot, quiet: bool) -> Result<Vec<Option<u64>>> {
    let bar = output::progress(snapshot.views().len(), "looking at thumbnails", quiet);
    let hashes = snapshot
        .views()
        .iter()
        .map(|view| {
            bar.inc(1);
            Ok(difference_hash(&cabinet.view(view.id)?.thumbnail_jpeg))
        })
        .collect();
    bar.finish_and_clear();
    hashes
}

fn too_few(assessment: &Assessment) -> Error {
    let why: Vec<String> = assessment
        .levels
        .by_name()
        .into_iter()
        .filter_map(|(name, level)| Some(format!("{name}: {}", level.note.as_ref()?)))
        .collect();
    Error::new(
        Kind::Cabinet,
        format!(
            "nothing can be tried: to find a label when one of its pieces is left out takes two \
             pieces of it ({})",
            why.join("; ")
        ),
    )
    .in_file(&assessment.cabinet)
    .remedy(
        "add more pieces of the same labels, label those that are there with `footring cabinet \
         relabel`, or raise --pieces",
    )
}
