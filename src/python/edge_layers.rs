//! Edges and hills of further shapes.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{part_number, part_number_or};
use super::model::sound;
use super::record::{getters, record};
use crate::model::{CentralHill, EdgeRollOff, EdgeStep, FigureLayer};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyEdgeRollOff>()?;
    module.add_class::<PyEdgeStep>()?;
    module.add_class::<PyCentralHill>()
}

/// An edge that falls off without a start: each reach nearer to the rim it is e times as deep.
///
/// Height h = -drop exp(-(D/2 - r)/reach), D the clear aperture; a negative drop is a raised edge. A mask leaves it
/// where it is.
///
/// Units: mm; nm of glass height.
/// Errors: InputError, when put on a mirror that it does not fit (reach at most an eighth of the clear aperture).
/// Leaves out: nothing of the formula, which ends in a flat cone at the centre.
///
/// >>> edge = ct.EdgeRollOff(reach_mm=3, drop_nm=400)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, figure=[edge])
/// >>> assert ct.Train(primary=mirror).wavefront(focus="peak").strehl < 0.95
#[pyclass(name = "EdgeRollOff", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyEdgeRollOff(pub(super) EdgeRollOff);

#[pymethods]
impl PyEdgeRollOff {
    #[new]
    #[pyo3(signature = (*, reach_mm, drop_nm))]
    fn new(reach_mm: &Bound<'_, PyAny>, drop_nm: &Bound<'_, PyAny>) -> PyResult<Self> {
        let edge = EdgeRollOff::new(part_number(reach_mm, "reach_mm")?, part_number(drop_nm, "drop_nm")?);
        sound(reach_mm.py(), FigureLayer::from(edge).check(), Self(edge))
    }
}

getters!(PyEdgeRollOff, |edge| {
    /// Distance along the radius over which the depth changes by a factor e, mm.
    reach_mm: f64 = edge.reach_mm;
    /// How much too low the glass is at the rim, nm; negative for a raised edge.
    drop_nm: f64 = edge.drop_nm;
});
record!(PyEdgeRollOff, "EdgeRollOff", attributes: ["reach_mm", "drop_nm"], shown: ["reach_mm", "drop_nm"]);

/// A sharp step: a ring at the rim that lies lower, or with a negative drop higher, than the rest.
///
/// Height h = -drop beyond D/2 - width, D the clear aperture. A mask leaves it where it is.
///
/// Units: mm; nm of glass height.
/// Errors: InputError, when put on a mirror that it does not fit.
/// Leaves out: the slope of the step itself; rays and knife-edge readings see level glass on both sides, waves see all of it.
///
/// >>> step = ct.EdgeStep(width_mm=5, drop_nm=60)
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=4000, figure=[step])
/// >>> strehl = ct.Train(primary=mirror).wavefront(focus="paraxial").strehl
/// >>> share = 1 - 0.95**2  # of the area: the Strehl is a closed form
/// >>> assert abs(strehl - (1 - 4 * share * (1 - share) * np.sin(2 * np.pi * 60 / 550) ** 2)) < 1e-4
#[pyclass(name = "EdgeStep", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyEdgeStep(pub(super) EdgeStep);

#[pymethods]
impl PyEdgeStep {
    #[new]
    #[pyo3(signature = (*, width_mm, drop_nm))]
    fn new(width_mm: &Bound<'_, PyAny>, drop_nm: &Bound<'_, PyAny>) -> PyResult<Self> {
        let step = EdgeStep::new(part_number(width_mm, "width_mm")?, part_number(drop_nm, "drop_nm")?);
        sound(width_mm.py(), FigureLayer::from(step).check(), Self(step))
    }
}

getters!(PyEdgeStep, |step| {
    /// Width of the low ring, inward from the clear aperture's rim, mm.
    width_mm: f64 = step.width_mm;
    /// How much too low the glass is there, nm; negative for a raised ring.
    drop_nm: f64 = step.drop_nm;
});
record!(PyEdgeStep, "EdgeStep", attributes: ["width_mm", "drop_nm"], shown: ["width_mm", "drop_nm"]);

/// A hill in the centre, or with a negative height a hole, that ends at a stated radius.
///
/// Height h = height (1 - r/radius)^power inside the radius. Its middle is a tip; a smooth hill is a Zone of radius 0.
///
/// Units: mm; nm of glass height.
/// Errors: InputError, when put on a mirror that it leaves.
///
/// >>> hole = ct.CentralHill(radius_mm=30, height_nm=-80)
/// >>> assert hole.power == 2.0
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, figure=[hole])
/// >>> assert abs(ct.Train(primary=mirror).wavefront(focus="paraxial").pv_nm - 160) < 2
#[pyclass(name = "CentralHill", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCentralHill(pub(super) CentralHill);

#[pymethods]
impl PyCentralHill {
    #[new]
    #[pyo3(signature = (*, radius_mm, height_nm, power=None), text_signature = "(*, radius_mm, height_nm, power=2.0)")]
    fn new(
        radius_mm: &Bound<'_, PyAny>,
        height_nm: &Bound<'_, PyAny>,
        power: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let hill =
            CentralHill::new(part_number(radius_mm, "radius_mm")?, part_number(height_nm, "height_nm")?);
        let hill = hill.power(part_number_or(power, "power", hill.power)?);
        sound(radius_mm.py(), FigureLayer::from(hill).check(), Self(hill))
    }
}

getters!(PyCentralHill, |hill| {
    /// Where the hill ends, mm.
    radius_mm: f64 = hill.radius_mm;
    /// Height in the middle, nm; negative for a hole.
    height_nm: f64 = hill.height_nm;
    /// The exponent.
    power: f64 = hill.power;
});
record!(PyCentralHill, "CentralHill", attributes: ["radius_mm", "height_nm", "power"],
    shown: ["radius_mm", "height_nm", "power"]);
