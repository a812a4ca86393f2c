//! What is known about a piece: values by column name, checked on the way in.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Kind, Result};

/// Labels that are levels of identity: those a reading answers.
pub const LEVELS: [&str; 4] = ["form", "shape", "pattern", "glaze"];

/// Labels of the piece itself, in the order of the labels file.
pub const PIECE_LABELS: [&str; 13] = [
    "form",
    "shape",
    "pattern",
    "glaze",
    "treatment",
    "maker",
    "year_from",
    "year_to",
    "mark",
    "width_mm",
    "height_mm",
    "size_basis",
    "borrowed_from",
];

/// Labels of one photo of it, in the order of the labels file. Every label that
/// footring does not know belongs to the photo too.
pub const VIEW_LABELS: [&str; 4] = ["view", "source", "rights", "notes"];

/// Labels by column name. No value is empty; years are whole numbers,
/// measures are positive numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Labels(BTreeMap<String, String>);

impl Labels {
    /// No labels.
    pub fn new() -> Self {
        Self::default()
    }

    /// Labels with these values.
    #[cfg(test)]
    pub(crate) fn of(pairs: &[(&str, &str)]) -> Self {
        let mut labels = Self::new();
        for (label, value) in pairs {
            labels.set(label, value).unwrap();
        }
        labels
    }

    /// Whether footring knows what the label means.
    pub fn is_known(label: &str) -> bool {
        PIECE_LABELS.contains(&label) || VIEW_LABELS.contains(&label)
    }

    /// Whether the label belongs to one photo rather than to the piece.
    pub fn is_of_view(label: &str) -> bool {
        !PIECE_LABELS.contains(&label)
    }

    /// The value of a label.
    pub fn get(&self, label: &str) -> Option<&str> {
        self.0.get(label).map(String::as_str)
    }

    /// Sets a label; an empty value takes it away.
    ///
    /// # Errors
    /// [`Kind::Usage`] saying what was expected.
    pub fn set(&mut self, label: &str, value: &str) -> Result<()> {
        let (label, value) = (label.trim(), value.trim());
        check(label, value)?;
        if value.is_empty() {
            self.0.remove(label);
        } else {
            self.0.insert(label.to_owned(), value.to_owned());
        }
        Ok(())
    }

    /// Checks what no label shows alone: that the years are in order.
    ///
    /// # Errors
    /// [`Kind::Usage`] naming both.
    pub fn check_years(&self) -> Result<()> {
        match (self.year_from(), self.year_to()) {
            (Some(from), Some(to)) if from > to => Err(Error::new(
                Kind::Usage,
                format!("year_from {from} is after year_to {to}"),
            )),
            _ => Ok(()),
        }
    }

    /// First year it may have been made in.
    pub fn year_from(&self) -> Option<i32> {
        self.get("year_from")?.parse().ok()
    }

    /// Last year it may have been made in.
    pub fn year_to(&self) -> Option<i32> {
        self.get("year_to")?.parse().ok()
    }

    /// Its width.
    pub fn width_mm(&self) -> Option<f64> {
        self.get("width_mm")?.parse().ok()
    }

    /// Its height.
    pub fn height_mm(&self) -> Option<f64> {
        self.get("height_mm")?.parse().ok()
    }

    /// Labels with their values, by name.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(k, v)| (k.as_str(), v.as_str()))
    }

    /// Whether nothing is known.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Number of labels.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// As a plain map, for reports.
    pub fn into_map(self) -> BTreeMap<String, String> {
        self.0
    }

    /// Adds what comes from the catalogue, which was checked when it went in.
    pub(super) fn put(&mut self, label: String, value: String) {
        self.0.insert(label, value);
    }
}

/// Checks one label and its value (which may be empty).
pub(super) fn check(label: &str, value: &str) -> Result<()> {
    let wrong = |expected: &str| {
        Err(Error::new(
            Kind::Usage,
            format!("{label} must be {expected}, not \"{value}\""),
        ))
    };
    match label {
        "" => Err(Error::new(Kind::Usage, "a label has no name")),
        "photo" | "piece" => Err(Error::new(
            Kind::Usage,
            format!("{label} is not a label and cannot be set as one"),
        )),
        _ if value.is_empty() => Ok(()),
        "year_from" | "year_to" => match value.parse::<i32>() {
            Ok(year) if (-9999..=9999).contains(&year) => Ok(()),
            _ => wrong("a year in digits"),
        },
        "width_mm" | "height_mm" => match value.parse::<f64>() {
            Ok(size) if size.is_finite() && size > 0.0 => Ok(()),
            _ => wrong("a number of millimetres above 0"),
        },
        _ => Ok(()),
    }
}
