//! How well what is not in the set is told from what is.

use serde::{Deserialize, Serialize};

use super::Rate;
use crate::identify::crossed::{Case, Verdict};

/// Known labels that are to be accepted.
const TRUE_ACCEPT: f64 = 0.95;

/// Photos with their piece left out against the same with their label struck off,
/// by the share of "not in the set".
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// How often a struck-off photo has the larger share than one whose label the
    /// set holds (area under the receiver operating characteristic); 0.5 is chance.
    pub auroc: f64,
    /// Questions whose label the set holds.
    pub known: usize,
    /// Questions with their label struck off.
    pub struck_off: usize,
    /// How many of those struck off are taken for known where 95 % of the known
    /// are.
    pub false_accept: Rate,
}

/// `None` unless there are questions of both kinds.
pub(super) fn known(verdicts: &[Verdict]) -> Option<Known> {
    let of = |case: Case| -> Vec<f64> {
        let those = verdicts.iter().filter(|v| v.case == case);
        let mut shares: Vec<f64> = those.map(|v| v.unknown).collect();
        shares.sort_by(f64::total_cmp);
        shares
    };
    let (known, struck_off) = (of(Case::Piece), of(Case::StruckOff));
    let accepted = (known.len() as f64 * TRUE_ACCEPT).ceil() as usize;
    let most = *known.get(accepted.checked_sub(1)?)?;
    Some(Known {
        auroc: auroc(&known, &struck_off)?,
        known: known.len(),
        struck_off: struck_off.len(),
        false_accept: Rate::of(struck_off.iter().map(|share| *share <= most))?,
    })
}

/// How often a value of `high` is above one of `low`, equal ones counted half
/// (Mann & Whitney 1947). Both sorted; `None` if either is empty.
fn auroc(low: &[f64], high: &[f64]) -> Option<f64> {
    let above: f64 = high
        .iter()
        .map(|value| {
            let less = low.partition_point(|other| other < value);
            let not_more = low.partition_point(|other| other <= value);
            (less + not_more) as f64 / 2.0
        })
        .sum();
    let pairs = low.len() * high.len();
    (pairs > 0).then(|| above / pairs as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assess::curve::tests::verdict;

    #[test]
    fn the_area_is_the_u_statistic_over_all_pairs() {
        // Six tortoises and six hares come in as T H H H H H T T T T T H: a hare is
        // later than a tortoise in 1 + 1 + 1 + 1 + 1 + 6 = 11 of the 36 pairs. SciPy
        // 1.17 (`mannwhitneyu`) gives 11 and 25 as well.
        let places = |runner: char| -> Vec<f64> {
            let order = "THHHHHTTTTTH".char_indices();
            let those = order.filter(|(_, c)| *c == runner);
            those.map(|(i, _)| i as f64).collect()
        };
        let (tortoises, hares) = (places('T'), places('H'));
        assert_eq!(auroc(&tortoises, &hares), Some(11.0 / 36.0));
        assert_eq!(auroc(&hares, &tortoises), Some(25.0 / 36.0));
        // With ties by hand: 1 < 2, 1 = 1, 3 > 2, 3 > 1 gives 2.5 of 4.
        assert_eq!(auroc(&[1.0, 2.0], &[1.0, 3.0]), Some(2.5 / 4.0));
        assert_eq!(auroc(&[], &[1.0]), None);
    }

    #[test]
    fn false_accepts_are_those_below_what_95_in_100_known_stay_below() {
        // Shares of the unknown: 20 known from 0.01 to 0.20; the 19th is 0.19.
        let mut verdicts: Vec<_> = (1..=20)
            .map(|i| verdict(Case::Piece, 1.0 - f64::from(i) / 100.0, true))
            .collect();
        for share in [0.5, 0.805, 0.815, 0.9] {
            verdicts.push(verdict(Case::StruckOff, share, false));
        }
        let found = known(&verdicts).unwrap();
        assert_eq!((found.known, found.struck_off), (20, 4));
        assert_eq!(found.false_accept.rate, 0.5);
        assert!(known(&verdicts[..20]).is_none());
    }
}
