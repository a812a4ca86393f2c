//! Which zone of the piece a pixel shows, in the words of the trade.
//!
//! | zone | where |
//! |---|---|
//! | edge line | the lip itself: within 4 % of the rim's radius of the edge |
//! | rim band | below it outside (or inwards on flatware), as far as a quarter of the wall |
//! | verge | on flatware, where the rim turns into the well |
//! | shoulder band | of ware that closes towards the rim: from the rim band to the greatest diameter |
//! | body | the rest of the outside |
//! | foot | the lowest part of the outside: the foot ring where one shows, else 6 % of the wall |
//! | well, centre | from above: within 0.62 and 0.28 of the rim's radius |
//!
//! The shares are common practice (no source).

use serde::{Deserialize, Serialize};

use super::rings::{Column, Place, Rings};
use crate::outline::{
    Outline,
    parts::{self, Kind, Part, Side as Hand},
    pose::{Pose, View},
    rim::Ellipse,
};

/// A zone of a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Zone {
    /// The lip.
    EdgeLine,
    /// The band below the lip; the rim of flatware.
    RimBand,
    /// Where the rim of flatware turns into the well.
    Verge,
    /// Between rim and greatest diameter of ware that closes upwards.
    ShoulderBand,
    /// The wall.
    Body,
    /// What it stands on.
    Foot,
    /// The hollow of flatware, or of hollowware from above.
    Well,
    /// The middle of the well.
    Centre,
    /// The inside of hollowware seen at an angle.
    Inside,
    /// A handle.
    Handle,
    /// A spout.
    Spout,
    /// A knob.
    Finial,
}

/// A side of the piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Face {
    /// Away from the axis.
    Outside,
    /// Towards what the piece holds; of flatware the side that is eaten from.
    Inside,
}

impl Zone {
    /// All zones, in the order in which they are shown.
    pub const ALL: [Self; 12] = [
        Self::EdgeLine,
        Self::RimBand,
        Self::Verge,
        Self::ShoulderBand,
        Self::Body,
        Self::Foot,
        Self::Well,
        Self::Centre,
        Self::Inside,
        Self::Handle,
        Self::Spout,
        Self::Finial,
    ];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::EdgeLine => "edge line",
            Self::RimBand => "rim band",
            Self::Verge => "verge",
            Self::ShoulderBand => "shoulder band",
            Self::Body => "body",
            Self::Foot => "foot",
            Self::Well => "well",
            Self::Centre => "centre",
            Self::Inside => "inside",
            Self::Handle => "handle",
            Self::Spout => "spout",
            Self::Finial => "finial",
        }
    }
}

/// What a point of the photo shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// The zone.
    pub zone: Zone,
    /// The side, where the zone has one.
    pub face: Option<Face>,
}

/// How the zones of a piece lie in its photo.
#[derive(Clone, Debug)]
pub struct Zones {
    /// The outside, where it shows.
    pub rings: Option<Rings>,
    /// The mouth of hollowware, the face of flatware: pixels of the cutout.
    pub mouth: Option<Ellipse>,
    view: View,
    /// Handles, spouts and finials, and the profile that they stand out from.
    parts: Vec<Part>,
    half: Vec<f64>,
    /// What stands out further than this from the profile is no body.
    beside_px: f64,
    top_px: f64,
    step_px: f64,
    bottom_px: f64,
    foot_from_px: f64,
    shoulder_to_px: f64,
    /// What shows in each column of the upright frame, from `left_px` on.
    columns: Vec<Column>,
    left_px: f64,
}

/// The lip, as a share of the rim's radius.
const EDGE: f64 = 0.04;
/// The rim band, as a share of the wall.
const RIM_BAND: f64 = 0.25;
/// The foot, as a share of the wall, where no foot ring shows.
const FOOT: f64 = 0.06;
/// Of the rim's radius: where the rim of flatware ends, the verge, the centre.
const VERGE: [f64; 2] = [0.62, 0.70];
const CENTRE: f64 = 0.28;
/// What stands out from the body by less than this share of its greatest
/// half-width is body.
const BESIDE: f64 = 0.05;
/// A greatest diameter above this share of the wall is that of an open piece.
const CLOSES: f64 = 0.12;
/// From this elevation on the mouth of a piece is wide enough to be looked into.
const MOUTH_DEG: f64 = 12.0;

/// The foot is seen more steeply than the rim by this factor at least (157 of 161 rims
/// of the studio's series of seed 610).
const STEEPER: f64 = 1.05;

/// Whether the foot says that what was taken for the rim is one: from above, the foot is
/// seen more steeply than the rim. The shoulder of a jar or the top of a box, taken for a
/// rim, would be seen from higher up than the foot.
fn foot_agrees(pose: &Pose, elevation_deg: f64) -> bool {
    pose.lower
        .is_some_and(|foot| foot.elevation_deg() >= STEEPER * elevation_deg)
}

impl Zones {
    /// The zones of a piece; `None` where the pose is not known.
    pub fn of(outline: &Outline, pose: &Pose) -> Option<Self> {
        let bounds = outline.bounds();
        let mut zones = Self {
            rings: None,
            mouth: None,
            view: pose.view,
            parts: Vec::new(),
            half: Vec::new(),
            beside_px: 0.0,
            top_px: 0.0,
            step_px: 1.0,
            bottom_px: f64::from(bounds.bottom),
            foot_from_px: f64::INFINITY,
            shoulder_to_px: 0.0,
            columns: Vec::new(),
            left_px: 0.0,
        };
        let elevation = pose.elevation_deg.unwrap_or(0.0);
        match pose.view {
            View::Unknown => return None,
            View::Top => {
                zones.mouth = Some(pose.rim?);
                return Some(zones);
            }
            View::Side | View::Oblique => {
                let mouth = pose
                    .rim
                    .filter(|_| elevation >= MOUTH_DEG && foot_agrees(pose, elevation));
                zones.mouth = mouth;
            }
        }
        let (profile, rings) = (pose.profile.as_ref()?, Rings::of(pose)?);
        zones.parts = parts::find(profile);
        // Looked at from above, a piece shows its mouth or its lid: where neither is
        // found nothing tells the inside from the outside.
        let is_covered = zones.parts.iter().any(|part| part.kind == Kind::Finial);
        if zones.mouth.is_none() && elevation >= MOUTH_DEG && !is_covered {
            return None;
        }
        zones.half = (0..profile.rows.count())
            .map(|row| profile.half_near(row))
            .collect();
        zones.beside_px = BESIDE * zones.half.iter().copied().fold(0.0, f64::max);
        zones.top_px = profile.rows.top_px;
        zones.step_px = profile.step_px();
        zones.bottom_px = zones.top_px + profile.end as f64 * zones.step_px;
        let wall = rings.wall_px();
        let ring_px = zones
            .parts
            .iter()
            .find(|part| part.kind == Kind::FootRing)
            .map_or(FOOT * wall, |part| part.to_px.min(0.2 * wall));
        zones.foot_from_px = wall - ring_px;
        let widest = rings.arc_px(rings.widest());
        zones.shoulder_to_px = if widest > CLOSES * wall { widest } else { 0.0 };
        let reach = profile.widest_px().ceil();
        zones.left_px = -reach;
        zones.columns = (0..=2 * reach as usize)
            .map(|i| rings.column(i as f64 - reach))
            .collect();
        zones.rings = Some(rings);
        Some(zones)
    }

    /// From where the piece was seen.
    pub fn view(&self) -> View {
        self.view
    }

    /// The place of the outside that shows at a point of the cutout.
    pub fn outside(&self, p: [f64; 2]) -> Option<Place> {
        let [off, y] = self.rings.as_ref()?.upright(p);
        self.place(off, y)
    }

    fn place(&self, off_px: f64, y_px: f64) -> Option<Place> {
        let at = (off_px - self.left_px).round().max(0.0) as usize;
        let column = self.columns.get(at)?;
        self.rings.as_ref()?.place(column, off_px, y_px)
    }

    /// What a point of the cutout shows.
    pub fn spot(&self, p: [f64; 2]) -> Option<Spot> {
        let spot = |zone, face| Some(Spot { zone, face });
        let upright = self.rings.as_ref().map(|rings| rings.upright(p));
        if let Some([off, y]) = upright
            && let Some(zone) = self.part_at(off, y)
        {
            return spot(zone, None);
        }
        if let Some(mouth) = &self.mouth {
            let off = mouth.off(p);
            if self.view == View::Top {
                return match 1.0 + off {
                    r if r > 1.0 + EDGE => spot(Zone::Handle, None),
                    r if r > 1.0 - EDGE => spot(Zone::EdgeLine, Some(Face::Inside)),
                    r if r > VERGE[1] => spot(Zone::RimBand, Some(Face::Inside)),
                    r if r > VERGE[0] => spot(Zone::Verge, Some(Face::Inside)),
                    r if r > CENTRE => spot(Zone::Well, Some(Face::Inside)),
                    _ => spot(Zone::Centre, Some(Face::Inside)),
                };
            }
            if off < -EDGE {
                return spot(Zone::Inside, Some(Face::Inside));
            }
        }
        let (rings, [off, y]) = (self.rings.as_ref()?, upright?);
        let Some(place) = self.place(off, y) else {
            // The lip's own thickness, above the first ring and below the mouth.
            return self
                .mouth
                .and_then(|_| spot(Zone::EdgeLine, Some(Face::Outside)));
        };
        let wall = rings.wall_px();
        let zone = match place.arc_px {
            arc if rings.has_rim && arc < EDGE * rings.radius_px(0) => Zone::EdgeLine,
            arc if arc > self.foot_from_px => Zone::Foot,
            arc if arc < RIM_BAND * wall => Zone::RimBand,
            arc if arc < self.shoulder_to_px => Zone::ShoulderBand,
            _ => Zone::Body,
        };
        spot(zone, Some(Face::Outside))
    }

    /// The handle, spout or finial at a place of the upright frame.
    fn part_at(&self, off_px: f64, y_px: f64) -> Option<Zone> {
        let row = ((y_px - self.top_px) / self.step_px).floor();
        let half = self.half.get(row.max(0.0) as usize).copied().unwrap_or(0.0);
        let height = self.bottom_px - y_px;
        let within = |part: &Part| (part.from_px..=part.to_px).contains(&height);
        if let Some(part) = self.parts.iter().find(|p| p.kind == Kind::Finial)
            && within(part)
        {
            return Some(Zone::Finial);
        }
        if off_px.abs() < half + self.beside_px {
            return None;
        }
        let hand = if off_px < 0.0 {
            Hand::Left
        } else {
            Hand::Right
        };
        let part = self
            .parts
            .iter()
            .find(|part| part.side == hand && within(part));
        Some(match part.map(|part| part.kind) {
            Some(Kind::Spout) => Zone::Spout,
            _ => Zone::Handle,
        })
    }
}
