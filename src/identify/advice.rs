//! What to photograph or do next: only what could change the answer.

use super::{
    calibrate::from_above,
    certainty::FORM_PIECES,
    reading::{Candidate, Certainty, Levels, Match, View},
};
use crate::warning::{Code, Warning};

/// Advice in the order of its weight.
pub(super) fn advice(
    levels: &Levels<Vec<Candidate>>,
    certainty: &Levels<Certainty>,
    matches: &[Match],
    warnings: &[&Warning],
    seen: &[View],
) -> Vec<String> {
    let mut advice = Vec::new();
    if matches.is_empty() {
        advice.push("the cabinet is empty: add reference photos with `footring add`".to_owned());
        return advice;
    }
    let unlabelled = [&levels.form, &levels.shape, &levels.pattern, &levels.glaze]
        .iter()
        .all(|candidates| candidates.is_empty());
    if unlabelled {
        advice.push(
            "nothing in the cabinet is labelled, so only matches can be shown: label pieces with `footring cabinet relabel`"
                .to_owned(),
        );
        return advice;
    }
    let spoiled = warnings.iter().any(|w| {
        matches!(
            w.code,
            Code::TouchesFrame | Code::Blurred | Code::LowContrast | Code::TooSmall | Code::Glare
        )
    });
    if spoiled {
        advice.push(
            "take the photo again as the warnings say; that may change the answer".to_owned(),
        );
    }
    let open = |c: Certainty| matches!(c, Certainty::Several | Certainty::Unknown);
    // What the piece type is shows from the side: a photo from there may settle it.
    let form_likely = certainty.form == Certainty::Likely
        && from_above(seen)
        && levels.form.first().is_some_and(|c| c.pieces >= FORM_PIECES);
    if open(certainty.shape) || open(certainty.form) || form_likely {
        // What was seen already would only be seen again.
        let view = if !seen.contains(&View::Side) {
            Some(
                "photograph it level from the side with the handle at a right angle to the lens, from well back",
            )
        } else if !seen.contains(&View::Top) {
            Some("photograph it square on from above as well, so that the whole rim shows")
        } else {
            None
        };
        advice.extend(view.map(str::to_owned));
        if open(certainty.form) {
            advice.push("say what kind of piece it is, such as `--know form=teapot`".to_owned());
        }
    }
    if open(certainty.pattern) && !levels.pattern.is_empty() {
        advice.push("photograph the decoration square on and close up".to_owned());
    }
    if certainty.glaze == Certainty::Several
        && let [first, second, ..] = levels.glaze.as_slice()
    {
        advice.push(format!(
            "the glazes {} and {} cannot be told apart in these photos: photograph both together with a grey card",
            first.label, second.label
        ));
    }
    if open(certainty.shape) && open(certainty.pattern) {
        advice.push("photograph the underside with any mark".to_owned());
    }
    advice
}

#[cfg(test)]
mod tests {
    use super::*;

    fn open_shape(seen: &[View]) -> Vec<String> {
        let candidate = Candidate {
            label: "low flared".to_owned(),
            distance: 0.4,
            pieces: 1,
            probability: 0.3,
            matches: vec![1],
        };
        let levels = Levels {
            shape: vec![candidate],
            ..Levels::default()
        };
        let certainty = Levels {
            form: Certainty::Firm,
            pattern: Certainty::Firm,
            ..Levels::default()
        };
        let nearest = Match {
            rank: 1,
            piece: "C-1".to_owned(),
            photo: "c.jpg".to_owned(),
            distance: 0.4,
            channels: [].into(),
            outline_by_graph: None,
            ground: None,
            labels: [].into(),
        };
        advice(&levels, &certainty, &[nearest], &[], seen)
    }

    #[test]
    fn a_view_that_was_seen_is_not_asked_for_again() {
        let says = |advice: &[String], what: &str| advice.iter().any(|a| a.contains(what));
        let from_above = open_shape(&[View::Top]);
        assert!(says(&from_above, "from the side") && !says(&from_above, "from above"));
        let from_the_side = open_shape(&[View::Side]);
        assert!(says(&from_the_side, "from above") && !says(&from_the_side, "from the side"));
        let both = open_shape(&[View::Side, View::Top]);
        assert!(!says(&both, "from above") && !says(&both, "from the side"));
    }
}
