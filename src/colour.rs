//! What colour a piece has, as far as its photo tells: the light taken out by
//! something neutral, highlights and deep shade left out, each colour with its
//! share of the surface and its doubt, and named in plain words.

mod card;
mod difference;
mod ground;
mod light;
mod munsell;
mod palette;
mod print;
mod screen;
mod words;

use image::RgbImage;
use serde::{Deserialize, Serialize};

use crate::{cutout::Cutout, error::Result, raster};

pub use card::{Card, card};
pub use difference::{Difference, difference};
pub use ground::{Doubt, Ground, Sample};
pub use light::{Balance, NeutralPoint, Reference};
pub use munsell::{Munsell, munsell};
pub use palette::{Swatch, palette};
pub use print::{Tones, tones};
pub use screen::{screen_px, unscreened};
pub use words::words;

/// The colours of a piece in one photo.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Colours {
    /// What the light was taken out by.
    pub balance: Balance,
    /// The colour that lies under everything else.
    pub ground: Option<Ground>,
    /// All colours by share, the ground's shades among them.
    pub swatches: Vec<Swatch>,
}

impl Colours {
    /// The colours that are not the ground in another shade, largest first.
    pub fn decoration(&self) -> Vec<&Swatch> {
        let Some(ground) = &self.ground else {
            return Vec::new();
        };
        self.swatches
            .iter()
            .filter(|s| !ground.covers(s.lab))
            .collect()
    }
}

/// Reads the colours of a piece; `point` names something neutral in the photo, else
/// `card` does, if there is one. Nothing but the balance is read where the surface is
/// not seen or has no colour.
///
/// # Errors
/// [`crate::error::Kind::Usage`] if the point shows nothing that can be used.
pub fn read(
    cutout: &Cutout,
    has_colour: bool,
    point: Option<NeutralPoint>,
    card: Option<&Card>,
) -> Result<Colours> {
    let balance = light::balance(cutout, point, card)?;
    if !has_colour || !cutout.origin.shows_surface() {
        return Ok(Colours {
            balance,
            ..Colours::default()
        });
    }
    let samples: Vec<Sample> = surface(cutout, 2)
        .map(|rgb| Sample::new(balance.apply(raster::linear(rgb))))
        .collect();
    let surround = light::surround(cutout, &balance);
    let ground = ground::read(&samples, &balance, surround);
    // Half of the samples say as much of shares and usual colours.
    let labs: Vec<[f32; 3]> = samples
        .iter()
        .step_by(2)
        .map(|s| raster::lab_of_linear(s.rgb))
        .collect();
    Ok(Colours {
        ground,
        swatches: palette::palette(&labs),
        balance,
    })
}

/// a* and b* of linear sRGB brought to a grey card's luminance, where shade has no say.
pub fn at_one_luminance(rgb: [f32; 3]) -> [f32; 2] {
    ground::leveled(rgb)
}

/// The ground colour of samples of a surface; `None` where there are too few.
pub fn ground(samples: &[Sample], balance: &Balance) -> Option<Ground> {
    ground::read(samples, balance, None)
}

/// The pixels well inside the mask and not burnt out, every `step`-th of them
/// along rows and columns (more where the piece is large: some ten thousand
/// samples say all there is to say).
pub(crate) fn surface(cutout: &Cutout, step: u32) -> impl Iterator<Item = [u8; 3]> + '_ {
    const SAMPLES: f64 = 20_000.0;
    let covered = cutout.mask.iter().filter(|v| **v > 250).count() as f64;
    let step = step.max((covered / SAMPLES).sqrt().round() as u32).max(1);
    every(&cutout.working, step)
        .filter(|(x, y, _)| cutout.mask.get_pixel(*x, *y).0[0] > 250)
        .filter(|(_, _, rgb)| !is_highlight(*rgb))
        .map(|(_, _, rgb)| rgb)
}

/// Every `step`-th pixel along rows and columns, with its place.
fn every(picture: &RgbImage, step: u32) -> impl Iterator<Item = (u32, u32, [u8; 3])> + '_ {
    (0..picture.height())
        .step_by(step as usize)
        .flat_map(move |y| {
            (0..picture.width())
                .step_by(step as usize)
                .map(move |x| (x, y, picture.get_pixel(x, y).0))
        })
}

/// A specular highlight on glaze is clipped in every channel.
pub(crate) fn is_highlight(rgb: [u8; 3]) -> bool {
    rgb.iter().all(|v| *v >= 250)
}
