//! An assessment for the terminal.

use super::{bare, baselines, counted, is_broken, with_interval};
use crate::{
    assess::{Assessment, LevelAssessment},
    report::{
        table::{Terminal, fit, wrap},
        words,
    },
};

/// Rows of a list that are shown.
const SHOWN: usize = 5;

/// What an assessment says, over as many lines as it takes.
pub fn table(assessment: &Assessment, terminal: Terminal) -> String {
    let mut lines = Lines {
        text: String::new(),
        width: terminal.width,
    };
    lines.put(&format!(
        "{}: {}, {}",
        assessment.cabinet,
        counted(assessment.pieces, "piece"),
        counted(assessment.photos, "photo")
    ));
    lines.put(&format!(
        "Asked about {}, each by one photo with all its own photos left out.",
        counted(assessment.asked, "piece")
    ));
    lines.put("Intervals hold 95 % (Wilson); macro: mean over labels.");
    lines.put(
        "Words: how often said of labels the set holds + of labels struck off, and how often right.",
    );
    for (name, level) in assessment.levels.by_name() {
        lines.text.push('\n');
        one(&mut lines, name, level);
    }
    if let Some(same) = &assessment.same_piece {
        lines.text.push('\n');
        lines.put(&format!(
            "same piece in another photo: {} asked about",
            counted(same.asked, "piece")
        ));
        lines.row("R@1", &with_interval(same.r1.as_ref()));
        lines.row("mAP", &with_interval(same.map.as_ref()));
    }
    lines.text
}

fn one(lines: &mut Lines, name: &str, level: &LevelAssessment) {
    lines.put(&format!(
        "{name}: {} of {}, {} asked about",
        counted(level.labels, "label"),
        counted(level.pieces, "piece"),
        level.r1.map_or(0, |r| r.n)
    ));
    if let Some(note) = &level.note {
        lines.row("note", note);
    }
    if level.not_shown > 0 {
        let text = format!(
            "{}: the photo does not show it",
            counted(level.not_shown, "piece")
        );
        lines.row("left out", &text);
    }
    if level.r1.is_some() {
        measured(lines, level);
    }
    let confusions: Vec<String> = level
        .confusions
        .iter()
        .map(|c| format!("{} as {} ({})", c.truth, c.read_as, c.times))
        .collect();
    lines.listed("taken", &confusions);
    let pairs: Vec<String> = level
        .look_alikes
        .iter()
        .map(|pair| {
            let [a, b] = &pair.labels;
            format!("{a} and {b} ({:.2})", pair.mixed.rate)
        })
        .collect();
    lines.listed("look-alikes", &pairs);
    lines.listed("one piece only", &level.single);
}

fn measured(lines: &mut Lines, level: &LevelAssessment) {
    for (name, rate, of_labels) in [
        ("R@1", &level.r1, &level.macro_r1),
        ("R@5", &level.r5, &level.macro_r5),
    ] {
        let text = format!(
            "{:<24}  macro {}",
            with_interval(rate.as_ref()),
            with_interval(of_labels.as_ref())
        );
        lines.row(name, &text);
    }
    lines.row("mAP", &with_interval(level.map.as_ref()));
    let trivial: Vec<String> = baselines(&level.baselines)
        .iter()
        .filter_map(|(name, rate)| Some(format!("{name} {}", bare(Some(rate.as_ref()?)))))
        .collect();
    if !trivial.is_empty() {
        lines.row("baselines R@1", &trivial.join(", "));
    }
    for word in &level.words {
        let of = format!("{} + {}", word.said, word.said_struck_off);
        let promised = match word.promised {
            Some(promised) if is_broken(word) => format!("  promised {promised:.2}: not kept"),
            Some(promised) => format!("  promised {promised:.2}"),
            None => String::new(),
        };
        let listed = match word.listed {
            Some(listed) => format!(", {listed:.1} labels"),
            None => String::new(),
        };
        let text = format!(
            "{of:<11}  right {:<24}{promised}{listed}",
            with_interval(word.right.as_ref())
        );
        lines.row(words::certainty(word.word), &text);
    }
    if let Some(known) = &level.known {
        let text = format!(
            "AUROC {:.3}, false accept {} at 95 % true accept",
            known.auroc,
            with_interval(Some(&known.false_accept))
        );
        lines.row("in the set?", &text);
    }
    if let Some(curve) = &level.calibration {
        let text = format!(
            "expected calibration error {:.3} ({:.3} by chance alone)",
            curve.error, curve.by_chance
        );
        lines.row("shares", &text);
    }
}

struct Lines {
    text: String,
    width: usize,
}

impl Lines {
    fn put(&mut self, text: &str) {
        self.text.push_str(&fit(&words::plain(text), self.width));
        self.text.push('\n');
    }

    fn row(&mut self, name: &str, text: &str) {
        const MARGIN: usize = 18;
        let room = self.width.saturating_sub(MARGIN).max(1);
        let text = words::plain(text);
        let lines = if text.chars().count() <= room {
            vec![text.trim_end().to_owned()]
        } else {
            wrap(&text, room)
        };
        let mut head = format!("  {name:<16}");
        for line in lines {
            self.put(&format!("{head}{line}"));
            head = " ".repeat(MARGIN);
        }
    }

    /// The first of several, and how many more there are.
    fn listed(&mut self, name: &str, all: &[String]) {
        if all.is_empty() {
            return;
        }
        let mut text = all[..all.len().min(SHOWN)].join(", ");
        if all.len() > SHOWN {
            text += &format!(" and {} more", all.len() - SHOWN);
        }
        self.row(name, &text);
    }
}
