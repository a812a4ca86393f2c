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
    let found = bench.ask(
        "mpeg7",
        &Question {
            cabinet: &cabinet,
            photos: &photos,
            args: &["--cutout", "silhouette", "--by", "outline", "--top", "40"],
            masks: false,
        },
    )?;
    let answers = &found.answers;
    let everyone: Vec<&Answer> = answers.iter().collect();
    bench.put(
        Line::new("mpeg7.bulls_eye", bulls_eye(&everyone), everyone.len())
            .at_least(0.78)
            .note("share of a class's 20 outlines among the nearest 40, itself included"),
    );
    let classes: BTreeSet<&str> = answers.iter().map(class_of).collect();
    for (odd, name) in [(true, "odd"), (false, "even")] {
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
                format!("mpeg7.bulls_eye_{name}_classes"),
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
        Line::share("mpeg7.nearest", first, answers.len())
            .note("the nearest other outline is of the class"),
    );
    Ok(())
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
