//! One ray: from a star, by a point of the mirror, toward the focal plane.

use super::mirror::{Mirror, SurfacePoint};
use super::star::Star;

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
    /// Cross-section of the beam for each unit of area dx dy of the mirror: |d.N|; of a lamp's light, times its strength
    /// over that at the vertex.
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

/// Light from one star: parallel, or spreading from a lamp.
#[derive(Clone, Copy, Debug)]
pub(crate) struct StarBeam {
    /// Unit vector from the vertex toward the star; parallel light travels the other way.
    pub(crate) towards: [f64; 3],
    /// Where a lamp stands, and how far from the vertex that is, mm; nothing for parallel light.
    lamp_mm: Option<([f64; 3], f64)>,
}

impl StarBeam {
    pub(crate) fn new(star: impl Into<Star>) -> Self {
        let star = star.into();
        Self { towards: star.field.towards(), lamp_mm: star.place_mm().zip(star.distance_mm) }
    }

    /// Parallel light from a direction, a unit vector.
    pub(crate) fn parallel(towards: [f64; 3]) -> Self {
        Self { towards, lamp_mm: None }
    }

    /// How far from the vertex a lamp stands, mm; nothing for parallel light.
    pub(crate) fn distance_mm(&self) -> Option<f64> {
        self.lamp_mm.map(|(_, from_vertex)| from_vertex)
    }

    /// Unit vector from a point toward the star, and the strength of the light there over that at the vertex.
    #[inline]
    pub(crate) fn seen_from(&self, [x, y, z]: [f64; 3]) -> ([f64; 3], f64) {
        let Some(([lx, ly, lz], from_vertex)) = self.lamp_mm else { return (self.towards, 1.0) };
        let line = [lx - x, ly - y, lz - z];
        let square = line[0] * line[0] + line[1] * line[1] + line[2] * line[2];
        let length = square.sqrt();
        (line.map(|l| l / length), from_vertex * from_vertex / square)
    }

    /// The path of the light down to a point, less a constant, mm.
    #[inline]
    pub(crate) fn down_mm(&self, point: [f64; 3]) -> f64 {
        let dot = |a: [f64; 3]| a[0] * point[0] + a[1] * point[1] + a[2] * point[2];
        match self.lamp_mm {
            None => -dot(self.towards),
            Some((lamp, from_vertex)) => {
                let length = [0, 1, 2].map(|i| (lamp[i] - point[i]).powi(2)).iter().sum::<f64>().sqrt();
                // |L - Q| - |L|, without the difference of two large numbers.
                (dot(point) - 2.0 * dot(lamp)) / (length + from_vertex)
            }
        }
    }

    /// The light that falls on a unit of dx dy of the surface: the beam's cross-section there, times its strength.
    #[inline]
    pub(crate) fn cross_section(&self, point: &SurfacePoint) -> f64 {
        let (towards, strength) = self.seen_from(point.position_mm);
        strength * (towards[2] - towards[0] * point.slope[0] - towards[1] * point.slope[1])
    }

    /// The ray that the star sends by a point of the surface.
    #[inline]
    pub(crate) fn reflect(&self, point: &SurfacePoint) -> Ray {
        let [sx, sy] = point.slope;
        let ([ax, ay, az], strength) = self.seen_from(point.position_mm);
        let beam = az - ax * sx - ay * sy;
        // d - 2 (d.N) N / N^2 with d = -towards and the unnormalised normal N = (-zx, -zy, 1).
        let scale = 2.0 * beam / (1.0 + sx * sx + sy * sy);
        let direction = [-ax - scale * sx, -ay - scale * sy, scale - az];
        Ray { hit_mm: point.position_mm, direction, beam: strength * beam }
    }

    /// The ray by the point of the mirror above (x, y).
    #[inline]
    pub(crate) fn ray(&self, mirror: &Mirror, x_mm: f64, y_mm: f64) -> Ray {
        self.reflect(&mirror.at(x_mm, y_mm))
    }

    /// Where light that meets the mirror in `hit_mm` passes the plane at a height on its way down: x, y.
    #[inline]
    pub(crate) fn above(&self, hit_mm: [f64; 3], height_mm: f64) -> [f64; 2] {
        let (towards, _) = self.seen_from(hit_mm);
        let t = (height_mm - hit_mm[2]) / towards[2];
        [hit_mm[0] + towards[0] * t, hit_mm[1] + towards[1] * t]
    }
}
