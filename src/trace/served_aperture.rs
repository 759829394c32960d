//! The aperture that a diagonal really serves.

use super::prepared::Prepared;

/// The largest clear aperture whose axis cone a flat of this minor axis holds when offset for it, mm.
///
/// From a = 2 k L/(1 - k^2) with k = D/(2 (f - s)), s = D^2/(16 f), solved for k and then for D: [`super::cone`] says where the
/// first comes from.
pub(crate) fn served_aperture_mm(focal_length_mm: f64, axis_to_focus_mm: f64, minor_axis_mm: f64) -> f64 {
    let slope = minor_axis_mm / (axis_to_focus_mm + axis_to_focus_mm.hypot(minor_axis_mm));
    // (sqrt(1 + k^2) - 1)/k, without the difference of near numbers.
    4.0 * focal_length_mm * slope / (1.0 + 1.0_f64.hypot(slope))
}

impl Prepared {
    /// The clear aperture that the diagonal serves in the middle of the field: that of the largest mirror of this focal length
    /// whose axis cone it holds when offset for it, mm. Below the primary's own, the diagonal silently stops the telescope down
    /// to about this. `None` without a diagonal.
    ///
    /// Units: mm.
    /// Leaves out: an offset of another size, by which the flat cuts the cone on one side; [`Prepared::light`] has it.
    ///
    /// ```
    /// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
    ///     .diagonal(Diagonal::new(63.5))
    ///     .focal_plane(FocalPlane::new(340.0))
    ///     .build()?;
    /// assert_eq!(Prepared::new(&train).served_aperture_mm().map(f64::round), Some(375.0));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn served_aperture_mm(&self) -> Option<f64> {
        let (fold, plane) = (self.fold()?, self.train().focal_plane()?);
        Some(served_aperture_mm(self.focal_length_mm(), plane.axis_to_focus_mm, fold.minor_axis_mm))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::smallest_diagonal;
    use crate::units::FocalLengthMm;

    #[test]
    fn it_is_the_inverse_of_the_axis_cone() {
        for (aperture, focal, to_focus) in
            [(406.0, 2030.0, 340.0), (200.0, 800.0, 130.0), (150.0, 1500.0, 90.0)]
        {
            let mirror = crate::model::Primary::new(aperture, FocalLengthMm(focal));
            let fit = smallest_diagonal(&mirror, to_focus, 0.0).expect("sound sizes");
            let served = served_aperture_mm(focal, to_focus, fit.minor_axis_mm);
            assert!((served - aperture).abs() < 1e-10 * aperture, "{served} mm");
        }
    }
}
