//! Zone means over runs with free zeros, and the noise of a reading.

use super::readings::KnifeEdgeReadings;
use crate::units::{DEFAULT_WAVELENGTH_NM, NM_PER_MM};

/// Setting error of one reading before any repeats are seen, as a share of the Airy radius in the
/// telescope's focal plane. Common practice, no source.
const PRIOR_SHARE: f64 = 0.5;
/// What that is worth, in degrees of freedom, for the scale common to all zones; and how much a zone leans
/// on that common scale.
const PRIOR_FREEDOM: f64 = 3.0;
const COMMON_FREEDOM: f64 = 6.0;

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
    /// show. With one run only the prior is left.
    pub(super) fn new(readings: &KnifeEdgeReadings, wavelength_nm: f64) -> Self {
        let sign = readings.readings_increase().sign();
        let runs: Vec<Vec<f64>> =
            readings.runs_mm().iter().map(|run| run.iter().map(|v| sign * v).collect()).collect();
        let shape = shape(readings);
        let (zones, count) = (shape.len(), runs.len() as f64);
        let mean_mm: Vec<f64> =
            (0..zones).map(|i| runs.iter().map(|run| run[i]).sum::<f64>() / count).collect();
        // Weights of the openings in a run's zero: precise zones count most.
        let weight: Vec<f64> = shape.iter().map(|u| u.powi(-2)).collect();
        let total: f64 = weight.iter().sum();
        let mut squares = vec![0.0; zones];
        for run in &runs {
            let zero = (0..zones).map(|i| weight[i] * (run[i] - mean_mm[i])).sum::<f64>() / total;
            for i in 0..zones {
                squares[i] += (run[i] - mean_mm[i] - zero).powi(2);
            }
        }
        let freedom: Vec<f64> = weight.iter().map(|w| (count - 1.0) * (1.0 - w / total)).collect();
        let focal_ratio = readings.radius_of_curvature().0 / (2.0 * readings.clear_aperture_mm());
        let prior = PRIOR_SHARE * 1.219_669_89 * wavelength_nm / NM_PER_MM * focal_ratio;
        let seen: f64 = squares.iter().zip(&shape).map(|(s, u)| s / (u * u)).sum();
        let scale = (PRIOR_FREEDOM * prior * prior + seen) / (PRIOR_FREEDOM + freedom.iter().sum::<f64>());
        let sigma_mm = (0..zones)
            .map(|i| {
                let common = COMMON_FREEDOM * scale * shape[i] * shape[i];
                ((common + squares[i]) / (COMMON_FREEDOM + freedom[i])).sqrt()
            })
            .collect();
        Self { mean_mm, sigma_mm, runs: runs.len() }
    }

    /// Noise of the mean over all runs, mm.
    pub(super) fn mean_sigma_mm(&self) -> Vec<f64> {
        self.sigma_mm.iter().map(|s| s / (self.runs as f64).sqrt()).collect()
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
    let middle = |o: &super::opening::MaskOpening| f64::midpoint(o.inner_radius_mm, o.outer_radius_mm);
    readings.openings().iter().map(|o| scale / middle(o)).collect()
}
