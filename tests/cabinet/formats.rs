//! Cabinets of other versions.

use std::{collections::BTreeMap, fs, path::Path};

use footring::{
    cabinet::{Cabinet, Origin, Source},
    error::Kind,
};

use super::common::{all_find_themselves, filled, snapshot, view};

fn contents(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    fs::read_dir(dir)
        .unwrap()
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.file_type().unwrap().is_file())
        .map(|entry| {
            let name = entry.file_name().into_string().unwrap();
            (name, fs::read(entry.path()).unwrap())
        })
        .collect()
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn a_newer_cabinet_is_left_as_it_is() {
    let dir = tempfile::tempdir().unwrap();
    drop(filled(dir.path(), 3));
    let raw = rusqlite::Connection::open(dir.path().join("catalogue.sqlite")).unwrap();
    raw.execute_batch("CREATE TABLE novelty (x); PRAGMA user_version = 99")
        .unwrap();
    drop(raw);
    let before = contents(dir.path());
    for open in [Cabinet::open, Cabinet::open_read, Cabinet::create_or_open] {
        let e = open(dir.path()).unwrap_err();
        assert_eq!(e.kind(), Kind::Cabinet);
        let text = e.to_string();
        assert!(
            text.contains("format 99") && text.contains("update footring"),
            "{text}"
        );
    }
    assert_eq!(contents(dir.path()), before);
}

#[test]
fn what_is_no_cabinet_is_left_as_it_is() {
    let dir = tempfile::tempdir().unwrap();
    let missing = dir.path().join("missing");
    for open in [Cabinet::open, Cabinet::open_read] {
        let e = open(&missing).unwrap_err();
        assert_eq!(e.kind(), Kind::Cabinet);
        assert!(e.to_string().contains("footring add"), "{e}");
    }
    assert!(!missing.exists());

    let photos = dir.path().join("photos of mine");
    fs::create_dir(&photos).unwrap();
    fs::write(photos.join("cup.jpg"), b"x").unwrap();
    let e = Cabinet::create_or_open(&photos).unwrap_err();
    assert!(e.to_string().contains("cup.jpg"), "{e}");
    assert_eq!(fs::read_dir(&photos).unwrap().count(), 1);

    // A database of another program, with and without a version of its own.
    for version in [0, 1] {
        let other = dir.path().join(format!("other {version}"));
        fs::create_dir(&other).unwrap();
        let raw = rusqlite::Connection::open(other.join("catalogue.sqlite")).unwrap();
        raw.execute_batch(&format!(
            "CREATE TABLE t (x); PRAGMA user_version = {version}"
        ))
        .unwrap();
        drop(raw);
        let before = fs::read(other.join("catalogue.sqlite")).unwrap();
        for open in [Cabinet::open, Cabinet::open_read, Cabinet::create_or_open] {
            assert_eq!(open(&other).unwrap_err().kind(), Kind::Cabinet);
        }
        assert_eq!(fs::read(other.join("catalogue.sqlite")).unwrap(), before);
    }
}

#[test]
fn a_creation_that_was_cut_short_is_taken_up() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("writer.lock"), b"").unwrap();
    fs::write(dir.path().join("catalogue.sqlite"), b"").unwrap();
    assert!(Cabinet::open_read(dir.path()).is_err());
    let mut cabinet = Cabinet::create_or_open(dir.path()).unwrap();
    cabinet.add_view(&view(0)).unwrap();
    assert_eq!(cabinet.verify().unwrap(), []);
}

/// The committed cabinets stay readable. `FOOTRING_WRITE_FORMAT=1` writes that of
/// the present version where it is missing.
#[test]
fn committed_cabinets_are_read() {
    let formats = Path::new(env!("CARGO_MANIFEST_DIR")).join("index/formats");
    let present = formats.join("2");
    if std::env::var_os("FOOTRING_WRITE_FORMAT").is_some() && !present.exists() {
        let cabinet = filled(&present, 6);
        snapshot(&cabinet);
        drop(cabinet);
        fs::remove_file(present.join("writer.lock")).unwrap();
    }
    let dir = tempfile::tempdir().unwrap();
    for entry in fs::read_dir(&formats).unwrap() {
        let from = entry.unwrap().path();
        let name = from.file_name().unwrap().to_owned();
        let to = dir.path().join(&name);
        copy(&from, &to);
        let cabinet = Cabinet::open_read(&to).unwrap();
        assert_eq!(cabinet.history(1).unwrap()[0].action, "label");
        assert_eq!(cabinet.notes().unwrap(), []);
        assert_eq!(cabinet.verify().unwrap(), [], "format {name:?}");
        let taken = snapshot(&cabinet);
        assert!(
            matches!(taken.source(), Source::Generation(_, 0)),
            "{taken:?}"
        );
        assert_eq!(taken.views().len(), 6);
        all_find_themselves(&taken);
        drop(cabinet);
        let mut cabinet = Cabinet::open(&to).unwrap();
        cabinet.add_view(&view(6)).unwrap();
        assert_eq!(cabinet.views().unwrap().len(), 7);
        assert_eq!(cabinet.verify().unwrap(), []);
    }
}

/// What a cabinet of version 1 held is there after the first opening for writing,
/// and can do what the present version can.
#[test]
fn an_older_cabinet_is_brought_up_to_date_when_it_is_written() {
    let old = Path::new(env!("CARGO_MANIFEST_DIR")).join("index/formats/1");
    let dir = tempfile::tempdir().unwrap();
    copy(&old, dir.path());
    // A column that was not known then, and is a label of the piece now.
    let raw = rusqlite::Connection::open(dir.path().join("catalogue.sqlite")).unwrap();
    raw.execute(
        "INSERT INTO view_labels VALUES (2, 'borrowed_from', 'Tussock', 'labels file', 1.0)",
        [],
    )
    .unwrap();
    drop(raw);
    let reader = Cabinet::open_read(dir.path()).unwrap();
    let (views, history) = (reader.views().unwrap(), reader.history(99).unwrap());
    assert_eq!(version(dir.path()), 1, "reading brought it up to date");

    let by = Origin::default();
    let mut cabinet = Cabinet::open(dir.path()).unwrap();
    assert_eq!(version(dir.path()), 2);
    assert_eq!(cabinet.views().unwrap(), views);
    assert_eq!(cabinet.history(99).unwrap(), history);
    assert_eq!(reader.history(99).unwrap(), history, "a reader goes on");
    assert_eq!(
        cabinet.pieces().unwrap()[1].labels.get("borrowed_from"),
        Some("Tussock")
    );
    // Its own lines of history lack what taking them back needs.
    let e = cabinet.undo(&by).unwrap_err();
    assert!(e.to_string().contains("older footring"), "{e}");
    cabinet
        .relabel("cup-1", &[("pattern", "vine")], &by)
        .unwrap();
    cabinet
        .set_note("form", ["teacup", "saucer"], "deep", &by)
        .unwrap();
    cabinet.undo(&by).unwrap();
    cabinet.undo(&by).unwrap();
    assert_eq!(cabinet.views().unwrap(), views);
    assert_eq!(cabinet.verify().unwrap(), []);
    all_find_themselves(&snapshot(&cabinet));
}

/// The version in the header, where an older program looks first.
fn version(dir: &Path) -> u8 {
    fs::read(dir.join("catalogue.sqlite")).unwrap()[63]
}

#[cfg(unix)]
#[test]
fn a_cabinet_that_may_not_be_written_is_read() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("cabinet");
    drop(filled(&path, 5));
    let set = |mode| fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
    set(0o555);
    let read = Cabinet::open_read(&path).and_then(|cabinet| {
        let views = cabinet.views()?.len();
        cabinet.snapshot(
            &footring::config::Nearest::default(),
            &super::common::specs(),
        )?;
        Ok(views)
    });
    set(0o755);
    assert_eq!(read.unwrap(), 5);
}
