//! How fine a figure is that is not round: what quadratures and looks must resolve.

use std::f64::consts::TAU;

use crate::numeric::zernike_sum::ZernikeSum;

/// Orders of the terms and the pixel of the maps that lie on a mirror.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Detail {
    /// Largest azimuthal order: periods on a full turn.
    pub(crate) azimuthal_order: u32,
    /// Largest radial order.
    pub(crate) radial_order: u32,
    /// Side of the smallest pixel, mm; none without a map.
    pub(crate) pixel_mm: Option<f64>,
}

impl Detail {
    pub(crate) fn of_terms(sum: &ZernikeSum) -> Self {
        Self { azimuthal_order: sum.azimuthal_order(), radial_order: sum.radial_order(), pixel_mm: None }
    }

    /// What resolves both.
    pub(crate) fn finer(self, other: Self) -> Self {
        Self {
            azimuthal_order: self.azimuthal_order.max(other.azimuthal_order),
            radial_order: self.radial_order.max(other.radial_order),
            pixel_mm: [self.pixel_mm, other.pixel_mm].into_iter().flatten().reduce(f64::min),
        }
    }

    /// Pixels along a length in mm; 0 without a map.
    pub(crate) fn pixels_along(&self, length_mm: f64) -> f64 {
        self.pixel_mm.map_or(0.0, |pixel| length_mm / pixel)
    }

    /// Pixels around a circle of a radius in mm; 0 without a map.
    pub(crate) fn pixels_around(&self, radius_mm: f64) -> f64 {
        self.pixels_along(TAU * radius_mm)
    }
}
