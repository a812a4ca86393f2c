//! What every answer must say about itself.
//!
//! The cautions are the same for every piece, known or unknown, whatever its
//! colour or likeness: one that appeared for some pieces only would make the
//! others read as safe.

/// The standing cautions, in the order in which they matter.
pub const STANDING: [&str; 4] = [
    "A likeness between photographs tests nothing: it cannot say whether a piece may touch food.",
    "Old glazes and decals can leach lead and cadmium, and some glazes hold uranium; neither colour, date nor likeness tells which. Test before food use by a laboratory method such as ASTM C738 (it covers lead and cadmium, not uranium), and follow local rules. Home swabs can miss and can raise false alarms.",
    "These cautions hold for every piece, in the set or not: a piece with no notice of its own is not thereby safe.",
    "This is no appraisal and no authentication: marks are faked, reused and added by decorators, and a likeness proves neither maker, age nor value.",
];

/// The shortest wording, where one line is all there is room for.
pub const SHORT: &str =
    "A likeness is no food-safety test, appraisal or authentication; test before food use.";

/// [`STANDING`] as the field `cautions` of a reading wants it.
pub fn standing() -> Vec<String> {
    STANDING.iter().map(|&text| text.to_owned()).collect()
}

/// What a laboratory result is held against for one kind of ware. footring
/// measures none of this; the figures are for the reader of a test report.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limit {
    /// Whose rule.
    pub rule: &'static str,
    /// The kind of ware, as the rule parts it.
    pub ware: &'static str,
    /// Lead, with its unit.
    pub lead: &'static str,
    /// Cadmium, with its unit; empty where the rule names no figure of its own.
    pub cadmium: &'static str,
}

const US: &str = "United States, FDA";
const EU: &str = "European Union";

/// Limits in force when this was written; see [`SOURCES`].
pub const LIMITS: [Limit; 7] = [
    Limit {
        rule: US,
        ware: "flatware",
        lead: "3.0 µg/mL",
        cadmium: "0.5 µg/mL",
    },
    Limit {
        rule: US,
        ware: "small hollowware, under 1.1 L",
        lead: "2.0 µg/mL",
        cadmium: "0.5 µg/mL",
    },
    Limit {
        rule: US,
        ware: "large hollowware, 1.1 L or more",
        lead: "1.0 µg/mL",
        cadmium: "0.25 µg/mL",
    },
    Limit {
        rule: US,
        ware: "cups, mugs and pitchers",
        lead: "0.5 µg/mL",
        cadmium: "",
    },
    Limit {
        rule: EU,
        ware: "not to be filled, or 25 mm deep at most",
        lead: "0.8 mg/dm²",
        cadmium: "0.07 mg/dm²",
    },
    Limit {
        rule: EU,
        ware: "other ware that can be filled",
        lead: "4.0 mg/L",
        cadmium: "0.3 mg/L",
    },
    Limit {
        rule: EU,
        ware: "cooking ware; storage vessels over 3 L",
        lead: "1.5 mg/L",
        cadmium: "0.1 mg/L",
    },
];

/// Where [`LIMITS`] and [`STANDING`] rest.
pub const SOURCES: [&str; 5] = [
    "Lead, United States: FDA Food Code, section 4-101.13.",
    "Cadmium, United States: FDA Compliance Policy Guide, section 545.400.",
    "Lead and cadmium, European Union: Council Directive 84/500/EEC, article 2.",
    "Test method: ASTM C738, lead and cadmium extracted from glazed ceramic surfaces.",
    "Old decals and glazes: Sheets and Turpen (1998); Landa and Councell, Health Physics 63 (1992).",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_duties_are_all_worded() {
        let text = STANDING.join(" ");
        for duty in [
            "Test before food use",
            "ASTM C738",
            "local rules",
            "lead and cadmium",
            "uranium",
            "no appraisal",
            "no authentication",
            "not thereby safe",
        ] {
            assert!(text.contains(duty), "missing: {duty}");
        }
    }

    #[test]
    fn every_limit_has_a_unit() {
        for limit in LIMITS {
            assert!(limit.lead.contains('g'), "{limit:?}");
            assert!(limit.cadmium.is_empty() || limit.cadmium.contains('g'));
        }
    }
}
