//! What roughness costs, by the formula of total integrated scatter.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use super::wavelength::check_wavelength;
use crate::error::{Error, Findings, Result};
use crate::units::ARCSEC_PER_RADIAN;

const NM_PER_UM: f64 = 1000.0;
/// Above this phase the first order, which gives the halo its shape, no longer holds.
const SMOOTH: f64 = 0.3;

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

/// How the heights of a rough surface are related over a distance d, l being the correlation length.
///
/// ```
/// assert_eq!(catoptric::Autocorrelation::from_name("gaussian"), Some(catoptric::Autocorrelation::Gaussian));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Autocorrelation {
    /// exp(-(d/l)^2): grains of one size.
    Gaussian,
    /// exp(-d/l): finer grain in the coarser, as polish and dust leave it; more light far out.
    Exponential,
}

impl Autocorrelation {
    /// Both forms.
    pub const ALL: [Self; 2] = [Self::Gaussian, Self::Exponential];

    /// The name as files and other languages write it.
    ///
    /// ```
    /// assert_eq!(catoptric::Autocorrelation::Exponential.key(), "exponential");
    /// ```
    pub fn key(self) -> &'static str {
        match self {
            Self::Gaussian => "gaussian",
            Self::Exponential => "exponential",
        }
    }

    /// The form of a name: `gaussian` or `exponential`.
    ///
    /// ```
    /// assert_eq!(catoptric::Autocorrelation::from_name("normal"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|form| form.key() == name)
    }
}

/// Haze as roughness: how high its grain is, how wide, and of which kind.
///
/// Units: nm of glass, um.
/// Errors: [`Error::Input`] from [`HazeScatter::check`] and wherever it is asked.
///
/// ```
/// use catoptric::{Autocorrelation, HazeScatter};
/// let haze = HazeScatter { rms_nm: 5.0, correlation_length_um: 2.0, form: Autocorrelation::Exponential };
/// assert!(haze.check().is_ok());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HazeScatter {
    /// Root mean square of the grain's heights, nm of glass.
    pub rms_nm: f64,
    /// Distance over which heights are related, um.
    pub correlation_length_um: f64,
    /// How they are related.
    pub form: Autocorrelation,
}

/// Where the light goes that haze scatters.
///
/// Units: shares of the light that the mirror returns; arcsec on the sky.
///
/// ```
/// use catoptric::{Autocorrelation, HazeScatter};
/// let grain = HazeScatter { rms_nm: 5.0, correlation_length_um: 20.0, form: Autocorrelation::Gaussian };
/// let halo = grain.halo(550.0)?;
/// assert!((halo.scattered_share - catoptric::scatter_loss(5.0, 550.0, 0.0)?).abs() < 1e-15);
/// // Closed form: sqrt(ln 2) lambda/(pi l).
/// assert!((halo.half_energy_radius_arcsec - 0.832_554_6 * 0.55 / (20.0 * 3.141_592_7) * 206_264.8).abs() < 0.01);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HazeHalo {
    /// The grain.
    pub haze: HazeScatter,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Share of the returned light that leaves the image's core.
    pub scattered_share: f64,
    /// Half of the scattered light falls within this radius, arcsec on the sky.
    pub half_energy_radius_arcsec: f64,
    /// What the model cannot say here, in sentences; empty within its limits.
    pub limits: Vec<String>,
}

impl HazeScatter {
    /// Refuses grain that cannot be.
    ///
    /// ```
    /// use catoptric::{Autocorrelation, HazeScatter};
    /// let odd = HazeScatter { rms_nm: -5.0, correlation_length_um: 2.0, form: Autocorrelation::Gaussian };
    /// assert!(odd.check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("haze", |f| {
            let rms = |v: f64| (0.0..=200.0).contains(&v);
            f.number("rms_nm", self.rms_nm, rms, "0 to 200 nm of glass", "micrometres, or a sign?");
            let length = |v: f64| (0.05..=1e4).contains(&v);
            let allowed = "0.05 to 10000 um";
            f.number(
                "correlation_length_um",
                self.correlation_length_um,
                length,
                allowed,
                "millimetres or nm?",
            );
        });
        findings.refuse()
    }

    /// What the grain scatters, and how wide, at normal incidence.
    ///
    /// Units: nm; arcsec on the sky, for a mirror whose focal length turns angles at the mirror into angles on the sky
    /// one to one.
    /// Errors: [`Error::Input`] for grain or a wavelength that cannot be.
    /// Source: the share by Bennett & Porteus 1961, J. Opt. Soc. Am. 51, 123 ([`scatter_loss`]). The halo is the power
    /// spectrum of the heights at the frequency angle/wavelength, the first order of scattering (handbooks, from
    /// memory): of the Gaussian form exp(-(pi l t/lambda)^2), half of it within sqrt(ln 2) lambda/(pi l); of the
    /// exponential one (1 + (2 pi l t/lambda)^2)^(-3/2), half of it within sqrt 3 lambda/(2 pi l) (own integrals of
    /// these).
    /// Leaves out: obliquity beyond about 10 degrees; absorption by the haze itself, which dims without scattering;
    /// waves longer than a few millimetres, which are figure or ripple.
    ///
    /// ```
    /// use catoptric::{Autocorrelation, HazeScatter};
    /// let fine = HazeScatter { rms_nm: 20.0, correlation_length_um: 0.2, form: Autocorrelation::Exponential };
    /// assert_eq!(fine.halo(550.0)?.limits.len(), 2, "too rough and too fine for the halo's size");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn halo(&self, wavelength_nm: f64) -> Result<HazeHalo> {
        self.check()?;
        let scattered_share = scatter_loss(self.rms_nm, wavelength_nm, 0.0)?;
        let length_nm = self.correlation_length_um * NM_PER_UM;
        let radius = match self.form {
            Autocorrelation::Gaussian => std::f64::consts::LN_2.sqrt() * wavelength_nm / (PI * length_nm),
            Autocorrelation::Exponential => 3.0_f64.sqrt() * wavelength_nm / (2.0 * PI * length_nm),
        };
        let mut limits = Vec::new();
        if 4.0 * PI * self.rms_nm / wavelength_nm > SMOOTH {
            limits.push(
                "The grain is so high that light scatters more than once: the share holds, the halo is wider than stated."
                    .to_owned(),
            );
        }
        if radius > 10.0_f64.to_radians() {
            limits.push(
                "The grain is so fine that the halo is wider than 10 degrees: its size is an order of magnitude.".to_owned(),
            );
        }
        Ok(HazeHalo {
            haze: *self,
            wavelength_nm,
            scattered_share,
            half_energy_radius_arcsec: radius * ARCSEC_PER_RADIAN,
            limits,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::gauss;

    #[test]
    fn half_of_the_halo_lies_within_its_radius() {
        // Own quadrature of the two power spectra over rings, out to 2000 radii.
        for form in Autocorrelation::ALL {
            let haze = HazeScatter { rms_nm: 3.0, correlation_length_um: 40.0, form };
            let half = haze.halo(550.0).unwrap().half_energy_radius_arcsec / ARCSEC_PER_RADIAN;
            let spectrum = |t: f64| {
                let waves = PI * haze.correlation_length_um * t / 0.55;
                match form {
                    Autocorrelation::Gaussian => (-waves * waves).exp(),
                    Autocorrelation::Exponential => (1.0 + 4.0 * waves * waves).powf(-1.5),
                }
            };
            let ring = |from: f64, to: f64| {
                gauss::on_interval(40, from, to).map(|(t, w)| w * t * spectrum(t)).sum::<f64>()
            };
            let inside = ring(0.0, half);
            let mut whole = inside;
            let mut edge = half;
            while edge < 1e7 * half {
                whole += ring(edge, 2.0 * edge);
                edge *= 2.0;
            }
            assert!((inside / whole - 0.5).abs() < 1e-6, "{form:?}: {}", inside / whole);
        }
    }
}
