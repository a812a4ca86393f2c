//! The one public error: whose fault it is, which file it is about, and what
//! mends it.
//!
//! Every message a user sees names the file, what was expected and the remedy.
//! In a batch an error becomes a row of the result ([`Error::kind`] is its
//! machine-readable code); it never ends the run.

use std::{
    fmt,
    path::{Path, PathBuf},
};

/// Result of anything in footring that can fail.
pub type Result<T> = std::result::Result<T, Error>;

/// Whose fault an error is. The code of each kind is part of the JSON schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Kind {
    /// The command line, the configuration or a labels file asks for something impossible.
    Usage,
    /// The file does not exist or may not be read.
    Missing,
    /// The file is a picture, of a format that is not read (yet).
    Unsupported,
    /// The file is no picture or is damaged.
    Damaged,
    /// The picture exceeds the limits on pixels or memory.
    TooLarge,
    /// The picture was read, but no piece was found in it.
    NoPiece,
    /// The runtime library or a model is absent, unfit or altered.
    Setup,
    /// The cabinet is absent, locked, newer than this program, or damaged.
    Cabinet,
    /// The disk or the system refused a read or a write.
    Io,
    /// A defect of footring itself.
    Internal,
}

impl Kind {
    /// The code used in JSON (`error.kind`).
    pub fn code(self) -> &'static str {
        match self {
            Self::Usage => "usage",
            Self::Missing => "missing",
            Self::Unsupported => "unsupported",
            Self::Damaged => "damaged",
            Self::TooLarge => "too_large",
            Self::NoPiece => "no_piece",
            Self::Setup => "setup",
            Self::Cabinet => "cabinet",
            Self::Io => "io",
            Self::Internal => "internal",
        }
    }
}

/// What went wrong, about which file, and what mends it.
#[derive(Debug)]
pub struct Error(Box<Inner>);

#[derive(Debug)]
struct Inner {
    kind: Kind,
    message: String,
    file: Option<PathBuf>,
    remedy: Option<String>,
    source: Option<Box<dyn std::error::Error + Send + Sync>>,
}

impl Error {
    /// A new error. `message` says what was expected and what was found, in one
    /// clause without a final stop.
    pub fn new(kind: Kind, message: impl Into<String>) -> Self {
        Self(Box::new(Inner {
            kind,
            message: message.into(),
            file: None,
            remedy: None,
            source: None,
        }))
    }

    /// Names the file the error is about, unless one is named already.
    #[must_use]
    pub fn in_file(mut self, file: impl AsRef<Path>) -> Self {
        self.0
            .file
            .get_or_insert_with(|| file.as_ref().to_path_buf());
        self
    }

    /// Says what the user can do, as an imperative clause.
    #[must_use]
    pub fn remedy(mut self, remedy: impl Into<String>) -> Self {
        self.0.remedy.get_or_insert(remedy.into());
        self
    }

    /// Keeps the error underneath, for `source()` and the message.
    #[must_use]
    pub fn caused_by(
        mut self,
        source: impl Into<Box<dyn std::error::Error + Send + Sync>>,
    ) -> Self {
        self.0.source = Some(source.into());
        self
    }

    /// Whose fault it is.
    pub fn kind(&self) -> Kind {
        self.0.kind
    }

    /// The file it is about.
    pub fn file(&self) -> Option<&Path> {
        self.0.file.as_deref()
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(file) = &self.0.file {
            write!(f, "{}: ", file.display())?;
        }
        f.write_str(&self.0.message)?;
        if let Some(source) = &self.0.source {
            write!(f, " ({source})")?;
        }
        if let Some(remedy) = &self.0.remedy {
            write!(f, "; {remedy}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.0
            .source
            .as_deref()
            .map(|e| e as &(dyn std::error::Error + 'static))
    }
}

impl From<std::io::Error> for Error {
    fn from(e: std::io::Error) -> Self {
        let kind = match e.kind() {
            std::io::ErrorKind::NotFound | std::io::ErrorKind::PermissionDenied => Kind::Missing,
            _ => Kind::Io,
        };
        Self::new(kind, "cannot be read or written").caused_by(e)
    }
}
