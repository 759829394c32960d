//! Contrast against spatial frequency: what a transfer function is handed out as.

use serde::{Deserialize, Serialize};

use super::air::Air;
use super::perfect::annulus;
use super::plane::Plane;
use super::transfer::{self, Curve};
use crate::error::{Error, Result};
use crate::numeric::roots;
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM};
use crate::wave::seeing::Seeing;
use crate::wave::spectrum::Spectrum;
use crate::wave::wavefront::Wavefront;

/// Frequencies of a curve where none are given: even steps from 0 to the cut-off.
const STEPS: usize = 32;
/// Azimuths of the mean, over half a turn: a frequency and its opposite have one contrast.
const AZIMUTHS: usize = 8;
/// Longest list of frequencies.
const MOST: usize = 4096;

/// What a transfer function is computed for.
///
/// Units: cycles for each mm in the focal plane. No frequencies given means 33 even ones from 0 to the cut-off; no spectrum
/// means the wavelength of the wavefront.
///
/// ```
/// assert_eq!(catoptric::MtfOptions::default().frequency_per_mm, None);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MtfOptions {
    /// Spatial frequencies, cycles for each mm; those beyond the cut-off have contrast 0.
    pub frequency_per_mm: Option<Vec<f64>>,
    /// The light's wavelengths with their shares of the energy.
    pub spectrum: Option<Spectrum>,
}

/// The optical transfer function for one azimuth, complex.
///
/// OTF(nu) = integral of I(delta) exp(-2 pi i nu.delta) over the image, divided by its value at 0, delta counted from the
/// reference point: light that lies on the positive side gives a negative phase.
///
/// Units: cycles for each mm; degrees of the direction in which the frequency runs, from `along` toward `across`.
/// Shapes: one value for each frequency.
/// Leaves out: what [`Mtf`] leaves out.
///
/// ```
/// use catoptric::{Indexing, MtfOptions, Wavefront};
/// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
/// let options = MtfOptions { frequency_per_mm: Some(vec![0.0, 100.0]), ..MtfOptions::default() };
/// let otf = perfect.otf(30.0, &options)?;
/// assert_eq!(otf.real[0], 1.0);
/// assert!(otf.imaginary[1].abs() < 1e-9, "a pupil without error has no phase");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Otf {
    /// Spatial frequencies, cycles for each mm.
    pub frequency_per_mm: Vec<f64>,
    /// Direction in which the frequency runs, degrees from `along` toward `across`.
    pub azimuth_deg: f64,
    /// Real part.
    pub real: Vec<f64>,
    /// Imaginary part.
    pub imaginary: Vec<f64>,
    /// Estimated error of both parts together.
    pub error_estimate: f64,
}

impl Otf {
    /// The modulus: contrast.
    pub fn contrast(&self) -> Vec<f64> {
        self.real.iter().zip(&self.imaginary).map(|(re, im)| re.hypot(*im)).collect()
    }

    /// The phase, radians: how far bars are moved, half a turn where bright and dark change places.
    pub fn phase_rad(&self) -> Vec<f64> {
        self.real.iter().zip(&self.imaginary).map(|(re, im)| im.atan2(*re)).collect()
    }
}

/// Contrast against spatial frequency: the share of a fine pattern's contrast that reaches the image.
///
/// The contrast is the modulus of the transfer function, the autocorrelation of the pupil in the image's own conjugate
/// coordinate, divided by the pupil's own energy. `along` is the direction toward the sky end, `across` the one at right angles;
/// a frequency runs at right angles to its bars. `detail_arcsec` is everywhere the full period: one bright and one dark bar
/// together.
///
/// Units: cycles for each mm in the focal plane, and for each arcsec on the sky where the focal length is known.
/// Shapes: one value for each frequency.
/// Method: rows parallel to the shift, cut at every edge and joint of both copies of the pupil; good to 1e-5 against the scalar
/// Fraunhofer model, with the estimate in `error_estimate`.
/// Leaves out: polarisation and the scalar amplitude factor (1e-3 at f/5), scattered light, the change of the image's scale
/// off the axis (1e-4 at half a degree). The real cone of a fast mirror is in it: on the axis of a perfect paraboloid
/// the cut-off is 2 sin(theta)/lambda (`cutoff_per_mm`), by 1/(16 F^2) of itself below the textbook's D/(lambda f)
/// (`textbook_cutoff_per_mm`), which the perfect curves use.
///
/// ```
/// use catoptric::{Field, Focus, FocalLengthMm, MtfOptions, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let wavefront = Prepared::new(&train).wavefront(Field::AXIS, Focus::LeastRms, 550.0)?;
/// let mtf = wavefront.mtf(&MtfOptions::default())?;
/// let (there, perfect) = (mtf.contrast_along[16], mtf.perfect_clear[16]);
/// assert!((there - perfect).abs() < 0.003, "a perfect mirror, but for its cone");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mtf {
    /// Spatial frequencies, cycles for each mm.
    pub frequency_per_mm: Vec<f64>,
    /// Contrast for frequencies along.
    pub contrast_along: Vec<f64>,
    /// Contrast for frequencies across.
    pub contrast_across: Vec<f64>,
    /// Contrast, the mean over sixteen azimuths.
    pub contrast_mean: Vec<f64>,
    /// Contrast of the perfect clear aperture of the same focal ratio, in the same air: O'Neill's closed form.
    pub perfect_clear: Vec<f64>,
    /// The same with a round central obstruction as large as the pupil's.
    pub perfect_obstructed: Vec<f64>,
    /// The frequency beyond which nothing is left, cycles for each mm: the width of the pupil as the image sees it, over the
    /// (shortest) wavelength.
    pub cutoff_per_mm: f64,
    /// The textbook's, D/(lambda f).
    pub textbook_cutoff_per_mm: f64,
    /// Estimated error of the contrast.
    pub error_estimate: f64,
    /// The light.
    pub spectrum: Spectrum,
    /// The air; nothing where there is none.
    pub seeing: Option<Seeing>,
    /// The wavefront behind it.
    pub wavefront: Wavefront,
}

/// Contrast at one detail.
///
/// Units: arcsec on the sky for the full period, one bright and one dark bar together.
///
/// ```
/// use catoptric::{Field, Focus, FocalLengthMm, MtfOptions, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let wavefront = Prepared::new(&train).wavefront(Field::AXIS, Focus::LeastRms, 550.0)?;
/// let detail = wavefront.mtf(&MtfOptions::default())?.at_detail(2.0)?;
/// assert!((detail.frequency_per_mm - 206_264.806 / 2.0 / 1200.0).abs() < 1e-3);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DetailContrast {
    /// The full period on the sky, arcsec.
    pub detail_arcsec: f64,
    /// Its frequency in the focal plane, cycles for each mm.
    pub frequency_per_mm: f64,
    /// Contrast for a frequency along.
    pub contrast_along: f64,
    /// Contrast for a frequency across.
    pub contrast_across: f64,
    /// Contrast, the mean over sixteen azimuths.
    pub contrast_mean: f64,
    /// Contrast of the perfect clear aperture.
    pub perfect_clear: f64,
    /// The same with the same central obstruction.
    pub perfect_obstructed: f64,
    /// Diameter, mm, of the perfect clear aperture that leaves the mean contrast to this detail in the same light and the same air;
    /// nothing where no contrast is left.
    pub equivalent_aperture_mm: Option<f64>,
    /// Estimated error of the contrast.
    pub error_estimate: f64,
}

impl Wavefront {
    /// The complex transfer function for frequencies that run in one direction.
    ///
    /// Units: degrees from `along` toward `across`; cycles for each mm.
    /// Errors: [`Error::Input`] for frequencies below 0, azimuths beyond a turn and terms without a focal ratio;
    /// [`Error::NotConverged`] where 1e-5 is not reached (with a height map on the mirror 1e-3; the estimate is in the result).
    ///
    /// ```
    /// use catoptric::{Indexing, MtfOptions, Wavefront};
    /// // Coma across makes the image uneven across, and leaves it even along.
    /// let coma = Wavefront::from_zernikes(&[(7, 60.0)].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let options = MtfOptions { frequency_per_mm: Some(vec![200.0]), ..MtfOptions::default() };
    /// assert!(coma.otf(0.0, &options)?.imaginary[0].abs() < 1e-7);
    /// assert!(coma.otf(90.0, &options)?.imaginary[0].abs() > 1e-3);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn otf(&self, azimuth_deg: f64, options: &MtfOptions) -> Result<Otf> {
        self.otf_through(azimuth_deg, options, None)
    }

    fn otf_through(&self, azimuth_deg: f64, options: &MtfOptions, seeing: Option<&Seeing>) -> Result<Otf> {
        if !(azimuth_deg.is_finite() && azimuth_deg.abs() <= 360.0) {
            return Err(Error::input("azimuth_deg", azimuth_deg, "from -360 to 360 degrees", "radians?"));
        }
        let (spectrum, frequency_per_mm) = self.asked(options)?;
        let air = seeing.map(|seeing| Air::new(self, *seeing)).transpose()?;
        let found = transfer::curves(self, &spectrum, &[azimuth_deg], &frequency_per_mm, air.as_ref())?;
        let part = |i: usize| found.curves[0].iter().map(|v| v[i]).collect();
        Ok(Otf {
            real: part(0),
            imaginary: part(1),
            frequency_per_mm,
            azimuth_deg,
            error_estimate: found.error_estimate,
        })
    }

    /// Contrast against spatial frequency.
    ///
    /// Units: cycles for each mm.
    /// Errors: those of [`Wavefront::otf`].
    ///
    /// ```
    /// use catoptric::{Indexing, MtfOptions, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.2, Some(5.0), 550.0)?;
    /// let cutoff_per_mm = 1.0 / (550e-6 * 5.0);
    /// let options = MtfOptions { frequency_per_mm: Some(vec![0.3 * cutoff_per_mm]), ..MtfOptions::default() };
    /// // O'Neill 1956, evaluated in 30 digits.
    /// assert!((perfect.mtf(&options)?.contrast_along[0] - 0.566_497_57).abs() < 1e-6);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn mtf(&self, options: &MtfOptions) -> Result<Mtf> {
        self.mtf_through(options, None)
    }

    /// The same through the air, if there is any.
    pub(super) fn mtf_through(&self, options: &MtfOptions, seeing: Option<&Seeing>) -> Result<Mtf> {
        let (spectrum, frequency_per_mm) = self.asked(options)?;
        let air = seeing.map(|seeing| Air::new(self, *seeing)).transpose()?;
        let azimuths: Vec<f64> = (0..AZIMUTHS).map(|i| 180.0 * i as f64 / AZIMUTHS as f64).collect();
        let found = transfer::curves(self, &spectrum, &azimuths, &frequency_per_mm, air.as_ref())?;
        let contrast = |curve: &Curve| curve.iter().map(|[re, im]| re.hypot(*im)).collect::<Vec<_>>();
        let all: Vec<Vec<f64>> = found.curves.iter().map(contrast).collect();
        let mean = |k: usize| all.iter().map(|curve| curve[k]).sum::<f64>() / all.len() as f64;
        let focal_ratio = self.image_focal_ratio()?;
        let perfect = |obstruction: f64| {
            let at =
                |f: &f64| perfect(&spectrum, f * focal_ratio, obstruction, |nm| left(air.as_ref(), *f, nm));
            frequency_per_mm.iter().map(at).collect()
        };
        let shortest_mm = shortest_nm(&spectrum) / NM_PER_MM;
        Ok(Mtf {
            contrast_mean: (0..frequency_per_mm.len()).map(mean).collect(),
            contrast_along: all[0].clone(),
            contrast_across: all[AZIMUTHS / 2].clone(),
            perfect_clear: perfect(0.0),
            perfect_obstructed: perfect(self.obstruction_ratio()),
            cutoff_per_mm: self.widest() / shortest_mm,
            textbook_cutoff_per_mm: 1.0 / (shortest_mm * focal_ratio),
            error_estimate: found.error_estimate,
            spectrum,
            seeing: seeing.copied(),
            wavefront: self.clone(),
            frequency_per_mm,
        })
    }

    /// The light and the frequencies of a request, checked.
    fn asked(&self, options: &MtfOptions) -> Result<(Spectrum, Vec<f64>)> {
        self.image_focal_ratio()?;
        let spectrum = match &options.spectrum {
            Some(spectrum) => spectrum.clone(),
            None => Spectrum::line(self.wavelength_nm)?,
        };
        let Some(given) = &options.frequency_per_mm else {
            let cutoff = self.widest() * NM_PER_MM / shortest_nm(&spectrum);
            return Ok((spectrum, (0..=STEPS).map(|k| cutoff * k as f64 / STEPS as f64).collect()));
        };
        if given.is_empty() || given.len() > MOST {
            let found = format!("{} frequencies", given.len());
            return Err(Error::input("frequency_per_mm", found, format!("1 to {MOST} frequencies"), ""));
        }
        for (i, &frequency) in given.iter().enumerate() {
            if !(frequency >= 0.0 && frequency.is_finite()) {
                let field = format!("frequency_per_mm[{i}]");
                return Err(Error::input(field, frequency, "0 or more cycles for each mm", ""));
            }
        }
        Ok((spectrum, given.clone()))
    }

    /// The largest width of the open pupil in the conjugate coordinate.
    fn widest(&self) -> f64 {
        let plane = Plane::new(&self.source, self.reference_mm, self.focal_ratio().unwrap_or(10.0));
        let rim = self.source.rim();
        let across = |i: u32| {
            let (sin, cos) = (std::f64::consts::PI * f64::from(i) / 16.0).sin_cos();
            let (a, b) = (plane.seen([rim * cos, rim * sin]), plane.seen([-rim * cos, -rim * sin]));
            (a[0] - b[0]).hypot(a[1] - b[1])
        };
        (0..16).map(across).fold(0.0, f64::max)
    }
}

fn shortest_nm(spectrum: &Spectrum) -> f64 {
    spectrum.lines().iter().find(|(_, share)| *share > 0.0).map_or(1.0, |(nm, _)| *nm)
}

/// What the air, if there is any, leaves to a frequency.
fn left(air: Option<&Air>, frequency_per_mm: f64, wavelength_nm: f64) -> f64 {
    air.map_or(1.0, |air| air.leaves(frequency_per_mm, wavelength_nm))
}

/// Contrast of a perfect aperture in this light; `per_mm` is the frequency times the focal ratio, for each mm, and `air` what is
/// left at each wavelength.
fn perfect(spectrum: &Spectrum, per_mm: f64, obstruction_ratio: f64, air: impl Fn(f64) -> f64) -> f64 {
    let part =
        |(nm, share): &(f64, f64)| share * air(*nm) * annulus(per_mm * nm / NM_PER_MM, obstruction_ratio);
    spectrum.lines().iter().map(part).sum()
}

impl Mtf {
    /// Spatial frequencies on the sky, cycles for each arcsec; nothing for coefficients alone, whose focal length is not known.
    pub fn frequency_per_arcsec(&self) -> Option<Vec<f64>> {
        let focal_mm = self.wavefront.source.image_distance_mm()?;
        Some(self.frequency_per_mm.iter().map(|f| f * focal_mm / ARCSEC_PER_RADIAN).collect())
    }

    /// The transfer function of another azimuth at the same frequencies and through the same air, degrees from `along` toward
    /// `across`.
    ///
    /// Errors: those of [`Wavefront::otf`].
    pub fn at_azimuth(&self, azimuth_deg: f64) -> Result<Otf> {
        let (frequency_per_mm, spectrum) = (Some(self.frequency_per_mm.clone()), Some(self.spectrum.clone()));
        let options = MtfOptions { frequency_per_mm, spectrum };
        self.wavefront.otf_through(azimuth_deg, &options, self.seeing.as_ref())
    }

    /// Contrast at a detail, computed there and not read off the curve.
    ///
    /// Units: arcsec for the full period, one bright and one dark bar together.
    /// Errors: [`Error::Input`] for a detail of 0 or below and for coefficients without a focal length; those of [`Wavefront::otf`].
    pub fn at_detail(&self, detail_arcsec: f64) -> Result<DetailContrast> {
        if !(detail_arcsec > 0.0 && detail_arcsec.is_finite()) {
            let allowed = "a period above 0, one bright and one dark bar together";
            return Err(Error::input("detail_arcsec", detail_arcsec, allowed, ""));
        }
        let distance_mm = self.wavefront.source.image_distance_mm().ok_or_else(|| {
            let allowed = "the wavefront of a train: coefficients alone have no focal length";
            Error::input("detail_arcsec", "an angle on the sky", allowed, "")
        })?;
        let frequency_per_mm = ARCSEC_PER_RADIAN / detail_arcsec / distance_mm;
        let spectrum = Some(self.spectrum.clone());
        let options = MtfOptions { frequency_per_mm: Some(vec![frequency_per_mm]), spectrum };
        let seeing = self.seeing.as_ref();
        let air = seeing.map(|seeing| Air::new(&self.wavefront, *seeing)).transpose()?;
        let there = self.wavefront.mtf_through(&options, seeing)?;
        let left = |nm: f64| left(air.as_ref(), frequency_per_mm, nm);
        Ok(DetailContrast {
            detail_arcsec,
            frequency_per_mm,
            contrast_along: there.contrast_along[0],
            contrast_across: there.contrast_across[0],
            contrast_mean: there.contrast_mean[0],
            perfect_clear: there.perfect_clear[0],
            perfect_obstructed: there.perfect_obstructed[0],
            equivalent_aperture_mm: equivalent_mm(
                &self.spectrum,
                detail_arcsec,
                there.contrast_mean[0],
                left,
            ),
            error_estimate: there.error_estimate,
        })
    }

    /// Diameter of the perfect clear aperture that leaves the same mean contrast to a detail, in the same light and air: mm.
    ///
    /// Units: arcsec for the full period, one bright and one dark bar together.
    /// Errors: those of [`Mtf::at_detail`]; [`Error::Input`] where no contrast is left.
    /// Leaves out: the cone of a fast mirror: a perfect clear paraboloid comes out up to 2/(16 F^2) of its diameter smaller
    /// (5e-3 at f/5).
    pub fn equivalent_aperture_mm(&self, detail_arcsec: f64) -> Result<f64> {
        self.at_detail(detail_arcsec)?.equivalent_aperture_mm.ok_or_else(|| {
            let allowed = format!(
                "a detail of which contrast is left, below {:.1} cycles for each mm",
                self.cutoff_per_mm
            );
            Error::input("detail_arcsec", detail_arcsec, allowed, "finer than this telescope shows?")
        })
    }
}

/// The perfect clear aperture, mm, that leaves a contrast to a period on the sky; none for no contrast.
fn equivalent_mm(
    spectrum: &Spectrum,
    detail_arcsec: f64,
    contrast: f64,
    air: impl Fn(f64) -> f64,
) -> Option<f64> {
    // An aperture D has its cut-off at D/lambda cycles a radian: frequency over cut-off is lambda/(D detail).
    let per_radian = ARCSEC_PER_RADIAN / detail_arcsec;
    let excess = |diameter_mm: f64| perfect(spectrum, per_radian / diameter_mm, 0.0, &air) - contrast;
    let least_mm = shortest_nm(spectrum) / NM_PER_MM * per_radian;
    if contrast <= 0.0 {
        return None;
    }
    let mut most_mm = 2.0 * least_mm;
    for _ in 0..60 {
        if excess(most_mm) >= 0.0 {
            return roots::bracketed(excess, least_mm, most_mm, 1e-12 * most_mm);
        }
        most_mm *= 2.0;
    }
    None
}
