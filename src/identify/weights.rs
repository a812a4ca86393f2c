//! Which channels speak on which level, and how loudly.

use super::reading::Level;
use crate::{
    channel::{self, REGISTRY},
    error::{Error, Kind, Result},
};

/// Weight of each channel, by position in the registry.
type Row = [f64; REGISTRY.len()];

/// Weights for ranking. A channel that either side lacks is left out and the
/// others share its weight.
#[derive(Clone, Debug, PartialEq)]
pub struct Weights {
    overall: Row,
    form: Row,
    pattern: Row,
    glaze: Row,
}

/// All channels together; chosen on one half of the real sets.
const OVERALL: &[(&str, f64)] = &[
    ("outline", 0.05),
    ("form", 0.10),
    ("decoration", 0.35),
    ("colour", 0.45),
    ("general", 0.05),
];
/// Piece type and shape are read from the outline and the moulded form.
const FORM: &[(&str, f64)] = &[("outline", 0.5), ("form", 0.5)];
/// The pattern is read from the surface. Colour helps little: one pattern is
/// sold in several colours.
const PATTERN: &[(&str, f64)] = &[("decoration", 0.8), ("colour", 0.2)];
/// A glaze is a colour.
const GLAZE: &[(&str, f64)] = &[("colour", 1.0)];

impl Default for Weights {
    fn default() -> Self {
        Self {
            overall: row(OVERALL),
            form: row(FORM),
            pattern: row(PATTERN),
            glaze: row(GLAZE),
        }
    }
}

fn row(weights: &[(&str, f64)]) -> Row {
    std::array::from_fn(|i| {
        weights
            .iter()
            .find(|(name, _)| *name == REGISTRY[i].name)
            .map_or(0.0, |(_, weight)| *weight)
    })
}

impl Weights {
    /// Ranks by the named channels alone, in the proportion in which they stand
    /// on the level they decide (a comma-separated list from `--by`).
    ///
    /// # Errors
    /// [`Kind::Usage`] if a name is no channel.
    pub fn by(names: &str) -> Result<Self> {
        let mut weights = Self::default();
        let mut overall = [0.0; REGISTRY.len()];
        for name in names.split(',').map(str::trim).filter(|n| !n.is_empty()) {
            let channel = channel::position(name).ok_or_else(|| {
                let known: Vec<&str> = REGISTRY.iter().map(|c| c.name).collect();
                Error::new(Kind::Usage, format!("`{name}` is no channel"))
                    .remedy(format!("use one or more of {}", known.join(", ")))
            })?;
            overall[channel] = [&weights.form, &weights.pattern, &weights.glaze]
                .iter()
                .map(|row| row[channel])
                .find(|weight| *weight > 0.0)
                .unwrap_or(0.5);
        }
        if overall.iter().all(|w| *w == 0.0) {
            return Err(Error::new(Kind::Usage, "--by names no channel"));
        }
        weights.overall = overall;
        Ok(weights)
    }

    /// The same with one level's weights for all channels together.
    pub(super) fn alone(&self, level: Level) -> Self {
        let overall = match level {
            Level::Form | Level::Shape => self.form,
            Level::Pattern => self.pattern,
            Level::Glaze => self.glaze,
        };
        Self {
            overall,
            ..self.clone()
        }
    }

    /// Whether a channel counts for anything.
    pub(super) fn any(&self, channel: usize) -> bool {
        [&self.overall, &self.form, &self.pattern, &self.glaze]
            .iter()
            .any(|row| row[channel] > 0.0)
    }

    pub(super) fn overall(&self, d: &[Option<f64>]) -> Option<f64> {
        mean(&self.overall, d)
    }
    pub(super) fn level(&self, level: Level, d: &[Option<f64>]) -> Option<f64> {
        match level {
            Level::Form | Level::Shape => mean(&self.form, d),
            Level::Pattern => mean(&self.pattern, d),
            Level::Glaze => mean(&self.glaze, d),
        }
    }
}

/// Weighted mean of the distances that exist.
fn mean(weights: &Row, distances: &[Option<f64>]) -> Option<f64> {
    let (mut sum, mut total) = (0.0, 0.0);
    for (weight, distance) in weights.iter().zip(distances) {
        if let Some(distance) = distance
            && *weight > 0.0
        {
            sum += weight * distance;
            total += weight;
        }
    }
    (total > 0.0).then(|| sum / total)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_absent_channel_is_left_out_and_never_a_difference() {
        let weights = Weights::default();
        let mut d = [Some(0.4); REGISTRY.len()];
        let all = weights.overall(&d).unwrap();
        d[channel::position("colour").unwrap()] = None;
        assert!((weights.overall(&d).unwrap() - all).abs() < 1e-12);
        assert_eq!(weights.level(Level::Glaze, &d), None);
    }

    #[test]
    fn by_ranks_by_the_named_channels_alone() {
        let weights = Weights::by("outline").unwrap();
        let mut d = [Some(0.9); REGISTRY.len()];
        d[channel::position("outline").unwrap()] = Some(0.2);
        assert!((weights.overall(&d).unwrap() - 0.2).abs() < 1e-12);
        assert_eq!(
            Weights::by("shine").unwrap_err().kind(),
            crate::error::Kind::Usage
        );
        assert!(Weights::by(" , ").is_err());
    }
}
