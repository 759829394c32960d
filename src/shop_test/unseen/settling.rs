//! Runs that would settle it: how much of the doubt about a gain more runs of the same readings can remove.

use serde::{Deserialize, Serialize};

use super::paired::PairedDraws;
use super::regression::Quadratic;

/// The gain is settled when it is so many standard deviations from 0: a probability of 0.95.
const SETTLED: f64 = 1.645;
/// With unlimited runs a verdict must be at least this probable, or more runs are not advised.
const LEAST_CHANCE: f64 = 0.25;
/// The advice is the number of runs that reaches this share of the chance of unlimited runs.
const SHARE_OF_CHANCE: f64 = 0.8;
/// More runs than this nobody takes.
const MOST_RUNS: usize = 200;

/// What more runs of the same readings can do for a verdict.
///
/// Source: own derivation; the variance left over of a regression estimates the mean conditional variance (Saltelli et
/// al., Global Sensitivity Analysis, 2008, from memory).
/// Endless runs would still leave what the openings cannot see, where they stand, and what the bench adds.
/// Leaves out: where the gain bends more than a square does, the rest counts to the floor.
///
/// ```
/// let settling = catoptric::Settling { floor_share: 0.9, chance_unlimited: 0.1, further_runs: None };
/// assert!(settling.words().contains("change the method"));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settling {
    /// Share of the gain's variance that no number of runs removes.
    pub floor_share: f64,
    /// Probability that unlimited runs of the same readings end in "better" or "worse".
    pub chance_unlimited: f64,
    /// The least number of further runs of each set that reaches most of that chance; 0 where it is settled already; none:
    /// change the method.
    pub further_runs: Option<usize>,
}

impl Settling {
    /// The advice in words.
    ///
    /// ```
    /// let settling = catoptric::Settling { floor_share: 0.2, chance_unlimited: 0.6, further_runs: Some(12) };
    /// assert!(settling.words().starts_with("12 more runs"));
    /// ```
    pub fn words(&self) -> String {
        let floor = 100.0 * self.floor_share;
        match self.further_runs {
            Some(0) => "It is settled: more runs are not needed.".to_owned(),
            Some(runs) => format!(
                "{runs} more runs of each set have most of the chance ({:.0} %) that any number of runs has to settle it.",
                100.0 * self.chance_unlimited
            ),
            None => format!(
                "No number of runs is likely to settle it: {floor:.0} % of the doubt is not in their noise but in what these openings \
                 cannot see, where they stand and what the bench adds; change the method."
            ),
        }
    }
}

/// What more runs can do for a comparison; `gain` is that of each pair of draws.
pub(crate) fn settling(pairs: &PairedDraws, gain: &[f64]) -> Settling {
    let count = gain.len() as f64;
    let mean = gain.iter().sum::<f64>() / count;
    let variance = gain.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / (count - 1.0);
    let floor_share = Quadratic::fit(&pairs.endless_contrasts(), gain).map_or(1.0, |fit| fit.residual_share);
    let runs = pairs.analyses.iter().map(|analysis| analysis.runs).min().unwrap_or(1);
    let chance = |left: f64| verdict_chance(mean, variance, variance * left);
    let chance_unlimited = chance(floor_share);
    let further_runs = (1..=MOST_RUNS).find(|&more| {
        let reducible = (1.0 - floor_share) * runs as f64 / (runs + more) as f64;
        chance(floor_share + reducible) >= SHARE_OF_CHANCE * chance_unlimited
    });
    Settling {
        floor_share,
        chance_unlimited,
        further_runs: further_runs.filter(|_| chance_unlimited >= LEAST_CHANCE),
    }
}

/// Probability that the mean gain will stand far enough from 0 when its variance has come down to `left`:
/// what is learnt moves the mean by the rest.
fn verdict_chance(mean: f64, variance: f64, left: f64) -> f64 {
    let (limit, moves) = (SETTLED * left.max(0.0).sqrt(), (variance - left).max(0.0).sqrt());
    if moves <= 1e-12 * variance.sqrt() {
        return f64::from(u8::from(mean.abs() > limit));
    }
    let above = |z: f64| 0.5 * libm::erfc(z / std::f64::consts::SQRT_2);
    above((limit - mean) / moves) + above((limit + mean) / moves)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chance_of_a_verdict_in_its_limits() {
        // Nothing left in doubt: a verdict is certain. Nothing learnt: the verdict is as it was.
        assert!((verdict_chance(0.1, 1.0, 0.0) - 1.0).abs() < 1e-12);
        assert_eq!(verdict_chance(0.1, 1.0, 1.0).to_bits(), 0.0_f64.to_bits());
        assert_eq!(verdict_chance(2.0, 1.0, 1.0).to_bits(), 1.0_f64.to_bits());
    }
}
