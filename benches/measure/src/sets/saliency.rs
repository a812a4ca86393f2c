//! Photos of anything with true masks: how good is the mask?

use crate::{
    Result,
    bench::Bench,
    line::Line,
    metric::{mask_mae, mean},
    picture,
    program::Question,
};

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let dir = bench.data("saliency")?;
    let photos = picture::list(&dir, "jpg")?;
    // Only the masks matter, so the cabinet holds one photo.
    let cabinet = bench.cabinet("saliency", &photos[..1], &[])?;
    let found = bench.ask(
        "saliency",
        &Question {
            cabinet: &cabinet,
            photos: &photos,
            args: &["--cutout", "model", "--top", "1"],
            masks: true,
        },
    )?;
    let pairs: Vec<_> = photos
        .iter()
        .map(|photo| {
            let name = format!("{}.png", picture::stem(photo));
            (found.masks.join(&name), dir.join("masks").join(name))
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
