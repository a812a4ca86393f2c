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
    labels::{self, Labels},
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
    let truth = labels::by_photo(&dir.join("labels.csv"), "photo")?;
    let photos = picture::list(&dir.join("photos"), "jpg")?;
    let cabinet = bench.cabinet("world", &photos, &[])?;
    let top = photos.len().to_string();
    for (name, by, sought, apart) in [
        ("studio.shape_r1", "outline,form", "shape", "pattern"),
        (
            "studio.decoration_r1",
            "decoration,colour",
            "pattern",
            "shape",
        ),
    ] {
        let is_shape = sought == "shape";
        let found = bench.ask(
            "world",
            &Question {
                cabinet: &cabinet,
                photos: &photos,
                args: &["--by", by, "--skip-same-photo", "--top", &top],
                masks: is_shape,
            },
        )?;
        let across = Across {
            sought,
            apart,
            alike: &[],
        };
        let (hits, n) = across.score(&found.answers, &truth, Answer::ranking);
        bench.put(Line::share(name, hits, n).note(if is_shape {
            "the nearest cup of another decoration has the same shape"
        } else {
            "the nearest cup of another shape has the same decoration"
        }));
        if is_shape {
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

/// A question across factors: is the nearest photo that is `apart` in one label
/// the same in the other?
pub(super) struct Across<'a> {
    pub(super) sought: &'a str,
    pub(super) apart: &'a str,
    /// Labels in which the photo that could be found must be the same too.
    pub(super) alike: &'a [&'a str],
}

impl Across<'_> {
    /// Questions answered rightly, and questions that can be: those for which there
    /// is a photo to be found.
    pub(super) fn score(
        &self,
        answers: &[Answer],
        truth: &BTreeMap<String, Labels>,
        ranking: impl for<'a> Fn(&'a Answer) -> Vec<&'a str>,
    ) -> (usize, usize) {
        let (mut hits, mut n) = (0, 0);
        for answer in answers {
            let Some(own) = truth.get(answer::stem(&answer.photo)) else {
                continue;
            };
            let is_apart = |other: &&Labels| other[self.apart] != own[self.apart];
            let is_same = |other: &&Labels, label: &str| other[label] == own[label];
            let can_be_found = truth.values().filter(is_apart).any(|other| {
                is_same(&other, self.sought)
                    && self.alike.iter().all(|label| is_same(&other, label))
            });
            if !can_be_found {
                continue;
            }
            n += 1;
            let nearest = ranking(answer)
                .into_iter()
                .filter_map(|photo| truth.get(photo))
                .find(is_apart);
            hits += usize::from(nearest.is_some_and(|other| is_same(&other, self.sought)));
        }
        (hits, n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_counts_that_differs_in_the_other_factor() {
        let text = r#"{"photo":"q.jpg","status":"ok","pieces":[{"levels":{"form":[],"shape":[],
            "pattern":[],"glaze":[]},"certainty":{"form":"unknown","shape":"unknown","pattern":
            "unknown","glaze":"unknown"},"matches":[
            {"photo":"same.jpg","channels":{"decoration":0.1,"form":0.1}},
            {"photo":"shape.jpg","channels":{"decoration":0.2,"form":0.9}},
            {"photo":"decor.jpg","channels":{"decoration":0.3,"form":0.2}},
            {"photo":"none.jpg","channels":{"decoration":0.4,"form":0.8}}]}]}"#;
        let answers: Vec<Answer> = vec![serde_json::from_str(text).unwrap()];
        let truth = |shape_is_on: &str| -> BTreeMap<String, Labels> {
            let photos = [
                ("q", "cup", "A", "1"),
                ("same", "cup", "A", "1"),
                ("shape", shape_is_on, "A", "2"),
                ("decor", "cup", "B", "1"),
                ("none", "cup", "C", "3"),
            ];
            let labels = photos.map(|(photo, form, shape, pattern)| {
                let labels = [("form", form), ("shape", shape), ("pattern", pattern)];
                let owned = labels.map(|(k, v)| (k.to_owned(), v.to_owned()));
                (photo.to_owned(), Labels::from(owned))
            });
            labels.into()
        };
        // Of other shapes `decor` is nearest and has the decoration; of other
        // decorations `none` is nearer by form than `shape`, and has another shape.
        let decoration = Across {
            sought: "pattern",
            apart: "shape",
            alike: &[],
        };
        let shape = Across {
            sought: "shape",
            apart: "pattern",
            alike: &["form"],
        };
        let by = |across: &Across<'_>, channel: &str, on: &str| {
            across.score(&answers, &truth(on), |answer| answer.ranking_by(channel))
        };
        assert_eq!(by(&decoration, "decoration", "cup"), (1, 1));
        assert_eq!(by(&shape, "form", "cup"), (0, 1));
        // The shape under another decoration is a plate's alone: of a cup nobody can
        // tell it.
        assert_eq!(by(&shape, "form", "plate"), (0, 0));
    }
}
