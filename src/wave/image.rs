//! The image of a star by diffraction.

use std::f64::consts::{PI, TAU};

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::spectrum::Spectrum;
use super::star_light::Near;
use super::wavefront::{Sums, Wavefront};
use super::wavelength::check_wavelength;
use crate::error::{Error, Result};
use crate::numeric::{roots, sums};
use crate::units::UM_PER_MM;

/// Accuracy that is promised for an image, as a share of the perfect peak.
pub(super) const IMAGE_ACCURACY: f64 = 1e-6;
pub(super) const REFINEMENTS: usize = 3;
/// What the outline of a cut pupil is good to.
pub(super) const ERROR_FLOOR: f64 = 1e-10;
/// Largest picture: 2048 x 2048 numbers are 32 MiB.
const MOST_PIXELS: usize = 2048;
/// Largest half-width, in wavelengths times focal ratio: beyond, the pupil needs a million nodes.
pub(super) const WIDEST: f64 = 200.0;

/// How large a star image is computed.
///
/// Units: um from the reference point to the picture's edge, which is the outer edge of the outermost pixels;
/// nothing given means twelve wavelengths times the focal ratio.
///
/// ```
/// assert_eq!(catoptric::PsfSize::default().pixels, 129);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PsfSize {
    /// From the centre to the picture's edge, um.
    pub half_width_um: Option<f64>,
    /// Pixels on a side; an odd number puts one on the reference point.
    pub pixels: usize,
}

impl PsfSize {
    /// So many pixels of a given size on a side.
    ///
    /// Units: um.
    ///
    /// ```
    /// let size = catoptric::PsfSize::of_pixels(0.5, 41);
    /// assert_eq!((size.half_width_um, size.pixels), (Some(10.25), 41));
    /// ```
    pub fn of_pixels(pixel_um: f64, pixels: usize) -> Self {
        Self { half_width_um: Some(pixel_um * pixels as f64 / 2.0), pixels }
    }
}

impl Default for PsfSize {
    fn default() -> Self {
        Self { half_width_um: None, pixels: 129 }
    }
}

/// The image of a star: intensity over that of the perfect star's peak with the same light.
///
/// Units: um in the focal plane, about the reference point; `along` positive toward the sky end. The
/// intensity is 1 at the centre of a perfect star, so that the value at the reference point is the Strehl.
/// Shapes: `image[[i, j]]`, row i at `across_um[i]`, column j at `along_um[j]`.
/// Method: the scalar Fraunhofer integral over the traced pupil, summed directly for each pixel's centre;
/// good to 1e-6 of the peak against that model.
/// Leaves out: polarisation and the scalar amplitude factor (1e-3 of the peak at f/5), and the pixel's own
/// width.
///
/// ```
/// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, PsfSize, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let star = Prepared::new(&train).wavefront(Field::AXIS, Focus::LeastRms, 550.0)?.psf(PsfSize::default())?;
/// assert!((star.image[[64, 64]] - 1.0).abs() < 1e-6);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Psf {
    /// Intensity: rows across, columns along.
    pub image: Array2<f64>,
    /// Distance of neighbouring pixels, um.
    pub pixel_um: f64,
    /// Positions of the columns, um.
    pub along_um: Vec<f64>,
    /// Positions of the rows, um.
    pub across_um: Vec<f64>,
    /// Greatest intensity in the plane, found between the pixels.
    pub peak: f64,
    /// Where it lies: `[along, across]`, um.
    pub peak_um: [f64; 2],
    /// Full width at half of the peak, um: the mean over sixteen directions by the peak.
    pub fwhm_um: f64,
    /// The same along.
    pub fwhm_along_um: f64,
    /// The same across.
    pub fwhm_across_um: f64,
    /// Focal length over the diameter that gathers light; for a lamp the distance of its image over it.
    pub focal_ratio: f64,
    /// Estimated error of the intensity, as a share of the perfect peak.
    pub error_estimate: f64,
    /// The light of the picture.
    pub spectrum: Spectrum,
    /// The wavefront behind the picture, at the mean wavelength.
    pub wavefront: Wavefront,
}

impl Wavefront {
    /// The image of the star in the plane of the reference point.
    ///
    /// Units: um.
    /// Errors: [`Error::Input`] for sizes that cannot be, or a wavefront of terms without a focal ratio;
    /// [`Error::NotConverged`] where 1e-6 of the peak is not reached (with a height map on the mirror: 1e-3; the estimate is
    /// in the result).
    ///
    /// ```
    /// use catoptric::{Indexing, PsfSize, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let star = perfect.psf(PsfSize::default())?;
    /// assert!((star.fwhm_um / (1.028_993_97 * 0.55 * 5.0) - 1.0).abs() < 1e-6); // Airy's pattern
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn psf(&self, size: PsfSize) -> Result<Psf> {
        self.psf_of(size, &Spectrum::line(self.wavelength_nm)?)
    }

    /// The image of the star in light of several wavelengths, seen from this one reference point.
    ///
    /// Each wavelength's picture counts by its energy: I = sum of share/wavelength^2 i over the sum of share/wavelength^2, i being
    /// 1 at the centre of that wavelength's perfect star, so that I is 1 at the centre of the perfect star of the whole light.
    /// The wavefront behind the picture is given at the mean wavelength.
    ///
    /// Units: um; without a half-width the picture reaches to twelve mean wavelengths times the focal ratio.
    /// Errors: as [`Wavefront::psf`].
    /// Leaves out: a coating whose reflectance differs from colour to colour.
    ///
    /// ```
    /// use catoptric::{Indexing, PsfSize, Spectrum, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let star = perfect.psf_of(PsfSize::default(), &Spectrum::of_lines(&[500.0, 600.0], &[1.0, 1.0])?)?;
    /// assert!((star.image[[64, 64]] - 1.0).abs() < 1e-6 && star.wavefront.wavelength_nm == 550.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn psf_of(&self, size: PsfSize, spectrum: &Spectrum) -> Result<Psf> {
        let focal_ratio = self.image_focal_ratio()?;
        let mean_nm = spectrum.mean_nm();
        let unit_um = mean_nm / 1000.0 * focal_ratio;
        let half_width_um = check_size(size, unit_um)?;
        let axis_um = axis_um(half_width_um, size.pixels);
        let wavefront = self.at_wavelength(mean_nm)?;
        // The corner counts, and a little more: the summit may lie between the outermost pixels.
        let mut reach_um = half_width_um + unit_um;
        let settled = self.star_light(spectrum, reach_um, 2.0_f64.sqrt() * reach_um)?;
        let image = settled.light().picture(&axis_um);
        // The summit lies within a pixel or half a unit of the brightest pixel, half of the peak mostly within a unit.
        let start_um = brightest(&image, &axis_um);
        let near = settled.light().near(start_um, 2.3 * unit_um);
        let (peak_um, peak) = peak_near(&near, start_um, unit_um);
        let mut radii = half_radii_um(&near, reach_um, peak_um, peak, unit_um);
        while radii.is_none() && reach_um < WIDEST * unit_um {
            reach_um *= 2.0;
            let wider = self.star_light(spectrum, reach_um, 2.0_f64.sqrt() * reach_um)?;
            radii =
                half_radii_um(&wider.light().near(peak_um, 2.0 * unit_um), reach_um, peak_um, peak, unit_um);
        }
        let radii = radii.ok_or(Error::NotConverged {
            what: "the width of the star at half of its peak",
            reached: reach_um / unit_um,
            wanted: WIDEST,
        })?;
        let fwhm = |a: usize, b: usize| radii[a] + radii[b];
        Ok(Psf {
            image,
            pixel_um: 2.0 * half_width_um / size.pixels as f64,
            across_um: axis_um.clone(),
            along_um: axis_um,
            peak,
            peak_um,
            fwhm_um: 2.0 * sums::pairwise(&radii) / radii.len() as f64,
            fwhm_along_um: fwhm(0, 8),
            fwhm_across_um: fwhm(4, 12),
            focal_ratio,
            error_estimate: settled.error,
            spectrum: spectrum.clone(),
            wavefront,
        })
    }

    /// The focal ratio that scales the image; refused for terms given without one.
    pub(crate) fn image_focal_ratio(&self) -> Result<f64> {
        self.source.working_focal_ratio().ok_or_else(|| {
            Error::input("focal_ratio", "nothing", "a focal ratio, for an image of given coefficients", "")
        })
    }

    /// The same wavefront looked at in another wavelength.
    pub(crate) fn at_wavelength(&self, wavelength_nm: f64) -> Result<Self> {
        if self.wavelength_nm.to_bits() == wavelength_nm.to_bits() {
            return Ok(self.clone());
        }
        if wavelength_nm > self.wavelength_nm && !self.source.has_film() {
            check_wavelength(wavelength_nm)?;
            // Nodes that are enough for a shorter wavelength are enough for a longer one; only the Strehl hangs on it.
            let strehl = Sums::new(&self.pupil, &self.view, wavelength_nm).strehl();
            return Ok(Self { wavelength_nm, strehl, ..self.clone() });
        }
        Self::seen_from(self.source.clone(), self.reference_mm, wavelength_nm)
    }
}

/// Positions of pixels, um, about 0.
pub(super) fn axis_um(half_width_um: f64, pixels: usize) -> Vec<f64> {
    let pixel_um = 2.0 * half_width_um / pixels as f64;
    (0..pixels).map(|i| (i as f64 - (pixels as f64 - 1.0) / 2.0) * pixel_um).collect()
}

/// Refuses a count of pixels on a side, with the memory that it would take.
pub(super) fn check_pixels(pixels: usize, most: usize) -> Result<()> {
    if (2..=most).contains(&pixels) {
        return Ok(());
    }
    let mebibytes = (pixels as f64).powi(2) * 8.0 / 1_048_576.0;
    let found = format!("{pixels} ({mebibytes:.0} MiB)");
    Err(Error::input("pixels", found, format!("2 to {most} pixels on a side"), ""))
}

pub(super) fn check_size(size: PsfSize, unit_um: f64) -> Result<f64> {
    check_pixels(size.pixels, MOST_PIXELS)?;
    let half_width_um = size.half_width_um.unwrap_or(12.0 * unit_um);
    if !(half_width_um > 0.0 && half_width_um <= WIDEST * unit_um) {
        let allowed =
            format!("above 0 and up to {:.0} um (200 wavelengths times focal ratio)", WIDEST * unit_um);
        return Err(Error::input(
            "half_width_um",
            half_width_um,
            allowed,
            "nanometres, arcseconds, or pixels larger than the field?",
        ));
    }
    Ok(half_width_um)
}

fn brightest(image: &Array2<f64>, axis_um: &[f64]) -> [f64; 2] {
    let mut best = (f64::NEG_INFINITY, 0, 0);
    for (i, row) in image
        .as_slice()
        .unwrap_or_else(|| unreachable!("rows in order"))
        .chunks_exact(axis_um.len())
        .enumerate()
    {
        // Eight by eight: one largest number alone would have to wait for itself.
        let mut largest = [f64::NEG_INFINITY; 8];
        let (eights, rest) = row.as_chunks::<8>();
        for eight in eights {
            for k in 0..8 {
                largest[k] = if eight[k] > largest[k] { eight[k] } else { largest[k] };
            }
        }
        let largest = largest.iter().chain(rest).copied().fold(f64::NEG_INFINITY, f64::max);
        if largest > best.0 {
            best = (largest, i, row.iter().position(|v| *v >= largest).unwrap_or(0));
        }
    }
    [axis_um[best.2], axis_um[best.1]]
}

/// The greatest intensity near a point, and where it lies.
fn peak_near(near: &Near<'_>, start_um: [f64; 2], unit_um: f64) -> ([f64; 2], f64) {
    let [mut x, mut y] = start_um;
    let reach = 0.3 * unit_um;
    // Along one axis, then the other; the summit is round, so few rounds suffice.
    for _ in 0..6 {
        let before = [x, y];
        x = roots::maximum(|x| near.intensity(x, y), x - reach, x + reach, 1e-7 * unit_um).0;
        y = roots::maximum(|y| near.intensity(x, y), y - reach, y + reach, 1e-7 * unit_um).0;
        if (x - before[0]).hypot(y - before[1]) < 1e-6 * unit_um {
            break;
        }
    }
    ([x, y], near.intensity(x, y))
}

/// Distances from the peak, in sixteen directions, at which the intensity first falls to half, um; none where one of
/// them lies beyond the reach.
fn half_radii_um(
    near: &Near<'_>,
    reach_um: f64,
    peak_um: [f64; 2],
    peak: f64,
    unit_um: f64,
) -> Option<Vec<f64>> {
    let in_direction = |i: u32| {
        let (sin, cos) = (TAU * f64::from(i) / 16.0).sin_cos();
        // To the edge of the square on which the sums hold.
        let room = |at: f64, slope: f64| {
            if slope == 0.0 { f64::INFINITY } else { (reach_um - at * slope.signum()) / slope.abs() }
        };
        let farthest_um = room(peak_um[0], cos).min(room(peak_um[1], sin));
        let above = |r: f64| near.intensity(peak_um[0] + r * cos, peak_um[1] + r * sin) - peak / 2.0;
        let step = 0.1 * unit_um;
        let steps = (farthest_um / step).max(0.0) as usize;
        roots::first_fall(above, step, steps, 1e-9 * unit_um)
    };
    (0..16).map(in_direction).collect()
}

impl Psf {
    /// The Strehl: the intensity at the reference point in the light of the picture, from the statistics list of the wavefront.
    pub fn strehl(&self) -> f64 {
        self.wavefront.strehl_in(&self.spectrum)
    }

    /// Arcseconds on the sky for each pixel, or nothing for coefficients alone, whose focal length is not known.
    pub fn pixel_arcsec(&self) -> Option<f64> {
        let distance_mm = self.wavefront.source.image_distance_mm()?;
        Some((self.pixel_um / UM_PER_MM / distance_mm).atan() * 180.0 * 3600.0 / PI)
    }
}
