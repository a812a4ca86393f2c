//! Photos of anything with true masks: how good is the mask?

use crate::{
    Result,
    bench::Bench,
    line::Line,
    metric::{mask_mae, mean},
    picture,
};

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let dir = bench.data("saliency")?;
    let photos = picture::list(&dir, "jpg")?;
    let found = bench.masks("saliency", &photos, &["--cutout", "model", "--top", "1"])?;
    let pairs: Vec<_> = photos
        .iter()
        .map(|photo| {
            let name = format!("{}.png", picture::stem(photo));
            (found.join(&name), dir.join("masks").join(name))
        })
        .collect();
    let errors = picture::compare(&pairs, mask_mae)?;
    bench.put(
        Line::new("saliency.mae", mean(&errors), errors.len())
            .at_most(0.045)
            .note("mean absolute error of the mask"),
    );
    Ok(())
}
