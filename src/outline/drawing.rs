//! Outlines and profiles as drawings (SVG).
//!
//! [`profile`] follows the convention of pottery illustration: the section to
//! the left of the centre line, the outside with the handle to its right, lines
//! for rim and foot across, a scale bar below. A photo does not show how thick
//! the wall is, so the section is its outer line alone.

use std::fmt::Write as _;

use super::{
    Outline, Ring,
    measure::Measures,
    parts::{self, Kind, Side},
    pose::Pose,
};

/// The outline over its photo's frame, with the axis and the rim ellipse.
///
/// `size_px` is the upright photo; `scale` is photo pixels per pixel of the
/// cutout.
pub fn outline(outline: &Outline, pose: &Pose, size_px: [u32; 2], scale: f64) -> String {
    let [width, height] = size_px;
    let stroke = f64::from(width.max(height)) / 400.0;
    let mut svg = format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}"><title>Outline</title><rect width="100%" height="100%" fill="#fff"/>"##
    );
    let mut d = String::new();
    for ring in std::iter::once(&outline.outer).chain(&outline.holes) {
        line(
            &mut d,
            ring.iter().map(|p| p.map(|v| f64::from(v) * scale)),
            true,
        );
    }
    // Writing to a String cannot fail.
    let _ = write!(
        svg,
        r##"<path d="{d}" fill="#ece6df" fill-rule="evenodd" stroke="#222" stroke-width="{stroke:.2}" stroke-linejoin="round"/>"##
    );
    if let Some(profile) = &pose.profile
        && pose.elevation_deg.is_some()
        && pose.view != super::pose::View::Top
    {
        let rows = &profile.rows;
        let reach = 0.04 * rows.count() as f64 * rows.step_px;
        let ends = [
            rows.top_px - reach,
            rows.top_px + rows.count() as f64 * rows.step_px + reach,
        ];
        let ends = ends.map(|y| rows.back([profile.axis_px, y]).map(|v| v * scale));
        let mut d = String::new();
        line(&mut d, ends.into_iter(), false);
        let _ = write!(
            svg,
            r##"<path d="{d}" fill="none" stroke="#1f4e66" stroke-width="{stroke:.2}" stroke-dasharray="{:.1} {:.1} {:.1} {:.1}"/>"##,
            8.0 * stroke,
            2.0 * stroke,
            2.0 * stroke,
            2.0 * stroke
        );
    }
    if let Some(rim) = &pose.rim {
        let _ = write!(
            svg,
            r##"<ellipse cx="{0:.2}" cy="{1:.2}" rx="{2:.2}" ry="{3:.2}" transform="rotate({4:.3} {0:.2} {1:.2})" fill="none" stroke="#8a4b2a" stroke-width="{stroke:.2}"/>"##,
            rim.centre_px[0] * scale,
            rim.centre_px[1] * scale,
            rim.major_px * scale,
            rim.minor_px * scale,
            rim.turn_rad.to_degrees()
        );
    }
    svg.push_str("</svg>\n");
    svg
}

/// Width in drawing units of the greatest diameter where no scale is known.
const PLAIN: f64 = 100.0;
/// White round the drawing, drawing units.
const PAD: f64 = 10.0;
/// Bends drawn as lines across the outside, degrees.
const RIDGE_DEG: f64 = 40.0;

/// The profile drawing. With `mm_per_px` (millimetres per pixel of the cutout)
/// it is in millimetres and prints at its true size; else its greatest
/// diameter is 100 and it says so. `None` where no profile shows.
pub fn profile(pose: &Pose, measures: &Measures, mm_per_px: Option<f64>) -> Option<String> {
    let body = pose.profile.as_ref()?;
    let k = mm_per_px.unwrap_or(PLAIN / measures.widest.px);
    let wall: Vec<[f64; 2]> = measures.wall.iter().map(|p| p.map(|v| v * k)).collect();
    let (first, last) = (*wall.first()?, *wall.last()?);
    let found = parts::find(body);
    // The handle goes to the right.
    let reach = |side: Side| {
        found
            .iter()
            .filter(|p| p.side == side && p.kind == Kind::Loop)
            .map(|p| p.reach_px)
            .fold(0.0, f64::max)
    };
    let turned = reach(Side::Left) > reach(Side::Right);
    let beside = beside(pose, measures, k, turned);
    let right = beside
        .iter()
        .flatten()
        .map(|p| p[0])
        .chain([measures.widest.px * k / 2.0])
        .fold(0.0, f64::max);
    let left = beside
        .iter()
        .flatten()
        .map(|p| -p[0])
        .chain([measures.widest.px * k / 2.0])
        .fold(0.0, f64::max);
    let top = beside
        .iter()
        .flatten()
        .map(|p| -p[1])
        .chain([last[1]])
        .fold(0.0, f64::max);
    let thin = (right + left).max(top) / 500.0;
    let bar = bar(mm_per_px.is_some(), measures.widest.px * k);
    let (width, height) = (left + right + 2.0 * PAD, top + 2.0 * PAD + 14.0);
    let unit = if mm_per_px.is_some() { "mm" } else { "" };
    let mut svg = format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="{width:.1}{unit}" height="{height:.1}{unit}" viewBox="{:.2} {:.2} {width:.2} {height:.2}"><title>Profile</title><rect x="{:.2}" y="{:.2}" width="100%" height="100%" fill="#fff"/><g fill="none" stroke="#111" stroke-linecap="round" stroke-linejoin="round">"##,
        -left - PAD,
        -top - PAD,
        -left - PAD,
        -top - PAD,
    );
    let mut stroke = |points: &mut dyn Iterator<Item = [f64; 2]>, width: f64, dashes: &str| {
        let mut d = String::new();
        line(&mut d, points, false);
        let _ = write!(svg, r#"<path d="{d}" stroke-width="{width:.3}"{dashes}/>"#);
    };
    // Section: the outer line, heavy, with a hatch inwards to tell its side.
    stroke(&mut wall.iter().map(|p| [-p[0], -p[1]]), 4.0 * thin, "");
    stroke(&mut wall.iter().map(|p| [p[0], -p[1]]), 1.6 * thin, "");
    for part in &beside {
        let on_right = part.first().is_some_and(|p| p[0] > 0.0);
        let dashes = if on_right {
            ""
        } else {
            r#" stroke-dasharray="1.6 1.2""#
        };
        stroke(&mut part.iter().copied(), 1.6 * thin, dashes);
    }
    // Rim, foot and centre line.
    for end in [first, last] {
        stroke(
            &mut [[-end[0], -end[1]], [end[0], -end[1]]].into_iter(),
            1.6 * thin,
            "",
        );
    }
    stroke(&mut [[0.0, 0.0], [0.0, -last[1]]].into_iter(), thin, "");
    for corner in measures
        .corners
        .iter()
        .filter(|c| c.turn_deg.abs() >= RIDGE_DEG)
    {
        let (r, y) = (corner.half_px * k, -corner.height_px * k);
        stroke(&mut [[0.0, y], [r, y]].into_iter(), 0.7 * thin, "");
    }
    // Scale bar, in two halves.
    let y = PAD;
    let from = -bar / 2.0;
    stroke(&mut [[from, y], [from + bar, y]].into_iter(), thin, "");
    for i in 0..=2 {
        let x = from + bar * f64::from(i) / 2.0;
        stroke(&mut [[x, y - 1.5], [x, y + 1.5]].into_iter(), thin, "");
    }
    svg.push_str("</g>");
    let _ = write!(
        svg,
        r##"<rect x="{from:.2}" y="{:.2}" width="{:.2}" height="1.2" fill="#111"/><text x="0" y="{:.2}" font-family="sans-serif" font-size="5" text-anchor="middle" fill="#111">{}</text></svg>"##,
        y - 0.6,
        bar / 2.0,
        y + 9.0,
        if mm_per_px.is_some() {
            format!("{:.0} mm", bar)
        } else {
            "no scale: greatest diameter = 100".to_owned()
        }
    );
    svg.push('\n');
    Some(svg)
}

/// Length of the scale bar: a round number of about half the width.
fn bar(has_scale: bool, width: f64) -> f64 {
    if !has_scale {
        return PLAIN;
    }
    [200.0, 100.0, 50.0, 20.0, 10.0]
        .into_iter()
        .find(|b| *b <= 0.8 * width)
        .unwrap_or(5.0)
}

/// The lines of handles and spouts, in drawing units from the foot on the axis:
/// stretches of the contour beyond the body.
fn beside(pose: &Pose, measures: &Measures, k: f64, turned: bool) -> Vec<Vec<[f64; 2]>> {
    let Some(body) = &pose.profile else {
        return Vec::new();
    };
    let rows = &body.rows;
    let rise = measures.wall.last().map_or(1.0, |p| p[1])
        / (measures.wall.len().max(2) - 1) as f64
        / body.step_px();
    let foot = rows.top_px + body.end as f64 * rows.step_px
        - pose.lower.map_or(0.0, |c| c.sag_px.min(c.radius_px * 0.3));
    let tolerance = 0.02 * body.widest_px() + 1.0;
    let sides: Vec<_> = parts::find(body)
        .into_iter()
        .filter(|p| matches!(p.side, Side::Left | Side::Right))
        .map(|p| (p.side, p.from_px, p.to_px))
        .collect();
    let beyond = |p: &[f32; 2]| {
        let x = f64::from(p[0]) - body.axis_px;
        let up = rows.top_px + body.end as f64 * rows.step_px - f64::from(p[1]);
        let row = ((f64::from(p[1]) - rows.top_px) / rows.step_px).max(0.0) as usize;
        let half = body.half_near(row);
        let side = if x < 0.0 { Side::Left } else { Side::Right };
        x.abs() > half + tolerance
            && sides
                .iter()
                .any(|(s, from, to)| *s == side && (from - 2.0..=to + 2.0).contains(&up))
    };
    let place = |p: &[f32; 2]| {
        let x = (f64::from(p[0]) - body.axis_px) * k;
        [
            if turned { -x } else { x },
            (f64::from(p[1]) - foot) * k * rise.clamp(1.0, 1.2),
        ]
    };
    let mut lines = stretches(&rows.outline.outer, beyond, place);
    for hole in &rows.outline.holes {
        lines.extend(stretches(hole, beyond, place));
    }
    lines
}

/// The stretches of a ring whose points are wanted.
fn stretches(
    ring: &Ring,
    wanted: impl Fn(&[f32; 2]) -> bool,
    place: impl Fn(&[f32; 2]) -> [f64; 2],
) -> Vec<Vec<[f64; 2]>> {
    let n = ring.len();
    // Begin where a stretch cannot be cut in two.
    let start = (0..n).find(|i| !wanted(&ring[*i])).unwrap_or(0);
    let mut lines = Vec::new();
    let mut line = Vec::new();
    for i in 0..n {
        let p = &ring[(start + i) % n];
        if wanted(p) {
            line.push(place(p));
        } else if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines.retain(|line| line.len() > 2);
    lines
}

/// Appends path data; points that could not be seen apart are left out.
fn line(d: &mut String, points: impl Iterator<Item = [f64; 2]>, closed: bool) {
    let mut last: Option<[f64; 2]> = None;
    for p in points.filter(|p| p.iter().all(|v| v.is_finite())) {
        if last.is_some_and(|q| (p[0] - q[0]).hypot(p[1] - q[1]) < 0.02) {
            continue;
        }
        let command = if last.is_none() { 'M' } else { 'L' };
        let _ = write!(d, "{command}{:.2} {:.2}", p[0] + 0.0, p[1] + 0.0);
        last = Some(p);
    }
    if closed && last.is_some() {
        d.push('Z');
    }
}
