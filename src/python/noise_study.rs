//! Noisy repeats of readings: what the noise alone makes of the Strehl.

use std::panic::{AssertUnwindSafe, catch_unwind};

use numpy::{PyArray1, PyArray2};
use pyo3::exceptions::PyRuntimeError;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, list, number_or, one_or_list, wavelength};
use super::arrays::{Column, column, square};
use super::bench::PyKnifeEdgeReadings;
use super::compute::compute;
use super::errors::exception;
use super::estimate::table_of;
use super::rays::draw;
use super::record::{arrays, getters, record};
use crate::{NoiseStudy, NoiseStudyOptions};

/// Up to this many repeats a call does its work itself; more of them take long enough to be broken off with Ctrl-C.
const SHORT: usize = 50_000;

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyNoiseStudy>()
}

/// The Strehl ratio and RMS of a plain reduction, repeated many times with readings drawn again within their noise.
///
/// Each repeat draws every opening's mean reading again: its noise is that of one reading over the root of the number of
/// runs. A repeat has the same readings in a study of any length. The focus is that of least RMS; the brightest focus gives
/// more: less than 1e-5 where the Strehl is 0.99, 0.08 for a turned edge (0.70 for 0.62). `repeat_with_noise` looks for
/// it and takes some ten times as long.
///
/// Units: nm of wavefront, mm of reading.
/// Shapes: `strehl_least_rms` and `rms_nm` have one entry a repeat, `reading_sigma_mm` one an opening.
/// Errors: those of `KnifeEdgeReadings.noise_study`, which makes it.
/// Source: the light of each opening in closed form (own derivation), good to 1e-8 of the Strehl; normal draws of Box and
/// Muller (1958) from the numbered words of Salmon, Moraes, Dror and Shaw (2011).
/// Leaves out: everything that the readings cannot see; `reduce` has it.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
/// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
/// >>> study = readings.noise_study(reading_sigma_mm=0.05, repeats=1000)
/// >>> assert study.strehl_least_rms.shape == (1000,) and study.rms_nm.min() > 0
#[pyclass(name = "NoiseStudy", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyNoiseStudy(pub(super) NoiseStudy);

#[pymethods]
impl PyKnifeEdgeReadings {
    /// Return the Strehl of many noisy repeats of these readings: how far the noise alone carries the answer.
    ///
    /// `reading_sigma_mm` is the noise of one reading, one number or one an opening; None: estimated from the repeats, with
    /// the long tails of few runs. The focus is that of least squares over the annulus of `obstruction_ratio`.
    ///
    /// Units: mm; the obstruction counts by diameter; nm.
    /// Shapes: one entry a repeat; up to ten million, 16 bytes each.
    /// Errors: InputError for options that cannot be, and for readings or noise so far from any mirror's that their phase
    /// cannot be followed (some thousand waves).
    /// Source and what it leaves out: see `NoiseStudy`.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> careful = readings.noise_study(reading_sigma_mm=0.02)
    /// >>> hasty = readings.noise_study(reading_sigma_mm=0.2)
    /// >>> assert hasty.strehl_quantiles([0.05])[0] < careful.strehl_quantiles([0.05])[0]
    #[pyo3(signature = (*, reading_sigma_mm=None, repeats=None, seed=None, obstruction_ratio=None, wavelength_nm=None),
        text_signature = "($self, *, reading_sigma_mm=None, repeats=10000, seed=1, obstruction_ratio=0.0, \
            wavelength_nm=550.0)")]
    fn noise_study(
        &self,
        py: Python<'_>,
        reading_sigma_mm: Option<&Bound<'_, PyAny>>,
        repeats: Option<&Bound<'_, PyAny>>,
        seed: Option<&Bound<'_, PyAny>>,
        obstruction_ratio: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyNoiseStudy> {
        let options = NoiseStudyOptions {
            obstruction_ratio: number_or(obstruction_ratio, "obstruction_ratio", 0.0)?,
            wavelength_nm: wavelength(wavelength_nm)?,
            reading_sigma_mm: reading_sigma_mm.map(|v| one_or_list(v, "reading_sigma_mm")).transpose()?,
            repeats: count_or(repeats, "repeats", 10_000)?,
            seed: count_or(seed, "seed", 1)? as u64,
        };
        let readings = self.0.clone();
        if options.repeats > SHORT {
            return compute(py, move || readings.noise_study(&options)).map(PyNoiseStudy);
        }
        let work = || catch_unwind(AssertUnwindSafe(|| readings.noise_study(&options)));
        match py.detach(work) {
            Ok(study) => study.map(PyNoiseStudy).map_err(|error| exception(py, error)),
            Err(_) => Err(PyRuntimeError::new_err("a defect in catoptric: the computation broke off")),
        }
    }
}

#[pymethods]
impl PyNoiseStudy {
    /// Return the Strehl ratios below which given shares of the repeats lie.
    ///
    /// Shapes: one entry a share. Errors: InputError for shares outside of 0 to 1.
    /// Source: Hazen's definition of a quantile (Hyndman and Fan 1996, definition 5).
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> low, median, high = readings.noise_study().strehl_quantiles([0.025, 0.5, 0.975])
    /// >>> assert low < median < high
    #[pyo3(signature = (shares, /))]
    fn strehl_quantiles<'py>(&self, py: Python<'py>, shares: &Bound<'_, PyAny>) -> PyResult<Column<'py>> {
        let found = self.0.strehl_quantiles(&list(shares, "shares")?).map_err(|e| exception(py, e))?;
        Ok(column(py, found))
    }

    /// Return the RMS, nm, below which given shares of the repeats lie.
    ///
    /// Shapes: one entry a share. Errors: InputError for shares outside of 0 to 1.
    /// Source: Hazen's definition of a quantile (Hyndman and Fan 1996, definition 5).
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> low, high = readings.noise_study().rms_quantiles_nm([0.1, 0.9])
    /// >>> assert low < high
    #[pyo3(signature = (shares, /))]
    fn rms_quantiles_nm<'py>(&self, py: Python<'py>, shares: &Bound<'_, PyAny>) -> PyResult<Column<'py>> {
        let found = self.0.rms_quantiles_nm(&list(shares, "shares")?).map_err(|e| exception(py, e))?;
        Ok(column(py, found))
    }

    /// Return what the mean readings of some repeats are too long by, drawn again: `errors[repeat, opening]`.
    ///
    /// Repeats count from 0. A common zero changes nothing; the product of `figure_operator` with a row is the figure of that
    /// repeat.
    ///
    /// Units: mm. Errors: InputError for repeats that the study has not.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> study = readings.noise_study()
    /// >>> assert study.zone_errors_mm(first=9_990, count=10).shape == (10, 4)
    #[pyo3(signature = (*, first=None, count=None), text_signature = "($self, *, first=0, count=1)")]
    fn zone_errors_mm<'py>(
        &self,
        py: Python<'py>,
        first: Option<&Bound<'_, PyAny>>,
        count: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Bound<'py, PyArray2<f64>>> {
        let (first, count) = (count_or(first, "first", 0)?, count_or(count, "count", 1)?);
        let rows = self.0.zone_errors_mm(first, count).map_err(|e| exception(py, e))?;
        Ok(square(py, &rows))
    }

    /// Return a Table: a row a repeat, with its Strehl and its RMS.
    ///
    /// Units: nm of wavefront.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> assert readings.noise_study(repeats=200).to_table().rows == 200
    fn to_table<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        let columns = PyDict::new(slf.py());
        for name in ["strehl_least_rms", "rms_nm"] {
            columns.set_item(name, slf.getattr(name)?)?;
        }
        table_of(&columns)
    }

    /// Draw how the Strehl ratios of the repeats are spread; return the axes.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> axes = readings.noise_study().plot()
    /// >>> assert "Strehl" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("noise_study", slf.as_any(), ax, None)
    }
}

arrays!(PyNoiseStudy, |study| {
    /// Strehl ratio of each repeat at the focus of least RMS.
    strehl_least_rms: PyArray1 = study.strehl_least_rms;
    /// RMS of each repeat's wavefront at that focus, nm.
    rms_nm: PyArray1 = study.rms_nm;
    /// Noise of one reading of each opening, mm.
    reading_sigma_mm: PyArray1 = study.reading_sigma_mm;
});
getters!(PyNoiseStudy, |study| {
    /// The readings behind it.
    readings: PyKnifeEdgeReadings = study.readings.clone().into();
    /// Mean of the repeats' Strehl ratios.
    mean_strehl_least_rms: f64 = study.mean_strehl_least_rms();
    /// Mean of the repeats' RMS, nm.
    mean_rms_nm: f64 = study.mean_rms_nm();
    /// How often the readings were drawn again.
    repeats: usize = study.options.repeats;
    /// Seed of the noise.
    seed: u64 = study.options.seed;
    /// Diameter of the diagonal's shadow over the clear aperture.
    obstruction_ratio: f64 = study.options.obstruction_ratio;
    /// Wavelength, nm.
    wavelength_nm: f64 = study.options.wavelength_nm;
});
record!(PyNoiseStudy, "NoiseStudy",
    attributes: ["readings", "reading_sigma_mm", "repeats", "seed", "obstruction_ratio", "wavelength_nm",
        "strehl_least_rms", "rms_nm", "mean_strehl_least_rms", "mean_rms_nm"],
    shown: ["repeats", "mean_strehl_least_rms", "mean_rms_nm", "seed"]);
