//! Reading masks.

use std::path::{Path, PathBuf};

use crate::Result;

/// A mask as grey values.
pub(crate) fn grey(file: &Path) -> Result<image::GrayImage> {
    Ok(image::open(file)
        .map_err(|e| format!("{}: {e}", file.display()))?
        .to_luma8())
}

/// Compares the masks of each pair of files; sizes must agree.
pub(crate) fn compare(
    pairs: &[(PathBuf, PathBuf)],
    by: impl Fn(&[u8], &[u8]) -> f64 + Sync,
) -> Result<Vec<f64>> {
    use rayon::prelude::*;
    pairs
        .par_iter()
        .map(|(found, truth)| {
            let (a, b) = (
                grey(found).map_err(|e| e.to_string())?,
                grey(truth).map_err(|e| e.to_string())?,
            );
            if a.dimensions() == b.dimensions() {
                Ok(by(a.as_raw(), b.as_raw()))
            } else {
                Err(format!(
                    "{} has another size than its truth",
                    found.display()
                ))
            }
        })
        .collect::<Result<_, String>>()
        .map_err(Into::into)
}

/// The pictures with this ending directly in a folder, by name.
pub(crate) fn list(dir: &Path, ending: &str) -> Result<Vec<PathBuf>> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(dir)
        .map_err(|e| format!("{}: {e}", dir.display()))?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == ending))
        .collect();
    files.sort();
    Ok(files)
}

/// A file's name without its ending.
pub(crate) fn stem(file: &Path) -> String {
    file.file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}
