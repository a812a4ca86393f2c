//! An assessment written down: for a terminal, for spreadsheets, as a page.

mod page;
mod plot;
mod rows;
mod table;

pub use page::page as assessment_page;
pub use rows::csv as assessment_csv;
pub use table::table as assessment_table;

use super::words::counted;
use crate::assess::{Baselines, Rate, WordKept};

/// The trivial baselines by name.
fn baselines(b: &Baselines) -> [(&'static str, Option<Rate>); 3] {
    [
        ("aspect ratio", b.aspect_ratio),
        ("ground colour", b.ground_lab),
        ("thumbnail hash", b.thumbnail_hash),
    ]
}

/// A rate with three decimals; a dash where there is none.
fn bare(rate: Option<&Rate>) -> String {
    rate.map_or_else(|| "–".to_owned(), |r| format!("{:.3}", r.rate))
}

/// A rate with its interval.
fn with_interval(rate: Option<&Rate>) -> String {
    rate.map_or_else(
        || "–".to_owned(),
        |r| format!("{:.3} ({:.3} to {:.3})", r.rate, r.low, r.high),
    )
}

/// Whether a promise is broken beyond what chance explains.
fn is_broken(word: &WordKept) -> bool {
    word.promised
        .zip(word.right)
        .is_some_and(|(promised, right)| right.high < promised)
}
