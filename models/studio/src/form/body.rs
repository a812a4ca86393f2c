//! Bodies: profiles of hollowware and flatware from a shape's parameters.

use super::Form;
use super::fittings;
use crate::revolve::{Revolved, Role};
use crate::section::{Foot, Pt, Section, resample, spline};
use crate::shape::{Emboss, Rim, Shape};
use crate::solid::Solid;
use crate::vec3::{lerp, smoothstep};
use crate::warp::{Lip, Warp};
use std::f32::consts::PI;

/// Usual measures of a hollow piece type.
pub(super) struct Measures {
    pub(super) height_mm: f32,
    pub(super) radius_mm: f32,
    /// Rim radius over the greatest.
    pub(super) rim: f32,
    /// Foot radius over the greatest.
    pub(super) foot: f32,
    /// 1 where the rim is the widest place.
    pub(super) open: f32,
    pub(super) oval: f32,
    pub(super) lid: bool,
    pub(super) wall: f32,
}

fn measures(form: Form) -> Measures {
    let m = |height_mm, radius_mm, rim, foot, open, oval, lid, wall| Measures {
        height_mm,
        radius_mm,
        rim,
        foot,
        open,
        oval,
        lid,
        wall,
    };
    match form {
        Form::Teacup => m(62.0, 46.0, 0.97, 0.52, 0.9, 1.0, false, 1.0),
        Form::Mug => m(94.0, 41.0, 0.96, 0.78, 0.85, 1.0, false, 1.3),
        Form::CerealBowl => m(52.0, 79.0, 0.98, 0.5, 1.0, 1.0, false, 1.3),
        Form::Creamer => m(84.0, 42.0, 0.72, 0.62, 0.0, 1.0, false, 1.1),
        Form::Jug => m(165.0, 66.0, 0.62, 0.66, 0.0, 1.0, false, 1.4),
        Form::SugarBowl => m(70.0, 54.0, 0.76, 0.58, 0.0, 1.0, true, 1.2),
        Form::Teapot => m(104.0, 76.0, 0.52, 0.6, 0.0, 1.0, true, 1.4),
        Form::CoffeePot => m(178.0, 60.0, 0.56, 0.7, 0.0, 1.0, true, 1.4),
        Form::GravyBoat => m(66.0, 84.0, 0.98, 0.5, 0.95, 0.56, false, 1.2),
        _ => m(76.0, 108.0, 0.95, 0.6, 0.75, 0.82, true, 1.5),
    }
}

/// The warp that a shape's edge and embossing give to a body.
pub(super) fn warp(shape: &Shape, radius_mm: f32, height_mm: f32, flat: bool, oval: f32) -> Warp {
    let mut w = Warp::round(radius_mm, height_mm);
    w.flat = flat;
    w.oval = oval;
    match shape.rim {
        Rim::Plain => {}
        Rim::Waved(n, a) => (w.waves, w.wave) = (n, a),
        Rim::Faceted(n, f) => (w.facets, w.facet) = (n, f),
    }
    // Small pieces carry the same ribs as large ones of a family in number, so their depth follows the radius.
    let k = (radius_mm / 60.0).clamp(0.65, 1.4);
    match shape.emboss {
        Emboss::Ribs(n, d) => (w.ribs, w.rib_mm) = (n, d * k),
        Emboss::Flutes(n, d) => (w.ribs, w.rib_mm) = (n, d * k),
        _ => {}
    }
    w
}

/// The outer profile of a hollow body, foot to rim.
fn profile(shape: &Shape, m: &Measures) -> Vec<Pt> {
    let h = m.height_mm * shape.tall;
    let r = m.radius_mm;
    let pedestal = shape.pedestal;
    let foot_h = (h * 0.045).max(2.2) * pedestal;
    let foot_r = r * (m.foot * shape.foot).min(0.94);
    let rim_r = r * m.rim;
    let belly = lerp(shape.belly, 1.0, m.open);
    // Open ware keeps some of the family's roundness; hollow curves are for it alone.
    let lower = if m.open > 0.95 {
        shape.lower.max(1.3)
    } else if m.open > 0.5 {
        shape.lower
    } else {
        shape.lower.max(1.1)
    };
    let stem = if pedestal > 1.8 {
        foot_r * 0.72
    } else {
        foot_r * 0.97
    };
    let mut p: Vec<Pt> = vec![[foot_r, 0.0], [foot_r, foot_h * 0.35]];
    if pedestal > 1.8 {
        p.push([foot_r * 0.84, foot_h * 0.7]);
    }
    let body = h - foot_h;
    let curve = |u: f32, power: f32| {
        let a = u * PI * 0.5;
        // Just past a quarter turn the cosine is negative, and a power of it would be no number.
        (
            a.sin().max(0.0).powf(2.0 / power),
            a.cos().max(0.0).powf(2.0 / power),
        )
    };
    let steps = 22;
    for i in 0..=steps {
        // Out first and up later: the quarter of the curve that swells.
        let (out, rest) = curve(i as f32 / steps as f32, lower);
        p.push([
            stem + (r - stem) * out,
            foot_h + body * belly * (1.0 - rest),
        ]);
    }
    if belly < 0.985 {
        for i in 1..=steps {
            let (up, left) = curve(i as f32 / steps as f32, shape.upper);
            p.push([
                rim_r + (r - rim_r) * left,
                foot_h + body * (belly + (1.0 - belly) * up),
            ]);
        }
        if shape.upper > 1.3 && m.open < 0.5 {
            // A round shoulder comes in level; a short upright neck carries the rim.
            let last = p[p.len() - 1];
            let neck = h * 0.05;
            p.push([last[0], last[1] + neck * 0.5]);
            p.push([last[0], last[1] + neck]);
        }
    }
    let top = p[p.len() - 1][1];
    let flare = if m.lid {
        shape.flare * 0.3
    } else {
        shape.flare
    };
    for q in &mut p {
        let t = smoothstep(0.68 * top, top, q[1]);
        q[0] += flare * r * t * t;
    }
    rings(shape, &mut p, foot_h, top);
    p
}

/// Turned rings on the lower two thirds of a profile.
fn rings(shape: &Shape, p: &mut Vec<Pt>, foot_h: f32, top: f32) {
    if let Emboss::Rings(n, depth) = shape.emboss {
        *p = resample(p, 0.8);
        for q in p.iter_mut() {
            let t = (q[1] - foot_h) / (top - foot_h);
            if (0.2..0.8).contains(&t) {
                let u = (t - 0.2) / 0.6 * n as f32;
                q[0] += depth * (u * 2.0 * PI).cos().powi(3).abs() * (u * PI).sin().abs().min(1.0)
                    - depth * 0.5;
            }
        }
    }
}

/// Hollow pieces, with what belongs to them.
pub(super) fn hollow(shape: &Shape, form: Form) -> Solid {
    let m = measures(form);
    let outer = profile(shape, &m);
    let h = outer[outer.len() - 1][1];
    let wall = shape.wall_mm * m.wall;
    let foot_h = (m.height_mm * 0.045).max(2.2) * shape.pedestal;
    let section = Section::hollow(
        &outer,
        wall,
        Foot {
            width_mm: 3.2 * m.wall,
            hollow_mm: (foot_h * 0.7).min(6.0),
            floor_mm: foot_h + wall * 1.1,
        },
    );
    let r = section.radius_mm();
    let mut w = warp(shape, r, section.height_mm(), false, m.oval);
    let scale = h / 80.0;
    w.lip = match form {
        Form::Creamer | Form::Jug => Some(Lip {
            angle_rad: PI,
            width_rad: 0.42,
            reach_mm: 11.0 * scale.min(1.4),
            rise_mm: 5.0 * scale.min(1.5),
            from_mm: h * 0.66,
        }),
        Form::GravyBoat => Some(Lip {
            angle_rad: PI,
            width_rad: 0.5,
            reach_mm: 24.0,
            rise_mm: 9.0,
            from_mm: h * 0.3,
        }),
        _ => None,
    };
    let shoulder = section.outside_mm() * if m.open > 0.5 { 0.3 } else { 0.26 };
    let tubes = fittings::tubes(shape, form, &section);
    let mut bodies = vec![Revolved::new(section, w, 0.0, Role::Hollow, shoulder)];
    let mut tubes = tubes;
    if m.lid {
        let (lid, loops) = fittings::lid(shape, &bodies[0], m.oval);
        bodies.push(lid);
        tubes.extend(loops);
    }
    Solid::new(bodies, tubes)
}

/// Plates, saucers and platters.
pub(super) fn flat(shape: &Shape, form: Form) -> Solid {
    let (r, depth, oval) = match form {
        Form::Saucer => (75.0, 19.0, 1.0),
        Form::Platter => (176.0, 30.0, 0.74),
        _ => (132.0, 24.0, 1.0),
    };
    let h = depth * shape.plate_depth;
    let foot_r = r * 0.56 * shape.foot.clamp(0.9, 1.12);
    let foot_h = 3.0 + 1.5 * shape.pedestal.min(2.0);
    let wall = shape.wall_mm * 1.25;
    let rim_w = if form == Form::Saucer {
        shape.plate_rim * 0.8
    } else {
        shape.plate_rim
    };
    let flare = shape.flare * 0.25 * r;
    let mut p: Vec<Pt> = vec![
        [foot_r, 0.0],
        [foot_r + 0.3, foot_h * 0.6],
        [foot_r + 2.5, foot_h],
    ];
    let verge;
    if rim_w > 0.05 {
        let well = r * (1.0 - rim_w);
        verge = r - well;
        // The well is nearly flat, the shoulder rises steeply, the rim leans gently outwards.
        let shoulder = foot_h + (h - foot_h) * 0.55;
        p.extend(spline(
            &[
                [foot_r + 5.0, foot_h + 0.4],
                [well - 0.09 * r, foot_h + (shoulder - foot_h) * 0.28],
                [well, shoulder],
                [
                    well + (r - well) * 0.5,
                    shoulder + (h - shoulder) * (0.45 - flare * 0.01),
                ],
                [r, h],
            ],
            8,
        ));
    } else {
        verge = r * 0.34;
        let power = 1.7 + 0.45 * shape.lower.min(3.0);
        for i in 1..=24 {
            let t = i as f32 / 24.0;
            let x = lerp(foot_r + 3.0, r, t);
            let s = (x / r).powf(power);
            let s0 = ((foot_r + 3.0) / r).powf(power);
            p.push([x, foot_h + (h - foot_h) * (s - s0) / (1.0 - s0)]);
        }
    }
    let section = Section::hollow(
        &p,
        wall,
        Foot {
            width_mm: 3.5,
            hollow_mm: foot_h * 0.8,
            floor_mm: foot_h + wall * 0.9,
        },
    );
    let w = warp(shape, r, section.height_mm(), true, oval);
    Solid::new(
        vec![Revolved::new(section, w, 0.0, Role::Flat, verge)],
        Vec::new(),
    )
}
