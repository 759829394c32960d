//! Light over the image: at points of the focal plane, and against radius.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use super::super::prepared::Prepared;
use super::super::stops::Part;
use super::{Light, no_light};
use crate::error::{Error, Result};
use crate::numeric::pool;
use crate::units::{Field, RADIANS_PER_ARCMIN};

/// Azimuths of a star on its way around the field.
const AZIMUTHS: usize = 24;

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
    /// Estimated error of the absolute values: the largest of all points.
    pub error_estimate: f64,
}

/// Light against radius in the focal plane.
///
/// Units: mm from the centre of the field. Shapes: all lists have one entry a radius. The star goes around in 24
/// azimuths; `worst`, `mean` and `best` are relative to the middle of the field.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(63.0).offset_mm(0.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let light = Prepared::new(&train).illumination_at_radii(&[15.0])?;
/// assert!(light.worst[0] < light.mean[0] && light.mean[0] < light.best[0]);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RadialIllumination {
    /// Radii, mm.
    pub radius_mm: Vec<f64>,
    /// The darkest azimuth.
    pub worst: Vec<f64>,
    /// The mean over azimuth.
    pub mean: Vec<f64>,
    /// The brightest azimuth.
    pub best: Vec<f64>,
    /// The middle of the field: share of the light on the clear aperture.
    pub on_axis: f64,
    /// For each part the share it stops, the mean over azimuth.
    pub stopped: Vec<(Part, Vec<f64>)>,
    /// Estimated error of the absolute values: the largest of all points.
    pub error_estimate: f64,
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

    fn absolute(&self, relative: &[f64]) -> Vec<f64> {
        relative.iter().map(|r| r * self.on_axis).collect()
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
        let axis = self.light(Field::AXIS);
        if axis.lit_fraction <= 0.0 {
            return Err(no_light(Field::AXIS, &axis));
        }
        let lights: Vec<Light> = pool::map_ordered(along_mm.len(), along_mm.len() > 8, |i| {
            self.light(self.field_of_image(along_mm[i], across_mm[i]))
        });
        let stopped = self
            .parts()
            .iter()
            .enumerate()
            .map(|(i, &part)| (part, lights.iter().map(|light| light.stopped[i].fraction).collect()));
        Ok(Illumination {
            along_mm: along_mm.to_vec(),
            across_mm: across_mm.to_vec(),
            absolute: lights.iter().map(|l| l.lit_fraction).collect(),
            relative: lights.iter().map(|l| l.lit_fraction / axis.lit_fraction).collect(),
            stopped: stopped.collect(),
            error_estimate: lights.iter().map(|l| l.error_estimate).fold(0.0, f64::max),
        })
    }

    /// Illumination against radius in the focal plane, over 24 azimuths.
    ///
    /// Units: mm.
    /// Errors: as [`Prepared::illumination`]; radii are not negative.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!((Prepared::new(&train).illumination_at_radii(&[10.0])?.mean[0] - 1.0).abs() < 1e-9);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn illumination_at_radii(&self, radius_mm: &[f64]) -> Result<RadialIllumination> {
        let possible = 0.0..=self.focal_length_mm();
        if let Some((i, &radius)) = radius_mm.iter().enumerate().find(|(_, r)| !possible.contains(*r)) {
            let allowed = "a radius from 0 to the focal length";
            return Err(Error::input(format!("radius_mm[{i}]"), radius, allowed, "a sign, or micrometres?"));
        }
        if radius_mm.is_empty() {
            return Err(Error::input("radius_mm", "no radii", "one radius or more", ""));
        }
        let (mut along, mut across) = (Vec::new(), Vec::new());
        for r in radius_mm {
            for i in 0..AZIMUTHS {
                let (sin, cos) = (TAU * i as f64 / AZIMUTHS as f64).sin_cos();
                along.push(r * cos);
                across.push(r * sin);
            }
        }
        let light = self.illumination(&along, &across)?;
        let over_azimuth =
            |values: &[f64], fold: fn(&[f64]) -> f64| values.chunks(AZIMUTHS).map(fold).collect();
        let mean = |around: &[f64]| around.iter().sum::<f64>() / AZIMUTHS as f64;
        Ok(RadialIllumination {
            radius_mm: radius_mm.to_vec(),
            worst: over_azimuth(&light.relative, |around| {
                around.iter().copied().fold(f64::INFINITY, f64::min)
            }),
            mean: over_azimuth(&light.relative, mean),
            best: over_azimuth(&light.relative, |around| around.iter().copied().fold(0.0, f64::max)),
            on_axis: light.absolute[0] / light.relative[0],
            stopped: light.stopped.iter().map(|(part, shares)| (*part, over_azimuth(shares, mean))).collect(),
            error_estimate: light.error_estimate,
        })
    }

    /// The star whose image falls on a point of the focal plane, or the light of whose image passes the mirror's vertex and
    /// that point where the flat stands out of its place.
    pub(crate) fn field_of_image(&self, along_mm: f64, across_mm: f64) -> Field {
        if let Some(plane) = self.tilted_focal_plane() {
            // The light by the vertex comes from the point's mirror image.
            let [x, y, z] = plane.point_mm(along_mm, across_mm);
            let angle = |part: f64| (-part / z).atan() / RADIANS_PER_ARCMIN;
            return Field::arcmin(angle(x), angle(y));
        }
        let angle = |image_mm: f64| (-image_mm / self.focal_length_mm()).atan() / RADIANS_PER_ARCMIN;
        Field::arcmin(angle(along_mm), angle(across_mm))
    }
}
