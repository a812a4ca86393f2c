//! What to photograph or do next: only what could change the answer.

use super::reading::{Candidate, Certainty, Levels, Match};
use crate::warning::{Code, Warning};

/// Advice in the order of its weight.
pub(super) fn advice(
    levels: &Levels<Vec<Candidate>>,
    certainty: &Levels<Certainty>,
    matches: &[Match],
    warnings: &[&Warning],
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
    if open(certainty.shape) || open(certainty.form) {
        advice.push(
            "photograph it level from the side with the handle at a right angle to the lens, from well back"
                .to_owned(),
        );
    }
    if certainty.pattern == Certainty::Several {
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
