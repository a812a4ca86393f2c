//! `footring outline`: drawings, scales and formats, on pieces whose measures
//! are known because they were drawn.

use std::fs;

use serde_json::Value;

use crate::{
    drawn::{Drawing, Jug, draw},
    place::{Place, save},
};

/// Side of the picture, pixels; the jug is 0.6 of it high.
const SIDE: usize = 400;
const HIGH: f64 = 0.6 * SIDE as f64;

/// A beaker without any part: half-width from 70 at the foot to 90 at the rim,
/// 200 high.
fn beaker() -> Drawing {
    let mask = draw(SIDE, SIDE, |x, y| {
        let up = 300.0 - y;
        (0.0..200.0).contains(&up) && (x - 200.0).abs() < 70.0 + 20.0 * up / 200.0
    });
    Drawing {
        width: SIDE,
        height: SIDE,
        mask,
    }
}

fn with_jug() -> Place {
    let place = Place::empty();
    let jug = Jug {
        lip: 0.0,
        ..Jug::default()
    };
    save(&jug.draw(SIDE, [0.0; 2], 0.0, false), &place.at("jug.png"));
    save(&beaker(), &place.at("beaker.png"));
    place
}

fn piece(place: &Place, args: &[&str]) -> Value {
    let common = ["outline", "--format", "json"];
    let ran = place.run(common.iter().chain(args)).exits(0);
    let sheets: Value = serde_json::from_str(&ran.out).unwrap();
    let sheet = &sheets[0];
    assert_eq!(sheet["schema"], "footring.outline/1");
    assert_eq!(sheet["status"], "ok");
    sheet["piece"].clone()
}

/// Within one percent.
#[track_caller]
fn near(found: &Value, expected: f64) {
    let found = found.as_f64().unwrap();
    assert!(
        (found / expected - 1.0).abs() < 0.01,
        "{found} for {expected}"
    );
}

/// Closed forms of what was drawn.
#[test]
fn a_beaker_has_the_measures_it_was_drawn_with() {
    let place = with_jug();
    let piece = piece(&place, &["beaker.png", "--height-mm", "100"]);
    assert_eq!(piece["view"], "side");
    let measures = &piece["measures"];
    near(&measures["height"]["px"], 200.0);
    near(&measures["height"]["mm"], 100.0);
    near(&measures["foot_diameter"]["mm"], 70.0);
    near(&measures["rim_diameter"]["mm"], 90.0);
    near(&measures["greatest_diameter"]["mm"], 90.0);
    near(&piece["mm_per_px"][0], 0.5);
    // A frustum of radii 35 and 45 and height 100 mm.
    let ml = std::f64::consts::PI / 3.0 * 100.0 * (35.0f64.powi(2) + 35.0 * 45.0 + 45.0f64.powi(2))
        / 1000.0;
    let volume = piece["volume_ml"][0].as_f64().unwrap();
    assert!((volume / ml - 1.0).abs() < 0.02, "{volume} for {ml}");
    assert_eq!(piece["parts"], serde_json::json!([]));
}

#[test]
fn a_length_in_the_picture_gives_millimetres_each_way_it_can_be_told() {
    let place = with_jug();
    let scale = |args: &[&str]| piece(&place, &[&["jug.png"], args].concat());
    // A bar of 100 pixels that is 50 mm long, lying as it may.
    for bar in ["10,20,110,20,50", "10, 20, 70, 100, 50"] {
        near(&scale(&["--scale", bar])["mm_per_px"][0], 0.5);
    }
    let wide = scale(&["--width-mm", "150"]);
    near(&wide["measures"]["overall_width"]["mm"], 150.0);
    let tall = scale(&["--height-mm", "120"]);
    near(&tall["measures"]["height"]["mm"], 120.0);
    near(&tall["mm_per_px"][0], 120.0 / HIGH);
    // Without a length there are no millimetres, and no volume.
    let plain = scale(&[]);
    assert_eq!(plain["mm_per_px"], Value::Null);
    assert_eq!(plain["measures"]["height"]["mm"], Value::Null);
    assert_eq!(plain["volume_ml"], Value::Null);
}

#[test]
fn a_length_that_is_none_is_refused_with_what_is_wanted() {
    let place = with_jug();
    for (args, said) in [
        (["--scale", "10,20,110,20"], "five numbers"),
        (["--scale", "10,20,10,20,50"], "at least 2 apart"),
        (["--scale", "a,20,110,20,50"], "five numbers"),
        (["--width-mm", "0"], "above 0"),
        (["--height-mm", "tall"], "above 0"),
    ] {
        place
            .run(["outline", "jug.png"].iter().chain(&args))
            .exits(2)
            .without_result()
            .says(said);
    }
}

#[test]
fn the_handle_is_found_where_it_was_drawn_and_does_not_widen_the_body() {
    let place = with_jug();
    let piece = piece(&place, &["jug.png"]);
    let parts = piece["parts"].as_array().unwrap();
    assert_eq!(parts.len(), 1, "{parts:?}");
    assert_eq!(
        (&parts[0]["kind"], &parts[0]["side"]),
        (&"loop".into(), &"right".into())
    );
    assert!(parts[0]["hole_px2"].as_f64().unwrap() > 500.0, "{parts:?}");
    // Half-width: foot 0.2, mouth 0.25, and a belly of 0.12 between, greatest
    // where 0.05 + 0.48 (1 - 2 y) is 0.
    let y: f64 = (1.0 + 0.05 / 0.48) / 2.0;
    let half = 0.2 + 0.05 * y + 0.48 * y * (1.0 - y);
    near(
        &piece["measures"]["greatest_diameter"]["px"],
        2.0 * half * HIGH,
    );
    near(&piece["measures"]["foot_diameter"]["px"], 0.4 * HIGH);
}

#[test]
fn one_photo_gives_files_and_several_give_folders() {
    let place = with_jug();
    let ran = place
        .run([
            "outline",
            "jug.png",
            "--svg",
            "o.svg",
            "--profile",
            "p.svg",
            "--height-mm",
            "120",
        ])
        .exits(0);
    assert!(ran.out.contains("greatest diameter"), "{}", ran.out);
    for name in ["o.svg", "p.svg"] {
        let svg = fs::read_to_string(place.at(name)).unwrap();
        assert!(
            svg.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\"")
                && svg.ends_with("</svg>\n"),
            "{svg}"
        );
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        // Every element is closed: as many begin as end.
        let ends = svg.matches("/>").count() + svg.matches("</").count();
        let begin = svg.matches('<').count() - svg.matches("</").count();
        assert_eq!(begin, ends, "{svg}");
    }
    let section = fs::read_to_string(place.at("p.svg")).unwrap();
    assert!(
        section.contains("mm\" height=\""),
        "no true size: {section}"
    );

    fs::write(place.at("text.jpg"), "not a photo\n").unwrap();
    let ran = place
        .run([
            "outline",
            "jug.png",
            "beaker.png",
            "text.jpg",
            "--svg",
            "all",
            "--format",
            "jsonl",
        ])
        .exits(3);
    assert_eq!(place.names("all"), ["beaker.svg", "jug.svg"]);
    let lines = ran.lines();
    let status: Vec<&Value> = lines.iter().map(|line| &line["status"]).collect();
    assert_eq!(status, ["ok", "ok", "failed"]);
    assert_eq!(lines[2]["piece"], Value::Null);
}

#[test]
fn csv_and_json_tell_the_same_numbers() {
    let place = with_jug();
    let args = ["jug.png", "beaker.png", "--height-mm", "120"];
    let json = place.run(["outline", "--format", "json"].iter().chain(&args));
    let sheets: Value = serde_json::from_str(&json.exits(0).out).unwrap();
    let csv = place.run(["outline", "--format", "csv"].iter().chain(&args));
    let csv = csv.exits(0).out;
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let columns = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 2);
    let mut compared = 0;
    for (row, sheet) in rows.iter().zip(sheets.as_array().unwrap()) {
        for (column, cell) in columns.iter().zip(row) {
            for unit in ["px", "mm"] {
                let Some(name) = column.strip_suffix(&format!("_{unit}")) else {
                    continue;
                };
                let Some(told) = sheet["piece"]["measures"][name][unit].as_f64() else {
                    continue;
                };
                let cell: f64 = cell.parse().unwrap();
                assert!((cell - told).abs() < 0.01, "{column}: {cell} {told}");
                compared += 1;
            }
        }
    }
    assert!(compared >= 10, "{columns:?}");
}

/// The demo's line drawing is of a teapot of the shape Corvane; the photos are
/// of pots of five shapes and of other pieces.
#[test]
fn a_line_drawing_finds_the_photographed_piece_by_its_outline() {
    let place = Place::empty();
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("index/demo");
    fs::create_dir(place.at("set")).unwrap();
    for name in [
        "004-brannet-teapot",
        "011-orvelle-coffee-pot",
        "020-tussock-jug",
        "024-pellam-teapot",
        "031-corvane-teapot",
        "040-lindle-teacup",
        "042-lindle-creamer",
        "043-lindle-sugar-bowl",
    ] {
        let file = format!("{name}-1.jpg");
        fs::copy(
            demo.join("reference").join(&file),
            place.at(&format!("set/{file}")),
        )
        .unwrap();
    }
    place.run(["add", "set"]).exits(0);
    let drawing = demo.join("queries/q09.jpg");
    let readings = place.identify(&["--by", "outline", drawing.to_str().unwrap()]);
    let first = readings[0]["pieces"][0]["matches"][0]["photo"]
        .as_str()
        .unwrap();
    assert!(first.contains("corvane-teapot"), "{first}");
    // Its surface is no evidence.
    let channels = &readings[0]["pieces"][0]["matches"][0]["channels"];
    assert_eq!(channels.as_object().unwrap().len(), 1, "{channels}");
}
