//! The air above the telescope, and what it leaves of a star.

use numpy::{IntoPyArray, PyArray1, PyArray2};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, list, maybe_number, number, number_or, wavelength};
use super::arrays::{Column, column};
use super::compute::compute;
use super::errors::{exception, refused};
use super::rays::draw;
use super::record::{arrays, getters, record};
use super::spectrum::PySpectrum;
use super::waves::{PyPsf, PyWavefront};
use crate::{Seeing, SeenSize, SeenStar};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PySeeing>()?;
    module.add_class::<PySeenStar>()
}

/// The seeing of a night: how far turbulence of the air spreads the light of a star.
///
/// Give the full width at half maximum of the long exposure, or Fried's length r0: both at the zenith and at
/// the stated wavelength. A star at the zenith angle z and at another wavelength has
/// r0 (wavelength/stated)^(6/5) cos(z)^(3/5).
///
/// Units: arcsec, mm, nm, degrees.
/// Errors: InputError for a width outside 0.001 to 30 arcsec, an r0 outside 2 mm to 1000 m, a zenith angle
/// outside 0 to 80 degrees.
/// Source: Fried 1966 (J. Opt. Soc. Am. 56, 1372): exp(-3.441939 (lambda nu/r0)^(5/3)), nu in cycles per radian;
/// its disc is 0.975863 lambda/r0 wide.
/// Leaves out: the outer scale of the turbulence: by Tokovinin 2002 (PASP 114, 1156, from memory) the disc of
/// an r0 of 110 mm is 19 % narrower with an outer scale of 20 m (a width measured on stars has that already);
/// the heat of tube and mirror; wind, shaking and guiding.
///
/// >>> night = ct.Seeing(fwhm_arcsec=1.0)
/// >>> assert abs(night.r0_mm - 110.71) < 0.01
/// >>> assert abs(ct.Seeing(r0_mm=110.71).fwhm_arcsec - 1) < 1e-4
/// >>> assert ct.Seeing(fwhm_arcsec=1.0, zenith_angle_deg=60).fwhm_arcsec > 1.5
#[pyclass(name = "Seeing", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySeeing(pub(super) Seeing);

#[pymethods]
impl PySeeing {
    #[new]
    #[pyo3(signature = (*, fwhm_arcsec=None, r0_mm=None, wavelength_nm=None, zenith_angle_deg=None),
        text_signature = "(*, fwhm_arcsec=None, r0_mm=None, wavelength_nm=550.0, zenith_angle_deg=0.0)")]
    fn new(
        py: Python<'_>,
        fwhm_arcsec: Option<&Bound<'_, PyAny>>,
        r0_mm: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        zenith_angle_deg: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let (stated_nm, angle) =
            (wavelength(wavelength_nm)?, number_or(zenith_angle_deg, "zenith_angle_deg", 0.0)?);
        let made = match (maybe_number(fwhm_arcsec, "fwhm_arcsec")?, maybe_number(r0_mm, "r0_mm")?) {
            (Some(fwhm), None) => Seeing::from_fwhm(fwhm, stated_nm, angle),
            (None, Some(r0)) => Seeing::from_r0(r0, stated_nm, angle),
            (fwhm, _) => {
                let found = if fwhm.is_some() { "beside r0_mm" } else { "nothing, nor r0_mm" };
                return Err(refused(py, "fwhm_arcsec", found, "one of fwhm_arcsec and r0_mm", ""));
            }
        };
        made.map(Self).map_err(|e| exception(py, e))
    }

    /// Return the same air in exposures so short that the image does not wander, for one telescope.
    ///
    /// The transfer is exp(-3.441939 (lambda nu/r0)^(5/3) (1 - alpha (lambda nu/D)^(1/3))): the mean of many short
    /// pictures laid upon each other by their tilt. `alpha` is 1 for near turbulence, 0.5 for far.
    ///
    /// Units: mm. Errors: InputError.
    /// Source: Fried 1966 (J. Opt. Soc. Am. 56, 1372).
    /// Leaves out: that tilt and the rest of the wave are not quite independent: too high a contrast near the
    /// limit of the telescope; beyond it the form stays 1.
    ///
    /// >>> night = ct.Seeing(fwhm_arcsec=2)
    /// >>> assert night.short_exposure(diameter_mm=200).transfer([0.5])[0] > night.transfer([0.5])[0]
    #[pyo3(signature = (*, diameter_mm, alpha=None), text_signature = "($self, *, diameter_mm, alpha=1.0)")]
    fn short_exposure(
        &self,
        py: Python<'_>,
        diameter_mm: &Bound<'_, PyAny>,
        alpha: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let (diameter_mm, alpha) = (number(diameter_mm, "diameter_mm")?, number_or(alpha, "alpha", 1.0)?);
        self.0.short_exposure(diameter_mm, alpha).map(Self).map_err(|e| exception(py, e))
    }

    /// Return the contrast that the air leaves to lines, at each number of cycles for one arcsecond.
    ///
    /// Units: cycles for each arcsecond, nm; 1 is full contrast. Shapes: one entry a frequency.
    /// Errors: InputError.
    ///
    /// >>> night = ct.Seeing(fwhm_arcsec=1.0)
    /// >>> assert night.transfer([0.0, 0.5]).round(3).tolist() == [1.0, 0.323]
    #[pyo3(signature = (cycles_per_arcsec, /, *, wavelength_nm=None),
        text_signature = "($self, cycles_per_arcsec, /, *, wavelength_nm=550.0)")]
    fn transfer<'py>(
        &self,
        py: Python<'py>,
        cycles_per_arcsec: &Bound<'py, PyAny>,
        wavelength_nm: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Column<'py>> {
        let (cycles, nm) = (list(cycles_per_arcsec, "cycles_per_arcsec")?, seen_at(py, wavelength_nm)?);
        Ok(column(py, cycles.iter().map(|c| self.0.transfer(*c, nm))))
    }

    /// Return a telescope's contrasts through this air: each times what the air leaves at its frequency.
    ///
    /// Units: cycles for each arcsecond, nm. Shapes: one contrast a frequency; so many come back.
    /// Errors: InputError for lists of unequal length.
    ///
    /// >>> night = ct.Seeing(fwhm_arcsec=1.0)
    /// >>> both = night.combined_contrast([0.0, 0.5], [1.0, 0.8])
    /// >>> assert both[0] == 1 and abs(both[1] - 0.8 * night.transfer([0.5])[0]) < 1e-15
    #[pyo3(signature = (cycles_per_arcsec, contrast, /, *, wavelength_nm=None),
        text_signature = "($self, cycles_per_arcsec, contrast, /, *, wavelength_nm=550.0)")]
    fn combined_contrast<'py>(
        &self,
        py: Python<'py>,
        cycles_per_arcsec: &Bound<'py, PyAny>,
        contrast: &Bound<'py, PyAny>,
        wavelength_nm: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Column<'py>> {
        let (cycles, contrast) = (list(cycles_per_arcsec, "cycles_per_arcsec")?, list(contrast, "contrast")?);
        let both = self.0.combined_contrast(&cycles, &contrast, wavelength(wavelength_nm)?);
        both.map(|values| column(py, values)).map_err(|e| exception(py, e))
    }

    /// Return the full width at half maximum of the long exposure at another wavelength, arcsec.
    ///
    /// Errors: InputError.
    ///
    /// >>> assert ct.Seeing(fwhm_arcsec=1.0).fwhm_arcsec_at(800) < 1  # as wavelength^(-1/5)
    #[pyo3(signature = (wavelength_nm, /))]
    fn fwhm_arcsec_at(&self, py: Python<'_>, wavelength_nm: &Bound<'_, PyAny>) -> PyResult<f64> {
        Ok(self.0.fwhm_arcsec(seen_at(py, Some(wavelength_nm))?))
    }

    /// Draw the contrast that the air leaves against the number of cycles for one arcsecond; return the axes.
    ///
    /// >>> axes = ct.Seeing(fwhm_arcsec=1.0).plot()
    /// >>> assert "arcsec" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("air_contrast", slf.as_any(), ax, None)
    }
}

/// A wavelength that can be, or the default one.
fn seen_at(py: Python<'_>, value: Option<&Bound<'_, PyAny>>) -> PyResult<f64> {
    let nm = wavelength(value)?;
    crate::Spectrum::line(nm).map(|_| nm).map_err(|e| exception(py, e))
}

getters!(PySeeing, |air| {
    /// The wavelength at which it is stated, nm.
    wavelength_nm: f64 = air.stated_at_nm();
    /// Angle of the star from the zenith, degrees.
    zenith_angle_deg: f64 = air.zenith_angle_deg();
    /// Fried's length toward the star at the stated wavelength, mm.
    r0_mm: f64 = air.r0_mm(air.stated_at_nm());
    /// Full width at half maximum of the long exposure toward the star at the stated wavelength, arcsec.
    fwhm_arcsec: f64 = air.fwhm_arcsec(air.stated_at_nm());
    /// The telescope's diameter in a short exposure, mm; None for a long one.
    diameter_mm: Option<f64> = air.short().map(|short| short.0);
    /// Fried's alpha in a short exposure; None for a long one.
    alpha: Option<f64> = air.short().map(|short| short.1);
});
record!(PySeeing, "Seeing",
    attributes: ["fwhm_arcsec", "r0_mm", "wavelength_nm", "zenith_angle_deg", "diameter_mm", "alpha"],
    shown: ["fwhm_arcsec", "r0_mm", "wavelength_nm", "zenith_angle_deg", "diameter_mm", "alpha"]);

/// The image of a star through telescope and air: intensity over that of the perfect star's peak without any
/// seeing, so that the peak tells what mirror and air together have left of it.
///
/// Units: um in the focal plane, about the reference point; `along` positive toward the sky end.
/// Shapes: `image[i, j]`, row i at `across_um[i]`, column j at `along_um[j]`.
/// Errors: those of `Psf.in_seeing` and `Wavefront.in_seeing`, which make it.
/// Leaves out: what `Seeing` leaves out; that the zones of a fast paraboloid map the sky to the image at
/// slightly different scales, of which the mean is taken: 0.026/F^2 of the peak (1e-3 at f/5), and a disc
/// wider in um by 1/(16 F^2) than the focal length alone makes it; light beyond the net on which the star is
/// filtered, whose largest effect stands in `error_estimate`; the pixel's own width. A single short exposure is
/// a heap of speckles.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=150, focal_length_mm=1200))
/// >>> seen = train.wavefront().in_seeing(ct.Seeing(fwhm_arcsec=2))
/// >>> assert 2.0 < seen.fwhm_arcsec < 2.3 and 0.1 < seen.peak < 0.3
#[pyclass(name = "SeenStar", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySeenStar(pub(super) SeenStar);

arrays!(PySeenStar, |seen| {
    /// Intensity; rows across, columns along; 1 is the perfect star's peak without any seeing.
    image: PyArray2 = seen.image;
    /// Positions of the columns, um.
    along_um: PyArray1 = seen.along_um;
    /// Positions of the rows, um.
    across_um: PyArray1 = seen.across_um;
});

#[pymethods]
impl PySeenStar {
    /// Return the share of the star's light within each radius about the reference point.
    ///
    /// Units: um. Shapes: one entry a radius.
    /// Errors: InputError for radii that are negative or beyond the net behind the picture.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=150, focal_length_mm=1200))
    /// >>> seen = train.wavefront().in_seeing(ct.Seeing(fwhm_arcsec=2))
    /// >>> held = seen.encircled_energy([0.0, 6.0, 30.0])
    /// >>> assert held[0] == 0 and held[1] < 0.5 and 0.9 < held[2] < 1
    #[pyo3(signature = (radius_um, /))]
    fn encircled_energy<'py>(
        &self,
        py: Python<'py>,
        radius_um: &Bound<'py, PyAny>,
    ) -> PyResult<Bound<'py, PyArray1<f64>>> {
        let (radii, seen) = (list(radius_um, "radius_um")?, self.0.clone());
        Ok(compute(py, move || seen.encircled_energy(&radii))?.into_pyarray(py))
    }

    /// Draw the star as it is seen; return the axes.
    ///
    /// Units: arcsec on the sky. White is the brightest point of the picture.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=150, focal_length_mm=1200))
    /// >>> axes = train.wavefront().in_seeing(ct.Seeing(fwhm_arcsec=2)).plot()
    /// >>> assert "arcsec" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("seen_star", slf.as_any(), ax, None)
    }
}

getters!(PySeenStar, |seen| {
    /// Distance of neighbouring pixels, um.
    pixel_um: f64 = seen.pixel_um;
    /// Distance of neighbouring pixels on the sky, arcsec.
    pixel_arcsec: f64 = seen.pixel_um * seen.arcsec_per_um;
    /// Wavelength, nm; the mean one of a spectrum.
    wavelength_nm: f64 = seen.wavelength_nm();
    /// Greatest intensity in the plane.
    peak: f64 = seen.peak;
    /// Where it lies along, um.
    peak_along_um: f64 = seen.peak_um[0];
    /// Where it lies across, um.
    peak_across_um: f64 = seen.peak_um[1];
    /// Intensity at the reference point.
    at_reference: f64 = seen.at_reference;
    /// Full width at half of the peak, um: the mean over sixteen directions.
    fwhm_um: f64 = seen.fwhm_um;
    /// The same on the sky, arcsec.
    fwhm_arcsec: f64 = seen.fwhm_arcsec;
    /// Estimated largest error of the intensity, as a share of the perfect star's peak.
    error_estimate: f64 = seen.error_estimate;
    /// Full width of the air's own disc at this wavelength, arcsec.
    seeing_fwhm_arcsec: f64 = seen.seeing.fwhm_arcsec(seen.wavelength_nm());
    /// The air.
    seeing: PySeeing = PySeeing(seen.seeing);
    /// The wavefront behind the picture.
    wavefront: PyWavefront = seen.wavefront.clone().into();
    /// The colours, or None for the wavefront's own wavelength alone.
    spectrum: Option<PySpectrum> = seen.spectrum.clone().map(PySpectrum);
});
record!(PySeenStar, "SeenStar",
    attributes: ["image", "along_um", "across_um", "pixel_um", "pixel_arcsec", "wavelength_nm", "peak", "peak_along_um",
        "peak_across_um", "at_reference", "fwhm_um", "fwhm_arcsec", "seeing_fwhm_arcsec", "error_estimate", "seeing"],
    shown: ["pixel_arcsec", "wavelength_nm", "peak", "fwhm_arcsec", "seeing_fwhm_arcsec"]);

/// A star in seeing, from the arguments of the two methods that make one.
fn in_seeing(
    py: Python<'_>,
    wavefront: crate::Wavefront,
    seeing: &PySeeing,
    half_width_um: Option<&Bound<'_, PyAny>>,
    pixels: Option<&Bound<'_, PyAny>>,
    spectrum: Option<PySpectrum>,
) -> PyResult<PySeenStar> {
    let size = SeenSize {
        half_width_um: maybe_number(half_width_um, "half_width_um")?,
        pixels: count_or(pixels, "pixels", SeenSize::default().pixels)?,
    };
    let air = seeing.0;
    let light = spectrum.map(|s| s.0);
    compute(py, move || wavefront.in_seeing(&air, size, light.as_ref())).map(PySeenStar)
}

#[pymethods]
impl PyWavefront {
    /// Return the star as it is seen through the air, in single light or over a spectrum.
    ///
    /// Units: um; without a half width the picture reaches to three widths of the blurred star.
    /// Shapes: `pixels` on a side, an odd number puts one on the reference point.
    /// Errors: InputError for sizes that cannot be, and for given coefficients, whose telescope has no size.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=150, focal_length_mm=1200))
    /// >>> good, poor = (train.wavefront().in_seeing(ct.Seeing(fwhm_arcsec=f)) for f in (1, 4))
    /// >>> assert poor.peak < good.peak < 1
    #[pyo3(name = "in_seeing", signature = (seeing, /, *, half_width_um=None, pixels=None, spectrum=None),
        text_signature = "($self, seeing, /, *, half_width_um=None, pixels=129, spectrum=None)")]
    fn py_in_seeing(
        &self,
        py: Python<'_>,
        seeing: PySeeing,
        half_width_um: Option<&Bound<'_, PyAny>>,
        pixels: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
    ) -> PyResult<PySeenStar> {
        in_seeing(py, self.0.clone(), &seeing, half_width_um, pixels, spectrum)
    }
}

#[pymethods]
impl PyPsf {
    /// Return the star as it is seen through the air, from the wavefront behind this picture.
    ///
    /// Units: um; without a half width the picture reaches to three widths of the blurred star.
    /// Shapes: `pixels` on a side, an odd number puts one on the reference point.
    /// Errors: InputError for sizes that cannot be, and for given coefficients, whose telescope has no size.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=150, focal_length_mm=1200))
    /// >>> seen = train.psf(half_width_um=10, pixels=21).in_seeing(ct.Seeing(fwhm_arcsec=2))
    /// >>> assert seen == train.wavefront().in_seeing(ct.Seeing(fwhm_arcsec=2))
    #[pyo3(name = "in_seeing", signature = (seeing, /, *, half_width_um=None, pixels=None, spectrum=None),
        text_signature = "($self, seeing, /, *, half_width_um=None, pixels=129, spectrum=None)")]
    fn py_in_seeing(
        &self,
        py: Python<'_>,
        seeing: PySeeing,
        half_width_um: Option<&Bound<'_, PyAny>>,
        pixels: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
    ) -> PyResult<PySeenStar> {
        in_seeing(py, self.0.wavefront.clone(), &seeing, half_width_um, pixels, spectrum)
    }
}
