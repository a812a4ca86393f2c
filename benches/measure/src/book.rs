//! Where results are kept: a JSON file, and a table in the README.

use std::{collections::BTreeSet, fs, path::Path};

use serde::{Deserialize, Serialize};

use crate::{Result, line::Line};

const BEGIN: &str = "<!-- measured -->";
const END: &str = "<!-- /measured -->";

/// A kept result, with when and by what it was measured.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct Kept {
    #[serde(flatten)]
    pub(crate) line: Line,
    pub(crate) date: String,
    pub(crate) footring: String,
    /// Cores of the machine.
    pub(crate) cores: usize,
}

#[derive(Debug, Default, Serialize, Deserialize)]
pub(crate) struct Book {
    /// In the order in which sets are measured.
    pub(crate) results: Vec<Kept>,
}

impl Book {
    /// Reads the kept results; none if there is no file.
    pub(crate) fn read(file: &Path) -> Result<Self> {
        match fs::read_to_string(file) {
            Ok(text) => Ok(serde_json::from_str(&text)
                .map_err(|e| format!("{} is no results file: {e}", file.display()))?),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(Self::default()),
            Err(e) => Err(format!("{}: {e}", file.display()).into()),
        }
    }

    pub(crate) fn write(&self, file: &Path) -> Result<()> {
        let text = serde_json::to_string_pretty(self)? + "\n";
        fs::write(file, text).map_err(|e| format!("{}: {e}", file.display()))?;
        Ok(())
    }

    /// Takes new results in by name. Where a whole set was measured (`complete`),
    /// its results of older names go; what was skipped leaves everything as it was.
    pub(crate) fn merge(&mut self, new: &[Kept], complete: bool, order: &[&str]) {
        let new: Vec<&Kept> = new.iter().filter(|k| k.line.skipped.is_none()).collect();
        let names: BTreeSet<&str> = new.iter().map(|k| k.line.name.as_str()).collect();
        let sets: BTreeSet<&str> = new.iter().map(|k| k.line.set()).collect();
        self.results.retain(|kept| {
            let is_replaced = names.contains(kept.line.name.as_str());
            let is_stale = complete && sets.contains(kept.line.set());
            !is_replaced && !is_stale
        });
        self.results.extend(new.into_iter().cloned());
        let place = |kept: &Kept| {
            let set = kept.line.set();
            order.iter().position(|s| *s == set).unwrap_or(usize::MAX)
        };
        // Stable: inside a set, kept ones stand before new ones.
        self.results.sort_by_key(place);
    }

    /// The results as a Markdown table.
    pub(crate) fn table(&self) -> String {
        let mut text = String::from(
            "| Result | Measured | Promised | Baseline | n |\n|---|---|---|---|---|\n",
        );
        for kept in &self.results {
            let line = &kept.line;
            let mut value = line.value.map_or("-".to_owned(), figure);
            if let Some([low, high]) = line.interval {
                value += &format!(" ({} to {})", figure(low), figure(high));
            }
            if line.holds == Some(false) {
                value = format!("**{value}, not held**");
            }
            let bound = line.bound.map_or(String::new(), |b| {
                format!("{} {}", if line.at_most { "≤" } else { "≥" }, figure(b))
            });
            let note = line
                .note
                .as_ref()
                .map_or(String::new(), |n| format!(": {n}"));
            text += &format!(
                "| `{}`{note} | {value} | {bound} | {} | {} |\n",
                line.name,
                line.baseline.map_or(String::new(), figure),
                line.n
            );
        }
        text
    }

    /// Puts the table between the README's markers; without markers, nothing.
    pub(crate) fn write_table(&self, readme: &Path) -> Result<bool> {
        let Ok(text) = fs::read_to_string(readme) else {
            return Ok(false);
        };
        let Some(new) = between(&text, &self.table()) else {
            return Ok(false);
        };
        if new != text {
            fs::write(readme, new).map_err(|e| format!("{}: {e}", readme.display()))?;
        }
        Ok(true)
    }
}

fn between(text: &str, table: &str) -> Option<String> {
    let (before, rest) = text.split_once(BEGIN)?;
    let (_, after) = rest.split_once(END)?;
    Some(format!("{before}{BEGIN}\n{table}{END}{after}"))
}

/// A number with as many places as it bears.
fn figure(v: f64) -> String {
    if v.fract() == 0.0 {
        format!("{v:.0}")
    } else if v.abs() >= 10.0 {
        format!("{v:.1}")
    } else {
        format!("{v:.3}")
    }
}

/// Today as YYYY-MM-DD, UTC (days to civil date after Hinnant).
pub(crate) fn today() -> String {
    let seconds = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .map_or(0, |d| d.as_secs());
    civil((seconds / 86_400) as i64)
}

fn civil(days: i64) -> String {
    let z = days + 719_468;
    let era = z.div_euclid(146_097);
    let day_of_era = z.rem_euclid(146_097);
    let year_of_era =
        (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month + 2) / 5 + 1;
    let month = if month < 10 { month + 3 } else { month - 9 };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{day:02}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(name: &str, value: f64) -> Kept {
        Kept {
            line: Line::new(name, value, 1),
            date: String::new(),
            footring: String::new(),
            cores: 2,
        }
    }

    #[test]
    fn a_part_replaces_by_name_and_a_whole_set_drops_what_is_no_more() {
        let mut book = Book {
            results: vec![kept("b.x", 1.0), kept("a.x", 1.0), kept("a.old", 1.0)],
        };
        book.merge(&[kept("a.x", 2.0)], false, &["a", "b"]);
        let names = |book: &Book| -> Vec<String> {
            book.results.iter().map(|k| k.line.name.clone()).collect()
        };
        assert_eq!(names(&book), ["a.old", "a.x", "b.x"]);
        book.merge(&[kept("a.x", 3.0)], true, &["a", "b"]);
        assert_eq!(names(&book), ["a.x", "b.x"]);
        let mut skipped = kept("a", 0.0);
        skipped.line = Line::skipped("a", "no DATA");
        book.merge(&[skipped], true, &["a", "b"]);
        assert_eq!(names(&book), ["a.x", "b.x"]);
    }

    #[test]
    fn the_table_goes_between_the_markers_or_nowhere() {
        let text = format!("one\n{BEGIN}\nold\n{END}\ntwo\n");
        let new = between(&text, "| new |\n").unwrap();
        assert_eq!(new, format!("one\n{BEGIN}\n| new |\n{END}\ntwo\n"));
        assert_eq!(between("no markers", "t"), None);
    }

    #[test]
    fn days_are_dates() {
        assert_eq!(civil(0), "1970-01-01");
        assert_eq!(civil(11_016), "2000-02-29");
        assert_eq!(civil(20_454), "2026-01-01");
    }
}
