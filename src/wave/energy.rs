//! Encircled energy: the share of a star's light within a radius.

use std::f64::consts::{PI, TAU};

use super::amplitude::Amplitude;
use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::{gauss, pool, sums};

/// Radii beyond this need a pupil list too long to be of use, in wavelengths times focal ratio.
const WIDEST: f64 = 200.0;

impl Wavefront {
    /// Share of the star's light within each radius about the reference point.
    ///
    /// Units: um. Shapes: one share for each radius.
    /// Errors: [`Error::Input`] for radii that are negative, not finite, or beyond 200 wavelengths times the focal
    /// ratio; those of [`Wavefront::psf`].
    /// Method: the intensity integrated over the disc line by line; the whole by Parseval's theorem over the pupil,
    /// never by the sum of a picture, which misses the light outside of it.
    ///
    /// ```
    /// use catoptric::{Indexing, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let share = perfect.encircled_energy(&[1.219_669_89 * 0.55 * 5.0])?[0];
    /// assert!((share - 0.837_784_87).abs() < 1e-6); // within Airy's first dark ring (Born & Wolf, chapter 8)
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn encircled_energy(&self, radius_um: &[f64]) -> Result<Vec<f64>> {
        let unit_um = self.wavelength_nm / 1000.0 * self.image_focal_ratio()?;
        for (i, &radius) in radius_um.iter().enumerate() {
            if !(0.0..=WIDEST * unit_um).contains(&radius) {
                let field = format!("radius_um[{i}]");
                let allowed = format!("from 0 to {:.0} um", WIDEST * unit_um);
                return Err(Error::input(field, radius, allowed, "nanometres?"));
            }
        }
        let largest = radius_um.iter().copied().fold(0.0, f64::max);
        let (amplitude, _) = self.amplitude_reaching((largest / unit_um).max(1.0))?;
        Ok(pool::map_ordered(radius_um.len(), true, |i| {
            energy_within(&amplitude, radius_um[i], unit_um) / amplitude.whole_um2
        }))
    }
}

/// The intensity integrated over a disc, um^2: lines across the disc, and points along each line.
///
/// The intensity's finest detail has a length of wavelength times focal ratio; y = R sin(angle) takes the ends of the
/// disc smoothly.
fn energy_within(amplitude: &Amplitude, radius_um: f64, unit_um: f64) -> f64 {
    let count = |half_length_um: f64| (TAU * half_length_um / unit_um + 16.0) as usize;
    let lines = gauss::on_interval(count(radius_um), -PI / 2.0, PI / 2.0).map(|(angle, weight)| {
        let (sin, half_chord_um) = (angle.sin(), radius_um * angle.cos());
        let row = amplitude.row(radius_um * sin);
        let points = gauss::on_interval(count(half_chord_um), -half_chord_um, half_chord_um);
        let line: Vec<f64> = points.map(|(x, weight)| weight * row.intensity(x)).collect();
        sums::pairwise(&line) * weight * half_chord_um
    });
    sums::pairwise(&lines.collect::<Vec<_>>())
}
