//! The networks: where the runtime library and the models are, whether they
//! are the ones the manifest names, and a pool of sessions.
//!
//! The only file that imports `ort`. One session runs on one thread; photos
//! are spread over sessions, which measures faster than spreading one photo
//! over threads. Output tensors come back as `ndarray` arrays.

use std::{
    path::{Path, PathBuf},
    sync::{Mutex, OnceLock},
};

use ndarray::{ArrayD, ArrayView4};
use ort::{
    environment::Environment,
    session::{Session, builder::GraphOptimizationLevel},
    value::TensorRef,
};
use serde::Deserialize;

use crate::{
    error::{Error, Kind, Result},
    hash,
};

/// What to do when the runtime library is not there.
const GET_LIBRARY: &str = "run `make runtime` in the footring folder (it fetches the pinned library), or set ORT_DYLIB_PATH to the path of an ONNX Runtime library, version 1.20 or newer";

/// One entry of `manifest.toml`.
#[derive(Clone, Debug, Deserialize)]
pub struct ModelInfo {
    /// What it is for: `mask`, `embedder`.
    pub name: String,
    /// File name beside the manifest.
    pub file: String,
    /// SHA-256 of that file, lower-case hexadecimal.
    pub sha256: String,
    /// Name of the input tensor.
    pub input: String,
    /// Side of the square input, pixels.
    pub side_px: u32,
    /// Channels of the input: 3, or 4 where the piece's mask is one of them.
    #[serde(default = "rgb")]
    pub channels: usize,
    /// File name of its model card.
    pub card: String,
}

/// Channels of a network that looks at colour alone.
fn rgb() -> usize {
    3
}

#[derive(Deserialize)]
struct Manifest {
    model: Vec<ModelInfo>,
}

/// A network ready to run, on as many threads as call it.
pub struct Model {
    /// Its entry in the manifest.
    pub info: ModelInfo,
    bytes: Vec<u8>,
    idle: Mutex<Vec<Session>>,
}

impl std::fmt::Debug for Model {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Model").field("info", &self.info).finish()
    }
}

/// The runtime library that would be loaded: `ORT_DYLIB_PATH`, else the one
/// `make runtime` puts beside the models.
///
/// # Errors
/// [`Kind::Setup`] if there is none, saying how to get it.
pub fn library_path() -> Result<PathBuf> {
    if let Some(path) = std::env::var_os("ORT_DYLIB_PATH").filter(|p| !p.is_empty()) {
        let path = PathBuf::from(path);
        return if path.is_file() {
            Ok(path)
        } else {
            Err(
                Error::new(Kind::Setup, "ORT_DYLIB_PATH does not point at a file")
                    .in_file(path)
                    .remedy(GET_LIBRARY),
            )
        };
    }
    let folder = models_dir()?.join("runtime");
    let found = std::fs::read_dir(&folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            name.starts_with("libonnxruntime.") && path.is_file()
        })
        .max();
    found.ok_or_else(|| {
        Error::new(Kind::Setup, "the ONNX Runtime library is not there")
            .in_file(folder)
            .remedy(GET_LIBRARY)
    })
}

/// The folder with `manifest.toml`: `FOOTRING_MODELS`, else `models` beside or
/// above the program, else `./models`.
///
/// # Errors
/// [`Kind::Setup`] if none of them holds a manifest.
pub fn models_dir() -> Result<PathBuf> {
    let has_manifest = |dir: &PathBuf| dir.join("manifest.toml").is_file();
    if let Some(dir) = std::env::var_os("FOOTRING_MODELS").filter(|p| !p.is_empty()) {
        let dir = PathBuf::from(dir);
        return if has_manifest(&dir) {
            Ok(dir)
        } else {
            Err(
                Error::new(Kind::Setup, "FOOTRING_MODELS holds no manifest.toml")
                    .in_file(dir)
                    .remedy("point it at footring's models folder"),
            )
        };
    }
    // A built program sits in target/release, test programs one deeper.
    std::env::current_exe()
        .iter()
        .flat_map(|exe| exe.ancestors().skip(1).take(5))
        .map(|dir| dir.join("models"))
        .chain([PathBuf::from("models")])
        .find(has_manifest)
        .ok_or_else(|| {
            Error::new(Kind::Setup, "the models folder is not found")
                .remedy("set FOOTRING_MODELS to footring's models folder")
        })
}

/// The entries of the manifest.
///
/// # Errors
/// [`Kind::Setup`] if it cannot be read or understood.
pub fn manifest(dir: &Path) -> Result<Vec<ModelInfo>> {
    let file = dir.join("manifest.toml");
    let text = std::fs::read_to_string(&file).map_err(|e| setup(&file, "cannot be read", e))?;
    let manifest: Manifest =
        toml::from_str(&text).map_err(|e| setup(&file, "is no model manifest", e))?;
    Ok(manifest.model)
}

/// The process-wide runtime; loading the library twice is not possible.
fn environment() -> Result<&'static Environment> {
    static RUNTIME: OnceLock<std::result::Result<Environment, (PathBuf, String)>> = OnceLock::new();
    let path = library_path()?;
    let loaded = RUNTIME.get_or_init(|| {
        ort::init_from(&path)
            .map_err(|e| e.to_string())
            .and_then(|builder| builder.build().map_err(|e| e.to_string()))
            .map_err(|e| (path, e))
    });
    loaded.as_ref().map_err(|(path, e)| {
        Error::new(Kind::Setup, "is no ONNX Runtime library that can be used")
            .in_file(path)
            .caused_by(e.clone())
            .remedy(GET_LIBRARY)
    })
}

impl Model {
    /// Loads the model named `name` from `dir` and checks its checksum.
    ///
    /// # Errors
    /// [`Kind::Setup`] if the library or the model is absent, altered or unfit.
    pub fn load(dir: &Path, name: &str) -> Result<Self> {
        let info = manifest(dir)?
            .into_iter()
            .find(|m| m.name == name)
            .ok_or_else(|| {
                Error::new(Kind::Setup, format!("the manifest names no model `{name}`"))
                    .in_file(dir.join("manifest.toml"))
            })?;
        let file = dir.join(&info.file);
        let bytes = std::fs::read(&file).map_err(|e| setup(&file, "cannot be read", e))?;
        let found = hash::sha256(&bytes);
        if found != info.sha256 {
            return Err(Error::new(
                Kind::Setup,
                format!(
                    "is not the model the manifest names: SHA-256 {found}, expected {}",
                    info.sha256
                ),
            )
            .in_file(file)
            .remedy("restore it from the repository"));
        }
        let model = Self {
            info,
            bytes,
            idle: Mutex::default(),
        };
        // One session now, so that an unfit model shows at once and not in the
        // middle of a batch.
        let first = model.session()?;
        model.give_back(first);
        Ok(model)
    }

    /// Runs the network on `input` (shape `[1, channels, side, side]`) and returns the
    /// named outputs in the order asked for.
    ///
    /// # Errors
    /// [`Kind::Setup`] if the runtime refuses.
    pub fn run(&self, input: ArrayView4<'_, f32>, outputs: &[&str]) -> Result<Vec<ArrayD<f32>>> {
        let mut session = self.session()?;
        let result = (|| {
            let tensor = TensorRef::from_array_view(input)?;
            let run = session.run(ort::inputs![self.info.input.as_str() => tensor])?;
            outputs
                .iter()
                .map(|name| Ok(run[*name].try_extract_array::<f32>()?.to_owned()))
                .collect::<ort::Result<Vec<_>>>()
        })();
        self.give_back(session);
        result.map_err(|e| {
            Error::new(
                Kind::Setup,
                format!("the model `{}` does not run", self.info.name),
            )
            .caused_by(e.to_string())
        })
    }

    fn session(&self) -> Result<Session> {
        let idle = self.idle.lock().ok().and_then(|mut idle| idle.pop());
        if let Some(session) = idle {
            return Ok(session);
        }
        let environment = environment()?;
        (|| {
            Session::builder(environment)?
                .with_optimization_level(GraphOptimizationLevel::All)?
                .with_intra_threads(1)?
                .commit_from_memory(&self.bytes)
        })()
        .map_err(|e: ort::Error| {
            Error::new(
                Kind::Setup,
                format!("the model `{}` cannot be loaded", self.info.name),
            )
            .caused_by(e.to_string())
        })
    }

    fn give_back(&self, session: Session) {
        if let Ok(mut idle) = self.idle.lock() {
            idle.push(session);
        }
    }
}

/// What the runtime library says its version is.
///
/// # Errors
/// As for loading it.
pub fn runtime_version() -> Result<String> {
    environment()?;
    Ok(ort::info().to_owned())
}

fn setup(file: &Path, what: &str, e: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Error {
    Error::new(Kind::Setup, what)
        .in_file(file)
        .caused_by(e)
        .remedy("restore it from the repository")
}
