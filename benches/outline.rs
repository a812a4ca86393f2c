//! What it costs to describe an outline, to read its pose and to align 100
//! candidates, on one core.
//!
//! Prints one JSON line per result. `--write FILE` leaves the outlines there for
//! the comparison with another library (`benches/peer/outline.py`): 200 closed
//! contours of 512 points, x and y as little-endian f32.
#![allow(clippy::print_stdout, missing_docs, reason = "a measurement prints")]

use std::time::Instant;

use footring::outline::{Aligner, Contour, Outline, pose};

const OUTLINES: usize = 200;
const POINTS: usize = 512;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let outlines: Vec<Outline> = (0..OUTLINES).map(made_up).collect();
    if let Some(at) = words.iter().position(|word| word == "--write") {
        let bytes: Vec<u8> = outlines
            .iter()
            .flat_map(|o| o.outer.as_flattened())
            .flat_map(|v| v.to_le_bytes())
            .collect();
        std::fs::write(&words[at + 1], bytes).expect("the file can be written");
    }
    let begun = Instant::now();
    let contours: Vec<Contour> = outlines.iter().filter_map(Contour::new).collect();
    report("contour", begun, OUTLINES);
    let begun = Instant::now();
    let found = outlines
        .iter()
        .map(pose::read)
        .filter(|p| p.axis.is_some())
        .count();
    report("pose", begun, OUTLINES);
    assert_eq!(found, OUTLINES);
    let mut sum = 0.0;
    let begun = Instant::now();
    for contour in contours.iter().take(10) {
        let mut aligner = Aligner::new(contour, 1.0);
        sum += contours[100..]
            .iter()
            .map(|c| aligner.distance(c))
            .sum::<f32>();
    }
    report("align_100", begun, 10);
    assert!(sum > 0.0);
}

fn report(what: &str, begun: Instant, times: usize) {
    let ms = begun.elapsed().as_secs_f64() * 1e3 / times as f64;
    println!("{{\"what\":\"{what}\",\"ms\":{ms:.4}}}");
}

/// A closed wavy contour, another for each number.
fn made_up(number: usize) -> Outline {
    let outer = (0..POINTS)
        .map(|i| {
            let t = i as f64 / POINTS as f64 * std::f64::consts::TAU;
            let n = number as f64;
            let r = 200.0
                * (1.0
                    + 0.3 * (2.0 * t + n).cos()
                    + 0.2 * (n * 0.7).sin() * (3.0 * t).sin()
                    + 0.1 * (n * 1.3).cos() * (5.0 * t + n).sin());
            [(r * t.cos() + 400.0) as f32, (400.0 - r * t.sin()) as f32]
        })
        .collect();
    Outline {
        outer,
        holes: Vec::new(),
    }
}
