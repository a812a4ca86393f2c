//! How far answers can be trusted: kept beside the cabinet, or learnt from it now.

use std::sync::Arc;

use super::output;
use crate::{
    cabinet::{Cabinet, Snapshot},
    error::Result,
    identify::{
        Options,
        calibrate::Calibration,
        rehearse::{self, Trial},
    },
};

/// Pieces that are asked about; more would add little and take longer.
pub(super) const PIECES: usize = 300;

/// Photos by which each of them is asked about where the answers are to teach: one
/// photo more says more of the words' limits, and pieces differ more than photos.
const PHOTOS_EACH: usize = 2;

/// Fewer pieces than this teach nothing. With three or four the trials say above
/// all how often a find is of none of them.
pub(super) const PIECES_MIN: usize = 3;

/// The cabinet's calibration. Where none is kept that fits, the cabinet's own
/// photos are asked about, which takes seconds; `options` says how.
pub(super) fn calibration(
    cabinet: &Cabinet,
    snapshot: &Snapshot,
    options: &Options,
    quiet: bool,
) -> Result<Arc<Calibration>> {
    if snapshot.pieces().len() < PIECES_MIN {
        return Ok(Arc::default());
    }
    if let Some(kept) = Calibration::kept(cabinet.dir(), snapshot, options.second_looks()) {
        return Ok(Arc::new(kept));
    }
    let trials = rehearsed(snapshot, options, (PIECES, PHOTOS_EACH), quiet)?;
    let calibration = Calibration::learn(&trials);
    // A cabinet that may not be written is tried anew each time.
    let _ = calibration.keep(cabinet.dir(), snapshot, options.second_looks());
    Ok(Arc::new(calibration))
}

/// Asks about so many pieces of the cabinet, each by so many photos, as `options`
/// say, but without the neighbourhood graph.
pub(super) fn rehearsed(
    snapshot: &Snapshot,
    options: &Options,
    (pieces, photos_each): (usize, usize),
    quiet: bool,
) -> Result<Vec<Trial>> {
    let views = rehearse::sample(snapshot, pieces, photos_each);
    let bar = output::progress(views.len(), "trying the cabinet on itself", quiet);
    let plain = Options {
        graph: None,
        ..options.clone()
    };
    let trials = rehearse::rehearse(snapshot, &plain, &views, &|| bar.inc(1))?;
    bar.finish_and_clear();
    Ok(trials)
}
