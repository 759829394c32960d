//! Levels of a coating from lamp readings: weighted least squares under shapes that are known.

use nalgebra::{DMatrix, DVector};

use super::coating_estimate::{CoatingEstimate, CoatingLevel, RatioOutlier, SpotResidual};
use super::coating_outline::CoatingOutline;
use super::coating_spots::{CoatingSpot, CoatingSpots, CoatingSpotsInput};
use super::coating_words;
use super::estimate::Interval;
use super::noise::{OUTLYING, normal_of_student};
use crate::error::{Error, Result};
use crate::numeric::random::Stream;
use crate::numeric::{chi_square, fisher, least_squares, student};

/// A part of which no spot sees this share is not measured: the rest would be guessed from a rim.
const LEAST_SEEN: f64 = 0.05;
/// Share of repeats that an interval holds, and how rarely chance alone gives so bad a fit before it widens them.
const SHARE: f64 = 0.95;
const MISFIT: f64 = 0.05;
/// Two-sided 95 % of the normal distribution.
const NORMAL: f64 = 1.959_963_984_540_054;
/// What no reading is left of, where the spot alone settles a level.
const LEFT: f64 = 1e-9;

/// The linear problem: mean ratios, their weights, and what each part counts in each.
#[derive(Clone)]
struct Problem {
    /// One column a part.
    columns: Vec<Vec<f64>>,
    /// Repeats of each spot.
    weights: Vec<f64>,
    means: Vec<f64>,
}

impl Problem {
    fn new(spots: &CoatingSpotsInput, outline: &CoatingOutline) -> Self {
        let rows: Vec<Vec<f64>> = spots.spots.iter().map(|s| outline.shares(s.x_mm, s.y_mm)).collect();
        let parts = outline.names().len();
        let mean = |spot: &CoatingSpot| spot.ratios.iter().sum::<f64>() / spot.ratios.len() as f64;
        Self {
            columns: (0..parts).map(|j| rows.iter().map(|row| row[j]).collect()).collect(),
            weights: spots.spots.iter().map(|s| s.ratios.len() as f64).collect(),
            means: spots.spots.iter().map(mean).collect(),
        }
    }

    fn solve(&self) -> Option<Vec<f64>> {
        least_squares::weighted(self.means.len(), &self.columns, &self.weights, &self.means)
    }

    /// (X' N X)^-1: the levels' covariance for unit noise of one ratio.
    fn covariance(&self) -> Option<DMatrix<f64>> {
        let parts = self.columns.len();
        let entry = |i: usize, j: usize| -> f64 {
            let pairs = self.columns[i].iter().zip(&self.columns[j]).zip(&self.weights);
            pairs.map(|((a, b), w)| w * a * b).sum()
        };
        DMatrix::from_fn(parts, parts, entry).cholesky().map(|factor| factor.inverse())
    }

    fn row(&self, spot: usize) -> DVector<f64> {
        DVector::from_iterator(self.columns.len(), self.columns.iter().map(|column| column[spot]))
    }
}

/// What the spots say of an outline's levels.
pub(super) fn fit(spots: &CoatingSpots, outline: &CoatingOutline) -> Result<CoatingEstimate> {
    let input = spots.input();
    outline.check(input.clear_aperture_mm)?;
    let problem = Problem::new(input, outline);
    let names = outline.names();
    check_seen(&problem, &names)?;
    let Some((ratios, covariance)) = problem.solve().zip(problem.covariance()) else {
        let allowed = "spots that see the outline's parts in more ways than there are parts";
        let found = format!("{} spots for {}", input.spots.len(), names.join(", "));
        let cause = "two parts that only the same spots see, or fewer spots than parts: read more places";
        return Err(Error::input("spots", found, allowed, cause));
    };
    let (sigma, noise_freedom) = spots.noise();
    let residuals = residuals(&problem, &ratios, &covariance, sigma);
    let chi_square: f64 = residuals
        .iter()
        .zip(&problem.weights)
        .map(|(r, n)| n * ((r.measured_ratio - r.expected_ratio) / sigma).powi(2))
        .sum();
    let freedom = problem.means.len() - names.len();
    let p_value = (freedom > 0).then(|| chance(chi_square, freedom, noise_freedom));
    // Shapes that do not fit leave more scatter between the spots than within them: then that is the noise.
    let misfit = p_value.is_some_and(|p| p < MISFIT);
    let widened_by = if misfit { (chi_square / freedom as f64).sqrt().max(1.0) } else { 1.0 };
    let level_freedom = if misfit { Some(freedom) } else { noise_freedom };
    let factor = noise_factor(sigma, noise_freedom).max(if misfit {
        noise_factor(sigma * widened_by, Some(freedom))
    } else {
        0.0
    });
    let seen = |part: usize| problem.columns[part].iter().filter(|share| **share >= LEAST_SEEN).count();
    let known = input.reference_reflectance;
    let levels = names.iter().enumerate().map(|(j, name)| {
        let reflectance = known * ratios[j];
        let noise = known * covariance[(j, j)].sqrt();
        let common = ratios[j] * input.reference_sigma;
        let half = (factor * noise).hypot(NORMAL * common);
        CoatingLevel {
            part: name.clone(),
            reflectance,
            sigma: (noise * sigma * widened_by).hypot(common),
            interval: Interval { low: reflectance - half, high: reflectance + half, share: SHARE },
            spots: seen(j),
        }
    });
    let levels: Vec<CoatingLevel> = levels.collect();
    let scale = (known * sigma * widened_by).powi(2);
    let of_levels = |i: usize, j: usize| {
        scale * covariance[(i, j)] + ratios[i] * ratios[j] * input.reference_sigma.powi(2)
    };
    let pulls = pulls(&problem, &ratios, &covariance, known);
    let outliers = outliers(input, outline, sigma, noise_freedom);
    let count = names.len();
    let mut estimate = CoatingEstimate {
        spots: spots.clone(),
        outline: outline.clone(),
        levels,
        covariance: (0..count).map(|i| (0..count).map(|j| of_levels(i, j)).collect()).collect(),
        ratio_sigma: sigma,
        ratio_freedom: noise_freedom,
        level_freedom,
        chi_square,
        freedom,
        p_value,
        widened_by,
        residuals,
        pulls,
        outliers,
        words: Vec::new(),
    };
    estimate.words = coating_words::of_estimate(&estimate);
    Ok(estimate)
}

/// Refuses parts that no spot touches.
fn check_seen(problem: &Problem, names: &[String]) -> Result<()> {
    for (name, column) in names.iter().zip(&problem.columns) {
        let most = column.iter().copied().fold(0.0, f64::max);
        if most < LEAST_SEEN {
            let field = format!("outline.{name}");
            let found = format!("seen by {:.1} % at the spot that sees most of it", 100.0 * most);
            let cause = "no spot touches it: read one there, or leave it out of the outline";
            return Err(Error::input(field, found, "a part that one spot sees by 5 % at least", cause));
        }
    }
    Ok(())
}

/// Half of an interval over the standard deviation for unit noise.
fn noise_factor(sigma: f64, freedom: Option<usize>) -> f64 {
    let t = match freedom {
        None => NORMAL,
        Some(freedom) => student::two_sided_point(1.0 - SHARE, freedom as f64)
            .unwrap_or_else(|| unreachable!("one degree of freedom at least")),
    };
    t * sigma
}

/// How often chance alone gives a chi-square as large; against noise that is itself estimated, Fisher's ratio.
fn chance(chi_square: f64, freedom: usize, noise_freedom: Option<usize>) -> f64 {
    let above = freedom as f64;
    match noise_freedom {
        None => chi_square::share_above(chi_square, above),
        Some(below) => fisher::chance_above(chi_square / above, above, below as f64)
            .unwrap_or_else(|| unreachable!("finite sums of squares")),
    }
}

fn residuals(problem: &Problem, ratios: &[f64], covariance: &DMatrix<f64>, sigma: f64) -> Vec<SpotResidual> {
    let of = |spot: usize| {
        let row = problem.row(spot);
        let expected: f64 = row.iter().zip(ratios).map(|(share, ratio)| share * ratio).sum();
        let spread = row.dot(&(covariance * &row));
        let left = 1.0 / problem.weights[spot] - spread;
        let (measured, is_free) = (problem.means[spot], left > LEFT);
        SpotResidual {
            spot,
            measured_ratio: measured,
            expected_ratio: expected,
            mean_sigma: sigma / problem.weights[spot].sqrt(),
            sigmas: is_free.then(|| (measured - expected) / (sigma * left.sqrt())),
        }
    };
    (0..problem.means.len()).map(of).collect()
}

/// How far each level would move if a spot had not been read: a list for each spot, in the order of the levels; none
/// where a part would then be unseen.
fn pulls(problem: &Problem, ratios: &[f64], covariance: &DMatrix<f64>, known: f64) -> Vec<Option<Vec<f64>>> {
    let of = |spot: usize| {
        let row = problem.row(spot);
        let toward = covariance * &row;
        let weight = problem.weights[spot];
        let left = 1.0 - weight * row.dot(&toward);
        let expected: f64 = row.iter().zip(ratios).map(|(share, ratio)| share * ratio).sum();
        // Sherman and Morrison: one row less.
        let step = weight * (expected - problem.means[spot]) / left;
        (left > LEFT).then(|| toward.iter().map(|t| known * step * t).collect())
    };
    (0..problem.means.len()).map(of).collect()
}

/// Single ratios far from the other repeats of their spot, the worst first, each with the levels that the rest gives.
fn outliers(
    input: &CoatingSpotsInput,
    outline: &CoatingOutline,
    sigma: f64,
    freedom: Option<usize>,
) -> Vec<RatioOutlier> {
    let squares: f64 = freedom.map_or(0.0, |nu| sigma * sigma * nu as f64);
    let mut found = Vec::new();
    for (i, spot) in input.spots.iter().enumerate() {
        let count = spot.ratios.len() as f64;
        let spare = 1.0 - 1.0 / count;
        if spot.ratios.len() < 2 || freedom == Some(1) {
            continue;
        }
        let mean = spot.ratios.iter().sum::<f64>() / count;
        for (k, ratio) in spot.ratios.iter().enumerate() {
            let away = ratio - mean;
            // Judged by the noise that the other readings show, or a wild one would hide itself.
            let (noise, left) = match freedom {
                None => (sigma, f64::INFINITY),
                Some(nu) => {
                    let left = nu as f64 - 1.0;
                    (((squares - away * away / spare).max(0.0) / left).sqrt(), left)
                }
            };
            let t = away / (noise.max(1e-6) * spare.sqrt());
            let sigmas = normal_of_student(t, left);
            if sigmas.abs() > OUTLYING {
                let mut rest = input.clone();
                rest.spots[i].ratios.remove(k);
                let levels = Problem::new(&rest, outline).solve();
                let known = input.reference_reflectance;
                let levels_without =
                    levels.map(|l| l.into_iter().map(|ratio| known * ratio).collect()).unwrap_or_default();
                found.push(RatioOutlier { spot: i, repeat: k, ratio: *ratio, sigmas, levels_without });
            }
        }
    }
    found.sort_by(|a, b| b.sigmas.abs().total_cmp(&a.sigmas.abs()));
    found
}

/// Draws of the levels: noise with its uncertain scale, and the flat's reflectance for all parts at once.
pub(super) fn draw_levels(estimate: &CoatingEstimate, count: usize, seed: u64) -> Vec<Vec<f64>> {
    let input = estimate.spots.input();
    let problem = Problem::new(input, &estimate.outline);
    let factor = problem.covariance().and_then(DMatrix::cholesky);
    let factor = factor.unwrap_or_else(|| unreachable!("an estimate was made of it")).l();
    let sigma = estimate.ratio_sigma * estimate.widened_by;
    let known = input.reference_reflectance;
    let ratios = DVector::from_iterator(
        estimate.levels.len(),
        estimate.levels.iter().map(|level| level.reflectance / known),
    );
    let draw = |k: usize| {
        let mut stream = Stream::new(seed, k as u64);
        let chance = stream.uniform();
        let scale = estimate.level_freedom.map_or(1.0, |nu| {
            let freedom = nu as f64;
            (freedom / chi_square::quantile(chance, freedom)).sqrt()
        });
        let flat = known + input.reference_sigma * stream.normal();
        let noise = DVector::from_fn(ratios.len(), |_, _| stream.normal());
        ((&ratios + &factor * noise * (sigma * scale)) * flat).iter().copied().collect()
    };
    (0..count).map(draw).collect()
}
