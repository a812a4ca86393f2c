//! A whole piece as geometry: bodies and tubes joined, with its distance, its surface and its box.

use crate::coarse::Coarse;
use crate::revolve::{Revolved, Role, Skin};
use crate::section::Zone;
use crate::tube::{Kind, Tube};
use crate::vec3::{V3, v3};
use std::sync::OnceLock;

/// Geometry of one piece in its own frame.
#[derive(Clone, Debug)]
pub struct Solid {
    /// Turned bodies; the first stands on the table.
    pub bodies: Vec<Revolved>,
    /// Handles, spouts, loops.
    pub tubes: Vec<Tube>,
    /// Low corner of the box.
    pub low: V3,
    /// High corner of the box.
    pub high: V3,
    tube_boxes: Vec<(V3, V3)>,
    body_boxes: Vec<(V3, V3)>,
    /// Boxes of the bodies with their tubes.
    part_boxes: Vec<(V3, V3)>,
    coarse: OnceLock<Coarse>,
}

/// Which part of the piece a surface belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The body with this index.
    Body(u8),
    /// The tube with this index.
    Tube(u8),
}

/// The surface at a point.
#[derive(Clone, Copy, Debug)]
pub struct Surface {
    /// Nearest part.
    pub part: Part,
    /// Place on the body (for a tube: on the body it joins).
    pub skin: Skin,
    /// Role of that body.
    pub role: Role,
    /// True inside the bore of a spout.
    pub bore: bool,
}

fn box_distance_squared(p: V3, b: &(V3, V3)) -> f32 {
    let d = |p: f32, lo: f32, hi: f32| (lo - p).max(p - hi).max(0.0);
    let q = v3(
        d(p.x, b.0.x, b.1.x),
        d(p.y, b.0.y, b.1.y),
        d(p.z, b.0.z, b.1.z),
    );
    q.dot(q)
}

/// The box round boxes.
fn around<'a>(boxes: impl Iterator<Item = &'a (V3, V3)>) -> (V3, V3) {
    let (mut low, mut high) = (V3::splat(f32::MAX), V3::splat(f32::MIN));
    for (lo, hi) in boxes {
        low = v3(low.x.min(lo.x), low.y.min(lo.y), low.z.min(lo.z));
        high = v3(high.x.max(hi.x), high.y.max(hi.y), high.z.max(hi.z));
    }
    (low, high)
}

/// Smooth union of distances: the joint is filled with a fillet of about `k`.
fn join(a: f32, b: f32, k: f32) -> f32 {
    let h = (k - (a - b).abs()).max(0.0) / k;
    a.min(b) - h * h * k * 0.25
}

impl Solid {
    /// A piece from its parts.
    pub fn new(bodies: Vec<Revolved>, tubes: Vec<Tube>) -> Solid {
        let body_boxes: Vec<_> = bodies.iter().map(Revolved::bounds).collect();
        let tube_boxes: Vec<_> = tubes.iter().map(Tube::bounds).collect();
        let part_boxes: Vec<_> = (0..bodies.len())
            .map(|i| {
                let on = tubes.iter().zip(&tube_boxes).filter(|(t, _)| t.on == i);
                around(on.map(|(_, b)| b).chain([&body_boxes[i]]))
            })
            .collect();
        let (low, high) = around(body_boxes.iter().chain(&tube_boxes));
        Solid {
            bodies,
            tubes,
            low,
            high,
            tube_boxes,
            body_boxes,
            part_boxes,
            coarse: OnceLock::new(),
        }
    }

    /// True where a tube is hidden: within the hollow of the body, below its rim.
    fn within(&self, body: usize, p: V3, zone: Zone) -> bool {
        zone == Zone::Inside
            && self.bodies[body].role != Role::Lid
            && p.y < self.bodies[body].rim_mm() - 0.4
    }

    /// Signed distance in mm, a safe estimate for marching.
    pub fn distance(&self, p: V3) -> f32 {
        let mut all = f32::MAX;
        for (i, body) in self.bodies.iter().enumerate() {
            // What lies in a box further than what was found is no nearer.
            if all > 0.0 && i > 0 && box_distance_squared(p, &self.part_boxes[i]) > all * all {
                continue;
            }
            let far = box_distance_squared(p, &self.body_boxes[i]);
            let (mut d, zone) = if far > 2500.0 {
                // Far away the box is good enough.
                (far.sqrt() + 0.5, Zone::Outside)
            } else {
                body.distance(p)
            };
            if !self.within(i, p, zone) {
                for (k, t) in self.tubes.iter().enumerate() {
                    if t.on != i {
                        continue;
                    }
                    let far = box_distance_squared(p, &self.tube_boxes[k]);
                    let near = (d + t.blend_mm).max(0.0);
                    if far > near * near {
                        continue;
                    }
                    let td = if far > 625.0 {
                        far.sqrt() + 1.0
                    } else {
                        t.distance(p) * 0.95
                    };
                    d = join(d, td, t.blend_mm);
                }
            }
            all = all.min(d);
        }
        all
    }

    /// The distances on a lattice, made when first asked for.
    pub(crate) fn coarse(&self) -> &Coarse {
        self.coarse
            .get_or_init(|| Coarse::new(self.low, self.high, |p| self.distance(p)))
    }

    /// A distance that is free of the piece round `p`, mm.
    pub(crate) fn free(&self, p: V3) -> f32 {
        let coarse = self.coarse();
        if !coarse.holds(p) {
            // The lattice reaches beyond the box, so this is far.
            return box_distance_squared(p, &(self.low, self.high)).sqrt();
        }
        match coarse.at(p) {
            Some(d) => d - coarse.doubt_mm(),
            None => self.distance(p),
        }
    }

    /// Signed distance in mm for soft light: near a surface as `distance` gives it, away from one off by less than half a
    /// cell of the lattice.
    pub(crate) fn about(&self, p: V3) -> f32 {
        self.coarse().at(p).unwrap_or_else(|| self.distance(p))
    }

    /// The surface at (or very near) `p`, and its outward normal in the piece's frame.
    pub fn surface(&self, p: V3) -> (Surface, V3) {
        let mut best: Option<(f32, Surface, V3)> = None;
        for (i, body) in self.bodies.iter().enumerate() {
            let last = i + 1 == self.bodies.len();
            if box_distance_squared(p, &self.body_boxes[i]) > 9.0
                && !(last && best.is_none())
                && self.tubes.iter().all(|t| t.on != i)
            {
                continue;
            }
            let (skin, mut normal, body_d) = body.surface(p);
            let mut surface = Surface {
                part: Part::Body(i as u8),
                skin,
                role: body.role,
                bore: false,
            };
            let mut d = body_d;
            if !self.within(i, p, skin.zone) {
                for (k, t) in self.tubes.iter().enumerate() {
                    if t.on != i || box_distance_squared(p, &self.tube_boxes[k]) > 64.0 {
                        continue;
                    }
                    // Beyond its fillet it changes nothing.
                    if t.distance(p) - d > t.blend_mm + 0.5 {
                        continue;
                    }
                    let (td, n, bore) = t.surface(p);
                    let h = (t.blend_mm - (d - td).abs()).max(0.0) / t.blend_mm;
                    // The gradient of the join is a blend of the gradients of its two sides.
                    let w = if td < d { 1.0 - 0.5 * h } else { 0.5 * h };
                    normal = normal.mix(n, w).unit();
                    if td < d {
                        surface.part = Part::Tube(k as u8);
                        surface.bore = bore && t.kind == Kind::Spout;
                    }
                    d = join(d, td, t.blend_mm);
                }
            }
            if best.as_ref().is_none_or(|b| d.abs() < b.0) {
                best = Some((d.abs(), surface, normal));
            }
        }
        match best {
            Some((_, surface, normal)) => (surface, normal),
            // A solid without bodies cannot be hit; a level surface is a harmless answer.
            None => (
                Surface {
                    part: Part::Body(0),
                    skin: Skin {
                        zone: Zone::Outside,
                        angle_rad: 0.0,
                        from_rim_mm: 0.0,
                        from_foot_mm: 0.0,
                        radius_mm: 0.0,
                    },
                    role: Role::Hollow,
                    bore: false,
                },
                v3(0.0, 1.0, 0.0),
            ),
        }
    }

    /// Points on the surface for framing a photo.
    pub fn hull(&self) -> Vec<V3> {
        let mut out = Vec::new();
        for b in &self.bodies {
            b.hull(&mut out);
        }
        for t in &self.tubes {
            t.hull(&mut out);
        }
        out
    }

    /// Overall width (x) and height in mm, handle and spout included.
    pub fn size_mm(&self) -> (f32, f32) {
        let hull = self.hull();
        let (mut lo, mut hi, mut top) = (f32::MAX, f32::MIN, 0.0f32);
        for p in hull {
            lo = lo.min(p.x);
            hi = hi.max(p.x);
            top = top.max(p.y);
        }
        (hi - lo, top)
    }
}
