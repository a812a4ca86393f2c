//! A figure in a photo painted over with what lies beyond it, so that the network
//! does not see it.

use image::{GrayImage, RgbImage};

/// How far beyond the figure is painted, as a share of the photo's longest side: a card
/// is found a little too small (two pixels of 240), and has an edge and a shadow.
const MARGIN_SHARE: f32 = 0.012;
/// Pixels beyond that whose mean is the paint.
const SAMPLE_PX: i64 = 4;

/// The picture with a convex figure painted over, row by row (or column by column)
/// with the colour beyond it on the side that is turned away from the piece.
pub(super) fn over(picture: &RgbImage, mask: &GrayImage, figure: &[[f32; 2]]) -> RgbImage {
    let mut painted = picture.clone();
    let size = [i64::from(picture.width()), i64::from(picture.height())];
    let margin = MARGIN_SHARE * size[0].max(size[1]) as f32;
    let middle = [0, 1].map(|i| figure.iter().map(|p| p[i]).sum::<f32>() / figure.len() as f32);
    let away = away(mask, figure, middle);
    // Lines run along this axis, and are counted along the other.
    let along = usize::from(away[1].abs() > away[0].abs());
    let other = 1 - along;
    let outward = if away[along] < 0.0 { -1 } else { 1 };
    let ends = |i: usize| {
        let values = figure.iter().map(|p| p[i]);
        let low = values.clone().fold(f32::INFINITY, f32::min);
        (low, values.fold(f32::NEG_INFINITY, f32::max))
    };
    let (first, last) = ends(other);
    for line in (first - margin).floor() as i64..=(last + margin).ceil() as i64 {
        if line < 0 || line >= size[other] {
            continue;
        }
        let within = (line as f32 + 0.5).clamp(first, last);
        let Some((low, high)) = span(figure, along, within) else {
            continue;
        };
        let (low, high) = ((low - margin).floor() as i64, (high + margin).ceil() as i64);
        let at = |place: i64| {
            let (x, y) = if along == 0 {
                (place, line)
            } else {
                (line, place)
            };
            (x as u32, y as u32)
        };
        let edge = if outward > 0 { high } else { low };
        let beyond: Vec<[u8; 3]> = (1..=SAMPLE_PX)
            .map(|k| edge + outward * k)
            .filter(|place| (0..size[along]).contains(place))
            .map(|place| {
                let (x, y) = at(place);
                picture.get_pixel(x, y).0
            })
            .collect();
        if beyond.is_empty() {
            continue;
        }
        let paint = [0, 1, 2].map(|i| {
            let sum: usize = beyond.iter().map(|p| usize::from(p[i])).sum();
            (sum / beyond.len()) as u8
        });
        for place in low.max(0)..=high.min(size[along] - 1) {
            let (x, y) = at(place);
            painted.put_pixel(x, y, image::Rgb(paint));
        }
    }
    painted
}

/// From the middle of what the mask holds outside the figure's box to the figure's.
fn away(mask: &GrayImage, figure: &[[f32; 2]], middle: [f32; 2]) -> [f32; 2] {
    let inside = |x: f32, y: f32| {
        let within =
            |i: usize, v: f32| figure.iter().any(|p| p[i] <= v) && figure.iter().any(|p| p[i] >= v);
        within(0, x) && within(1, y)
    };
    let (mut sum, mut n) = ([0.0f64; 2], 0.0f64);
    for (x, y, p) in mask.enumerate_pixels() {
        if p.0[0] >= 128 && !inside(x as f32, y as f32) {
            sum = [sum[0] + f64::from(x), sum[1] + f64::from(y)];
            n += 1.0;
        }
    }
    [0, 1].map(|i| middle[i] - (sum[i] / n.max(1.0)) as f32)
}

/// Where a line along an axis at `at` on the other enters and leaves a convex figure.
fn span(figure: &[[f32; 2]], along: usize, at: f32) -> Option<(f32, f32)> {
    let other = 1 - along;
    let mut found: Option<(f32, f32)> = None;
    for (i, a) in figure.iter().enumerate() {
        let b = figure[(i + 1) % figure.len()];
        if at < a[other].min(b[other]) || at > a[other].max(b[other]) {
            continue;
        }
        let rise = b[other] - a[other];
        let crossings = if rise.abs() < 1e-6 {
            [a[along], b[along]]
        } else {
            [a[along] + (b[along] - a[along]) * (at - a[other]) / rise; 2]
        };
        for v in crossings {
            let (low, high) = found.unwrap_or((v, v));
            found = Some((low.min(v), high.max(v)));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_card_beside_the_piece_is_gone_and_nothing_else() {
        // A piece left, a leaning card right of it, a table whose rows differ.
        let table = |y: u32| image::Rgb([100, 110, y as u8]);
        let card = [[140.0, 60.0], [180.0, 64.0], [178.0, 120.0], [138.0, 116.0]];
        let in_card = |x: u32, y: u32| {
            let at = (y as f32 + 0.5).clamp(60.0, 120.0);
            let (low, high) = span(&card, 0, at).unwrap_or((0.0, 0.0));
            (60..120).contains(&y) && (low..high).contains(&(x as f32 + 0.5))
        };
        let in_piece = |x: u32, y: u32| (30..110).contains(&x) && (40..150).contains(&y);
        let picture = RgbImage::from_fn(240, 200, |x, y| match () {
            () if in_piece(x, y) => image::Rgb([200, 30, 30]),
            () if in_card(x, y) => image::Rgb([118, 118, 118]),
            () => table(y),
        });
        let mask = GrayImage::from_fn(240, 200, |x, y| {
            image::Luma([if in_piece(x, y) || in_card(x, y) {
                255
            } else {
                0
            }])
        });
        let painted = over(&picture, &mask, &card);
        for (x, y, p) in painted.enumerate_pixels() {
            let wanted = if in_piece(x, y) {
                image::Rgb([200, 30, 30])
            } else {
                table(y)
            };
            assert_eq!(*p, wanted, "{x} {y}");
        }
    }
}
