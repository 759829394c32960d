//! Bench readings, and the figure they show.

use numpy::{IntoPyArray, PyArray2};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{
    choice, count_or, list, maybe_number, number, number_or, one_or_list, table_with_gaps, wavelength,
};
use super::arrays::{Column, column, square};
use super::compute::compute;
use super::errors::{exception, python_problems, refused};
use super::estimate::{PyFigureEstimate, table_of};
use super::once::Once;
use super::rays::draw;
use super::record::{getters, record};
use crate::{
    KnifeEdgeReadings, MaskOpening, RadiusOfCurvatureMm, ReadingsIncrease, ReduceOptions, TestSource,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyKnifeEdgeReadings>()
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
pub(super) struct PyKnifeEdgeReadings(pub(super) KnifeEdgeReadings, #[serde(skip)] Once<MeansAndNoise>);

/// Of each opening, mm.
type MeansAndNoise = (Vec<f64>, Vec<f64>);

impl From<KnifeEdgeReadings> for PyKnifeEdgeReadings {
    fn from(readings: KnifeEdgeReadings) -> Self {
        Self(readings, Once::default())
    }
}

impl PyKnifeEdgeReadings {
    fn means_and_noise(&self) -> PyResult<&MeansAndNoise> {
        self.1.get(|| Ok((self.0.mean_mm(), self.0.sigma_mm())))
    }
}

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
        .map(Self::from)
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
        .map(Self::from)
        .map_err(|e| exception(py, e))
    }

    /// Return the radial figure that the readings show, with what their noise makes uncertain.
    ///
    /// Heights at the rims of the openings, straight in r^2 between them. Beside each value stand two intervals: one
    /// from reading noise alone, and the total one, which holds what the readings cannot see as well.
    /// `radius_sigma_mm` is the standard deviation of the openings' radii; None: 0.2 mm is assumed. `reading_sigma_mm` is the
    /// noise of one reading, one number or one an opening; None: estimated from the repeats. `bench_scatter_mm` is what a
    /// bench adds to each opening in all its runs alike.
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
    #[pyo3(signature = (*, obstruction_ratio=None, wavelength_nm=None, draws=None, seed=None, radius_sigma_mm=None,
        reading_sigma_mm=None, bench_scatter_mm=None),
        text_signature = "($self, *, obstruction_ratio=0.0, wavelength_nm=550.0, draws=2000, seed=1, radius_sigma_mm=None, \
            reading_sigma_mm=None, bench_scatter_mm=0.0)")]
    #[allow(clippy::too_many_arguments)]
    fn reduce(
        &self,
        py: Python<'_>,
        obstruction_ratio: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        draws: Option<&Bound<'_, PyAny>>,
        seed: Option<&Bound<'_, PyAny>>,
        radius_sigma_mm: Option<&Bound<'_, PyAny>>,
        reading_sigma_mm: Option<&Bound<'_, PyAny>>,
        bench_scatter_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyFigureEstimate> {
        let options = ReduceOptions {
            obstruction_ratio: number_or(obstruction_ratio, "obstruction_ratio", 0.0)?,
            wavelength_nm: wavelength(wavelength_nm)?,
            draws: count_or(draws, "draws", 2000)?,
            seed: count_or(seed, "seed", 1)? as u64,
            radius_sigma_mm: maybe_number(radius_sigma_mm, "radius_sigma_mm")?,
            reading_sigma_mm: reading_sigma_mm.map(|v| one_or_list(v, "reading_sigma_mm")).transpose()?,
            bench_scatter_mm: number_or(bench_scatter_mm, "bench_scatter_mm", 0.0)?,
        };
        let readings = self.0.clone();
        compute(py, move || readings.reduce(options)).map(PyFigureEstimate)
    }

    /// Return a Table of the plain reduction's Strehl, RMS and PV, repeated with readings drawn again within their noise.
    ///
    /// Units: nm of wavefront. Shapes: `draws` rows.
    /// Leaves out: everything that the readings cannot see; `reduce` has it.
    /// Errors: InputError for options that cannot be.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> repeats = readings.repeat_with_noise(draws=10_000)
    /// >>> assert repeats.rows == 10_000 and repeats["strehl"].std() > 0
    #[pyo3(signature = (*, obstruction_ratio=None, wavelength_nm=None, draws=None, seed=None),
        text_signature = "($self, *, obstruction_ratio=0.0, wavelength_nm=550.0, draws=2000, seed=1)")]
    fn repeat_with_noise<'py>(
        &self,
        py: Python<'py>,
        obstruction_ratio: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        draws: Option<&Bound<'_, PyAny>>,
        seed: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = ReduceOptions {
            obstruction_ratio: number_or(obstruction_ratio, "obstruction_ratio", 0.0)?,
            wavelength_nm: wavelength(wavelength_nm)?,
            draws: count_or(draws, "draws", 2000)?,
            seed: count_or(seed, "seed", 1)? as u64,
            ..ReduceOptions::default()
        };
        let readings = self.0.clone();
        let found = compute(py, move || readings.repeat_with_noise(&options))?;
        let columns = PyDict::new(py);
        let lists = [
            ("strehl", found.strehl),
            ("strehl_least_rms", found.strehl_least_rms),
            ("rms_nm", found.rms_nm),
            ("pv_nm", found.pv_nm),
        ];
        for (name, list) in lists {
            columns.set_item(name, column(py, list))?;
        }
        table_of(&columns)
    }

    /// Return the plain reduction as what it is, a linear operator: `operator[radius, opening]`.
    ///
    /// Its product with what the mean readings are too long by (mm, against a paraboloid; a common zero changes
    /// nothing) is the height of the glass at best focus (nm) at the given radii.
    ///
    /// Units: nm of glass for each mm of reading.
    /// Errors: InputError for a radius off the mirror.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> figure = readings.reduce()
    /// >>> operator = readings.figure_operator(figure.radius_mm)
    /// >>> assert abs(operator @ figure.zone_error_mm - figure.height_nm).max() < 1e-9
    #[pyo3(signature = (radius_mm, /, *, obstruction_ratio=None),
        text_signature = "($self, radius_mm, /, *, obstruction_ratio=0.0)")]
    fn figure_operator<'py>(
        &self,
        py: Python<'py>,
        radius_mm: &Bound<'_, PyAny>,
        obstruction_ratio: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Bound<'py, PyArray2<f64>>> {
        let options = ReduceOptions {
            obstruction_ratio: number_or(obstruction_ratio, "obstruction_ratio", 0.0)?,
            ..ReduceOptions::default()
        };
        let radii = list(radius_mm, "radius_mm")?;
        let operator = self.0.figure_operator(&radii, &options).map_err(|e| exception(py, e))?;
        Ok(square(py, &operator.nm_per_mm))
    }

    /// Return a Table of readings that do not fit with the other runs of their opening, the worst first.
    ///
    /// `sigmas` is how far off they are, in standard deviations of a normal distribution that is as improbable; listed
    /// are those beyond 3.5. `run` and `opening` count from 1.
    ///
    /// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
    /// >>> bench |= dict(readings_increase="away_from_mirror", radius_mm=[40, 60, 80, 95])
    /// >>> readings = ct.KnifeEdgeReadings(runs_mm=[0.333, 0.750, 1.333, 1.930], **bench)
    /// >>> assert readings.outliers().rows == 0
    fn outliers<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let found = self.0.outliers();
        let columns = PyDict::new(py);
        let counts =
            |of: fn(&crate::Outlier) -> usize| found.iter().map(|o| of(o) as i64 + 1).collect::<Vec<i64>>();
        columns.set_item("run", counts(|o| o.run).into_pyarray(py))?;
        columns.set_item("opening", counts(|o| o.opening).into_pyarray(py))?;
        columns.set_item("sigmas", column(py, found.iter().map(|o| o.sigmas)))?;
        table_of(&columns)
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
    /// | two factors of 2 that cancel | 1 | nothing: heights off by 8 | a sound set |
    ///
    /// A single run, whose noise must be assumed, and the readings of `outliers()` are named as well. Nothing is repaired.
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
        let row = |run: &Vec<Option<f64>>| run.iter().map(|y| y.unwrap_or(f64::NAN)).collect();
        square(py, &self.0.runs_mm().iter().map(row).collect::<Vec<Vec<f64>>>())
    }

    /// Mean reading of each opening over all runs, mm, as the stage counts.
    #[getter]
    fn mean_mm<'py>(&self, py: Python<'py>) -> PyResult<Column<'py>> {
        Ok(column(py, self.means_and_noise()?.0.iter().copied()))
    }

    /// Noise of one reading of each opening, mm: from the repeats, and for a single run from what is usual (half of the Airy
    /// radius at the knife).
    #[getter]
    fn sigma_mm<'py>(&self, py: Python<'py>) -> PyResult<Column<'py>> {
        Ok(column(py, self.means_and_noise()?.1.iter().copied()))
    }

    /// Readings of a perfect paraboloid through the openings, counted from that of its centre, mm, as the stage counts.
    #[getter]
    fn paraboloid_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        let (sign, radius) = (self.0.readings_increase().sign(), self.0.radius_of_curvature());
        column(py, self.0.openings().iter().map(|o| sign * o.ideal_reading_mm(self.0.source(), radius)))
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
        let columns = PyDict::new(slf.py());
        for name in
            ["inner_radius_mm", "outer_radius_mm", "area_radius_mm", "mean_mm", "sigma_mm", "paraboloid_mm"]
        {
            columns.set_item(name, slf.getattr(name)?)?;
        }
        table_of(&columns)
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

pub(super) fn openings(
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
