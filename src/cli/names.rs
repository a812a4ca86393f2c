//! File names for what is written beside each other.

use std::{collections::HashSet, path::Path};

/// Names that were given out; two photos of one name must not overwrite each other.
#[derive(Debug, Default)]
pub(super) struct Names {
    taken: HashSet<String>,
}

impl Names {
    /// The photo's name without its ending; with a number where that is taken.
    pub(super) fn of(&mut self, photo: &Path) -> String {
        let stem = photo.file_stem().unwrap_or_default().to_string_lossy();
        let name = (1..)
            .map(|n| match n {
                1 => stem.clone().into_owned(),
                n => format!("{stem}-{n}"),
            })
            .find(|name| !self.taken.contains(name))
            .unwrap_or_default();
        self.taken.insert(name.clone());
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_is_given_twice() {
        let mut names = Names::default();
        let given: Vec<String> = ["a/lot.jpg", "b/lot.png", "lot-2.jpg", "c/lot.jpg"]
            .iter()
            .map(|photo| names.of(Path::new(photo)))
            .collect();
        assert_eq!(given, ["lot", "lot-2", "lot-2-2", "lot-3"]);
    }
}
