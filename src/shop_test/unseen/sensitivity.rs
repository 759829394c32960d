//! How much is assumption: the same readings with the assumed drops of edges halved and doubled.

use super::posterior::{Analysis, Posterior};
use crate::error::Result;
use crate::numeric::pool;
use crate::shop_test::estimate::{Draws, Interval};

/// An end that moves by more than this share of the interval's width rests on the assumption.
const TOLERATED_SHARE: f64 = 0.25;
/// As assumed, halved, doubled.
const FACTORS: [f64; 3] = [1.0, 0.5, 2.0];

/// One quantity of every draw.
type Quantity = fn(&Draws) -> &[f64];

/// The draws of a set of readings, and the sentence on which ends of their intervals rest on the assumed edges;
/// empty if none does.
pub(crate) fn with_assumption(analysis: &Analysis) -> Result<(Posterior, String)> {
    let by_factor = pool::map_ordered(FACTORS.len(), true, |k| {
        // By the same random draws, so that what moves is the assumption's doing.
        analysis.with_drops_scaled(FACTORS[k]).posterior(0)
    });
    let mut by_factor = by_factor.into_iter().collect::<Result<Vec<Posterior>>>()?;
    let quantities: [(&str, Quantity); 3] =
        [("Strehl", |d| &d.strehl), ("RMS", |d| &d.rms_nm), ("PV", |d| &d.pv_nm)];
    let mut ends = Vec::new();
    for (name, values) in quantities {
        let intervals: Vec<Interval> = by_factor.iter().map(|p| Interval::of(values(&p.draws))).collect();
        ends.extend(moving_ends(name, &intervals));
    }
    Ok((by_factor.swap_remove(0), sentence(&ends)))
}

/// Names the ends of the first interval that the others move.
fn moving_ends(name: &str, intervals: &[Interval]) -> Vec<String> {
    let assumed = intervals[0];
    let limit = TOLERATED_SHARE * (assumed.high - assumed.low);
    let moves = |end: fn(&Interval) -> f64| {
        intervals[1..].iter().any(|other| (end(other) - end(&assumed)).abs() > limit)
    };
    let (low, high) = (moves(|i| i.low), moves(|i| i.high));
    match (low, high) {
        (true, true) => vec![format!("both ends of the {name}")],
        (true, false) => vec![format!("the lower end of the {name}")],
        (false, true) => vec![format!("the upper end of the {name}")],
        (false, false) => vec![],
    }
}

fn sentence(ends: &[String]) -> String {
    let named = match ends {
        [] => return String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    };
    format!(
        "Assumed edges carry {named}: halving or doubling the edge drops that are assumed before reading moves \
         them by more than a quarter of the interval."
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_ends_that_move_by_a_quarter_are_named() {
        let interval = |low, high| Interval { low, high, share: 0.95 };
        let still = [interval(0.0, 4.0), interval(0.9, 4.9), interval(-0.9, 3.1)];
        assert!(moving_ends("RMS", &still).is_empty());
        let up = [interval(0.0, 4.0), interval(0.0, 4.0), interval(0.0, 5.1)];
        assert_eq!(moving_ends("RMS", &up), ["the upper end of the RMS"]);
        let both = [interval(0.0, 4.0), interval(-1.1, 4.0), interval(0.0, 5.1)];
        assert_eq!(moving_ends("PV", &both), ["both ends of the PV"]);
        assert_eq!(sentence(&[]), "");
        assert!(sentence(&["a".into(), "b".into(), "c".into()]).contains("carry a, b and c:"));
    }
}
