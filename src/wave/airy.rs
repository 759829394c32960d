//! The textbook star: Airy's pattern of a circular or annular pupil without error.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use super::wavelength::check_wavelength;
use crate::error::{Error, Result};
use crate::numeric::{gauss, roots};
use crate::trace::Prepared;

/// The perfect star of a focal ratio and an obstruction, in closed form.
///
/// Units: um in the focal plane; intensity 1 at the centre.
/// Source: Born & Wolf, Principles of Optics, chapter 8: I(v) = [2 J1(v)/v - e^2 2 J1(e v)/(e v)]^2/(1 - e^2)^2,
/// v = pi r/(lambda F), e the obstruction by diameter.
/// Leaves out: the real cone of a fast mirror, whose first dark ring lies 0.0284/F^2 (relative) further
/// out without obstruction, 0.0313/F^2 with one of 0.22.
///
/// ```
/// let star = catoptric::Airy::new(5.0, 0.0, 550.0)?;
/// assert!((star.dark_ring_um(1) - 1.219_669_89 * 0.55 * 5.0).abs() < 1e-7); // Born & Wolf, chapter 8
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Unchecked")]
pub struct Airy {
    /// Focal length over diameter.
    pub focal_ratio: f64,
    /// Obstruction by diameter.
    pub obstruction_ratio: f64,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
}

/// The three numbers as a file gives them, before the checks of [`Airy::new`].
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Unchecked {
    focal_ratio: f64,
    obstruction_ratio: f64,
    wavelength_nm: f64,
}

impl TryFrom<Unchecked> for Airy {
    type Error = Error;

    fn try_from(found: Unchecked) -> Result<Self> {
        Self::new(found.focal_ratio, found.obstruction_ratio, found.wavelength_nm)
    }
}

impl Airy {
    /// The pattern of these three numbers.
    ///
    /// Errors: [`Error::Input`].
    ///
    /// ```
    /// assert!(catoptric::Airy::new(5.0, 1.0, 550.0).is_err());
    /// ```
    pub fn new(focal_ratio: f64, obstruction_ratio: f64, wavelength_nm: f64) -> Result<Self> {
        check_wavelength(wavelength_nm)?;
        if !(focal_ratio.is_finite() && focal_ratio >= 1.0) {
            return Err(Error::input("focal_ratio", focal_ratio, "1 or more", ""));
        }
        if !(0.0..0.95).contains(&obstruction_ratio) {
            let allowed = "from 0 to less than 0.95, by diameter";
            return Err(Error::input(
                "obstruction_ratio",
                obstruction_ratio,
                allowed,
                "per cent, or by area?",
            ));
        }
        Ok(Self { focal_ratio, obstruction_ratio, wavelength_nm })
    }

    /// Micrometres for one unit of v = pi r/(lambda F).
    fn um_per_v(&self) -> f64 {
        self.wavelength_nm / 1000.0 * self.focal_ratio / PI
    }

    /// The amplitude at v, 1 in the centre.
    fn amplitude(&self, v: f64) -> f64 {
        let e = self.obstruction_ratio;
        (jinc(v) - e * e * jinc(e * v)) / (1.0 - e * e)
    }

    /// Intensity at a radius, 1 in the centre.
    ///
    /// ```
    /// let star = catoptric::Airy::new(5.0, 0.2, 550.0)?;
    /// assert_eq!(star.intensity(0.0), 1.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn intensity(&self, radius_um: f64) -> f64 {
        self.amplitude(radius_um / self.um_per_v()).powi(2)
    }

    /// Radius of a dark ring, um; rings count from 1, and 0 stands for the centre, at radius 0.
    ///
    /// ```
    /// let star = catoptric::Airy::new(5.0, 0.2, 550.0)?;
    /// assert!((star.dark_ring_um(1) / (0.55 * 5.0) - 1.166_506_78).abs() < 1e-8); // scipy's Bessel functions
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn dark_ring_um(&self, ring: usize) -> f64 {
        let v = (0..ring).fold(0.0, |v, _| self.next_zero(v));
        v * self.um_per_v()
    }

    fn next_zero(&self, after: f64) -> f64 {
        // Zeros lie more than 1.5 apart; a step of 0.05 passes none by. The first hop leaves the last zero.
        let (mut v, step) = (after + 0.05, 0.05);
        loop {
            if let Some(zero) = roots::bracketed(|v| self.amplitude(v), v, v + step, 1e-14) {
                return zero;
            }
            v += step;
        }
    }

    /// Full width at half maximum, um.
    ///
    /// ```
    /// let star = catoptric::Airy::new(5.0, 0.0, 550.0)?;
    /// assert!((star.fwhm_um() / (0.55 * 5.0) - 1.028_993_97).abs() < 1e-8); // scipy's Bessel functions
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn fwhm_um(&self) -> f64 {
        let half = |v: f64| self.amplitude(v).powi(2) - 0.5;
        let v = roots::bracketed(half, 0.0, 2.2, 1e-14).unwrap_or_else(|| unreachable!("1 falls below 1/2"));
        2.0 * v * self.um_per_v()
    }

    /// Share of the light within a radius.
    ///
    /// ```
    /// let star = catoptric::Airy::new(5.0, 0.2, 550.0)?;
    /// let share = star.encircled_energy(star.dark_ring_um(1));
    /// assert!((share - 0.763_762_67).abs() < 1e-8); // scipy's quadrature
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn encircled_energy(&self, radius_um: f64) -> f64 {
        let v = radius_um.max(0.0) / self.um_per_v(); // nothing lies within less than nothing
        let e = self.obstruction_ratio;
        if e == 0.0 {
            return 1.0 - libm::j0(v).powi(2) - libm::j1(v).powi(2); // Rayleigh 1881
        }
        let panels = (v / PI).ceil().max(1.0);
        let integral: f64 = (0..panels as usize)
            .flat_map(|i| gauss::on_interval(16, v * i as f64 / panels, v * (i + 1) as f64 / panels))
            .map(|(t, weight)| weight * t * self.amplitude(t).powi(2))
            .sum();
        integral * (1.0 - e * e) / 2.0
    }
}

/// 2 J1(v)/v.
fn jinc(v: f64) -> f64 {
    if v.abs() < 1e-4 { 1.0 - v * v / 8.0 } else { 2.0 * libm::j1(v) / v }
}

impl Prepared {
    /// The perfect star of this train's focal ratio and obstruction.
    ///
    /// Errors: [`Error::Input`] for a wavelength that cannot be.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// assert_eq!(Prepared::new(&train).airy(550.0)?.focal_ratio, 6.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn airy(&self, wavelength_nm: f64) -> Result<Airy> {
        Airy::new(self.focal_ratio(), self.obstruction_ratio(), wavelength_nm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_meets_the_checks_of_the_constructor() {
        let read = |text: &str| serde_json::from_str::<Airy>(text);
        let star = Airy::new(5.0, 0.2, 550.0).unwrap();
        assert_eq!(read(&serde_json::to_string(&star).unwrap()).unwrap(), star);
        for (text, field) in [
            (r#"{"focal_ratio": 5, "obstruction_ratio": 1, "wavelength_nm": 550}"#, "obstruction_ratio = 1"),
            (r#"{"focal_ratio": 5, "obstruction_ratio": 0, "wavelength_nm": -550}"#, "wavelength_nm = -550"),
            (r#"{"focal_ratio": 0, "obstruction_ratio": 0, "wavelength_nm": 550}"#, "focal_ratio = 0"),
            (r#"{"focal_ratio": 5, "obstruction_ratio": 0, "wavelength_nm": 550, "vanes": 4}"#, "vanes"),
        ] {
            let message = read(text).unwrap_err().to_string();
            assert!(message.contains(field), "{message}");
        }
    }

    #[test]
    fn dark_rings_count_from_one_and_the_centre_is_none() {
        let star = Airy::new(5.0, 0.2, 550.0).unwrap();
        assert!(star.dark_ring_um(0).abs() < f64::MIN_POSITIVE);
        for ring in 1..6 {
            assert!(star.dark_ring_um(ring) > star.dark_ring_um(ring - 1));
            assert!(star.intensity(star.dark_ring_um(ring)) < 1e-20);
        }
    }
}
