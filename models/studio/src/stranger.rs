//! Things that are no ware: a wooden skittle, a pear, a bolt. A cabinet of tableware should say that it does not know them.

use crate::decor::{Finish, Stuff};
use crate::revolve::{Revolved, Role};
use crate::section::{Pt, Section, spline};
use crate::solid::Solid;
use crate::tube::{Kind, Tube, bezier};
use crate::vec3::srgb;
use crate::warp::Warp;

/// Names of the strangers.
pub const STRANGERS: [&str; 3] = ["wooden skittle", "pear", "steel bolt"];

/// Geometry and finish of a stranger by name; an unknown name gives the pear.
pub fn stranger(name: &str) -> (Solid, Finish) {
    match name {
        "wooden skittle" => {
            let p = spline(
                &[
                    [24.0, 0.0],
                    [26.5, 3.0],
                    [31.0, 30.0],
                    [32.0, 52.0],
                    [25.0, 84.0],
                    [14.5, 106.0],
                    [13.5, 116.0],
                    [19.0, 128.0],
                    [20.5, 140.0],
                    [15.0, 153.0],
                    [6.0, 158.5],
                    [0.0, 159.5],
                ],
                8,
            );
            (
                Solid::new(vec![body(&p, 0.0, None)], Vec::new()),
                Finish::Other(Stuff::Wood, srgb(0xc79a63)),
            )
        }
        "steel bolt" => {
            let head: Vec<Pt> = vec![
                [16.0, 0.0],
                [18.5, 1.2],
                [18.5, 13.0],
                [16.5, 14.0],
                [11.0, 14.2],
                [0.0, 14.2],
            ];
            let mut shank: Vec<Pt> = vec![[10.0, 0.0], [10.0, 24.0]];
            for i in 0..26 {
                let y = 25.0 + 2.5 * i as f32;
                shank.push([10.0, y]);
                shank.push([8.4, y + 1.25]);
            }
            shank.extend([[8.6, 91.0], [7.0, 93.0], [0.0, 93.2]]);
            let bodies = vec![body(&head, 0.0, Some(6)), body(&shank, 13.9, None)];
            (
                Solid::new(bodies, Vec::new()),
                Finish::Other(Stuff::Steel, srgb(0x9a9ca0)),
            )
        }
        _ => {
            let p = spline(
                &[
                    [8.0, 1.0],
                    [17.0, 0.0],
                    [31.0, 8.0],
                    [37.5, 27.0],
                    [35.0, 46.0],
                    [24.0, 65.0],
                    [17.0, 82.0],
                    [13.0, 93.0],
                    [6.5, 98.5],
                    [0.0, 98.0],
                ],
                8,
            );
            let path = bezier([0.5, 94.0], [1.0, 104.0], [3.0, 110.0], [8.0, 116.0], 16);
            let half = vec![[1.7, 1.7]; path.len()];
            let stalk = Tube::new(Kind::Finial, 0.4, path, half, 0, 3.0);
            (
                Solid::new(vec![body(&p, 0.0, None)], vec![stalk]),
                Finish::Other(Stuff::Fruit, srgb(0xa9b04a)),
            )
        }
    }
}

fn body(outer: &[Pt], base_mm: f32, facets: Option<u32>) -> Revolved {
    let section = Section::solid(outer);
    let mut warp = Warp::round(section.radius_mm(), section.height_mm());
    if let Some(n) = facets {
        (warp.facets, warp.facet) = (n, 0.9);
    }
    // Role::Lid: no hollow inside.
    Revolved::new(section, warp, base_mm, Role::Lid, 10.0)
}
