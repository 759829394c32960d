//! The diagonal flat, and the focal plane that it sends the light to.

use serde::{Deserialize, Serialize};

use super::coating::{check_reflectance, full};
use crate::error::{Findings, Result};

/// The flat that turns the light to the focuser: an ellipse at 45 degrees whose minor axis is given.
///
/// The major axis is sqrt 2 times the minor one, so that along the tube it looks like a circle.
///
/// Units: mm. The offset is counted toward the primary and equally away from the focuser; the
/// face moves by sqrt 2 times that. Not given, it is that of the largest lit circle which this size serves.
/// Errors: found by the train's check.
/// What it leaves out: thickness, bevel and holder.
///
/// ```
/// let diagonal = catoptric::Diagonal::new(70.0);
/// assert_eq!(diagonal.offset_mm, None);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Diagonal {
    /// Minor axis of the reflecting face, mm.
    pub minor_axis_mm: f64,
    /// Offset toward the primary and equally away from the focuser, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset_mm: Option<f64>,
    /// Share of the power returned.
    #[serde(default = "full")]
    pub reflectance: f64,
}

impl Diagonal {
    /// A diagonal of this minor axis, offset for the largest lit circle.
    ///
    /// ```
    /// assert_eq!(catoptric::Diagonal::new(70.0).reflectance, 1.0);
    /// ```
    pub fn new(minor_axis_mm: f64) -> Self {
        Self { minor_axis_mm, offset_mm: None, reflectance: full() }
    }

    /// The same diagonal with its offset stated, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Diagonal::new(70.0).offset_mm(0.0).offset_mm, Some(0.0));
    /// ```
    #[must_use]
    pub fn offset_mm(self, offset_mm: f64) -> Self {
        Self { offset_mm: Some(offset_mm), ..self }
    }

    /// The same diagonal with another reflectance.
    ///
    /// ```
    /// assert_eq!(catoptric::Diagonal::new(70.0).reflectance(0.78).reflectance, 0.78);
    /// ```
    #[must_use]
    pub fn reflectance(self, reflectance: f64) -> Self {
        Self { reflectance, ..self }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::Diagonal::new(-70.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("diagonal", |f| self.note_problems(f64::INFINITY, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, clear_aperture_mm: f64, findings: &mut Findings) {
        findings.number(
            "minor_axis_mm",
            self.minor_axis_mm,
            |v| v > 0.0 && v < clear_aperture_mm,
            "a length above 0 and below the primary's clear aperture",
            "inches, or the primary's own diameter?",
        );
        if let Some(offset) = self.offset_mm {
            findings.number(
                "offset_mm",
                offset,
                |v| v.abs() <= self.minor_axis_mm / 2.0,
                "not beyond half the minor axis",
                "the offset counts toward the primary, not along the face",
            );
        }
        check_reflectance(self.reflectance, findings);
    }
}

/// Where the image is looked at: the plane square to the focuser's axis.
///
/// Units: mm, from the axis of the tube.
/// Errors: found by the train's check (more than half the clear aperture, less than the focal length).
///
/// ```
/// assert_eq!(catoptric::FocalPlane::new(235.0).axis_to_focus_mm, 235.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FocalPlane {
    /// Distance from the axis of the tube to the focal plane, mm.
    pub axis_to_focus_mm: f64,
}

impl FocalPlane {
    /// A focal plane at this distance from the tube's axis.
    ///
    /// ```
    /// assert_eq!(catoptric::FocalPlane::new(235.0), catoptric::FocalPlane { axis_to_focus_mm: 235.0 });
    /// ```
    pub fn new(axis_to_focus_mm: f64) -> Self {
        Self { axis_to_focus_mm }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::FocalPlane::new(-235.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("focal_plane", |f| self.note_problems(0.0, f64::INFINITY, f));
        findings.refuse()
    }

    pub(super) fn note_problems(
        &self,
        clear_aperture_mm: f64,
        focal_length_mm: f64,
        findings: &mut Findings,
    ) {
        findings.number(
            "axis_to_focus_mm",
            self.axis_to_focus_mm,
            |v| v > clear_aperture_mm / 2.0 && v < focal_length_mm,
            "more than half the clear aperture and less than the focal length",
            "counted from the tube's wall instead of its axis?",
        );
    }
}
