//! White balance against a chart whose colours are known, rendered by the studio
//! under lights that are known, and the difference of grounds with its doubt.

use footring::{
    colour::{self, Balance, Difference, Ground, NeutralPoint, Reference, difference},
    cutout::{Cutout, Origin},
    error::Kind,
    raster,
};
use footring_studio::{
    backdrop::Backdrop,
    camera::Camera,
    card::{Card, GREY},
    develop::Development,
    light::Rig,
    rng::Rng,
    scene::Scene,
    series, trace,
    vec3::{V3, v3},
};
use image::{GrayImage, RgbImage};
use std::f32::consts::FRAC_PI_2;

/// Seventeen patches of the ColorChecker 2005, CIE L*a*b* (D65, by Bradford's
/// matrix), from colour-science 0.4.7, `colour.CCS_COLOURCHECKERS`. The cyan
/// patch lies outside sRGB and is left out.
const PATCHES: [[f64; 3]; 17] = [
    [37.77, 12.59, 13.73],
    [65.43, 16.85, 17.38],
    [50.23, -2.32, -21.56],
    [43.04, -14.95, 22.03],
    [55.37, 11.47, -25.17],
    [70.91, -33.07, 0.24],
    [62.03, 33.60, 56.33],
    [40.66, 16.07, -45.17],
    [50.62, 47.70, 15.19],
    [30.45, 24.92, -21.61],
    [72.29, -27.94, 57.88],
    [71.38, 15.89, 67.70],
    [29.57, 20.61, -49.22],
    [55.23, -41.19, 31.92],
    [41.47, 52.75, 26.87],
    [66.77, -0.66, -0.51],
    [51.73, 51.23, -15.25],
];

/// A chart photographed by the studio, and the pixel of each patch. The last
/// patch is an 18 % grey.
struct Chart {
    cutout: Cutout,
    places: Vec<[f32; 2]>,
}

fn chart(light: V3, exposure_ev: f32) -> Chart {
    let mut patches: Vec<V3> = PATCHES.iter().map(|lab| series::linear(*lab)).collect();
    patches.push(V3::splat(GREY));
    let card = Card {
        middle: v3(0.0, 47.0, 0.0),
        half_mm: [90.0, 45.0],
        patches,
        columns: 6,
        ..Card::grey([0.0, 0.0], false)
    };
    let camera = Camera {
        azimuth_rad: FRAC_PI_2,
        elevation_rad: 0.1,
        roll_rad: 0.0,
        target: card.middle,
        distance_mm: 700.0,
        focal_mm: 85.0,
        width: 300,
        height: 200,
        shift: [0.0; 2],
    };
    let view = camera.view();
    let places = (0..card.patches.len())
        .map(|i| view.project(card.patch_middle(i)))
        .collect();
    let mut rng = Rng::new(3);
    let mut rig = Rig::named("softbox left", FRAC_PI_2, &mut rng);
    for b in &mut rig.boxes {
        b.power = b.power * light;
    }
    rig.sky = rig.sky * light;
    rig.bounce = rig.bounce * light;
    let mut backdrop = Backdrop::named("plain table", &mut rng);
    backdrop.card = Some(card);
    let frame = trace::render(&Scene {
        items: Vec::new(),
        backdrop,
        rig,
        camera,
    });
    let development = Development {
        exposure_ev,
        white_balance: [1.0; 3],
        blur_px: 0.4,
        noise: 0.004,
        vignette: 0.0,
        mono: false,
        contrast: 1.0,
        jpeg_quality: 92,
        seed: 9,
    };
    let rgb = development.develop(&frame);
    Chart {
        cutout: Cutout {
            working: RgbImage::from_raw(300, 200, rgb).unwrap(),
            mask: GrayImage::new(300, 200),
            photo_per_working: 1.0,
            origin: Origin::Model,
            warnings: Vec::new(),
        },
        places,
    }
}

impl Chart {
    fn grey(&self, percent: Option<f32>) -> NeutralPoint {
        let [x_px, y_px] = self.places[PATCHES.len()];
        NeutralPoint {
            x_px,
            y_px,
            percent,
        }
    }

    fn balance(&self, percent: Option<f32>) -> Balance {
        let colours = colour::read(&self.cutout, true, Some(self.grey(percent)), None).unwrap();
        colours.balance
    }

    /// CIEDE2000 of every patch to its true colour, worst first.
    fn errors(&self, balance: &Balance, at_true_lightness: bool) -> Vec<f64> {
        let mut errors: Vec<f64> = PATCHES
            .iter()
            .zip(&self.places)
            .map(|(truth, [x, y])| {
                let mut mean = [0.0f32; 3];
                for (dx, dy) in (-3..=3).flat_map(|dx| (-3..=3).map(move |dy| (dx, dy))) {
                    let (x, y) = ((*x as i32 + dx) as u32, (*y as i32 + dy) as u32);
                    let rgb = raster::linear(self.cutout.working.get_pixel(x, y).0);
                    (0..3).for_each(|i| mean[i] += rgb[i] / 49.0);
                }
                let mut rgb = balance.apply(mean);
                if at_true_lightness {
                    let target = series::linear(*truth).luminance();
                    let factor = target / raster::luminance(rgb);
                    rgb = rgb.map(|v| v * factor);
                }
                raster::delta_e00(raster::lab_of_linear(rgb).map(f64::from), *truth)
            })
            .collect();
        errors.sort_by(|a, b| b.total_cmp(a));
        errors
    }
}

/// The lights: about 3000 K and 9000 K beside the studio's white (as linear
/// sRGB, from memory), at three exposures.
#[test]
fn a_grey_card_takes_the_light_out_of_a_chart() {
    for light in [v3(1.35, 0.97, 0.55), v3(0.86, 1.0, 1.3), v3(1.0, 1.0, 1.0)] {
        for exposure_ev in [-0.7, -0.3, 0.1] {
            let chart = chart(light, exposure_ev);
            let errors = chart.errors(&chart.balance(Some(18.0)), false);
            let median = errors[errors.len() / 2];
            assert!(median < 1.0, "{light:?} {exposure_ev}: {errors:.1?}");
            assert!(errors[1] < 2.5, "{light:?} {exposure_ev}: {errors:.1?}");
        }
    }
    let warm = chart(v3(1.35, 0.97, 0.55), -0.3);
    let as_taken = warm.errors(&Balance::default(), true);
    assert!(as_taken[as_taken.len() / 2] > 6.0, "{as_taken:.1?}");
    // The cast alone: any neutral patch does, and lightness stays the camera's.
    let patch = warm.balance(None);
    assert_eq!(patch.reference, Reference::Patch);
    let errors = warm.errors(&patch, true);
    assert!(errors[errors.len() / 2] < 1.0, "{errors:.1?}");
}

#[test]
fn a_point_that_shows_nothing_neutral_is_refused_with_a_remedy() {
    let chart = chart(v3(1.0, 1.0, 1.0), 0.0);
    let read = |x_px, y_px| {
        let point = NeutralPoint {
            x_px,
            y_px,
            percent: Some(18.0),
        };
        colour::read(&chart.cutout, true, Some(point), None)
    };
    assert_eq!(read(-3.0, 5.0).unwrap_err().kind(), Kind::Usage);
    assert_eq!(read(300.0, 5.0).unwrap_err().kind(), Kind::Usage);
    // The border between two patches.
    let [a, b] = [chart.places[0], chart.places[1]];
    let e = read((a[0] + b[0]) / 2.0, a[1]).unwrap_err();
    assert!(e.to_string().contains("not even"), "{e}");
}

/// A ground of L*, a*, b* whose balance rests on a card, before a surround.
fn ground(lab: [f32; 3], chroma_doubt: f32, surround: Option<[f32; 3]>) -> Ground {
    let [l, a, b] = lab;
    let [sl, sa, sb] = surround.unwrap_or([-1.0, 0.0, 0.0]);
    Ground::from_numbers(&[l, a, b, chroma_doubt, 8.0, 0.8, sl, sa, sb]).unwrap()
}

/// Common practice, no source: what lies within the doubt is never told apart,
/// and the doubt shrinks where light and form are the same.
#[test]
fn grounds_within_the_doubt_are_never_told_apart() {
    let told = |a: &Ground, b: &Ground, same| -> Difference { difference(a, b, same) };
    let celadon = ground([70.0, -12.0, 8.0], 1.2, None);
    let darker = ground([60.0, -11.0, 7.0], 1.2, None);
    let blue = ground([68.0, -8.0, -20.0], 1.2, None);
    assert!(!told(&celadon, &celadon, true).told_apart);
    let shade = told(&celadon, &darker, false);
    assert!(!shade.told_apart && shade.delta_e00 > 7.0, "{shade:?}");
    assert!(told(&celadon, &blue, false).told_apart);
    // The same by the camera's own balance: only what no camera gets wrong.
    let doubtful = |lab| ground(lab, 6.0, None);
    let (a, b) = (doubtful([70.0, -12.0, 8.0]), doubtful([68.0, -8.0, -2.0]));
    assert!(!told(&a, &b, false).told_apart);
    // In one set-up ten steps of lightness are not shade.
    let table = Some([60.0, 1.0, 2.0]);
    let (a, b) = (
        ground([70.0, -12.0, 8.0], 1.2, table),
        ground([60.0, -11.0, 7.0], 1.2, table),
    );
    assert!(told(&a, &b, true).told_apart);
    assert!(!told(&a, &b, false).told_apart, "another form");
    let elsewhere = ground([60.0, -11.0, 7.0], 1.2, Some([50.0, 1.0, 2.0]));
    assert!(!told(&a, &elsewhere, true).told_apart, "another table");
}
