//! A writer is killed at random moments; nothing that it reported is lost.
//!
//! `FOOTRING_KILL_ROUNDS` sets how often (30 unless told).

use std::{
    collections::BTreeSet,
    io::{BufRead, BufReader, Write},
    path::Path,
    process::{Command, Stdio},
    time::{Duration, SystemTime},
};

use footring::cabinet::{Added, Cabinet, Origin};

use super::common::{all_find_themselves, sha256, snapshot, view};

const CHILD: &str = "FOOTRING_TEST_CHILD";

/// Not a test by itself: the process that is killed. Writes each photo's number
/// once the cabinet has reported it.
#[test]
fn the_process_that_is_killed() {
    let Ok(dir) = std::env::var(CHILD) else {
        return;
    };
    let mut cabinet = Cabinet::create_or_open(&dir).unwrap();
    let mut n = cabinet
        .stats()
        .unwrap()
        .features
        .values()
        .max()
        .copied()
        .unwrap_or(0) as u64;
    let mut out = std::io::stdout();
    loop {
        let batch: Vec<_> = (n..n + 1 + n % 4).map(view).collect();
        let answers = cabinet.add_views(&batch).unwrap();
        for (i, answer) in answers.iter().enumerate() {
            assert!(matches!(answer, Added::Added { .. }));
            // One write, so that a line is whole or not there.
            out.write_all(format!("added {}\n", n + i as u64).as_bytes())
                .unwrap();
        }
        out.flush().unwrap();
        n += batch.len() as u64;
        if n % 8 < 4 {
            cabinet
                .relabel(
                    &format!("cup-{}", n - 1),
                    &[("pattern", "vine")],
                    &Origin::default(),
                )
                .unwrap();
            // The label, never a photo that was reported.
            cabinet.undo(&Origin::default()).unwrap();
        }
        if n % 16 < 4 {
            snapshot(&cabinet);
        }
    }
}

/// Starts the writer, kills it after a while and gives what it reported.
fn round(dir: &Path, wait: Duration) -> Vec<u64> {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args([
            "cabinet::killed::the_process_that_is_killed",
            "--exact",
            "--nocapture",
        ])
        .env(CHILD, dir)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let out = child.stdout.take().unwrap();
    let reader = std::thread::spawn(move || {
        BufReader::new(out)
            .split(b'\n')
            .map_while(Result::ok)
            .filter_map(|line| {
                let line = String::from_utf8(line).ok()?;
                line.rsplit_once("added ")?.1.parse().ok()
            })
            .collect::<Vec<u64>>()
    });
    std::thread::sleep(wait);
    child.kill().unwrap();
    child.wait().unwrap();
    reader.join().unwrap()
}

#[test]
fn nothing_reported_is_lost_when_the_writer_is_killed() {
    let rounds: u64 = std::env::var("FOOTRING_KILL_ROUNDS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(30);
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("cabinet");
    let mut reported = BTreeSet::new();
    let mut random = SystemTime::now()
        .duration_since(SystemTime::UNIX_EPOCH)
        .unwrap()
        .subsec_nanos();
    for number in 0..rounds {
        random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let wait = Duration::from_millis(u64::from(random >> 16) % 300 + 2);
        reported.extend(round(&dir, wait));
        let cabinet = match Cabinet::open_read(&dir) {
            Ok(cabinet) => cabinet,
            // Killed before the first photo could be reported.
            Err(e) => {
                assert!(reported.is_empty(), "round {number}: {e}");
                continue;
            }
        };
        let problems = cabinet.verify().unwrap();
        assert_eq!(problems, [], "round {number} after {wait:?}");
        let there: BTreeSet<String> = cabinet
            .views()
            .unwrap()
            .into_iter()
            .map(|view| view.sha256)
            .collect();
        for n in &reported {
            assert!(
                there.contains(&sha256(*n)),
                "round {number} after {wait:?} lost photo {n}"
            );
        }
        if number % 10 == 9 {
            all_find_themselves(&snapshot(&cabinet));
        }
    }
    assert!(
        !reported.is_empty(),
        "the writer never came to report anything"
    );
    // The lock went with its holder.
    Cabinet::open(&dir).unwrap();
}
