//! The demo pottery: how long it takes and what is answered right.

use std::{collections::BTreeMap, path::Path, process::Stdio, time::Instant};

use crate::{
    Result,
    answer::{self, Levels, Piece},
    bench::Bench,
    labels,
    line::Line,
    picture,
    program::Question,
};

const SET: &str = "index/demo";
const LEVELS: [&str; 4] = ["form", "shape", "pattern", "glaze"];

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let dir = bench.fresh("demo")?;
    let start = Instant::now();
    let done = bench
        .program
        .command(&dir.join("unused"))
        .args(["demo", "--set", SET, "--out"])
        .arg(&dir)
        .stdout(Stdio::null())
        .output()?;
    let seconds = start.elapsed().as_secs_f64();
    if !done.status.success() {
        let told = String::from_utf8_lossy(&done.stderr);
        return Err(format!("demo: {}: {}", done.status, told.trim()).into());
    }
    bench.put(
        Line::new("demo.seconds", seconds, 1)
            .at_most(60.0)
            .note("the whole demo, wall time"),
    );

    let set = Path::new(SET);
    let queries = picture::list(&set.join("queries"), "jpg")?;
    let truth = truth(&set.join("queries.csv"))?;
    let found = bench.ask(
        "demo",
        &Question {
            cabinet: &dir.join("cabinet"),
            photos: &queries,
            args: &["--top", "5"],
            masks: false,
        },
    )?;
    let mut right = [0usize; 4];
    let mut asked = [0usize; 4];
    let mut firm_wrong = 0;
    for answer in &found.answers {
        let (Some(piece), Some(rows)) = (
            answer.pieces.first(),
            truth.get(answer::stem(&answer.photo)),
        ) else {
            continue;
        };
        for (i, (answered, certainty)) in answered(piece).into_iter().enumerate() {
            let truths: Vec<&str> = rows.iter().map(|row| row[i].as_str()).collect();
            if truths.iter().all(|t| t.is_empty()) {
                continue;
            }
            let hit = truths.contains(&answered);
            asked[i] += 1;
            right[i] += usize::from(hit);
            firm_wrong += usize::from(!hit && certainty == "firm");
        }
    }
    for (i, level) in LEVELS.iter().enumerate() {
        bench.put(
            Line::share(format!("demo.{level}"), right[i], asked[i])
                .note("right first answers, \"unknown\" counted as one"),
        );
    }
    bench.put(
        Line::new("demo.firm_and_wrong", firm_wrong as f64, asked.iter().sum())
            .note("answers called firm that are wrong, all levels"),
    );
    Ok(())
}

/// What is answered on each level, and how sure.
fn answered(piece: &Piece) -> [(&str, &str); 4] {
    let Levels {
        form,
        shape,
        pattern,
        glaze,
    } = &piece.certainty;
    let levels = &piece.levels;
    [
        (&levels.form, form),
        (&levels.shape, shape),
        (&levels.pattern, pattern),
        (&levels.glaze, glaze),
    ]
    .map(|(candidates, certainty)| {
        let label = match candidates.first() {
            Some(best) if certainty != "unknown" => best.label.as_str(),
            _ => "unknown",
        };
        (label, certainty.as_str())
    })
}

/// True labels by photo; a photo of two pieces has two rows.
fn truth(file: &Path) -> Result<BTreeMap<String, Vec<[String; 4]>>> {
    let mut rows: BTreeMap<String, Vec<[String; 4]>> = BTreeMap::new();
    for (photo, labels) in labels::rows(file, "photo")? {
        let of = |level: &str| labels.get(level).cloned().unwrap_or_default();
        rows.entry(photo).or_default().push(LEVELS.map(of));
    }
    Ok(rows)
}
