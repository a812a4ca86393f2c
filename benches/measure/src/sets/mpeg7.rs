//! Seventy classes of silhouettes, twenty of each: the outline alone.

use std::collections::BTreeSet;

use crate::{
    Result,
    answer::{self, Answer},
    bench::Bench,
    line::Line,
    picture,
    program::Question,
};

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let photos = picture::list(&bench.data("mpeg7")?, "png")?;
    let how = ["--cutout", "silhouette"];
    let cabinet = bench.cabinet("mpeg7", &photos, &how)?;
    let args = [
        "--cutout",
        "silhouette",
        "--by",
        "outline",
        "--top",
        "40",
        "--graph",
    ];
    for (name, bound, args) in [
        ("mpeg7.bulls_eye", 0.90, &args[..args.len() - 1]),
        ("mpeg7.graph.bulls_eye", 0.95, &args[..]),
    ] {
        if !bench.wants(name) {
            continue;
        }
        let found = bench.ask(
            "mpeg7",
            &Question {
                cabinet: &cabinet,
                photos: &photos,
                args,
                masks: false,
            },
        )?;
        report(bench, name, bound, &found.answers);
    }
    Ok(())
}

fn report(bench: &mut Bench, name: &str, bound: f64, answers: &[Answer]) {
    let everyone: Vec<&Answer> = answers.iter().collect();
    bench.put(
        Line::new(name, bulls_eye(&everyone), everyone.len())
            .at_least(bound)
            .note("share of a class's 20 outlines among the nearest 40, itself included"),
    );
    let classes: BTreeSet<&str> = answers.iter().map(class_of).collect();
    for (odd, half) in [(true, "odd"), (false, "even")] {
        let chosen: BTreeSet<&str> = classes
            .iter()
            .enumerate()
            .filter(|(i, _)| (i % 2 == 0) == odd)
            .map(|(_, class)| *class)
            .collect();
        let part: Vec<&Answer> = answers
            .iter()
            .filter(|answer| chosen.contains(class_of(answer)))
            .collect();
        bench.put(
            Line::new(
                format!("{name}_{half}_classes"),
                bulls_eye(&part),
                part.len(),
            )
            .note("questions of these classes only, all outlines to find"),
        );
    }
    let first = answers
        .iter()
        .filter(|answer| nearest_is_own(answer))
        .count();
    bench.put(
        Line::share(name.replace("bulls_eye", "nearest"), first, answers.len())
            .note("the nearest other outline is of the class"),
    );
}

fn bulls_eye(answers: &[&Answer]) -> f64 {
    let hits: usize = answers
        .iter()
        .map(|answer| {
            let own = class_of(answer);
            let ranking = answer.ranking();
            ranking.iter().take(40).filter(|m| class(m) == own).count()
        })
        .sum();
    hits as f64 / (answers.len() * 20) as f64
}

fn nearest_is_own(answer: &Answer) -> bool {
    let own = answer::stem(&answer.photo);
    answer
        .ranking()
        .into_iter()
        .find(|m| *m != own)
        .is_some_and(|m| class(m) == class(own))
}

fn class_of(answer: &Answer) -> &str {
    class(answer::stem(&answer.photo))
}

/// `Bone-12` is of the class `Bone`.
fn class(stem: &str) -> &str {
    stem.rsplit_once('-').map_or(stem, |(class, _)| class)
}
