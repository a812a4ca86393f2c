//! The same decoration on another shape, and the same shape under another
//! decoration, in colour and in black and white, in a studio world of its own.

use std::path::{Path, PathBuf};

use super::studio::{self, Truth};
use crate::{
    Result,
    answer::{self, Answer},
    bench::Bench,
    line::Line,
    picture,
    program::Question,
};

/// Not the seeds that the places' weight was chosen on (4004, 606, 5005).
const WORLD: [&str; 11] = [
    "world",
    "--seed",
    "90417",
    "--shapes",
    "40",
    "--decorations",
    "40",
    "--shapes-per-decoration",
    "4",
    "--views",
    "3",
];

/// Settings that leave the second look at decorations out.
const PLAIN: &str = "[identify]\ndetails = false\n";

const SHAPE: usize = 0;
const DECORATION: usize = 1;

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    for (mode, mono, bound) in [("colour", "0", 0.92), ("grey", "1", 0.80)] {
        let set = format!("decorations.{mode}");
        if bench.wants(&set) {
            let args: Vec<&str> = WORLD.iter().copied().chain(["--mono", mono]).collect();
            if let Some(dir) = studio::rendered(bench, &set, &args)? {
                world(bench, &set, &dir, bound)?;
            }
        }
    }
    Ok(())
}

fn world(bench: &mut Bench, set: &str, dir: &Path, bound: f64) -> Result<()> {
    let photos = picture::list(&dir.join("photos"), "jpg")?;
    let truth = studio::truth(&dir.join("labels.csv"))?;
    let cabinet = bench.cabinet(set, &photos, &[])?;
    let plain = bench.own_cache("plain.toml");
    std::fs::write(&plain, PLAIN)?;
    let asked = ask(bench, set, &cabinet, &photos, &[])?;
    let plainly = ask(
        bench,
        set,
        &cabinet,
        &photos,
        &["--config", &plain.display().to_string()],
    )?;
    let by =
        |answers: &[Answer], channel: &str, factor: usize| across(answers, &truth, channel, factor);
    let (n, general) = (photos.len(), "baseline: by `general` alone");
    let share = |hits: usize| hits as f64 / n as f64;
    bench.put(
        Line::share(
            format!("{set}.decoration.r1"),
            by(&asked, "decoration", DECORATION),
            n,
        )
        .at_least(bound)
        .baseline(share(by(&asked, "general", DECORATION)))
        .note(format!(
            "the nearest photo of another shape has the decoration; {general}"
        )),
    );
    bench.put(
        Line::share(
            format!("{set}.decoration.vector.r1"),
            by(&plainly, "decoration", DECORATION),
            n,
        )
        .note("the same by the decoration's vector alone, without a second look"),
    );
    bench.put(
        Line::share(format!("{set}.shape.r1"), by(&asked, "form", SHAPE), n)
            .at_least(0.92)
            .baseline(share(by(&asked, "general", SHAPE)))
            .note(format!(
                "the nearest photo of another decoration has the shape, by `form`; pieces of other types count as shapes too; {general}"
            )),
    );
    Ok(())
}

fn ask(
    bench: &Bench,
    set: &str,
    cabinet: &Path,
    photos: &[PathBuf],
    args: &[&str],
) -> Result<Vec<Answer>> {
    let top = photos.len().to_string();
    let mut all = vec!["--top", &top];
    all.extend(args);
    let question = Question {
        cabinet,
        photos,
        args: &all,
        masks: false,
    };
    Ok(bench.ask(set, &question)?.answers)
}

/// Photos whose nearest by one channel, of those that differ from it in the other
/// factor, agrees with it in this.
fn across(answers: &[Answer], truth: &Truth, channel: &str, factor: usize) -> usize {
    answers
        .iter()
        .filter(|answer| {
            let Some(own) = truth.get(answer::stem(&answer.photo)) else {
                return false;
            };
            answer
                .ranking_by(channel)
                .into_iter()
                .filter_map(|photo| truth.get(photo))
                .find(|other| other[1 - factor] != own[1 - factor])
                .is_some_and(|other| other[factor] == own[factor])
        })
        .count()
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
        let photos = [
            ("q", "A", "1"),
            ("same", "A", "1"),
            ("shape", "A", "2"),
            ("decor", "B", "1"),
            ("none", "C", "3"),
        ];
        let truth: Truth = photos
            .map(|(photo, shape, decor)| (photo.into(), [shape.into(), decor.into()]))
            .into();
        // Of other shapes `decor` is nearest and has the decoration; of other
        // decorations `none` is nearer by form than `shape`, and has another shape.
        assert_eq!(across(&answers, &truth, "decoration", DECORATION), 1);
        assert_eq!(across(&answers, &truth, "form", SHAPE), 0);
    }
}
