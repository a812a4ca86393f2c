//! What is to be settled about each photo of some readings.

use std::{
    collections::{BTreeMap, HashSet},
    path::Path,
};

use crate::{
    cabinet::{LEVELS, Labels},
    cli::known::{Known, real_path},
    error::{Error, Kind, Result},
    identify::reading::{Certainty, Failure, Level, PieceReading, Reading, Status},
};

/// One photo, and what is said about it.
#[derive(Debug)]
pub(super) struct Job {
    /// As in the reading.
    pub(super) photo: String,
    /// The reading it is of; photos of one reading show one piece.
    pub(super) reading: usize,
    /// The piece that it is said to show.
    pub(super) piece: Option<String>,
    /// Why nothing can be done with it.
    pub(super) error: Option<Failure>,
    /// What was typed.
    typed: Labels,
    /// What the reading is firm about.
    read: Labels,
    /// For each level, what it is open between.
    between: BTreeMap<&'static str, Vec<String>>,
}

impl Job {
    /// Whether nothing is settled about it.
    pub(super) fn is_idle(&self) -> bool {
        self.typed.is_empty() && self.read.is_empty() && self.piece.is_none()
    }

    /// The labels to be set for a piece that `has` some already: what was typed
    /// counts, of the rest only what the piece has no label for. Also what it has
    /// and the reading sees otherwise.
    pub(super) fn labels(&self, has: &Labels) -> Result<(Labels, Labels)> {
        let (mut labels, mut kept) = (self.typed.clone(), Labels::new());
        for (label, value) in self
            .read
            .iter()
            .filter(|(l, _)| self.typed.get(l).is_none())
        {
            match has.get(label) {
                Some(old) if old != value => kept.set(label, old)?,
                _ => labels.set(label, value)?,
            }
        }
        Ok((labels, kept))
    }

    /// Levels that neither this nor the piece has a label for.
    pub(super) fn open(&self, has: &Labels) -> BTreeMap<&'static str, Vec<String>> {
        let is_open = |level: &str| {
            [&self.typed, &self.read, has]
                .iter()
                .all(|labels| labels.get(level).is_none())
        };
        LEVELS
            .into_iter()
            .filter(|level| is_open(level))
            .map(|level| (level, self.between.get(level).cloned().unwrap_or_default()))
            .collect()
    }
}

/// The photos of the readings, then those of the labels file that are in none.
/// `typed` holds for all of them, the labels file's row for its photo before it.
pub(super) fn jobs(
    readings: &[Reading],
    typed: &[(&str, &str)],
    known: &Known,
    piece: Option<&str>,
) -> Result<Vec<Job>> {
    let mut jobs = Vec::new();
    let mut seen = HashSet::new();
    for (number, reading) in readings.iter().enumerate() {
        let photos = match reading.views.as_slice() {
            [] => std::slice::from_ref(&reading.photo),
            several => several,
        };
        for photo in photos {
            seen.insert(real_path(Path::new(photo)));
            let mut job = Job {
                photo: photo.clone(),
                reading: number,
                piece: piece.map(str::to_owned),
                error: None,
                typed: Labels::new(),
                read: Labels::new(),
                between: BTreeMap::new(),
            };
            match piece_of(reading) {
                Ok(read) => decide(&mut job, read, typed, known)?,
                Err(failure) => job.error = Some(failure),
            }
            jobs.push(job);
        }
    }
    let missing = known
        .photos
        .iter()
        .filter(|p| !seen.contains(&real_path(p)));
    for (i, photo) in missing.enumerate() {
        let e = Error::new(Kind::Usage, "is in the labels file but in no reading")
            .in_file(photo)
            .remedy("identify it first, or take its line out");
        jobs.push(Job {
            photo: photo.display().to_string(),
            reading: readings.len() + i,
            piece: None,
            error: Some(Failure::from(&e)),
            typed: Labels::new(),
            read: Labels::new(),
            between: BTreeMap::new(),
        });
    }
    Ok(jobs)
}

/// Those of the photos that are named, if any are.
pub(super) fn chosen(jobs: Vec<Job>, names: &[String]) -> Result<Vec<Job>> {
    for name in names {
        if !jobs.iter().any(|job| job.photo == *name) {
            return Err(Error::new(
                Kind::Usage,
                format!("the readings hold no photo \"{name}\""),
            )
            .remedy("name it as the readings do"));
        }
    }
    let is_chosen = |job: &Job| names.is_empty() || names.contains(&job.photo);
    Ok(jobs.into_iter().filter(is_chosen).collect())
}

/// The one piece of a reading.
fn piece_of(reading: &Reading) -> std::result::Result<&PieceReading, Failure> {
    match (reading.status, reading.pieces.as_slice()) {
        (Status::Failed, _) => Err(reading.error.clone().unwrap_or_else(|| Failure {
            kind: Kind::Usage.code().to_owned(),
            message: format!("{}: could not be read", reading.photo),
        })),
        (Status::Ok, [piece]) => Ok(piece),
        (Status::Ok, pieces) => {
            let message = format!("shows {} pieces, and one can be settled", pieces.len());
            let e = Error::new(Kind::Usage, message)
                .in_file(&reading.photo)
                .remedy("crop the photo to one piece and identify that");
            Err(Failure::from(&e))
        }
    }
}

fn decide(job: &mut Job, read: &PieceReading, typed: &[(&str, &str)], known: &Known) -> Result<()> {
    for level in Level::ALL {
        let (candidates, certainty) = (read.levels.get(level), read.certainty.get(level));
        let named = match certainty {
            Certainty::Firm | Certainty::Likely => 1,
            Certainty::Several => read.settled.get(level).short_list.max(1),
            Certainty::Unknown => 0,
        };
        let between = candidates.iter().take(named).map(|c| c.label.clone());
        job.between.insert(level.name(), between.collect());
        if let (Certainty::Firm, Some(best)) = (certainty, candidates.first()) {
            job.read.set(level.name(), &best.label)?;
        }
    }
    for (label, value) in typed {
        // An empty value leaves the level open.
        job.read.set(label, "")?;
        job.typed.set(label, value)?;
    }
    if let Some((piece, labels, _)) = known.of(Path::new(&job.photo))? {
        for (label, value) in labels.iter() {
            job.typed.set(label, value)?;
        }
        job.piece = piece.or(job.piece.take());
    }
    job.typed.check_years().map_err(|e| e.in_file(&job.photo))
}
