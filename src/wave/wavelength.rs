//! Which wavelengths are looked at.

use crate::error::{Error, Result};

/// Refuses a wavelength that no eye or camera on a telescope sees.
pub(crate) fn check_wavelength(wavelength_nm: f64) -> Result<()> {
    if (200.0..=3000.0).contains(&wavelength_nm) {
        return Ok(());
    }
    let cause = if (2000.0..30_000.0).contains(&wavelength_nm) {
        "angstroms given for nanometres?"
    } else if (0.2..=3.0).contains(&wavelength_nm) {
        "micrometres given for nanometres?"
    } else {
        ""
    };
    Err(Error::input("wavelength_nm", wavelength_nm, "200 to 3000 nm", cause))
}
