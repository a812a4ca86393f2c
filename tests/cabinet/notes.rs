//! Notes on how to tell labels apart, and what the set knows of its labels.

use footring::{
    cabinet::{Cabinet, Origin},
    error::Kind,
};

use super::common::{filled, snapshot};

#[test]
fn a_note_is_kept_for_a_pair_in_whichever_order() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 4);
    let by = Origin::new("a curator");
    let pair = ["teacup", "saucer"];
    assert!(
        cabinet
            .set_note("form", pair, " one is deep ", &by)
            .unwrap()
    );
    assert!(!cabinet.set_note("form", pair, "one is deep", &by).unwrap());
    assert!(
        cabinet
            .set_note("form", ["jug", "creamer"], "size", &by)
            .unwrap()
    );
    let taken = snapshot(&cabinet);
    for (a, b) in [("teacup", "saucer"), ("saucer", "teacup")] {
        let note = taken.note("form", a, b).unwrap();
        assert_eq!(
            (note.text.as_str(), note.who.as_str()),
            ("one is deep", "a curator")
        );
    }
    assert_eq!(taken.note("shape", "teacup", "saucer"), None);
    assert_eq!(taken.note("form", "teacup", "creamer"), None);
    assert_eq!(cabinet.notes().unwrap().len(), 2);

    let other = ["saucer", "teacup"];
    cabinet.set_note("form", other, "one is flat", &by).unwrap();
    let note = snapshot(&cabinet);
    assert_eq!(
        note.note("form", "teacup", "saucer").unwrap().text,
        "one is flat"
    );
    cabinet.set_note("form", other, "", &by).unwrap();
    assert_eq!(snapshot(&cabinet).note("form", "teacup", "saucer"), None);
    assert_eq!(cabinet.notes().unwrap().len(), 1);
    cabinet.undo(&by).unwrap();
    cabinet.undo(&by).unwrap();
    let note = cabinet.notes().unwrap();
    assert_eq!(note[1].text, "one is deep");
    // The older snapshot is as it was.
    assert_eq!(
        taken.note("form", "teacup", "saucer").unwrap().text,
        "one is deep"
    );

    for (level, pair) in [
        ("shine", pair),
        ("form", ["cup", " cup"]),
        ("form", ["cup", ""]),
    ] {
        let e = cabinet.set_note(level, pair, "text", &by).unwrap_err();
        assert_eq!(e.kind(), Kind::Usage, "{e}");
    }
    drop(cabinet);
    let reader = Cabinet::open_read(dir.path()).unwrap();
    assert_eq!(reader.notes().unwrap(), note);
}

#[test]
fn the_vocabulary_is_that_of_the_pieces_there_are() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 6);
    let by = Origin::default();
    for (piece, pattern) in [("cup-0", "vine"), ("cup-2", "vine"), ("cup-1", "band")] {
        cabinet
            .relabel(piece, &[("pattern", pattern)], &by)
            .unwrap();
    }
    let together = |cabinet: &Cabinet, pattern| {
        let taken = snapshot(cabinet);
        let vocabulary = taken.vocabulary();
        vocabulary.together(("form", "teacup"), ("pattern", pattern))
    };
    assert_eq!(
        (together(&cabinet, "vine"), together(&cabinet, "band")),
        (2, 0)
    );
    cabinet.remove("cup-2", &by).unwrap();
    assert_eq!(together(&cabinet, "vine"), 1);
    let taken = snapshot(&cabinet);
    assert_eq!(
        taken.vocabulary().known("form", "teacup").unwrap().pieces,
        2
    );
}
