//! The surface of a piece, straightened: which part of the photo shows which zone
//! of it, and what colour lies under everything else there.

mod around;
mod border;
mod decorated;
mod layers;
mod rings;
mod strip;
mod zones;

use serde::{Deserialize, Serialize};

use crate::{
    colour::{self, Balance, Ground, Sample, Swatch},
    cutout::Cutout,
    outline::{Outline, pose::Pose},
    raster,
};

pub use border::Border;
pub use layers::{Layers, Run};
pub use rings::{Place, Rings};
pub use strip::{Strip, outside, within};
pub use zones::{Face, Spot, Zone, Zones};

/// What is seen of a piece's surface, zone by zone.
#[derive(Clone, Debug)]
pub struct Surface {
    /// How the zones lie in the photo.
    pub zones: Zones,
    /// Each zone that is seen, in the order of [`Zone::ALL`], outside first.
    pub seen: Vec<Seen>,
    /// The sides as a whole, where they are seen.
    pub faces: Vec<(Face, Patch)>,
    /// How colour sits on the outside, where its ground is known.
    pub layers: Option<Layers>,
    /// The colours of what is not of the ground's colour, largest first; shares are of
    /// the piece's surface in the photo.
    pub decoration: Vec<Swatch>,
    /// What repeats round it, where something surely does.
    pub border: Option<Border>,
}

/// A zone that is seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Seen {
    /// Which.
    pub zone: Zone,
    /// Which side of the piece; null where a zone has none.
    pub face: Option<Face>,
    /// Its colour and size.
    #[serde(flatten)]
    pub patch: Patch,
}

/// A part of the surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Patch {
    /// Share of the piece's surface in the photo, 0 to 1; highlights left out.
    pub share: f32,
    /// The colour that lies under everything else; null in black-and-white photos and
    /// where too little is seen.
    pub ground: Option<Tone>,
    /// Share of it that has another colour than its side's ground, 0 to 1; null where
    /// that ground is not known.
    #[serde(default)]
    pub decorated: Option<f32>,
}

/// A ground colour.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tone {
    /// CIE L*a*b*, D65.
    pub lab: [f32; 3],
    /// Nearest 8-bit sRGB.
    pub rgb: [u8; 3],
    /// Share of the patch that has it in some shade, 0 to 1.
    pub share: f32,
    /// In plain words, with the notation of Munsell.
    pub name: String,
}

impl From<Ground> for Tone {
    fn from(ground: Ground) -> Self {
        Self {
            lab: ground.lab,
            rgb: ground.rgb,
            share: ground.share,
            name: ground.name,
        }
    }
}

impl Surface {
    /// A side as a whole, where it is seen.
    pub fn face(&self, wanted: Face) -> Option<&Patch> {
        let found = self.faces.iter().find(|(face, _)| *face == wanted);
        found.map(|(_, patch)| patch)
    }
}

/// Pixels that are looked at; more say no more.
const SAMPLES: f64 = 20_000.0;

/// Reads the surface of a piece. `None` where its pose is not known or the photo does
/// not show the surface: a zone is never guessed.
pub fn read(
    cutout: &Cutout,
    outline: &Outline,
    pose: &Pose,
    balance: &Balance,
    has_colour: bool,
) -> Option<Surface> {
    if !cutout.origin.shows_surface() {
        return None;
    }
    let zones = Zones::of(outline, pose)?;
    let step = (outline.area_px2() / SAMPLES).sqrt().round().max(1.0) as usize;
    let bounds = outline.bounds();
    let (width, height) = cutout.working.dimensions();
    let across = bounds.left.max(0.0) as u32..(bounds.right.max(0.0) as u32).min(width);
    let down = bounds.top.max(0.0) as u32..(bounds.bottom.max(0.0) as u32).min(height);
    let mut found: Vec<(Spot, Sample)> = Vec::new();
    for y in down.step_by(step) {
        for x in across.clone().step_by(step) {
            let rgb = cutout.working.get_pixel(x, y).0;
            if cutout.mask.get_pixel(x, y).0[0] <= 250 || colour::is_highlight(rgb) {
                continue;
            }
            if let Some(spot) = zones.spot([f64::from(x) + 0.5, f64::from(y) + 0.5]) {
                found.push((spot, Sample::new(balance.apply(raster::linear(rgb)))));
            }
        }
    }
    let patch = |wanted: &dyn Fn(&Spot) -> bool| -> Option<Patch> {
        let samples: Vec<Sample> = found
            .iter()
            .filter(|(spot, _)| wanted(spot))
            .map(|(_, sample)| *sample)
            .collect();
        let ground = has_colour
            .then(|| colour::ground(&samples, balance))
            .flatten();
        (!samples.is_empty()).then(|| Patch {
            share: samples.len() as f32 / found.len() as f32,
            ground: ground.map(Tone::from),
            decorated: None,
        })
    };
    let sides = [Some(Face::Outside), Some(Face::Inside), None];
    let seen = sides
        .into_iter()
        .flat_map(|face| Zone::ALL.map(|zone| Spot { zone, face }))
        .filter_map(|spot| {
            let patch = patch(&|other| *other == spot)?;
            let Spot { zone, face } = spot;
            Some(Seen { zone, face, patch })
        })
        .collect();
    let faces: Vec<(Face, Patch)> = [Face::Outside, Face::Inside]
        .into_iter()
        .filter_map(|face| {
            // The lip belongs to both sides.
            let is_it = |spot: &Spot| spot.face == Some(face) && spot.zone != Zone::EdgeLine;
            Some((face, patch(&is_it)?))
        })
        .collect();
    let mut surface = Surface {
        zones,
        seen,
        faces,
        layers: None,
        decoration: Vec::new(),
        border: None,
    };
    let ground = |wanted: Face| Some(surface.face(wanted)?.ground.as_ref()?.lab);
    let zones = &surface.zones;
    let rings = zones.rings.as_ref().zip(ground(Face::Outside));
    surface.layers = rings.map(|(rings, own)| {
        let mouth = zones.mouth.as_ref().zip(ground(Face::Inside));
        layers::read(cutout, rings, balance, own, mouth)
    });
    surface.border = border::read(cutout, outline, zones);
    decorated::read(&mut surface, &found);
    Some(surface)
}
