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
    form_at_an_angle: Row,
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
const FORM: &[(&str, f64)] = &[("outline", 0.3), ("form", 0.7)];
/// Where one of two photos was taken at an angle or from above, or from nobody knows
/// where, its outline is as much the camera's doing as the potter's.
const FORM_AT_AN_ANGLE: &[(&str, f64)] = &[("outline", 0.1), ("form", 0.9)];
/// How much the decoration has to say in which shape a piece is: a set that knows
/// a pattern knows on which shapes it is found. Chosen in the studio's world 88003;
/// more would read a known pattern on another shape as the shape it is known on.
const DECORATION_IN_SHAPE: f64 = 0.26;
/// By how much a shape is nearer where moulding and decoration point to one and the
/// same piece. Chosen in that world too.
const BY_BOTH: f64 = 0.78;
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
            form_at_an_angle: row(FORM_AT_AN_ANGLE),
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
    /// The distance of two views on a level; for a shape that of the moulding alone
    /// (see [`shape`]). `level_on`: whether both are known to be level on.
    pub(super) fn level(&self, level: Level, d: &[Option<f64>], level_on: bool) -> Option<f64> {
        match level {
            Level::Form | Level::Shape if level_on => mean(&self.form, d),
            Level::Form | Level::Shape => mean(&self.form_at_an_angle, d),
            Level::Pattern => mean(&self.pattern, d),
            Level::Glaze => mean(&self.glaze, d),
        }
    }
}

/// The distance of a piece on the level of shapes: its moulding's, and its
/// decoration's where both sides show one. A geometric mean, so that what counts
/// is by how many times one piece is nearer than another.
pub(super) fn shape(moulding: f64, decoration: Option<f64>) -> f64 {
    match decoration {
        Some(decoration) => {
            moulding.powf(1.0 - DECORATION_IN_SHAPE) * decoration.powf(DECORATION_IN_SHAPE)
        }
        None => moulding,
    }
}

/// The distance on the level of shapes of a piece that is among the nearest both by
/// its moulding and by its decoration: it is likely the same piece, or one made
/// alike.
pub(super) fn by_both(distance: f64) -> f64 {
    distance * BY_BOTH
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
        assert_eq!(weights.level(Level::Glaze, &d, true), None);
    }

    #[test]
    fn at_an_angle_the_outline_counts_for_less() {
        let weights = Weights::default();
        let mut d = [Some(0.2); REGISTRY.len()];
        d[channel::position("outline").unwrap()] = Some(0.8);
        let distance = |level_on| weights.level(Level::Form, &d, level_on).unwrap();
        assert!((distance(true) - 0.38).abs() < 1e-12);
        assert!((distance(false) - 0.26).abs() < 1e-12);
    }

    #[test]
    fn a_decoration_confirms_a_shape_and_does_not_make_it() {
        // The same piece again is nearer than one that is like it in one of both,
        // and a moulding far off is not made good by a decoration.
        assert!(shape(0.2, Some(0.2)) < shape(0.2, Some(0.8)));
        assert!(shape(0.2, Some(0.8)) < shape(0.8, Some(0.2)));
        assert_eq!(shape(0.4, None), 0.4);
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
