//! Other evidence about a mirror: test sheets and reports of Zernike terms.

use std::collections::BTreeMap;

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{
    choice, count_or, indexing_named, maybe_part_number, number, number_or, part_number, wavelength,
};
use super::arrays::{Column, column};
use super::compute::compute;
use super::errors::{exception, refused};
use super::record::{getters, record};
use crate::{
    Bounds, CoefficientUnit, Normalisation, SheetFigure, SurfaceOrWavefront, TestPlace, TestSheet,
    TestSheetInput, ZernikeFigure, ZernikeReport, ZernikeReportInput,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyTestSheet>()?;
    module.add_class::<PySheetFigure>()?;
    module.add_class::<PyZernikeReport>()?;
    module.add_class::<PyZernikeFigure>()
}

pub(super) fn pair(bounds: Bounds) -> (f64, f64) {
    (bounds.low, bounds.high)
}

fn counted_on(py: Python<'_>, name: &str) -> PyResult<SurfaceOrWavefront> {
    let allowed = "'surface' (heights of the glass) or 'wavefront' (twice that)";
    choice(py, "surface_or_wavefront", name, allowed, SurfaceOrWavefront::from_name)
}

/// What a test sheet states about a mirror: PV, RMS or Strehl, of a tested circle, at a wavelength.
///
/// Tested diameter, wavelength and whether PV and RMS are of the glass ("surface") or of the wavefront have no default. PV
/// and RMS are given in waves of the sheet's wavelength or in nm, never in both.
///
/// Units: mm, nm, waves.
/// Errors: InputError with all faults found.
/// Leaves out: how the sheet was made; PV of an interferogram holds the camera's noise.
///
/// >>> mirror = dict(clear_aperture_mm=318, tested_diameter_mm=312, wavelength_nm=632.8)
/// >>> sheet = ct.TestSheet(rms_waves=0.0065, strehl=0.998, surface_or_wavefront="wavefront", **mirror)
/// >>> assert sheet.figure().contradictions == []
#[pyclass(name = "TestSheet", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyTestSheet(pub(super) TestSheet);

#[pymethods]
impl PyTestSheet {
    #[new]
    #[pyo3(signature = (*, clear_aperture_mm, tested_diameter_mm, surface_or_wavefront, wavelength_nm, pv_waves=None,
        pv_nm=None, rms_waves=None, rms_nm=None, strehl=None))]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        clear_aperture_mm: &Bound<'_, PyAny>,
        tested_diameter_mm: &Bound<'_, PyAny>,
        surface_or_wavefront: &str,
        wavelength_nm: &Bound<'_, PyAny>,
        pv_waves: Option<&Bound<'_, PyAny>>,
        pv_nm: Option<&Bound<'_, PyAny>>,
        rms_waves: Option<&Bound<'_, PyAny>>,
        rms_nm: Option<&Bound<'_, PyAny>>,
        strehl: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let input = TestSheetInput {
            clear_aperture_mm: part_number(clear_aperture_mm, "clear_aperture_mm")?,
            tested_diameter_mm: part_number(tested_diameter_mm, "tested_diameter_mm")?,
            surface_or_wavefront: counted_on(py, surface_or_wavefront)?,
            wavelength_nm: part_number(wavelength_nm, "wavelength_nm")?,
            pv_waves: maybe_part_number(pv_waves, "pv_waves")?,
            pv_nm: maybe_part_number(pv_nm, "pv_nm")?,
            rms_waves: maybe_part_number(rms_waves, "rms_waves")?,
            rms_nm: maybe_part_number(rms_nm, "rms_nm")?,
            strehl: maybe_part_number(strehl, "strehl")?,
        };
        TestSheet::new(input).map(Self).map_err(|e| exception(py, e))
    }

    /// Return what the sheet says about the wavefront of the whole mirror, judged at a wavelength.
    ///
    /// Units: nm.
    /// Errors: InputError for a wavelength that cannot be.
    ///
    /// >>> mirror = dict(clear_aperture_mm=200, tested_diameter_mm=200, wavelength_nm=560)
    /// >>> figure = ct.TestSheet(pv_waves=0.125, surface_or_wavefront="surface", **mirror).figure()
    /// >>> assert figure.pv_nm == 140  # twice an eighth of a wave
    #[pyo3(signature = (*, wavelength_nm=None), text_signature = "($self, *, wavelength_nm=550.0)")]
    fn figure(&self, py: Python<'_>, wavelength_nm: Option<&Bound<'_, PyAny>>) -> PyResult<PySheetFigure> {
        let figure = self.0.figure(wavelength(wavelength_nm)?);
        figure.map(PySheetFigure).map_err(|e| exception(py, e))
    }
}

getters!(PyTestSheet, |sheet| {
    /// Clear aperture of the mirror, mm.
    clear_aperture_mm: f64 = sheet.input().clear_aperture_mm;
    /// Diameter of the circle that was tested, mm.
    tested_diameter_mm: f64 = sheet.input().tested_diameter_mm;
    /// What PV and RMS are counted on: "surface" or "wavefront".
    surface_or_wavefront: &'static str = sheet.input().surface_or_wavefront.name();
    /// Wavelength of the sheet, nm.
    wavelength_nm: f64 = sheet.input().wavelength_nm;
    /// PV as printed, waves, or None.
    pv_waves: Option<f64> = sheet.input().pv_waves;
    /// PV as printed, nm, or None.
    pv_nm: Option<f64> = sheet.input().pv_nm;
    /// RMS as printed, waves, or None.
    rms_waves: Option<f64> = sheet.input().rms_waves;
    /// RMS as printed, nm, or None.
    rms_nm: Option<f64> = sheet.input().rms_nm;
    /// Strehl as printed, or None.
    strehl: Option<f64> = sheet.input().strehl;
});
record!(PyTestSheet, "TestSheet",
    attributes: ["clear_aperture_mm", "tested_diameter_mm", "surface_or_wavefront", "wavelength_nm", "pv_waves", "pv_nm",
        "rms_waves", "rms_nm", "strehl"],
    shown: ["pv_waves", "pv_nm", "rms_waves", "rms_nm", "strehl", "surface_or_wavefront", "tested_diameter_mm",
        "clear_aperture_mm", "wavelength_nm"]);

/// A test sheet turned into the wavefront of the whole clear aperture.
///
/// Ranges are what the paper leaves open and what was assumed to fill it (`assumptions`), not intervals with a probability.
/// From an RMS: the printed number with its rounding. From a Strehl: the exponential form. From a PV alone: between its
/// half, which is certain, and its twelfth, which is assumed. A ring that was not tested: between perfect and
/// an edge that falls by 550 nm of wavefront.
///
/// Units: nm of wavefront.
/// Source: Strehl exp(-(2 pi rms/lambda)^2) (Mahajan 1983, from memory), good to 0.02 for smooth figures below lambda/10; PV >= 2 RMS
/// (Popoviciu 1935).
/// Leaves out: a steep narrow edge within the tested circle has more RMS for its Strehl than the form allows.
/// Errors: those of `TestSheet.figure`, which makes it.
///
/// >>> mirror = dict(clear_aperture_mm=200, tested_diameter_mm=200, wavelength_nm=632.8)
/// >>> sheet = ct.TestSheet(rms_waves=0.05, strehl=0.906, surface_or_wavefront="surface", **mirror)
/// >>> assert "factor of two" in sheet.figure().contradictions[0]
#[pyclass(name = "SheetFigure", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySheetFigure(pub(super) SheetFigure);

#[pymethods]
impl PySheetFigure {
    /// Return draws of the RMS of the whole mirror, evenly spread in its logarithm over the range: an assumption.
    ///
    /// Units: nm. Shapes: `count` values, the same for the same seed.
    /// Errors: InputError for a count that cannot be.
    ///
    /// >>> mirror = dict(clear_aperture_mm=200, tested_diameter_mm=200, wavelength_nm=632.8)
    /// >>> figure = ct.TestSheet(pv_nm=120, surface_or_wavefront="wavefront", **mirror).figure()
    /// >>> draws = figure.rms_draws_nm(count=500, seed=7)
    /// >>> assert figure.rms_range_nm[0] <= draws.min() and draws.max() <= figure.rms_range_nm[1]
    #[pyo3(signature = (*, count=None, seed=None), text_signature = "($self, *, count=2000, seed=1)")]
    fn rms_draws_nm<'py>(
        &self,
        py: Python<'py>,
        count: Option<&Bound<'py, PyAny>>,
        seed: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Column<'py>> {
        let (count, seed) = (count_or(count, "count", 2000)?, count_or(seed, "seed", 1)? as u64);
        let draws = self.0.rms_draws_nm(count, seed).map_err(|e| exception(py, e))?;
        Ok(column(py, draws))
    }

    /// Return the Strehl of each draw of `rms_draws_nm` with the same seed, by the exponential form.
    ///
    /// Good to 0.02 for smooth figures below a tenth of a wave; never below what an untested ring can do.
    /// Errors: InputError for a count that cannot be.
    ///
    /// >>> mirror = dict(clear_aperture_mm=200, tested_diameter_mm=200, wavelength_nm=632.8)
    /// >>> figure = ct.TestSheet(strehl=0.95, surface_or_wavefront="wavefront", **mirror).figure()
    /// >>> assert figure.strehl_draws(count=10).shape == (10,)
    #[pyo3(signature = (*, count=None, seed=None), text_signature = "($self, *, count=2000, seed=1)")]
    fn strehl_draws<'py>(
        &self,
        py: Python<'py>,
        count: Option<&Bound<'py, PyAny>>,
        seed: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Column<'py>> {
        let (count, seed) = (count_or(count, "count", 2000)?, count_or(seed, "seed", 1)? as u64);
        let draws = self.0.strehl_draws(count, seed).map_err(|e| exception(py, e))?;
        Ok(column(py, draws))
    }
}

getters!(PySheetFigure, |figure| {
    /// The sheet behind it.
    sheet: PyTestSheet = PyTestSheet(figure.sheet);
    /// Wavelength at which it is judged, nm.
    wavelength_nm: f64 = figure.wavelength_nm;
    /// Range of the wavefront's RMS over the tested circle, nm.
    tested_rms_range_nm: (f64, f64) = pair(figure.tested_rms_nm);
    /// Range of the wavefront's RMS over the whole mirror, nm.
    rms_range_nm: (f64, f64) = pair(figure.rms_nm);
    /// PV of the wavefront over the tested circle, nm, or None.
    pv_nm: Option<f64> = figure.pv_nm;
    /// Range of the Strehl of the whole mirror, by the exponential form.
    strehl_range: (f64, f64) = pair(figure.strehl);
    /// Share of the clear aperture's area that was not tested.
    untested_share: f64 = figure.untested_share;
    /// Numbers of the sheet that do not go together.
    contradictions: Vec<String> = figure.contradictions.clone();
    /// What is assumed and not measured.
    assumptions: Vec<String> = figure.assumptions.clone();
    /// What all this means, in one sentence.
    words: String = figure.words.clone();
});
record!(PySheetFigure, "SheetFigure",
    attributes: ["sheet", "wavelength_nm", "tested_rms_range_nm", "rms_range_nm", "pv_nm", "strehl_range", "untested_share",
        "contradictions", "assumptions", "words"],
    shown: ["strehl_range", "rms_range_nm", "untested_share", "contradictions", "wavelength_nm"]);

/// Zernike coefficients of a mirror, as an interferometer reports them.
///
/// `indexing` is "noll", "osa" or "fringe"; `normalisation` "rms" (a coefficient is its term's RMS) or "peak" (its height at the
/// rim); `unit` "waves" or "nm"; `test` "at_focus" (or with a null) or "at_centre_of_curvature" (without one: the
/// paraboloid's own term is taken off). None of these has a default, nor has `surface_or_wavefront`.
///
/// Units: mm, nm, waves of `wavelength_nm`. Positive: a hill of glass, a wave ahead.
/// Errors: InputError with all faults found.
/// Leaves out: what lies between the terms; a turned edge needs more of them than any report has.
///
/// >>> mirror = dict(tested_diameter_mm=200, clear_aperture_mm=200, radius_of_curvature_mm=2400)
/// >>> kind = dict(indexing="noll", normalisation="rms", unit="nm", surface_or_wavefront="wavefront")
/// >>> report = ct.ZernikeReport(coefficients={11: -134.8}, test="at_centre_of_curvature", **kind, **mirror)
/// >>> assert report.figure().rms_nm < 0.5  # a paraboloid, tested without a null
#[pyclass(name = "ZernikeReport", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyZernikeReport(pub(super) ZernikeReport);

#[pymethods]
impl PyZernikeReport {
    #[new]
    #[pyo3(signature = (*, coefficients, indexing, normalisation, unit, surface_or_wavefront, test, tested_diameter_mm,
        clear_aperture_mm, radius_of_curvature_mm, wavelength_nm=None, coefficient_sigma_nm=None),
        text_signature = "(*, coefficients, indexing, normalisation, unit, surface_or_wavefront, test, tested_diameter_mm, clear_aperture_mm, radius_of_curvature_mm, wavelength_nm=None, coefficient_sigma_nm=0.0)")]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        coefficients: BTreeMap<i64, Bound<'_, PyAny>>,
        indexing: &str,
        normalisation: &str,
        unit: &str,
        surface_or_wavefront: &str,
        test: &str,
        tested_diameter_mm: &Bound<'_, PyAny>,
        clear_aperture_mm: &Bound<'_, PyAny>,
        radius_of_curvature_mm: &Bound<'_, PyAny>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        coefficient_sigma_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let unit = choice(py, "unit", unit, "'waves' or 'nm'", CoefficientUnit::from_name)?;
        let quantity = if unit == CoefficientUnit::Nm { "coefficient_nm" } else { "coefficient_waves" };
        let by_index = |(j, value): (i64, Bound<'_, PyAny>)| {
            let allowed = "an index of the list of terms, 0 or more";
            let index = u32::try_from(j)
                .map_err(|_| refused(py, &format!("coefficients[{j}]"), &j.to_string(), allowed, ""))?;
            Ok((index, number(&value, quantity)?))
        };
        let normalised = "'rms' (of the term) or 'peak' (its height at the rim)";
        let places = "'at_focus' (or with a null) or 'at_centre_of_curvature' (without one)";
        let input = ZernikeReportInput {
            coefficients: coefficients.into_iter().map(by_index).collect::<PyResult<_>>()?,
            indexing: indexing_named(py, indexing)?,
            normalisation: choice(py, "normalisation", normalisation, normalised, Normalisation::from_name)?,
            unit,
            wavelength_nm: maybe_part_number(wavelength_nm, "wavelength_nm")?,
            surface_or_wavefront: counted_on(py, surface_or_wavefront)?,
            test: choice(py, "test", test, places, TestPlace::from_name)?,
            tested_diameter_mm: part_number(tested_diameter_mm, "tested_diameter_mm")?,
            clear_aperture_mm: part_number(clear_aperture_mm, "clear_aperture_mm")?,
            radius_of_curvature_mm: part_number(radius_of_curvature_mm, "radius_of_curvature_mm")?,
            coefficient_sigma_nm: number_or(coefficient_sigma_nm, "coefficient_sigma_nm", 0.0)?,
        };
        ZernikeReport::new(input).map(Self).map_err(|e| exception(py, e))
    }

    /// Return the wavefront error of the whole mirror, with `draws` repeats within `coefficient_sigma_nm`.
    ///
    /// Units: nm; the obstruction counts by diameter.
    /// Errors: InputError for options that cannot be; NotConverged.
    ///
    /// >>> mirror = dict(tested_diameter_mm=200, clear_aperture_mm=200, radius_of_curvature_mm=2400)
    /// >>> kind = dict(indexing="fringe", normalisation="peak", unit="nm", surface_or_wavefront="surface")
    /// >>> report = ct.ZernikeReport(coefficients={9: 10.0}, test="at_focus", **kind, **mirror)
    /// >>> assert abs(report.figure(draws=100).rms_nm - 20 / 5**0.5) < 1e-9
    #[pyo3(signature = (*, obstruction_ratio=None, wavelength_nm=None, draws=None, seed=None),
        text_signature = "($self, *, obstruction_ratio=0.0, wavelength_nm=550.0, draws=2000, seed=1)")]
    fn figure(
        &self,
        py: Python<'_>,
        obstruction_ratio: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        draws: Option<&Bound<'_, PyAny>>,
        seed: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyZernikeFigure> {
        let obstruction = number_or(obstruction_ratio, "obstruction_ratio", 0.0)?;
        let wavelength_nm = wavelength(wavelength_nm)?;
        let (draws, seed) = (count_or(draws, "draws", 2000)?, count_or(seed, "seed", 1)? as u64);
        let report = self.0.clone();
        compute(py, move || report.figure(obstruction, wavelength_nm, draws, seed)).map(PyZernikeFigure)
    }
}

getters!(PyZernikeReport, |report| {
    /// Coefficients by index, as they were given (in `unit`).
    coefficients: BTreeMap<u32, f64> = report.input().coefficients.clone();
    /// How terms are numbered: "noll", "osa" or "fringe".
    indexing: String = format!("{:?}", report.input().indexing).to_lowercase();
    /// What a coefficient counts: "rms" or "peak".
    normalisation: &'static str = report.input().normalisation.name();
    /// What coefficients are counted in: "waves" or "nm".
    unit: &'static str = report.input().unit.name();
    /// Wavelength of the report, nm, or None.
    wavelength_nm: Option<f64> = report.input().wavelength_nm;
    /// What is counted on: "surface" or "wavefront".
    surface_or_wavefront: &'static str = report.input().surface_or_wavefront.name();
    /// Where the mirror was tested: "at_focus" or "at_centre_of_curvature".
    test: &'static str = report.input().test.name();
    /// Diameter of the circle to which the terms belong, mm.
    tested_diameter_mm: f64 = report.input().tested_diameter_mm;
    /// Clear aperture of the mirror, mm.
    clear_aperture_mm: f64 = report.input().clear_aperture_mm;
    /// Radius of curvature at the vertex, mm.
    radius_of_curvature_mm: f64 = report.input().radius_of_curvature_mm;
    /// Standard deviation of each coefficient as wavefront of unit-RMS terms, nm.
    coefficient_sigma_nm: f64 = report.input().coefficient_sigma_nm;
    /// The reported wavefront by Noll's index, in nm of unit-RMS terms, with focus and all.
    reported_nm: BTreeMap<u32, f64> = report.reported_nm();
    /// What a perfect paraboloid shows in this test, by Noll's index, in nm of unit-RMS terms.
    null_nm: BTreeMap<u32, f64> = report.null_nm();
});
record!(PyZernikeReport, "ZernikeReport",
    attributes: ["coefficients", "indexing", "normalisation", "unit", "wavelength_nm", "surface_or_wavefront", "test",
        "tested_diameter_mm", "clear_aperture_mm", "radius_of_curvature_mm", "coefficient_sigma_nm", "reported_nm",
        "null_nm"],
    shown: ["coefficients", "unit", "indexing", "normalisation", "surface_or_wavefront", "test", "tested_diameter_mm",
        "clear_aperture_mm", "radius_of_curvature_mm"]);

/// The wavefront error of the whole mirror that a report of Zernike terms shows.
///
/// The report's terms less a perfect paraboloid's, over the clear aperture at the focus of least RMS. Every `..._interval` holds 95 %
/// of draws with the coefficients redrawn within `coefficient_sigma_nm`.
///
/// Units: nm of wavefront; `coefficients_nm` by Noll's index, of unit RMS, beyond focus.
/// Source: `strehl` is the exact pupil integral.
/// Leaves out: what the terms cannot show, a turned edge above all; correlation between coefficients; (r/R)^2 of the error, 0.4 % at
/// the rim at f/4.
/// Errors: those of `ZernikeReport.figure`, which makes it.
///
/// >>> mirror = dict(tested_diameter_mm=200, clear_aperture_mm=200, radius_of_curvature_mm=2400)
/// >>> kind = dict(indexing="noll", normalisation="rms", unit="nm", surface_or_wavefront="wavefront")
/// >>> report = ct.ZernikeReport(coefficients={5: 12, 11: -20}, test="at_focus", **kind, **mirror)
/// >>> assert "taken as exact" in report.figure(draws=100).words
#[pyclass(name = "ZernikeFigure", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyZernikeFigure(pub(super) ZernikeFigure);

#[pymethods]
impl PyZernikeFigure {
    /// RMS of the wavefront of every draw, nm.
    #[getter]
    fn rms_nm_draws<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.rms_nm_draws.iter().copied())
    }

    /// Strehl of every draw.
    #[getter]
    fn strehl_draws<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.strehl_draws.iter().copied())
    }
}

getters!(PyZernikeFigure, |figure| {
    /// The report behind it.
    report: PyZernikeReport = PyZernikeReport(figure.report.clone());
    /// Coefficients beyond focus over the clear aperture, nm, by Noll's index.
    coefficients_nm: BTreeMap<u32, f64> = figure.coefficients_nm.clone();
    /// RMS of the wavefront, nm.
    rms_nm: f64 = figure.rms_nm;
    /// Its interval from the coefficients' uncertainty, nm.
    rms_nm_interval: (f64, f64) = pair(figure.rms_nm_interval);
    /// Strehl at the focus of least RMS.
    strehl: f64 = figure.strehl;
    /// Its interval from the coefficients' uncertainty.
    strehl_interval: (f64, f64) = pair(figure.strehl_interval);
    /// Diameter of the diagonal's shadow over the clear aperture.
    obstruction_ratio: f64 = figure.obstruction_ratio;
    /// Wavelength, nm.
    wavelength_nm: f64 = figure.wavelength_nm;
    /// Seed of the draws.
    seed: u64 = figure.seed;
    /// Share of the clear aperture's area that was not tested.
    untested_share: f64 = figure.untested_share;
    /// What is assumed and not measured.
    assumptions: Vec<String> = figure.assumptions.clone();
    /// What is odd about the report.
    cautions: Vec<String> = figure.cautions.clone();
    /// What all this means, in one sentence.
    words: String = figure.words.clone();
});
record!(PyZernikeFigure, "ZernikeFigure",
    attributes: ["report", "coefficients_nm", "rms_nm", "rms_nm_interval", "strehl", "strehl_interval", "obstruction_ratio",
        "wavelength_nm", "seed", "untested_share", "assumptions", "cautions", "words", "rms_nm_draws",
        "strehl_draws"],
    shown: ["strehl", "rms_nm", "untested_share", "cautions", "obstruction_ratio", "wavelength_nm"]);
