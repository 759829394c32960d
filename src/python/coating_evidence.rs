//! Lamp readings of a coating, the shapes that one sees, and a photograph turned to reflectance.

use numpy::PyArray2;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{
    choice, count_or, height_table, list, maybe_part_number, number, part_number, part_number_or,
    table_with_gaps,
};
use super::arrays::{Column, column, square};
use super::coating::{PyCoating, PyReflectanceMap};
use super::errors::{exception, refused};
use super::film::PyMetalFilm;

use super::rays::draw;
use super::record::{columns, getters, record};
use crate::{
    AxisDirection, CoatingEstimate, CoatingOutline, CoatingSpot, CoatingSpots, CoatingSpotsInput, KnownPatch,
    OutlinePatch, OutlineRing, PhotoCheck, RatioOutlier, ReflectancePhoto, ReflectancePhotoInput,
    RingProfile, ThinBranch, ThinMetalPart, Wear,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyOutlineRing>()?;
    module.add_class::<PyOutlinePatch>()?;
    module.add_class::<PyCoatingOutline>()?;
    module.add_class::<PyCoatingSpots>()?;
    module.add_class::<PyCoatingEstimate>()?;
    module.add_class::<PyRatioOutlier>()?;
    module.add_class::<PyThinMetalPart>()?;
    module.add_class::<PyKnownPatch>()?;
    module.add_class::<PyReflectancePhoto>()?;
    module.add_class::<PyPhotoCheck>()
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

/// Where a ring of another coating lies on a mirror, without its level.
///
/// `profile` is "flat" (one level from rim to rim) or "smooth" (sin^2 across the ring, all of it half-way).
///
/// Units: mm from the mirror's centre.
/// Errors: InputError; for a ring that leaves the mirror when spots are fitted.
///
/// >>> ring = ct.OutlineRing(inner_radius_mm=112, outer_radius_mm=139, profile="smooth")
/// >>> assert abs(ring.share(radius_mm=125.5) - 1) < 1e-12 and ring.share(radius_mm=112) == 0
#[pyclass(name = "OutlineRing", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyOutlineRing(OutlineRing);

#[pymethods]
impl PyOutlineRing {
    #[new]
    #[pyo3(signature = (*, inner_radius_mm, outer_radius_mm, profile=None, softness_mm=None),
        text_signature = "(*, inner_radius_mm, outer_radius_mm, profile='flat', softness_mm=0.0)")]
    fn new(
        py: Python<'_>,
        inner_radius_mm: &Bound<'_, PyAny>,
        outer_radius_mm: &Bound<'_, PyAny>,
        profile: Option<&str>,
        softness_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let inner = number(inner_radius_mm, "inner_radius_mm")?;
        let ring = OutlineRing::flat(inner, number(outer_radius_mm, "outer_radius_mm")?);
        let allowed = "'flat' or 'smooth'";
        let profile = choice(py, "profile", profile.unwrap_or("flat"), allowed, RingProfile::from_name)?;
        Ok(Self(OutlineRing {
            profile,
            softness_mm: part_number_or(softness_mm, "softness_mm", 0.0)?,
            ..ring
        }))
    }

    /// Return the ring's share of what is seen at a radius, 0 to 1.
    ///
    /// Units: mm. Errors: InputError for what is no number.
    ///
    /// >>> assert ct.OutlineRing(inner_radius_mm=112, outer_radius_mm=139).share(radius_mm=120) == 1
    #[pyo3(signature = (*, radius_mm))]
    fn share(&self, radius_mm: &Bound<'_, PyAny>) -> PyResult<f64> {
        Ok(self.0.share(number(radius_mm, "radius_mm")?))
    }
}

getters!(PyOutlineRing, |ring| {
    /// Where the ring begins, mm.
    inner_radius_mm: f64 = ring.inner_radius_mm;
    /// Where the ring ends, mm.
    outer_radius_mm: f64 = ring.outer_radius_mm;
    /// "flat" or "smooth".
    profile: &'static str = ring.profile.key();
    /// Over which distance a flat ring's rims fade, mm; 0 for hard rims.
    softness_mm: f64 = ring.softness_mm;
});
record!(PyOutlineRing, "OutlineRing", attributes: ["inner_radius_mm", "outer_radius_mm", "profile", "softness_mm"],
    shown: ["inner_radius_mm", "outer_radius_mm", "profile", "softness_mm"]);

/// Where a round patch of another coating lies on a mirror, without its level.
///
/// Units: mm, +x toward the focuser; `softness_mm` as that of `CoatingPatch`.
/// Errors: InputError; for a patch off the mirror when spots are fitted.
///
/// >>> worn = ct.OutlinePatch(x_mm=-46, y_mm=71, radius_mm=36, softness_mm=3)
/// >>> assert worn.share(x_mm=-46, y_mm=107) == 0.5
#[pyclass(name = "OutlinePatch", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyOutlinePatch(OutlinePatch);

#[pymethods]
impl PyOutlinePatch {
    #[new]
    #[pyo3(signature = (*, x_mm, y_mm, radius_mm, softness_mm=None),
        text_signature = "(*, x_mm, y_mm, radius_mm, softness_mm=0.0)")]
    fn new(
        x_mm: &Bound<'_, PyAny>,
        y_mm: &Bound<'_, PyAny>,
        radius_mm: &Bound<'_, PyAny>,
        softness_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let centre = [number(x_mm, "x_mm")?, number(y_mm, "y_mm")?];
        let patch = OutlinePatch::new(centre, number(radius_mm, "radius_mm")?);
        Ok(Self(patch.softness_mm(part_number_or(softness_mm, "softness_mm", 0.0)?)))
    }

    /// Return the patch's share of what is seen at a place, 0 to 1.
    ///
    /// Units: mm. Errors: InputError for what is no number.
    ///
    /// >>> assert ct.OutlinePatch(x_mm=0, y_mm=0, radius_mm=10).share(x_mm=12, y_mm=0) == 0
    #[pyo3(signature = (*, x_mm, y_mm))]
    fn share(&self, x_mm: &Bound<'_, PyAny>, y_mm: &Bound<'_, PyAny>) -> PyResult<f64> {
        Ok(self.0.share(number(x_mm, "x_mm")?, number(y_mm, "y_mm")?))
    }
}

getters!(PyOutlinePatch, |patch| {
    /// Where its centre lies, mm toward the focuser's side.
    x_mm: f64 = patch.x_mm;
    /// Where its centre lies across, mm.
    y_mm: f64 = patch.y_mm;
    /// Distance from the centre at which half of it is left, mm.
    radius_mm: f64 = patch.radius_mm;
    /// Over which distance its rim fades, mm; 0 for a hard rim.
    softness_mm: f64 = patch.softness_mm;
});
record!(PyOutlinePatch, "OutlinePatch", attributes: ["x_mm", "y_mm", "radius_mm", "softness_mm"],
    shown: ["x_mm", "y_mm", "radius_mm", "softness_mm"]);

/// The shapes that one sees on a worn mirror: rings and patches with their places, no levels.
///
/// Rings replace what lies under them in their order; patches are laid over the rings.
///
/// Units: mm.
/// Errors: InputError when spots are fitted: parts that leave the mirror.
/// Leaves out: how well the places are known.
///
/// >>> ring = ct.OutlineRing(inner_radius_mm=112, outer_radius_mm=139, profile="smooth")
/// >>> worn = ct.OutlinePatch(x_mm=-46, y_mm=71, radius_mm=36, softness_mm=3)
/// >>> seen = ct.CoatingOutline(rings=[ring], patches=[worn])
/// >>> assert seen.names == ("base", "rings[0]", "patches[0]")
#[pyclass(name = "CoatingOutline", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoatingOutline(CoatingOutline);

#[pymethods]
impl PyCoatingOutline {
    #[new]
    #[pyo3(signature = (*, rings=Vec::new(), patches=Vec::new()), text_signature = "(*, rings=(), patches=())")]
    fn new(rings: Vec<PyOutlineRing>, patches: Vec<PyOutlinePatch>) -> Self {
        Self(CoatingOutline {
            rings: rings.into_iter().map(|r| r.0).collect(),
            patches: patches.into_iter().map(|p| p.0).collect(),
        })
    }

    /// Rings, in the order in which they lie over each other.
    #[getter]
    fn rings<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.rings.iter().map(|r| PyOutlineRing(*r)))
    }

    /// Patches laid over the rings, in their order.
    #[getter]
    fn patches<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.patches.iter().map(|p| PyOutlinePatch(*p)))
    }

    /// The parts in the order of their levels: "base", "rings[0]", ..., "patches[0]", ...
    #[getter]
    fn names<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.names())
    }

    /// Return what each part's level counts in the reflectance at a place; the shares add up to 1.
    ///
    /// Units: mm. Errors: InputError for what is no number.
    ///
    /// >>> seen = ct.CoatingOutline(patches=[ct.OutlinePatch(x_mm=0, y_mm=0, radius_mm=9, softness_mm=1)])
    /// >>> assert abs(seen.shares(x_mm=9, y_mm=0) - 0.5).max() < 1e-12
    #[pyo3(signature = (*, x_mm, y_mm))]
    fn shares<'py>(&self, x_mm: &Bound<'py, PyAny>, y_mm: &Bound<'py, PyAny>) -> PyResult<Column<'py>> {
        let (x, y) = (number(x_mm, "x_mm")?, number(y_mm, "y_mm")?);
        Ok(column(x_mm.py(), self.0.shares(x, y)))
    }
}

record!(PyCoatingOutline, "CoatingOutline", attributes: ["rings", "patches", "names"], shown: ["names"]);

/// Readings of a lamp at places on the mirror, each beside a flat of known reflectance.
///
/// `ratios` are light from the mirror over light from the flat, one row a spot, one column a repeat; None or NaN for a repeat
/// that was not taken. `reference_sigma` is the standard deviation of the flat's own reflectance, which moves all levels together;
/// `ratio_sigma` that of one ratio, needed where no spot was read twice.
///
/// Units: mm, +x toward the focuser; shares of the power.
/// Errors: InputError with all faults found: spots off the mirror, per cent for shares, no repeats and no stated noise.
/// Leaves out: the size of the lit spot (d^2/32 times the sum of the second derivatives: 0.003 for 5 mm on the bottom of a ring
/// 27 mm wide and 0.13 deep); the lamp's colour.
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
    /// Errors: OSError where the file cannot be read; InputError with the line for a missing or unknown column or text in
    /// place of a number, and with all faults of readings that cannot be.
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
    /// Errors: InputError for an outline that leaves the mirror, a part (or the base) that no spot touches, parts that the spots
    /// cannot tell apart.
    ///
    /// >>> spots = ct.CoatingSpots(x_mm=[30], y_mm=[0], ratios=[[0.95, 0.97]], clear_aperture_mm=200,
    /// ...     reference_reflectance=0.90)
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
/// Least squares of the spots' means, weighted by their repeats; what a part counts at a spot is what the train has there, soft rims
/// included. The noise of one ratio is pooled over the repeats of all spots; intervals are Student's, and hold 95 %. Where the scatter
/// between spots is larger than the noise allows (p below 0.05, Fisher's ratio), `widened_by` is above 1 and the outline is wrong.
///
/// Units: shares of the power; ratios to the known flat.
/// Shapes: levels in the order of `names`; `residual_sigmas` and `pulls` one a spot, None where the spot alone settles a level.
/// Errors: those of `CoatingSpots.fit`.
/// Source: Golub & Van Loan, Matrix Computations, section 5.3; Abramowitz & Stegun 1964, 26.6. The widening is common practice.
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
    /// `wear` has no default: "haze", or the `MetalFilm` of the base, where the metal is whole. As thin metal the base's level over what
    /// the film returns is haze over all alike, and what a part lacks beyond it is thickness. `branch` ("thinnest" or
    /// "thickest") is needed where two thicknesses return the same.
    ///
    /// Units: shares of the power; nm.
    /// Errors: InputError for a level above 1, a base brighter than its film, a part brighter than the base, a level that no
    /// thickness returns.
    /// Leaves out: metal between 40 nm and the base's thickness: as bright, and a hollow that no lamp sees from the front.
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

    /// Return how thick the metal of each ring and patch is, if thin metal is what dims it: every thickness that agrees.
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

/// A single ratio that does not fit with the other repeats of its spot. It stays in the fit, and raises the noise of all.
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

/// A round patch of the mirror, or of a card on it, whose reflectance is known.
///
/// Units: mm, +x toward the focuser; shares of the power. `sigma` is the reflectance's standard deviation.
/// Errors: InputError, when a photograph is made of it.
///
/// >>> assert ct.KnownPatch(x_mm=0, y_mm=60, radius_mm=8, reflectance=0.18).sigma == 0
#[pyclass(name = "KnownPatch", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyKnownPatch(KnownPatch);

#[pymethods]
impl PyKnownPatch {
    #[new]
    #[pyo3(signature = (*, x_mm, y_mm, radius_mm, reflectance, sigma=None),
        text_signature = "(*, x_mm, y_mm, radius_mm, reflectance, sigma=0.0)")]
    fn new(
        x_mm: &Bound<'_, PyAny>,
        y_mm: &Bound<'_, PyAny>,
        radius_mm: &Bound<'_, PyAny>,
        reflectance: &Bound<'_, PyAny>,
        sigma: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let centre = [part_number(x_mm, "x_mm")?, part_number(y_mm, "y_mm")?];
        let share = part_number(reflectance, "reflectance")?;
        let patch = KnownPatch::new(centre, part_number(radius_mm, "radius_mm")?, share);
        Ok(Self(patch.sigma(part_number_or(sigma, "sigma", 0.0)?)))
    }
}

getters!(PyKnownPatch, |patch| {
    /// Where its centre lies, mm toward the focuser's side.
    x_mm: f64 = patch.x_mm;
    /// Where its centre lies across, mm.
    y_mm: f64 = patch.y_mm;
    /// Radius within which all is of this reflectance, mm.
    radius_mm: f64 = patch.radius_mm;
    /// Share of the power that it returns.
    reflectance: f64 = patch.reflectance;
    /// Standard deviation of that share.
    sigma: f64 = patch.sigma;
});
record!(PyKnownPatch, "KnownPatch", attributes: ["x_mm", "y_mm", "radius_mm", "reflectance", "sigma"],
    shown: ["x_mm", "y_mm", "radius_mm", "reflectance", "sigma"]);

/// A photograph of the mirror, turned to reflectance by a dark and a bright patch that are known.
///
/// reflectance = `scale` x value + `offset`. The values must be linear in light: raw counts, not a picture made for the eye. To check
/// it, expose twice as long (values less those of a covered lens must double), and ask a third known patch (`check`). `rows_run` and
/// `columns_run` ("+x", "-x", "+y", "-y": where the next one lies on the mirror, seen from the sky) have no default.
///
/// Units: mm for a pixel's side on the mirror; shares of the power.
/// Errors: InputError with all faults found: values saturated or cut off on the mirror, patches off it or with fewer than nine
/// pixels, reflectances closer than 0.1, a bright patch darker than the dark one.
/// Leaves out: uneven lighting and the lens's own fall-off, which enter the map in full: divide by a photograph of an even card.
///
/// >>> picture = np.where(np.arange(40) < 10, 240.0, 940.0) + np.arange(40) % 2 + np.zeros((40, 1))  # 40 + 1000 R
/// >>> photo = ct.ReflectancePhoto(values=picture, pixel_mm=5, rows_run="-y", columns_run="+x", clear_aperture_mm=190,
/// ...     dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=0.20),
/// ...     bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=0.90))
/// >>> assert abs(photo.scale - 1e-3) < 1e-5 and abs(photo.map().reflectance[20, 20] - 0.9) < 2e-3
#[pyclass(name = "ReflectancePhoto", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyReflectancePhoto(ReflectancePhoto);

#[pymethods]
impl PyReflectancePhoto {
    #[new]
    #[pyo3(signature = (*, values, pixel_mm, rows_run, columns_run, clear_aperture_mm, dark, bright, centre_row=None,
        centre_column=None, saturates_at=None))]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        values: &Bound<'_, PyAny>,
        pixel_mm: &Bound<'_, PyAny>,
        rows_run: &str,
        columns_run: &str,
        clear_aperture_mm: &Bound<'_, PyAny>,
        dark: PyKnownPatch,
        bright: PyKnownPatch,
        centre_row: Option<&Bound<'_, PyAny>>,
        centre_column: Option<&Bound<'_, PyAny>>,
        saturates_at: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let allowed = "'+x', '-x', '+y' or '-y': where the next one lies, seen from the sky";
        let direction = |name, run| choice(py, name, run, allowed, AxisDirection::from_name);
        let input = ReflectancePhotoInput::new(
            height_table(values, "values")?,
            part_number(pixel_mm, "pixel_mm")?,
            direction("rows_run", rows_run)?,
            direction("columns_run", columns_run)?,
            part_number(clear_aperture_mm, "clear_aperture_mm")?,
            dark.0,
            bright.0,
        );
        let input = ReflectancePhotoInput {
            centre_row: part_number_or(centre_row, "centre_row", input.centre_row)?,
            centre_column: part_number_or(centre_column, "centre_column", input.centre_column)?,
            saturates_at: maybe_part_number(saturates_at, "saturates_at")?,
            ..input
        };
        ReflectancePhoto::new(input).map(Self).map_err(|e| exception(py, e))
    }

    /// Return what the photograph makes of a third patch that is known.
    ///
    /// Units: shares of the power. Errors: InputError for a patch off the mirror or with fewer than nine pixels.
    ///
    /// >>> picture = np.where(np.arange(40) < 10, 240.0, 940.0) + np.arange(40) % 2 + np.zeros((40, 1))
    /// >>> photo = ct.ReflectancePhoto(values=picture, pixel_mm=5, rows_run="-y", columns_run="+x", clear_aperture_mm=190,
    /// ...     dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=0.20),
    /// ...     bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=0.90))
    /// >>> assert photo.check(ct.KnownPatch(x_mm=0, y_mm=60, radius_mm=12, reflectance=0.90)).agrees
    #[pyo3(signature = (third, /))]
    fn check(&self, py: Python<'_>, third: PyKnownPatch) -> PyResult<PyPhotoCheck> {
        self.0.check(&third.0).map(PyPhotoCheck).map_err(|e| exception(py, e))
    }

    /// Return the map of reflectance, for `Coating(map=...)`.
    ///
    /// What lies less than a pixel inside the rim, where the background mixes in, takes the value of the next pixel inward; pixels
    /// beyond the clear aperture by more than two are left out (NaN).
    /// Errors: InputError where a pixel on the mirror comes out above 1 or not above 0: nothing is cut off.
    ///
    /// >>> picture = np.where(np.arange(40) < 10, 240.0, 940.0) + np.arange(40) % 2 + np.zeros((40, 1))
    /// >>> photo = ct.ReflectancePhoto(values=picture, pixel_mm=5, rows_run="-y", columns_run="+x", clear_aperture_mm=190,
    /// ...     dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=0.20),
    /// ...     bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=0.90))
    /// >>> assert abs(photo.map().reflectance[20, 5] - 0.2) < 2e-3
    fn map(&self, py: Python<'_>) -> PyResult<PyReflectanceMap> {
        self.0.map().map(PyReflectanceMap).map_err(|e| exception(py, e))
    }

    /// The dark patch of known reflectance.
    #[getter]
    fn dark(&self) -> PyKnownPatch {
        PyKnownPatch(self.0.input().dark)
    }

    /// The bright patch of known reflectance.
    #[getter]
    fn bright(&self) -> PyKnownPatch {
        PyKnownPatch(self.0.input().bright)
    }
}

getters!(PyReflectancePhoto, |photo| {
    /// Reflectance for a unit of brightness.
    scale: f64 = photo.scale;
    /// Reflectance at brightness 0.
    offset: f64 = photo.offset;
    /// Standard deviation of the scale.
    scale_sigma: f64 = photo.scale_sigma;
    /// Standard deviation of the offset.
    offset_sigma: f64 = photo.offset_sigma;
    /// Standard deviation of a pixel's reflectance from its own noise.
    pixel_sigma: f64 = photo.pixel_sigma;
    /// Mean reflectance over the clear aperture.
    mean_reflectance: f64 = photo.mean_reflectance();
    /// Side of a pixel on the mirror, mm.
    pixel_mm: f64 = photo.input().pixel_mm;
    /// Clear aperture, mm.
    clear_aperture_mm: f64 = photo.input().clear_aperture_mm;
    /// Where the next row lies.
    rows_run: &'static str = photo.input().rows_run.name();
    /// Where the next column lies.
    columns_run: &'static str = photo.input().columns_run.name();
    /// The row in which the mirror's centre lies.
    centre_row: f64 = photo.input().centre_row;
    /// The column in which the mirror's centre lies.
    centre_column: f64 = photo.input().centre_column;
});
record!(PyReflectancePhoto, "ReflectancePhoto",
    attributes: ["scale", "offset", "scale_sigma", "offset_sigma", "pixel_sigma", "mean_reflectance", "pixel_mm", "clear_aperture_mm",
        "rows_run", "columns_run", "centre_row", "centre_column", "dark", "bright"],
    shown: ["scale", "offset", "mean_reflectance", "pixel_sigma"]);

/// A third known patch beside what a photograph makes of it.
///
/// Units: shares of the power.
/// Errors: none.
///
/// >>> picture = np.where(np.arange(40) < 10, 240.0, 940.0) + np.arange(40) % 2 + np.zeros((40, 1))
/// >>> photo = ct.ReflectancePhoto(values=picture, pixel_mm=5, rows_run="-y", columns_run="+x", clear_aperture_mm=190,
/// ...     dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=0.20),
/// ...     bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=0.90))
/// >>> third = photo.check(ct.KnownPatch(x_mm=0, y_mm=60, radius_mm=12, reflectance=0.80))
/// >>> assert third.sigmas > 3 and not third.agrees
#[pyclass(name = "PhotoCheck", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyPhotoCheck(PhotoCheck);

getters!(PyPhotoCheck, |check| {
    /// What the patch is known to return.
    expected: f64 = check.expected;
    /// What the photograph says.
    found: f64 = check.found;
    /// Standard deviation of the difference.
    sigma: f64 = check.sigma;
    /// The difference in these.
    sigmas: f64 = check.sigmas;
    /// Whether it lies within 1.96 of them.
    agrees: bool = check.agrees;
});
record!(PyPhotoCheck, "PhotoCheck", attributes: ["expected", "found", "sigma", "sigmas", "agrees"],
    shown: ["expected", "found", "sigma", "agrees"]);
