//! The built footring: running it, and keeping what it said.

use std::{
    fs::{self, File},
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

use crate::{
    Result,
    answer::{self, Answer},
    bench::{Bench, remove},
    rng::fingerprint,
};

pub(crate) struct Program {
    pub(crate) path: PathBuf,
    /// Of the program and its models.
    pub(crate) hash: String,
    pub(crate) version: String,
}

impl Program {
    pub(crate) fn find(path: &Path) -> Result<Self> {
        let path = path
            .canonicalize()
            .map_err(|e| format!("{}: {e}; build it first", path.display()))?;
        let bytes = fs::read(&path)?;
        // The manifest holds the models' own hashes.
        let manifest = models(&path)
            .and_then(|dir| fs::read(dir.join("manifest.toml")).ok())
            .unwrap_or_default();
        let said = Command::new(&path).arg("--version").output()?;
        Ok(Self {
            hash: fingerprint(&[&bytes, &manifest]),
            version: String::from_utf8_lossy(&said.stdout)
                .trim()
                .trim_start_matches("footring ")
                .to_owned(),
            path,
        })
    }

    /// The folder of its models.
    pub(crate) fn models(&self) -> Result<PathBuf> {
        models(&self.path).ok_or_else(|| "the models folder is not found".into())
    }

    pub(crate) fn command(&self, cabinet: &Path) -> Command {
        let mut command = Command::new(&self.path);
        command.arg("--cabinet").arg(cabinet).arg("--quiet");
        command
    }
}

fn models(program: &Path) -> Option<PathBuf> {
    std::env::var_os("FOOTRING_MODELS")
        .map(PathBuf::from)
        .into_iter()
        .chain(program.ancestors().skip(1).map(|dir| dir.join("models")))
        .find(|dir| dir.join("manifest.toml").is_file())
}

/// Photos asked about, and how.
pub(crate) struct Question<'a> {
    pub(crate) cabinet: &'a Path,
    pub(crate) photos: &'a [PathBuf],
    pub(crate) args: &'a [&'a str],
    /// Whether masks are wanted too.
    pub(crate) masks: bool,
}

/// Answers, in the order of the photos, and where the masks lie.
pub(crate) struct Answers {
    pub(crate) answers: Vec<Answer>,
    pub(crate) masks: PathBuf,
}

impl Bench {
    /// A cabinet with these photos, made unless it is cached. Photos are added
    /// without labels, so each is a piece of its own.
    pub(crate) fn cabinet(&self, set: &str, photos: &[PathBuf], args: &[&str]) -> Result<PathBuf> {
        let dir = self.own_cache(&format!("{set}-{}", key(photos, args)));
        if dir.is_dir() {
            return Ok(dir);
        }
        self.say(&format!("{set}: adding {} photos", photos.len()));
        let making = dir.with_extension("part");
        remove(&making)?;
        fs::create_dir_all(&making)?;
        let done = self
            .program
            .command(&making)
            .arg("add")
            .args(args)
            .args(photos)
            .stdout(Stdio::null())
            .output()?;
        // 3: done, but some photos failed; they then find nothing and count so.
        if !matches!(done.status.code(), Some(0 | 3)) {
            let told = String::from_utf8_lossy(&done.stderr);
            return Err(format!("add of {set}: {}: {}", done.status, told.trim()).into());
        }
        fs::rename(&making, &dir)?;
        Ok(dir)
    }

    /// The folder with the mask of each photo. Only the masks matter, so the cabinet
    /// that is asked holds one photo.
    pub(crate) fn masks(&self, set: &str, photos: &[PathBuf], args: &[&str]) -> Result<PathBuf> {
        let cabinet = self.cabinet(set, &photos[..1.min(photos.len())], &[])?;
        let question = Question {
            cabinet: &cabinet,
            photos,
            args,
            masks: true,
        };
        Ok(self.ask(set, &question)?.masks)
    }

    /// What footring answers, asked unless it is cached.
    pub(crate) fn ask(&self, set: &str, question: &Question<'_>) -> Result<Answers> {
        let Question {
            cabinet,
            photos,
            args,
            masks,
        } = question;
        let mut all: Vec<&str> = args.to_vec();
        let of = cabinet.file_name().unwrap_or_default().to_string_lossy();
        all.push(&of);
        let dir = self.own_cache(&format!("answers-{set}-{}", key(photos, &all)));
        if !dir.is_dir() {
            self.say(&format!(
                "{set}: asking about {} photos {}",
                photos.len(),
                args.join(" ")
            ));
            let making = dir.with_extension("part");
            remove(&making)?;
            fs::create_dir_all(&making)?;
            let mut command = self.program.command(cabinet);
            command.args(["--format", "jsonl", "identify"]).args(*args);
            if *masks {
                command.arg("--mask-dir").arg(making.join("masks"));
            }
            let done = command
                .args(*photos)
                .stdout(File::create(making.join("answers.jsonl"))?)
                .output()?;
            if !matches!(done.status.code(), Some(0 | 3)) {
                let told = String::from_utf8_lossy(&done.stderr);
                return Err(format!("identify of {set}: {}: {}", done.status, told.trim()).into());
            }
            fs::rename(&making, &dir)?;
        }
        let answers = answer::read(&dir.join("answers.jsonl"))?;
        if answers.len() != photos.len() {
            return Err(format!(
                "identify of {set}: {} answers for {} photos",
                answers.len(),
                photos.len()
            )
            .into());
        }
        let failed = answers.iter().filter(|a| a.status == "failed").count();
        if failed > 0 {
            self.say(&format!(
                "{set}: {failed} photos could not be read and count as misses"
            ));
        }
        Ok(Answers {
            answers,
            masks: dir.join("masks"),
        })
    }
}

/// Tells apart what was asked of which photos.
fn key(photos: &[PathBuf], args: &[&str]) -> String {
    let mut text = String::new();
    for photo in photos {
        let size = fs::metadata(photo).map_or(0, |m| m.len());
        text += &format!("{} {size}\n", photo.display());
    }
    fingerprint(&[text.as_bytes(), args.join("\n").as_bytes()])
}
