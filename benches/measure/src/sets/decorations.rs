//! The same decoration on another shape, and the same shape under another
//! decoration, in colour and in black and white, in a studio world of its own.

use std::path::{Path, PathBuf};

use super::studio::{self, Across};
use crate::{Result, answer::Answer, bench::Bench, labels, line::Line, picture, program::Question};

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

/// More matches than there are photos.
const EVERY: &str = "1000";

/// Settings that leave the second look at decorations out.
const PLAIN: &str = "[identify]\ndetails = false\n";

/// The decoration on another shape.
const DECORATION: Across<'_> = Across {
    sought: "pattern",
    apart: "shape",
    alike: &[],
};
/// The shape under another decoration. A shape is moulded in many piece types, and a
/// decoration is put on one of them: of a jug nobody can tell the shape by its plates.
const SHAPE: Across<'_> = Across {
    sought: "shape",
    apart: "pattern",
    alike: &["form"],
};

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
    let truth = labels::by_photo(&dir.join("labels.csv"), "photo")?;
    let cabinet = bench.cabinet(set, &photos, &[])?;
    let plain = bench.own_cache("plain.toml");
    std::fs::write(&plain, PLAIN)?;
    let asked = ask(bench, set, &cabinet, &photos, &[])?;
    // Every other photo will do for what stands beside the figure.
    let some: Vec<PathBuf> = photos.iter().step_by(2).cloned().collect();
    let plainly = ask(
        bench,
        set,
        &cabinet,
        &some,
        &["--config", &plain.display().to_string()],
    )?;
    let by = |across: &Across<'_>, answers: &[Answer], channel: &str| {
        across.score(answers, &truth, |answer| answer.ranking_by(channel))
    };
    let share = |(hits, n): (usize, usize)| hits as f64 / n as f64;
    let general = "baseline: by `general` alone";
    let (hits, n) = by(&DECORATION, &asked, "decoration");
    bench.put(
        Line::share(format!("{set}.decoration.r1"), hits, n)
            .at_least(bound)
            .baseline(share(by(&DECORATION, &asked, "general")))
            .note(format!(
                "the nearest photo of another shape has the decoration; {general}"
            )),
    );
    let (hits, n) = by(&DECORATION, &plainly, "decoration");
    bench.put(
        Line::share(format!("{set}.decoration.vector.r1"), hits, n)
            .note("the same by the decoration's vector alone, without a second look, of every other photo"),
    );
    let (hits, n) = by(&SHAPE, &asked, "form");
    bench.put(
        Line::share(format!("{set}.shape.r1"), hits, n)
            .at_least(0.92)
            .baseline(share(by(&SHAPE, &asked, "general")))
            .note(format!(
                "the nearest photo of another decoration has the shape, by `form`, where the shape is there under another decoration in the same piece type; {general}"
            )),
    );
    let (hits, n) = SHAPE.score(&asked, &truth, |answer| {
        answer.ranking_by_sum(&["outline", "form"])
    });
    bench.put(
        Line::share(format!("{set}.shape.outline_and_form.r1"), hits, n)
            .note("the same by the sum of the distances of outline and `form`"),
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
    let mut all = vec!["--top", EVERY];
    all.extend(args);
    let question = Question {
        cabinet,
        photos,
        args: &all,
        masks: false,
    };
    Ok(bench.ask(set, &question)?.answers)
}
