//! A strip of star images from inside to outside of focus.

use std::borrow::Cow;
use std::f64::consts::TAU;

use ndarray::{Array2, Array3};
use serde::{Deserialize, Serialize};

use super::image::{self, PsfSize, axis_um};
use super::rings::Rings;
use super::source::Pupil;
use super::spectrum::Spectrum;
use super::star_light::{Reach, Settled};
use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::pool;
use crate::units::NM_PER_MM;

/// Largest strip: so many numbers are 128 MiB.
const MOST_NUMBERS: usize = 1 << 24;
/// Defocus beyond this many waves needs more nodes than are of use.
const FARTHEST_WAVES: f64 = 60.0;

/// Where the pictures of a strip are taken, counted from the wavefront's reference point.
///
/// Units: waves W020 of defocus at the mean wavelength, or mm along the light; dz = 8 F^2 W020 wavelengths. Positive is outside
/// of focus: further from the primary, the eyepiece drawn out.
///
/// ```
/// assert_eq!(catoptric::FocusSteps::default(), catoptric::FocusSteps::Waves(vec![-4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0]));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum FocusSteps {
    /// Waves of defocus at the rim.
    Waves(Vec<f64>),
    /// Distances along the light, mm.
    ShiftMm(Vec<f64>),
}

impl Default for FocusSteps {
    fn default() -> Self {
        Self::Waves(vec![-4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0])
    }
}

/// Star images at several distances from focus, all on one scale of brightness.
///
/// Units: um about the reference point, which moves along the light to each picture's plane; 1 is the peak of the perfect
/// star in focus with the same light, in every picture.
/// Shapes: `images[[k, i, j]]`, picture k at `shift_mm[k]` and `defocus_waves[k]`, row i at `across_um[i]`, column j at
/// `along_um[j]`.
/// Method: each picture as [`Wavefront::psf`], from its own reference point on nodes that all share; good to 1e-6 of the peak.
/// Leaves out: what [`super::Psf`] does.
///
/// ```
/// use catoptric::{FocusSteps, Indexing, PsfSize, Spectrum, Wavefront};
/// // At f/200, where the cone is the textbook's to 1/(16 F^2), 1.6e-6.
/// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(200.0), 550.0)?;
/// let size = PsfSize { pixels: 33, ..PsfSize::default() };
/// let strip = perfect.through_focus(&FocusSteps::Waves(vec![-1.0, 0.0, 0.5]), size, &Spectrum::line(550.0)?)?;
/// assert_eq!(strip.images.dim(), (3, 33, 33));
/// // Born & Wolf, chapter 8: sinc^2 of pi W020 on the axis, dark at a whole wave.
/// assert!(strip.images[[0, 16, 16]] < 1e-6 && (strip.images[[2, 16, 16]] - 4.0 / std::f64::consts::PI.powi(2)).abs() < 1e-5);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ThroughFocus {
    /// Intensity: picture, row across, column along.
    pub images: Array3<f64>,
    /// How far each plane lies behind the reference point of the wavefront, mm; positive: outside of focus.
    pub shift_mm: Vec<f64>,
    /// The same in waves of defocus, W020 = dz/(8 F^2) at the mean wavelength.
    pub defocus_waves: Vec<f64>,
    /// Distance of neighbouring pixels, um.
    pub pixel_um: f64,
    /// Positions of the columns, um.
    pub along_um: Vec<f64>,
    /// Positions of the rows, um.
    pub across_um: Vec<f64>,
    /// Radii of the profiles, um.
    pub profile_radius_um: Vec<f64>,
    /// Intensity at a radius, the mean over azimuth: a row for each picture.
    pub profile: Array2<f64>,
    /// Share of the star's light within the largest circle that each picture holds.
    pub energy_in_circle: Vec<f64>,
    /// Focal length over the diameter that gathers light; for a lamp the distance of its image over it.
    pub focal_ratio: f64,
    /// Estimated error of the intensity, as a share of the perfect peak.
    pub error_estimate: f64,
    /// The light of the pictures.
    pub spectrum: Spectrum,
    /// The wavefront in focus, at the mean wavelength.
    pub wavefront: Wavefront,
}

impl Wavefront {
    /// Star images inside and outside of this wavefront's reference point.
    ///
    /// Each reference point lies on the straight line of the light through this one, so that the pictures stay where the star
    /// is. Without a half-width the pictures hold the widest blur of the strip.
    ///
    /// Units: waves or mm; um.
    /// Errors: [`Error::Input`] for no steps, steps beyond 60 waves, sizes that cannot be or need more than 128 MiB;
    /// [`Error::NotConverged`] as [`Wavefront::psf`].
    ///
    /// ```
    /// use catoptric::{Field, Focus, FocusSteps, FocalLengthMm, Prepared, Primary, PsfSize, Spectrum, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let star = Prepared::new(&train).wavefront(Field::AXIS, Focus::LeastRms, 550.0)?;
    /// let size = PsfSize { pixels: 65, ..PsfSize::default() };
    /// let strip = star.through_focus(&FocusSteps::ShiftMm(vec![-0.3, 0.3]), size, &Spectrum::line(550.0)?)?;
    /// assert!((strip.defocus_waves[1] - 0.3e6 / (8.0 * 36.0 * 550.0)).abs() < 1e-9);
    /// assert!((strip.images[[0, 32, 32]] - strip.images[[1, 32, 32]]).abs() < 1e-3, "a perfect star: both sides alike");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn through_focus(
        &self,
        steps: &FocusSteps,
        size: PsfSize,
        spectrum: &Spectrum,
    ) -> Result<ThroughFocus> {
        let focal_ratio = self.image_focal_ratio()?;
        let mean_nm = spectrum.mean_nm();
        let unit_um = mean_nm / 1000.0 * focal_ratio;
        let wave_mm = 8.0 * focal_ratio * focal_ratio * mean_nm / NM_PER_MM;
        let waves = check_steps(steps, wave_mm)?;
        let farthest = waves.iter().fold(0.0_f64, |far, w| far.max(w.abs()));
        // A defocus of W waves makes a disc of 4 W wavelengths times focal ratio in radius; its rim has a fringe.
        let half_width_um = size.half_width_um.unwrap_or(unit_um * (4.6 * farthest + 4.0).max(8.0));
        let size = PsfSize { half_width_um: Some(half_width_um), ..size };
        image::check_size(size, unit_um)?;
        check_memory(waves.len(), size.pixels)?;
        let wavefront = self.at_wavelength(mean_nm)?;
        let drift = drift(&self.pupil, self);
        let shift_mm: Vec<f64> = waves.iter().map(|w| w * wave_mm).collect();
        let references: Vec<[f64; 3]> = shift_mm
            .iter()
            .map(|dz| [0, 1, 2].map(|axis| self.reference_mm[axis] + dz * drift[axis]))
            .collect();
        let axis_um = axis_um(half_width_um, size.pixels);
        let radii = profile_radii_um(half_width_um, unit_um * spectrum.lines()[0].0 / mean_nm);
        let reach = Reach {
            half_um: half_width_um,
            corner_um: 2.0_f64.sqrt() * half_width_um,
            unit_um: focal_ratio * spectrum.lines()[0].0 / 1000.0,
        };
        let (settled, looked_at) = self.nodes_for_all(&references, spectrum, reach)?;
        let rings =
            Rings::new(&radii.iter().map(|(r, _)| *r).collect::<Vec<_>>(), half_width_um, reach.unit_um);
        let (count, pixels) = (references.len(), size.pixels);
        let mut intensities = vec![0.0; count * pixels * pixels];
        let planes = pool::map_each(intensities.chunks_mut(pixels * pixels), true, |k, image| {
            // Some planes are at hand from the comparison.
            let known = looked_at.iter().position(|r| r[2].to_bits() == references[k][2].to_bits());
            let light = match known.and_then(|i| settled.light_at_hand(i)) {
                Some(light) => Cow::Borrowed(light),
                None => Cow::Owned(settled.lists.pupil.light(references[k], spectrum, reach)),
            };
            light.picture_into(&axis_um, image);
            let profile = rings.means(&light);
            let energy: f64 = radii.iter().zip(&profile).map(|((r, w), i)| TAU * r * w * i).sum();
            (profile, energy / settled.lists.pupil.whole_um2(references[k], spectrum))
        });
        let mut profile = Array2::zeros((count, radii.len()));
        for (mut row, (mean, _)) in profile.rows_mut().into_iter().zip(&planes) {
            row.assign(&ndarray::ArrayView1::from(mean));
        }
        let images = Array3::from_shape_vec((count, pixels, pixels), intensities);
        Ok(ThroughFocus {
            images: images.unwrap_or_else(|_| unreachable!("so many pixels")),
            shift_mm,
            defocus_waves: waves,
            pixel_um: 2.0 * half_width_um / size.pixels as f64,
            across_um: axis_um.clone(),
            along_um: axis_um,
            profile_radius_um: radii.iter().map(|(r, _)| *r).collect(),
            profile,
            energy_in_circle: planes.iter().map(|plane| plane.1).collect(),
            focal_ratio,
            error_estimate: settled.error,
            spectrum: spectrum.clone(),
            wavefront,
        })
    }

    /// One list of nodes that serves every plane of a strip, looked at twice at both ends and nearest to focus.
    fn nodes_for_all(
        &self,
        references: &[[f64; 3]],
        spectrum: &Spectrum,
        reach: Reach,
    ) -> Result<(Settled, Vec<[f64; 3]>)> {
        let mut by_depth = references.to_vec();
        by_depth.sort_by(|a, b| a[2].total_cmp(&b[2]));
        let from_focus = |reference: &[f64; 3]| (reference[2] - self.reference_mm[2]).abs();
        let (first, last) = (by_depth[0], by_depth[by_depth.len() - 1]);
        let nearest =
            by_depth.iter().copied().min_by(|a, b| from_focus(a).total_cmp(&from_focus(b))).unwrap_or(first);
        let mut looked_at = vec![first, nearest, last];
        looked_at.dedup();
        let slopes = || self.source.slopes(&[first, last]);
        Ok((self.star_light_from(&looked_at, spectrum, reach, slopes)?, looked_at))
    }
}

/// The step of the reference point for each mm of depth that makes no tilt: along the straight line of the light.
fn drift(pupil: &Pupil, wavefront: &Wavefront) -> [f64; 3] {
    let lines = &wavefront.view.toward;
    let total: f64 = pupil.weight.iter().sum();
    let mean = |axis: usize| pupil.weight.iter().zip(lines).map(|(w, m)| w * m[axis]).sum::<f64>() / total;
    let middle = [mean(0), mean(1), mean(2)];
    let product = |a: usize, b: usize| -> f64 {
        let terms = pupil.weight.iter().zip(lines);
        terms.map(|(w, m)| w * (m[a] - middle[a]) * (m[b] - middle[b])).sum()
    };
    let (xx, xy, yy, xz, yz) = (product(0, 0), product(0, 1), product(1, 1), product(0, 2), product(1, 2));
    let determinant = xx * yy - xy * xy;
    [-(yy * xz - xy * yz) / determinant, -(xx * yz - xy * xz) / determinant, 1.0]
}

/// Radii with weights of a Gauss rule on panels: fine enough for the pattern's finest detail.
fn profile_radii_um(half_width_um: f64, unit_um: f64) -> Vec<(f64, f64)> {
    let count = (4.0 * half_width_um / unit_um).ceil() as usize + 14;
    crate::numeric::gauss::on_interval(count, 0.0, half_width_um).collect()
}

fn check_steps(steps: &FocusSteps, wave_mm: f64) -> Result<Vec<f64>> {
    let (name, given, unit) = match steps {
        FocusSteps::Waves(waves) => ("defocus_waves", waves, 1.0),
        FocusSteps::ShiftMm(shift_mm) => ("shift_mm", shift_mm, wave_mm),
    };
    if given.is_empty() {
        return Err(Error::input(name, "nothing", "one distance from focus or more", ""));
    }
    let limit = FARTHEST_WAVES * unit;
    for (k, step) in given.iter().enumerate() {
        if step.is_nan() || step.abs() > limit {
            let allowed = format!("within +-{limit:.3} ({FARTHEST_WAVES} waves of defocus)");
            return Err(Error::input(format!("{name}[{k}]"), step, allowed, "micrometres given?"));
        }
    }
    Ok(given.iter().map(|step| step / unit).collect())
}

fn check_memory(pictures: usize, pixels: usize) -> Result<()> {
    if pictures.saturating_mul(pixels * pixels) <= MOST_NUMBERS {
        return Ok(());
    }
    let mebibytes = pictures as f64 * (pixels as f64).powi(2) * 8.0 / 1_048_576.0;
    let found = format!("{pixels} on a side of {pictures} pictures ({mebibytes:.0} MiB)");
    Err(Error::input("pixels", found, "a strip of at most 128 MiB", ""))
}

impl ThroughFocus {
    /// The words for the side of focus on which a picture lies.
    ///
    /// ```
    /// use catoptric::{FocusSteps, Indexing, PsfSize, Spectrum, Wavefront};
    /// let perfect = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(8.0), 550.0)?;
    /// let size = PsfSize { pixels: 9, ..PsfSize::default() };
    /// let strip = perfect.through_focus(&FocusSteps::Waves(vec![-1.0, 0.0, 1.0]), size, &Spectrum::line(550.0)?)?;
    /// assert_eq!([0, 1, 2].map(|k| strip.side(k)), ["inside focus", "in focus", "outside focus"]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn side(&self, picture: usize) -> &'static str {
        let waves = self.defocus_waves[picture];
        if waves.abs() < 1e-6 {
            "in focus"
        } else if waves < 0.0 {
            "inside focus"
        } else {
            "outside focus"
        }
    }
}
