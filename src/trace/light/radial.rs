//! Light against radius in the focal plane.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use super::super::prepared::Prepared;
use super::super::stops::Part;
use super::around::{AZIMUTHS, check_radius, extremes, lights_around, mean, on_circle};
use super::illumination::{by_part, largest_error};
use super::{Light, magnitudes};
use crate::error::{Error, Result};
use crate::numeric::pool;

/// Light against radius in the focal plane.
///
/// Units: mm from the centre of the field; azimuths in degrees from +along toward +across. Shapes: all lists have one
/// entry a radius. `worst`, `mean` and `best` are relative to the middle of the field. The star goes around in 24
/// azimuths; the darkest and the brightest place are then sought between their neighbours, to 1e-5 rad.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(63.0).offset_mm(0.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let light = Prepared::new(&train).illumination_at_radii(&[15.0])?;
/// assert!(light.worst[0] < light.mean[0] && light.mean[0] < light.best[0]);
/// assert_eq!(light.worst_azimuth_deg[0], 180.0, "a flat without offset dims toward the primary");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RadialIllumination {
    /// Radii, mm.
    pub radius_mm: Vec<f64>,
    /// The darkest azimuth.
    pub worst: Vec<f64>,
    /// The mean over azimuth.
    pub mean: Vec<f64>,
    /// The brightest azimuth.
    pub best: Vec<f64>,
    /// Where the darkest place lies, degrees.
    pub worst_azimuth_deg: Vec<f64>,
    /// Where the brightest place lies, degrees.
    pub best_azimuth_deg: Vec<f64>,
    /// The middle of the field: share of the light on the clear aperture.
    pub on_axis: f64,
    /// For each part the share it stops, the mean over azimuth.
    pub stopped: Vec<(Part, Vec<f64>)>,
    /// The opening that limits in the darkest azimuth: see [`Light::limited_by`].
    pub limited_by: Vec<Option<Part>>,
    /// Estimated error of the absolute values: the largest of all points.
    pub error_estimate: f64,
    /// What the azimuths add to it, the largest of all radii: of the mean, its difference from that over 12 azimuths;
    /// of worst and best, the steepest change times the accuracy of their places.
    pub azimuth_error_estimate: f64,
}

impl RadialIllumination {
    /// The darkest azimuth, as a share of the light on the clear aperture.
    pub fn absolute_worst(&self) -> Vec<f64> {
        self.absolute(&self.worst)
    }

    /// The mean over azimuth, as a share of the light on the clear aperture.
    pub fn absolute_mean(&self) -> Vec<f64> {
        self.absolute(&self.mean)
    }

    /// The brightest azimuth, as a share of the light on the clear aperture.
    pub fn absolute_best(&self) -> Vec<f64> {
        self.absolute(&self.best)
    }

    /// Loss in the darkest azimuth against the middle of the field, magnitudes; infinite where no light arrives.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert_eq!(Prepared::new(&train).illumination_at_radii(&[0.0])?.worst_magnitudes(), [0.0]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn worst_magnitudes(&self) -> Vec<f64> {
        self.worst.iter().map(|r| magnitudes(*r)).collect()
    }

    fn absolute(&self, relative: &[f64]) -> Vec<f64> {
        relative.iter().map(|r| r * self.on_axis).collect()
    }
}

impl Prepared {
    /// Illumination against radius in the focal plane: worst, mean and best over azimuth.
    ///
    /// Units: mm.
    /// Errors: as [`Prepared::illumination`]; radii are not negative.
    /// Leaves out: a second dark place between two of 24 azimuths, where the darkest of them shows none.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!((Prepared::new(&train).illumination_at_radii(&[10.0])?.mean[0] - 1.0).abs() < 1e-9);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn illumination_at_radii(&self, radius_mm: &[f64]) -> Result<RadialIllumination> {
        for (i, radius) in radius_mm.iter().enumerate() {
            check_radius(format!("radius_mm[{i}]"), *radius, self.focal_length_mm())?;
        }
        if radius_mm.is_empty() {
            return Err(Error::input("radius_mm", "no radii", "one radius or more", ""));
        }
        let on_axis = self.light_on_axis()?.lit_fraction;
        let lights = lights_around(self, radius_mm, AZIMUTHS);
        let circles: Vec<(f64, &[Light])> = radius_mm.iter().copied().zip(lights.chunks(AZIMUTHS)).collect();
        let found = extremes(self, &circles);
        let means: Vec<(f64, f64)> = circles.iter().map(|(_, around)| mean(around)).collect();
        let stopped = by_part(self, &lights).into_iter().map(|(part, shares)| {
            let over = shares.chunks(AZIMUTHS).map(|around| around.iter().sum::<f64>() / AZIMUTHS as f64);
            (part, over.collect())
        });
        // On a look the light is known.
        let look = |k: usize| found[k].worst.0.to_radians() / TAU * AZIMUTHS as f64;
        let is_known = |k: usize| (look(k) - look(k).round()).abs() < 1e-9;
        let worthwhile = (0..found.len()).any(|k| !is_known(k));
        let limited_by = pool::map_ordered(found.len(), worthwhile, |k| {
            if is_known(k) {
                return circles[k].1[look(k).round() as usize % AZIMUTHS].limited_by;
            }
            let [along, across] = on_circle(radius_mm[k], found[k].worst.0.to_radians());
            self.light(self.field_of_image(along, across)).limited_by
        });
        let errors = found.iter().zip(&means).map(|(e, (_, difference))| e.error.max(*difference));
        Ok(RadialIllumination {
            radius_mm: radius_mm.to_vec(),
            worst: found.iter().map(|e| e.worst.1 / on_axis).collect(),
            mean: means.iter().map(|(mean, _)| mean / on_axis).collect(),
            best: found.iter().map(|e| e.best.1 / on_axis).collect(),
            worst_azimuth_deg: found.iter().map(|e| e.worst.0).collect(),
            best_azimuth_deg: found.iter().map(|e| e.best.0).collect(),
            on_axis,
            stopped: stopped.collect(),
            limited_by,
            error_estimate: largest_error(&lights),
            azimuth_error_estimate: errors.fold(0.0, f64::max),
        })
    }
}
