//! Photos from museums: are pieces of the same form, and of the same kind of
//! decoration, found?

use std::collections::BTreeMap;

use crate::{
    Result,
    answer::{self, Answer},
    bench::Bench,
    labels,
    line::Line,
    metric::Retrieval,
    picture,
    program::Question,
};

/// Classes with fewer photos are not asked about.
const SMALLEST_CLASS: usize = 6;

/// What is looked for, and by which channels.
struct Level {
    column: &'static str,
    by: &'static str,
    alone: [&'static str; 2],
    bound: f64,
    baseline: f64,
    note: &'static str,
}

const LEVELS: [Level; 2] = [
    Level {
        column: "form",
        by: "outline,form",
        alone: ["outline", "form"],
        bound: 0.80,
        baseline: 0.806,
        note: "mean average precision; baseline: silhouette in 24 x 24 cells",
    },
    Level {
        column: "decor",
        by: "decoration,colour",
        alone: ["decoration", "colour"],
        bound: 0.64,
        baseline: 0.535,
        note: "mean average precision; baseline: Lab histogram",
    },
];

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let dir = bench.data("porcelain")?;
    let photos = picture::list(&dir, "jpg")?;
    let cabinet = bench.cabinet("porcelain", &photos, &[])?;
    let top = photos.len().to_string();
    for level in &LEVELS {
        let name = format!("porcelain.{}", level.column);
        if !bench.wants(&name) {
            continue;
        }
        let classes = classes(&dir.join("labels.csv"), level.column)?;
        let found = bench.ask(
            "porcelain",
            &Question {
                cabinet: &cabinet,
                photos: &photos,
                args: &["--by", level.by, "--skip-same-photo", "--top", &top],
                masks: false,
            },
        )?;
        let score = |ranking: &dyn for<'a> Fn(&'a Answer) -> Vec<&'a str>,
                     keep: &dyn Fn(usize) -> bool| {
            retrieve(&found.answers, &classes, ranking, keep)
        };
        let all = score(&Answer::ranking, &|_| true);
        bench.put(
            Line::new(format!("{name}.map"), all.map(), all.n())
                .at_least(level.bound)
                .baseline(level.baseline)
                .note(level.note),
        );
        bench.put(Line::share(format!("{name}.r1"), all.first(), all.n()));
        bench.put(Line::new(format!("{name}.p5"), all.p5(), all.n()));
        for (half, odd) in [("odd", 1), ("even", 0)] {
            let part = score(&Answer::ranking, &|number| number % 2 == odd);
            bench.put(
                Line::new(format!("{name}.map_{half}"), part.map(), part.n())
                    .note("questions of these numbers only, all photos to find"),
            );
        }
        for channel in level.alone {
            let one = score(&|answer| answer.ranking_by(channel), &|_| true);
            let name = format!("{name}.{channel}");
            bench.put(Line::new(format!("{name}.map"), one.map(), one.n()));
            bench.put(Line::share(format!("{name}.r1"), one.first(), one.n()));
            bench.put(Line::new(format!("{name}.p5"), one.p5(), one.n()));
        }
    }
    Ok(())
}

/// Class of each photo by a column of the labels.
fn classes(file: &std::path::Path, column: &str) -> Result<BTreeMap<String, String>> {
    labels::rows(file, "file")?
        .into_iter()
        .map(|(photo, mut labels)| {
            let class = labels
                .remove(column)
                .ok_or_else(|| format!("{}: no column {column}", file.display()))?;
            Ok((photo, class))
        })
        .collect()
}

fn retrieve(
    answers: &[Answer],
    classes: &BTreeMap<String, String>,
    ranking: &dyn for<'a> Fn(&'a Answer) -> Vec<&'a str>,
    keep: &dyn Fn(usize) -> bool,
) -> Retrieval {
    let mut sizes: BTreeMap<&str, usize> = BTreeMap::new();
    for class in classes.values() {
        *sizes.entry(class).or_default() += 1;
    }
    let mut retrieval = Retrieval::default();
    for answer in answers {
        let own = answer::stem(&answer.photo);
        let number = own.trim_start_matches('p').parse().unwrap_or(0);
        let Some(class) = classes.get(own) else {
            continue;
        };
        let size = sizes[class.as_str()];
        if size < SMALLEST_CLASS || class == "other" || !keep(number) {
            continue;
        }
        let hits: Vec<bool> = ranking(answer)
            .into_iter()
            .filter(|m| *m != own)
            .map(|m| classes.get(m) == Some(class))
            .collect();
        retrieval.count(&hits, size - 1);
    }
    retrieval
}
