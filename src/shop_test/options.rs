//! How readings are reduced.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::units::DEFAULT_WAVELENGTH_NM;
use crate::wave::check_wavelength;

/// Standard deviation of the openings' radii when none is stated, mm. Common practice, no source.
const ASSUMED_RADIUS_SIGMA_MM: f64 = 0.2;

/// Draws behind advice on further readings: each proposal leaves one in hundreds of them.
const ADVICE_DRAWS: usize = 16_000;

/// How readings are reduced.
///
/// ```
/// assert_eq!(catoptric::ReduceOptions::default().draws, 2000);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReduceOptions {
    /// Diameter of the diagonal's shadow over the clear aperture: what is behind it does not count.
    pub obstruction_ratio: f64,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Noisy repeats behind the one interval, and figures behind the other. Few make the total interval too short: with
    /// 400 the 95 % ones held 91 % (Strehl) and 88 % (RMS) of finished mirrors, with 2000 they held 96 and 94 %.
    pub draws: usize,
    /// Seed of both.
    pub seed: u64,
    /// Standard deviation of the radii at which the openings stand, mm, the same shift in every run; none: 0.2 mm is
    /// assumed.
    pub radius_sigma_mm: Option<f64>,
    /// Noise of one reading, mm: one number, or one for each opening; none: estimated from the repeats.
    #[serde(default)]
    pub reading_sigma_mm: Option<Vec<f64>>,
    /// Standard deviation of what a bench adds to each opening's reading in all its runs alike (air, mask, stage), mm: no
    /// number of runs takes it away. 0 unless given; see [`crate::bench_scatter`].
    #[serde(default)]
    pub bench_scatter_mm: f64,
}

impl Default for ReduceOptions {
    fn default() -> Self {
        Self {
            obstruction_ratio: 0.0,
            wavelength_nm: DEFAULT_WAVELENGTH_NM,
            draws: 2000,
            seed: 1,
            radius_sigma_mm: None,
            reading_sigma_mm: None,
            bench_scatter_mm: 0.0,
        }
    }
}

impl ReduceOptions {
    /// Standard deviation of the openings' radii, stated or assumed, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::ReduceOptions::default().radius_sigma_mm(), 0.2);
    /// ```
    pub fn radius_sigma_mm(&self) -> f64 {
        self.radius_sigma_mm.unwrap_or(ASSUMED_RADIUS_SIGMA_MM)
    }

    /// The same with draws enough to tell what further readings would bring.
    pub(crate) fn for_advice(&self) -> Self {
        Self { draws: self.draws.max(ADVICE_DRAWS), ..self.clone() }
    }

    pub(crate) fn check(&self) -> Result<()> {
        check_wavelength(self.wavelength_nm)?;
        if !(0.0..0.95).contains(&self.obstruction_ratio) {
            let allowed = "from 0 to less than 0.95, by diameter";
            let cause = "millimetres, per cent, or by area?";
            return Err(Error::input("obstruction_ratio", self.obstruction_ratio, allowed, cause));
        }
        if !(100..=1_000_000).contains(&self.draws) {
            return Err(Error::input("draws", self.draws, "100 to 1000000 repeats", ""));
        }
        let radius_sigma_mm = self.radius_sigma_mm();
        if !(0.0..=100.0).contains(&radius_sigma_mm) {
            return Err(Error::input("radius_sigma_mm", radius_sigma_mm, "0 to 100 mm", "other units?"));
        }
        for &sigma in self.reading_sigma_mm.iter().flatten() {
            if !(1e-6..=100.0).contains(&sigma) {
                let allowed = "0.000001 to 100 mm: no reading is without noise";
                return Err(Error::input("reading_sigma_mm", sigma, allowed, "micrometres for mm?"));
            }
        }
        if !(0.0..=100.0).contains(&self.bench_scatter_mm) {
            return Err(Error::input(
                "bench_scatter_mm",
                self.bench_scatter_mm,
                "0 to 100 mm",
                "other units?",
            ));
        }
        Ok(())
    }
}
