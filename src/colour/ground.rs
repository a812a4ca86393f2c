//! The ground colour: what lies under the decoration.
//!
//! Shade changes how much light a glaze sends back, not its proportions, so the
//! surface is brought to one luminance first, and the ground is the densest
//! place there (mean shift; Fukunaga & Hostetler 1975). Its lightness is the
//! usual one of the pixels that have its colour.

use serde::{Deserialize, Serialize};

use super::{
    light::{Balance, Reference},
    words::words,
};
use crate::raster;

/// The colour that lies under everything else.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ground {
    /// CIE L*a*b*, D65.
    pub lab: [f32; 3],
    /// Nearest 8-bit sRGB.
    pub rgb: [u8; 3],
    /// Share of the surface, 0 to 1.
    pub share: f32,
    /// How far each figure may be off.
    pub doubt: Doubt,
    /// In plain words, with the notation of Munsell.
    pub name: String,
    /// The usual colour round the piece, CIE L*a*b*, where it is seen.
    pub surround_lab: Option<[f32; 3]>,
}

/// One standard deviation of a colour read from a photo.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Doubt {
    /// Of a* and b* each, the colour brought to a grey card's luminance.
    pub chroma: f32,
    /// Of L*.
    pub lightness: f32,
}

/// Luminance to which colours are brought before their hue and chroma are
/// compared: a grey card's.
pub(super) const LEVEL: f32 = 0.18;

/// Reach of the mean shift, and how far the ground's own shades scatter: a* and
/// b* at [`LEVEL`].
const REACH: f32 = 5.0;
/// Darker pixels (luminance) are shade and noise.
const DARKEST: f32 = 0.01;
/// Shades of one ground lie within this of its lightness (L*).
const SHADES: f32 = 32.0;

/// Doubts were chosen on the studio's glaze series of seed 501 (see
/// DEVELOPERS.md). Doubt of hue and chroma by what the balance rests on, at zero chroma, and
/// how it grows with chroma (a veil of reflections makes colours paler).
const CHROMA_DOUBT: [(Reference, f32); 4] = [
    (Reference::Card, 1.2),
    (Reference::Patch, 1.2),
    (Reference::Found, 1.2),
    (Reference::Camera, 4.0),
];
const VEIL: f32 = 0.05;
/// Doubt of lightness: a wall that leans gets another light than a card.
const LIGHTNESS_DOUBT: f32 = 11.0;
const LIGHTNESS_DOUBT_UNKNOWN: f32 = 14.0;

impl Ground {
    /// Entries of [`Ground::to_numbers`].
    pub const DIM: usize = 9;

    /// L*, a*, b*, the doubts of chroma and lightness, the share, and the
    /// surround's L*, a*, b* (L* is -1 where it is not known).
    pub fn to_numbers(&self) -> [f32; Self::DIM] {
        let [l, a, b] = self.lab;
        let [sl, sa, sb] = self.surround_lab.unwrap_or([-1.0, 0.0, 0.0]);
        let Doubt { chroma, lightness } = self.doubt;
        [l, a, b, chroma, lightness, self.share, sl, sa, sb]
    }

    /// Reads what [`Ground::to_numbers`] gave; `None` for another length.
    pub fn from_numbers(numbers: &[f32]) -> Option<Self> {
        let [l, a, b, chroma, lightness, share, sl, sa, sb] = *numbers else {
            return None;
        };
        Some(Self::new(
            [l, a, b],
            share,
            Doubt { chroma, lightness },
            (sl >= 0.0).then_some([sl, sa, sb]),
        ))
    }

    fn new(lab: [f32; 3], share: f32, doubt: Doubt, surround_lab: Option<[f32; 3]>) -> Self {
        Self {
            lab,
            rgb: raster::srgb(lab),
            share,
            doubt,
            name: words(lab),
            surround_lab,
        }
    }

    /// Whether a colour may be this ground in another shade.
    pub fn covers(&self, lab: [f32; 3]) -> bool {
        let (own, other) = (at_level(self.lab), at_level(lab));
        (own[0] - other[0]).hypot(own[1] - other[1]) < 1.4 * REACH
            && (self.lab[0] - lab[0]).abs() < SHADES
    }
}

/// a* and b* of a colour brought to [`LEVEL`].
pub(super) fn at_level(lab: [f32; 3]) -> [f32; 2] {
    leveled(raster::linear_of_lab(lab))
}

pub(super) fn leveled(rgb: [f32; 3]) -> [f32; 2] {
    let factor = LEVEL / raster::luminance(rgb).max(1e-5);
    let [_, a, b] = raster::lab_of_linear(rgb.map(|v| (v * factor).max(0.0)));
    [a, b]
}

/// Cells of the coarse count, and the range of a* and b* covered.
const CELLS: usize = 64;
const SPAN: f32 = 80.0;

/// A sample of a surface, the light taken out.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    /// Linear sRGB.
    pub rgb: [f32; 3],
    /// Its a* and b* brought to a grey card's luminance, where shade has no say.
    pub ab: [f32; 2],
}

impl Sample {
    /// A sample of balanced linear sRGB.
    pub fn new(rgb: [f32; 3]) -> Self {
        Self {
            rgb,
            ab: leveled(rgb),
        }
    }
}

/// The ground of balanced samples; `None` where there are too few.
pub(super) fn read(
    samples: &[Sample],
    balance: &Balance,
    surround_lab: Option<[f32; 3]>,
) -> Option<Ground> {
    let lit: Vec<([f32; 3], [f32; 2])> = samples
        .iter()
        .filter(|sample| raster::luminance(sample.rgb) > DARKEST)
        .map(|sample| (sample.rgb, sample.ab))
        .collect();
    if lit.len() < 64 {
        return None;
    }
    let mut centre = densest(&lit);
    // Asked of every sample some twenty times: squares, since roots are dear.
    let near = |centre: [f32; 2], ab: [f32; 2]| {
        (ab[0] - centre[0]).powi(2) + (ab[1] - centre[1]).powi(2) < REACH * REACH
    };
    for _ in 0..20 {
        let (mut sum, mut n) = ([0.0f32; 2], 0.0f32);
        for (_, ab) in lit.iter().filter(|(_, ab)| near(centre, *ab)) {
            (0..2).for_each(|i| sum[i] += ab[i]);
            n += 1.0;
        }
        if n < 8.0 {
            break;
        }
        let next = sum.map(|v| v / n);
        let moved = (next[0] - centre[0]).hypot(next[1] - centre[1]);
        centre = next;
        if moved < 0.02 {
            break;
        }
    }
    let mut shades: Vec<f32> = lit
        .iter()
        .filter(|(_, ab)| near(centre, *ab))
        .map(|(rgb, _)| raster::luminance(*rgb))
        .collect();
    if shades.len() < 16 {
        return None;
    }
    let share = shades.len() as f32 / samples.len() as f32;
    let middle = shades.len() / 2;
    let luminance = *shades.select_nth_unstable_by(middle, f32::total_cmp).1;
    let level = raster::lab_of_linear([LEVEL; 3])[0];
    let factor = luminance / LEVEL;
    let lab = raster::lab_of_linear(
        raster::linear_of_lab([level, centre[0], centre[1]]).map(|v| v.max(0.0) * factor),
    );
    let base = CHROMA_DOUBT
        .iter()
        .find(|(reference, _)| *reference == balance.reference)
        .map_or(CHROMA_DOUBT[3].1, |(_, doubt)| *doubt);
    let doubt = Doubt {
        chroma: base.hypot(VEIL * centre[0].hypot(centre[1])),
        lightness: if balance.knows_lightness() {
            LIGHTNESS_DOUBT
        } else {
            LIGHTNESS_DOUBT_UNKNOWN
        },
    };
    let surround_lab = surround_lab.filter(|_| balance.knows_lightness());
    Some(Ground::new(lab, share, doubt, surround_lab))
}

/// Middle of the fullest cell, each counted with its neighbours.
fn densest(lit: &[([f32; 3], [f32; 2])]) -> [f32; 2] {
    let cell = |v: f32| {
        let at = (v + SPAN) / (2.0 * SPAN) * CELLS as f32;
        (at as usize).clamp(1, CELLS - 2)
    };
    let mut counts = vec![0u32; CELLS * CELLS];
    for (_, [a, b]) in lit {
        counts[cell(*a) * CELLS + cell(*b)] += 1;
    }
    let smoothed = |i: usize, j: usize| -> u32 {
        let weight = [1, 2, 1];
        (0..9)
            .map(|k| {
                let (di, dj) = (k / 3, k % 3);
                weight[di] * weight[dj] * counts[(i + di - 1) * CELLS + j + dj - 1]
            })
            .sum()
    };
    let (mut best, mut most) = ([0, 0], 0);
    for i in 1..CELLS - 1 {
        for j in 1..CELLS - 1 {
            let count = smoothed(i, j);
            if count > most {
                (best, most) = ([i, j], count);
            }
        }
    }
    best.map(|i| (i as f32 + 0.5) / CELLS as f32 * 2.0 * SPAN - SPAN)
}
