//! Five cups, 41 photos of each: is another photo of the same cup found?

use crate::{
    Result,
    answer::{Answer, CHANNELS},
    bench::Bench,
    line::Line,
    metric::{Retrieval, iou, mean, quantile},
    picture,
    program::Question,
};

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let dir = bench.data("cups")?;
    let photos = picture::list(&dir, "png")?;
    let cabinet = bench.cabinet("cups", &photos, &[])?;
    let top = (photos.len() - 1).to_string();
    let found = bench.ask(
        "cups",
        &Question {
            cabinet: &cabinet,
            photos: &photos,
            args: &["--skip-same-photo", "--top", &top],
            masks: true,
        },
    )?;

    let all = score(&found.answers, Answer::ranking);
    bench.put(
        Line::share("cups.r1", all.first(), all.n())
            .at_least(0.96)
            .baseline(0.985)
            .note("the nearest photo shows the same cup, all channels; baseline: Lab histogram with true masks (pooled Lite0 0.927)"),
    );
    bench.put(
        Line::new("cups.map", all.map(), all.n())
            .at_least(0.74)
            .baseline(0.733)
            .note("mean average precision, all channels; baseline: Lab histogram with true masks (pooled Lite0 0.459)"),
    );
    for channel in CHANNELS {
        let one = score(&found.answers, |answer| answer.ranking_by(channel));
        bench.put(Line::share(
            format!("cups.{channel}.r1"),
            one.first(),
            one.n(),
        ));
        bench.put(Line::new(format!("cups.{channel}.map"), one.map(), one.n()));
    }

    let pairs: Vec<_> = photos
        .iter()
        .map(|photo| {
            let stem = picture::stem(photo);
            (
                found.masks.join(format!("{stem}.png")),
                dir.join("masks").join(format!("{stem}-map.png")),
            )
        })
        .collect();
    let ious = picture::compare(&pairs, iou)?;
    bench.put(
        Line::new("cups.mask_iou", mean(&ious), ious.len())
            .at_least(0.98)
            .note("mean overlap of the mask with the true one"),
    );
    bench.put(
        Line::new("cups.mask_iou_p10", quantile(&ious, 0.1), ious.len()).note("10th percentile"),
    );
    Ok(())
}

fn score<'a>(answers: &'a [Answer], ranking: impl Fn(&'a Answer) -> Vec<&'a str>) -> Retrieval {
    let mut retrieval = Retrieval::default();
    for answer in answers {
        let own = object(crate::answer::stem(&answer.photo));
        let relevant = answers
            .iter()
            .filter(|other| object(crate::answer::stem(&other.photo)) == own)
            .count()
            - 1;
        let hits: Vec<bool> = ranking(answer).iter().map(|m| object(m) == own).collect();
        retrieval.count(&hits, relevant);
    }
    retrieval
}

fn object(stem: &str) -> &str {
    stem.split('-').next().unwrap_or(stem)
}
