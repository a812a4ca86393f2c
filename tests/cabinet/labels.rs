//! The labels file and labels from folders.

use std::path::Path;

use footring::{
    cabinet::{FolderTemplate, Labels, LabelsFile, PIECE_LABELS, VIEW_LABELS, View, write_labels},
    error::Kind,
};
use proptest::prelude::*;

fn parse(text: &str) -> footring::error::Result<LabelsFile> {
    LabelsFile::parse(text.as_bytes(), Path::new("set"))
}

#[test]
fn a_labels_file_is_read() {
    let text = "\u{feff}photo,Piece,FORM,year_from,year_to,width_mm,shelf,notes\r\n\
        a.jpg,cup 1,teacup,1900,1910,83.5,B3,\"chip, small\"\r\n\
        \r\n\
        sub/b.jpg,cup 1,,,,,, \r\n\
        a.jpg,cup 1,teacup,1900,1910,83.5,B3,\"chip, small\"\r\n\
        ,,,,,,,\r\n\
        c.jpg,,saucer,,,,,\r\n";
    let file = parse(text).unwrap();
    assert_eq!(file.unknown, ["shelf"]);
    assert_eq!(file.rows.len(), 3);
    let first = &file.rows[0];
    assert_eq!(first.path, Path::new("set/a.jpg"));
    assert_eq!(first.piece.as_deref(), Some("cup 1"));
    assert_eq!(first.labels.get("form"), Some("teacup"));
    assert_eq!(first.labels.get("shelf"), Some("B3"));
    assert_eq!(first.labels.get("notes"), Some("chip, small"));
    assert_eq!(first.labels.year_from(), Some(1900));
    assert_eq!(first.labels.width_mm(), Some(83.5));
    assert!(file.rows[1].labels.is_empty());
    assert_eq!((file.rows[1].line, file.rows[2].line), (4, 7));
    assert_eq!(file.rows[2].piece, None);
    assert_eq!(
        file.by_path()[Path::new("set/c.jpg")].labels.get("form"),
        Some("saucer")
    );
    assert!(parse("photo\n").unwrap().rows.is_empty());
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    for (text, wanted) in [
        ("", "has no column \"photo\""),
        ("file,form\na.jpg,cup\n", "line 1 has no column \"photo\""),
        ("photo;form\na.jpg;cup\n", "semicolons"),
        ("photo\tform\na.jpg\tcup\n", "tabs"),
        ("photo,form,Form\n", "names column \"form\" twice"),
        ("photo,,form\n", "has no name for column 2"),
        (
            "photo,form\na.jpg,cup\nb.jpg\n",
            "line 3 has 1 fields where the header has 2",
        ),
        ("photo,form\n,cup\n", "line 2 names no photo"),
        (
            "photo,year_from\na.jpg,1900\nb.jpg,about 1900\n",
            "line 3 is wrong: year_from must be a year in digits, not \"about 1900\"",
        ),
        (
            "photo,year_from,year_to\na.jpg,1910,1900\n",
            "line 2 is wrong: year_from 1910 is after year_to 1900",
        ),
        (
            "photo,width_mm\na.jpg,0\n",
            "line 2 is wrong: width_mm must be a number of millimetres above 0",
        ),
        ("photo,height_mm\na.jpg,-4\n", "above 0"),
        ("photo,height_mm\na.jpg,NaN\n", "above 0"),
        ("photo,height_mm\na.jpg,\"8,5\"\n", "above 0"),
        (
            "photo,form\na.jpg,cup\nb.jpg,cup\na.jpg,bowl\n",
            "line 4 says other things about \"a.jpg\" than line 2",
        ),
        (
            "photo,piece,form\na.jpg,p,cup\nb.jpg,p,\nc.jpg,p,bowl\n",
            "line 4 gives piece \"p\" the form \"bowl\", line 2 gave it \"cup\"",
        ),
        (
            "photo,piece,year_from,year_to\na.jpg,p,1910,\nb.jpg,p,,1900\n",
            "of piece \"p\", year_from 1910 is after year_to 1900",
        ),
        (
            "photo,form\n\n\na.jpg,\"c\nup\"\nb.jpg\n",
            "line 6 has 1 fields",
        ),
    ] {
        let e = parse(text).unwrap_err();
        assert_eq!(e.kind(), Kind::Usage);
        assert!(e.to_string().contains(wanted), "{text:?}: {e}");
    }
    let e = LabelsFile::parse(b"photo,form\na.jpg,caf\xe9\n", Path::new("")).unwrap_err();
    assert!(e.to_string().contains("line 2 is not UTF-8"), "{e}");
    let e = LabelsFile::read(Path::new("nowhere/labels.csv")).unwrap_err();
    assert_eq!(e.kind(), Kind::Missing);
    assert!(e.to_string().contains("labels.csv"));
}

#[test]
fn folders_give_labels() {
    let template = FolderTemplate::parse("path:shape/pattern").unwrap();
    let read = |photo: &str| template.read(Path::new(photo), Path::new("set")).unwrap();
    let found = read("set/old/Round/Vine/1.jpg").unwrap();
    assert_eq!(found.labels.get("shape"), Some("Round"));
    assert_eq!(found.labels.get("pattern"), Some("Vine"));
    assert_eq!((found.piece, found.labels.len()), (None, 2));
    assert_eq!(read("set/Vine/1.jpg"), None);
    assert_eq!(read("set/1.jpg"), None);

    let template = FolderTemplate::parse("path:form/-/piece/").unwrap();
    let found = template
        .read(Path::new("set/teacup/white/no 7/x.jpg"), Path::new("set"))
        .unwrap()
        .unwrap();
    assert_eq!(found.piece.as_deref(), Some("no 7"));
    assert_eq!(found.labels.get("form"), Some("teacup"));
    assert_eq!(found.labels.len(), 1);

    let years = FolderTemplate::parse("path:year_from").unwrap();
    assert!(
        years
            .read(Path::new("set/soon/x.jpg"), Path::new("set"))
            .is_err()
    );
    for wrong in [
        "shape",
        "path:",
        "path:-",
        "path:shape/shape",
        "path:colour",
        "path:form//shape",
    ] {
        let e = FolderTemplate::parse(wrong).unwrap_err();
        assert_eq!(e.kind(), Kind::Usage, "{wrong}");
        assert!(e.to_string().contains("path:shape/pattern"), "{e}");
    }
}

fn value(label: &str) -> BoxedStrategy<String> {
    match label {
        "year_from" => (1700..1800i32).prop_map(|year| year.to_string()).boxed(),
        "year_to" => (1800..1900i32).prop_map(|year| year.to_string()).boxed(),
        "width_mm" | "height_mm" => (0.1f64..900.0).prop_map(|size| size.to_string()).boxed(),
        _ => "[ -~äöü茶\n\"',;]{0,12}"
            .prop_map(|text| text.trim().to_owned())
            .boxed(),
    }
}

fn any_view(number: usize) -> impl Strategy<Value = View> {
    let known: Vec<&str> = PIECE_LABELS.iter().chain(&VIEW_LABELS).copied().collect();
    let labels: Vec<_> = known
        .into_iter()
        .chain(["shelf", "Über \"das\", x"])
        .map(|label| prop::option::of(value(label)).prop_map(move |value| (label, value)))
        .collect();
    (labels, "[a-z \",é]{0,8}").prop_map(move |(values, name)| {
        let mut labels = Labels::new();
        for (label, value) in values {
            labels.set(label, value.as_deref().unwrap_or("")).unwrap();
        }
        View {
            id: number as i64,
            piece: format!("piece {number}{}", name.trim_end()),
            photo: format!("photo {number}/{}.jpg", name.trim_end()),
            sha256: String::new(),
            width_px: 1,
            height_px: 1,
            captured: None,
            view: None,
            added_at: String::new(),
            labels,
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn what_is_written_is_read(views in (0..6usize).prop_flat_map(|n| (0..n).map(any_view).collect::<Vec<_>>())) {
        let mut text = Vec::new();
        write_labels(&views, &mut text).unwrap();
        let file = LabelsFile::parse(&text, Path::new("")).unwrap();
        prop_assert_eq!(file.rows.len(), views.len());
        for (row, view) in file.rows.iter().zip(&views) {
            prop_assert_eq!(&row.photo, &view.photo);
            prop_assert_eq!(row.piece.as_ref(), Some(&view.piece));
            prop_assert_eq!(&row.labels, &view.labels);
        }
    }

    #[test]
    fn any_text_is_read_or_refused(text in prop::collection::vec(any::<u8>(), 0..200)) {
        let mut with_header = b"photo,form,year_from\n".to_vec();
        with_header.extend(&text);
        let _ = LabelsFile::parse(&text, Path::new(""));
        let _ = LabelsFile::parse(&with_header, Path::new(""));
    }
}
