//! From a photo to everything that is known of the piece in it: the pipeline
//! in one function.

mod quality;

use image::RgbImage;

use crate::{
    channel::{self, Embedding, Features, Networks, Subject},
    colour::{self, Colours, NeutralPoint, Tones},
    config::Config,
    cutout::{self, Cutout, Method},
    error::{Error, Kind, Result},
    onnx::{self, Model},
    outline::{
        self, Outline,
        pose::{self, Pose},
    },
    photo::Photo,
    raster,
    warning::{Code, Warning},
};

/// The networks and settings that describe photos; shared by all threads.
#[derive(Debug)]
pub struct Engine {
    mask: Model,
    networks: Networks,
    /// The settings in force.
    pub config: Config,
    /// How masks are found.
    pub method: Method,
    /// A place in the photo that shows something neutral. Without it a grey card
    /// is looked for.
    pub neutral: Option<NeutralPoint>,
}

/// What is known of the piece in a photo.
#[derive(Clone, Debug)]
pub struct Described {
    /// The piece cut out at working resolution.
    pub cutout: Cutout,
    /// Its contour in pixels of the cutout.
    pub outline: Outline,
    /// From where it was seen, and its axis.
    pub pose: Pose,
    /// The piece alone on grey, squared.
    pub crop: RgbImage,
    /// Its vectors, by position in the registry.
    pub features: Features,
    /// Its colours.
    pub colours: Colours,
    /// Warnings of the photo, the cutout and the piece's quality.
    pub warnings: Vec<Warning>,
}

impl Engine {
    /// Loads the networks.
    ///
    /// # Errors
    /// [`Kind::Setup`] if the library or a model is absent or unfit.
    pub fn load(config: Config, method: Method) -> Result<Self> {
        onnx::library_path()?;
        let models = onnx::models_dir()?;
        let load = |name| Model::load(&models, name);
        let (mask, (embedder, general)) = rayon::join(
            || load("mask"),
            || rayon::join(|| load("embedder"), || load("general")),
        );
        Ok(Self {
            mask: mask?,
            networks: Networks {
                embedder: embedder?,
                general: general?,
            },
            config,
            method,
            neutral: None,
        })
    }

    /// Describes the (largest) piece in a photo.
    ///
    /// # Errors
    /// [`Kind::NoPiece`] if nothing is left to describe; [`Kind::Setup`] if a
    /// network does not run.
    pub fn describe(&self, photo: &Photo) -> Result<Described> {
        let mut cutout = cutout::cut(photo, &self.mask, &self.config, self.method)?;
        let tones = colour::tones(&cutout.working);
        let has_colour = tones == Tones::Colour;
        if !has_colour
            && cutout.origin.shows_surface()
            && let Some(screen_px) = colour::screen_px(&cutout.working)
        {
            // The dots of a printed screen are neither edge nor decoration.
            let photo = Photo {
                pixels: colour::unscreened(&photo.pixels, screen_px * cutout.photo_per_working),
                ..photo.clone()
            };
            cutout = cutout::cut(&photo, &self.mask, &self.config, self.method)?;
        }
        let card = colour::card(&cutout);
        if let Some(card) = card.filter(|card| card.is_in_mask) {
            cutout = cutout::cut_without(cutout, &card.corners, &self.mask)?;
        }
        let outline = outline::trace(cutout.mask.as_raw(), cutout.mask.width() as usize)
            .ok_or_else(|| {
                Error::new(Kind::NoPiece, "no piece was found in the photo")
                    .in_file(&photo.source)
                    .remedy("use a plain background, or --cutout none to read the whole photo")
            })?;
        let mut crop = channel::crop(&cutout, &outline);
        if tones == Tones::Toned {
            // The tone of a print's paper is no colour of the piece. White ware on grey has
            // no tone: its tinge of colour is its own.
            crop.picture = raster::grey(&crop.picture);
        }
        let embedding: Option<Embedding> = if cutout.origin.shows_surface() {
            Some(channel::embed(&crop, &cutout.working, &self.networks)?)
        } else {
            None
        };
        let colours = colour::read(&cutout, has_colour, self.neutral, card.as_ref())
            .map_err(|e| e.in_file(&photo.source))?;
        let features = channel::describe(&Subject {
            cutout: &cutout,
            outline: &outline,
            embedding: embedding.as_ref(),
            has_colour,
            colours: &colours,
        });
        let mut warnings = photo.warnings.clone();
        warnings.extend(cutout.warnings.iter().cloned());
        warnings.extend(quality::warnings(&cutout, &outline, has_colour));
        let pose = pose::read(&outline);
        if pose.is_tilted() && cutout.origin.shows_surface() {
            warnings.push(Warning::new(Code::Tilted));
        }
        Ok(Described {
            cutout,
            outline,
            pose,
            crop: crop.picture,
            features,
            colours,
            warnings,
        })
    }
}
