//! Checks on the bench: one conic for the whole mirror, and what two benches show of their scatter.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{choice, list, number, number_or};
use super::bench::PyKnifeEdgeReadings;
use super::compute::compute;
use super::errors::exception;
use super::record::{getters, record};
use crate::{BenchScatter, ConicFit, ReduceOptions, TestSource};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyConicFit>()?;
    module.add_class::<PyBenchScatter>()?;
    module.add_function(wrap_pyfunction!(bench_scatter, module)?)
}

#[pymethods]
impl PyKnifeEdgeReadings {
    /// Return the conic constant that fits the readings best, with and without the outermost opening.
    ///
    /// It shows at a glance whether the bench was described rightly; it is never the headline, for one number cannot
    /// describe a mirror with zones. `reading_sigma_mm` is the noise of one reading, one number or one for each opening;
    /// None: from the repeats. `radius_sigma_mm` and `bench_scatter_mm` count as in `reduce`.
    ///
    /// Units: mm.
    /// Errors: InputError for options that cannot be.
    /// Source: a conic shortens a reading by (1 + K) k (r1^2 + r2^2)/(4R), k = 1 moving and 2 fixed (own derivation).
    /// Leaves out: higher orders, which move K at f/5 by 0.0003 (moving) and 0.0025 (fixed) at most
    /// between paraboloid and sphere.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[[0.267, 0.600, 1.067, 1.504]] * 5, **bench)
    /// >>> fit = readings.conic_fit()
    /// >>> assert abs(fit.conic_all + 0.80) < 0.001 and fit.correction == "under-corrected"
    #[pyo3(signature = (*, reading_sigma_mm=None, radius_sigma_mm=None, bench_scatter_mm=None),
        text_signature = "($self, *, reading_sigma_mm=None, radius_sigma_mm=None, bench_scatter_mm=0.0)")]
    fn conic_fit(
        &self,
        py: Python<'_>,
        reading_sigma_mm: Option<&Bound<'_, PyAny>>,
        radius_sigma_mm: Option<&Bound<'_, PyAny>>,
        bench_scatter_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyConicFit> {
        let options = ReduceOptions {
            reading_sigma_mm: reading_sigma_mm.map(one_or_more).transpose()?,
            radius_sigma_mm: radius_sigma_mm.map(|v| number(v, "radius_sigma_mm")).transpose()?,
            bench_scatter_mm: number_or(bench_scatter_mm, "bench_scatter_mm", 0.0)?,
            ..ReduceOptions::default()
        };
        self.0.conic_fit(&options).map(PyConicFit).map_err(|e| exception(py, e))
    }
}

/// One number, or a list of them.
fn one_or_more(value: &Bound<'_, PyAny>) -> PyResult<Vec<f64>> {
    const NAME: &str = "reading_sigma_mm";
    let dimensions = value.py().import("numpy")?.call_method1("ndim", (value,)).and_then(|n| n.extract());
    if dimensions.is_ok_and(|n: usize| n == 0) { Ok(vec![number(value, NAME)?]) } else { list(value, NAME) }
}

/// The conic that fits the readings best: a check on the bench, never the headline.
///
/// Once from all openings, once without the outermost one, where edges turn. `p_value` is the chance that readings of a
/// perfect conic depart as much or more; below 0.01 no conic fits, and K describes nothing.
///
/// Units: none; standard errors are those of reading noise, radii and bench scatter as they were stated or assumed.
/// Errors: those of `KnifeEdgeReadings.conic_fit`, which makes it.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
/// >>> fit = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.880], **bench).conic_fit()
/// >>> assert fit.correction == "a paraboloid within the noise" and "headline" in fit.words
#[pyclass(name = "ConicFit", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyConicFit(ConicFit);

getters!(PyConicFit, |fit| {
    /// "over-corrected", "under-corrected" or "a paraboloid within the noise", without the outermost opening.
    correction: String = fit.correction().to_string();
    /// The fit in a few sentences, with what it is not good for.
    words: String = fit.words();
    /// Conic constant from all openings; a turned edge alone moves it.
    conic_all: f64 = fit.all.conic;
    /// Its standard error.
    conic_all_sigma: f64 = fit.all.conic_sigma;
    /// Chi-square of that fit.
    chi_square_all: f64 = fit.all.chi_square;
    /// Its degrees of freedom.
    freedom_all: usize = fit.all.freedom;
    /// Chance that readings of a perfect conic depart as much or more.
    p_value_all: f64 = fit.all.p_value;
    /// Conic constant without the outermost opening.
    conic_without_outermost: f64 = fit.without_outermost.conic;
    /// Its standard error.
    conic_without_outermost_sigma: f64 = fit.without_outermost.conic_sigma;
    /// Chi-square of that fit.
    chi_square_without_outermost: f64 = fit.without_outermost.chi_square;
    /// Its degrees of freedom.
    freedom_without_outermost: usize = fit.without_outermost.freedom;
    /// Chance that readings of a perfect conic depart as much or more.
    p_value_without_outermost: f64 = fit.without_outermost.p_value;
});
record!(PyConicFit, "ConicFit",
    attributes: ["correction", "words", "conic_all", "conic_all_sigma", "chi_square_all", "freedom_all", "p_value_all",
        "conic_without_outermost", "conic_without_outermost_sigma", "chi_square_without_outermost",
        "freedom_without_outermost", "p_value_without_outermost"],
    shown: ["correction", "conic_without_outermost", "conic_without_outermost_sigma", "conic_all",
        "conic_all_sigma"]);

/// What a bench adds to the reading of each opening in all its runs alike, as far as two benches show it.
///
/// Units: mm of a reading with a moving source; `reading_mm` gives it for either source.
/// Errors: those of `bench_scatter`, which makes it.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
/// >>> first = ct.KnifeEdgeReadings(runs_mm=[0.33, 0.75, 1.33, 1.88], **bench)
/// >>> second = ct.KnifeEdgeReadings(runs_mm=[3.36, 3.73, 4.35, 4.87], **bench)
/// >>> found = ct.bench_scatter(first, second)
/// >>> assert found.scatter_mm <= found.upper_mm and found.freedom == 3
#[pyclass(name = "BenchScatter", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyBenchScatter(BenchScatter);

#[pymethods]
impl PyBenchScatter {
    /// Return the estimate in mm of a reading with this source, as `bench_scatter_mm` takes it.
    ///
    /// Units: mm.
    /// Errors: InputError for another name than "moving" or "fixed".
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> first = ct.KnifeEdgeReadings(runs_mm=[0.33, 0.75, 1.33, 1.88], **bench)
    /// >>> second = ct.KnifeEdgeReadings(runs_mm=[3.36, 3.23, 4.75, 4.87], **bench)
    /// >>> found = ct.bench_scatter(first, second)
    /// >>> assert found.reading_mm("fixed") == 2 * found.scatter_mm > 0
    #[pyo3(signature = (source, /))]
    fn reading_mm(&self, py: Python<'_>, source: &str) -> PyResult<f64> {
        let source = choice(py, "source", source, "'moving' or 'fixed'", TestSource::from_name)?;
        Ok(self.0.reading_mm(source))
    }
}

getters!(PyBenchScatter, |found| {
    /// Estimated standard deviation, mm of a moving-source reading; 0 where the noise explains all differences.
    scatter_mm: f64 = found.scatter_mm;
    /// It is no larger than this in 95 % of cases or more, mm of a moving-source reading.
    upper_mm: f64 = found.upper_mm;
    /// Chance that two benches without scatter differ as much or more.
    p_value: f64 = found.p_value;
    /// Degrees of freedom: openings less one, for the free zero.
    freedom: usize = found.freedom;
});
record!(PyBenchScatter, "BenchScatter",
    attributes: ["scatter_mm", "upper_mm", "p_value", "freedom"],
    shown: ["scatter_mm", "upper_mm", "p_value", "freedom"]);

/// Return how much two benches scatter beyond the noise of their readings, from one surface read on both.
///
/// Both benches are taken to scatter alike, opening by opening independently; only the zeros are free, so a difference
/// that grows with r^2 counts as scatter. The source may move on one bench and stand on the other.
///
/// Units: mm of a moving-source reading.
/// Errors: InputError for readings of two mirrors, through other openings, or the same ones given twice.
/// Source: Paule & Mandel 1982 for the estimate, Viechtbauer 2007 for the bound (from memory).
/// Leaves out: what both benches share, as the radii of one mask.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
/// >>> first = ct.KnifeEdgeReadings(runs_mm=[0.33, 0.75, 1.33, 1.88], **bench)
/// >>> second = ct.KnifeEdgeReadings(runs_mm=[3.36, 3.73, 4.35, 4.87], **bench)
/// >>> assert ct.bench_scatter(first, second).p_value > 0.05
#[pyfunction]
#[pyo3(signature = (first, second, /))]
fn bench_scatter(
    py: Python<'_>,
    first: &Bound<'_, PyKnifeEdgeReadings>,
    second: &Bound<'_, PyKnifeEdgeReadings>,
) -> PyResult<PyBenchScatter> {
    let (first, second) = (first.get().0.clone(), second.get().0.clone());
    compute(py, move || crate::bench_scatter(&first, &second)).map(PyBenchScatter)
}
