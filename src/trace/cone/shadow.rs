//! The shadow that diagonal and holder throw on the mirror.

use std::f64::consts::SQRT_2;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::model::{Primary, Train};
use crate::trace::Part;
use crate::trace::prepared::Prepared;
use crate::trace::star::Star;
use crate::units::{Field, FocalLengthMm};

/// The shadow of diagonal and holder on the mirror, for a star.
///
/// Places are measured on the plane of the mirror's vertex, x toward the focuser. The glass counts with its bevel and
/// its thickness, and where it is misplaced, there.
///
/// Units: mm; obstructions have none.
/// Source: the circle of the glass, seen along the tube, and that of its back, thrown along the light (closed form);
/// the area from the exact shares of [`Prepared::light`].
/// Leaves out: the mirror's own depth under the shadow, which moves its edge by r^2/(4 f) times the star's slope
/// (2 um for a 70 mm flat at f = 1.5 m and 30'); vanes.
///
/// ```
/// use catoptric::{Diagonal, Field, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0).offset_mm(3.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let shadow = Prepared::new(&train).diagonal_shadow(Field::AXIS)?;
/// assert!((shadow.along_mm - 70.0).abs() < 1e-9 && (shadow.centre_x_mm + 3.0).abs() < 1e-9);
/// assert!((shadow.by_area - shadow.by_diameter.powi(2)).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DiagonalShadow {
    /// The star.
    pub field: Field,
    /// Middle of the diagonal's shadow, x, mm.
    pub centre_x_mm: f64,
    /// Its y, mm.
    pub centre_y_mm: f64,
    /// Its extent along x, mm.
    pub along_mm: f64,
    /// Its extent along y, mm.
    pub across_mm: f64,
    /// Middle of the holder's shadow, x, mm.
    pub holder_x_mm: Option<f64>,
    /// Its y, mm.
    pub holder_y_mm: Option<f64>,
    /// Diameter of the holder's shadow, mm.
    pub holder_diameter_mm: Option<f64>,
    /// The larger extent of both shadows together over the diameter that gathers light.
    pub by_diameter: f64,
    /// Area of both shadows together over the area that gathers light, as the star sees both.
    pub by_area: f64,
}

impl Prepared {
    /// The shadow of diagonal and holder on the mirror.
    ///
    /// Units: mm. Errors: [`Error::Input`] for a train without a diagonal, and for a star further than 600 arcmin from
    /// the axis.
    /// Source: see [`DiagonalShadow`].
    ///
    /// ```
    /// use catoptric::{Diagonal, Field, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(70.0).offset_mm(0.0))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .build()?;
    /// let shadow = Prepared::new(&train).diagonal_shadow(Field::arcmin(20.0, 0.0))?;
    /// assert!(shadow.centre_x_mm < -7.6, "a star on the focuser's side throws it to the other");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn diagonal_shadow(&self, field: Field) -> Result<DiagonalShadow> {
        Star::from(field).check(self.focal_length_mm())?;
        let (Some(fold), Some(diagonal)) = (self.fold(), self.train().diagonal()) else {
            return Err(Error::input("diagonal", "nothing", "a train with a diagonal and a focal plane", ""));
        };
        let slopes = field.tangents();
        let thrown = |v: [f64; 3]| [v[0] - v[2] * slopes[0], v[1] - v[2] * slopes[1]];
        let (face, radius) = (fold.face(), fold.glass_mm / 2.0);
        let (centre, back) = (thrown(face.centre_mm), thrown(fold.back_mm()));
        let (long, short) =
            (thrown(face.long.map(|v| v * SQRT_2 * radius)), thrown(face.short.map(|v| v * radius)));
        let mut ends = [[0.0; 2]; 2];
        for axis in 0..2 {
            let half = long[axis].hypot(short[axis]);
            let drift = back[axis];
            ends[axis] = [centre[axis] - half + drift.min(0.0), centre[axis] + half + drift.max(0.0)];
        }
        let middle = |[low, high]: [f64; 2]| 0.5 * (low + high);
        let [along_mm, across_mm] = ends.map(|[low, high]| high - low);
        let holder = self.train().holder().map(|h| {
            let height = h.above_vertex_mm.unwrap_or(fold.height_mm);
            ([-height * slopes[0], -height * slopes[1]], h.diameter_mm)
        });
        let mut both = ends;
        if let Some((place, diameter)) = holder {
            for axis in 0..2 {
                both[axis][0] = both[axis][0].min(place[axis] - diameter / 2.0);
                both[axis][1] = both[axis][1].max(place[axis] + diameter / 2.0);
            }
        }
        let widest = both.map(|[low, high]| high - low).into_iter().fold(0.0, f64::max);
        // The shares of the two alone: nothing else in front, so nothing is taken before them.
        let primary = self.train().primary();
        let plain = Primary::new(primary.clear_aperture_mm, FocalLengthMm(primary.focal_length_mm));
        let mut alone = Train::builder(plain)
            .diagonal(crate::model::Diagonal { offset_mm: Some(fold.offset_mm), ..*diagonal });
        alone.focal_plane = self.train().focal_plane().copied();
        alone.holder = self.train().holder().copied();
        let light = Prepared::new(&alone.build()?).light(field);
        let stopped: f64 = light
            .stopped
            .iter()
            .filter(|s| matches!(s.part, Part::DiagonalShadow | Part::Holder))
            .map(|s| s.fraction)
            .sum();
        Ok(DiagonalShadow {
            field,
            centre_x_mm: middle(ends[0]),
            centre_y_mm: middle(ends[1]),
            along_mm,
            across_mm,
            holder_x_mm: holder.map(|(place, _)| place[0]),
            holder_y_mm: holder.map(|(place, _)| place[1]),
            holder_diameter_mm: holder.map(|(_, diameter)| diameter),
            by_diameter: widest / (2.0 * self.open_radius_mm()),
            by_area: stopped * (self.clear_radius_mm() / self.open_radius_mm()).powi(2),
        })
    }
}
