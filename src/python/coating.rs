//! The primary's coating.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{part_number, part_number_or};
use super::model::sound;
use super::record::{getters, record};
use crate::model::{Coating, CoatingPatch, CoatingRing};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyCoatingRing>()?;
    module.add_class::<PyCoatingPatch>()?;
    module.add_class::<PyCoating>()
}

/// A ring of the primary whose coating returns another share of the light.
///
/// Units: mm; reflectance is a share of the power.
/// Errors: InputError, when put on a mirror that it leaves.
/// Leaves out: the phase. Where the metal is thin the wavefront has a hollow as well, up to 87 nm of glass.
///
/// >>> worn = ct.CoatingRing(inner_radius_mm=112, outer_radius_mm=139, reflectance=0.74)
/// >>> assert ct.Coating(reflectance=0.88, rings=[worn]).rings == (worn,)
#[pyclass(name = "CoatingRing", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoatingRing(pub(super) CoatingRing);

#[pymethods]
impl PyCoatingRing {
    #[new]
    #[pyo3(signature = (*, inner_radius_mm, outer_radius_mm, reflectance))]
    fn new(
        inner_radius_mm: &Bound<'_, PyAny>,
        outer_radius_mm: &Bound<'_, PyAny>,
        reflectance: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let ring = CoatingRing::new(
            part_number(inner_radius_mm, "inner_radius_mm")?,
            part_number(outer_radius_mm, "outer_radius_mm")?,
            part_number(reflectance, "reflectance")?,
        );
        sound(reflectance.py(), Coating::default().ring(ring).check(), Self(ring))
    }
}

getters!(PyCoatingRing, |ring| {
    /// Where the ring begins, mm from the mirror's centre.
    inner_radius_mm: f64 = ring.inner_radius_mm;
    /// Where the ring ends, mm.
    outer_radius_mm: f64 = ring.outer_radius_mm;
    /// Share of the power that the ring returns.
    reflectance: f64 = ring.reflectance;
});
record!(PyCoatingRing, "CoatingRing", attributes: ["inner_radius_mm", "outer_radius_mm", "reflectance"],
    shown: ["inner_radius_mm", "outer_radius_mm", "reflectance"]);

/// A round patch of the primary whose coating returns another share of the light, with a hard or a soft rim.
///
/// At a distance d from its centre the patch replaces the share 1/(1 + exp((d - radius)/softness)) of what lies
/// under it; without softness all of it within the radius.
///
/// Units: mm, +x toward the focuser; reflectance is a share of the power.
/// Errors: InputError, when put on a mirror that it leaves.
/// Leaves out: the phase (thin metal is a hollow as well); scattered light.
///
/// >>> worn = ct.CoatingPatch(x_mm=-46, y_mm=71, radius_mm=36, reflectance=0.42, softness_mm=3)
/// >>> coating = ct.Coating(reflectance=0.85, patches=[worn])
/// >>> mirror = ct.Primary(clear_aperture_mm=356, focal_length_mm=1673, coating=coating)
/// >>> assert 0.98 < ct.Train(primary=mirror).wavefront().amplitude_factor < 1
#[pyclass(name = "CoatingPatch", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoatingPatch(pub(super) CoatingPatch);

#[pymethods]
impl PyCoatingPatch {
    #[new]
    #[pyo3(signature = (*, x_mm, y_mm, radius_mm, reflectance, softness_mm=None),
        text_signature = "(*, x_mm, y_mm, radius_mm, reflectance, softness_mm=0.0)")]
    fn new(
        x_mm: &Bound<'_, PyAny>,
        y_mm: &Bound<'_, PyAny>,
        radius_mm: &Bound<'_, PyAny>,
        reflectance: &Bound<'_, PyAny>,
        softness_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let centre = [part_number(x_mm, "x_mm")?, part_number(y_mm, "y_mm")?];
        let (radius_mm, share) =
            (part_number(radius_mm, "radius_mm")?, part_number(reflectance, "reflectance")?);
        let patch = CoatingPatch::new(centre, radius_mm, share);
        let patch = patch.softness_mm(part_number_or(softness_mm, "softness_mm", patch.softness_mm)?);
        sound(x_mm.py(), Coating::default().patch(patch).check(), Self(patch))
    }
}

getters!(PyCoatingPatch, |patch| {
    /// Where its centre lies, mm toward the focuser's side.
    x_mm: f64 = patch.x_mm;
    /// Where its centre lies across, mm.
    y_mm: f64 = patch.y_mm;
    /// Distance from the centre at which half of it is left, mm.
    radius_mm: f64 = patch.radius_mm;
    /// Share of the power that its middle returns.
    reflectance: f64 = patch.reflectance;
    /// Over which distance its rim fades, mm; 0 for a hard rim.
    softness_mm: f64 = patch.softness_mm;
});
record!(PyCoatingPatch, "CoatingPatch",
    attributes: ["x_mm", "y_mm", "radius_mm", "reflectance", "softness_mm"],
    shown: ["x_mm", "y_mm", "radius_mm", "reflectance", "softness_mm"]);

/// The primary's coating: one reflectance, and rings and patches that replace it where they lie.
///
/// Units: shares of the power.
/// Errors: InputError, when put on a mirror.
/// Leaves out: colour, polarisation and the phase of thin metal.
///
/// >>> worn = ct.CoatingRing(inner_radius_mm=112, outer_radius_mm=139, reflectance=0.44)
/// >>> coating = ct.Coating(reflectance=0.88, rings=[worn])
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, coating=coating)
/// >>> assert 0.95 < ct.Train(primary=mirror).wavefront().amplitude_factor < 1
#[pyclass(name = "Coating", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoating(pub(super) Coating);

#[pymethods]
impl PyCoating {
    #[new]
    #[pyo3(signature = (*, reflectance=None, rings=Vec::new(), patches=Vec::new()),
        text_signature = "(*, reflectance=1.0, rings=(), patches=())")]
    fn new(
        py: Python<'_>,
        reflectance: Option<&Bound<'_, PyAny>>,
        rings: Vec<PyCoatingRing>,
        patches: Vec<PyCoatingPatch>,
    ) -> PyResult<Self> {
        let reflectance = part_number_or(reflectance, "reflectance", 1.0)?;
        let coating = Coating {
            reflectance,
            rings: rings.into_iter().map(|r| r.0).collect(),
            patches: patches.into_iter().map(|p| p.0).collect(),
        };
        sound(py, coating.check(), Self(coating))
    }

    /// Rings that replace the coating; where two overlap, the later one counts.
    #[getter]
    fn rings<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, pyo3::types::PyTuple>> {
        pyo3::types::PyTuple::new(py, self.0.rings.iter().map(|r| PyCoatingRing(*r)))
    }

    /// Patches laid over the rings, in their order.
    #[getter]
    fn patches<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, pyo3::types::PyTuple>> {
        pyo3::types::PyTuple::new(py, self.0.patches.iter().map(|p| PyCoatingPatch(*p)))
    }
}

getters!(PyCoating, |coating| {
    /// Share of the power returned wherever no ring lies.
    reflectance: f64 = coating.reflectance;
});
record!(PyCoating, "Coating", attributes: ["reflectance", "rings", "patches"], shown: ["reflectance", "rings", "patches"]);
