//! `footring split`: photos of several pieces, cut apart.

use std::{fs, path::PathBuf};

use image::{GrayImage, Rgb, RgbImage, imageops};
use serde_json::Value;

use crate::place::Place;

/// A photo of the demo.
fn demo(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("index/demo/queries/{name}.jpg"))
}

/// What a row's picture covers of its photo of this size.
fn covered(row: &Value, place: &Place, (width, height): (u32, u32)) -> GrayImage {
    let frame: Vec<u32> = serde_json::from_value(row["frame_px"].clone()).unwrap();
    let cut = image::open(place.at(row["file"].as_str().unwrap()))
        .unwrap()
        .to_rgba8();
    assert_eq!(cut.dimensions(), (frame[2], frame[3]));
    let mut mask = GrayImage::new(width, height);
    for (x, y, pixel) in cut.enumerate_pixels() {
        mask.put_pixel(frame[0] + x, frame[1] + y, image::Luma([pixel.0[3]]));
    }
    mask
}

fn overlap(a: &GrayImage, b: &GrayImage) -> f64 {
    let pairs = || a.iter().zip(b.iter()).map(|(a, b)| (*a >= 128, *b >= 128));
    let both = pairs().filter(|(a, b)| *a && *b).count();
    both as f64 / pairs().filter(|(a, b)| *a || *b).count() as f64
}

/// Four photos of one piece each, laid out as one: what is cut out of it is what the
/// other network makes of each photo alone.
#[test]
fn four_pieces_in_one_photo_are_those_of_four_photos() {
    const SIDE: u32 = 360;
    let place = Place::furnished();
    let names = ["q01", "q05", "q12", "q18"];
    let mut lot = RgbImage::new(2 * SIDE, 2 * SIDE);
    let mut alone = Vec::new();
    for (k, name) in names.iter().enumerate() {
        let photo = image::open(demo(name)).unwrap().to_rgb8();
        let photo = imageops::resize(&photo, SIDE, SIDE, imageops::FilterType::Triangle);
        let file = place.at(&format!("{name}.png"));
        photo.save(&file).unwrap();
        alone.push(file.display().to_string());
        let (x, y) = (k as u32 % 2 * SIDE, k as u32 / 2 * SIDE);
        imageops::replace(&mut lot, &photo, i64::from(x), i64::from(y));
    }
    lot.save(place.at("lot.png")).unwrap();
    let mut identify = vec!["--mask-dir", "masks"];
    identify.extend(alone.iter().map(String::as_str));
    place.identify(&identify);
    let rows = place
        .run([
            "split", "lot.png", "--out", "pieces", "--page", "lot.html", "--format", "jsonl",
        ])
        .exits(0)
        .lines();
    assert_eq!(rows.len(), 4, "{rows:#?}");
    for (k, (row, name)) in rows.iter().zip(names).enumerate() {
        assert_eq!(row["schema"], "footring.split/1");
        assert_eq!(row["status"], "ok");
        assert_eq!(row["piece"], k + 1);
        assert_eq!(row["touches_frame"], false);
        let mask = image::open(place.at(&format!("masks/{name}.png"))).unwrap();
        let mut truth = GrayImage::new(2 * SIDE, 2 * SIDE);
        let (x, y) = (k as u32 % 2 * SIDE, k as u32 / 2 * SIDE);
        imageops::replace(&mut truth, &mask.to_luma8(), i64::from(x), i64::from(y));
        let found = covered(row, &place, lot.dimensions());
        let overlap = overlap(&found, &truth);
        assert!(overlap > 0.93, "{name}: {overlap}");
        let share = found.iter().map(|v| f64::from(*v) / 255.0).sum::<f64>() / found.len() as f64;
        assert!((share - row["share"].as_f64().unwrap()).abs() < 1e-3);
    }
    assert_eq!(
        place.names("pieces"),
        ["lot-1.png", "lot-2.png", "lot-3.png", "lot-4.png"]
    );
    // The page shows the photo once with four numbers, and each piece by its file's name.
    let page = fs::read_to_string(place.at("lot.html")).unwrap();
    assert_eq!(page.matches("<img").count(), 5);
    for number in 1..=4 {
        assert!(page.contains(&format!(">{number}</text>")));
        assert!(page.contains(&format!(
            "<b>{number}</b> <bdi>pieces/lot-{number}.png</bdi>"
        )));
    }
    assert!(!page.contains("<script") && !page.contains("://"));
    // The pictures can be asked about as they are: their transparency is the mask.
    let readings = place.identify(&["pieces"]);
    assert_eq!(readings.len(), 4);
    assert!(readings.iter().all(|reading| reading["status"] == "ok"));
}

#[test]
fn nothing_there_and_nothing_readable_are_rows_of_their_own() {
    let place = Place::empty();
    fs::create_dir(place.at("lot")).unwrap();
    RgbImage::from_pixel(300, 200, Rgb([150, 148, 141]))
        .save(place.at("lot/a-table.png"))
        .unwrap();
    fs::write(place.at("lot/b-broken.jpg"), b"\xff\xd8\xff no photo").unwrap();
    fs::copy(demo("q15"), place.at("lot/c-two.jpg")).unwrap();
    let ran = place
        .run(["split", "lot", "--out", "pieces", "--format", "csv"])
        .exits(3);
    let rows: Vec<&str> = ran.out.lines().collect();
    assert_eq!(rows.len(), 5, "{ran:#?}");
    assert!(rows[0].starts_with("photo,status,piece,file,left_px"));
    assert!(rows[1].contains("a-table.png,none"));
    assert!(rows[2].contains("b-broken.jpg,failed"));
    assert!(rows[3].contains("c-two.jpg,ok,1,") && rows[4].contains("c-two.jpg,ok,2,"));
    let text = place.run(["split", "lot/c-two.jpg", "--out", "again"]);
    let text = text.exits(0);
    place
        .run(["split", "lot", "--out", "more", "--page", "lot.html"])
        .exits(3);
    let page = fs::read_to_string(place.at("lot.html")).unwrap();
    for said in [
        "2 pieces in 3 photos.",
        "No ware is seen",
        "Could not be read",
    ] {
        assert!(page.contains(said), "{said}");
    }
    // Without a folder for the page the pictures are there all the same.
    let ran = place.run([
        "split",
        "lot/c-two.jpg",
        "--out",
        "kept",
        "--page",
        "no/lot.html",
    ]);
    assert!(ran.exits(1).out.contains("kept/c-two-2.png"));
    assert_eq!(place.names("kept"), ["c-two-1.png", "c-two-2.png"]);
    assert!(text.out.contains("piece 2") && text.out.contains("again/c-two-2.png"));
    place
        .run(["split", "nowhere.jpg", "--out", "pieces"])
        .exits(1);
}
