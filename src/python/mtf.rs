//! Contrast against spatial frequency.

use numpy::IntoPyArray;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{focus as focus_of, list, number, number_or, one_or_list, star};
use super::arrays::{Column, column};
use super::compute::compute;
use super::errors::exception;
use super::rays::draw;
use super::record::{getters, record};
use super::seeing::PySeeing;
use super::spectrum::PySpectrum;
use super::train::PyTrain;
use super::waves::{PyWavefront, light};
use crate::{DetailContrast, Focus, Mtf, MtfOptions, Otf};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyMtf>()?;
    module.add_class::<PyOtf>()?;
    module.add_class::<PyDetailContrast>()?;
    module.add_function(wrap_pyfunction!(perfect_mtf, module)?)
}

/// What a transfer function is asked for, from its arguments.
pub(super) fn mtf_options(
    frequency_per_mm: Option<&Bound<'_, PyAny>>,
    spectrum: Option<PySpectrum>,
) -> PyResult<MtfOptions> {
    let frequency_per_mm = frequency_per_mm.map(|f| list(f, "frequency_per_mm")).transpose()?;
    Ok(MtfOptions { frequency_per_mm, spectrum: spectrum.map(|s| s.0) })
}

/// Return the contrast of a perfect circular aperture with a round central obstruction, in closed form.
///
/// Units: the frequency as a share of the cut-off D/(lambda f), the obstruction by diameter.
/// Shapes: one value for each frequency.
/// Errors: InputError for frequencies below 0 and obstructions that cannot be.
/// Source: O'Neill 1956, J. Opt. Soc. Am. 46, 285: overlap areas of circles.
/// Leaves out: the cone of a fast mirror, whose cut-off lies by 1/(16 F^2) of itself lower.
///
/// >>> half = ct.perfect_mtf([0.0, 0.5, 1.0])
/// >>> assert half[0] == 1 and half[2] == 0 and abs(half[1] - (2 / 3 - np.sqrt(3) / (2 * np.pi))) < 1e-15
#[pyfunction]
#[pyo3(signature = (frequency_ratio, /, *, obstruction_ratio=None),
    text_signature = "(frequency_ratio, /, *, obstruction_ratio=0.0)")]
fn perfect_mtf<'py>(
    py: Python<'py>,
    frequency_ratio: &Bound<'py, PyAny>,
    obstruction_ratio: Option<&Bound<'py, PyAny>>,
) -> PyResult<Column<'py>> {
    let obstruction = number_or(obstruction_ratio, "obstruction_ratio", 0.0)?;
    let found: crate::Result<Vec<f64>> = one_or_list(frequency_ratio, "frequency_ratio")?
        .into_iter()
        .map(|frequency| crate::perfect_mtf(frequency, obstruction))
        .collect();
    Ok(found.map_err(|e| exception(py, e))?.into_pyarray(py))
}

/// Contrast against spatial frequency: the share of a fine pattern's contrast that reaches the image.
///
/// `along` is the direction toward the sky end, `across` the one at right angles; a frequency runs at right angles to
/// its bars. A detail in arcsec is everywhere the full period: one bright and one dark bar together.
///
/// Units: cycles for each mm in the focal plane, cycles for each arcsec on the sky.
/// Shapes: one value for each frequency.
/// Leaves out: polarisation and the scalar amplitude factor (1e-3 at f/5), scattered light. The cone of a fast mirror
/// is in it: the cut-off of a perfect paraboloid, 2 sin(theta)/lambda, lies by 1/(16 F^2) of itself below the
/// textbook's D/(lambda f), which the perfect curves use.
/// Errors: those of `Train.mtf` and `Wavefront.mtf`, which make it.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
/// >>> mtf = train.mtf()
/// >>> assert mtf.contrast_along[0] == 1 and np.all(abs(mtf.contrast_mean - mtf.perfect_clear) < 0.004)
#[pyclass(name = "Mtf", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMtf(pub(super) Mtf);

#[pymethods]
impl PyMtf {
    /// Spatial frequencies, cycles for each mm in the focal plane.
    #[getter]
    fn frequency_per_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.frequency_per_mm.iter().copied())
    }

    /// The same on the sky, cycles for each arcsec, or None for coefficients alone.
    #[getter]
    fn frequency_per_arcsec<'py>(&self, py: Python<'py>) -> Option<Column<'py>> {
        self.0.frequency_per_arcsec().map(|f| column(py, f))
    }

    /// Contrast for frequencies along.
    #[getter]
    fn contrast_along<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.contrast_along.iter().copied())
    }

    /// Contrast for frequencies across.
    #[getter]
    fn contrast_across<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.contrast_across.iter().copied())
    }

    /// Contrast, the mean over sixteen azimuths.
    #[getter]
    fn contrast_mean<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.contrast_mean.iter().copied())
    }

    /// Contrast of the perfect clear aperture of the same focal ratio.
    #[getter]
    fn perfect_clear<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.perfect_clear.iter().copied())
    }

    /// The same with a round central obstruction as large as the pupil's.
    #[getter]
    fn perfect_obstructed<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.perfect_obstructed.iter().copied())
    }

    /// Wavelengths of the light, nm.
    #[getter]
    fn wavelength_nm<'py>(&self, py: Python<'py>) -> Column<'py> {
        let lines: Vec<f64> = self.0.spectrum.lines().iter().map(|line| line.0).collect();
        column(py, lines.iter().copied())
    }

    /// Their shares of the energy.
    #[getter]
    fn weight<'py>(&self, py: Python<'py>) -> Column<'py> {
        let shares: Vec<f64> = self.0.spectrum.lines().iter().map(|line| line.1).collect();
        column(py, shares.iter().copied())
    }

    /// Return the complex transfer function of another azimuth at the same frequencies.
    ///
    /// Units: degrees of the direction in which the frequency runs, from along toward across.
    /// Errors: InputError for azimuths beyond a turn; NotConverged.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> mtf = train.mtf(frequency_per_mm=[0, 100])
    /// >>> assert abs(mtf.at_azimuth(45).real[1] - mtf.contrast_along[1]) < 1e-5
    #[pyo3(signature = (azimuth_deg, /))]
    fn at_azimuth(&self, py: Python<'_>, azimuth_deg: &Bound<'_, PyAny>) -> PyResult<PyOtf> {
        let (mtf, azimuth_deg) = (self.0.clone(), number(azimuth_deg, "azimuth_deg")?);
        compute(py, move || mtf.at_azimuth(azimuth_deg)).map(PyOtf)
    }

    /// Return the contrast at a detail, computed there and not read off the curve.
    ///
    /// Units: arcsec for the full period, one bright and one dark bar together.
    /// Errors: InputError for a detail of 0 or below, and for coefficients without a focal length; NotConverged.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> there = train.mtf(frequency_per_mm=[0]).at_detail(1.0)
    /// >>> assert abs(there.equivalent_aperture_mm - 318) < 1.7  # a perfect mirror, but for its cone
    #[pyo3(signature = (detail_arcsec, /))]
    fn at_detail(&self, py: Python<'_>, detail_arcsec: &Bound<'_, PyAny>) -> PyResult<PyDetailContrast> {
        let (mtf, detail_arcsec) = (self.0.clone(), number(detail_arcsec, "detail_arcsec")?);
        compute(py, move || mtf.at_detail(detail_arcsec)).map(PyDetailContrast)
    }

    /// Return the diameter, mm, of the perfect clear aperture that leaves a detail the same mean contrast in the same air.
    ///
    /// Units: arcsec for the full period, one bright and one dark bar together.
    /// Errors: those of `at_detail`; InputError where no contrast is left.
    /// Leaves out: the cone of a fast mirror: a perfect clear f/5 comes out up to 5e-3 of its diameter smaller.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> turned = train.with_primary(figure=[ct.TurnedEdge(width_mm=20, drop_nm=330)])
    /// >>> assert turned.mtf(focus="peak").equivalent_aperture_mm(0.8) < 300
    #[pyo3(signature = (detail_arcsec, /))]
    fn equivalent_aperture_mm(&self, py: Python<'_>, detail_arcsec: &Bound<'_, PyAny>) -> PyResult<f64> {
        let (mtf, detail_arcsec) = (self.0.clone(), number(detail_arcsec, "detail_arcsec")?);
        compute(py, move || mtf.equivalent_aperture_mm(detail_arcsec))
    }

    /// Return the same contrasts through the air: at every wavelength the telescope's transfer function times the air's.
    ///
    /// The perfect apertures stand in the same air, and so does that of `equivalent_aperture_mm`. Contrasts that are
    /// through air already begin again from the telescope's own.
    ///
    /// Units: those of `Mtf`.
    /// Errors: InputError for coefficients alone, whose telescope has no size against the air's; NotConverged.
    /// Source: Fried 1966 (J. Opt. Soc. Am. 56, 1372).
    /// Leaves out: what `Seeing` and `Mtf` leave out; the air's baseline is taken at the mean distance of the mirror
    /// from the image, by 1/(16 F^2) of itself beyond the focal length, for all zones alike.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> still, night = train.mtf(frequency_per_mm=[0, 100]), ct.Seeing(fwhm_arcsec=1.0)
    /// >>> seen = still.in_seeing(night)
    /// >>> air = night.transfer(still.frequency_per_arcsec)
    /// >>> assert np.all(abs(seen.contrast_mean - still.contrast_mean * air) < 1e-3) and seen.seeing == night
    #[pyo3(signature = (seeing, /))]
    fn in_seeing(&self, py: Python<'_>, seeing: PySeeing) -> PyResult<Self> {
        let mtf = self.0.clone();
        compute(py, move || mtf.in_seeing(&seeing.0)).map(PyMtf)
    }

    /// Draw the contrast beside that of the perfect apertures; return the axes.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> axes = train.mtf().plot()
    /// >>> assert "arcsec" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("contrast", slf.as_any(), ax, None)
    }
}

getters!(PyMtf, |mtf| {
    /// The frequency beyond which nothing is left, cycles for each mm.
    cutoff_per_mm: f64 = mtf.cutoff_per_mm;
    /// The textbook's, D/(lambda f).
    textbook_cutoff_per_mm: f64 = mtf.textbook_cutoff_per_mm;
    /// Estimated error of the contrast.
    error_estimate: f64 = mtf.error_estimate;
    /// Diameter of the central shadow over the diameter that gathers light.
    obstruction_ratio: f64 = mtf.wavefront.obstruction_ratio();
    /// The air, or None where there is none.
    seeing: Option<PySeeing> = mtf.seeing.map(PySeeing);
    /// The wavefront behind it.
    wavefront: PyWavefront = mtf.wavefront.clone().into();
});
record!(PyMtf, "Mtf",
    attributes: ["frequency_per_mm", "frequency_per_arcsec", "contrast_along", "contrast_across", "contrast_mean",
        "perfect_clear", "perfect_obstructed", "cutoff_per_mm", "textbook_cutoff_per_mm", "error_estimate",
        "obstruction_ratio", "wavelength_nm", "weight", "seeing", "wavefront"],
    shown: ["cutoff_per_mm", "obstruction_ratio", "error_estimate"]);

/// The complex transfer function for one azimuth.
///
/// The integral of I(delta) exp(-2 pi i nu.delta) over the image, divided by its value at 0, delta counted from the
/// reference point: light that lies on the positive side gives a negative phase.
///
/// Units: cycles for each mm; degrees from along toward across; radians of phase.
/// Shapes: one value for each frequency.
/// Leaves out: what `Mtf` leaves out.
/// Errors: those of `Wavefront.otf`, which makes it.
///
/// >>> coma = ct.Wavefront.from_zernikes({8: 60.0}, indexing="noll", focal_ratio=5)
/// >>> otf = coma.otf(frequency_per_mm=[0, 200])
/// >>> assert otf.real[0] == 1 and abs(otf.phase_rad[1]) > 0.01
#[pyclass(name = "Otf", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyOtf(pub(super) Otf);

#[pymethods]
impl PyOtf {
    /// Spatial frequencies, cycles for each mm.
    #[getter]
    fn frequency_per_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.frequency_per_mm.iter().copied())
    }

    /// Real part.
    #[getter]
    fn real<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.real.iter().copied())
    }

    /// Imaginary part.
    #[getter]
    fn imaginary<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.imaginary.iter().copied())
    }

    /// The modulus: contrast.
    #[getter]
    fn contrast<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.contrast())
    }

    /// The phase, radians: half a turn where bright and dark change places.
    #[getter]
    fn phase_rad<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.phase_rad())
    }
}

getters!(PyOtf, |otf| {
    /// Direction in which the frequency runs, degrees from along toward across.
    azimuth_deg: f64 = otf.azimuth_deg;
    /// Estimated error of both parts together.
    error_estimate: f64 = otf.error_estimate;
});
record!(PyOtf, "Otf",
    attributes: ["frequency_per_mm", "azimuth_deg", "real", "imaginary", "contrast", "phase_rad", "error_estimate"],
    shown: ["azimuth_deg", "error_estimate"]);

/// Contrast at one detail.
///
/// Units: arcsec on the sky for the full period, one bright and one dark bar together; cycles for each mm; mm.
/// Errors: those of `Mtf.at_detail`, which makes it.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
/// >>> there = train.mtf(frequency_per_mm=[0]).at_detail(2.0)
/// >>> assert there.detail_arcsec == 2 and 0 < there.contrast_mean < 1
#[pyclass(name = "DetailContrast", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyDetailContrast(pub(super) DetailContrast);

getters!(PyDetailContrast, |detail| {
    /// The full period on the sky, arcsec.
    detail_arcsec: f64 = detail.detail_arcsec;
    /// Its frequency in the focal plane, cycles for each mm.
    frequency_per_mm: f64 = detail.frequency_per_mm;
    /// Contrast for a frequency along.
    contrast_along: f64 = detail.contrast_along;
    /// Contrast for a frequency across.
    contrast_across: f64 = detail.contrast_across;
    /// Contrast, the mean over sixteen azimuths.
    contrast_mean: f64 = detail.contrast_mean;
    /// Contrast of the perfect clear aperture.
    perfect_clear: f64 = detail.perfect_clear;
    /// The same with the same central obstruction.
    perfect_obstructed: f64 = detail.perfect_obstructed;
    /// Diameter, mm, of the perfect clear aperture with the same mean contrast here, in the same air; None where none is
    /// left.
    equivalent_aperture_mm: Option<f64> = detail.equivalent_aperture_mm;
    /// Estimated error of the contrast.
    error_estimate: f64 = detail.error_estimate;
});
record!(PyDetailContrast, "DetailContrast",
    attributes: ["detail_arcsec", "frequency_per_mm", "contrast_along", "contrast_across", "contrast_mean", "perfect_clear",
        "perfect_obstructed", "equivalent_aperture_mm", "error_estimate"],
    shown: ["detail_arcsec", "contrast_along", "contrast_across", "contrast_mean", "perfect_clear",
        "equivalent_aperture_mm"]);

#[pymethods]
impl PyTrain {
    /// Return the contrast against spatial frequency for a star at a focus.
    ///
    /// Units: arcmin, mm, nm; cycles for each mm in the focal plane, without any 33 even steps from 0 to the cut-off.
    /// Give a wavelength or a spectrum, whose mean then counts for the focus.
    /// Errors: InputError; NotConverged where 1e-5 is not reached.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> turned = train.with_primary(figure=[ct.TurnedEdge(width_mm=9, drop_nm=330)])
    /// >>> mtf = turned.mtf(focus="peak", frequency_per_mm=[0, 100])
    /// >>> assert mtf.contrast_mean[1] < mtf.perfect_clear[1]
    #[pyo3(signature = (*, field_arcmin=None, focus=None, focus_shift_mm=None, wavelength_nm=None,
        frequency_per_mm=None, spectrum=None, star_distance_mm=None),
        text_signature = "($self, *, field_arcmin=(0.0, 0.0), focus='least_rms', focus_shift_mm=None, wavelength_nm=550.0, \
        frequency_per_mm=None, spectrum=None, star_distance_mm=None)")]
    #[allow(clippy::too_many_arguments)]
    fn mtf(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        focus: Option<&str>,
        focus_shift_mm: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        frequency_per_mm: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
        star_distance_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyMtf> {
        let star = star(field_arcmin, star_distance_mm)?;
        let focus = focus_of(py, focus, focus_shift_mm, Focus::LeastRms)?;
        let light = light(py, spectrum, wavelength_nm)?;
        let nm = light.mean_nm();
        let options = MtfOptions { spectrum: Some(light), ..mtf_options(frequency_per_mm, None)? };
        let prepared = self.prepared().clone();
        compute(py, move || prepared.wavefront(star, focus, nm)?.mtf(&options)).map(PyMtf)
    }
}
