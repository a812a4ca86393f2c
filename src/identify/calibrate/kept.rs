//! What a cabinet has taught, kept beside it so that one question need not wait
//! for three hundred. A cache: it is made again when it is lost or out of date.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::{Calibration, VERSION};
use crate::{cabinet::Snapshot, channel::REGISTRY, error::Result, file};

/// Its name in the cabinet's folder.
const NAME: &str = "calibration.json";

/// Changes after which the trials are made again: so many, or a twentieth of the
/// photos.
const CHANGES: u64 = 10;

#[derive(Serialize, Deserialize)]
struct Kept {
    version: u32,
    /// What the distances were made by.
    channels: Vec<(String, u32)>,
    /// Which second looks were taken.
    second_looks: [bool; 2],
    /// The state of the cabinet.
    revision: u64,
    calibration: Calibration,
}

fn channels() -> Vec<(String, u32)> {
    REGISTRY
        .iter()
        .map(|channel| (channel.name.to_owned(), channel.version))
        .collect()
}

fn place(cabinet: &Path) -> PathBuf {
    cabinet.join(NAME)
}

impl Calibration {
    /// The calibration kept in a cabinet's folder, if it still fits: made
    /// with the same second looks.
    pub fn kept(cabinet: &Path, snapshot: &Snapshot, second_looks: [bool; 2]) -> Option<Self> {
        let kept: Kept = serde_json::from_slice(&std::fs::read(place(cabinet)).ok()?).ok()?;
        let most = CHANGES.max(snapshot.views().len() as u64 / 20);
        let fits = kept.version == VERSION
            && kept.second_looks == second_looks
            && kept.channels == channels()
            && kept.revision.abs_diff(snapshot.revision()) <= most;
        fits.then_some(kept.calibration)
    }

    /// Keeps it in the cabinet's folder.
    ///
    /// # Errors
    /// [`crate::error::Kind::Io`] where that cannot be written; nothing is lost
    /// then but time.
    pub fn keep(&self, cabinet: &Path, snapshot: &Snapshot, second_looks: [bool; 2]) -> Result<()> {
        let kept = Kept {
            version: VERSION,
            channels: channels(),
            second_looks,
            revision: snapshot.revision(),
            calibration: self.clone(),
        };
        let text = serde_json::to_vec_pretty(&kept).unwrap_or_default();
        file::write_whole(&place(cabinet), &text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{cabinet::Cabinet, config, identify::channel_specs};

    #[test]
    fn what_is_kept_is_read_again_and_what_is_damaged_or_of_another_kind_is_not() {
        let dir = tempfile::tempdir().unwrap();
        let place = dir.path().join("cabinet");
        let cabinet = Cabinet::create_or_open(&place).unwrap();
        let snapshot = cabinet
            .snapshot(&config::Nearest::default(), &channel_specs())
            .unwrap();
        assert_eq!(Calibration::kept(&place, &snapshot, [true; 2]), None);

        let learnt = Calibration::default();
        learnt.keep(&place, &snapshot, [true; 2]).unwrap();
        assert_eq!(
            Calibration::kept(&place, &snapshot, [true; 2]),
            Some(learnt)
        );
        assert_eq!(Calibration::kept(&place, &snapshot, [false, true]), None);

        let file = place.join(NAME);
        let bytes = std::fs::read(&file).unwrap();
        std::fs::write(&file, &bytes[..bytes.len() / 2]).unwrap();
        assert_eq!(Calibration::kept(&place, &snapshot, [true; 2]), None);
    }
}
