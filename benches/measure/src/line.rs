//! One result: what was measured, what was promised, whether it holds.

use serde::{Deserialize, Serialize};

/// One result, as printed and as kept.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Line {
    pub(crate) name: String,
    pub(crate) value: Option<f64>,
    pub(crate) bound: Option<f64>,
    /// Whether the bound is an upper one.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub(crate) at_most: bool,
    pub(crate) holds: Option<bool>,
    /// Queries, photos, files: whatever was counted.
    pub(crate) n: usize,
    /// 95 % interval where the value is a proportion.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) interval: Option<[f64; 2]>,
    pub(crate) baseline: Option<f64>,
    /// What the value and the baseline are, where the name does not say it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) note: Option<String>,
    /// Why nothing was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) skipped: Option<String>,
    /// What went wrong in the measuring itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) error: Option<String>,
}

impl Line {
    pub(crate) fn new(name: impl Into<String>, value: f64, n: usize) -> Self {
        Self {
            name: name.into(),
            // JSON has no NaN; nothing measured is no value.
            value: value.is_finite().then(|| rounded(value)),
            n,
            ..Self::default()
        }
    }

    /// A proportion with its interval.
    pub(crate) fn share(name: impl Into<String>, hits: usize, n: usize) -> Self {
        let interval = crate::metric::wilson(hits, n).map(rounded);
        Self {
            interval: Some(interval),
            ..Self::new(name, hits as f64 / n as f64, n)
        }
    }

    pub(crate) fn skipped(name: impl Into<String>, why: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            skipped: Some(why.into()),
            ..Self::default()
        }
    }

    pub(crate) fn failed(name: impl Into<String>, why: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            holds: Some(false),
            error: Some(why.into()),
            ..Self::default()
        }
    }

    pub(crate) fn at_least(mut self, bound: f64) -> Self {
        self.bound = Some(bound);
        self.holds = Some(self.value.is_some_and(|v| v >= bound));
        self
    }

    pub(crate) fn at_most(mut self, bound: f64) -> Self {
        self.bound = Some(bound);
        self.at_most = true;
        self.holds = Some(self.value.is_some_and(|v| v <= bound));
        self
    }

    pub(crate) fn baseline(mut self, value: f64) -> Self {
        self.baseline = Some(rounded(value));
        self
    }

    pub(crate) fn note(mut self, text: impl Into<String>) -> Self {
        self.note = Some(text.into());
        self
    }

    /// The set it belongs to: its name up to the first dot.
    pub(crate) fn set(&self) -> &str {
        self.name.split('.').next().unwrap_or_default()
    }
}

/// Four places are more than any of this bears.
fn rounded(v: f64) -> f64 {
    (v * 1e4).round() / 1e4
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_hold_at_the_bound_itself_and_never_without_a_value() {
        assert_eq!(Line::new("a", 0.96, 1).at_least(0.96).holds, Some(true));
        assert_eq!(Line::new("a", 0.05, 1).at_most(0.045).holds, Some(false));
        assert_eq!(Line::new("a", f64::NAN, 0).at_least(0.0).holds, Some(false));
        assert_eq!(Line::new("a.b.c", 1.0, 1).holds, None);
        assert_eq!(Line::new("a.b.c", 1.0, 1).set(), "a");
    }

    #[test]
    fn a_skipped_line_says_so_in_json() {
        let text = serde_json::to_string(&Line::skipped("cups", "no DATA")).unwrap();
        for part in [
            r#""value":null"#,
            r#""holds":null"#,
            r#""skipped":"no DATA""#,
        ] {
            assert!(text.contains(part), "{text}");
        }
    }
}
