//! The program as it is called: streams, exit codes, the schema, the cabinet.
//! Sources: README.md for what is promised; where it is silent, common practice.

#[path = "cli/assess.rs"]
mod assess;
#[path = "cli/cabinet.rs"]
mod cabinet;
mod drawn;
#[path = "cli/know.rs"]
mod know;
#[path = "cli/note.rs"]
mod note;
#[path = "cli/outline.rs"]
mod outline;
#[path = "cli/place.rs"]
mod place;
#[path = "cli/settle.rs"]
mod settle;
#[path = "cli/split.rs"]
mod split;

use std::{
    collections::BTreeSet,
    fs,
    path::Path,
    process::{Command, Stdio},
    time::Instant,
};

use drawn::{Drawing, Jug, draw};
use footring::channel::REGISTRY;
use place::{Place, models, save};
use serde_json::Value;

/// Every field of `footring.reading/1`. `channels` has the channels' names for
/// keys and `labels` those of the labels file. What `joined` holds is listed in
/// `tests/report`, where all of it is there.
const READING: [&str; 147] = [
    "schema",
    "photo",
    "status",
    "error",
    "error.kind",
    "error.message",
    "warnings",
    "warnings[].code",
    "warnings[].text",
    "pieces",
    "pieces[].box_px",
    "pieces[].mask_area_px2",
    "pieces[].view",
    "pieces[].reordered_by_graph",
    "pieces[].settled",
    "pieces[].settled.form",
    "pieces[].settled.form.short_list",
    "pieces[].settled.form.trials",
    "pieces[].settled.form.unknown",
    "pieces[].settled.glaze",
    "pieces[].settled.glaze.short_list",
    "pieces[].settled.glaze.trials",
    "pieces[].settled.glaze.unknown",
    "pieces[].settled.pattern",
    "pieces[].settled.pattern.short_list",
    "pieces[].settled.pattern.trials",
    "pieces[].settled.pattern.unknown",
    "pieces[].settled.shape",
    "pieces[].settled.shape.short_list",
    "pieces[].settled.shape.trials",
    "pieces[].settled.shape.unknown",
    "pieces[].levels",
    "pieces[].levels.form",
    "pieces[].levels.form[].label",
    "pieces[].levels.form[].distance",
    "pieces[].levels.form[].pieces",
    "pieces[].levels.form[].probability",
    "pieces[].levels.form[].matches",
    "pieces[].levels.shape",
    "pieces[].levels.shape[].label",
    "pieces[].levels.shape[].distance",
    "pieces[].levels.shape[].pieces",
    "pieces[].levels.shape[].probability",
    "pieces[].levels.shape[].matches",
    "pieces[].levels.pattern",
    "pieces[].levels.pattern[].label",
    "pieces[].levels.pattern[].distance",
    "pieces[].levels.pattern[].pieces",
    "pieces[].levels.pattern[].probability",
    "pieces[].levels.pattern[].matches",
    "pieces[].levels.glaze",
    "pieces[].levels.glaze[].label",
    "pieces[].levels.glaze[].distance",
    "pieces[].levels.glaze[].pieces",
    "pieces[].levels.glaze[].probability",
    "pieces[].levels.glaze[].matches",
    "pieces[].certainty",
    "pieces[].certainty.form",
    "pieces[].certainty.shape",
    "pieces[].certainty.pattern",
    "pieces[].certainty.glaze",
    "pieces[].joined",
    "pieces[].look_alikes",
    "pieces[].matches",
    "pieces[].matches[].rank",
    "pieces[].matches[].piece",
    "pieces[].matches[].photo",
    "pieces[].matches[].distance",
    "pieces[].matches[].channels",
    "pieces[].matches[].channels.*",
    "pieces[].matches[].labels",
    "pieces[].matches[].labels.*",
    "pieces[].colour",
    "pieces[].colour.balance",
    "pieces[].colour.ground",
    "pieces[].colour.ground.lab",
    "pieces[].colour.ground.rgb",
    "pieces[].colour.ground.share",
    "pieces[].colour.ground.doubt",
    "pieces[].colour.ground.doubt.chroma",
    "pieces[].colour.ground.doubt.lightness",
    "pieces[].colour.ground.name",
    "pieces[].colour.ground.surround_lab",
    "pieces[].colour.decoration",
    "pieces[].colour.decoration[].lab",
    "pieces[].colour.decoration[].rgb",
    "pieces[].colour.decoration[].share",
    "pieces[].colour.decoration[].name",
    "pieces[].surface",
    "pieces[].surface.view",
    "pieces[].surface.outside",
    "pieces[].surface.outside.share",
    "pieces[].surface.outside.decorated",
    "pieces[].surface.outside.ground",
    "pieces[].surface.outside.ground.lab",
    "pieces[].surface.outside.ground.name",
    "pieces[].surface.outside.ground.rgb",
    "pieces[].surface.outside.ground.share",
    "pieces[].surface.inside",
    "pieces[].surface.inside.share",
    "pieces[].surface.inside.decorated",
    "pieces[].surface.inside.ground",
    "pieces[].surface.inside.ground.lab",
    "pieces[].surface.inside.ground.name",
    "pieces[].surface.inside.ground.rgb",
    "pieces[].surface.inside.ground.share",
    "pieces[].surface.zones",
    "pieces[].surface.zones[].zone",
    "pieces[].surface.zones[].face",
    "pieces[].surface.zones[].share",
    "pieces[].surface.zones[].decorated",
    "pieces[].surface.zones[].ground",
    "pieces[].surface.zones[].ground.lab",
    "pieces[].surface.zones[].ground.name",
    "pieces[].surface.zones[].ground.rgb",
    "pieces[].surface.zones[].ground.share",
    "pieces[].treatment",
    "pieces[].treatment.certainty",
    "pieces[].treatment.candidates",
    "pieces[].treatment.basis",
    "pieces[].treatment.sees_inside",
    "pieces[].decoration",
    "pieces[].decoration.side",
    "pieces[].decoration.seen",
    "pieces[].decoration.all_over",
    "pieces[].decoration.locations",
    "pieces[].decoration.locations[].zone",
    "pieces[].decoration.locations[].face",
    "pieces[].decoration.locations[].share",
    "pieces[].decoration.technique",
    "pieces[].decoration.colours",
    "pieces[].decoration.colours[].lab",
    "pieces[].decoration.colours[].rgb",
    "pieces[].decoration.colours[].share",
    "pieces[].decoration.colours[].name",
    "pieces[].decoration.border",
    "pieces[].decoration.motif",
    "pieces[].decoration.motif.label",
    "pieces[].decoration.motif.distance",
    "pieces[].decoration.motif.certainty",
    "pieces[].matches[].ground",
    "pieces[].matches[].ground.delta_e00",
    "pieces[].matches[].ground.doubt",
    "pieces[].matches[].ground.told_apart",
    "pieces[].advice",
    "pieces[].cautions",
    "pieces[].box_px[]",
];

/// Photos of the demo set: they go through the networks.
const DEMO: &str = "index/demo/reference";

#[test]
fn a_photo_through_the_networks_has_exactly_the_fields_of_the_schema() {
    let place = Place::empty();
    let set = Path::new(env!("CARGO_MANIFEST_DIR")).join(DEMO);
    for n in [1, 2] {
        let name = format!("001-brannet-teacup-{n}.jpg");
        fs::copy(set.join(&name), place.at(&format!("{n}.jpg"))).unwrap();
    }
    fs::write(
        place.at("labels.csv"),
        "photo,form,shape,pattern,glaze\n1.jpg,teacup,Brannet,Merrin Spray,Clear White\n",
    )
    .unwrap();
    place.run(["add", "--labels", "labels.csv"]).exits(0);
    // A photo cut off by the frame, so that there is a warning.
    let photo = image::open(place.at("2.jpg")).unwrap();
    let (width, height) = (photo.width(), photo.height());
    photo
        .crop_imm(0, 0, width / 2, height)
        .save(place.at("cut.png"))
        .unwrap();
    fs::write(place.at("text.jpg"), "not a photo\n").unwrap();
    let ran = place
        .run([
            "identify", "--format", "jsonl", "2.jpg", "cut.png", "text.jpg",
        ])
        .exits(3);
    assert_eq!(ran.err, "", "notes on stderr without need");
    let readings = ran.lines();
    assert_eq!(readings.len(), 3);
    let mut found: BTreeSet<String> = readings.iter().flat_map(fields).collect();
    // A border that surely repeats is on neither photo; tests/report has one.
    found.retain(|field| !field.starts_with("pieces[].joined."));
    let expected: BTreeSet<String> = READING.map(str::to_owned).into();
    assert_eq!(found, expected);

    let [whole, cut, text] = readings.as_slice() else {
        unreachable!()
    };
    assert_eq!(whole["schema"], "footring.reading/1");
    assert_eq!(
        (&whole["status"], &whole["error"]),
        (&"ok".into(), &Value::Null)
    );
    let piece = &whole["pieces"][0];
    let channels: BTreeSet<&str> = keys(&piece["matches"][0]["channels"]);
    // The others only help: the contour the outline, the ground the glaze.
    let ranked = REGISTRY.iter().filter(|c| c.ranked).map(|c| c.name);
    assert_eq!(channels, ranked.collect());
    for level in ["form", "shape", "pattern", "glaze"] {
        assert!(
            ["firm", "likely", "several", "unknown"]
                .map(Value::from)
                .contains(&piece["certainty"][level]),
            "{piece}"
        );
        // One label only: nothing is better than likely (README).
        assert_ne!(piece["certainty"][level], "firm");
        assert_eq!(piece["levels"][level][0]["matches"], serde_json::json!([1]));
    }
    assert_eq!(piece["cautions"].as_array().map(Vec::len), Some(4));
    assert!(codes(cut).contains("touches_frame"), "{}", cut["warnings"]);
    assert_eq!(text["status"], "failed");
    assert_eq!(text["pieces"], serde_json::json!([]));
    assert!(
        text["error"]["message"]
            .as_str()
            .unwrap()
            .contains("text.jpg")
    );
}

#[test]
fn every_format_is_the_same_answer_and_all_there_is_on_stdout() {
    let place = Place::furnished();
    let ran = |form| {
        place
            .run(["identify", "found.png", "--format", form])
            .exits(0)
    };
    let line = ran("jsonl").lines().remove(0);
    let piece = &line["pieces"][0];
    assert_eq!(piece["matches"][0]["piece"], "the jug");
    assert_eq!(piece["levels"]["shape"][0]["label"], "Tussock");
    // A silhouette has no surface: those channels are absent, not different.
    assert_eq!(keys(&piece["matches"][0]["channels"]), ["outline"].into());

    let json: Value = serde_json::from_str(&ran("json").out).unwrap();
    assert_eq!(json, Value::Array(vec![line]));

    let csv = ran("csv");
    let mut rows = csv::Reader::from_reader(csv.out.as_bytes());
    let columns = rows.headers().unwrap().len();
    let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
    assert_eq!((rows.len(), rows[0].len()), (1, columns));

    let table = ran("table");
    for word in ["found.png", "jug", "Tussock", "firm", "no food-safety test"] {
        assert!(table.out.contains(word), "{word}: {}", table.out);
    }
    assert!(
        !table.out.contains('\x1b'),
        "colour in a pipe: {}",
        table.out
    );
    assert_eq!(table.err, "");
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let place = Place::furnished();
    let ran = |threads| {
        place
            .run(["identify", "set", "--format", "jsonl", "--threads", threads])
            .exits(0)
    };
    let one = ran("1");
    assert_eq!(one.lines().len(), 3);
    assert_eq!(one.out, ran("4").out);
}

#[test]
fn a_folder_with_a_good_and_a_bad_photo_is_done_in_part() {
    let place = Place::furnished();
    fs::create_dir(place.at("mixed")).unwrap();
    fs::copy(place.at("found.png"), place.at("mixed/b.png")).unwrap();
    fs::write(place.at("mixed/a.jpg"), "a text, whatever its name says\n").unwrap();
    let rows = place
        .run(["identify", "mixed", "--format", "jsonl"])
        .exits(3)
        .lines();
    let status: Vec<&Value> = rows.iter().map(|row| &row["status"]).collect();
    assert_eq!(status, ["failed", "ok"]);
    assert_eq!(rows[0]["error"]["kind"], "damaged");

    let rows = place
        .run(["add", "mixed", "--format", "jsonl"])
        .exits(3)
        .says("1 added, 0 there already, 1 failed")
        .lines();
    let expected: BTreeSet<&str> =
        ["schema", "photo", "status", "piece", "error", "warnings"].into();
    for row in &rows {
        assert_eq!(keys(row), expected);
        assert_eq!(row["schema"], "footring.added/1");
    }
    assert_eq!(
        (&rows[0]["status"], &rows[1]["status"]),
        (&"failed".into(), &"added".into())
    );
}

#[test]
fn nothing_but_bad_photos_is_a_failure() {
    let place = Place::furnished();
    fs::write(place.at("text.jpg"), "a text\n").unwrap();
    let rows = place
        .run(["identify", "--format", "jsonl", "missing.jpg", "text.jpg"])
        .exits(1)
        .lines();
    assert_eq!(rows[0]["error"]["kind"], "missing");
    let message = rows[0]["error"]["message"].as_str().unwrap();
    assert!(
        message.starts_with("missing.jpg: ") && message.contains("; "),
        "{message}"
    );
    assert_eq!(rows[1]["error"]["kind"], "damaged");
    place
        .run(["add", "missing.jpg", "--cabinet", "other"])
        .exits(1);
}

#[test]
fn what_is_asked_wrongly_is_said_and_is_exit_2() {
    let place = Place::furnished();
    let asked = |args: &[&str]| place.run(args).exits(2).without_result();
    asked(&[]);
    asked(&["idntify", "found.png"]);
    asked(&["identify"]);
    asked(&["identify", "found.png", "--format", "xml"]);
    asked(&["cabinet", "relabel", "the jug", "shine=much"]).says("shine");
    asked(&["add", "set", "--labels-from", "path:shape/shine"]).says("shine");
    let by = asked(&["identify", "found.png", "--by", "outline,shine"]).says("`shine`");
    for channel in REGISTRY {
        assert!(by.err.contains(channel.name), "{}", by.err);
    }
    fs::create_dir(place.at("nothing")).unwrap();
    asked(&["identify", "nothing"]).says("nothing");

    for args in [["--help"], ["--version"]] {
        let told = place.run(args).exits(0);
        assert!(
            told.out.contains("footring") && told.err.is_empty(),
            "{told:?}"
        );
    }
}

#[test]
fn a_wrong_setting_is_named() {
    let place = Place::furnished();
    fs::write(place.at("typo.toml"), "[cutout]\nworking_pixels = 900\n").unwrap();
    place
        .run(["identify", "found.png", "--config", "typo.toml"])
        .exits(2)
        .without_result()
        .says("typo.toml")
        .says("working_pixels");
    // A right one is obeyed.
    fs::write(place.at("small.toml"), "[photo]\nmax_side_px = 100\n").unwrap();
    let rows = place
        .run([
            "identify",
            "found.png",
            "--config",
            "small.toml",
            "--format",
            "jsonl",
        ])
        .exits(1)
        .lines();
    assert_eq!(rows[0]["error"]["kind"], "too_large");
}

#[test]
fn a_cabinet_that_is_not_there_is_named() {
    let place = Place::furnished();
    place
        .run(["identify", "found.png", "--cabinet", "nowhere"])
        .exits(1)
        .without_result()
        .says("nowhere");
    assert!(!place.at("nowhere").exists(), "reading made a cabinet");
    // The environment names it too.
    let named = |dir| {
        place
            .command()
            .args(["cabinet", "verify"])
            .env("FOOTRING_CABINET", dir)
            .output()
            .unwrap()
            .status
            .code()
    };
    assert_eq!((named("nowhere"), named("cabinet")), (Some(1), Some(0)));
    // A folder of other things is no place for a cabinet.
    place
        .run(["add", "set", "--cabinet", "set"])
        .exits(1)
        .says("set");
}

#[test]
fn without_the_runtime_library_it_ends_at_once_and_says_how_to_get_it() {
    let place = Place::furnished();
    let since = Instant::now();
    let with = |library: &str, args: &[&str]| -> place::Ran {
        place
            .command()
            .args(args)
            .env("ORT_DYLIB_PATH", library)
            .output()
            .unwrap()
            .into()
    };
    let add = ["add", "set", "--cabinet", "fresh"];
    with("nowhere.so", &add)
        .exits(1)
        .without_result()
        .says("nowhere.so")
        .says("make runtime");
    assert!(!place.at("fresh").exists(), "a cabinet was made first");
    fs::write(place.at("text.so"), "no library\n").unwrap();
    with("text.so", &["identify", "found.png"])
        .exits(1)
        .without_result()
        .says("text.so")
        .says("make runtime");
    assert!(since.elapsed().as_secs() < 30, "{:?}", since.elapsed());
    // What needs no network goes on.
    with("nowhere.so", &["cabinet", "verify"]).exits(0);
    let doctor = with("nowhere.so", &["doctor"]).exits(1);
    assert!(
        doctor.out.contains("wrong runtime library"),
        "{}",
        doctor.out
    );
}

#[test]
fn an_altered_model_is_refused() {
    let place = Place::furnished();
    fs::create_dir(place.at("models")).unwrap();
    let model = |name: &str| fs::read(models().join(name)).unwrap();
    let put = |name: &str, bytes: &[u8]| fs::write(place.at("models").join(name), bytes).unwrap();
    let library = footring::onnx::library_path()
        .unwrap()
        .canonicalize()
        .unwrap();
    let refused = |file: &str| {
        let ran: place::Ran = place
            .command()
            .args(["identify", "found.png"])
            .env("FOOTRING_MODELS", place.at("models"))
            .env("ORT_DYLIB_PATH", &library)
            .output()
            .unwrap()
            .into();
        ran.exits(1).without_result().says(file)
    };
    refused("manifest.toml");
    put("manifest.toml", &model("manifest.toml"));
    refused("mask.onnx");
    let mask = model("mask.onnx");
    put("mask.onnx", &mask[..mask.len() / 2]);
    refused("mask.onnx").says("SHA-256");
    put("mask.onnx", &mask);
    let mut embedder = model("embedder.onnx");
    let middle = embedder.len() / 2;
    embedder[middle] ^= 1;
    put("embedder.onnx", &embedder);
    refused("embedder.onnx").says("SHA-256");
}

#[test]
fn several_views_of_one_piece_are_one_answer() {
    let place = Place::furnished();
    let views = ["set/jug-1.png", "found.png", "--one-piece"];
    let rows = place.identify(&views);
    assert_eq!(rows.len(), 1);
    assert_eq!(rows[0]["photo"], "set/jug-1.png, found.png");
    assert_eq!(rows[0]["pieces"].as_array().map(Vec::len), Some(1));
    // A view that cannot be read is a row beside the answer.
    let rows = place
        .run([
            "identify",
            "--one-piece",
            "--format",
            "jsonl",
            "missing.png",
            "found.png",
        ])
        .exits(3)
        .lines();
    assert_eq!(
        (&rows[0]["status"], &rows[1]["status"]),
        (&"ok".into(), &"failed".into())
    );
}

#[test]
fn the_photo_itself_can_be_left_out() {
    let place = Place::furnished();
    let first = |args: &[&str]| place.identify(args)[0]["pieces"][0]["matches"][0].clone();
    let same = first(&["set/plate.png"]);
    assert_eq!(
        (&same["piece"], &same["distance"]),
        (&"the plate".into(), &0.0.into())
    );
    // Content counts, not the name.
    fs::copy(place.at("set/plate.png"), place.at("copy.png")).unwrap();
    let other = first(&["copy.png", "--skip-same-photo"]);
    assert_eq!(other["piece"], "the jug");
    let view = first(&["set/jug-1.png", "--skip-same-photo"]);
    assert_eq!(
        (&view["piece"], &view["photo"]),
        (&"the jug".into(), &"set/jug-2.png".into())
    );
}

#[test]
fn the_neighbourhood_graph_is_asked_for_and_marks_what_it_orders() {
    let place = Place::furnished();
    let plain = &place.identify(&["found.png"])[0]["pieces"][0];
    assert_eq!(plain["reordered_by_graph"], false);
    assert_eq!(plain["matches"][0].get("outline_by_graph"), None);

    let marked = &place.identify(&["found.png", "--graph"])[0]["pieces"][0];
    assert_eq!(marked["reordered_by_graph"], true);
    let pairs = |piece: &Value| -> Vec<(String, f64)> {
        let matches = piece["matches"].as_array().unwrap();
        let told = |m: &Value| (m["piece"].to_string(), m["channels"]["outline"].as_f64());
        let told = matches.iter().map(told);
        told.map(|(piece, d)| (piece, d.unwrap())).collect()
    };
    // What was measured stays; what it was ranked by stands beside it.
    let (mut before, mut after) = (pairs(plain), pairs(marked));
    before.sort_by(|a, b| a.0.cmp(&b.0));
    after.sort_by(|a, b| a.0.cmp(&b.0));
    assert_eq!(before, after);
    for m in marked["matches"].as_array().unwrap() {
        assert!(m["outline_by_graph"].is_number(), "{m}");
    }
    assert_eq!(marked["matches"][0]["piece"], "the jug");

    let table = place.run(["identify", "found.png", "--graph", "--page", "p.html"]);
    assert!(table.exits(0).out.contains("neighbourhood graph"));
    let page = fs::read_to_string(place.at("p.html")).unwrap();
    assert!(page.contains("neighbourhood graph") && page.contains("outline, by the graph"));
    fs::write(place.at("s.toml"), "[identify]\nalign = false\n").unwrap();
    place
        .run(["identify", "found.png", "--graph", "--config", "s.toml"])
        .exits(2)
        .without_result()
        .says("--graph");
}

#[test]
fn masks_and_page_are_whole_files_of_their_own() {
    let place = Place::furnished();
    fs::create_dir(place.at("elsewhere")).unwrap();
    // More than the longest side that is worked on, and not square.
    let wide = draw(1300, 700, |x, y| {
        (x - 600.0).hypot((y - 350.0) * 1.6) < 400.0
    });
    let wide = Drawing {
        width: 1300,
        height: 700,
        mask: wide,
    };
    save(&wide, &place.at("elsewhere/found.png"));
    let ran = place
        .run(
            ["identify", "found.png", "elsewhere/found.png"]
                .into_iter()
                .chain([
                    "--mask-dir",
                    "masks",
                    "--page",
                    "out.html",
                    "--format",
                    "jsonl",
                ]),
        )
        .exits(0)
        .says("out.html");
    assert_eq!(ran.lines().len(), 2);
    assert_eq!(place.names("masks"), ["found-2.png", "found.png"]);
    let size = |name| image::image_dimensions(place.at(name)).unwrap();
    assert_eq!(size("masks/found.png"), (200, 200));
    assert_eq!(size("masks/found-2.png"), (1300, 700));
    let mask = image::open(place.at("masks/found-2.png"))
        .unwrap()
        .into_luma8();
    assert_eq!(
        (mask.get_pixel(600, 350).0, mask.get_pixel(5, 5).0),
        ([255], [0])
    );
    let covered = mask.iter().map(|v| f64::from(*v) / 255.0).sum::<f64>();
    let expected = std::f64::consts::PI * 400.0 * 400.0 / 1.6;
    assert!(
        (covered / expected - 1.0).abs() < 0.002,
        "{covered} {expected}"
    );

    assert_eq!(
        place.names("."),
        [
            "cabinet",
            "elsewhere",
            "found.png",
            "masks",
            "out.html",
            "set"
        ]
    );
    let page = fs::read_to_string(place.at("out.html")).unwrap();
    assert_eq!(outside_loads(&page), Vec::<&str>::new());
    assert!(
        page.contains("the jug") && page.contains("data:image/"),
        "{page}"
    );
    // Where nothing can be written, that is said.
    place
        .run(["identify", "found.png", "--page", "nowhere/out.html"])
        .exits(1)
        .says("nowhere/out.html");
}

#[test]
fn the_finder_of_loads_finds_them() {
    for text in [
        "<img src=\"https://example.org/a.png\">",
        "<a href='//example.org'>",
        "<style>p { background: url( http://example.org/a.png ) }</style>",
        "<script src=a.js></script>",
        "<link rel=stylesheet href=a.css>",
        "@import \"a.css\";",
    ] {
        assert!(!outside_loads(text).is_empty(), "{text}");
    }
    let own = "<svg xmlns=\"http://www.w3.org/2000/svg\"><use href=\"#a\"/><img src=\"data:image/png;base64,AA//AA\">";
    assert!(outside_loads(own).is_empty());
}

#[test]
fn a_reader_who_has_seen_enough_is_no_error() {
    let place = Place::furnished();
    let mut child = place
        .command()
        .args(["cabinet", "list"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let ran: place::Ran = child.wait_with_output().unwrap().into();
    assert_eq!(ran.exits(0).err, "");
}

/// Source of `NO_COLOR`: no-color.org; set to anything but nothing it counts.
#[test]
fn colour_is_for_terminals_whose_owner_wants_it() {
    if Command::new("script").arg("--version").output().is_err() {
        eprintln!("skipped: there is no `script` to make a terminal with");
        return;
    }
    let place = Place::furnished();
    let on_terminal = |no_color: Option<&str>| {
        let program = place.command();
        let mut command = Command::new("script");
        command.current_dir(place.at("."));
        for (name, value) in program.get_envs() {
            match value {
                Some(value) => command.env(name, value),
                None => command.env_remove(name),
            };
        }
        if let Some(value) = no_color {
            command.env("NO_COLOR", value);
        }
        let line = format!(
            "'{}' identify found.png --quiet",
            env!("CARGO_BIN_EXE_footring")
        );
        let ran = command
            .args(["-qec", &line, "/dev/null"])
            .env("TERM", "xterm-256color")
            .stdin(Stdio::null())
            .output()
            .unwrap();
        let ran = place::Ran::from(ran).exits(0);
        assert!(ran.out.contains("Tussock"), "{ran:?}");
        ran.out
    };
    assert!(on_terminal(None).contains("\x1b["));
    assert!(on_terminal(Some("")).contains("\x1b["));
    assert!(!on_terminal(Some("1")).contains('\x1b'));
}

#[test]
fn quiet_leaves_results_and_errors() {
    let place = Place::empty();
    save(
        &Jug::default().draw(160, [0.0; 2], 0.0, false),
        &place.at("jug.png"),
    );
    fs::write(place.at("labels.csv"), "photo,shelf\njug.png,3\n").unwrap();
    let ran = place
        .run(["add", "--labels", "labels.csv", "--quiet"])
        .exits(0);
    assert_eq!(ran.err, "");
    assert!(ran.out.contains("jug.png"), "{}", ran.out);
    place
        .run(["cabinet", "remove", "no such", "--quiet"])
        .exits(2)
        .says("no such");
}

/// What a page would load from elsewhere.
fn outside_loads(page: &str) -> Vec<&str> {
    let lower = page.to_ascii_lowercase();
    let mut found: Vec<&str> = ["<script src", "<link", "@import", "<iframe", "<object"]
        .into_iter()
        .filter(|mark| lower.contains(mark))
        .collect();
    for mark in ["src=", "href=", "url(", "srcset=", "poster=", "action="] {
        for (at, _) in lower.match_indices(mark) {
            let target = page[at + mark.len()..].trim_start_matches(['"', '\'', ' ']);
            if !target.starts_with('#') && !target.starts_with("data:") {
                found.push(&page[at..page.len().min(at + 20)]);
            }
        }
    }
    found
}

/// The fields of a JSON value as paths.
fn fields(value: &Value) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    walk(value, "", &mut found);
    found
}

fn walk(value: &Value, at: &str, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            let open = at.ends_with(".channels") || at.ends_with(".labels");
            for (key, value) in map {
                let key = if open { "*" } else { key };
                let path = if at.is_empty() {
                    key.to_owned()
                } else {
                    format!("{at}.{key}")
                };
                found.insert(path.clone());
                walk(value, &path, found);
            }
        }
        Value::Array(items) => {
            for item in items {
                walk(item, &format!("{at}[]"), found);
            }
        }
        _ if at.ends_with("box_px[]") => drop(found.insert(at.to_owned())),
        _ => {}
    }
}

fn keys(value: &Value) -> BTreeSet<&str> {
    value
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect()
}

fn codes(reading: &Value) -> BTreeSet<&str> {
    let warnings = reading["warnings"].as_array().unwrap();
    warnings.iter().filter_map(|w| w["code"].as_str()).collect()
}
