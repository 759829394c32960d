//! The Strehl in light of several colours.

use serde::{Deserialize, Serialize};

use super::focus::Focus;
use super::spectrum::Spectrum;
use super::wavefront::Wavefront;
use crate::error::Result;
use crate::numeric::{pool, sums};
use crate::trace::Prepared;
use crate::units::Field;

/// The Strehl over a spectrum: the intensity at one reference point for all colours, over that of the perfect star in
/// the same light.
///
/// Units: nm, mm.
/// Source: the exact pupil integral at every wavelength, each weighted with share/wavelength^2, as [`Spectrum`] says.
/// Leaves out: polarisation and the scalar amplitude factor of a fast mirror (about 1e-3 of the peak at f/5); how well
/// the lines stand for the spectrum, which [`Spectrum::photopic`] says.
///
/// ```
/// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, Spectrum, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).conic(-0.5)).build()?;
/// let found = Prepared::new(&train).spectral_strehl(Field::AXIS, Focus::Peak, &Spectrum::photopic())?;
/// let (blue, red) = (found.strehl_by_wavelength[1], found.strehl_by_wavelength[6]);
/// assert!(blue < found.strehl && found.strehl < red, "an error of the glass is more waves of blue light");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SpectralStrehl {
    /// The light.
    pub spectrum: Spectrum,
    /// The Strehl over the spectrum.
    pub strehl: f64,
    /// The Strehl at each wavelength of the spectrum, seen from the same reference point.
    pub strehl_by_wavelength: Vec<f64>,
    /// How far the reference point lies behind the paraxial focus, mm; positive: further from the primary.
    pub focus_shift_mm: f64,
    /// Estimated error of the Strehl: the errors of all wavelengths, weighted as they are.
    pub error_estimate: f64,
}

impl Prepared {
    /// The Strehl over a spectrum. The reference point is one for all wavelengths; that of [`Focus::Peak`] is found at
    /// the mean wavelength of the spectrum.
    ///
    /// Errors: as [`Prepared::wavefront`].
    ///
    /// ```
    /// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, Spectrum, Train};
    /// let perfect = Prepared::new(&Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?);
    /// let found = perfect.spectral_strehl(Field::AXIS, Focus::Paraxial, &Spectrum::photopic())?;
    /// assert!((found.strehl - 1.0).abs() < 1e-9 && found.error_estimate < 1e-6);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn spectral_strehl(&self, field: Field, focus: Focus, spectrum: &Spectrum) -> Result<SpectralStrehl> {
        self.wavefront(field, focus, spectrum.mean_nm())?.spectral_strehl(spectrum)
    }
}

impl Wavefront {
    /// The Strehl over a spectrum, seen from this wavefront's own reference point. The path is the same in nm at all
    /// wavelengths, as mirrors make it.
    ///
    /// Errors: [`Error::NotConverged`](crate::Error::NotConverged) where a wavelength does not come to 1e-6.
    ///
    /// ```
    /// use catoptric::{Indexing, Spectrum, Wavefront};
    /// let wave = Wavefront::from_zernikes(&[(11, 20.0)].into(), Indexing::Noll, 0.0, None, 550.0)?;
    /// let alone = wave.spectral_strehl(&Spectrum::line(550.0)?)?;
    /// assert!((alone.strehl - wave.strehl).abs() < 1e-15);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn spectral_strehl(&self, spectrum: &Spectrum) -> Result<SpectralStrehl> {
        let waves = self.in_colours(spectrum)?;
        let shares = spectrum.peak_shares();
        let strehls: Vec<f64> = waves.iter().map(|wave| wave.strehl).collect();
        let errors: Vec<f64> = waves.iter().map(|wave| wave.error_estimate).collect();
        Ok(SpectralStrehl {
            spectrum: spectrum.clone(),
            strehl: sums::dot(&shares, &strehls),
            strehl_by_wavelength: strehls,
            focus_shift_mm: self.focus_shift_mm(),
            error_estimate: sums::dot(&shares, &errors),
        })
    }

    /// The same path at each wavelength of a spectrum, seen from the same point.
    pub(crate) fn in_colours(&self, spectrum: &Spectrum) -> Result<Vec<Wavefront>> {
        let lines = spectrum.lines();
        let seen = |i: usize| Wavefront::seen_from(self.source.clone(), self.reference_mm, lines[i].0);
        pool::map_ordered(lines.len(), true, seen).into_iter().collect()
    }
}
