//! How colour sits on the piece: what differs from the ground in rows about the axis.
//!
//! Shade has no say: colours are compared at one luminance. A row of the unrolled
//! outside is of another colour where three in four of its cells are; what goes round
//! the lip is looked for all round the mouth, as far as the rim may be waved.

use serde::{Deserialize, Serialize};

use super::{Rings, strip};
use crate::{colour, colour::Balance, cutout::Cutout, outline::rim::Ellipse, raster};

/// What goes round the outside in another colour than the ground.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Run {
    /// Where it begins and ends, as shares of the wall from the rim (or the top) down.
    pub from: f64,
    /// The same, its end.
    pub to: f64,
    /// Its width along the wall as a share of the greatest radius.
    pub width: f64,
    /// Its colour at one luminance (a*, b*), the usual one of its cells.
    pub ab: [f32; 2],
}

/// How colour sits on the outside.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Layers {
    /// What goes round in another colour, from the rim down; the foot left out.
    pub runs: Vec<Run>,
    /// Share of the outside's upper 40 % that is not of the ground's colour.
    pub above: f64,
    /// Share of the directions from the mouth's middle in which the lip has another
    /// colour than both sides; null where no mouth is seen.
    pub lip: Option<f64>,
    /// The usual colour of that (a*, b* at one luminance).
    pub lip_ab: [f32; 2],
}

/// Colours farther apart than this (a*, b* at one luminance) are not of one ground.
const OTHER: f32 = 6.5;
/// Share of a row's cells that make it one of another colour.
const ROW: f64 = 0.75;
/// Rows so few are not looked at.
const FEW: usize = 12;
/// Columns of the outside that its rows are read from; more say no more.
const COLUMNS: f64 = 120.0;
/// Azimuth up to which rows are looked at, radians.
const AHEAD_RAD: f64 = 1.05;
/// From here on the wall is foot, as a share.
const FOOT_FROM: f64 = 0.88;
/// Directions from the middle of the mouth.
const DIRECTIONS: usize = 48;
/// How far inside and outside of the mouth's ellipse the lip may lie, as shares.
const LIP: [f64; 2] = [0.88, 1.08];

/// Reads the layers of an outside whose ground is `ground`, and of the lip of a mouth
/// within which the ground is `inside` (CIE L*a*b*).
pub(super) fn read(
    cutout: &Cutout,
    rings: &Rings,
    balance: &Balance,
    ground: [f32; 3],
    mouth: Option<(&Ellipse, [f32; 3])>,
) -> Layers {
    let level = |rgb: [u8; 3]| colour::at_one_luminance(balance.apply(raster::linear(rgb)));
    let own = colour::at_one_luminance(raster::linear_of_lab(ground));
    let far = |a: [f32; 2], b: [f32; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
    let strip = strip::outside_in(cutout, rings, COLUMNS);
    let (columns, rows) = strip.picture.dimensions();
    let ahead = |column: u32| {
        (f64::from(column) + 0.5 - f64::from(columns) / 2.0).abs() * strip.column_rad < AHEAD_RAD
    };
    let mut layers = Layers::default();
    let (mut above, mut above_n) = (0usize, 0usize);
    let mut open: Option<(u32, Vec<[f32; 2]>)> = None;
    for row in 0..=rows {
        let mut cells: Vec<[f32; 2]> = Vec::new();
        let mut n = 0;
        if row < rows {
            for column in (0..columns).filter(|c| ahead(*c)) {
                if strip.seen.get_pixel(column, row).0[0] == 0 {
                    continue;
                }
                let rgb = strip.picture.get_pixel(column, row).0;
                if colour::is_highlight(rgb) || raster::luma(rgb) < 16 {
                    continue;
                }
                n += 1;
                let ab = level(rgb);
                if far(ab, own) > OTHER {
                    cells.push(ab);
                }
            }
        }
        if f64::from(row) < 0.4 * f64::from(rows) {
            above += cells.len();
            above_n += n;
        }
        let is_other = n >= FEW && cells.len() as f64 >= ROW * n as f64;
        match (is_other, &mut open) {
            (true, None) => open = Some((row, cells)),
            (true, Some((_, all))) => all.extend(cells),
            (false, Some((from, all))) => {
                let share = |row: u32| f64::from(row) / f64::from(rows);
                if share(*from) < FOOT_FROM {
                    let width = f64::from(row - *from) * strip.row_px;
                    layers.runs.push(Run {
                        from: share(*from),
                        to: share(row),
                        width: width / rings.radius_px(rings.widest()).max(1.0),
                        ab: middle(all),
                    });
                }
                open = None;
            }
            (false, None) => {}
        }
    }
    layers.above = above as f64 / above_n.max(1) as f64;
    if let Some((mouth, inside)) = mouth {
        let inside = colour::at_one_luminance(raster::linear_of_lab(inside));
        let mut found: Vec<[f32; 2]> = Vec::new();
        let (mut hit, mut seen) = (0, 0);
        for k in 0..DIRECTIONS {
            let edge = mouth.at((k as f64 + 0.5) / DIRECTIONS as f64 * std::f64::consts::TAU);
            let steps = ((LIP[1] - LIP[0]) * mouth.major_px).ceil().max(4.0) as usize;
            let mut others: Vec<[f32; 2]> = Vec::new();
            let mut any = false;
            for i in 0..steps {
                let share = LIP[0] + (LIP[1] - LIP[0]) * (i as f64 + 0.5) / steps as f64;
                let at =
                    [0, 1].map(|k| mouth.centre_px[k] + share * (edge[k] - mouth.centre_px[k]));
                let Some(rgb) = strip::sample(cutout, at) else {
                    continue;
                };
                if colour::is_highlight(rgb) || raster::luma(rgb) < 16 {
                    continue;
                }
                any = true;
                let ab = level(rgb);
                if far(ab, own) > OTHER && far(ab, inside) > OTHER {
                    others.push(ab);
                }
            }
            seen += usize::from(any);
            hit += usize::from(!others.is_empty());
            if !others.is_empty() {
                found.push(middle(&others));
            }
        }
        layers.lip = (seen >= DIRECTIONS / 2).then(|| f64::from(hit as u32) / seen as f64);
        layers.lip_ab = middle(&found);
    }
    layers
}

/// Median of each coordinate; 0 of none.
fn middle(values: &[[f32; 2]]) -> [f32; 2] {
    std::array::from_fn(|k| {
        let mut one: Vec<f32> = values.iter().map(|v| v[k]).collect();
        let at = one.len() / 2;
        match one.is_empty() {
            true => 0.0,
            false => *one.select_nth_unstable_by(at, f32::total_cmp).1,
        }
    })
}
