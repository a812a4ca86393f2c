//! A colour in plain words. The figures are Munsell's; where one word ends and
//! the next begins is common practice, no source.

use super::munsell::{Munsell, munsell};

/// Below this chroma a colour is a white, a grey or a black.
const GREY: f32 = 0.8;

/// Plain words and the notation of Munsell: `pale greyish blue (7.5PB 8.1/2.0)`.
pub fn words(lab: [f32; 3]) -> String {
    let m = munsell(lab);
    format!("{} ({m})", plain(m))
}

fn plain(m: Munsell) -> String {
    let Munsell { hue, value, chroma } = m;
    if chroma < GREY || value < 1.2 {
        return match value {
            v if v >= 8.7 => "white",
            v if v >= 7.0 => "light grey",
            v if v >= 4.5 => "grey",
            v if v >= 2.4 => "dark grey",
            _ => "black",
        }
        .to_owned();
    }
    let is = |from: f32, to: f32| (from..to).contains(&hue);
    let warm = is(5.0, 25.0);
    if value >= 8.7 && chroma < 2.0 {
        let tint = if warm || is(25.0, 32.0) {
            "cream"
        } else {
            family(hue)
        };
        return if tint == "cream" && chroma < 1.4 {
            "creamy white".to_owned()
        } else if tint == "cream" {
            "cream".to_owned()
        } else {
            format!("{tint}-tinged white")
        };
    }
    let name = if is(7.0, 26.0) && value < 5.6 && chroma < 9.0 {
        "brown"
    } else if is(10.0, 28.0) && value >= 7.0 && chroma < 4.5 {
        if value >= 8.2 { "cream" } else { "beige" }
    } else if is(22.0, 36.0) && value < 6.2 && chroma < 8.0 {
        "olive"
    } else if !(8.0..92.0).contains(&hue) && value >= 6.0 {
        "pink"
    } else {
        family(hue)
    };
    let depth = match value {
        v if v >= 7.6 && !matches!(name, "cream" | "beige") => "pale ",
        v if v >= 6.2 && !matches!(name, "cream" | "beige" | "pink") => "light ",
        v if v >= 4.0 => "",
        v if v >= 2.4 => "dark ",
        _ => "very dark ",
    };
    let strength = match chroma {
        c if c < 2.5 && !matches!(name, "cream" | "beige") => "greyish ",
        c if c >= 9.0 => "strong ",
        _ => "",
    };
    format!("{depth}{strength}{name}")
}

/// The hue alone.
fn family(hue: f32) -> &'static str {
    match hue {
        h if !(4.0..98.0).contains(&h) => "red",
        h if h < 10.0 => "red",
        h if h < 20.0 => "orange",
        h if h < 30.0 => "yellow",
        h if h < 40.0 => "yellowish green",
        h if h < 52.0 => "green",
        h if h < 62.0 => "bluish green",
        h if h < 76.0 => "blue",
        h if h < 79.0 => "purplish blue",
        h if h < 90.0 => "purple",
        _ => "purplish red",
    }
}
