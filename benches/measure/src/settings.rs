//! What to run, on what, and where to write.

use std::{ffi::OsString, path::PathBuf};

use crate::Result;

const HELP: &str = "usage: measure [OPTION VALUE]...
  --program FILE    the built footring [default: target/release/footring]
  --studio FILE     the built studio [default: `studio` beside the program]
  --data DIR        real data; a set that needs it is skipped without it [env: DATA]
  --only PREFIX     only results whose name begins so [env: ONLY]
  --python FILE     Python with the peer's packages [default: .venv/bin/python]
  --peer-mask FILE  another mask network for the peer beside footring's own [env: PEER_MASK]
  --rounds N        turns of footring and the peer [default: 3]
  --kills N         times footring is killed [default: 200]
  --results FILE    [default: benches/results.json]
  --readme FILE     [default: README.md]
  --cache DIR       [default: .cache/measure]
Run from the repository.";

/// Everything that can be set.
#[derive(Clone, Debug)]
pub(crate) struct Settings {
    pub(crate) program: PathBuf,
    pub(crate) studio: Option<PathBuf>,
    pub(crate) data: Option<PathBuf>,
    pub(crate) only: String,
    pub(crate) python: PathBuf,
    pub(crate) peer_mask: Option<PathBuf>,
    pub(crate) rounds: usize,
    pub(crate) kills: usize,
    pub(crate) results: PathBuf,
    pub(crate) readme: PathBuf,
    pub(crate) cache: PathBuf,
}

impl Settings {
    pub(crate) fn read() -> Result<Self> {
        let given = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty());
        let mut settings = Self {
            program: "target/release/footring".into(),
            studio: None,
            data: given("DATA").map(PathBuf::from),
            only: String::new(),
            python: ".venv/bin/python".into(),
            peer_mask: given("PEER_MASK").map(PathBuf::from),
            rounds: 3,
            kills: 200,
            results: "benches/results.json".into(),
            readme: "README.md".into(),
            cache: ".cache/measure".into(),
        };
        if let Some(only) = given("ONLY") {
            settings.only = text(only)?;
        }
        let mut args = std::env::args_os().skip(1);
        while let Some(option) = args.next() {
            let option = text(option)?;
            if matches!(option.as_str(), "--help" | "-h") {
                return Err(HELP.into());
            }
            let value = args
                .next()
                .ok_or_else(|| format!("{option} wants a value\n{HELP}"))?;
            match option.as_str() {
                "--program" => settings.program = value.into(),
                "--studio" => settings.studio = Some(value.into()),
                "--data" => settings.data = Some(value.into()),
                "--only" => settings.only = text(value)?,
                "--python" => settings.python = value.into(),
                "--peer-mask" => settings.peer_mask = Some(value.into()),
                "--rounds" => settings.rounds = text(value)?.parse::<usize>()?.max(1),
                "--kills" => settings.kills = text(value)?.parse()?,
                "--results" => settings.results = value.into(),
                "--readme" => settings.readme = value.into(),
                "--cache" => settings.cache = value.into(),
                other => return Err(format!("{other} is no option\n{HELP}").into()),
            }
        }
        if let Some(data) = &settings.data
            && !data.is_dir()
        {
            return Err(format!("DATA: {} is no folder", data.display()).into());
        }
        Ok(settings)
    }
}

fn text(value: OsString) -> Result<String> {
    value
        .into_string()
        .map_err(|v| format!("{} is no text", v.display()).into())
}
