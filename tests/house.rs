//! The house order: which room may use which, and what stays in one file.
//! Source of the order: the `pub mod` lines of `src/lib.rs`, from the top down.

use std::{
    collections::BTreeSet,
    fs,
    path::{Path, PathBuf},
};

/// Rooms from here on see everything.
const SEES_ALL_FROM: &str = "cli";

/// No file is longer. Common practice, no source.
const LONGEST: usize = 500;

#[test]
fn a_room_uses_only_rooms_above_it() {
    let rooms = rooms();
    let mut wrong = Vec::new();
    for (file, text) in sources() {
        let Some(room) = room_of(&file) else { continue };
        wrong.extend(
            uses(&text, depth(&file), &rooms)
                .into_iter()
                .filter(|used| !may_use(&rooms, &room, used))
                .map(|used| format!("{}: `{room}` uses `{used}`", file.display())),
        );
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_belongs_to_a_room_that_lib_declares() {
    let rooms = rooms();
    for (file, _) in sources() {
        if let Some(room) = room_of(&file) {
            assert!(rooms.contains(&room), "{}", file.display());
        }
    }
}

#[test]
fn the_runtime_and_the_graph_are_each_used_in_one_file() {
    assert_eq!(files_with("ort"), [PathBuf::from("onnx.rs")]);
    assert_eq!(files_with("hnsw_rs"), [PathBuf::from("nearest/hnsw.rs")]);
}

#[test]
fn no_file_is_too_long() {
    for (file, text) in sources() {
        let lines = text.lines().count();
        assert!(lines <= LONGEST, "{}: {lines} lines", file.display());
    }
}

#[test]
fn the_readme_names_every_channel() {
    let readme = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    let text = fs::read_to_string(readme).unwrap();
    for channel in footring::channel::REGISTRY {
        let name = format!("`{}`", channel.name);
        assert!(text.contains(&name), "README.md does not name {name}");
    }
}

#[test]
fn the_reader_of_uses_sees_every_way_of_writing_them() {
    let rooms = ["error", "photo", "cabinet", "report", "cli"].map(str::to_owned);
    let text = r####"
        //! [`crate::report::words`] and "crate::cli" here are words.
        use crate::{
            error::{Error, Kind},
            cabinet::{self, Cabinet as report},
        };
        /* use crate::report; /* use crate::report; */ */
        fn f() -> &'static str {
            let quote = '"';
            let raw = r#"crate::report "quoted" "#;
            crate::cli::run(); // crate::report
            let text = "a \" crate::report";
            text
        }
        pub(in crate::photo) use super::report as page;
    "####;
    // In `src/photo.rs`, `super::` is the crate; one deeper it is the room.
    let seen = |depth| -> Vec<String> { uses(text, depth, &rooms).into_iter().collect() };
    assert_eq!(seen(2), ["cabinet", "cli", "error", "photo"]);
    assert_eq!(seen(1), ["cabinet", "cli", "error", "photo", "report"]);
    let own = "mod report; pub use self::report::X; fn f() { super::report::g() }";
    assert!(uses(own, 1, &rooms).is_empty());
    assert_eq!(uses("use super::super::cli;", 2, &rooms).len(), 1);
    assert_eq!(uses("use crate::*;", 2, &rooms).len(), rooms.len());
}

#[test]
fn the_order_refuses_a_made_up_violation() {
    let rooms = ["error", "photo", "cabinet", "cli", "web"].map(str::to_owned);
    let may = |room: &str, used: &str| may_use(&rooms, room, used);
    assert!(may("cabinet", "photo"));
    assert!(may("cabinet", "cabinet"));
    assert!(!may("photo", "cabinet"));
    assert!(!may("error", "photo"));
    assert!(may("cli", "web"));
    assert!(!may("web", "cli"));
    assert!(!may("photo", "cli"));
}

#[test]
fn the_reader_of_words_passes_over_text_and_comments() {
    assert!(has_word("use ort::session;", "ort"));
    assert!(!has_word("// ort\nlet sort = \"ort\"; port();", "ort"));
}

/// Whether `room` may use `used`.
fn may_use(rooms: &[String], room: &str, used: &str) -> bool {
    let at = |name: &str| rooms.iter().position(|room| room == name);
    if room == used {
        return true;
    }
    used != SEES_ALL_FROM && (at(room) >= at(SEES_ALL_FROM) || at(used) < at(room))
}

/// The rooms in the order of `src/lib.rs`.
fn rooms() -> Vec<String> {
    let lib = code(&fs::read_to_string(src().join("lib.rs")).unwrap());
    let rooms: Vec<String> = lib
        .lines()
        .filter_map(|line| line.trim().strip_prefix("pub mod ")?.strip_suffix(';'))
        .map(str::to_owned)
        .collect();
    assert!(rooms.iter().any(|room| room == SEES_ALL_FROM), "{rooms:?}");
    rooms
}

/// The rooms that a source text names by `crate::` or by enough `super::`.
/// `depth` is how deep the file's module lies: 1 for `src/photo.rs`.
fn uses(text: &str, depth: usize, rooms: &[String]) -> BTreeSet<String> {
    let code = code(text);
    let own_module = |name: &str| {
        ["mod ", "pub mod "].iter().any(|m| {
            code.lines()
                .any(|line| line.trim().starts_with(&format!("{m}{name};")))
        })
    };
    let mut found = BTreeSet::new();
    for (at, _) in code.match_indices("crate::") {
        if !joins_word(&code, at) {
            found.extend(first_names(&code[at + "crate::".len()..]));
        }
    }
    for (at, _) in code.match_indices("super::") {
        if joins_word(&code, at) || code[..at].ends_with("super::") {
            continue;
        }
        let mut rest = &code[at..];
        let mut ups = 0;
        while let Some(after) = rest.strip_prefix("super::") {
            (rest, ups) = (after, ups + 1);
        }
        if ups >= depth {
            found.extend(
                first_names(rest)
                    .into_iter()
                    .filter(|name| name != "*" && !own_module(name)),
            );
        }
    }
    if found.contains("*") {
        found.extend(rooms.iter().cloned());
    }
    found.retain(|name| rooms.contains(name));
    found
}

/// Whether the text at `at` goes on a word, as in `my_crate::`.
fn joins_word(code: &str, at: usize) -> bool {
    code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_')
}

/// The names that a path or a braced group of paths begins with.
fn first_names(path: &str) -> Vec<String> {
    let word = |text: &str| -> String {
        let text = text.trim_start();
        if text.starts_with('*') {
            return "*".to_owned();
        }
        text.chars()
            .take_while(|c| c.is_alphanumeric() || *c == '_')
            .collect()
    };
    let Some(group) = path.strip_prefix('{') else {
        return vec![word(path)];
    };
    let mut names = vec![word(group)];
    let mut open = 1;
    for (i, c) in group.char_indices() {
        match c {
            '{' => open += 1,
            '}' => open -= 1,
            ',' if open == 1 => names.push(word(&group[i + 1..])),
            _ => {}
        }
        if open == 0 {
            break;
        }
    }
    names
}

/// A source text with its comments and literals blanked out.
fn code(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let skip = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            block_comment(rest)
        } else if let Some(end) = (!joins_word(&out, out.len()))
            .then(|| raw_string(rest))
            .flatten()
        {
            end
        } else if c == '"' {
            quoted(rest, '"')
        } else if c == '\'' {
            // `'a` may be a lifetime; a character closes within a few places.
            let end = quoted(rest, '\'');
            if rest[..end].chars().count() <= 3 || rest[1..].starts_with('\\') {
                end
            } else {
                1
            }
        } else {
            0
        };
        if skip == 0 {
            out.push(c);
            rest = &rest[c.len_utf8()..];
        } else {
            out.push(' ');
            rest = &rest[skip..];
        }
    }
    out
}

fn block_comment(text: &str) -> usize {
    let (mut open, mut at) = (0, 0);
    while at < text.len() {
        let rest = &text[at..];
        if rest.starts_with("/*") {
            (open, at) = (open + 1, at + 2);
        } else if rest.starts_with("*/") {
            (open, at) = (open - 1, at + 2);
            if open == 0 {
                break;
            }
        } else {
            at += rest.chars().next().map_or(1, char::len_utf8);
        }
    }
    at
}

fn raw_string(text: &str) -> Option<usize> {
    let inner = text.strip_prefix('b').unwrap_or(text).strip_prefix('r')?;
    let marks = inner.len() - inner.trim_start_matches('#').len();
    let body = inner[marks..].strip_prefix('"')?;
    let close = format!("\"{}", "#".repeat(marks));
    let end = body.find(&close)? + close.len();
    Some(text.len() - body.len() + end)
}

/// Length of the literal that begins and ends with `mark`.
fn quoted(text: &str, mark: char) -> usize {
    let mut escaped = false;
    for (i, c) in text.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            _ if c == mark => return i + c.len_utf8(),
            _ => {}
        }
    }
    text.len()
}

fn has_word(text: &str, word: &str) -> bool {
    code(text)
        .split(|c: char| !c.is_alphanumeric() && c != '_')
        .any(|found| found == word)
}

/// The files whose code uses a word.
fn files_with(word: &str) -> Vec<PathBuf> {
    sources()
        .into_iter()
        .filter(|(_, text)| has_word(text, word))
        .map(|(file, _)| file)
        .collect()
}

/// The room a file belongs to; `None` for `lib.rs` and `main.rs`.
fn room_of(file: &Path) -> Option<String> {
    let first = file.iter().next()?.to_str()?;
    let room = first.strip_suffix(".rs").unwrap_or(first);
    (room != "lib" && room != "main").then(|| room.to_owned())
}

fn depth(file: &Path) -> usize {
    file.components().count()
}

fn src() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// Every source file, by its path under `src/`.
fn sources() -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    let mut open = vec![src()];
    while let Some(dir) = open.pop() {
        for entry in fs::read_dir(&dir).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = fs::read_to_string(&path).unwrap();
                found.push((path.strip_prefix(src()).unwrap().to_owned(), text));
            }
        }
    }
    found.sort();
    assert!(found.len() > 10, "the sources are not there");
    found
}
