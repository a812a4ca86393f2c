//! Handles, spouts and loop finials: an elliptic section swept along a curve in a plane through the axis.

use crate::field::Field;
use crate::section::{Pt, smooth};
use crate::vec3::{V3, lerp, smoothstep, v3};

/// What a tube is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A handle, lug or ear.
    Handle,
    /// A spout, bored at its tip.
    Spout,
    /// A loop on a lid.
    Finial,
}

/// A swept tube.
#[derive(Clone, Debug)]
pub struct Tube {
    /// What it is.
    pub kind: Kind,
    /// Cosine and sine of the direction of its plane.
    dir: (f32, f32),
    path: Vec<Pt>,
    half: Vec<[f32; 2]>,
    /// Widest half width, mm.
    widest_mm: f32,
    /// Radius of the joint to the body, mm.
    pub blend_mm: f32,
    /// Body that it joins.
    pub on: usize,
    /// Tip plane (point, normal) of a spout, and its wall in mm.
    tip: Option<(Pt, Pt, f32)>,
    field: Field,
}

impl Tube {
    /// A tube in the plane at `angle_rad` along `path` (distance from the axis, height), with half widths in the plane and
    /// across it for every point of the path.
    pub fn new(
        kind: Kind,
        angle_rad: f32,
        path: Vec<Pt>,
        half: Vec<[f32; 2]>,
        on: usize,
        blend_mm: f32,
    ) -> Tube {
        let widest_mm = half.iter().fold(0.0f32, |m, h| m.max(h[0]).max(h[1]));
        let field = Field::new(&path, 0.9, widest_mm + 8.0);
        Tube {
            kind,
            dir: (angle_rad.cos(), angle_rad.sin()),
            path,
            half,
            widest_mm,
            blend_mm,
            on,
            tip: None,
            field,
        }
    }

    /// Cuts the end of the path with a plane leaning `lean` (0 across the path, 1 level) and bores it.
    pub fn bored(mut self, wall_mm: f32, lean: f32) -> Tube {
        let n = self.path.len();
        let (a, b) = (self.path[n - 4], self.path[n - 1]);
        let l = (b[0] - a[0]).hypot(b[1] - a[1]).max(1e-6);
        let along = [(b[0] - a[0]) / l, (b[1] - a[1]) / l];
        let m = [lerp(along[0], 0.0, lean), lerp(along[1], 1.0, lean)];
        let k = m[0].hypot(m[1]).max(1e-6);
        self.tip = Some((b, [m[0] / k, m[1] / k], wall_mm));
        // The swept end must pass the plane, or its round cap would show.
        let reach = self.half[n - 1][0] * 1.6 + 3.0;
        let end = [b[0] + along[0] * reach, b[1] + along[1] * reach];
        let last = self.half[n - 1];
        self.path.push(end);
        self.half.push(last);
        self.field = Field::new(&self.path, 0.9, self.widest_mm + 8.0);
        self
    }

    fn plane(&self, p: V3) -> (Pt, f32) {
        let (c, s) = self.dir;
        ([p.x * c + p.z * s, p.y], p.z * c - p.x * s)
    }

    /// Signed distance, approximately Euclidean, never much too large.
    pub fn distance(&self, p: V3) -> f32 {
        let (q, z) = self.plane(p);
        let near = self.field.near(q);
        self.measure(q, z, near.distance_mm, near.segment, near.along)
            .0
    }

    fn measure(&self, q: Pt, z: f32, d: f32, i: usize, t: f32) -> (f32, bool) {
        let a = lerp(self.half[i][0], self.half[i + 1][0], t);
        let b = lerp(self.half[i][1], self.half[i + 1][1], t);
        let outer = ellipse(d, z, a, b);
        let Some((at, n, wall)) = self.tip else {
            return (outer, false);
        };
        let cut = (q[0] - at[0]) * n[0] + (q[1] - at[1]) * n[1];
        let bore = ellipse(d, z, (a - wall).max(0.5), (b - wall).max(0.5));
        // Bored only near the tip: the rest of a spout is hidden, and the body behind it keeps its wall.
        let deep = (i as f32 + t) / (self.path.len() as f32 - 1.0);
        let bore = if deep > 0.55 { bore } else { 1e3 };
        let solid = outer.max(cut - 0.0);
        // A rounded lip: the maximum of the three, softened.
        let hollow = smooth_max(solid, -bore, 0.8);
        (hollow, -bore > solid)
    }

    /// Distance, outward normal and whether the point lies in the bore.
    pub fn surface(&self, p: V3) -> (f32, V3, bool) {
        let e = 0.12;
        let f = |v: V3| {
            let (q, z) = self.plane(v);
            let near = self.field.near_exact(q);
            self.measure(q, z, near.distance_mm, near.segment, near.along)
        };
        let (d, inside) = f(p);
        let g = |dx: f32, dy: f32, dz: f32| f(v3(p.x + dx, p.y + dy, p.z + dz)).0;
        let n = v3(
            g(e, 0.0, 0.0) - g(-e, 0.0, 0.0),
            g(0.0, e, 0.0) - g(0.0, -e, 0.0),
            g(0.0, 0.0, e) - g(0.0, 0.0, -e),
        );
        (d, n.unit(), inside)
    }

    /// A box round the tube: low and high corner.
    pub fn bounds(&self) -> (V3, V3) {
        let mut lo = V3::splat(f32::MAX);
        let mut hi = V3::splat(f32::MIN);
        let w = self.widest_mm + 0.5;
        for p in &self.path {
            for s in [-1.0, 1.0] {
                let x = p[0] * self.dir.0 - s * w * self.dir.1;
                let z = p[0] * self.dir.1 + s * w * self.dir.0;
                lo = v3(lo.x.min(x - w), lo.y.min(p[1] - w), lo.z.min(z - w));
                hi = v3(hi.x.max(x + w), hi.y.max(p[1] + w), hi.z.max(z + w));
            }
        }
        (lo, hi)
    }

    /// Points on the tube for framing a photo.
    pub fn hull(&self, out: &mut Vec<V3>) {
        let cut = usize::from(self.tip.is_some());
        for (i, p) in self
            .path
            .iter()
            .enumerate()
            .take(self.path.len() - cut)
            .step_by(2)
        {
            let a = self.half[i][0];
            for s in [-a, a] {
                out.push(v3((p[0] + s) * self.dir.0, p[1], (p[0] + s) * self.dir.1));
                out.push(v3(p[0] * self.dir.0, p[1] + s, p[0] * self.dir.1));
            }
        }
    }
}

fn smooth_max(a: f32, b: f32, k: f32) -> f32 {
    let h = ((k - (a - b).abs()).max(0.0)) / k;
    a.max(b) + h * h * k * 0.25
}

/// Distance to an ellipse, first order.
fn ellipse(x: f32, y: f32, a: f32, b: f32) -> f32 {
    let (u, v) = (x / a, y / b);
    let k0 = (u * u + v * v).sqrt();
    let (u2, v2) = (u / a, v / b);
    let k1 = (u2 * u2 + v2 * v2).sqrt();
    if k1 < 1e-6 {
        return -a.min(b);
    }
    k0 * (k0 - 1.0) / k1
}

/// A cubic Bézier curve in `n` steps.
pub fn bezier(a: Pt, b: Pt, c: Pt, d: Pt, n: usize) -> Vec<Pt> {
    (0..=n)
        .map(|i| {
            let t = i as f32 / n as f32;
            let s = 1.0 - t;
            let f = |k: usize| {
                a[k] * s * s * s
                    + 3.0 * b[k] * s * s * t
                    + 3.0 * c[k] * s * t * t
                    + d[k] * t * t * t
            };
            [f(0), f(1)]
        })
        .collect()
}

/// Half widths along a path of `n` points: thicker at the terminals by `swell` (a fraction).
pub fn terminals(n: usize, a_mm: f32, b_mm: f32, swell: f32) -> Vec<[f32; 2]> {
    (0..n)
        .map(|i| {
            let t = i as f32 / (n - 1).max(1) as f32;
            let end = 1.0 - smoothstep(0.0, 0.22, t.min(1.0 - t));
            let k = 1.0 + swell * end;
            [a_mm * k, b_mm * k]
        })
        .collect()
}

/// A polyline with rounded corners.
pub fn cornered(points: &[Pt], rounds: usize) -> Vec<Pt> {
    smooth(&crate::section::resample(points, 2.0), rounds)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_tube_is_a_cylinder() {
        let path = vec![[0.0, 0.0], [0.0, 25.0], [0.0, 50.0]];
        let t = Tube::new(Kind::Handle, 0.0, path, vec![[5.0, 5.0]; 3], 0, 1.0);
        assert!((t.distance(v3(9.0, 20.0, 0.0)) - 4.0).abs() < 1e-3);
        assert!((t.distance(v3(0.0, 20.0, 9.0)) - 4.0).abs() < 1e-3);
        let (_, n, _) = t.surface(v3(5.0, 20.0, 0.0));
        assert!((n - v3(1.0, 0.0, 0.0)).length() < 1e-2);
    }
}
