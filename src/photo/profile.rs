//! From the colours of a profile to sRGB.

use image::{DynamicImage, RgbImage};
use moxcms::{ColorProfile, DataColorSpace, Layout, TransformExecutor, TransformOptions};

use super::{flatten::narrow, guard};

/// Where it is said what the pixels mean.
pub(super) enum Source<'a> {
    /// An ICC profile in the file.
    Embedded(&'a [u8]),
    /// A camera's mark for Adobe RGB (1998), without a profile.
    AdobeRgb,
}

/// Brings `picture` to 8-bit sRGB, leaving transparency aside. If the profile
/// cannot be read or is not for such pixels, they are taken as sRGB and the
/// second value is false.
pub(super) fn convert(picture: DynamicImage, source: &Source) -> (RgbImage, bool) {
    // A profile that makes the colour code panic must not cost the photo.
    match guard::quietly(|| plan(&picture, source)).ok().flatten() {
        Some(Plan::Keep) => (picture.into_rgb8(), true),
        Some(plan) => {
            let (width, height) = (picture.width(), picture.height());
            guard::quietly(|| run(&picture, &plan))
                .ok()
                .flatten()
                .and_then(|raw| RgbImage::from_raw(width, height, raw))
                .map_or_else(|| (picture.into_rgb8(), false), |pixels| (pixels, true))
        }
        None => (picture.into_rgb8(), false),
    }
}

type Shared<T> = std::sync::Arc<dyn TransformExecutor<T> + Send + Sync>;

enum Plan {
    /// The profile is sRGB in all but name.
    Keep,
    Colour(Shared<u8>),
    DeepColour(Shared<u16>),
    Grey(Shared<u8>),
    DeepGrey(Shared<u16>),
}

fn plan(picture: &DynamicImage, source: &Source) -> Option<Plan> {
    let from = match source {
        Source::Embedded(icc) => ColorProfile::new_from_slice(icc).ok()?,
        Source::AdobeRgb => ColorProfile::new_adobe_rgb(),
    };
    let to = ColorProfile::new_srgb();
    let (layout, grey) = match from.color_space {
        DataColorSpace::Rgb => (Layout::Rgb, false),
        DataColorSpace::Gray if !picture.color().has_color() => (Layout::Gray, true),
        // CMYK was brought to RGB by the decoder already, without its profile.
        _ => return None,
    };
    // The profile's own tables are used, not the short code that some profiles
    // carry beside them: the tables are what other programs go by.
    let how = TransformOptions {
        allow_use_cicp_transfer: false,
        ..TransformOptions::default()
    };
    let eight = from
        .create_transform_8bit(layout, &to, Layout::Rgb, how)
        .ok()?;
    if changes_nothing(&*eight, grey)? {
        return Some(Plan::Keep);
    }
    // Depth matters most for profiles with a straight tone curve.
    let deep = picture.color().bytes_per_pixel() > picture.color().channel_count();
    Some(if deep {
        let sixteen = from
            .create_transform_16bit(layout, &to, Layout::Rgb, how)
            .ok()?;
        if grey {
            Plan::DeepGrey(sixteen)
        } else {
            Plan::DeepColour(sixteen)
        }
    } else if grey {
        Plan::Grey(eight)
    } else {
        Plan::Colour(eight)
    })
}

/// Whether the conversion moves no colour of a lattice by more than 1/255. Such
/// a profile is sRGB, whatever its name, and pixels had better stay as they are
/// than be rounded again.
fn changes_nothing(transform: &dyn TransformExecutor<u8>, grey: bool) -> Option<bool> {
    let lattice: Vec<[u8; 3]> = if grey {
        (0..=255).map(|v| [v; 3]).collect()
    } else {
        let steps = (0..=255).step_by(15);
        steps
            .clone()
            .flat_map(|r| {
                let steps = (0..=255).step_by(15);
                steps.flat_map(move |g| (0..=255).step_by(15).map(move |b| [r, g, b]))
            })
            .collect()
    };
    let before: Vec<u8> = if grey {
        lattice.iter().map(|c| c[0]).collect()
    } else {
        lattice.as_flattened().to_vec()
    };
    let mut after = vec![0; lattice.len() * 3];
    transform.transform(&before, &mut after).ok()?;
    Some(
        lattice
            .as_flattened()
            .iter()
            .zip(&after)
            .all(|(a, b)| a.abs_diff(*b) <= 1),
    )
}

/// Pixels that are converted at once, so that the copy stays small.
const STRIP: usize = 64 * 1024;

fn run(picture: &DynamicImage, plan: &Plan) -> Option<Vec<u8>> {
    match plan {
        Plan::Keep => None,
        Plan::Colour(t) => match picture {
            DynamicImage::ImageRgb8(p) => strips(&**t, p.as_raw(), 3, |v| v),
            other => strips(&**t, other.to_rgb8().as_raw(), 3, |v| v),
        },
        Plan::DeepColour(t) => match picture {
            DynamicImage::ImageRgb16(p) => strips(&**t, p.as_raw(), 3, narrow),
            other => strips(&**t, other.to_rgb16().as_raw(), 3, narrow),
        },
        Plan::Grey(t) => match picture {
            DynamicImage::ImageLuma8(p) => strips(&**t, p.as_raw(), 1, |v| v),
            other => strips(&**t, other.to_luma8().as_raw(), 1, |v| v),
        },
        Plan::DeepGrey(t) => match picture {
            DynamicImage::ImageLuma16(p) => strips(&**t, p.as_raw(), 1, narrow),
            other => strips(&**t, other.to_luma16().as_raw(), 1, narrow),
        },
    }
}

fn strips<T: Copy + Default>(
    transform: &dyn TransformExecutor<T>,
    from: &[T],
    channels: usize,
    to_byte: impl Fn(T) -> u8 + Copy,
) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(from.len() / channels * 3);
    let mut scratch = vec![T::default(); STRIP.min(from.len() / channels) * 3];
    for strip in from.chunks(STRIP * channels) {
        let converted = scratch.get_mut(..strip.len() / channels * 3)?;
        transform.transform(strip, converted).ok()?;
        out.extend(converted.iter().map(|&v| to_byte(v)));
    }
    Some(out)
}
