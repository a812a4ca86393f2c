//! Copies of the photos, named by their content.

use std::{
    collections::HashSet,
    fs::{self, File},
    io::Write,
    path::{Path, PathBuf},
};

use super::{Cabinet, files};
use crate::error::{Error, Kind, Result};

pub(super) const FOLDER: &str = "photos";

impl Cabinet {
    /// Keeps a copy of a photo, by its content: `photos/<first two digits of the
    /// hash>/<hash>.<ending>`. Does nothing if it is there already.
    ///
    /// # Errors
    /// [`Kind::Missing`] if the photo cannot be read, [`Kind::Io`] if the copy
    /// cannot be written or the file changed since it was hashed.
    pub fn keep_photo(&self, photo: &Path, sha256: &str) -> Result<PathBuf> {
        if !self.is_writable() {
            return Err(Error::new(
                Kind::Internal,
                "a cabinet opened for reading was to be changed",
            )
            .in_file(&self.dir));
        }
        if let Some(copy) = self.photo_copy(sha256) {
            return Ok(copy);
        }
        let ending = photo
            .extension()
            .and_then(|e| e.to_str())
            .filter(|e| e.len() <= 5 && e.bytes().all(|c| c.is_ascii_alphanumeric()))
            .map_or_else(|| "photo".to_owned(), str::to_ascii_lowercase);
        let folder = self.dir.join(FOLDER).join(sha256.get(..2).unwrap_or("00"));
        let target = folder.join(format!("{sha256}.{ending}"));
        let temporary = folder.join(format!(".{sha256}.part"));
        let copied = (|| {
            fs::create_dir_all(&folder)?;
            let source = File::open(photo).map_err(|e| Error::from(e).in_file(photo))?;
            let mut part = File::create(&temporary)?;
            let hash = files::hash_each(source, |bytes| part.write_all(bytes))?;
            part.sync_all()?;
            if hash != sha256 {
                return Err(Error::new(Kind::Io, "changed while it was being added")
                    .in_file(photo)
                    .remedy("add it again"));
            }
            fs::rename(&temporary, &target)?;
            files::sync_folder(&folder)?;
            Ok(())
        })();
        if let Err(e) = copied {
            let _ = fs::remove_file(&temporary);
            return Err(e.in_file(&target));
        }
        Ok(target)
    }

    /// The copy of a photo, if one was kept.
    pub fn photo_copy(&self, sha256: &str) -> Option<PathBuf> {
        let folder = self.dir.join(FOLDER).join(sha256.get(..2)?);
        fs::read_dir(folder)
            .ok()?
            .filter_map(|entry| Some(entry.ok()?.path()))
            .find(|path| path.file_stem().is_some_and(|stem| stem == sha256))
    }
}

/// Takes away copies whose content is not in `kept`. Returns how many.
pub(super) fn sweep(dir: &Path, kept: &HashSet<String>) -> Result<usize> {
    let mut swept = 0;
    for path in all(dir)? {
        let is_kept = path
            .file_stem()
            .and_then(|stem| stem.to_str())
            .is_some_and(|stem| kept.contains(stem));
        if !is_kept && is_ours(&path) {
            fs::remove_file(&path).map_err(|e| Error::from(e).in_file(&path))?;
            swept += 1;
        }
    }
    Ok(swept)
}

/// All copies.
pub(super) fn all(dir: &Path) -> Result<Vec<PathBuf>> {
    let folder = dir.join(FOLDER);
    let mut found = Vec::new();
    let Ok(groups) = fs::read_dir(&folder) else {
        return Ok(found);
    };
    for group in groups {
        let group = group.map_err(|e| Error::from(e).in_file(&folder))?.path();
        if let Ok(entries) = fs::read_dir(&group) {
            for entry in entries {
                found.push(entry.map_err(|e| Error::from(e).in_file(&group))?.path());
            }
        }
    }
    found.sort();
    Ok(found)
}

/// Whether the file is named as [`Cabinet::keep_photo`] names copies, finished or not.
fn is_ours(path: &Path) -> bool {
    path.file_stem()
        .and_then(|stem| stem.to_str())
        .map(|stem| stem.strip_prefix('.').unwrap_or(stem))
        .is_some_and(|stem| stem.len() == 64 && stem.bytes().all(|c| c.is_ascii_hexdigit()))
}
