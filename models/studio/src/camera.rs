//! The camera: a pinhole at a height and a distance, looking at a point of the table's space.

use crate::vec3::{V3, v3};

/// A perspective camera.
#[derive(Clone, Debug)]
pub struct Camera {
    /// Direction from the target to the camera, radians from +x towards +z; π/2 looks along −z.
    pub azimuth_rad: f32,
    /// Height of the camera over the level of the target, as an angle.
    pub elevation_rad: f32,
    /// Turn about the line of sight, radians; positive turns the picture clockwise.
    pub roll_rad: f32,
    /// Point looked at, mm.
    pub target: V3,
    /// Distance from the target, mm.
    pub distance_mm: f32,
    /// Focal length for a picture 36 mm wide.
    pub focal_mm: f32,
    /// Width of the picture, pixels.
    pub width: usize,
    /// Height of the picture, pixels.
    pub height: usize,
    /// Shift of the picture, pixels (right, down).
    pub shift: [f32; 2],
}

/// A camera with its axes worked out.
#[derive(Clone, Debug)]
pub struct View {
    /// Position, mm.
    pub eye: V3,
    right: V3,
    up: V3,
    forward: V3,
    focal_px: f32,
    centre: [f32; 2],
}

impl Camera {
    /// Focal length in pixels.
    pub fn focal_px(&self) -> f32 {
        self.focal_mm / 36.0 * self.width as f32
    }

    /// Millimetres a pixel shows at the distance of `p`.
    pub fn mm_per_px(&self, p: V3) -> f32 {
        let v = self.view();
        (p - v.eye).dot(v.forward) / self.focal_px()
    }

    /// The camera with its axes.
    pub fn view(&self) -> View {
        let (ca, sa) = (self.azimuth_rad.cos(), self.azimuth_rad.sin());
        let (ce, se) = (self.elevation_rad.cos(), self.elevation_rad.sin());
        let back = v3(ce * ca, se, ce * sa);
        let forward = -back;
        // Taken from the azimuth, so that a camera straight above still knows which way is up.
        let right = v3(sa, 0.0, -ca);
        let up = right.cross(forward);
        let (cr, sr) = (self.roll_rad.cos(), self.roll_rad.sin());
        View {
            eye: self.target + back * self.distance_mm,
            right: right * cr + up * sr,
            up: up * cr - right * sr,
            forward,
            focal_px: self.focal_px(),
            centre: [
                self.width as f32 * 0.5 + self.shift[0],
                self.height as f32 * 0.5 + self.shift[1],
            ],
        }
    }

    /// Moves the camera back or forth until `points` fill `share` of the picture's tighter side, and centres them.
    pub fn frame(&mut self, points: &[V3], share: f32) {
        let (w, h) = (self.width as f32, self.height as f32);
        self.shift = [0.0, 0.0];
        for _ in 0..8 {
            let view = self.view();
            let (mut lo, mut hi) = ([f32::MAX; 2], [f32::MIN; 2]);
            for p in points {
                let q = view.project(*p);
                for k in 0..2 {
                    lo[k] = lo[k].min(q[k]);
                    hi[k] = hi[k].max(q[k]);
                }
            }
            let fill = ((hi[0] - lo[0]) / w).max((hi[1] - lo[1]) / h);
            if !fill.is_finite() || fill <= 0.0 {
                return;
            }
            self.distance_mm = (self.distance_mm * fill / share).clamp(60.0, 20_000.0);
            self.shift = [
                self.shift[0] + w * 0.5 - 0.5 * (lo[0] + hi[0]),
                self.shift[1] + h * 0.5 - 0.5 * (lo[1] + hi[1]),
            ];
        }
    }
}

impl View {
    /// Unit direction through a picture position (pixels; pixel centres at .5).
    pub fn ray(&self, x: f32, y: f32) -> V3 {
        let u = (x - self.centre[0]) / self.focal_px;
        let v = (self.centre[1] - y) / self.focal_px;
        (self.forward + self.right * u + self.up * v).unit()
    }

    /// Picture position of a point, pixels.
    pub fn project(&self, p: V3) -> [f32; 2] {
        let q = p - self.eye;
        let k = self.focal_px / q.dot(self.forward).max(1.0);
        [
            self.centre[0] + q.dot(self.right) * k,
            self.centre[1] - q.dot(self.up) * k,
        ]
    }

    /// Width of a pixel at a distance along a ray, mm.
    pub fn footprint_mm(&self, t_mm: f32) -> f32 {
        t_mm / self.focal_px
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rays_and_projection_agree() {
        for elevation_rad in [0.0f32, 0.5, std::f32::consts::FRAC_PI_2] {
            let c = Camera {
                azimuth_rad: 1.2,
                elevation_rad,
                roll_rad: 0.1,
                target: v3(0.0, 40.0, 0.0),
                distance_mm: 700.0,
                focal_mm: 85.0,
                width: 512,
                height: 400,
                shift: [3.0, -8.0],
            };
            let v = c.view();
            let p = v.eye + v.ray(100.25, 300.75) * 650.0;
            let q = v.project(p);
            assert!(
                (q[0] - 100.25).abs() < 0.02 && (q[1] - 300.75).abs() < 0.02,
                "{q:?}"
            );
        }
    }
}
