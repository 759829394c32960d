//! One ray: from a star, by a point of the mirror, toward the focal plane.

use super::mirror::{Mirror, SurfacePoint};
use crate::units::Field;

/// A ray after its reflection, in the unfolded space in which the flat is left out.
///
/// Units: mm; the direction is a unit vector, z upward.
///
/// ```
/// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let ray = Prepared::new(&train).ray(Field::AXIS, 80.0, 0.0);
/// let [along, across] = ray.at_height_mm(1200.0);
/// assert!(along.abs() < 1e-10 && across == 0.0, "a paraboloid's rays meet in its focus");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ray {
    /// Where it met the mirror, mm.
    pub hit_mm: [f64; 3],
    /// Unit vector of its travel after the mirror.
    pub direction: [f64; 3],
    /// Cross-section of the beam for each unit of area dx dy of the mirror: |d.N|.
    pub beam: f64,
}

impl Ray {
    /// Where the ray crosses the plane z = `height_mm` of the unfolded space: `[x, y]`, mm.
    ///
    /// Without figure and field this is [0, 0] at the focal length.
    #[inline]
    pub fn at_height_mm(&self, height_mm: f64) -> [f64; 2] {
        let t = (height_mm - self.hit_mm[2]) / self.direction[2];
        [self.hit_mm[0] + self.direction[0] * t, self.hit_mm[1] + self.direction[1] * t]
    }
}

/// Parallel light from one star.
#[derive(Clone, Copy, Debug)]
pub(crate) struct StarBeam {
    /// Unit vector toward the star; light travels the other way.
    pub(crate) towards: [f64; 3],
}

impl StarBeam {
    pub(crate) fn new(field: Field) -> Self {
        Self { towards: field.towards() }
    }

    /// The beam's cross-section for a unit of dx dy where the surface has these slopes.
    #[inline]
    pub(crate) fn cross_section(&self, slope: [f64; 2]) -> f64 {
        self.towards[2] - self.towards[0] * slope[0] - self.towards[1] * slope[1]
    }

    /// The ray that the star sends by a point of the surface.
    #[inline]
    pub(crate) fn reflect(&self, point: &SurfacePoint) -> Ray {
        let [sx, sy] = point.slope;
        let beam = self.cross_section(point.slope);
        // d - 2 (d.N) N / N^2 with d = -towards and the unnormalised normal N = (-zx, -zy, 1).
        let scale = 2.0 * beam / (1.0 + sx * sx + sy * sy);
        let [ax, ay, az] = self.towards;
        Ray { hit_mm: point.position_mm, direction: [-ax - scale * sx, -ay - scale * sy, scale - az], beam }
    }

    /// The ray by the point of the mirror above (x, y).
    #[inline]
    pub(crate) fn ray(&self, mirror: &Mirror, x_mm: f64, y_mm: f64) -> Ray {
        self.reflect(&mirror.at(x_mm, y_mm))
    }
}
