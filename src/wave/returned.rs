//! What a coating leaves of the light, and what of a wavefront's Strehl is its shape's.

use super::wavefront::{Sums, Wavefront};
use crate::numeric::sums;

impl Wavefront {
    /// Share of the light on the lit pupil that the mirrors return: the mean of the squared amplitude.
    pub(crate) fn mean_reflectance(&self) -> f64 {
        let terms = self.pupil.weight.iter().zip(&self.pupil.amplitude).map(|(w, a)| w * a * a);
        sums::pairwise(&terms.collect::<Vec<_>>()) / sums::pairwise(&self.pupil.weight)
    }

    /// The Strehl of the light of this wavefront over the surface of another, seen from the other's reference point.
    pub(crate) fn strehl_over(&self, other: &Wavefront) -> f64 {
        let places = self.pupil.x.iter().zip(&self.pupil.y).map(|(x, y)| [*x, *y]).collect::<Vec<_>>();
        let bare = other.source.pupil_at(&places).seen_from(other.reference_mm);
        Sums::new(&self.pupil, &bare, self.wavelength_nm).strehl()
    }
}
