//! How fast photos are added, beside a plain Python program on the same models,
//! and how much memory that and a question to a large cabinet take.

use std::{
    fs,
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

use serde::Deserialize;

use crate::{
    Result,
    bench::{Bench, remove},
    line::Line,
    metric::quantile,
    picture,
};

const HELPERS: &str = "benches/measure/python";
const PEER: &str = "benches/peer/ingest.py";
/// References in the large cabinet.
const MANY: usize = 10_000;
const GB: f64 = 1e9;

/// What a command took.
#[derive(Debug, Deserialize)]
pub(super) struct Took {
    exit: i32,
    pub(super) seconds: f64,
    pub(super) cpu_seconds: f64,
    peak_kib: f64,
}

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    if !bench.settings.python.is_file() {
        let why = format!("no {}", bench.settings.python.display());
        bench.put(Line::skipped("ingest", why));
        return Ok(());
    }
    const SPEED: [&str; 6] = [
        "ingest.photos_per_s",
        "ingest.ratio",
        "ingest.ratio_cpu",
        "ingest.ratio_other_mask",
        "ingest.ratio_cpu_other_mask",
        "ingest.peak_add_gb",
    ];
    if SPEED.iter().any(|name| bench.wants(name)) {
        speed(bench)?;
    }
    if bench.wants("ingest.peak_identify_gb") || bench.wants("ingest.identify_seconds") {
        large(bench)?;
    }
    Ok(())
}

/// A mixed list: so many of each set, evenly spread.
fn photos(bench: &Bench) -> Result<Vec<PathBuf>> {
    let mut all = Vec::new();
    for (set, ending, n) in [
        ("cups", "png", 40),
        ("ukbench", "jpg", 40),
        ("porcelain", "jpg", 60),
        ("saliency", "jpg", 40),
    ] {
        let files = picture::list(&bench.data(set)?, ending)?;
        let n = files.len().min(n);
        all.extend((0..n).map(|i| files[i * files.len() / n].clone()));
    }
    Ok(all)
}

fn speed(bench: &mut Bench) -> Result<()> {
    let photos = photos(bench)?;
    let models = bench.program.models()?;
    let mut masks: Vec<(&str, Option<PathBuf>)> = vec![("", None)];
    if let Some(mask) = bench.settings.peer_mask.clone() {
        masks.push(("_other_mask", Some(mask)));
    }
    let mut ours: Vec<Took> = Vec::new();
    let mut peers: Vec<Vec<Took>> = masks.iter().map(|_| Vec::new()).collect();
    // In turns, so that whatever else the machine does falls on both.
    for round in 1..=bench.settings.rounds {
        let turns = bench.settings.rounds;
        bench.say(&format!("ingest: turn {round} of {turns}: footring"));
        ours.push(add(bench, &photos)?);
        for ((_, mask), took) in masks.iter().zip(&mut peers) {
            bench.say(&format!("ingest: turn {round} of {turns}: the peer"));
            let out = bench.fresh("peer")?;
            let mut args: Vec<PathBuf> = vec![
                bench.settings.python.clone(),
                PEER.into(),
                "--models".into(),
                models.clone(),
                "--out".into(),
                out,
            ];
            if let Some(mask) = mask {
                args.extend(["--mask".into(), mask.clone()]);
            }
            args.extend(photos.iter().cloned());
            took.push(run(bench, &args)?);
        }
    }
    let n = photos.len();
    let rate = |took: &[Took]| {
        let rates: Vec<f64> = took.iter().map(|t| n as f64 / t.seconds).collect();
        quantile(&rates, 0.5)
    };
    let most = |took: &[Took]| took.iter().map(|t| t.peak_kib).fold(0.0, f64::max);
    bench.put(
        Line::new("ingest.photos_per_s", rate(&ours), n)
            .baseline(rate(&peers[0]))
            .note("photos added a second on 2 threads, start and end included, median; baseline: the Python program"),
    );
    for ((name, _), peer) in masks.iter().zip(&peers) {
        let ratios: Vec<f64> = ours
            .iter()
            .zip(peer)
            .map(|(ours, peer)| peer.seconds / ours.seconds)
            .collect();
        let cpu: Vec<f64> = ours
            .iter()
            .zip(peer)
            .map(|(ours, peer)| peer.cpu_seconds / ours.cpu_seconds)
            .collect();
        let which = if name.is_empty() {
            "the same mask network"
        } else {
            "the other mask network"
        };
        bench.put(
            Line::new(format!("ingest.ratio{name}"), quantile(&ratios, 0.5), n)
                .at_least(1.5)
                .note(format!(
                    "times as fast as the Python program with {which}, median of turns"
                )),
        );
        bench.put(
            Line::new(format!("ingest.ratio_cpu{name}"), quantile(&cpu, 0.5), n)
                .note("the same in processor time"),
        );
    }
    if bench.settings.peer_mask.is_none() {
        bench.put(Line::skipped("ingest.ratio_other_mask", "no PEER_MASK"));
    }
    bench.put(
        Line::new("ingest.peak_add_gb", most(&ours) * 1024.0 / GB, n)
            .at_most(1.5)
            .baseline(most(&peers[0]) * 1024.0 / GB)
            .note("greatest memory of that, GB; baseline: the Python program"),
    );
    Ok(())
}

fn add(bench: &Bench, photos: &[PathBuf]) -> Result<Took> {
    let cabinet = bench.fresh("ingest")?;
    let mut args: Vec<PathBuf> = vec![
        bench.program.path.clone(),
        "--cabinet".into(),
        cabinet,
        "--quiet".into(),
        "--threads".into(),
        "2".into(),
        "add".into(),
    ];
    args.extend(photos.iter().cloned());
    run(bench, &args)
}

/// Runs a command under the helper that takes its time and memory.
pub(super) fn run(bench: &Bench, args: &[PathBuf]) -> Result<Took> {
    let done = Command::new(&bench.settings.python)
        .arg(Path::new(HELPERS).join("peak.py"))
        .args(args)
        .stderr(Stdio::piped())
        .output()?;
    let told = String::from_utf8_lossy(&done.stderr);
    let took: Took = serde_json::from_slice(&done.stdout)
        .map_err(|e| format!("peak.py: {e}: {}", told.trim()))?;
    if took.exit != 0 {
        return Err(format!("{}: exit {}: {}", args[0].display(), took.exit, told.trim()).into());
    }
    Ok(took)
}

/// A question to a cabinet of many references, made of the demo set.
fn large(bench: &mut Bench) -> Result<()> {
    let references = picture::list(Path::new("index/demo/reference"), "jpg")?;
    let small = bench.cabinet("demo-reference", &references, &[])?;
    let cabinet = bench.fresh("large")?;
    remove(&cabinet)?;
    fs::create_dir_all(&cabinet)?;
    for name in ["catalogue.sqlite", "catalogue.sqlite-wal"] {
        if small.join(name).is_file() {
            fs::copy(small.join(name), cabinet.join(name))?;
        }
    }
    bench.say(&format!("ingest: making {MANY} references"));
    let made = Command::new(&bench.settings.python)
        .arg(Path::new(HELPERS).join("multiply.py"))
        .arg(&cabinet)
        .arg(MANY.to_string())
        .output()?;
    if !made.status.success() {
        let told = String::from_utf8_lossy(&made.stderr);
        return Err(format!("multiply.py: {}", told.trim()).into());
    }
    let sound = bench
        .program
        .command(&cabinet)
        .args(["cabinet", "verify"])
        .output()?;
    if !sound.status.success() {
        let told = String::from_utf8_lossy(&sound.stdout);
        return Err(format!("the large cabinet is not sound: {}", told.trim()).into());
    }
    let question: Vec<PathBuf> = [
        bench.program.path.clone(),
        "--cabinet".into(),
        cabinet,
        "--quiet".into(),
        "identify".into(),
        "index/demo/queries/q01.jpg".into(),
    ]
    .into();
    // The first question also makes the files that the later ones start from.
    let first = run(bench, &question)?;
    let second = run(bench, &question)?;
    let peak = first.peak_kib.max(second.peak_kib) * 1024.0 / GB;
    bench.put(
        Line::new("ingest.peak_identify_gb", peak, MANY)
            .at_most(1.5)
            .note("greatest memory of a question to 10,000 references, GB"),
    );
    bench.put(
        Line::new("ingest.identify_seconds", second.seconds, MANY)
            .note("one question to them, start of the program included"),
    );
    Ok(())
}
