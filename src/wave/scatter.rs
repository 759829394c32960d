//! What roughness costs, by the formula of total integrated scatter.

use std::f64::consts::PI;

use super::wavelength::check_wavelength;
use crate::error::{Error, Result};

/// The share of the light that a rough surface scatters out of the image's core.
///
/// 1 - exp(-(4 pi s cos i/lambda)^2) for a surface RMS s, twice that as wavefront, seen at the angle i from the normal.
///
/// Units: nm of glass, nm, degrees.
/// Errors: [`Error::Input`] for a negative RMS, a wavelength that cannot be, an angle outside 0 to 90.
/// Source: Bennett & Porteus 1961, J. Opt. Soc. Am. 51, 123 (the formula, from memory of its restatements).
/// Leaves out: everything but heights that are normally distributed and waves much shorter than the mirror: for one
/// surface with few waves across the loss scatters about this.
///
/// ```
/// // 10 nm on glass at 550 nm: 1 - exp(-0.0522).
/// assert!((catoptric::scatter_loss(10.0, 550.0, 0.0)? - 0.050_864).abs() < 1e-6);
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn scatter_loss(rms_nm: f64, wavelength_nm: f64, incidence_deg: f64) -> Result<f64> {
    check_wavelength(wavelength_nm)?;
    if !(0.0..=1e5).contains(&rms_nm) {
        return Err(Error::input("rms_nm", rms_nm, "0 to 100000 nm of glass", "millimetres, or a sign?"));
    }
    if !(0.0..=90.0).contains(&incidence_deg) {
        return Err(Error::input("incidence_deg", incidence_deg, "0 to 90 degrees from the normal", ""));
    }
    let phase = 4.0 * PI * rms_nm * incidence_deg.to_radians().cos() / wavelength_nm;
    Ok(-(-phase * phase).exp_m1())
}
