//! Are the words kept: firm, likely, several, not in the set? In a studio world
//! with shapes and patterns left out, and on real photos.

mod judged;

use std::{
    collections::{BTreeMap, BTreeSet},
    path::{Path, PathBuf},
};

use super::studio;
use crate::{
    Result,
    answer::{self, Piece},
    bench::Bench,
    line::Line,
    picture,
    program::Question,
    rng::Rng,
};
use judged::{Asked, Held};

/// Not the seed that certainty was chosen on (88003).
const WORLD: [&str; 16] = [
    "world",
    "--seed",
    "77010",
    "--shapes",
    "60",
    "--decorations",
    "40",
    "--glazes",
    "8",
    "--shapes-per-decoration",
    "5",
    "--forms-per-pair",
    "3",
    "--views",
    "4",
    "--clutter=0.3",
];

/// Of every seven shapes and patterns, the one with this remainder is left out.
const LEFT_OUT: u32 = 3;

/// Pieces in the cabinets. Three photos of each are added, and the fourth asked.
const CABINETS: [usize; 2] = [30, 300];

type Measure = fn(&mut Bench) -> Result<()>;

/// Labels by column, of a photo.
type Labels = BTreeMap<String, String>;

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
    if !CABINETS
        .iter()
        .any(|n| bench.wants(&format!("verdicts.{n}")))
    {
        return Ok(());
    }
    let Some(dir) = studio::rendered(bench, "verdicts", &WORLD)? else {
        return Ok(());
    };
    let file = dir.join("labels.csv");
    let labels = labels(&file)?;
    let photos = picture::list(&dir.join("photos"), "jpg")?;
    let of = |photo: &Path| &labels[picture::stem(photo).as_str()];
    let is_left_out = |label: &str| {
        let number: u32 = label[1..].parse().unwrap_or(0);
        number % 7 == LEFT_OUT
    };
    let eligible: BTreeSet<&str> = photos
        .iter()
        .map(|photo| of(photo))
        .filter(|l| !is_left_out(&l["shape"]) && !is_left_out(&l["pattern"]))
        .map(|l| l["piece"].as_str())
        .collect();
    let mut order: Vec<&str> = eligible.into_iter().collect();
    Rng::new(77_010).shuffle(&mut order);
    let is_asked = |photo: &Path| picture::stem(photo).ends_with("-3");
    let asked: Vec<PathBuf> = photos.iter().filter(|p| is_asked(p)).cloned().collect();
    let strangers = strangers(bench);
    for n in CABINETS {
        let pieces: BTreeSet<&str> = order.iter().take(n).copied().collect();
        let added: Vec<PathBuf> = photos
            .iter()
            .filter(|p| !is_asked(p) && pieces.contains(of(p)["piece"].as_str()))
            .cloned()
            .collect();
        let file = file.to_string_lossy();
        let cabinet = bench.cabinet("verdicts", &added, &["--labels", &file])?;
        let question = |photos| Question {
            cabinet: &cabinet,
            photos,
            args: &[],
            masks: false,
        };
        let found = bench.ask("verdicts", &question(&asked))?;
        let far = bench.ask("verdicts-far", &question(&strangers))?;
        let far: Vec<&Piece> = far
            .answers
            .iter()
            .filter_map(|a| a.pieces.first())
            .collect();
        let pairs: BTreeSet<(&str, &str)> = added
            .iter()
            .map(|p| (of(p)["shape"].as_str(), of(p)["pattern"].as_str()))
            .collect();
        for level in ["form", "shape", "pattern"] {
            let in_set: BTreeSet<&str> = added.iter().map(|p| of(p)[level].as_str()).collect();
            let cases: Vec<Asked<'_>> = asked
                .iter()
                .zip(&found.answers)
                .filter_map(|(photo, answer)| {
                    let own = of(photo);
                    Some(Asked {
                        piece: answer.pieces.first()?,
                        truth: &own[level],
                        held: match () {
                            () if pieces.contains(own["piece"].as_str()) => Held::Piece,
                            () if in_set.contains(own[level].as_str()) => Held::Label,
                            () => Held::Nothing,
                        },
                    })
                })
                .collect();
            judged::put(bench, &format!("verdicts.{n}.{level}"), level, &cases, &far);
        }
        new_combinations(bench, n, &asked, &found.answers, &pairs, &of);
    }
    Ok(())
}

/// A new pair of a known shape and a known pattern, and pairs that are none.
fn new_combinations<'a>(
    bench: &mut Bench,
    n: usize,
    asked: &'a [PathBuf],
    answers: &[answer::Answer],
    pairs: &BTreeSet<(&str, &str)>,
    of: &dyn Fn(&Path) -> &'a Labels,
) {
    let shapes: BTreeSet<&str> = pairs.iter().map(|p| p.0).collect();
    let patterns: BTreeSet<&str> = pairs.iter().map(|p| p.1).collect();
    let (mut found, mut new, mut alarms, mut old) = (0, 0, 0, 0);
    for (photo, answer) in asked.iter().zip(answers) {
        let own = of(photo);
        let pair = (own["shape"].as_str(), own["pattern"].as_str());
        let said = answer
            .pieces
            .first()
            .is_some_and(|p| p.joined.combination == "new");
        if pairs.contains(&pair) {
            old += 1;
            alarms += usize::from(said);
        } else if shapes.contains(pair.0) && patterns.contains(pair.1) {
            new += 1;
            found += usize::from(said);
        }
    }
    bench.put(
        Line::share(format!("verdicts.{n}.new_found"), found, new)
            .at_least(0.90)
            .note("shape and pattern are in the set, not together: reported as a new combination"),
    );
    bench.put(
        Line::share(format!("verdicts.{n}.new_alarms"), alarms, old)
            .at_most(0.03)
            .note("shape and pattern are together in the set, and called a new combination"),
    );
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
            Some((answer.pieces.into_iter().next()?, object, held))
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

/// Labels by photo.
fn labels(file: &Path) -> Result<BTreeMap<String, Labels>> {
    let mut reader = csv::Reader::from_path(file)?;
    let headers = reader.headers()?.clone();
    reader
        .records()
        .map(|record| {
            let record = record?;
            let labels: Labels = headers
                .iter()
                .zip(&record)
                .map(|(column, value)| (column.to_owned(), value.to_owned()))
                .collect();
            let photo = labels.get("photo").map_or("", String::as_str);
            Ok((answer::stem(photo).to_owned(), labels))
        })
        .collect()
}
