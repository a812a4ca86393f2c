//! The cabinet by the command line.

use std::{fs, path::Path};

use footring::cabinet::LabelsFile;
use serde_json::{Value, json};

use crate::{
    drawn::Jug,
    place::{Place, save},
};

/// The best label of a level for the photo `found.png`.
fn shape(place: &Place) -> Value {
    place.identify(&["found.png"])[0]["pieces"][0]["levels"]["shape"][0]["label"].clone()
}

#[test]
fn a_photo_added_twice_is_a_duplicate() {
    let place = Place::furnished();
    fs::copy(place.at("set/jug-1.png"), place.at("again.png")).unwrap();
    let rows = place
        .run([
            "add",
            "set/jug-1.png",
            "again.png",
            "found.png",
            "--format",
            "jsonl",
        ])
        .exits(0)
        .says("1 added, 2 there already, 0 failed")
        .lines();
    let status: Vec<&Value> = rows.iter().map(|row| &row["status"]).collect();
    assert_eq!(status, ["duplicate", "duplicate", "added"]);
    assert_eq!(rows[1]["piece"], "the jug");
    assert_eq!(rows[1]["warnings"][0]["code"], "duplicate");
}

#[test]
fn a_column_that_is_not_known_is_kept_and_named() {
    let place = Place::empty();
    save(
        &Jug::default().draw(160, [0.0; 2], 0.0, false),
        &place.at("jug.png"),
    );
    fs::write(
        place.at("labels.csv"),
        "photo,shape,shelf\njug.png,Tussock,\"3, left\"\n",
    )
    .unwrap();
    place
        .run(["add", "--labels", "labels.csv"])
        .exits(0)
        .says("`shelf`");
    let list = place.run(["cabinet", "list", "--format", "csv"]).exits(0);
    assert_eq!(list.err, "");
    let again = LabelsFile::parse(list.out.as_bytes(), Path::new("")).unwrap();
    assert_eq!(again.unknown, ["shelf"]);
    assert_eq!(again.rows.len(), 1);
    assert_eq!(again.rows[0].labels.get("shelf"), Some("3, left"));
    assert_eq!(again.rows[0].labels.get("shape"), Some("Tussock"));
    // A labels file that contradicts itself says where.
    fs::write(place.at("wrong.csv"), "photo,year_from\njug.png,old\n").unwrap();
    place
        .run(["add", "--labels", "wrong.csv"])
        .exits(2)
        .without_result()
        .says("wrong.csv: line 2");
}

#[test]
fn folders_can_be_labels() {
    let place = Place::empty();
    let folder = place.at("photos/Tussock/Merrin Spray");
    fs::create_dir_all(&folder).unwrap();
    save(
        &Jug::default().draw(160, [0.0; 2], 0.0, false),
        &folder.join("jug.png"),
    );
    place
        .run(["add", "photos", "--labels-from", "path:shape/pattern"])
        .exits(0);
    let list = place
        .run(["cabinet", "list", "--format", "jsonl"])
        .exits(0)
        .lines();
    assert_eq!(list[0]["schema"], "footring.view/1");
    assert_eq!(
        list[0]["labels"],
        json!({"shape": "Tussock", "pattern": "Merrin Spray"})
    );
}

#[test]
fn a_corrected_label_changes_the_answer_without_the_photos() {
    let place = Place::furnished();
    assert_eq!(shape(&place), "Tussock");
    fs::remove_dir_all(place.at("set")).unwrap();
    place
        .run(["cabinet", "relabel", "the jug", "shape=Brannet"])
        .exits(0)
        .says("1 labels changed");
    assert_eq!(shape(&place), "Brannet");
    let show = place.run(["cabinet", "show", "the jug"]).exits(0);
    assert!(
        show.out.contains("shape: Tussock -> Brannet"),
        "{}",
        show.out
    );
    place
        .run(["cabinet", "rename", "the jug", "a jug"])
        .exits(0);
    let found = place.identify(&["found.png"]);
    assert_eq!(found[0]["pieces"][0]["matches"][0]["piece"], "a jug");
}

#[test]
fn removed_is_gone_until_restored_and_for_good_once_compacted() {
    let place = Place::furnished();
    let does = |args: &[&str]| place.run(["cabinet"].iter().chain(args)).exits(0);
    does(&["remove", "the jug"]).says("2 photos removed");
    assert_eq!(shape(&place), "Orvelle");
    does(&["restore", "the jug"]).says("2 photos are back");
    assert_eq!(shape(&place), "Tussock");
    does(&["remove", "the jug"]);
    does(&["compact"]).says("2 photos, 1 pieces");
    place
        .run(["cabinet", "restore", "the jug"])
        .exits(2)
        .says("the jug");
    assert_eq!(shape(&place), "Orvelle");
    let verified = does(&["verify"]);
    assert_eq!(verified.out, "no damage found: 1 pieces, 1 photos\n");
}

#[test]
fn an_empty_cabinet_knows_nothing_and_says_so() {
    let place = Place::furnished();
    for piece in ["the jug", "the plate"] {
        place.run(["cabinet", "remove", piece]).exits(0);
    }
    let reading = &place.identify(&["found.png"])[0];
    let piece = &reading["pieces"][0];
    for level in ["form", "shape", "pattern", "glaze"] {
        assert_eq!(piece["certainty"][level], "unknown");
        assert_eq!(piece["levels"][level], json!([]));
    }
    assert_eq!(piece["matches"], json!([]));
    let advice = piece["advice"][0].as_str().unwrap();
    assert!(advice.contains("footring add"), "{advice}");
    assert!(!piece["cautions"].as_array().unwrap().is_empty());
}

#[test]
fn damage_is_found_and_what_can_be_made_again_is() {
    let place = Place::furnished();
    let generation = place
        .names("cabinet")
        .into_iter()
        .find(|name| name.starts_with("generation-"))
        .expect("a generation");
    let folder = format!("cabinet/{generation}");
    let vectors = place
        .names(&folder)
        .into_iter()
        .map(|name| place.at(&folder).join(name))
        .max_by_key(|file| fs::metadata(file).unwrap().len())
        .unwrap();
    let mut bytes = fs::read(&vectors).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x40;
    fs::write(&vectors, bytes).unwrap();
    let damaged = place.run(["cabinet", "verify"]).exits(1);
    assert!(damaged.out.starts_with("Generation: "), "{}", damaged.out);
    // The catalogue is the truth: the answer is right all the same.
    assert_eq!(shape(&place), "Tussock");
    // Of a damaged catalogue nothing can be made.
    let catalogue = place.at("cabinet/catalogue.sqlite");
    fs::write(
        &catalogue,
        "no database at all, though long enough to be taken for one",
    )
    .unwrap();
    place
        .run(["identify", "found.png"])
        .exits(1)
        .without_result()
        .says("cabinet");
}

#[test]
fn copies_of_photos_are_kept_when_asked_for() {
    let place = Place::empty();
    save(
        &Jug::default().draw(160, [0.0; 2], 0.0, false),
        &place.at("jug.png"),
    );
    let content = fs::read(place.at("jug.png")).unwrap();
    place.run(["add", "jug.png", "--keep-photos"]).exits(0);
    fs::remove_file(place.at("jug.png")).unwrap();
    let mut folders = vec![place.at("cabinet/photos")];
    let mut copies = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                copies.push(fs::read(path).unwrap());
            }
        }
    }
    assert_eq!(copies, [content]);
    place
        .run(["cabinet", "refresh"])
        .exits(0)
        .says("1 photos described again, 0 failed");
}

#[test]
fn photos_that_moved_are_found_again_by_their_content() {
    let place = Place::empty();
    save(
        &Jug::default().draw(160, [0.0; 2], 0.0, false),
        &place.at("jug.png"),
    );
    place.run(["add", "jug.png"]).exits(0);
    fs::create_dir_all(place.at("attic/box")).unwrap();
    fs::rename(place.at("jug.png"), place.at("attic/box/old jug.png")).unwrap();
    fs::write(place.at("attic/list.txt"), "no photo").unwrap();
    place
        .run(["cabinet", "refresh"])
        .exits(3)
        .says("--photos")
        .says("0 photos described again, 1 failed");
    // Another photo in its place does not hide that it moved.
    save(
        &Jug::default().draw(200, [0.0; 2], 0.0, false),
        &place.at("jug.png"),
    );
    place
        .run(["cabinet", "refresh"])
        .exits(3)
        .says("another photo than was added")
        .says("--photos")
        .says("0 photos described again, 1 failed");
    place
        .run(["cabinet", "refresh", "--photos", "cellar"])
        .exits(1)
        .says("cellar");
    place
        .run(["cabinet", "refresh", "--photos", "attic"])
        .exits(0)
        .says("1 photos described again, 0 failed");
    // Where they are now is kept: they need not be looked for again.
    place
        .run(["cabinet", "refresh"])
        .exits(0)
        .says("1 photos described again, 0 failed");
    let history = place.run(["cabinet", "history"]).exits(0).out;
    assert!(history.contains("old jug.png"), "{history}");
}
