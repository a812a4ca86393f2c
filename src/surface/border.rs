//! What repeats round the piece: a border's motifs, or sprigs, counted.
//!
//! Rows about the axis are read as logarithms of light, where shade and balance are a
//! constant that falls out: two differences of channels (colour) and the luminance
//! (tones). Round a mouth or a plate a whole turn is seen and the repeats are counted. Of
//! an outside a part is seen, from nearby less than half: how the repeats crowd towards
//! the sides tells from how near, and what that leaves open is said.

use std::{
    f64::consts::{PI, TAU},
    sync::LazyLock,
};

use super::{
    around::{Found, N, Rows},
    rings::Rings,
    strip,
    zones::{Spot, Zone, Zones},
};
use crate::{
    colour,
    cutout::Cutout,
    outline::{Outline, pose::View, rim::Ellipse},
    raster,
};

/// What repeats round the piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Border {
    /// Where its middle lies.
    pub spot: Spot,
    /// How often it looks like itself in one turn: the fewest and the most that the photo
    /// allows.
    pub repeats: [u32; 2],
    /// Whether a whole turn was seen, and counted.
    pub is_whole: bool,
    /// How much it looks like itself turned by one repeat, 1 is wholly (correlation).
    pub likeness: f64,
}

/// Rows round a mouth or a plate: shares of its radius, and how many.
const RADII: [f64; 2] = [0.97, 0.56];
const RADII_N: usize = 16;
/// Rows of an outside: shares of the wall, and how many.
const WALL: [f64; 2] = [0.03, 0.9];
const WALL_N: usize = 18;
/// Samples of an outside, and how far to each side they reach, radians as seen.
const AHEAD: usize = 512;
const AHEAD_RAD: f64 = 1.1;
/// Fewest repeats that have to be in sight.
const IN_SIGHT: f64 = 4.0;
/// Share of a row that has to be seen.
const SEEN: f64 = 0.9;
/// What is lighter or darker by more (logarithm) counts as this much.
const CLIP: f32 = 1.5;

/// Fewest repeats that are told of a whole turn; three are the light's as often as not.
const FEWEST: f64 = 4.0;
/// A border is told where it is like itself by this much at least, of a whole turn and of a
/// part of one.
const LIKENESS: [f64; 2] = [0.7, 0.75];
/// What repeats is this strong at least, and where hardly any of it is in colour, so strong:
/// moulding repeats too, in tones alone and weakly.
const STRENGTH: f64 = 0.12;
const IN_COLOUR: f64 = 0.1;
const STRENGTH_IN_TONES: f64 = 0.2;
/// How far the count may be from what the angle of a repeat says, as a share.
const ROUGH: f64 = 0.12;
/// Where the outline itself goes in and out as often by this share of the radius, the
/// repeats are the moulding's.
const WAVED: f64 = 0.004;
/// Most that the fewest and the most repeats may differ by, as a share, and the part of a
/// share by which a count from a part of the turn may be off beside.
const APART: f64 = 0.3;
const OFF: f64 = 0.025;

/// The border of the side that is seen square on from above, or of the outside.
/// An inside seen at an angle is left out: its wall is no disc.
pub(super) fn read(cutout: &Cutout, outline: &Outline, zones: &Zones) -> Option<Border> {
    match (&zones.mouth, &zones.rings) {
        (Some(mouth), _) if zones.view() == View::Top => whole(cutout, outline, zones, mouth),
        (_, Some(rings)) => part(cutout, zones, rings),
        _ => None,
    }
}

fn whole(cutout: &Cutout, outline: &Outline, zones: &Zones, mouth: &Ellipse) -> Option<Border> {
    let share = |row: usize| RADII[0] + (RADII[1] - RADII[0]) * row as f64 / (RADII_N - 1) as f64;
    let place = |share: f64, angle: f64| {
        let edge = mouth.at(angle);
        [0, 1].map(|k| mouth.centre_px[k] + share * (edge[k] - mouth.centre_px[k]))
    };
    let rows: Vec<(usize, Vec<[f32; 3]>)> = (0..RADII_N)
        .filter_map(|row| {
            let at = |i: usize| place(share(row), TAU * (i as f64 + 0.5) / N as f64);
            Some((
                row,
                logarithms((0..N).map(|i| strip::sample(cutout, at(i))))?,
            ))
        })
        .collect();
    let found = Rows::new(&rows, true).repeat(FEWEST - 1.0)?;
    let turns = found.turns.last()?[0];
    let exact = turns / found.harmonic as f64;
    let count = exact.round();
    // Harmonics turn as often as repeats times their number, and about as often as the angle
    // of a repeat says.
    let is_clear =
        (exact - count).abs() < 0.1 && (count - found.rough).abs() <= ROUGH * count + 1.0;
    let middle = (share(found.rows[0]) + share(found.rows[1])) / 2.0;
    let spot = zones.spot(place(middle, 0.3))?;
    // The petals of a flower in the middle go round too, and are no border.
    let is_middle = matches!(spot.zone, Zone::Well | Zone::Centre);
    if !is_clear || count < FEWEST || is_middle || waves(outline, mouth, count) > WAVED {
        return None;
    }
    border(spot, [count; 2], true, &found)
}

/// How far an outline goes in and out `count` times (one more or less) round an ellipse, as a
/// share of the radius: the size of that line of its spectrum.
fn waves(outline: &Outline, mouth: &Ellipse, count: f64) -> f64 {
    let points: Vec<[f64; 2]> = outline
        .outer
        .iter()
        .map(|p| p.map(f64::from))
        .map(|p| [mouth.angle_rad(p), mouth.off(p)])
        .collect();
    let line = |count: f64| {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, [angle, off]) in points.iter().enumerate() {
            let [next, _] = points[(i + 1) % points.len()];
            let step = (next - angle + PI).rem_euclid(TAU) - PI;
            let (sin, cos) = (count * angle).sin_cos();
            re += off * cos * step / PI;
            im += off * sin * step / PI;
        }
        re.hypot(im)
    };
    [count - 1.0, count, count + 1.0]
        .map(line)
        .into_iter()
        .fold(0.0, f64::max)
}

fn part(cutout: &Cutout, zones: &Zones, rings: &Rings) -> Option<Border> {
    let share = |row: usize| WALL[0] + (WALL[1] - WALL[0]) * row as f64 / (WALL_N - 1) as f64;
    let azimuth = |i: f64| 2.0 * AHEAD_RAD * (i / AHEAD as f64 - 0.5);
    let rows: Vec<(usize, Vec<[f32; 3]>)> = (0..WALL_N)
        .filter_map(|row| {
            let ring = rings.ring_at(share(row) * rings.wall_px());
            let at = |i: usize| {
                let azimuth = azimuth(i as f64 + 0.5);
                let p = rings.project(ring, azimuth);
                (rings.faces(ring, azimuth) > 0.1)
                    .then(|| strip::sample(cutout, p))
                    .flatten()
            };
            Some((row, logarithms((0..AHEAD).map(at))?))
        })
        .collect();
    let found = Rows::new(&rows, false).repeat(IN_SIGHT)?;
    let turns: Vec<[f64; 3]> = found
        .turns
        .iter()
        .enumerate()
        .filter(|(i, _)| (AHEAD / 10..AHEAD - AHEAD / 10).contains(i))
        .map(|(i, [turns, weight])| {
            [
                azimuth(i as f64 + 1.0),
                *turns / found.harmonic as f64,
                *weight,
            ]
        })
        .collect();
    let count = from_nearby(&turns)?;
    let middle = (share(found.rows[0]) + share(found.rows[1])) / 2.0;
    let ring = rings.ring_at(middle * rings.wall_px());
    border(zones.spot(rings.project(ring, 0.0))?, count, false, &found)
}

fn border(spot: Spot, [low, high]: [f64; 2], is_whole: bool, found: &Found) -> Option<Border> {
    let strength = match found.in_colour < IN_COLOUR {
        true => STRENGTH_IN_TONES,
        false => STRENGTH,
    };
    let is_told = found.likeness >= LIKENESS[usize::from(!is_whole)]
        && found.strength >= strength
        && high <= (1.0 + APART) * low;
    is_told.then(|| Border {
        spot,
        repeats: [low.round() as u32, high.round() as u32],
        is_whole,
        likeness: found.likeness,
    })
}

/// Distances of the camera from the axis, in radii of the piece, that are thought of.
const DISTANCES: [f64; 6] = [4.0, 5.0, 6.0, 8.0, 11.0, 16.0];

/// The true azimuth of what a cylinder seen from `distance` radii shows at an azimuth as it
/// seems where it is seen from far off: the silhouette is then nearer than a quarter turn.
fn true_azimuth(seems: f64, distance: f64) -> f64 {
    // sin(seems) = sin(a) sqrt(d^2 - 1) / (d - cos(a)), by fixed-point steps.
    let wide = (distance * distance - 1.0).sqrt();
    let mut azimuth = seems;
    for _ in 0..8 {
        azimuth = (seems.sin() * (distance - azimuth.cos()) / wide)
            .clamp(-1.0, 1.0)
            .asin();
    }
    azimuth
}

/// Repeats in a whole turn, fewest and most, from turns counted up to azimuths as they seem,
/// each with a weight.
fn from_nearby(turns: &[[f64; 3]]) -> Option<[f64; 2]> {
    let fits: Vec<[f64; 2]> = DISTANCES
        .iter()
        .map(|distance| {
            let points: Vec<[f64; 3]> = turns
                .iter()
                .step_by(4)
                .map(|[seems, count, weight]| {
                    [true_azimuth(*seems, *distance) / TAU, *count, *weight]
                })
                .collect();
            line(&points)
        })
        .collect();
    let best = fits
        .iter()
        .map(|[_, off]| *off)
        .fold(f64::INFINITY, f64::min);
    let fitting = fits.iter().filter(|[_, off]| *off <= best + 0.015);
    let (low, high) = fitting.fold((f64::INFINITY, 0.0f64), |(low, high), [n, _]| {
        (low.min(*n), high.max(*n))
    });
    (low.is_finite() && low > 0.0).then_some([low * (1.0 - OFF), high * (1.0 + OFF)])
}

/// Slope of a straight line through weighted points, and the root mean square of what is left.
fn line(points: &[[f64; 3]]) -> [f64; 2] {
    let mean = |of: &dyn Fn(&[f64; 3]) -> f64| -> f64 {
        let whole: f64 = points.iter().map(|p| p[2]).sum();
        points.iter().map(|p| p[2] * of(p)).sum::<f64>() / whole.max(1e-12)
    };
    let (x, y) = (mean(&|p| p[0]), mean(&|p| p[1]));
    let slope = mean(&|p| (p[0] - x) * (p[1] - y)) / mean(&|p| (p[0] - x).powi(2)).max(1e-12);
    let off = mean(&|p| (p[1] - y - slope * (p[0] - x)).powi(2)).sqrt();
    [slope, off]
}

/// Natural logarithms of linear light by 8-bit value; black is as dark as the noise.
static LN: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|v| raster::linear([v as u8; 3])[0].max(0.004).ln()));

/// A row's samples about their means; `None` where too few are seen.
fn logarithms(row: impl Iterator<Item = Option<[u8; 3]>>) -> Option<Vec<[f32; 3]>> {
    let mut values: Vec<Option<[f32; 3]>> = row
        .map(|rgb| {
            let rgb = rgb.filter(|rgb| !colour::is_highlight(*rgb))?;
            let [r, g, b] = rgb.map(|v| LN[usize::from(v)]);
            Some([r - g, b - g, 0.25 * (r + 2.0 * g + b)])
        })
        .collect();
    let seen = values.iter().flatten().count();
    if (seen as f64) < SEEN * values.len() as f64 {
        return None;
    }
    let mut mean = [0.0f32; 3];
    for value in values.iter().flatten() {
        (0..3).for_each(|k| mean[k] += value[k] / seen as f32);
    }
    for value in values.iter_mut().flatten() {
        (0..3).for_each(|k| value[k] = (value[k] - mean[k]).clamp(-CLIP, CLIP));
    }
    Some(values.into_iter().map(Option::unwrap_or_default).collect())
}
