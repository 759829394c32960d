//! Parts that only stop light: the front opening and the drawtube.

use serde::{Deserialize, Serialize};

use crate::error::{Findings, Result};

/// A round opening in front of the mirror: the upper ring of a truss, the end of a tube.
///
/// Units: mm; its height is counted from the primary's vertex toward the sky.
/// Errors: found by the train's check.
///
/// ```
/// assert_eq!(catoptric::Opening::new(360.0, 1650.0).diameter_mm, 360.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Opening {
    /// Inner diameter, mm.
    pub diameter_mm: f64,
    /// Height above the primary's vertex, mm.
    pub above_vertex_mm: f64,
}

impl Opening {
    /// An opening from its two lengths.
    ///
    /// ```
    /// assert_eq!(catoptric::Opening::new(360.0, 1650.0).above_vertex_mm, 1650.0);
    /// ```
    pub fn new(diameter_mm: f64, above_vertex_mm: f64) -> Self {
        Self { diameter_mm, above_vertex_mm }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::Opening::new(0.0, 1650.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("front_opening", |f| self.note_problems(0.0, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, clear_aperture_mm: f64, findings: &mut Findings) {
        let sizes = findings.length("diameter_mm", self.diameter_mm)
            & findings.length("above_vertex_mm", self.above_vertex_mm);
        if sizes && self.diameter_mm < clear_aperture_mm {
            findings.warning(
                "diameter_mm",
                self.diameter_mm,
                "an opening below the clear aperture stops the mirror down",
                "radius given for diameter?",
            );
        }
    }
}

/// The focuser's inner tube: a straight bore square to the tube's axis.
///
/// `outer_end_to_focus_mm` is positive where the focus lies outside the tube's outer end, and
/// negative where it lies inside the tube.
///
/// Units: mm.
/// Errors: found by the train's check.
/// What it leaves out: threads, adapters and baffles inside the bore.
///
/// ```
/// assert_eq!(catoptric::Drawtube::new(47.0, 50.0, 18.0).bore_mm, 47.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drawtube {
    /// Inner diameter, mm.
    pub bore_mm: f64,
    /// Length from end to end, mm.
    pub length_mm: f64,
    /// From the outer end to the focal plane, mm; positive: the focus lies outside.
    pub outer_end_to_focus_mm: f64,
}

impl Drawtube {
    /// A drawtube from its three lengths.
    ///
    /// ```
    /// assert_eq!(catoptric::Drawtube::new(47.0, 50.0, 18.0).length_mm, 50.0);
    /// ```
    pub fn new(bore_mm: f64, length_mm: f64, outer_end_to_focus_mm: f64) -> Self {
        Self { bore_mm, length_mm, outer_end_to_focus_mm }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::Drawtube::new(f64::NAN, 50.0, 18.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("drawtube", |f| self.note_problems(None, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, axis_to_focus_mm: Option<f64>, findings: &mut Findings) {
        let sizes = findings.length("bore_mm", self.bore_mm)
            & findings.length("length_mm", self.length_mm)
            & findings.number("outer_end_to_focus_mm", self.outer_end_to_focus_mm, |_| true, "a length", "");
        let Some(axis_to_focus) = axis_to_focus_mm.filter(|_| sizes) else { return };
        findings.number(
            "outer_end_to_focus_mm",
            self.outer_end_to_focus_mm,
            |v| v < axis_to_focus,
            "less than the distance from the axis to the focal plane",
            "a sign: positive means that the focus lies outside the tube's end",
        );
        if self.outer_end_to_focus_mm + self.length_mm < 0.0 {
            findings.warning(
                "outer_end_to_focus_mm",
                self.outer_end_to_focus_mm,
                "the whole drawtube lies beyond the focus and stops nothing",
                "a sign: positive means that the focus lies outside the tube's end",
            );
        }
    }
}
