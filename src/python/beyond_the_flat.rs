//! Parts between the flat and the focal plane, and a train's own words on the flat.

use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{part_number, part_number_or};
use super::flat::PyImageShift;
use super::model::sound;
use super::record::{getters, record};
use super::train::PyTrain;
use super::train_parts::changed;
use crate::TrainBuilder;
use crate::model::{FilterRing, FocuserBoard, SensorMask};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyFocuserBoard>()?;
    module.add_class::<PyFilterRing>()?;
    module.add_class::<PySensorMask>()
}

/// The round hole in the board, or in the tube's wall, that carries the focuser.
///
/// Units: mm; the distance counts from the axis of the tube.
/// Errors: InputError, when put into a train that it does not fit.
/// Leaves out: the board's thickness; give the face that the cone fills more.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> board = ct.FocuserBoard(hole_mm=20, axis_to_board_mm=180)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, focuser_board=board)
/// >>> light = train.illumination(along_mm=[0, 8], across_mm=[0, 0])
/// >>> assert light.stopped["focuser_board"][0] == 0 and light.stopped["focuser_board"][1] > 0.1
#[pyclass(name = "FocuserBoard", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFocuserBoard(pub(super) FocuserBoard);

#[pymethods]
impl PyFocuserBoard {
    #[new]
    #[pyo3(signature = (*, hole_mm, axis_to_board_mm))]
    fn new(hole_mm: &Bound<'_, PyAny>, axis_to_board_mm: &Bound<'_, PyAny>) -> PyResult<Self> {
        let board = FocuserBoard::new(
            part_number(hole_mm, "hole_mm")?,
            part_number(axis_to_board_mm, "axis_to_board_mm")?,
        );
        sound(hole_mm.py(), board.check(), Self(board))
    }
}

getters!(PyFocuserBoard, |board| {
    /// Diameter of the hole, mm.
    hole_mm: f64 = board.hole_mm;
    /// From the axis of the tube to the board, mm.
    axis_to_board_mm: f64 = board.axis_to_board_mm;
});
record!(PyFocuserBoard, "FocuserBoard", attributes: ["hole_mm", "axis_to_board_mm"], shown: ["hole_mm", "axis_to_board_mm"]);

/// The clear opening of a filter or of an adapter ring.
///
/// Units: mm; the distance counts from the focal plane back toward the mirror.
/// Errors: InputError, when put into a train that it does not fit.
/// Leaves out: the filter's glass, which moves the focus outward by about a third of its thickness.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> ring = ct.FilterRing(diameter_mm=10, before_focus_mm=55)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, filter_ring=ring)
/// >>> assert [problem.field for problem in train.problems()] == ["filter_ring.diameter_mm"]  # the cone is wider
#[pyclass(name = "FilterRing", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFilterRing(pub(super) FilterRing);

#[pymethods]
impl PyFilterRing {
    #[new]
    #[pyo3(signature = (*, diameter_mm, before_focus_mm))]
    fn new(diameter_mm: &Bound<'_, PyAny>, before_focus_mm: &Bound<'_, PyAny>) -> PyResult<Self> {
        let ring = FilterRing::new(
            part_number(diameter_mm, "diameter_mm")?,
            part_number(before_focus_mm, "before_focus_mm")?,
        );
        sound(diameter_mm.py(), ring.check(), Self(ring))
    }
}

getters!(PyFilterRing, |ring| {
    /// Clear diameter, mm.
    diameter_mm: f64 = ring.diameter_mm;
    /// From the ring to the focal plane, mm.
    before_focus_mm: f64 = ring.before_focus_mm;
});
record!(PyFilterRing, "FilterRing", attributes: ["diameter_mm", "before_focus_mm"],
    shown: ["diameter_mm", "before_focus_mm"]);

/// A rectangular opening before a sensor: the edge of the camera's chamber, or the frame of its cover glass.
///
/// Its sides lie along and across, turned from `along` toward `across` by an angle.
///
/// Units: mm; degrees; the distance counts from the focal plane back toward the mirror.
/// Errors: InputError, when put into a train that it does not fit.
/// Leaves out: rounded corners. Nearer to the focus than the blur of the image there (a millimetre or so for coma at
/// f/5) rays of one star cross, and exact fractions take the edge of the blur for a line.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> mask = ct.SensorMask(along_mm=24, across_mm=17, before_focus_mm=12)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, sensor_mask=mask)
/// >>> taken = train.illumination(along_mm=[11, 0], across_mm=[0, 11]).stopped["sensor_mask"]
/// >>> assert taken[0] < 0.2 and taken[1] > 0.9  # 12 mm to the edge along, 8.5 mm across
#[pyclass(name = "SensorMask", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySensorMask(pub(super) SensorMask);

#[pymethods]
impl PySensorMask {
    #[new]
    #[pyo3(signature = (*, along_mm, across_mm, before_focus_mm, rotation_deg=None),
        text_signature = "(*, along_mm, across_mm, before_focus_mm, rotation_deg=0.0)")]
    fn new(
        along_mm: &Bound<'_, PyAny>,
        across_mm: &Bound<'_, PyAny>,
        before_focus_mm: &Bound<'_, PyAny>,
        rotation_deg: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let mask = SensorMask::new(
            part_number(along_mm, "along_mm")?,
            part_number(across_mm, "across_mm")?,
            part_number(before_focus_mm, "before_focus_mm")?,
        );
        let mask = mask.rotation_deg(part_number_or(rotation_deg, "rotation_deg", 0.0)?);
        sound(along_mm.py(), mask.check(), Self(mask))
    }
}

getters!(PySensorMask, |mask| {
    /// Width along, before the rotation, mm.
    along_mm: f64 = mask.along_mm;
    /// Width across, before the rotation, mm.
    across_mm: f64 = mask.across_mm;
    /// From the mask to the focal plane, mm.
    before_focus_mm: f64 = mask.before_focus_mm;
    /// Turned from `along` toward `across`, degrees.
    rotation_deg: f64 = mask.rotation_deg;
});
record!(PySensorMask, "SensorMask", attributes: ["along_mm", "across_mm", "before_focus_mm", "rotation_deg"],
    shown: ["along_mm", "across_mm", "before_focus_mm", "rotation_deg"]);

#[pymethods]
impl PyTrain {
    /// The hole in the board that carries the focuser, or None.
    #[getter]
    pub(super) fn focuser_board(&self) -> Option<PyFocuserBoard> {
        self.train.focuser_board().copied().map(PyFocuserBoard)
    }

    /// The clear opening of a filter or an adapter, or None.
    #[getter]
    pub(super) fn filter_ring(&self) -> Option<PyFilterRing> {
        self.train.filter_ring().copied().map(PyFilterRing)
    }

    /// The rectangular opening before a sensor, or None.
    #[getter]
    pub(super) fn sensor_mask(&self) -> Option<PySensorMask> {
        self.train.sensor_mask().copied().map(PySensorMask)
    }

    /// The clear aperture that the diagonal serves in the middle of the field, mm: that of the largest mirror of this
    /// focal length whose axis cone it holds when offset for it; None without a diagonal. Below the primary's own the
    /// diagonal silently stops the telescope down to about this.
    #[getter]
    fn served_aperture_mm(&self) -> Option<f64> {
        self.prepared().served_aperture_mm()
    }

    /// Return what the flat's misplacement does to the image: all 0 for a flat in its place, None without a diagonal.
    ///
    /// Units: mm, arcmin.
    /// Leaves out: the light that such a flat cuts off (`light` has it), and the focuser's own errors.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> assert train.image_shift().along_mm == 0
    /// >>> nods = train.with_diagonal(misplaced=ct.Misplacement(nod_arcmin=3))
    /// >>> assert 0.4 < nods.image_shift().along_mm < 0.43  # 2 x 3' x 239 mm, toward the sky end
    fn image_shift(&self) -> Option<PyImageShift> {
        self.prepared().image_shift().map(PyImageShift)
    }

    /// Return a copy with another focuser board, with some of its values changed, or without one (None).
    ///
    /// Units: keywords as those of FocuserBoard. Errors: InputError with all faults found.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> holed = train.with_focuser_board(hole_mm=56, axis_to_board_mm=180)
    /// >>> assert holed.with_focuser_board(hole_mm=60).focuser_board.axis_to_board_mm == 180
    /// >>> assert holed.with_focuser_board(None) == train
    #[pyo3(signature = (*part, **changes))]
    fn with_focuser_board(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.focuser_board().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let board = changed::<PyFocuserBoard>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { focuser_board: board.map(|p| p.0), ..self.train.to_parts() })
    }

    /// Return a copy with another filter ring, with some of its values changed, or without one (None).
    ///
    /// Units: keywords as those of FilterRing. Errors: InputError with all faults found.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> ringed = train.with_filter_ring(diameter_mm=44, before_focus_mm=50)
    /// >>> assert ringed.with_filter_ring(diameter_mm=28).filter_ring.before_focus_mm == 50
    /// >>> assert ringed.with_filter_ring(None) == train
    #[pyo3(signature = (*part, **changes))]
    fn with_filter_ring(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.filter_ring().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let ring = changed::<PyFilterRing>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { filter_ring: ring.map(|p| p.0), ..self.train.to_parts() })
    }

    /// Return a copy with another sensor mask, with some of its values changed, or without one (None).
    ///
    /// Units: keywords as those of SensorMask. Errors: InputError with all faults found.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> masked = train.with_sensor_mask(along_mm=24, across_mm=17, before_focus_mm=12)
    /// >>> assert masked.with_sensor_mask(rotation_deg=90).sensor_mask.along_mm == 24
    /// >>> assert masked.with_sensor_mask(None) == train
    #[pyo3(signature = (*part, **changes))]
    fn with_sensor_mask(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.sensor_mask().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let mask = changed::<PySensorMask>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { sensor_mask: mask.map(|p| p.0), ..self.train.to_parts() })
    }
}
