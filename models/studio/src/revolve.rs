//! A turned body: a section, its table, and its warp.

use crate::field::{Field, Near};
use crate::section::{Pt, Section, Zone};
use crate::vec3::{V3, atan2, lerp, v3};
use crate::warp::{Tabled, Warp};

/// What a body is, for decoration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Plates, saucers, platters: decorated on the face.
    Flat,
    /// Cups, pots, bowls: decorated outside.
    Hollow,
    /// A lid with its finial.
    Lid,
}

/// A body of revolution, possibly warped, standing `base_mm` above the table.
#[derive(Clone, Debug)]
pub struct Revolved {
    /// The clay.
    pub section: Section,
    /// Departure from round.
    pub warp: Warp,
    /// Height of the section's y = 0, mm.
    pub base_mm: f32,
    /// What it is.
    pub role: Role,
    /// Distance from the edge over the face to the well (plates), to the shoulder (hollowware) or to the finial (lids), mm.
    pub verge_mm: f32,
    field: Field,
    tabled: Tabled,
    step: f32,
    radius_mm: f32,
    pattern_scale: f32,
    top_mm: f32,
}

/// A place on the surface of a body.
#[derive(Clone, Copy, Debug)]
pub struct Skin {
    /// Zone.
    pub zone: Zone,
    /// Angle about the axis, radians, handle at 0.
    pub angle_rad: f32,
    /// Distance from the rim along the surface, mm (lids: from the edge).
    pub from_rim_mm: f32,
    /// Distance from the foot along the outside, mm; negative under the foot.
    pub from_foot_mm: f32,
    /// Radius of the round section there, mm.
    pub radius_mm: f32,
}

impl Revolved {
    /// A body ready to be traced.
    pub fn new(section: Section, warp: Warp, base_mm: f32, role: Role, verge_mm: f32) -> Revolved {
        let size = section.radius_mm().max(section.height_mm() * 0.6);
        let field = Field::new(&section.points, (size / 130.0).clamp(0.5, 1.1), 9.0);
        Revolved {
            field,
            tabled: Tabled::new(warp),
            step: warp.step(),
            radius_mm: section.radius_mm(),
            pattern_scale: (section.radius_mm() / 80.0).powf(0.7),
            top_mm: section.height_mm(),
            section,
            warp,
            base_mm,
            role,
            verge_mm,
        }
    }

    fn local(&self, p: V3) -> V3 {
        v3(p.x, p.y - self.base_mm, p.z)
    }

    /// Signed distance (a safe lower estimate) and the zone nearest to `p`.
    pub fn distance(&self, p: V3) -> (f32, Zone) {
        let q = self.local(p);
        let near = self.field.near(self.tabled.to_section(q));
        (
            near.distance_mm * near.side * self.step,
            self.section.zone(near.segment),
        )
    }

    /// The surface near `p`.
    pub fn skin(&self, p: V3) -> Skin {
        let placed = self.warp.place(self.local(p));
        self.skin_of(p, &self.field.near_exact(placed.at))
    }

    /// The surface near `p`, its outward normal in the piece's frame, and the signed distance to it as `distance` gives it.
    pub(crate) fn surface(&self, p: V3) -> (Skin, V3, f32) {
        let placed = self.warp.place(self.local(p));
        let near = self.field.near_exact(placed.at);
        let normal = self.warp.normal(&placed, self.section_normal(&near));
        let d = near.distance_mm * near.side * self.step;
        (self.skin_of(p, &near), normal, d)
    }

    fn section_normal(&self, near: &Near) -> Pt {
        let (i, t) = (near.segment, near.along);
        let [a, b] = [self.section.normals[i], self.section.normals[i + 1]];
        let n = [lerp(a[0], b[0], t), lerp(a[1], b[1], t)];
        let l = n[0].hypot(n[1]).max(1e-6);
        [n[0] / l, n[1] / l]
    }

    fn skin_of(&self, p: V3, near: &Near) -> Skin {
        let s = &self.section;
        let (i, t) = (near.segment, near.along);
        let arc = lerp(s.arc_mm[i], s.arc_mm[i + 1], t);
        let edge = if self.role == Role::Lid {
            s.arc_mm[s.foot]
        } else {
            s.rim_arc_mm()
        };
        Skin {
            zone: s.zone(i),
            angle_rad: atan2(p.z / self.warp.oval, p.x),
            from_rim_mm: (arc - edge).abs(),
            from_foot_mm: arc - s.arc_mm[s.foot],
            radius_mm: lerp(s.points[i][0], s.points[i + 1][0], t),
        }
    }

    /// Height of the top above the table, mm, with the lip.
    pub fn top_mm(&self) -> f32 {
        self.base_mm + self.top_mm + self.warp.lip.map_or(0.0, |l| l.rise_mm.max(0.0))
    }

    /// Height of the rim (without a lip) above the table, mm.
    pub fn rim_mm(&self) -> f32 {
        self.base_mm + self.section.points[self.section.rim][1]
    }

    /// Greatest radius of the section, mm.
    pub fn radius_mm(&self) -> f32 {
        self.radius_mm
    }

    /// By what the measures of patterns, given for a body of 80 mm radius, are multiplied.
    pub fn pattern_scale(&self) -> f32 {
        self.pattern_scale
    }

    /// A box round the body: low and high corner.
    pub fn bounds(&self) -> (V3, V3) {
        let w = &self.warp;
        let grow = 1.0 + w.wave.abs() + if w.facets > 0 { 0.05 } else { 0.0 };
        let r = self.radius_mm * grow + w.rib_mm.max(0.0) + 0.5;
        let reach = w.lip.map_or(0.0, |l| l.reach_mm + 1.0);
        let rib = if w.flat { w.rib_mm.abs() } else { 0.0 };
        (
            v3(-r - reach, self.base_mm - 0.1, -r * w.oval),
            v3(r + reach, self.top_mm() + rib + 0.3, r * w.oval),
        )
    }

    /// Points on the body for framing a photo.
    pub fn hull(&self, out: &mut Vec<V3>) {
        let n = self.section.points.len();
        for i in (0..n).step_by(6).chain([self.section.rim]) {
            let [r, y] = self.section.points[i];
            for k in 0..16 {
                let a = k as f32 * std::f32::consts::TAU / 16.0;
                out.push(v3(
                    r * a.cos(),
                    y + self.base_mm,
                    r * a.sin() * self.warp.oval,
                ));
            }
        }
        if let Some(l) = self.warp.lip {
            let r = self.section.points[self.section.rim][0] + l.reach_mm;
            out.push(v3(
                r * l.angle_rad.cos(),
                self.top_mm(),
                r * l.angle_rad.sin(),
            ));
        }
    }
}
