//! The demo set holds what DEVELOPERS.md and its README claim. Source of the
//! bounds: those two; nothing here looks at a pixel.

use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
};

use footring::{cabinet::LabelsFile, photo};

/// Every situation that a query stands for.
const SITUATIONS: [&str; 20] = [
    "a piece of the set in another light",
    "one decal on two shapes: the shape must decide",
    "mixed service: hollowware of one shape",
    "mixed service: coupe flatware of another shape",
    "slip outside only: the inside is white",
    "dipped: the inside is coloured too",
    "two glazes that differ a little in lightness",
    "black-and-white print: colour cannot count",
    "line drawing: only form and shape can be told",
    "known shape in a glaze that the set does not hold",
    "a piece that is not in the set",
    "a decal of the set on a shape that is not in it",
    "not ceramic: a wooden skittle",
    "not ceramic: a pear",
    "two pieces in one photo",
    "badly lit, warm light, blurred",
    "cut off by the frame",
    "shape and pattern known, not together",
    "a cup standing on its saucer",
    "a platter from above",
];

fn set() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("index/demo")
}

fn labels() -> LabelsFile {
    LabelsFile::read(&set().join("labels.csv")).unwrap_or_else(|e| panic!("{e}"))
}

/// The rows of `queries.csv`, column by column name.
fn queries() -> Vec<Vec<(String, String)>> {
    let mut reader = csv::Reader::from_path(set().join("queries.csv")).unwrap();
    let columns = reader.headers().unwrap().clone();
    reader
        .records()
        .map(|row| {
            let row = row.unwrap();
            let pairs = columns.iter().zip(&row);
            pairs.map(|(k, v)| (k.to_owned(), v.to_owned())).collect()
        })
        .collect()
}

fn get<'a>(row: &'a [(String, String)], column: &str) -> &'a str {
    let found = row.iter().find(|(k, _)| k == column);
    found.map_or_else(|| panic!("no column {column}"), |(_, v)| v)
}

/// Photos under a folder of the set.
fn photos(folder: &str) -> BTreeSet<PathBuf> {
    photo::gather(&[set().join(folder)]).into_iter().collect()
}

#[test]
fn every_reference_photo_is_labelled_and_every_label_has_its_photo() {
    let labels = labels();
    assert_eq!(labels.unknown, Vec::<String>::new());
    let named: BTreeSet<PathBuf> = labels.rows.iter().map(|row| row.path.clone()).collect();
    assert_eq!(named, photos("reference"));
    assert!((60..=120).contains(&named.len()), "{} photos", named.len());
    for row in &labels.rows {
        assert!(row.piece.is_some(), "line {}: no piece", row.line);
        for label in [
            "form", "shape", "pattern", "glaze", "view", "source", "rights",
        ] {
            assert!(
                row.labels.get(label).is_some(),
                "line {}: no {label}",
                row.line
            );
        }
        assert_eq!(row.labels.get("source"), Some("rendered"));
    }
}

#[test]
fn it_is_wide_enough_to_show_what_footring_does() {
    let labels = labels();
    let values = |label: &str| -> BTreeSet<&str> {
        labels
            .rows
            .iter()
            .filter_map(|row| row.labels.get(label))
            .collect()
    };
    assert!(values("form").len() >= 6, "{:?}", values("form"));
    assert!(values("shape").len() >= 6, "{:?}", values("shape"));
    let (patterns, glazes) = (values("pattern"), values("glaze"));
    assert!(
        patterns.len() + glazes.len() >= 10,
        "{patterns:?} {glazes:?}"
    );
    let pieces: BTreeSet<&str> = labels
        .rows
        .iter()
        .filter_map(|r| r.piece.as_deref())
        .collect();
    for piece in &pieces {
        let views = labels
            .rows
            .iter()
            .filter(|r| r.piece.as_deref() == Some(piece));
        assert!(views.count() >= 2, "{piece} has one view only");
    }
    // One shape carries several patterns and one pattern sits on several shapes.
    let both: BTreeSet<(&str, &str)> = labels
        .rows
        .iter()
        .filter_map(|row| Some((row.labels.get("shape")?, row.labels.get("pattern")?)))
        .collect();
    assert!(
        values("shape")
            .iter()
            .any(|s| both.iter().filter(|b| b.0 == *s).count() > 1)
    );
    assert!(
        patterns
            .iter()
            .any(|p| both.iter().filter(|b| b.1 == *p).count() > 1)
    );
}

#[test]
fn every_query_photo_is_told_of_and_every_situation_occurs() {
    let rows = queries();
    let named: BTreeSet<PathBuf> = rows
        .iter()
        .map(|row| set().join(get(row, "photo")))
        .collect();
    assert_eq!(named, photos("queries"));
    assert!(named.len() >= 12, "{} queries", named.len());
    let situations: BTreeSet<&str> = rows.iter().map(|row| get(row, "situation")).collect();
    assert_eq!(situations, SITUATIONS.into());
}

#[test]
fn the_truth_of_a_query_is_a_label_of_the_set_or_unknown_or_untold() {
    let labels = labels();
    for row in queries() {
        for level in ["form", "shape", "pattern", "glaze"] {
            let truth = get(&row, level);
            let known = labels
                .rows
                .iter()
                .any(|l| l.labels.get(level) == Some(truth));
            assert!(
                known || truth.is_empty() || truth == "unknown",
                "{}: {level} {truth}",
                get(&row, "photo")
            );
        }
    }
}

#[test]
fn no_photo_is_there_twice() {
    // One of them among the references would be found by its bytes alone.
    let mut seen = std::collections::BTreeMap::new();
    for file in photos("reference").into_iter().chain(photos("queries")) {
        if let Some(other) = seen.insert(fs::read(&file).unwrap(), file.clone()) {
            panic!("{} is {}", file.display(), other.display());
        }
    }
}

#[test]
fn it_is_small_enough_to_ship() {
    let mut bytes = 0;
    let mut open = vec![set()];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let entry = entry.unwrap();
            let about = entry.metadata().unwrap();
            if about.is_dir() {
                open.push(entry.path());
            } else {
                bytes += about.len();
            }
        }
    }
    assert!(bytes < 10_000_000, "{bytes} bytes");
}
