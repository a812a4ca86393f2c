//! Photos of several pieces: every piece cut out by itself.
//!
//! The cutout network says of each pixel how likely it is ware and where the
//! centre of its piece lies, and where centres are; a pixel belongs to the
//! centre nearest to where it points (Cheng et al. 2020, "Panoptic-DeepLab").
//! What was found from afar is then looked at once more from nearby.

use image::{GrayImage, RgbImage, imageops};

use super::{Coarse, input, refine, regions, shrink};
use crate::{config::Config, error::Result, onnx::Model, photo::Photo, raster};

/// A piece cut out of a photo of several.
#[derive(Clone, Debug)]
pub struct Piece {
    /// Left, top, width and height of what is shown of the photo, photo pixels.
    pub frame_px: [u32; 4],
    /// That part of the photo.
    pub pixels: RgbImage,
    /// Coverage of the piece in it, 0 to 255, same size.
    pub mask: GrayImage,
    /// The part of the whole photo that the piece covers, 0 to 1.
    pub share: f64,
    /// Whether the photo's edge cuts it off.
    pub touches_frame: bool,
}

/// From what the network says on a pixel belongs to a piece; the mask it was trained
/// by is softer than its own, so half covered is less than a half.
const SEEN: f32 = 0.5;
const HALF: f32 = 0.3;
/// Below this a pixel is surely none of it.
const NOTHING: f32 = 0.1;
/// A centre is at least this sure, and the surest within so many cells.
const CENTRE: f32 = 0.3;
const CENTRE_REACH: usize = 2;
/// Pieces smaller than this share of the photo are crumbs.
const LEAST_SHARE: f64 = 0.002;
/// What lies apart from the piece belongs to it from this share of its largest region
/// on: something may stand before it.
const FRAGMENT: usize = 8;
/// Surroundings shown on each side, as a share of the piece's longer side.
const MARGIN: f32 = 0.25;
/// From nearby it is the same piece if both looks overlap by this much.
const SAME: f64 = 0.5;

/// Every piece of ware in a photo, by rows from the top, each row from the left;
/// none where no ware is seen.
///
/// # Errors
/// [`crate::error::Kind::Setup`] if the network does not run.
pub fn split(photo: &Photo, model: &Model, config: &Config) -> Result<Vec<Piece>> {
    let (width, height) = photo.pixels.dimensions();
    let from_afar = Look::at(&photo.pixels, model)?;
    let mut pieces = Vec::new();
    for label in 1..=from_afar.count {
        let region = from_afar.region(label);
        let Some(bounds) = region.bounds() else {
            continue;
        };
        if region.share() < LEAST_SHARE {
            continue;
        }
        let frame_px = framed(bounds, [width, height], from_afar.side);
        let [x, y, w, h] = frame_px;
        let pixels = imageops::crop_imm(&photo.pixels, x, y, w, h).to_image();
        let working = shrink(&pixels, config.cutout.working_px);
        let seen = region.seen_in(frame_px, [width, height]);
        let nearby = Look::at(&working, model)?;
        let coarse = nearby
            .same_as(&seen)
            .map_or_else(|| seen.soft(), |label| nearby.soft(label));
        let mask = raster::resize_grey(&refine::refine(&working, &coarse), w, h);
        let covered = mask.iter().map(|v| f64::from(*v) / 255.0).sum::<f64>();
        pieces.push(Piece {
            frame_px,
            pixels,
            share: covered / (f64::from(width) * f64::from(height)),
            touches_frame: touches_frame(&mask, frame_px, [width, height]),
            mask,
        });
    }
    pieces.retain(|piece| piece.share >= LEAST_SHARE);
    in_rows(&mut pieces);
    Ok(pieces)
}

/// What the network sees in a picture, on the network's own grid.
struct Look {
    side: usize,
    /// How likely a cell is ware, 0 to 1.
    mask: Vec<f32>,
    /// The piece each cell belongs to, from 1; 0 where there is none.
    belongs: Vec<usize>,
    count: usize,
}

impl Look {
    fn at(picture: &RgbImage, model: &Model) -> Result<Self> {
        let outputs = model.run(
            input(picture, model.info.side_px).view(),
            &["mask", "centre", "offset"],
        )?;
        let [mask, centre, offset] = outputs.as_slice() else {
            return Ok(Self::empty());
        };
        let [_, _, side, _] = *mask.shape() else {
            return Ok(Self::empty());
        };
        let [_, _, cells, _] = *centre.shape() else {
            return Ok(Self::empty());
        };
        let mask: Vec<f32> = mask.iter().copied().collect();
        let centre: Vec<f32> = centre.iter().copied().collect();
        let offset: Vec<f32> = offset.iter().copied().collect();
        let centres = centres(&centre, cells);
        // The mask is finer than the cells that point.
        let fine = (side / cells).max(1);
        let half = (fine as f32 - 1.0) / 2.0;
        let belongs = (0..side * side)
            .map(|i| {
                if mask[i] <= NOTHING || mask[i].is_nan() {
                    return 0;
                }
                let (x, y) = (i % side, i / side);
                let cell = (y / fine).min(cells - 1) * cells + (x / fine).min(cells - 1);
                let to = |at: usize, offset: f32| {
                    (at as f32 - half) / fine as f32 + offset * cells as f32
                };
                let points = [to(x, offset[cell]), to(y, offset[cells * cells + cell])];
                nearest(&centres, points).map_or(0, |k| k + 1)
            })
            .collect();
        Ok(Self {
            side,
            mask,
            belongs,
            count: centres.len(),
        })
    }

    fn empty() -> Self {
        Self {
            side: 1,
            mask: vec![0.0],
            belongs: vec![0],
            count: 0,
        }
    }

    /// Where a piece is, without crumbs.
    fn region(&self, label: usize) -> Region {
        let seen = |i: usize| self.belongs[i] == label && self.mask[i] > SEEN;
        let is_it = (0..self.mask.len()).map(seen).collect();
        Region {
            side: self.side,
            is_it: without_crumbs(is_it, self.side),
        }
    }

    /// The piece that is `region` seen from nearby.
    fn same_as(&self, region: &Region) -> Option<usize> {
        let overlap = |label: usize| {
            let own = self.region(label);
            let both = own.both(region);
            let any = own.size() + region.size() - both;
            (label, both as f64 / any.max(1) as f64)
        };
        (1..=self.count)
            .map(overlap)
            .filter(|(_, overlap)| *overlap > SAME)
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(label, _)| label)
    }

    /// The piece's soft mask; half covered is 0.5.
    fn soft(&self, label: usize) -> Coarse {
        let region = self.region(label);
        let near = region.grown();
        let power = 0.5_f32.ln() / HALF.ln();
        let values = (0..self.mask.len())
            .map(|i| {
                if self.belongs[i] == label && near[i] {
                    self.mask[i].clamp(0.0, 1.0).powf(power)
                } else {
                    0.0
                }
            })
            .collect();
        Coarse {
            values,
            side: self.side,
        }
    }
}

/// The surest cells within their reach.
fn centres(sure: &[f32], cells: usize) -> Vec<[f32; 2]> {
    let mut found = Vec::new();
    for y in 0..cells {
        for x in 0..cells {
            let own = sure[y * cells + x];
            if own <= CENTRE || own.is_nan() {
                continue;
            }
            let around = (y.saturating_sub(CENTRE_REACH)..(y + CENTRE_REACH + 1).min(cells))
                .flat_map(|v| {
                    (x.saturating_sub(CENTRE_REACH)..(x + CENTRE_REACH + 1).min(cells))
                        .map(move |u| v * cells + u)
                });
            // Of two that are equally sure the first is taken.
            let at = y * cells + x;
            let beaten = |i: usize| sure[i] > own || (sure[i] >= own && i < at);
            if !around.into_iter().any(beaten) {
                found.push([x as f32, y as f32]);
            }
        }
    }
    found
}

fn nearest(centres: &[[f32; 2]], to: [f32; 2]) -> Option<usize> {
    let away = |c: &[f32; 2]| (c[0] - to[0]).powi(2) + (c[1] - to[1]).powi(2);
    (0..centres.len()).min_by(|a, b| away(&centres[*a]).total_cmp(&away(&centres[*b])))
}

/// Cells of a square grid.
struct Region {
    side: usize,
    is_it: Vec<bool>,
}

impl Region {
    fn size(&self) -> usize {
        self.is_it.iter().filter(|is_it| **is_it).count()
    }

    fn share(&self) -> f64 {
        self.size() as f64 / self.is_it.len().max(1) as f64
    }

    fn both(&self, other: &Self) -> usize {
        let pairs = self.is_it.iter().zip(&other.is_it);
        pairs.filter(|(a, b)| **a && **b).count()
    }

    /// Left, top, right and bottom, the last two one beyond.
    fn bounds(&self) -> Option<[usize; 4]> {
        let mut found: Option<[usize; 4]> = None;
        for (i, _) in self.is_it.iter().enumerate().filter(|(_, is_it)| **is_it) {
            let (x, y) = (i % self.side, i / self.side);
            let [l, t, r, b] = found.unwrap_or([x, y, x + 1, y + 1]);
            found = Some([l.min(x), t.min(y), r.max(x + 1), b.max(y + 1)]);
        }
        found
    }

    /// The region on a grid of the same side over a part of the photo.
    fn seen_in(&self, [left, top, width, height]: [u32; 4], photo: [u32; 2]) -> Self {
        let side = self.side as f32;
        let from = |start: u32, length: u32, whole: u32, i: usize| {
            let px = start as f32 + (i as f32 + 0.5) / side * length as f32;
            ((px / whole as f32 * side) as usize).min(self.side - 1)
        };
        let cell = |i: usize| {
            let x = from(left, width, photo[0], i % self.side);
            let y = from(top, height, photo[1], i / self.side);
            self.is_it[y * self.side + x]
        };
        Self {
            side: self.side,
            is_it: (0..self.is_it.len()).map(cell).collect(),
        }
    }

    fn soft(&self) -> Coarse {
        Coarse {
            values: self.is_it.iter().map(|i| f32::from(u8::from(*i))).collect(),
            side: self.side,
        }
    }

    /// With what lies within three cells of it: as far as a soft edge runs.
    fn grown(&self) -> Vec<bool> {
        const REACH: u8 = 3;
        let side = self.side as u32;
        let picture = GrayImage::from_fn(side, side, |x, y| {
            image::Luma([255 * u8::from(self.is_it[y as usize * self.side + x as usize])])
        });
        let grown = imageproc::morphology::dilate(
            &picture,
            imageproc::distance_transform::Norm::LInf,
            REACH,
        );
        grown.iter().map(|v| *v > 0).collect()
    }
}

/// Without regions that are small beside the largest.
fn without_crumbs(is_it: Vec<bool>, side: usize) -> Vec<bool> {
    let picture = GrayImage::from_fn(side as u32, side as u32, |x, y| {
        image::Luma([u8::from(is_it[y as usize * side + x as usize])])
    });
    let (labels, sizes) = regions(&picture);
    let largest = sizes.iter().copied().max().unwrap_or(0);
    let keep = |label: &u32| *label > 0 && sizes[*label as usize] * FRAGMENT >= largest;
    labels.as_raw().iter().map(keep).collect()
}

/// The part of the photo to be shown: the region with a margin, photo pixels.
fn framed([l, t, r, b]: [usize; 4], [width, height]: [u32; 2], side: usize) -> [u32; 4] {
    let (sx, sy) = (width as f32 / side as f32, height as f32 / side as f32);
    let edges = [l as f32 * sx, t as f32 * sy, r as f32 * sx, b as f32 * sy];
    let longer = (edges[2] - edges[0]).max(edges[3] - edges[1]);
    // A cell more, since the grid is coarse.
    let margin = MARGIN * longer + sx.max(sy);
    let low = |v: f32| (v - margin).max(0.0) as u32;
    let high = |v: f32, most: u32| ((v + margin).ceil() as u32).min(most);
    let (left, top) = (low(edges[0]), low(edges[1]));
    let (right, bottom) = (high(edges[2], width), high(edges[3], height));
    [left, top, (right - left).max(1), (bottom - top).max(1)]
}

/// Whether half covered pixels lie along an edge of the photo itself.
fn touches_frame(mask: &GrayImage, [left, top, w, h]: [u32; 4], photo: [u32; 2]) -> bool {
    let column = |x: u32| (0..h).any(|y| mask.get_pixel(x, y).0[0] >= 128);
    let row = |y: u32| (0..w).any(|x| mask.get_pixel(x, y).0[0] >= 128);
    (left == 0 && column(0))
        || (top == 0 && row(0))
        || (left + w == photo[0] && column(w - 1))
        || (top + h == photo[1] && row(h - 1))
}

/// Rows from the top, each from the left: what begins above the middle of the row's
/// highest stands in its row.
fn in_rows(pieces: &mut [Piece]) {
    let middle = |piece: &Piece, axis: usize| {
        f64::from(piece.frame_px[axis]) + f64::from(piece.frame_px[axis + 2]) / 2.0
    };
    pieces.sort_by(|a, b| middle(a, 1).total_cmp(&middle(b, 1)));
    let mut begin = 0;
    while begin < pieces.len() {
        let first = &pieces[begin];
        let reach = middle(first, 1) + f64::from(first.frame_px[3]) / 2.0;
        let row = pieces[begin..].iter().take_while(|p| middle(p, 1) < reach);
        let end = begin + row.count().max(1);
        pieces[begin..end].sort_by(|a, b| middle(a, 0).total_cmp(&middle(b, 0)));
        begin = end;
    }
}
