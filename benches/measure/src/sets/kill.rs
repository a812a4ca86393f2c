//! `footring add` killed at random moments: what it said it had added must be
//! there, and the cabinet must be sound.

use std::{
    collections::BTreeSet,
    io::{BufRead, BufReader},
    path::{Path, PathBuf},
    process::{Child, Stdio},
    sync::mpsc,
    thread,
    time::{Duration, Instant},
};

use serde::Deserialize;

use crate::{Result, bench::Bench, line::Line, metric::quantile, picture, rng::Rng};

/// Photos offered at a time; those that are in the cabinet already are not
/// offered again, so that every round adds.
const OFFERED: usize = 6;

#[derive(Deserialize)]
struct Row {
    photo: String,
    #[serde(default)]
    status: String,
}

/// When a round is killed.
#[derive(Clone, Copy)]
enum Moment {
    /// This long after the start.
    After(Duration),
    /// This long after the first photo was reported.
    AfterRow(Duration),
}

#[derive(Default)]
struct Tally {
    kills: usize,
    after_row: usize,
    ended_first: usize,
    lost: usize,
    unsound: usize,
    cabinets: usize,
}

pub(super) fn measure(bench: &mut Bench) -> Result<()> {
    let photos = picture::list(Path::new("index/demo/reference"), "jpg")?;
    let wanted = bench.settings.kills;
    // How long a round takes when nothing disturbs it. The machine may be busy
    // now and idle later, so the usual length is taken from the rounds as well.
    let warm = bench.fresh("kill")?;
    let start = Instant::now();
    let mut child = start_add(bench, &warm, &photos[..OFFERED])?;
    child.wait()?;
    let mut lengths = vec![start.elapsed().as_secs_f64()];

    let mut rng = Rng::new(90_210);
    let mut tally = Tally::default();
    let mut cabinet = bench.fresh("kill")?;
    let mut reported: BTreeSet<String> = BTreeSet::new();
    while tally.kills < wanted {
        if (tally.kills + tally.ended_first) % 20 == 0 {
            bench.say(&format!("kill: {} of {wanted}", tally.kills));
        }
        let listed = listed(bench, &cabinet)?;
        let offered: Vec<PathBuf> = photos
            .iter()
            .filter(|photo| !listed.contains(&*photo.to_string_lossy()))
            .take(OFFERED)
            .cloned()
            .collect();
        if offered.len() < OFFERED {
            tally.cabinets += 1;
            cabinet = bench.fresh("kill")?;
            reported.clear();
            continue;
        }
        let length = quantile(&lengths[lengths.len().saturating_sub(9)..], 0.5);
        // Anywhere in the run; while it starts; while rows come out and the index
        // is made.
        let moment = match rng.below(3) {
            0 => Moment::After(Duration::from_secs_f64(rng.unit() * length)),
            1 => Moment::After(Duration::from_secs_f64(rng.unit() * 0.35 * length)),
            _ => Moment::AfterRow(Duration::from_secs_f64(rng.unit() * 0.15 * length)),
        };
        let start = Instant::now();
        let round = round(bench, &cabinet, &offered, moment)?;
        if round.was_killed {
            tally.kills += 1;
            tally.after_row += usize::from(!round.added.is_empty());
        } else {
            tally.ended_first += 1;
            lengths.push(start.elapsed().as_secs_f64());
        }
        reported.extend(round.added);
        check(bench, &cabinet, &reported, &mut tally)?;
    }

    // After all that, an undisturbed run must finish the work.
    let rest: Vec<PathBuf> = photos.iter().take(40).cloned().collect();
    let mut child = start_add(bench, &cabinet, &rest)?;
    let finished = child.wait()?.success();
    check(bench, &cabinet, &reported, &mut tally)?;
    let there = listed(bench, &cabinet)?;
    let complete = rest
        .iter()
        .all(|photo| there.contains(&*photo.to_string_lossy()));

    let n = tally.kills;
    bench.put(
        Line::new("kill.lost", tally.lost as f64, n)
            .at_most(0.0)
            .note(format!(
                "photos reported as added and then not there; {} kills, {} of them after the first row, on {} cabinets; {} runs ended before their moment",
                n,
                tally.after_row,
                tally.cabinets + 1,
                tally.ended_first
            )),
    );
    bench.put(
        Line::new("kill.unsound", tally.unsound as f64, n)
            .at_most(0.0)
            .note("cabinets in which damage was found"),
    );
    bench.put(
        Line::new(
            "kill.finished",
            f64::from(u8::from(finished && complete)),
            1,
        )
        .at_least(1.0)
        .note("an undisturbed run afterwards adds the rest"),
    );
    Ok(())
}

fn start_add(bench: &Bench, cabinet: &Path, photos: &[PathBuf]) -> Result<Child> {
    Ok(bench
        .program
        .command(cabinet)
        .args(["--threads", "2", "--format", "jsonl", "add"])
        .args(photos)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()?)
}

struct Round {
    /// Photos reported as added.
    added: Vec<String>,
    was_killed: bool,
}

fn round(bench: &Bench, cabinet: &Path, photos: &[PathBuf], moment: Moment) -> Result<Round> {
    let mut child = start_add(bench, cabinet, photos)?;
    let out = child.stdout.take().ok_or("no pipe")?;
    let (send, receive) = mpsc::channel();
    // Everything that reached the pipe counts as said, up to the last whole line.
    let reader = thread::spawn(move || {
        let mut rows: Vec<Row> = Vec::new();
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            if let Ok(row) = serde_json::from_str(&line) {
                rows.push(row);
                // Nobody listens any more once the moment is chosen.
                let _ = send.send(());
            }
        }
        rows
    });
    match moment {
        Moment::After(delay) => thread::sleep(delay),
        Moment::AfterRow(delay) => {
            // An error means that it ended without a row.
            let _ = receive.recv();
            thread::sleep(delay);
        }
    }
    // Fails only if the process was waited for, which it was not.
    child.kill()?;
    let status = child.wait()?;
    let rows = reader.join().map_err(|_| "the reader failed")?;
    Ok(Round {
        added: rows
            .into_iter()
            .filter(|row| row.status == "added")
            .map(|row| row.photo)
            .collect(),
        was_killed: status.code().is_none(),
    })
}

/// Photos that the cabinet lists; none if there is no cabinet yet.
fn listed(bench: &Bench, cabinet: &Path) -> Result<BTreeSet<String>> {
    let done = bench
        .program
        .command(cabinet)
        .args(["--format", "jsonl", "cabinet", "list"])
        .output()?;
    Ok(String::from_utf8_lossy(&done.stdout)
        .lines()
        .filter_map(|line| serde_json::from_str::<Row>(line).ok())
        .map(|row| row.photo)
        .collect())
}

fn check(
    bench: &Bench,
    cabinet: &Path,
    reported: &BTreeSet<String>,
    tally: &mut Tally,
) -> Result<()> {
    let verified = bench
        .program
        .command(cabinet)
        .args(["cabinet", "verify"])
        .output()?;
    if !verified.status.success() {
        let told = String::from_utf8_lossy(&verified.stdout).into_owned()
            + &String::from_utf8_lossy(&verified.stderr);
        // Killed before there was a cabinet: nothing was promised.
        let none_yet = reported.is_empty() && told.contains("is no cabinet");
        if !none_yet {
            tally.unsound += 1;
            bench.say(&format!("kill: {}", told.trim()));
        }
    }
    let there = listed(bench, cabinet)?;
    let lost: Vec<_> = reported.difference(&there).collect();
    tally.lost += lost.len();
    for photo in lost {
        bench.say(&format!("kill: lost {photo}"));
    }
    Ok(())
}
