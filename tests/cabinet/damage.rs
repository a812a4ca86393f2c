//! Generations are disposable: damaged in any way, they are made again.

use std::{
    fs,
    path::{Path, PathBuf},
};

use footring::{
    cabinet::{Cabinet, Concern, Snapshot, Source},
    config::Nearest,
    error::Kind,
};

use super::common::{filled, snapshot, specs, vector};

/// Graphs from few rows on, so that their files are there to be damaged.
fn settings() -> Nearest {
    Nearest {
        graph_from: 50,
        ..Nearest::default()
    }
}

fn generation(dir: &Path) -> PathBuf {
    let mut found: Vec<PathBuf> = fs::read_dir(dir)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| {
            path.file_name()
                .unwrap()
                .to_str()
                .unwrap()
                .contains("generation-")
        })
        .collect();
    assert_eq!(
        found.len(),
        1,
        "older generations and leftovers go: {found:?}"
    );
    found.pop().unwrap()
}

fn answers(snapshot: &Snapshot) -> Vec<(u32, u32)> {
    (0..2)
        .flat_map(|channel| {
            let dim = specs()[channel].dim;
            let found = snapshot.nearest(channel, vector(5_000, dim).as_slice(), 8, &|_| true);
            found
                .unwrap()
                .into_iter()
                .map(|f| (f.view, f.distance.to_bits()))
        })
        .collect()
}

#[test]
fn a_damaged_generation_is_made_again() {
    let dir = tempfile::tempdir().unwrap();
    let cabinet = filled(dir.path(), 120);
    let take = || cabinet.snapshot(&settings(), &specs()).unwrap();
    let wanted = answers(&take());
    let first = generation(dir.path());
    let mut names: Vec<_> = fs::read_dir(&first)
        .unwrap()
        .map(|entry| entry.unwrap().file_name())
        .collect();
    names.sort();
    assert!(
        names
            .iter()
            .any(|name| name.to_str().unwrap().ends_with(".hnsw.graph"))
    );
    assert_eq!(names.len(), 1 + 2 * 5, "{names:?}");
    type Harm = fn(&Path, Vec<u8>);
    let harms: [(&str, Harm); 5] = [
        ("one bit in the middle", |path, mut bytes| {
            let middle = bytes.len() / 2;
            bytes[middle] ^= 1;
            fs::write(path, bytes).unwrap();
        }),
        ("the last byte", |path, mut bytes| {
            *bytes.last_mut().unwrap() ^= 0x80;
            fs::write(path, bytes).unwrap();
        }),
        ("cut in half", |path, bytes| {
            fs::write(path, &bytes[..bytes.len() / 2]).unwrap()
        }),
        ("empty", |path, _| fs::write(path, b"").unwrap()),
        ("gone", |path, _| fs::remove_file(path).unwrap()),
    ];
    for name in &names {
        for (harm, make) in harms {
            let folder = generation(dir.path());
            let path = folder.join(name);
            let bytes = fs::read(&path).unwrap();
            if bytes.is_empty() && harm != "gone" {
                continue;
            }
            make(&path, bytes);
            let problems = cabinet.verify().unwrap();
            assert_eq!(problems.len(), 1, "{name:?} {harm}");
            assert_eq!(problems[0].concern, Concern::Generation);
            let taken = take();
            assert!(matches!(taken.source(), Source::Made(_)), "{name:?} {harm}");
            assert_eq!(answers(&taken), wanted, "{name:?} {harm}");
            assert_eq!(cabinet.verify().unwrap(), []);
            let taken = take();
            assert!(matches!(taken.source(), Source::Generation(_, 0)));
            assert_eq!(answers(&taken), wanted);
        }
    }
}

#[test]
fn a_generation_of_other_settings_or_another_catalogue_is_not_used() {
    let dir = tempfile::tempdir().unwrap();
    let cabinet = filled(dir.path(), 60);
    snapshot(&cabinet);
    let other = cabinet.snapshot(&settings(), &specs()).unwrap();
    assert!(matches!(other.source(), Source::Made(_)));
    assert_eq!(
        (other.index_of(0).method(), other.index_of(1).method()),
        ("graph", "exact")
    );
    let wider = Nearest {
        search_width: 999,
        ..settings()
    };
    let same = cabinet.snapshot(&wider, &specs()).unwrap();
    assert!(
        matches!(same.source(), Source::Generation(_, 0)),
        "only search differs"
    );
    drop(cabinet);

    // The same number of other photos under the old generation, as after a
    // catalogue was brought back from a copy.
    let elsewhere = tempfile::tempdir().unwrap();
    let mut cabinet = Cabinet::create_or_open(elsewhere.path()).unwrap();
    let views: Vec<_> = (100..160).map(super::common::view).collect();
    cabinet.add_views(&views).unwrap();
    let old = generation(dir.path());
    let moved = elsewhere.path().join(old.file_name().unwrap());
    fs::rename(&old, &moved).unwrap();
    let taken = cabinet.snapshot(&settings(), &specs()).unwrap();
    assert!(matches!(taken.source(), Source::Made(_)));
    assert_eq!(taken.vector(0, 0).unwrap(), vector(1_000, 24).as_slice());
}

#[test]
fn what_a_killed_build_left_is_swept() {
    let dir = tempfile::tempdir().unwrap();
    let cabinet = filled(dir.path(), 10);
    fs::create_dir(dir.path().join(".generation-0001-99999")).unwrap();
    fs::create_dir(dir.path().join("generation-0007")).unwrap();
    let taken = snapshot(&cabinet);
    let Source::Made(folder) = taken.source() else {
        panic!("{taken:?}");
    };
    assert!(folder.ends_with("generation-0008"));
    assert_eq!(&generation(dir.path()), folder);
}

#[test]
fn a_damaged_catalogue_is_reported() {
    let dir = tempfile::tempdir().unwrap();
    let cabinet = filled(dir.path(), 40);
    drop(cabinet);
    let path = dir.path().join("catalogue.sqlite");

    let raw = rusqlite::Connection::open(&path).unwrap();
    raw.execute("UPDATE features SET vector = x'00' WHERE view_id = 4", [])
        .unwrap();
    raw.execute(
        "UPDATE piece_labels SET value = 'soon', label = 'year_to' WHERE piece_id = 5",
        [],
    )
    .unwrap();
    raw.execute_batch("PRAGMA foreign_keys = OFF; DELETE FROM pieces WHERE id = 9")
        .unwrap();
    drop(raw);
    let cabinet = Cabinet::open_read(dir.path()).unwrap();
    let problems = cabinet.verify().unwrap();
    let count = |concern| problems.iter().filter(|p| p.concern == concern).count();
    assert_eq!(count(Concern::Feature), 2, "{problems:?}");
    assert!(count(Concern::Catalogue) >= 2, "{problems:?}");
    // The rest can still be searched.
    assert_eq!(snapshot(&cabinet).len(0), 38);
    drop(cabinet);

    let mut bytes = fs::read(&path).unwrap();
    let third = bytes.len() / 3;
    bytes[third..third + 8_000].fill(0x5a);
    fs::write(&path, &bytes).unwrap();
    let found = Cabinet::open_read(dir.path()).and_then(|cabinet| cabinet.verify());
    assert!(found.is_err() || found.is_ok_and(|problems| !problems.is_empty()));

    fs::write(&path, b"not a database at all, but long enough to hold a header of a hundred bytes, which is what is read first").unwrap();
    let e = Cabinet::open(dir.path()).unwrap_err();
    assert_eq!(e.kind(), Kind::Cabinet);
}

#[test]
fn copies_of_photos_are_kept_checked_and_swept() {
    let dir = tempfile::tempdir().unwrap();
    let outside = tempfile::tempdir().unwrap();
    let photo = outside.path().join("Cup.JPG");
    fs::write(&photo, b"picture").unwrap();
    let hash = "3a3cb4b9c2e7fe1f1dbbd0b50bd1b1e2a0f5fd8b6d9d4a0b3bc7b3b2f0c1a2b3";
    let mut cabinet = filled(&dir.path().join("c"), 1);
    assert!(
        cabinet.keep_photo(&photo, hash).is_err(),
        "the hash is another file's"
    );
    let hash = {
        use sha2::Digest;
        let digest = sha2::Sha256::digest(b"picture");
        digest
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect::<String>()
    };
    let copy = cabinet.keep_photo(&photo, &hash).unwrap();
    assert_eq!(cabinet.keep_photo(&photo, &hash).unwrap(), copy);
    assert_eq!(cabinet.photo_copy(&hash).as_ref(), Some(&copy));
    assert_eq!(fs::read(&copy).unwrap(), b"picture");
    let problems = cabinet.verify().unwrap();
    assert_eq!((problems.len(), problems[0].concern), (1, Concern::Copy));
    let mut view = super::common::view(5);
    view.sha256.clone_from(&hash);
    cabinet.add_view(&view).unwrap();
    assert_eq!(cabinet.verify().unwrap(), []);
    assert_eq!(cabinet.compact().unwrap().copies, 0);
    fs::write(&copy, b"altered").unwrap();
    assert_eq!(cabinet.verify().unwrap().len(), 1);
    cabinet
        .remove("cup-5", &footring::cabinet::Origin::default())
        .unwrap();
    assert_eq!(cabinet.compact().unwrap().copies, 1);
    assert_eq!(cabinet.photo_copy(&hash), None);
}
