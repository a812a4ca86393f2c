//! A photographer's grey card beside the piece, found by what it is: an even,
//! nearly neutral region with four straight sides, as a rectangle shows in
//! perspective, that ends in a step all round.
//!
//! Even regions are looked for at several limits of evenness (after Matas et
//! al. 2002, who cut a picture at all levels): a card on a grey table is a
//! region of its own at the strict ones, a noisy card at the loose ones. Each
//! region is opened by a square, so that a side which fades into the table for
//! a few pixels does not join the two.

mod figure;

use imageproc::point::Point;

use crate::{cutout::Cutout, raster};
use figure::{area, four_lines, hull, may_be_rectangle};

/// Longest side of the copy on which a card is looked for, pixels.
const LOOK_PX: u32 = 240;
/// Limits of evenness: most difference (largest channel, 8-bit steps) of
/// neighbours two pixels apart.
const EVEN: [f32; 6] = [1.5, 2.0, 3.0, 4.5, 7.0, 11.0];
/// Half the sides of the squares that regions are opened by, pixels.
const OPENED_BY: std::ops::RangeInclusive<usize> = 1..=2;
/// Share of the photo that a card has.
const SHARE: std::ops::Range<f64> = 0.008..0.12;
/// Pixels that a card keeps from the frame: what is cut off may be anything.
const MARGIN_PX: usize = 3;
/// Lightness (L*) that a grey card has in a fairly exposed photo.
const LIGHTNESS: std::ops::RangeInclusive<f32> = 18.0..=68.0;
/// Most chroma of a grey card under a light that a camera has not balanced.
const CHROMA: f32 = 8.0;
/// Least share of its convex hull that a card's region fills.
const FILLS_HULL: f64 = 0.92;
/// Least share that the hull has of the figure of four straight lines along its
/// sides. Opening rounds the corners of a card that leans; an ellipse has 0.85.
const FOUR_SIDED: f64 = 0.96;
/// Most that is left (root mean square of all channels, 8-bit steps) when an
/// even slope of light is taken off.
const LEFT: f64 = 1.5;
/// Least step (largest channel, 8-bit steps) from a card to what surrounds it.
const STEP: f32 = 4.0;
/// Least share of the places looked at that show it, of all and of each side.
const STEPS: f64 = 0.9;
const STEPS_OF_A_SIDE: f64 = 0.8;
/// Places looked at along each side, and how far out, pixels.
const PLACES: usize = 10;
const OUT_PX: [f64; 3] = [2.0, 3.0, 4.0];
/// How far out the piece's mask is asked: a mask reaches a little too far.
const MASK_OUT_PX: [f64; 2] = [4.0, 6.0];
/// Coverage from which a pixel counts as the piece's.
const MASKED: u8 = 100;
/// Most of what surrounds a card that is the piece: the hole of a handle shows
/// an even table, too.
const PIECE_ROUND: f64 = 0.35;
/// From this share of masked pixels on, a region counts as the piece's own; a card
/// that the mask has swallowed has this much of the piece at most, and leaves two
/// sides free.
const SWALLOWED: f64 = 0.3;
const SHARE_OF_PIECE: f64 = 0.35;
const FREE_SIDE: f64 = 0.2;

/// Least share of a card that a mask counts as piece when it has swallowed it.
const IN_MASK: f64 = 0.1;

/// A grey card in a photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Card {
    /// Its colour, linear sRGB.
    pub colour: [f32; 3],
    /// Its corners in the order round it, working pixels of the cutout; within the card's
    /// edge, by up to two pixels of the copy of 240 on which it is found.
    pub corners: [[f32; 2]; 4],
    /// Whether the mask takes it for a part of the piece.
    pub is_in_mask: bool,
}

/// The grey card beside the piece; `None` where nothing looks like one. Of several the
/// largest is taken.
pub fn card(cutout: &Cutout) -> Option<Card> {
    let look = Look::at(cutout);
    let mut best: Option<(usize, Card)> = None;
    let mut roughness = look.roughness();
    for radius in OPENED_BY {
        // Eroding all even regions by one pixel more is widening the roughness.
        roughness = look.widened(&roughness);
        let mut too_large = vec![false; roughness.len()];
        for even in EVEN {
            for region in look.regions(&roughness, even, radius, &mut too_large) {
                if best.is_some_and(|(size, _)| size >= region.len()) {
                    continue;
                }
                if let Some(card) = look.card(&region) {
                    best = Some((region.len(), card));
                }
            }
        }
    }
    best.map(|(_, card)| card)
}

/// The small copy that is looked at, rows one after the other.
struct Look {
    width: usize,
    height: usize,
    /// Working pixels per pixel of the copy, across and down.
    scale: [f32; 2],
    /// 8-bit steps, smoothed a little against noise.
    smooth: Vec<[f32; 3]>,
    is_piece: Vec<bool>,
    /// Share of the photo that is the piece.
    piece_share: f64,
}

impl Look {
    fn at(cutout: &Cutout) -> Self {
        let (width, height) = cutout.working.dimensions();
        let scale = (LOOK_PX as f32 / width.max(height) as f32).min(1.0);
        let size = |px: u32| ((px as f32 * scale).round() as u32).max(1);
        let small = raster::resize(&cutout.working, size(width), size(height));
        let mask = raster::resize_grey(&cutout.mask, size(width), size(height));
        let (width, height) = (small.width() as usize, small.height() as usize);
        let raw: Vec<[f32; 3]> = small.pixels().map(|p| p.0.map(f32::from)).collect();
        let rows = smoothed(&raw, width, height, 1);
        let is_piece: Vec<bool> = mask.as_raw().iter().map(|v| *v >= MASKED).collect();
        let covered = is_piece.iter().filter(|p| **p).count();
        let of = cutout.working.dimensions();
        Self {
            width,
            height,
            scale: [of.0 as f32 / width as f32, of.1 as f32 / height as f32],
            smooth: smoothed(&rows, width, height, width),
            piece_share: covered as f64 / is_piece.len() as f64,
            is_piece,
        }
    }

    /// Difference of the neighbours of each pixel, along its row or column,
    /// whichever is greater; without end at the frame, which no card touches.
    fn roughness(&self) -> Vec<f32> {
        let mut all = vec![f32::INFINITY; self.smooth.len()];
        for y in 1..self.height.saturating_sub(1) {
            for x in 1..self.width.saturating_sub(1) {
                let at = y * self.width + x;
                let across = apart(self.smooth[at - 1], self.smooth[at + 1]);
                let down = apart(self.smooth[at - self.width], self.smooth[at + self.width]);
                all[at] = across.max(down);
            }
        }
        all
    }

    /// The greatest of each pixel and its eight neighbours.
    fn widened(&self, values: &[f32]) -> Vec<f32> {
        let line = |values: &[f32], step: usize| -> Vec<f32> {
            (0..values.len())
                .map(|at| {
                    let before = at.checked_sub(step).map_or(f32::INFINITY, |i| values[i]);
                    let after = values.get(at + step).copied().unwrap_or(f32::INFINITY);
                    values[at].max(before).max(after)
                })
                .collect()
        };
        line(&line(values, 1), self.width)
    }

    /// The connected regions that are even, and about as large as a card may
    /// be, grown by `radius` again. Limits are to be asked in rising order: what is in
    /// a region larger than a card is noted in `too_large`, for it will be at all looser
    /// ones, so that a table is walked over once.
    fn regions(
        &self,
        roughness: &[f32],
        even: f32,
        radius: usize,
        too_large: &mut [bool],
    ) -> Vec<Vec<Point<i32>>> {
        let whole = (self.width * self.height) as f64;
        let mut seen: Vec<bool> = roughness
            .iter()
            .zip(&*too_large)
            .map(|(v, too_large)| *v > even || *too_large)
            .collect();
        let mut found = Vec::new();
        let mut region: Vec<usize> = Vec::new();
        for start in 0..seen.len() {
            if std::mem::replace(&mut seen[start], true) {
                continue;
            }
            region.clear();
            region.push(start);
            let mut joins = false;
            let mut next = 0;
            while let Some(at) = region.get(next).copied() {
                next += 1;
                for beside in [at - 1, at + 1, at - self.width, at + self.width] {
                    joins |= too_large[beside];
                    if !std::mem::replace(&mut seen[beside], true) {
                        region.push(beside);
                    }
                }
            }
            let share = region.len() as f64 / whole;
            if joins || share >= SHARE.end {
                region.iter().for_each(|at| too_large[*at] = true);
                continue;
            }
            if share < 0.3 * SHARE.start {
                continue;
            }
            let grown = self.grown(&region, radius);
            if grown.iter().any(|p| self.is_at_frame(p)) {
                continue;
            }
            if SHARE.contains(&(grown.len() as f64 / whole)) {
                found.push(grown);
            }
        }
        found
    }

    /// The region with all pixels of the squares about its own.
    fn grown(&self, region: &[usize], radius: usize) -> Vec<Point<i32>> {
        let place = |at: &usize| [at % self.width, at / self.width];
        let (mut low, mut high) = ([usize::MAX; 2], [0; 2]);
        for at in region.iter().map(place) {
            (0..2).for_each(|i| low[i] = low[i].min(at[i] - radius));
            (0..2).for_each(|i| high[i] = high[i].max(at[i] + radius));
        }
        let wide = high[0] - low[0] + 1;
        let mut covered = vec![false; wide * (high[1] - low[1] + 1)];
        for [x, y] in region.iter().map(place) {
            let left = x - radius - low[0];
            for row in y - radius - low[1]..=y + radius - low[1] {
                covered[row * wide + left..=row * wide + left + 2 * radius].fill(true);
            }
        }
        (0..covered.len())
            .filter(|at| covered[*at])
            .map(|at| Point::new((low[0] + at % wide) as i32, (low[1] + at / wide) as i32))
            .collect()
    }

    /// A region as a card, if it looks like a grey one.
    fn card(&self, region: &[Point<i32>]) -> Option<Card> {
        let sum = |i: usize| -> f32 { region.iter().map(|p| self.smooth[self.index(p)][i]).sum() };
        let mean = [0, 1, 2].map(|i| sum(i) / region.len() as f32);
        let colour = linear(mean);
        let [l, a, b] = raster::lab_of_linear(colour);
        if !LIGHTNESS.contains(&l) || a.hypot(b) > CHROMA {
            return None;
        }
        let hull: Vec<[f64; 2]> = hull(region)
            .iter()
            .map(|p| [f64::from(p.x), f64::from(p.y)])
            .collect();
        let corners = four_lines(&hull)?;
        let round = area(&hull);
        let is_rectangle = region.len() as f64 >= FILLS_HULL * round
            && round >= FOUR_SIDED * area(&corners)
            && may_be_rectangle(&corners);
        let fits = is_rectangle
            && self.unevenness(region, mean) <= LEFT
            && self.stands_alone(region, &corners, mean);
        let place =
            |corner: [f64; 2]| std::array::from_fn(|i| (corner[i] as f32 + 0.5) * self.scale[i]);
        fits.then(|| Card {
            colour,
            corners: corners.map(place),
            is_in_mask: self.in_piece(region) as f64 >= IN_MASK * region.len() as f64,
        })
    }

    /// Pixels of a region that the mask counts as piece.
    fn in_piece(&self, region: &[Point<i32>]) -> usize {
        let inside = region.iter().filter(|p| self.is_piece[self.index(p)]);
        inside.count()
    }

    fn index(&self, p: &Point<i32>) -> usize {
        p.y as usize * self.width + p.x as usize
    }

    fn is_at_frame(&self, p: &Point<i32>) -> bool {
        let near = |v: i32, size: usize| (v as usize) < MARGIN_PX || v as usize + MARGIN_PX >= size;
        near(p.x, self.width) || near(p.y, self.height)
    }

    /// Root mean square, over pixels and channels, of what is left when a plane
    /// is taken off each channel.
    fn unevenness(&self, region: &[Point<i32>], mean: [f32; 3]) -> f64 {
        let n = region.len() as f64;
        let middle = [
            region.iter().map(|p| f64::from(p.x)).sum::<f64>() / n,
            region.iter().map(|p| f64::from(p.y)).sum::<f64>() / n,
        ];
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        let (mut xv, mut yv, mut vv) = ([0.0f64; 3], [0.0f64; 3], [0.0f64; 3]);
        for p in region {
            let (x, y) = (f64::from(p.x) - middle[0], f64::from(p.y) - middle[1]);
            (xx, xy, yy) = (xx + x * x, xy + x * y, yy + y * y);
            for (i, value) in self.smooth[self.index(p)].iter().enumerate() {
                let v = f64::from(value - mean[i]);
                (xv[i], yv[i], vv[i]) = (xv[i] + x * v, yv[i] + y * v, vv[i] + v * v);
            }
        }
        let det = (xx * yy - xy * xy).max(1e-9);
        let left: f64 = (0..3)
            .map(|i| {
                let slope = [
                    (yy * xv[i] - xy * yv[i]) / det,
                    (xx * yv[i] - xy * xv[i]) / det,
                ];
                (vv[i] - slope[0] * xv[i] - slope[1] * yv[i]).max(0.0)
            })
            .sum();
        (left / (3.0 * n)).sqrt()
    }

    /// Whether the region ends in a step all round, and is neither part of the
    /// piece nor surrounded by it. A mask that has taken a card for part of the
    /// piece leaves most of its sides free.
    fn stands_alone(&self, region: &[Point<i32>], corners: &[[f64; 2]; 4], mean: [f32; 3]) -> bool {
        let corner = |i: usize| corners[i % 4];
        let middle = [0, 1].map(|k| (0..4).map(|i| corner(i)[k]).sum::<f64>() / 4.0);
        let (mut steps, mut piece) = ([0usize; 4], [0usize; 4]);
        for side in 0..4 {
            let (from, to) = (corner(side), corner(side + 1));
            let along = [to[0] - from[0], to[1] - from[1]];
            let length = along[0].hypot(along[1]).max(1.0);
            let mut out = [along[1] / length, -along[0] / length];
            if (from[0] - middle[0]) * out[0] + (from[1] - middle[1]) * out[1] < 0.0 {
                out = out.map(|v| -v);
            }
            for place in 0..PLACES {
                let t = (place as f64 + 0.5) / PLACES as f64;
                let at = |far: f64| -> Option<usize> {
                    let [x, y] = [0, 1].map(|k| (from[k] + along[k] * t + out[k] * far).round());
                    let inside =
                        x >= 0.0 && y >= 0.0 && x < self.width as f64 && y < self.height as f64;
                    inside.then(|| y as usize * self.width + x as usize)
                };
                let outside = OUT_PX.into_iter().filter_map(at);
                let mut all = MASK_OUT_PX.into_iter().map(at);
                steps[side] += usize::from(
                    outside
                        .map(|i| apart(self.smooth[i], mean))
                        .fold(0.0, f32::max)
                        >= STEP,
                );
                piece[side] += usize::from(all.all(|i| i.is_some_and(|i| self.is_piece[i])));
            }
        }
        let share = |counts: &[usize; 4]| counts.iter().sum::<usize>() as f64 / (4 * PLACES) as f64;
        let of_side = |count: &usize| *count as f64 / PLACES as f64;
        if share(&steps) < STEPS || steps.iter().any(|s| of_side(s) < STEPS_OF_A_SIDE) {
            return false;
        }
        if share(&piece) > PIECE_ROUND {
            return false;
        }
        let photo = (self.width * self.height) as f64;
        (self.in_piece(region) as f64) < SWALLOWED * region.len() as f64
            || region.len() as f64 / photo <= SHARE_OF_PIECE * self.piece_share
                && piece.iter().filter(|s| of_side(s) <= FREE_SIDE).count() >= 2
    }
}

/// Linear light of a mean of even 8-bit steps.
fn linear(mean: [f32; 3]) -> [f32; 3] {
    let (below, above) = (mean.map(|v| v as u8), mean.map(|v| v.ceil() as u8));
    let (low, high) = (raster::linear(below), raster::linear(above));
    std::array::from_fn(|i| low[i] + (high[i] - low[i]) * mean[i].fract())
}

/// Largest difference of a channel.
fn apart(a: [f32; 3], b: [f32; 3]) -> f32 {
    (0..3).map(|i| (a[i] - b[i]).abs()).fold(0.0, f32::max)
}

/// Weighted 1, 2, 1 with the values a step before and after.
fn smoothed(values: &[[f32; 3]], width: usize, height: usize, step: usize) -> Vec<[f32; 3]> {
    let n = width * height;
    (0..n)
        .map(|at| {
            let before = values[at.checked_sub(step).unwrap_or(at)];
            let after = values[if at + step < n { at + step } else { at }];
            std::array::from_fn(|i| (before[i] + 2.0 * values[at][i] + after[i]) / 4.0)
        })
        .collect()
}
