//! Where a picture has a spot, of which size, and which way it is turned: the extrema
//! of differences of Gaussians and the direction in which the grey rises around them
//! (Lowe 2004, "Distinctive image features from scale-invariant keypoints", sections
//! 3 to 5; the first octave is not doubled).

use std::f32::consts::TAU;

use super::plane::Plane;

/// Blur of an octave's first level, and what a picture as given is taken to have. Lowe's
/// 1.6 finds nothing smaller than 4 px, and half of what tells motifs is; he doubles the
/// picture instead, which costs four times as much.
const FIRST_SIGMA_PX: f32 = 0.8;
const GIVEN_SIGMA_PX: f32 = 0.5;
/// Levels to the next octave.
const LEVELS: usize = 3;
/// Least contrast of 255 grey steps times [`LEVELS`], and how many times as strongly
/// the grey may bend one way as the other.
const CONTRAST: f32 = 0.02 * 255.0;
const EDGE: f32 = 12.0;
/// Sizes that are kept, px (two standard deviations).
const SIZE_PX: std::ops::Range<f32> = 2.2..90.0;
/// Octaves end at this side.
const LEAST_SIDE_PX: usize = 16;
/// Directions are told to so many parts of a turn, and then between them.
const DIRECTIONS: usize = 36;
/// Directions that are so strong beside the strongest stand for points of their own.
const ALSO: f32 = 0.8;

/// A spot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    /// Its place; the middle of the first pixel is (0, 0).
    pub(super) at: [f32; 2],
    /// Two standard deviations, px.
    pub(super) size_px: f32,
    /// Which way the grey rises most, radians from x to y.
    pub(super) angle: f32,
}

/// The spots of a picture at places that `inside` holds, the strongest first.
pub(super) fn spots(picture: &Plane, inside: &[bool], most: usize) -> Vec<Spot> {
    let blur = (FIRST_SIGMA_PX.powi(2) - GIVEN_SIGMA_PX.powi(2)).sqrt();
    let mut first = picture.blurred(blur);
    let mut octaves = Vec::new();
    let mut peaks = Vec::new();
    while first.width.min(first.height) >= LEAST_SIDE_PX {
        let scale = (1u32 << octaves.len()) as f32;
        let levels = levels(first);
        let is_inside = |x: f32, y: f32| {
            let (x, y) = ((x * scale).round(), (y * scale).round());
            let within = x >= 0.0 && y >= 0.0 && (x as usize) < picture.width;
            within && inside.get(y as usize * picture.width + x as usize) == Some(&true)
        };
        let found = octave_peaks(&levels, &is_inside).into_iter();
        let found = found.filter(|peak| SIZE_PX.contains(&(2.0 * peak.sigma_px() * scale)));
        peaks.extend(found.map(|peak| (octaves.len(), peak)));
        first = levels[LEVELS].every_second();
        octaves.push(levels);
    }
    // Directions are dear, and a peak has one at least.
    peaks.sort_by(|a, b| b.1.contrast.total_cmp(&a.1.contrast));
    peaks.truncate(most);
    let mut found: Vec<Spot> = peaks
        .iter()
        .flat_map(|(octave, peak)| oriented(peak, &octaves[*octave], (1u32 << octave) as f32))
        .collect();
    found.truncate(most);
    found
}

/// An octave: each level blurred more than the one before by one factor.
fn levels(first: Plane) -> Vec<Plane> {
    let mut levels = vec![first];
    let factor = 2f32.powf(1.0 / LEVELS as f32);
    for i in 0..LEVELS + 2 {
        let before = FIRST_SIGMA_PX * factor.powi(i as i32);
        let blur = before * (factor * factor - 1.0).sqrt();
        levels.push(levels[i].blurred(blur));
    }
    levels
}

/// An extremum in pixels of its octave.
struct Peak {
    at: [f32; 2],
    /// Its level, and between levels.
    level: f32,
    contrast: f32,
}

impl Peak {
    fn sigma_px(&self) -> f32 {
        FIRST_SIGMA_PX * 2f32.powf(self.level / LEVELS as f32)
    }
}

fn octave_peaks(levels: &[Plane], is_inside: &dyn Fn(f32, f32) -> bool) -> Vec<Peak> {
    let differences: Vec<Plane> = levels.windows(2).map(|two| two[1].less(&two[0])).collect();
    let differences = differences.as_slice();
    let mut found = Vec::new();
    let least = 0.5 * CONTRAST / LEVELS as f32;
    let (width, height) = (differences[0].width, differences[0].height);
    for level in 1..=LEVELS {
        for y in 1..height - 1 {
            let row = differences[level].row(y);
            for (x, &v) in row.iter().enumerate().take(width - 1).skip(1) {
                if v.abs() > least
                    && is_extremum(differences, level, x, y, v)
                    && is_inside(x as f32, y as f32)
                    && let Some(peak) = refined(differences, [x, y, level])
                    && is_inside(peak.at[0], peak.at[1])
                {
                    found.push(peak);
                }
            }
        }
    }
    found
}

fn is_extremum(differences: &[Plane], level: usize, x: usize, y: usize, v: f32) -> bool {
    let sign = v.signum();
    differences[level - 1..=level + 1].iter().all(|plane| {
        (y - 1..=y + 1).all(|row| {
            let three = &plane.values[row * plane.width + x - 1..][..3];
            three.iter().all(|other| sign * other <= sign * v)
        })
    })
}

/// The extremum of the parabola through an extremum and its neighbours, if it stands
/// out and is no edge.
fn refined(differences: &[Plane], [mut x, mut y, mut level]: [usize; 3]) -> Option<Peak> {
    let (width, height) = (differences[0].width, differences[0].height);
    for _ in 0..5 {
        let d = |dx: isize, dy: isize, dl: isize| {
            let plane = &differences[level.wrapping_add_signed(dl)];
            plane.at(x.wrapping_add_signed(dx), y.wrapping_add_signed(dy))
        };
        let v = d(0, 0, 0);
        let slope = [
            (d(1, 0, 0) - d(-1, 0, 0)) / 2.0,
            (d(0, 1, 0) - d(0, -1, 0)) / 2.0,
            (d(0, 0, 1) - d(0, 0, -1)) / 2.0,
        ];
        let xx = d(1, 0, 0) + d(-1, 0, 0) - 2.0 * v;
        let yy = d(0, 1, 0) + d(0, -1, 0) - 2.0 * v;
        let ll = d(0, 0, 1) + d(0, 0, -1) - 2.0 * v;
        let xy = (d(1, 1, 0) - d(-1, 1, 0) - d(1, -1, 0) + d(-1, -1, 0)) / 4.0;
        let xl = (d(1, 0, 1) - d(-1, 0, 1) - d(1, 0, -1) + d(-1, 0, -1)) / 4.0;
        let yl = (d(0, 1, 1) - d(0, -1, 1) - d(0, 1, -1) + d(0, -1, -1)) / 4.0;
        let off = solved([[xx, xy, xl], [xy, yy, yl], [xl, yl, ll]], slope)?.map(|v| -v);
        if off.iter().all(|v| v.abs() < 0.5) {
            let contrast = v + 0.5 * (0..3).map(|i| slope[i] * off[i]).sum::<f32>();
            let (trace, determinant) = (xx + yy, xx * yy - xy * xy);
            let is_edge = determinant <= 0.0
                || trace * trace * EDGE >= (EDGE + 1.0) * (EDGE + 1.0) * determinant;
            return (contrast.abs() * LEVELS as f32 >= CONTRAST && !is_edge).then(|| Peak {
                at: [x as f32 + off[0], y as f32 + off[1]],
                level: level as f32 + off[2],
                contrast: contrast.abs(),
            });
        }
        let moved = |at: usize, off: f32, end: usize| {
            let to = at as f32 + off.round();
            (to >= 1.0 && to < end as f32).then_some(to as usize)
        };
        x = moved(x, off[0], width - 1)?;
        y = moved(y, off[1], height - 1)?;
        level = moved(level, off[2], LEVELS + 1)?;
    }
    None
}

/// What a symmetric matrix takes to a vector (Cramer's rule).
fn solved(m: [[f32; 3]; 3], v: [f32; 3]) -> Option<[f32; 3]> {
    let determinant = |m: [[f32; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = determinant(m);
    (whole.abs() > 1e-9).then(|| {
        std::array::from_fn(|i| {
            let mut with = m;
            (0..3).for_each(|row| with[row][i] = v[row]);
            determinant(with) / whole
        })
    })
}

/// A peak of an octave, whose pixels are `scale` px wide, as spots of the picture, one for each direction that is strong.
fn oriented(peak: &Peak, levels: &[Plane], scale: f32) -> Vec<Spot> {
    let sigma = peak.sigma_px();
    let plane = &levels[(peak.level.round() as usize).clamp(1, LEVELS)];
    let histogram = directions(plane, peak.at, 1.5 * sigma);
    let strongest = histogram.iter().copied().fold(0.0, f32::max);
    let around = |i: usize, by: usize| histogram[(i + by) % DIRECTIONS];
    (0..DIRECTIONS)
        .filter_map(|i| {
            let [before, v, after] = [around(i, DIRECTIONS - 1), histogram[i], around(i, 1)];
            let is_strong = v > before && v > after && v >= ALSO * strongest;
            is_strong.then(|| {
                let off = 0.5 * (before - after) / (before - 2.0 * v + after);
                Spot {
                    at: peak.at.map(|v| v * scale),
                    size_px: 2.0 * sigma * scale,
                    angle: (i as f32 + off) / DIRECTIONS as f32 * TAU,
                }
            })
        })
        .collect()
}

/// How strongly the grey rises in each direction around a place.
fn directions(plane: &Plane, at: [f32; 2], sigma_px: f32) -> [f32; DIRECTIONS] {
    let mut raw = [0.0f32; DIRECTIONS];
    let reach = (3.0 * sigma_px).round() as isize;
    let [x, y] = at.map(|v| v.round() as isize);
    let fall = -1.0 / (2.0 * sigma_px * sigma_px);
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            let (px, py) = (x + dx, y + dy);
            let within =
                px > 0 && py > 0 && px < plane.width as isize - 1 && py < plane.height as isize - 1;
            if !within {
                continue;
            }
            let (px, py) = (px as usize, py as usize);
            let gx = plane.at(px + 1, py) - plane.at(px - 1, py);
            let gy = plane.at(px, py + 1) - plane.at(px, py - 1);
            let turn = gy.atan2(gx).rem_euclid(TAU) / TAU * DIRECTIONS as f32;
            let weight = (fall * (dx * dx + dy * dy) as f32).exp();
            raw[turn.round() as usize % DIRECTIONS] += weight * gx.hypot(gy);
        }
    }
    let near =
        |i: usize, by: usize| raw[(i + by) % DIRECTIONS] + raw[(i + DIRECTIONS - by) % DIRECTIONS];
    std::array::from_fn(|i| (near(i, 2) + 4.0 * near(i, 1) + 6.0 * raw[i]) / 16.0)
}
