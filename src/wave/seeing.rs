//! What the air does to an image: turbulence by Kolmogorov's law, as a transfer function and as a disc.

use std::f64::consts::{PI, TAU};

use serde::{Deserialize, Serialize};

use super::wavelength::check_wavelength;
use crate::error::{Error, Result};
use crate::numeric::gauss;
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM};

/// Half of 2 ((24/5) Gamma(6/5))^(5/6): the exponent of the long exposure where the baseline is r0.
const EXPONENT: f64 = 3.441_938_6;
/// Full width at half of the disc's middle, in wavelength/r0.
const WIDTH: f64 = 0.975_863;
/// From the tail of the exponent, -EXPONENT |x|^(5/3) transformed: the disc's wing is this times (r r0/lambda)^(-11/3).
const WING: f64 = 0.022_895_6;

/// The seeing of a night: how far turbulence of the air spreads the light of a star.
///
/// Units: mm for r0 (Fried's length), arcsec for the full width at half maximum of the long exposure, nm, degrees. The
/// given value is that at the zenith and at the stated wavelength; a star at the zenith angle z and at another
/// wavelength has r0 (lambda/stated)^(6/5) cos(z)^(3/5).
/// Source: Fried 1966 (J. Opt. Soc. Am. 56, 1372), long exposure: exp(-3.441939 (lambda nu/r0)^(5/3)), nu in cycles
/// per radian; its disc is 0.975863 lambda/r0 wide (own quadrature; galsim agrees).
/// Leaves out: the outer scale of the turbulence (large eddies are weaker than the law says): by Tokovinin 2002 (PASP
/// 114, 1156, from memory) the width is sqrt(1 - 2.183 (r0/L0)^0.356) of the given one, 19 % less for r0 110 mm and L0
/// 20 m, if the value is one of r0; a width that was measured on stars has it already. Local heat of tube and mirror,
/// which follows no law; and wind, shaking and guiding.
///
/// ```
/// let night = catoptric::Seeing::from_fwhm(1.0, 550.0, 0.0)?;
/// assert!((night.r0_mm(550.0) - 110.71).abs() < 0.01); // own computation from Fried's law
/// assert!(night.fwhm_arcsec(700.0) < 1.0, "red light suffers less");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Unchecked", into = "Unchecked")]
pub struct Seeing {
    /// Fried's length at the zenith, mm.
    zenith_r0_mm: f64,
    /// The wavelength at which it is stated, nm.
    stated_at_nm: f64,
    zenith_angle_deg: f64,
    exposure: Exposure,
}

/// How long the light is gathered.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
enum Exposure {
    Long,
    /// So short that the image does not move, through a telescope of this diameter; alpha as Fried has it.
    Short {
        diameter_mm: f64,
        alpha: f64,
    },
}

/// A seeing as a file gives it, before the checks of [`Seeing::from_r0`].
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Unchecked {
    r0_mm: f64,
    wavelength_nm: f64,
    zenith_angle_deg: f64,
    exposure: Exposure,
}

impl TryFrom<Unchecked> for Seeing {
    type Error = Error;

    fn try_from(found: Unchecked) -> Result<Self> {
        let long = Self::from_r0(found.r0_mm, found.wavelength_nm, found.zenith_angle_deg)?;
        match found.exposure {
            Exposure::Long => Ok(long),
            Exposure::Short { diameter_mm, alpha } => long.short_exposure(diameter_mm, alpha),
        }
    }
}

impl From<Seeing> for Unchecked {
    fn from(seeing: Seeing) -> Self {
        Self {
            r0_mm: seeing.zenith_r0_mm,
            wavelength_nm: seeing.stated_at_nm,
            zenith_angle_deg: seeing.zenith_angle_deg,
            exposure: seeing.exposure,
        }
    }
}

impl Seeing {
    /// A seeing from the width of its long exposure: full width at half maximum at the zenith, arcsec.
    ///
    /// Units: arcsec, nm, degrees.
    /// Errors: [`Error::Input`] for a width outside 0.001 to 30 arcsec, a wavelength that cannot be, a zenith angle
    /// outside 0 to 80 degrees.
    ///
    /// ```
    /// assert!(catoptric::Seeing::from_fwhm(0.0, 550.0, 0.0).is_err());
    /// let low = catoptric::Seeing::from_fwhm(1.0, 550.0, 60.0)?;
    /// assert!((low.fwhm_arcsec(550.0) - 2.0_f64.powf(0.6)).abs() < 1e-12); // Fried's r0 goes as cos(z)^(3/5)
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn from_fwhm(fwhm_arcsec: f64, wavelength_nm: f64, zenith_angle_deg: f64) -> Result<Self> {
        if !(1e-3..=30.0).contains(&fwhm_arcsec) {
            let cause = if fwhm_arcsec > 30.0 {
                "milliarcseconds or micrometres given for arcseconds?"
            } else if fwhm_arcsec > 0.0 {
                "arcminutes or degrees given for arcseconds?"
            } else {
                "no seeing at all: look at the star image without it"
            };
            return Err(Error::input("fwhm_arcsec", fwhm_arcsec, "0.001 to 30 arcsec", cause));
        }
        check_wavelength(wavelength_nm)?;
        let r0_mm = WIDTH * wavelength_nm / NM_PER_MM / fwhm_arcsec * ARCSEC_PER_RADIAN;
        Self::checked(r0_mm, wavelength_nm, zenith_angle_deg)
    }

    /// A seeing from Fried's length r0 at the zenith, mm.
    ///
    /// Units: mm, nm, degrees.
    /// Errors: [`Error::Input`] for a length outside 2 mm to 1000 m, a wavelength that cannot be, a zenith angle
    /// outside 0 to 80 degrees.
    ///
    /// ```
    /// let night = catoptric::Seeing::from_r0(110.71, 550.0, 0.0)?;
    /// assert!((night.fwhm_arcsec(550.0) - 1.0).abs() < 1e-4);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn from_r0(r0_mm: f64, wavelength_nm: f64, zenith_angle_deg: f64) -> Result<Self> {
        if !(2.0..=1e6).contains(&r0_mm) {
            let cause = if r0_mm > 0.0 { "metres or centimetres given for millimetres?" } else { "" };
            return Err(Error::input("r0_mm", r0_mm, "2 to 1 000 000 mm", cause));
        }
        check_wavelength(wavelength_nm)?;
        Self::checked(r0_mm, wavelength_nm, zenith_angle_deg)
    }

    fn checked(r0_mm: f64, wavelength_nm: f64, zenith_angle_deg: f64) -> Result<Self> {
        if !(0.0..=80.0).contains(&zenith_angle_deg) {
            let cause = if zenith_angle_deg > 80.0 { "the height above the horizon?" } else { "" };
            return Err(Error::input("zenith_angle_deg", zenith_angle_deg, "0 to 80 degrees", cause));
        }
        Ok(Self {
            zenith_r0_mm: r0_mm,
            stated_at_nm: wavelength_nm,
            zenith_angle_deg,
            exposure: Exposure::Long,
        })
    }

    /// The same air in so short an exposure that the image only boils and does not wander, for one telescope.
    ///
    /// The transfer is exp(-3.441939 (lambda nu/r0)^(5/3) (1 - alpha (lambda nu/D)^(1/3))), the mean of many short
    /// pictures that are laid upon each other by their tilt. `alpha` is 1 where the turbulence is near (almost always
    /// for a small telescope), 1/2 where it is far.
    ///
    /// Units: mm.
    /// Errors: [`Error::Input`] for a diameter that cannot be, an alpha outside 0 to 1.
    /// Source: Fried 1966 (J. Opt. Soc. Am. 56, 1372).
    /// Leaves out: that tilt and the rest of the wave are not quite independent, as Fried takes them: too high a
    /// contrast near the limit of the telescope, where with alpha 1 this form gives 1 at lambda nu = D; beyond, where
    /// no telescope of this diameter sends light, it stays 1.
    ///
    /// ```
    /// let long = catoptric::Seeing::from_fwhm(2.0, 550.0, 0.0)?;
    /// let short = long.short_exposure(200.0, 1.0)?;
    /// assert!(short.transfer(0.5, 550.0) > long.transfer(0.5, 550.0));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn short_exposure(self, diameter_mm: f64, alpha: f64) -> Result<Self> {
        if !(1.0..=1e5).contains(&diameter_mm) {
            return Err(Error::input("diameter_mm", diameter_mm, "1 mm to 100 m", "other units?"));
        }
        if !(0.0..=1.0).contains(&alpha) {
            return Err(Error::input("alpha", alpha, "0 to 1: 1 for near turbulence, 0.5 for far", ""));
        }
        Ok(Self { exposure: Exposure::Short { diameter_mm, alpha }, ..self })
    }

    /// Contrast that the air leaves to a pattern of light and dark lines.
    ///
    /// Units: cycles for each arcsecond, nm; 1 is full contrast.
    ///
    /// ```
    /// let night = catoptric::Seeing::from_r0(100.0, 550.0, 0.0)?;
    /// // A frequency of r0/lambda: exp(-3.441939), Fried 1966.
    /// let cycles = 100.0 / 550e-6 / catoptric::ARCSEC_PER_RADIAN;
    /// assert!((night.transfer(cycles, 550.0) - (-3.441_939_f64).exp()).abs() < 1e-7);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn transfer(&self, cycles_per_arcsec: f64, wavelength_nm: f64) -> f64 {
        self.transfer_at(
            wavelength_nm / NM_PER_MM * cycles_per_arcsec.abs() * ARCSEC_PER_RADIAN,
            wavelength_nm,
        )
    }

    /// The same for two points of the pupil that stand `baseline_mm` apart: lambda nu.
    pub(crate) fn transfer_at(&self, baseline_mm: f64, wavelength_nm: f64) -> f64 {
        let long = EXPONENT * (baseline_mm / self.r0_mm(wavelength_nm)).powf(5.0 / 3.0);
        let left = match self.exposure {
            Exposure::Long => 1.0,
            Exposure::Short { diameter_mm, alpha } => {
                (1.0 - alpha * (baseline_mm / diameter_mm).cbrt()).max(0.0)
            }
        };
        (-long * left).exp()
    }

    /// Fried's length toward the star at a wavelength, mm.
    ///
    /// ```
    /// let night = catoptric::Seeing::from_r0(100.0, 500.0, 0.0)?;
    /// assert!((night.r0_mm(1000.0) / 100.0 - 2.0_f64.powf(1.2)).abs() < 1e-12);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn r0_mm(&self, wavelength_nm: f64) -> f64 {
        let (colour, height) = (wavelength_nm / self.stated_at_nm, self.zenith_angle_deg.to_radians().cos());
        self.zenith_r0_mm * colour.powf(1.2) * height.powf(0.6)
    }

    /// Full width at half maximum of the long exposure toward the star at a wavelength, arcsec, without the
    /// telescope's own share.
    ///
    /// ```
    /// let night = catoptric::Seeing::from_fwhm(2.0, 550.0, 0.0)?;
    /// assert!((night.fwhm_arcsec(550.0) - 2.0).abs() < 1e-12);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn fwhm_arcsec(&self, wavelength_nm: f64) -> f64 {
        WIDTH * wavelength_nm / NM_PER_MM / self.r0_mm(wavelength_nm) * ARCSEC_PER_RADIAN
    }

    /// The wavelength at which it is stated, nm.
    pub fn stated_at_nm(&self) -> f64 {
        self.stated_at_nm
    }

    /// Angle of the star from the zenith, degrees.
    pub fn zenith_angle_deg(&self) -> f64 {
        self.zenith_angle_deg
    }

    /// Diameter of the telescope and alpha of a short exposure; nothing for a long one.
    pub fn short(&self) -> Option<(f64, f64)> {
        match self.exposure {
            Exposure::Long => None,
            Exposure::Short { diameter_mm, alpha } => Some((diameter_mm, alpha)),
        }
    }

    /// Light of the long exposure's disc at a distance from its middle, for each square arcsecond; all of it is 1.
    ///
    /// Method: the transform of the transfer function by quadrature, good to 1e-13 of the middle; beyond 60 widths the
    /// wing's own law, good to 1e-3 there.
    pub(crate) fn disc_per_arcsec2(&self, radius_arcsec: f64, wavelength_nm: f64) -> f64 {
        let unit_arcsec = self.fwhm_arcsec(wavelength_nm) / WIDTH;
        kolmogorov_disc(radius_arcsec.abs() / unit_arcsec) / (unit_arcsec * unit_arcsec)
    }
}

/// 2 pi times the integral of exp(-3.44 x^(5/3)) J0(2 pi x rho) x over x.
fn kolmogorov_disc(rho: f64) -> f64 {
    if rho > 60.0 {
        return WING * rho.powf(-11.0 / 3.0);
    }
    // With x = t^3 the exponent is t^5 and the integrand is smooth; beyond x = 4.5 it is below 1e-18.
    let last = 4.5_f64.cbrt();
    let nodes = 60 + (6.0 * PI * rho) as usize;
    let terms = gauss::on_interval(nodes, 0.0, last).map(|(t, weight)| {
        let x = t * t * t;
        weight * 3.0 * t * t * x * (-EXPONENT * t.powi(5)).exp() * libm::j0(TAU * x * rho)
    });
    TAU * terms.sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::roots;

    #[test]
    fn the_constants_are_those_of_the_law() {
        // Fried 1966: 6.88 = 2 ((24/5) Gamma(6/5))^(5/6), here halved.
        let gamma = libm::tgamma(1.2);
        assert!((EXPONENT - (4.8 * gamma).powf(5.0 / 6.0)).abs() < 1e-7);
        // The middle in closed form: 2 pi times the integral of x exp(-c x^(5/3)) is 2 pi (3/5) Gamma(6/5)/c^(6/5).
        let middle = TAU * 0.6 * gamma / EXPONENT.powf(1.2);
        assert!((kolmogorov_disc(0.0) / middle - 1.0).abs() < 1e-12);
        let half = roots::bracketed(|r| kolmogorov_disc(r) / middle - 0.5, 0.1, 2.0, 1e-12).unwrap();
        assert!((2.0 * half - WIDTH).abs() < 5e-7, "{}", 2.0 * half);
    }

    #[test]
    fn the_wing_follows_its_law() {
        // The transform of |x|^s in the plane is pi^(-s-1) Gamma(1 + s/2)/Gamma(-s/2) rho^(-s-2); the next term of the
        // series, s = 10/3, is 1.13 rho^(-5/3) of the first.
        let s: f64 = 5.0 / 3.0;
        let factor = PI.powf(-s - 1.0) * libm::tgamma(1.0 + s / 2.0) / libm::tgamma(-s / 2.0);
        assert!((WING / (-EXPONENT * factor) - 1.0).abs() < 1e-3);
        for rho in [30.0, 59.9] {
            let rest = kolmogorov_disc(rho) / (WING * rho.powf(-11.0 / 3.0)) - 1.0;
            assert!((rest - 1.13 * rho.powf(-s)).abs() < 1e-3, "{rho}: {rest}");
        }
    }
}
