//! Files that are whole or not there: hashed, synced, renamed.

use std::{
    fs::{self, File},
    io::{self, Read, Write},
    path::Path,
};

use sha2::{Digest, Sha256};

use crate::{
    error::{Error, Result},
    hash::hex,
};

/// SHA-256 of what `reader` gives, which is handed to `each` piece by piece.
pub(super) fn hash_each(
    mut reader: impl Read,
    mut each: impl FnMut(&[u8]) -> io::Result<()>,
) -> io::Result<String> {
    let mut hasher = Sha256::new();
    let mut buffer = vec![0u8; 1 << 16];
    loop {
        let n = reader.read(&mut buffer)?;
        if n == 0 {
            return Ok(hex(&hasher.finalize()));
        }
        hasher.update(&buffer[..n]);
        each(&buffer[..n])?;
    }
}

/// SHA-256 of a file.
pub(super) fn hash_file(path: &Path) -> Result<String> {
    File::open(path)
        .and_then(|file| hash_each(file, |_| Ok(())))
        .map_err(|e| Error::from(e).in_file(path))
}

/// A file that is hashed while it is written.
pub(super) struct Hashing(io::BufWriter<Both>);

struct Both {
    file: File,
    hasher: Sha256,
}

impl Hashing {
    /// A new file.
    pub(super) fn create(path: &Path) -> io::Result<Self> {
        let both = Both {
            file: File::create(path)?,
            hasher: Sha256::new(),
        };
        Ok(Self(io::BufWriter::with_capacity(1 << 18, both)))
    }

    /// Waits until it is on disk and gives its hash.
    pub(super) fn finish(self) -> io::Result<String> {
        let both = self
            .0
            .into_inner()
            .map_err(io::IntoInnerError::into_error)?;
        both.file.sync_all()?;
        Ok(hex(&both.hasher.finalize()))
    }
}

impl Write for Hashing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

impl Write for Both {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let n = self.file.write(bytes)?;
        self.hasher.update(&bytes[..n]);
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// Waits until the names in a folder are on disk, where the system can.
pub(super) fn sync_folder(dir: &Path) -> io::Result<()> {
    if cfg!(unix) {
        File::open(dir)?.sync_all()?;
    }
    Ok(())
}

/// Whether a file can be made in the folder.
pub(super) fn is_writable(dir: &Path) -> bool {
    let probe = dir.join(format!(".probe-{}", std::process::id()));
    let writable = File::create(&probe).is_ok();
    let _ = fs::remove_file(&probe);
    writable
}
