//! A hundred objects, four photos of each: are the four found first?

use std::path::PathBuf;

use crate::{
    Result,
    answer::{self, Answer},
    bench::Bench,
    line::Line,
    metric::mean,
    picture,
    program::Question,
};

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let photos = picture::list(&bench.data("ukbench")?, "jpg")?;
    let cabinet = bench.cabinet("ukbench", &photos, &[])?;
    // One photo of each object is enough for what bears no bound.
    let one_each: Vec<PathBuf> = photos.iter().skip(1).step_by(4).cloned().collect();
    let ways: [(&str, &[&str], &[PathBuf]); 3] = [
        ("general", &["--by", "general"], &photos),
        ("general_colour", &["--by", "general,colour"], &one_each),
        ("all_channels", &[], &one_each),
    ];
    for (name, by, queries) in ways {
        let name = format!("ukbench.ns_{name}");
        if !bench.wants(&name) {
            continue;
        }
        let mut args = by.to_vec();
        args.extend(["--top", "4"]);
        let found = bench.ask(
            "ukbench",
            &Question {
                cabinet: &cabinet,
                photos: queries,
                args: &args,
                masks: false,
            },
        )?;
        let scores: Vec<f64> = found.answers.iter().map(hits).collect();
        let line = Line::new(&name, mean(&scores), scores.len());
        bench.put(if name == "ukbench.ns_general" {
            line.at_least(3.90)
                .baseline(3.93)
                .note("photos of the object among the nearest 4, the photo itself included; baseline: pooled Lite0")
        } else {
            line
        });
    }
    Ok(())
}

/// How many of the nearest four show the object.
fn hits(answer: &Answer) -> f64 {
    let own = object(answer::stem(&answer.photo));
    let ranking = answer.ranking();
    ranking.iter().filter(|m| object(m) == own).count() as f64
}

/// Photos 0 to 3 show the first object, and so on.
fn object(stem: &str) -> Option<usize> {
    let number: usize = stem.trim_start_matches("ukbench").parse().ok()?;
    Some(number / 4)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_photos_are_one_object() {
        assert_eq!(object("ukbench00003"), Some(0));
        assert_eq!(object("ukbench00004"), Some(1));
    }
}
