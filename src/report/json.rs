//! The schema of [`crate::identify::reading`], as JSON.

use serde::Serialize;

use crate::{
    error::{Error, Kind, Result},
    identify::reading::Reading,
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

fn line(value: &impl Serialize) -> Result<String> {
    let mut text = serde_json::to_string(value).map_err(defect)?;
    text.push('\n');
    Ok(text)
}

fn defect(e: serde_json::Error) -> Error {
    Error::new(Kind::Internal, "a reading cannot be written as JSON").caused_by(e)
}
