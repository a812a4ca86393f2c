//! An assessment for spreadsheets: one row for each level.

use super::Rate;
use crate::{
    assess::{Assessment, LevelAssessment},
    error::Result,
    identify::reading::Certainty,
    report::{csv as cells, words},
};

/// Rates, each in four columns: itself, `_n`, `_low` and `_high`.
const RATES: [&str; 9] = [
    "r1",
    "r5",
    "macro_r1",
    "macro_r5",
    "map",
    "aspect_ratio_r1",
    "ground_lab_r1",
    "thumbnail_hash_r1",
    "false_accept",
];
const WORDS: [Certainty; 4] = [
    Certainty::Firm,
    Certainty::Likely,
    Certainty::Several,
    Certainty::Unknown,
];

/// A header and one row for each level, and one called `same_piece` where that was
/// asked for. What was not measured is empty.
///
/// # Errors
/// [`crate::error::Kind::Internal`] if the rows cannot be written.
pub fn csv(assessment: &Assessment) -> Result<String> {
    let mut header = own(&["level", "note", "pieces", "labels", "single", "not_shown"]);
    for name in RATES {
        header.extend(["", "_n", "_low", "_high"].map(|end| format!("{name}{end}")));
    }
    header.extend(own(&[
        "auroc",
        "calibration_error",
        "calibration_error_by_chance",
        "look_alikes",
    ]));
    for word in WORDS {
        let columns = ["", "_said", "_said_struck_off", "_low", "_high"];
        header.extend(columns.map(|end| format!("{}{end}", words::certainty(word))));
    }
    let mut rows: Vec<Vec<String>> = assessment
        .levels
        .by_name()
        .into_iter()
        .map(|(name, level)| row(name, level))
        .collect();
    if let Some(same) = &assessment.same_piece {
        let level = LevelAssessment {
            pieces: same.asked,
            r1: same.r1,
            map: same.map,
            ..LevelAssessment::default()
        };
        rows.push(row("same_piece", &level));
    }
    cells::write(header, rows)
}

fn own(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

fn row(name: &str, level: &LevelAssessment) -> Vec<String> {
    let mut row = vec![
        name.to_owned(),
        level.note.clone().unwrap_or_default(),
        level.pieces.to_string(),
        level.labels.to_string(),
        level.single.len().to_string(),
        level.not_shown.to_string(),
    ];
    let trivial = &level.baselines;
    let known = level.known.as_ref();
    let rates: [Option<Rate>; RATES.len()] = [
        level.r1,
        level.r5,
        level.macro_r1,
        level.macro_r5,
        level.map,
        trivial.aspect_ratio,
        trivial.ground_lab,
        trivial.thumbnail_hash,
        known.map(|known| known.false_accept),
    ];
    let number = |v: Option<f64>| v.map_or_else(String::new, |v| format!("{v:.4}"));
    for rate in rates {
        row.push(number(rate.map(|r| r.rate)));
        row.push(rate.map_or_else(String::new, |r| r.n.to_string()));
        row.push(number(rate.map(|r| r.low)));
        row.push(number(rate.map(|r| r.high)));
    }
    row.push(number(known.map(|known| known.auroc)));
    row.push(number(level.calibration.as_ref().map(|c| c.error)));
    row.push(number(level.calibration.as_ref().map(|c| c.by_chance)));
    row.push(level.look_alikes.len().to_string());
    for word in WORDS {
        let kept = level.words.iter().find(|kept| kept.word == word);
        let right = kept.and_then(|kept| kept.right);
        row.push(number(right.map(|r| r.rate)));
        row.push(kept.map_or_else(String::new, |kept| kept.said.to_string()));
        row.push(kept.map_or_else(String::new, |kept| kept.said_struck_off.to_string()));
        row.push(number(right.map(|r| r.low)));
        row.push(number(right.map(|r| r.high)));
    }
    row
}
