//! CIE L*a*b* to Munsell hue, value and chroma, by the renotation of 1943.
//!
//! `munsell.txt` holds the renotation's chromaticities (Newhall, Nickerson &
//! Judd 1943, J. Opt. Soc. Am. 33, 385: "real" colours, illuminant C) at whole
//! values, one line for each value and hue: x and y for chroma 2, 4, 6 and so
//! on. They were exported from colour-science 0.4.7 (BSD-3-Clause, see
//! `munsell.licence.txt`). Between the entries everything is linear.

use std::sync::LazyLock;

/// A colour in Munsell's order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Munsell {
    /// Hue, 0 to 100: 5 is 5R, 15 is 5YR, and so on through Y, GY, G, BG, B, PB,
    /// P, RP. Of no meaning where chroma is near 0.
    pub hue: f32,
    /// Value, 0 (black) to 10 (white).
    pub value: f32,
    /// Chroma, 0 (grey) upwards.
    pub chroma: f32,
}

/// Names of the ten hues, ten steps each.
const HUES: [&str; 10] = ["R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP"];
/// Hues in the table, 2.5 steps apart.
const COLUMNS: usize = 40;
/// Whole values in the table, 1 to 9.
const PLANES: usize = 9;
/// Chroma below which a colour has no hue to speak of.
const NEUTRAL: f32 = 0.5;
/// Illuminant C (CIE 15, 2 degree observer), x and y.
const C: [f32; 2] = [0.310_06, 0.316_16];

impl std::fmt::Display for Munsell {
    /// As it is written: `2.9YR 3.7/3.1`, or `N 5.0` for a grey.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.chroma < NEUTRAL {
            return write!(f, "N {:.1}", self.value);
        }
        let tenth = (self.hue * 10.0).round() as i32;
        // 0R is written 10RP.
        let family = (tenth - 1).div_euclid(100);
        let step = tenth - family * 100;
        let name = HUES[family.rem_euclid(10) as usize];
        write!(
            f,
            "{:.1}{name} {:.1}/{:.1}",
            step as f32 / 10.0,
            self.value,
            self.chroma
        )
    }
}

/// Chromaticities by value (1 to 9) and hue; chroma 2, 4, 6 ... each.
type Table = Vec<Vec<Vec<[f32; 2]>>>;

static TABLE: LazyLock<Table> = LazyLock::new(|| {
    let mut table = vec![vec![Vec::new(); COLUMNS]; PLANES];
    for line in include_str!("munsell.txt").lines() {
        let mut words = line.split(' ');
        let value: usize = words.next().and_then(|w| w.parse().ok()).unwrap_or(1);
        let column = words.next().and_then(column).unwrap_or(0);
        let numbers: Vec<f32> = words.filter_map(|w| w.parse().ok()).collect();
        table[value.clamp(1, PLANES) - 1][column] = numbers.as_chunks::<2>().0.to_vec();
    }
    table
});

/// `2.5R` is the first column, `10RP` the last.
fn column(name: &str) -> Option<usize> {
    let split = name.find(|c: char| c.is_ascii_alphabetic())?;
    let step: f32 = name[..split].parse().ok()?;
    let family = HUES.iter().position(|h| *h == &name[split..])?;
    Some(family * 4 + (step / 2.5).round() as usize - 1)
}

/// The Munsell notation of a CIE L*a*b* (D65) colour. Outside the table its
/// nearest entries go on in a straight line.
pub fn munsell(lab: [f32; 3]) -> Munsell {
    let (xy, y_percent) = chromaticity_c(lab);
    let value = value(y_percent);
    let plane = (value.clamp(1.0, PLANES as f32) - 1.0).min(PLANES as f32 - 1.001);
    let (low, t) = (plane as usize, plane.fract());
    // A place in the table: column as a fraction of COLUMNS, chroma.
    let at = |column: f32, chroma: f32| -> [f32; 2] {
        let (a, b) = (entry(low, column, chroma), entry(low + 1, column, chroma));
        [0, 1].map(|i| a[i] + (b[i] - a[i]) * t)
    };
    let off = |column: f32, chroma: f32| {
        let p = at(column, chroma);
        [p[0] - xy[0], p[1] - xy[1]]
    };
    let mut best = (0.0, 0.0, f32::INFINITY);
    for column in 0..COLUMNS {
        for chroma in 0..=17 {
            let (column, chroma) = (column as f32, chroma as f32 * 2.0);
            let [dx, dy] = off(column, chroma);
            let far = dx.hypot(dy);
            if far < best.2 {
                best = (column, chroma, far);
            }
        }
    }
    let (mut column, mut chroma, _) = best;
    chroma = chroma.max(0.2);
    // Newton's steps from the nearest entry.
    for _ in 0..30 {
        let here = off(column, chroma);
        let (h, c) = (0.05, 0.05);
        let (dh, dc) = (off(column + h, chroma), off(column, chroma + c));
        let j = [
            [(dh[0] - here[0]) / h, (dc[0] - here[0]) / c],
            [(dh[1] - here[1]) / h, (dc[1] - here[1]) / c],
        ];
        let det = j[0][0] * j[1][1] - j[0][1] * j[1][0];
        if det.abs() < 1e-12 {
            break;
        }
        let step = [
            (j[1][1] * here[0] - j[0][1] * here[1]) / det,
            (j[0][0] * here[1] - j[1][0] * here[0]) / det,
        ];
        column = (column - step[0].clamp(-0.7, 0.7)).rem_euclid(COLUMNS as f32);
        chroma = (chroma - step[1].clamp(-1.5, 1.5)).max(0.0);
        if step[0].abs() < 1e-4 && step[1].abs() < 1e-4 {
            break;
        }
    }
    Munsell {
        hue: ((column + 1.0) * 2.5).rem_euclid(100.0),
        value,
        chroma,
    }
}

/// Chromaticity at a whole value, between columns and chromas.
fn entry(plane: usize, column: f32, chroma: f32) -> [f32; 2] {
    let column = column.rem_euclid(COLUMNS as f32);
    let (left, t) = (column as usize % COLUMNS, column.fract());
    let along = |column: usize| -> [f32; 2] {
        let line = &TABLE[plane][column];
        let at = |i: usize| if i == 0 { C } else { line[i - 1] };
        // The last stretch goes on straight.
        let i = ((chroma / 2.0) as usize).min(line.len().saturating_sub(1));
        let s = chroma / 2.0 - i as f32;
        let (a, b) = (at(i), at(i + 1));
        [0, 1].map(|k| a[k] + (b[k] - a[k]) * s)
    };
    let (a, b) = (along(left), along((left + 1) % COLUMNS));
    [0, 1].map(|k| a[k] + (b[k] - a[k]) * t)
}

/// Value of a luminance in percent: ASTM D1535's polynomial, inverted by
/// halving (there the luminance of magnesium oxide is 100/0.975).
fn value(y_percent: f32) -> f32 {
    let luminance =
        |v: f32| v * (1.1914 + v * (-0.22533 + v * (0.23352 + v * (-0.020484 + v * 0.00081939))));
    let (mut low, mut high) = (0.0, 10.0);
    for _ in 0..30 {
        let middle = (low + high) / 2.0;
        if luminance(middle) < y_percent {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// x and y under illuminant C, adapted from D65 by Bradford's matrix (Lam
/// 1985), and Y in percent.
fn chromaticity_c([l, a, b]: [f32; 3]) -> ([f32; 2], f32) {
    const D65: [f32; 3] = [0.950_47, 1.0, 1.088_83];
    const BRADFORD: [[f32; 3]; 3] = [
        [0.8951, 0.2664, -0.1614],
        [-0.7502, 1.7135, 0.0367],
        [0.0389, -0.0685, 1.0296],
    ];
    const BACK: [[f32; 3]; 3] = [
        [0.986_993, -0.147_054, 0.159_963],
        [0.432_305, 0.518_360, 0.049_291],
        [-0.008_529, 0.040_043, 0.968_487],
    ];
    let times = |m: &[[f32; 3]; 3], v: [f32; 3]| -> [f32; 3] {
        m.map(|row| (0..3).map(|i| row[i] * v[i]).sum())
    };
    let y = (l + 16.0) / 116.0;
    let f = [y + a / 500.0, y, y - b / 200.0];
    let xyz: [f32; 3] = std::array::from_fn(|i| {
        let t = if f[i] > 6.0 / 29.0 {
            f[i].powi(3)
        } else {
            (116.0 * f[i] - 16.0) * 27.0 / 24389.0
        };
        t.max(0.0) * D65[i]
    });
    let white_c = [C[0] / C[1], 1.0, (1.0 - C[0] - C[1]) / C[1]];
    let (from, to) = (times(&BRADFORD, D65), times(&BRADFORD, white_c));
    let cone = times(&BRADFORD, xyz);
    let [x, y, z] = times(&BACK, std::array::from_fn(|i| cone[i] * to[i] / from[i]));
    let sum = x + y + z;
    if sum < 1e-6 {
        return (C, 0.0);
    }
    ([x / sum, y / sum], y * 100.0)
}
