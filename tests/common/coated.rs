//! Mirrors with coats on them.

use catoptric::{
    Coating, Field, FocalLengthMm, Focus, Metal, MetalCoat, MetalFilm, Prepared, Primary, Train, Wavefront,
};
use ndarray::Array2;

/// Half the clear aperture of these mirrors, mm.
pub(crate) const RIM_MM: f64 = 100.0;

pub(crate) fn primary(coating: Coating) -> Primary {
    Primary::new(2.0 * RIM_MM, FocalLengthMm(1200.0)).coating(coating)
}

pub(crate) fn prepared(primary: Primary) -> Prepared {
    Prepared::new(&Train::builder(primary).build().expect("a sound train"))
}

pub(crate) fn wave(coating: Coating, wavelength_nm: f64) -> Wavefront {
    let telescope = prepared(primary(coating));
    telescope.wavefront(Field::AXIS, Focus::Paraxial, wavelength_nm).expect("a wavefront")
}

pub(crate) fn aluminium(thickness_nm: f64) -> MetalFilm {
    MetalFilm::new(Metal::Aluminium, thickness_nm)
}

pub(crate) fn metal(film: MetalFilm) -> MetalCoat {
    MetalCoat::new(film)
}

/// A map of a function of x and y, in mm, that reaches past the mirror.
pub(crate) fn net(pixel_mm: f64, of: impl Fn(f64, f64) -> f64) -> Array2<f64> {
    let half = (RIM_MM / pixel_mm).ceil() as usize + 9;
    let at = |k: usize| (k as f64 - half as f64) * pixel_mm;
    Array2::from_shape_fn((2 * half + 1, 2 * half + 1), |(i, j)| of(at(j), at(i)))
}
