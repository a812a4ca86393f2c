//! The words and numbers that every format shares.

use crate::{
    colour::Difference,
    identify::{
        self,
        reading::{
            BorderReading, Candidate, Certainty, ChannelApart, ColourReading, Combination,
            DecorationReading, Face, Joined, Location, LookAlike, MotifMatch, Named, Patch,
            PieceReading, Reference, Settled, Side, SurfaceReading, TreatmentReading, View, Zone,
        },
    },
};

/// What distances mean, in one sentence.
pub(super) const DISTANCE: &str =
    "Distance: 0 = same, 1 = the usual distance between unrelated pieces.";

/// What is said of a piece whose outlines the neighbourhood graph ordered anew.
pub(super) const BY_GRAPH: &str = "Outlines were ordered anew by the set's own neighbourhood graph: \
    what the neighbours of the nearest resemble counts too.";

/// Labels shown of a short list; a longer one is said to go on.
pub(super) const OPEN_LABELS: usize = 5;

/// How many of a thing.
pub(super) fn counted(n: usize, one: &str) -> String {
    match n {
        1 => format!("1 {one}"),
        n => format!("{n} {one}s"),
    }
}

/// A level's name, what it means, its candidates and how settled it is.
pub(super) struct Level<'a> {
    pub(super) name: &'static str,
    pub(super) meaning: &'static str,
    pub(super) candidates: &'a [Candidate],
    pub(super) certainty: Certainty,
    pub(super) settled: &'a Settled,
}

impl<'a> Level<'a> {
    /// What is said where no label answers.
    pub(super) fn unanswered(&self) -> &'static str {
        match self.settled.unknown > 0.5 {
            true => "not in the set",
            false => "nothing in the set stands out",
        }
    }

    /// Labels of the short list that are not shown.
    pub(super) fn left_out(&self) -> usize {
        match self.certainty {
            Certainty::Several => self.settled.short_list.saturating_sub(OPEN_LABELS),
            _ => 0,
        }
    }

    /// What the word rests on, as a sentence.
    pub(super) fn basis(&self) -> String {
        match self.settled.trials {
            _ if self.settled.told => "Told, not read from the photo.".to_owned(),
            0 => "Rests on what the program brings along: the set is too small to try.".to_owned(),
            n => format!("Rests on {n} trials with the set's own photos."),
        }
    }

    /// The labels that answer: one where it is settled, several where it is
    /// open, none where it is unknown.
    pub(super) fn answers(&self) -> &'a [Candidate] {
        let n = match self.certainty {
            Certainty::Firm | Certainty::Likely => 1,
            Certainty::Several => self.settled.short_list.clamp(1, OPEN_LABELS),
            Certainty::Unknown => 0,
        };
        &self.candidates[..n.min(self.candidates.len())]
    }
}

/// The four levels of a piece, in the order of the schema.
pub(super) fn levels(piece: &PieceReading) -> [Level<'_>; 4] {
    identify::reading::Level::ALL.map(|level| Level {
        name: level.name(),
        meaning: match level {
            identify::reading::Level::Form => "type of piece",
            identify::reading::Level::Shape => "moulded family",
            identify::reading::Level::Pattern => "decoration",
            identify::reading::Level::Glaze => "ground colour",
        },
        candidates: piece.levels.get(level),
        certainty: *piece.certainty.get(level),
        settled: piece.settled.get(level),
    })
}

/// One word for how settled a level is; the same as in the schema.
pub(super) fn certainty(c: Certainty) -> &'static str {
    match c {
        Certainty::Firm => "firm",
        Certainty::Likely => "likely",
        Certainty::Several => "several",
        Certainty::Unknown => "unknown",
    }
}

/// The same as a phrase that explains itself.
pub(super) fn certainty_phrase(c: Certainty) -> &'static str {
    match c {
        Certainty::Firm => "of such answers, at least 97 in 100 are right",
        Certainty::Likely => "of such answers, at least 80 in 100 are right",
        Certainty::Several => "open; if it is in the set, the list holds it 95 times in 100",
        Certainty::Unknown => "nothing of the set stands out, as far as the photo tells",
    }
}

/// How a piece was photographed, as a phrase.
pub(super) fn view(v: View) -> &'static str {
    match v {
        View::Side => "seen from the side",
        View::Oblique => "seen from above at an angle",
        View::Top => "seen square on from above",
        View::Unknown => "view not told",
    }
}

/// What a white balance rests on, as a sentence.
pub(super) fn balance(reference: Reference) -> &'static str {
    match reference {
        Reference::Card => "White balance and lightness by the grey card pointed at.",
        Reference::Patch => "White balance by the neutral patch pointed at; lightness is in doubt.",
        Reference::Found => {
            "White balance and lightness by what looks like a grey card beside the piece."
        }
        Reference::Camera => {
            "White balance by the camera alone, so all colours are in doubt: lay a grey card beside the piece."
        }
    }
}

/// The colours in one line.
pub(super) fn colours(colour: &ColourReading) -> String {
    let mut text = format!("ground {}", colour.ground.name);
    for (i, other) in colour.decoration.iter().take(2).enumerate() {
        text += if i == 0 { "; with " } else { ", " };
        text += &other.name;
    }
    if colour.balance == Reference::Camera {
        text += "; in doubt without a grey card";
    }
    text
}

/// The ground colours of both sides in one line; empty where neither is known.
pub(super) fn surface(surface: &SurfaceReading) -> String {
    let tone = |name: &str, patch: &Option<Patch>| {
        let ground = patch.as_ref()?.ground.as_ref()?;
        Some(format!("{name} {}", ground.name))
    };
    let said = [
        tone("outside", &surface.outside),
        tone("inside", &surface.inside),
    ];
    said.into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// How colour sits on the piece; `None` where the photos do not tell.
pub(super) fn treatment(treatment: &TreatmentReading) -> Option<String> {
    let names: Vec<&str> = treatment.candidates.iter().map(|t| t.name()).collect();
    (!names.is_empty()).then(|| {
        let word = certainty(treatment.certainty);
        format!("{word}: {} ({})", names.join(" or "), treatment.basis)
    })
}

/// Colours of a decoration that are named in one line.
const COLOURS: usize = 3;

/// The five parts of a decoration, each with its name; what is not known says so.
pub(super) fn decoration(decoration: &DecorationReading) -> [(&'static str, String); 5] {
    let unknown = || "unknown".to_owned();
    let mut names: Vec<&str> = Vec::new();
    for colour in &decoration.colours {
        let name = short(&colour.name);
        if names.len() < COLOURS && !names.contains(&name) {
            names.push(name);
        }
    }
    [
        ("side", side(decoration).unwrap_or_else(unknown)),
        ("location", location(decoration).unwrap_or_else(unknown)),
        (
            "technique",
            decoration
                .technique
                .name()
                .map_or_else(unknown, str::to_owned),
        ),
        (
            "colours",
            match names.is_empty() {
                true => unknown(),
                false => names.join(", "),
            },
        ),
        (
            "motif",
            decoration.motif.as_ref().map_or_else(unknown, motif),
        ),
    ]
}

/// The same in one line, what is unknown left out; `None` where none of it was seen.
pub(super) fn decoration_line(decoration: &DecorationReading) -> Option<String> {
    let [side, location, technique, colours, motif] =
        self::decoration(decoration).map(|(_, said)| (said != "unknown").then_some(said));
    let is_seen = side.is_some() || location.is_some() || technique.is_some();
    let place = match (side, location) {
        (Some(side), Some(location)) => Some(format!("{side}: {location}")),
        (side, location) => side.or(location),
    };
    let motif = motif.map(|motif| format!("most like {motif}"));
    let border = decoration.border.as_ref().map(border);
    let parts = [place, technique, colours].into_iter().flatten();
    let said: Vec<String> = parts.chain(border).chain(motif).collect();
    is_seen.then(|| said.join("; "))
}

fn side(decoration: &DecorationReading) -> Option<String> {
    let sees = |face: Face| decoration.seen.contains(&face);
    Some(
        match decoration.side? {
            Side::Both => "outside and inside",
            Side::Outside if sees(Face::Inside) => "outside only",
            Side::Outside => "outside (inside not seen)",
            Side::Inside if sees(Face::Outside) => "inside only",
            Side::Inside => "inside (outside not seen)",
        }
        .to_owned(),
    )
}

fn location(decoration: &DecorationReading) -> Option<String> {
    if decoration.all_over {
        return Some("all over".to_owned());
    }
    let mut names: Vec<&str> = Vec::new();
    for Location { zone, .. } in &decoration.locations {
        if !names.contains(&zone.name()) {
            names.push(zone.name());
        }
    }
    (!names.is_empty()).then(|| names.join(", "))
}

fn motif(motif: &MotifMatch) -> String {
    format!(
        "{} ({}, {})",
        motif.label,
        distance(motif.distance),
        certainty(motif.certainty)
    )
}

/// How often a border is repeated.
pub(super) fn border(border: &BorderReading) -> String {
    let times = match border.repeats {
        [low, high] if low == high => format!("{low} times"),
        [low, high] => format!("about {low} to {high} times"),
    };
    let round = match border.zone {
        Zone::RimBand | Zone::EdgeLine | Zone::Verge => "the rim",
        zone => return format!("a design repeats {times} round the {}", zone.name()),
    };
    format!("border repeats {times} round {round}")
}

/// A colour's name without its notation.
fn short(name: &str) -> &str {
    name.split(" (").next().unwrap_or(name)
}

/// Distances that differ by less are alike: two decimals are shown, and the last
/// is the photo's.
const ALIKE: f64 = 0.02;

/// What the levels say together: a word for what each remark is about, and the
/// remark.
pub(super) fn joined(joined: &Joined) -> Vec<(&'static str, String)> {
    let mut said = Vec::new();
    let name = |named: &Named| format!("{} {}", named.level, named.label);
    let names = |all: &[Named]| all.iter().map(name).collect::<Vec<_>>().join(", ");
    for pair in &joined.new_pairs {
        let [a, b] =
            [0, 1].map(|i| format!("{} ({} pieces)", name(&pair.labels[i]), pair.pieces[i]));
        said.push((
            "joined",
            format!("new combination: the set has {a} and {b}, but none of both"),
        ));
    }
    if let Some(new) = &joined.perhaps_new {
        said.push((
            "joined",
            format!(
                "perhaps a new combination: the set has pattern {} on no shape of this moulding; \
                 it is most like shape {}, and shape {}, the nearest that has the pattern, is {} \
                 times as far",
                new.pattern, new.shape, new.known_on, new.times_as_far
            ),
        ));
    }
    if joined.combination == Combination::Known {
        let both: Vec<String> = joined
            .labels
            .iter()
            .filter(|named| named.level != "glaze")
            .map(name)
            .collect();
        said.push((
            "joined",
            format!("known in the set: {}", both.join(" with ")),
        ));
    }
    if let Some(years) = &joined.years {
        let basis: Vec<String> = years
            .basis
            .iter()
            .map(|b| format!("{} {} {}", b.level, b.label, identify::span(b.from, b.to)))
            .collect();
        let span = identify::span(years.from, years.to);
        said.push(("years", format!("{span}, by the set: {}", basis.join(", "))));
    }
    said.extend(
        joined
            .years_conflict
            .iter()
            .map(|text| ("years", text.clone())),
    );
    for (what, shared) in [("maker", &joined.maker), ("mark", &joined.mark)] {
        if let Some(shared) = shared {
            let values = shared.values.join(" or ");
            said.push((
                what,
                format!("{values}, by the set: {}", names(&shared.basis)),
            ));
        }
    }
    said.extend(joined.notes.iter().map(|text| ("note", text.clone())));
    said
}

/// How one channel sees two look-alikes.
pub(super) fn apart(channel: &ChannelApart, labels: &[String; 2]) -> String {
    let [a, b] = channel.distances;
    let name = &channel.channel;
    let (da, db) = (distance(a), distance(b));
    if (a - b).abs() < ALIKE {
        return format!("{name} is as near to both ({da} and {db})");
    }
    let [nearer, dn, farther, df] = if a < b {
        [&labels[0], &da, &labels[1], &db]
    } else {
        [&labels[1], &db, &labels[0], &da]
    };
    format!("{name} is nearer to {nearer} ({dn}) than to {farther} ({df})")
}

/// A pair of look-alikes in one line.
pub(super) fn look_alike(pair: &LookAlike) -> String {
    let [a, b] = &pair.labels;
    let mut text = format!("{} {a} or {b}", pair.level);
    if let Some(note) = &pair.note {
        text += &format!(": {} ({})", note.text, note.who);
    }
    for channel in &pair.channels {
        text += &format!("; {}", apart(channel, &pair.labels));
    }
    text
}

/// How far two grounds are apart, and whether the photos tell.
pub(super) fn difference(d: &Difference) -> String {
    let told = if d.told_apart {
        "told apart"
    } else {
        "cannot be told apart in these photos: photograph both together with a grey card"
    };
    format!("CIEDE2000 {:.1} ± {:.1}, {told}", d.delta_e00, d.doubt)
}

/// A distance with two decimals; a dash where there is no number.
pub(super) fn distance(d: f64) -> String {
    if d.is_finite() {
        // Adding zero turns a negative zero into a plain one.
        format!("{:.2}", d + 0.0)
    } else {
        "–".to_owned()
    }
}

/// A share of 1 in whole percent; a dash where there is no number.
pub(super) fn percent(share: f64) -> String {
    if !share.is_finite() {
        return "–".to_owned();
    }
    let p = share.clamp(0.0, 1.0) * 100.0;
    // Neither nothing nor all may be claimed by rounding.
    if p > 0.0 && p < 1.0 {
        "< 1 %".to_owned()
    } else if p > 99.0 && p < 100.0 {
        "> 99 %".to_owned()
    } else {
        format!("{p:.0} %")
    }
}

/// Takes out what has no place in a line of text: control characters (they
/// could drive a terminal) and marks that reorder what follows them.
pub fn plain(text: &str) -> String {
    text.chars()
        .filter_map(|c| match c {
            '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => Some(' '),
            '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => None,
            c if c.is_control() => Some('\u{fffd}'),
            c => Some(c),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_claim_no_more_than_they_hold() {
        assert_eq!(distance(-0.0), "0.00");
        assert_eq!(distance(f64::NAN), "–");
        assert_eq!(percent(0.004), "< 1 %");
        assert_eq!(percent(0.996), "> 99 %");
        assert_eq!(percent(1.0), "100 %");
        assert_eq!(percent(0.424), "42 %");
    }

    #[test]
    fn plain_text_cannot_drive_a_terminal() {
        assert_eq!(plain("a\u{1b}[31mb\tc\u{202e}d"), "a\u{fffd}[31mb cd");
    }
}
