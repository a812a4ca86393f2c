//! A look-up table from a point of a plane to the nearest segment of a polyline.
//!
//! The table only says *which* segment is near; the distance is then measured exactly, so that the cell size limits
//! neither the smoothness nor the place of a surface.

use crate::section::Pt;

/// Nearest-segment table over a rectangle.
#[derive(Clone, Debug)]
pub struct Field {
    points: Vec<Pt>,
    /// Start, direction and the inverse of the squared length of every segment.
    segments: Vec<[f32; 5]>,
    /// Normals at the vertices (right of the walking direction): a point whose nearest point is a vertex takes its side
    /// from them, because neither of the two segments alone can tell.
    normals: Vec<Pt>,
    origin: Pt,
    per_mm: f32,
    columns: usize,
    rows: usize,
    nearest: Vec<u16>,
}

/// The nearest point of the polyline.
#[derive(Clone, Copy, Debug)]
pub struct Near {
    /// Index of the segment's first vertex.
    pub segment: usize,
    /// Place on the segment, 0..1.
    pub along: f32,
    /// Distance, mm, unsigned.
    pub distance_mm: f32,
    /// +1 right of the polyline (outside a section), −1 left.
    pub side: f32,
}

impl Field {
    /// A table for a polyline with a cell of `cell_mm`, reaching `margin_mm` beyond it.
    pub fn new(points: &[Pt], cell_mm: f32, margin_mm: f32) -> Field {
        let mut lo = [f32::MAX; 2];
        let mut hi = [f32::MIN; 2];
        for p in points {
            for k in 0..2 {
                lo[k] = lo[k].min(p[k] - margin_mm);
                hi[k] = hi[k].max(p[k] + margin_mm);
            }
        }
        let per_mm = 1.0 / cell_mm;
        let columns = ((hi[0] - lo[0]) * per_mm).ceil() as usize + 1;
        let rows = ((hi[1] - lo[1]) * per_mm).ceil() as usize + 1;
        let mut field = Field {
            points: points.to_vec(),
            segments: points
                .windows(2)
                .map(|w| {
                    let e = [w[1][0] - w[0][0], w[1][1] - w[0][1]];
                    let l = (e[0] * e[0] + e[1] * e[1]).max(1e-9);
                    [w[0][0], w[0][1], e[0], e[1], 1.0 / l]
                })
                .collect(),
            normals: vertex_normals(points),
            origin: lo,
            per_mm,
            columns,
            rows,
            nearest: vec![u16::MAX; columns * rows],
        };
        // Squared distances.
        let mut best = vec![f32::MAX; columns * rows];
        field.seed(cell_mm, &mut best);
        field.spread(cell_mm, &mut best);
        field
    }

    /// Marks the cells that segments run through.
    fn seed(&mut self, cell_mm: f32, best: &mut [f32]) {
        for i in 0..self.points.len() - 1 {
            let (a, b) = (self.points[i], self.points[i + 1]);
            let steps = ((a[0] - b[0]).hypot(a[1] - b[1]) / cell_mm * 2.0).ceil() as usize + 1;
            for k in 0..=steps {
                let t = k as f32 / steps as f32;
                let p = [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];
                let c = self.cell(p);
                self.offer(c, i, cell_mm, best);
            }
        }
    }

    /// Carries nearest segments from cell to cell, forwards and backwards, until two rounds are done.
    fn spread(&mut self, cell_mm: f32, best: &mut [f32]) {
        let (w, h) = (self.columns as isize, self.rows as isize);
        let near = [(-1, -1), (0, -1), (1, -1), (-1, 0)];
        for _ in 0..2 {
            for sign in [1isize, -1] {
                for k in 0..w * h {
                    let c = if sign > 0 { k } else { w * h - 1 - k };
                    let (x, y) = (c % w, c / w);
                    for (dx, dy) in near {
                        let (nx, ny) = (x + dx * sign, y + dy * sign);
                        if nx < 0 || ny < 0 || nx >= w || ny >= h {
                            continue;
                        }
                        let s = self.nearest[(ny * w + nx) as usize];
                        if s != u16::MAX && s != self.nearest[c as usize] {
                            let s = s as usize;
                            for j in s.saturating_sub(1)..=(s + 1).min(self.points.len() - 2) {
                                self.offer(c as usize, j, cell_mm, best);
                            }
                        }
                    }
                }
            }
        }
    }

    fn offer(&mut self, cell: usize, segment: usize, cell_mm: f32, best: &mut [f32]) {
        let p = [
            self.origin[0] + (cell % self.columns) as f32 * cell_mm,
            self.origin[1] + (cell / self.columns) as f32 * cell_mm,
        ];
        let [ax, ay, ex, ey, inverse] = self.segments[segment];
        let (px, py) = (p[0] - ax, p[1] - ay);
        let along = ((px * ex + py * ey) * inverse).clamp(0.0, 1.0);
        let (dx, dy) = (px - ex * along, py - ey * along);
        let far = dx * dx + dy * dy;
        if far < best[cell] {
            best[cell] = far;
            self.nearest[cell] = segment as u16;
        }
    }

    #[inline]
    fn cell(&self, p: Pt) -> usize {
        let x = ((p[0] - self.origin[0]) * self.per_mm + 0.5).max(0.0) as usize;
        let y = ((p[1] - self.origin[1]) * self.per_mm + 0.5).max(0.0) as usize;
        y.min(self.rows - 1) * self.columns + x.min(self.columns - 1)
    }

    /// Exact distance to one segment.
    #[inline(always)]
    fn measure(&self, p: Pt, segment: usize) -> Near {
        let [ax, ay, ex, ey, inverse] = self.segments[segment];
        let (px, py) = (p[0] - ax, p[1] - ay);
        let along = ((px * ex + py * ey) * inverse).clamp(0.0, 1.0);
        let offset = [px - ex * along, py - ey * along];
        let turn = if along <= 0.0 || along >= 1.0 {
            let n = self.normals[segment + usize::from(along >= 1.0)];
            offset[0] * n[0] + offset[1] * n[1]
        } else {
            px * ey - py * ex
        };
        Near {
            segment,
            along,
            distance_mm: (offset[0] * offset[0] + offset[1] * offset[1]).sqrt(),
            side: if turn >= 0.0 { 1.0 } else { -1.0 },
        }
    }

    /// The nearest point, from the table's segment alone: quick, for marching.
    #[inline(always)]
    pub fn near(&self, p: Pt) -> Near {
        self.measure(p, self.nearest[self.cell(p)] as usize)
    }

    /// The nearest point, with the neighbouring segments tried as well: for shading.
    #[inline]
    pub fn near_exact(&self, p: Pt) -> Near {
        let s = self.nearest[self.cell(p)] as usize;
        let mut best = self.measure(p, s);
        // As far as it gets nearer, one way and the other.
        for j in s + 1..=(s + 3).min(self.segments.len() - 1) {
            let m = self.measure(p, j);
            if m.distance_mm >= best.distance_mm {
                break;
            }
            best = m;
        }
        for j in (s.saturating_sub(3)..s).rev() {
            let m = self.measure(p, j);
            if m.distance_mm >= best.distance_mm {
                break;
            }
            best = m;
        }
        best
    }
}

fn vertex_normals(points: &[Pt]) -> Vec<Pt> {
    let unit = |a: Pt, b: Pt| {
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let l = dx.hypot(dy).max(1e-9);
        [dy / l, -dx / l]
    };
    let n = points.len();
    (0..n)
        .map(|i| {
            let a = (i > 0).then(|| unit(points[i - 1], points[i]));
            let b = (i + 1 < n).then(|| unit(points[i], points[i + 1]));
            match (a, b) {
                (Some(a), Some(b)) => [a[0] + b[0], a[1] + b[1]],
                (Some(a), None) => a,
                (None, Some(b)) => b,
                (None, None) => [0.0, 1.0],
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_side_is_right_all_round_a_square_corner() {
        // Clay above and left of the corner at (30, 0).
        let f = Field::new(&[[0.0, 0.0], [30.0, 0.0], [30.0, 40.0]], 0.7, 9.0);
        for i in 0..400 {
            let p = [30.0 + 0.1 * (i % 20) as f32 + 0.05, -1.0 + 0.005 * i as f32];
            assert_eq!(f.near(p).side, 1.0, "{p:?}");
        }
        assert_eq!(f.near([29.0, 1.0]).side, -1.0);
    }

    #[test]
    fn distance_to_a_circle_is_exact() {
        let points: Vec<Pt> = (0..=180)
            .map(|i| {
                let a = (i as f32 - 90.0).to_radians();
                [50.0 * a.cos(), 50.0 * a.sin()]
            })
            .collect();
        let f = Field::new(&points, 0.8, 12.0);
        for (x, y) in [(20.0, 5.0), (55.0, 10.0), (30.0, -30.0), (10.0, 55.0)] {
            let n = f.near_exact([x, y]);
            let want = f32::hypot(x, y) - 50.0;
            assert!((n.distance_mm * n.side - want).abs() < 0.02, "{x} {y}");
            let q = f.near([x, y]);
            assert!((q.distance_mm - n.distance_mm).abs() < 0.3);
        }
    }
}
