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

/// How far two vectors of one channel are apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Metric {
    /// Sum of absolute differences.
    L1,
    /// Euclidean distance. On unit vectors this orders as the cosine does.
    L2,
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
        }
    }
}
