//! Where the doubt of a gain comes from: noise and radius of each opening, the bench, and what is unseen.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::draws::FigureDraws;
use super::paired::PairedDraws;
use super::posterior::Analysis;
use super::regression::{residual_share, slopes};

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
    /// Share of the variance of the gain in Strehl. All shares add up to 1; a small negative one is a cause whose
    /// doubt offsets that of another.
    pub share: f64,
}

/// The shares of all causes in the variance of a gain, the largest first.
///
/// A set of readings is the sum of what the figure makes of it, the shifts of its openings, what the bench adds, and
/// noise; where the readings are fixed, what the figure takes one of the others gives. So the part of the gain that is
/// linear in the figure's own readings splits, without a rest, into the covariances of the gain with the others
/// (Pratt's measure, 1987, from memory). The part that is quadratic is split alike; what neither explains is unseen.
pub(crate) fn contributions(pairs: &PairedDraws, gain: &[f64]) -> Vec<Contribution> {
    let readings = pairs.noise_free_contrasts();
    let unseen = residual_share(&readings, gain);
    let mut found = Vec::new();
    let centred = centred(&readings);
    let variance = covariance(gain, gain);
    if let Some(slope) = slopes(&centred, gain).filter(|_| variance > 0.0) {
        let (first, second) = slope.split_at(pairs.analyses[0].model.order);
        let sides = [("before", &pairs.before, first), ("after", &pairs.after, second)];
        for ((set, posterior, slope), analysis) in sides.into_iter().zip(&pairs.analyses) {
            found.extend(of_side(analysis, &posterior.figures, set, slope, gain, variance));
        }
    }
    let linear: f64 = found.iter().map(|c: &Contribution| c.share).sum();
    let seen = 1.0 - unseen;
    // Nothing that can be told apart: all of it stays unseen.
    let stretch = if linear > 0.05 * seen { seen / linear } else { 0.0 };
    for contribution in &mut found {
        contribution.share *= stretch;
    }
    let unseen = if stretch > 0.0 { unseen } else { 1.0 };
    found.push(Contribution { cause: Cause::Unseen, set: None, share: unseen });
    found.retain(|c| c.share != 0.0);
    found.sort_by(|a, b| b.share.total_cmp(&a.share));
    found
}

/// Shares of one set's noise, radii and bench.
fn of_side(
    analysis: &Analysis,
    figures: &FigureDraws,
    set: &str,
    slope: &[f64],
    gain: &[f64],
    variance: f64,
) -> Vec<Contribution> {
    let (model, data) = (&analysis.model, &analysis.data);
    let zones = model.rims.len();
    let rows = model.contrasts.chunks_exact(zones);
    let mut by_zone = vec![0.0; zones];
    for (row, b) in rows.zip(slope) {
        for (sum, a) in by_zone.iter_mut().zip(row) {
            *sum += a * b;
        }
    }
    let known: f64 = data.information.iter().sum();
    let (mut shift, mut rest) = (vec![Vec::with_capacity(gain.len()); zones], vec![Vec::new(); zones]);
    for (height_nm, shift_mm) in figures.rows().zip(figures.shifts()) {
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
        let share = |values: &[f64]| -by_zone[opening] * covariance(values, gain) / variance;
        let (noise, radius) = (share(&rest[opening]), share(&shift[opening]));
        // Noise and bench reach the figure as their sum alone: they split as their variances do.
        let of_bench = scatter / (scatter + 1.0 / data.information[opening]);
        bench += of_bench * noise;
        let set = Some(set.to_owned());
        list.push(Contribution {
            cause: Cause::Noise { opening },
            set: set.clone(),
            share: (1.0 - of_bench) * noise,
        });
        list.push(Contribution { cause: Cause::Radius { opening }, set, share: radius });
    }
    list.push(Contribution { cause: Cause::Bench, set: Some(set.to_owned()), share: bench });
    list
}

fn centred(rows: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let (count, width) = (rows.len() as f64, rows.first().map_or(0, Vec::len));
    let mean: Vec<f64> = (0..width).map(|k| rows.iter().map(|row| row[k]).sum::<f64>() / count).collect();
    rows.iter().map(|row| row.iter().zip(&mean).map(|(v, m)| v - m).collect()).collect()
}

fn covariance(a: &[f64], b: &[f64]) -> f64 {
    let count = a.len() as f64;
    let (mean_a, mean_b) = (a.iter().sum::<f64>() / count, b.iter().sum::<f64>() / count);
    a.iter().zip(b).map(|(x, y)| (x - mean_a) * (y - mean_b)).sum::<f64>() / (count - 1.0)
}
