//! The queries: photos to ask about, with what is true of them.

use super::plan::piece;
use crate::develop::Development;
use crate::drawing;
use crate::form::Form;
use crate::labels::quoted;
use crate::output::{self, Error, Picture};
use crate::photo::{Angle, Piece, Placed, Shot, shoot, stage};
use crate::rng::Rng;
use crate::trace;
use crate::vec3::{V3, v3};
use rayon::prelude::*;
use std::path::Path;

/// A row of queries.csv. Empty means: this photo does not show it.
pub(super) struct Query {
    pub(super) fields: [String; 7],
    pub(super) bytes: usize,
}

/// How a query's photo is made.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Photo,
    Mono,
    Drawing,
    Bad,
    CutOff,
}

struct Plan {
    name: &'static str,
    kind: Kind,
    angle: Angle,
    rig: &'static str,
    backdrop: &'static str,
    pieces: Vec<(Piece, V3)>,
    /// Expected shape, pattern, glaze by piece where they differ from the piece's own (unknown to the set).
    unknown: &'static [usize],
    situation: &'static str,
}

fn plans() -> Vec<Plan> {
    use Angle::{Oblique, Side, Top};
    let white = ("Clear White", "clear glaze");
    let one = |f, s, p, (g, t): (&str, &str)| vec![(piece("query", f, s, p, g, t), V3::default())];
    let plan = |name, kind, angle, rig, backdrop, pieces, unknown, situation| Plan {
        name,
        kind,
        angle,
        rig,
        backdrop,
        pieces,
        unknown,
        situation,
    };
    const SHAPE: usize = 2;
    const PATTERN: usize = 3;
    const GLAZE: usize = 4;
    let cup = piece(
        "query-cup",
        Form::Teacup,
        "Brannet",
        "Merrin Spray",
        white.0,
        white.1,
    );
    let saucer = piece(
        "query-saucer",
        Form::Saucer,
        "Brannet",
        "Merrin Spray",
        white.0,
        white.1,
    );
    let well = saucer.solid.bodies[0]
        .section
        .points
        .last()
        .map_or(0.0, |p| p[1]);
    vec![
        plan(
            "q01",
            Kind::Photo,
            Side,
            "window",
            "wood",
            one(Form::Teacup, "Brannet", "Merrin Spray", white),
            &[],
            "a piece of the set in another light",
        ),
        plan(
            "q02",
            Kind::Photo,
            Oblique,
            "softbox right",
            "woven cloth",
            one(Form::DinnerPlate, "Orvelle", "Merrin Spray", white),
            &[],
            "one decal on two shapes: the shape must decide",
        ),
        plan(
            "q03",
            Kind::Photo,
            Side,
            "two softboxes",
            "plain table",
            one(Form::CoffeePot, "Lindle", "Tolla Star", white),
            &[],
            "mixed service: hollowware of one shape",
        ),
        plan(
            "q04",
            Kind::Photo,
            Top,
            "overhead",
            "stone",
            one(Form::DinnerPlate, "Tussock", "Tolla Star", white),
            &[],
            "mixed service: coupe flatware of another shape",
        ),
        plan(
            "q05",
            Kind::Photo,
            Oblique,
            "softbox left",
            "paper sweep",
            one(Form::Mug, "Tussock", "Plain", ("Tarn Blue", "slip outside")),
            &[],
            "slip outside only: the inside is white",
        ),
        plan(
            "q06",
            Kind::Photo,
            Oblique,
            "overcast",
            "plain table",
            one(
                Form::CerealBowl,
                "Tussock",
                "Plain",
                ("Tarn Blue", "dipped"),
            ),
            &[],
            "dipped: the inside is coloured too",
        ),
        plan(
            "q07",
            Kind::Photo,
            Side,
            "softbox left",
            "paper sweep",
            one(
                Form::Creamer,
                "Corvane",
                "Plain",
                ("Sallow Light", "dipped"),
            ),
            &[],
            "two glazes that differ a little in lightness",
        ),
        plan(
            "q08",
            Kind::Mono,
            Side,
            "softbox right",
            "paper sweep",
            one(Form::Teapot, "Pellam", "Cress Border", white),
            &[],
            "black-and-white print: colour cannot count",
        ),
        plan(
            "q09",
            Kind::Drawing,
            Side,
            "overcast",
            "paper sweep",
            one(Form::Teapot, "Corvane", "Plain", white),
            &[],
            "line drawing: only form and shape can be told",
        ),
        plan(
            "q10",
            Kind::Photo,
            Side,
            "two softboxes",
            "wood",
            one(Form::Jug, "Tussock", "Plain", ("Ember", "dipped")),
            &[GLAZE],
            "known shape in a glaze that the set does not hold",
        ),
        plan(
            "q11",
            Kind::Photo,
            Side,
            "softbox left",
            "woven cloth",
            one(Form::Teapot, "Veshnel", "Plain", ("Ember", "dipped")),
            &[SHAPE, GLAZE],
            "a piece that is not in the set",
        ),
        plan(
            "q12",
            Kind::Photo,
            Oblique,
            "window",
            "plain table",
            one(Form::SugarBowl, "Veshnel", "Merrin Spray", white),
            &[SHAPE],
            "a decal of the set on a shape that is not in it",
        ),
        plan(
            "q13",
            Kind::Photo,
            Side,
            "softbox right",
            "plain table",
            vec![(Piece::stranger("query", "wooden skittle"), V3::default())],
            &[1, SHAPE, PATTERN, GLAZE, 5],
            "not ceramic: a wooden skittle",
        ),
        plan(
            "q14",
            Kind::Photo,
            Side,
            "window",
            "wood",
            vec![(Piece::stranger("query", "pear"), V3::default())],
            &[1, SHAPE, PATTERN, GLAZE, 5],
            "not ceramic: a pear",
        ),
        plan(
            "q15",
            Kind::Photo,
            Oblique,
            "softbox left",
            "plain table",
            vec![
                (
                    piece(
                        "query-a",
                        Form::Creamer,
                        "Brannet",
                        "Merrin Spray",
                        white.0,
                        white.1,
                    ),
                    v3(-78.0, 0.0, 0.0),
                ),
                (
                    piece(
                        "query-b",
                        Form::SugarBowl,
                        "Pellam",
                        "Cress Border",
                        white.0,
                        white.1,
                    ),
                    v3(72.0, 0.0, -25.0),
                ),
            ],
            &[],
            "two pieces in one photo",
        ),
        plan(
            "q16",
            Kind::Bad,
            Oblique,
            "lamp",
            "woven cloth",
            one(Form::GravyBoat, "Orvelle", "Merrin Spray", white),
            &[],
            "badly lit, warm light, blurred",
        ),
        plan(
            "q17",
            Kind::CutOff,
            Side,
            "two softboxes",
            "stone",
            one(Form::Jug, "Lindle", "Marl Sponge", white),
            &[],
            "cut off by the frame",
        ),
        plan(
            "q18",
            Kind::Photo,
            Side,
            "overcast",
            "paper sweep",
            one(Form::Creamer, "Pellam", "Merrin Spray", white),
            &[],
            "shape and pattern known, not together",
        ),
        plan(
            "q19",
            Kind::Photo,
            Oblique,
            "softbox right",
            "wood",
            vec![(cup, v3(0.0, well - 0.2, 0.0)), (saucer, V3::default())],
            &[],
            "a cup standing on its saucer",
        ),
        plan(
            "q20",
            Kind::Photo,
            Top,
            "softbox left",
            "woven cloth",
            one(Form::Platter, "Pellam", "Sablewick", white),
            &[],
            "a platter from above",
        ),
    ]
}

/// Makes the query photos; gives the rows.
pub(super) fn make(out: &Path) -> Result<Vec<Query>, Error> {
    let rows: Vec<Vec<Query>> = plans()
        .par_iter()
        .map(|p| {
            let bytes = picture(p)?;
            let path = format!("queries/{}.jpg", p.name);
            output::write(&out.join(&path), &bytes)?;
            Ok(p.pieces
                .iter()
                .enumerate()
                .map(|(k, (piece, _))| row(p, piece, &path, if k == 0 { bytes.len() } else { 0 }))
                .collect())
        })
        .collect::<Result<_, Error>>()?;
    Ok(rows.into_iter().flatten().collect())
}

fn row(p: &Plan, piece: &Piece, path: &str, bytes: usize) -> Query {
    let mut fields = [
        path,
        &piece.form,
        &piece.shape,
        &piece.pattern,
        &piece.glaze,
        &piece.treatment,
        p.situation,
    ]
    .map(str::to_string);
    for &i in p.unknown {
        fields[i] = "unknown".to_string();
    }
    let hidden: &[usize] = match p.kind {
        Kind::Drawing => &[3, 4, 5],
        Kind::Mono => &[4],
        _ => &[],
    };
    for &i in hidden {
        fields[i].clear();
    }
    Query { fields, bytes }
}

fn picture(p: &Plan) -> Result<Vec<u8>, Error> {
    let mut rng = Rng::new(31).fork(p.name, 0);
    let placed: Vec<Placed> = p
        .pieces
        .iter()
        .map(|(piece, at)| Placed {
            piece,
            at: *at,
            yaw_rad: 0.0,
            meant: true,
        })
        .collect();
    let mut shot = Shot {
        angle: p.angle,
        rig: p.rig,
        backdrop: p.backdrop,
        size_px: (720, 600),
        fill: rng.range(0.68, 0.8),
        handle_left: rng.chance(0.25),
        turn_rad: 0.3,
        shift: [0.0, 0.0],
        card: false,
        seed: rng.bits(),
    };
    let mut d = Development::usual(&mut rng);
    match p.kind {
        Kind::Photo => {}
        Kind::Mono => {
            d.mono = true;
            d.contrast = 1.12;
            d.noise = 0.018;
            d.blur_px = 0.9;
        }
        Kind::Bad => {
            d.exposure_ev = -1.3;
            d.blur_px = 2.3;
            d.noise = 0.03;
            d.white_balance = [1.1, 0.98, 0.82];
            d.jpeg_quality = 62;
        }
        Kind::CutOff => {
            shot.fill = 0.95;
            shot.shift = [0.24, 0.1];
        }
        Kind::Drawing => {
            shot.size_px = (1440, 1200);
            shot.turn_rad = 0.0;
            let hits = trace::hits(&stage(&placed, &shot));
            let (width, height, rgb) = drawing::draw(&hits, 5);
            return Picture { width, height, rgb }.jpeg(88);
        }
    }
    shoot(&placed, &shot, p.name, Some(d)).jpeg()
}

/// The text of queries.csv.
pub(super) fn csv(queries: &[Query]) -> String {
    let mut out = String::from("photo,form,shape,pattern,glaze,treatment,situation\n");
    for q in queries {
        out.push_str(&q.fields.each_ref().map(|f| quoted(f)).join(","));
        out.push('\n');
    }
    out
}
