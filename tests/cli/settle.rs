//! Readings that become part of the set, and changes that are taken back.

use std::{collections::BTreeSet, fs, io::Write, process::Stdio};

use serde_json::{Value, json};

use crate::{
    drawn::Jug,
    place::{Place, Ran, save},
};

/// Reads photos and writes the readings to `name`, with this certainty on the
/// levels form and shape: what is firm is another test's business.
fn read(place: &Place, photos: &[&str], certainty: &str, name: &str) -> Vec<Value> {
    let common = ["identify", "--format", "jsonl"];
    let ran = place.run(common.iter().chain(photos));
    let mut readings = ran.lines();
    let mut text = String::new();
    for reading in &mut readings {
        for piece in reading["pieces"].as_array_mut().unwrap() {
            for level in ["form", "shape"] {
                piece["certainty"][level] = json!(certainty);
            }
        }
        text += &format!("{reading}\n");
    }
    fs::write(place.at(name), text).unwrap();
    readings
}

fn settle(place: &Place, args: &[&str]) -> Ran {
    let common = ["cabinet", "settle", "--format", "jsonl"];
    place.run(common.iter().chain(args))
}

/// What `cabinet list` says, as text.
fn list(place: &Place) -> String {
    place
        .run(["cabinet", "list", "--format", "jsonl"])
        .exits(0)
        .out
}

/// The piece a photo is nearest to.
fn nearest(place: &Place, photo: &str) -> Value {
    place.identify(&[photo])[0]["pieces"][0]["matches"][0].clone()
}

#[test]
fn a_settled_photo_is_found_and_undo_brings_the_list_back() {
    let place = Place::furnished();
    let before = list(&place);
    read(&place, &["found.png"], "firm", "reading.jsonl");
    let rows = settle(&place, &["reading.jsonl", "--who", "A. Curator"])
        .exits(0)
        .says("1 settled, 0 left open, 0 failed")
        .lines();
    let expected: BTreeSet<&str> = [
        "schema", "photo", "status", "piece", "labels", "kept", "open", "error", "warnings",
    ]
    .into();
    let keys: BTreeSet<&str> = rows[0].as_object().unwrap().keys().map(|k| &**k).collect();
    assert_eq!(keys, expected);
    assert_eq!(rows[0]["schema"], "footring.settled/1");
    assert_eq!(rows[0]["status"], "joined");
    assert_eq!(rows[0]["piece"], "found");
    assert_eq!(
        rows[0]["labels"],
        json!({"form": "jug", "shape": "Tussock"})
    );
    // A silhouette has no pattern and no glaze: nothing to be open between.
    assert_eq!(rows[0]["open"], json!({"pattern": [], "glaze": []}));

    let found = nearest(&place, "found.png");
    assert_eq!(
        (&found["piece"], &found["distance"]),
        (&json!("found"), &json!(0.0))
    );
    assert_eq!(found["labels"]["shape"], "Tussock");
    let history = place
        .run([
            "cabinet", "history", "--piece", "found", "--format", "jsonl",
        ])
        .exits(0)
        .lines();
    assert_eq!(history.len(), 3);
    for line in &history {
        assert_eq!(line["schema"], "footring.change/1");
        assert_eq!(
            (&line["who"], &line["undone"]),
            (&json!("A. Curator"), &json!(false))
        );
        assert_eq!(line["change"], history[0]["change"]);
    }

    let undone = place
        .run(["cabinet", "undo", "--format", "jsonl"])
        .exits(0)
        .lines();
    assert_eq!(undone[0]["schema"], "footring.undone/1");
    assert_eq!(undone[0]["change"], history[0]["change"]);
    assert_eq!(list(&place), before);
    assert_eq!(nearest(&place, "found.png")["piece"], "the jug");
    place.run(["cabinet", "redo"]).exits(0);
    assert_eq!(nearest(&place, "found.png")["labels"]["shape"], "Tussock");
    place.run(["cabinet", "verify"]).exits(0);
}

#[test]
fn one_settling_is_one_change_and_the_last_ones_are_taken_back() {
    let place = Place::furnished();
    let before = list(&place);
    save(
        &Jug::default().draw(180, [2.0, 1.0], 0.0, false),
        &place.at("other.png"),
    );
    read(&place, &["found.png", "other.png"], "firm", "r.jsonl");
    let rows = settle(&place, &["r.jsonl"]).exits(0).lines();
    assert_eq!(rows.len(), 2);
    place
        .run(["cabinet", "relabel", "other", "maker=Quellmoor Pottery"])
        .exits(0);
    place.run(["cabinet", "remove", "the plate"]).exits(0);
    let undone = place.run(["cabinet", "undo", "3"]).exits(0);
    assert_eq!(
        undone.out.matches("taken back").count(),
        3,
        "{}",
        undone.out
    );
    assert_eq!(list(&place), before);
    // Of three more there is one, the adding.
    place
        .run(["cabinet", "undo", "3"])
        .exits(3)
        .says("no change to take back");
    assert_eq!(list(&place), "");
    place
        .run(["cabinet", "undo"])
        .exits(2)
        .without_result()
        .says("no change to take back");
    place.run(["cabinet", "redo", "4"]).exits(0);
    assert!(list(&place).contains("Quellmoor Pottery"));
    assert!(!list(&place).contains("the plate"));
    place.run(["cabinet", "redo"]).exits(2);
}

#[test]
fn what_is_typed_goes_before_what_was_read() {
    let place = Place::furnished();
    read(&place, &["found.png"], "firm", "r.jsonl");
    let typed = ["r.jsonl", "--level", "shape=Brannet", "--level", "form="];
    let dry: Vec<&str> = typed.iter().copied().chain(["--dry-run"]).collect();
    let before = list(&place);
    let row = settle(&place, &dry).exits(0).lines().remove(0);
    assert_eq!(row["status"], "would_join");
    assert_eq!(row["piece"], Value::Null);
    assert_eq!(list(&place), before, "a dry run changed something");
    let row = settle(&place, &typed).exits(0).lines().remove(0);
    assert_eq!(row["labels"], json!({"shape": "Brannet"}));
    assert_eq!(row["open"]["form"], json!(["jug"]));

    // Again: the photo is there, and only gets its labels.
    let again = ["r.jsonl", "--level", "maker=Quellmoor Pottery"];
    let row = settle(&place, &again).exits(0).lines().remove(0);
    assert_eq!(
        (&row["status"], &row["piece"]),
        (&json!("relabelled"), &json!("found"))
    );
    assert_eq!(
        row["labels"],
        json!({"form": "jug", "maker": "Quellmoor Pottery"})
    );
    // What the piece is labelled is not overruled by a reading.
    assert_eq!(row["kept"], json!({"shape": "Brannet"}));
    let row = settle(&place, &again).exits(0).lines().remove(0);
    assert_eq!(row["status"], "unchanged");
    assert_eq!(list(&place).lines().count(), 4);
}

#[test]
fn a_labels_file_corrects_several_readings_and_failures_are_rows() {
    let place = Place::furnished();
    for (i, name) in ["a.png", "b.png", "gone.png"].iter().enumerate() {
        let shift = [i as f64, 1.5];
        save(
            &Jug::default().draw(170, shift, 0.0, false),
            &place.at(name),
        );
    }
    fs::write(place.at("text.jpg"), "not a photo\n").unwrap();
    let photos = ["a.png", "text.jpg", "gone.png", "b.png"];
    read(&place, &photos, "several", "r.jsonl");
    fs::remove_file(place.at("gone.png")).unwrap();
    fs::write(
        place.at("settled.csv"),
        "photo,piece,shape,year_from\n\
         a.png,the second jug,Hollin,1934\n\
         b.png,the second jug,Hollin,\n\
         gone.png,,Hollin,\n\
         found.png,,Hollin,\n",
    )
    .unwrap();
    let rows = settle(&place, &["r.jsonl", "--labels", "settled.csv"])
        .exits(3)
        .says("2 settled, 0 left open, 3 failed")
        .lines();
    let status: Vec<&Value> = rows.iter().map(|row| &row["status"]).collect();
    assert_eq!(status, ["joined", "failed", "failed", "joined", "failed"]);
    assert_eq!(rows[1]["error"]["kind"], "damaged");
    assert_eq!(rows[2]["error"]["kind"], "missing");
    let message = rows[4]["error"]["message"].as_str().unwrap();
    assert!(message.starts_with("found.png: ") && message.contains("no reading"));
    for row in [&rows[0], &rows[3]] {
        assert_eq!(row["piece"], "the second jug");
        assert_eq!(row["labels"]["shape"], "Hollin");
        // Several: nothing was firm, so what was not typed is open.
        assert_eq!(row["open"]["form"][0], "jug");
    }
    let list = list(&place);
    assert_eq!(list.matches("\"year_from\":\"1934\"").count(), 2, "{list}");

    // Every other form of the result holds the same.
    let again = read(&place, &["found.png"], "firm", "again.jsonl");
    let shape = again[0]["pieces"][0]["levels"]["shape"][0]["label"].clone();
    let csv = place
        .run(["cabinet", "settle", "again.jsonl", "--format", "csv"])
        .exits(0);
    let header = "photo,status,piece,labels,kept,open,error\n";
    assert!(csv.out.starts_with(header), "{}", csv.out);
    let table = place.run(["cabinet", "settle", "again.jsonl"]).exits(0);
    assert_eq!(
        table.out,
        format!(
            "found.png  unchanged as found; form=jug, shape={}; left open: glaze, pattern\n",
            shape.as_str().unwrap()
        )
    );
}

#[test]
fn nothing_settled_is_left_open_and_asked_wrongly_is_said() {
    let place = Place::furnished();
    read(&place, &["found.png"], "likely", "r.jsonl");
    let before = list(&place);
    let row = settle(&place, &["r.jsonl"])
        .exits(0)
        .says("0 settled, 1 left open")
        .lines()
        .remove(0);
    assert_eq!(row["status"], "open");
    assert_eq!(row["open"]["shape"], json!(["Tussock"]));
    assert_eq!(list(&place), before);

    let asked = |args: &[&str]| settle(&place, args).exits(2).without_result();
    asked(&[]);
    asked(&["r.jsonl", "--photo", "nobody.png"]).says("nobody.png");
    asked(&["r.jsonl", "--level", "shine=much"]).says("`shine`");
    asked(&["r.jsonl", "--level", "shape"]).says("LABEL=VALUE");
    asked(&["r.jsonl", "--certainty", "2"]).says("from 0 to 1");
    asked(&["r.jsonl", "--piece", "nobody"]).says("no piece \"nobody\"");
    fs::write(place.at("wrong.jsonl"), "{\"schema\": \"other/1\"}\n").unwrap();
    asked(&["wrong.jsonl"]).says("wrong.jsonl: line 1");
    settle(&place, &["missing.jsonl"])
        .exits(1)
        .says("missing.jsonl");
    place
        .run(["cabinet", "history", "--piece", "nobody"])
        .exits(2)
        .says("nobody");
}

#[test]
fn views_of_one_reading_join_one_piece_and_a_piece_takes_another_view() {
    let place = Place::furnished();
    save(
        &Jug::default().draw(190, [1.0, 1.0], 0.0, false),
        &place.at("second.png"),
    );
    let readings = read(
        &place,
        &["found.png", "second.png", "--one-piece"],
        "firm",
        "r.jsonl",
    );
    assert_eq!(readings[0]["views"], json!(["found.png", "second.png"]));
    let rows = settle(&place, &["r.jsonl"]).exits(0).lines();
    assert_eq!(rows.len(), 2);
    assert!(rows.iter().all(|row| row["piece"] == "found"));
    place.run(["cabinet", "undo"]).exits(0);

    // The readings may come through a pipe.
    let mut child = place
        .command()
        .args(["cabinet", "settle", "-", "--piece", "the jug"])
        .args(["--photo", "second.png", "--format", "jsonl"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let text = fs::read(place.at("r.jsonl")).unwrap();
    child.stdin.take().unwrap().write_all(&text).unwrap();
    let rows = Ran::from(child.wait_with_output().unwrap())
        .exits(0)
        .lines();
    assert_eq!(rows.len(), 1);
    assert_eq!(
        (&rows[0]["piece"], &rows[0]["status"]),
        (&json!("the jug"), &json!("joined"))
    );
    // It is of that piece, and of no other.
    let row = settle(
        &place,
        &["r.jsonl", "--photo", "second.png", "--piece", "the plate"],
    )
    .exits(1)
    .lines()
    .remove(0);
    let message = row["error"]["message"].as_str().unwrap();
    assert!(message.contains("as a photo of \"the jug\""), "{message}");
}
