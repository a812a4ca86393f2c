//! Runs the built footring on real data and says what came out beside what was
//! promised: a JSON line a result on stdout, all results in `results.json`, and
//! a table in the README.
//!
//! `measure [--program P] [--data DIR] [--only PREFIX]`; see `Settings`.

mod answer;
mod bench;
mod book;
mod labels;
mod line;
mod metric;
mod picture;
mod program;
mod rng;
mod settings;
mod sets;

use std::{io::Write, process::ExitCode};

use bench::Bench;
use settings::Settings;

/// Measuring stops at the first thing that is not as it must be, with a text
/// for the person who runs it.
type Result<T, E = Box<dyn std::error::Error>> = std::result::Result<T, E>;

fn main() -> ExitCode {
    let done = Settings::read().and_then(Bench::new).and_then(|mut bench| {
        sets::run(&mut bench);
        bench.keep()
    });
    match done {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(e) => {
            let _ = writeln!(std::io::stderr(), "measure: {e}");
            ExitCode::from(2)
        }
    }
}
