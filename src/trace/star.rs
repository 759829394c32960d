//! A star, or the lamp that stands for one.

use serde::{Deserialize, Serialize};

use super::spot::check_field;
use crate::error::{Error, Result};
use crate::units::Field;

/// Where light comes from: a star of the sky, or an artificial one at a finite distance.
///
/// Units: arcmin; mm from the primary's vertex. Wherever a star is asked for, a [`Field`] stands for one of the sky.
///
/// ```
/// use catoptric::{Field, Star};
/// assert_eq!(Star::from(Field::AXIS).distance_mm, None);
/// assert_eq!(Star::artificial(Field::AXIS, 40_000.0).distance_mm, Some(40_000.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Star {
    /// In which direction it stands.
    pub field: Field,
    /// How far away it is, mm from the vertex; not given: infinitely far.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub distance_mm: Option<f64>,
}

impl From<Field> for Star {
    fn from(field: Field) -> Self {
        Self { field, distance_mm: None }
    }
}

impl Star {
    /// An artificial star: a point of light at a distance from the primary's vertex, mm.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Focus, Prepared, Primary, Star, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let star = Star::artificial(Field::AXIS, 30_000.0);
    /// let wavefront = Prepared::new(&train).wavefront(star, Focus::Peak, 550.0)?;
    /// assert!(wavefront.strehl < 0.99, "so near, a perfect mirror shows spherical aberration");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn artificial(field: Field, distance_mm: f64) -> Self {
        Self { field, distance_mm: Some(distance_mm) }
    }

    /// Where the lamp stands, mm; nothing for a star of the sky.
    pub(crate) fn place_mm(&self) -> Option<[f64; 3]> {
        self.distance_mm.map(|distance| self.field.towards().map(|t| distance * t))
    }

    /// The image point of Gaussian optics in the unfolded space, mm.
    pub(crate) fn gaussian_mm(&self, focal_mm: f64) -> [f64; 3] {
        let [x, y] = self.field.tangents();
        let height_mm = self.place_mm().map_or(focal_mm, |[_, _, z]| focal_mm * z / (z - focal_mm));
        [-height_mm * x, -height_mm * y, height_mm]
    }

    /// Refuses directions that no telescope of this kind looks at, and lamps inside the centre of curvature.
    pub(crate) fn check(&self, focal_mm: f64) -> Result<()> {
        check_field(self.field)?;
        let possible = |d: f64| d >= 2.0 * focal_mm && d <= 1e12;
        match self.distance_mm {
            Some(distance) if !possible(distance) => Err(Error::input(
                "star_distance_mm",
                distance,
                format!("from twice the focal length ({:.0} mm) to a million kilometres", 2.0 * focal_mm),
                "metres given for millimetres? A star of the sky needs no distance",
            )),
            _ => Ok(()),
        }
    }
}
