//! How far the flat stands from its place.

use serde::{Deserialize, Serialize};

use super::text::is_zero;
use crate::error::{Findings, Result};

/// A flat out of its place: moved along three directions, and turned about three lines through the centre of its face.
///
/// The moves are toward the primary, toward the focuser and across (+y). `nod` turns about the line parallel to y, and where
/// it is positive sends the image toward `along` > 0, the sky end; `roll` turns about the face's long axis, `turn` about the
/// line parallel to the tube's axis, and where they are positive they send the image toward +y. The beam turns by 2,
/// sqrt 2 and 1 times these angles. All three together: first `roll`, then `nod`, then `turn`. The focuser and whatever it
/// carries stay where they are, and so do holder and spider.
///
/// Units: mm; arcmin. All 0 unless given.
/// Errors: found by the train's check: moves within half the minor axis, turns within 5 degrees.
/// What it does: no aberration at all, the flat being flat; the image moves, the focal plane leans, the light is cut
/// lopsidedly. See [`crate::Prepared::image_shift`].
///
/// ```
/// use catoptric::Misplacement;
/// let dropped = Misplacement { toward_primary_mm: 1.5, ..Misplacement::NONE };
/// assert_eq!(dropped.nod_arcmin, 0.0);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Misplacement {
    /// Toward the primary, mm.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub toward_primary_mm: f64,
    /// Toward the focuser, mm.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub toward_focuser_mm: f64,
    /// Across, along +y, mm.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub across_mm: f64,
    /// About the line through the face's centre parallel to y, arcmin; positive sends the image toward the sky end.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub nod_arcmin: f64,
    /// About the face's long axis, arcmin; positive sends the image toward +y.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub roll_arcmin: f64,
    /// About the line through the face's centre parallel to the tube's axis, arcmin; positive sends the image toward +y.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub turn_arcmin: f64,
}

/// Largest turn, arcmin: beyond, the image leaves the focuser of any telescope.
const MOST_ARCMIN: f64 = 300.0;

impl Misplacement {
    /// A flat in its place.
    pub const NONE: Self = Self {
        toward_primary_mm: 0.0,
        toward_focuser_mm: 0.0,
        across_mm: 0.0,
        nod_arcmin: 0.0,
        roll_arcmin: 0.0,
        turn_arcmin: 0.0,
    };

    /// Refuses a misplacement that cannot be, whatever flat it belongs to.
    ///
    /// ```
    /// use catoptric::Misplacement;
    /// assert!(Misplacement { nod_arcmin: f64::NAN, ..Misplacement::NONE }.check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("misplaced", |f| self.note_problems(f64::INFINITY, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, minor_axis_mm: f64, findings: &mut Findings) {
        // Beside a size that cannot be there is nothing to compare with.
        let most_mm = if minor_axis_mm > 0.0 { minor_axis_mm / 2.0 } else { f64::INFINITY };
        let moves = [
            ("toward_primary_mm", self.toward_primary_mm),
            ("toward_focuser_mm", self.toward_focuser_mm),
            ("across_mm", self.across_mm),
        ];
        for (field, value) in moves {
            let cause = "an error beside the place that the offset gives, not the place itself";
            findings.number(field, value, |v| v.abs() <= most_mm, "not beyond half the minor axis", cause);
        }
        let turns = [
            ("nod_arcmin", self.nod_arcmin),
            ("roll_arcmin", self.roll_arcmin),
            ("turn_arcmin", self.turn_arcmin),
        ];
        for (field, value) in turns {
            let allowed = "from -300 to 300 arcmin (5 degrees)";
            findings.number(field, value, |v| v.abs() <= MOST_ARCMIN, allowed, "arcseconds?");
        }
    }
}
