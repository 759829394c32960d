//! The figure that readings show.

use numpy::PyArray2;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arrays::{Column, column, square};
use super::bench::PyKnifeEdgeReadings;
use super::compute::compute;
use super::model::{PyPrimary, PyRadialProfile};
use super::rays::draw;
use super::record::{getters, record};
use crate::{FigureEstimate, Measured, NextMeasurement, ZoneCheck};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyFigureEstimate>()
}

/// A Table of these columns.
pub(super) fn table_of<'py>(columns: &Bound<'py, PyDict>) -> PyResult<Bound<'py, PyAny>> {
    columns.py().import("catoptric.table")?.call_method1("Table", (columns,))
}

/// Advice on what to measure next, as a Table.
pub(super) fn next_table<'py>(py: Python<'py>, next: &[NextMeasurement]) -> PyResult<Bound<'py, PyAny>> {
    let columns = PyDict::new(py);
    columns.set_item("what", next.iter().map(|n| n.what.clone()).collect::<Vec<String>>())?;
    columns.set_item("half_width_now", column(py, next.iter().map(|n| n.half_width_now)))?;
    let then = next.iter().map(|n| n.half_width_then.unwrap_or(f64::NAN));
    columns.set_item("half_width_then", column(py, then))?;
    columns.set_item("effective_draws", column(py, next.iter().map(|n| n.effective_draws)))?;
    table_of(&columns)
}

/// The ends of the interval from reading noise.
pub(super) fn ends(measured: &Measured) -> (f64, f64) {
    (measured.noise.low, measured.noise.high)
}

/// The ends of the total interval.
pub(super) fn total_ends(measured: &Measured) -> (f64, f64) {
    (measured.total.low, measured.total.high)
}

/// The radial figure that a set of readings shows.
///
/// Heights are those of the glass at best focus, a hill positive; RMS, PV and Strehl are those of the
/// wavefront. Every `..._total_interval` holds 95 % of the figures that give these readings within noise and radii,
/// unseen edges and zones among them: quote this one. The other `..._interval`s hold 95 % of repeats with readings
/// redrawn within their noise, and miss most turned edges.
///
/// Units: mm, nm.
/// Shapes: `radius_mm`, `height_nm`, `height_sigma_nm` and both sides of `covariance_nm2` have one entry a
/// knot.
/// Leaves out: what is not rotationally symmetric; single zones narrower than an opening.
/// Errors: those of `KnifeEdgeReadings.reduce`, which makes it.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
/// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
/// >>> figure = readings.reduce()
/// >>> assert figure.radius_mm[-1] == 100 and figure.covariance_nm2.shape == (5, 5)
/// >>> assert figure.strehl_interval[0] <= figure.strehl <= figure.strehl_interval[1]
/// >>> assert figure.strehl_total_interval[0] < figure.strehl_total_interval[1]
#[pyclass(name = "FigureEstimate", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFigureEstimate(pub(super) FigureEstimate);

#[pymethods]
impl PyFigureEstimate {
    /// Radii of the knots, mm: the centre, the rims between openings, the rim of the mirror.
    #[getter]
    fn radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.radius_mm.iter().copied())
    }

    /// Heights of the glass at the knots, nm; between them straight in r^2.
    #[getter]
    fn height_nm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.height_nm.iter().copied())
    }

    /// Standard deviations of the heights from reading noise, nm.
    #[getter]
    fn height_sigma_nm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.height_sigma_nm())
    }

    /// Covariance of the heights from reading noise, nm^2.
    #[getter]
    fn covariance_nm2<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        square(py, &self.0.covariance_nm2)
    }

    /// Mean reading of each opening less that of the paraboloid, mm away from the mirror.
    #[getter]
    fn zone_error_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.zone_error_mm.iter().copied())
    }

    /// Strehl at the brightest focus of every repeat.
    #[getter]
    fn strehl_draws<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.draws.strehl.iter().copied())
    }

    /// Strehl at the brightest focus of every figure behind the total interval.
    #[getter]
    fn strehl_total_draws<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.total_draws.strehl.iter().copied())
    }

    /// Wavefront RMS of every repeat, nm.
    #[getter]
    fn rms_nm_draws<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.draws.rms_nm.iter().copied())
    }

    /// Inner radii of the openings behind it, mm.
    #[getter]
    fn inner_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.readings.openings().iter().map(|o| o.inner_radius_mm))
    }

    /// Outer radii of the openings behind it, mm.
    #[getter]
    fn outer_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.readings.openings().iter().map(|o| o.outer_radius_mm))
    }

    /// Radii of the mean figure, mm, from the centre to the rim.
    #[getter]
    fn smooth_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.smooth.radius_mm.iter().copied())
    }

    /// Mean of the figures behind the total intervals, nm of glass at best focus.
    #[getter]
    fn smooth_height_nm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.smooth.height_nm.iter().copied())
    }

    /// Standard deviations of the mean figure, nm: noise, radii, and what the readings cannot see.
    #[getter]
    fn smooth_sigma_nm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.smooth.sigma_nm())
    }

    /// Covariance of the mean figure, nm^2.
    #[getter]
    fn smooth_covariance_nm2<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        square(py, &self.0.smooth.covariance_nm2)
    }

    /// How far the ends of the total intervals rest on the assumed edges, as shares of the intervals' widths.
    ///
    /// A pair for each of "Strehl", "RMS" and "PV": by so much the lower and the upper end move when the edge drops that
    /// are assumed before reading are halved or doubled.
    #[getter]
    fn assumed_shares<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let dict = PyDict::new(py);
        for ends in &self.0.assumed_ends {
            dict.set_item(&ends.quantity, (ends.low_share, ends.high_share))?;
        }
        Ok(dict)
    }

    /// Return a Table of how well each opening agrees with what the others predict.
    ///
    /// `error_mm` is what was read less what the others predict; below a `probability` of 0.005 the opening is
    /// `suspect`: read it again.
    ///
    /// Leaves out: two neighbouring openings whose readings were exchanged may escape it; `second_look` sees most of those.
    /// Source: leave-one-out predictions (Rasmussen & Williams 2006, section 5.4.2).
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> table = readings.reduce().zone_checks()
    /// >>> assert table.rows == 4 and not table["suspect"].any()
    fn zone_checks<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let (checks, openings) = (&self.0.zone_checks, self.0.readings.openings());
        let columns = PyDict::new(py);
        columns.set_item("inner_radius_mm", column(py, openings.iter().map(|o| o.inner_radius_mm)))?;
        columns.set_item("outer_radius_mm", column(py, openings.iter().map(|o| o.outer_radius_mm)))?;
        columns.set_item("error_mm", column(py, checks.iter().map(|c| c.error_mm)))?;
        columns.set_item("probability", column(py, checks.iter().map(|c| c.probability)))?;
        columns.set_item("suspect", checks.iter().map(ZoneCheck::is_suspect).collect::<Vec<bool>>())?;
        table_of(&columns)
    }

    /// Return a Table of what could be measured next, the most useful first.
    ///
    /// The half widths are those of the total 95 % interval of the Strehl, as it is and, on the average, as it would be; NaN
    /// where too few draws are left to put a number to it.
    ///
    /// Source: preposterior analysis (Raiffa & Schlaifer, Applied Statistical Decision Theory, 1961, from memory).
    /// Leaves out: the cost of each measurement.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> table = readings.reduce().next_measurements()
    /// >>> assert "more runs" in " ".join(table["what"])
    fn next_measurements<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let figure = self.0.clone();
        let next = compute(py, move || figure.next_measurements())?;
        next_table(py, &next)
    }

    /// Return the plain figure as a layer for a primary.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> layer = readings.reduce().as_layer()
    /// >>> assert layer.joined == "straight_in_area" and layer.points == 5
    fn as_layer(&self) -> PyRadialProfile {
        PyRadialProfile(self.0.as_layer())
    }

    /// Return a paraboloid of the tested size with the figure on it; keywords change other values of the
    /// Primary.
    /// Errors: InputError with all faults found.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> mirror = readings.reduce().primary(mask_diameter_mm=190)
    /// >>> assert mirror.focal_length_mm == 1200 and len(mirror.figure) == 1
    #[pyo3(signature = (**changes))]
    fn primary<'py>(
        &self,
        py: Python<'py>,
        changes: Option<&Bound<'py, PyDict>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let keywords = PyPrimary::keywords(&Bound::new(py, PyPrimary(self.0.primary()))?)?;
        if let Some(changes) = changes {
            keywords.update(changes.as_mapping())?;
        }
        py.get_type::<PyPrimary>().call((), Some(&keywords))
    }

    /// Draw the figure with the bands of both intervals; return the axes.
    ///
    /// Call it again on the same axes with another `series` (0 to 3) and a `label` to compare.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> axes = readings.reduce().plot(label="before", series=0)
    /// >>> assert "nm" in axes.get_ylabel()
    #[pyo3(signature = (ax=None, *, label="", series=1))]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        label: &str,
        series: usize,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("label", label)?;
        options.set_item("series", series)?;
        draw("figure_estimate", slf.as_any(), ax, Some(&options))
    }
}

getters!(PyFigureEstimate, |figure| {
    /// The readings behind it.
    readings: PyKnifeEdgeReadings = figure.readings.clone().into();
    /// RMS of the wavefront at the focus of least RMS, nm.
    rms_nm: f64 = figure.rms_nm.value;
    /// Its interval from reading noise, nm.
    rms_nm_interval: (f64, f64) = ends(&figure.rms_nm);
    /// Its total interval, nm.
    rms_nm_total_interval: (f64, f64) = total_ends(&figure.rms_nm);
    /// PV of the wavefront at the focus of least RMS, nm.
    pv_nm: f64 = figure.pv_nm.value;
    /// Its interval from reading noise, nm.
    pv_nm_interval: (f64, f64) = ends(&figure.pv_nm);
    /// Its total interval, nm.
    pv_nm_total_interval: (f64, f64) = total_ends(&figure.pv_nm);
    /// Strehl at the brightest focus, where an observer focuses.
    strehl: f64 = figure.strehl.value;
    /// Its interval from reading noise.
    strehl_interval: (f64, f64) = ends(&figure.strehl);
    /// Its total interval.
    strehl_total_interval: (f64, f64) = total_ends(&figure.strehl);
    /// Strehl at the focus of least RMS.
    strehl_least_rms: f64 = figure.strehl_least_rms.value;
    /// Its interval from reading noise.
    strehl_least_rms_interval: (f64, f64) = ends(&figure.strehl_least_rms);
    /// Its total interval.
    strehl_least_rms_total_interval: (f64, f64) = total_ends(&figure.strehl_least_rms);
    /// Wavefront RMS over the part that the openings saw, at its own best focus, nm: the median.
    seen_rms_nm: f64 = figure.seen_rms_nm.median;
    /// Its total interval, nm.
    seen_rms_nm_interval: (f64, f64) = (figure.seen_rms_nm.total.low, figure.seen_rms_nm.total.high);
    /// Which ends of the total intervals rest on the assumed edges, as a sentence, or an empty text.
    assumption: String = figure.assumption();
    /// Whether the readings ask for the largest narrow zones there are: were those of two neighbours exchanged?
    second_look: bool = figure.second_look;
    /// Fall of the glass from the inner rim of the outermost opening to the rim, nm, negative where turned down: the
    /// median.
    edge_fall_nm: f64 = figure.edge.fall_nm.median;
    /// Its total interval, nm.
    edge_fall_nm_interval: (f64, f64) = (figure.edge.fall_nm.total.low, figure.edge.fall_nm.total.high);
    /// Widths of the edge that the readings leave open, mm: 90 % of them.
    edge_width_mm_interval: (f64, f64) = (figure.edge.least_width_mm, figure.edge.greatest_width_mm);
    /// What the bench adds to each opening in all its runs alike, as stated, mm.
    bench_scatter_mm: f64 = figure.options.bench_scatter_mm;
    /// Standard deviation of the openings' radii, stated or assumed, mm.
    radius_sigma_mm: f64 = figure.options.radius_sigma_mm();
    /// Diameter of the diagonal's shadow over the clear aperture.
    obstruction_ratio: f64 = figure.options.obstruction_ratio;
    /// Wavelength, nm.
    wavelength_nm: f64 = figure.options.wavelength_nm;
    /// How many repeats are behind the intervals.
    draws: usize = figure.options.draws;
    /// Seed of the repeats.
    seed: u64 = figure.options.seed;
});
record!(PyFigureEstimate, "FigureEstimate",
    attributes: ["radius_mm", "height_nm", "height_sigma_nm", "covariance_nm2", "zone_error_mm", "rms_nm",
        "rms_nm_interval", "rms_nm_total_interval", "pv_nm", "pv_nm_interval", "pv_nm_total_interval", "strehl",
        "strehl_interval", "strehl_total_interval", "strehl_least_rms", "strehl_least_rms_interval",
        "strehl_least_rms_total_interval", "seen_rms_nm", "seen_rms_nm_interval", "assumption", "second_look",
        "edge_fall_nm", "edge_fall_nm_interval", "edge_width_mm_interval", "smooth_radius_mm", "smooth_height_nm",
        "smooth_sigma_nm", "radius_sigma_mm", "bench_scatter_mm",
        "obstruction_ratio", "wavelength_nm", "draws", "seed"],
    shown: ["strehl",  "rms_nm",  "obstruction_ratio", "wavelength_nm"]);
