//! Encircled energy: the share of a star's light within a radius.

use std::f64::consts::{PI, TAU};

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
    /// Method: the intensity integrated over rings in polar coordinates; the whole by Parseval's theorem over the
    /// pupil, never by the sum of a picture, which misses the light outside of it.
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
        let mut order: Vec<usize> = (0..radius_um.len()).collect();
        order.sort_by(|&a, &b| radius_um[a].total_cmp(&radius_um[b]));
        let largest = order.last().map_or(0.0, |&i| radius_um[i]);
        let (amplitude, _) = self.amplitude_reaching((largest / unit_um).max(1.0))?;
        // Rings between neighbouring radii, so that each radius ends a quadrature.
        let mut rings = Vec::new();
        let mut from = 0.0;
        for &i in &order {
            rings.push((from, radius_um[i]));
            from = radius_um[i];
        }
        let energies = pool::map_ordered(rings.len(), true, |k| {
            let (from, to) = rings[k];
            // Bandwidths of the intensity: 2 pi R/(lambda F) around, 2 pi along the radius.
            let around = (TAU * to / unit_um + 6.0 * (TAU * to / unit_um).cbrt() + 12.0) as usize;
            let along = (PI * (to - from) / unit_um + 8.0) as usize;
            let mut terms = Vec::with_capacity(around * along);
            for (r, weight) in gauss::on_interval(along, from, to) {
                for i in 0..around {
                    let (sin, cos) = (TAU * i as f64 / around as f64).sin_cos();
                    terms.push(amplitude.intensity(r * cos, r * sin) * weight * r * TAU / around as f64);
                }
            }
            sums::pairwise(&terms)
        });
        let mut shares = vec![0.0; radius_um.len()];
        let mut inside = 0.0;
        for (&i, energy) in order.iter().zip(energies) {
            inside += energy;
            shares[i] = inside / amplitude.whole_um2;
        }
        Ok(shares)
    }
}
