//! Test worlds: random shapes crossed with random decorations, and scenes of several pieces.

use crate::backdrop::BACKDROPS;
use crate::develop::Development;
use crate::form::{FORMS, Form};
use crate::glaze::{Glaze, Ground, Treatment};
use crate::labels::{self, Row};
use crate::light::RIGS;
use crate::output::{self, Error};
use crate::pattern::Pattern;
use crate::photo::{Angle, Photo, Piece, Placed, Shot, shoot};
use crate::rng::Rng;
use crate::shape::Shape;
use crate::stranger::STRANGERS;
use crate::vec3::{srgb, v3};
use rayon::prelude::*;
use std::path::Path;

/// What a world holds.
#[derive(Clone, Debug)]
pub struct World {
    /// Seed.
    pub seed: u64,
    /// Number of shapes.
    pub shapes: usize,
    /// Number of decorations (patterns).
    pub decorations: usize,
    /// Number of glazes; 0 gives every decoration a ground of its own.
    pub glazes: usize,
    /// Photos of each piece.
    pub views: usize,
    /// Shapes that each decoration appears on.
    pub shapes_per_decoration: usize,
    /// Piece types; empty for all.
    pub forms: Vec<Form>,
    /// Piece types made of each (shape, decoration) pair.
    pub forms_per_pair: usize,
    /// Size of the square photos, pixels.
    pub size_px: usize,
    /// Chance of other things beside the piece.
    pub clutter: f32,
    /// Share of black-and-white photos.
    pub mono: f32,
}

/// A random ground.
pub fn random_ground(name: &str, rng: &mut Rng) -> Ground {
    let glaze = Glaze::random(name, rng);
    let pale = glaze.colour.luminance() > 0.6;
    let treatment = if pale {
        Treatment::AllOver
    } else {
        match rng.int(0, 5) {
            0 | 1 => Treatment::SlipOutside,
            2 => Treatment::TwoTone(srgb(rng.pick(&[0xe9e2d0, 0xd8c9a0, 0x9fb4b0, 0xe8d0c4]))),
            3 => Treatment::DippedFoot(rng.range(0.4, 0.7)),
            _ => Treatment::Dipped,
        }
    };
    Ground { glaze, treatment }
}

/// One piece of a world with its photos' seeds.
struct Job {
    piece: Piece,
    index: usize,
}

fn jobs(w: &World) -> Vec<Job> {
    let root = Rng::new(w.seed);
    let shapes: Vec<Shape> = (0..w.shapes)
        .map(|i| Shape::random(&format!("S{i:03}"), &mut root.fork("shape", i as u64)))
        .collect();
    let patterns: Vec<Pattern> = (0..w.decorations)
        .into_par_iter()
        .map(|i| Pattern::random(&format!("D{i:03}"), &mut root.fork("pattern", i as u64)))
        .collect();
    let forms: &[Form] = if w.forms.is_empty() { &FORMS } else { &w.forms };
    let mut plan = Vec::new();
    for (j, pattern) in patterns.iter().enumerate() {
        let ground_no = if w.glazes > 0 { j % w.glazes } else { j };
        let ground = random_ground(
            &format!("G{ground_no:03}"),
            &mut root.fork("glaze", ground_no as u64),
        );
        let mut rng = root.fork("pairs", j as u64);
        // Shapes in turn, so that every shape is used about equally often.
        let first = j * w.shapes_per_decoration + rng.int(0, 1) as usize;
        for k in 0..w.shapes_per_decoration.min(w.shapes) {
            let shape = &shapes[(first + k) % w.shapes];
            let start = rng.int(0, forms.len() as u32 - 1) as usize;
            for f in 0..w.forms_per_pair.clamp(1, forms.len()) {
                let form = forms[(start + f) % forms.len()];
                plan.push((shape, form, ground.clone(), pattern));
            }
        }
    }
    // Drawn in turn, built side by side.
    plan.into_par_iter()
        .enumerate()
        .map(|(index, (shape, form, ground, pattern))| Job {
            piece: Piece::ware(&format!("P{index:05}"), shape, form, &ground, pattern),
            index,
        })
        .collect()
}

/// A random shot of a piece.
pub fn random_shot(flat: bool, size_px: usize, rng: &mut Rng) -> Shot {
    let angle = match rng.int(0, 9) {
        0..=4 if flat => Angle::Top,
        0..=5 if !flat => Angle::Side,
        9 if !flat => Angle::Top,
        _ => Angle::Oblique,
    };
    let rig = if rng.chance(0.06) {
        "lamp"
    } else {
        rng.pick(&RIGS)
    };
    Shot {
        angle,
        rig,
        backdrop: rng.pick(&BACKDROPS),
        size_px: (size_px, size_px),
        fill: rng.range(0.58, 0.88),
        handle_left: rng.chance(0.3),
        turn_rad: if angle == Angle::Side { 0.3 } else { 0.7 },
        shift: [0.0, 0.0],
        card: false,
        seed: rng.bits(),
    }
}

fn photo_of(w: &World, job: &Job, view: usize) -> Photo {
    let mut rng = Rng::new(w.seed).fork("photo", (job.index * 1000 + view) as u64);
    let shot = random_shot(job.piece.flat, w.size_px, &mut rng);
    let mut development = Development::usual(&mut rng);
    development.exposure_ev *= 1.6;
    development.mono = rng.chance(w.mono);
    let mut placed = vec![Placed::middle(&job.piece)];
    let names = [rng.pick(&STRANGERS), rng.pick(&STRANGERS)];
    let others: Vec<Piece>;
    if rng.chance(w.clutter) {
        others = (0..)
            .zip(names)
            .map(|(i, name)| Piece::stranger(&format!("{}-x{i}", job.piece.id), name))
            .collect();
        let size = job.piece.solid.high.x.max(-job.piece.solid.low.x);
        for o in others.iter().take(rng.int(1, 2) as usize) {
            let side = if rng.chance(0.5) { 1.0 } else { -1.0 };
            let at = v3(
                side * (size + rng.range(45.0, 90.0)),
                0.0,
                -rng.range(40.0, 160.0),
            );
            // Two of them never stand in each other.
            if placed.iter().all(|p| (p.at - at).length() > 85.0) {
                placed.push(Placed {
                    piece: o,
                    at,
                    yaw_rad: 0.0,
                    meant: false,
                });
            }
        }
    }
    let name = format!("photos/{}-{view}.jpg", job.piece.id);
    shoot(&placed, &shot, &name, Some(development))
}

/// Writes a photo with its masks and gives the truth line.
fn write_photo(out: &Path, photo: &Photo, stem: &str, all_masks: bool) -> Result<String, Error> {
    output::write(&out.join(&photo.truth.photo), &photo.jpeg()?)?;
    let mut truth = photo.truth.clone();
    for (k, mask) in photo.masks.iter().enumerate() {
        if !truth.pieces[k].meant {
            continue;
        }
        let path = if photo.masks.len() == 1 || !all_masks {
            format!("masks/{stem}.png")
        } else {
            format!("masks/{stem}-{k}.png")
        };
        output::write_mask(
            &out.join(&path),
            photo.picture.width,
            photo.picture.height,
            mask,
        )?;
        truth.pieces[k].mask = path;
    }
    serde_json::to_string(&truth).map_err(|e| Error::new(format!("truth: {e}")))
}

/// Row of the labels for a piece of a photo.
pub fn row(photo: &str, view: &str, p: &Piece) -> Row {
    Row {
        photo: photo.to_string(),
        piece: p.id.clone(),
        form: p.form.clone(),
        shape: p.shape.clone(),
        pattern: p.pattern.clone(),
        glaze: p.glaze.clone(),
        treatment: p.treatment.clone(),
        view: view.to_string(),
        size_mm: Some(p.solid.size_mm()),
        ..Row::default()
    }
}

/// Makes a world in a folder; gives the number of photos.
pub fn make(w: &World, out: &Path) -> Result<usize, Error> {
    if w.shapes == 0 || w.decorations == 0 || w.views == 0 {
        return Err(Error::new(
            "a world needs at least one shape, one decoration and one view",
        ));
    }
    if w.size_px < 32 || w.size_px > 4096 {
        return Err(Error::new("--size must lie between 32 and 4096 pixels"));
    }
    let jobs = jobs(w);
    let made: Vec<(Row, String)> = jobs
        .par_iter()
        .flat_map(|job| (0..w.views).into_par_iter().map(move |v| (job, v)))
        .map(|(job, view)| {
            let photo = photo_of(w, job, view);
            let stem = format!("{}-{view}", job.piece.id);
            let line = write_photo(out, &photo, &stem, false)?;
            Ok((row(&photo.truth.photo, &photo.truth.view, &job.piece), line))
        })
        .collect::<Result<_, Error>>()?;
    let rows: Vec<Row> = made.iter().map(|m| m.0.clone()).collect();
    output::write(&out.join("labels.csv"), labels::csv(&rows).as_bytes())?;
    let lines: String = made.iter().map(|m| m.1.clone() + "\n").collect();
    output::write(&out.join("truth.jsonl"), lines.as_bytes())?;
    Ok(made.len())
}

/// Makes photos of several pieces on one table, each with its mask, and things among them that are no ware; gives the
/// number of photos.
pub fn scenes(
    seed: u64,
    pieces: usize,
    strangers: usize,
    count: usize,
    size_px: usize,
    out: &Path,
) -> Result<usize, Error> {
    if pieces > 8 || strangers > 8 {
        return Err(Error::new("--pieces and --strangers are at most 8"));
    }
    let lines: Vec<String> = (0..count)
        .into_par_iter()
        .map(|i| {
            let photo = scene_photo(seed, i, [pieces, strangers], size_px);
            write_photo(out, &photo, &format!("scene-{i:04}"), true)
        })
        .collect::<Result<_, Error>>()?;
    let text: String = lines.into_iter().map(|l| l + "\n").collect();
    output::write(&out.join("truth.jsonl"), text.as_bytes())?;
    Ok(count)
}

fn scene_photo(seed: u64, i: usize, [pieces, strangers]: [usize; 2], size_px: usize) -> Photo {
    let mut rng = Rng::new(seed).fork("scene", i as u64);
    let families: Vec<(Shape, Pattern, Ground)> = (0..2)
        .map(|k| {
            let r = &mut rng.fork("family", k);
            (
                Shape::random(&format!("S{i}.{k}"), r),
                Pattern::random(&format!("D{i}.{k}"), r),
                random_ground(&format!("G{i}.{k}"), r),
            )
        })
        .collect();
    let ware: Vec<Piece> = (0..pieces)
        .map(|k| {
            let (s, p, g) = &families[rng.int(0, 1) as usize];
            Piece::ware(&format!("P{i:04}.{k}"), s, rng.pick(&FORMS), g, p)
        })
        .collect();
    let others: Vec<Piece> = (0..strangers)
        .map(|k| Piece::stranger(&format!("P{i:04}.x{k}"), rng.pick(&STRANGERS)))
        .collect();
    let all = ware.iter().map(|piece| (piece, true));
    let all: Vec<(&Piece, bool)> = all
        .chain(others.iter().map(|piece| (piece, false)))
        .collect();
    let placed = table(&all, &mut rng);
    let mut shot = random_shot(false, size_px, &mut rng);
    shot.angle = if rng.chance(0.75) {
        Angle::Oblique
    } else {
        Angle::Top
    };
    shot.fill = rng.range(0.8, 0.95);
    shot.turn_rad = 1.2;
    shoot(&placed, &shot, &format!("photos/scene-{i:04}.jpg"), None)
}

/// Sets pieces on a table without letting them touch, in rough rows.
fn table<'a>(things: &[(&'a Piece, bool)], rng: &mut Rng) -> Vec<Placed<'a>> {
    let reach = |p: &Piece| {
        let s = &p.solid;
        s.high.x.max(-s.low.x).max(s.high.z).max(-s.low.z)
    };
    let mut placed: Vec<Placed> = Vec::new();
    for &(piece, meant) in things {
        let r = reach(piece);
        let mut best = v3(0.0, 0.0, 0.0);
        // The nearest free place to the middle of a wide table, by trial.
        let mut spread = 60.0;
        for _ in 0..400 {
            let a = rng.range(0.0, std::f32::consts::TAU);
            let d = rng.range(0.0, spread);
            let at = v3(a.cos() * d * 1.25, 0.0, a.sin() * d * 0.85);
            best = at;
            if placed
                .iter()
                .all(|q| (q.at - at).length() > r + reach(q.piece) + 6.0)
            {
                break;
            }
            spread += 3.0;
        }
        placed.push(Placed {
            piece,
            at: best,
            yaw_rad: rng.range(-3.0, 3.0),
            meant,
        });
    }
    placed
}

/// Renders and encodes photos of 512 pixels without writing them, for measuring the speed.
pub fn bench(photos: usize) -> Result<(), Error> {
    let w = World {
        seed: 11,
        shapes: 8,
        decorations: photos.div_ceil(2).max(1),
        glazes: 0,
        views: 1,
        shapes_per_decoration: 2,
        forms: Vec::new(),
        forms_per_pair: 1,
        size_px: 512,
        clutter: 0.0,
        mono: 0.0,
    };
    jobs(&w)
        .par_iter()
        .take(photos)
        .map(|job| photo_of(&w, job, 0).jpeg().map(|_| ()))
        .collect()
}
