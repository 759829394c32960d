//! The spikes that the spider's vanes draw from a star.

use serde::{Deserialize, Serialize};

use super::wavelength::check_wavelength;
use crate::error::Result;
use crate::trace::{Part, Prepared, Star};
use crate::units::{ARCSEC_PER_RADIAN, Field, UM_PER_MM};

/// What the vanes of a spider take from a star, and where they scatter it.
///
/// By Babinet's principle the vanes' share v of the light outside the shadows is lost, and the pattern of the pupil without
/// vanes keeps (1 - v)^2 of that light; the rest, v (1 - v), is spread square to the vanes: each straight one draws a spike on
/// both sides of the star.
///
/// Units: shares of the light that would pass without vanes; degrees in the image, from `along` toward `across`; arcsec on the
/// sky and um in the focal plane for the first dark place of a spike's own pattern, wavelength over thickness.
/// Source: Fraunhofer diffraction of a slit (Born & Wolf, Principles of Optics, chapter 8, from memory); the shares exactly, from
/// the outline of the pupil.
/// Leaves out: the light of spikes and rings that overlaps and interferes; uneven coatings; a lamp nearby, in whose light a
/// vane's shadow on the mirror is wider than the vane, by its height over the lamp's distance.
///
/// ```
/// use catoptric::{Diagonal, Field, FocalLengthMm, FocalPlane, Prepared, Primary, Spider, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .spider(Spider::new(4, 1.0))
///     .build()?;
/// let spikes = Prepared::new(&train).spikes(Field::AXIS, 550.0)?.expect("there are vanes");
/// assert_eq!(spikes.directions_deg, [45.0, 135.0, 225.0, 315.0]);
/// let rest = spikes.blocked_share + spikes.scattered_share + spikes.left_in_pattern;
/// assert!((rest - 1.0).abs() < 1e-12);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Spikes {
    /// What the vanes stop.
    pub blocked_share: f64,
    /// What reaches the image, but outside of the pattern that the star would have without vanes.
    pub scattered_share: f64,
    /// What is left in that pattern.
    pub left_in_pattern: f64,
    /// Directions of the spikes, degrees, ascending from 0 to 360; for bent vanes the middle of the fan that each draws.
    pub directions_deg: Vec<f64>,
    /// Angle of the fan over which each spike is spread, degrees; 0 for straight vanes.
    pub fan_deg: f64,
    /// First dark place of a spike's own pattern, arcsec from the star.
    pub first_null_arcsec: f64,
    /// The same in the focal plane, um.
    pub first_null_um: f64,
    /// Share of a spike's light within its first dark places: the same for every slit.
    pub share_within_first_null: f64,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Estimated error of the shares.
    pub error_estimate: f64,
}

/// The integral of sinc^2 between its first zeros: 2/pi Si(2 pi) (closed form; mpmath, 20 digits).
const WITHIN_FIRST_NULL: f64 = 0.902_823_333_580_280_6;

impl Prepared {
    /// The spikes of a star; nothing for a train without a spider.
    ///
    /// Units: nm.
    /// Errors: [`crate::Error::Input`] for directions and wavelengths that cannot be.
    ///
    /// ```
    /// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert_eq!(Prepared::new(&train).spikes(Field::AXIS, 550.0)?, None);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn spikes(&self, field: Field, wavelength_nm: f64) -> Result<Option<Spikes>> {
        Star::from(field).check(self.focal_length_mm())?;
        check_wavelength(wavelength_nm)?;
        let Some(spider) = self.train().spider() else { return Ok(None) };
        let light = self.light(field);
        let taken = light.stopped.iter().find(|s| s.part == Part::Spider).map_or(0.0, |s| s.fraction);
        let unvaned = light.lit_fraction + taken;
        let share = if unvaned > 0.0 { taken / unvaned } else { 0.0 };
        let fan = spider.bend_radius_mm.map_or(0.0, |bend| {
            // Between shadow and rim an arc turns by the difference of 2 asin(r/2B).
            let turned = |r: f64| 2.0 * (r / (2.0 * bend.abs())).min(1.0).asin();
            let shadow_mm = self.obstruction_ratio() * self.open_radius_mm();
            (turned(self.open_radius_mm()) - turned(shadow_mm)) * bend.signum()
        });
        let inner = spider.bend_radius_mm.map_or(0.0, |bend| {
            let shadow_mm = self.obstruction_ratio() * self.open_radius_mm();
            2.0 * (shadow_mm / (2.0 * bend.abs())).min(1.0).asin() * bend.signum()
        });
        let first_null = wavelength_nm * 1e-6 / spider.thickness_mm;
        Ok(Some(Spikes {
            blocked_share: share,
            scattered_share: share * (1.0 - share),
            left_in_pattern: (1.0 - share).powi(2),
            directions_deg: directions_deg(spider.vanes, spider.angle_deg + (inner + 0.5 * fan).to_degrees()),
            fan_deg: fan.abs().to_degrees(),
            first_null_arcsec: first_null * ARCSEC_PER_RADIAN,
            first_null_um: first_null * self.focal_length_mm() * UM_PER_MM,
            share_within_first_null: WITHIN_FIRST_NULL,
            wavelength_nm,
            error_estimate: if unvaned > 0.0 { 2.0 * light.error_estimate / unvaned } else { 0.0 },
        }))
    }
}

/// Square to each vane, on both sides of the star; opposite vanes share theirs.
fn directions_deg(vanes: u32, first_deg: f64) -> Vec<f64> {
    let sides = (0..vanes).flat_map(|i| {
        let vane = first_deg + 360.0 * f64::from(i) / f64::from(vanes);
        [vane + 90.0, vane - 90.0]
    });
    // A billionth of a degree more or less is rounding.
    let mut found: Vec<f64> = sides.map(|a| ((a * 1e9).round() / 1e9).rem_euclid(360.0)).collect();
    found.sort_by(f64::total_cmp);
    found.dedup_by(|a, b| (*a - *b).abs() < 1e-8);
    found
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use crate::numeric::gauss;

    #[test]
    fn the_share_within_the_first_dark_places_is_that_of_a_slit() {
        let slit = |u: f64| if u == 0.0 { 1.0 } else { ((PI * u).sin() / (PI * u)).powi(2) };
        let inside: f64 = gauss::on_interval(30, -1.0, 1.0).map(|(u, weight)| weight * slit(u)).sum();
        assert!((inside - WITHIN_FIRST_NULL).abs() < 1e-14);
    }

    #[test]
    fn an_even_number_of_vanes_draws_as_many_spikes_and_an_odd_one_twice_as_many() {
        assert_eq!(directions_deg(4, 45.0).len(), 4);
        assert_eq!(directions_deg(3, 45.0).len(), 6);
        assert_eq!(directions_deg(1, 0.0), [90.0, 270.0]);
    }
}
