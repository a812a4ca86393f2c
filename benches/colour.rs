//! What colour and surface of a photo cost on one core, beside finding the mask
//! and asking the networks, in one run on the demo's photos.
//!
//! Prints one JSON line per result, milliseconds a photo, of processor time (Linux:
//! `/proc/thread-self/schedstat`), so that other work on the machine hardly counts.
//! All of it, the networks too, runs on the calling thread. `--photos N` takes the
//! first N photos only.
#![allow(clippy::print_stdout, missing_docs, reason = "a measurement prints")]

use std::{hint::black_box, path::Path, time::Duration};

use footring::{
    channel::{self, Networks},
    colour::{self, Balance, Tones},
    config::Config,
    cutout::{self, Method},
    onnx::{self, Model},
    outline::{self, pose},
    photo, raster, surface,
};

/// Wanted of the whole step, milliseconds a photo.
const WANTED_MS: f64 = 25.0;
/// The whole list is gone through so often.
const ROUNDS: u32 = 3;
/// Parts, in the order of [`one`].
const PARTS: [&str; 9] = [
    "cutout", "networks", "tones", "colours", "surface", "screen", "smooth", "outline", "pose",
];

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let most = words
        .iter()
        .position(|word| word == "--photos")
        .and_then(|at| words.get(at + 1)?.parse().ok())
        .unwrap_or(usize::MAX);
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("index/demo/reference");
    let mut photos: Vec<_> = std::fs::read_dir(folder)
        .expect("the demo's photos are there")
        .map(|entry| entry.expect("the folder can be read").path())
        .filter(|path| path.extension().is_some_and(|e| e == "jpg"))
        .collect();
    photos.sort();
    photos.truncate(most);
    let models = onnx::models_dir().expect("the models are there");
    let load = |name: &str| Model::load(&models, name).expect("the model loads");
    let mask = load("mask");
    let networks = Networks {
        embedder: load("embedder"),
        general: load("general"),
    };
    let mut total = [Duration::ZERO; PARTS.len()];
    for _ in 0..ROUNDS {
        for file in &photos {
            for (total, took) in total.iter_mut().zip(one(file, &mask, &networks)) {
                *total += took;
            }
        }
    }
    let n = photos.len().max(1) as f64;
    let mean = |part: &str| -> f64 {
        let at = PARTS.iter().position(|p| *p == part).expect("a part");
        total[at].as_secs_f64() * 1e3 / (n * f64::from(ROUNDS))
    };
    for part in PARTS {
        println!("{{\"what\":\"{part}\",\"ms\":{:.2}}}", mean(part));
    }
    let step = |parts: &[&str]| parts.iter().map(|part| mean(part)).sum::<f64>();
    let colour = step(&["tones", "colours", "surface"]);
    let print = step(&["tones", "colours", "surface", "screen", "smooth"]);
    for (what, ms) in [("step", colour), ("step_of_a_print", print)] {
        println!(
            "{{\"what\":\"{what}\",\"ms\":{ms:.2},\"wanted_ms\":{WANTED_MS},\"ok\":{},\"photos\":{n}}}",
            ms <= WANTED_MS
        );
    }
}

fn one(file: &Path, mask: &Model, networks: &Networks) -> [Duration; PARTS.len()] {
    let config = Config::default();
    let photo = photo::read(file, &config.photo).expect("the photo can be read");
    let (cut, cutout_t) = timed(|| cutout::cut(&photo, mask, &config, Method::Auto));
    let cut = cut.expect("a mask");
    let (outline, outline_t) =
        timed(|| outline::trace(cut.mask.as_raw(), cut.mask.width() as usize));
    let outline = outline.expect("a piece");
    let (pose, pose_t) = timed(|| pose::read(&outline));
    let crop = channel::crop(&cut, &outline);
    let (embedding, networks_t) = timed(|| channel::embed(&crop, &cut.working, networks));
    embedding.expect("the networks run");
    let (tones, tones_t) = timed(|| colour::tones(&cut.working));
    let has_colour = tones == Tones::Colour;
    let (colours, colours_t) =
        timed(|| colour::read(&cut, has_colour, None, colour::card(&cut).as_ref()));
    let colours = colours.expect("no point was given");
    let balance: &Balance = &colours.balance;
    let (_, surface_t) =
        timed(|| surface::read(&cut, &outline, &pose, balance, colours.ground.is_some()));
    // What a black-and-white print costs beside; a second mask comes on top where it has dots.
    let grey = raster::grey(&cut.working);
    let (_, screen_t) = timed(|| colour::screen_px(&grey));
    let (_, smooth_t) = timed(|| colour::unscreened(&grey, 5.0));
    [
        cutout_t, networks_t, tones_t, colours_t, surface_t, screen_t, smooth_t, outline_t, pose_t,
    ]
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let begun = processor_time();
    let made = black_box(work());
    (made, processor_time().saturating_sub(begun))
}

/// How long this thread has been on a core. The kernel counts in ticks of a few
/// milliseconds, so only means over many photos say something.
fn processor_time() -> Duration {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").expect("Linux tells");
    let ns = told.split_whitespace().next().and_then(|v| v.parse().ok());
    Duration::from_nanos(ns.expect("nanoseconds come first"))
}
