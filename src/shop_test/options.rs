//! How readings are reduced.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::units::DEFAULT_WAVELENGTH_NM;
use crate::wave::check_wavelength;

/// How readings are reduced.
///
/// ```
/// assert_eq!(catoptric::ReduceOptions::default().draws, 2000);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReduceOptions {
    /// Diameter of the diagonal's shadow over the clear aperture: what is behind it does not count.
    pub obstruction_ratio: f64,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Noisy repeats behind the intervals.
    pub draws: usize,
    /// Seed of the repeats.
    pub seed: u64,
}

impl Default for ReduceOptions {
    fn default() -> Self {
        Self { obstruction_ratio: 0.0, wavelength_nm: DEFAULT_WAVELENGTH_NM, draws: 2000, seed: 1 }
    }
}

impl ReduceOptions {
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
        Ok(())
    }
}
