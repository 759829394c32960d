//! What a telescope gives on a sensor: scale, field, sampling, and how good the corners are.

use serde::{Deserialize, Serialize};

use super::field_edge::{EdgeLight, EdgeSpot, MiddleFocus};
use super::sensor::Sensor;
use crate::error::{Findings, Result};
use crate::trace::Prepared;
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM, RADIANS_PER_ARCMIN, UM_PER_MM};
use crate::wave::Seeing;

/// What a telescope gives on a sensor that stands in the middle of its field, columns along, rows across.
///
/// Units: mm, um, arcsec, arcmin; lengths of the spot in pixels; nm.
/// Errors: those of [`Prepared::on_sensor`], which makes it.
/// Source: scale 1/f; a field's side 2 atan(side/(2 f)); cut-off of the aperture 1/(lambda F), so the coarsest pixel
/// that takes it all is lambda F/2; a quarter wave of defocus is dz = 2 lambda F^2, a blur of one pixel dz = pixel F.
/// Leaves out: the sensor's own depth, cover glass, rotation.
///
/// ```
/// use catoptric::{FocalLengthMm, Prepared, Primary, Sensor, Train};
/// let train = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0))).build()?;
/// let facts = Prepared::new(&train).on_sensor(&Sensor::new(3.8, 4632, 3500), None, 550.0)?;
/// assert!((facts.pixel_arcsec - 3.8 / 2_030_000.0 * 206_264.806_247).abs() < 1e-9); // arcseconds in a radian
/// assert!((facts.nyquist_pixel_um - 1.375).abs() < 1e-12);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SensorFacts {
    /// The sensor.
    pub sensor: Sensor,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Side of a pixel on the sky, in the middle of the field, arcsec.
    pub pixel_arcsec: f64,
    /// Side along, mm.
    pub along_mm: f64,
    /// Side across, mm.
    pub across_mm: f64,
    /// Field along, arcmin.
    pub field_along_arcmin: f64,
    /// Field across, arcmin.
    pub field_across_arcmin: f64,
    /// Field from corner to corner, arcmin.
    pub field_diagonal_arcmin: f64,
    /// Full width at half maximum of this aperture's perfect star, obstruction counted, um.
    pub star_fwhm_um: f64,
    /// Pixels across it.
    pub pixels_per_fwhm: f64,
    /// The coarsest pixel that still takes the finest detail of the aperture, lambda F/2, um.
    pub nyquist_pixel_um: f64,
    /// Pixels for a wavelength times focal ratio; below 2 fine detail comes back as false detail.
    pub pixels_per_lambda_f: f64,
    /// Pixels across the seeing's full width at half maximum; none without air.
    pub pixels_per_seeing: Option<f64>,
    /// Light in the four corners; none where the middle is dark.
    pub corner_light: Option<EdgeLight>,
    /// Sharpness in the brightest corner.
    pub corner_spot: EdgeSpot,
    /// A quarter wave of defocus either way, mm.
    pub depth_of_focus_mm: f64,
    /// Defocus either way that blurs a point over one pixel, by rays, mm.
    pub depth_of_pixel_mm: f64,
    /// Tilt of the sensor that puts a corner a quarter wave out of focus, arcmin.
    pub tilt_tolerance_arcmin: f64,
    /// Tilt that blurs a corner's star over one pixel, by rays, arcmin.
    pub tilt_of_pixel_arcmin: f64,
}

impl SensorFacts {
    /// A length in the focal plane in pixels.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Sensor, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0))).build()?;
    /// let facts = Prepared::new(&train).on_sensor(&Sensor::new(4.0, 1000, 800), None, 550.0)?;
    /// assert_eq!(facts.in_pixels(10.0), 2.5);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn in_pixels(&self, length_um: f64) -> f64 {
        length_um / self.sensor.pixel_um
    }
}

impl Prepared {
    /// What this telescope gives on a sensor in the middle of its field.
    ///
    /// Units: nm; the seeing at that wavelength.
    /// Errors: [`crate::Error::Input`] for a sensor or a wavelength that cannot be.
    /// Method: closed forms; the corners' light by the outline of the lit pupil ([`Prepared::light`]), their sharpness
    /// by exact rays ([`Prepared::spot_at`]).
    /// Leaves out: what [`SensorFacts`] leaves out.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Seeing, Sensor, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0))).build()?;
    /// let air = Seeing::from_fwhm(2.0, 550.0, 0.0)?;
    /// let facts = Prepared::new(&train).on_sensor(&Sensor::new(4.0, 1000, 800), Some(&air), 550.0)?;
    /// assert!(facts.pixels_per_seeing.is_some_and(|p| p > 2.0) && facts.pixels_per_lambda_f < 1.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn on_sensor(
        &self,
        sensor: &Sensor,
        seeing: Option<&Seeing>,
        wavelength_nm: f64,
    ) -> Result<SensorFacts> {
        let focal_mm = self.focal_length_mm();
        let [along_mm, across_mm] = sensor.size_mm();
        let mut findings = Findings::default();
        findings.within("sensor", |f| sensor.note_problems(f));
        for (name, count, side) in
            [("sensor.columns", sensor.columns, along_mm), ("sensor.rows", sensor.rows, across_mm)]
        {
            if count == 0 || side > focal_mm / 2.0 {
                let allowed = "1 or more, and a side within half the focal length";
                findings.fault(name, count, allowed, "pixel size in millimetres?");
            }
        }
        findings.refuse()?;
        let star = self.airy(wavelength_nm)?;
        let lambda_f_um = wavelength_nm / NM_PER_MM * UM_PER_MM * self.focal_ratio();
        let half_diagonal_mm = along_mm.hypot(across_mm) / 2.0;
        let field_arcmin = |side_mm: f64| 2.0 * (side_mm / (2.0 * focal_mm)).atan() / RADIANS_PER_ARCMIN;
        let pixel_mm = sensor.pixel_um / UM_PER_MM;
        let pixel_arcsec = pixel_mm / focal_mm * ARCSEC_PER_RADIAN;

        let (a, b) = (along_mm / 2.0, across_mm / 2.0);
        let corners = ([a, a, -a, -a], [b, -b, b, -b]);
        let light = EdgeLight::at_points(self, &corners.0, &corners.1)?;
        let at = light.map_or(0, |(_, brightest)| brightest);
        let corner_spot = EdgeSpot::at(self, MiddleFocus::of(self)?, corners.0[at], corners.1[at])?;
        let depth_of_focus_mm = 2.0 * wavelength_nm / NM_PER_MM * self.focal_ratio().powi(2);
        let depth_of_pixel_mm = pixel_mm * self.focal_ratio();
        let tilt_arcmin = |depth_mm: f64| (depth_mm / half_diagonal_mm).atan() / RADIANS_PER_ARCMIN;
        Ok(SensorFacts {
            sensor: *sensor,
            wavelength_nm,
            pixel_arcsec,
            along_mm,
            across_mm,
            field_along_arcmin: field_arcmin(along_mm),
            field_across_arcmin: field_arcmin(across_mm),
            field_diagonal_arcmin: field_arcmin(2.0 * half_diagonal_mm),
            star_fwhm_um: star.fwhm_um(),
            pixels_per_fwhm: star.fwhm_um() / sensor.pixel_um,
            nyquist_pixel_um: lambda_f_um / 2.0,
            pixels_per_lambda_f: lambda_f_um / sensor.pixel_um,
            pixels_per_seeing: seeing.map(|air| air.fwhm_arcsec(wavelength_nm) / pixel_arcsec),
            corner_light: light.map(|(edge, _)| edge),
            corner_spot,
            depth_of_focus_mm,
            depth_of_pixel_mm,
            tilt_tolerance_arcmin: tilt_arcmin(depth_of_focus_mm),
            tilt_of_pixel_arcmin: tilt_arcmin(depth_of_pixel_mm),
        })
    }
}
