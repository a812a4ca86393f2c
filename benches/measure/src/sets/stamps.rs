//! Cut-outs with exact transparency, laid on made-up grounds: is the piece found
//! again? And is transparency that is there used as it is?

mod lay;

use std::path::{Path, PathBuf};

use crate::{
    Result,
    bench::{Bench, remove},
    line::Line,
    metric::{iou, mean, quantile},
    picture,
    program::Question,
};

/// Where Debian's package puts them.
const FOLDER: &str = "/usr/share/tuxpaint/stamps";
const PACKAGE: &str = "tuxpaint-stamps-default";
/// Changes when the pictures are made in another way.
const EDITION: &str = "stamps-1";
const GOOD_IOU: f64 = 0.9;

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let folder = Path::new(FOLDER);
    if !folder.is_dir() {
        let why = format!("no {FOLDER} (Debian package {PACKAGE})");
        bench.put(Line::skipped("stamps", why));
        return Ok(());
    }
    let dir = bench.settings.cache.join(EDITION);
    if !dir.is_dir() {
        bench.say("stamps: laying them on grounds");
        let making = dir.with_extension("part");
        remove(&making)?;
        lay::make(folder, &making)?;
        std::fs::rename(&making, &dir)?;
    }
    for (part, how, name) in [
        ("laid", "model", "stamps.model"),
        ("raw", "auto", "stamps.alpha"),
    ] {
        if !bench.wants(&format!("{name}_iou")) && !bench.wants(&format!("{name}_share_090")) {
            continue;
        }
        let photos = picture::list(&dir.join(part), "png")?;
        let cabinet = bench.cabinet("stamps", &photos[..1], &[])?;
        let found = bench.ask(
            "stamps",
            &Question {
                cabinet: &cabinet,
                photos: &photos,
                args: &["--cutout", how, "--top", "1"],
                masks: true,
            },
        )?;
        let pairs: Vec<(PathBuf, PathBuf)> = photos
            .iter()
            .map(|photo| {
                let file = format!("{}.png", picture::stem(photo));
                (
                    found.masks.join(&file),
                    dir.join(format!("{part}-truth")).join(file),
                )
            })
            // A picture in which nothing was found has no mask.
            .filter(|(mask, _)| mask.is_file())
            .collect();
        let mut ious = picture::compare(&pairs, iou)?;
        ious.resize(photos.len(), 0.0);
        let n = ious.len();
        let line = Line::new(format!("{name}_iou"), mean(&ious), n);
        if part == "raw" {
            bench.put(
                line.at_least(0.99)
                    .note("mean overlap of the mask with the transparency that is in the file"),
            );
            bench.put(
                Line::new(format!("{name}_iou_worst"), quantile(&ious, 0.0), n)
                    .note("the worst of them"),
            );
        } else {
            bench.put(line.note(
                "mean overlap of the network's mask with the truth, cut-outs of anything on made-up grounds",
            ));
            let good = ious.iter().filter(|v| **v >= GOOD_IOU).count();
            bench.put(
                Line::share(format!("{name}_share_090"), good, n)
                    .note("share with an overlap of 0.9 or more"),
            );
        }
    }
    Ok(())
}
