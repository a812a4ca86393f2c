//! A contour brought to a common form, as it is kept and aligned.

use super::{Outline, Ring, edges, resample, ring_area_px2};

/// Points of a contour that is aligned.
pub(super) const POINTS: usize = 100;

/// Entries of a [`Contour`] as numbers.
pub const DIM: usize = 2 * POINTS;

/// Place and direction.
pub(super) const PLACE: usize = 4;
/// How much the direction counts beside the place, in sides of a square of the
/// piece's area.
const DIRECTION: f32 = 0.3;

/// A contour brought to a common form: [`POINTS`] points evenly spaced, counter-
/// clockwise as seen, from below the middle on; the middle of the box at the
/// origin; of area 1 before it was thinned.
#[derive(Clone, Debug, PartialEq)]
pub struct Contour([[f32; 2]; POINTS]);

impl Contour {
    /// How an outline is brought to its contour: the point that comes to the
    /// origin, and the length that comes to 1, both in the outline's unit.
    /// `None` if the outer contour has no extent.
    pub fn frame(outline: &Outline) -> Option<([f32; 2], f32)> {
        let area = ring_area_px2(&outline.outer);
        let bounds = outline.bounds();
        let root = area.abs().sqrt() as f32;
        let extent = bounds.width().max(bounds.height());
        if !(extent > 0.0 && root > 1e-3 * extent) {
            return None;
        }
        let middle = [
            (bounds.left + bounds.right) / 2.0,
            (bounds.top + bounds.bottom) / 2.0,
        ];
        Some((middle, root))
    }

    /// Of a piece's outer contour; `None` if that has no extent.
    pub fn new(outline: &Outline) -> Option<Self> {
        let (middle, root) = Self::frame(outline)?;
        let mut ring: Ring = outline
            .outer
            .iter()
            .map(|p| [(p[0] - middle[0]) / root, (p[1] - middle[1]) / root])
            .collect();
        if ring_area_px2(&ring) < 0.0 {
            ring.reverse();
        }
        let ring = resample(&from_below(ring), POINTS);
        Some(Self(ring.try_into().ok()?))
    }

    /// From the numbers of [`Contour::as_slice`].
    pub fn from_slice(numbers: &[f32]) -> Option<Self> {
        let (pairs, rest) = numbers.as_chunks::<2>();
        (rest.is_empty()).then_some(())?;
        Some(Self(pairs.try_into().ok()?))
    }

    /// x and y of each point.
    pub fn as_slice(&self) -> &[f32] {
        self.0.as_flattened()
    }

    /// Its points.
    pub fn points(&self) -> &[[f32; 2]; POINTS] {
        &self.0
    }

    /// Its mirror image, left for right.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let mut points = self.0.map(|[x, y]| [-x, y]);
        points[1..].reverse();
        Self(points)
    }

    /// Place and direction at each point.
    pub(super) fn places(&self) -> [[f32; PLACE]; POINTS] {
        std::array::from_fn(|i| {
            let (before, after) = (self.0[(i + POINTS - 2) % POINTS], self.0[(i + 2) % POINTS]);
            let along = [after[0] - before[0], after[1] - before[1]];
            let scale = DIRECTION / (along[0].hypot(along[1]) + 1e-9);
            let [x, y] = self.0[i];
            [x, y, along[0] * scale, along[1] * scale]
        })
    }
}

/// Begins the walk at the lowest place straight below the middle of the area,
/// so that the points lie alike wherever the ring began.
fn from_below(mut ring: Ring) -> Ring {
    let (mut moment, mut area) = (0.0f64, 0.0f64);
    for (a, b) in edges(&ring) {
        let [a, b] = [a, b].map(|p| p.map(f64::from));
        let cross = a[0] * b[1] - b[0] * a[1];
        moment += (a[0] + b[0]) * cross;
        area += 3.0 * cross;
    }
    let x = (moment / area) as f32;
    let lowest = edges(&ring)
        .enumerate()
        .filter(|(_, (a, b))| (a[0] > x) != (b[0] > x))
        .map(|(i, (a, b))| (i, a[1] + (b[1] - a[1]) * (x - a[0]) / (b[0] - a[0])))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((i, y)) = lowest {
        ring.rotate_left(i);
        // Between what is now the first point and the second.
        ring.rotate_left(1);
        ring.insert(0, [x, y]);
    }
    ring
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_contour_survives_being_kept_and_what_has_no_extent_is_refused() {
        let contour = Contour::new(&Outline {
            outer: vec![[3.0, 4.0], [5.0, 30.0], [40.0, 22.0], [31.0, 7.0]],
            holes: Vec::new(),
        })
        .unwrap();
        assert_eq!(Contour::from_slice(contour.as_slice()), Some(contour));
        assert_eq!(Contour::from_slice(&[0.0; 7]), None);
        let flat = Outline {
            outer: vec![[0.0, 0.0], [5.0, 0.0], [9.0, 0.0]],
            holes: Vec::new(),
        };
        assert!(Contour::new(&flat).is_none());
        assert!(Contour::new(&Outline::default()).is_none());
    }
}
