//! Encircled energy: the share of a star's light within a radius.

use super::airy::Airy;
use super::image::Psf;
use super::spectrum::Spectrum;
use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::pool;

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
        self.encircled_energy_of(radius_um, &Spectrum::line(self.wavelength_nm)?)
    }

    /// The same for light of several wavelengths: the energies add by their shares.
    ///
    /// Units, shapes, errors and method: as [`Wavefront::encircled_energy`].
    ///
    /// ```
    /// use catoptric::{Indexing, Spectrum, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let light = Spectrum::of_lines(&[500.0, 600.0], &[1.0, 3.0])?;
    /// let share = perfect.encircled_energy_of(&[3.0], &light)?[0];
    /// let airy = |nm: f64| catoptric::Airy::new(5.0, 0.0, nm).map(|star| star.encircled_energy(3.0));
    /// assert!((share - 0.25 * airy(500.0)? - 0.75 * airy(600.0)?).abs() < 1e-6);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn encircled_energy_of(&self, radius_um: &[f64], spectrum: &Spectrum) -> Result<Vec<f64>> {
        let unit_um = spectrum.mean_nm() / 1000.0 * self.image_focal_ratio()?;
        for (i, &radius) in radius_um.iter().enumerate() {
            if !(0.0..=WIDEST * unit_um).contains(&radius) {
                let field = format!("radius_um[{i}]");
                let allowed = format!("from 0 to {:.0} um", WIDEST * unit_um);
                return Err(Error::input(field, radius, allowed, "nanometres?"));
            }
        }
        let largest = radius_um.iter().copied().fold(unit_um, f64::max);
        // The share wants more digits than a picture: nodes as for a disc three units wider.
        let settled = self.star_light(spectrum, largest, largest + 3.0 * unit_um)?;
        let whole_um2 = settled.lists.pupil.whole_um2(self.reference_mm, spectrum);
        // The finest detail is that of the shortest wavelength.
        let finest_um = unit_um * spectrum.lines()[0].0 / spectrum.mean_nm();
        Ok(pool::map_ordered(radius_um.len(), true, |i| {
            settled.light().within_disc_um2(radius_um[i], finest_um) / whole_um2
        }))
    }
}

/// The light of a star ring by ring, between the dark rings of the perfect star.
///
/// Units: um; shares of all the star's light.
/// Shapes: entry 0 is the disc within the first dark ring, entry k the bright ring between dark rings k and k + 1.
///
/// ```
/// use catoptric::{Indexing, PsfSize, Wavefront};
/// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
/// let rings = perfect.psf(PsfSize::default())?.ring_energy(3)?;
/// assert!((rings.share[0] - 0.837_784_87).abs() < 1e-6); // Born & Wolf, chapter 8
/// assert!((rings.share[1] - (0.909_930_54 - 0.837_784_87)).abs() < 1e-6 && rings.outer_radius_um.len() == 3);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct RingEnergy {
    /// Where each ring begins: a dark ring of the perfect star, um; 0 for the disc.
    pub inner_radius_um: Vec<f64>,
    /// Where it ends: the next dark ring, um.
    pub outer_radius_um: Vec<f64>,
    /// Share of this star's light.
    pub share: Vec<f64>,
    /// Share of the perfect star's light.
    pub perfect_share: Vec<f64>,
}

/// More rings than this no picture shows.
const MOST_RINGS: usize = 60;

impl Psf {
    /// The light between the dark rings of the perfect star, beside that star's own.
    ///
    /// The perfect star has this focal ratio, obstruction and light; the rings are those of the mean wavelength.
    ///
    /// Units: um. Errors: [`Error::Input`] for no rings or more than 60.
    /// Leaves out: for the perfect star the real cone of a fast mirror, see [`Airy`]; it shifts light of 1e-3 at f/5.
    ///
    /// ```
    /// use catoptric::{Indexing, PsfSize, Wavefront};
    /// let spoilt = Wavefront::from_zernikes(&[(11, 40.0)].into(), Indexing::Noll, 0.2, Some(5.0), 550.0)?;
    /// let rings = spoilt.psf(PsfSize::default())?.ring_energy(2)?;
    /// assert!(rings.share[0] < rings.perfect_share[0] && rings.share[1] > rings.perfect_share[1]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn ring_energy(&self, rings: usize) -> Result<RingEnergy> {
        if !(1..=MOST_RINGS).contains(&rings) {
            return Err(Error::input("rings", rings, format!("1 to {MOST_RINGS} rings"), ""));
        }
        let obstruction = self.wavefront.obstruction_ratio();
        let perfect = Airy::new(self.focal_ratio, obstruction, self.spectrum.mean_nm())?;
        let ends: Vec<f64> = (0..=rings).map(|k| perfect.dark_ring_um(k)).collect();
        let held = self.wavefront.encircled_energy_of(&ends, &self.spectrum)?;
        let mut perfectly_held = vec![0.0; ends.len()];
        for &(nm, share) in self.spectrum.lines() {
            let star = Airy::new(self.focal_ratio, obstruction, nm)?;
            for (sum, end) in perfectly_held.iter_mut().zip(&ends) {
                *sum += share * star.encircled_energy(*end);
            }
        }
        let between = |held: &[f64]| held.windows(2).map(|pair| pair[1] - pair[0]).collect();
        Ok(RingEnergy {
            inner_radius_um: ends[..rings].to_vec(),
            outer_radius_um: ends[1..].to_vec(),
            share: between(&held),
            perfect_share: between(&perfectly_held),
        })
    }

    /// Share of the star's light within a radius of the reference point, in the light of the picture.
    ///
    /// Units, shapes and errors: as [`Wavefront::encircled_energy`].
    ///
    /// ```
    /// use catoptric::{Indexing, PsfSize, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let star = perfect.psf(PsfSize::default())?;
    /// assert_eq!(star.encircled_energy(&[3.0])?, perfect.encircled_energy(&[3.0])?);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn encircled_energy(&self, radius_um: &[f64]) -> Result<Vec<f64>> {
        self.wavefront.encircled_energy_of(radius_um, &self.spectrum)
    }

    /// Share of the star's light within a rectangle about the reference point: a strip along a spike, a slit.
    ///
    /// Units: um, half of each side. Errors: [`Error::Input`] for sides that cannot be; those of [`Wavefront::psf`].
    ///
    /// ```
    /// use catoptric::{Indexing, PsfSize, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let star = perfect.psf(PsfSize::default())?;
    /// let (square, disc) = (star.rectangle_energy(3.0, 3.0)?, star.encircled_energy(&[3.0])?[0]);
    /// assert!(square > disc && square < 1.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn rectangle_energy(&self, half_along_um: f64, half_across_um: f64) -> Result<f64> {
        let unit_um = self.spectrum.lines()[0].0 / 1000.0 * self.focal_ratio;
        for (name, side) in [("half_along_um", half_along_um), ("half_across_um", half_across_um)] {
            if !(side > 0.0 && side <= WIDEST * unit_um) {
                let allowed = format!("above 0 and up to {:.0} um", WIDEST * unit_um);
                return Err(Error::input(name, side, allowed, "nanometres?"));
            }
        }
        let largest = half_along_um.max(half_across_um).max(unit_um);
        let corner_um = half_along_um.hypot(half_across_um) + 3.0 * unit_um;
        let settled = self.wavefront.star_light(&self.spectrum, largest, corner_um)?;
        let whole_um2 = settled.lists.pupil.whole_um2(self.wavefront.reference_mm, &self.spectrum);
        Ok(settled.light().within_rectangle_um2(half_along_um, half_across_um, unit_um) / whole_um2)
    }
}
