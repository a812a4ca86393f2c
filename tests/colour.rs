//! Colour arithmetic against published numbers.

use footring::colour::{Tones, munsell, tones, words};
use footring::raster::{self, delta_e00, lab, srgb};
use proptest::prelude::*;

/// Two L*a*b* colours and their CIEDE2000 difference.
type Pair = ([f64; 3], [f64; 3], f64);

/// Source: Sharma, Wu & Dalal 2005, supplementary test data. The pairs are
/// chosen where careless formulas go wrong: hue across 0 and 360 degrees, mean
/// hue of opposite hues, the rotation term in the blue.
#[rustfmt::skip]
const PAIRS: [Pair; 34] = [
    ([50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485], 2.0425),
    ([50.0, 3.1571, -77.2803], [50.0, 0.0, -82.7485], 2.8615),
    ([50.0, 2.8361, -74.02], [50.0, 0.0, -82.7485], 3.4412),
    ([50.0, -1.3802, -84.2814], [50.0, 0.0, -82.7485], 1.0),
    ([50.0, -1.1848, -84.8006], [50.0, 0.0, -82.7485], 1.0),
    ([50.0, -0.9009, -85.5211], [50.0, 0.0, -82.7485], 1.0),
    ([50.0, 0.0, 0.0], [50.0, -1.0, 2.0], 2.3669),
    ([50.0, -1.0, 2.0], [50.0, 0.0, 0.0], 2.3669),
    ([50.0, 2.49, -0.001], [50.0, -2.49, 0.0009], 7.1792),
    ([50.0, 2.49, -0.001], [50.0, -2.49, 0.001], 7.1792),
    ([50.0, 2.49, -0.001], [50.0, -2.49, 0.0011], 7.2195),
    ([50.0, 2.49, -0.001], [50.0, -2.49, 0.0012], 7.2195),
    ([50.0, -0.001, 2.49], [50.0, 0.0009, -2.49], 4.8045),
    ([50.0, -0.001, 2.49], [50.0, 0.001, -2.49], 4.8045),
    ([50.0, -0.001, 2.49], [50.0, 0.0011, -2.49], 4.7461),
    ([50.0, 2.5, 0.0], [50.0, 0.0, -2.5], 4.3065),
    ([50.0, 2.5, 0.0], [73.0, 25.0, -18.0], 27.1492),
    ([50.0, 2.5, 0.0], [61.0, -5.0, 29.0], 22.8977),
    ([50.0, 2.5, 0.0], [56.0, -27.0, -3.0], 31.903),
    ([50.0, 2.5, 0.0], [58.0, 24.0, 15.0], 19.4535),
    ([50.0, 2.5, 0.0], [50.0, 3.1736, 0.5854], 1.0),
    ([50.0, 2.5, 0.0], [50.0, 3.2972, 0.0], 1.0),
    ([50.0, 2.5, 0.0], [50.0, 1.8634, 0.5757], 1.0),
    ([50.0, 2.5, 0.0], [50.0, 3.2592, 0.335], 1.0),
    ([60.2574, -34.0099, 36.2677], [60.4626, -34.1751, 39.4387], 1.2644),
    ([63.0109, -31.0961, -5.8663], [62.8187, -29.7946, -4.0864], 1.263),
    ([61.2901, 3.7196, -5.3901], [61.4292, 2.248, -4.962], 1.8731),
    ([35.0831, -44.1164, 3.7933], [35.0232, -40.0716, 1.5901], 1.8645),
    ([22.7233, 20.0904, -46.694], [23.0331, 14.973, -42.5619], 2.0373),
    ([36.4612, 47.858, 18.3852], [36.2715, 50.5065, 21.2231], 1.4146),
    ([90.8027, -2.0831, 1.441], [91.1528, -1.6435, 0.0447], 1.4441),
    ([90.9257, -0.5406, -0.9208], [88.6381, -0.8985, -0.7239], 1.5381),
    ([6.7747, -0.2908, -2.4247], [5.8714, -0.0985, -2.2286], 0.6377),
    ([2.0776, 0.0795, -1.135], [0.9033, -0.0636, -0.5514], 0.9082),
];

/// Half a unit of the last place that is printed.
const PRINTED: f64 = 5e-5;

#[test]
fn all_published_pairs_of_ciede2000_come_out_both_ways_round() {
    for (i, (a, b, expected)) in PAIRS.into_iter().enumerate() {
        for (there, found) in [("there", delta_e00(a, b)), ("back", delta_e00(b, a))] {
            assert!(
                (found - expected).abs() <= PRINTED + 1e-12,
                "pair {} {there}: {found}, printed {expected}",
                i + 1
            );
        }
    }
}

/// Source: computed from the formulas of IEC 61966-2-1 (sRGB) and CIE 15, white
/// D65, to three places.
#[test]
fn lab_of_the_primaries_and_of_grey() {
    let cases = [
        ([255, 0, 0], [53.241, 80.092, 67.203]),
        ([0, 255, 0], [87.735, -86.183, 83.179]),
        ([0, 0, 255], [32.297, 79.188, -107.860]),
        ([128, 128, 128], [53.585, 0.0, 0.0]),
        ([255, 255, 255], [100.0, 0.0, 0.0]),
        ([0, 0, 0], [0.0, 0.0, 0.0]),
    ];
    for (rgb, expected) in cases {
        let found = lab(rgb);
        for (found, expected) in found.into_iter().zip(expected) {
            // Single precision, and the last digit of the matrix of sRGB.
            assert!(
                (found - expected).abs() < 0.02_f32,
                "{rgb:?}: {found} {expected}"
            );
        }
    }
}

/// Common practice, no source: what is converted there and back is the same.
#[test]
fn every_grey_and_a_grid_of_colours_come_back_from_lab() {
    for v in 0..=255 {
        assert_eq!(srgb(lab([v; 3])), [v; 3]);
    }
    for r in (0..=255).step_by(15) {
        for g in (0..=255).step_by(15) {
            for b in (0..=255).step_by(15) {
                assert_eq!(srgb(lab([r, g, b])), [r, g, b]);
            }
        }
    }
}

/// Common practice, no source.
#[test]
fn a_colour_outside_srgb_is_clipped_and_never_wraps() {
    let [r, g, b] = srgb([87.0, -120.0, 90.0]);
    assert_eq!((r, b), (0, 0), "green {g}");
    assert_eq!(srgb([140.0, 0.0, 0.0]), [255; 3]);
    assert_eq!(srgb([-5.0, 0.0, 0.0]), [0; 3]);
}

proptest! {
    /// Common practice, no source.
    #[test]
    fn any_colour_comes_back_from_lab(rgb: [u8; 3]) {
        prop_assert_eq!(srgb(lab(rgb)), rgb);
    }

    /// A difference is symmetric, and nothing to itself (Sharma, Wu & Dalal 2005
    /// for the symmetry).
    #[test]
    fn a_difference_is_symmetric_and_zero_to_itself(a: [u8; 3], b: [u8; 3]) {
        let (a, b) = (lab(a).map(f64::from), lab(b).map(f64::from));
        let (there, back) = (delta_e00(a, b), delta_e00(b, a));
        prop_assert!((there - back).abs() < 1e-9, "{} {}", there, back);
        prop_assert!(there >= 0.0 && there.is_finite());
        prop_assert!(delta_e00(a, a) < 1e-9);
    }
}

/// Patches of the ColorChecker 2005: CIE L*a*b* (D65) and Munsell hue, value
/// and chroma, from colour-science 0.4.7 (`xyY_to_munsell_colour`, D65 to C by
/// Bradford's matrix). Hue counts from 0 (10RP) to 100.
const CHECKER: [([f32; 3], [f32; 3]); 18] = [
    ([37.77, 12.59, 13.73], [12.9, 3.72, 3.10]),
    ([65.43, 16.85, 17.38], [10.8, 6.45, 4.61]),
    ([50.23, -2.32, -21.56], [73.2, 4.93, 5.43]),
    ([43.04, -14.95, 22.03], [35.9, 4.22, 3.93]),
    ([55.37, 11.47, -25.17], [79.2, 5.44, 6.57]),
    ([70.91, -33.07, 0.24], [53.1, 7.00, 6.36]),
    ([62.03, 33.60, 56.33], [13.7, 6.10, 11.46]),
    ([40.66, 16.07, -45.17], [77.1, 4.01, 11.22]),
    ([50.62, 47.70, 15.19], [2.4, 4.97, 10.71]),
    ([30.45, 24.92, -21.61], [85.5, 3.02, 6.60]),
    ([72.29, -27.94, 57.88], [35.1, 7.13, 9.11]),
    ([71.38, 15.89, 67.70], [19.5, 7.05, 10.97]),
    ([29.57, 20.61, -49.22], [76.8, 2.94, 11.69]),
    ([55.23, -41.19, 31.92], [40.4, 5.40, 8.38]),
    ([41.47, 52.75, 26.87], [5.3, 4.08, 12.09]),
    ([81.22, -0.45, 80.29], [24.3, 8.06, 11.50]),
    ([51.73, 51.23, -15.25], [92.8, 5.09, 12.27]),
    ([51.56, -23.97, -27.86], [65.2, 5.06, 8.38]),
];

/// Half a step of the Munsell book in hue is 1.25, in chroma 1.
#[test]
fn munsell_of_the_colour_checker_is_that_of_colour_science() {
    for (lab, [hue, value, chroma]) in CHECKER {
        let found = munsell(lab);
        let turned = (found.hue - hue + 50.0).rem_euclid(100.0) - 50.0;
        assert!(turned.abs() < 0.6, "{lab:?}: {found} hue {hue}");
        assert!((found.value - value).abs() < 0.03, "{lab:?}: {found}");
        assert!(
            (found.chroma - chroma).abs() < 0.3,
            "{lab:?}: {found} chroma {chroma}"
        );
    }
}

/// Neutral patches of the same chart: all below chroma 0.5.
#[test]
fn greys_are_written_as_greys() {
    for (lab, value) in [
        ([81.27, -0.60, -0.36], 8.1),
        ([66.77, -0.66, -0.51], 6.6),
        ([50.87, -0.11, -0.29], 5.0),
        ([35.67, -0.31, -1.22], 3.5),
        ([20.49, 0.03, -0.97], 2.0),
    ] {
        assert_eq!(munsell(lab).to_string(), format!("N {value:.1}"));
    }
    assert!(words([96.5, -0.5, 1.1]).starts_with("white "));
    assert!(
        words([20.5, 0.0, -1.0]).starts_with("black ")
            || words([20.5, 0.0, -1.0]).starts_with("dark grey ")
    );
}

/// Toning, as old papers and inks have it (common practice, no source).
#[test]
fn a_toned_copy_is_a_print_and_a_photo_with_a_sprig_is_none() {
    let (ink, paper) = ([40.0, 30.0, 22.0], [240.0, 228.0, 205.0f32]);
    for query in ["q01", "q02", "q05", "q07", "q16", "q18", "q20"] {
        let path = format!(
            "{}/index/demo/queries/{query}.jpg",
            env!("CARGO_MANIFEST_DIR")
        );
        let photo = image::open(path).unwrap().to_rgb8();
        assert_eq!(tones(&photo), Tones::Colour, "{query}");
        let grey = image::imageops::grayscale(&photo);
        let toned = image::RgbImage::from_fn(photo.width(), photo.height(), |x, y| {
            let t = f32::from(grey.get_pixel(x, y).0[0]) / 255.0;
            image::Rgb(std::array::from_fn(|i| {
                (ink[i] + (paper[i] - ink[i]) * t).round() as u8
            }))
        });
        let mut file = std::io::Cursor::new(Vec::new());
        toned.write_to(&mut file, image::ImageFormat::Jpeg).unwrap();
        let scan = image::load_from_memory(file.get_ref()).unwrap().to_rgb8();
        assert_eq!(tones(&scan), Tones::Toned, "{query}, toned");
        assert_eq!(tones(&raster::grey(&scan)), Tones::Grey, "{query}, untoned");
    }
}

proptest! {
    /// Every colour of a screen has a finite notation and a name.
    #[test]
    fn every_colour_has_a_name(rgb: [u8; 3]) {
        let found = munsell(lab(rgb));
        prop_assert!((0.0..100.001).contains(&found.hue));
        prop_assert!((0.0..=10.0).contains(&found.value));
        prop_assert!((0.0..60.0).contains(&found.chroma), "{}", found);
        prop_assert!(words(lab(rgb)).contains(" ("));
    }
}
