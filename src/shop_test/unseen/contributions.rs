//! Where the doubt of a gain comes from: noise and radius of each opening, the bench, and what is unseen.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::draws::FigureDraws;
use super::paired::PairedDraws;
use super::posterior::Analysis;
use super::regression::Quadratic;

/// Shares are taken over so many draws at most: each is then good to about 0.02.
const LOOKED_AT: usize = 800;

/// A cause of doubt.
///
/// ```
/// let cause = catoptric::Cause::Noise { opening: 6 };
/// assert_eq!(cause.to_string(), "reading noise of opening 7");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Cause {
    /// Noise of the readings of an opening, counted from 0 at the centre.
    Noise {
        /// Index of the opening.
        opening: usize,
    },
    /// Wrong place of an opening, counted from 0 at the centre.
    Radius {
        /// Index of the opening.
        opening: usize,
    },
    /// What the bench adds to readings in all runs alike.
    Bench,
    /// What lies between the rims of the openings and beyond the last: no reading sees it.
    Unseen,
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Noise { opening } => write!(f, "reading noise of opening {}", opening + 1),
            Self::Radius { opening } => write!(f, "radius of opening {}", opening + 1),
            Self::Bench => write!(f, "scatter of the bench"),
            Self::Unseen => write!(f, "what the openings cannot see (the edge above all)"),
        }
    }
}

/// A cause of doubt with its share of the variance.
///
/// ```
/// use catoptric::{Cause, Contribution};
/// let share = Contribution { cause: Cause::Unseen, set: None, share: 0.7 };
/// assert!(share.share > 0.5);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Contribution {
    /// The cause.
    pub cause: Cause,
    /// "before" or "after"; none for what both have in common.
    pub set: Option<String>,
    /// Share of the variance of the gain in Strehl. All shares add up to 1.
    pub share: f64,
}

/// The shares of all causes in the variance of a gain, the largest first; `explained` is the gain's dependence on
/// noise-free readings.
///
/// The readings stand fixed; so what noise, a shift or the bench takes of them, the figure must give. With one of those
/// alone held at its mean the variance of the explained gain falls by so much; these falls, brought to a common sum, share
/// out what is explained. The rest is unseen. Own choice among several measures of importance (Saltelli et al., Global
/// Sensitivity Analysis, 2008, from memory): this one is never negative and sees curvature.
pub(crate) fn contributions(pairs: &PairedDraws, explained: &Quadratic) -> Vec<Contribution> {
    let all = pairs.noise_free_contrasts();
    let step = all.len().div_ceil(LOOKED_AT).max(1);
    let readings: Vec<Vec<f64>> = all.into_iter().step_by(step).collect();
    let variance = |values: &[f64]| {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64
    };
    let whole = variance(&readings.iter().map(|row| explained.value(row)).collect::<Vec<f64>>());
    let sides = [("before", &pairs.before, 0), ("after", &pairs.after, pairs.analyses[0].model.order)];
    let mut found = Vec::new();
    for ((set, posterior, place), analysis) in sides.into_iter().zip(&pairs.analyses) {
        let without = |zone: usize, taken_mm: &[f64]| {
            let count = taken_mm.len() as f64;
            let mean = taken_mm.iter().sum::<f64>() / count;
            let values: Vec<f64> = readings
                .iter()
                .zip(taken_mm)
                .map(|(row, taken)| {
                    let mut row = row.clone();
                    let contrasts = analysis.model.contrasts.chunks_exact(analysis.model.rims.len());
                    for (value, contrast) in row[place..].iter_mut().zip(contrasts) {
                        *value += contrast[zone] * (taken - mean);
                    }
                    explained.value(&row)
                })
                .collect();
            (whole - variance(&values)).max(0.0)
        };
        found.extend(of_side(analysis, &posterior.figures, step, set, without));
    }
    let falls: f64 = found.iter().map(|c: &Contribution| c.share).sum();
    // Nothing explained: all of it stays unseen.
    let seen = if falls > 0.0 { 1.0 - explained.residual_share } else { 0.0 };
    for contribution in &mut found {
        contribution.share *= if falls > 0.0 { seen / falls } else { 0.0 };
    }
    found.push(Contribution { cause: Cause::Unseen, set: None, share: 1.0 - seen });
    found.retain(|c| c.share > 0.0);
    found.sort_by(|a, b| b.share.total_cmp(&a.share));
    found
}

/// Falls of variance for one set's noise, radii and bench, as shares that do not add up yet.
fn of_side(
    analysis: &Analysis,
    figures: &FigureDraws,
    step: usize,
    set: &str,
    without: impl Fn(usize, &[f64]) -> f64,
) -> Vec<Contribution> {
    let (model, data) = (&analysis.model, &analysis.data);
    let zones = model.rims.len();
    let known: f64 = data.information.iter().sum();
    let (mut shift, mut rest) = (vec![Vec::new(); zones], vec![Vec::new(); zones]);
    for (height_nm, shift_mm) in figures.rows().zip(figures.shifts()).step_by(step) {
        let seen = model.readings_mm(height_nm);
        let left: Vec<f64> = (0..zones).map(|k| data.error_mm[k] - seen[k] - shift_mm[k]).collect();
        let zero = left.iter().zip(&data.information).map(|(e, w)| e * w).sum::<f64>() / known;
        for k in 0..zones {
            shift[k].push(shift_mm[k]);
            rest[k].push(left[k] - zero);
        }
    }
    let scatter = model.scatter_mm.powi(2);
    let mut list = Vec::new();
    let mut bench = 0.0;
    for opening in 0..zones {
        // Noise and bench reach the figure as their sum alone: they split as their variances do.
        let both = without(opening, &rest[opening]);
        let of_bench = scatter / (scatter + 1.0 / data.information[opening]);
        bench += of_bench * both;
        let radius = if model.radius_sigma_mm > 0.0 { without(opening, &shift[opening]) } else { 0.0 };
        let set = Some(set.to_owned());
        let noise = (1.0 - of_bench) * both;
        list.push(Contribution { cause: Cause::Noise { opening }, set: set.clone(), share: noise });
        list.push(Contribution { cause: Cause::Radius { opening }, set, share: radius });
    }
    list.push(Contribution { cause: Cause::Bench, set: Some(set.to_owned()), share: bench });
    list
}
