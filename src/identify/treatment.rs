//! How colour sits on the piece, read from the zones of its surface.
//!
//! Grounds are compared at one luminance (a*, b*), where shade has no say. One photo
//! never makes a treatment firm: light and camera move colours, and what is not seen may
//! differ. The rule, with what it looks at (limits chosen on the studio's series
//! `treatments` of seed 610; see DEVELOPERS.md):
//!
//! | certainty | when |
//! |---|---|
//! | likely | both sides are seen, and grounds, rows and lip say one and the same |
//! | several | the side that would tell is not seen, or two readings are open |
//! | unknown | too little is seen, the outside has no one ground, or a colour lies between white and coloured |

use super::reading::{Certainty, Treatment, TreatmentReading};
use crate::{
    colour,
    outline::pose::View,
    raster,
    surface::{Face, Layers, Patch, Run, Surface, Tone},
};

/// Chroma at one luminance below which a ground is white (or grey), and above which it
/// is coloured.
const WHITE: f32 = 6.5;
const COLOURED: f32 = 8.0;
/// An inside beside a coloured outside is white below this.
const WHITE_INSIDE: f32 = 5.0;
/// Grounds nearer than this are one, farther apart than that two.
const SAME: f32 = 4.5;
const TWO: f32 = 9.0;
const APART: f32 = 7.0;
/// Share of the piece's surface that a side must have to be looked at, and share of
/// it that its ground must have.
const SEEN: [f32; 2] = [0.08, 0.06];
const GROUND: [f32; 2] = [0.4, 0.45];
const EVEN: f32 = 0.55;
/// The outside alone, from the side, must be as even as this.
const EVEN_SIDE: f32 = 0.85;
/// A white outside is no darker than this share of the inside's lightness.
const DARKER: f32 = 0.55;
/// Width of a run (as a share of the radius): below, a line; above, a band; between,
/// either.
const LINE: f64 = 0.045;
const BAND: f64 = 0.08;
/// Narrower runs are no layer.
const WIDE: f64 = 0.055;
/// The lip is free of colour below this share of its directions, and lined above.
const FREE: f64 = 0.2;
const LINED: f64 = 0.7;

/// The treatment by all views: the surest; two that contradict each other leave it open.
pub(super) fn read(surfaces: &[Option<Surface>]) -> TreatmentReading {
    let found: Vec<TreatmentReading> = surfaces.iter().flatten().map(of_view).collect();
    let with = |word: Certainty| found.iter().filter(move |t| t.certainty == word);
    let Some(first) = with(Certainty::Likely).next() else {
        let open = with(Certainty::Several).next().or(found.first());
        return open.cloned().unwrap_or_default();
    };
    let mut all = first.clone();
    for other in with(Certainty::Likely).flat_map(|t| &t.candidates) {
        if !all.candidates.contains(other) {
            all.candidates.push(*other);
            all.certainty = Certainty::Several;
        }
    }
    all
}

/// What to photograph so that the treatment is settled.
pub(super) fn advice(treatment: &TreatmentReading) -> Option<String> {
    (treatment.certainty == Certainty::Several && !treatment.sees_inside).then(|| {
        "photograph it from obliquely above: that shows the inside, and whether the colour goes there too"
            .to_owned()
    })
}

fn of_view(surface: &Surface) -> TreatmentReading {
    let tone = |patch: Option<&Patch>, k: usize| -> Option<Tone> {
        let patch = patch.filter(|patch| patch.share >= SEEN[k])?;
        patch
            .ground
            .clone()
            .filter(|ground| ground.share >= GROUND[k])
    };
    let outside = tone(surface.face(Face::Outside), 0);
    let inside = tone(surface.face(Face::Inside), 1).filter(|_| surface.zones.mouth.is_some());
    let (certainty, candidates) = match (&outside, &inside, &surface.layers) {
        (Some(outside), Some(inside), Some(layers)) => both(outside, inside, layers),
        (Some(outside), None, Some(layers)) if surface.zones.view() == View::Side => {
            from_the_side(outside, layers)
        }
        _ => (Certainty::Unknown, Vec::new()),
    };
    let said = |name: &str, tone: &Option<Tone>| match tone {
        Some(tone) => format!("{name} {}", tone.name),
        None => format!("{name} not seen well enough"),
    };
    TreatmentReading {
        certainty,
        candidates,
        basis: format!("{}; {}", said("outside", &outside), said("inside", &inside)),
        sees_inside: inside.is_some(),
    }
}

type Answer = (Certainty, Vec<Treatment>);

fn likely(one: Treatment) -> Answer {
    (Certainty::Likely, vec![one])
}

fn several(of: &[Treatment]) -> Answer {
    (Certainty::Several, of.to_vec())
}

const UNKNOWN: Answer = (Certainty::Unknown, Vec::new());

/// The inside is not seen: whether a colour goes there too is open.
fn from_the_side(outside: &Tone, layers: &Layers) -> Answer {
    let even = outside.share >= EVEN_SIDE && layers.runs.is_empty();
    match even && chroma(level(outside)) > COLOURED {
        true => several(&[
            Treatment::OutsideOnly,
            Treatment::InsideAndOut,
            Treatment::TwoTone,
        ]),
        false => UNKNOWN,
    }
}

fn both(outside: &Tone, inside: &Tone, layers: &Layers) -> Answer {
    let (out, into) = (level(outside), level(inside));
    let apart = (out[0] - into[0]).hypot(out[1] - into[1]);
    let wide: Vec<&Run> = layers
        .runs
        .iter()
        .filter(|run| run.width >= WIDE && run.to - run.from >= 0.03)
        .collect();
    if chroma(out) < WHITE {
        return on_white(outside, inside, chroma(into), layers, &wide);
    }
    let white_above = wide
        .iter()
        .any(|run| run.from < 0.1 && run.to > 0.2 && chroma(run.ab) < 7.0);
    if chroma(out) <= COLOURED {
        UNKNOWN
    } else if white_above {
        likely(Treatment::HalfDipped)
    } else if outside.share < EVEN {
        UNKNOWN
    } else if chroma(into) < WHITE_INSIDE && apart > APART {
        likely(Treatment::OutsideOnly)
    } else if apart < SAME && chroma(into) > COLOURED && wide.is_empty() {
        likely(Treatment::InsideAndOut)
    } else if apart > TWO && chroma(into) > COLOURED {
        likely(Treatment::TwoTone)
    } else {
        let mut open = vec![
            Treatment::OutsideOnly,
            Treatment::InsideAndOut,
            Treatment::TwoTone,
        ];
        if !wide.is_empty() {
            open.push(Treatment::HalfDipped);
        }
        several(&open)
    }
}

/// A white outside: is it coloured lower down, or does something go round it?
fn on_white(
    outside: &Tone,
    inside: &Tone,
    inside_chroma: f32,
    layers: &Layers,
    wide: &[&Run],
) -> Answer {
    use Treatment::{Band, HalfDipped, Line, Plain, TwoTone};
    if outside.lab[0] < DARKER * inside.lab[0] {
        // A grey or black outside is no white one in the shade.
        return UNKNOWN;
    }
    let is_below =
        |run: &&&Run| run.to > 0.7 && (0.3..0.8).contains(&run.from) && run.to - run.from > 0.1;
    if wide.iter().any(|run| is_below(&run)) {
        return likely(HalfDipped);
    }
    if inside_chroma > COLOURED {
        return several(&[HalfDipped, TwoTone]);
    }
    if inside_chroma >= WHITE {
        return UNKNOWN;
    }
    let lip = layers.lip.unwrap_or(1.0);
    match layers.runs.as_slice() {
        [one] if one.to <= 0.62 => {
            // At the very edge a part of it lies on the lip and is not counted.
            let is_cut = one.from < 0.02 && lip >= LINED;
            match one.width {
                w if w >= BAND => likely(Band),
                w if w < LINE && !is_cut => likely(Line),
                _ => several(&[Line, Band]),
            }
        }
        [] if layers.above < 0.004 && lip < FREE => likely(Plain),
        _ => several(&[Plain, Line, Band]),
    }
}

/// a* and b* at one luminance.
fn level(tone: &Tone) -> [f32; 2] {
    colour::at_one_luminance(raster::linear_of_lab(tone.lab))
}

fn chroma([a, b]: [f32; 2]) -> f32 {
    a.hypot(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(lab: [f32; 3]) -> Tone {
        Tone {
            lab,
            rgb: raster::srgb(lab),
            share: 0.95,
            name: colour::words(lab),
        }
    }

    const WHITE: [f32; 3] = [78.0, 0.0, 4.0];
    const BLUE: [f32; 3] = [45.0, -2.0, -22.0];
    const GREEN: [f32; 3] = [50.0, -20.0, 12.0];

    fn free() -> Layers {
        Layers {
            lip: Some(0.0),
            ..Layers::default()
        }
    }

    fn judged(outside: [f32; 3], inside: [f32; 3], layers: &Layers) -> Answer {
        both(&tone(outside), &tone(inside), layers)
    }

    #[test]
    fn the_two_sides_tell_where_the_colour_goes() {
        assert_eq!(judged(BLUE, WHITE, &free()), likely(Treatment::OutsideOnly));
        assert_eq!(judged(BLUE, BLUE, &free()), likely(Treatment::InsideAndOut));
        assert_eq!(judged(BLUE, GREEN, &free()), likely(Treatment::TwoTone));
        assert_eq!(judged(WHITE, WHITE, &free()), likely(Treatment::Plain));
        // The same blue in deep shade is still one ground.
        let shade = raster::lab_of_linear(raster::linear_of_lab(BLUE).map(|v| v * 0.3));
        assert_eq!(
            judged(BLUE, shade, &free()),
            likely(Treatment::InsideAndOut)
        );
    }

    #[test]
    fn what_goes_round_is_a_line_or_a_band_by_its_width_and_open_between() {
        let round = |width: f64| Layers {
            runs: vec![Run {
                from: 0.1,
                to: 0.1 + width,
                width,
                ab: [0.0, -20.0],
            }],
            ..free()
        };
        assert_eq!(judged(WHITE, WHITE, &round(0.03)), likely(Treatment::Line));
        assert_eq!(judged(WHITE, WHITE, &round(0.12)), likely(Treatment::Band));
        assert_eq!(judged(WHITE, WHITE, &round(0.06)).0, Certainty::Several);
    }

    #[test]
    fn what_is_not_seen_is_never_settled() {
        let (word, open) = from_the_side(&tone(BLUE), &Layers::default());
        assert_eq!(word, Certainty::Several);
        assert!(open.contains(&Treatment::OutsideOnly) && open.contains(&Treatment::InsideAndOut));
        assert_eq!(from_the_side(&tone(WHITE), &Layers::default()), UNKNOWN);
        // A black outside beside a white inside is not plain.
        assert_eq!(judged([20.0, 0.0, 1.0], WHITE, &free()), UNKNOWN);
        // Between white and coloured nothing is said.
        assert_eq!(judged([60.0, 0.0, 8.6], WHITE, &free()), UNKNOWN);
    }
}
