//! The demo set: the ware of an invented pottery, photographed as a cabinet's owner would, and queries that show what
//! the trade meets.

mod plan;
mod queries;
mod ware;

use crate::labels::{self, Row};
use crate::output::{self, Error};
use crate::photo::{Angle, Photo, Piece, Placed, Shot, shoot};
use crate::rng::Rng;
use crate::world;
use rayon::prelude::*;
use std::path::Path;

/// Name of the pottery. It does not exist.
pub const POTTERY: &str = "Quellmoor Pottery";

/// Side of the reference photos, pixels.
const SIZE_PX: usize = 640;

/// A reference photo still to be taken.
struct Reference {
    piece: usize,
    view: usize,
    path: String,
}

fn references(pieces: &[plan::Entry]) -> Vec<Reference> {
    let mut out = Vec::new();
    for (i, e) in pieces.iter().enumerate() {
        for view in 0..e.views {
            let name = format!("reference/{}-{}.jpg", e.piece.id, view + 1);
            out.push(Reference {
                piece: i,
                view,
                path: name,
            });
        }
    }
    out
}

fn reference_shot(piece: &Piece, view: usize) -> Shot {
    let mut rng = Rng::new(20).fork(&piece.id, view as u64);
    let angle = match (piece.flat, view) {
        (true, 0) => Angle::Top,
        (false, 0) => Angle::Side,
        (false, 2) => Angle::Side,
        _ => Angle::Oblique,
    };
    let backdrop = match rng.int(0, 9) {
        0..=3 => "paper sweep",
        4..=6 => "plain table",
        7 => "wood",
        8 => "woven cloth",
        _ => "stone",
    };
    Shot {
        angle,
        rig: rng.pick(&[
            "softbox left",
            "softbox right",
            "two softboxes",
            "window",
            "overcast",
            "overhead",
        ]),
        backdrop,
        size_px: (SIZE_PX, SIZE_PX),
        fill: rng.range(0.7, 0.86),
        handle_left: view == 2,
        turn_rad: if angle == Angle::Side { 0.08 } else { 0.5 },
        shift: [0.0, 0.0],
        card: false,
        seed: rng.bits(),
    }
}

fn take(entry: &plan::Entry, r: &Reference) -> Photo {
    let shot = reference_shot(&entry.piece, r.view);
    shoot(&[Placed::middle(&entry.piece)], &shot, &r.path, None)
}

/// The first `n` reference photos: path below the set's folder, and the JPEG file's bytes.
pub fn first_photos(n: usize) -> Result<Vec<(String, Vec<u8>)>, Error> {
    let pieces = plan::pieces();
    references(&pieces)
        .iter()
        .take(n)
        .map(|r| Ok((r.path.clone(), take(&pieces[r.piece], r).jpeg()?)))
        .collect()
}

/// Writes the demo set; gives the number of reference photos, of queries, and the bytes of all photos.
pub fn make(out: &Path) -> Result<(usize, usize, usize), Error> {
    let pieces = plan::pieces();
    let references = references(&pieces);
    let made: Vec<(Row, usize)> = references
        .par_iter()
        .map(|r| {
            let e = &pieces[r.piece];
            let photo = take(e, r);
            let bytes = photo.jpeg()?;
            output::write(&out.join(&r.path), &bytes)?;
            let mut row: Row = world::row(&r.path, &photo.truth.view, &e.piece);
            row.maker = POTTERY.to_string();
            row.years = Some(e.years);
            row.mark = e.mark.to_string();
            row.notes = e.notes.to_string();
            Ok((row, bytes.len()))
        })
        .collect::<Result<_, Error>>()?;
    let rows: Vec<Row> = made.iter().map(|m| m.0.clone()).collect();
    output::write(&out.join("labels.csv"), labels::csv(&rows).as_bytes())?;
    let queries = queries::make(out)?;
    output::write(&out.join("queries.csv"), queries::csv(&queries).as_bytes())?;
    let bytes =
        made.iter().map(|m| m.1).sum::<usize>() + queries.iter().map(|q| q.bytes).sum::<usize>();
    Ok((rows.len(), queries.len(), bytes))
}
