//! Labels from the names of folders.

use std::path::Path;

use super::Labels;
use crate::error::{Error, Kind, Result};

/// Says what the folders around a photo are named after: `path:shape/pattern`
/// takes the photo's own folder for its pattern and the one above for its shape.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FolderTemplate {
    levels: Vec<Option<String>>,
}

/// What the folders around a photo say.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FolderLabels {
    /// The piece it shows, if a level is called `piece`.
    pub piece: Option<String>,
    /// Its labels.
    pub labels: Labels,
}

impl FolderTemplate {
    /// Reads `path:` and level names separated by `/`, the outermost folder first;
    /// `-` or `_` skips a folder.
    ///
    /// # Errors
    /// [`Kind::Usage`] saying what was expected.
    pub fn parse(text: &str) -> Result<Self> {
        let wrong = |message: String| {
            Error::new(Kind::Usage, message)
                .remedy("write for instance `path:shape/pattern`, with `-` for a folder to skip")
        };
        let levels = text
            .trim()
            .strip_prefix("path:")
            .ok_or_else(|| wrong(format!("\"{text}\" does not begin with `path:`")))?;
        let mut seen: Vec<Option<String>> = Vec::new();
        for level in levels.trim_matches('/').split('/') {
            let level = level.trim();
            let name = match level {
                "-" | "_" => None,
                "piece" => Some(level.to_owned()),
                _ if Labels::is_known(level) => Some(level.to_owned()),
                _ => return Err(wrong(format!("\"{level}\" is not the name of a label"))),
            };
            if name.is_some() && seen.contains(&name) {
                return Err(wrong(format!("\"{level}\" is named twice")));
            }
            seen.push(name);
        }
        if seen.iter().all(Option::is_none) {
            return Err(wrong("no label is named".to_owned()));
        }
        Ok(Self { levels: seen })
    }

    /// What the folders between `root` and `photo` say. The levels are matched
    /// with the last of them; `None` if there are fewer folders than levels.
    ///
    /// # Errors
    /// [`Kind::Usage`] if a folder's name is no value of its label (a year, a
    /// measure).
    pub fn read(&self, photo: &Path, root: &Path) -> Result<Option<FolderLabels>> {
        let inner = photo.strip_prefix(root).unwrap_or(photo);
        let folders: Vec<&str> = inner
            .parent()
            .into_iter()
            .flat_map(Path::components)
            .filter_map(|part| match part {
                std::path::Component::Normal(name) => name.to_str(),
                _ => None,
            })
            .collect();
        let Some(first) = folders.len().checked_sub(self.levels.len()) else {
            return Ok(None);
        };
        let mut found = FolderLabels::default();
        for (level, folder) in self.levels.iter().zip(&folders[first..]) {
            match level.as_deref() {
                None => {}
                Some("piece") => found.piece = Some((*folder).to_owned()),
                Some(label) => found
                    .labels
                    .set(label, folder)
                    .map_err(|e| e.in_file(photo))?,
            }
        }
        found.labels.check_years().map_err(|e| e.in_file(photo))?;
        Ok(Some(found))
    }
}
