//! What has to move so that things come to focus.

use numpy::{IntoPyArray, PyArray1, PyArray2};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arrays::{Column, column, square};
use super::focuser::PyPoles;
use super::ladder::table;
use super::record::{getters, record};
use super::train::PyTrain;
use crate::{EdgeLight, FocusMove, FocusMoves, Mover};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyFocusMoves>()
}

/// What has to move so that everything comes to focus: each mover alone, and all together.
///
/// A primary that moves m toward the sky takes the focal plane out by m in the tube's frame, and what stands on the
/// upper end is m lower above its vertex; an upper end that comes down by m does the same. A moved focuser leaves the
/// train as it is. Positive are: the primary toward the sky, the upper end away from the primary, poles longer, the
/// focuser's shoulder and the image away from the tube's axis.
///
/// Units: mm; light relative to the middle of the field, 0 where that is dark.
/// Shapes: one entry a mover ("primary", "poles", "focuser", "combination"), those that can be; `impossible` says why
/// another cannot.
/// Errors: those of `FocusLadder.moves`, which makes it.
/// Leaves out: that a diagonal's offset, unless stated, is taken to be set anew for each train (hundredths of a
/// millimetre); the balance of the tube.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=79.4), ct.FocalPlane(axis_to_focus_mm=303)
/// >>> mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> camera = ct.FocusItem(name="camera", camera=ct.Camera(shoulder_to_sensor_mm=55))
/// >>> ladder = train.focus_ladder(focuser=ct.Focuser(racked_in_mm=270, racked_out_mm=310), items=[camera])
/// >>> moves = ladder.moves(primary_limit_mm=10)
/// >>> assert moves.primary_mm.tolist() == [22, 0, 10] and moves.focuser_mm.tolist() == [0, -22, -12]
/// >>> assert moves.within_limits.tolist() == [False, True, True]
/// >>> assert moves.trains[0].focal_plane.axis_to_focus_mm == 325
#[pyclass(name = "FocusMoves", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFocusMoves(pub(super) FocusMoves);

/// Writes getters of columns with one entry a mover.
macro_rules! move_columns {
    ($($(#[$meta:meta])* $name:ident = $from:expr;)*) => {
        #[pymethods]
        impl PyFocusMoves {
            $($(#[$meta])* #[getter] fn $name<'py>(&self, py: Python<'py>) -> Column<'py> {
                let value: fn(&FocusMove) -> f64 = $from;
                column(py, self.0.moves.iter().map(value))
            })*
        }
    };
}

fn light(edge: Option<&EdgeLight>, pick: impl Fn(&EdgeLight) -> f64) -> f64 {
    edge.map_or(0.0, pick)
}

move_columns! {
    /// The primary, toward the sky, mm.
    primary_mm = |m| m.primary_mm;
    /// The upper end, away from the primary, mm.
    upper_end_mm = |m| m.upper_end_mm;
    /// What the poles' length changes by, exactly, mm; 0 without poles.
    pole_change_mm = |m| m.pole_change_mm;
    /// The same to first order: the upper end's move times the cosine of the slant, mm.
    pole_change_first_order_mm = |m| m.pole_change_first_order_mm;
    /// The focuser's shoulder, away from the axis, mm: a spacer, or (negative) a lower profile.
    focuser_mm = |m| m.focuser_mm;
    /// The focal plane, away from the axis, mm.
    image_shift_mm = |m| m.image_shift_mm;
    /// From the tube's axis to the focal plane afterwards, mm.
    axis_to_focus_mm = |m| m.axis_to_focus_mm;
    /// Minor axis of the smallest diagonal for the wanted lit circle afterwards, mm.
    smallest_minor_axis_mm = |m| m.smallest.minor_axis_mm;
    /// Its offset, mm.
    smallest_offset_mm = |m| m.smallest.offset_mm;
    /// Light at the darkest point of the edge afterwards, with the diagonal that is there.
    edge_worst = |m| light(m.edge_light.as_ref(), |edge| edge.worst);
    /// Mean light at the edge afterwards.
    edge_mean = |m| light(m.edge_light.as_ref(), |edge| edge.mean);
    /// Light at the brightest point of the edge afterwards.
    edge_best = |m| light(m.edge_light.as_ref(), |edge| edge.best);
    /// How far the focuser's tube reaches into the light on its way to the mirror afterwards, mm; 0 where it does not.
    tube_in_light_mm = |m| m.tube_in_light_mm;
}

#[pymethods]
impl PyFocusMoves {
    /// What moves.
    #[getter]
    fn mover<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.moves.iter().map(|m| m.mover.key()))
    }

    /// Whether everything then comes to focus.
    #[getter]
    fn reaches_all<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<bool>> {
        self.0.moves.iter().map(|m| m.out_of_reach.is_empty()).collect::<Vec<_>>().into_pyarray(py)
    }

    /// Whether primary and focuser stay within their stated limits.
    #[getter]
    fn within_limits<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<bool>> {
        self.0.moves.iter().map(|m| m.within_limits).collect::<Vec<_>>().into_pyarray(py)
    }

    /// Names of all things, as on the ladder.
    #[getter]
    fn names<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, &self.0.names)
    }

    /// Length of the tube that each thing (column) needs after each move (row), mm; 0 where none is needed, or none
    /// helps.
    #[getter]
    fn extensions_mm<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        let rows: Vec<Vec<f64>> = self.0.moves.iter().map(|m| m.extensions_mm.clone()).collect();
        square(py, &rows)
    }

    /// Names of the things that the needed shift does not serve together with the others.
    #[getter]
    fn out_of_reach<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, &self.0.out_of_reach)
    }

    /// The train after each move, with the drawtube where it stands for the widest field.
    #[getter]
    fn trains<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        let trains = self.0.moves.iter().map(|m| Bound::new(py, PyTrain::from(m.train.clone())));
        PyTuple::new(py, trains.collect::<PyResult<Vec<_>>>()?)
    }

    /// The movers that cannot do it, and why.
    #[getter]
    fn impossible<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let reasons = PyDict::new(py);
        for (mover, reason) in &self.0.impossible {
            reasons.set_item(Mover::key(*mover), reason)?;
        }
        Ok(reasons)
    }

    /// Return a Table with a row for each mover.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=79.4), ct.FocalPlane(axis_to_focus_mm=303)
    /// >>> mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> camera = ct.FocusItem(name="camera", camera=ct.Camera(shoulder_to_sensor_mm=55))
    /// >>> ladder = train.focus_ladder(focuser=ct.Focuser(racked_in_mm=270, racked_out_mm=310), items=[camera])
    /// >>> assert ladder.moves().to_table()["mover"].tolist() == ["primary", "focuser"]
    fn to_table<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        table(
            slf.as_any(),
            &[
                "mover",
                "primary_mm",
                "upper_end_mm",
                "pole_change_mm",
                "pole_change_first_order_mm",
                "focuser_mm",
                "image_shift_mm",
                "reaches_all",
                "within_limits",
                "axis_to_focus_mm",
                "smallest_minor_axis_mm",
                "smallest_offset_mm",
                "edge_worst",
                "edge_mean",
                "edge_best",
                "tube_in_light_mm",
            ],
        )
    }
}

getters!(PyFocusMoves, |moves| {
    /// The outward shift of the image that serves most things, mm; negative: inward.
    needed_mm: f64 = moves.needed_mm;
    /// The poles, or None.
    poles: Option<PyPoles> = moves.options.poles.map(PyPoles);
    /// The fully lit circle that was wanted, mm.
    fully_lit_diameter_mm: f64 = moves.options.fully_lit_diameter_mm;
    /// How far the primary may move either way, mm, or None.
    primary_limit_mm: Option<f64> = moves.options.primary_limit_mm;
    /// How far the focuser may be raised or lowered, mm, or None.
    focuser_limit_mm: Option<f64> = moves.options.focuser_limit_mm;
    /// Whether tubes between shoulder and thing were allowed.
    extension_tubes: bool = moves.options.extension_tubes;
    /// Radius in the focal plane at which light is compared, mm.
    edge_radius_mm: f64 = moves.edge_radius_mm;
    /// From the tube's axis to the focal plane before, mm.
    axis_to_focus_before_mm: f64 = moves.axis_to_focus_mm;
    /// Minor axis of the smallest diagonal for the wanted lit circle before, mm.
    smallest_minor_axis_before_mm: f64 = moves.smallest.minor_axis_mm;
    /// Its offset, mm.
    smallest_offset_before_mm: f64 = moves.smallest.offset_mm;
    /// Light at the darkest point of the edge before.
    edge_worst_before: f64 = light(moves.edge_light.as_ref(), |edge| edge.worst);
    /// Mean light at the edge before.
    edge_mean_before: f64 = light(moves.edge_light.as_ref(), |edge| edge.mean);
    /// Light at the brightest point of the edge before.
    edge_best_before: f64 = light(moves.edge_light.as_ref(), |edge| edge.best);
});
record!(PyFocusMoves, "FocusMoves",
    attributes: ["needed_mm", "mover", "primary_mm", "upper_end_mm", "pole_change_mm", "pole_change_first_order_mm",
        "focuser_mm", "image_shift_mm", "reaches_all", "within_limits", "axis_to_focus_mm", "smallest_minor_axis_mm",
        "smallest_offset_mm", "edge_worst", "edge_mean", "edge_best", "tube_in_light_mm", "out_of_reach", "trains",
        "impossible", "names", "extensions_mm", "extension_tubes", "poles", "fully_lit_diameter_mm", "primary_limit_mm",
        "focuser_limit_mm", "edge_radius_mm", "axis_to_focus_before_mm", "smallest_minor_axis_before_mm",
        "smallest_offset_before_mm", "edge_worst_before", "edge_mean_before", "edge_best_before"],
    shown: ["needed_mm", "mover", "out_of_reach", "edge_radius_mm", "axis_to_focus_before_mm",
        "smallest_minor_axis_before_mm"]);
