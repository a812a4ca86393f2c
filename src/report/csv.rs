//! One row for each piece, for spreadsheets.

use crate::{
    error::{Error, Kind, Result},
    identify::reading::{PieceReading, Reading, Status},
    report::words,
    warning::Warning,
};

/// The columns before the levels.
const FIRST: [&str; 5] = ["photo", "piece", "status", "error", "view"];
/// The columns of each level, after its name and `_`.
const PER_LEVEL: [&str; 4] = ["resembles", "certainty", "distance", "probability"];
/// The columns after the levels.
const LAST: [&str; 8] = [
    "nearest_piece",
    "nearest_photo",
    "nearest_distance",
    "warnings",
    "reordered_by_graph",
    "combination",
    "year_from",
    "year_to",
];
const LEVELS: [&str; 4] = ["form", "shape", "pattern", "glaze"];

/// A header and one row for each piece of each photo; a photo that failed or
/// holds no piece has one row. `piece` counts from 1 within its photo.
///
/// `<level>_resembles` is the nearest label even where `<level>_certainty` is
/// `unknown`: the certainty says whether it is an answer. Codes of warnings are
/// joined by a space.
///
/// # Errors
/// [`Kind::Internal`] if the rows cannot be written.
pub fn csv(readings: &[Reading]) -> Result<String> {
    let per_level = LEVELS
        .iter()
        .flat_map(|level| PER_LEVEL.map(|column| format!("{level}_{column}")));
    let header = FIRST
        .map(str::to_owned)
        .into_iter()
        .chain(per_level)
        .chain(LAST.map(str::to_owned));
    let mut rows = Vec::new();
    for reading in readings {
        if reading.pieces.is_empty() {
            rows.push(row(reading, None)?);
        }
        for numbered in reading.pieces.iter().enumerate() {
            rows.push(row(reading, Some(numbered))?);
        }
    }
    write(header.collect(), rows)
}

/// Writes a header and rows.
pub(super) fn write(header: Vec<String>, rows: Vec<Vec<String>>) -> Result<String> {
    let mut out = ::csv::Writer::from_writer(Vec::new());
    for row in std::iter::once(header).chain(rows) {
        out.write_record(row).map_err(defect)?;
    }
    let bytes = out.into_inner().map_err(|e| defect(e.into_error()))?;
    String::from_utf8(bytes).map_err(defect)
}

/// One line of CSV, cells guarded against what a spreadsheet would run.
///
/// # Errors
/// [`Kind::Internal`] if the line cannot be written.
pub fn csv_line<S: AsRef<str>>(cells: &[S]) -> Result<String> {
    let cells = cells.iter().map(|cell| guard(cell.as_ref())).collect();
    write(cells, Vec::new())
}

fn row(reading: &Reading, piece: Option<(usize, &PieceReading)>) -> Result<Vec<String>> {
    let mut cells = vec![
        guard(&reading.photo),
        piece.map_or_else(String::new, |(i, _)| (i + 1).to_string()),
        match reading.status {
            Status::Ok => "ok".to_owned(),
            Status::Failed => "failed".to_owned(),
        },
        reading
            .error
            .as_ref()
            .map_or_else(String::new, |e| guard(&e.message)),
    ];
    match piece {
        None => cells.resize(
            FIRST.len() + LEVELS.len() * PER_LEVEL.len() + 3,
            String::new(),
        ),
        Some((_, piece)) => {
            cells.push(code(&piece.view)?);
            for level in words::levels(piece) {
                let best = level.candidates.first();
                cells.push(best.map_or_else(String::new, |c| guard(&c.label)));
                cells.push(words::certainty(level.certainty).to_owned());
                cells.push(best.map_or_else(String::new, |c| number(c.distance)));
                cells.push(best.map_or_else(String::new, |c| number(c.probability)));
            }
            let nearest = piece.matches.first();
            cells.push(nearest.map_or_else(String::new, |m| guard(&m.piece)));
            cells.push(nearest.map_or_else(String::new, |m| guard(&m.photo)));
            cells.push(nearest.map_or_else(String::new, |m| number(m.distance)));
        }
    }
    cells.push(codes(&reading.warnings)?);
    cells.push(piece.map_or_else(String::new, |(_, piece)| {
        piece.reordered_by_graph.to_string()
    }));
    let joined = piece.map(|(_, piece)| &piece.joined);
    cells.push(joined.map_or_else(|| Ok(String::new()), |j| code(&j.combination))?);
    let years = joined.and_then(|joined| joined.years.as_ref());
    for year in [years.and_then(|y| y.from), years.and_then(|y| y.to)] {
        cells.push(year.map_or_else(String::new, |year| year.to_string()));
    }
    Ok(cells)
}

pub(super) fn codes(warnings: &[Warning]) -> Result<String> {
    let codes: Vec<String> = warnings
        .iter()
        .map(|w| code(&w.code))
        .collect::<Result<_>>()?;
    Ok(codes.join(" "))
}

/// The name that the schema gives to a unit variant.
pub(super) fn code(value: &impl serde::Serialize) -> Result<String> {
    match serde_json::to_value(value).map_err(defect)? {
        serde_json::Value::String(name) => Ok(name),
        _ => Err(Error::new(Kind::Internal, "a code is not a word")),
    }
}

/// Four decimals: finer than any distance can be trusted.
fn number(value: f64) -> String {
    if value.is_finite() {
        format!("{:.4}", value + 0.0)
    } else {
        String::new()
    }
}

/// A cell that a spreadsheet would run as a formula is marked as text. Blanks
/// in front are no protection: some programs trim them first.
pub(super) fn guard(cell: &str) -> String {
    let risky = cell.starts_with(['\t', '\r', '\n'])
        || cell
            .trim_start()
            .starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠']);
    let is_number = cell.parse::<f64>().is_ok_and(f64::is_finite);
    if risky && !is_number {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

fn defect(e: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Error {
    Error::new(Kind::Internal, "the rows cannot be written as CSV").caused_by(e)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_become_text_and_numbers_stay() {
        for bad in [
            "=1+1",
            "+cmd|' /C calc'!A0",
            "-2+3",
            "@SUM(A1)",
            "\t=1",
            " =1",
            "＝1",
            "-inf",
        ] {
            assert_eq!(guard(bad), format!("'{bad}"));
        }
        for good in ["-12.5", "+3", "cup=saucer", "", "a-b", "1e3"] {
            assert_eq!(guard(good), good);
        }
    }
}
