//! Handles, spouts, lids and finials.

use super::Form;
use super::body;
use crate::revolve::{Revolved, Role};
use crate::section::{Pt, Section};
use crate::shape::{Finial, Handle, Shape};
use crate::tube::{Kind, Tube, bezier, cornered, terminals};
use crate::vec3::{lerp, smoothstep};
use std::f32::consts::PI;

/// Handles and spouts of a hollow body.
pub(super) fn tubes(shape: &Shape, form: Form, section: &Section) -> Vec<Tube> {
    let h = section.points[section.rim][1];
    match form {
        Form::Teacup => vec![handle(shape, section, 0.0, 0.86, 0.26, 0.52 * h, 2.7)],
        Form::Mug => vec![handle(shape, section, 0.0, 0.84, 0.22, 0.36 * h, 4.0)],
        Form::Creamer => vec![handle(shape, section, 0.0, 0.88, 0.3, 0.36 * h, 3.1)],
        Form::Jug => vec![handle(shape, section, 0.0, 0.9, 0.34, 0.3 * h, 5.2)],
        Form::Teapot => vec![
            handle(shape, section, 0.0, 0.84, 0.24, 0.46 * h, 4.8),
            spout(shape, section, 0.34, 1.0, 46.0, 13.5),
        ],
        Form::CoffeePot => vec![
            handle(shape, section, 0.0, 0.86, 0.3, 0.32 * h, 5.0),
            spout(shape, section, 0.42, 0.99, 42.0, 12.5),
        ],
        Form::SugarBowl => vec![
            handle(shape, section, 0.0, 0.84, 0.44, 0.24 * h, 2.8),
            handle(shape, section, PI, 0.84, 0.44, 0.24 * h, 2.8),
        ],
        Form::GravyBoat => vec![handle(shape, section, 0.0, 0.88, 0.3, 0.56 * h, 3.6)],
        Form::CoveredVegetable => vec![
            handle(shape, section, 0.0, 0.86, 0.52, 0.28 * h, 4.4),
            handle(shape, section, PI, 0.86, 0.52, 0.28 * h, 4.4),
        ],
        _ => Vec::new(),
    }
}

/// A handle in the shape's style between two heights (fractions of the body's), reaching `reach_mm` out.
fn handle(
    shape: &Shape,
    section: &Section,
    angle_rad: f32,
    top: f32,
    low: f32,
    reach_mm: f32,
    thick_mm: f32,
) -> Tube {
    let h = section.points[section.rim][1];
    let (yt, yl) = (top * h, low * h);
    let thick = thick_mm * shape.handle_weight;
    // The terminals end just under the outside, so that the fillet has clay to grow from.
    let rt = section.outer_radius_mm(yt) - 0.5;
    let rl = section.outer_radius_mm(yl) - 0.5;
    let out = reach_mm * shape.handle_reach;
    let far = rt.max(rl) + out;
    let span = yt - yl;
    let (path, a, b, swell): (Vec<Pt>, f32, f32, f32) = match shape.handle {
        Handle::Loop => (
            bezier(
                [rt, yt],
                [far + out * 0.3, yt + span * 0.2],
                [far + out * 0.3, yl - span * 0.1],
                [rl, yl],
                36,
            ),
            thick,
            thick * 1.15,
            0.25,
        ),
        Handle::Ear => (
            bezier(
                [rt, yt],
                [far + out * 0.2, yt + span * 0.62],
                [far + out * 0.5, yl + span * 0.3],
                [rl, yl],
                36,
            ),
            thick * 0.95,
            thick * 1.4,
            0.4,
        ),
        Handle::Pointed => (
            cornered(
                &[
                    [rt, yt],
                    [far - out * 0.1, yt + span * 0.16],
                    [far, yt - span * 0.02],
                    [rl, yl],
                ],
                5,
            ),
            thick * 0.9,
            thick * 1.2,
            0.2,
        ),
        Handle::Strap => (
            bezier(
                [rt, yt],
                [far + out * 0.35, yt + span * 0.12],
                [far + out * 0.1, yl - span * 0.15],
                [rl, yl],
                36,
            ),
            thick * 0.72,
            thick * 2.1,
            0.1,
        ),
        Handle::Ring => {
            let ring = (span * 0.4).min(out * 0.75).max(thick * 2.4);
            let y = yt - span * 0.36;
            let r = section.outer_radius_mm(y).max(rt);
            let n = 40;
            let path = (0..=n)
                .map(|i| {
                    let t = PI * 0.84 - 1.68 * PI * i as f32 / n as f32;
                    [r + ring * 0.84 + ring * t.cos(), y + ring * t.sin()]
                })
                .collect();
            (path, thick, thick, 0.05)
        }
        Handle::Square => (
            cornered(&[[rt, yt], [far, yt], [far - out * 0.08, yl], [rl, yl]], 7),
            thick * 0.9,
            thick * 1.25,
            0.15,
        ),
    };
    let half = terminals(path.len(), a, b, swell);
    Tube::new(
        Kind::Handle,
        angle_rad,
        path,
        half,
        0,
        (thick * 1.3).max(3.0),
    )
}

/// A spout opposite the handle from a height (fraction) to a tip.
fn spout(
    shape: &Shape,
    section: &Section,
    from: f32,
    to: f32,
    reach_mm: f32,
    root_mm: f32,
) -> Tube {
    let h = section.points[section.rim][1];
    let (y0, y1) = (from * h, to * h);
    let r0 = section.outer_radius_mm(y0) - root_mm * 0.55;
    let r1 = section
        .outer_radius_mm(y0)
        .max(section.outer_radius_mm(y1 * 0.8))
        + reach_mm;
    let bend = shape.spout_curve;
    let path = bezier(
        [r0, y0],
        [
            r0 + (r1 - r0) * lerp(0.45, 0.78, bend),
            y0 + (y1 - y0) * lerp(0.3, -0.08, bend),
        ],
        [
            r0 + (r1 - r0) * lerp(0.75, 0.62, bend),
            y0 + (y1 - y0) * lerp(0.72, 0.72, bend),
        ],
        [r1, y1],
        40,
    );
    let n = path.len();
    let tip = root_mm * 0.42;
    let half = (0..n)
        .map(|i| {
            let t = i as f32 / (n - 1) as f32;
            let k = lerp(root_mm, tip, smoothstep(-0.15, 0.95, t));
            [k * lerp(1.15, 1.0, t), k]
        })
        .collect();
    Tube::new(Kind::Spout, PI, path, half, 0, 7.0).bored(shape.wall_mm * 0.75, 0.45)
}

/// The lid of a body, with the loops on it.
pub(super) fn lid(shape: &Shape, body: &Revolved, oval: f32) -> (Revolved, Vec<Tube>) {
    let rim = body.section.points[body.section.rim];
    let r = rim[0] + 1.6;
    let dome = (shape.lid_dome * r).clamp(6.0, 34.0);
    let k = (r / 42.0).clamp(0.85, 1.5);
    let neck = 5.2 * k;
    let mut p: Vec<Pt> = vec![[r - 0.8, 0.0], [r, 0.9], [r, 2.0], [r - 1.0, 3.0]];
    // The dome is a part of an ellipse, more or less full, as the family's shoulder is.
    let full = shape.upper.clamp(1.3, 2.4);
    for i in 1..=18 {
        let t = i as f32 / 18.0;
        let x = lerp(r - 2.0, neck, t);
        let u = ((x - neck) / (r - 2.0 - neck)).clamp(0.0, 1.0);
        p.push([
            x,
            3.2 + dome * (1.0 - u.powf(full)).max(0.0).powf(1.0 / full),
        ]);
    }
    let y = p[p.len() - 1][1];
    let up = |dy: f32, x: f32| [x * k, y + dy * k];
    let head: Vec<Pt> = match shape.finial {
        Finial::Ball => {
            let mut v = vec![up(2.0, 4.4)];
            v.extend((0..=14).map(|i| {
                let a = -1.0 + (PI * 0.5 + 1.0) * i as f32 / 14.0;
                up(10.0 + 8.6 * a.sin(), 8.6 * a.cos())
            }));
            v
        }
        Finial::Button => vec![
            up(3.0, 5.0),
            up(5.0, 7.5),
            up(6.2, 11.5),
            up(8.2, 12.6),
            up(10.2, 11.8),
            up(11.4, 7.0),
            up(11.8, 0.0),
        ],
        Finial::Cone => vec![
            up(1.5, 4.8),
            up(4.0, 7.4),
            up(6.0, 8.4),
            up(12.0, 5.6),
            up(19.0, 2.4),
            up(21.5, 1.0),
            up(22.0, 0.0),
        ],
        Finial::Bud => vec![
            up(2.0, 3.8),
            up(4.0, 5.2),
            up(8.0, 9.4),
            up(11.5, 9.6),
            up(15.0, 6.6),
            up(18.0, 3.0),
            up(21.0, 1.6),
            up(22.6, 0.0),
        ],
        Finial::Dish => vec![
            up(3.0, 5.0),
            up(6.0, 8.5),
            up(9.5, 13.5),
            up(11.5, 15.0),
            up(12.2, 13.6),
            up(10.0, 9.0),
            up(8.6, 4.0),
            up(8.4, 0.0),
        ],
        Finial::Loop => vec![up(0.3, 3.0), up(0.5, 0.0)],
    };
    p.extend(head);
    let section = Section::solid(&p);
    let base_mm = body.section.height_mm() - 0.6;
    let mut w = body::warp(shape, r, section.height_mm(), true, oval);
    // The finial stays round; ribs would be lost under the dome's glaze.
    w.rib_mm *= 0.5;
    let verge = r * 0.45;
    let mut loops = Vec::new();
    if shape.finial == Finial::Loop {
        let (s, top) = (11.0 * k, base_mm + y + 13.0 * k);
        let foot = base_mm + y - 1.0;
        let path = bezier([-s, foot], [-s * 1.3, top], [s * 1.3, top], [s, foot], 30);
        let half = terminals(path.len(), 2.9 * k, 3.6 * k, 0.35);
        loops.push(Tube::new(Kind::Finial, 0.0, path, half, 1, 4.0));
    }
    (Revolved::new(section, w, base_mm, Role::Lid, verge), loops)
}
