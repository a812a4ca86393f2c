//! The surface unrolled: the outside as azimuth by length along the wall, the face
//! of flatware and the mouth of hollowware as angle by distance from the edge.

use image::{GrayImage, Luma, Rgb, RgbImage};

use super::rings::Rings;
use crate::{cutout::Cutout, outline::rim::Ellipse};

/// An unrolled surface, the rim (or the top) uppermost.
#[derive(Clone, Debug)]
pub struct Strip {
    /// What is seen.
    pub picture: RgbImage,
    /// 255 where the surface is seen well enough, 0 elsewhere.
    pub seen: GrayImage,
    /// Length along the surface that a row stands for, pixels of the cutout.
    pub row_px: f64,
    /// Angle that a column stands for, radians.
    pub column_rad: f64,
}

/// The outside is unrolled so far to both sides of what faces the camera.
const REACH_RAD: f64 = 1.3;
/// Most rows and columns.
const MOST: f64 = 240.0;
/// A wall that faces the camera less than this (cosine) is not looked at.
const FACES: f64 = 0.2;
/// Columns of a full turn, at most.
const TURN: f64 = 720.0;

/// Unrolls the outside.
pub fn outside(cutout: &Cutout, rings: &Rings) -> Strip {
    outside_in(cutout, rings, MOST)
}

/// The same in so many columns at most.
pub(super) fn outside_in(cutout: &Cutout, rings: &Rings, most_columns: f64) -> Strip {
    let wall = rings.wall_px().max(1.0);
    let rows = wall.clamp(2.0, MOST).round();
    let around = 2.0 * REACH_RAD * rings.radius_px(rings.widest());
    let columns = around.clamp(2.0, most_columns).round();
    let (row_px, column_rad) = (wall / rows, 2.0 * REACH_RAD / columns);
    unroll(
        cutout,
        [columns as u32, rows as u32],
        [row_px, column_rad],
        |column, row| {
            let ring = rings.ring_at(row * row_px);
            let azimuth = column * column_rad - REACH_RAD;
            (rings.faces(ring, azimuth) >= FACES).then(|| rings.project(ring, azimuth))
        },
    )
}

/// Unrolls what lies within an ellipse: a full turn, clockwise as seen from the end of
/// its major axis, from the edge inwards to the middle.
pub fn within(cutout: &Cutout, ellipse: &Ellipse) -> Strip {
    let rows = ellipse.major_px.clamp(2.0, MOST).round();
    let columns = (std::f64::consts::TAU * ellipse.major_px)
        .clamp(8.0, TURN)
        .round();
    let (row_px, column_rad) = (ellipse.major_px / rows, std::f64::consts::TAU / columns);
    unroll(
        cutout,
        [columns as u32, rows as u32],
        [row_px, column_rad],
        |column, row| {
            let share = 1.0 - row / rows;
            let edge = ellipse.at(column * column_rad);
            let at = |k: usize| ellipse.centre_px[k] + share * (edge[k] - ellipse.centre_px[k]);
            Some([at(0), at(1)])
        },
    )
}

fn unroll(
    cutout: &Cutout,
    [columns, rows]: [u32; 2],
    [row_px, column_rad]: [f64; 2],
    place: impl Fn(f64, f64) -> Option<[f64; 2]>,
) -> Strip {
    let mut strip = Strip {
        picture: RgbImage::new(columns, rows),
        seen: GrayImage::new(columns, rows),
        row_px,
        column_rad,
    };
    for row in 0..rows {
        for column in 0..columns {
            let Some(p) = place(f64::from(column) + 0.5, f64::from(row) + 0.5) else {
                continue;
            };
            if let Some(rgb) = sample(cutout, p) {
                strip.picture.put_pixel(column, row, Rgb(rgb));
                strip.seen.put_pixel(column, row, Luma([255]));
            }
        }
    }
    strip
}

/// The photo at a point of the cutout, between pixels by straight lines; `None` off
/// the piece.
pub(super) fn sample(cutout: &Cutout, [x, y]: [f64; 2]) -> Option<[u8; 3]> {
    let (width, height) = cutout.working.dimensions();
    let (x, y) = (x - 0.5, y - 0.5);
    let (left, top) = (x.floor(), y.floor());
    if left < 0.0 || top < 0.0 || left + 1.0 >= f64::from(width) || top + 1.0 >= f64::from(height) {
        return None;
    }
    let (s, t) = (x - left, y - top);
    let (left, top) = (left as u32, top as u32);
    if cutout.mask.get_pixel(x.round() as u32, y.round() as u32).0[0] <= 250 {
        return None;
    }
    let at =
        |dx: u32, dy: u32, k: usize| f64::from(cutout.working.get_pixel(left + dx, top + dy).0[k]);
    Some(std::array::from_fn(|k| {
        let upper = at(0, 0, k) * (1.0 - s) + at(1, 0, k) * s;
        let lower = at(0, 1, k) * (1.0 - s) + at(1, 1, k) * s;
        (upper * (1.0 - t) + lower * t).round() as u8
    }))
}
