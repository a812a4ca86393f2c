//! Are the words kept: firm, likely, several, not in the set? In a studio world
//! with shapes and patterns left out, and on real photos.

mod combinations;
mod judged;

use std::{
    collections::{BTreeMap, BTreeSet},
    path::{Path, PathBuf},
};

use super::studio;
use crate::{
    Result,
    answer::{Answer, Piece},
    bench::Bench,
    labels::{self, Labels},
    line::Line,
    picture,
    program::Question,
    rng::Rng,
};
use judged::{Asked, Held};

/// Not the seed that certainty was chosen on (88003).
const WORLD: [&str; 16] = studio_world("77010", "5");

/// The studio's arguments for a world of 60 shapes and 40 decorations.
const fn studio_world(
    seed: &'static str,
    shapes_per_decoration: &'static str,
) -> [&'static str; 16] {
    [
        "world",
        "--seed",
        seed,
        "--shapes",
        "60",
        "--decorations",
        "40",
        "--glazes",
        "8",
        "--shapes-per-decoration",
        shapes_per_decoration,
        "--forms-per-pair",
        "3",
        "--views",
        "4",
        "--clutter=0.3",
    ]
}

/// Of every seven shapes and patterns, the one with this remainder is left out.
const LEFT_OUT: u32 = 3;

/// Pieces in the cabinets, and how many of that size are asked: one draw of pieces says
/// little of a promise. Three photos of each piece are added, and the fourth asked.
const CABINETS: [(usize, usize); 2] = [(30, 4), (300, 3)];

/// The world of the cabinet of 3,000 pieces: more shapes to a decoration, so that as many
/// are there when shapes and patterns are left out; and of how many fourth photos one is asked.
const THOUSANDS: usize = 3_000;
const THOUSANDS_WORLD: [&str; 16] = studio_world("77020", "36");
const THOUSANDS_ASKED_OF: usize = 7;

type Measure = fn(&mut Bench) -> Result<()>;

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    world(bench)?;
    let real: [(&str, Measure); 2] = [("cups", cups), ("ukbench", ukbench)];
    for (data, measure) in real {
        let name = format!("verdicts.{data}");
        match bench.data(data) {
            _ if !bench.wants(&name) => {}
            Ok(_) => measure(bench)?,
            Err(why) => bench.put(Line::skipped(name, why)),
        }
    }
    Ok(())
}

fn world(bench: &mut Bench) -> Result<()> {
    let names = CABINETS.map(|(pieces, _)| format!("verdicts.{pieces}"));
    let wants_cabinets = names.iter().any(|name| bench.wants(name));
    if !wants_cabinets && !bench.wants(combinations::NAME) {
        return Ok(());
    }
    let Some(dir) = studio::rendered(bench, "verdicts", &WORLD)? else {
        return Ok(());
    };
    let world = World::read(&dir)?;
    if wants_cabinets {
        let asked = world.asked();
        for (size, name) in CABINETS.into_iter().zip(&names) {
            cabinets(bench, name, &world, size, &asked)?;
        }
    }
    combinations::pairs(bench, &world)
}

/// A cabinet of three thousand pieces. Some 17,000 photos are rendered and 9,000 added,
/// which takes two cores an hour and a half, so it is measured only by its name.
pub(super) fn thousands(bench: &mut Bench) -> Result<()> {
    const NAME: &str = "thousands";
    if !bench.names(NAME) {
        return Ok(());
    }
    let Some(dir) = studio::rendered(bench, NAME, &THOUSANDS_WORLD)? else {
        return Ok(());
    };
    let world = World::read(&dir)?;
    let asked = world.asked();
    let asked: Vec<PathBuf> = asked.into_iter().step_by(THOUSANDS_ASKED_OF).collect();
    cabinets(bench, NAME, &world, (THOUSANDS, 1), &asked)
}

/// The rendered photos and their truth.
struct World {
    photos: Vec<PathBuf>,
    labels: BTreeMap<String, Labels>,
    labels_file: PathBuf,
}

impl World {
    fn read(dir: &Path) -> Result<Self> {
        let labels_file = dir.join("labels.csv");
        Ok(Self {
            photos: picture::list(&dir.join("photos"), "jpg")?,
            labels: labels::by_photo(&labels_file, "photo")?,
            labels_file,
        })
    }

    fn of(&self, photo: &Path) -> &Labels {
        &self.labels[picture::stem(photo).as_str()]
    }

    /// The photo of each piece that is never added.
    fn asked(&self) -> Vec<PathBuf> {
        let asked = self.photos.iter().filter(|p| is_asked(p));
        asked.cloned().collect()
    }

    /// The other photos of some pieces.
    fn added(&self, pieces: &BTreeSet<&str>) -> Vec<PathBuf> {
        self.photos
            .iter()
            .filter(|p| !is_asked(p) && pieces.contains(self.of(p)["piece"].as_str()))
            .cloned()
            .collect()
    }

    /// One photo of each piece that may be added.
    fn eligible(&self) -> impl Iterator<Item = &Labels> {
        self.photos
            .iter()
            .filter(|p| is_asked(p))
            .map(|photo| self.of(photo))
            .filter(|l| !is_left_out(&l["shape"]) && !is_left_out(&l["pattern"]))
    }

    fn cabinet(&self, bench: &mut Bench, added: &[PathBuf]) -> Result<PathBuf> {
        let file = self.labels_file.to_string_lossy();
        bench.cabinet("verdicts", added, &["--labels", &file])
    }
}

fn is_asked(photo: &Path) -> bool {
    picture::stem(photo).ends_with("-3")
}

fn is_left_out(label: &str) -> bool {
    let number: u32 = label[1..].parse().unwrap_or(0);
    number % 7 == LEFT_OUT
}

fn question<'a>(cabinet: &'a Path, photos: &'a [PathBuf]) -> Question<'a> {
    Question {
        cabinet,
        photos,
        args: &[],
        masks: false,
    }
}

/// `sets` cabinets of `n` pieces drawn from those that may be added, each asked `asked`;
/// the answers of all are counted together.
fn cabinets(
    bench: &mut Bench,
    name: &str,
    world: &World,
    (n, sets): (usize, usize),
    asked: &[PathBuf],
) -> Result<()> {
    if !bench.wants(name) {
        return Ok(());
    }
    let eligible: BTreeSet<&str> = world.eligible().map(|l| l["piece"].as_str()).collect();
    if eligible.len() < n {
        return Err(format!("the world has {} pieces to add, not {n}", eligible.len()).into());
    }
    let strangers = strangers(bench);
    let mut order: Vec<&str> = eligible.into_iter().collect();
    let mut rng = Rng::new(77_010);
    let mut pairs = combinations::Tally::default();
    let (mut near, mut far) = (Vec::new(), Vec::new());
    for _ in 0..sets {
        rng.shuffle(&mut order);
        let pieces: BTreeSet<&str> = order.iter().take(n).copied().collect();
        let added = world.added(&pieces);
        let cabinet = world.cabinet(bench, &added)?;
        let found = bench.ask("verdicts", &question(&cabinet, asked))?.answers;
        pairs.count(
            world,
            &combinations::Seen::new(world, &added),
            asked,
            &found,
        );
        let strange = bench.ask("verdicts-far", &question(&cabinet, &strangers))?;
        far.extend(strange.answers.into_iter().filter_map(first_piece));
        near.push((pieces, added, found));
    }
    let far: Vec<&Piece> = far.iter().collect();
    for level in ["form", "shape", "pattern"] {
        let mut cases = Vec::new();
        for (pieces, added, found) in &near {
            let in_set: BTreeSet<&str> =
                added.iter().map(|p| world.of(p)[level].as_str()).collect();
            cases.extend(asked.iter().zip(found).filter_map(|(photo, answer)| {
                let own = world.of(photo);
                Some(Asked {
                    piece: answer.pieces.first()?,
                    truth: &own[level],
                    held: match () {
                        () if pieces.contains(own["piece"].as_str()) => Held::Piece,
                        () if in_set.contains(own[level].as_str()) => Held::Label,
                        () => Held::Nothing,
                    },
                })
            }));
        }
        judged::put(bench, &format!("{name}.{level}"), level, &cases, &far);
    }
    pairs.put(bench, name);
    Ok(())
}

fn first_piece(answer: Answer) -> Option<Piece> {
    answer.pieces.into_iter().next()
}

/// Real photos of things that are no ware; none where they are not there.
fn strangers(bench: &Bench) -> Vec<PathBuf> {
    let photos = bench
        .data("ukbench")
        .map_err(Into::into)
        .and_then(|dir| picture::list(&dir, "jpg"));
    photos.unwrap_or_default().into_iter().step_by(4).collect()
}

/// Each of five cups is left out in turn: ten photos of every other are the set,
/// and ten others of all five are asked.
fn cups(bench: &mut Bench) -> Result<()> {
    let photos = picture::list(&bench.data("cups")?, "png")?;
    let cup = |photo: &Path| {
        let stem = picture::stem(photo);
        stem.split('-').next().unwrap_or_default().to_owned()
    };
    let cups: BTreeSet<String> = photos.iter().map(|p| cup(p)).collect();
    let at = |remainder: usize| -> Vec<PathBuf> {
        let photos = photos.iter().enumerate();
        photos
            .filter(|(i, _)| i % 4 == remainder)
            .map(|(_, p)| p.clone())
            .collect()
    };
    let mut answers = Vec::new();
    for left_out in &cups {
        let added: Vec<PathBuf> = at(0).into_iter().filter(|p| cup(p) != *left_out).collect();
        answers.extend(objects(bench, "verdicts-cups", &added, &at(2), &cup)?);
    }
    put_objects(bench, "verdicts.cups", &answers);
    Ok(())
}

/// Two photos of each of 80 objects are the set; the two others, and those of 20
/// more objects, are asked.
fn ukbench(bench: &mut Bench) -> Result<()> {
    let photos = picture::list(&bench.data("ukbench")?, "jpg")?;
    let number = |photo: &Path| {
        let place = photos.iter().position(|p| p == photo).unwrap_or_default();
        place / 4
    };
    let object = |photo: &Path| format!("object {}", number(photo));
    let half = |second: bool| -> Vec<PathBuf> {
        let photos = photos.iter().enumerate();
        photos
            .filter(|(i, _)| (i % 4 >= 2) == second)
            .map(|(_, p)| p.clone())
            .collect()
    };
    let added: Vec<PathBuf> = half(false)
        .into_iter()
        .filter(|p| number(p) % 5 != 4)
        .collect();
    let answers = objects(bench, "verdicts-ukbench", &added, &half(true), &object)?;
    put_objects(bench, "verdicts.ukbench", &answers);
    Ok(())
}

/// An answer, the object asked about, and whether the set holds it.
type Told = (Piece, String, Held);

/// Asks a set in which each object is a piece with a pattern of its own.
fn objects(
    bench: &mut Bench,
    set: &str,
    added: &[PathBuf],
    asked: &[PathBuf],
    object: &dyn Fn(&Path) -> String,
) -> Result<Vec<Told>> {
    let held: BTreeSet<String> = added.iter().map(|p| object(p)).collect();
    let mut csv = String::from("photo,piece,pattern\n");
    for photo in added {
        let object = object(photo);
        csv += &format!("{},{object},{object}\n", photo.display());
    }
    let key = crate::rng::fingerprint(&[csv.as_bytes()]);
    let file = bench.settings.cache.join(format!("{set}-{key}.csv"));
    std::fs::write(&file, csv)?;
    let file = file.to_string_lossy();
    let cabinet = bench.cabinet(set, added, &["--labels", &file])?;
    let found = bench.ask(
        set,
        &Question {
            cabinet: &cabinet,
            photos: asked,
            args: &[],
            masks: false,
        },
    )?;
    let told = asked
        .iter()
        .zip(found.answers)
        .filter_map(|(photo, answer)| {
            let object = object(photo);
            let held = match held.contains(&object) {
                true => Held::Piece,
                false => Held::Nothing,
            };
            Some((first_piece(answer)?, object, held))
        });
    Ok(told.collect())
}

fn put_objects(bench: &mut Bench, name: &str, told: &[Told]) {
    let cases: Vec<Asked<'_>> = told
        .iter()
        .map(|(piece, truth, held)| Asked {
            piece,
            truth,
            held: *held,
        })
        .collect();
    judged::put(bench, name, "pattern", &cases, &[]);
}
