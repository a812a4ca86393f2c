//! What the set knows of its labels: which occur together, and which years,
//! makers and marks go with them.

use std::collections::{BTreeSet, HashMap};

use super::{LEVELS, Labels};

/// Years that pieces of a label may have been made in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Years {
    /// The earliest that a piece states.
    pub from: Option<i32>,
    /// The latest that a piece states.
    pub to: Option<i32>,
    /// Pieces that state any.
    pub pieces: usize,
}

/// What the set knows of one label.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Known {
    /// Pieces that bear it.
    pub pieces: usize,
    /// Years that these state.
    pub years: Years,
    /// Makers that these state.
    pub makers: BTreeSet<String>,
    /// Marks that these state.
    pub marks: BTreeSet<String>,
}

/// The labels of the four levels, each piece counted once.
#[derive(Clone, Debug, Default)]
pub struct Vocabulary {
    /// Number of each label, by level.
    numbers: [HashMap<String, u32>; LEVELS.len()],
    known: Vec<Known>,
    /// Pieces that bear both, the label of the earlier level first.
    together: HashMap<(u32, u32), usize>,
}

impl Vocabulary {
    /// The vocabulary of pieces with these labels.
    pub fn of<'a>(pieces: impl IntoIterator<Item = &'a Labels>) -> Self {
        let mut vocabulary = Self::default();
        for labels in pieces {
            let borne: Vec<u32> = LEVELS
                .iter()
                .enumerate()
                .filter_map(|(level, name)| Some(vocabulary.number(level, labels.get(name)?)))
                .collect();
            for (i, a) in borne.iter().enumerate() {
                vocabulary.known[*a as usize].learn(labels);
                for b in &borne[i + 1..] {
                    *vocabulary.together.entry((*a, *b)).or_default() += 1;
                }
            }
        }
        vocabulary
    }

    fn number(&mut self, level: usize, label: &str) -> u32 {
        if let Some(number) = self.numbers[level].get(label) {
            return *number;
        }
        let number = self.known.len() as u32;
        self.numbers[level].insert(label.to_owned(), number);
        self.known.push(Known::default());
        number
    }

    fn find(&self, level: &str, label: &str) -> Option<u32> {
        let level = LEVELS.iter().position(|name| *name == level)?;
        self.numbers[level].get(label).copied()
    }

    /// What is known of a label of one of the [`LEVELS`]; `None` if no piece bears
    /// it.
    pub fn known(&self, level: &str, label: &str) -> Option<&Known> {
        self.find(level, label).map(|n| &self.known[n as usize])
    }

    /// On how many shapes the set has a pattern.
    pub fn shapes_of(&self, pattern: &str) -> usize {
        let shapes = LEVELS.iter().position(|name| *name == "shape");
        let (Some(shapes), Some(pattern)) = (shapes, self.find("pattern", pattern)) else {
            return 0;
        };
        let is_with = |shape: &&u32| self.together.contains_key(&(**shape, pattern));
        self.numbers[shapes].values().filter(is_with).count()
    }

    /// Pieces that bear both labels, each given with its level.
    pub fn together(&self, a: (&str, &str), b: (&str, &str)) -> usize {
        match (self.find(a.0, a.1), self.find(b.0, b.1)) {
            (Some(a), Some(b)) => {
                let both = |a, b| self.together.get(&(a, b)).copied();
                both(a, b).or(both(b, a)).unwrap_or(0)
            }
            _ => 0,
        }
    }
}

impl Known {
    fn learn(&mut self, labels: &Labels) {
        self.pieces += 1;
        let (from, to) = (labels.year_from(), labels.year_to());
        self.years.pieces += usize::from(from.or(to).is_some());
        self.years.from = self.years.from.into_iter().chain(from).min();
        self.years.to = self.years.to.into_iter().chain(to).max();
        for (name, found) in [("maker", &mut self.makers), ("mark", &mut self.marks)] {
            if let Some(value) = labels.get(name)
                && !found.contains(value)
            {
                found.insert(value.to_owned());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_piece_counts_once_and_years_are_the_widest_stated() {
        let pieces = [
            Labels::of(&[
                ("shape", "Brannet"),
                ("pattern", "Vine"),
                ("year_from", "1934"),
            ]),
            Labels::of(&[
                ("shape", "Brannet"),
                ("pattern", "Vine"),
                ("year_to", "1952"),
            ]),
            Labels::of(&[
                ("shape", "Brannet"),
                ("maker", "Quellmoor"),
                ("year_from", "1930"),
                ("year_to", "1931"),
            ]),
            // The same word on two levels is two labels.
            Labels::of(&[("glaze", "Brannet"), ("shape", "Vine")]),
        ];
        let vocabulary = Vocabulary::of(&pieces);
        assert_eq!(vocabulary.shapes_of("Vine"), 1);
        assert_eq!(vocabulary.shapes_of("Band"), 0);
        let brannet = vocabulary.known("shape", "Brannet").unwrap();
        assert_eq!(brannet.pieces, 3);
        let years = Years {
            from: Some(1930),
            to: Some(1952),
            pieces: 3,
        };
        assert_eq!(brannet.years, years);
        assert_eq!(brannet.makers, ["Quellmoor".to_owned()].into());
        let both = |a, b| vocabulary.together(a, b);
        assert_eq!(both(("shape", "Brannet"), ("pattern", "Vine")), 2);
        assert_eq!(both(("pattern", "Vine"), ("shape", "Brannet")), 2);
        assert_eq!(both(("shape", "Vine"), ("glaze", "Brannet")), 1);
        assert_eq!(both(("shape", "Brannet"), ("glaze", "Brannet")), 0);
        assert_eq!(both(("shape", "nowhere"), ("pattern", "Vine")), 0);
        assert_eq!(vocabulary.known("pattern", "Brannet"), None);
        assert_eq!(vocabulary.known("shine", "Brannet"), None);
    }
}
