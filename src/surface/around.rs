//! How often what lies in rows about the axis looks like itself.
//!
//! A border turned by one repeat looks like itself, so the autocorrelation of its rows,
//! the transform of their power spectrum (Wiener 1930, Khinchin 1934), has its first high
//! peak there. A camera that is near spreads the repeats on one side and crowds those of
//! the other, so they are not counted by that angle: the strongest harmonic is taken out
//! of the spectrum as an analytic signal (Gabor 1946), and its turns are counted, whatever
//! their speed from place to place.

use crate::spectrum::{Complex, back, transform};

/// Numbers in a spectrum.
pub(super) const N: usize = 1024;
/// Rows that are looked at together.
const TOGETHER: usize = 3;
/// Fewest samples to a repeat.
const FINEST: usize = 6;
/// How far the autocorrelation has to fall and rise again before a peak.
const RISE: f32 = 0.3;
/// Of two peaks, one that is this share of the other and lies nearer is the repeat.
const NEARER: f32 = 0.85;
/// A row belongs to a border if it is like itself by this share of the border's likeness.
const BELONGS: f32 = 0.5;
/// Half the width of a harmonic's band, by the distance of harmonics.
const BAND: f64 = 0.4;
/// Highest harmonic that is counted by.
const HARMONICS: usize = 4;

/// Rows of one surface, each a number of samples at equal angles.
pub(super) struct Rows {
    rows: Vec<Row>,
    /// Samples that were read, [`N`] at most.
    samples: usize,
    /// Whether the last sample is next to the first.
    wraps: bool,
    /// How much of itself is left when it is moved by so many samples.
    overlap: Vec<f32>,
}

/// The spectra of a row: of its two differences of colour as one complex number, and of
/// its tones.
struct Row {
    /// Number of the row as it was given.
    at: usize,
    spectra: [Vec<Complex>; 2],
    /// Power in colour, and in all.
    colour: Vec<f32>,
    power: Vec<f32>,
}

/// What was found.
#[derive(Debug)]
pub(super) struct Found {
    /// Numbers of the rows that show it, from the first to the last.
    pub(super) rows: [usize; 2],
    /// How often it is repeated in [`N`] samples, by the angle alone.
    pub(super) rough: f64,
    /// Correlation with itself, moved by one repeat.
    pub(super) likeness: f64,
    /// Root mean square of the samples of those rows.
    pub(super) strength: f64,
    /// Share of the power that is in colour.
    pub(super) in_colour: f64,
    /// Turns of the signal that was counted by, up to each sample, and its size there.
    pub(super) turns: Vec<[f64; 2]>,
    /// How many of those a repeat has.
    pub(super) harmonic: usize,
}

impl Rows {
    /// Takes rows of samples (two differences of colour, tones), a number of them given
    /// beside; rows too poorly seen are left out by the caller.
    pub(super) fn new(rows: &[(usize, Vec<[f32; 3]>)], wraps: bool) -> Self {
        let samples = rows.first().map_or(0, |(_, row)| row.len()).min(N);
        let taper: Vec<f32> = (0..samples)
            .map(|i| {
                let from_end = (i.min(samples - 1 - i) as f32 + 0.5) / (0.15 * samples as f32);
                match wraps || from_end >= 1.0 {
                    true => 1.0,
                    false => (0.5 * std::f32::consts::PI * from_end).sin().powi(2),
                }
            })
            .collect();
        let mut whole = vec![[0.0; 2]; N];
        for (w, t) in whole.iter_mut().zip(&taper) {
            w[0] = *t;
        }
        transform(&mut whole);
        let overlap = autocorrelation(&whole.iter().map(|v| square(*v)).collect::<Vec<_>>());
        // Slow changes are the light's.
        let slow = if wraps { 2 } else { 2 * N / samples.max(1) };
        let row = |(at, values): &(usize, Vec<[f32; 3]>)| {
            let mut spectra = [vec![[0.0; 2]; N], vec![[0.0; 2]; N]];
            for (i, (value, t)) in values.iter().zip(&taper).enumerate() {
                spectra[0][i] = [value[0] * t, value[1] * t];
                spectra[1][i] = [value[2] * t, 0.0];
            }
            for spectrum in &mut spectra {
                transform(spectrum);
                for k in 0..=slow {
                    spectrum[k] = [0.0; 2];
                    spectrum[(N - k) % N] = [0.0; 2];
                }
            }
            let of = |s: &[Complex]| -> Vec<f32> { s.iter().map(|v| square(*v)).collect() };
            let [colour, tones] = [of(&spectra[0]), of(&spectra[1])];
            Row {
                at: *at,
                power: colour.iter().zip(&tones).map(|(a, b)| a + b).collect(),
                colour,
                spectra,
            }
        };
        Self {
            rows: rows.iter().map(row).collect(),
            samples,
            wraps,
            overlap,
        }
    }

    /// What repeats in them, at least so many times in what is seen.
    pub(super) fn repeat(&self, fewest: f64) -> Option<Found> {
        let own: Vec<Vec<f32>> = self
            .rows
            .iter()
            .map(|row| autocorrelation(&row.power))
            .collect();
        let sum = |rows: &[usize]| -> Vec<f32> {
            (0..=N / 2)
                .map(|lag| rows.iter().map(|r| own[*r][lag]).sum())
                .collect()
        };
        let (mut best, mut most) = (None, 0.0);
        for first in 0..self.rows.len().saturating_sub(TOGETHER - 1) {
            let rows: Vec<usize> = (first..first + TOGETHER).collect();
            let whole = sum(&rows);
            if let Some((lag, likeness)) = self.peak(&whole, fewest) {
                // Strong and alike: the light on bare glaze may be alike too, but weak.
                let score = likeness * whole[0].sqrt();
                if score > most {
                    (best, most) = (Some(lag), score);
                }
            }
        }
        let lag = best?;
        let like = |whole: &[f32]| self.corrected(whole, lag.round() as usize) / whole[0].max(1e-9);
        let bar = BELONGS
            * (0..self.rows.len())
                .map(|r| like(&own[r]))
                .fold(0.0, f32::max);
        let rows: Vec<usize> = (0..self.rows.len())
            .filter(|r| like(&own[*r]) >= bar)
            .collect();
        let whole = sum(&rows);
        let (lag, likeness) = self.peak(&whole, fewest)?;
        let rough = N as f64 / f64::from(lag);
        let (harmonic, turns) = self.turns(&rows, rough);
        // What repeats is the harmonics; the rest is something else.
        let of = |power: &dyn Fn(&Row) -> &Vec<f32>| -> f32 {
            let of_row = |r: &usize| -> f32 {
                let power = power(&self.rows[*r]);
                (1..=HARMONICS)
                    .flat_map(|h| band(h, rough))
                    .map(|k| power[k] + power[N - k])
                    .sum()
            };
            rows.iter().map(of_row).sum::<f32>() / rows.len() as f32
        };
        let (colour, power) = (of(&|row| &row.colour), of(&|row| &row.power));
        Some(Found {
            rows: [self.rows[*rows.first()?].at, self.rows[*rows.last()?].at],
            rough,
            likeness: f64::from(likeness),
            strength: f64::from((power / (self.samples * N) as f32).sqrt()),
            in_colour: f64::from(colour / power.max(1e-9)),
            turns,
            harmonic,
        })
    }

    /// An autocorrelation at a lag, what was moved out of sight made up for.
    fn corrected(&self, whole: &[f32], lag: usize) -> f32 {
        whole[lag] * self.overlap[0] / self.overlap[lag].max(1e-9)
    }

    /// The lag of one repeat, samples, and the correlation there.
    fn peak(&self, whole: &[f32], fewest: f64) -> Option<(f32, f32)> {
        let longest = (self.samples as f64 / fewest) as usize;
        let at = |lag: usize| self.corrected(whole, lag) / whole[0].max(1e-9);
        let (mut lowest, mut peaks) = (1.0f32, Vec::new());
        for lag in 2..=longest {
            let here = at(lag);
            lowest = lowest.min(here);
            let is_peak = here >= at(lag - 1) && here > at(lag + 1);
            if lag >= FINEST && is_peak && here - lowest >= RISE {
                peaks.push((lag, here));
            }
        }
        let best = peaks.iter().map(|(_, r)| *r).fold(0.0, f32::max);
        let (lag, _) = peaks.into_iter().find(|(_, r)| *r >= NEARER * best)?;
        // The top of the parabola through three points.
        let [a, b, c] = [at(lag - 1), at(lag), at(lag + 1)];
        let bend = a - 2.0 * b + c;
        let off = if bend < 0.0 {
            0.5 * (a - c) / bend
        } else {
            0.0
        };
        Some((lag as f32 + off, b - 0.25 * (a - c) * off))
    }

    /// The harmonic with the most power, and its turns up to each sample.
    fn turns(&self, rows: &[usize], rough: f64) -> (usize, Vec<[f64; 2]>) {
        let power = |h: usize| -> f32 {
            let of = |r: &usize| -> f32 { self.rows[*r].power[band(h, rough)].iter().sum() };
            rows.iter().map(of).sum()
        };
        let finest = ((N as f64 / FINEST as f64) / rough) as usize;
        let harmonic = (1..=HARMONICS.min(finest.max(1)))
            .max_by(|a, b| power(*a).total_cmp(&power(*b)))
            .unwrap_or(1);
        // A complex signal has a part that turns forwards and one that turns back.
        let mut signals: Vec<Vec<Complex>> = Vec::new();
        for r in rows {
            for spectrum in &self.rows[*r].spectra {
                for forwards in [true, false] {
                    let mut signal = vec![[0.0; 2]; N];
                    for k in band(harmonic, rough) {
                        signal[k] = match forwards {
                            true => spectrum[k],
                            false => [spectrum[N - k][0], -spectrum[N - k][1]],
                        };
                    }
                    back(&mut signal);
                    signals.push(signal);
                }
            }
        }
        (harmonic, self.turns_of(&together(&signals)))
    }

    /// The turns of a signal up to each sample, with its size there.
    fn turns_of(&self, signal: &[Complex]) -> Vec<[f64; 2]> {
        let mut sum = 0.0;
        (0..self.samples)
            .map(|i| {
                let next = (i + 1) % if self.wraps { self.samples } else { N };
                let [re, im] = times_conjugate(signal[next], signal[i]);
                sum += f64::from(im).atan2(f64::from(re)) / std::f64::consts::TAU;
                [sum, f64::from(square(signal[i]).sqrt())]
            })
            .collect()
    }
}

/// The lines of a spectrum that belong to a harmonic; none where it is too fine.
fn band(h: usize, rough: f64) -> std::ops::Range<usize> {
    let middle = h as f64 * rough;
    let from = (middle - BAND * rough).ceil().max(1.0) as usize;
    let to = (middle + BAND * rough).floor() as usize + 1;
    from..if to < N / 2 { to } else { from }
}

/// The sum of signals, each brought to the phase of the strongest: they turn together.
fn together(signals: &[Vec<Complex>]) -> Vec<Complex> {
    let power = |s: &Vec<Complex>| s.iter().map(|v| square(*v)).sum::<f32>();
    let mut sum = vec![[0.0; 2]; N];
    let Some(strongest) = signals.iter().max_by(|a, b| power(a).total_cmp(&power(b))) else {
        return sum;
    };
    for signal in signals {
        let mut phase = [0.0f32; 2];
        for (own, other) in signal.iter().zip(strongest) {
            let [re, im] = times_conjugate(*other, *own);
            phase = [phase[0] + re, phase[1] + im];
        }
        let size = square(phase).sqrt().max(1e-20);
        let [c, s] = phase.map(|v| v / size);
        for (sum, [re, im]) in sum.iter_mut().zip(signal) {
            sum[0] += re * c - im * s;
            sum[1] += re * s + im * c;
        }
    }
    sum
}

fn times_conjugate([a, b]: Complex, [c, d]: Complex) -> Complex {
    [a * c + b * d, b * c - a * d]
}

fn square([re, im]: Complex) -> f32 {
    re * re + im * im
}

/// Of a power spectrum, up to half a turn.
fn autocorrelation(power: &[f32]) -> Vec<f32> {
    let mut values: Vec<Complex> = power.iter().map(|p| [*p, 0.0]).collect();
    transform(&mut values);
    values[..=N / 2].iter().map(|v| v[0]).collect()
}
