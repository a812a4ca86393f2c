//! Answers as `identify --format jsonl` writes them, as far as they matter here.

use std::{
    fs::File,
    io::{BufRead, BufReader},
    path::Path,
};

use serde::Deserialize;

use crate::Result;

/// Names of the channels.
pub(crate) const CHANNELS: [&str; 5] = ["outline", "form", "decoration", "colour", "general"];

#[derive(Debug, Deserialize)]
pub(crate) struct Answer {
    pub(crate) photo: String,
    pub(crate) status: String,
    #[serde(default)]
    pub(crate) pieces: Vec<Piece>,
}

#[derive(Debug, Deserialize)]
pub(crate) struct Piece {
    pub(crate) matches: Vec<Match>,
    pub(crate) levels: Levels<Vec<Candidate>>,
    pub(crate) certainty: Levels<String>,
    #[serde(default)]
    pub(crate) settled: Levels<Settled>,
    #[serde(default)]
    pub(crate) joined: Joined,
    pub(crate) colour: Option<Colour>,
    #[serde(default)]
    pub(crate) treatment: Treatment,
}

/// How colour sits.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Treatment {
    pub(crate) certainty: String,
    pub(crate) candidates: Vec<String>,
}

/// What stands behind a level's certainty.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Settled {
    pub(crate) short_list: usize,
    pub(crate) unknown: f64,
}

#[derive(Debug, Default, Deserialize)]
pub(crate) struct Joined {
    pub(crate) combination: String,
}

#[derive(Debug, Deserialize)]
pub(crate) struct Colour {
    pub(crate) balance: String,
}

/// How far a match's ground colour is from the query's.
#[derive(Clone, Copy, Debug, Deserialize)]
pub(crate) struct Ground {
    pub(crate) delta_e00: f64,
    pub(crate) doubt: f64,
    pub(crate) told_apart: bool,
}

#[derive(Debug, Default, Deserialize)]
pub(crate) struct Levels<T> {
    pub(crate) form: T,
    pub(crate) shape: T,
    pub(crate) pattern: T,
    pub(crate) glaze: T,
}

impl<T> Levels<T> {
    pub(crate) fn of(&self, level: &str) -> &T {
        match level {
            "form" => &self.form,
            "shape" => &self.shape,
            "pattern" => &self.pattern,
            _ => &self.glaze,
        }
    }
}

#[derive(Debug, Deserialize)]
pub(crate) struct Candidate {
    pub(crate) label: String,
    #[serde(default)]
    pub(crate) probability: f64,
}

#[derive(Debug, Deserialize)]
pub(crate) struct Match {
    pub(crate) photo: String,
    pub(crate) channels: Channels,
    pub(crate) ground: Option<Ground>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct Channels {
    outline: Option<f64>,
    form: Option<f64>,
    decoration: Option<f64>,
    colour: Option<f64>,
    general: Option<f64>,
}

impl Channels {
    fn of(&self, channel: &str) -> Option<f64> {
        match channel {
            "outline" => self.outline,
            "form" => self.form,
            "decoration" => self.decoration,
            "colour" => self.colour,
            _ => self.general,
        }
    }
}

impl Answer {
    /// Photos that match, nearest first; none if the photo could not be read.
    pub(crate) fn ranking(&self) -> Vec<&str> {
        self.matches().iter().map(|m| stem(&m.photo)).collect()
    }

    /// The same matches ordered by one channel's distance alone, those that lack
    /// it last. Good for a whole ranking where all photos are among the matches.
    pub(crate) fn ranking_by(&self, channel: &str) -> Vec<&str> {
        self.ranking_by_sum(&[channel])
    }

    /// The same by the sum of some channels' distances.
    pub(crate) fn ranking_by_sum(&self, channels: &[&str]) -> Vec<&str> {
        let mut matches: Vec<&Match> = self.matches().iter().collect();
        let distance = |m: &Match| -> f64 {
            let each = channels.iter().map(|channel| m.channels.of(channel));
            each.sum::<Option<f64>>().unwrap_or(f64::INFINITY)
        };
        matches.sort_by(|a, b| distance(a).total_cmp(&distance(b)));
        matches.into_iter().map(|m| stem(&m.photo)).collect()
    }

    fn matches(&self) -> &[Match] {
        self.pieces.first().map_or(&[], |piece| &piece.matches)
    }
}

/// A photo's name without folders and ending.
pub(crate) fn stem(photo: &str) -> &str {
    let name = photo.rsplit('/').next().unwrap_or(photo);
    name.rsplit_once('.').map_or(name, |(stem, _)| stem)
}

pub(crate) fn read(file: &Path) -> Result<Vec<Answer>> {
    BufReader::new(File::open(file)?)
        .lines()
        .map(|line| {
            serde_json::from_str(&line?).map_err(|e| format!("{}: {e}", file.display()).into())
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lose_folder_and_ending() {
        assert_eq!(stem("/a/b.c/cup1-000-000.png"), "cup1-000-000");
        assert_eq!(stem("plain"), "plain");
    }

    #[test]
    fn one_channel_alone_orders_the_same_matches() {
        let text = r#"{"photo":"q.png","status":"ok","pieces":[{"levels":{"form":[],"shape":[],
            "pattern":[],"glaze":[]},"certainty":{"form":"unknown","shape":"unknown","pattern":
            "unknown","glaze":"unknown"},"matches":[
            {"photo":"a.png","channels":{"colour":0.4}},
            {"photo":"b.png","channels":{"colour":0.1,"form":0.9}},
            {"photo":"c.png","channels":{"form":0.2}}]}]}"#;
        let answer: Answer = serde_json::from_str(text).unwrap();
        assert_eq!(answer.ranking(), ["a", "b", "c"]);
        assert_eq!(answer.ranking_by("colour"), ["b", "a", "c"]);
        assert_eq!(answer.ranking_by("form"), ["c", "b", "a"]);
    }
}
