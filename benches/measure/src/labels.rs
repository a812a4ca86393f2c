//! What is true of photos, from CSV files: a row a piece, a column a label.

use std::{collections::BTreeMap, path::Path};

use crate::{Result, answer};

/// Labels by column.
pub(crate) type Labels = BTreeMap<String, String>;

/// The rows of a file, each with its photo's name without folder and ending, which
/// stands in the column `photo`.
pub(crate) fn rows(file: &Path, photo: &str) -> Result<Vec<(String, Labels)>> {
    let mut reader = csv::Reader::from_path(file)?;
    let columns = reader.headers()?.clone();
    if !columns.iter().any(|column| column == photo) {
        return Err(format!("{}: no column {photo}", file.display()).into());
    }
    reader
        .records()
        .map(|record| {
            let record = record?;
            let labels: Labels = columns
                .iter()
                .zip(&record)
                .map(|(column, label)| (column.to_owned(), label.to_owned()))
                .collect();
            Ok((answer::stem(&labels[photo]).to_owned(), labels))
        })
        .collect()
}

/// The labels of each photo, of files that have one row a photo.
pub(crate) fn by_photo(file: &Path, photo: &str) -> Result<BTreeMap<String, Labels>> {
    Ok(rows(file, photo)?.into_iter().collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_named_by_their_photo() {
        let file = std::env::temp_dir().join(format!("labels-{}.csv", std::process::id()));
        std::fs::write(&file, "photo,form\na/q1.jpg,jug\na/q1.jpg,lid\n").unwrap();
        let rows = rows(&file, "photo").unwrap();
        assert_eq!(rows.len(), 2);
        assert_eq!(
            (rows[1].0.as_str(), rows[1].1["form"].as_str()),
            ("q1", "lid")
        );
        let error = by_photo(&file, "file").unwrap_err().to_string();
        assert!(error.ends_with("no column file"), "{error}");
        std::fs::remove_file(&file).unwrap();
    }
}
