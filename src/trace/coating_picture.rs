//! The coating over the face of the mirror, as a picture.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::prepared::Prepared;
use crate::error::{Error, Result};

/// What the primary's coating does over a square net of places, seen from the sky, +x to the right.
///
/// Units: shares of unpolarised light that the primary alone returns; nm; positions in mm.
/// Shapes: `reflectance[[i, j]]`, row i at y = `axis_mm[i]`, column j at x = `axis_mm[j]`; nothing beyond the clear
/// aperture. The other two in the same way, where the thickness of the metal counts.
/// Leaves out: the diagonal, and what shadows the mirror.
///
/// ```
/// use catoptric::{Coating, CoatingRing, FocalLengthMm, Prepared, Primary, Train};
/// let coating = Coating::new(0.9).ring(CoatingRing::new(60.0, 80.0, 0.7));
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).coating(coating)).build()?;
/// let seen = Prepared::new(&train).coating_picture(550.0, 101)?;
/// assert_eq!((seen.reflectance[[50, 50]], seen.reflectance[[50, 85]]), (Some(0.9), Some(0.7)));
/// assert_eq!((seen.reflectance[[0, 0]], seen.height_nm), (None, None));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CoatingPicture {
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Positions of rows and columns, mm.
    pub axis_mm: Vec<f64>,
    /// Share of the power returned.
    pub reflectance: Array2<Option<f64>>,
    /// Thickness of the metal, nm.
    pub thickness_nm: Option<Array2<Option<f64>>>,
    /// Height at which light turns around, counted along the normal from that over the even film in the centre, nm.
    pub height_nm: Option<Array2<Option<f64>>>,
}

impl Prepared {
    /// The coating of the primary over its face at a wavelength, on a square net.
    ///
    /// Units: nm.
    /// Errors: [`Error::Input`] for fewer than 2 or more than 2048 places on a side, and as [`Prepared::in_colour`].
    ///
    /// ```
    /// use catoptric::{Coating, FocalLengthMm, Metal, MetalCoat, MetalFilm, Prepared, Primary, ThinRing, Train};
    /// let coat = MetalCoat::new(MetalFilm::new(Metal::Aluminium, 100.0)).ring(ThinRing::new(60.0, 80.0, 40.0));
    /// let mirror = Primary::new(200.0, FocalLengthMm(1200.0)).coating(Coating::default().metal(coat));
    /// let seen = Prepared::new(&Train::builder(mirror).build()?).coating_picture(550.0, 101)?;
    /// let hollow = seen.height_nm.and_then(|h| h[[50, 85]]).expect("metal");
    /// assert!((hollow + 60.0).abs() < 0.5, "thinner by 60 nm, and a hollow of as much");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn coating_picture(&self, wavelength_nm: f64, size: usize) -> Result<CoatingPicture> {
        if !(2..=2048).contains(&size) {
            return Err(Error::input("size", size, "2 to 2048 places on a side", ""));
        }
        let coloured = self.in_colour(wavelength_nm)?;
        let rim = self.clear_radius_mm();
        let axis_mm: Vec<f64> =
            (0..size).map(|i| rim * (2.0 * i as f64 / (size as f64 - 1.0) - 1.0)).collect();
        let picture = |of: &dyn Fn(f64, f64) -> f64| {
            Array2::from_shape_fn((size, size), |(i, j)| {
                let (x, y) = (axis_mm[j], axis_mm[i]);
                (x.hypot(y) <= rim * (1.0 + 1e-12)).then(|| of(x, y))
            })
        };
        let film = coloured.mirror().film();
        Ok(CoatingPicture {
            wavelength_nm,
            reflectance: picture(&|x, y| coloured.coat().reflectance(film, x, y)),
            thickness_nm: film.map(|film| picture(&|x, y| film.thickness_nm(x, y))),
            height_nm: film.map(|film| picture(&|x, y| film.height_nm(x, y))),
            axis_mm,
        })
    }
}
