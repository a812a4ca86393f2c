//! Where the piece is: one soft mask at working resolution.
//!
//! The mask comes from the photo's own transparency, from a picture that is a
//! silhouette or a line drawing already, or from the mask network; a network's
//! mask is coarse and its edge is then found again in the photo ([`refine`]).

mod painted;
mod pieces;
mod ready;
mod refine;

pub use pieces::{Piece, split};

use image::{GrayImage, ImageBuffer, Luma, RgbImage};
use imageproc::region_labelling::{Connectivity, connected_components};
use ndarray::Array4;

use crate::{
    config::Config,
    error::Result,
    onnx::Model,
    photo::Photo,
    raster,
    warning::{Code, Warning},
};

/// How the mask is to be found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[non_exhaustive]
pub enum Method {
    /// Transparency, silhouette or drawing where the photo is one, else the network.
    #[default]
    Auto,
    /// The network, whatever the photo is.
    Model,
    /// The photo's own transparency.
    Alpha,
    /// The picture is a silhouette or a line drawing.
    Silhouette,
    /// The whole photo is the piece.
    None,
}

/// What a mask was made from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Origin {
    /// The network, edge refined.
    Model,
    /// The photo's transparency.
    Alpha,
    /// A filled shape on a plain ground.
    Silhouette,
    /// Lines on paper, filled.
    Drawing,
    /// The whole photo.
    Whole,
}

impl Origin {
    /// Whether the pixels inside the mask show the surface of the piece.
    pub fn shows_surface(self) -> bool {
        !matches!(self, Self::Silhouette | Self::Drawing)
    }
}

/// The piece read in a photo.
#[derive(Clone, Debug)]
pub struct Cutout {
    /// The photo at working resolution.
    pub working: RgbImage,
    /// Coverage of the piece, 0 to 255, same size as `working`.
    pub mask: GrayImage,
    /// Photo pixels per working pixel.
    pub photo_per_working: f32,
    /// What the mask was made from.
    pub origin: Origin,
    /// What to take with care.
    pub warnings: Vec<Warning>,
}

/// Other regions at least this large, against the largest, are pieces too.
const SECOND_PIECE_SHARE: f64 = 0.2;

/// Highest raw output of the network below which nothing stands out.
const NOTHING_SEEN: f32 = 0.25;

/// Cuts the (largest) piece out of a photo.
///
/// # Errors
/// [`crate::error::Kind::Setup`] if the network does not run.
pub fn cut(photo: &Photo, model: &Model, config: &Config, method: Method) -> Result<Cutout> {
    let working = shrink(&photo.pixels, config.cutout.working_px);
    let photo_per_working = photo.pixels.width() as f32 / working.width() as f32;
    let size = working.dimensions();
    let alpha = || {
        let alpha = photo.alpha.as_ref()?;
        Some(raster::resize_grey(alpha, size.0, size.1))
    };
    let whole = || GrayImage::from_pixel(size.0, size.1, Luma([255]));
    let ready = match method {
        Method::Auto => alpha()
            .map(|mask| (mask, Origin::Alpha))
            .or_else(|| ready::detect(&working)),
        Method::Alpha => alpha().map(|mask| (mask, Origin::Alpha)),
        Method::Silhouette => Some(ready::force(&working)),
        Method::None => Some((whole(), Origin::Whole)),
        Method::Model => None,
    };
    let (mut mask, mut origin) = match ready {
        Some(ready) => ready,
        None => match ask(&working, model)? {
            Some(coarse) => (refine::refine(&working, &coarse), Origin::Model),
            None => (whole(), Origin::Whole),
        },
    };
    let regions = keep_largest(&mut mask);
    if regions == 0 {
        mask = whole();
        origin = Origin::Whole;
    }
    let mut warnings = Vec::new();
    if origin == Origin::Whole && method != Method::None {
        warnings.push(Warning::new(Code::WholePhoto));
    }
    warnings.extend(several(regions));
    Ok(Cutout {
        working,
        mask,
        photo_per_working,
        origin,
        warnings,
    })
}

/// The piece cut out again by the network with a figure painted over that is none of
/// it: corners of a convex one, working pixels. The cutout as it was where the mask
/// is not the network's, or nothing is left.
///
/// # Errors
/// [`crate::error::Kind::Setup`] if the network does not run.
pub fn cut_without(cutout: Cutout, figure: &[[f32; 2]], model: &Model) -> Result<Cutout> {
    if cutout.origin != Origin::Model {
        return Ok(cutout);
    }
    let painted = painted::over(&cutout.working, &cutout.mask, figure);
    let Some(coarse) = ask(&painted, model)? else {
        return Ok(cutout);
    };
    let mut mask = refine::refine(&painted, &coarse);
    let regions = keep_largest(&mut mask);
    if regions == 0 {
        return Ok(cutout);
    }
    Ok(Cutout {
        mask,
        warnings: several(regions).into_iter().collect(),
        ..cutout
    })
}

fn several(regions: usize) -> Option<Warning> {
    (regions > 1).then(|| Warning::new(Code::SeveralPieces))
}

impl Cutout {
    /// The mask at the size of the photo it was cut from.
    pub fn mask_at(&self, width: u32, height: u32) -> GrayImage {
        if self.mask.dimensions() == (width, height) {
            self.mask.clone()
        } else {
            raster::resize_grey(&self.mask, width, height)
        }
    }
}

/// A copy whose longest side is at most `longest_px`; never enlarged.
fn shrink(pixels: &RgbImage, longest_px: u32) -> RgbImage {
    let (width, height) = pixels.dimensions();
    let longest = width.max(height);
    if longest <= longest_px {
        return pixels.clone();
    }
    let scaled =
        |side: u32| ((u64::from(side) * u64::from(longest_px) / u64::from(longest)) as u32).max(1);
    raster::resize(pixels, scaled(width), scaled(height))
}

/// Asks the mask network; `None` if nothing stands out. The answer is the
/// network's square, 0 to 1, stretched over the photo.
fn ask(working: &RgbImage, model: &Model) -> Result<Option<Coarse>> {
    let input = input(working, model.info.side_px);
    let output = model.run(input.view(), &["mask"])?.swap_remove(0);
    let (low, high) = output
        .iter()
        .fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), v| {
            (low.min(*v), high.max(*v))
        });
    if high.is_nan() || high <= NOTHING_SEEN || high - low < 1e-6 {
        return Ok(None);
    }
    let values = output.iter().map(|v| (v - low) / (high - low)).collect();
    Ok(Some(Coarse {
        values,
        side: model.info.side_px as usize,
    }))
}

/// A picture as the mask networks expect it, `[1, 3, side_px, side_px]`: stretched to
/// the square, over its brightest value.
fn input(picture: &RgbImage, side_px: u32) -> Array4<f32> {
    // Mean and spread of ImageNet, as the networks were trained with.
    const MEAN: [f32; 3] = [0.485, 0.456, 0.406];
    const SPREAD: [f32; 3] = [0.229, 0.224, 0.225];
    let square = raster::resize(picture, side_px, side_px);
    let brightest = f32::from(square.as_raw().iter().copied().max().unwrap_or(1).max(1));
    let side = side_px as usize;
    Array4::from_shape_fn((1, 3, side, side), |(_, c, y, x)| {
        let v = f32::from(square.as_raw()[(y * side + x) * 3 + c]);
        (v / brightest - MEAN[c]) / SPREAD[c]
    })
}

/// A network's square mask, values 0 to 1.
struct Coarse {
    values: Vec<f32>,
    side: usize,
}

/// The connected regions of what is not black, each pixel by its region's label
/// (0: black), and how many pixels each label has (0 of label 0).
fn regions(hard: &GrayImage) -> (ImageBuffer<Luma<u32>, Vec<u32>>, Vec<usize>) {
    let labels = connected_components(hard, Connectivity::Eight, Luma([0]));
    let most = labels.as_raw().iter().copied().max().unwrap_or(0);
    let mut sizes = vec![0; most as usize + 1];
    for label in labels.as_raw().iter().filter(|label| **label > 0) {
        sizes[*label as usize] += 1;
    }
    (labels, sizes)
}

/// Clears all but the largest region covered by half or more, with the soft
/// edge that belongs to it; returns how many regions are large enough to be
/// pieces of their own.
fn keep_largest(mask: &mut GrayImage) -> usize {
    let (width, height) = mask.dimensions();
    let mut hard = mask.clone();
    hard.iter_mut()
        .for_each(|v| *v = if *v >= 128 { 255 } else { 0 });
    let (labels, sizes) = regions(&hard);
    let Some((largest, size)) = sizes
        .iter()
        .enumerate()
        .max_by_key(|(_, size)| **size)
        .filter(|(_, size)| **size > 0)
    else {
        return 0;
    };
    let pieces = sizes
        .iter()
        .filter(|s| **s as f64 >= SECOND_PIECE_SHARE * *size as f64)
        .count();
    if sizes.iter().filter(|s| **s > 0).count() > 1 {
        // A soft pixel belongs to the piece if it is within reach of it; two
        // pixels is as far as a soft edge runs.
        let own = |x: i64, y: i64| {
            x >= 0
                && y >= 0
                && x < i64::from(width)
                && y < i64::from(height)
                && labels.get_pixel(x as u32, y as u32).0[0] as usize == largest
        };
        for y in 0..height {
            for x in 0..width {
                let label = labels.get_pixel(x, y).0[0] as usize;
                if label == largest || mask.get_pixel(x, y).0[0] == 0 {
                    continue;
                }
                let near = label == 0
                    && (-2..=2)
                        .any(|dy| (-2..=2).any(|dx| own(i64::from(x) + dx, i64::from(y) + dy)));
                if !near {
                    mask.put_pixel(x, y, Luma([0]));
                }
            }
        }
    }
    pieces
}
