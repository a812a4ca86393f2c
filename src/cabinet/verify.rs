//! Looking for damage.

use std::collections::HashMap;

use rusqlite::Connection;

use super::{Cabinet, files, generation, photos, schema, schema::broken};
use crate::{
    channel::Vector,
    error::{Error, Result},
};

/// What a problem means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Concern {
    /// Something of the catalogue is damaged: restore it from a copy.
    Catalogue,
    /// A feature is damaged: the photo has to be described again.
    Feature,
    /// A generation is damaged: it is made again at the next use.
    Generation,
    /// A kept copy of a photo is damaged or belongs to nothing.
    Copy,
}

/// Something that is not as it should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// What it means.
    pub concern: Concern,
    /// What was found and what mends it.
    pub text: String,
}

impl Cabinet {
    /// Looks through everything: the catalogue's structure and references, every
    /// feature, the generation's hashes and the copies of photos.
    ///
    /// # Errors
    /// [`crate::error::Kind::Cabinet`] if the catalogue cannot even be looked
    /// through.
    pub fn verify(&self) -> Result<Vec<Problem>> {
        let mut problems = Vec::new();
        self.here(self.reading(|c| {
            structure(c, &mut problems)?;
            features(c, &mut problems)?;
            self.copies(c, &mut problems)
        }))?;
        if let Some((_, folder)) = generation::list(&self.dir).first()
            && let Err(e) = generation::check(folder)
        {
            found(&mut problems, Concern::Generation, e.to_string());
        }
        Ok(problems)
    }

    fn copies(&self, c: &Connection, problems: &mut Vec<Problem>) -> Result<()> {
        for path in photos::all(&self.dir)? {
            let stem = path.file_stem().and_then(|s| s.to_str()).unwrap_or("");
            let known: bool = c
                .prepare_cached("SELECT count(*) > 0 FROM views WHERE sha256 = ?")
                .and_then(|mut query| query.query_row([stem], |row| row.get(0)))
                .map_err(broken)?;
            let text = if !known {
                "belongs to no photo of the cabinet; `footring cabinet compact` takes it away"
            } else if files::hash_file(&path)? != stem {
                "was altered since it was copied; delete it and add the photo again"
            } else {
                continue;
            };
            let text = format!("{}: {text}", path.display());
            found(problems, Concern::Copy, text);
        }
        Ok(())
    }
}

fn found(problems: &mut Vec<Problem>, concern: Concern, text: String) {
    problems.push(Problem { concern, text });
}

fn structure(c: &Connection, problems: &mut Vec<Problem>) -> Result<()> {
    let restore = "restore the cabinet from a copy";
    let mut query = c.prepare("PRAGMA integrity_check(20)").map_err(broken)?;
    let mut rows = query.query([]).map_err(broken)?;
    while let Some(row) = rows.next().map_err(broken)? {
        let text: String = row.get(0).map_err(broken)?;
        if text != "ok" {
            let text = format!("{}: {text}; {restore}", schema::CATALOGUE);
            found(problems, Concern::Catalogue, text);
        }
    }
    let mut query = c.prepare("PRAGMA foreign_key_check").map_err(broken)?;
    let mut rows = query.query([]).map_err(broken)?;
    let mut dangling: HashMap<(String, String), usize> = HashMap::new();
    while let Some(row) = rows.next().map_err(broken)? {
        let tables = (row.get(0).map_err(broken)?, row.get(2).map_err(broken)?);
        *dangling.entry(tables).or_default() += 1;
    }
    for ((table, parent), n) in dangling {
        let text = format!(
            "{}: {n} rows of {table} refer to rows of {parent} that are not there; {restore}",
            schema::CATALOGUE
        );
        found(problems, Concern::Catalogue, text);
    }
    let bare: i64 = c
        .query_row(
            "SELECT count(*) FROM pieces WHERE id NOT IN (SELECT piece_id FROM views)",
            [],
            |row| row.get(0),
        )
        .map_err(broken)?;
    if bare > 0 {
        let text = format!(
            "{}: {bare} pieces have no photo; {restore}",
            schema::CATALOGUE
        );
        found(problems, Concern::Catalogue, text);
    }
    let mut query = c
        .prepare(
            "SELECT p.name, l.label, l.value FROM piece_labels l JOIN pieces p ON p.id = l.piece_id
             UNION ALL
             SELECT v.photo, l.label, l.value FROM view_labels l JOIN views v ON v.id = l.view_id",
        )
        .map_err(broken)?;
    let mut rows = query.query([]).map_err(broken)?;
    while let Some(row) = rows.next().map_err(broken)? {
        let (name, label, value): (String, String, String) = (
            row.get(0).map_err(broken)?,
            row.get(1).map_err(broken)?,
            row.get(2).map_err(broken)?,
        );
        if value.is_empty() || super::labels::check(&label, &value).is_err() {
            let text =
                format!("{name}: label {label} has the impossible value \"{value}\"; set it again");
            found(problems, Concern::Catalogue, text);
        }
    }
    Ok(())
}

fn features(c: &Connection, problems: &mut Vec<Problem>) -> Result<()> {
    let mut query = c
        .prepare(
            "SELECT v.photo, f.channel, f.version, f.dim, f.vector
             FROM features f JOIN views v ON v.id = f.view_id",
        )
        .map_err(broken)?;
    let mut rows = query.query([]).map_err(broken)?;
    let mut lengths: HashMap<(String, u32), HashMap<i64, usize>> = HashMap::new();
    while let Some(row) = rows.next().map_err(broken)? {
        let photo: String = row.get(0).map_err(broken)?;
        let channel: String = row.get(1).map_err(broken)?;
        let version: u32 = row.get(2).map_err(broken)?;
        let dim: i64 = row.get(3).map_err(broken)?;
        let bytes = row
            .get_ref(4)
            .and_then(|v| Ok(v.as_blob()?))
            .map_err(broken)?;
        let problem = match Vector::from_bytes(bytes) {
            Err(e) => Some(Error::to_string(&e)),
            Ok(vector) if vector.dim() as i64 != dim => Some(format!(
                "a stored descriptor has {} entries instead of {dim}",
                vector.dim()
            )),
            Ok(_) => None,
        };
        if let Some(problem) = problem {
            let text = format!("{photo}: channel {channel}: {problem}; add the photo again");
            found(problems, Concern::Feature, text);
        }
        *lengths
            .entry((channel, version))
            .or_default()
            .entry(dim)
            .or_default() += 1;
    }
    for ((channel, version), lengths) in lengths {
        if lengths.len() > 1 {
            let text = format!(
                "channel {channel} of version {version} has descriptors of different lengths; describe the photos again"
            );
            found(problems, Concern::Feature, text);
        }
    }
    Ok(())
}
