//! How far a photo can be trusted: codes with the advice that mends it.

use crate::{
    colour::is_highlight,
    cutout::{Cutout, Origin},
    outline::{Outline, resample, ring_area_px2},
    raster,
    warning::{Code, Warning},
};

/// Share of the contour on the frame from which a piece counts as cut off.
const FRAME_SHARE: f64 = 0.012;
/// Fewer covered pixels than this say little.
const SMALL_AREA_PX2: f64 = 64.0 * 64.0;
/// Median difference across the edge (CIEDE2000) below which it is uncertain.
const LOW_EDGE_DELTA_E00: f64 = 7.0;
/// An edge less steep than this share of the piece's size (and 3 px) is blurred;
/// sharp ones measure 1 to 2.5 px on real and rendered photos.
const BLURRED_RISE_SHARE: f32 = 0.006;
/// Share of the surface burnt out from which glare is reported.
const GLARE_SHARE: f64 = 0.12;

/// What to take with care about this piece.
pub(super) fn warnings(cutout: &Cutout, outline: &Outline, has_colour: bool) -> Vec<Warning> {
    let mut codes = Vec::new();
    if cutout.origin == Origin::Whole {
        return Vec::new();
    }
    if frame_share(cutout, outline) > FRAME_SHARE {
        codes.push(Code::TouchesFrame);
    }
    let scale = f64::from(cutout.photo_per_working);
    if ring_area_px2(&outline.outer).abs() * scale * scale < SMALL_AREA_PX2 {
        codes.push(Code::TooSmall);
    }
    if cutout.origin.shows_surface() {
        let edge = edge(cutout, outline);
        if edge.delta_e00 < LOW_EDGE_DELTA_E00 {
            codes.push(Code::LowContrast);
        }
        let bounds = outline.bounds();
        let size = bounds.width().max(bounds.height());
        if edge.rise_px > (BLURRED_RISE_SHARE * size).max(3.0) {
            codes.push(Code::Blurred);
        }
        if glare_share(cutout) > GLARE_SHARE {
            codes.push(Code::Glare);
        }
        if !has_colour {
            codes.push(Code::Colourless);
        }
    }
    codes.into_iter().map(Warning::new).collect()
}

/// Share of the contour that runs along the frame.
fn frame_share(cutout: &Cutout, outline: &Outline) -> f64 {
    const POINTS: usize = 400;
    let (right, bottom) = (
        cutout.mask.width() as f32 - 1.0,
        cutout.mask.height() as f32 - 1.0,
    );
    let on_frame = resample(&outline.outer, POINTS)
        .iter()
        .filter(|[x, y]| *x < 1.0 || *y < 1.0 || *x > right || *y > bottom)
        .count();
    on_frame as f64 / POINTS as f64
}

/// How a piece parts from its background.
struct Edge {
    /// Median colour difference between inside and outside.
    delta_e00: f64,
    /// Median of luma contrast over steepest slope, working pixels: how far a
    /// straight ramp as steep as the edge would run.
    rise_px: f32,
}

/// Looks across the contour along its normal at evenly spaced points.
fn edge(cutout: &Cutout, outline: &Outline) -> Edge {
    const POINTS: usize = 128;
    const REACH: i32 = 10;
    let points = resample(&outline.outer, POINTS);
    let mut differences = Vec::new();
    let mut rises = Vec::new();
    for i in 0..POINTS {
        let (before, here, after) = (
            points[(i + POINTS - 1) % POINTS],
            points[i],
            points[(i + 1) % POINTS],
        );
        let tangent = [after[0] - before[0], after[1] - before[1]];
        let length = tangent[0].hypot(tangent[1]);
        if length < 1e-3 {
            continue;
        }
        let normal = [-tangent[1] / length, tangent[0] / length];
        let at = |d: i32| -> Option<[u8; 3]> {
            let (x, y) = (
                here[0] + normal[0] * d as f32,
                here[1] + normal[1] * d as f32,
            );
            (x >= 0.0 && y >= 0.0)
                .then(|| {
                    cutout
                        .working
                        .get_pixel_checked(x as u32, y as u32)
                        .map(|p| p.0)
                })
                .flatten()
        };
        let profile: Option<Vec<[u8; 3]>> = (-REACH..=REACH).map(at).collect();
        let Some(profile) = profile else { continue };
        let near = |d: i32| raster::lab(profile[(d + REACH) as usize]).map(f64::from);
        differences.push(raster::delta_e00(near(-4), near(4)));
        let luma: Vec<f32> = profile
            .iter()
            .map(|p| f32::from(raster::luma(*p)))
            .collect();
        let contrast = (luma[luma.len() - 1] - luma[0]).abs();
        // A weak edge says nothing about sharpness.
        if contrast > 40.0 {
            let steepest = luma
                .windows(2)
                .map(|w| (w[1] - w[0]).abs())
                .fold(0.0, f32::max);
            rises.push(contrast / steepest);
        }
    }
    Edge {
        delta_e00: median(&mut differences, f64::total_cmp).unwrap_or(100.0),
        rise_px: if rises.len() >= 12 {
            median(&mut rises, f32::total_cmp).unwrap_or(0.0)
        } else {
            0.0
        },
    }
}

fn glare_share(cutout: &Cutout) -> f64 {
    let (mut covered, mut burnt) = (0u64, 0u64);
    for (pixel, mask) in cutout.working.pixels().zip(cutout.mask.iter()) {
        if *mask > 250 {
            covered += 1;
            burnt += u64::from(is_highlight(pixel.0));
        }
    }
    burnt as f64 / covered.max(1) as f64
}

fn median<T: Copy>(values: &mut [T], order: fn(&T, &T) -> std::cmp::Ordering) -> Option<T> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, order).1)
}
