//! The colours of the light: wavelengths and their shares of the energy.

use serde::{Deserialize, Serialize};

use super::wavelength::check_wavelength;
use crate::error::{Error, Result};

/// Light of several wavelengths, each with its share of the energy.
///
/// Units: nm. The shares add up to 1. A share is energy as the receiver counts it: the source's light times the
/// receiver's response.
///
/// ```
/// let two = catoptric::Spectrum::of_lines(&[500.0, 600.0], &[1.0, 3.0])?;
/// assert_eq!(two.lines(), [(500.0, 0.25), (600.0, 0.75)]);
/// assert_eq!(two.mean_nm(), 575.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Spectrum {
    lines: Vec<(f64, f64)>,
}

impl Spectrum {
    /// A single wavelength, nm.
    ///
    /// Errors: [`Error::Input`] for a wavelength that cannot be.
    ///
    /// ```
    /// assert!(catoptric::Spectrum::line(0.0).is_err());
    /// ```
    pub fn line(wavelength_nm: f64) -> Result<Self> {
        Self::of_lines(&[wavelength_nm], &[1.0])
    }

    /// Wavelengths with their weights, which need not add up to 1.
    ///
    /// Errors: [`Error::Input`] for lists of unequal length or none, wavelengths that cannot be or do not ascend, weights
    /// that are negative, not finite, or all 0.
    ///
    /// ```
    /// assert!(catoptric::Spectrum::of_lines(&[500.0, 600.0], &[1.0, -1.0]).is_err());
    /// ```
    pub fn of_lines(wavelength_nm: &[f64], weight: &[f64]) -> Result<Self> {
        if wavelength_nm.is_empty() || wavelength_nm.len() != weight.len() {
            let found = format!("{} weights beside {} wavelengths", weight.len(), wavelength_nm.len());
            return Err(Error::input("weight", found, "one weight for each wavelength, one or more", ""));
        }
        for (i, &nm) in wavelength_nm.iter().enumerate() {
            check_wavelength(nm)?;
            if i > 0 && nm <= wavelength_nm[i - 1] {
                let field = format!("wavelength_nm[{i}]");
                return Err(Error::input(field, nm, "wavelengths that ascend", "a list in another order?"));
            }
        }
        let total: f64 = weight.iter().sum();
        let possible = |w: &f64| *w >= 0.0 && w.is_finite();
        if let Some(i) = weight.iter().position(|w| !possible(w)) {
            return Err(Error::input(format!("weight[{i}]"), weight[i], "0 or more", ""));
        }
        if !(total > 0.0 && total.is_finite()) {
            return Err(Error::input("weight", total, "weights with a sum above 0", ""));
        }
        Ok(Self { lines: wavelength_nm.iter().zip(weight).map(|(&nm, w)| (nm, w / total)).collect() })
    }

    /// Wavelengths, nm, ascending, each with its share of the energy.
    pub fn lines(&self) -> &[(f64, f64)] {
        &self.lines
    }

    /// The mean wavelength, nm, weighted by energy.
    pub fn mean_nm(&self) -> f64 {
        self.lines.iter().map(|(nm, share)| nm * share).sum()
    }
}
