//! What a lamp at a finite distance shows on a perfect mirror: its own spherical aberration.

use serde::{Deserialize, Serialize};

use super::focus::Focus;
use crate::error::{Error, Result};
use crate::model::{Primary, Train};
use crate::numeric::roots;
use crate::trace::{Prepared, Star};
use crate::units::{Field, FocalLengthMm, NM_PER_MM};

/// Further away than this a lamp is a star, mm.
const FARTHEST_MM: f64 = 1e11;

/// An artificial star seen by the perfect bare mirror of a train's sizes: what the distance alone does.
///
/// A paraboloid brings only light from infinity to a point. The light of a near lamp is over-corrected: the outer zones focus
/// longer, as on a hyperboloid under the sky.
///
/// Units: mm, nm.
/// Source: exact paths; `spherical_nm` is the third order, -y^4 (d - f)/(8 f^2 d^2) (Schroeder, Astronomical Optics, chapter 5, from
/// memory), and `matching_conic` is exact: an ellipsoid of eccentricity (d - 2f)/d has lamp and image in its foci.
/// Leaves out: the mirror's own errors, which add to this; the diagonal, whose shadow makes PV and RMS smaller by
/// (1 - e^2)^2, and which may cut the longer cone: a wavefront of the train at that distance shows it; the lamp's size (a
/// pinhole's blur is its size times f/(d - f)).
///
/// ```
/// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let near = Prepared::new(&train).artificial_star(20_000.0, 550.0)?;
/// assert!((near.focus_moves_mm - 1200.0 * 1200.0 / 18_800.0).abs() < 1e-9);
/// assert!((near.pv_nm / (near.spherical_nm.abs() / 4.0) - 1.0).abs() < 0.02, "refocused, a quarter is left");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ArtificialStar {
    /// From the primary's vertex to the lamp, mm.
    pub distance_mm: f64,
    /// How far behind the focus for the sky the image lies, mm.
    pub focus_moves_mm: f64,
    /// Third-order spherical aberration at the rim, W040, nm of wavefront: negative, as an over-corrected mirror's.
    pub spherical_nm: f64,
    /// RMS of the wavefront at the focus where it is least, nm.
    pub rms_nm: f64,
    /// Highest minus lowest point of it there, nm.
    pub pv_nm: f64,
    /// The greatest Strehl that the perfect mirror shows on this lamp.
    pub strehl: f64,
    /// The conic constant of the mirror that would be perfect at this distance.
    pub matching_conic: f64,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Estimated error of the Strehl.
    pub error_estimate: f64,
}

impl Prepared {
    /// What an artificial star at a distance shows on a perfect bare mirror of this train's sizes.
    ///
    /// Units: mm from the primary's vertex; nm.
    /// Errors: [`Error::Input`] for distances below twice the focal length or beyond a million kilometres; those of
    /// [`Prepared::wavefront`].
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// assert!(Prepared::new(&train).artificial_star(1500.0, 550.0).is_err(), "inside the centre of curvature");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn artificial_star(&self, distance_mm: f64, wavelength_nm: f64) -> Result<ArtificialStar> {
        let perfect = self.perfect_bare_mirror()?;
        let lamp = Star::artificial(Field::AXIS, distance_mm);
        let least = perfect.wavefront(lamp, Focus::LeastRms, wavelength_nm)?;
        let best = perfect.wavefront(lamp, Focus::Peak, wavelength_nm)?;
        let (focal_mm, rim_mm) = (self.focal_length_mm(), self.open_radius_mm());
        let beyond_mm = distance_mm - focal_mm;
        Ok(ArtificialStar {
            distance_mm,
            focus_moves_mm: focal_mm * focal_mm / beyond_mm,
            spherical_nm: -rim_mm.powi(4) * beyond_mm / (8.0 * (focal_mm * distance_mm).powi(2)) * NM_PER_MM,
            rms_nm: least.rms_nm,
            pv_nm: least.pv_nm,
            strehl: best.strehl,
            matching_conic: -((distance_mm - 2.0 * focal_mm) / distance_mm).powi(2),
            wavelength_nm,
            error_estimate: best.error_estimate,
        })
    }

    /// The smallest distance at which an artificial star adds no more than a wavefront error, mm from the vertex.
    ///
    /// Units: nm, highest minus lowest point at the focus of least RMS, of the wavefront.
    /// Errors: [`Error::Input`] for an error that is not above 0 or that no distance beyond twice the focal length makes so
    /// large.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let prepared = Prepared::new(&train);
    /// let distance = prepared.smallest_star_distance_mm(550.0 / 8.0)?;
    /// assert!((prepared.artificial_star(distance, 550.0)?.pv_nm - 550.0 / 8.0).abs() < 0.01);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn smallest_star_distance_mm(&self, largest_pv_nm: f64) -> Result<f64> {
        let perfect = self.perfect_bare_mirror()?;
        let nearest_mm = 2.0 * self.focal_length_mm();
        // The wavelength only deals out nodes here: PV is a property of the paths.
        let pv_nm = |distance_mm: f64| {
            let lamp = Star::artificial(Field::AXIS, distance_mm);
            perfect.wavefront(lamp, Focus::LeastRms, 550.0).map(|w| w.pv_nm)
        };
        // Beyond the distance at which it is greatest, twice the focal length, the error falls.
        let most_nm = pv_nm(nearest_mm)?;
        if !(largest_pv_nm > 0.0 && largest_pv_nm < most_nm) {
            let allowed =
                format!("above 0 and below {most_nm:.0} nm, which a lamp at twice the focal length adds");
            return Err(Error::input("largest_pv_nm", largest_pv_nm, allowed, "waves given for nanometres?"));
        }
        let mut failed = None;
        // The logarithm's own rounding must not lead inside the nearest place.
        let excess = |log_mm: f64| match pv_nm(log_mm.exp().max(nearest_mm)) {
            Ok(found_nm) => (found_nm / largest_pv_nm).ln(),
            Err(error) => {
                failed = Some(error);
                f64::NAN
            }
        };
        let found = roots::bracketed(excess, nearest_mm.ln(), FARTHEST_MM.ln(), 1e-7);
        match (failed, found) {
            (Some(error), _) => Err(error),
            (None, Some(log_mm)) => Ok(log_mm.exp()),
            (None, None) => Err(Error::NotConverged {
                what: "the distance of an artificial star",
                reached: pv_nm(FARTHEST_MM)?,
                wanted: largest_pv_nm,
            }),
        }
    }

    /// A paraboloid without errors, as wide as this train's open mirror, and nothing in its way.
    fn perfect_bare_mirror(&self) -> Result<Self> {
        let given = self.train().primary();
        let perfect = Primary::new(given.open_diameter_mm(), FocalLengthMm(given.focal_length_mm));
        Train::builder(perfect).build().map(|train| Self::new(&train))
    }
}
