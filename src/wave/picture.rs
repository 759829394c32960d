//! The wavefront as a picture over the mirror.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::sums;

/// A wavefront over a square net of mirror points, seen from the sky, +x to the right.
///
/// Units: nm; positions in mm (in pupil radii for given coefficients).
/// Shapes: `path_nm[[i, j]]`, row i at y = `axis_mm[i]`, column j at x = `axis_mm[j]`; nothing where no light is.
///
/// ```
/// use catoptric::{Indexing, Wavefront};
/// let map = Wavefront::from_zernikes(&[(4, 10.0)].into(), Indexing::Noll, 0.0, None, 550.0)?.map(33)?;
/// assert_eq!(map.path_nm[[0, 0]], None);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WavefrontMap {
    /// Wavefront, nm, as [`Wavefront`] defines it.
    pub path_nm: Array2<Option<f64>>,
    /// Positions of rows and columns, mm.
    pub axis_mm: Vec<f64>,
}

impl Wavefront {
    /// The wavefront on a square net, for pictures.
    ///
    /// Errors: [`Error::Input`] for fewer than 2 or more than 2048 points on a side.
    /// Leaves out: what lies between the points; statistics come from the quadrature, not from here.
    ///
    /// ```
    /// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let map = Prepared::new(&train).wavefront(Field::AXIS, Focus::Paraxial, 550.0)?.map(65)?;
    /// assert!(map.path_nm[[32, 32]].is_some_and(|w| w.abs() < 1e-3));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn map(&self, size: usize) -> Result<WavefrontMap> {
        if !(2..=2048).contains(&size) {
            return Err(Error::input("size", size, "2 to 2048 points on a side", ""));
        }
        let rim = self.source.rim();
        let axis_mm: Vec<f64> =
            (0..size).map(|i| rim * (2.0 * i as f64 / (size as f64 - 1.0) - 1.0)).collect();
        let mut path_nm = Array2::from_elem((size, size), None);
        let lit: Vec<(usize, usize)> = path_nm
            .indexed_iter()
            .map(|(at, _)| at)
            .filter(|&(i, j)| self.source.is_lit(axis_mm[j], axis_mm[i]))
            .collect();
        let points: Vec<[f64; 2]> = lit.iter().map(|&(i, j)| [axis_mm[j], axis_mm[i]]).collect();
        let seen = self.source.pupil_at(&points).seen_from(self.reference_mm);
        let raw = self.pupil.seen_from(self.reference_mm);
        let piston = sums::dot(&self.pupil.weight, &raw.path_nm) / sums::pairwise(&self.pupil.weight);
        for (at, path) in lit.into_iter().zip(seen.path_nm) {
            path_nm[at] = Some(path - piston);
        }
        Ok(WavefrontMap { path_nm, axis_mm })
    }
}
