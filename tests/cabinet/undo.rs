//! Taking changes back, and doing them again.

use footring::{
    cabinet::{Added, Cabinet, NewView, Origin, View},
    error::Kind,
};

use super::common::{all_find_themselves, filled, sha256, snapshot, view};

fn origin() -> Origin {
    Origin {
        who: "a curator".to_owned(),
        certainty: 0.75,
    }
}

/// Everything a user can change.
#[derive(Clone, Debug, PartialEq)]
struct State {
    views: Vec<View>,
    removed: Vec<View>,
    notes: Vec<String>,
    /// Labels with who said so and how sure it is.
    origins: Vec<(String, f64)>,
}

impl State {
    /// Without what can be brought back.
    fn live(&self) -> Self {
        Self {
            removed: Vec::new(),
            ..self.clone()
        }
    }
}

fn state(cabinet: &Cabinet) -> State {
    let raw = rusqlite::Connection::open(cabinet.dir().join("catalogue.sqlite")).unwrap();
    let origins = raw
        .prepare(
            "SELECT piece_id || ' ' || label || ' ' || value || ' ' || who, certainty
             FROM piece_labels UNION ALL
             SELECT view_id || ' ' || label || ' ' || value || ' ' || who, certainty
             FROM view_labels ORDER BY 1",
        )
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let notes = cabinet
        .notes()
        .unwrap()
        .into_iter()
        .map(|note| {
            format!(
                "{} {:?} {} {}",
                note.level, note.labels, note.text, note.who
            )
        })
        .collect();
    State {
        views: cabinet.views().unwrap(),
        removed: cabinet.removed().unwrap(),
        notes,
        origins,
    }
}

type Make = fn(&mut Cabinet);

/// Each kind of change there is, with its name.
fn changes() -> Vec<(&'static str, Make)> {
    vec![
        ("a photo of a new piece", |c| {
            c.add_view(&view(20)).unwrap();
        }),
        ("a photo of a piece that is there", |c| {
            let mut second = NewView {
                piece: Some("cup-1".to_owned()),
                ..view(21)
            };
            second.labels.set("pattern", "vine").unwrap();
            second.labels.set("notes", "chip").unwrap();
            c.add_view(&second).unwrap();
        }),
        ("several photos at once", |c| {
            c.add_views(&[view(30), view(31), view(32)]).unwrap();
        }),
        ("labels given, changed and taken away", |c| {
            let values = [("pattern", "band"), ("form", "mug"), ("notes", "worn")];
            c.relabel("cup-2", &values, &origin()).unwrap();
            c.relabel("cup-2", &[("form", "")], &origin()).unwrap();
        }),
        ("how sure a label is", |c| {
            c.relabel("cup-0", &[("form", "teacup")], &origin())
                .unwrap();
        }),
        ("a name", |c| {
            c.rename("cup-3", "the chipped one", &origin()).unwrap();
        }),
        ("a piece removed", |c| {
            c.remove("cup-4", &origin()).unwrap();
        }),
        ("a piece brought back", |c| {
            c.restore("cup-9", &origin()).unwrap();
        }),
        ("a note", |c| {
            c.set_note("form", ["teacup", "saucer"], "one is deep", &origin())
                .unwrap();
        }),
        ("a note changed", |c| {
            c.set_note("form", ["cup", "can"], "the can is straight", &origin())
                .unwrap();
        }),
        ("a note removed", |c| {
            c.set_note("form", ["cup", "can"], "", &origin()).unwrap();
        }),
    ]
}

/// Ten pieces, one of them removed, and a note.
fn start(dir: &std::path::Path) -> Cabinet {
    let mut cabinet = filled(dir, 10);
    cabinet.remove("cup-9", &Origin::default()).unwrap();
    cabinet
        .set_note("form", ["can", "cup"], "straight", &Origin::new("first"))
        .unwrap();
    cabinet
}

#[test]
fn every_change_is_taken_back_exactly_and_done_again_exactly() {
    for (name, make) in changes() {
        let dir = tempfile::tempdir().unwrap();
        let mut cabinet = start(dir.path());
        let before = state(&cabinet);
        cabinet.join_changes();
        make(&mut cabinet);
        let after = state(&cabinet);
        assert_ne!(after, before, "{name}");
        cabinet.join_changes();
        let reversed = cabinet.undo(&Origin::new("someone")).unwrap();
        assert!(!reversed.lines.is_empty(), "{name}");
        let now = state(&cabinet);
        assert_eq!(now.live(), before.live(), "{name}");
        // A photo that was added stays to be brought back.
        let old: Vec<View> = now.removed.into_iter().filter(|v| v.id <= 10).collect();
        assert_eq!(old, before.removed, "{name}");
        all_find_themselves(&snapshot(&cabinet));
        cabinet.join_changes();
        let again = cabinet.redo(&Origin::new("someone")).unwrap();
        // What is done again is the change itself, as it was made.
        assert_eq!(again, reversed, "{name}");
        assert_eq!(cabinet.history(1).unwrap()[0].who, "someone");
        assert_eq!(state(&cabinet), after, "{name}");
        cabinet.join_changes();
        cabinet.undo(&Origin::default()).unwrap();
        assert_eq!(state(&cabinet).live(), before.live(), "{name}");
        assert_eq!(cabinet.verify().unwrap(), [], "{name}");
    }
}

#[test]
fn all_changes_are_taken_back_one_by_one_to_the_beginning() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = start(dir.path());
    let mut states = vec![state(&cabinet)];
    for (_, make) in changes() {
        cabinet.join_changes();
        make(&mut cabinet);
        states.push(state(&cabinet));
    }
    drop(cabinet);
    let mut cabinet = Cabinet::open(dir.path()).unwrap();
    let last = states.len() - 1;
    for n in (0..last).rev() {
        cabinet.undo(&Origin::default()).unwrap();
        assert_eq!(state(&cabinet).live(), states[n].live(), "back to {n}");
    }
    for expected in &states[1..] {
        cabinet.redo(&Origin::default()).unwrap();
        assert_eq!(state(&cabinet).live(), expected.live());
    }
    let e = cabinet.redo(&Origin::default()).unwrap_err();
    assert_eq!(e.kind(), Kind::Usage);
    // The changes, then the note and the removal that `start` made, then its
    // photos: nothing is left.
    for _ in 0..last + 3 {
        cabinet.undo(&Origin::default()).unwrap();
    }
    assert!(cabinet.views().unwrap().is_empty());
    let before = cabinet.history(usize::MAX).unwrap();
    let e = cabinet.undo(&Origin::default()).unwrap_err();
    assert!(e.to_string().contains("no change to take back"), "{e}");
    assert_eq!(cabinet.history(usize::MAX).unwrap(), before);
}

#[test]
fn a_new_change_ends_what_can_be_done_again() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 3);
    let by = Origin::default();
    cabinet
        .relabel("cup-1", &[("pattern", "vine")], &by)
        .unwrap();
    cabinet.undo(&by).unwrap();
    cabinet
        .relabel("cup-1", &[("pattern", "band")], &by)
        .unwrap();
    assert!(cabinet.redo(&by).is_err());
    let history = cabinet.history(usize::MAX).unwrap();
    assert_eq!(history[0].new.as_deref(), Some("band"));
    assert_eq!(
        (history[1].undoes, history[1].is_undone),
        (history[2].number, false)
    );
    assert_eq!(
        (history[2].new.as_deref(), history[2].is_undone),
        (Some("vine"), true)
    );
}

#[test]
fn what_cannot_be_taken_back_says_so_and_changes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 4);
    let by = Origin::default();
    // The same file is there again.
    cabinet.remove("cup-2", &by).unwrap();
    assert!(matches!(
        cabinet.add_view(&view(2)).unwrap(),
        Added::Added { .. }
    ));
    cabinet.undo(&by).unwrap();
    cabinet.undo(&by).unwrap();
    assert_eq!(cabinet.views().unwrap().len(), 4);
    // Taken away for good.
    cabinet.remove("cup-3", &by).unwrap();
    cabinet.compact().unwrap();
    let before = state(&cabinet);
    let e = cabinet.undo(&by).unwrap_err();
    assert_eq!(e.kind(), Kind::Usage);
    assert!(e.to_string().contains("compact"), "{e}");
    assert_eq!(state(&cabinet), before);
}

#[test]
fn describing_again_is_passed_over() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 3);
    let by = Origin::default();
    cabinet
        .relabel("cup-1", &[("pattern", "vine")], &by)
        .unwrap();
    let id = cabinet.views().unwrap()[0].id;
    cabinet
        .replace_features(id, &view(7).features, None, &by)
        .unwrap();
    let reversed = cabinet.undo(&by).unwrap();
    assert_eq!(reversed.passed.len(), 1);
    assert_eq!(reversed.lines, ["label cup-1: pattern - -> vine"]);
    assert_eq!(cabinet.views().unwrap()[1].labels.get("pattern"), None);
}

#[test]
fn the_history_of_a_piece_follows_its_names() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 2);
    let by = Origin::default();
    cabinet.rename("cup-0", "old cup", &by).unwrap();
    cabinet.rename("cup-1", "cup-0", &by).unwrap();
    let actions = |piece: &str| -> Vec<String> {
        let lines = cabinet.history_of(piece).unwrap();
        lines.into_iter().map(|line| line.action).collect()
    };
    assert_eq!(actions("old cup"), ["rename", "label", "add"]);
    assert_eq!(actions("cup-0"), ["rename", "label", "add"]);
    assert!(actions("nobody").is_empty());
    assert_eq!(
        cabinet.find_content(&sha256(1)).unwrap().unwrap().piece(),
        "cup-0"
    );
}
