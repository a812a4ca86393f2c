//! Adding, labelling, removing.

use footring::cabinet::{Added, Cabinet, Feature, NewView, Origin, Source};
use footring::error::Kind;
use footring::outline::pose::View as Seen;

use super::common::{all_find_themselves, filled, sha256, snapshot, specs, vector, view};

#[test]
fn what_was_added_is_listed_and_found() {
    let dir = tempfile::tempdir().unwrap();
    let cabinet = filled(&dir.path().join("cabinet"), 20);
    let views = cabinet.views().unwrap();
    assert_eq!(views.len(), 20);
    assert_eq!(views[3].piece, "cup-3");
    assert_eq!(views[3].labels.get("form"), Some("saucer"));
    let detail = cabinet.view(views[3].id).unwrap();
    assert_eq!(detail.view, views[3]);
    assert_eq!(detail.thumbnail_jpeg, vec![3; 64]);
    let stats = cabinet.stats().unwrap();
    assert_eq!((stats.pieces, stats.views, stats.removed), (20, 20, 0));
    assert_eq!(stats.features[&("outline".to_owned(), 2)], 20);
    assert_eq!(stats.vocabulary["form"]["teacup"], 10);

    let taken = snapshot(&cabinet);
    assert_eq!(taken.views().len(), 20);
    assert_eq!((taken.len(0), taken.len(1)), (20, 14));
    assert_eq!(taken.piece(7).name, "cup-7");
    assert!(taken.vector(1, 2).is_none());
    all_find_themselves(&taken);
    assert_eq!(cabinet.verify().unwrap(), []);
}

#[test]
fn a_view_is_as_told_else_as_read_else_unknown() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = Cabinet::create_or_open(dir.path()).unwrap();
    let with = |n: u64, read: Option<&str>, told: Option<&str>| {
        let mut labels = view(n).labels;
        labels.set("view", told.unwrap_or_default()).unwrap();
        NewView {
            view: read.map(str::to_owned),
            labels,
            ..view(n)
        }
    };
    // The last is as cabinets hold that were made before views were read.
    let views = [
        with(0, Some("side"), Some("top")),
        with(1, Some("oblique"), None),
        with(2, None, None),
    ];
    cabinet.add_views(&views).unwrap();
    let taken = snapshot(&cabinet);
    let seen: Vec<Seen> = taken.views().iter().map(|view| view.seen).collect();
    assert_eq!(seen, [Seen::Top, Seen::Oblique, Seen::Unknown]);
}

#[test]
fn a_file_is_added_once() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 3);
    let before = cabinet.revision().unwrap();
    let renamed = NewView {
        photo: "elsewhere/copy.jpg".to_owned(),
        ..view(1)
    };
    let answer = cabinet.add_views(&[renamed, view(3), view(3)]).unwrap();
    assert!(matches!(&answer[0], Added::Duplicate { piece, photo, .. }
        if piece == "cup-1" && photo == "photos/cup-1.jpg"));
    assert!(matches!(&answer[1], Added::Added { piece, .. } if piece == "cup-3"));
    assert!(matches!(&answer[2], Added::Duplicate { piece, .. } if piece == "cup-3"));
    assert_eq!(cabinet.views().unwrap().len(), 4);
    assert!(cabinet.revision().unwrap() > before);
    assert_eq!(
        cabinet.find_content(&sha256(3)).unwrap().unwrap().piece(),
        "cup-3"
    );
    assert_eq!(cabinet.find_content(&sha256(99)).unwrap(), None);
}

#[test]
fn photos_without_a_piece_get_names_of_their_own() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = Cabinet::create_or_open(dir.path()).unwrap();
    let views: Vec<NewView> = (0..40)
        .map(|n| NewView {
            photo: format!("{n}/front.jpg"),
            ..view(n)
        })
        .collect();
    let names: std::collections::BTreeSet<String> = cabinet
        .add_views(&views)
        .unwrap()
        .into_iter()
        .map(|added| added.piece().to_owned())
        .collect();
    assert_eq!(names.len(), 40);
    assert!(names.contains("front") && names.contains("front-40"));
}

#[test]
fn views_of_one_piece_share_its_labels() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = Cabinet::create_or_open(dir.path()).unwrap();
    for n in 0..2 {
        let mut view = NewView {
            piece: Some("my cup".to_owned()),
            ..view(n * 2)
        };
        view.labels.set("notes", &format!("photo {n}")).unwrap();
        if n == 0 {
            view.labels.set("maker", "Test Pottery").unwrap();
        }
        cabinet.add_view(&view).unwrap();
    }
    let views = cabinet.views().unwrap();
    assert_eq!(views[1].labels.get("maker"), Some("Test Pottery"));
    assert_eq!(views[0].labels.get("notes"), Some("photo 0"));
    assert_eq!(views[1].labels.get("notes"), Some("photo 1"));
    let pieces = cabinet.pieces().unwrap();
    assert_eq!((pieces.len(), pieces[0].views), (1, 2));
    assert_eq!(pieces[0].labels.get("notes"), None);
}

#[test]
fn relabelling_leaves_features_and_generation_alone() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 10);
    assert!(matches!(snapshot(&cabinet).source(), Source::Made(_)));
    let origin = Origin::default();
    let changed = cabinet
        .relabel(
            "cup-4",
            &[("pattern", "vine"), ("form", "teacup"), ("notes", "chip")],
            &origin,
        )
        .unwrap();
    assert_eq!(changed, 2, "the form is as it was");
    let taken = snapshot(&cabinet);
    assert!(matches!(taken.source(), Source::Generation(_, 0)));
    assert_eq!(taken.views()[4].labels.get("pattern"), Some("vine"));
    assert_eq!(taken.views()[4].labels.get("notes"), Some("chip"));
    assert_eq!(taken.piece(4).labels.get("pattern"), Some("vine"));
    cabinet
        .relabel("photos/cup-4.jpg", &[("pattern", "")], &origin)
        .unwrap();
    assert_eq!(snapshot(&cabinet).views()[4].labels.get("pattern"), None);
    let history = cabinet.history(1).unwrap();
    assert_eq!(history[0].old.as_deref(), Some("vine"));
    assert_eq!(history[0].new, None);
    assert_eq!(history[0].who, "command line");

    for (target, label, value) in [
        ("nobody", "form", "x"),
        ("cup-4", "year_from", "soon"),
        ("cup-4", "width_mm", "-3"),
        ("cup-4", "piece", "x"),
    ] {
        let e = cabinet
            .relabel(target, &[(label, value)], &origin)
            .unwrap_err();
        assert_eq!(e.kind(), Kind::Usage, "{e}");
    }
    cabinet
        .relabel("cup-4", &[("year_from", "1900")], &origin)
        .unwrap();
    let e = cabinet
        .relabel("cup-4", &[("year_to", "1890")], &origin)
        .unwrap_err();
    assert!(e.to_string().contains("1890"), "{e}");
    assert_eq!(cabinet.verify().unwrap(), []);
}

#[test]
fn removed_is_left_out_and_can_come_back_until_compacted() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 10);
    snapshot(&cabinet);
    let origin = Origin::default();
    assert_eq!(cabinet.remove("cup-4", &origin).unwrap(), 1);
    assert_eq!(cabinet.remove(&sha256(5), &origin).unwrap(), 1);
    let taken = snapshot(&cabinet);
    assert!(matches!(taken.source(), Source::Generation(_, 0)));
    assert_eq!(taken.views().len(), 8);
    all_find_themselves(&taken);
    let near = taken
        .nearest(0, vector(40, 24).as_slice(), 100, &|_| true)
        .unwrap();
    assert_eq!(near.len(), 8);
    assert!(cabinet.remove("cup-4", &origin).is_err());

    assert_eq!(cabinet.restore("cup-4", &origin).unwrap(), 1);
    assert_eq!(snapshot(&cabinet).views().len(), 9);
    // The same file again, while its removed view is still there.
    assert!(matches!(
        cabinet.add_view(&view(5)).unwrap(),
        Added::Added { .. }
    ));
    assert!(cabinet.restore("cup-5", &origin).is_err());

    cabinet.remove("cup-6", &origin).unwrap();
    let compacted = cabinet.compact().unwrap();
    assert_eq!((compacted.views, compacted.pieces), (2, 2));
    assert!(cabinet.restore("cup-6", &origin).is_err());
    let taken = snapshot(&cabinet);
    assert!(matches!(taken.source(), Source::Made(_)));
    assert_eq!(taken.views().len(), 9);
    all_find_themselves(&taken);
    assert_eq!(cabinet.verify().unwrap(), []);
}

#[test]
fn stale_features_are_left_out_until_replaced() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 6);
    snapshot(&cabinet);
    let mut newer = specs();
    newer[0].version += 1;
    let settings = footring::config::Nearest::default();
    let taken = cabinet.snapshot(&settings, &newer).unwrap();
    assert_eq!((taken.stale(0), taken.len(0)), (6, 0));
    assert_eq!((taken.stale(1), taken.len(1)), (0, 4));
    let id = taken.views()[2].id;
    let feature = Feature {
        channel: newer[0].name.clone(),
        version: newer[0].version,
        vector: vector(77, newer[0].dim),
    };
    cabinet
        .replace_features(id, &[feature], None, &Origin::default())
        .unwrap();
    let taken = cabinet.snapshot(&settings, &newer).unwrap();
    assert_eq!((taken.stale(0), taken.len(0)), (5, 1));
    assert_eq!(taken.vector(0, 2).unwrap(), vector(77, 24).as_slice());
}

#[test]
fn later_views_are_found_before_a_new_generation_is_made() {
    let dir = tempfile::tempdir().unwrap();
    let mut cabinet = filled(dir.path(), 10);
    snapshot(&cabinet);
    let later: Vec<NewView> = (10..40).map(view).collect();
    cabinet.add_views(&later).unwrap();
    let taken = snapshot(&cabinet);
    assert!(
        matches!(taken.source(), Source::Generation(_, 30)),
        "{taken:?}"
    );
    assert_eq!(taken.views().len(), 40);
    all_find_themselves(&taken);
}

#[test]
fn one_writes_others_read() {
    let dir = tempfile::tempdir().unwrap();
    let mut writer = filled(dir.path(), 5);
    let e = Cabinet::open(dir.path()).unwrap_err();
    assert_eq!(e.kind(), Kind::Cabinet);
    assert!(
        e.to_string()
            .contains(&format!("process {}", std::process::id())),
        "{e}"
    );
    let mut reader = Cabinet::open_read(dir.path()).unwrap();
    assert_eq!(reader.views().unwrap().len(), 5);
    assert_eq!(snapshot(&reader).source(), &Source::Memory);
    writer.add_view(&view(5)).unwrap();
    assert_eq!(reader.views().unwrap().len(), 6);
    assert!(reader.add_view(&view(6)).is_err());
    drop(writer);
    assert!(matches!(snapshot(&reader).source(), Source::Made(_)));
    assert!(matches!(
        snapshot(&reader).source(),
        Source::Generation(_, 0)
    ));
    Cabinet::open(dir.path()).unwrap();
}
