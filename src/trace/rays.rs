//! Rays of a prepared train.

use super::prepared::Prepared;
use super::ray::{Ray, StarBeam};
use super::star::Star;

/// A ray along an edge passes: that far outside still counts as inside.
pub(super) const GRAZING_MM: f64 = 1e-11;

impl Prepared {
    /// The ray that a star sends by the point of the mirror above (x, y), whether or not a part stops it.
    ///
    /// Units: arcmin, mm.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let ray = Prepared::new(&train).ray(Field::arcmin(10.0, 0.0), 0.0, 0.0);
    /// assert!(ray.at_height_mm(1200.0)[0] < 0.0, "a star on the focuser's side lands on the other one");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn ray(&self, star: impl Into<Star>, x_mm: f64, y_mm: f64) -> Ray {
        StarBeam::new(star).ray(self.mirror(), x_mm, y_mm)
    }

    /// Whether the star's light by the point of the mirror above (x, y) reaches the image.
    ///
    /// Units: arcmin, mm.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// assert!(!Prepared::new(&train).passes(Field::AXIS, 80.0, 80.0), "beside the mirror");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn passes(&self, star: impl Into<Star>, x_mm: f64, y_mm: f64) -> bool {
        let beam = StarBeam::new(star);
        x_mm.hypot(y_mm) <= self.clear_radius_mm() + GRAZING_MM
            && self.lets_pass(&beam.ray(self.mirror(), x_mm, y_mm), &beam)
    }

    /// Whether no part stops a ray of a star.
    pub(crate) fn lets_pass(&self, ray: &Ray, beam: &StarBeam) -> bool {
        self.stops().iter().all(|stop| stop.excess_mm(ray, beam) <= GRAZING_MM)
            && !self.strips().iter().any(|strip| strip.covers(ray, beam))
    }

    /// The ray that leaves `origin_mm` along `direction` (any length), reflected by the mirror.
    ///
    /// Units: mm. `None` where the line misses the mirror's conic. Its `beam` counts for a plane square to
    /// the direction. No part stops it, and the clear aperture does not limit it.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let ray = Prepared::new(&train).ray_from([50.0, 0.0, 2000.0], [0.0, 0.0, -1.0]).expect("it hits");
    /// assert_eq!(ray.hit_mm[0], 50.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn ray_from(&self, origin_mm: [f64; 3], direction: [f64; 3]) -> Option<Ray> {
        let length = direction.iter().map(|d| d * d).sum::<f64>().sqrt();
        let direction = direction.map(|d| d / length);
        let point = self.mirror().intersect(origin_mm, direction)?;
        Some(StarBeam::parallel(direction.map(|d| -d)).reflect(&point))
    }
}
