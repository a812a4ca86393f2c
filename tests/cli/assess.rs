//! A small cabinet tried on itself.

use std::fs;

use serde_json::{Value, json};

use crate::{
    drawn::{Jug, plate},
    place::{Place, save},
};

/// Five jugs of one shape, three plates, one piece of a shape of its own; silhouettes,
/// so that neither pattern nor glaze is seen.
fn shelf() -> Place {
    let place = Place::empty();
    let mut labels = "photo,piece,form,shape,pattern\n".to_owned();
    for i in 0..5 {
        let by = f64::from(i) * 2.0;
        let jug = Jug::default().draw(220 + 10 * i as usize, [by, by], 0.0, false);
        save(&jug, &place.at(&format!("jug-{i}.png")));
        labels += &format!("jug-{i}.png,jug {i},jug,Tussock,Merrin Spray\n");
    }
    for (i, size) in [200, 220, 240].into_iter().enumerate() {
        save(&plate(size), &place.at(&format!("plate-{i}.png")));
        labels += &format!("plate-{i}.png,plate {i},plate,Orvelle,Fenwisp\n");
    }
    save(
        &Jug::default().draw(260, [1.0, 1.0], 0.3, false),
        &place.at("odd.png"),
    );
    labels += "odd.png,odd,ewer,Hollin,Fenwisp\n";
    fs::write(place.at("labels.csv"), labels).unwrap();
    place.run(["add", "--labels", "labels.csv"]).exits(0);
    place
}

#[test]
fn a_small_cabinet_is_tried_on_itself_in_every_format() {
    let place = shelf();
    let ran = place
        .run(["assess", "--format", "json", "--photos", "--page", "p.html"])
        .exits(0);
    let found: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(found["schema"], "footring.assessment/1");
    assert_eq!(
        [&found["pieces"], &found["photos"], &found["asked"]],
        [9, 9, 9]
    );
    let shape = &found["levels"]["shape"];
    assert_eq!([&shape["pieces"], &shape["labels"]], [9, 3]);
    assert_eq!(shape["single"], json!(["Hollin"]));
    // Jugs and plates are told apart by outline, and by the box alone; the single
    // piece cannot be found and is not asked.
    assert_eq!(shape["r5"]["rate"], 1.0);
    assert_eq!(shape["r5"]["n"], 8);
    assert_eq!(shape["baselines"]["aspect_ratio"]["n"], 8);
    // A silhouette has no ground colour, but a thumbnail.
    assert_eq!(shape["baselines"]["ground_lab"], Value::Null);
    assert_ne!(shape["baselines"]["thumbnail_hash"], Value::Null);
    let words: Vec<&Value> = shape["words"]
        .as_array()
        .unwrap()
        .iter()
        .map(|word| &word["word"])
        .collect();
    assert_eq!(words, ["firm", "likely", "several", "unknown"]);
    assert_eq!(shape["known"]["known"], 8);
    assert_eq!(shape["known"]["struck_off"], 9);
    let pattern = &found["levels"]["pattern"];
    assert_eq!(pattern["r1"], Value::Null);
    assert_eq!(pattern["not_shown"], 9);
    assert_eq!(pattern["note"], "no photo that was asked about shows it");
    assert_eq!(
        found["levels"]["glaze"]["note"],
        "no piece is labelled on this level"
    );
    // No piece has a second photo.
    assert_eq!(found["same_piece"]["asked"], 0);

    // The trial is what `identify` would have made: it is kept for it.
    assert!(place.at("cabinet/calibration.json").exists());

    let page = fs::read_to_string(place.at("p.html")).unwrap();
    assert_eq!(page.matches("class=\"plot\"").count(), 4, "form and shape");
    assert!(page.contains("expected calibration error") && page.contains("Hollin"));
    assert!(!page.contains("<script") && !page.contains("://"));

    let line = place
        .run(["assess", "--format", "jsonl", "--photos"])
        .exits(0);
    assert_eq!(line.lines(), [found]);
    let csv = place.run(["assess", "--format", "csv"]).exits(0);
    let mut rows = csv::Reader::from_reader(csv.out.as_bytes());
    let levels: Vec<String> = rows
        .records()
        .map(|row| row.unwrap()[0].to_owned())
        .collect();
    assert_eq!(levels, ["form", "shape", "pattern", "glaze"]);
    let table = place.run(["assess"]).exits(0);
    assert_eq!(table.err, "", "progress in a pipe");
    for word in ["R@1", "promised", "AUROC", "one piece only", "Hollin"] {
        assert!(table.out.contains(word), "{word}: {}", table.out);
    }
}

#[test]
fn a_short_trial_does_not_stand_in_for_a_whole_one() {
    let place = shelf();
    let ran = place
        .run(["assess", "--pieces", "4", "--format", "json"])
        .exits(0);
    let found: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(found["asked"], 4);
    assert!(!place.at("cabinet/calibration.json").exists());
    place.run(["assess", "--pieces", "0"]).exits(2);
}

#[test]
fn a_cabinet_that_cannot_be_tried_says_what_it_lacks() {
    // One jug and one plate: no label has two pieces.
    let place = Place::furnished();
    place
        .run(["assess"])
        .exits(1)
        .without_result()
        .says("cabinet: nothing can be tried")
        .says("shape: no label has two pieces")
        .says("add more pieces of the same labels");
    // The jug has two photos, though.
    let ran = place
        .run(["assess", "--photos", "--format", "json"])
        .exits(0);
    let found: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(found["same_piece"]["r1"]["rate"], 1.0);
    assert_eq!(found["same_piece"]["asked"], 1);
}
