//! The schema of [`crate::identify::reading`], as JSON.

use serde::Serialize;

use crate::{
    assess::Assessment,
    error::{Error, Kind, Result},
    identify::reading::{Reading, SCHEMA},
};

/// One array of all readings, indented.
///
/// # Errors
/// [`Kind::Internal`] if a reading cannot be written as JSON.
pub fn json(readings: &[Reading]) -> Result<String> {
    let mut text = serde_json::to_string_pretty(readings).map_err(defect)?;
    text.push('\n');
    Ok(text)
}

/// An assessment, indented.
///
/// # Errors
/// [`Kind::Internal`] if it cannot be written as JSON.
pub fn assessment_json(assessment: &Assessment) -> Result<String> {
    let mut text = serde_json::to_string_pretty(assessment).map_err(defect)?;
    text.push('\n');
    Ok(text)
}

/// One line for each reading, so that a long run can be followed and cut.
///
/// # Errors
/// [`Kind::Internal`] if a reading cannot be written as JSON.
pub fn jsonl(readings: &[Reading]) -> Result<String> {
    let mut text = String::new();
    for reading in readings {
        text.push_str(&line(reading)?);
    }
    Ok(text)
}

/// Reads what [`jsonl`] wrote, by this footring or an earlier one.
///
/// # Errors
/// [`Kind::Usage`] naming the line that is no reading.
pub fn read_jsonl(text: &str) -> Result<Vec<Reading>> {
    let lines = text.lines().enumerate();
    lines
        .filter(|(_, line)| !line.trim().is_empty())
        .map(|(i, line)| {
            let wrong = || {
                let n = i + 1;
                Error::new(
                    Kind::Usage,
                    format!("line {n} is no reading of schema {SCHEMA}"),
                )
                .remedy("write it with `footring identify --format jsonl`")
            };
            let reading: Reading = serde_json::from_str(line).map_err(|e| wrong().caused_by(e))?;
            if reading.schema == SCHEMA {
                Ok(reading)
            } else {
                Err(wrong())
            }
        })
        .collect()
}

fn line(value: &impl Serialize) -> Result<String> {
    let mut text = serde_json::to_string(value).map_err(defect)?;
    text.push('\n');
    Ok(text)
}

fn defect(e: serde_json::Error) -> Error {
    Error::new(Kind::Internal, "a result cannot be written as JSON").caused_by(e)
}
