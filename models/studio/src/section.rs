//! The section of a turned body: the closed outline that, revolved about the axis, is the clay.
//!
//! Coordinates are (r, y) in millimetres. The outline runs from the axis under the base, over the foot ring, up the
//! outside to the rim and down the inside to the axis again, with the clay on its left.

use crate::vec3::lerp;

/// A point of a profile: radius and height in mm.
pub type Pt = [f32; 2];

/// Where on the clay a point of the outline lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Zone {
    /// Underside and foot ring.
    Under,
    /// Outside, from the foot to the rim.
    Outside,
    /// Inside, from the rim to the axis; the face of a plate.
    Inside,
}

/// A closed section. Every vertex carries its outward normal and its arc length from the start.
#[derive(Clone, Debug)]
pub struct Section {
    /// Vertices.
    pub points: Vec<Pt>,
    /// Unit outward normals (r, y) at the vertices.
    pub normals: Vec<Pt>,
    /// Arc length from the first vertex, mm.
    pub arc_mm: Vec<f32>,
    /// First vertex of the outside.
    pub foot: usize,
    /// Vertex at the top of the rim, where the inside begins.
    pub rim: usize,
}

/// Foot ring of a thrown or jiggered piece.
#[derive(Clone, Copy, Debug)]
pub struct Foot {
    /// Width of the standing ring, mm.
    pub width_mm: f32,
    /// Height of the hollow under the base, mm.
    pub hollow_mm: f32,
    /// Height of the inside floor above the table, mm.
    pub floor_mm: f32,
}

impl Section {
    /// A hollow body from its outer profile (foot to rim) and its wall.
    pub fn hollow(outer: &[Pt], wall_mm: f32, foot: Foot) -> Section {
        let outer = resample(&smooth(outer, 2), 1.2);
        let foot_r = outer[0][0];
        let ring = (foot_r - foot.width_mm).max(1.0);
        let mut points = resample(
            &[
                [0.0, foot.hollow_mm],
                [ring - 1.2, foot.hollow_mm],
                [ring, foot.hollow_mm * 0.5],
                [ring + 0.3, 0.25],
                [ring + 0.8, 0.0],
                [foot_r - 0.7, 0.0],
            ],
            1.5,
        );
        let foot_index = points.len();
        points.extend(&outer);
        let normals = normals_of(&outer);
        let last = outer.len() - 1;
        // The rim is a half circle over the wall.
        let (tip, n) = (outer[last], normals[last]);
        let half = wall_mm * 0.5;
        let centre = [tip[0] - n[0] * half, tip[1] - n[1] * half];
        let along = [-n[1], n[0]];
        let mut rim_index = points.len();
        for i in 1..8 {
            let a = std::f32::consts::PI * i as f32 / 8.0;
            points.push([
                centre[0] + half * (n[0] * a.cos() + along[0] * a.sin()),
                centre[1] + half * (n[1] * a.cos() + along[1] * a.sin()),
            ]);
            if i == 4 {
                rim_index = points.len() - 1;
            }
        }
        // Inside: the outside moved inwards by the wall, down to the floor.
        let mut inner: Vec<Pt> = Vec::new();
        for i in (0..=last).rev() {
            let p = [
                outer[i][0] - normals[i][0] * wall_mm,
                outer[i][1] - normals[i][1] * wall_mm,
            ];
            if p[1] <= foot.floor_mm || p[0] <= 0.5 {
                break;
            }
            // Where the offset doubles back on itself (a tight bend) the doubled part is left out.
            let folded = inner.last().is_some_and(|q: &Pt| {
                let step = [p[0] - q[0], p[1] - q[1]];
                step[0] * along_at(&normals, i)[0] + step[1] * along_at(&normals, i)[1] > 0.0
            });
            if !folded {
                inner.push(p);
            }
        }
        if let Some(&end) = inner.last() {
            let floor = foot.floor_mm.min(end[1]);
            let turn = (end[1] - floor + 2.0).min(end[0] * 0.5);
            inner.push([end[0] - turn, floor]);
        } else {
            inner.push([tip[0] - wall_mm, foot.floor_mm]);
        }
        let floor = inner[inner.len() - 1][1];
        inner.push([0.0, floor]);
        let inner = smooth(&resample(&inner, 1.2), 6);
        points.extend(resample(&inner, 1.2));
        Section::from_points(points, foot_index, rim_index)
    }

    /// A solid body from its outer profile, which starts at the edge of its base and ends on the axis.
    pub fn solid(outer: &[Pt]) -> Section {
        let outer = resample(&smooth(outer, 2), 1.0);
        let edge = outer[0];
        let mut points = resample(&[[0.0, edge[1]], [edge[0] - 0.4, edge[1]]], 1.5);
        let foot = points.len();
        points.extend(&outer);
        let rim = points.len() - 1;
        Section::from_points(points, foot, rim)
    }

    /// A section from a finished outline.
    pub fn from_points(points: Vec<Pt>, foot: usize, rim: usize) -> Section {
        let mut arc_mm = vec![0.0];
        for w in points.windows(2) {
            let last = arc_mm[arc_mm.len() - 1];
            arc_mm.push(last + dist(w[0], w[1]));
        }
        let mut normals = normals_of(&points);
        // On the axis a smooth body is level; without this the pole of a bowl shows a pimple.
        for (i, sign) in [(0, -1.0), (points.len() - 1, 1.0)] {
            normals[i] = [0.0, sign];
        }
        Section {
            points,
            normals,
            arc_mm,
            foot,
            rim,
        }
    }

    /// Zone of the segment that starts at vertex `i`.
    pub fn zone(&self, i: usize) -> Zone {
        if i < self.foot {
            Zone::Under
        } else if i < self.rim {
            Zone::Outside
        } else {
            Zone::Inside
        }
    }

    /// Arc length of the rim, mm.
    pub fn rim_arc_mm(&self) -> f32 {
        self.arc_mm[self.rim]
    }

    /// Length of the outside from foot to rim, mm.
    pub fn outside_mm(&self) -> f32 {
        self.arc_mm[self.rim] - self.arc_mm[self.foot]
    }

    /// Length of the inside from rim to axis, mm.
    pub fn inside_mm(&self) -> f32 {
        self.arc_mm[self.arc_mm.len() - 1] - self.arc_mm[self.rim]
    }

    /// Outer radius at a height, mm: the largest radius the outside has there.
    pub fn outer_radius_mm(&self, y_mm: f32) -> f32 {
        let mut best = 0.0f32;
        for w in self.points[self.foot..=self.rim].windows(2) {
            let (lo, hi) = (w[0][1].min(w[1][1]), w[0][1].max(w[1][1]));
            if y_mm >= lo && y_mm <= hi {
                let t = if hi > lo {
                    (y_mm - w[0][1]) / (w[1][1] - w[0][1])
                } else {
                    0.0
                };
                best = best.max(lerp(w[0][0], w[1][0], t.clamp(0.0, 1.0)));
            }
        }
        best
    }

    /// Point of the outline at an arc length, mm.
    pub fn point_at(&self, arc_mm: f32) -> Pt {
        let i = self
            .arc_mm
            .partition_point(|&a| a < arc_mm)
            .clamp(1, self.points.len() - 1);
        let (a, b) = (self.arc_mm[i - 1], self.arc_mm[i]);
        let t = if b > a {
            ((arc_mm - a) / (b - a)).clamp(0.0, 1.0)
        } else {
            0.0
        };
        mix(self.points[i - 1], self.points[i], t)
    }

    /// Largest radius, mm.
    pub fn radius_mm(&self) -> f32 {
        self.points.iter().fold(0.0, |m, p| m.max(p[0]))
    }

    /// Largest height, mm.
    pub fn height_mm(&self) -> f32 {
        self.points.iter().fold(0.0, |m, p| m.max(p[1]))
    }
}

fn along_at(normals: &[Pt], i: usize) -> Pt {
    [-normals[i][1], normals[i][0]]
}

fn dist(a: Pt, b: Pt) -> f32 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

fn mix(a: Pt, b: Pt, t: f32) -> Pt {
    [lerp(a[0], b[0], t), lerp(a[1], b[1], t)]
}

/// Outward normals (right of the walking direction), averaged at the vertices.
fn normals_of(points: &[Pt]) -> Vec<Pt> {
    let n = points.len();
    (0..n)
        .map(|i| {
            let (a, b) = (points[i.saturating_sub(1)], points[(i + 1).min(n - 1)]);
            let (dr, dy) = (b[0] - a[0], b[1] - a[1]);
            let l = dr.hypot(dy).max(1e-6);
            [dy / l, -dr / l]
        })
        .collect()
}

/// The polyline walked in steps of about `step_mm`; ends are kept.
pub fn resample(points: &[Pt], step_mm: f32) -> Vec<Pt> {
    let total: f32 = points.windows(2).map(|w| dist(w[0], w[1])).sum();
    let n = ((total / step_mm).ceil() as usize).max(2);
    let mut out = Vec::with_capacity(n + 1);
    let (mut i, mut before) = (0, 0.0);
    for k in 0..n {
        let target = total * k as f32 / n as f32;
        while i + 2 < points.len() && before + dist(points[i], points[i + 1]) < target {
            before += dist(points[i], points[i + 1]);
            i += 1;
        }
        let l = dist(points[i], points[i + 1]).max(1e-6);
        out.push(mix(
            points[i],
            points[i + 1],
            ((target - before) / l).min(1.0),
        ));
    }
    out.push(points[points.len() - 1]);
    out
}

/// Each inner point moved halfway to the mean of its neighbours, `times` times.
pub fn smooth(points: &[Pt], times: usize) -> Vec<Pt> {
    let mut p = points.to_vec();
    for _ in 0..times {
        let q = p.clone();
        for i in 1..p.len().saturating_sub(1) {
            p[i] = mix(q[i], mix(q[i - 1], q[i + 1], 0.5), 0.5);
        }
    }
    p
}

/// A smooth curve through control points (centripetal-free Catmull-Rom), in `per_span` steps each.
pub fn spline(control: &[Pt], per_span: usize) -> Vec<Pt> {
    let n = control.len();
    let at = |i: isize| control[i.clamp(0, n as isize - 1) as usize];
    let mut out = Vec::new();
    for i in 0..n.saturating_sub(1) as isize {
        let (a, b, c, d) = (at(i - 1), at(i), at(i + 1), at(i + 2));
        for k in 0..per_span {
            let t = k as f32 / per_span as f32;
            let f = |j: usize| {
                0.5 * (2.0 * b[j]
                    + (c[j] - a[j]) * t
                    + (2.0 * a[j] - 5.0 * b[j] + 4.0 * c[j] - d[j]) * t * t
                    + (3.0 * b[j] - a[j] - 3.0 * c[j] + d[j]) * t * t * t)
            };
            out.push([f(0), f(1)]);
        }
    }
    out.push(control[n - 1]);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cylinder_keeps_its_wall() {
        let outer = [[40.0, 0.0], [40.0, 45.0], [40.0, 90.0]];
        let foot = Foot {
            width_mm: 4.0,
            hollow_mm: 2.0,
            floor_mm: 6.0,
        };
        let s = Section::hollow(&outer, 4.0, foot);
        assert!((s.outer_radius_mm(50.0) - 40.0).abs() < 1e-3);
        assert!((s.height_mm() - 92.0).abs() < 0.05, "{}", s.height_mm());
        // Half way down the inside the radius is the outer one less the wall.
        let p = s.point_at(s.rim_arc_mm() + 45.0);
        assert!((p[0] - 36.0).abs() < 0.05, "{p:?}");
        assert_eq!(s.zone(s.rim), Zone::Inside);
        assert_eq!(s.zone(0), Zone::Under);
    }

    #[test]
    fn resampling_keeps_ends_and_length() {
        let p = resample(&[[0.0, 0.0], [3.0, 4.0], [3.0, 10.0]], 0.5);
        assert_eq!(p[0], [0.0, 0.0]);
        assert_eq!(p[p.len() - 1], [3.0, 10.0]);
        let l: f32 = p.windows(2).map(|w| dist(w[0], w[1])).sum();
        assert!((l - 11.0).abs() < 0.05);
    }
}
