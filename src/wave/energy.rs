//! Encircled energy: the share of a star's light within a radius.

use super::spectrum::Spectrum;
use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::pool;

/// Radii beyond this need a pupil list too long to be of use, in wavelengths times focal ratio.
const WIDEST: f64 = 200.0;

impl Wavefront {
    /// Share of the star's light within each radius about the reference point.
    ///
    /// Units: um. Shapes: one share for each radius.
    /// Errors: [`Error::Input`] for radii that are negative, not finite, or beyond 200 wavelengths times the focal
    /// ratio; those of [`Wavefront::psf`].
    /// Method: the intensity integrated over the disc line by line; the whole by Parseval's theorem over the pupil,
    /// never by the sum of a picture, which misses the light outside of it.
    ///
    /// ```
    /// use catoptric::{Indexing, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let share = perfect.encircled_energy(&[1.219_669_89 * 0.55 * 5.0])?[0];
    /// assert!((share - 0.837_784_87).abs() < 1e-6); // within Airy's first dark ring (Born & Wolf, chapter 8)
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn encircled_energy(&self, radius_um: &[f64]) -> Result<Vec<f64>> {
        self.encircled_energy_of(radius_um, &Spectrum::line(self.wavelength_nm)?)
    }

    /// The same for light of several wavelengths: the energies add by their shares.
    ///
    /// Units, shapes, errors and method: as [`Wavefront::encircled_energy`].
    ///
    /// ```
    /// use catoptric::{Indexing, Spectrum, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let light = Spectrum::of_lines(&[500.0, 600.0], &[1.0, 3.0])?;
    /// let share = perfect.encircled_energy_of(&[3.0], &light)?[0];
    /// let airy = |nm: f64| catoptric::Airy::new(5.0, 0.0, nm).map(|star| star.encircled_energy(3.0));
    /// assert!((share - 0.25 * airy(500.0)? - 0.75 * airy(600.0)?).abs() < 1e-6);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn encircled_energy_of(&self, radius_um: &[f64], spectrum: &Spectrum) -> Result<Vec<f64>> {
        let unit_um = spectrum.mean_nm() / 1000.0 * self.image_focal_ratio()?;
        for (i, &radius) in radius_um.iter().enumerate() {
            if !(0.0..=WIDEST * unit_um).contains(&radius) {
                let field = format!("radius_um[{i}]");
                let allowed = format!("from 0 to {:.0} um", WIDEST * unit_um);
                return Err(Error::input(field, radius, allowed, "nanometres?"));
            }
        }
        let largest = radius_um.iter().copied().fold(unit_um, f64::max);
        let (light, _) = self.star_light(spectrum, largest, largest)?;
        // The finest detail is that of the shortest wavelength.
        let finest_um = unit_um * spectrum.lines()[0].0 / spectrum.mean_nm();
        Ok(pool::map_ordered(radius_um.len(), true, |i| {
            light.within_disc_um2(radius_um[i], finest_um) / light.whole_um2
        }))
    }
}
