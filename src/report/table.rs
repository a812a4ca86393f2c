//! A short table for the terminal.

use unicode_width::UnicodeWidthStr;

use crate::{
    identify::{
        cautions,
        reading::{Certainty, Match, PieceReading, Reading, Status},
    },
    report::words::{self, Level},
};

/// What the terminal can show.
#[derive(Clone, Copy, Debug)]
pub struct Terminal {
    /// Columns; no line is longer.
    pub width: usize,
    /// Whether colour may be used. Nothing is told by colour alone.
    pub colour: bool,
}

impl Default for Terminal {
    fn default() -> Self {
        Self {
            width: 80,
            colour: false,
        }
    }
}

/// Matches named on the line `nearest`.
const NEAREST: usize = 3;
/// Columns of the names in front: two blanks, the longest name, two blanks.
const MARGIN: usize = 11;

/// Each photo with its answer on every level, the nearest pieces, and the first
/// warning and advice; at the end what the numbers mean and do not mean.
pub fn table(readings: &[Reading], terminal: Terminal) -> String {
    let mut out = Lines {
        text: String::new(),
        terminal,
    };
    for reading in readings {
        photo(&mut out, reading);
    }
    if readings.iter().any(|r| !r.pieces.is_empty()) {
        out.wrapped("", words::DISTANCE);
        out.wrapped("", cautions::SHORT);
    }
    out.text
}

fn photo(out: &mut Lines, reading: &Reading) {
    out.line(Style::Strong, &words::plain(&reading.photo));
    if let Some(error) = &reading.error {
        out.wrapped("failed", &words::plain(&error.message));
    } else if reading.status == Status::Failed {
        out.wrapped("failed", "no reason was given");
    } else if reading.pieces.is_empty() {
        out.wrapped("", "read; no piece was found in it");
    }
    for (i, seen) in reading.pieces.iter().enumerate() {
        let [left, top, width, height] = seen.box_px;
        let mut heading = format!("piece {}: {}", i + 1, words::view(seen.view));
        if reading.pieces.len() > 1 {
            heading += &format!(", {width} x {height} px at {left}, {top}");
        }
        out.line(Style::Faint, &format!("  {heading}"));
        piece(out, seen);
    }
    first_of(out, "warning", reading.warnings.iter().map(|w| &w.text));
    out.text.push('\n');
}

fn piece(out: &mut Lines, piece: &PieceReading) {
    let levels = words::levels(piece);
    for level in &levels {
        let (style, distance, said) = answer(level);
        out.fields(level, style, &distance, &said);
    }
    for (what, said) in words::joined(&piece.joined) {
        out.wrapped(what, &words::plain(&said));
    }
    // The page has them all: here the first of each level, and those with a note.
    let mut level = "";
    for pair in &piece.look_alikes {
        if pair.level != level || pair.note.is_some() {
            out.wrapped("apart", &words::plain(&words::look_alike(pair)));
        }
        level = &pair.level;
    }
    if let Some(colour) = &piece.colour {
        out.wrapped("colour", &words::colours(colour));
    }
    let surface = piece.surface.as_ref().map(words::surface);
    match words::treatment(&piece.treatment) {
        Some(said) => out.wrapped("treated", &said),
        None => {
            if let Some(said) = surface.filter(|said| !said.is_empty()) {
                out.wrapped("surface", &said);
            }
        }
    }
    if let Some(said) = words::decoration_line(&piece.decoration) {
        out.wrapped("decor", &words::plain(&said));
    }
    let near: Vec<String> = piece.matches.iter().take(NEAREST).map(near).collect();
    if near.is_empty() {
        out.wrapped("nearest", "no piece of the set can be compared");
    } else {
        out.wrapped("nearest", &near.join(", "));
    }
    if piece.reordered_by_graph {
        out.wrapped("graph", words::BY_GRAPH);
    }
    first_of(out, "advice", piece.advice.iter());
}

fn near(m: &Match) -> String {
    format!(
        "{} ({})",
        words::plain(&m.piece),
        words::distance(m.distance)
    )
}

/// What one level says: a settled label, the open ones, or what came nearest.
fn answer(level: &Level<'_>) -> (Style, String, String) {
    let best = level.candidates.first();
    let distance = best.map_or_else(|| "–".to_owned(), |c| words::distance(c.distance));
    let said = match (level.certainty, best) {
        (_, None) => "nothing to compare with".to_owned(),
        (Certainty::Unknown, Some(c)) => {
            let nearest = words::plain(&c.label);
            format!("{}; nearest label: {nearest}", level.unanswered())
        }
        (_, Some(_)) => {
            let labels: Vec<String> = level
                .answers()
                .iter()
                .map(|c| words::plain(&c.label))
                .collect();
            let more = match level.left_out() {
                0 => String::new(),
                n => format!(" or {n} more"),
            };
            labels.join(" or ") + &more
        }
    };
    let style = match level.certainty {
        Certainty::Firm => Style::Firm,
        Certainty::Likely => Style::Likely,
        Certainty::Several => Style::Open,
        Certainty::Unknown => Style::Faint,
    };
    (style, distance, said)
}

/// The first of several remarks, and how many more there are.
fn first_of<'a>(out: &mut Lines, name: &str, mut texts: impl Iterator<Item = &'a String>) {
    let Some(first) = texts.next() else { return };
    let first = words::plain(first);
    match texts.count() {
        0 => out.wrapped(name, &first),
        more => out.wrapped(name, &format!("{first} (and {more} more)")),
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Style {
    Strong,
    Faint,
    Firm,
    Likely,
    Open,
}

impl Style {
    /// The parameter of the escape sequence that turns it on.
    fn on(self) -> &'static str {
        match self {
            Self::Strong => "1",
            Self::Faint => "2",
            Self::Firm => "32",
            Self::Likely => "36",
            Self::Open => "33",
        }
    }
}

struct Lines {
    text: String,
    terminal: Terminal,
}

impl Lines {
    fn line(&mut self, style: Style, text: &str) {
        let fitted = fit(text, self.terminal.width);
        let painted = self.paint(style, &fitted);
        self.text.push_str(&painted);
        self.text.push('\n');
    }

    fn paint(&self, style: Style, text: &str) -> String {
        if self.terminal.colour && !text.is_empty() {
            format!("\u{1b}[{}m{text}\u{1b}[0m", style.on())
        } else {
            text.to_owned()
        }
    }

    /// A level's line: name, certainty, distance, then the label in what room is left.
    fn fields(&mut self, level: &Level<'_>, style: Style, distance: &str, said: &str) {
        let head = format!("  {:<9}", level.name);
        // Padded before it is painted: escape sequences have no width.
        let word = format!("{:<7}", words::certainty(level.certainty));
        let tail = format!("  {distance:>4}  ");
        let used = head.width() + word.width() + tail.width();
        let room = self.terminal.width.saturating_sub(used);
        if room < 8 {
            self.line(style, &format!("{head}{word}{tail}{said}"));
            return;
        }
        let word = self.paint(style, &word);
        let said = fit(said, room);
        self.text.push_str(&format!("{head}{word}{tail}{said}\n"));
    }

    /// A remark over as many lines as it takes, under its name.
    fn wrapped(&mut self, name: &str, text: &str) {
        let margin = if name.is_empty() { 2 } else { MARGIN };
        let room = self.terminal.width.saturating_sub(margin).max(1);
        let mut head = format!("  {name}");
        for line in wrap(text, room) {
            let gap = margin.saturating_sub(head.width());
            let whole = format!("{head}{:gap$}{line}", "");
            self.text
                .push_str(fit(&whole, self.terminal.width).trim_end());
            self.text.push('\n');
            head.clear();
        }
    }
}

/// The text, or as much of it as fits with `…` behind. Never parts a character
/// from the marks on it, and never leaves half of a wide one.
pub(super) fn fit(text: &str, room: usize) -> String {
    if text.width() <= room {
        return text.to_owned();
    }
    if room == 0 {
        return String::new();
    }
    let mut end = 0;
    for (at, c) in text.char_indices() {
        let next = at + c.len_utf8();
        // The whole prefix is measured: a character may widen the one before.
        if text[..next].width() > room - 1 {
            break;
        }
        end = next;
    }
    format!("{}…", &text[..end])
}

/// Lines of at most `room` columns, broken at blanks; a word longer than a line
/// is shortened.
pub(super) fn wrap(text: &str, room: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let word = fit(word, room);
        match lines.last_mut() {
            Some(line) if line.width() + 1 + word.width() <= room => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wide_characters_are_never_halved() {
        assert_eq!(fit("青花瓷碗", 8), "青花瓷碗");
        assert_eq!(fit("青花瓷碗", 7), "青花瓷…");
        assert_eq!(fit("青花瓷碗", 6), "青花…");
        assert_eq!(fit("cafe\u{301} bowl", 5), "cafe\u{301}…");
        assert_eq!(fit("cup", 0), "");
    }

    #[test]
    fn wrapping_keeps_every_word_that_fits() {
        let lines = wrap("one two three four", 9);
        assert_eq!(lines, ["one two", "three", "four"]);
        assert_eq!(wrap("abcdefghij", 5), ["abcd…"]);
    }
}
