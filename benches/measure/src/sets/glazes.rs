//! Glazes that differ by known steps: which are told apart, and which wrongly.

use std::collections::HashMap;

use serde::Deserialize;

use super::studio;
use crate::{
    Result,
    answer::{self, Ground},
    bench::Bench,
    line::Line,
    picture,
    program::Question,
};

/// Not the seed that the doubts were chosen on (501).
const SERIES: [&str; 8] = [
    "series", "glazes", "--seed", "77005", "--groups", "20", "--size", "320",
];

/// One photo of the series.
#[derive(Deserialize)]
struct Shot {
    photo: String,
    group: usize,
    step: f64,
    again: bool,
    light: usize,
    card_px: Option<[f64; 2]>,
}

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let Some(dir) = studio::rendered(bench, "glazes", &SERIES)? else {
        return Ok(());
    };
    let shots: Vec<Shot> = studio::lines(&dir.join("series.jsonl"))?;
    let photos = picture::list(&dir.join("photos"), "jpg")?;
    let cabinet = bench.cabinet("glazes", &photos, &[])?;
    let top = photos.len().to_string();
    let found = bench.ask(
        "glazes",
        &Question {
            cabinet: &cabinet,
            photos: &photos,
            args: &["--top", &top],
            masks: false,
        },
    )?;
    let mut grounds: HashMap<(&str, &str), Ground> = HashMap::new();
    let mut balanced: HashMap<&str, bool> = HashMap::new();
    for answer in &found.answers {
        let own = answer::stem(&answer.photo);
        let Some(piece) = answer.pieces.first() else {
            continue;
        };
        let card = piece.colour.as_ref().is_some_and(|c| c.balance == "found");
        balanced.insert(own, card);
        for m in &piece.matches {
            if let Some(ground) = m.ground {
                grounds.insert((own, answer::stem(&m.photo)), ground);
            }
        }
    }
    for (mode, with_card) in [("card", true), ("bare", false)] {
        let of_mode: Vec<&Shot> = shots
            .iter()
            .filter(|s| s.card_px.is_some() == with_card)
            .collect();
        let found = of_mode
            .iter()
            .filter(|s| balanced.get(answer::stem(&s.photo)) == Some(&true))
            .count();
        let line = Line::share(format!("glazes.{mode}.found"), found, of_mode.len());
        bench.put(if with_card {
            line.note("a grey card stands beside the piece and is found")
        } else {
            line.note("something is taken for a grey card where there is none")
        });
        let pairs = |wanted: &dyn Fn(&Shot, &Shot) -> bool| -> Vec<Ground> {
            let first = of_mode.iter().filter(|a| a.step == 0.0 && !a.again);
            first
                .flat_map(|a| of_mode.iter().map(move |b| (a, b)))
                .filter(|(a, b)| a.group == b.group && wanted(a, b))
                .filter_map(|(a, b)| {
                    let key = (answer::stem(&a.photo), answer::stem(&b.photo));
                    grounds.get(&key).copied()
                })
                .collect()
        };
        let apart = |grounds: &[Ground]| grounds.iter().filter(|g| g.told_apart).count();
        let same = pairs(&|a, b| b.step == 0.0 && !b.again && a.light < b.light);
        bench.put(
            Line::share(
                format!("glazes.{mode}.wrong_different"),
                apart(&same),
                same.len(),
            )
            .note("one glaze under two lights, called two"),
        );
        let together = pairs(&|a, b| b.again && a.light == b.light);
        bench.put(
            Line::share(
                format!("glazes.{mode}.wrong_different_together"),
                apart(&together),
                together.len(),
            )
            .note("one glaze twice in one set-up, called two"),
        );
        for step in [1.0, 2.0, 4.0, 8.0] {
            let pairs = pairs(&|a, b| b.step == step && a.light == b.light);
            let line = Line::share(
                format!("glazes.{mode}.apart_{step}"),
                apart(&pairs),
                pairs.len(),
            )
            .note(format!(
                "two glazes of CIEDE2000 {step} in one set-up, told apart; the others are said to be within the doubt, never the same"
            ));
            bench.put(if with_card && step == 4.0 {
                line.at_least(0.95)
            } else {
                line
            });
            if step == 1.0 {
                let wrong = pairs
                    .iter()
                    .filter(|g| g.told_apart && g.delta_e00 - 2.0 * g.doubt > step)
                    .count();
                bench.put(
                    Line::new(format!("glazes.{mode}.wrong_1"), wrong as f64, pairs.len())
                        .at_most(0.0)
                        .note("told apart by more, less two doubts, than the 1 there is"),
                );
            }
        }
    }
    Ok(())
}
