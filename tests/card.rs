//! Finding a grey card: rectangles as a pinhole camera shows them (Hartley &
//! Zisserman 2004, Multiple View Geometry, chapter 6), beside figures that no
//! rectangle can look like.

use footring::{
    colour::{self, Balance, Reference},
    cutout::{Cutout, Origin},
    raster,
};
use image::{GrayImage, Luma, Rgb, RgbImage};

const SIDE: u32 = 400;
/// The piece: a disc.
const PIECE: ([f32; 2], f32) = ([250.0, 200.0], 85.0);
const CARD: [f32; 3] = [104.0, 104.0, 104.0];
const TABLE: [f32; 3] = [150.0, 132.0, 108.0];

/// A photo with a table, a piece and whatever a test lays beside it.
struct Scene {
    table: Box<dyn Fn(f32, f32) -> [f32; 3]>,
    /// Corners and colour.
    figures: Vec<(Vec<[f32; 2]>, [f32; 3])>,
    /// Pixels that the mask counts as the piece beside the disc.
    also_piece: Option<Vec<[f32; 2]>>,
    noise: f32,
}

impl Scene {
    fn with(figure: Vec<[f32; 2]>, colour: [f32; 3]) -> Self {
        Self {
            table: Box::new(|_, y| TABLE.map(|v| v + y * 0.03)),
            figures: vec![(figure, colour)],
            also_piece: None,
            noise: 1.5,
        }
    }

    fn cutout(&self) -> Cutout {
        let mut state = 7u32;
        let mut noise = move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / (1 << 24) as f32 - 0.5
        };
        let in_piece = |x: f32, y: f32| (x - PIECE.0[0]).hypot(y - PIECE.0[1]) < PIECE.1;
        let working = RgbImage::from_fn(SIDE, SIDE, |x, y| {
            let mut sum = [0.0f32; 3];
            // Four by four places, so that edges are as soft as a camera's.
            for i in 0..16 {
                let at = |v: u32, k: u32| v as f32 + (k as f32 + 0.5) / 4.0;
                let (px, py) = (at(x, i % 4), at(y, i / 4));
                let mut here = (self.table)(px, py);
                if in_piece(px, py) {
                    here = [60.0 + 0.4 * px, 90.0, 150.0 - 0.2 * py];
                }
                for (figure, colour) in &self.figures {
                    if contains(figure, px, py) {
                        here = *colour;
                    }
                }
                (0..3).for_each(|c| sum[c] += here[c] / 16.0);
            }
            Rgb(sum.map(|v| (v + 2.0 * self.noise * noise()).round().clamp(0.0, 255.0) as u8))
        });
        let mask = GrayImage::from_fn(SIDE, SIDE, |x, y| {
            let (px, py) = (x as f32 + 0.5, y as f32 + 0.5);
            let also = self.also_piece.as_ref();
            let is_piece = in_piece(px, py) || also.is_some_and(|f| contains(f, px, py));
            Luma([if is_piece { 255 } else { 0 }])
        });
        Cutout {
            working,
            mask,
            photo_per_working: 1.0,
            origin: Origin::Model,
            warnings: Vec::new(),
        }
    }

    fn balance(&self) -> Balance {
        let cutout = self.cutout();
        let card = colour::card(&cutout);
        colour::read(&cutout, true, None, card.as_ref())
            .unwrap()
            .balance
    }
}

/// Whether a convex figure contains a place.
fn contains(figure: &[[f32; 2]], x: f32, y: f32) -> bool {
    let sides = (0..figure.len()).map(|i| {
        let (a, b) = (figure[i], figure[(i + 1) % figure.len()]);
        (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])
    });
    let (mut left, mut right) = (true, true);
    for side in sides {
        left &= side >= 0.0;
        right &= side <= 0.0;
    }
    left || right
}

/// A rectangle of `half` width and height, turned about the three axes (degrees:
/// in the picture, about the upright, about the level axis) and seen by a pinhole
/// camera from four times its height.
fn seen(middle: [f32; 2], half: [f32; 2], turn_deg: [f32; 3]) -> Vec<[f32; 2]> {
    let [roll, yaw, pitch] = turn_deg.map(f32::to_radians);
    let far = 8.0 * half[1];
    [[-1.0f32, -1.0f32], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]
        .map(|[u, v]| {
            let (x, y) = (u * half[0], v * half[1]);
            let (x, z) = (x * yaw.cos(), x * yaw.sin());
            let (y, z) = (
                y * pitch.cos() - z * pitch.sin(),
                y * pitch.sin() + z * pitch.cos(),
            );
            let (x, y) = (x * far / (far + z), y * far / (far + z));
            [
                middle[0] + x * roll.cos() - y * roll.sin(),
                middle[1] + x * roll.sin() + y * roll.cos(),
            ]
        })
        .to_vec()
}

fn round(middle: [f32; 2], half: [f32; 2], corners: usize) -> Vec<[f32; 2]> {
    (0..corners)
        .map(|k| {
            let (sin, cos) = (k as f32 / corners as f32 * std::f32::consts::TAU).sin_cos();
            [middle[0] + half[0] * cos, middle[1] + half[1] * sin]
        })
        .collect()
}

/// The card is found, and under its balance it is an 18 % grey.
fn assert_found(scene: &Scene, colour: [f32; 3], what: &str) {
    let balance = scene.balance();
    assert_eq!(balance.reference, Reference::Found, "{what}");
    let grey = balance.apply(raster::linear(colour.map(|v| v as u8)));
    for v in grey {
        // A 8-bit step is 2 % of the light here.
        assert!((v / 0.18 - 1.0).abs() < 0.01, "{what}: {grey:?}");
    }
}

#[test]
fn a_card_is_found_however_it_leans_and_turns() {
    // The smallest has an eightieth of the photo.
    for roll in [-40.0, -12.0, 0.0, 7.0, 25.0] {
        for (yaw, pitch) in [(0.0, 0.0), (25.0, 0.0), (0.0, -30.0), (-20.0, 20.0)] {
            for half in [[24.0, 24.0], [20.0, 30.0], [18.0, 30.0]] {
                let card = seen([90.0, 190.0], half, [roll, yaw, pitch]);
                let what = format!("{roll} {yaw} {pitch} {half:?}");
                assert_found(&Scene::with(card, CARD), CARD, &what);
            }
        }
    }
}

#[test]
fn the_cast_of_the_light_is_taken_out() {
    for colour in [
        [112.0, 104.0, 96.0],
        [98.0, 104.0, 112.0],
        [70.0, 70.0, 70.0],
    ] {
        let card = seen([90.0, 190.0], [20.0, 28.0], [9.0, 15.0, 0.0]);
        assert_found(&Scene::with(card, colour), colour, &format!("{colour:?}"));
    }
}

/// A table that grows as light as the card along one side hides that side for a
/// stretch; a mask may count the card as part of the piece.
#[test]
fn a_card_is_found_where_it_fades_into_the_table_or_touches_the_mask() {
    let card = seen([100.0, 200.0], [24.0, 34.0], [0.0; 3]);
    let mut scene = Scene::with(card.clone(), CARD);
    scene.noise = 0.5;
    // As dark as the card at y = 215.
    scene.table = Box::new(|_, y| [(104.0 + (y - 215.0) * 1.2).clamp(20.0, 250.0); 3]);
    assert_found(&scene, CARD, "a table as dark as the card for a stretch");
    let beside = seen([132.0, 200.0], [24.0, 34.0], [0.0; 3]);
    let mut scene = Scene::with(beside.clone(), CARD);
    let is_in_mask = |scene: &Scene| colour::card(&scene.cutout()).map(|card| card.is_in_mask);
    assert_eq!(is_in_mask(&scene), Some(false));
    scene.also_piece = Some(beside);
    assert_found(&scene, CARD, "taken for a part of the piece");
    assert_eq!(is_in_mask(&scene), Some(true));
}

/// It is painted over by its corners, so they have to lie where they were drawn: within
/// two pixels, both ways, of the copy of 240 on which a card is looked for.
#[test]
fn the_corners_of_a_card_are_its_own() {
    let most = 2.0 * 2.0f32.sqrt() * SIDE as f32 / 240.0;
    for turn_deg in [0.0, 8.0, -15.0] {
        let drawn = seen([95.0, 190.0], [24.0, 34.0], [turn_deg, 0.0, 0.0]);
        let card = colour::card(&Scene::with(drawn.clone(), CARD).cutout()).unwrap();
        for [x, y] in &drawn {
            let off = |c: &[f32; 2]| (c[0] - x).hypot(c[1] - y);
            let nearest = card.corners.iter().map(off).fold(f32::INFINITY, f32::min);
            assert!(nearest < most, "{turn_deg}: {nearest} px off");
        }
    }
}

/// Common practice, no source: what has another form than a card, a colour, a
/// print or no edge is none, and neither is the table in a handle's hole.
#[test]
fn what_is_no_card_is_left_alone() {
    let middle = [90.0, 190.0];
    let rectangle = || seen(middle, [20.0, 30.0], [8.0, 0.0, 0.0]);
    let figures = [
        ("a disc", round(middle, [28.0, 28.0], 60)),
        ("an ellipse", round(middle, [22.0, 32.0], 60)),
        ("a hexagon", round(middle, [28.0, 28.0], 6)),
        ("a triangle", round(middle, [34.0, 34.0], 3)),
        ("a stick", seen(middle, [9.0, 60.0], [8.0, 0.0, 0.0])),
        (
            "cut by the frame",
            seen([15.0, 190.0], [20.0, 30.0], [0.0; 3]),
        ),
        ("too large", seen([120.0, 200.0], [100.0, 150.0], [0.0; 3])),
        (
            "a funnel",
            vec![[60.0, 160.0], [120.0, 160.0], [98.0, 220.0], [82.0, 220.0]],
        ),
    ];
    let mut scenes: Vec<(&str, Scene)> = figures
        .map(|(name, figure)| (name, Scene::with(figure, CARD)))
        .into();
    scenes.push(("a brick", Scene::with(rectangle(), [140.0, 96.0, 80.0])));
    scenes.push((
        "white paper",
        Scene::with(rectangle(), [235.0, 235.0, 235.0]),
    ));
    scenes.push(("nothing", Scene::with(Vec::new(), CARD)));
    let mut blended = Scene::with(Vec::new(), CARD);
    blended.table = Box::new(|x, y| {
        let near = (-((x - 90.0).powi(2) + (y - 190.0).powi(2)) / 900.0).exp();
        [140.0 - 36.0 * near; 3]
    });
    scenes.push(("a shadow", blended));
    let mut printed = Scene::with(rectangle(), CARD);
    for line in -2..=2 {
        let middle = [middle[0], middle[1] + 11.0 * line as f32];
        printed
            .figures
            .push((seen(middle, [15.0, 2.0], [8.0, 0.0, 0.0]), [60.0; 3]));
    }
    scenes.push(("a printed label", printed));
    // The table between a piece and its handle.
    let mut hole = Scene::with(seen(PIECE.0, [18.0, 24.0], [0.0; 3]), CARD);
    hole.table = Box::new(|_, _| CARD);
    scenes.push(("the hole of a handle", hole));
    for (name, scene) in scenes {
        assert_eq!(scene.balance().reference, Reference::Camera, "{name}");
    }
}

#[test]
fn of_two_the_larger_is_taken() {
    let mut scene = Scene::with(seen([80.0, 90.0], [18.0, 24.0], [0.0; 3]), [130.0; 3]);
    scene
        .figures
        .push((seen([90.0, 260.0], [22.0, 30.0], [5.0, 0.0, 0.0]), CARD));
    assert_found(&scene, CARD, "the larger");
}
