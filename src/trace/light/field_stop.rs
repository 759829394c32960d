//! Light along the field stop of an eyepiece: the ring that the eye sees as the edge of the field.

use serde::{Deserialize, Serialize};

use super::super::prepared::Prepared;
use super::super::stops::Part;
use super::around::{azimuths, check_radius, extremes, lights_around, mean};
use super::illumination::{by_part, largest_error};
use super::magnitudes;
use crate::error::{Error, Result};

/// How many azimuths a ring may have.
const FEWEST: usize = 8;
const MOST: usize = 3600;

/// Light along a field stop, against azimuth: a lopsided diagonal shows as a ring that is darker on one side.
///
/// Units: mm; azimuths in degrees from +along (the sky end) toward +across. Shapes: the lists have one entry an
/// azimuth. `worst`, `mean` and `best` are relative to the middle of the field, as `relative` is.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(63.0).offset_mm(0.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let ring = Prepared::new(&train).field_stop_light(30.0, 36)?;
/// assert_eq!(ring.worst_azimuth_deg, 180.0, "a flat without offset dims toward the primary");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FieldStopLight {
    /// Diameter of the field stop, mm.
    pub diameter_mm: f64,
    /// Azimuths, degrees.
    pub azimuth_deg: Vec<f64>,
    /// Share of the light on the clear aperture that arrives.
    pub absolute: Vec<f64>,
    /// The same over its value in the middle of the field.
    pub relative: Vec<f64>,
    /// For each part the share it stops at every azimuth, in the order in which light meets the parts.
    pub stopped: Vec<(Part, Vec<f64>)>,
    /// The opening that limits at every azimuth: see [`super::Light::limited_by`].
    pub limited_by: Vec<Option<Part>>,
    /// The darkest place of the ring.
    pub worst: f64,
    /// Where it lies, degrees.
    pub worst_azimuth_deg: f64,
    /// The mean over azimuth.
    pub mean: f64,
    /// The brightest place of the ring.
    pub best: f64,
    /// Where it lies, degrees.
    pub best_azimuth_deg: f64,
    /// The middle of the field: share of the light on the clear aperture.
    pub on_axis: f64,
    /// Estimated error of the absolute values: the largest of all azimuths.
    pub error_estimate: f64,
    /// What the azimuths add to it for mean, worst and best: see [`super::RadialIllumination`].
    pub azimuth_error_estimate: f64,
}

impl FieldStopLight {
    /// Loss against the middle of the field, magnitudes; infinite where no light arrives.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!(Prepared::new(&train).field_stop_light(30.0, 36)?.magnitudes().iter().all(|m| *m < 1e-9));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn magnitudes(&self) -> Vec<f64> {
        self.relative.iter().map(|r| magnitudes(*r)).collect()
    }
}

impl Prepared {
    /// The light along an eyepiece's field stop, at even azimuths from +along toward +across.
    ///
    /// Units: mm. `azimuths` is a count from 8 to 3600.
    /// Errors: [`Error::Input`] for a diameter that is negative or beyond twice the focal length, and for the count;
    /// [`Error::NoLight`] where the middle of the field is dark. A ring beyond the drawtube is dark: zeros.
    /// Method, and what it leaves out: [`Prepared::light`], [`Prepared::illumination_at_radii`].
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!(Prepared::new(&train).field_stop_light(-30.0, 36).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn field_stop_light(&self, diameter_mm: f64, azimuths: usize) -> Result<FieldStopLight> {
        check_radius("diameter_mm".to_owned(), diameter_mm / 2.0, self.focal_length_mm())?;
        if !(FEWEST..=MOST).contains(&azimuths) {
            return Err(Error::input("azimuths", azimuths, format!("{FEWEST} to {MOST} azimuths"), ""));
        }
        let (on_axis, radius_mm) = (self.light_on_axis()?.lit_fraction, diameter_mm / 2.0);
        let turns: Vec<f64> = self::azimuths(azimuths).collect();
        let lights = lights_around(self, &[radius_mm], azimuths);
        let found = extremes(self, &[(radius_mm, &lights)])[0];
        let (mean, difference) = mean(&lights);
        Ok(FieldStopLight {
            diameter_mm,
            azimuth_deg: turns.iter().map(|turn| turn.to_degrees()).collect(),
            absolute: lights.iter().map(|l| l.lit_fraction).collect(),
            relative: lights.iter().map(|l| l.lit_fraction / on_axis).collect(),
            stopped: by_part(self, &lights),
            limited_by: lights.iter().map(|l| l.limited_by).collect(),
            worst: found.worst.1 / on_axis,
            worst_azimuth_deg: found.worst.0,
            mean: mean / on_axis,
            best: found.best.1 / on_axis,
            best_azimuth_deg: found.best.0,
            on_axis,
            error_estimate: largest_error(&lights),
            azimuth_error_estimate: found.error.max(difference),
        })
    }
}
