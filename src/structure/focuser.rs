//! The focuser, and the things that are to come to focus in it.

use serde::{Deserialize, Serialize};

use crate::error::{Findings, Result};
use crate::view::{Eyepiece, Sensor};

/// No eye needs more than this, dioptres.
const MOST_DIOPTRES: f64 = 25.0;

/// A focuser: between which distances from the tube's axis its shoulder travels.
///
/// The shoulder is the rim on which eyepieces and cameras seat. A tube that moves with it and hangs so far toward the
/// axis may be given: it may stop light, and reach into the light that falls on the mirror.
///
/// Units: mm from the tube's axis.
/// Errors: found by [`Focuser::check`], and wherever a focuser is used.
///
/// ```
/// let focuser = catoptric::Focuser::new(270.0, 310.0).tube(47.0, 70.0);
/// assert_eq!(focuser.travel_mm(), 40.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Focuser {
    /// From the tube's axis to the shoulder, racked in, mm.
    pub racked_in_mm: f64,
    /// From the tube's axis to the shoulder, racked out, mm.
    pub racked_out_mm: f64,
    /// Bore of the tube that moves with the shoulder, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bore_mm: Option<f64>,
    /// Length of that tube from the shoulder toward the axis, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tube_length_mm: Option<f64>,
}

impl Focuser {
    /// A focuser from its two ends of travel.
    ///
    /// ```
    /// assert_eq!(catoptric::Focuser::new(270.0, 310.0).racked_in_mm, 270.0);
    /// ```
    pub fn new(racked_in_mm: f64, racked_out_mm: f64) -> Self {
        Self { racked_in_mm, racked_out_mm, bore_mm: None, tube_length_mm: None }
    }

    /// The same focuser with the tube that moves with its shoulder.
    ///
    /// ```
    /// assert_eq!(catoptric::Focuser::new(270.0, 310.0).tube(47.0, 70.0).bore_mm, Some(47.0));
    /// ```
    #[must_use]
    pub fn tube(self, bore_mm: f64, tube_length_mm: f64) -> Self {
        Self { bore_mm: Some(bore_mm), tube_length_mm: Some(tube_length_mm), ..self }
    }

    /// How far the shoulder travels, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Focuser::new(270.0, 310.0).travel_mm(), 40.0);
    /// ```
    pub fn travel_mm(&self) -> f64 {
        self.racked_out_mm - self.racked_in_mm
    }

    /// Refuses a focuser that cannot be, whatever train it stands at.
    ///
    /// ```
    /// assert!(catoptric::Focuser::new(310.0, 270.0).check().is_err(), "in and out exchanged");
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("focuser", |f| self.note_problems(0.0, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, clear_aperture_mm: f64, findings: &mut Findings) {
        let sound = findings.length("racked_in_mm", self.racked_in_mm)
            & findings.length("racked_out_mm", self.racked_out_mm);
        if sound && self.racked_out_mm < self.racked_in_mm {
            findings.fault(
                "racked_out_mm",
                self.racked_out_mm,
                "not below racked_in_mm: both count from the tube's axis",
                "in and out exchanged?",
            );
        }
        if sound && self.racked_in_mm <= clear_aperture_mm / 2.0 {
            findings.fault(
                "racked_in_mm",
                self.racked_in_mm,
                "more than half the clear aperture",
                "counted from the tube's wall instead of its axis?",
            );
        }
        match (self.bore_mm, self.tube_length_mm) {
            (None, None) => {}
            (Some(bore), Some(length)) => {
                findings.length("bore_mm", bore);
                findings.length("tube_length_mm", length);
            }
            (bore, _) => {
                let missing = if bore.is_some() { "tube_length_mm" } else { "bore_mm" };
                let allowed = "bore and length of the moving tube, both or neither";
                findings.fault(missing, "nothing", allowed, "");
            }
        }
    }
}

/// A camera: how far its sensor lies from the face that seats on the focuser's shoulder.
///
/// Units: mm; positive: the sensor lies outside, further from the tube's axis. Adapters add to it.
/// Errors: found where it is used.
/// Leaves out: correctors and reducers, which change the focal length.
///
/// ```
/// let camera = catoptric::Camera::new(44.0).adapters_mm(11.0);
/// assert_eq!(camera.shoulder_to_sensor_mm + camera.adapters_mm, 55.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Camera {
    /// From the camera's own seating face to its sensor, mm; negative where the sensor reaches into the focuser.
    pub shoulder_to_sensor_mm: f64,
    /// Length of all adapters between shoulder and camera, mm.
    #[serde(default)]
    pub adapters_mm: f64,
    /// The sensor, if its size counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sensor: Option<Sensor>,
}

impl Camera {
    /// A camera without adapters.
    ///
    /// ```
    /// assert_eq!(catoptric::Camera::new(44.0).adapters_mm, 0.0);
    /// ```
    pub fn new(shoulder_to_sensor_mm: f64) -> Self {
        Self { shoulder_to_sensor_mm, adapters_mm: 0.0, sensor: None }
    }

    /// The same camera on adapters of this length, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Camera::new(44.0).adapters_mm(11.0).adapters_mm, 11.0);
    /// ```
    #[must_use]
    pub fn adapters_mm(self, adapters_mm: f64) -> Self {
        Self { adapters_mm, ..self }
    }

    /// The same camera with its sensor.
    ///
    /// ```
    /// let sensor = catoptric::Sensor::new(3.8, 4632, 3500);
    /// assert_eq!(catoptric::Camera::new(44.0).sensor(sensor).sensor, Some(sensor));
    /// ```
    #[must_use]
    pub fn sensor(self, sensor: Sensor) -> Self {
        Self { sensor: Some(sensor), ..self }
    }

    /// Refuses a camera that cannot be.
    ///
    /// ```
    /// assert!(catoptric::Camera::new(44.0).adapters_mm(-2.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("camera", |f| self.note_problems(f));
        findings.refuse()
    }

    fn note_problems(&self, findings: &mut Findings) {
        findings.number(
            "shoulder_to_sensor_mm",
            self.shoulder_to_sensor_mm,
            |v| v.abs() <= 500.0,
            "within 500 mm of the shoulder",
            "counted from the tube's axis instead of from the shoulder?",
        );
        findings.number(
            "adapters_mm",
            self.adapters_mm,
            |v| (0.0..=500.0).contains(&v),
            "0 to 500 mm of adapters",
            "a sign? A sensor that reaches into the focuser has a negative shoulder_to_sensor_mm",
        );
        if let Some(sensor) = &self.sensor {
            findings.within("sensor", |f| sensor.note_problems(f));
        }
    }
}

/// What is put into the focuser.
///
/// In a file a table with a key `kind`: `eyepiece` or `camera`.
///
/// ```
/// use catoptric::{Camera, Focused};
/// assert!(matches!(Focused::from(Camera::new(44.0)), Focused::Camera(_)));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Focused {
    /// An eyepiece; it must say where its field stop lies beside its shoulder.
    Eyepiece(Eyepiece),
    /// A camera.
    Camera(Camera),
}

impl From<Eyepiece> for Focused {
    fn from(eyepiece: Eyepiece) -> Self {
        Self::Eyepiece(eyepiece)
    }
}

impl From<Camera> for Focused {
    fn from(camera: Camera) -> Self {
        Self::Camera(camera)
    }
}

/// One thing that is to come to focus: what is put in, whose eye looks, how far away the object is.
///
/// Units: dioptres of the eye without glasses, negative for a short-sighted one; mm from the primary's vertex to the
/// object.
/// Errors: found where it is used.
///
/// ```
/// use catoptric::{Eyepiece, FocusItem};
/// let eyepiece = Eyepiece::new(24.0, 27.0).shoulder_to_stop_mm(-2.0);
/// let item = FocusItem::new("24 mm without glasses", eyepiece).eye_dioptres(-5.0);
/// assert!((item.eye_shift_mm() + 2.88).abs() < 1e-12, "a short-sighted eye needs the eyepiece moved inward");
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FocusItem {
    /// Its name on the ladder.
    pub name: String,
    /// Eyepiece or camera.
    pub through: Focused,
    /// What the eye needs without glasses, dioptres; negative: short-sighted.
    #[serde(default)]
    pub eye_dioptres: f64,
    /// From the primary's vertex to the object, mm; not given: the sky.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub object_distance_mm: Option<f64>,
}

impl FocusItem {
    /// An eyepiece for a sound eye or a camera, turned to the sky.
    ///
    /// ```
    /// use catoptric::{Camera, FocusItem};
    /// assert_eq!(FocusItem::new("camera", Camera::new(44.0)).eye_dioptres, 0.0);
    /// ```
    pub fn new(name: impl Into<String>, through: impl Into<Focused>) -> Self {
        Self { name: name.into(), through: through.into(), eye_dioptres: 0.0, object_distance_mm: None }
    }

    /// The same for an eye of these dioptres without its glasses; negative: short-sighted.
    ///
    /// ```
    /// use catoptric::{Eyepiece, FocusItem};
    /// assert_eq!(FocusItem::new("24 mm", Eyepiece::new(24.0, 27.0)).eye_dioptres(-3.0).eye_dioptres, -3.0);
    /// ```
    #[must_use]
    pub fn eye_dioptres(self, eye_dioptres: f64) -> Self {
        Self { eye_dioptres, ..self }
    }

    /// The same for an object at this distance from the primary's vertex, mm.
    ///
    /// ```
    /// use catoptric::{Camera, FocusItem};
    /// let item = FocusItem::new("chimney", Camera::new(44.0)).object_distance_mm(60_000.0);
    /// assert_eq!(item.object_distance_mm, Some(60_000.0));
    /// ```
    #[must_use]
    pub fn object_distance_mm(self, object_distance_mm: f64) -> Self {
        Self { object_distance_mm: Some(object_distance_mm), ..self }
    }

    /// How far outward the eye's refraction moves the eyepiece, mm; negative: inward.
    ///
    /// Source: an eye of A dioptres sees sharply what stands at 1/A metres, before it for A < 0. By Newton's equation
    /// x x' = -f_e^2, x and x' along the light from the two focal points: x' = 1000/A mm puts the field's image
    /// x = -A f_e^2/1000 mm behind the front focal point, so the eyepiece moves outward by A f_e^2/1000. Exact for an
    /// eye at the back focal point; the exit pupil lies f_e^2/f beyond it.
    ///
    /// ```
    /// use catoptric::{Camera, Eyepiece, FocusItem};
    /// assert_eq!(FocusItem::new("20 mm", Eyepiece::new(20.0, 24.0)).eye_dioptres(2.0).eye_shift_mm(), 0.8);
    /// assert_eq!(FocusItem::new("camera", Camera::new(44.0)).eye_shift_mm(), 0.0);
    /// ```
    pub fn eye_shift_mm(&self) -> f64 {
        match &self.through {
            Focused::Eyepiece(eyepiece) => self.eye_dioptres * eyepiece.mm_per_dioptre(),
            Focused::Camera(_) => 0.0,
        }
    }

    /// How far outward of the sky's image that of the object lies, mm.
    ///
    /// Source: 1/s + 1/d = 1/f, so s - f = f^2/(d - f) exactly.
    pub(super) fn object_shift_mm(&self, focal_mm: f64) -> f64 {
        self.object_distance_mm.map_or(0.0, |d| focal_mm * focal_mm / (d - focal_mm))
    }

    /// From the shoulder to where the image must lie, mm; positive outside.
    pub(super) fn shoulder_to_image_mm(&self) -> f64 {
        match &self.through {
            // The check asks for the place.
            Focused::Eyepiece(eyepiece) => eyepiece.shoulder_to_stop_mm.unwrap_or(0.0),
            Focused::Camera(camera) => camera.shoulder_to_sensor_mm + camera.adapters_mm,
        }
    }

    /// Radius of the field that counts, mm: to the edge of the field stop or the corner of the sensor.
    ///
    /// ```
    /// use catoptric::{Camera, Eyepiece, FocusItem};
    /// assert_eq!(FocusItem::new("24 mm", Eyepiece::new(24.0, 27.0)).field_radius_mm(), Some(13.5));
    /// assert_eq!(FocusItem::new("camera", Camera::new(44.0)).field_radius_mm(), None);
    /// ```
    pub fn field_radius_mm(&self) -> Option<f64> {
        match &self.through {
            Focused::Eyepiece(eyepiece) => Some(eyepiece.field_stop_mm / 2.0),
            Focused::Camera(camera) => camera.sensor.map(|sensor| {
                let [along, across] = sensor.size_mm();
                along.hypot(across) / 2.0
            }),
        }
    }

    /// Refuses a thing that cannot be focused, whatever the telescope.
    ///
    /// ```
    /// use catoptric::{Camera, FocusItem};
    /// assert!(FocusItem::new("", Camera::new(44.0)).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("item", |f| self.note_problems(0.0, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, focal_mm: f64, findings: &mut Findings) {
        if self.name.trim().is_empty() {
            findings.fault("name", "an empty text", "a name", "");
        }
        match &self.through {
            Focused::Eyepiece(eyepiece) => {
                findings.within("eyepiece", |f| {
                    eyepiece.note_sizes(f);
                    if eyepiece.shoulder_to_stop_mm.is_none() {
                        let allowed = "the field stop's place beside the shoulder, positive outside";
                        f.fault("shoulder_to_stop_mm", "nothing", allowed, "a caliper tells");
                    }
                });
                findings.number(
                    "eye_dioptres",
                    self.eye_dioptres,
                    |v| v.abs() <= MOST_DIOPTRES,
                    "within 25 dioptres",
                    "millimetres given for dioptres?",
                );
            }
            Focused::Camera(camera) => {
                findings.within("camera", |f| camera.note_problems(f));
                let allowed = "0 beside a camera";
                findings.number(
                    "eye_dioptres",
                    self.eye_dioptres,
                    |v| v == 0.0,
                    allowed,
                    "no eye looks here",
                );
            }
        }
        if let Some(distance) = self.object_distance_mm {
            findings.number(
                "object_distance_mm",
                distance,
                |v| v > 2.0 * focal_mm && v <= 1e12,
                "beyond the centre of curvature, twice the focal length, and within a million kilometres",
                "metres given for millimetres? The sky needs no distance",
            );
        }
    }
}
