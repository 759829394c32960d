//! Lamp readings of a coating, and the levels they give.

use numpy::PyArray2;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{
    choice, count_or, list, maybe_part_number, number, part_number, part_number_or, table_with_gaps,
};
use super::arrays::square;
use super::coating::PyCoating;
use super::coating_outline::PyCoatingOutline;
use super::errors::{exception, refused};
use super::film::PyMetalFilm;
use super::rays::draw;
use super::record::{columns, getters, record};
use crate::{
    CoatingEstimate, CoatingSpot, CoatingSpots, CoatingSpotsInput, RatioOutlier, ThinBranch, ThinMetalPart,
    Wear,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyCoatingSpots>()?;
    module.add_class::<PyCoatingEstimate>()?;
    module.add_class::<PyRatioOutlier>()?;
    module.add_class::<PyThinMetalPart>()
}

/// What wore a coating: "haze", or the film of the metal that is thinner in places.
pub(super) fn wear(py: Python<'_>, value: Option<&Bound<'_, PyAny>>) -> PyResult<Wear> {
    let allowed = "'haze' (dims alone) or the MetalFilm of the base (thin metal dims and is a hollow)";
    let Some(value) = value else {
        let cause = "only you can tell what wore the coating; there is no default";
        return Err(refused(py, "wear", "nothing", allowed, cause));
    };
    if let Ok(film) = value.extract::<PyMetalFilm>() {
        return Ok(Wear::ThinMetal(film.0));
    }
    if value.extract::<String>().is_ok_and(|name| name == "haze") {
        return Ok(Wear::Haze);
    }
    Err(refused(py, "wear", &value.to_string(), allowed, ""))
}

pub(super) fn branch(py: Python<'_>, name: Option<&str>) -> PyResult<Option<ThinBranch>> {
    let allowed = "'thinnest' or 'thickest'";
    name.map(|name| choice(py, "branch", name, allowed, ThinBranch::from_name)).transpose()
}

/// Readings of a lamp at places on the mirror, each beside a flat of known reflectance.
///
/// `ratios` are light from the mirror over light from the flat, one row a spot, one column a repeat; None or NaN for a
/// repeat that was not taken. `reference_sigma` is the standard deviation of the flat's own reflectance, which moves
/// all levels together; `ratio_sigma` that of one ratio, needed where no spot was read twice.
///
/// Units: mm, +x toward the focuser; shares of the power.
/// Errors: InputError with all faults found: spots off the mirror, per cent for shares, no repeats and no stated noise.
/// Leaves out: the size of the lit spot (d^2/32 times the sum of the second derivatives: 0.003 for 5 mm on the bottom
/// of a ring 27 mm wide and 0.13 deep); the lamp's colour.
///
/// >>> spots = ct.CoatingSpots(x_mm=[30, 0], y_mm=[0, 70], ratios=[[0.95, 0.97], [0.96, 0.96]],
/// ...     clear_aperture_mm=200, reference_reflectance=0.90)
/// >>> estimate = spots.fit(ct.CoatingOutline())
/// >>> assert abs(estimate.reflectance[0] - 0.864) < 1e-12  # 0.90 x 0.96
#[pyclass(name = "CoatingSpots", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoatingSpots(CoatingSpots);

#[pymethods]
impl PyCoatingSpots {
    #[new]
    #[pyo3(signature = (*, x_mm, y_mm, ratios, clear_aperture_mm, reference_reflectance, reference_sigma=None, ratio_sigma=None),
        text_signature = "(*, x_mm, y_mm, ratios, clear_aperture_mm, reference_reflectance, reference_sigma=0.0, ratio_sigma=None)")]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        x_mm: &Bound<'_, PyAny>,
        y_mm: &Bound<'_, PyAny>,
        ratios: &Bound<'_, PyAny>,
        clear_aperture_mm: &Bound<'_, PyAny>,
        reference_reflectance: &Bound<'_, PyAny>,
        reference_sigma: Option<&Bound<'_, PyAny>>,
        ratio_sigma: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let (x_mm, y_mm) = (list(x_mm, "x_mm")?, list(y_mm, "y_mm")?);
        let mut rows = table_with_gaps(ratios, "ratios")?;
        // A plain list is one ratio a spot, not one spot.
        let flat = py.import("numpy")?.call_method1("ndim", (ratios,))?.extract::<usize>()? == 1;
        if let [row] = rows.as_slice()
            && flat
        {
            rows = row.iter().map(|ratio| vec![*ratio]).collect();
        }
        if x_mm.len() != y_mm.len() || x_mm.len() != rows.len() {
            let found = format!("{} rows beside {} x_mm and {} y_mm", rows.len(), x_mm.len(), y_mm.len());
            return Err(refused(
                py,
                "ratios",
                &found,
                "one row of ratios for each place",
                "rows and columns exchanged?",
            ));
        }
        let spots = x_mm.iter().zip(&y_mm).zip(rows).map(|((x, y), row)| {
            CoatingSpot::new(*x, *y, row.into_iter().filter(|ratio| !ratio.is_nan()).collect())
        });
        let known = part_number(reference_reflectance, "reference_reflectance")?;
        let size = part_number(clear_aperture_mm, "clear_aperture_mm")?;
        let input = CoatingSpotsInput {
            reference_sigma: part_number_or(reference_sigma, "reference_sigma", 0.0)?,
            ratio_sigma: maybe_part_number(ratio_sigma, "ratio_sigma")?,
            ..CoatingSpotsInput::new(size, known, spots.collect())
        };
        CoatingSpots::new(input).map(Self).map_err(|e| exception(py, e))
    }

    /// Return readings from a CSV file: a row a spot, columns `x_mm`, `y_mm` and one `ratio_...` for each repeat.
    ///
    /// Lines that begin with `#` are passed over; an empty field is a repeat that was not taken.
    ///
    /// Units: mm; shares of the power.
    /// Errors: OSError where the file cannot be read; InputError with the line for a missing or unknown column or text
    /// in place of a number, and with all faults of readings that cannot be.
    ///
    /// >>> import tempfile, pathlib
    /// >>> path = pathlib.Path(tempfile.mkdtemp()) / "lamp.csv"
    /// >>> end = path.write_text("x_mm,y_mm,ratio_1,ratio_2\n40,0,0.96,0.95\n0,75,0.97,\n")
    /// >>> spots = ct.CoatingSpots.from_csv(path, clear_aperture_mm=356, reference_reflectance=0.90)
    /// >>> assert spots.spot_count == 2 and spots.ratios == ((0.96, 0.95), (0.97,))
    #[staticmethod]
    #[pyo3(signature = (path, /, *, clear_aperture_mm, reference_reflectance, reference_sigma=None),
        text_signature = "(path, /, *, clear_aperture_mm, reference_reflectance, reference_sigma=0.0)")]
    fn from_csv(
        py: Python<'_>,
        path: std::path::PathBuf,
        clear_aperture_mm: &Bound<'_, PyAny>,
        reference_reflectance: &Bound<'_, PyAny>,
        reference_sigma: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let known = part_number(reference_reflectance, "reference_reflectance")?;
        let size = part_number(clear_aperture_mm, "clear_aperture_mm")?;
        let sigma = part_number_or(reference_sigma, "reference_sigma", 0.0)?;
        let spots = CoatingSpots::load_csv(path, size, known).and_then(|spots| spots.reference_sigma(sigma));
        spots.map(Self).map_err(|e| exception(py, e))
    }

    /// Return the levels of a coating whose shapes are known, with their uncertainty.
    ///
    /// Units, method, what is left out: see `CoatingEstimate`.
    /// Errors: InputError for an outline that leaves the mirror, a part (or the base) that no spot touches, parts that
    /// the spots cannot tell apart.
    ///
    /// >>> spots = ct.CoatingSpots(x_mm=[30], y_mm=[0], ratios=[[0.95, 0.97]], clear_aperture_mm=200,
    /// ...     reference_reflectance=0.90)
    /// >>> assert abs(spots.fit(ct.CoatingOutline()).reflectance[0] - 0.864) < 1e-12  # 0.90 x 0.96
    /// >>> try:
    /// ...     spots.fit(ct.CoatingOutline(rings=[ct.OutlineRing(inner_radius_mm=60, outer_radius_mm=70)]))
    /// ... except ct.InputError as error:
    /// ...     assert "rings[0]" in str(error)
    #[pyo3(signature = (outline, /))]
    fn fit(&self, py: Python<'_>, outline: PyCoatingOutline) -> PyResult<PyCoatingEstimate> {
        self.0.fit(&outline.0).map(PyCoatingEstimate).map_err(|e| exception(py, e))
    }

    /// Ratios of each spot.
    #[getter]
    fn ratios<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        let rows = self.0.input().spots.iter().map(|spot| PyTuple::new(py, &spot.ratios));
        PyTuple::new(py, rows.collect::<PyResult<Vec<_>>>()?)
    }
}

columns!(PyCoatingSpots, |spots| {
    /// Places of the spots, mm toward the focuser's side.
    x_mm = spots.input().spots.iter().map(|s| s.x_mm);
    /// Places of the spots across, mm.
    y_mm = spots.input().spots.iter().map(|s| s.y_mm);
    /// Mean ratio of each spot.
    mean_ratio = spots.mean_ratios();
});
getters!(PyCoatingSpots, |spots| {
    /// Number of spots.
    spot_count: usize = spots.input().spots.len();
    /// Clear aperture, mm.
    clear_aperture_mm: f64 = spots.input().clear_aperture_mm;
    /// Share of the power that the known flat returns.
    reference_reflectance: f64 = spots.input().reference_reflectance;
    /// Standard deviation of that share.
    reference_sigma: f64 = spots.input().reference_sigma;
    /// Stated standard deviation of one ratio; None: from the repeats.
    ratio_sigma: Option<f64> = spots.input().ratio_sigma;
});
record!(PyCoatingSpots, "CoatingSpots",
    attributes: ["x_mm", "y_mm", "ratios", "mean_ratio", "clear_aperture_mm", "reference_reflectance", "reference_sigma", "ratio_sigma"],
    shown: ["spot_count", "clear_aperture_mm", "reference_reflectance", "reference_sigma"]);

/// The levels of a coating whose shapes are known, from lamp readings: what `CoatingSpots.fit` returns.
///
/// Least squares of the spots' means, weighted by their repeats; what a part counts at a spot is what the train has
/// there, soft rims included. The noise of one ratio is pooled over the repeats of all spots; intervals are Student's,
/// and hold 95 %. Where the scatter between spots is larger than the noise allows (p below 0.05, Fisher's ratio),
/// `widened_by` is above 1 and the outline is wrong.
///
/// Units: shares of the power; ratios to the known flat.
/// Shapes: levels in the order of `names`; `residual_sigmas` and `pulls` one a spot, None where the spot alone settles
/// a level.
/// Errors: those of `CoatingSpots.fit`.
/// Source: Golub & Van Loan, Matrix Computations, section 5.3; Abramowitz & Stegun 1964, 26.6. The widening is common
/// practice.
/// Leaves out: errors of the outline's own places, the size of the lit spot, unevenness of parts that few spots see.
///
/// >>> worn = ct.OutlinePatch(x_mm=-46, y_mm=71, radius_mm=36, softness_mm=3)
/// >>> spots = ct.CoatingSpots(x_mm=[40, 0, -46], y_mm=[0, 75, 71], clear_aperture_mm=356, reference_reflectance=0.90,
/// ...     ratios=[[0.96, 0.95, 0.95], [0.95, 0.96, 0.96], [0.45, 0.48, 0.49]])
/// >>> estimate = spots.fit(ct.CoatingOutline(patches=[worn]))
/// >>> assert estimate.reflectance_low[1] < 0.426 < estimate.reflectance_high[1]
/// >>> assert estimate.coating(wear="haze").patches[0].reflectance == estimate.reflectance[1]
#[pyclass(name = "CoatingEstimate", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoatingEstimate(pub(super) CoatingEstimate);

#[pymethods]
impl PyCoatingEstimate {
    /// Return the coating that has the estimated levels, for a train.
    ///
    /// `wear` has no default: "haze", or the `MetalFilm` of the base, where the metal is whole. As thin metal the
    /// base's level over what the film returns is haze over all alike, and what a part lacks beyond it is thickness.
    /// `branch` ("thinnest" or "thickest") is needed where two thicknesses return the same.
    ///
    /// Units: shares of the power; nm.
    /// Errors: InputError for a level above 1, a base brighter than its film, a part brighter than the base, a level
    /// that no thickness returns.
    /// Leaves out: metal between 40 nm and the base's thickness: as bright, and a hollow that no lamp sees from the
    /// front.
    ///
    /// >>> spots = ct.CoatingSpots(x_mm=[40, 0], y_mm=[0, 75], clear_aperture_mm=356, reference_reflectance=0.90,
    /// ...     ratios=[[0.96, 0.95, 0.95], [0.95, 0.96, 0.96]])
    /// >>> assert abs(spots.fit(ct.CoatingOutline()).coating(wear="haze").reflectance - 0.8595) < 1e-12
    #[pyo3(signature = (*, wear=None, branch=None), text_signature = "($self, *, wear, branch=None)")]
    fn coating(
        &self,
        py: Python<'_>,
        wear: Option<&Bound<'_, PyAny>>,
        branch: Option<&str>,
    ) -> PyResult<PyCoating> {
        let wear = self::wear(py, wear)?;
        let coating = match self::branch(py, branch)? {
            Some(branch) => self.0.coating_on(wear, branch),
            None => self.0.coating(wear),
        };
        coating.map(PyCoating).map_err(|e| exception(py, e))
    }

    /// Return how thick the metal of each ring and patch is, if thin metal is what dims it: every thickness that
    /// agrees.
    ///
    /// Units: nm. Errors: as `coating`.
    ///
    /// >>> worn = ct.OutlinePatch(x_mm=-46, y_mm=71, radius_mm=36, softness_mm=3)
    /// >>> spots = ct.CoatingSpots(x_mm=[40, 0, -46], y_mm=[0, 75, 71], clear_aperture_mm=356, reference_reflectance=0.90,
    /// ...     ratios=[[0.96, 0.95, 0.95], [0.95, 0.96, 0.96], [0.45, 0.48, 0.49]])
    /// >>> estimate = spots.fit(ct.CoatingOutline(patches=[worn]))
    /// >>> (part,) = estimate.thin_metal(ct.MetalFilm(metal="aluminium", thickness_nm=100))
    /// >>> assert part.thickness_nm[0] < 12 and part.height_nm[0] < -80
    #[pyo3(signature = (film, /))]
    fn thin_metal(&self, py: Python<'_>, film: PyMetalFilm) -> PyResult<Vec<PyThinMetalPart>> {
        let parts = self.0.thin_metal(&film.0).map_err(|e| exception(py, e))?;
        Ok(parts.into_iter().map(PyThinMetalPart).collect())
    }

    /// Return levels as probable as the estimated ones: an array, one row a draw, one column a part.
    ///
    /// Units: shares of the power. Errors: InputError for no draws or more than 100 000.
    ///
    /// >>> spots = ct.CoatingSpots(x_mm=[40, 0], y_mm=[0, 75], clear_aperture_mm=356, reference_reflectance=0.90,
    /// ...     ratios=[[0.96, 0.95, 0.95], [0.95, 0.96, 0.96]])
    /// >>> estimate = spots.fit(ct.CoatingOutline())
    /// >>> draws = estimate.draws(count=400, seed=7)
    /// >>> assert draws.shape == (400, 1) and abs(draws.mean() - 0.8595) < 0.001
    #[pyo3(signature = (*, count=None, seed=None), text_signature = "($self, *, count=1000, seed=1)")]
    fn draws<'py>(
        &self,
        py: Python<'py>,
        count: Option<&Bound<'_, PyAny>>,
        seed: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Bound<'py, PyArray2<f64>>> {
        let (count, seed) = (count_or(count, "count", 1000)?, count_or(seed, "seed", 1)?);
        let rows = self.0.draws(count, seed as u64).map_err(|e| exception(py, e))?;
        Ok(square(py, &rows))
    }

    /// Return what the fit sees at a place of the mirror: a share of the power.
    ///
    /// Units: mm. Errors: InputError for what is no number.
    ///
    /// >>> spots = ct.CoatingSpots(x_mm=[40], y_mm=[0], ratios=[[0.9, 0.9]], clear_aperture_mm=356, reference_reflectance=0.90)
    /// >>> assert abs(spots.fit(ct.CoatingOutline()).reflectance_at(x_mm=0, y_mm=100) - 0.81) < 1e-12
    #[pyo3(signature = (*, x_mm, y_mm))]
    fn reflectance_at(&self, x_mm: &Bound<'_, PyAny>, y_mm: &Bound<'_, PyAny>) -> PyResult<f64> {
        Ok(self.0.reflectance_at(number(x_mm, "x_mm")?, number(y_mm, "y_mm")?))
    }

    /// Draw the spots with their error bars against what the outline says, and the levels; return the axes.
    ///
    /// >>> spots = ct.CoatingSpots(x_mm=[40, 0], y_mm=[0, 75], clear_aperture_mm=356, reference_reflectance=0.90,
    /// ...     ratios=[[0.96, 0.95, 0.95], [0.95, 0.96, 0.96]])
    /// >>> axes = spots.fit(ct.CoatingOutline()).plot()
    /// >>> assert "reflectance" in axes.get_ylabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("coating_spots", slf.as_any(), ax, None)
    }

    /// The readings.
    #[getter]
    fn spots(&self) -> PyCoatingSpots {
        PyCoatingSpots(self.0.spots.clone())
    }

    /// The shapes.
    #[getter]
    fn outline(&self) -> PyCoatingOutline {
        PyCoatingOutline(self.0.outline.clone())
    }

    /// The parts in the order of their levels.
    #[getter]
    fn names<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.outline.names())
    }

    /// Covariance of the levels, the flat's own uncertainty included.
    #[getter]
    fn covariance<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        square(py, &self.0.covariance)
    }

    /// Distance of each spot from the fit in its own standard deviations; None where the spot alone settles a level.
    #[getter]
    fn residual_sigmas<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.residuals.iter().map(|r| r.sigmas))
    }

    /// For each spot how far each level would move without it; None where a part would then be unseen.
    #[getter]
    fn pulls<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        let each = self.0.pulls.iter().map(|pull| pull.as_ref().map(|p| PyTuple::new(py, p)).transpose());
        PyTuple::new(py, each.collect::<PyResult<Vec<_>>>()?)
    }

    /// Single ratios that stand apart from the other repeats of their spot, the worst first; they are in the fit.
    #[getter]
    fn outliers<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.outliers.iter().cloned().map(PyRatioOutlier))
    }
}

columns!(PyCoatingEstimate, |estimate| {
    /// Level of each part, a share of the power; above 1 where the readings say so.
    reflectance = estimate.levels.iter().map(|l| l.reflectance);
    /// Standard deviation of each level.
    reflectance_sigma = estimate.levels.iter().map(|l| l.sigma);
    /// Lower ends of the 95 % intervals.
    reflectance_low = estimate.levels.iter().map(|l| l.interval.low);
    /// Upper ends of the 95 % intervals.
    reflectance_high = estimate.levels.iter().map(|l| l.interval.high);
    /// Mean ratio of each spot.
    measured_ratio = estimate.residuals.iter().map(|r| r.measured_ratio);
    /// What the fitted levels make of each spot.
    expected_ratio = estimate.residuals.iter().map(|r| r.expected_ratio);
    /// Standard deviation of each spot's mean.
    mean_ratio_sigma = estimate.residuals.iter().map(|r| r.mean_sigma);
});
getters!(PyCoatingEstimate, |estimate| {
    /// How many spots see 5 % or more of each part.
    seen_by: Vec<usize> = estimate.levels.iter().map(|l| l.spots).collect();
    /// Standard deviation of one ratio: stated, or pooled over the repeats.
    ratio_sigma: f64 = estimate.ratio_sigma;
    /// Degrees of freedom of that noise; None where it was stated.
    ratio_freedom: Option<usize> = estimate.ratio_freedom;
    /// Sum of the squared distances of the spots' means from the fit, in units of their noise.
    chi_square: f64 = estimate.chi_square;
    /// Spots less parts.
    freedom: usize = estimate.freedom;
    /// How often chance alone gives a chi-square as large; None without a spot to spare.
    p_value: Option<f64> = estimate.p_value;
    /// By how much the intervals were widened since the shapes do not fit; 1 where they do.
    widened_by: f64 = estimate.widened_by;
    /// What all this says, in sentences.
    words: Vec<String> = estimate.words.clone();
});
record!(PyCoatingEstimate, "CoatingEstimate",
    attributes: ["names", "reflectance", "reflectance_sigma", "reflectance_low", "reflectance_high", "covariance", "seen_by",
        "ratio_sigma", "ratio_freedom", "measured_ratio", "expected_ratio", "mean_ratio_sigma", "residual_sigmas", "chi_square",
        "freedom", "p_value", "widened_by", "pulls", "outliers", "words", "spots", "outline"],
    shown: ["chi_square", "freedom", "p_value", "widened_by"]);

/// A single ratio that does not fit with the other repeats of its spot. It stays in the fit, and raises the noise of
/// all.
///
/// Units: ratios; shares of the power.
/// Errors: none.
///
/// >>> spots = ct.CoatingSpots(x_mm=[9, 40, 60, 80], y_mm=[0, 0, 0, 0], clear_aperture_mm=356, reference_reflectance=0.90,
/// ...     ratios=[[0.95, 0.95, 0.96], [0.96, 0.95, 0.95], [0.95, 0.96, 0.60], [0.95, 0.94, 0.95]])
/// >>> odd = spots.fit(ct.CoatingOutline()).outliers[0]
/// >>> assert (odd.spot, odd.repeat) == (2, 2) and odd.sigmas < -3.5
#[pyclass(name = "RatioOutlier", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyRatioOutlier(RatioOutlier);

getters!(PyRatioOutlier, |odd| {
    /// Number of the spot, from 0.
    spot: usize = odd.spot;
    /// Number of the repeat, from 0.
    repeat: usize = odd.repeat;
    /// The ratio.
    ratio: f64 = odd.ratio;
    /// Distance from the other repeats, in standard deviations of a normal distribution that is as improbable.
    sigmas: f64 = odd.sigmas;
    /// The levels that the rest gives.
    levels_without: Vec<f64> = odd.levels_without.clone();
});
record!(PyRatioOutlier, "RatioOutlier", attributes: ["spot", "repeat", "ratio", "sigmas", "levels_without"],
    shown: ["spot", "repeat", "ratio", "sigmas"]);

/// How thick the metal of one part is, if thin metal is what dims it.
///
/// Units: nm; shares of the power.
/// Errors: none.
///
/// >>> spots = ct.CoatingSpots(x_mm=[40, 90], y_mm=[0, 0], clear_aperture_mm=200, reference_reflectance=0.90,
/// ...     ratios=[[0.96, 0.95], [0.70, 0.71]])
/// >>> ring = ct.OutlineRing(inner_radius_mm=80, outer_radius_mm=100)
/// >>> (part,) = spots.fit(ct.CoatingOutline(rings=[ring])).thin_metal(ct.MetalFilm(metal="aluminium", thickness_nm=100))
/// >>> assert part.part == "rings[0]" and len(part.thickness_nm) == len(part.height_nm) == 1
#[pyclass(name = "ThinMetalPart", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyThinMetalPart(ThinMetalPart);

columns!(PyThinMetalPart, |part| {
    /// All thicknesses up to the base's that return it, nm, thin to thick.
    thickness_nm = part.thickness_nm.iter().copied();
    /// Height of the equivalent mirror against that of the base for each of them, nm of glass; negative: a hollow.
    height_nm = part.height_nm.iter().copied();
});
getters!(PyThinMetalPart, |part| {
    /// "rings[0]", ..., "patches[0]", ...
    part: &str = &part.part;
    /// What the film itself returns there, the haze of the base taken off.
    film_reflectance: f64 = part.film_reflectance;
    /// The same in a sentence, with what the level's interval leaves open.
    words: &str = &part.words;
});
record!(PyThinMetalPart, "ThinMetalPart", attributes: ["part", "film_reflectance", "thickness_nm", "height_nm", "words"],
    shown: ["words"]);
