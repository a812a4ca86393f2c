//! A place to run the program in: drawn pictures, a cabinet, what came out.

use std::{
    ffi::OsStr,
    fs,
    path::{Path, PathBuf},
    process::{Command, Output, Stdio},
    sync::OnceLock,
};

use image::{GrayImage, Luma};
use serde_json::Value;
use tempfile::TempDir;

use crate::drawn::{Drawing, Jug, plate};

/// What one run of the program gave.
#[derive(Debug)]
pub(crate) struct Ran {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl From<Output> for Ran {
    fn from(output: Output) -> Self {
        let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
        Self {
            code: output.status.code(),
            out: text(output.stdout),
            err: text(output.stderr),
        }
    }
}

impl Ran {
    /// Checks the exit code, showing everything if it is another.
    #[track_caller]
    pub(crate) fn exits(self, code: i32) -> Self {
        assert_eq!(self.code, Some(code), "{self:#?}");
        self
    }

    /// Checks that stderr says something.
    #[track_caller]
    pub(crate) fn says(self, text: &str) -> Self {
        assert!(self.err.contains(text), "no \"{text}\" in {self:#?}");
        self
    }

    /// Checks that there is no result.
    #[track_caller]
    pub(crate) fn without_result(self) -> Self {
        assert_eq!(self.out, "", "{self:#?}");
        self
    }

    /// The JSON document of each line.
    #[track_caller]
    pub(crate) fn lines(&self) -> Vec<Value> {
        self.out
            .lines()
            .map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}")))
            .collect()
    }
}

/// A temporary folder to run the program in.
pub(crate) struct Place(TempDir);

impl Place {
    /// With nothing in it.
    pub(crate) fn empty() -> Self {
        Self(tempfile::tempdir().expect("temporary folder"))
    }

    /// With the folder `set` and, made from it, the cabinet `cabinet`.
    pub(crate) fn furnished() -> Self {
        static MADE: OnceLock<Place> = OnceLock::new();
        let made = MADE.get_or_init(|| {
            let place = Self::empty();
            fs::create_dir(place.at("set")).unwrap();
            let jug = Jug::default();
            save(
                &jug.draw(240, [0.0; 2], 0.0, false),
                &place.at("set/jug-1.png"),
            );
            save(
                &jug.draw(240, [9.0, 4.0], 0.0, false),
                &place.at("set/jug-2.png"),
            );
            save(&plate(240), &place.at("set/plate.png"));
            fs::write(
                place.at("set/labels.csv"),
                "photo,piece,form,shape\n\
                 jug-1.png,the jug,jug,Tussock\n\
                 jug-2.png,the jug,jug,Tussock\n\
                 plate.png,the plate,plate,Orvelle\n",
            )
            .unwrap();
            place.run(["add", "--labels", "set/labels.csv"]).exits(0);
            place
        });
        let copy = Self::empty();
        copy_folder(made.0.path(), copy.0.path());
        // One that the cabinet has not seen: smaller, elsewhere in the picture.
        save(
            &Jug::default().draw(200, [-5.5, 3.0], 0.0, false),
            &copy.at("found.png"),
        );
        copy
    }

    pub(crate) fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// What is in the folder, sorted.
    pub(crate) fn names(&self, folder: &str) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(self.at(folder))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    /// The program, to be run here with nothing of this machine's settings.
    pub(crate) fn command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_footring"));
        command
            .current_dir(self.0.path())
            .env_remove("FOOTRING_CABINET")
            .env_remove("ORT_DYLIB_PATH")
            .env_remove("NO_COLOR")
            .env("FOOTRING_MODELS", models())
            .stdin(Stdio::null());
        command
    }

    pub(crate) fn run<S: AsRef<OsStr>>(&self, args: impl IntoIterator<Item = S>) -> Ran {
        self.command().args(args).output().unwrap().into()
    }

    /// The readings of `identify --format jsonl`.
    #[track_caller]
    pub(crate) fn identify(&self, args: &[&str]) -> Vec<Value> {
        let common = ["identify", "--format", "jsonl"];
        self.run(common.iter().chain(args)).exits(0).lines()
    }
}

/// The models folder of the repository.
pub(crate) fn models() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("models")
}

/// Writes a drawing as a silhouette, black on white.
pub(crate) fn save(drawing: &Drawing, file: &Path) {
    let (width, height) = (drawing.width as u32, drawing.height as u32);
    GrayImage::from_fn(width, height, |x, y| {
        Luma([255 - drawing.mask[y as usize * drawing.width + x as usize]])
    })
    .save(file)
    .unwrap();
}

fn copy_folder(from: &Path, to: &Path) {
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let to = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            fs::create_dir(&to).unwrap();
            copy_folder(&entry.path(), &to);
        } else {
            fs::copy(entry.path(), to).unwrap();
        }
    }
}
