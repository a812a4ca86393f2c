//! Distances of a piece on a lattice in space: what soft light asks for a thousand times where a surface is not near.

use crate::vec3::{V3, lerp, v3};

/// Signed distances at the nodes of a lattice round a piece.
#[derive(Clone, Debug)]
pub(crate) struct Coarse {
    low: V3,
    per_mm: f32,
    /// Width of a cell, mm.
    cell_mm: f32,
    size: [usize; 3],
    mm: Vec<f32>,
}

/// About how many nodes a lattice has: a cell is 3 to 4 mm wide on a cup, 5 mm on a platter.
const NODES: f32 = 24_000.0;

/// How far the lattice reaches beyond the piece, mm: shade is asked for in the hollow round a surface, light on its way.
const MARGIN_MM: f32 = 14.0;

impl Coarse {
    /// A lattice over the box from `low` to `high`, filled by `distance`.
    pub(crate) fn new(low: V3, high: V3, distance: impl Fn(V3) -> f32) -> Coarse {
        let margin = V3::splat(MARGIN_MM);
        let low = low - margin;
        let span = high + margin - low;
        let cell_mm = (span.x * span.y * span.z / NODES).cbrt();
        let size = [span.x, span.y, span.z].map(|s| (s / cell_mm).ceil() as usize + 1);
        let mut mm = Vec::with_capacity(size[0] * size[1] * size[2]);
        for k in 0..size[2] {
            for j in 0..size[1] {
                for i in 0..size[0] {
                    mm.push(distance(low + v3(i as f32, j as f32, k as f32) * cell_mm));
                }
            }
        }
        Coarse {
            low,
            per_mm: 1.0 / cell_mm,
            cell_mm,
            size,
            mm,
        }
    }

    /// The distance at `p`, blended between the nodes; none where a surface is so near that blending would not do. Beyond
    /// the lattice it is between what it would be if the piece lay straight behind the lattice's edge and if it lay
    /// square to that.
    pub(crate) fn at(&self, p: V3) -> Option<f32> {
        let q = (p - self.low) * self.per_mm;
        let [nx, ny, nz] = self.size;
        let inside = |v: f32, n: usize| v.clamp(0.0, n as f32 - 1.001);
        let c = v3(inside(q.x, nx), inside(q.y, ny), inside(q.z, nz));
        let (i, j, k) = (c.x as usize, c.y as usize, c.z as usize);
        let (x, y, z) = (c.x - i as f32, c.y - j as f32, c.z - k as f32);
        let first = (k * ny + j) * nx + i;
        let row = |at: usize| lerp(self.mm[at], self.mm[at + 1], x);
        let layer = |at: usize| lerp(row(at), row(at + nx), y);
        let d = lerp(layer(first), layer(first + nx * ny), z);
        if d <= 1.5 * self.cell_mm {
            return None;
        }
        let out = (q - c).dot(q - c);
        if out < 1e-2 {
            return Some(d);
        }
        let beyond = out.sqrt() * self.cell_mm;
        Some(0.5 * (d + beyond + (d * d + beyond * beyond).sqrt()))
    }

    /// True where `p` lies in the lattice.
    pub(crate) fn holds(&self, p: V3) -> bool {
        let q = (p - self.low) * self.per_mm;
        let within = |v: f32, n: usize| v >= 0.0 && v < n as f32 - 1.0;
        let [nx, ny, nz] = self.size;
        within(q.x, nx) && within(q.y, ny) && within(q.z, nz)
    }

    /// How far a blended distance may be too large, mm.
    pub(crate) fn doubt_mm(&self) -> f32 {
        0.5 * self.cell_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn away_from_a_ball_the_lattice_gives_its_distance() {
        let distance = |p: V3| p.length() - 40.0;
        let c = Coarse::new(V3::splat(-40.0), V3::splat(40.0), distance);
        let mut known = 0;
        for i in 0..4_000 {
            let at = |k: usize| ((i * k) % 997) as f32 / 997.0 * 130.0 - 65.0;
            let p = v3(at(7), at(61), at(389));
            let Some(d) = c.at(p) else {
                assert!(distance(p) < 1.6 * c.cell_mm, "{p:?}");
                continue;
            };
            if !c.holds(p) {
                assert!((d / distance(p) - 1.0).abs() < 0.25, "{p:?} {d}");
                continue;
            }
            known += 1;
            assert!((d - distance(p)).abs() < c.doubt_mm() * 0.2, "{p:?} {d}");
        }
        assert!(known > 500, "{known}");
    }
}
