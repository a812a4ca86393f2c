//! Readings written down: for a terminal, for programs, for spreadsheets, and
//! as one page for people.
//!
//! Nothing here knows how a reading came about. Whatever a reading, an
//! assessment or an [`Exhibit`] holds is text of unknown origin (file names, labels typed by
//! hand), so each format guards against what it could do there: control
//! characters in a terminal, formulas in a spreadsheet, markup in a page.

mod assessment;
mod csv;
mod exhibit;
mod json;
mod overlay;
mod page;
pub mod sheet;
pub mod svg;
mod table;
mod words;

pub use assessment::{assessment_csv, assessment_page, assessment_table};
pub use csv::{csv, csv_line};
pub use exhibit::{Exhibit, Sample, Sight, Swatch};
pub use json::{assessment_json, json, jsonl, read_jsonl};
pub use page::{CutOut, Heading, Lot, PiecesPage, page};
pub use table::{Terminal, table};
pub use words::plain;
