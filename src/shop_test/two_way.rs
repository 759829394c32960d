//! The two-way fit: a mean for each opening and a zero for each run, with readings missing where they may.

use nalgebra::{DMatrix, DVector};

use crate::error::{Error, Result};

/// One reading with its place, mm away from the mirror.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Entry {
    pub(super) run: usize,
    pub(super) zone: usize,
    pub(super) reading_mm: f64,
}

/// What is left of one reading after the fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Residual {
    pub(super) run: usize,
    pub(super) zone: usize,
    pub(super) residual_mm: f64,
    /// 1 less the share of the reading that its own fit took up.
    pub(super) spare: f64,
}

/// Zone means and run zeros by weighted least squares.
#[derive(Clone, Debug)]
pub(super) struct TwoWay {
    /// Means of the openings, mm; the zeros of the runs average to nothing.
    pub(super) mean_mm: Vec<f64>,
    pub(super) residuals: Vec<Residual>,
    /// Inverse covariance of the zone means when the zeros are free: blind to a common shift, 1/mm^2.
    pub(super) information: DMatrix<f64>,
}

impl TwoWay {
    /// The fit of readings whose noise is `sigma_mm`, opening by opening.
    ///
    /// Source: two-way layout by weighted least squares (textbook; Scheffe, The Analysis of Variance, 1959, from memory).
    /// Errors: [`Error::Input`] where no chain of shared openings joins the runs: their zeros then mean nothing.
    pub(super) fn fit(entries: &[Entry], runs: usize, sigma_mm: &[f64]) -> Result<Self> {
        let zones = sigma_mm.len();
        if !are_joined(entries, runs) {
            let allowed = "runs that share openings, at least by a chain of runs";
            let cause = "two masks? Reduce each by itself";
            return Err(Error::input("runs_mm", "runs without an opening in common", allowed, cause));
        }
        let weight: Vec<f64> = sigma_mm.iter().map(|sigma| 1.0 / (sigma * sigma)).collect();
        let typical = weight.iter().sum::<f64>() / zones as f64;
        // All zones may rise and all zeros fall by the same: this term holds that still and changes no residual.
        let mut normal = DMatrix::from_fn(zones + runs, zones + runs, |i, j| {
            if (i < zones) == (j < zones) { typical } else { -typical }
        });
        let mut right = DVector::zeros(zones + runs);
        for &Entry { run, zone, reading_mm } in entries {
            for (i, j) in [(zone, zone), (zones + run, zones + run), (zone, zones + run), (zones + run, zone)]
            {
                normal[(i, j)] += weight[zone];
            }
            right[zone] += weight[zone] * reading_mm;
            right[zones + run] += weight[zone] * reading_mm;
        }
        let unequal = || {
            let allowed = "openings of comparable noise";
            Error::input("runs_mm", "beyond what arithmetic holds", allowed, "an opening at the very centre?")
        };
        let factor = normal.cholesky().ok_or_else(unequal)?;
        let (found, covariance) = (factor.solve(&right), factor.inverse());
        let zero = |run: usize| found[zones + run];
        let level = (0..runs).map(zero).sum::<f64>() / runs as f64;
        let residuals = entries.iter().map(|&Entry { run, zone, reading_mm }| {
            let (i, j) = (zone, zones + run);
            let variance = covariance[(i, i)] + covariance[(j, j)] + 2.0 * covariance[(i, j)];
            let residual_mm = reading_mm - found[zone] - zero(run);
            Residual { run, zone, residual_mm, spare: (1.0 - variance * weight[zone]).max(0.0) }
        });
        Ok(Self {
            mean_mm: (0..zones).map(|zone| found[zone] + level).collect(),
            residuals: residuals.collect(),
            information: information(entries, runs, &weight),
        })
    }
}

/// Whether a chain of shared openings joins all runs.
fn are_joined(entries: &[Entry], runs: usize) -> bool {
    let mut joined = vec![false; runs];
    let mut todo = vec![0];
    while let Some(run) = todo.pop() {
        if std::mem::replace(&mut joined[run], true) {
            continue;
        }
        let reads = |run: usize, zone: usize| entries.iter().any(|e| e.run == run && e.zone == zone);
        let shared = entries.iter().filter(|e| !joined[e.run] && reads(run, e.zone)).map(|e| e.run);
        todo.extend(shared);
    }
    joined.into_iter().all(|found| found)
}

/// Rows that are of length 1, at right angles to each other, and blind to the zero of a run.
///
/// Shape: `count` - 1 rows of `count` elements, in row order. Source: Helmert's transformation.
pub(super) fn contrasts(count: usize) -> Vec<f64> {
    let mut rows = vec![0.0; (count - 1) * count];
    for (index, row) in rows.chunks_exact_mut(count).enumerate() {
        let before = (index + 1) as f64;
        let scale = 1.0 / (before * (before + 1.0)).sqrt();
        row[..=index].fill(scale);
        row[index + 1] = -before * scale;
    }
    rows
}

fn information(entries: &[Entry], runs: usize, weight: &[f64]) -> DMatrix<f64> {
    let zones = weight.len();
    let mut information = DMatrix::zeros(zones, zones);
    for run in 0..runs {
        let read: Vec<usize> = entries.iter().filter(|e| e.run == run).map(|e| e.zone).collect();
        let total: f64 = read.iter().map(|&zone| weight[zone]).sum();
        for &i in &read {
            information[(i, i)] += weight[i];
            for &j in &read {
                information[(i, j)] -= weight[i] * weight[j] / total;
            }
        }
    }
    information
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entries(runs: &[&[Option<f64>]]) -> Vec<Entry> {
        let of_run = |(run, readings): (usize, &&[Option<f64>])| {
            let found =
                readings.iter().enumerate().filter_map(move |(zone, reading)| Some((run, zone, (*reading)?)));
            found.map(|(run, zone, reading_mm)| Entry { run, zone, reading_mm }).collect::<Vec<_>>()
        };
        runs.iter().enumerate().flat_map(of_run).collect()
    }

    #[test]
    fn a_missing_reading_is_bridged_by_the_zeros_of_the_runs() {
        let table: [&[Option<f64>]; 2] =
            [&[Some(0.1), Some(0.4), Some(0.7), Some(1.0)], &[Some(2.1), Some(2.4), None, Some(3.0)]];
        let fit = TwoWay::fit(&entries(&table), 2, &[0.1, 0.2, 0.1, 0.3]).expect("joined runs");
        // Readings without noise: any weights give the same means.
        for (zone, truth) in [0.0, 0.3, 0.6, 0.9].into_iter().enumerate() {
            assert!((fit.mean_mm[zone] - fit.mean_mm[0] - truth).abs() < 1e-12);
        }
        assert!(fit.residuals.iter().all(|r| r.residual_mm.abs() < 1e-12));
        // The reading that stands alone in its zone has nothing to be judged by.
        assert!(fit.residuals[2].spare < 1e-9 && fit.residuals[0].spare > 0.1);
    }

    #[test]
    fn full_runs_give_plain_means_and_their_covariance() {
        let table: [&[Option<f64>]; 2] = [&[Some(0.1), Some(0.5)], &[Some(7.1), Some(7.3)]];
        let fit = TwoWay::fit(&entries(&table), 2, &[0.1, 0.1]).expect("joined runs");
        assert!((fit.mean_mm[0] - 3.6).abs() < 1e-12 && (fit.mean_mm[1] - 3.9).abs() < 1e-12);
        // Closed form: the difference of two zones, each the mean of two readings, has variance 2 x 0.01/2.
        let difference =
            (fit.information[(0, 0)] + fit.information[(1, 1)] - 2.0 * fit.information[(0, 1)]) / 4.0;
        assert!((difference - 1.0 / 0.01).abs() < 1e-9);
    }

    #[test]
    fn runs_without_an_opening_in_common_are_refused() {
        let table: [&[Option<f64>]; 2] =
            [&[Some(0.1), Some(0.5), None, None], &[None, None, Some(7.1), Some(7.3)]];
        let error = TwoWay::fit(&entries(&table), 2, &[0.1; 4]).expect_err("nothing joins them");
        assert!(error.to_string().contains("share openings"));
    }

    #[test]
    fn contrasts_are_orthonormal_and_blind_to_a_zero() {
        let rows = contrasts(5);
        for i in 0..4 {
            assert!(rows[5 * i..5 * i + 5].iter().sum::<f64>().abs() < 1e-15);
            for j in 0..4 {
                let product: f64 = (0..5).map(|k| rows[5 * i + k] * rows[5 * j + k]).sum();
                assert!((product - f64::from(u8::from(i == j))).abs() < 1e-15);
            }
        }
    }
}
