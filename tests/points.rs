//! Points of decorations, on motifs drawn by rule. The truth is the similarity by which
//! one drawing was made of the other, which no point was asked for.

use footring::{
    channel::{self, REGISTRY, Vector},
    points::{Agreement, DIM, MOST, Points, SIDE_PX, agreement},
};
use image::{GrayImage, Luma, Rgb, RgbImage};

/// A drop of two tones; what decorations are drawn of.
struct Drop {
    at: [f32; 2],
    radii: [f32; 2],
    turn: f32,
    tones: [[f32; 3]; 2],
}

/// Numbers from 0 to 1 (a linear congruence with Knuth's constants).
fn numbers(seed: u64) -> impl FnMut() -> f32 {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u64 << 24) as f32
    }
}

fn motif(seed: u64) -> Vec<Drop> {
    let mut next = numbers(seed);
    (0..45)
        .map(|_| Drop {
            at: [next() * 260.0 - 130.0, next() * 260.0 - 130.0],
            radii: [5.0 + 10.0 * next(), 4.0 + 7.0 * next()],
            turn: std::f32::consts::TAU * next(),
            tones: [0, 1].map(|_| [0, 1, 2].map(|_| 20.0 + 160.0 * next())),
        })
        .collect()
}

/// How a motif is laid on a picture: scaled, turned (radians), shifted from its middle (px).
#[derive(Clone, Copy)]
struct Laid {
    scale: f32,
    turn: f32,
    shift: [f32; 2],
}

impl Laid {
    const MIDDLE: f32 = SIDE_PX as f32 / 2.0 - 0.5;

    fn to_picture(self, [x, y]: [f32; 2]) -> [f32; 2] {
        let (sine, cosine) = self.turn.sin_cos();
        [
            self.scale * (cosine * x - sine * y) + self.shift[0] + Self::MIDDLE,
            self.scale * (sine * x + cosine * y) + self.shift[1] + Self::MIDDLE,
        ]
    }

    fn to_motif(self, [x, y]: [f32; 2]) -> [f32; 2] {
        let (sine, cosine) = self.turn.sin_cos();
        let (x, y) = (
            x - self.shift[0] - Self::MIDDLE,
            y - self.shift[1] - Self::MIDDLE,
        );
        [
            (cosine * x + sine * y) / self.scale,
            (-sine * x + cosine * y) / self.scale,
        ]
    }
}

/// An ivory disc with a motif on it, four samples a pixel.
fn drawn(motif: &[Drop], laid: Laid) -> (RgbImage, GrayImage) {
    let on_disc = |x: f32, y: f32| (x - Laid::MIDDLE).hypot(y - Laid::MIDDLE) < 172.0;
    let colour = |x: f32, y: f32| -> [f32; 3] {
        if !on_disc(x, y) {
            return [90.0, 110.0, 100.0];
        }
        let [x, y] = laid.to_motif([x, y]);
        let hit = motif.iter().rev().find_map(|drop| {
            let (sine, cosine) = drop.turn.sin_cos();
            let (x, y) = (x - drop.at[0], y - drop.at[1]);
            let u = (cosine * x + sine * y) / drop.radii[0];
            let v = (-sine * x + cosine * y) / drop.radii[1];
            (u.hypot(v) < 1.0).then(|| drop.tones[usize::from(u > 0.2)])
        });
        hit.unwrap_or([235.0, 228.0, 214.0])
    };
    let picture = RgbImage::from_fn(SIDE_PX, SIDE_PX, |x, y| {
        let mut sum = [0.0; 3];
        for (dx, dy) in [(-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)] {
            let colour = colour(x as f32 + dx, y as f32 + dy);
            (0..3).for_each(|i| sum[i] += colour[i] / 4.0);
        }
        Rgb(sum.map(|v| v.round() as u8))
    });
    let cover = GrayImage::from_fn(SIDE_PX, SIDE_PX, |x, y| {
        Luma([if on_disc(x as f32, y as f32) { 255 } else { 0 }])
    });
    (picture, cover)
}

fn points(motif: &[Drop], laid: Laid, has_colour: bool) -> Points {
    let (picture, cover) = drawn(motif, laid);
    Points::find(&picture, &cover, has_colour)
}

const AS_DRAWN: Laid = Laid {
    scale: 1.0,
    turn: 0.0,
    shift: [0.0; 2],
};

#[test]
fn agreeing_points_lie_where_the_known_map_puts_them() {
    let laid = [
        (1.0, 0.4, [10.0, -6.0]),
        (0.75, -1.3, [-20.0, 12.0]),
        (0.6, 2.9, [30.0, 25.0]),
        (1.2, 0.1, [0.0, 0.0]),
    ];
    for (seed, (scale, turn, shift)) in (1..).zip(laid) {
        let motif = motif(seed);
        let there = Laid { scale, turn, shift };
        for has_colour in [true, false] {
            let from = points(&motif, AS_DRAWN, has_colour);
            let to = points(&motif, there, has_colour);
            let found = agreement(&from, &to);
            // On other motifs no more than two ever do (below).
            assert!(found.one >= 6, "motif {seed}: {} agree", found.one);
            assert!(found.all >= found.one, "motif {seed}: {found:?}");
            let off: Vec<f32> = found
                .pairs
                .iter()
                .map(|[from, to]| {
                    let [x, y] = there.to_picture(AS_DRAWN.to_motif(*from));
                    (x - to[0]).hypot(y - to[1])
                })
                .collect();
            let near = off.iter().filter(|off| **off < 3.0).count();
            assert!(10 * near >= 9 * off.len(), "motif {seed}: {off:?}");
        }
    }
}

#[test]
fn pictures_of_other_motifs_hardly_agree() {
    for seed in 1..7 {
        let one = points(&motif(seed), AS_DRAWN, false);
        let other = points(&motif(seed + 100), AS_DRAWN, false);
        let found = agreement(&one, &other);
        assert!(found.one < 4, "motif {seed}: {}", found.one);
        assert!(found.distance() > 0.75, "motif {seed}: {found:?}");
    }
}

#[test]
fn a_motif_in_other_colours_agrees_only_where_colour_is_not_seen() {
    let motif_in_blue = motif(5);
    let mut motif_in_red = motif(5);
    // The same grey (Rec. 601), redder by far.
    for tone in motif_in_red.iter_mut().flat_map(|drop| &mut drop.tones) {
        let grey = 0.299 * tone[0] + 0.587 * tone[1] + 0.114 * tone[2];
        *tone = [(grey + 70.0).min(250.0), (grey - 36.0).max(0.0), grey];
    }
    let agree = |has_colour: bool| {
        let [one, other] =
            [&motif_in_blue, &motif_in_red].map(|motif| points(motif, AS_DRAWN, has_colour));
        agreement(&one, &other).one
    };
    let (seen, unseen) = (agree(true), agree(false));
    assert!(unseen >= 18 && seen < unseen / 2, "{seen} {unseen}");
}

#[test]
fn points_are_kept_as_numbers_and_read_again() {
    let points = points(&motif(3), AS_DRAWN, true);
    let numbers = points.to_numbers();
    assert_eq!(numbers.len(), DIM);
    let again = Points::from_slice(&numbers);
    assert_eq!(again.0.len(), points.0.len());
    for (a, b) in points.0.iter().zip(&again.0) {
        assert!((0..2).all(|i| (a.at[i] - b.at[i]).abs() < 0.1));
        assert!((a.size_px / b.size_px).ln().abs() < 2e-3);
        let ([a0, a1], [b0, b1]) = (a.tint.unwrap(), b.tint.unwrap());
        assert!((a0 - b0).abs() <= 0.5 && (a1 - b1).abs() <= 0.5);
    }
    let (own, kept) = (agreement(&points, &points), agreement(&points, &again));
    assert!(
        own.all > 30 && own.all.abs_diff(kept.all) <= 3,
        "{} {}",
        own.all,
        kept.all
    );
}

#[test]
fn nothing_that_is_odd_stops_it() {
    let (picture, cover) = drawn(&motif(1), AS_DRAWN);
    let even = RgbImage::from_pixel(SIDE_PX, SIDE_PX, Rgb([200; 3]));
    let empty = GrayImage::new(SIDE_PX, SIDE_PX);
    let full = GrayImage::from_pixel(SIDE_PX, SIDE_PX, Luma([255]));
    let dot = GrayImage::from_fn(SIDE_PX, SIDE_PX, |x, y| Luma([255 * u8::from(x + y == 9)]));
    assert!(Points::find(&picture, &empty, true).0.is_empty());
    assert!(Points::find(&picture, &dot, true).0.is_empty());
    assert!(Points::find(&even, &full, true).0.is_empty());
    assert!(
        Points::find(&even, &GrayImage::new(3, 3), true)
            .0
            .is_empty()
    );
    assert!(Points::find(&picture, &full, true).0.len() <= MOST);
    for side in [0, 1, 2, 9, 15, 16, 33] {
        let small = image::imageops::crop_imm(&picture, 100, 100, side, side).to_image();
        let all = GrayImage::from_pixel(side, side, Luma([255]));
        Points::find(&small, &all, true);
    }
    let points = Points::find(&picture, &cover, true);
    let none = Points::default();
    for (a, b) in [(&points, &none), (&none, &points), (&none, &none)] {
        assert_eq!(agreement(a, b), Agreement::default());
        assert_eq!(agreement(a, b).distance(), 1.0);
    }
    let mut next = numbers(11);
    for length in [0, 1, 24, 25, 60, DIM, DIM + 7] {
        let odd: Vec<f32> = (0..length)
            .map(|i| match i % 5 {
                0 => f32::NAN,
                1 => -1e30,
                2 => f32::INFINITY,
                _ => next() * 2e7,
            })
            .collect();
        let odd = Points::from_slice(&odd);
        let distance = agreement(&odd, &points).distance();
        assert!((0.0..=1.0).contains(&distance), "{distance}");
    }
}

#[test]
fn the_channel_says_one_where_nothing_agrees_and_less_where_much_does() {
    let channel = &REGISTRY[channel::position("points").unwrap()];
    let vector = |seed, turn| {
        let laid = Laid { turn, ..AS_DRAWN };
        Vector::new(points(&motif(seed), laid, true).to_numbers()).unwrap()
    };
    let one = vector(8, 0.0);
    let distance = |other: &Vector| channel.metric.distance(one.as_slice(), other.as_slice());
    let (turned, other) = (distance(&vector(8, 0.7)), distance(&vector(9, 0.0)));
    assert!(turned < 0.3 && other > 0.55, "{turned} {other}");
    let again = Vector::from_bytes(&one.to_bytes()).unwrap();
    assert_eq!(again, one, "what is stored is what was found");
}
