//! What `footring outline` says of one photo, in the form of the schema
//! `footring.outline/1` (documented in the README). Field names and order here
//! *are* the schema. Lengths are pixels of the upright photo.

mod rows;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::{
    describe::Described,
    identify::reading::{Failure, Status},
    outline::{
        Ring, fourier,
        measure::{self, Length, Measures},
        moments,
        parts::{self, Kind, Side},
        pose::{Pose, View},
    },
    warning::Warning,
};

pub use rows::{csv, table};

/// Name and version of the schema.
pub const SCHEMA: &str = "footring.outline/1";
/// Points of the outer contour that are written.
const POINTS: usize = 400;
/// Harmonics that are written.
const HARMONICS: usize = 12;

/// The answer for one photo.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Sheet {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// The photo as given on the command line.
    pub photo: String,
    /// Whether it could be read.
    pub status: Status,
    /// Why not, when it could not.
    pub error: Option<Failure>,
    /// What to take with care.
    pub warnings: Vec<Warning>,
    /// The piece; absent where the photo failed.
    pub piece: Option<Piece>,
}

/// Outline, pose and measures of a piece.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Piece {
    /// From where it was seen.
    pub view: View,
    /// Elevation of the camera above the rim's plane, degrees, and its
    /// uncertainty.
    pub elevation_deg: Option<[f64; 2]>,
    /// Lean of the axis in the photo, degrees clockwise.
    pub lean_deg: Option<f64>,
    /// Share of the contour that is symmetrical about the axis, 0 to 1.
    pub symmetry: Option<f64>,
    /// The rim's ellipse.
    pub rim_ellipse: Option<Rim>,
    /// Millimetres a pixel, with its uncertainty; absent without a known length.
    pub mm_per_px: Option<[f64; 2]>,
    /// Measures by name.
    pub measures: BTreeMap<String, Measure>,
    /// Ratios by name, each with its uncertainty.
    pub ratios: BTreeMap<String, [f64; 2]>,
    /// Angle of the wall from upright, degrees, with its uncertainty.
    pub wall_angle_deg: Option<[f64; 2]>,
    /// Volume of the body turned about its axis, millilitres, with its
    /// uncertainty: an upper bound of the capacity.
    pub volume_ml: Option<[f64; 2]>,
    /// Handles, spout, finial, foot ring.
    pub parts: Vec<Part>,
    /// Sharp bends of the wall: height, half-width (pixels), turn (degrees).
    pub corners: Vec<[f64; 3]>,
    /// The wall, from the foot up: half-width and height, pixels.
    pub profile: Vec<[f64; 2]>,
    /// Area and perimeter of the outline, pixels.
    pub area_px2: f64,
    /// Length of the outer contour.
    pub perimeter_px: f64,
    /// Hu's seven moments of the filled region.
    pub hu: [f64; 7],
    /// Elliptic Fourier coefficients a, b, c, d, freed of size, turn and start.
    pub elliptic_fourier: Vec<[f64; 4]>,
    /// The outer contour, counter-clockwise as seen.
    pub outer: Ring,
    /// Holes, clockwise as seen.
    pub holes: Vec<Ring>,
}

/// A length.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Measure {
    /// Pixels.
    pub px: f64,
    /// Uncertainty, pixels.
    pub error_px: f64,
    /// Millimetres, where a length is known.
    pub mm: Option<f64>,
    /// Uncertainty, millimetres.
    pub error_mm: Option<f64>,
}

/// An ellipse in the photo.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rim {
    /// Centre.
    pub centre_px: [f64; 2],
    /// Half axes, major and minor.
    pub half_axes_px: [f64; 2],
    /// Turn of the major axis from level, degrees clockwise.
    pub turn_deg: f64,
}

/// A part of the piece.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// What it is.
    pub kind: Kind,
    /// Where it is, as seen.
    pub side: Side,
    /// How far it stands out; of finial and foot ring the diameter.
    pub reach_px: f64,
    /// Heights of its lower and upper end above the foot.
    pub heights_px: [f64; 2],
    /// Area of its hole; 0 without.
    pub hole_px2: f64,
}

/// A length that is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Known {
    /// Overall width of the piece as photographed, handle included, mm.
    pub width_mm: Option<f64>,
    /// Overall height of the piece, mm.
    pub height_mm: Option<f64>,
    /// A scale bar in the plane of the axis: its ends in the upright photo,
    /// pixels, and its length, mm.
    pub bar: Option<[f64; 5]>,
}

/// A photo that could not be read.
pub fn failed(photo: String, error: &crate::error::Error) -> Sheet {
    Sheet {
        schema: SCHEMA.to_owned(),
        photo,
        status: Status::Failed,
        error: Some(Failure::from(error)),
        warnings: Vec::new(),
        piece: None,
    }
}

/// Measures of the body, and millimetres per pixel of the *cutout* with their
/// uncertainty.
pub fn measured(described: &Described, known: &Known) -> (Option<Measures>, Option<[f64; 2]>) {
    let outline = &described.outline;
    let edge = measure::softness_px(described.cutout.mask.as_raw(), outline.perimeter_px());
    let measures = measure::measure(&described.pose, edge);
    let scale = scale(described, known, measures.as_ref(), edge);
    (measures, scale)
}

fn scale(
    described: &Described,
    known: &Known,
    measures: Option<&Measures>,
    edge: f64,
) -> Option<[f64; 2]> {
    let bounds = upright(&described.pose)
        .unwrap_or(&described.outline)
        .bounds();
    let k = f64::from(described.cutout.photo_per_working);
    let width = known
        .width_mm
        .map(|mm| (mm, f64::from(bounds.width()), 1.4 * edge));
    let height = known.height_mm.map(|mm| match measures {
        Some(m) => (mm, m.height.px, m.height.error_px),
        None => (mm, f64::from(bounds.height()), 1.4 * edge),
    });
    // The ends of a bar are set by hand, to a pixel of the photo.
    let bar = known
        .bar
        .map(|[x0, y0, x1, y1, mm]| (mm, (x1 - x0).hypot(y1 - y0) / k, 1.4 / k));
    let found: Vec<[f64; 2]> = [bar, width, height]
        .into_iter()
        .flatten()
        .filter(|(mm, px, _)| *mm > 0.0 && *px > 0.0)
        .map(|(mm, px, error)| [mm / px, mm / px * error / px])
        .collect();
    // Several known lengths: the mean, and how far they part.
    let n = found.len() as f64;
    let mean = found.iter().map(|s| s[0]).sum::<f64>() / n;
    let part = found
        .iter()
        .map(|s| (s[0] - mean).abs())
        .fold(0.0, f64::max);
    let error = found.iter().map(|s| s[1]).fold(part, f64::max);
    (!found.is_empty()).then_some([mean, error])
}

/// The outline with its axis upright, where there is an axis.
fn upright(pose: &Pose) -> Option<&crate::outline::Outline> {
    let told = matches!(pose.view, View::Side | View::Oblique);
    pose.profile
        .as_ref()
        .filter(|_| told)
        .map(|p| &p.rows.outline)
}

/// The sheet of a photo that was read. `measures` and `scale` come from
/// [`measured`].
pub fn sheet(
    photo: String,
    described: &Described,
    measures: Option<&Measures>,
    scale: Option<[f64; 2]>,
) -> Sheet {
    let pose = &described.pose;
    let outline = &described.outline;
    let k = f64::from(described.cutout.photo_per_working);
    let told = pose.elevation_deg.is_some();
    let as_measure = |l: Length| Measure {
        px: tidy(l.px * k),
        error_px: tidy(l.error_px * k),
        mm: scale.map(|[mm, _]| tidy(l.px * mm)),
        error_mm: scale.map(|[mm, e]| tidy((l.error_px * mm).hypot(l.px * e))),
    };
    let edge = measure::softness_px(described.cutout.mask.as_raw(), outline.perimeter_px());
    let bounds = upright(pose).unwrap_or(outline).bounds();
    let overall = |px: f32| Length {
        px: f64::from(px),
        error_px: 1.4 * edge,
    };
    let mut lengths = vec![
        ("overall_width", Some(overall(bounds.width()))),
        ("overall_height", Some(overall(bounds.height()))),
    ];
    let mut ratios = BTreeMap::new();
    if let Some(m) = measures {
        lengths.extend([
            ("height", Some(m.height)),
            ("rim_diameter", m.rim),
            ("foot_diameter", m.foot),
            ("greatest_diameter", Some(m.widest)),
            ("neck_diameter", m.neck),
            ("stem_diameter", m.stem),
        ]);
        for (name, over, under) in [
            ("height_to_greatest", Some(m.height), Some(m.widest)),
            ("rim_to_greatest", m.rim, Some(m.widest)),
            ("foot_to_greatest", m.foot, Some(m.widest)),
            ("foot_to_rim", m.foot, m.rim),
            ("neck_to_greatest", m.neck, Some(m.widest)),
        ] {
            if let (Some(a), Some(b)) = (over, under) {
                let ratio = a.px / b.px.max(1e-9);
                let error = (a.error_px / a.px.max(1e-9)).hypot(b.error_px / b.px.max(1e-9));
                ratios.insert(name.to_owned(), [tidy(ratio), tidy(ratio * error)]);
            }
        }
        let at = m.widest_at_px / m.height.px.max(1e-9);
        ratios.insert(
            "greatest_at_height".to_owned(),
            [tidy(at), tidy(m.height.error_px / m.height.px.max(1e-9))],
        );
    } else if pose.view == View::Top
        && let Some(rim) = &pose.rim
    {
        let across = |half: f64| Length {
            px: 2.0 * half,
            error_px: (2.0 * edge).hypot(0.008 * half),
        };
        lengths.push(("rim_diameter", Some(across(rim.major_px))));
        lengths.push(("rim_least_diameter", Some(across(rim.minor_px))));
    }
    let draft = outline.thinned(POINTS).mapped([0.0, 0.0], k as f32);
    let harmonics = fourier::normalised(&fourier::coefficients(&outline.outer, HARMONICS));
    Sheet {
        schema: SCHEMA.to_owned(),
        photo,
        status: Status::Ok,
        error: None,
        warnings: described.warnings.clone(),
        piece: Some(Piece {
            view: pose.view,
            elevation_deg: pose
                .elevation_deg
                .map(|e| [tidy(e), tidy(pose.elevation_error_deg)]),
            lean_deg: pose
                .axis
                .filter(|_| told && pose.view != View::Top)
                .map(|a| tidy(a.lean_rad.to_degrees())),
            symmetry: pose.axis.map(|a| tidy(a.support)),
            rim_ellipse: pose.rim.map(|e| Rim {
                centre_px: e.centre_px.map(|v| tidy(v * k)),
                half_axes_px: [e.major_px, e.minor_px].map(|v| tidy(v * k)),
                turn_deg: tidy(e.turn_rad.to_degrees()),
            }),
            mm_per_px: scale.map(|s| s.map(|v| v / k)),
            measures: lengths
                .into_iter()
                .filter_map(|(name, l)| Some((name.to_owned(), as_measure(l?))))
                .collect(),
            ratios,
            wall_angle_deg: measures.and_then(|m| m.wall_angle_deg).map(|a| a.map(tidy)),
            volume_ml: measures.zip(scale).map(|(m, [mm, e])| {
                let [v, ve] = m.volume_px3;
                let ml = v * mm.powi(3) / 1000.0;
                [tidy(ml), tidy(ml * (ve / v).hypot(3.0 * e / mm))]
            }),
            parts: pose
                .profile
                .as_ref()
                .filter(|_| measures.is_some())
                .map(|p| parts::find(p).iter().map(|p| part(p, k)).collect())
                .unwrap_or_default(),
            corners: measures.map_or_else(Vec::new, |m| {
                m.corners
                    .iter()
                    .map(|c| [c.height_px * k, c.half_px * k, c.turn_deg].map(tidy))
                    .collect()
            }),
            profile: measures.map_or_else(Vec::new, |m| {
                m.wall.iter().map(|p| p.map(|v| tidy(v * k))).collect()
            }),
            area_px2: tidy(outline.area_px2() * k * k),
            perimeter_px: tidy(outline.perimeter_px() * k),
            hu: moments::hu(outline),
            elliptic_fourier: harmonics,
            outer: draft.outer,
            holes: draft.holes,
        }),
    }
}

fn part(p: &parts::Part, k: f64) -> Part {
    Part {
        kind: p.kind,
        side: p.side,
        reach_px: tidy(p.reach_px * k),
        heights_px: [p.from_px, p.to_px].map(|v| tidy(v * k)),
        hole_px2: tidy(p.hole_px2 * k * k),
    }
}

/// Three decimals are more than any photo can bear.
fn tidy(v: f64) -> f64 {
    (v * 1e3).round() / 1e3 + 0.0
}
