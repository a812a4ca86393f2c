//! How colour sits on rendered hollowware seen at an angle: what is answered, and
//! how often it is right.

use std::collections::HashMap;

use serde::Deserialize;

use super::studio;
use crate::{Result, answer, bench::Bench, line::Line, picture, program::Question};

/// Not the seed that the limits were chosen on (610).
const SERIES: [&str; 8] = [
    "series",
    "treatments",
    "--seed",
    "77021",
    "--groups",
    "32",
    "--size",
    "512",
];

/// Photos of the cabinet that is asked: the treatment is read from the query alone.
const CABINET: usize = 14;

/// The studio's word for each treatment, and the reading's.
const NAMES: [(&str, &str); 7] = [
    ("slip outside", "outside_only"),
    ("dipped", "inside_and_out"),
    ("two-tone", "two_tone"),
    ("half dipped", "half_dipped"),
    ("clear glaze", "plain"),
    ("band", "band"),
    ("line", "line"),
];

/// One photo of the series.
#[derive(Deserialize)]
struct Shot {
    photo: String,
    treatment: String,
    /// Whether the pattern has lines of its own.
    lined: bool,
}

/// What came of the photos of one treatment.
#[derive(Default)]
struct Count {
    photos: usize,
    likely: usize,
    right: usize,
    several: usize,
    held: usize,
}

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let Some(dir) = studio::rendered(bench, "treatments", &SERIES)? else {
        return Ok(());
    };
    let shots: Vec<Shot> = studio::lines(&dir.join("series.jsonl"))?;
    let photos = picture::list(&dir.join("photos"), "jpg")?;
    let cabinet = bench.cabinet("treatments", &photos[..CABINET.min(photos.len())], &[])?;
    let found = bench.ask(
        "treatments",
        &Question {
            cabinet: &cabinet,
            photos: &photos,
            args: &["--top", "1"],
            masks: false,
        },
    )?;
    let said: HashMap<&str, &answer::Treatment> = found
        .answers
        .iter()
        .filter_map(|a| Some((answer::stem(&a.photo), &a.pieces.first()?.treatment)))
        .collect();
    let mut all = Count::default();
    let mut counts: Vec<Count> = NAMES.iter().map(|_| Count::default()).collect();
    for shot in &shots {
        let Some(k) = NAMES.iter().position(|(name, _)| *name == shot.treatment) else {
            return Err(format!("no such treatment: {}", shot.treatment).into());
        };
        let is_right = |candidate: &String| {
            // White ware whose pattern has lines is lined as well as plain.
            let lined = shot.lined && NAMES[k].1 == "plain";
            candidate == NAMES[k].1 || lined && ["line", "band"].contains(&candidate.as_str())
        };
        for count in [&mut all, &mut counts[k]] {
            count.photos += 1;
            let Some(treatment) = said.get(answer::stem(&shot.photo)) else {
                continue;
            };
            let holds = treatment.candidates.iter().any(is_right);
            match treatment.certainty.as_str() {
                "likely" => {
                    count.likely += 1;
                    count.right += usize::from(holds);
                }
                "several" => {
                    count.several += 1;
                    count.held += usize::from(holds);
                }
                _ => {}
            }
        }
    }
    bench.put(
        Line::share("treatments.right", all.right, all.likely)
            .at_least(0.95)
            .note("of the answers called likely"),
    );
    bench.put(
        Line::share("treatments.answered", all.likely, all.photos)
            .note("photos that are called likely"),
    );
    bench.put(
        Line::share("treatments.several", all.held, all.several)
            .note("of those left open, the right one is among those named"),
    );
    let unknown = all.photos - all.likely - all.several;
    bench.put(Line::share("treatments.unknown", unknown, all.photos));
    for ((_, name), count) in NAMES.iter().zip(&counts) {
        bench.put(
            Line::share(
                format!("treatments.{name}.right"),
                count.right,
                count.likely,
            )
            .note(format!(
                "of {} photos {} are called likely, {} left open, the rest unknown",
                count.photos, count.likely, count.several
            )),
        );
    }
    Ok(())
}
