//! Notes on look-alikes, and the levels taken together.

use std::fs;

use serde_json::{Value, json};

use crate::{
    drawn::Jug,
    place::{Place, save},
};

/// The jug and the plate of the furnished place, and a jug whose shape differs so
/// little that a photo is near to both.
fn twins() -> Place {
    let place = Place::furnished();
    save(
        &Jug::default().draw(236, [3.0, 2.0], 0.0, false),
        &place.at("twin.png"),
    );
    fs::write(
        place.at("twin.csv"),
        "photo,piece,form,shape,borrowed_from\ntwin.png,the twin,jug,Hollin,Brannet\n",
    )
    .unwrap();
    place.run(["add", "--labels", "twin.csv"]).exits(0);
    place
}

fn note(place: &Place, args: &[&str]) -> crate::place::Ran {
    place.run(["cabinet", "note"].iter().chain(args))
}

#[test]
fn a_note_is_written_shown_and_taken_away() {
    let place = twins();
    let pair = ["Tussock", "--against", "Hollin"];
    let with = |more: &[&'static str]| -> Vec<&str> {
        pair.iter().copied().chain(more.iter().copied()).collect()
    };
    note(
        &place,
        &with(&["the handle joins lower", "--who", "A. Curator"]),
    )
    .exits(0)
    .says("noted: shape Tussock against Hollin");
    for asked in [&pair[..], &[], &["Hollin"], &["--level", "shape"]] {
        let args: Vec<&str> = asked.iter().copied().chain(["--format", "jsonl"]).collect();
        let rows = note(&place, &args).exits(0).lines();
        assert_eq!(rows.len(), 1, "{asked:?}");
        assert_eq!(rows[0]["schema"], "footring.note/1");
        assert_eq!(rows[0]["labels"], json!(["Hollin", "Tussock"]));
        assert_eq!(rows[0]["text"], "the handle joins lower");
        assert_eq!(rows[0]["who"], "A. Curator");
    }
    assert_eq!(note(&place, &["Orvelle"]).exits(0).out, "");
    note(&place, &with(&["--remove"]))
        .exits(0)
        .says("taken away");
    assert_eq!(note(&place, &[]).exits(0).out, "");
    place.run(["cabinet", "undo"]).exits(0);
    assert!(note(&place, &[]).exits(0).out.contains("joins lower"));

    let asked = |args: &[&str]| note(&place, args).exits(2).without_result();
    asked(&["Tussock", "--against", "Hollyn", "text"]).says("\"Hollyn\" is no label");
    asked(&["Tussock", "--against", "jug", "text"]).says("\"jug\" is a label of form");
    asked(&with(&[" "])).says("empty");
    asked(&with(&["text", "--level", "shine"]));
    asked(&["Orvelle", "--against", "Hollin", "--remove"]).says("nothing is noted");
    // A word that is a shape and a pattern: which is meant has to be said.
    for (piece, pattern) in [
        ("the jug", "pattern=Tussock"),
        ("the twin", "pattern=Hollin"),
    ] {
        place.run(["cabinet", "relabel", piece, pattern]).exits(0);
    }
    asked(&with(&["text"])).says("--level");
    note(&place, &with(&["the vine is blue", "--level", "pattern"])).exits(0);
    assert_eq!(note(&place, &[]).exits(0).out.lines().count(), 2);
}

#[test]
fn look_alikes_come_with_their_note_and_with_what_parts_them() {
    let place = twins();
    note(
        &place,
        &["Hollin", "--against", "Tussock", "look at the foot"],
    )
    .exits(0);
    let reading = place.identify(&["found.png"]).remove(0);
    let piece = &reading["pieces"][0];
    // Two shapes as near as this are never firm.
    assert_ne!(piece["certainty"]["shape"], "firm");
    let pairs = piece["look_alikes"].as_array().unwrap();
    let pair = pairs
        .iter()
        .find(|pair| pair["note"] != Value::Null)
        .unwrap_or_else(|| panic!("{piece}"));
    assert_eq!(pair["level"], "shape");
    let levels = &piece["levels"]["shape"];
    assert_eq!(
        pair["labels"],
        json!([levels[0]["label"], levels[1]["label"]])
    );
    assert_eq!(pair["note"]["text"], "look at the foot");
    assert_eq!(pair["note"]["who"], "command line");
    assert_eq!(pair["channels"][0]["channel"], "outline");
    // The same numbers as beside the matches.
    for i in 0..2 {
        let rank = pair["ranks"][i].as_u64().unwrap() as usize;
        let matched = &piece["matches"][rank - 1];
        assert_eq!(matched["piece"], pair["pieces"][i]);
        assert_eq!(
            matched["channels"]["outline"],
            pair["channels"][0]["distances"][i]
        );
        assert_eq!(matched["labels"]["shape"], pair["labels"][i]);
    }
    let table = place
        .run(["identify", "found.png", "--page", "p.html"])
        .exits(0);
    assert!(table.out.contains("look at the foot"), "{}", table.out);
    let page = fs::read_to_string(place.at("p.html")).unwrap();
    assert!(page.contains("May be taken for each other"));
    assert!(page.contains("look at the foot"));
}

#[test]
fn a_borrowed_piece_and_years_are_told() {
    let place = twins();
    place
        .run([
            "cabinet",
            "relabel",
            "the twin",
            "year_from=1934",
            "year_to=1952",
        ])
        .exits(0);
    // The photo of the twin itself: it is the nearest.
    let joined = place.identify(&["twin.png"])[0]["pieces"][0]["joined"].clone();
    assert_eq!(
        joined["notes"],
        json!(["the nearest piece, the twin, is known to be borrowed from the shape Brannet"])
    );
    let keys: Vec<&str> = joined.as_object().unwrap().keys().map(|k| &**k).collect();
    assert_eq!(keys.len(), 9, "{keys:?}");
    let table = place.run(["identify", "twin.png"]).exits(0);
    assert!(
        table.out.contains("borrowed from the shape"),
        "{}",
        table.out
    );
}
