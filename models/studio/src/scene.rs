//! A scene: pieces on a table, light, a camera.

use crate::backdrop::Backdrop;
use crate::camera::Camera;
use crate::decor::Finish;
use crate::light::Rig;
use crate::solid::{Solid, Surface};
use crate::vec3::{V3, v3};
use std::sync::Arc;

/// A piece in its place.
#[derive(Clone, Debug)]
pub struct Item {
    /// Geometry.
    pub solid: Arc<Solid>,
    /// Finish.
    pub finish: Arc<Finish>,
    /// Place of its axis on the table, mm.
    pub x_mm: f32,
    /// Place of its axis on the table, mm.
    pub z_mm: f32,
    /// Height of its base, mm (a cup stands on its saucer).
    pub y_mm: f32,
    /// Turn about its axis, radians, +x towards +z.
    pub yaw_rad: f32,
    turn: (f32, f32),
}

impl Item {
    /// A piece at a place, turned.
    pub fn new(solid: Arc<Solid>, finish: Arc<Finish>, at: V3, yaw_rad: f32) -> Item {
        Item {
            solid,
            finish,
            x_mm: at.x,
            y_mm: at.y,
            z_mm: at.z,
            yaw_rad,
            turn: (yaw_rad.cos(), yaw_rad.sin()),
        }
    }

    /// A point of the scene in the piece's frame.
    pub fn local(&self, p: V3) -> V3 {
        let (c, s) = self.turn;
        v3(p.x - self.x_mm, p.y - self.y_mm, p.z - self.z_mm).yaw((c, -s))
    }

    /// A direction of the scene in the piece's frame.
    pub fn local_dir(&self, d: V3) -> V3 {
        let (c, s) = self.turn;
        d.yaw((c, -s))
    }

    /// A direction of the piece in the scene.
    pub fn world_dir(&self, d: V3) -> V3 {
        d.yaw(self.turn)
    }

    /// A point of the piece in the scene.
    pub fn world(&self, p: V3) -> V3 {
        p.yaw(self.turn) + v3(self.x_mm, self.y_mm, self.z_mm)
    }

    /// Points for framing, in the scene.
    pub fn hull(&self) -> Vec<V3> {
        self.solid
            .hull()
            .into_iter()
            .map(|p| self.world(p))
            .collect()
    }

    /// Surface at a scene point, and its outward normal in the scene.
    pub fn surface(&self, p: V3) -> (Surface, V3) {
        let (surface, normal) = self.solid.surface(self.local(p));
        (surface, self.world_dir(normal))
    }
}

/// Everything a photo is made of.
#[derive(Clone, Debug)]
pub struct Scene {
    /// Pieces.
    pub items: Vec<Item>,
    /// Table and wall.
    pub backdrop: Backdrop,
    /// Light.
    pub rig: Rig,
    /// Camera.
    pub camera: Camera,
}
