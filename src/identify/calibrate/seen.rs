//! How much evidence on a level is worth by how the piece was seen.

use crate::identify::reading::{Level, View};

/// What the logit of a question is multiplied by.
///
/// From above a plate and a saucer are the same circle, and from the side they are
/// not: what photos say of the piece type counts by the view, on the other levels
/// not. Chosen by the likelihood of 3,600 answers of six sets of 30 pieces (studio's
/// world 99003), for each view alone: from the side 1.26, where it is not told 0.95,
/// at an angle 0.74, from above 0.38. In sets of 60 and of 100 all four were greater,
/// their ratios the same within a tenth or two.
///
/// `seen`: the view of each photo, one at least. Several count as their mean does, for
/// a piece's distance is the mean of theirs.
pub(in crate::identify) fn worth(level: Level, seen: &[View]) -> f64 {
    let of = |view: &View| match view {
        View::Side => 1.25,
        View::Unknown => 0.95,
        View::Oblique => 0.75,
        View::Top => 0.4,
    };
    match level {
        Level::Form => seen.iter().map(of).sum::<f64>() / seen.len() as f64,
        Level::Shape | Level::Pattern | Level::Glaze => 1.0,
    }
}

/// Whether the piece was seen from above or at an angle, in all photos.
pub(in crate::identify) fn from_above(seen: &[View]) -> bool {
    let from_above = |view: &View| matches!(view, View::Oblique | View::Top);
    seen.iter().all(from_above)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::identify::calibrate::Calibration;

    #[test]
    fn a_piece_type_is_the_less_sure_the_steeper_it_was_seen() {
        let judge = &Calibration::default().levels.form;
        let share = |seen: &[View]| {
            let worth = worth(Level::Form, seen);
            judge.shares(&[0.2, 0.3, 0.35, 0.7], worth).first()
        };
        let steps = [View::Top, View::Oblique, View::Unknown, View::Side];
        for pair in steps.windows(2) {
            assert!(share(&pair[..1]) < share(&pair[1..]), "{pair:?}");
            assert!(share(&pair[..1]) < share(pair) && share(pair) < share(&pair[1..]));
        }
    }
}
