//! Zone means over runs with free zeros, and the noise of a reading.

use super::readings::KnifeEdgeReadings;
use crate::numeric::chi_square;
use crate::units::{DEFAULT_WAVELENGTH_NM, NM_PER_MM};

/// Setting error of one reading before any repeats are seen, as a share of the Airy radius in the
/// telescope's focal plane. Common practice, no source.
const PRIOR_SHARE: f64 = 0.5;
/// What that is worth, in degrees of freedom, for the scale common to all zones; and how much a zone leans
/// on that common scale.
const PRIOR_FREEDOM: f64 = 3.0;
const COMMON_FREEDOM: f64 = 6.0;
/// The weights of the fit are 1/sigma^2, and the sigmas come from the fit: this often in turn.
const ROUNDS: usize = 4;
/// How many factors stand for the uncertainty of the noise's scale.
const SCALES: usize = 5;

/// What the runs say about each opening.
#[derive(Clone, Debug)]
pub(super) struct ZoneMeans {
    /// Mean over runs, each run's zero taken off, mm away from the mirror.
    pub(super) mean_mm: Vec<f64>,
    /// Noise of one reading, mm.
    pub(super) sigma_mm: Vec<f64>,
    pub(super) runs: usize,
}

impl ZoneMeans {
    /// Two-way fit (opening + run) and the pooled noise.
    ///
    /// A zone's noise follows 1/r where nothing else is known (a fixed share of the Airy radius, carried to the
    /// axis by a ray that leans by r/R); repeats pull the common scale and each zone toward what they
    /// show. With one run only the prior is left. No zone is better than its scale can be read.
    /// Source: two-way layout by weighted least squares; the scale pools the zones with an inverse chi-square
    /// prior (Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 2.6, from memory).
    pub(super) fn new(readings: &KnifeEdgeReadings, wavelength_nm: f64) -> Self {
        let sign = readings.readings_increase().sign();
        let runs: Vec<Vec<f64>> =
            readings.runs_mm().iter().map(|run| run.iter().map(|v| sign * v).collect()).collect();
        let shape = shape(readings);
        let (zones, count) = (shape.len(), runs.len() as f64);
        let mean_mm: Vec<f64> =
            (0..zones).map(|i| runs.iter().map(|run| run[i]).sum::<f64>() / count).collect();
        let focal_ratio = readings.radius_of_curvature().0 / (2.0 * readings.clear_aperture_mm());
        let prior = PRIOR_SHARE * 1.219_669_89 * wavelength_nm / NM_PER_MM * focal_ratio;
        let least = step_mm(&runs).powi(2) / 12.0;
        let mut sigma_mm: Vec<f64> = shape.iter().map(|u| u * prior).collect();
        for _ in 0..ROUNDS {
            // Weights of the openings in a run's zero: precise zones count most.
            let weight: Vec<f64> = sigma_mm.iter().map(|sigma| sigma.powi(-2)).collect();
            let total: f64 = weight.iter().sum();
            let mut squares = vec![0.0; zones];
            for run in &runs {
                let zero = (0..zones).map(|i| weight[i] * (run[i] - mean_mm[i])).sum::<f64>() / total;
                for i in 0..zones {
                    squares[i] += (run[i] - mean_mm[i] - zero).powi(2);
                }
            }
            let freedom: Vec<f64> = weight.iter().map(|w| (count - 1.0) * (1.0 - w / total)).collect();
            let seen: f64 = squares.iter().zip(&shape).map(|(s, u)| s / (u * u)).sum();
            let scale =
                (PRIOR_FREEDOM * prior * prior + seen) / (PRIOR_FREEDOM + freedom.iter().sum::<f64>());
            for i in 0..zones {
                let common = COMMON_FREEDOM * scale * shape[i] * shape[i];
                let variance = (common + squares[i]) / (COMMON_FREEDOM + freedom[i]);
                sigma_mm[i] = variance.max(least).sqrt();
            }
        }
        Self { mean_mm, sigma_mm, runs: runs.len() }
    }

    /// Noise of the mean over all runs, mm.
    pub(super) fn mean_sigma_mm(&self) -> Vec<f64> {
        self.sigma_mm.iter().map(|s| s / (self.runs as f64).sqrt()).collect()
    }

    /// Factors on the squared noise that stand for the uncertainty of its scale, equally probable.
    ///
    /// They are nu over the quantiles of chi-square at the middles of equal shares: few runs leave the noise
    /// itself uncertain, which gives errors the long tails of Student's t.
    pub(super) fn scales(&self) -> Vec<f64> {
        let freedom = PRIOR_FREEDOM + ((self.runs - 1) * (self.mean_mm.len() - 1)) as f64;
        let share = |node: usize| (node as f64 + 0.5) / SCALES as f64;
        (0..SCALES).map(|node| freedom / chi_square::quantile(share(node), freedom)).collect()
    }
}

impl KnifeEdgeReadings {
    /// Mean reading of each opening over all runs, mm, as the stage counts.
    pub fn mean_mm(&self) -> Vec<f64> {
        let sign = self.readings_increase().sign();
        ZoneMeans::new(self, DEFAULT_WAVELENGTH_NM).mean_mm.iter().map(|m| sign * m).collect()
    }

    /// Noise of one reading of each opening, mm: from the repeats, and with few of them from what is usual (half of the
    /// Airy radius at 550 nm, worth three repeats).
    pub fn sigma_mm(&self) -> Vec<f64> {
        ZoneMeans::new(self, DEFAULT_WAVELENGTH_NM).sigma_mm
    }
}

/// How the noise of a reading depends on its opening: how far along the axis the crossing moves for a step
/// across the knife.
fn shape(readings: &KnifeEdgeReadings) -> Vec<f64> {
    let scale = readings.source().gain() * readings.radius_of_curvature().0;
    readings.openings().iter().map(|o| scale / o.middle_mm()).collect()
}

/// The step of the scale: the largest of the usual ones of which every reading is a whole multiple.
fn step_mm(runs: &[Vec<f64>]) -> f64 {
    // A few readings may all be multiples of a coarse step by chance.
    let coarse = [0.1, 0.05, 0.02];
    let fine = [0.01, 0.005, 0.001];
    let coarse = if runs.iter().flatten().count() >= 10 { &coarse[..] } else { &[] };
    let is_multiple = |step: f64| {
        runs.iter().flatten().all(|reading| {
            let steps = reading / step;
            (steps - steps.round()).abs() < 1e-6
        })
    };
    coarse.iter().chain(&fine).copied().find(|&step| is_multiple(step)).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop_test::{MaskOpening, ReadingsIncrease, TestSource};
    use crate::units::RadiusOfCurvatureMm;

    fn readings(runs_mm: Vec<Vec<f64>>) -> KnifeEdgeReadings {
        let rims = [20.0, 50.0, 70.0, 85.0, 95.0];
        let ring = |pair: &[f64]| MaskOpening { inner_radius_mm: pair[0], outer_radius_mm: pair[1] };
        KnifeEdgeReadings::through_openings(
            200.0,
            RadiusOfCurvatureMm(2400.0),
            TestSource::Moving,
            ReadingsIncrease::AwayFromMirror,
            rims.windows(2).map(ring).collect(),
            runs_mm,
        )
        .expect("a paraboloid's readings, nearly")
    }

    #[test]
    fn runs_with_free_zeros_give_plain_means_and_know_how_sure_they_are() {
        let three = readings(vec![
            vec![0.31, 0.76, 1.26, 1.70],
            vec![2.31, 2.78, 3.24, 3.70],
            vec![5.31, 5.74, 6.27, 6.70],
        ]);
        let means = ZoneMeans::new(&three, 550.0);
        // Closed form: without holes the contrasts of zone means are those of the plain means.
        assert!((means.mean_mm[1] - means.mean_mm[0] - 0.45).abs() < 1e-12);
        // (runs - 1)(zones - 1) and the prior's three, 9 in all; chi-square of 9 has its median at 8.342833 (tables).
        assert!((means.scales()[2] - 9.0 / 8.342_833).abs() < 1e-6);
    }

    #[test]
    fn one_run_has_the_noise_of_the_prior() {
        let means = ZoneMeans::new(&readings(vec![vec![0.31, 0.76, 1.26, 1.70]]), 550.0);
        // Closed form: 0.5 x 1.21967 x 550e-6 mm x F 6 x R/r.
        let sigma = 0.5 * 1.219_669_89 * 550e-6 * 6.0 * 2400.0 / 35.0;
        assert!((means.sigma_mm[0] - sigma).abs() < 1e-12);
        assert_eq!(means.scales().len(), SCALES);
    }

    #[test]
    fn readings_that_repeat_exactly_are_no_better_than_their_step() {
        let means = ZoneMeans::new(&readings(vec![vec![0.3, 0.8, 1.3, 1.7]; 200]), 550.0);
        let finest = means.sigma_mm.iter().copied().fold(f64::INFINITY, f64::min);
        // Closed form: the standard deviation of rounding to 0.1 mm.
        assert!((finest - 0.1 / 12.0_f64.sqrt()).abs() < 1e-12, "{finest}");
    }
}
