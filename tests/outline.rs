//! The outline against closed forms, and the outline channel against what must
//! not matter.
//!
//! Shapes are drawn with 64 x 64 samples a pixel, so a mask's value is the share
//! of the pixel that is covered.

mod drawn;

use std::f64::consts::PI;

use drawn::{Drawing, Jug, draw, plate};
use footring::{
    channel::{self, Channel, REGISTRY, Subject},
    colour::Colours,
    cutout::{Cutout, Origin},
    outline::{Outline, ring_area_px2, trace},
};
use image::{GrayImage, RgbImage};
use proptest::prelude::*;

/// Longest sides of the shapes, pixels, and with each how many of [`SHIFTS`] and
/// of [`TURNS`] are tried: large shapes take long to draw.
const SIZES: [(f64, usize, usize); 9] = [
    (64.0, 4, 9),
    (77.3, 4, 9),
    (90.5, 4, 9),
    (128.0, 4, 9),
    (181.2, 4, 5),
    (256.0, 2, 5),
    (362.7, 1, 5),
    (512.0, 1, 3),
    (1024.0, 1, 2),
];

/// Where the middle of a shape lies between pixels.
const SHIFTS: [[f64; 2]; 4] = [[0.37, 0.61], [0.0, 0.0], [0.5, 0.25], [0.13, 0.87]];

/// By how much shapes are turned, degrees; 26.565 has a slope of one half, where
/// an edge passes the pixels of every second row alike.
const TURNS: [f64; 9] = [0.0, 20.0, 45.0, 63.0, 7.0, 26.565, 88.0, 30.0, 77.0];

/// Shorter over longer side. Below a third a shape of 64 pixels is so thin that
/// its pointed ends count: the area of an ellipse of 64 x 16 is 0.12 % short.
const ASPECTS: [f64; 4] = [1.0, 0.7, 0.6, 0.4];

/// Largest errors, percent.
const AREA: f64 = 0.1;
const PERIMETER: f64 = 0.5;

/// A shape of which area and perimeter are known; `size` is its longest side.
struct Shape {
    name: String,
    inside: Box<dyn Fn(f64, f64) -> bool>,
    area: f64,
    perimeter: f64,
}

impl Shape {
    /// An ellipse; a disc if `aspect` is 1. Perimeter: Ramanujan 1914, the second
    /// approximation, good to 1e-6 at these aspects.
    fn ellipse(size: f64, aspect: f64, turn: f64) -> Self {
        let (a, b) = (size / 2.0, size / 2.0 * aspect);
        let h = ((a - b) / (a + b)).powi(2);
        Self {
            name: format!("ellipse {size} x {aspect} at {turn}"),
            inside: turned(turn, move |x, y| (x / a).powi(2) + (y / b).powi(2) < 1.0),
            area: PI * a * b,
            perimeter: PI * (a + b) * (1.0 + 3.0 * h / (10.0 + (4.0 - 3.0 * h).sqrt())),
        }
    }

    fn rectangle(size: f64, aspect: f64, turn: f64) -> Self {
        let (a, b) = (size / 2.0, size / 2.0 * aspect);
        Self {
            name: format!("rectangle {size} x {aspect} at {turn}"),
            inside: turned(turn, move |x, y| x.abs() < a && y.abs() < b),
            area: 4.0 * a * b,
            perimeter: 4.0 * (a + b),
        }
    }

    /// Relative errors of area and perimeter as traced.
    fn errors(&self, size: f64, shift: [f64; 2]) -> [f64; 2] {
        let side = (size * 1.5).ceil() as usize + 6;
        let centre = [side as f64 / 2.0 + shift[0], side as f64 / 2.0 + shift[1]];
        let mask = draw(side, side, |x, y| {
            (self.inside)(x - centre[0], y - centre[1])
        });
        let outline = trace(&mask, side).unwrap();
        assert!(outline.holes.is_empty(), "{}", self.name);
        [
            outline.area_px2() / self.area - 1.0,
            outline.perimeter_px() / self.perimeter - 1.0,
        ]
    }
}

fn turned(
    degrees: f64,
    inside: impl Fn(f64, f64) -> bool + 'static,
) -> Box<dyn Fn(f64, f64) -> bool> {
    let (sin, cos) = degrees.to_radians().sin_cos();
    Box::new(move |x, y| inside(x * cos + y * sin, y * cos - x * sin))
}

#[test]
fn discs_and_ellipses_have_their_area_and_perimeter() {
    check(Shape::ellipse);
}

#[test]
fn rectangles_have_their_area_and_perimeter() {
    check(Shape::rectangle);
}

/// Holds shapes of all sizes, aspects and turns to [`AREA`] and [`PERIMETER`].
fn check(shape: fn(f64, f64, f64) -> Shape) {
    for (size, shifts, turns) in SIZES {
        for aspect in ASPECTS {
            for turn in &TURNS[..turns] {
                let shape = shape(size, aspect, *turn);
                for shift in &SHIFTS[..shifts] {
                    let off = shape.errors(size, *shift).map(|e| 100.0 * e.abs());
                    let told = format!("{}, moved by {shift:?}: {off:?} %", shape.name);
                    assert!(off[0] <= AREA, "area of {told}");
                    assert!(off[1] <= PERIMETER, "perimeter of {told}");
                }
            }
        }
    }
}

/// Closed form: a hard mask's edges run between pixels, its corners are sharp.
#[test]
fn a_rectangle_on_the_pixels_is_exact() {
    let mask = draw(90, 80, |x, y| {
        (9.0..73.0).contains(&x) && (11.0..59.0).contains(&y)
    });
    let outline = trace(&mask, 90).unwrap();
    assert!((outline.area_px2() - 64.0 * 48.0).abs() < 1e-3);
    assert!((outline.perimeter_px() - 224.0).abs() < 1e-3);
}

/// Closed forms.
#[test]
fn holes_are_found_largest_first_and_have_their_area() {
    let mask = draw(300, 200, |x, y| {
        let r = |cx: f64, cy: f64| (x - cx).hypot(y - cy);
        r(120.3, 100.7) < 90.0
            && r(90.2, 90.1) > 22.0
            && r(150.6, 120.4) > 40.0
            && r(130.0, 40.0) > 1.2
    });
    let outline = trace(&mask, 300).unwrap();
    // The third is smaller than a hole is taken for.
    assert_eq!(outline.holes.len(), 2);
    let holes: Vec<f64> = outline
        .holes
        .iter()
        .map(|hole| -ring_area_px2(hole))
        .collect();
    let disc = |r: f64| PI * r * r;
    for (found, expected) in holes.iter().zip([disc(40.0), disc(22.0)]) {
        assert!((found / expected - 1.0).abs() < 0.001, "{found} {expected}");
    }
    let whole = ring_area_px2(&outline.outer);
    assert!((whole / disc(90.0) - 1.0).abs() < 0.001, "{whole}");
    assert!((outline.area_px2() - (whole - holes[0] - holes[1])).abs() < 1e-6);
}

/// Closed forms: the contour closes along the frame, where the photo ends.
#[test]
fn a_piece_on_the_frame_closes_along_it() {
    for (centre, share) in [
        ([0.0, 60.0], 0.5),
        ([0.0, 0.0], 0.25),
        ([160.0, 120.0], 0.25),
    ] {
        let mask = draw(160, 120, |x, y| (x - centre[0]).hypot(y - centre[1]) < 50.0);
        let outline = trace(&mask, 160).unwrap();
        let expected = share * PI * 2500.0;
        let found = outline.area_px2();
        assert!(
            (found / expected - 1.0).abs() < 0.002,
            "{centre:?}: {found} {expected}"
        );
        let b = outline.bounds();
        assert!(
            b.left >= 0.0 && b.top >= 0.0 && b.right <= 160.0 && b.bottom <= 120.0,
            "{b:?}"
        );
        assert!((b.width() - 50.0).abs() < 0.2, "{b:?}");
    }
    let full = trace(&[255; 160 * 120], 160).unwrap();
    assert!((full.area_px2() - 160.0 * 120.0).abs() < 1e-6);
    assert!(full.holes.is_empty());
}

/// Common practice, no source.
#[test]
fn the_largest_of_several_regions_is_traced() {
    let mask = draw(200, 100, |x, y| {
        (x - 40.0).hypot(y - 50.0) < 20.0 || (x - 130.0).hypot(y - 50.0) < 40.0
    });
    let outline = trace(&mask, 200).unwrap();
    assert!((outline.area_px2() / (PI * 1600.0) - 1.0).abs() < 0.001);
    assert!(outline.bounds().left > 80.0);
}

/// Common practice, no source.
#[test]
fn degenerate_masks_give_nothing_or_something_closed() {
    for (mask, width) in [
        (&[][..], 0),
        (&[], 5),
        (&[255; 3], 0),
        (&[255; 3], 5),
        (&[0; 25], 5),
        (&[127; 25], 5),
    ] {
        assert_eq!(trace(mask, width), None, "{mask:?} {width}");
    }
    // One pixel is a diamond; a row of them and a checkerboard still close.
    assert!((trace(&[255], 1).unwrap().area_px2() - 0.5).abs() < 1e-6);
    assert!(trace(&[255; 40], 40).unwrap().area_px2() > 39.0);
    assert!(trace(&[255; 40], 1).unwrap().area_px2() > 39.0);
    let board: Vec<u8> = (0..81).map(|i| if i % 2 == 0 { 255 } else { 0 }).collect();
    assert!(trace(&board, 9).unwrap().area_px2() > 0.0);
    // What does not fill a last row is left out.
    let ragged = trace(&[255; 11], 4).unwrap();
    assert_eq!(ragged.bounds().bottom, 2.0);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(400) })]

    /// Common practice, no source: whatever the mask, there is a contour exactly
    /// if a pixel is covered by half, it stays on the picture, and it turns the
    /// right way round.
    #[test]
    fn any_mask_has_a_sound_outline(
        width in 1usize..9,
        mask in prop::collection::vec(prop_oneof![Just(0u8), Just(255), any::<u8>()], 1..80),
    ) {
        let height = mask.len() / width;
        let mask = &mask[..height * width];
        let outline = trace(mask, width);
        prop_assert_eq!(outline.is_some(), mask.iter().any(|v| *v > 127));
        let Some(outline) = outline else { return Ok(()) };
        prop_assert!(ring_area_px2(&outline.outer) > 0.0);
        prop_assert!(outline.area_px2() > 0.0);
        for hole in &outline.holes {
            prop_assert!(ring_area_px2(hole) < 0.0);
        }
        let rings = std::iter::once(&outline.outer).chain(&outline.holes);
        for [x, y] in rings.flatten() {
            prop_assert!((0.0..=width as f32).contains(x), "{}", x);
            prop_assert!((0.0..=height as f32).contains(y), "{}", y);
        }
    }
}

/// The channel's first parts, which do not know how the piece stands.
const SPECTRUM: usize = 416;

/// What the size of the photo, a shift in it, and the start of the contour may
/// change, in shares of the distance between unrelated pieces.
const SAME: f32 = 0.05;

fn outline_channel() -> &'static Channel {
    &REGISTRY[channel::position("outline").unwrap()]
}

/// The channel's numbers for a contour, by the public registry.
fn numbers(outline: &Outline) -> Vec<f32> {
    let cutout = Cutout {
        working: RgbImage::new(1, 1),
        mask: GrayImage::new(1, 1),
        photo_per_working: 1.0,
        origin: Origin::Silhouette,
        warnings: Vec::new(),
    };
    let subject = Subject {
        cutout: &cutout,
        outline,
        embedding: None,
        has_colour: false,
        colours: &Colours::default(),
    };
    let vector = (outline_channel().describe)(&subject).unwrap();
    assert_eq!(vector.dim(), outline_channel().dim);
    vector.as_slice().to_vec()
}

fn traced(drawing: &Drawing) -> Outline {
    trace(&drawing.mask, drawing.width).unwrap()
}

fn seen(drawing: &Drawing) -> Vec<f32> {
    numbers(&traced(drawing))
}

fn apart(a: &[f32], b: &[f32]) -> f32 {
    outline_channel().metric.distance(a, b) / outline_channel().unrelated
}

/// Resolutions, as many small ones as large ones.
fn sides() -> impl Strategy<Value = usize> {
    (7.0..11.0f64).prop_map(|octave| octave.exp2() as usize)
}

fn jugs() -> impl Strategy<Value = Jug> {
    (
        0.12..0.3,
        0.12..0.35,
        0.0..0.2,
        0.0..0.18,
        0.18..0.3,
        0.05..0.09,
    )
        .prop_map(|(foot, mouth, belly, lip, handle, thick)| Jug {
            foot,
            mouth,
            belly,
            lip,
            handle,
            thick,
        })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(6) })]

    /// Source: the invariances that `src/channel/outline.rs` claims.
    #[test]
    fn what_does_not_change_the_piece_hardly_changes_its_numbers(
        jug in jugs(),
        side in sides(),
        shift in prop::array::uniform2(-6.0..6.0),
        start in 0.0..1.0,
        turn in 0.0..360.0,
    ) {
        let outline = traced(&jug.draw(400, [0.0; 2], 0.0, false));
        let base = numbers(&outline);
        let size = apart(&base, &seen(&jug.draw(side, [0.0; 2], 0.0, false)));
        prop_assert!(size < SAME, "{} px: {}", side, size);
        let shifted = apart(&base, &seen(&jug.draw(400, shift, 0.0, false)));
        prop_assert!(shifted < SAME, "shift {:?}: {}", shift, shifted);

        let mut started = outline.clone();
        started.outer.rotate_left((start * outline.outer.len() as f64) as usize);
        let started = apart(&base, &numbers(&started));
        prop_assert!(started < SAME / 2.0, "start {}: {}", start, started);

        let spectrum = |numbers: Vec<f32>| apart(&base[..SPECTRUM], &numbers[..SPECTRUM]);
        let mirrored = spectrum(seen(&jug.draw(400, [0.0; 2], 0.0, true)));
        prop_assert!(mirrored < SAME / 2.0, "mirror: {}", mirrored);
        for turn in [90.0, 180.0, 270.0, turn] {
            let turned = spectrum(seen(&jug.draw(400, [0.0; 2], turn, false)));
            prop_assert!(turned < SAME / 2.0, "turned by {}: {}", turn, turned);
        }
    }
}

/// The second part is the piece as it stands: a piece with a handle is told from
/// its mirror image by it (by 0.6 of unrelated for this jug), one without is not.
#[test]
fn a_piece_that_is_its_own_mirror_image_is_the_same_in_a_mirror() {
    let half = draw(300, 300, |x, y| {
        (x - 151.3).hypot(y - 99.0) < 110.0 && y > 99.0
    });
    let mirrored: Vec<u8> = half
        .chunks(300)
        .flat_map(|row| row.iter().rev().copied())
        .collect();
    let [a, b] = [half, mirrored].map(|mask| numbers(&trace(&mask, 300).unwrap()));
    assert!(apart(&a, &b) < SAME / 2.0, "{}", apart(&a, &b));
}

/// Or all of the above would hold of a channel that says nothing.
#[test]
fn other_pieces_are_far() {
    let jug = seen(&Jug::default().draw(400, [0.0; 2], 0.0, false));
    let plate = seen(&plate(400));
    assert!(apart(&jug, &plate) > 10.0 * SAME);
    assert!(apart(&jug[..SPECTRUM], &plate[..SPECTRUM]) > 10.0 * SAME);
}

/// Common practice, no source.
#[test]
fn a_contour_without_an_inside_has_no_numbers() {
    let cutout = Cutout {
        working: RgbImage::new(1, 1),
        mask: GrayImage::new(1, 1),
        photo_per_working: 1.0,
        origin: Origin::Silhouette,
        warnings: Vec::new(),
    };
    for outer in [
        vec![],
        vec![[3.0, 3.0]],
        vec![[3.0, 3.0]; 5],
        vec![[0.0, 0.0], [50.0, 0.0], [100.0, 0.0]],
    ] {
        let outline = Outline {
            outer,
            holes: Vec::new(),
        };
        let subject = Subject {
            cutout: &cutout,
            outline: &outline,
            embedding: None,
            has_colour: false,
            colours: &Colours::default(),
        };
        assert_eq!((outline_channel().describe)(&subject), None, "{outline:?}");
    }
}
