//! Results that are rows, written as they come in every format.

use serde::Serialize;

use super::{Format, output};
use crate::{
    error::{Error, Kind, Result},
    report,
};

/// One row of a result; its serde form is its schema.
pub(super) trait Row: Serialize {
    /// Names of the columns in CSV.
    const COLUMNS: &'static [&'static str];

    /// The row for people: one line or more, without the last line end.
    fn text(&self) -> String;

    /// One cell for each of [`Row::COLUMNS`].
    fn cells(&self) -> Vec<String>;
}

/// Writes rows as they come.
pub(super) struct Rows<R> {
    format: Format,
    all: Vec<R>,
}

impl<R: Row> Rows<R> {
    pub(super) fn new(format: Format) -> Result<Self> {
        if format == Format::Csv {
            output::put(&report::csv_line(R::COLUMNS)?)?;
        }
        Ok(Self {
            format,
            all: Vec::new(),
        })
    }

    pub(super) fn put(&mut self, row: R) -> Result<()> {
        match self.format {
            Format::Json => {
                self.all.push(row);
                Ok(())
            }
            Format::Jsonl => output::put(&(to_json(&row)? + "\n")),
            Format::Table => {
                let text = row.text();
                let mut lines = text.lines().map(report::plain);
                lines.try_for_each(|line| output::put(&(line + "\n")))
            }
            Format::Csv => output::put(&report::csv_line(&row.cells())?),
        }
    }

    pub(super) fn finish(&self) -> Result<()> {
        if self.format == Format::Json {
            output::put(&(to_json(&self.all)? + "\n"))?;
        }
        Ok(())
    }
}

pub(super) fn to_json<T: Serialize>(value: &T) -> Result<String> {
    serde_json::to_string(value)
        .map_err(|e| Error::new(Kind::Internal, "cannot be written as JSON").caused_by(e))
}
