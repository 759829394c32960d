//! On how many nights a change would show.

use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{number_or, one_or_list};
use super::arrays::{Column, column};
use super::compute::compute;
use super::errors::refused;
use super::rays::draw;
use super::record::{getters, record};
use super::train::PyTrain;
use super::waves::{PyPsf, PyWavefront};
use crate::{Field, Focus, NightsThatShow, ShowsWhen, Wavefront, nights_that_show};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyNightsThatShow>()?;
    module.add_function(wrap_pyfunction!(py_nights_that_show, module)?)
}

/// On which nights a change of the telescope would show, night by night.
///
/// Units: arcsec for the seeing (long exposure, at the zenith, at 550 nm) and for the detail, the length of one
/// cycle of light and dark; contrasts and peaks are shares of full contrast and of the perfect star's peak
/// without air.
/// Shapes: one entry a night.
/// Errors: those of `nights_that_show`, which makes it.
/// Leaves out: what `Seeing` leaves out; patterns that lie aslant. Contrasts are good to 1e-5 (to the light beyond a
/// wide picture, about 2e-3, where a rough map of heights lies on the mirror: `error_estimate` says which), peaks to
/// 1e-3 of themselves.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> new, old = ct.Train(primary=mirror), ct.Train(primary=mirror).with_primary(conic=-0.85)
/// >>> nights = ct.nights_that_show(before=old, after=new, fwhm_arcsec=[0.5, 1, 4])
/// >>> assert nights.shows.tolist()[0] and nights.count < 3 and "nights" in nights.words
#[pyclass(name = "NightsThatShow", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyNightsThatShow(NightsThatShow);

#[pymethods]
impl PyNightsThatShow {
    /// The nights, as given: full width at half maximum of the seeing, arcsec.
    #[getter]
    fn fwhm_arcsec<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.fwhm_arcsec.iter().copied())
    }

    /// The largest change of contrast over details, after less before.
    #[getter]
    fn contrast_change<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.contrast_change.iter().copied())
    }

    /// Length of a cycle where the contrast changes most, arcsec.
    #[getter]
    fn detail_arcsec<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.detail_arcsec.iter().copied())
    }

    /// The star's peak before, of the perfect star's without air.
    #[getter]
    fn peak_before<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.peak_before.iter().copied())
    }

    /// The star's peak after.
    #[getter]
    fn peak_after<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.peak_after.iter().copied())
    }

    /// Whether the change would show, night by night.
    #[getter]
    fn shows<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<bool>> {
        self.0.shows.clone().into_pyarray(py)
    }

    /// Draw the changes against the seeing, with the criteria; return the axes.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
    /// >>> worse = train.with_primary(conic=-0.5)
    /// >>> axes = ct.nights_that_show(before=worse, after=train, fwhm_arcsec=[1, 2, 3]).plot()
    /// >>> assert "arcsec" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("nights", slf.as_any(), ax, None)
    }
}

getters!(PyNightsThatShow, |nights| {
    /// How many of the nights show the change.
    count: usize = nights.count();
    /// The finding in words.
    words: String = nights.words();
    /// Least change of contrast that counts as seen.
    least_contrast_change: f64 = nights.shows_when.contrast_change;
    /// Least change of the peak that counts as seen, as a share of the larger of the two.
    least_peak_change: f64 = nights.shows_when.peak_change;
    /// Wavelength, nm.
    wavelength_nm: f64 = nights.wavelength_nm;
    /// Estimated error of a change of contrast.
    error_estimate: f64 = nights.error_estimate;
});
record!(PyNightsThatShow, "NightsThatShow",
    attributes: ["fwhm_arcsec", "contrast_change", "detail_arcsec", "peak_before", "peak_after", "shows", "count",
        "words", "least_contrast_change", "least_peak_change", "wavelength_nm", "error_estimate"],
    shown: ["count", "least_contrast_change", "least_peak_change", "wavelength_nm"]);

/// Return on which of some nights a change of the telescope would show through the air.
///
/// `before` and `after` are trains (then a star on the axis at the focus of greatest Strehl, 550 nm), or wavefronts
/// or star images of one wavelength. A night counts if the contrast at some detail changes by
/// `least_contrast_change` or the star's peak by the share `least_peak_change`: common practice, no source. A
/// twentieth of full contrast turns a marking of 20 % into one that differs by 1 %, about what a trained eye
/// tells side by side; a tenth of the peak is 0.1 mag.
///
/// Units: arcsec: full width at half maximum of the long exposure, at the zenith and at 550 nm, one for each
/// night.
/// Errors: InputError for no nights, widths that cannot be, wavefronts of different wavelengths or of given
/// coefficients, criteria outside 0 to 1; NotConverged.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
/// >>> same = ct.nights_that_show(before=train, after=train, fwhm_arcsec=[1, 2])
/// >>> assert same.count == 0
#[pyfunction(name = "nights_that_show")]
#[pyo3(signature = (*, before, after, fwhm_arcsec, least_contrast_change=None, least_peak_change=None),
    text_signature = "(*, before, after, fwhm_arcsec, least_contrast_change=0.05, least_peak_change=0.1)")]
fn py_nights_that_show(
    py: Python<'_>,
    before: &Bound<'_, PyAny>,
    after: &Bound<'_, PyAny>,
    fwhm_arcsec: &Bound<'_, PyAny>,
    least_contrast_change: Option<&Bound<'_, PyAny>>,
    least_peak_change: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyNightsThatShow> {
    let usual = ShowsWhen::default();
    let shows_when = ShowsWhen {
        contrast_change: number_or(least_contrast_change, "least_contrast_change", usual.contrast_change)?,
        peak_change: number_or(least_peak_change, "least_peak_change", usual.peak_change)?,
    };
    let (before, after) = (telescope(before, "before")?, telescope(after, "after")?);
    let nights = one_or_list(fwhm_arcsec, "fwhm_arcsec")?;
    compute(py, move || nights_that_show(&before()?, &after()?, &nights, shows_when)).map(PyNightsThatShow)
}

/// A wavefront, made when it is needed.
type Made = Box<dyn FnOnce() -> crate::Result<Wavefront> + Send>;

fn telescope(given: &Bound<'_, PyAny>, name: &str) -> PyResult<Made> {
    if let Ok(train) = given.cast::<PyTrain>() {
        let prepared = train.get().prepared().clone();
        return Ok(Box::new(move || {
            prepared.wavefront(Field::AXIS, Focus::Peak, crate::DEFAULT_WAVELENGTH_NM)
        }));
    }
    let wavefront = if let Ok(wavefront) = given.cast::<PyWavefront>() {
        wavefront.get().0.clone()
    } else if let Ok(star) = given.cast::<PyPsf>() {
        star.get().0.wavefront.clone()
    } else {
        let found = given.get_type().name()?.to_string();
        return Err(refused(given.py(), name, &found, "a Train, a Wavefront or a Psf", ""));
    };
    Ok(Box::new(move || Ok(wavefront)))
}
