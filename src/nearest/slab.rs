//! Rows of equal length in one block of memory.

use crate::error::{Error, Kind, Result};

/// Finite rows of equal length, one after the other.
#[derive(Clone, Debug, PartialEq)]
pub struct Slab {
    dim: usize,
    values: Vec<f32>,
}

impl Slab {
    /// No rows yet, of `dim` entries each.
    ///
    /// # Errors
    /// [`Kind::Internal`] if `dim` is 0.
    pub fn empty(dim: usize) -> Result<Self> {
        Self::new(dim, Vec::new())
    }

    /// Checks and wraps rows of `dim` entries each.
    ///
    /// # Errors
    /// [`Kind::Internal`] if `dim` is 0, the rows are not whole, an entry is not
    /// finite, or there are more rows than an id can count.
    pub fn new(dim: usize, values: Vec<f32>) -> Result<Self> {
        if dim == 0 || !values.len().is_multiple_of(dim) {
            return Err(Error::new(Kind::Internal, "rows of vectors are not whole"));
        }
        if values.len() / dim >= u32::MAX as usize {
            return Err(Error::new(
                Kind::Internal,
                "there are more vectors than can be numbered",
            ));
        }
        if values.iter().any(|v| !v.is_finite()) {
            return Err(Error::new(Kind::Internal, "a row is not finite"));
        }
        Ok(Self { dim, values })
    }

    /// Appends one row.
    ///
    /// # Errors
    /// [`Kind::Internal`] if it has another dimension or is not finite.
    pub fn push(&mut self, row: &[f32]) -> Result<()> {
        super::check_query(self, row)?;
        self.values.extend_from_slice(row);
        Ok(())
    }

    /// Makes room for `rows` more rows.
    pub fn reserve(&mut self, rows: usize) {
        self.values.reserve_exact(rows * self.dim);
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.values.len() / self.dim
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// Number of entries of each row.
    pub fn dim(&self) -> usize {
        self.dim
    }

    /// One row.
    ///
    /// # Panics
    /// If there is no such row.
    pub fn row(&self, id: u32) -> &[f32] {
        let start = id as usize * self.dim;
        &self.values[start..start + self.dim]
    }

    /// All rows, one after the other.
    pub fn values(&self) -> &[f32] {
        &self.values
    }
}
