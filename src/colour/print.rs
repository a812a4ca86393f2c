//! Whether a photo shows colours at all. A black-and-white print or its scan
//! has none; toned paper and ink give it one hue for each lightness, but never
//! two: what is left beside that is the noise of the scan.

use image::RgbImage;

use crate::raster;

/// Mean chroma below which a picture counts as black and white.
const COLOURLESS_CHROMA: f32 = 1.5;
/// Most mean chroma of toned paper and ink. A white cup on blue cloth has one
/// hue for each lightness too, but far more of it.
const TONED_CHROMA: f32 = 25.0;
/// Chroma that nineteen pixels in twenty of a print keep within, once the usual
/// tone of their lightness is taken off.
const TONE_LEFT: f32 = 2.3;
/// And 199 in 200: a sprig of flowers is no more than that of a photo, and no
/// noise. Toned copies stay under 4.1.
const SPOT_LEFT: f32 = 5.0;
/// Longest side of the copy that is looked at, pixels: small enough to average
/// the noise of colour in a JPEG file away.
const LOOK_PX: u32 = 80;
/// Steps of lightness, each with its own tone.
const STEPS: usize = 24;

/// What a picture shows of colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tones {
    /// It is a colour photo.
    Colour,
    /// It has no colour to speak of: a grey print, or white ware on grey.
    Grey,
    /// It is a black-and-white print with the tone of its paper and ink.
    Toned,
}

/// Whether the picture is black and white, and whether it is toned.
pub fn tones(picture: &RgbImage) -> Tones {
    let (width, height) = picture.dimensions();
    let scale = (LOOK_PX as f32 / width.max(height) as f32).min(1.0);
    let size = |px: u32| ((px as f32 * scale).round() as u32).max(1);
    let small = raster::resize(picture, size(width), size(height));
    let labs: Vec<[f32; 3]> = small.pixels().map(|p| raster::lab(p.0)).collect();
    let mean = labs.iter().map(|[_, a, b]| a.hypot(*b)).sum::<f32>() / labs.len() as f32;
    if mean < COLOURLESS_CHROMA {
        return Tones::Grey;
    }
    if mean > TONED_CHROMA {
        return Tones::Colour;
    }
    let mut steps: Vec<Vec<[f32; 2]>> = vec![Vec::new(); STEPS];
    for [l, a, b] in labs {
        let step = (l / 100.0 * STEPS as f32) as usize;
        steps[step.min(STEPS - 1)].push([a, b]);
    }
    let mut left: Vec<f32> = Vec::new();
    for step in &mut steps {
        if step.is_empty() {
            continue;
        }
        let middle = step.len() / 2;
        let tone: [f32; 2] = std::array::from_fn(|i| {
            step.select_nth_unstable_by(middle, |p, q| p[i].total_cmp(&q[i]))
                .1[i]
        });
        left.extend(step.iter().map(|p| (p[0] - tone[0]).hypot(p[1] - tone[1])));
    }
    let mut within = |share: f32| {
        let at = ((left.len() as f32 * share) as usize).min(left.len() - 1);
        *left.select_nth_unstable_by(at, f32::total_cmp).1
    };
    if within(0.95) < TONE_LEFT && within(0.995) < SPOT_LEFT {
        Tones::Toned
    } else {
        Tones::Colour
    }
}
