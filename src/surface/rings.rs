//! A body of revolution as a stack of rings about its axis, each seen as an
//! ellipse, and from that where every point of its outside shows in the photo.
//!
//! Seen from far off at the elevation e, the ring of radius r about the point c of
//! the axis shows as an ellipse about c with half axes r across and r sin e along
//! the axis. All of them lie within the silhouette, and a ring that shows at the
//! side touches it: so the radius of the ring about c is that of the largest such
//! ellipse that fits. From nearby the foot is seen more steeply than the rim.

use crate::outline::{
    pose::{self, Pose, View},
    rows::turn,
};

/// The outside of a body of revolution.
#[derive(Clone, Debug)]
pub struct Rings {
    pivot: [f64; 2],
    lean_rad: f64,
    axis_px: f64,
    /// Place of each ring's middle along the axis, upright frame, pixels.
    middle_px: Vec<f64>,
    /// Sine of the elevation at which each ring is seen.
    sine: Vec<f64>,
    /// Radius of each ring, pixels.
    radius_px: Vec<f64>,
    /// Length along the wall from the first ring, pixels.
    arc_px: Vec<f64>,
    /// Whether the first ring is a rim that was seen as an ellipse.
    pub has_rim: bool,
}

/// A place on the outside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Angle about the axis, radians; 0 faces the camera, positive to the right.
    pub azimuth_rad: f64,
    /// Length along the wall from the rim (or the top), pixels.
    pub arc_px: f64,
}

/// Rings a body is cut into.
const RINGS: usize = 160;
/// Below this sine rings are taken for lines.
const LEVEL: f64 = 0.02;

impl Rings {
    /// The rings of a piece; `None` where its pose is not known well enough, and
    /// from above, where no wall shows.
    pub fn of(pose: &Pose) -> Option<Self> {
        let profile = pose.profile.as_ref()?;
        let elevation = pose.elevation_deg?.to_radians();
        if !matches!(pose.view, View::Side | View::Oblique) {
            return None;
        }
        let step = profile.step_px();
        let top = profile.rows.top_px + profile.first as f64 * step;
        let bottom = profile.rows.top_px + profile.end as f64 * step;
        let cap = pose.upper.filter(|_| pose.rim.is_some());
        let first = top + cap.map_or(0.0, |cap| cap.sag_px + cap.edge_px);
        let near = pose::nearness_rad(profile);
        let sine_at = |y: f64| {
            let down = ((y - first) / (bottom - first).max(1e-9)).clamp(0.0, 1.0);
            (elevation + near * down).sin().max(0.0)
        };
        // The silhouette, no finer than needed.
        let coarse = (profile.body().len() / 240).max(1);
        let silhouette: Vec<[f64; 2]> = std::iter::once([top, 0.0])
            .chain(
                profile
                    .body()
                    .iter()
                    .enumerate()
                    .step_by(coarse)
                    .map(|(i, half)| [top + (i as f64 + 0.5) * step, *half]),
            )
            .chain([[bottom, 0.0]])
            .collect();
        let widest = profile.widest_px();
        let fits = |middle: f64, sine: f64| -> f64 {
            if sine < LEVEL {
                let row = ((middle - top) / step).clamp(0.0, profile.body().len() as f64 - 1.0);
                return profile.body()[row as usize];
            }
            let reach = widest * sine;
            silhouette
                .iter()
                .filter(|[y, _]| (y - middle).abs() <= reach)
                .map(|[y, half]| half.powi(2) + ((y - middle) / sine).powi(2))
                .fold(f64::INFINITY, f64::min)
                .sqrt()
                .min(widest)
        };
        let mut rings = Self {
            pivot: profile.rows.pivot,
            lean_rad: profile.rows.lean_rad,
            axis_px: profile.axis_px,
            middle_px: Vec::with_capacity(RINGS),
            sine: Vec::with_capacity(RINGS),
            radius_px: Vec::with_capacity(RINGS),
            arc_px: Vec::with_capacity(RINGS),
            has_rim: cap.is_some(),
        };
        let pitch = (bottom - first) / RINGS as f64;
        if pitch <= 0.0 {
            return None;
        }
        for i in 0..RINGS {
            let middle = first + (i as f64 + 0.5) * pitch;
            let sine = sine_at(middle);
            let radius = fits(middle, sine);
            let arc = match (rings.radius_px.last(), rings.arc_px.last()) {
                (Some(r), Some(arc)) => {
                    let along = pitch / (1.0 - sine * sine).sqrt().max(0.2);
                    arc + along.hypot(radius - r)
                }
                _ => 0.0,
            };
            rings.middle_px.push(middle);
            rings.sine.push(sine);
            rings.radius_px.push(radius);
            rings.arc_px.push(arc);
            // The foot: from here on the end of the silhouette is all that limits a ring.
            if i > 0 && middle + sine * radius >= bottom - 1.0 {
                break;
            }
        }
        (rings.radius_px.len() >= 3).then_some(rings)
    }

    /// Number of rings.
    pub fn count(&self) -> usize {
        self.radius_px.len()
    }

    /// Length along the wall from the first ring to the last, pixels.
    pub fn wall_px(&self) -> f64 {
        self.arc_px.last().copied().unwrap_or(0.0)
    }

    /// Length along the wall from the first ring, pixels.
    pub fn arc_px(&self, ring: usize) -> f64 {
        self.arc_px[ring]
    }

    /// Radius of a ring, pixels.
    pub fn radius_px(&self, ring: usize) -> f64 {
        self.radius_px[ring]
    }

    /// The ring of the greatest radius.
    pub fn widest(&self) -> usize {
        (0..self.count())
            .max_by(|a, b| self.radius_px[*a].total_cmp(&self.radius_px[*b]))
            .unwrap_or(0)
    }

    /// The ring nearest to a length along the wall.
    pub fn ring_at(&self, arc_px: f64) -> usize {
        self.arc_px
            .partition_point(|a| *a < arc_px)
            .min(self.count() - 1)
    }

    /// Where a place on a ring shows, pixels of the cutout.
    pub fn project(&self, ring: usize, azimuth_rad: f64) -> [f64; 2] {
        let (sin, cos) = azimuth_rad.sin_cos();
        let r = self.radius_px[ring];
        let upright = [
            self.axis_px + r * sin,
            self.middle_px[ring] + r * cos * self.sine[ring],
        ];
        turn(upright, self.pivot, self.lean_rad)
    }

    /// A point of the cutout in the upright frame: from the axis to the right, and down.
    pub fn upright(&self, p: [f64; 2]) -> [f64; 2] {
        let [x, y] = turn(p, self.pivot, -self.lean_rad);
        [x - self.axis_px, y]
    }

    /// Cosine of the angle between the wall's normal and the line of sight, as far as
    /// its sign and rough size go: above 0 the wall faces the camera.
    pub fn faces(&self, ring: usize, azimuth_rad: f64) -> f64 {
        let last = self.count() - 1;
        let (a, b) = (ring.saturating_sub(1), (ring + 1).min(last));
        let sine = self.sine[ring];
        let cosine = (1.0 - sine * sine).sqrt();
        let up = (self.middle_px[a] - self.middle_px[b]).min(-1e-9) / cosine.max(0.2);
        // Change of the radius upwards.
        let slope = (self.radius_px[a] - self.radius_px[b]) / -up;
        (azimuth_rad.cos() * cosine - slope * sine) / slope.hypot(1.0)
    }
}

/// For one column of the upright frame: which ring shows how far down.
#[derive(Clone, Debug)]
pub struct Column {
    /// Lowest place (y) at which each ring and those above it show.
    reach_px: Vec<f64>,
}

impl Rings {
    /// What shows in the column `off_px` to the right of the axis.
    pub fn column(&self, off_px: f64) -> Column {
        let mut lowest = f64::NEG_INFINITY;
        let reach_px = (0..self.count())
            .map(|i| {
                let inner = self.radius_px[i].powi(2) - off_px * off_px;
                if inner >= 0.0 {
                    lowest = lowest.max(self.middle_px[i] + self.sine[i] * inner.sqrt());
                }
                lowest
            })
            .collect();
        Column { reach_px }
    }

    /// The place of the outside that shows at (`off_px`, `y_px`) of the upright frame.
    /// Of several rings the highest is in front, as the camera looks down.
    pub fn place(&self, column: &Column, off_px: f64, y_px: f64) -> Option<Place> {
        let ring = column.reach_px.partition_point(|y| *y < y_px);
        if ring >= self.count() || (ring == 0 && self.has_rim) {
            return None;
        }
        let r = self.radius_px[ring].max(1e-9);
        Some(Place {
            azimuth_rad: (off_px / r).clamp(-1.0, 1.0).asin(),
            arc_px: self.arc_px[ring],
        })
    }
}
