//! Parts between the flat and the focal plane: the focuser board's hole, a filter's ring, the mask before a sensor.

use serde::{Deserialize, Serialize};

use super::text::is_zero;
use crate::error::{Findings, Result};

/// The round hole in the board, or in the tube's wall, that carries the focuser.
///
/// Units: mm; the distance is counted from the axis of the tube.
/// Errors: found by the train's check (more than half the clear aperture; it needs a focal plane).
/// What it leaves out: the board's thickness; give the face that the cone fills more.
///
/// ```
/// assert_eq!(catoptric::FocuserBoard::new(56.0, 190.0).hole_mm, 56.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FocuserBoard {
    /// Diameter of the hole, mm.
    pub hole_mm: f64,
    /// From the axis of the tube to the board, mm.
    pub axis_to_board_mm: f64,
}

impl FocuserBoard {
    /// A board from its two lengths.
    ///
    /// ```
    /// assert_eq!(catoptric::FocuserBoard::new(56.0, 190.0).axis_to_board_mm, 190.0);
    /// ```
    pub fn new(hole_mm: f64, axis_to_board_mm: f64) -> Self {
        Self { hole_mm, axis_to_board_mm }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::FocuserBoard::new(0.0, 190.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("focuser_board", |f| self.note_problems(0.0, None, f));
        findings.refuse()
    }

    pub(super) fn note_problems(
        &self,
        clear_aperture_mm: f64,
        axis_to_focus_mm: Option<f64>,
        findings: &mut Findings,
    ) {
        findings.length("hole_mm", self.hole_mm);
        let is_place = findings.length("axis_to_board_mm", self.axis_to_board_mm)
            && findings.number(
                "axis_to_board_mm",
                self.axis_to_board_mm,
                |v| v > clear_aperture_mm / 2.0,
                "more than half the clear aperture",
                "counted from the tube's wall instead of its axis?",
            );
        if is_place && axis_to_focus_mm.is_some_and(|l| self.axis_to_board_mm >= l) {
            findings.warning(
                "axis_to_board_mm",
                self.axis_to_board_mm,
                "the board lies beyond the focus and stops nothing",
                "counted from the other side of the tube?",
            );
        }
    }
}

/// The clear opening of a filter or of an adapter ring.
///
/// Units: mm; its distance is counted from the focal plane back toward the mirror.
/// Errors: found by the train's check (it needs a focal plane).
/// What it leaves out: the filter's glass, which moves the focus outward by about a third of its thickness.
///
/// ```
/// assert_eq!(catoptric::FilterRing::new(44.0, 60.0).before_focus_mm, 60.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FilterRing {
    /// Clear diameter, mm.
    pub diameter_mm: f64,
    /// From the ring to the focal plane, mm.
    pub before_focus_mm: f64,
}

impl FilterRing {
    /// A ring from its two lengths.
    ///
    /// ```
    /// assert_eq!(catoptric::FilterRing::new(44.0, 60.0).diameter_mm, 44.0);
    /// ```
    pub fn new(diameter_mm: f64, before_focus_mm: f64) -> Self {
        Self { diameter_mm, before_focus_mm }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::FilterRing::new(44.0, -60.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("filter_ring", |f| self.note_problems(None, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, axis_to_focus_mm: Option<f64>, findings: &mut Findings) {
        findings.length("diameter_mm", self.diameter_mm);
        note_before_focus(self.before_focus_mm, axis_to_focus_mm, findings);
    }
}

/// A rectangular opening before a sensor: the edge of the camera's chamber, or the frame of its cover glass.
///
/// Its sides lie along and across, turned from `along` toward `across` by an angle.
///
/// Units: mm; degrees; its distance is counted from the focal plane back toward the mirror.
/// Errors: found by the train's check (it needs a focal plane).
/// What it leaves out: rounded corners. Nearer to the focus than the blur of the image there (a millimetre or so for coma at
/// f/5) rays of one star cross, and exact fractions take the edge of the blur for a line.
///
/// ```
/// assert_eq!(catoptric::SensorMask::new(24.0, 17.0, 12.0).rotation_deg, 0.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorMask {
    /// Width along, before the rotation, mm.
    pub along_mm: f64,
    /// Width across, before the rotation, mm.
    pub across_mm: f64,
    /// Turned from `along` toward `across`, degrees.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub rotation_deg: f64,
    /// From the mask to the focal plane, mm.
    pub before_focus_mm: f64,
}

impl SensorMask {
    /// A mask from its widths along and across, and its distance from the focal plane.
    ///
    /// ```
    /// assert_eq!(catoptric::SensorMask::new(24.0, 17.0, 12.0).across_mm, 17.0);
    /// ```
    pub fn new(along_mm: f64, across_mm: f64, before_focus_mm: f64) -> Self {
        Self { along_mm, across_mm, rotation_deg: 0.0, before_focus_mm }
    }

    /// The same mask turned from `along` toward `across`, degrees.
    ///
    /// ```
    /// assert_eq!(catoptric::SensorMask::new(24.0, 17.0, 12.0).rotation_deg(30.0).rotation_deg, 30.0);
    /// ```
    #[must_use]
    pub fn rotation_deg(self, rotation_deg: f64) -> Self {
        Self { rotation_deg, ..self }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::SensorMask::new(24.0, 0.0, 12.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("sensor_mask", |f| self.note_problems(None, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, axis_to_focus_mm: Option<f64>, findings: &mut Findings) {
        findings.length("along_mm", self.along_mm);
        findings.length("across_mm", self.across_mm);
        findings.number(
            "rotation_deg",
            self.rotation_deg,
            |a| a.abs() <= 360.0,
            "from -360 to 360 degrees",
            "arcminutes, or radians?",
        );
        note_before_focus(self.before_focus_mm, axis_to_focus_mm, findings);
    }
}

fn note_before_focus(before_focus_mm: f64, axis_to_focus_mm: Option<f64>, findings: &mut Findings) {
    let most_mm = axis_to_focus_mm.unwrap_or(f64::INFINITY);
    findings.number(
        "before_focus_mm",
        before_focus_mm,
        |v| v >= 0.0 && v < most_mm,
        "from 0 to less than the distance from the axis to the focal plane",
        "a sign: counted from the focal plane toward the mirror",
    );
}
