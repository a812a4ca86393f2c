//! The zones of the piece in the reading: of the view that shows most of its sides.

use super::{Query, reading::SurfaceReading};
use crate::{
    describe::Described,
    surface::{self, Face, Surface},
};

/// What is seen of each view's surface.
pub(super) fn read(query: &Query<'_>) -> Vec<Option<Surface>> {
    query.views.iter().map(|(_, d)| of_view(d)).collect()
}

fn of_view(described: &Described) -> Option<Surface> {
    let colours = &described.colours;
    surface::read(
        &described.cutout,
        &described.outline,
        &described.pose,
        &colours.balance,
        colours.ground.is_some(),
    )
}

/// The first view that shows both sides, else the first that shows any.
pub(super) fn shown(surfaces: &[Option<Surface>]) -> Option<usize> {
    let sides = |surface: &Option<Surface>| surface.as_ref().map_or(0, |s| s.faces.len());
    (0..surfaces.len())
        .rev()
        .max_by_key(|i| sides(&surfaces[*i]))
}

/// The zones of that view.
pub(super) fn reading(query: &Query<'_>, surfaces: &[Option<Surface>]) -> Option<SurfaceReading> {
    let best = shown(surfaces)?;
    let surface = surfaces[best].as_ref()?;
    Some(SurfaceReading {
        view: query.views[best].1.pose.view,
        outside: surface.face(Face::Outside).cloned(),
        inside: surface.face(Face::Inside).cloned(),
        zones: surface.seen.clone(),
    })
}
