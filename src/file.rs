//! Files that are whole or not there.

use std::{io::Write, path::Path};

use crate::error::{Error, Result};

/// Writes a file whole or not at all: beside it first, then renamed.
///
/// # Errors
/// [`crate::error::Kind::Io`] naming the file.
pub fn write_whole(file: &Path, bytes: &[u8]) -> Result<()> {
    let mut beside = file.as_os_str().to_owned();
    beside.push(format!(".{}.part", std::process::id()));
    let beside = Path::new(&beside);
    let done = (|| {
        let mut out = std::fs::File::create(beside)?;
        out.write_all(bytes)?;
        out.sync_all()?;
        std::fs::rename(beside, file)
    })();
    done.map_err(|e| {
        // The half-written file is of no use to anyone.
        let _ = std::fs::remove_file(beside);
        Error::from(e)
            .in_file(file)
            .remedy("check that the folder exists and may be written")
    })
}
