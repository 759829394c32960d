//! The image of a star by diffraction.

use std::f64::consts::{PI, TAU};

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::density::{Fineness, PhaseDensity};
use super::source::Pupil;
use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::{pool, roots, sums};
use crate::units::{NM_PER_MM, UM_PER_MM};

/// Accuracy that is promised for an image, as a share of the perfect peak.
const IMAGE_ACCURACY: f64 = 1e-6;
const REFINEMENTS: usize = 3;
/// Largest picture: 2048 x 2048 numbers are 32 MiB.
const MOST_PIXELS: usize = 2048;
/// Largest half-width, in wavelengths times focal ratio: beyond, the pupil needs a million nodes.
const WIDEST: f64 = 200.0;

/// How large a star image is computed.
///
/// Units: um from the reference point to the middle of the outermost pixels' far edge; nothing given means
/// twelve wavelengths times the focal ratio.
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
    /// Focal length over the diameter that gathers light.
    pub focal_ratio: f64,
    /// Estimated error of the intensity, as a share of the perfect peak.
    pub error_estimate: f64,
    /// The wavefront behind the picture.
    pub wavefront: Wavefront,
}

impl Wavefront {
    /// The image of the star in the plane of the reference point.
    ///
    /// Units: um.
    /// Errors: [`Error::Input`] for sizes that cannot be, or a wavefront of terms without a focal ratio;
    /// [`Error::NotConverged`] where 1e-6 of the peak is not reached.
    ///
    /// ```
    /// use catoptric::{Indexing, PsfSize, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// let star = perfect.psf(PsfSize::default())?;
    /// assert!((star.fwhm_um / (1.028_993_97 * 0.55 * 5.0) - 1.0).abs() < 1e-6); // Airy's pattern
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn psf(&self, size: PsfSize) -> Result<Psf> {
        let focal_ratio = self.image_focal_ratio()?;
        let unit_um = self.wavelength_nm / 1000.0 * focal_ratio;
        let half_width_um = check_size(size, unit_um)?;
        let pixel_um = 2.0 * half_width_um / size.pixels as f64;
        let axis_um: Vec<f64> =
            (0..size.pixels).map(|i| (i as f64 - (size.pixels as f64 - 1.0) / 2.0) * pixel_um).collect();
        let (amplitude, error_estimate) =
            self.amplitude_reaching(half_width_um * 2.0_f64.sqrt() / unit_um)?;
        let image = amplitude.picture(&axis_um);
        let (peak_um, peak) = amplitude.peak_near(brightest(&image, &axis_um), unit_um);
        let directions: Vec<f64> = (0..16).map(|i| TAU * f64::from(i) / 16.0).collect();
        let radii: Vec<f64> = pool::map_ordered(directions.len(), true, |i| {
            amplitude.half_radius_um(peak_um, peak, directions[i], unit_um)
        });
        let fwhm = |a: usize, b: usize| radii[a] + radii[b];
        Ok(Psf {
            image,
            pixel_um,
            across_um: axis_um.clone(),
            along_um: axis_um,
            peak,
            peak_um,
            fwhm_um: 2.0 * sums::pairwise(&radii) / radii.len() as f64,
            fwhm_along_um: fwhm(0, 8),
            fwhm_across_um: fwhm(4, 12),
            focal_ratio,
            error_estimate,
            wavefront: self.clone(),
        })
    }

    /// The focal ratio that scales the image; refused for terms given without one.
    pub(crate) fn image_focal_ratio(&self) -> Result<f64> {
        self.focal_ratio().ok_or_else(|| {
            Error::input("focal_ratio", "nothing", "a focal ratio, for an image of given coefficients", "")
        })
    }

    /// The amplitude in the image on as many nodes as a reach (in wavelengths times focal ratio) needs, and
    /// the estimated error of the intensity.
    pub(crate) fn amplitude_reaching(&self, reach: f64) -> Result<(Amplitude, f64)> {
        let unit_um = self.wavelength_nm / 1000.0 * self.image_focal_ratio()?;
        let slopes = self.source.slopes(self.reference_mm);
        let mut density = PhaseDensity::new(slopes, self.wavelength_nm, reach, Fineness::IMAGES);
        let mut error = f64::INFINITY;
        for _ in 0..=REFINEMENTS {
            let pupil = self.source.pupil(&density);
            let sampled = pupil.sampled;
            let amplitude = Amplitude::new(&pupil, self.reference_mm, self.wavelength_nm);
            let companion = self.source.pupil(&density.with(density.fineness().companion()));
            let companion = Amplitude::new(&companion, self.reference_mm, self.wavelength_nm);
            let difference = probes(reach * unit_um)
                .map(|[x, y]| (amplitude.intensity(x, y) - companion.intensity(x, y)).abs())
                .fold(0.0, f64::max);
            error = 3.0 * difference + 1e-13;
            if sampled {
                return Ok((amplitude, error.max(self.error_estimate)));
            }
            if error <= IMAGE_ACCURACY {
                return Ok((amplitude, error));
            }
            density = density.with(density.fineness().finer());
        }
        Err(Error::NotConverged { what: "the star image", reached: error, wanted: IMAGE_ACCURACY })
    }
}

/// Points at which two lists of nodes are compared: the centre, the corner's radius and half of it.
fn probes(corner_um: f64) -> impl Iterator<Item = [f64; 2]> {
    let ring = |radius: f64, count: u32| {
        (0..count).map(move |i| {
            let (sin, cos) = (TAU * (f64::from(i) + 0.3) / f64::from(count)).sin_cos();
            [radius * cos, radius * sin]
        })
    };
    ring(0.0, 1).chain(ring(corner_um, 12)).chain(ring(corner_um / 2.0, 6))
}

fn check_size(size: PsfSize, unit_um: f64) -> Result<f64> {
    if !(2..=MOST_PIXELS).contains(&size.pixels) {
        let mebibytes = (size.pixels as f64).powi(2) * 8.0 / 1_048_576.0;
        let found = format!("{} ({mebibytes:.0} MiB)", size.pixels);
        return Err(Error::input("pixels", found, format!("2 to {MOST_PIXELS} pixels on a side"), ""));
    }
    let half_width_um = size.half_width_um.unwrap_or(12.0 * unit_um);
    if !(half_width_um > 0.0 && half_width_um <= WIDEST * unit_um) {
        let allowed =
            format!("above 0 and up to {:.0} um (200 wavelengths times focal ratio)", WIDEST * unit_um);
        return Err(Error::input("half_width_um", half_width_um, allowed, "nanometres or arcseconds?"));
    }
    Ok(half_width_um)
}

fn brightest(image: &Array2<f64>, axis_um: &[f64]) -> [f64; 2] {
    let mut best = (f64::NEG_INFINITY, [0.0; 2]);
    for ((i, j), &value) in image.indexed_iter() {
        if value > best.0 {
            best = (value, [axis_um[j], axis_um[i]]);
        }
    }
    best.1
}

/// The light of a pupil, ready to be summed at any point of the image plane.
///
/// Amplitude at a step s from the reference point: sum of a exp(2 pi i (W - m.s)/lambda), over the sum of the
/// moduli.
#[derive(Clone, Debug)]
pub(crate) struct Amplitude {
    re: Vec<f64>,
    im: Vec<f64>,
    /// Phase for each micrometre along and across, rad.
    along_per_um: Vec<f64>,
    across_per_um: Vec<f64>,
    /// Integral of the intensity over the whole plane, um^2.
    pub(crate) whole_um2: f64,
}

impl Amplitude {
    pub(crate) fn new(pupil: &Pupil, reference_mm: [f64; 3], wavelength_nm: f64) -> Self {
        let view = pupil.seen_from(reference_mm);
        let light: Vec<f64> = pupil.weight.iter().zip(&pupil.amplitude).map(|(w, a)| w * a).collect();
        let peak = sums::pairwise(&light);
        let per_nm = TAU / wavelength_nm;
        let per_um = -per_nm * NM_PER_MM / UM_PER_MM;
        let phases = view.path_nm.iter().map(|w| (per_nm * (w - view.path_nm[0])).sin_cos());
        let (im, re) = phases.zip(&light).map(|((s, c), a)| (a * s / peak, a * c / peak)).unzip();
        // Parseval: the plane's energy is that of the pupil in the conjugate coordinate.
        let energy: Vec<f64> = (0..pupil.len())
            .zip(pupil.spread(reference_mm))
            .map(|(i, spread)| light[i] * pupil.amplitude[i] / spread)
            .collect();
        let wavelength_um = wavelength_nm / 1000.0;
        Self {
            re,
            im,
            along_per_um: view.toward.iter().map(|m| per_um * m[0]).collect(),
            across_per_um: view.toward.iter().map(|m| per_um * m[1]).collect(),
            whole_um2: wavelength_um.powi(2) * sums::pairwise(&energy) / (peak * peak),
        }
    }

    /// Intensity at a point of the plane, by the direct sum.
    pub(crate) fn intensity(&self, along_um: f64, across_um: f64) -> f64 {
        let (mut re, mut im) = (0.0, 0.0);
        for i in 0..self.re.len() {
            let (s, c) = (self.along_per_um[i] * along_um + self.across_per_um[i] * across_um).sin_cos();
            re += self.re[i] * c - self.im[i] * s;
            im += self.re[i] * s + self.im[i] * c;
        }
        re * re + im * im
    }

    /// Intensity on the square net of `axis_um` in both directions.
    ///
    /// The phase factors of rows and columns separate, so the sum is a matrix product.
    fn picture(&self, axis_um: &[f64]) -> Array2<f64> {
        const ROWS: usize = 32;
        let (nodes, size) = (self.re.len(), axis_um.len());
        let columns = |part: fn((f64, f64)) -> f64| {
            Array2::from_shape_fn((nodes, size), |(n, j)| part((self.along_per_um[n] * axis_um[j]).sin_cos()))
        };
        let (sin, cos) = (columns(|sc| sc.0), columns(|sc| sc.1));
        let strips = pool::map_ordered(size.div_ceil(ROWS), nodes * size > 50_000, |strip| {
            let rows = &axis_um[strip * ROWS..size.min((strip + 1) * ROWS)];
            let mut left_re = Array2::zeros((rows.len(), nodes));
            let mut left_im = Array2::zeros((rows.len(), nodes));
            for (i, y) in rows.iter().enumerate() {
                for n in 0..nodes {
                    let (s, c) = (self.across_per_um[n] * y).sin_cos();
                    left_re[[i, n]] = self.re[n] * c - self.im[n] * s;
                    left_im[[i, n]] = self.re[n] * s + self.im[n] * c;
                }
            }
            let re = left_re.dot(&cos) - left_im.dot(&sin);
            let im = left_re.dot(&sin) + left_im.dot(&cos);
            &re * &re + &im * &im
        });
        let views: Vec<_> = strips.iter().map(|strip| strip.view()).collect();
        ndarray::concatenate(ndarray::Axis(0), &views)
            .unwrap_or_else(|_| unreachable!("strips of equal width"))
    }

    /// The greatest intensity near a point, and where it lies.
    fn peak_near(&self, start_um: [f64; 2], unit_um: f64) -> ([f64; 2], f64) {
        let [mut x, mut y] = start_um;
        // Along one axis, then the other; the summit is round, so few rounds suffice.
        for _ in 0..6 {
            let reach = 0.3 * unit_um;
            let before = [x, y];
            x = roots::maximum(|x| self.intensity(x, y), x - reach, x + reach, 1e-7 * unit_um).0;
            y = roots::maximum(|y| self.intensity(x, y), y - reach, y + reach, 1e-7 * unit_um).0;
            if (x - before[0]).hypot(y - before[1]) < 1e-6 * unit_um {
                break;
            }
        }
        ([x, y], self.intensity(x, y))
    }

    /// Distance from the peak, in one direction, at which the intensity first falls to half, um.
    fn half_radius_um(&self, peak_um: [f64; 2], peak: f64, direction: f64, unit_um: f64) -> f64 {
        let (sin, cos) = direction.sin_cos();
        let above_half = |r: f64| self.intensity(peak_um[0] + r * cos, peak_um[1] + r * sin) - peak / 2.0;
        let step = 0.1 * unit_um;
        let mut r = 0.0;
        // Half of the light of any star that converged lies within the widest picture.
        while above_half(r + step) > 0.0 && r < WIDEST * unit_um {
            r += step;
        }
        roots::bracketed(above_half, r, r + step, 1e-9 * unit_um).unwrap_or(r)
    }
}

impl Psf {
    /// The Strehl: the intensity at the reference point, from the statistics list of the wavefront.
    pub fn strehl(&self) -> f64 {
        self.wavefront.strehl
    }

    /// Arcseconds on the sky for each pixel, or nothing for coefficients alone, whose focal length is not known.
    pub fn pixel_arcsec(&self) -> Option<f64> {
        let focal_mm = match &self.wavefront.source {
            super::source::Source::Star { prepared, .. } => prepared.focal_length_mm(),
            super::source::Source::Terms(_) => return None,
        };
        Some((self.pixel_um / UM_PER_MM / focal_mm).atan() * 180.0 * 3600.0 / PI)
    }
}
