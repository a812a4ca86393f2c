//! What the user knows already: typed-in facts, which go before what a photo
//! resembles.
//!
//! A level that is told is settled. A told piece type leaves pieces of other types
//! out where the shape is read, for their outlines say nothing of it. Sizes and
//! marks weigh and never exclude: sizes are bands, and marks are faked, reused and
//! added by decorators (common practice, no source).

use super::reading::Level;
use crate::{
    cabinet::Labels,
    error::{Error, Kind, Result},
};

/// Size of one step of doubt, as a ratio: pieces of one kind and maker differ by
/// so much (a dinner plate is 9 3/4 to 11 in, which is 6 % about its middle).
const SIZE_STEP: f64 = 0.06;

/// A contradiction of any kind counts no more than this many steps squared, halved.
const MOST: f64 = 3.0;

/// Where a mark differs.
const OTHER_MARK: f64 = 2.0;

/// The sharpness for which distances are lengthened: that of shapes at first (see
/// [`super::calibrate`]).
const SHARPNESS: f64 = 6.0;

/// Facts about the piece that is asked about.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Told {
    facts: Vec<(String, String)>,
}

/// What can be told.
pub const FACTS: [&str; 7] = [
    "form",
    "shape",
    "pattern",
    "glaze",
    "width_mm",
    "height_mm",
    "mark",
];

impl Told {
    /// Facts as `name=value`.
    ///
    /// # Errors
    /// [`Kind::Usage`] if a name is none of [`FACTS`], a value is missing, or a
    /// size is no number above 0.
    pub fn read(facts: &[String]) -> Result<Self> {
        let facts = facts.iter().map(|fact| read(fact));
        Ok(Self {
            facts: facts.collect::<Result<_>>()?,
        })
    }

    /// The label of a level, if it is told.
    pub fn label(&self, level: Level) -> Option<&str> {
        self.get(level.name())
    }

    fn get(&self, name: &str) -> Option<&str> {
        let fact = self.facts.iter().rev().find(|(known, _)| known == name);
        fact.map(|(_, value)| value.as_str())
    }

    /// By how much a piece's distance on a level is lengthened; `None` where it has
    /// no say on that level.
    pub(super) fn factor(&self, level: Level, labels: &Labels) -> Option<f64> {
        if self.facts.is_empty() {
            return Some(1.0);
        }
        let form = (self.get("form"), labels.get("form"));
        if level == Level::Shape
            && let (Some(told), Some(other)) = form
            && told != other
        {
            return None;
        }
        let against = match level {
            Level::Form | Level::Shape => self.size(labels) + self.mark(labels),
            Level::Pattern => self.mark(labels),
            Level::Glaze => 0.0,
        };
        Some((against.min(MOST) / SHARPNESS).exp())
    }

    fn size(&self, labels: &Labels) -> f64 {
        ["width_mm", "height_mm"]
            .into_iter()
            .filter_map(|name| {
                let told: f64 = self.get(name)?.parse().ok()?;
                let stated: f64 = labels.get(name)?.parse().ok()?;
                let steps = (told / stated).ln() / SIZE_STEP;
                Some(steps * steps / 2.0)
            })
            .filter(|against| against.is_finite())
            .sum()
    }

    fn mark(&self, labels: &Labels) -> f64 {
        match (self.get("mark"), labels.get("mark")) {
            (Some(told), Some(stated)) if !told.eq_ignore_ascii_case(stated) => OTHER_MARK,
            _ => 0.0,
        }
    }
}

fn read(fact: &str) -> Result<(String, String)> {
    let usage = |what: String| {
        Error::new(Kind::Usage, what).remedy(format!(
            "say --know NAME=VALUE, where NAME is one of {}",
            FACTS.join(", ")
        ))
    };
    let (name, value) = fact
        .split_once('=')
        .map(|(name, value)| (name.trim(), value.trim()))
        .filter(|(_, value)| !value.is_empty())
        .ok_or_else(|| usage(format!("`{fact}` says no NAME=VALUE")))?;
    if !FACTS.contains(&name) {
        return Err(usage(format!("`{name}` is nothing that can be told")));
    }
    let is_size = name.ends_with("_mm");
    if is_size
        && !value
            .parse()
            .is_ok_and(|mm: f64| mm > 0.0 && mm.is_finite())
    {
        return Err(usage(format!("`{value}` is no size in millimetres")));
    }
    Ok((name.to_owned(), value.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(facts: &[&str]) -> Told {
        let facts: Vec<String> = facts.iter().map(|f| (*f).to_owned()).collect();
        Told::read(&facts).unwrap()
    }

    #[test]
    fn a_told_piece_type_leaves_others_out_of_the_shape_alone() {
        let told = told(&["form=teapot"]);
        let saucer = Labels::of(&[("form", "saucer")]);
        assert_eq!(told.factor(Level::Shape, &saucer), None);
        assert_eq!(told.factor(Level::Pattern, &saucer), Some(1.0));
        assert_eq!(told.factor(Level::Shape, &Labels::of(&[])), Some(1.0));
    }

    /// Common practice, no source: a size re-ranks and warns, it never excludes.
    #[test]
    fn sizes_and_marks_weigh_and_never_exclude() {
        let told = told(&["width_mm=152", "mark=a moor hen"]);
        let near = Labels::of(&[("width_mm", "150"), ("mark", "A Moor Hen")]);
        let far = Labels::of(&[("width_mm", "270")]);
        let other = Labels::of(&[("width_mm", "152"), ("mark", "a heron")]);
        let factor = |l: &Labels| told.factor(Level::Form, l).unwrap();
        assert!(factor(&near) < 1.02);
        assert!(factor(&far) > 1.5 && factor(&far) < 2.0);
        assert!(factor(&other) > 1.2);
    }

    #[test]
    fn what_cannot_be_told_is_refused() {
        for fact in ["teapot", "form=", "price=3", "width_mm=wide", "width_mm=-3"] {
            let refused = Told::read(&[fact.to_owned()]).unwrap_err();
            assert_eq!(refused.kind(), Kind::Usage, "{fact}");
        }
    }
}
