//! One writer at a time, by a lock on a file that the system lets go of even
//! when the writer is killed.

use std::{
    fs::{self, File, OpenOptions, TryLockError},
    path::{Path, PathBuf},
};

use crate::error::{Error, Kind, Result};

pub(super) const LOCK_FILE: &str = "writer.lock";
pub(super) const HOLDER_FILE: &str = "writer.txt";

/// Proof of being the only writer; let go of when dropped.
#[derive(Debug)]
pub(super) struct WriterLock {
    _file: File,
    holder: PathBuf,
}

impl WriterLock {
    /// Takes the lock without waiting.
    ///
    /// # Errors
    /// [`Kind::Cabinet`] naming the holder if another process has it,
    /// [`Kind::Io`] or [`Kind::Missing`] if the folder cannot be written.
    pub(super) fn take(dir: &Path) -> Result<Self> {
        let path = dir.join(LOCK_FILE);
        let file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&path)
            .map_err(|e| Error::from(e).in_file(&path))?;
        let holder = dir.join(HOLDER_FILE);
        match file.try_lock() {
            Ok(()) => {
                // Only for the message another writer gets, so failing is no harm.
                let _ = fs::write(&holder, format!("process {}", std::process::id()));
                Ok(Self {
                    _file: file,
                    holder,
                })
            }
            Err(TryLockError::WouldBlock) => {
                let who = fs::read_to_string(&holder)
                    .ok()
                    .map(|who| who.chars().take(60).collect::<String>())
                    .filter(|who| !who.trim().is_empty())
                    .unwrap_or_else(|| "another process".to_owned());
                Err(
                    Error::new(Kind::Cabinet, format!("is being written by {}", who.trim()))
                        .in_file(dir)
                        .remedy("wait until it is done, or end it"),
                )
            }
            Err(TryLockError::Error(e)) => Err(Error::from(e).in_file(&path)),
        }
    }
}

impl Drop for WriterLock {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.holder);
    }
}
