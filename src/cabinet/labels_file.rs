//! The labels file: CSV in UTF-8 with a header. Only `photo` is required; columns
//! that footring does not know are kept as notes of the photo.

use std::{
    collections::{BTreeSet, HashMap},
    io,
    path::{Path, PathBuf},
};

use super::{Labels, PIECE_LABELS, VIEW_LABELS, View};
use crate::error::{Error, Kind, Result};

/// One photo in a labels file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LabelsRow {
    /// Line of the file, for messages.
    pub line: u64,
    /// The photo as written.
    pub photo: String,
    /// The photo, relative paths taken from the file's folder.
    pub path: PathBuf,
    /// The piece it shows.
    pub piece: Option<String>,
    /// Its labels.
    pub labels: Labels,
}

/// A labels file that was read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LabelsFile {
    /// Its photos, in the order of the file; each occurs once.
    pub rows: Vec<LabelsRow>,
    /// Columns that footring does not know, in the order of the file.
    pub unknown: Vec<String>,
}

impl LabelsFile {
    /// Reads a labels file.
    ///
    /// # Errors
    /// [`Kind::Missing`] if it cannot be read, [`Kind::Usage`] naming the line and
    /// what was expected there.
    pub fn read(file: &Path) -> Result<Self> {
        let text = std::fs::read(file).map_err(|e| Error::from(e).in_file(file))?;
        let folder = file.parent().unwrap_or(Path::new(""));
        Self::parse(&text, folder).map_err(|e| e.in_file(file))
    }

    /// Reads the text of a labels file; relative photos are taken from `folder`.
    ///
    /// # Errors
    /// [`Kind::Usage`] naming the line and what was expected there.
    pub fn parse(text: &[u8], folder: &Path) -> Result<Self> {
        let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
        let text = std::str::from_utf8(text).map_err(|e| {
            let line = 1 + text[..e.valid_up_to()]
                .iter()
                .filter(|c| **c == b'\n')
                .count();
            at(line as u64, "is not UTF-8").remedy("save it as UTF-8")
        })?;
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(true)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let mut lines = Lines::of(text);
        let columns = header(reader.headers().map_err(|e| malformed(&e, &mut lines))?)?;
        let mut found = Self {
            rows: Vec::new(),
            unknown: columns
                .iter()
                .filter(|c| !matches!(c.as_str(), "photo" | "piece") && !Labels::is_known(c))
                .cloned()
                .collect(),
        };
        let mut by_path: HashMap<PathBuf, usize> = HashMap::new();
        // Where each label of each piece was given first.
        let mut by_piece: HashMap<String, HashMap<String, (u64, String)>> = HashMap::new();
        for record in reader.records() {
            let record = record.map_err(|e| malformed(&e, &mut lines))?;
            let line = lines.at(record.position());
            if record.iter().all(str::is_empty) {
                continue;
            }
            let row = row(&columns, &record, line, folder)?;
            if let Some(first) = by_path.get(&row.path).map(|i| &found.rows[*i]) {
                if first.piece == row.piece && first.labels == row.labels {
                    continue;
                }
                return Err(at(
                    line,
                    &format!(
                        "says other things about \"{}\" than line {}",
                        row.photo, first.line
                    ),
                )
                .remedy("keep one of the two"));
            }
            if let Some(piece) = &row.piece {
                agree(by_piece.entry(piece.clone()).or_default(), piece, &row)?;
            }
            by_path.insert(row.path.clone(), found.rows.len());
            found.rows.push(row);
        }
        for (piece, given) in &by_piece {
            let mut labels = Labels::new();
            for (label, (_, value)) in given {
                labels.put(label.clone(), value.clone());
            }
            labels
                .check_years()
                .map_err(|e| Error::new(Kind::Usage, format!("of piece \"{piece}\", {e}")))?;
        }
        Ok(found)
    }

    /// Looks photos up by path.
    pub fn by_path(&self) -> HashMap<&Path, &LabelsRow> {
        self.rows
            .iter()
            .map(|row| (row.path.as_path(), row))
            .collect()
    }
}

fn at(line: u64, message: &str) -> Error {
    Error::new(Kind::Usage, format!("line {line} {message}"))
}

/// Counts lines as an editor does. The reader's own count is that of the end of
/// the record before, so blank lines and two-sign line ends put it off.
struct Lines<'a> {
    text: &'a [u8],
    byte: usize,
    line: u64,
}

impl<'a> Lines<'a> {
    fn of(text: &'a str) -> Self {
        Self {
            text: text.as_bytes(),
            byte: 0,
            line: 1,
        }
    }

    /// The line of a record; positions come in their order.
    fn at(&mut self, position: Option<&csv::Position>) -> u64 {
        let start = position.map_or(0, |position| position.byte() as usize);
        while let Some(sign) = self.text.get(self.byte)
            && (self.byte < start || matches!(sign, b'\r' | b'\n'))
        {
            self.line += u64::from(*sign == b'\n');
            self.byte += 1;
        }
        self.line
    }
}

fn malformed(e: &csv::Error, lines: &mut Lines<'_>) -> Error {
    let line = lines.at(e.position());
    match e.kind() {
        csv::ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => at(
            line,
            &format!("has {len} fields where the header has {expected_len}"),
        )
        .remedy("put a value that contains a comma between double quotes"),
        _ => at(line, "is not CSV").caused_by(e.to_string()),
    }
}

fn header(record: &csv::StringRecord) -> Result<Vec<String>> {
    let mut columns: Vec<String> = Vec::new();
    for name in record {
        let lower = name.to_lowercase();
        let name = match lower.as_str() {
            "photo" | "piece" => lower,
            _ if Labels::is_known(&lower) => lower,
            _ => name.to_owned(),
        };
        if name.is_empty() {
            return Err(at(
                1,
                &format!("has no name for column {}", columns.len() + 1),
            ));
        }
        if columns.contains(&name) {
            return Err(at(1, &format!("names column \"{name}\" twice")));
        }
        columns.push(name);
    }
    if !columns.iter().any(|c| c == "photo") {
        let other = [(";", "semicolons"), ("\t", "tabs")]
            .into_iter()
            .find(|(sign, _)| columns.iter().any(|c| c.contains(sign)));
        return Err(match other {
            Some((_, name)) => at(1, &format!("separates its columns with {name}"))
                .remedy("save it as CSV with commas"),
            None => at(1, "has no column \"photo\"")
                .remedy("begin the file with a line that names the columns, one of them `photo`"),
        });
    }
    Ok(columns)
}

fn row(
    columns: &[String],
    record: &csv::StringRecord,
    line: u64,
    folder: &Path,
) -> Result<LabelsRow> {
    let mut row = LabelsRow {
        line,
        photo: String::new(),
        path: PathBuf::new(),
        piece: None,
        labels: Labels::new(),
    };
    for (column, value) in columns.iter().zip(record) {
        match column.as_str() {
            "photo" => value.clone_into(&mut row.photo),
            "piece" => row.piece = (!value.is_empty()).then(|| value.to_owned()),
            label => row
                .labels
                .set(label, value)
                .map_err(|e| at(line, &format!("is wrong: {e}")))?,
        }
    }
    if row.photo.is_empty() {
        return Err(at(line, "names no photo"));
    }
    row.labels
        .check_years()
        .map_err(|e| at(line, &format!("is wrong: {e}")))?;
    row.path = folder.join(&row.photo);
    Ok(row)
}

/// Photos of one piece must not contradict each other about it.
fn agree(given: &mut HashMap<String, (u64, String)>, piece: &str, row: &LabelsRow) -> Result<()> {
    for (label, value) in row
        .labels
        .iter()
        .filter(|(label, _)| !Labels::is_of_view(label))
    {
        let (line, first) = given
            .entry(label.to_owned())
            .or_insert_with(|| (row.line, value.to_owned()));
        if first != value {
            return Err(at(
                row.line,
                &format!(
                    "gives piece \"{piece}\" the {label} \"{value}\", line {line} gave it \"{first}\""
                ),
            ));
        }
    }
    Ok(())
}

/// Writes views as a labels file that [`LabelsFile::read`] reads: all known
/// columns, then the others by name.
///
/// # Errors
/// [`Kind::Io`] if `out` cannot be written.
pub fn write_labels(views: &[View], out: impl io::Write) -> Result<()> {
    let others: BTreeSet<&str> = views
        .iter()
        .flat_map(|view| view.labels.iter())
        .map(|(label, _)| label)
        .filter(|label| !Labels::is_known(label))
        .collect();
    let labels: Vec<&str> = PIECE_LABELS[..9]
        .iter()
        .chain(["view"].iter())
        .chain(&PIECE_LABELS[9..])
        .chain(VIEW_LABELS.iter().filter(|label| **label != "view"))
        .copied()
        .chain(others)
        .collect();
    let mut writer = csv::Writer::from_writer(out);
    let written = (|| -> csv::Result<()> {
        writer.write_field("photo")?;
        writer.write_field("piece")?;
        writer.write_record(&labels)?;
        for view in views {
            writer.write_field(&view.photo)?;
            writer.write_field(&view.piece)?;
            writer.write_record(
                labels
                    .iter()
                    .map(|label| view.labels.get(label).unwrap_or("")),
            )?;
        }
        writer.flush()?;
        Ok(())
    })();
    written.map_err(|e| {
        Error::new(Kind::Io, "the labels could not be written").caused_by(e.to_string())
    })
}
