//! The studio: how fast it renders, and how footring does in a small world of
//! its own in which every photo's truth is known.

use std::{
    collections::BTreeMap,
    path::{Path, PathBuf},
    process::Command,
};

use crate::{
    Result,
    answer::{self, Answer},
    bench::{Bench, remove},
    line::Line,
    metric::{iou, mean},
    picture,
    program::Question,
    rng::fingerprint,
};

use super::ingest;

/// One piece type, so that a shape is to be told from others of its kind.
const WORLD: [&str; 13] = [
    "world",
    "--seed",
    "77001",
    "--shapes",
    "20",
    "--decorations",
    "20",
    "--shapes-per-decoration",
    "3",
    "--views",
    "2",
    "--forms",
    "teacup",
];

/// Shape and decoration of a photo.
pub(super) type Truth = BTreeMap<String, [String; 2]>;

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let Some(studio) = program(bench, "studio") else {
        return Ok(());
    };
    if bench.wants("studio.photos_per_s") || bench.wants("studio.photos_per_s_cpu") {
        speed(bench, &studio)?;
    }
    world(bench)
}

/// The built studio; where there is none, `set` is put down as skipped.
fn program(bench: &mut Bench, set: &str) -> Option<PathBuf> {
    let studio = bench.settings.studio.clone().unwrap_or_else(|| {
        let beside = bench.program.path.parent().unwrap_or(Path::new("."));
        beside.join("studio")
    });
    if studio.is_file() {
        return Some(studio);
    }
    let why = format!("no {} (build footring-studio)", studio.display());
    bench.put(Line::skipped(set, why));
    None
}

/// The folder that the studio fills when asked with `args`, rendered once for
/// each build of it; `None` where there is no studio.
pub(super) fn rendered(bench: &mut Bench, set: &str, args: &[&str]) -> Result<Option<PathBuf>> {
    let Some(studio) = program(bench, set) else {
        return Ok(None);
    };
    let bytes = std::fs::read(&studio)?;
    let key = fingerprint(&[&bytes, args.join(" ").as_bytes()]);
    let dir = bench.settings.cache.join(format!("{set}-{key}"));
    if !dir.is_dir() {
        bench.say(&format!("{set}: the studio renders"));
        let making = dir.with_extension("part");
        remove(&making)?;
        let done = Command::new(studio)
            .args(args)
            .arg("--out")
            .arg(&making)
            .output()?;
        if !done.status.success() {
            let told = String::from_utf8_lossy(&done.stderr);
            return Err(format!("studio {}: {}", args.join(" "), told.trim()).into());
        }
        std::fs::rename(&making, &dir)?;
    }
    Ok(Some(dir))
}

/// Lines of JSON.
pub(super) fn lines<T: serde::de::DeserializeOwned>(file: &Path) -> Result<Vec<T>> {
    let text = std::fs::read_to_string(file).map_err(|e| format!("{}: {e}", file.display()))?;
    text.lines()
        .map(|line| {
            serde_json::from_str(line).map_err(|e| format!("{}: {e}", file.display()).into())
        })
        .collect()
}

fn speed(bench: &mut Bench, studio: &Path) -> Result<()> {
    if !bench.settings.python.is_file() {
        let why = format!("no {}", bench.settings.python.display());
        bench.put(Line::skipped("studio.photos_per_s", why));
        return Ok(());
    }
    bench.say("studio: its speed");
    let args = [
        studio,
        Path::new("bench"),
        "--photos".as_ref(),
        "48".as_ref(),
    ];
    let took = ingest::run(bench, &args.map(Path::to_path_buf))?;
    bench.put(
        Line::new("studio.photos_per_s", 48.0 / took.seconds, 48)
            .at_least(8.0)
            .note("photos of 512 pixels rendered a second"),
    );
    bench.put(
        Line::new(
            "studio.photos_per_s_cpu",
            CORES * 48.0 / took.cpu_seconds,
            48,
        )
        .note("the same by processor time: what two cores that do nothing else would render"),
    );
    Ok(())
}

/// Cores that speeds are promised for.
const CORES: f64 = 2.0;

fn world(bench: &mut Bench) -> Result<()> {
    let Some(dir) = rendered(bench, "world", &WORLD)? else {
        return Ok(());
    };
    let truth = truth(&dir.join("labels.csv"))?;
    let photos = picture::list(&dir.join("photos"), "jpg")?;
    let cabinet = bench.cabinet("world", &photos, &[])?;
    let top = photos.len().to_string();
    for (name, by, level, other) in [
        ("studio.shape_r1", "outline,form", 0, 1),
        ("studio.decoration_r1", "decoration,colour", 1, 0),
    ] {
        let found = bench.ask(
            "world",
            &Question {
                cabinet: &cabinet,
                photos: &photos,
                args: &["--by", by, "--skip-same-photo", "--top", &top],
                masks: level == 0,
            },
        )?;
        let (hits, n) = score(&found.answers, &truth, level, other);
        bench.put(Line::share(name, hits, n).note(if level == 0 {
            "the nearest cup of another decoration has the same shape"
        } else {
            "the nearest cup of another shape has the same decoration"
        }));
        if level == 0 {
            masks(bench, &photos, &found.masks, &dir)?;
        }
    }
    Ok(())
}

fn masks(bench: &mut Bench, photos: &[PathBuf], found: &Path, world: &Path) -> Result<()> {
    let pairs: Vec<_> = photos
        .iter()
        .map(|photo| {
            let file = format!("{}.png", picture::stem(photo));
            (found.join(&file), world.join("masks").join(file))
        })
        .filter(|(mask, _)| mask.is_file())
        .collect();
    let mut ious = picture::compare(&pairs, iou)?;
    ious.resize(photos.len(), 0.0);
    bench.put(
        Line::new("studio.mask_iou", mean(&ious), ious.len())
            .note("mean overlap of the mask with the true one"),
    );
    Ok(())
}

/// Shape and pattern of each photo of a labels file.
pub(super) fn truth(file: &Path) -> Result<Truth> {
    let mut reader = csv::Reader::from_path(file)?;
    let headers = reader.headers()?.clone();
    reader
        .records()
        .map(|record| {
            let record = record?;
            let field = |name: &str| {
                let at = headers.iter().position(|h| h == name);
                at.map_or(String::new(), |i| record[i].to_owned())
            };
            let photo = answer::stem(&field("photo")).to_owned();
            Ok((photo, ["shape", "pattern"].map(field)))
        })
        .collect()
}

/// Questions whose nearest photo that differs in `other` agrees in `level`, and
/// questions for which there is one that does.
fn score(answers: &[Answer], truth: &Truth, level: usize, other: usize) -> (usize, usize) {
    let (mut hits, mut n) = (0, 0);
    for answer in answers {
        let Some(own) = truth.get(answer::stem(&answer.photo)) else {
            continue;
        };
        let is_sought = |t: &[String; 2]| t[other] != own[other] && t[level] == own[level];
        if !truth.values().any(is_sought) {
            continue;
        }
        n += 1;
        let nearest = answer
            .ranking()
            .into_iter()
            .filter_map(|m| truth.get(m))
            .find(|t| t[other] != own[other]);
        hits += usize::from(nearest.is_some_and(|t| t[level] == own[level]));
    }
    (hits, n)
}
