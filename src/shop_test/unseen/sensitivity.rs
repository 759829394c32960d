//! How much is assumption: the same readings with the assumed drops of edges halved and doubled.

use serde::{Deserialize, Serialize};

use super::posterior::Posterior;
use super::prior::FigurePrior;
use crate::shop_test::estimate::{Draws, Interval};

/// Halved, doubled.
const FACTORS: [f64; 2] = [0.5, 2.0];

/// One quantity of every draw.
type Quantity = fn(&Draws) -> &[f64];

/// How far the ends of one total interval rest on the assumed edges.
///
/// ```
/// let ends = catoptric::AssumedEnds { quantity: "RMS".to_owned(), low_share: 0.02, high_share: 0.7 };
/// assert!(ends.high_share > catoptric::AssumedEnds::TOLERATED);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AssumedEnds {
    /// "Strehl", "RMS" or "PV".
    pub quantity: String,
    /// How far the lower end moves, as a share of the interval's width, when the drops of edges that are assumed before
    /// reading are halved or doubled: the larger of the two.
    pub low_share: f64,
    /// The same of the upper end.
    pub high_share: f64,
}

impl AssumedEnds {
    /// An end that moves by more than this share rests on the assumption.
    pub const TOLERATED: f64 = 0.25;

    /// The ends of the first interval, and how far the others are from them.
    fn of(quantity: &str, intervals: &[Interval]) -> Self {
        let assumed = intervals[0];
        let width = assumed.high - assumed.low;
        let moves = |end: fn(&Interval) -> f64| {
            let far =
                intervals[1..].iter().map(|other| (end(other) - end(&assumed)).abs()).fold(0.0, f64::max);
            if width > 0.0 { far / width } else { 0.0 }
        };
        Self { quantity: quantity.to_owned(), low_share: moves(|i| i.low), high_share: moves(|i| i.high) }
    }

    /// The name of what rests on the assumption, if anything does.
    fn named(&self) -> Option<String> {
        let end = match (self.low_share > Self::TOLERATED, self.high_share > Self::TOLERATED) {
            (true, true) => "both ends",
            (true, false) => "the lower end",
            (false, true) => "the upper end",
            (false, false) => return None,
        };
        Some(format!("{end} of the {}", self.quantity))
    }
}

/// How far the ends of the total intervals rest on the assumed edges.
///
/// The draws are weighed by how much more probable their edges would be with the other assumption (importance weights,
/// Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 10.4, from memory). Leaves out: with drops doubled the far end
/// is beyond the draws, and moves further than is told.
pub(crate) fn assumed_ends(prior: &FigurePrior, posterior: &Posterior) -> Vec<AssumedEnds> {
    let weights = FACTORS.map(|factor| -> Vec<f64> {
        let ratio = |drop: &Option<f64>| drop.map_or(1.0, |drop_nm| prior.drop_ratio(drop_nm, factor));
        posterior.figures.drop_nm.iter().map(ratio).collect()
    });
    let quantities: [(&str, Quantity); 3] =
        [("Strehl", |d| &d.strehl), ("RMS", |d| &d.rms_nm), ("PV", |d| &d.pv_nm)];
    let of = |(name, values): (&str, Quantity)| {
        let values = values(&posterior.draws);
        let even = vec![1.0; values.len()];
        let lists = [&even, &weights[0], &weights[1]];
        AssumedEnds::of(name, &lists.map(|weights| Interval::weighted(values, weights)))
    };
    quantities.map(of).to_vec()
}

/// Which ends rest on the assumed edges, as a sentence; empty if none does.
pub(crate) fn assumption(ends: &[AssumedEnds]) -> String {
    let named: Vec<String> = ends.iter().filter_map(AssumedEnds::named).collect();
    let named = match named.as_slice() {
        [] => return String::new(),
        [only] => format!("{only} rests"),
        [first @ .., last] => format!("{} and {last} rest", first.join(", ")),
    };
    let mut letters = named.chars();
    let capital = letters.next().map_or(String::new(), |letter| letter.to_uppercase().collect());
    format!(
        "{} on what is assumed of turned edges before reading: with drops half or twice as deep such an end moves by more than \
         a quarter of the interval.",
        capital + letters.as_str()
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_ends_that_move_by_a_quarter_are_named() {
        let interval = |low, high| Interval { low, high, share: 0.95 };
        let still = [interval(0.0, 4.0), interval(0.9, 4.9), interval(-0.9, 3.1)];
        let up = [interval(0.0, 4.0), interval(0.0, 4.0), interval(0.0, 5.1)];
        let both = [interval(0.0, 4.0), interval(-1.1, 4.0), interval(0.0, 5.1)];
        let [still, up, both] = [still, up, both].map(|intervals| AssumedEnds::of("RMS", &intervals));
        assert!((up.high_share - 1.1 / 4.0).abs() < 1e-12);
        assert_eq!(assumption(std::slice::from_ref(&still)), "");
        assert!(assumption(&[still, up.clone()]).contains("The upper end of the RMS rests on"));
        assert!(
            assumption(&[up, both]).contains("The upper end of the RMS and both ends of the RMS rest on")
        );
    }
}
