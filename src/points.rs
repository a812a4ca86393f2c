//! Points of a piece's decoration: spots of the grey picture, each with its size, the
//! way it is turned, a small patch of what it looks like, and its tint. Two pictures of
//! one motif have points that look alike and lie alike ([`Agreement`]).

mod agree;
mod extrema;
mod packed;
mod plane;

use image::{GrayImage, RgbImage};

pub use agree::{Agreement, agreement};
use extrema::Spot;
use plane::{Plane, Tint};

/// Side of the square picture that points are found in, pixels.
pub const SIDE_PX: u32 = 400;
/// Points that are kept, the strongest.
pub const MOST: usize = 100;
/// Samples along a patch's side, and in all.
const CELLS: usize = 8;
const PATCH: usize = CELLS * CELLS;
/// Numbers of the vector that holds them.
pub const DIM: usize = MOST * packed::NUMBERS;
/// A patch reaches so many times its point's size to each side.
const REACH: f32 = 1.5;
/// Blurs at which patches are sampled, px.
const BLURS_PX: [f32; 4] = [0.6, 1.2, 2.4, 4.8];
/// Blur at which the tint is read, px.
const TINT_PX: f32 = 2.0;
/// Points keep so far from the piece's edge, px.
const EDGE_PX: usize = 3;

/// A point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Its place in a picture of [`SIDE_PX`] a side, pixels; (0, 0) is the middle of the
    /// first.
    pub at: [f32; 2],
    /// Two standard deviations of the Gaussian that it stands out at, pixels.
    pub size_px: f32,
    /// Which way the grey rises most, radians from x to y.
    pub angle: f32,
    /// a* and b*; `None` in a photo without colour.
    pub tint: Option<[f32; 2]>,
    /// What it looks like, turned upright: rows of grey values less their mean, of unit
    /// length.
    patch: [f32; PATCH],
}

/// The points of one piece, the strongest first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Points(pub Vec<Point>);

impl Points {
    /// Whether they were found in a photo with colour.
    pub fn has_colour(&self) -> bool {
        self.0.iter().any(|point| point.tint.is_some())
    }

    /// Finds them. `cover` is the piece's coverage, 0 to 255, in a picture of [`SIDE_PX`]
    /// a side; empty where the two differ in size, or nothing of a piece is there.
    pub fn find(picture: &RgbImage, cover: &GrayImage, has_colour: bool) -> Self {
        if picture.dimensions() != cover.dimensions() {
            return Self::default();
        }
        let Some(grey) = plane::standardised(picture, cover) else {
            return Self::default();
        };
        let spots = extrema::spots(&grey, &plane::inside(cover, EDGE_PX), MOST);
        let blurs = BLURS_PX.map(|sigma| grey.blurred(sigma));
        let tint = has_colour.then(|| Tint::new(picture, TINT_PX));
        let point = |spot: Spot| {
            let [x, y] = spot.at;
            Some(Point {
                at: spot.at,
                size_px: spot.size_px,
                angle: spot.angle,
                tint: tint.as_ref().map(|tint| tint.at(x, y)),
                patch: patch(&spot, &blurs)?,
            })
        };
        Self(spots.into_iter().filter_map(point).collect())
    }
}

/// The patch of a spot, sampled at the blur that goes with the distance of its samples.
/// `None` where it is even.
fn patch(spot: &Spot, blurs: &[Plane]) -> Option<[f32; PATCH]> {
    let reach = REACH * spot.size_px;
    let step = 2.0 * reach / CELLS as f32;
    let level = (step / 2.0 / BLURS_PX[0]).max(1.0).log2().round() as usize;
    let plane = &blurs[level.min(blurs.len() - 1)];
    let (sine, cosine) = spot.angle.sin_cos();
    let along = |i: usize| reach * ((i as f32 + 0.5) / CELLS as f32 * 2.0 - 1.0);
    let patch = std::array::from_fn(|i| {
        let (u, v) = (along(i % CELLS), along(i / CELLS));
        plane.between(
            spot.at[0] + cosine * u - sine * v,
            spot.at[1] + sine * u + cosine * v,
        )
    });
    unit(patch)
}

/// Less its mean, of unit length.
fn unit(mut patch: [f32; PATCH]) -> Option<[f32; PATCH]> {
    let mean = patch.iter().sum::<f32>() / PATCH as f32;
    patch.iter_mut().for_each(|v| *v -= mean);
    let length = patch.iter().map(|v| v * v).sum::<f32>().sqrt();
    (length > 1e-3).then(|| patch.map(|v| v / length))
}
