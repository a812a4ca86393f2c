//! A descriptor as numbers, checked once on the way in, and the distances
//! between two of them.

use crate::error::{Error, Kind, Result};

/// A finite descriptor vector. Holding one proves that it has at least one
/// entry and no NaN or infinity, which the graph index could not survive.
#[derive(Clone, Debug, PartialEq)]
pub struct Vector(Box<[f32]>);

impl Vector {
    /// Checks and wraps `values`.
    ///
    /// # Errors
    /// [`Kind::Internal`] if empty or if any entry is not finite.
    pub fn new(values: impl Into<Box<[f32]>>) -> Result<Self> {
        let values = values.into();
        if values.is_empty() || values.iter().any(|v| !v.is_finite()) {
            return Err(Error::new(
                Kind::Internal,
                "a descriptor is empty or not finite",
            ));
        }
        Ok(Self(values))
    }

    /// The same, scaled to unit Euclidean length (left as it is when all zero).
    ///
    /// # Errors
    /// As [`Vector::new`].
    pub fn unit(values: impl Into<Box<[f32]>>) -> Result<Self> {
        let mut values = values.into();
        let norm = values.iter().map(|v| v * v).sum::<f32>().sqrt();
        if norm > 0.0 {
            values.iter_mut().for_each(|v| *v /= norm);
        }
        Self::new(values)
    }

    /// The entries.
    pub fn as_slice(&self) -> &[f32] {
        &self.0
    }

    /// Number of entries.
    pub fn dim(&self) -> usize {
        self.0.len()
    }

    /// Little-endian bytes, 4 per entry: the form kept on disk.
    pub fn to_bytes(&self) -> Vec<u8> {
        self.0.iter().flat_map(|v| v.to_le_bytes()).collect()
    }

    /// Reads what [`Vector::to_bytes`] wrote.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] if the length is not a multiple of 4 or an entry is not finite.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self> {
        let (chunks, rest) = bytes.as_chunks::<4>();
        if !rest.is_empty() {
            return Err(Error::new(
                Kind::Cabinet,
                "a stored descriptor has a broken length",
            ));
        }
        let values: Vec<f32> = chunks.iter().map(|c| f32::from_le_bytes(*c)).collect();
        Self::new(values)
            .map_err(|_| Error::new(Kind::Cabinet, "a stored descriptor is empty or not finite"))
    }
}

/// Numbers of one place of [`Metric::Places`].
pub const PLACE: usize = 32;

/// How far two vectors of one channel are apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Metric {
    /// Sum of absolute differences.
    L1,
    /// Euclidean distance. On unit vectors this orders as the cosine does.
    L2,
    /// Sets of places, in no order: [`PLACE`] numbers each, as long as the place
    /// weighs. Every place looks for the one most like it in the other set
    /// (cosine); the mean by weight, both ways, is the likeness, and the distance
    /// that of unit vectors with such a cosine. (Sets compared by the best match
    /// of each member: Khattab & Zaharia 2020, there for words.)
    Places,
}

impl Metric {
    /// Distance between two slices of equal length.
    pub fn distance(self, a: &[f32], b: &[f32]) -> f32 {
        debug_assert_eq!(a.len(), b.len());
        // Eight running sums let the compiler use vector instructions, which a
        // single floating-point sum forbids.
        let mut sums = [0.0f32; 8];
        let (a8, a_rest) = a.as_chunks::<8>();
        let (b8, b_rest) = b.as_chunks::<8>();
        match self {
            Self::L1 => {
                for (x, y) in a8.iter().zip(b8) {
                    for i in 0..8 {
                        sums[i] += (x[i] - y[i]).abs();
                    }
                }
                let rest: f32 = a_rest.iter().zip(b_rest).map(|(x, y)| (x - y).abs()).sum();
                sums.iter().sum::<f32>() + rest
            }
            Self::L2 => {
                for (x, y) in a8.iter().zip(b8) {
                    for i in 0..8 {
                        let d = x[i] - y[i];
                        sums[i] += d * d;
                    }
                }
                let rest: f32 = a_rest
                    .iter()
                    .zip(b_rest)
                    .map(|(x, y)| (x - y) * (x - y))
                    .sum();
                (sums.iter().sum::<f32>() + rest).sqrt()
            }
            Self::Places => places_apart(a, b),
        }
    }
}

/// [`Metric::Places`]. A place of no weight says nothing.
fn places_apart(a: &[f32], b: &[f32]) -> f32 {
    let (a, b) = (places(a), places(b));
    let mut found_for_b = vec![-1.0f32; b.len()];
    let mut found_for_a = Vec::with_capacity(a.len());
    for (direction, _) in &a {
        let mut best = -1.0f32;
        for ((other, _), found) in b.iter().zip(&mut found_for_b) {
            let cosine = dot(direction, other);
            best = best.max(cosine);
            *found = found.max(cosine);
        }
        found_for_a.push(best);
    }
    let mean = |places: &[Place], found: &[f32]| {
        let weight: f32 = places.iter().map(|place| place.1).sum();
        let sum: f32 = places.iter().zip(found).map(|((_, w), f)| w * f).sum();
        if weight > 0.0 { sum / weight } else { 0.0 }
    };
    let likeness = (mean(&a, &found_for_a) + mean(&b, &found_for_b)) / 2.0;
    (2.0 - 2.0 * likeness).max(0.0).sqrt()
}

/// The direction of a place and its weight.
type Place = ([f32; PLACE], f32);

fn places(set: &[f32]) -> Vec<Place> {
    let (places, _) = set.as_chunks::<PLACE>();
    places
        .iter()
        .filter_map(|place| {
            let weight = dot(place, place).sqrt();
            (weight > 0.0).then(|| (place.map(|v| v / weight), weight))
        })
        .collect()
}

/// In eight running sums, as above.
fn dot(a: &[f32; PLACE], b: &[f32; PLACE]) -> f32 {
    let mut sums = [0.0f32; 8];
    for (i, (x, y)) in a.iter().zip(b).enumerate() {
        sums[i % 8] += x * y;
    }
    sums.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made_up(places: usize, value: impl Fn(f32) -> f32, weights: &[f32]) -> Vec<f32> {
        (0..places * PLACE)
            .map(|i| value(i as f32) * weights[i / PLACE])
            .collect()
    }

    /// Against NumPy 2: cosines as one matrix product, `max` along both axes and
    /// `average` by the weights gave 1.2574882.
    #[test]
    fn sets_of_places_are_as_far_apart_as_numpy_says() {
        let a = made_up(3, |i| (0.37 * i).sin(), &[1.0, 0.5, 0.25]);
        let b = made_up(3, |i| (0.23 * i + 0.5).cos(), &[0.2, 0.7, 0.4]);
        let distance = |a: &[f32], b: &[f32]| Metric::Places.distance(a, b);
        assert!((distance(&a, &b) - 1.257_488_2).abs() < 1e-5);
        assert!((distance(&b, &a) - 1.257_488_2).abs() < 1e-5);
        assert!(distance(&a, &a) < 1e-3);
    }

    #[test]
    fn places_have_no_order_and_one_without_weight_says_nothing() {
        let a = made_up(2, |i| (0.37 * i).sin(), &[1.0, 0.5]);
        let turned = [&a[PLACE..], &a[..PLACE]].concat();
        assert!(Metric::Places.distance(&a, &turned) < 1e-3);
        let b = made_up(2, |i| (0.23 * i).cos(), &[1.0, 0.0]);
        let other = [&b[..PLACE], &[0.0; PLACE]].concat();
        assert_eq!(
            Metric::Places.distance(&a, &b),
            Metric::Places.distance(&a, &other)
        );
        let nothing = [0.0; 2 * PLACE];
        assert!(Metric::Places.distance(&a, &nothing) > 1.4);
    }
}
