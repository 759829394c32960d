//! The focuser, what is put into it, and the poles that carry it.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{maybe_part_number, number, part_number, part_number_or};
use super::errors::{exception, refused};
use super::model::sound;
use super::record::{getters, record};
use super::view_scenes::{PyEyepiece, PySensor};
use crate::{Camera, FocusItem, Focused, Focuser, Poles};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyFocuser>()?;
    module.add_class::<PyCamera>()?;
    module.add_class::<PyFocusItem>()?;
    module.add_class::<PyPoles>()
}

/// A focuser: between which distances from the tube's axis its shoulder travels.
///
/// The shoulder is the rim on which eyepieces and cameras seat. A tube that moves with it and hangs so far toward the
/// axis may be given (bore and length together): it may stop light, and reach into the light on its way to the mirror.
///
/// Units: mm from the tube's axis.
/// Errors: InputError: in and out exchanged, half a tube; at a train also a shoulder within the light.
///
/// >>> focuser = ct.Focuser(racked_in_mm=270, racked_out_mm=310, bore_mm=47, tube_length_mm=70)
/// >>> assert focuser.travel_mm == 40
#[pyclass(name = "Focuser", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFocuser(pub(super) Focuser);

#[pymethods]
impl PyFocuser {
    #[new]
    #[pyo3(signature = (*, racked_in_mm, racked_out_mm, bore_mm=None, tube_length_mm=None))]
    fn new(
        racked_in_mm: &Bound<'_, PyAny>,
        racked_out_mm: &Bound<'_, PyAny>,
        bore_mm: Option<&Bound<'_, PyAny>>,
        tube_length_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let focuser = Focuser {
            racked_in_mm: part_number(racked_in_mm, "racked_in_mm")?,
            racked_out_mm: part_number(racked_out_mm, "racked_out_mm")?,
            bore_mm: maybe_part_number(bore_mm, "bore_mm")?,
            tube_length_mm: maybe_part_number(tube_length_mm, "tube_length_mm")?,
        };
        sound(racked_in_mm.py(), focuser.check(), Self(focuser))
    }
}

getters!(PyFocuser, |focuser| {
    /// From the tube's axis to the shoulder, racked in, mm.
    racked_in_mm: f64 = focuser.racked_in_mm;
    /// From the tube's axis to the shoulder, racked out, mm.
    racked_out_mm: f64 = focuser.racked_out_mm;
    /// Bore of the tube that moves with the shoulder, mm, or None.
    bore_mm: Option<f64> = focuser.bore_mm;
    /// Length of that tube from the shoulder toward the axis, mm, or None.
    tube_length_mm: Option<f64> = focuser.tube_length_mm;
    /// How far the shoulder travels, mm.
    travel_mm: f64 = focuser.travel_mm();
});
record!(PyFocuser, "Focuser", attributes: ["racked_in_mm", "racked_out_mm", "bore_mm", "tube_length_mm"],
    shown: ["racked_in_mm", "racked_out_mm", "bore_mm", "tube_length_mm"]);

/// A camera: how far its sensor lies from the face that seats on the focuser's shoulder.
///
/// Units: mm; positive: the sensor lies outside, further from the tube's axis. Adapters add to it.
/// Errors: InputError.
/// Leaves out: correctors and reducers, which change the focal length.
///
/// >>> camera = ct.Camera(shoulder_to_sensor_mm=44, adapters_mm=11)
/// >>> assert camera.sensor is None
#[pyclass(name = "Camera", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCamera(Camera);

#[pymethods]
impl PyCamera {
    #[new]
    #[pyo3(signature = (*, shoulder_to_sensor_mm, adapters_mm=None, sensor=None),
        text_signature = "(*, shoulder_to_sensor_mm, adapters_mm=0.0, sensor=None)")]
    fn new(
        shoulder_to_sensor_mm: &Bound<'_, PyAny>,
        adapters_mm: Option<&Bound<'_, PyAny>>,
        sensor: Option<PySensor>,
    ) -> PyResult<Self> {
        let camera = Camera {
            shoulder_to_sensor_mm: part_number(shoulder_to_sensor_mm, "shoulder_to_sensor_mm")?,
            adapters_mm: part_number_or(adapters_mm, "adapters_mm", 0.0)?,
            sensor: sensor.map(|s| s.0),
        };
        sound(shoulder_to_sensor_mm.py(), camera.check(), Self(camera))
    }
}

getters!(PyCamera, |camera| {
    /// From the camera's own seating face to its sensor, mm; negative where the sensor reaches into the focuser.
    shoulder_to_sensor_mm: f64 = camera.shoulder_to_sensor_mm;
    /// Length of all adapters between shoulder and camera, mm.
    adapters_mm: f64 = camera.adapters_mm;
    /// The sensor, or None.
    sensor: Option<PySensor> = camera.sensor.map(PySensor);
});
record!(PyCamera, "Camera", attributes: ["shoulder_to_sensor_mm", "adapters_mm", "sensor"],
    shown: ["shoulder_to_sensor_mm", "adapters_mm", "sensor"]);

/// One thing that is to come to focus: an eyepiece or a camera, whose eye looks, how far away the object is.
///
/// Units: dioptres of the eye without glasses, negative for a short-sighted one, which moves the eyepiece by dioptres
/// times f_e^2/1000 mm, inward where negative; mm from the primary's vertex to the object, None for the sky.
/// Errors: InputError: not exactly one of eyepiece and camera, an eyepiece that does not say where its field stop lies,
/// more than 25 dioptres.
/// Source: Newton's equation x x' = -f_e^2, for an eye at the eyepiece's back focal point.
///
/// >>> eyepiece = ct.Eyepiece(focal_length_mm=24, field_stop_mm=27, shoulder_to_stop_mm=-2)
/// >>> item = ct.FocusItem(name="24 mm without glasses", eyepiece=eyepiece, eye_dioptres=-5)
/// >>> assert abs(item.eye_shift_mm + 2.88) < 1e-12  # a short-sighted eye: inward
#[pyclass(name = "FocusItem", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFocusItem(pub(super) FocusItem);

#[pymethods]
impl PyFocusItem {
    #[new]
    #[pyo3(signature = (*, name, eyepiece=None, camera=None, eye_dioptres=None, object_distance_mm=None),
        text_signature = "(*, name, eyepiece=None, camera=None, eye_dioptres=0.0, object_distance_mm=None)")]
    fn new(
        py: Python<'_>,
        name: String,
        eyepiece: Option<PyEyepiece>,
        camera: Option<PyCamera>,
        eye_dioptres: Option<&Bound<'_, PyAny>>,
        object_distance_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let through: Focused = match (eyepiece, camera) {
            (Some(eyepiece), None) => eyepiece.0.into(),
            (None, Some(camera)) => camera.0.into(),
            (given, _) => {
                let found = if given.is_some() { "both" } else { "neither" };
                return Err(refused(py, "eyepiece", found, "an eyepiece or a camera, one of the two", ""));
            }
        };
        let item = FocusItem {
            name,
            through,
            eye_dioptres: part_number_or(eye_dioptres, "eye_dioptres", 0.0)?,
            object_distance_mm: maybe_part_number(object_distance_mm, "object_distance_mm")?,
        };
        sound(py, item.check(), Self(item))
    }

    /// The eyepiece, or None.
    #[getter]
    fn eyepiece(&self) -> Option<PyEyepiece> {
        match self.0.through {
            Focused::Eyepiece(eyepiece) => Some(PyEyepiece(eyepiece)),
            Focused::Camera(_) => None,
        }
    }

    /// The camera, or None.
    #[getter]
    fn camera(&self) -> Option<PyCamera> {
        match self.0.through {
            Focused::Eyepiece(_) => None,
            Focused::Camera(camera) => Some(PyCamera(camera)),
        }
    }
}

getters!(PyFocusItem, |item| {
    /// Its name on the ladder.
    name: String = item.name.clone();
    /// What the eye needs without glasses, dioptres; negative: short-sighted.
    eye_dioptres: f64 = item.eye_dioptres;
    /// From the primary's vertex to the object, mm; None for the sky.
    object_distance_mm: Option<f64> = item.object_distance_mm;
    /// How far outward the eye's refraction moves the eyepiece, mm; negative: inward.
    eye_shift_mm: f64 = item.eye_shift_mm();
    /// Radius of the field that counts, mm: to the edge of the field stop or the corner of the sensor; None for a
    /// camera without its sensor.
    field_radius_mm: Option<f64> = item.field_radius_mm();
});
record!(PyFocusItem, "FocusItem",
    attributes: ["name", "eyepiece", "camera", "eye_dioptres", "object_distance_mm"],
    shown: ["name", "eyepiece", "camera", "eye_dioptres", "object_distance_mm"]);

/// Straight poles between two rings that carry the upper end, all alike.
///
/// Units: mm between a pole's two fixings; degrees from the tube's axis.
/// Errors: InputError: a slant of 90 degrees or more.
/// Source: length^2 = height^2 + span^2, the span between the rings' fixings unchanged.
///
/// >>> poles = ct.Poles(length_mm=1600, slant_deg=12)
/// >>> assert abs(poles.per_mm - 0.97814760073) < 1e-11  # the cosine of 12 degrees
#[pyclass(name = "Poles", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyPoles(pub(super) Poles);

#[pymethods]
impl PyPoles {
    #[new]
    #[pyo3(signature = (*, length_mm, slant_deg))]
    fn new(length_mm: &Bound<'_, PyAny>, slant_deg: &Bound<'_, PyAny>) -> PyResult<Self> {
        let poles = Poles::new(part_number(length_mm, "length_mm")?, part_number(slant_deg, "slant_deg")?);
        sound(length_mm.py(), poles.check(), Self(poles))
    }

    /// Return what the poles' length changes by where the upper end rises by so much, exactly.
    ///
    /// Units: mm, positive: away from the primary, and longer.
    /// Errors: InputError for an upper end lowered onto the lower one.
    /// Source: hypot(height + rise, span) - length; `per_mm` times the rise is its first order.
    ///
    /// >>> poles = ct.Poles(length_mm=500, slant_deg=np.degrees(np.arccos(0.6)))  # 300 high, 400 across
    /// >>> assert abs(poles.change_mm(-80) - (np.hypot(220, 400) - 500)) < 1e-9
    #[pyo3(signature = (rise_mm, /))]
    fn change_mm(&self, rise_mm: &Bound<'_, PyAny>) -> PyResult<f64> {
        self.0.change_mm(number(rise_mm, "rise_mm")?).map_err(|e| exception(rise_mm.py(), e))
    }
}

getters!(PyPoles, |poles| {
    /// Length between the fixings, mm.
    length_mm: f64 = poles.length_mm;
    /// Angle between a pole and the tube's axis, degrees.
    slant_deg: f64 = poles.slant_deg;
    /// Length for each millimetre of the upper end's height, to first order.
    per_mm: f64 = poles.per_mm();
});
record!(PyPoles, "Poles", attributes: ["length_mm", "slant_deg"], shown: ["length_mm", "slant_deg"]);
