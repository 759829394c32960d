//! Rays and paths on the test bench: from the slit, by a point of the mirror, to the plane of the knife.
//!
//! The axes are those of the mirror: origin at its vertex, z toward the tester. The tester looks at the mirror with +x
//! to the right and +y up, which is also how the mirror is seen from the sky.

use super::opening::TestSource;
use crate::error::{Error, Result};
use crate::model::{Primary, Train};
use crate::trace::Prepared;
use crate::units::{NM_PER_MM, UM_PER_MM};

/// A bare mirror on the bench, its slit and its knife (or grating) near the centre of curvature.
#[derive(Clone, Debug)]
pub(super) struct Bench {
    mirror: Prepared,
    slit_height_mm: f64,
    knife_height_mm: f64,
}

impl Bench {
    /// Errors: [`Error::Input`] for a mirror that cannot be.
    pub(super) fn new(primary: &Primary, source: TestSource, stage_mm: f64) -> Result<Self> {
        let mirror = bare(primary)?;
        let radius_mm = 2.0 * primary.focal_length_mm;
        let knife_height_mm = radius_mm + stage_mm;
        let slit_height_mm = match source {
            TestSource::Moving => knife_height_mm,
            TestSource::Fixed => radius_mm,
        };
        Ok(Self { mirror, slit_height_mm, knife_height_mm })
    }

    pub(super) fn mirror(&self) -> &Prepared {
        &self.mirror
    }

    /// Distance from the vertex to the plane of the knife, mm.
    pub(super) fn knife_height_mm(&self) -> f64 {
        self.knife_height_mm
    }

    /// How much larger than the slit its image is.
    pub(super) fn magnification(&self) -> f64 {
        self.knife_height_mm / self.slit_height_mm
    }

    /// Distance from a point of the slit to a point of the mirror, less that to the vertex, nm.
    #[inline]
    pub(super) fn outward_nm(&self, hit_mm: [f64; 3], slit_mm: f64) -> f64 {
        beyond_vertex_nm(hit_mm, slit_mm, self.slit_height_mm)
    }

    /// Distance from a point of the mirror to a point of the knife's plane, less that from the vertex, nm.
    #[inline]
    pub(super) fn homeward_nm(&self, hit_mm: [f64; 3], aim_mm: f64) -> f64 {
        beyond_vertex_nm(hit_mm, aim_mm, self.knife_height_mm)
    }

    /// How fast the path by a point of the mirror grows along x, mm/mm: both legs, by Fermat.
    pub(super) fn path_slope(&self, x_mm: f64, y_mm: f64, aim_mm: f64) -> f64 {
        let point = self.mirror.surface(x_mm, y_mm);
        let [x, y, z] = point.position_mm;
        let leg = |from_x: f64, from_z: f64| {
            let gap = [x - from_x, y, z - from_z];
            (gap[0] + gap[2] * point.slope[0]) / (gap[0] * gap[0] + gap[1] * gap[1] + gap[2] * gap[2]).sqrt()
        };
        leg(0.0, self.slit_height_mm) + leg(aim_mm, self.knife_height_mm)
    }

    /// Where the ray from the slit's middle by a zone of the mirror crosses the plane of the knife, mm from the axis,
    /// positive on the zone's own side.
    pub(super) fn crossing_mm(&self, zone_mm: f64) -> f64 {
        let (z, slope) = self.mirror.mirror().height_and_slope(zone_mm);
        let [dx, dz] = reflected(zone_mm, z, slope, self.slit_height_mm);
        zone_mm + dx / dz * (self.knife_height_mm - z)
    }

    /// The same with its sign along x, at a point of the mirror, mm.
    pub(super) fn landing_mm(&self, x_mm: f64, y_mm: f64) -> f64 {
        let zone_mm = x_mm.hypot(y_mm);
        if zone_mm > 0.0 { self.crossing_mm(zone_mm) * x_mm / zone_mm } else { 0.0 }
    }

    /// Radii from the centre to the open rim, mm, and the crossings of their rays, um.
    pub(super) fn zone_crossings(&self) -> (Vec<f64>, Vec<f64>) {
        const STEPS: usize = 200;
        let rim = self.mirror.open_radius_mm();
        let radii: Vec<f64> = (0..=STEPS).map(|i| rim * i as f64 / STEPS as f64).collect();
        let crossings = radii.iter().map(|r| self.crossing_mm(*r) * UM_PER_MM).collect();
        (radii, crossings)
    }
}

/// A mirror without diagonal and tube, made ready for rays.
pub(super) fn bare(primary: &Primary) -> Result<Prepared> {
    Ok(Prepared::new(&Train::builder(primary.clone()).build()?))
}

/// Direction `[radial, axial]` of the ray from the axis at a height, after the mirror at (r, z) with this slope; not of
/// unit length.
#[inline]
pub(super) fn reflected(r_mm: f64, z_mm: f64, slope: f64, from_height_mm: f64) -> [f64; 2] {
    let [dx, dz] = [r_mm, z_mm - from_height_mm];
    // d - 2 (d.N) N / N^2 with the normal N = (-slope, 1).
    let scale = 2.0 * (dz - dx * slope) / (1.0 + slope * slope);
    [dx + scale * slope, dz - scale]
}

/// sqrt(p^2 + (z - height)^2) - sqrt(x0^2 + height^2) without subtracting large numbers, nm.
#[inline]
fn beyond_vertex_nm([x, y, z]: [f64; 3], from_x: f64, from_z: f64) -> f64 {
    let dx = x - from_x;
    let straight = (from_x * from_x + from_z * from_z).sqrt();
    let length = (dx * dx + y * y + (z - from_z) * (z - from_z)).sqrt();
    let difference = x * (x - 2.0 * from_x) + y * y + z * (z - 2.0 * from_z);
    difference / (length + straight) * NM_PER_MM
}

/// Refuses a stage position that cannot be near the centre of curvature.
pub(super) fn check_stage(stage_mm: f64, primary: &Primary) -> Result<()> {
    let radius = 2.0 * primary.focal_length_mm;
    if stage_mm.is_finite() && stage_mm.abs() <= radius / 4.0 {
        return Ok(());
    }
    let cause = if (0.25..1.75).contains(&(stage_mm / radius)) {
        "counted from the mirror? It counts from the vertex's centre of curvature, positive away from the mirror"
    } else {
        "micrometres given for millimetres?"
    };
    let allowed = format!("within a quarter of the radius of curvature ({:.6} mm)", radius / 4.0);
    Err(Error::input("stage_mm", stage_mm, allowed, cause))
}
