//! Light at points of the focal plane.

use serde::{Deserialize, Serialize};

use super::super::prepared::Prepared;
use super::super::stops::Part;
use super::{Light, magnitudes, no_light};
use crate::error::{Error, Result};
use crate::numeric::pool;
use crate::units::{Field, RADIANS_PER_ARCMIN};

/// Light at many points of the image.
///
/// Units: mm in the focal plane from its centre, `along` positive toward the sky end, `across` along +y.
/// Shapes: all lists have the same length, one entry a point.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(63.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let light = Prepared::new(&train).illumination(&[0.0, 20.0], &[0.0, 0.0])?;
/// assert!(light.relative[1] < light.relative[0]);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Illumination {
    /// Where, along, mm.
    pub along_mm: Vec<f64>,
    /// Where, across, mm.
    pub across_mm: Vec<f64>,
    /// Lit area over the clear aperture's, both as the star sees them.
    pub absolute: Vec<f64>,
    /// The same over its value in the middle of the field.
    pub relative: Vec<f64>,
    /// For each part the share it stops at every point, in the order in which light meets the parts.
    pub stopped: Vec<(Part, Vec<f64>)>,
    /// The opening that limits at every point: see [`Light::limited_by`].
    pub limited_by: Vec<Option<Part>>,
    /// Estimated error of the absolute values: the largest of all points.
    pub error_estimate: f64,
}

impl Illumination {
    /// Loss against the middle of the field, magnitudes; infinite where no light arrives.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert_eq!(Prepared::new(&train).illumination(&[5.0], &[0.0])?.magnitudes(), [0.0]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn magnitudes(&self) -> Vec<f64> {
        self.relative.iter().map(|r| magnitudes(*r)).collect()
    }
}

impl Prepared {
    /// Illumination at points of the focal plane.
    ///
    /// Units: mm. Shapes: two lists of equal length.
    /// Errors: [`Error::Input`] for unequal lists, positions that are not finite or lie beyond the focal length;
    /// [`Error::NoLight`] where the middle of the field is dark.
    /// Method, and what it leaves out: [`Prepared::light`].
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!(Prepared::new(&train).illumination(&[0.0], &[]).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn illumination(&self, along_mm: &[f64], across_mm: &[f64]) -> Result<Illumination> {
        if along_mm.len() != across_mm.len() || along_mm.is_empty() {
            return Err(Error::input(
                "across_mm",
                format!("{} positions beside {} of along_mm", across_mm.len(), along_mm.len()),
                "two lists of equal length, one point or more",
                "",
            ));
        }
        let focal_mm = self.focal_length_mm();
        for (name, list) in [("along_mm", along_mm), ("across_mm", across_mm)] {
            if let Some((i, &value)) =
                list.iter().enumerate().find(|(_, v)| v.abs().is_nan() || v.abs() > focal_mm)
            {
                let field = format!("{name}[{i}]");
                return Err(Error::input(field, value, "a position within one focal length", "micrometres?"));
            }
        }
        let on_axis = self.light_on_axis()?.lit_fraction;
        let points: Vec<[f64; 2]> = along_mm.iter().zip(across_mm).map(|(a, b)| [*a, *b]).collect();
        let lights = self.lights_at(&points);
        Ok(Illumination {
            along_mm: along_mm.to_vec(),
            across_mm: across_mm.to_vec(),
            absolute: lights.iter().map(|l| l.lit_fraction).collect(),
            relative: lights.iter().map(|l| l.lit_fraction / on_axis).collect(),
            stopped: by_part(self, &lights),
            limited_by: lights.iter().map(|l| l.limited_by).collect(),
            error_estimate: largest_error(&lights),
        })
    }

    /// The light in the middle of the field; an error where it is dark.
    pub(super) fn light_on_axis(&self) -> Result<Light> {
        let star = self.field_of_image(0.0, 0.0);
        let light = self.light(star);
        if light.lit_fraction > 0.0 { Ok(light) } else { Err(no_light(star, &light)) }
    }

    /// The light at points of the focal plane: along, across, mm.
    pub(super) fn lights_at(&self, points: &[[f64; 2]]) -> Vec<Light> {
        // A point takes 5 us where nothing is cut, 40 to 270 where several parts cut.
        pool::map_ordered(points.len(), points.len() > 2, |i| {
            self.light(self.field_of_image(points[i][0], points[i][1]))
        })
    }

    /// The star whose image falls on a point of the focal plane, or the light of whose image passes the mirror's vertex
    /// and that point where the flat stands out of its place.
    pub(crate) fn field_of_image(&self, along_mm: f64, across_mm: f64) -> Field {
        if let Some(plane) = self.tilted_focal_plane() {
            // The light by the vertex comes from the point's mirror image.
            let [x, y, z] = plane.point_mm(along_mm, across_mm);
            let angle = |part: f64| (-part / z).atan() / RADIANS_PER_ARCMIN + 0.0;
            return Field::arcmin(angle(x), angle(y));
        }
        // Without the + 0 the middle would be told as -0 arcmin.
        let angle = |image_mm: f64| (-image_mm / self.focal_length_mm()).atan() / RADIANS_PER_ARCMIN + 0.0;
        Field::arcmin(angle(along_mm), angle(across_mm))
    }
}

/// For each part the shares it stops at every point.
pub(super) fn by_part(prepared: &Prepared, lights: &[Light]) -> Vec<(Part, Vec<f64>)> {
    let parts = prepared.parts().iter().enumerate();
    parts.map(|(i, &part)| (part, lights.iter().map(|light| light.stopped[i].fraction).collect())).collect()
}

pub(super) fn largest_error(lights: &[Light]) -> f64 {
    lights.iter().map(|l| l.error_estimate).fold(0.0, f64::max)
}
