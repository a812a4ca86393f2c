//! Colour arithmetic against published numbers.

use footring::raster::{delta_e00, lab, srgb};
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
