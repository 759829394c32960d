//! The focus ladder: where things come to focus beside the focuser's travel.

use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{count, maybe_number, number_or};
use super::arrays::{Column, column};
use super::compute::compute;
use super::errors::{exception, refused};
use super::focuser::{PyFocusItem, PyFocuser, PyPoles};
use super::moves::PyFocusMoves;
use super::rays::draw;
use super::record::{getters, record};
use super::train::PyTrain;
use crate::{FocusItem, FocusLadder, MoveOptions, Rung};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyFocusLadder>()
}

#[pymethods]
impl PyTrain {
    /// Return where a list of things comes to focus, beside the focuser's travel.
    ///
    /// Units: mm from the tube's axis.
    /// Errors: InputError for a train without focal plane beside the tube, no items, a focuser that stands in the
    /// light, an object nearer than the centre of curvature.
    /// Leaves out: the field's curvature; a drawtube that sags.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=79.4), ct.FocalPlane(axis_to_focus_mm=303)
    /// >>> mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> focuser = ct.Focuser(racked_in_mm=270, racked_out_mm=310)
    /// >>> camera = ct.FocusItem(name="camera", camera=ct.Camera(shoulder_to_sensor_mm=55))
    /// >>> ladder = train.focus_ladder(focuser=focuser, items=[camera])
    /// >>> assert ladder.shoulder_mm[0] == 248 and ladder.misses_by_mm[0] == -22  # 22 mm too far in
    #[pyo3(signature = (*, focuser, items))]
    fn focus_ladder(
        &self,
        py: Python<'_>,
        focuser: PyFocuser,
        items: &Bound<'_, PyAny>,
    ) -> PyResult<PyFocusLadder> {
        let mut list: Vec<FocusItem> = Vec::new();
        for (i, item) in items.try_iter()?.enumerate() {
            let item = item?;
            let Ok(this) = item.cast::<PyFocusItem>() else {
                let found = item.get_type().name()?.to_string();
                return Err(refused(py, &format!("items[{i}]"), &found, "a FocusItem", ""));
            };
            list.push(this.get().0.clone());
        }
        FocusLadder::new(&self.train, focuser.0, list).map(PyFocusLadder).map_err(|e| exception(py, e))
    }
}

/// Where a list of things comes to focus, beside the focuser's travel.
///
/// An eyepiece's shoulder stands at the image's height less its field stop's place, plus what the eye's refraction
/// moves it by; a camera's at the image's height less back distance and adapters. The image of a near object lies
/// f^2/(d - f) further out. `misses_by_mm` is positive where the shoulder would have to stand further out than racked
/// out (an extension tube of that length helps), negative where further in than racked in, 0 within the travel.
///
/// Units: mm from the tube's axis.
/// Shapes: one entry an item, in the order given.
/// Errors: those of `Train.focus_ladder`, which makes it.
/// Leaves out: the field's curvature; a drawtube that sags; an eyepiece whose field stop is not in its focal plane.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=79.4), ct.FocalPlane(axis_to_focus_mm=303)
/// >>> mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> eyepiece = ct.Eyepiece(focal_length_mm=31, field_stop_mm=40, shoulder_to_stop_mm=18)
/// >>> ladder = train.focus_ladder(
/// ...     focuser=ct.Focuser(racked_in_mm=270, racked_out_mm=310),
/// ...     items=[ct.FocusItem(name="31 mm", eyepiece=eyepiece)],
/// ... )
/// >>> assert ladder.shoulder_mm[0] == 285 and ladder.within.all() and ladder.least_shift_mm == 0
#[pyclass(name = "FocusLadder", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFocusLadder(FocusLadder);

impl PyFocusLadder {
    fn rungs<'py>(&self, py: Python<'py>, value: impl Fn(&Rung) -> f64) -> Column<'py> {
        column(py, self.0.rungs.iter().map(value))
    }
}

#[pymethods]
impl PyFocusLadder {
    /// What is to come to focus.
    #[getter]
    fn items<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        let items = self.0.items.iter().map(|item| Bound::new(py, PyFocusItem(item.clone())));
        PyTuple::new(py, items.collect::<PyResult<Vec<_>>>()?)
    }

    /// The things' names.
    #[getter]
    fn names<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.items.iter().map(|item| item.name.as_str()))
    }

    /// From the tube's axis to each image, mm.
    #[getter]
    fn image_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        self.rungs(py, |rung| rung.image_mm)
    }

    /// From the tube's axis to each shoulder in focus, mm.
    #[getter]
    fn shoulder_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        self.rungs(py, |rung| rung.shoulder_mm)
    }

    /// How far beyond the travel each shoulder lies, mm: positive further out, negative further in, 0 within.
    #[getter]
    fn misses_by_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        self.rungs(py, |rung| rung.misses_by_mm)
    }

    /// How far the focuser's tube then reaches into the light on its way to the mirror, mm; 0 where it does not.
    #[getter]
    fn tube_in_light_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        self.rungs(py, |rung| rung.tube_in_light_mm)
    }

    /// Whether the focuser reaches each.
    #[getter]
    fn within<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<bool>> {
        self.0.rungs.iter().map(Rung::is_within).collect::<Vec<_>>().into_pyarray(py)
    }

    /// What deserves a word, for each a tuple of texts.
    #[getter]
    fn cautions<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        let each = self.0.rungs.iter().map(|rung| PyTuple::new(py, &rung.cautions));
        PyTuple::new(py, each.collect::<PyResult<Vec<_>>>()?)
    }

    /// Names of the things that the focuser does not reach.
    #[getter]
    fn out_of_reach<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.out_of_reach(0.0))
    }

    /// Return the train with the focuser's tube where it stands for one of the things.
    ///
    /// Units: the thing's place in the list, from 0. Errors: InputError for a place beyond it.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=79.4), ct.FocalPlane(axis_to_focus_mm=303)
    /// >>> mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> focuser = ct.Focuser(racked_in_mm=270, racked_out_mm=310, bore_mm=47, tube_length_mm=60)
    /// >>> camera = ct.FocusItem(name="camera", camera=ct.Camera(shoulder_to_sensor_mm=20))
    /// >>> ladder = train.focus_ladder(focuser=focuser, items=[camera])
    /// >>> assert ladder.train_for(0).drawtube.outer_end_to_focus_mm == 20
    #[pyo3(signature = (item, /))]
    fn train_for(&self, item: &Bound<'_, PyAny>) -> PyResult<PyTrain> {
        let place = count(item, "item")?;
        self.0.train_for(place).map(PyTrain::from).map_err(|e| exception(item.py(), e))
    }

    /// Return what has to move so that everything comes to focus, and what it means for the diagonal.
    ///
    /// Each mover alone (the primary along its axis; the poles, if given; the focuser by a spacer or a lower profile)
    /// goes as far as it takes; where a limit is given, a last row moves the primary and then the focuser up to their
    /// limits, and the poles for the rest. With extension tubes allowed between shoulder and thing it is enough that
    /// the lowest shoulder is reached, and everything comes to focus; `extensions_mm` tells their lengths.
    ///
    /// Units: mm. `fully_lit_diameter_mm` is the lit circle that is wanted, `edge_radius_mm` where light is compared:
    /// the edge of the widest field unless given.
    /// Errors: InputError.
    /// Leaves out: the balance of the tube.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=79.4), ct.FocalPlane(axis_to_focus_mm=303)
    /// >>> mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> camera = ct.FocusItem(name="camera", camera=ct.Camera(shoulder_to_sensor_mm=55))
    /// >>> ladder = train.focus_ladder(focuser=ct.Focuser(racked_in_mm=270, racked_out_mm=310), items=[camera])
    /// >>> moves = ladder.moves(poles=ct.Poles(length_mm=1600, slant_deg=12))
    /// >>> assert moves.mover == ("primary", "poles", "focuser") and moves.reaches_all.all()
    /// >>> assert moves.axis_to_focus_mm.tolist() == [325, 325, 303]
    #[pyo3(signature = (*, poles=None, fully_lit_diameter_mm=None, edge_radius_mm=None, primary_limit_mm=None,
        focuser_limit_mm=None, extension_tubes=false),
        text_signature = "($self, *, poles=None, fully_lit_diameter_mm=0.0, edge_radius_mm=None, primary_limit_mm=None, \
        focuser_limit_mm=None, extension_tubes=False)")]
    #[allow(clippy::too_many_arguments)]
    fn moves(
        &self,
        py: Python<'_>,
        poles: Option<PyPoles>,
        fully_lit_diameter_mm: Option<&Bound<'_, PyAny>>,
        edge_radius_mm: Option<&Bound<'_, PyAny>>,
        primary_limit_mm: Option<&Bound<'_, PyAny>>,
        focuser_limit_mm: Option<&Bound<'_, PyAny>>,
        extension_tubes: bool,
    ) -> PyResult<PyFocusMoves> {
        let options = MoveOptions {
            poles: poles.map(|p| p.0),
            fully_lit_diameter_mm: number_or(fully_lit_diameter_mm, "fully_lit_diameter_mm", 0.0)?,
            edge_radius_mm: maybe_number(edge_radius_mm, "edge_radius_mm")?,
            primary_limit_mm: maybe_number(primary_limit_mm, "primary_limit_mm")?,
            focuser_limit_mm: maybe_number(focuser_limit_mm, "focuser_limit_mm")?,
            extension_tubes,
        };
        let ladder = self.0.clone();
        compute(py, move || ladder.moves(options)).map(PyFocusMoves)
    }

    /// Return a Table with a row for each thing.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=79.4), ct.FocalPlane(axis_to_focus_mm=303)
    /// >>> mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> camera = ct.FocusItem(name="camera", camera=ct.Camera(shoulder_to_sensor_mm=55))
    /// >>> ladder = train.focus_ladder(focuser=ct.Focuser(racked_in_mm=270, racked_out_mm=310), items=[camera])
    /// >>> assert ladder.to_table()["shoulder_mm"].tolist() == [248]
    fn to_table<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        table(
            slf.as_any(),
            &["names", "image_mm", "shoulder_mm", "misses_by_mm", "within", "tube_in_light_mm"],
        )
    }

    /// Draw the shoulders as rungs beside the focuser's travel; return the axes.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=79.4), ct.FocalPlane(axis_to_focus_mm=303)
    /// >>> mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> camera = ct.FocusItem(name="camera", camera=ct.Camera(shoulder_to_sensor_mm=55))
    /// >>> ladder = train.focus_ladder(focuser=ct.Focuser(racked_in_mm=270, racked_out_mm=310), items=[camera])
    /// >>> assert "mm" in ladder.plot().get_ylabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("focus_ladder", slf.as_any(), ax, None)
    }
}

getters!(PyFocusLadder, |ladder| {
    /// The train.
    train: PyTrain = PyTrain::from(ladder.train.clone());
    /// The focuser.
    focuser: PyFocuser = PyFocuser(ladder.focuser);
    /// How many of the things the focuser reaches.
    reached: usize = ladder.reached();
    /// How much travel all things together need, mm.
    spread_mm: f64 = ladder.spread_mm();
    /// How far the focuser travels, mm.
    travel_mm: f64 = ladder.focuser.travel_mm();
    /// Between which outward shifts of the image the focuser reaches all, mm; None where the spread exceeds the travel.
    shifts_for_all_mm: Option<(f64, f64)> = ladder.shifts_for_all_mm();
    /// The least outward shift of the image (negative: inward) with which it reaches as many as any single shift can,
    /// mm.
    least_shift_mm: f64 = ladder.least_shift_mm();
    /// The least outward shift with which it reaches all, given tubes for what then lies too far out, mm.
    shift_with_tubes_mm: f64 = ladder.shift_with_tubes_mm();
});
record!(PyFocusLadder, "FocusLadder",
    attributes: ["train", "focuser", "items", "names", "image_mm", "shoulder_mm", "misses_by_mm", "within",
        "tube_in_light_mm", "cautions", "reached", "out_of_reach", "spread_mm", "travel_mm", "shifts_for_all_mm",
        "least_shift_mm", "shift_with_tubes_mm"],
    shown: ["names", "reached", "spread_mm", "travel_mm", "least_shift_mm"]);

/// The named columns of a result as the package's Table.
pub(super) fn table<'py>(result: &Bound<'py, PyAny>, names: &[&str]) -> PyResult<Bound<'py, PyAny>> {
    let columns = PyDict::new(result.py());
    for name in names {
        columns.set_item(if *name == "names" { "name" } else { name }, result.getattr(*name)?)?;
    }
    result.py().import("catoptric.table")?.call_method1("Table", (columns,))
}
