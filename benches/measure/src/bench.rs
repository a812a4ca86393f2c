//! The run: what is wanted, what came out so far, and where it is kept.

use std::{
    fs,
    io::Write,
    path::{Path, PathBuf},
    time::Instant,
};

use crate::{
    Result,
    book::{Book, Kept, today},
    line::Line,
    program::Program,
    sets,
    settings::Settings,
};

pub(crate) struct Bench {
    pub(crate) settings: Settings,
    pub(crate) program: Program,
    began: Instant,
    lines: Vec<Line>,
}

impl Bench {
    pub(crate) fn new(mut settings: Settings) -> Result<Self> {
        // Photos are named by absolute paths, so that cached answers stay good.
        fs::create_dir_all(&settings.cache)?;
        settings.cache = settings.cache.canonicalize()?;
        if let Some(data) = &mut settings.data {
            *data = data.canonicalize()?;
        }
        let program = Program::find(&settings.program)?;
        Ok(Self {
            settings,
            program,
            began: Instant::now(),
            lines: Vec::new(),
        })
    }

    /// Whether any result that begins with `prefix` is asked for.
    pub(crate) fn wants(&self, prefix: &str) -> bool {
        let only = self.settings.only.as_str();
        prefix.starts_with(only) || only.starts_with(&format!("{prefix}."))
    }

    /// Whether a set is asked for by its name, and not as one of all.
    pub(crate) fn names(&self, set: &str) -> bool {
        self.settings.only.starts_with(set)
    }

    /// Prints a result and keeps it, if it is asked for.
    pub(crate) fn put(&mut self, line: Line) {
        let is_whole_set = !line.name.contains('.');
        if !line.name.starts_with(&self.settings.only) && !is_whole_set {
            return;
        }
        if let Ok(text) = serde_json::to_string(&line) {
            // A closed pipe is the reader's choice.
            let _ = writeln!(std::io::stdout(), "{text}");
        }
        self.lines.push(line);
    }

    /// Tells on stderr what is going on.
    pub(crate) fn say(&self, text: &str) {
        let _ = writeln!(
            std::io::stderr(),
            "measure {:>5.0} s: {text}",
            self.began.elapsed().as_secs_f64()
        );
    }

    /// A folder of the cache that is good for this program and these models only.
    pub(crate) fn own_cache(&self, name: &str) -> PathBuf {
        self.settings
            .cache
            .join(format!("footring-{}", self.program.hash))
            .join(name)
    }

    /// An empty folder of the cache.
    pub(crate) fn fresh(&self, name: &str) -> Result<PathBuf> {
        let dir = self.settings.cache.join("work").join(name);
        remove(&dir)?;
        fs::create_dir_all(&dir)?;
        Ok(dir)
    }

    /// A folder of DATA, or why there is none.
    pub(crate) fn data(&self, set: &str) -> Result<PathBuf, String> {
        let data = self.settings.data.as_ref().ok_or("no DATA")?;
        let dir = data.join(set);
        if dir.is_dir() {
            Ok(dir)
        } else {
            Err(format!("DATA has no {set}"))
        }
    }

    /// Writes the results down; whether every bound holds.
    pub(crate) fn keep(&self) -> Result<bool> {
        let kept: Vec<Kept> = self
            .lines
            .iter()
            .map(|line| Kept {
                line: line.clone(),
                date: today(),
                footring: self.program.version.clone(),
                cores: std::thread::available_parallelism().map_or(0, usize::from),
            })
            .collect();
        let mut book = Book::read(&self.settings.results)?;
        let order: Vec<&str> = sets::SETS.iter().map(|set| set.name).collect();
        book.merge(&kept, self.settings.only.is_empty(), &order);
        book.write(&self.settings.results)?;
        if !book.write_table(&self.settings.readme)? {
            self.say("no markers in the README, so no table was written");
        }
        let count = |holds| self.lines.iter().filter(|l| l.holds == Some(holds)).count();
        let skipped = self.lines.iter().filter(|l| l.skipped.is_some()).count();
        let broken: Vec<&str> = self
            .lines
            .iter()
            .filter(|l| l.holds == Some(false))
            .map(|l| l.name.as_str())
            .collect();
        self.say(&format!(
            "{} bounds hold, {} do not{}{}; {skipped} skipped",
            count(true),
            broken.len(),
            if broken.is_empty() { "" } else { ": " },
            broken.join(", ")
        ));
        Ok(broken.is_empty())
    }
}

/// Removes a folder, if it is there.
pub(crate) fn remove(dir: &Path) -> Result<()> {
    match fs::remove_dir_all(dir) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => {
            Err(format!("{}: {e}", dir.display()).into())
        }
        _ => Ok(()),
    }
}
