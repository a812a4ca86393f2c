//! Taking photos: pieces, shots, and the truth that goes with them.

use crate::backdrop::Backdrop;
use crate::camera::Camera;
use crate::card::Card;
use crate::decor::Finish;
use crate::develop::Development;
use crate::form::{self, Form};
use crate::glaze::Ground;
use crate::light::Rig;
use crate::output::{Error, Picture};
use crate::pattern::Pattern;
use crate::rng::Rng;
use crate::scene::{Item, Scene};
use crate::shape::Shape;
use crate::solid::Solid;
use crate::stranger;
use crate::trace;
use crate::vec3::{V3, v3};
use serde::Serialize;
use std::f32::consts::PI;
use std::sync::Arc;

/// One object with its labels.
#[derive(Clone, Debug)]
pub struct Piece {
    /// Identifier of the object.
    pub id: String,
    /// Piece type, or what else it is.
    pub form: String,
    /// Shape.
    pub shape: String,
    /// Pattern.
    pub pattern: String,
    /// Glaze.
    pub glaze: String,
    /// Treatment.
    pub treatment: String,
    /// True for plates, saucers and platters.
    pub flat: bool,
    /// Geometry.
    pub solid: Arc<Solid>,
    /// Finish.
    pub finish: Arc<Finish>,
}

impl Piece {
    /// A piece of ware.
    pub fn ware(id: &str, shape: &Shape, form: Form, ground: &Ground, pattern: &Pattern) -> Piece {
        let seed = Rng::new(7).fork(id, 0).bits() as u32;
        Piece {
            id: id.to_string(),
            form: form.name().to_string(),
            shape: shape.name.clone(),
            pattern: pattern.name.clone(),
            glaze: ground.glaze.name.clone(),
            treatment: ground.treatment.name().to_string(),
            flat: form.is_flat(),
            solid: Arc::new(form::build(shape, form)),
            finish: Arc::new(Finish::Ware {
                ground: ground.clone(),
                pattern: pattern.clone(),
                emboss: shape.emboss,
                seed,
            }),
        }
    }

    /// Something that is no ware.
    pub fn stranger(id: &str, name: &str) -> Piece {
        let (solid, finish) = stranger::stranger(name);
        Piece {
            id: id.to_string(),
            form: name.to_string(),
            shape: String::new(),
            pattern: String::new(),
            glaze: String::new(),
            treatment: String::new(),
            flat: false,
            solid: Arc::new(solid),
            finish: Arc::new(finish),
        }
    }
}

/// From where a photo is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Angle {
    /// Level or nearly, the handle out.
    Side,
    /// From above the front, 22 to 42 degrees.
    Oblique,
    /// From above, 70 to 90 degrees.
    Top,
}

impl Angle {
    /// Word for the labels.
    pub fn name(self) -> &'static str {
        match self {
            Angle::Side => "side",
            Angle::Oblique => "oblique",
            Angle::Top => "top",
        }
    }
}

/// A shot to take.
#[derive(Clone, Debug)]
pub struct Shot {
    /// Angle.
    pub angle: Angle,
    /// Light (see `light::RIGS`).
    pub rig: &'static str,
    /// Backdrop (see `backdrop::BACKDROPS`).
    pub backdrop: &'static str,
    /// Picture size, pixels.
    pub size_px: (usize, usize),
    /// Share of the picture that the pieces fill.
    pub fill: f32,
    /// Handle to the left.
    pub handle_left: bool,
    /// Turn of each piece about its axis, radians, up to.
    pub turn_rad: f32,
    /// Shift of the picture as a share of its size, to cut pieces off.
    pub shift: [f32; 2],
    /// A grey card beside the piece, facing as its surface does.
    pub card: bool,
    /// Seed of camera, light, backdrop and development.
    pub seed: u64,
}

/// Truth of one piece in one photo.
#[derive(Clone, Debug, Serialize)]
pub struct PieceTruth {
    /// Identifier of the object.
    pub piece: String,
    /// Piece type.
    pub form: String,
    /// Shape.
    pub shape: String,
    /// Pattern.
    pub pattern: String,
    /// Glaze.
    pub glaze: String,
    /// Treatment.
    pub treatment: String,
    /// Path of its mask, where one was written.
    pub mask: String,
    /// False for clutter: things beside the pieces meant.
    pub meant: bool,
    /// Overall width, mm (handle and spout included).
    pub width_mm: f32,
    /// Overall height, mm.
    pub height_mm: f32,
    /// Turn about its axis, degrees; 0 has the handle towards +x.
    pub yaw_deg: f32,
    /// Place of its axis on the table, mm (x, z).
    pub place_mm: [f32; 2],
    /// Millimetres a pixel shows at its axis, half way up.
    pub mm_per_px: f32,
    /// Where its axis meets the table, pixels.
    pub axis_foot_px: [f32; 2],
    /// Where its axis is at its full height, pixels.
    pub axis_top_px: [f32; 2],
    /// Visible area, pixels.
    pub visible_px: f32,
    /// True where the frame cuts it off.
    pub cut_off: bool,
}

/// Camera of a photo.
#[derive(Clone, Debug, Serialize)]
pub struct CameraTruth {
    /// Position, mm; y is the height over the table.
    pub position_mm: [f32; 3],
    /// Direction from the target to the camera, degrees from +x towards +z.
    pub azimuth_deg: f32,
    /// Elevation, degrees.
    pub elevation_deg: f32,
    /// Turn about the line of sight, degrees.
    pub tilt_deg: f32,
    /// Focal length for a picture 36 mm wide.
    pub focal_mm: f32,
    /// Distance from the target, mm.
    pub distance_mm: f32,
}

/// Truth of a photo.
#[derive(Clone, Debug, Serialize)]
pub struct Truth {
    /// Path of the photo.
    pub photo: String,
    /// Seed of the shot.
    pub seed: u64,
    /// Width and height, pixels.
    pub size_px: [usize; 2],
    /// View in words.
    pub view: String,
    /// Light.
    pub light: String,
    /// Backdrop.
    pub backdrop: String,
    /// Camera.
    pub camera: CameraTruth,
    /// Development.
    pub development: Development,
    /// Middle of the grey card, pixels, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub card_px: Option<[f32; 2]>,
    /// Pieces, in the order of the masks.
    pub pieces: Vec<PieceTruth>,
}

/// A taken photo.
#[derive(Clone, Debug)]
pub struct Photo {
    /// The picture.
    pub picture: Picture,
    /// Masks, one a piece.
    pub masks: Vec<Vec<u8>>,
    /// Its truth.
    pub truth: Truth,
}

impl Photo {
    /// The photo as a JPEG file's bytes.
    pub fn jpeg(&self) -> Result<Vec<u8>, Error> {
        self.picture.jpeg(self.truth.development.jpeg_quality)
    }
}

/// A piece at a place on the table.
#[derive(Clone, Debug)]
pub struct Placed<'a> {
    /// The piece.
    pub piece: &'a Piece,
    /// Place, mm.
    pub at: V3,
    /// Turn, radians, added to the shot's.
    pub yaw_rad: f32,
    /// False for clutter.
    pub meant: bool,
}

impl<'a> Placed<'a> {
    /// A piece in the middle.
    pub fn middle(piece: &'a Piece) -> Placed<'a> {
        Placed {
            piece,
            at: v3(0.0, 0.0, 0.0),
            yaw_rad: 0.0,
            meant: true,
        }
    }
}

/// The scene of a shot: what stands where, seen how.
pub fn stage(placed: &[Placed], shot: &Shot) -> Scene {
    let root = Rng::new(shot.seed);
    let mut rng = root.fork("camera", 0);
    let elevation_rad = match shot.angle {
        Angle::Side => rng.range(2.0, 9.0),
        Angle::Oblique => rng.range(22.0, 42.0),
        Angle::Top => rng.range(72.0, 90.0),
    }
    .to_radians();
    let azimuth_rad = PI * 0.5;
    let items: Vec<Item> = placed
        .iter()
        .map(|p| {
            let base = if shot.handle_left { PI } else { 0.0 };
            let turn = rng.range(-1.0, 1.0) * shot.turn_rad;
            Item::new(
                Arc::clone(&p.piece.solid),
                Arc::clone(&p.piece.finish),
                p.at,
                base + turn + p.yaw_rad,
            )
        })
        .collect();
    // Where no ware is, the picture is of what there is, be it the table alone.
    let empty = placed.iter().all(|p| !p.meant);
    let mut hull: Vec<V3> = items
        .iter()
        .zip(placed)
        .filter(|(_, p)| p.meant || empty)
        .flat_map(|(i, _)| i.hull())
        .collect();
    if hull.is_empty() {
        hull.extend([v3(-150.0, 0.0, -100.0), v3(150.0, 120.0, 100.0)]);
    }
    let card = shot.card.then(|| {
        // Before the piece's middle, on the side where no handle is.
        let side = if shot.handle_left { 1.0 } else { -1.0 };
        let reach = hull.iter().fold(0.0f32, |m, p| m.max(side * p.x));
        let flat = placed.iter().all(|p| p.piece.flat);
        Card::grey([side * (reach + 34.0), 0.0], flat)
    });
    hull.extend(card.iter().flat_map(Card::corners));
    let middle = hull.iter().fold(V3::default(), |a, p| a + *p) * (1.0 / hull.len().max(1) as f32);
    let (width, height) = shot.size_px;
    let mut camera = Camera {
        azimuth_rad,
        elevation_rad,
        roll_rad: (rng.normal() * 0.8).to_radians(),
        target: middle,
        distance_mm: 900.0,
        focal_mm: rng.pick(&[50.0, 60.0, 85.0, 85.0, 105.0]) * rng.range(0.94, 1.06),
        width,
        height,
        shift: [0.0, 0.0],
    };
    camera.frame(&hull, shot.fill);
    let drift = 0.5 * (1.0 - shot.fill) * 0.35;
    camera.shift[0] += width as f32 * (shot.shift[0] + rng.range(-drift, drift));
    camera.shift[1] += height as f32 * (shot.shift[1] + rng.range(-drift, drift));
    let mut backdrop = Backdrop::named(shot.backdrop, &mut root.fork("backdrop", 0));
    let depth = hull.iter().fold(0.0f32, |m, p| m.max(-p.z));
    backdrop.far_mm += depth;
    backdrop.card = card;
    Scene {
        items,
        backdrop,
        rig: Rig::named(shot.rig, azimuth_rad, &mut root.fork("light", 0)),
        camera,
    }
}

/// Takes a photo. `development` overrides the usual one.
pub fn shoot(
    placed: &[Placed],
    shot: &Shot,
    name: &str,
    development: Option<Development>,
) -> Photo {
    let scene = stage(placed, shot);
    let frame = trace::render(&scene);
    let development = development
        .unwrap_or_else(|| Development::usual(&mut Rng::new(shot.seed).fork("development", 0)));
    let rgb = development.develop(&frame);
    let view = scene.camera.view();
    let (w, h) = (frame.width, frame.height);
    let pieces = placed
        .iter()
        .zip(&scene.items)
        .enumerate()
        .map(|(k, (p, item))| {
            let (width_mm, height_mm) = p.piece.solid.size_mm();
            let axis = |y: f32| item.world(v3(0.0, y, 0.0));
            let mask = frame.masks.get(k);
            PieceTruth {
                piece: p.piece.id.clone(),
                form: p.piece.form.clone(),
                shape: p.piece.shape.clone(),
                pattern: p.piece.pattern.clone(),
                glaze: p.piece.glaze.clone(),
                treatment: p.piece.treatment.clone(),
                mask: String::new(),
                meant: p.meant,
                width_mm,
                height_mm,
                yaw_deg: item.yaw_rad.to_degrees(),
                place_mm: [item.x_mm, item.z_mm],
                mm_per_px: scene.camera.mm_per_px(axis(height_mm * 0.5)),
                axis_foot_px: view.project(axis(0.0)),
                axis_top_px: view.project(axis(height_mm)),
                visible_px: mask.map_or(0.0, |m| {
                    m.iter().map(|&v| f32::from(v)).sum::<f32>() / 255.0
                }),
                cut_off: mask.is_some_and(|m| touches(m, w, h)),
            }
        })
        .collect();
    let c = &scene.camera;
    let truth = Truth {
        photo: name.to_string(),
        seed: shot.seed,
        size_px: [w, h],
        view: shot.angle.name().to_string(),
        light: scene.rig.name.to_string(),
        backdrop: scene.backdrop.name.to_string(),
        camera: CameraTruth {
            position_mm: [view.eye.x, view.eye.y, view.eye.z],
            azimuth_deg: c.azimuth_rad.to_degrees(),
            elevation_deg: c.elevation_rad.to_degrees(),
            tilt_deg: c.roll_rad.to_degrees(),
            focal_mm: c.focal_mm,
            distance_mm: c.distance_mm,
        },
        development,
        card_px: scene
            .backdrop
            .card
            .as_ref()
            .map(|card| view.project(card.middle)),
        pieces,
    };
    Photo {
        picture: Picture {
            width: w,
            height: h,
            rgb,
        },
        masks: frame.masks,
        truth,
    }
}

fn touches(mask: &[u8], w: usize, h: usize) -> bool {
    (0..w).any(|x| mask[x] > 127 || mask[(h - 1) * w + x] > 127)
        || (0..h).any(|y| mask[y * w] > 127 || mask[y * w + w - 1] > 127)
}
