//! The shapes that one sees on a worn mirror.

use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{number, part_number_or};
use super::arrays::{Column, column};
use super::coating::ring_profile;
use super::record::{getters, record};
use crate::{CoatingOutline, OutlinePatch, OutlineRing};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyOutlineRing>()?;
    module.add_class::<PyOutlinePatch>()?;
    module.add_class::<PyCoatingOutline>()
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
        let profile = ring_profile(py, profile)?;
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
pub(super) struct PyCoatingOutline(pub(super) CoatingOutline);

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
