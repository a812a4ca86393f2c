//! Readings and pictures made up for the tests: cups that nobody has made.

use std::{collections::BTreeMap, sync::Arc};

use footring::{
    colour::{self, Difference, Ground, Reference},
    identify::{
        cautions,
        reading::{
            Basis, BorderReading, Candidate, Certainty, ChannelApart, ColourReading, Combination,
            DecorationReading, Face, Failure, Joined, Levels, Location, LookAlike, Match,
            MotifMatch, Named, NamedSwatch, NewPair, Patch, PieceReading, Range, Reading, Remark,
            SCHEMA, Seen, Settled, Shared, Side, Status, SurfaceReading, Technique, Tone,
            Treatment, TreatmentReading, View, Zone,
        },
    },
    outline::Outline,
    report::{Exhibit, Heading, Sample, Sight, Swatch},
    warning::{Code, Warning},
};
use image::{GrayImage, Luma, Rgb, RgbImage, codecs::jpeg::JpegEncoder};

pub(crate) fn candidate(label: &str, distance: f64, probability: f64) -> Candidate {
    Candidate {
        label: label.into(),
        distance,
        pieces: 3,
        probability,
        matches: vec![1],
    }
}

pub(crate) fn texts(pairs: &[(&str, &str)]) -> BTreeMap<String, String> {
    pairs
        .iter()
        .map(|&(k, v)| (k.to_owned(), v.to_owned()))
        .collect()
}

pub(crate) fn likeness(rank: usize, piece: &str, distance: f64, channels: &[(&str, f64)]) -> Match {
    Match {
        rank,
        piece: piece.into(),
        photo: format!("set/{piece}-side.jpg"),
        distance,
        ground: Some(Difference {
            delta_e00: 3.1,
            doubt: 2.4,
            told_apart: false,
        }),
        channels: channels
            .iter()
            .map(|&(name, d)| (name.to_owned(), d))
            .collect(),
        outline_by_graph: None,
        labels: texts(&[
            ("form", "teacup"),
            ("shape", "low flared"),
            ("pattern", "blue rim band"),
            ("glaze", "ivory"),
            ("maker", "not marked"),
            ("year_from", "1931"),
        ]),
    }
}

/// A blue ground with one other colour.
fn colours() -> ColourReading {
    let lab = [62.0, -4.0, -22.0];
    let numbers = [62.0, -4.0, -22.0, 1.2, 8.0, 0.8, -1.0, 0.0, 0.0];
    ColourReading {
        balance: Reference::Found,
        ground: Ground::from_numbers(&numbers).unwrap(),
        decoration: vec![NamedSwatch {
            swatch: colour::Swatch {
                lab,
                rgb: [120, 150, 190],
                share: 0.1,
            },
            name: colour::words(lab),
        }],
    }
}

fn settled(short_list: usize, unknown: f64) -> Settled {
    Settled {
        short_list,
        unknown,
        trials: 120,
        told: false,
    }
}

fn surface() -> SurfaceReading {
    let blue = Tone {
        lab: [62.0, -4.0, -22.0],
        rgb: [116, 154, 188],
        share: 0.9,
        name: "blue".into(),
    };
    SurfaceReading {
        view: View::Oblique,
        outside: Some(Patch {
            share: 0.5,
            ground: Some(blue),
            decorated: Some(0.2),
        }),
        inside: None,
        zones: vec![Seen {
            zone: Zone::RimBand,
            face: Some(Face::Outside),
            patch: Patch {
                share: 0.25,
                ground: None,
                decorated: None,
            },
        }],
    }
}

fn decoration() -> DecorationReading {
    DecorationReading {
        side: Some(Side::Outside),
        seen: vec![Face::Outside],
        all_over: false,
        locations: vec![Location {
            zone: Zone::RimBand,
            face: Some(Face::Outside),
            share: 0.4,
        }],
        technique: Technique::Applied,
        colours: colours().decoration,
        border: Some(BorderReading {
            zone: Zone::RimBand,
            face: Some(Face::Outside),
            repeats: [22, 24],
            whole_turn: false,
            likeness: 0.8,
        }),
        motif: Some(MotifMatch {
            label: "blue rim band".into(),
            distance: 0.52,
            certainty: Certainty::Several,
        }),
    }
}

pub(crate) fn piece() -> PieceReading {
    PieceReading {
        box_px: [96, 120, 310, 220],
        mask_area_px2: 40_120.5,
        view: View::Side,
        reordered_by_graph: false,
        levels: Levels {
            form: vec![
                candidate("teacup", 0.18, 0.91),
                candidate("demitasse", 0.55, 0.06),
            ],
            shape: vec![
                candidate("low flared", 0.24, 0.63),
                candidate("tall flared", 0.48, 0.22),
            ],
            pattern: vec![
                candidate("blue rim band", 0.52, 0.38),
                candidate("blue rim band with rose sprigs", 0.55, 0.33),
                candidate("cobalt edge line", 0.6, 0.2),
            ],
            glaze: vec![candidate("celadon", 0.97, 0.12)],
        },
        certainty: Levels {
            form: Certainty::Firm,
            shape: Certainty::Likely,
            pattern: Certainty::Several,
            glaze: Certainty::Unknown,
        },
        settled: Levels {
            form: settled(1, 0.02),
            shape: settled(2, 0.11),
            pattern: settled(3, 0.09),
            glaze: settled(1, 0.88),
        },
        joined: Joined::default(),
        look_alikes: vec![],
        colour: Some(colours()),
        surface: Some(surface()),
        treatment: TreatmentReading {
            certainty: Certainty::Several,
            candidates: vec![Treatment::OutsideOnly, Treatment::InsideAndOut],
            basis: "outside blue; inside not seen well enough".into(),
            sees_inside: false,
        },
        decoration: decoration(),
        matches: vec![
            likeness(
                1,
                "C-0012",
                0.21,
                &[
                    ("outline", 0.12),
                    ("form", 0.2),
                    ("decoration", 0.41),
                    ("colour", 0.33),
                ],
            ),
            likeness(
                2,
                "C-0044",
                0.48,
                &[("outline", 0.36), ("decoration", 0.72), ("colour", 1.9)],
            ),
            likeness(3, "C-0100", 0.66, &[("outline", 0.6)]),
        ],
        advice: vec![
            "photograph the underside: the mark may settle the pattern".into(),
            "lay a grey card beside the piece".into(),
        ],
        cautions: cautions::standing(),
    }
}

fn named(level: &str, label: &str) -> Named {
    Named {
        level: level.into(),
        label: label.into(),
    }
}

/// A shape and a pattern that the set has on no piece together.
pub(crate) fn joined() -> Joined {
    let (shape, pattern) = (
        named("shape", "low flared"),
        named("pattern", "blue rim band"),
    );
    Joined {
        combination: Combination::New,
        perhaps_new: None,
        labels: vec![shape.clone(), pattern.clone()],
        new_pairs: vec![NewPair {
            labels: [shape.clone(), pattern.clone()],
            pieces: [3, 2],
        }],
        years: Some(Range {
            from: Some(1931),
            to: None,
            basis: vec![Basis {
                level: "shape".into(),
                label: "low flared".into(),
                from: Some(1931),
                to: None,
                pieces: 2,
            }],
        }),
        years_conflict: None,
        maker: Some(Shared {
            values: vec!["Quellmoor Pottery".into()],
            basis: vec![shape],
        }),
        mark: Some(Shared {
            values: vec!["a moor hen".into()],
            basis: vec![pattern],
        }),
        notes: vec!["the nearest piece is borrowed".into()],
    }
}

/// Two shapes, of which the set has pictures.
pub(crate) fn look_alike() -> LookAlike {
    LookAlike {
        level: "shape".into(),
        labels: ["low flared".into(), "tall flared".into()],
        pieces: ["C-0012".into(), "C-0044".into()],
        photos: ["set/C-0012-side.jpg".into(), "set/C-0044.jpg".into()],
        ranks: [Some(1), Some(2)],
        channels: vec![
            ChannelApart {
                channel: "outline".into(),
                distances: [0.12, 0.36],
                apart: Some(0.31),
            },
            ChannelApart {
                channel: "form".into(),
                distances: [0.2, 0.21],
                apart: None,
            },
        ],
        note: Some(Remark {
            text: "the handle joins lower".into(),
            who: "a curator".into(),
            at: "2031-05-04T10:00:00Z".into(),
        }),
    }
}

pub(crate) fn reading(photo: &str, pieces: Vec<PieceReading>) -> Reading {
    Reading {
        schema: SCHEMA.into(),
        photo: photo.into(),
        status: Status::Ok,
        error: None,
        warnings: vec![Warning::new(Code::Glare)],
        pieces,
        views: vec![],
    }
}

pub(crate) fn failed(photo: &str) -> Reading {
    Reading {
        schema: SCHEMA.into(),
        photo: photo.into(),
        status: Status::Failed,
        error: Some(Failure {
            kind: "damaged".into(),
            message: format!("{photo}: is no picture; copy it again from the camera"),
        }),
        warnings: vec![],
        pieces: vec![],
        views: vec![],
    }
}

pub(crate) fn three() -> Vec<Reading> {
    vec![
        reading("kitchen/cup.jpg", vec![piece()]),
        reading("table.jpg", vec![piece(), piece()]),
        failed("broken.jpg"),
    ]
}

/// A reading in which every text a user or a file may supply is `text`.
pub(crate) fn poisoned(text: &str) -> Reading {
    let mut piece = piece();
    for level in [
        &mut piece.levels.form,
        &mut piece.levels.shape,
        &mut piece.levels.pattern,
        &mut piece.levels.glaze,
    ] {
        level.iter_mut().for_each(|c| c.label = text.into());
    }
    for m in &mut piece.matches {
        m.piece = text.into();
        m.photo = text.into();
        m.channels.insert(text.into(), 0.5);
        m.labels.insert(text.into(), text.into());
        m.labels.insert("shape".into(), text.into());
    }
    piece.joined = joined();
    piece.joined.years_conflict = Some(text.into());
    for named in &mut piece.joined.labels {
        named.label = text.into();
    }
    for named in &mut piece.joined.new_pairs[0].labels {
        named.label = text.into();
    }
    for shared in [&mut piece.joined.maker, &mut piece.joined.mark] {
        shared.as_mut().unwrap().values = vec![text.into()];
    }
    piece.joined.notes.push(text.into());
    let mut pair = look_alike();
    pair.labels = [text.into(), text.into()];
    pair.pieces = [text.into(), text.into()];
    pair.photos = [text.into(), text.into()];
    pair.channels[0].channel = text.into();
    let note = pair.note.as_mut().unwrap();
    (note.text, note.who, note.at) = (text.into(), text.into(), text.into());
    piece.look_alikes.push(pair);
    piece.advice.push(text.into());
    piece.cautions.push(text.into());
    let mut reading = reading(text, vec![piece]);
    reading.warnings.push(Warning {
        code: Code::Blurred,
        text: text.into(),
    });
    reading
}

/// A cup from the side: a bowl that narrows by `flare`, a foot, and a handle
/// with its hole.
pub(crate) fn cup(left: f32, top: f32, size: f32, flare: f32) -> Outline {
    let half = |t: f32| 0.5 - flare * t - (0.3 - flare) * t.powi(3);
    let wall = |t: f32| [0.5 + half(t), 0.68 * t];
    let steps = |from: f32, to: f32| (0..=16).map(move |i| from + (to - from) * i as f32 / 16.0);
    // A bow from one point of the wall to another.
    let bow = |from: [f32; 2], to: [f32; 2], out: f32| {
        steps(-1.0, 1.0).map(move |s| {
            let (sin, cos) = (s * std::f32::consts::FRAC_PI_2).sin_cos();
            let along = (1.0 + sin) / 2.0;
            let mix = |axis: usize| from[axis] + (to[axis] - from[axis]) * along;
            [mix(0) + out * cos, mix(1)]
        })
    };
    let mut outer = vec![[0.0, 0.0]];
    outer.extend(steps(0.0, 0.1).map(wall));
    outer.extend(bow(wall(0.1), wall(0.66), 0.27));
    outer.extend(steps(0.66, 1.0).map(wall));
    outer.extend([[0.71, 0.75], [0.29, 0.75]]);
    outer.extend(steps(1.0, 0.0).map(wall).map(|[x, y]| [1.0 - x, y]));
    let inner = |t: f32| [wall(t)[0] + 0.015, wall(t)[1]];
    let hole: Vec<[f32; 2]> = bow(inner(0.2), inner(0.54), 0.17).collect();
    let place = |ring: Vec<[f32; 2]>| {
        ring.into_iter()
            .map(|[x, y]| [left + x * size, top + y * size])
            .collect()
    };
    Outline {
        outer: place(outer),
        holes: vec![place(hole)],
    }
}

pub(crate) fn inside(outline: &Outline, x: f32, y: f32) -> bool {
    let mut odd = false;
    for ring in std::iter::once(&outline.outer).chain(&outline.holes) {
        for (a, b) in footring::outline::edges(ring) {
            if (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) {
                odd = !odd;
            }
        }
    }
    odd
}

pub(crate) fn mask(outline: &Outline, width: u32, height: u32) -> GrayImage {
    GrayImage::from_fn(width, height, |x, y| {
        Luma([u8::from(inside(outline, x as f32 + 0.5, y as f32 + 0.5)) * 255])
    })
}

/// Ivory cups with a blue band on a grey-green cloth.
pub(crate) fn picture(masks: &[GrayImage], top: u32, size: u32) -> RgbImage {
    RgbImage::from_fn(masks[0].width(), masks[0].height(), |x, y| {
        let light = 1.0 - 0.25 * (x as f32 / masks[0].width() as f32 - 0.4).abs();
        let below = (f64::from(y) - f64::from(top)) / f64::from(size);
        let band = (below - 0.09).abs() < 0.04;
        let base = match masks.iter().any(|m| m.get_pixel(x, y).0[0] > 0) {
            true if band => [46.0, 74.0, 128.0],
            true => [238.0, 228.0, 204.0],
            false => [132.0, 146.0, 138.0 + (x * 7 + y * 13) as f32 % 5.0],
        };
        Rgb(base.map(|v| (v * light) as u8))
    })
}

pub(crate) fn palette(shift: u8) -> Vec<Swatch> {
    vec![
        Swatch {
            lab: [90.6, -0.4, 12.9],
            rgb: [238, 228, 204 - shift],
            share: 0.71,
        },
        Swatch {
            lab: [31.2, 8.0, -34.5],
            rgb: [46, 74 + shift, 128],
            share: 0.17,
        },
        Swatch {
            lab: [70.1, 1.2, 9.0],
            rgb: [182 - shift, 170, 154],
            share: 0.12,
        },
    ]
}

pub(crate) fn sample(flare: f32) -> Sample {
    let outline = cup(30.0, 70.0, 150.0, flare);
    let mask = mask(&outline, 256, 256);
    let mut thumbnail = Vec::new();
    JpegEncoder::new_with_quality(&mut thumbnail, 85)
        .encode_image(&picture(&[mask], 70, 150))
        .expect("a picture can be written");
    Sample {
        thumbnail,
        // Normalised: a unit of its own.
        outline: cup(-0.5, -0.4, 1.0, flare),
        palette: palette(12),
        photo: "set/C-0012-side.jpg".into(),
    }
}

/// Pictures for a photo of `n` cups.
pub(crate) fn exhibits(name: &str, n: usize) -> Vec<Exhibit> {
    let (width, height) = (320 * n as u32 + 80, 360);
    let outlines: Vec<Outline> = (0..n)
        .map(|i| cup(60.0 + 320.0 * i as f32, 100.0, 210.0, 0.12))
        .collect();
    let masks: Vec<GrayImage> = outlines.iter().map(|o| mask(o, width, height)).collect();
    let photo = Arc::new(picture(&masks, 100, 210));
    let pieces = outlines.into_iter().zip(masks).enumerate();
    pieces
        .map(|(i, (outline, mask))| Exhibit {
            sights: vec![Sight {
                name: name.into(),
                crop: image::imageops::crop_imm(&*photo, 40 + 320 * i as u32, 40, 280, 280)
                    .to_image(),
                photo: Arc::clone(&photo),
                mask,
                outline,
            }],
            palette: palette(0),
            matches: vec![sample(0.14), sample(0.03)],
            look_alikes: vec![[sample(0.14), sample(0.03)]],
        })
        .collect()
}

pub(crate) fn pictured(readings: &[Reading]) -> Vec<Vec<Exhibit>> {
    readings
        .iter()
        .map(|r| match r.pieces.len() {
            0 => vec![],
            n => exhibits(&r.photo, n),
        })
        .collect()
}

pub(crate) fn heading() -> Heading {
    Heading {
        title: String::new(),
        set: "My grandmother's cupboard".into(),
        made: "Made on 2031-05-04 with footring".into(),
    }
}
