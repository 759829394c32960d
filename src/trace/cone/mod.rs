//! The geometry of the light cone: how large a diagonal must be, and where it must stand.

mod misplaced;
mod on_flat;
mod shadow;

use serde::{Deserialize, Serialize};

pub use misplaced::MisplacementEffects;
pub use on_flat::{ConeClearance, ConeOnFlat, ConeRule, RuleError, cone_on_flat};
pub use shadow::DiagonalShadow;

use crate::error::{Error, Result};
use crate::model::Primary;

/// A diagonal that just serves a lit circle.
///
/// Units: mm; the offset counts toward the primary and equally away from the focuser.
///
/// ```
/// let fit = catoptric::DiagonalFit { minor_axis_mm: 70.0, offset_mm: 3.5 };
/// assert!(fit.offset_mm < fit.minor_axis_mm);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DiagonalFit {
    /// Minor axis, mm.
    pub minor_axis_mm: f64,
    /// Offset, mm.
    pub offset_mm: f64,
}

/// The envelope of all light that goes to a lit circle in the focal plane: a cone frustum from the
/// mirror's rim to that circle.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Envelope {
    aperture_mm: f64,
    /// From the plane of the rim to the focal plane.
    rim_to_focus_mm: f64,
    axis_to_focus_mm: f64,
}

impl Envelope {
    pub(crate) fn new(primary: &Primary, axis_to_focus_mm: f64) -> Self {
        let (aperture_mm, focal_mm) = (primary.clear_aperture_mm, primary.focal_length_mm);
        // The rim's sagitta of the paraboloid; another conic differs by its fourth-order term, micrometres.
        let sagitta_mm = aperture_mm * aperture_mm / (16.0 * focal_mm);
        Self { aperture_mm, rim_to_focus_mm: focal_mm - sagitta_mm, axis_to_focus_mm }
    }

    /// From the middle of the diagonal to the plane of the rim.
    pub(crate) fn span_mm(&self) -> f64 {
        self.rim_to_focus_mm - self.axis_to_focus_mm
    }

    /// Radius gained for each millimetre away from the focal plane, for a lit circle of this diameter.
    fn slope(&self, lit_diameter_mm: f64) -> f64 {
        (self.aperture_mm - lit_diameter_mm) / (2.0 * self.rim_to_focus_mm)
    }

    /// The smallest flat of axis ratio sqrt 2 that serves a lit circle.
    pub(crate) fn diagonal(&self, lit_diameter_mm: f64) -> DiagonalFit {
        let k = self.slope(lit_diameter_mm);
        let radius = lit_diameter_mm / 2.0 + k * self.axis_to_focus_mm;
        DiagonalFit { minor_axis_mm: 2.0 * radius / (1.0 - k * k), offset_mm: radius * k / (1.0 - k * k) }
    }

    /// Diameter of the largest lit circle that a flat of this minor axis serves; negative when it is too
    /// small even for the axis.
    pub(crate) fn lit_diameter_mm(&self, minor_axis_mm: f64) -> f64 {
        // diagonal(i).minor_axis = a is a quadratic in the slope k; i follows from k.
        let span = self.rim_to_focus_mm - self.axis_to_focus_mm;
        let wider = self.aperture_mm - minor_axis_mm;
        let k = wider / (span + (span * span - minor_axis_mm * wider).sqrt());
        self.aperture_mm - 2.0 * k * self.rim_to_focus_mm
    }

    /// The offset that goes with a size when none is stated.
    pub(crate) fn offset_mm(&self, minor_axis_mm: f64) -> f64 {
        minor_axis_mm * self.slope(self.lit_diameter_mm(minor_axis_mm)) / 2.0
    }
}

/// The smallest diagonal that serves a fully lit circle of a given diameter, with its offset.
///
/// Units: mm. A lit diameter of 0 asks for the axis alone.
/// Errors: [`crate::Error::Input`] for a lit circle that is negative or not below the clear aperture, or a focal plane
/// not between half the clear aperture and the focal length.
/// Source: the envelope's radius at distance u from the focal plane is i/2 + k u with
/// k = (D - i)/(2 (f - s)); cut at 45 degrees it is an ellipse of half minor axis r/sqrt(1 - k^2) and
/// axis ratio sqrt(2)/sqrt(1 - k^2), which a flat of ratio sqrt 2 covers with 2r/(1 - k^2). Worked example:
/// Dakin 1962, in Texereau 1984, appendix G.
/// Leaves out: the curved path of the rim of a conic other than the paraboloid (micrometres), the flat's bevel.
///
/// ```
/// use catoptric::{FocalLengthMm, Primary, inches, smallest_diagonal};
/// let mirror = Primary::new(inches(8.0), FocalLengthMm(inches(48.0)));
/// let fit = smallest_diagonal(&mirror, inches(6.3), inches(0.43))?;
/// assert!((fit.minor_axis_mm - inches(1.434_239_50)).abs() < inches(1e-7)); // Dakin 1962
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn smallest_diagonal(
    primary: &Primary,
    axis_to_focus_mm: f64,
    fully_lit_diameter_mm: f64,
) -> Result<DiagonalFit> {
    check_cone(primary, axis_to_focus_mm, fully_lit_diameter_mm)?;
    Ok(Envelope::new(primary, axis_to_focus_mm).diagonal(fully_lit_diameter_mm))
}

/// Refuses a cone that no telescope of this kind has.
fn check_cone(primary: &Primary, axis_to_focus_mm: f64, fully_lit_diameter_mm: f64) -> Result<()> {
    primary.check()?;
    let (aperture, focal) = (primary.clear_aperture_mm, primary.focal_length_mm);
    if !(axis_to_focus_mm > aperture / 2.0 && axis_to_focus_mm < focal) {
        return Err(Error::input(
            "axis_to_focus_mm",
            axis_to_focus_mm,
            "more than half the clear aperture and less than the focal length",
            "counted from the tube's wall instead of its axis?",
        ));
    }
    if !(0.0..aperture).contains(&fully_lit_diameter_mm) {
        return Err(Error::input(
            "fully_lit_diameter_mm",
            fully_lit_diameter_mm,
            "from 0 to less than the clear aperture",
            "",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{FocalLengthMm, inches};

    #[test]
    fn size_and_lit_circle_are_inverse() {
        let envelope = Envelope::new(&Primary::new(406.0, FocalLengthMm(2030.0)), 303.0);
        for lit in [-10.0, 0.0, 8.0, 40.0] {
            let fit = envelope.diagonal(lit);
            assert!((envelope.lit_diameter_mm(fit.minor_axis_mm) - lit).abs() < 1e-9);
            assert!((envelope.offset_mm(fit.minor_axis_mm) - fit.offset_mm).abs() < 1e-11);
        }
    }

    #[test]
    fn dakin_1962() {
        // Dakin 1962, in Texereau 1984 appendix G: D 8, f 48, L 6.3, lit field 0.43 inches.
        let mirror = Primary::new(inches(8.0), FocalLengthMm(inches(48.0)));
        let fit = smallest_diagonal(&mirror, inches(6.3), inches(0.43)).expect("sound sizes");
        assert!((fit.minor_axis_mm / 25.4 - 1.434_239_50).abs() < 1e-7);
        assert!((fit.offset_mm / 25.4 - 0.056_646_22).abs() < 1e-7);
    }
}
