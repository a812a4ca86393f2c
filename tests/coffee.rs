//! A real photo of a cup, from the file to the answer.
//!
//! `coffee.png` of scikit-image 0.26.0 (BSD-3-Clause): an espresso cup with its
//! handle towards the viewer, on its saucer with a spoon, on a wooden table.
//! `tests/fetch-coffee.sh` takes it from PyPI; it is not part of this repository.

mod drawn;

use std::path::{Path, PathBuf};

use drawn::{Jug, draw};
use footring::{
    cabinet::{Cabinet, Feature, Labels, NewView, Origin as LabelOrigin},
    channel::REGISTRY,
    config::Config,
    cutout::{Method, Origin},
    describe::{Described, Engine},
    identify::{
        self, Options, Query, Weights,
        reading::{Match, PieceReading},
    },
    photo::{self, Photo},
    warning::Code,
};
use image::{GrayImage, Rgb, RgbImage, codecs::jpeg::JpegEncoder, imageops};

/// On the cup, its handle, the spoon and the saucer (looked up in the photo).
const ON: [(&str, [u32; 2]); 8] = [
    ("the coffee", [285, 150]),
    ("the white inside, far rim", [290, 40]),
    ("the red outside", [280, 235]),
    ("the handle", [225, 265]),
    ("the spoon", [365, 285]),
    ("the saucer, left", [110, 220]),
    ("the saucer, right", [450, 240]),
    ("the saucer, near rim", [280, 375]),
];

/// On the table and in the dark behind it.
const OFF: [[u32; 2]; 8] = [
    [2, 2],
    [597, 2],
    [2, 397],
    [597, 397],
    [35, 200],
    [540, 200],
    [520, 60],
    [100, 50],
];

/// The photo; `None`, said aloud, where it was not fetched.
fn coffee() -> Option<PathBuf> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(".cache/skimage/coffee.png");
    if file.is_file() {
        return Some(file);
    }
    let note = format!("{} is not there: `make test` fetches it", file.display());
    assert!(std::env::var_os("CI").is_none(), "{note}");
    eprintln!("skipped: {note}");
    None
}

fn engine() -> Engine {
    Engine::load(Config::default(), Method::Auto).unwrap_or_else(|e| panic!("{e}"))
}

fn read(file: &Path) -> Photo {
    photo::read(file, &Config::default().photo).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn the_cup_on_its_saucer_is_cut_out_of_the_table() {
    let Some(file) = coffee() else { return };
    let photo = read(&file);
    assert_eq!(photo.pixels.dimensions(), (600, 400));
    let described = engine().describe(&photo).unwrap();
    assert_eq!(described.cutout.origin, Origin::Model);
    let mask = described.cutout.mask_at(600, 400);
    for (what, [x, y]) in ON {
        assert!(mask.get_pixel(x, y).0[0] > 240, "not covered: {what}");
    }
    for [x, y] in OFF {
        assert!(mask.get_pixel(x, y).0[0] < 15, "covered: {x}, {y}");
    }
    // By eye the saucer's ellipse, the cup above it and the spoon's end cover
    // 47 or 48 % of the photo.
    let share = covered(&mask) / (600.0 * 400.0);
    assert!((0.45..0.50).contains(&share), "{share}");
    // One piece without a hole, and all of the mask is that piece.
    assert_eq!(described.outline.holes.len(), 0);
    let rest = covered(&described.cutout.mask) - described.outline.area_px2();
    assert!(rest.abs() < 0.01 * described.outline.area_px2(), "{rest}");
    let bounds = described.outline.bounds();
    for (found, by_eye) in [
        (bounds.left, 77.0),
        (bounds.top, 18.0),
        (bounds.right, 480.0),
        (bounds.bottom, 390.0),
    ] {
        assert!((found - by_eye).abs() < 6.0, "{bounds:?}");
    }
    let codes: Vec<Code> = described.warnings.iter().map(|w| w.code).collect();
    for code in [
        Code::TouchesFrame,
        Code::SeveralPieces,
        Code::TooSmall,
        Code::WholePhoto,
    ] {
        assert!(!codes.contains(&code), "{codes:?}");
    }
    assert!(described.features.iter().all(Option::is_some));
}

#[test]
fn the_cup_is_found_again_in_another_photo_of_it() {
    let Some(file) = coffee() else { return };
    let dir = tempfile::tempdir().unwrap();
    let engine = engine();
    let cabinet = cabinet(dir.path(), &engine, &file, |_| true);
    let (photo, described) = asked(dir.path(), &engine, &file);
    let reading = answer(&engine, &cabinet, (&photo, &described), true);
    let ranked: Vec<(&str, f64)> = reading
        .matches
        .iter()
        .map(|m| (m.piece.as_str(), m.distance))
        .collect();
    assert_eq!(ranked.len(), 3);
    assert_eq!(ranked[0].0, "cup", "{ranked:?}");
    assert!(
        ranked[0].1 > 0.0 && ranked[0].1 < 0.6 * ranked[1].1,
        "{ranked:?}"
    );
}

#[test]
fn a_set_without_details_is_searched_by_the_decorations_vector() {
    let Some(file) = coffee() else { return };
    let dir = tempfile::tempdir().unwrap();
    let engine = engine();
    let old = cabinet(&dir.path().join("old"), &engine, &file, |feature| {
        feature.channel != "details"
    });
    let new = cabinet(&dir.path().join("new"), &engine, &file, |_| true);
    let (photo, described) = asked(dir.path(), &engine, &file);
    let decorations = |cabinet: &Cabinet, details: bool| -> Vec<(String, Option<f64>)> {
        let reading = answer(&engine, cabinet, (&photo, &described), details);
        let decoration = |m: &Match| m.channels.get("decoration").copied();
        let mut all: Vec<_> = reading
            .matches
            .iter()
            .map(|m| (m.piece.clone(), decoration(m)))
            .collect();
        all.sort_by(|a, b| a.0.cmp(&b.0));
        all
    };
    let by_vector = decorations(&new, false);
    assert!(by_vector.iter().all(|(_, d)| d.is_some()), "{by_vector:?}");
    assert_eq!(decorations(&old, true), by_vector);
    assert_ne!(decorations(&new, true), by_vector);
}

/// The cup, a jug and a bowl, with those of their features that are wanted.
fn cabinet(dir: &Path, engine: &Engine, file: &Path, wanted: fn(&Feature) -> bool) -> Cabinet {
    let mut cabinet = Cabinet::create_or_open(dir.join("cabinet")).unwrap();
    let others = [
        (
            "jug",
            glazed(
                &Jug::default().draw(400, [0.0; 2], 0.0, false).mask,
                [40, 70, 150],
            ),
        ),
        ("bowl", glazed(&draw(400, 400, bowl), [190, 60, 40])),
    ];
    let mut files = vec![("cup", file.to_owned())];
    for (name, picture) in others {
        let path = dir.join(format!("{name}.png"));
        picture.save(&path).unwrap();
        files.push((name, path));
    }
    for (piece, file) in &files {
        let photo = read(file);
        let described = engine.describe(&photo).unwrap();
        // They go the way of photos, not of silhouettes.
        assert!(described.cutout.origin.shows_surface(), "{piece}");
        let mut view = view(piece, &photo, &described);
        view.features.retain(wanted);
        cabinet.add_view(&view).unwrap();
    }
    cabinet
}

/// Another photo of the cup.
fn asked(dir: &Path, engine: &Engine, file: &Path) -> (Photo, Described) {
    let other = dir.join("other.jpg");
    std::fs::write(&other, another_photo(file)).unwrap();
    let photo = read(&other);
    let described = engine.describe(&photo).unwrap();
    (photo, described)
}

fn answer(
    engine: &Engine,
    cabinet: &Cabinet,
    (photo, described): (&Photo, &Described),
    details: bool,
) -> PieceReading {
    let specs = identify::channel_specs();
    let snapshot = cabinet.snapshot(&engine.config.nearest, &specs).unwrap();
    let query = Query {
        views: vec![(&photo.sha256, described)],
    };
    let options = Options {
        weights: Weights::default(),
        top: 3,
        skip_same_photo: true,
        scan_below: engine.config.nearest.graph_from,
        align: engine.config.identify.align,
        details,
        told: footring::identify::told::Told::default(),
        calibration: std::sync::Arc::default(),
        graph: None,
    };
    identify::identify(&query, &snapshot, &options)
        .unwrap()
        .reading
}

/// What another photographer might have made of it: cropped, mirrored, brighter
/// by a fifth, saved as JPEG of quality 60.
fn another_photo(file: &Path) -> Vec<u8> {
    let photo = image::open(file).unwrap().into_rgb8();
    let mut picture = imageops::crop_imm(&photo, 40, 6, 500, 392).to_image();
    imageops::flip_horizontal_in_place(&mut picture);
    picture
        .iter_mut()
        .for_each(|v| *v = (f32::from(*v) * 1.2).round().min(255.0) as u8);
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, 60)
        .encode_image(&picture)
        .unwrap();
    jpeg
}

/// A drawn piece in a glaze, lit from the left, on a grey-green ground.
fn glazed(mask: &[u8], glaze: [u8; 3]) -> RgbImage {
    RgbImage::from_fn(400, 400, |x, y| {
        let cover = f32::from(mask[(y * 400 + x) as usize]) / 255.0;
        let light = 1.15 - 0.5 * x as f32 / 400.0;
        let ground = [196.0, 204.0, 190.0].map(|v| v - 0.08 * y as f32);
        Rgb(std::array::from_fn(|i| {
            (cover * f32::from(glaze[i]) * light + (1.0 - cover) * ground[i]).round() as u8
        }))
    })
}

fn bowl(x: f64, y: f64) -> bool {
    let (x, y) = ((x - 200.0) / 150.0, (y - 150.0) / 120.0);
    let foot = x.abs() < 0.35 && (0.9..1.1).contains(&y);
    foot || (y > 0.0 && x.hypot(y) < 1.0)
}

fn covered(mask: &GrayImage) -> f64 {
    mask.iter().map(|v| f64::from(*v) / 255.0).sum()
}

fn view(piece: &str, photo: &Photo, described: &Described) -> NewView {
    NewView {
        piece: Some(piece.to_owned()),
        photo: photo.source.display().to_string(),
        sha256: photo.sha256.clone(),
        width_px: photo.pixels.width(),
        height_px: photo.pixels.height(),
        warnings_json: "[]".to_owned(),
        outline_json: "{}".to_owned(),
        palette_json: "[]".to_owned(),
        features: REGISTRY
            .iter()
            .zip(&described.features)
            .filter_map(|(channel, vector)| {
                Some(Feature {
                    channel: channel.name.to_owned(),
                    version: channel.version,
                    vector: vector.clone()?,
                })
            })
            .collect(),
        labels: Labels::new(),
        origin: LabelOrigin::new("test"),
        ..NewView::default()
    }
}
