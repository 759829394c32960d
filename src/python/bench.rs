//! Bench readings, and the figure they show.

use numpy::PyArray2;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{choice, count_or, list, number, number_or, table_with_gaps, wavelength};
use super::arrays::{Column, column, square};
use super::errors::{compute, exception, python_problems, refused};
use super::model::{PyPrimary, PyRadialProfile};
use super::rays::draw;
use super::record::{getters, record};
use crate::{
    FigureEstimate, KnifeEdgeReadings, MaskOpening, Measured, RadiusOfCurvatureMm, ReadingsIncrease,
    ReduceOptions, TestSource,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyKnifeEdgeReadings>()?;
    module.add_class::<PyFigureEstimate>()
}

/// Readings of a knife edge near the centre of curvature, zone by zone, in one or more runs.
///
/// Give the openings of the mask by inner and outer radius, or single radii. Source and direction of the
/// readings have no default. Every run has a zero of its own.
///
/// Units: mm.
/// Shapes: `runs_mm[run, opening]`, or one run as a list; None or NaN for a reading that was not taken.
/// Errors: InputError with all faults found.
/// Leaves out: astigmatism; every zone is taken to be round.
///
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
/// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
/// >>> assert readings.opening_count == 4 and readings.runs_mm.shape == (1, 4)
#[pyclass(name = "KnifeEdgeReadings", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyKnifeEdgeReadings(pub(super) KnifeEdgeReadings);

#[pymethods]
impl PyKnifeEdgeReadings {
    #[new]
    #[pyo3(signature = (*, clear_aperture_mm, radius_of_curvature_mm, source, readings_increase, runs_mm,
        inner_radius_mm=None, outer_radius_mm=None, radius_mm=None))]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        clear_aperture_mm: &Bound<'_, PyAny>,
        radius_of_curvature_mm: &Bound<'_, PyAny>,
        source: &str,
        readings_increase: &str,
        runs_mm: &Bound<'_, PyAny>,
        inner_radius_mm: Option<&Bound<'_, PyAny>>,
        outer_radius_mm: Option<&Bound<'_, PyAny>>,
        radius_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let bench = Bench::new(py, clear_aperture_mm, radius_of_curvature_mm, source, readings_increase)?;
        let openings = openings(py, inner_radius_mm, outer_radius_mm, radius_mm)?;
        KnifeEdgeReadings::through_openings(
            bench.clear_aperture_mm,
            bench.radius_of_curvature,
            bench.source,
            bench.readings_increase,
            openings,
            runs(runs_mm)?,
        )
        .map(Self)
        .map_err(|e| exception(py, e))
    }

    /// Return readings from a CSV file: a row an opening, a column `run_..._mm` a run.
    ///
    /// The other columns are `inner_radius_mm` and `outer_radius_mm`, or `radius_mm`.
    /// Lines that begin with `#` are passed over; an empty field is a reading that was not taken.
    ///
    /// Units: mm.
    /// Errors: OSError where the file cannot be read; InputError with the line for a missing or unknown
    /// column or text in place of a number, and with all faults of readings that cannot be.
    ///
    /// >>> import tempfile, pathlib
    /// >>> path = pathlib.Path(tempfile.mkdtemp()) / "readings.csv"
    /// >>> end = path.write_text("radius_mm,run_1_mm\n40,0.333\n60,0.750\n80,1.333\n95,1.930\n")
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> readings = ct.KnifeEdgeReadings.from_csv(path, readings_increase="away_from_mirror", **bench)
    /// >>> assert readings.run_count == 1
    #[staticmethod]
    #[pyo3(signature = (path, /, *, clear_aperture_mm, radius_of_curvature_mm, source, readings_increase))]
    fn from_csv(
        py: Python<'_>,
        path: std::path::PathBuf,
        clear_aperture_mm: &Bound<'_, PyAny>,
        radius_of_curvature_mm: &Bound<'_, PyAny>,
        source: &str,
        readings_increase: &str,
    ) -> PyResult<Self> {
        let bench = Bench::new(py, clear_aperture_mm, radius_of_curvature_mm, source, readings_increase)?;
        KnifeEdgeReadings::load_csv(
            path,
            bench.clear_aperture_mm,
            bench.radius_of_curvature,
            bench.source,
            bench.readings_increase,
        )
        .map(Self)
        .map_err(|e| exception(py, e))
    }

    /// Return the radial figure that the readings show, with what their noise makes uncertain.
    ///
    /// Heights at the rims of the openings, straight in r^2 between them. Beside each value stand two intervals: one
    /// from reading noise alone, and the total one, which holds what the readings cannot see as well.
    /// `radius_sigma_mm` is the standard deviation of the openings' radii; None: 0.2 mm is assumed.
    ///
    /// Units: the obstruction counts by diameter; nm, mm.
    /// Errors: InputError for options that cannot be.
    /// Source: the mean crossing over an opening is the height difference of its rims (own derivation).
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> figure = readings.reduce(seed=7)
    /// >>> assert figure.height_nm[-1] < figure.height_nm[-2]  # longer at the rim: turned down
    /// >>> assert figure == readings.reduce(seed=7)
    #[pyo3(signature = (*, obstruction_ratio=None, wavelength_nm=None, draws=None, seed=None, radius_sigma_mm=None),
        text_signature = "($self, *, obstruction_ratio=0.0, wavelength_nm=550.0, draws=2000, seed=1, radius_sigma_mm=None)")]
    fn reduce(
        &self,
        py: Python<'_>,
        obstruction_ratio: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        draws: Option<&Bound<'_, PyAny>>,
        seed: Option<&Bound<'_, PyAny>>,
        radius_sigma_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyFigureEstimate> {
        let options = ReduceOptions {
            obstruction_ratio: number_or(obstruction_ratio, "obstruction_ratio", 0.0)?,
            wavelength_nm: wavelength(wavelength_nm)?,
            draws: count_or(draws, "draws", 2000)?,
            seed: count_or(seed, "seed", 1)? as u64,
            radius_sigma_mm: radius_sigma_mm.map(|v| number(v, "radius_sigma_mm")).transpose()?,
        };
        let readings = self.0.clone();
        compute(py, move || readings.reduce(options)).map(PyFigureEstimate)
    }

    /// Return what is odd about the readings, though they can be reduced.
    ///
    /// The growth of the readings with r^2 is held against that of a paraboloid: minus the conic constant of
    /// `conic_fit()` without the outermost opening. Mistakes leave spans of their own:
    ///
    /// | mistake | span | what happens | cannot be told from |
    /// |---|---|---|---|
    /// | none | 0.65 to 1.6 | nothing | radius of curvature wrong by a little: harmless |
    /// | moving source taken as fixed | 0.5 | warning | focal length given for radius; a true K = -0.5 |
    /// | fixed source taken as moving | 2 | warning | twice the radius given; a true K = -2 |
    /// | readings increase the other way | -1 | refused | readings listed from the rim inward |
    /// | inches read as millimetres | 0.04 | warning | a sphere or nearly one |
    /// | millimetres read as inches | 25 | refused | the stage's divisions given for millimetres |
    /// | diameters of openings given for radii | 0.25 | warning | two mistakes of a factor of two |
    /// | radii of openings halved | 4 | warning | two mistakes of a factor of two |
    /// | radii of openings in inches | 600 | refused | |
    ///
    /// Nothing is repaired.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> fixed = bench | dict(source="fixed")  # but the readings are those of a moving source
    /// >>> odd = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.880], **fixed).problems()
    /// >>> assert "moving" in odd[0].cause
    fn problems(&self, py: Python<'_>) -> PyResult<Vec<Py<PyAny>>> {
        python_problems(py, &self.0.problems())
    }

    /// Inner radii of the openings, mm.
    #[getter]
    fn inner_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.openings().iter().map(|o| o.inner_radius_mm))
    }

    /// Outer radii of the openings, mm.
    #[getter]
    fn outer_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.openings().iter().map(|o| o.outer_radius_mm))
    }

    /// Radii that halve the openings' areas, mm: those to which the readings belong.
    #[getter]
    fn area_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.openings().iter().map(MaskOpening::area_radius_mm))
    }

    /// The readings as they were given, mm: `runs_mm[run, opening]`; NaN where one was not taken.
    #[getter]
    fn runs_mm<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        let row = |run: &Vec<Option<f64>>| run.iter().map(|reading| reading.unwrap_or(f64::NAN)).collect();
        square(py, &self.0.runs_mm().iter().map(row).collect::<Vec<Vec<f64>>>())
    }

    /// Mean reading of each opening over all runs, mm, as the stage counts.
    #[getter]
    fn mean_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.mean_mm())
    }

    /// Noise of one reading of each opening, mm, from the repeats.
    #[getter]
    fn sigma_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.sigma_mm())
    }

    /// Return a Table: a row an opening, with its mean, its noise, and the reading of a paraboloid.
    ///
    /// Units: mm.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> table = readings.table()
    /// >>> assert table.rows == 4 and abs(table["paraboloid_mm"][0] - 40**2 / 4800) < 1e-12
    fn table<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        let readings = &slf.get().0;
        let ideal = readings
            .openings()
            .iter()
            .map(|o| o.ideal_reading_mm(readings.source(), readings.radius_of_curvature()));
        let columns = PyDict::new(slf.py());
        for name in ["inner_radius_mm", "outer_radius_mm", "area_radius_mm", "mean_mm", "sigma_mm"] {
            columns.set_item(name, slf.getattr(name)?)?;
        }
        columns.set_item("paraboloid_mm", column(slf.py(), ideal))?;
        slf.py().import("catoptric.table")?.call_method1("Table", (columns,))
    }

    /// Draw the readings less those of a paraboloid; return the axes.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> axes = readings.plot()
    /// >>> assert "mm" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("readings", slf.as_any(), ax, None)
    }
}

getters!(PyKnifeEdgeReadings, |readings| {
    /// Clear aperture of the mirror, mm.
    clear_aperture_mm: f64 = readings.clear_aperture_mm();
    /// Radius of curvature at the vertex, mm.
    radius_of_curvature_mm: f64 = readings.radius_of_curvature().0;
    /// Whether the source moves with the knife: "moving" or "fixed".
    source: &'static str = readings.source().name();
    /// Which way the scale counts: "away_from_mirror" or "toward_mirror".
    readings_increase: &'static str = readings.readings_increase().name();
    /// How many runs there are.
    run_count: usize = readings.runs_mm().len();
    /// How many openings the mask has.
    opening_count: usize = readings.openings().len();
});
record!(PyKnifeEdgeReadings, "KnifeEdgeReadings",
    attributes: ["clear_aperture_mm", "radius_of_curvature_mm", "source", "readings_increase", "inner_radius_mm",
        "outer_radius_mm", "runs_mm"],
    shown: ["clear_aperture_mm", "radius_of_curvature_mm", "source", "readings_increase", "opening_count", "run_count"]);

/// The arguments that readings share, wherever they come from.
struct Bench {
    clear_aperture_mm: f64,
    radius_of_curvature: RadiusOfCurvatureMm,
    source: TestSource,
    readings_increase: ReadingsIncrease,
}

impl Bench {
    fn new(
        py: Python<'_>,
        clear_aperture_mm: &Bound<'_, PyAny>,
        radius_of_curvature_mm: &Bound<'_, PyAny>,
        source: &str,
        readings_increase: &str,
    ) -> PyResult<Self> {
        let directions = "'away_from_mirror' or 'toward_mirror'";
        Ok(Self {
            clear_aperture_mm: number(clear_aperture_mm, "clear_aperture_mm")?,
            radius_of_curvature: RadiusOfCurvatureMm(number(
                radius_of_curvature_mm,
                "radius_of_curvature_mm",
            )?),
            source: choice(py, "source", source, "'moving' or 'fixed'", TestSource::from_name)?,
            readings_increase: choice(
                py,
                "readings_increase",
                readings_increase,
                directions,
                ReadingsIncrease::from_name,
            )?,
        })
    }
}

fn openings(
    py: Python<'_>,
    inner: Option<&Bound<'_, PyAny>>,
    outer: Option<&Bound<'_, PyAny>>,
    radius: Option<&Bound<'_, PyAny>>,
) -> PyResult<Vec<MaskOpening>> {
    let (inner, outer) = match (inner, outer, radius) {
        (Some(inner), Some(outer), None) => {
            (list(inner, "inner_radius_mm")?, list(outer, "outer_radius_mm")?)
        }
        (None, None, Some(radius)) => {
            let radii = list(radius, "radius_mm")?;
            (radii.clone(), radii)
        }
        _ => {
            let allowed = "inner_radius_mm and outer_radius_mm, or radius_mm alone";
            return Err(refused(py, "radius_mm", "other arguments", allowed, ""));
        }
    };
    if inner.len() != outer.len() {
        let found = format!("{} beside {} inner radii", outer.len(), inner.len());
        return Err(refused(py, "outer_radius_mm", &found, "two lists of equal length", ""));
    }
    let pairs = inner.into_iter().zip(outer);
    Ok(pairs
        .map(|(inner_radius_mm, outer_radius_mm)| MaskOpening { inner_radius_mm, outer_radius_mm })
        .collect())
}

/// One run as a list, or several as a table; None and NaN stand for readings that were not taken.
fn runs(value: &Bound<'_, PyAny>) -> PyResult<Vec<Vec<f64>>> {
    table_with_gaps(value, "runs_mm")
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
/// >>> assert figure.strehl_total_interval[0] < figure.strehl_interval[0]
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

    /// Return the figure as a layer for a primary.
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

    /// Draw the figure with the band of its reading noise; return the axes.
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
    readings: PyKnifeEdgeReadings = PyKnifeEdgeReadings(figure.readings.clone());
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
    assumption: String = figure.assumption.clone();
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
        "strehl_least_rms_total_interval", "seen_rms_nm", "seen_rms_nm_interval", "assumption", "radius_sigma_mm",
        "obstruction_ratio", "wavelength_nm", "draws", "seed"],
    shown: ["strehl",  "rms_nm",  "obstruction_ratio", "wavelength_nm"]);
