//! The renderer against closed forms, and against itself.

use footring_studio::backdrop::Backdrop;
use footring_studio::camera::Camera;
use footring_studio::decor::Finish;
use footring_studio::demo;
use footring_studio::form::Form;
use footring_studio::glaze::{Glaze, Ground, Treatment};
use footring_studio::light::Rig;
use footring_studio::pattern::{From, Ink, Layer, Pattern};
use footring_studio::photo::{Piece, Placed, shoot};
use footring_studio::revolve::{Revolved, Role};
use footring_studio::rng::Rng;
use footring_studio::scene::{Item, Scene};
use footring_studio::section::{Foot, Pt, Section};
use footring_studio::shape::Shape;
use footring_studio::solid::Solid;
use footring_studio::trace::{Frame, render};
use footring_studio::vec3::{V3, v3};
use footring_studio::warp::Warp;
use footring_studio::world::random_shot;
use std::f32::consts::PI;
use std::path::Path;
use std::sync::Arc;

fn white() -> Ground {
    Ground {
        glaze: Glaze {
            mottle: 0.0,
            gloss: 0.0,
            ..Glaze::new("white", 0xeeeeee)
        },
        treatment: Treatment::AllOver,
    }
}

/// A level camera before a single body.
fn scene(section: Section, role: Role, pattern: Pattern, target_y: f32, size: usize) -> Scene {
    let warp = Warp::round(section.radius_mm(), section.height_mm());
    let solid = Solid::new(
        vec![Revolved::new(section, warp, 0.0, role, 10.0)],
        Vec::new(),
    );
    let finish = Finish::Ware {
        ground: white(),
        pattern,
        emboss: footring_studio::shape::Emboss::None,
        seed: 1,
    };
    let mut rng = Rng::new(5);
    Scene {
        items: vec![Item::new(
            Arc::new(solid),
            Arc::new(finish),
            v3(0.0, 0.0, 0.0),
            0.0,
        )],
        backdrop: Backdrop::named("paper sweep", &mut rng),
        rig: Rig::named("overcast", PI * 0.5, &mut rng),
        camera: Camera {
            azimuth_rad: PI * 0.5,
            elevation_rad: 0.0,
            roll_rad: 0.0,
            target: v3(0.0, target_y, 0.0),
            distance_mm: 900.0,
            focal_mm: 85.0,
            width: size,
            height: size,
            shift: [0.0, 0.0],
        },
    }
}

fn area(frame: &Frame) -> f32 {
    frame.masks[0].iter().map(|&v| f32::from(v) / 255.0).sum()
}

#[test]
fn a_sphere_covers_the_area_that_perspective_gives_it() {
    let r = 50.0;
    let outer: Vec<Pt> = (0..=60)
        .map(|i| {
            let a = -PI * 0.5 + PI * i as f32 / 60.0;
            [(r * a.cos()).max(0.0), r + r * a.sin()]
        })
        .collect();
    let outer: Vec<Pt> = outer[1..].to_vec();
    let s = scene(Section::solid(&outer), Role::Lid, Pattern::plain(), r, 400);
    let f = s.camera.focal_px();
    // The silhouette of a sphere on the optical axis is a circle of this radius.
    let want = PI * (f * r / (900.0f32 * 900.0 - r * r).sqrt()).powi(2);
    let got = area(&render(&s));
    assert!((got / want - 1.0).abs() < 0.01, "{got} against {want}");
}

#[test]
fn a_cylinder_is_as_wide_and_high_as_perspective_gives_it() {
    let (r, h) = (40.0, 90.0);
    let foot = Foot {
        width_mm: 4.0,
        hollow_mm: 2.0,
        floor_mm: 6.0,
    };
    let section = Section::hollow(&[[r, 0.0], [r, 40.0], [r, h - 2.0]], 4.0, foot);
    let s = scene(section, Role::Hollow, Pattern::plain(), h * 0.5, 400);
    let frame = render(&s);
    let f = s.camera.focal_px();
    let half = f * r / (900.0f32 * 900.0 - r * r).sqrt();
    let row = 200;
    let wide: f32 = frame.masks[0][row * 400..(row + 1) * 400]
        .iter()
        .map(|&v| f32::from(v) / 255.0)
        .sum();
    assert!(
        (wide / (2.0 * half) - 1.0).abs() < 0.01,
        "{wide} against {}",
        2.0 * half
    );
    // The nearest point of the rim is at 900 - r.
    let high: f32 = (0..400)
        .map(|y| f32::from(frame.masks[0][y * 400 + 200]) / 255.0)
        .sum();
    let want = f * h / (900.0 - r);
    assert!((high / want - 1.0).abs() < 0.015, "{high} against {want}");
}

#[test]
fn a_band_lies_where_its_height_projects() {
    let (r, h) = (40.0, 90.0);
    let foot = Foot {
        width_mm: 4.0,
        hollow_mm: 2.0,
        floor_mm: 6.0,
    };
    let section = Section::hollow(&[[r, 0.0], [r, 40.0], [r, h]], 4.0, foot);
    // Widths follow the radius: 4 mm on a piece of 80 mm radius.
    let k = (r / 80.0f32).powf(0.7);
    let layer = Layer::Line {
        from: From::Foot,
        at_mm: 30.0 / k,
        width_mm: 6.0 / k,
        ink: Ink::Colour(V3::splat(0.01)),
    };
    let pattern = Pattern {
        name: "band".into(),
        motifs: Vec::new(),
        layers: vec![layer],
    };
    let s = scene(section, Role::Hollow, pattern, 45.0, 400);
    let frame = render(&s);
    // The ink's own darkness: where the piece meets the table it is in shade, but not as dark.
    let dark: Vec<usize> = (0..400)
        .filter(|y| {
            frame.masks[0][y * 400 + 200] == 255 && frame.colour[y * 400 + 200].luminance() < 0.05
        })
        .collect();
    let view = s.camera.view();
    let top = view.project(v3(0.0, 36.0, r))[1];
    let low = view.project(v3(0.0, 30.0, r))[1];
    let (first, last) = (dark[0] as f32, dark[dark.len() - 1] as f32 + 1.0);
    assert!(
        (first - top).abs() < 1.5 && (last - low).abs() < 1.5,
        "{first}..{last} against {top}..{low}"
    );
}

#[test]
fn the_same_seed_gives_the_same_bytes_on_any_number_of_threads() {
    let mut rng = Rng::new(9);
    let shape = Shape::random("s", &mut rng);
    let pattern = Pattern::random("p", &mut rng);
    let piece = Piece::ware("a", &shape, Form::Teapot, &white(), &pattern);
    let shot = random_shot(false, 96, &mut rng);
    let take = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("a pool of threads");
        pool.install(|| {
            let p = shoot(&[Placed::middle(&piece)], &shot, "x", None);
            (p.jpeg().expect("a JPEG"), p.masks)
        })
    };
    let one = take(1);
    assert!(one == take(3));
    assert!(one.1[0].contains(&255));
}

/// The committed photos are what the program makes. Libraries of other platforms may round a sine differently, so a
/// small difference of the decoded pictures is allowed.
#[test]
fn the_committed_demo_photos_can_be_made_again() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../index/demo");
    for (path, bytes) in demo::first_photos(2).expect("demo photos") {
        let kept = std::fs::read(dir.join(&path)).expect("a committed photo");
        if kept == bytes {
            continue;
        }
        let open = |b: &[u8]| image::load_from_memory(b).expect("a JPEG").to_rgb8();
        let (a, b) = (open(&kept), open(&bytes));
        assert_eq!(a.dimensions(), b.dimensions());
        let sum: u64 = a
            .as_raw()
            .iter()
            .zip(b.as_raw())
            .map(|(x, y)| u64::from(x.abs_diff(*y)))
            .sum();
        let mean = sum as f64 / a.as_raw().len() as f64;
        assert!(
            mean < 0.5,
            "{path} differs by {mean} on average: run `studio demo` again"
        );
    }
}
