//! What the air leaves to a frequency of the focal plane.

use super::mtf::{Mtf, MtfOptions};
use crate::error::Result;
use crate::units::NM_PER_MM;
use crate::wave::seeing::Seeing;
use crate::wave::wavefront::Wavefront;

/// The air before one telescope.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Air {
    seeing: Seeing,
    /// Millimetres of the pupil for a unit of the conjugate coordinate.
    distance_mm: f64,
}

impl Air {
    /// Refused for given coefficients, whose telescope has no size.
    pub(crate) fn new(wavefront: &Wavefront, seeing: Seeing) -> Result<Self> {
        wavefront.image_distance_mm()?;
        Ok(Self { seeing, distance_mm: wavefront.mean_distance_mm() })
    }

    /// Contrast that the air leaves: its transfer for two points of the pupil that lie lambda nu apart.
    pub(crate) fn leaves(&self, frequency_per_mm: f64, wavelength_nm: f64) -> f64 {
        let baseline_mm = frequency_per_mm * wavelength_nm / NM_PER_MM * self.distance_mm;
        self.seeing.transfer_at(baseline_mm, wavelength_nm)
    }
}

impl Mtf {
    /// The same contrasts through the air: at every wavelength the telescope's transfer function times the air's, summed with the
    /// shares of the spectrum.
    ///
    /// The perfect apertures stand in the same air, so that `equivalent_aperture_mm` is a clear perfect aperture beside this
    /// telescope on the same night. Contrasts that are through air already begin again from the telescope's own.
    ///
    /// Units: those of [`Mtf`].
    /// Errors: [`Error::Input`](crate::Error::Input) for given coefficients, whose telescope has no size against the air's; those
    /// of [`Wavefront::otf`].
    /// Source: Fried 1966 (J. Opt. Soc. Am. 56, 1372): the transfer function of the long exposure, or of a short one by
    /// its tilt, is the product of both.
    /// Leaves out: what [`Seeing`] and [`Mtf`] leave out; the air's baseline is taken at the mean distance of the mirror from the
    /// image, by 1/(16 F^2) of itself beyond the focal length, for all zones alike.
    ///
    /// ```
    /// use catoptric::{Field, Focus, FocalLengthMm, MtfOptions, Prepared, Primary, Seeing, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let wavefront = Prepared::new(&train).wavefront(Field::AXIS, Focus::LeastRms, 550.0)?;
    /// let still = wavefront.mtf(&MtfOptions::default())?;
    /// let night = Seeing::from_fwhm(1.0, 550.0, 0.0)?;
    /// let seen = still.in_seeing(&night)?;
    /// let air = night.transfer(still.frequency_per_arcsec().expect("a telescope")[8], 550.0);
    /// assert!((seen.contrast_mean[8] - still.contrast_mean[8] * air).abs() < 1e-3);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn in_seeing(&self, seeing: &Seeing) -> Result<Self> {
        if let ([(nm, _)], None) = (self.spectrum.lines(), &self.seeing) {
            // One colour: its own contrasts need not be summed again.
            let air = Air::new(&self.wavefront, *seeing)?;
            let times = |contrasts: &[f64]| {
                contrasts.iter().zip(&self.frequency_per_mm).map(|(c, f)| c * air.leaves(*f, *nm)).collect()
            };
            return Ok(Self {
                contrast_along: times(&self.contrast_along),
                contrast_across: times(&self.contrast_across),
                contrast_mean: times(&self.contrast_mean),
                perfect_clear: times(&self.perfect_clear),
                perfect_obstructed: times(&self.perfect_obstructed),
                seeing: Some(*seeing),
                ..self.clone()
            });
        }
        let options = MtfOptions {
            frequency_per_mm: Some(self.frequency_per_mm.clone()),
            spectrum: Some(self.spectrum.clone()),
        };
        self.wavefront.mtf_through(&options, Some(seeing))
    }
}
