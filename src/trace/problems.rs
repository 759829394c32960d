//! Warnings about a train that can be, but may not be what its owner meant.

use super::cone::Envelope;
use crate::error::{Problem, Severity};
use crate::model::Train;

impl Train {
    /// Warnings: what is unusual or costs light, though it can be computed.
    ///
    /// Faults are refused at construction and never stand here.
    ///
    /// ```
    /// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(40.0))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .build()?;
    /// assert_eq!(train.problems()[0].field, "diagonal.minor_axis_mm");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn problems(&self) -> Vec<Problem> {
        let mut problems = self.warnings();
        if let (Some(diagonal), Some(plane)) = (self.diagonal(), self.focal_plane()) {
            let axis_cone = Envelope::new(self.primary(), plane.axis_to_focus_mm).diagonal(0.0);
            if diagonal.minor_axis_mm < axis_cone.minor_axis_mm {
                problems.push(Problem {
                    severity: Severity::Warning,
                    field: "diagonal.minor_axis_mm".to_owned(),
                    value: diagonal.minor_axis_mm.to_string(),
                    allowed: format!("the cone of the axis needs {:.2}", axis_cone.minor_axis_mm),
                    cause: "it stops the mirror down, even in the middle of the field".to_owned(),
                });
            }
        }
        problems
    }
}
