//! Damaged files among good ones: every file gets its row, every good photo its
//! answer, and nothing ends the run.

mod files;

use std::{collections::BTreeMap, path::Path};

use serde::Deserialize;

use crate::{Result, bench::Bench, line::Line, picture};

#[derive(Deserialize)]
struct Row {
    photo: String,
    status: String,
    error: Option<Failure>,
}

#[derive(Deserialize)]
struct Failure {
    kind: String,
}

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let dir = bench.fresh("damaged")?;
    let photos = dir.join("photos");
    let good = picture::list(Path::new("index/demo/reference"), "jpg")?;
    let (total, good) = files::make(&photos, &good)?;
    let cabinet = dir.join("cabinet");
    for command in ["add", "identify"] {
        bench.say(&format!("damaged: {command} of {total} files"));
        let done = bench
            .program
            .command(&cabinet)
            .args(["--format", "jsonl", command])
            .arg(&photos)
            .output()?;
        let text = String::from_utf8_lossy(&done.stdout).into_owned();
        let told = String::from_utf8_lossy(&done.stderr);
        let mut rows: BTreeMap<String, Vec<Row>> = BTreeMap::new();
        for line in text.lines() {
            let row: Row = serde_json::from_str(line).map_err(|e| format!("{command}: {e}"))?;
            let name = row.photo.rsplit('/').next().unwrap_or_default().to_owned();
            rows.entry(name).or_default().push(row);
        }
        let lines = rows.values().map(Vec::len).sum::<usize>();
        let once = rows.values().filter(|rows| rows.len() == 1).count();
        let all: Vec<&Row> = rows.values().flatten().collect();
        let failed = all.iter().filter(|row| row.status == "failed").count();
        let answered = good
            .iter()
            .filter(|name| {
                rows.get(*name)
                    .is_some_and(|rows| rows.iter().all(|row| row.status != "failed"))
            })
            .count();
        // A panic is caught and becomes the row's error; that counts as well.
        let defects = told.matches("panicked").count()
            + all
                .iter()
                .filter(|row| row.error.as_ref().is_some_and(|e| e.kind == "internal"))
                .count();
        let code = done.status.code().map_or(-1, i64::from);
        let name = |what: &str| format!("damaged.{command}_{what}");
        bench.put(
            Line::new(
                name("rows"),
                if lines == total { once as f64 } else { 0.0 },
                total,
            )
            .at_least(total as f64)
            .note(format!(
                "files with exactly one row, {failed} of them refused"
            )),
        );
        bench.put(
            Line::new(name("good"), answered as f64, good.len())
                .at_least(good.len() as f64)
                .note("good photos among them that were done"),
        );
        bench.put(Line::new(name("panics"), defects as f64, total).at_most(0.0));
        let is_three = code == 3;
        let exit = Line::new(name("exit"), code as f64, 1);
        bench.put(Line {
            bound: Some(3.0),
            holds: Some(is_three),
            note: Some("exit code 3: done, but some inputs failed".to_owned()),
            ..exit
        });
    }
    Ok(())
}
