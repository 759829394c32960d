//! A misread zone: each opening predicted from the others.

use std::f64::consts::SQRT_2;

use serde::{Deserialize, Serialize};

use super::conditional::Conditional;
use super::draws::systematic;
use super::evidence::Evidence;
use super::linear::dot;
use super::posterior::Analysis;

/// A zone less probable than this is named.
const NAMED_BELOW: f64 = 0.005;
/// So many components are followed.
const FOLLOWED: usize = 2000;

/// How well one opening agrees with the others.
///
/// Units: mm.
/// Leaves out: two neighbouring openings whose readings were exchanged escape it; see
/// [`crate::FigureEstimate::second_look`].
///
/// ```
/// let check = catoptric::ZoneCheck { opening: 3, error_mm: 0.15, probability: 0.001 };
/// assert!(check.is_suspect());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ZoneCheck {
    /// Index of the opening, from 0 at the centre.
    pub opening: usize,
    /// What was read less what the others predict, zone mean, mm.
    pub error_mm: f64,
    /// Two-sided probability of a reading as far off as this one.
    pub probability: f64,
}

impl ZoneCheck {
    /// A probability below 0.005: to be read again.
    ///
    /// ```
    /// assert!(!catoptric::ZoneCheck { opening: 3, error_mm: 0.01, probability: 0.4 }.is_suspect());
    /// ```
    pub fn is_suspect(&self) -> bool {
        self.probability < NAMED_BELOW
    }
}

/// Checks each opening against all the others.
///
/// The components are weighed anew without the opening. Leaves out: the offset and scatter of a steep
/// edge stay those of all readings. Source: the leave-one-out predictions of Rasmussen & Williams, Gaussian Processes for
/// Machine Learning, 2006, section 5.4.2, mixed over the components.
pub(crate) fn zone_checks(analysis: &Analysis, evidence: &Evidence) -> Vec<ZoneCheck> {
    let (model, count) = (&analysis.model, analysis.model.rims.len());
    let directions: Vec<Vec<f64>> = (0..count)
        .map(|zone| (0..model.order).map(|c| model.contrasts[c * count + zone]).collect())
        .collect();
    let mut mixtures = vec![Mixture::default(); count];
    // A reading far off makes the components that predict the others best the lightest of all, so the
    // components are chosen by the cube root of their weight; the rest of it is their importance.
    let roots: Vec<f64> =
        evidence.weights.iter().map(|w| if *w > 0.0 { libm::cbrt(*w) } else { 0.0 }).collect();
    let chosen = systematic(&roots, FOLLOWED, 0.5);
    for group in chosen.chunk_by(|a, b| a == b) {
        let (index, repeats) = (group[0], group.len() as f64);
        let component = evidence.catalogue.component(index);
        let Some(known) = Conditional::new(model, &analysis.data, component) else { continue };
        let mut solved = known.target.clone();
        known.factor.solve(&mut solved);
        let log_weight = libm::log(repeats * roots[index] * roots[index]);
        for (direction, mixture) in directions.iter().zip(&mut mixtures) {
            let mut white = direction.clone();
            known.factor.forward(&mut white);
            let (precision, pull) = (dot(&white, &white), dot(direction, &solved));
            let distance = pull / precision.sqrt();
            // The density without the zone is that with it over the density of its prediction.
            mixture.add(
                log_weight - 0.5 * libm::log(precision) + 0.5 * distance * distance,
                0.5 * libm::erfc(-distance / SQRT_2),
                pull / precision,
            );
        }
    }
    let checks = mixtures.iter().enumerate();
    checks
        .map(|(opening, mixture)| {
            let below = mixture.below / mixture.weight;
            let probability = 2.0 * below.min(1.0 - below).max(0.0);
            let error_mm = mixture.error / mixture.weight;
            ZoneCheck { opening, error_mm, probability }
        })
        .collect()
}

/// Sums over components, relative to the heaviest so far.
#[derive(Clone, Copy, Debug)]
struct Mixture {
    top: f64,
    weight: f64,
    below: f64,
    error: f64,
}

impl Default for Mixture {
    fn default() -> Self {
        Self { top: f64::NEG_INFINITY, weight: 0.0, below: 0.0, error: 0.0 }
    }
}

impl Mixture {
    fn add(&mut self, log_weight: f64, below: f64, error: f64) {
        if log_weight > self.top {
            let shrink = libm::exp(self.top - log_weight);
            self.weight *= shrink;
            self.below *= shrink;
            self.error *= shrink;
            self.top = log_weight;
        }
        let weight = libm::exp(log_weight - self.top);
        self.weight += weight;
        self.below += weight * below;
        self.error += weight * error;
    }
}
