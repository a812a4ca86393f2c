//! What is known of photos beforehand: from a labels file or from folder names.

use std::{
    collections::HashMap,
    path::{Path, PathBuf},
};

use super::output;
use crate::{
    cabinet::{FolderTemplate, Labels, LabelsFile, Origin},
    error::Result,
};

/// The piece a photo shows, its labels, and who says so.
pub(super) type Said = (Option<String>, Labels, Origin);

/// What is known of the photos beforehand.
#[derive(Debug, Default)]
pub(super) struct Known {
    by_path: HashMap<PathBuf, (Option<String>, Labels)>,
    /// The photos of the labels file, in its order.
    pub(super) photos: Vec<PathBuf>,
    unknown: Vec<String>,
    template: Option<FolderTemplate>,
    roots: Vec<PathBuf>,
}

impl Known {
    /// Reads a labels file.
    ///
    /// # Errors
    /// Those of [`LabelsFile::read`].
    pub(super) fn from_file(file: &Path) -> Result<Self> {
        let labels = LabelsFile::read(file)?;
        Ok(Self {
            photos: labels.rows.iter().map(|row| row.path.clone()).collect(),
            by_path: labels
                .rows
                .into_iter()
                .map(|row| (real_path(&row.path), (row.piece, row.labels)))
                .collect(),
            unknown: labels.unknown,
            ..Self::default()
        })
    }

    /// Labels from the folders between `roots` and a photo, as `template` says.
    ///
    /// # Errors
    /// Those of [`FolderTemplate::parse`].
    pub(super) fn from_folders(template: &str, roots: &[PathBuf]) -> Result<Self> {
        Ok(Self {
            template: Some(FolderTemplate::parse(template)?),
            roots: roots.to_vec(),
            ..Self::default()
        })
    }

    /// Names the columns of the labels file that have no meaning to footring.
    pub(super) fn tell_unknown(&self, quiet: bool) {
        for column in self.unknown.iter().filter(|_| !quiet) {
            output::say(format_args!(
                "footring: the labels file's column `{column}` is not known and is kept as a note"
            ));
        }
    }

    /// What is known of a photo; `None` where nothing is said about it.
    ///
    /// # Errors
    /// [`crate::error::Kind::Usage`] if a folder's name is no value of its label.
    pub(super) fn of(&self, file: &Path) -> Result<Option<Said>> {
        if let Some((piece, labels)) = self.by_path.get(&real_path(file)) {
            let origin = Origin::new("labels file");
            return Ok(Some((piece.clone(), labels.clone(), origin)));
        }
        let Some(template) = &self.template else {
            return Ok(None);
        };
        let root = self
            .roots
            .iter()
            .filter(|root| file.starts_with(root))
            .max_by_key(|root| root.components().count());
        let root = root.map_or(Path::new(""), PathBuf::as_path);
        let found = template.read(file, root)?;
        Ok(found.map(|found| (found.piece, found.labels, Origin::new("folder names"))))
    }
}

/// One name for one file, however it was written.
pub(super) fn real_path(file: &Path) -> PathBuf {
    file.canonicalize().unwrap_or_else(|_| file.to_path_buf())
}
