//! The two streams: results to stdout, everything else to stderr, and what the
//! terminal can show.

use std::{
    fmt,
    io::{self, IsTerminal, Write},
    path::Path,
};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::{
    error::{Error, Result},
    file,
    report::{Heading, Terminal},
};

/// Writes a note to stderr.
pub(super) fn say(text: fmt::Arguments<'_>) {
    // Nothing is left to be told when stderr is closed.
    let _ = writeln!(io::stderr(), "{text}");
}

/// Writes a result to stdout, at once.
///
/// # Errors
/// [`crate::error::Kind::Io`] if stdout cannot be written; a reader that has
/// closed the pipe ends the program quietly.
pub(super) fn put(text: &str) -> Result<()> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() == io::ErrorKind::BrokenPipe => std::process::exit(0),
        other => other.map_err(|e| Error::from(e).in_file("standard output")),
    }
}

/// The head of a page about the set of this name.
pub(super) fn heading(set: &str) -> Heading {
    Heading {
        set: set.to_owned(),
        made: made(),
        ..Heading::default()
    }
}

/// With what a page was made.
pub(super) fn made() -> String {
    format!("Made by footring {}", env!("CARGO_PKG_VERSION"))
}

/// Writes a page and says where it is.
///
/// # Errors
/// [`crate::error::Kind::Io`] if it cannot be written.
pub(super) fn page(path: &Path, text: &str, quiet: bool) -> Result<()> {
    file::write_whole(path, text.as_bytes())?;
    if !quiet {
        say(format_args!("footring: page written to {}", path.display()));
    }
    Ok(())
}

/// What the terminal behind stdout can show.
pub(super) fn terminal() -> Terminal {
    let is_terminal = io::stdout().is_terminal();
    let width = terminal_size::terminal_size().map_or(100, |(w, _)| usize::from(w.0));
    Terminal {
        width: if is_terminal {
            width.clamp(40, 140)
        } else {
            100
        },
        colour: is_terminal && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty()),
    }
}

/// A progress bar on stderr; hidden when quiet or not a terminal.
pub(super) fn progress(total: usize, what: &'static str, quiet: bool) -> ProgressBar {
    if quiet || !io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(Some(total as u64), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{msg} {pos} of {len} [{wide_bar}] {eta} left")
    {
        bar.set_style(style.progress_chars("=> "));
    }
    bar.set_message(what);
    bar
}
