//! A star as it is seen through the air: the telescope's image, spread by the seeing.

use std::f64::consts::{PI, TAU};

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::image::check_pixels;
use super::seeing::Seeing;
use super::spectrum::Spectrum;
use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::bicubic::Bicubic;
use crate::numeric::{convolve, gauss, pool, roots, sums};
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM, UM_PER_MM};

/// Widest picture of the star itself, from the middle to its edge, in wavelengths times focal ratio.
const WIDEST: f64 = 190.0;
/// Widest picture that is handed out, so that room is left for light that comes in from outside.
const WIDEST_SHOWN: f64 = 120.0;
/// Widest spacing of the star's own samples, in wavelengths times focal ratio; its finest detail needs 0.5.
const SPACING: f64 = 0.35;
const MOST_PIXELS: usize = 2048;
/// The picture lies in a dark one of at least this many widths of the seeing, or twice its own size.
const DARK_AROUND: f64 = 16.0;

/// How large a picture of a star in seeing is.
///
/// Units: um from the reference point to the picture's edge; nothing given means three widths of the blurred star.
///
/// ```
/// assert_eq!(catoptric::SeenSize::default().pixels, 129);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SeenSize {
    /// From the centre to the picture's edge, um.
    pub half_width_um: Option<f64>,
    /// Pixels on a side; an odd number puts one on the reference point.
    pub pixels: usize,
}

impl Default for SeenSize {
    fn default() -> Self {
        Self { half_width_um: None, pixels: 129 }
    }
}

/// The image of a star through telescope and air: intensity over that of the perfect star's peak without any seeing.
///
/// Units: um in the focal plane, about the reference point; `along` positive toward the sky end; arcsec where it says
/// so.
/// Shapes: `image[[i, j]]`, row i at `across_um[i]`, column j at `along_um[j]`.
/// Method: the telescope's image from the exact pupil integral, sampled finer than its own limit asks for and out to
/// where the seeing's disc has faded, filtered with the seeing's transfer function; scaled by the pupil's own energy,
/// never by the sum of a picture.
/// Leaves out: what [`Seeing`] leaves out; that the zones of a fast paraboloid map the sky to the image at slightly
/// different scales, of which the mean is taken: 0.026/F^2 of the peak (1e-3 at f/5), and a disc wider in um by 1/(16
/// F^2) than the focal length alone makes it; light of the star beyond the picture it is filtered in, whose largest
/// effect stands in `error_estimate`; the pixel's own width. A long exposure is round for a star that is; a single
/// short one is a heap of speckles, of which this is the mean.
///
/// ```
/// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, Seeing, SeenSize, Train};
/// let train = Train::builder(Primary::new(150.0, FocalLengthMm(1200.0))).build()?;
/// let wave = Prepared::new(&train).wavefront(Field::AXIS, Focus::LeastRms, 550.0)?;
/// let seen = wave.in_seeing(&Seeing::from_fwhm(2.0, 550.0, 0.0)?, SeenSize::default(), None)?;
/// assert!(seen.fwhm_arcsec > 2.0 && seen.fwhm_arcsec < 2.3, "the seeing and a little of the telescope");
/// assert!((0.1..0.3).contains(&seen.peak));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(try_from = "SeenRecipe", into = "SeenRecipe")]
pub struct SeenStar {
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
    /// Intensity at the reference point.
    pub at_reference: f64,
    /// Full width at half of the peak, um: the mean over sixteen directions by the peak.
    pub fwhm_um: f64,
    /// The same on the sky, arcsec.
    pub fwhm_arcsec: f64,
    /// Width on the sky of one um, arcsec.
    pub arcsec_per_um: f64,
    /// Estimated largest error of the intensity, as a share of the perfect star's peak.
    pub error_estimate: f64,
    /// The air.
    pub seeing: Seeing,
    /// The wavefront behind the picture.
    pub wavefront: Wavefront,
    /// The colours; nothing for the wavefront's own wavelength alone.
    pub spectrum: Option<Spectrum>,
    size: SeenSize,
    net: Net,
}

/// What a star in seeing is made again from.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SeenRecipe {
    wavefront: Wavefront,
    seeing: Seeing,
    size: SeenSize,
    spectrum: Option<Spectrum>,
}

impl TryFrom<SeenRecipe> for SeenStar {
    type Error = Error;

    fn try_from(r: SeenRecipe) -> Result<Self> {
        r.wavefront.in_seeing(&r.seeing, r.size, r.spectrum.as_ref())
    }
}

impl From<SeenStar> for SeenRecipe {
    fn from(s: SeenStar) -> Self {
        Self { wavefront: s.wavefront, seeing: s.seeing, size: s.size, spectrum: s.spectrum }
    }
}

/// Stars in seeing are equal where the same wavefront is seen through the same air in the same size.
impl PartialEq for SeenStar {
    fn eq(&self, other: &Self) -> bool {
        self.wavefront == other.wavefront
            && self.seeing == other.seeing
            && self.size == other.size
            && self.spectrum == other.spectrum
    }
}

/// The filtered picture on its fine and wide net, with the whole plane's energy.
#[derive(Clone, Debug)]
struct Net {
    values: Array2<f64>,
    surface: Bicubic,
    spacing_um: f64,
    half_width_um: f64,
    whole_um2: f64,
}

impl Net {
    fn at(&self, along_um: f64, across_um: f64) -> f64 {
        let middle = 0.5 * (self.values.nrows() - 1) as f64;
        let place = |x_um: f64| (x_um / self.spacing_um + middle).clamp(0.0, 2.0 * middle);
        self.surface.value_and_slopes(place(across_um), place(along_um)).0
    }
}

/// The sizes of the net.
struct Plan {
    pixel_um: f64,
    shown_um: f64,
    /// Samples from one pixel to the next.
    steps: usize,
    spacing_um: f64,
    half_width_um: f64,
    /// From a pixel that is shown to the net's edge, at least.
    margin_um: f64,
    /// Dark samples around the net.
    dark: usize,
}

impl Wavefront {
    /// The image of the star through the air, in single light or over a spectrum, about this wavefront's own reference
    /// point.
    ///
    /// Units: um.
    /// Errors: [`Error::Input`] for sizes that cannot be, and for a wavefront of given coefficients, whose telescope
    /// has no size; [`Error::NotConverged`].
    ///
    /// ```
    /// use catoptric::{Indexing, Seeing, SeenSize, Wavefront};
    /// let wave = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0)?;
    /// assert!(wave.in_seeing(&Seeing::from_fwhm(1.0, 550.0, 0.0)?, SeenSize::default(), None).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn in_seeing(
        &self,
        seeing: &Seeing,
        size: SeenSize,
        spectrum: Option<&Spectrum>,
    ) -> Result<SeenStar> {
        let focal_mm = self.image_distance_mm()?;
        let (waves, shares) = match spectrum {
            None => (vec![self.clone()], vec![1.0]),
            Some(spectrum) => (self.in_colours(spectrum)?, spectrum.peak_shares()),
        };
        let plan = plan(&waves, seeing, focal_mm, size)?;
        let layer = |i: usize| filtered(&waves[i], seeing, focal_mm, &plan);
        let layers: Vec<Layer> =
            pool::map_ordered(waves.len(), true, layer).into_iter().collect::<Result<_>>()?;
        let mut values = Array2::zeros(layers[0].values.dim());
        let (mut whole_um2, mut error_estimate) = (0.0, 0.0);
        for (layer, share) in layers.iter().zip(&shares) {
            values.scaled_add(*share, &layer.values);
            whole_um2 += share * layer.whole_um2;
            error_estimate += share * layer.error;
        }
        let net = Net {
            surface: Bicubic::through(&values),
            values,
            spacing_um: plan.spacing_um,
            half_width_um: plan.half_width_um,
            whole_um2,
        };
        let (axis_um, image) = shown(&net, &plan, size.pixels);
        let (peak_um, peak) = summit(&net, plan.shown_um);
        let fwhm_um = width_um(&net, peak_um, peak)?;
        let arcsec_per_um = ARCSEC_PER_RADIAN / (focal_mm * UM_PER_MM);
        Ok(SeenStar {
            image,
            pixel_um: plan.pixel_um,
            across_um: axis_um.clone(),
            along_um: axis_um,
            peak,
            peak_um,
            at_reference: net.at(0.0, 0.0),
            fwhm_um,
            fwhm_arcsec: fwhm_um * arcsec_per_um,
            arcsec_per_um,
            error_estimate,
            seeing: *seeing,
            wavefront: self.clone(),
            spectrum: spectrum.cloned(),
            size,
            net,
        })
    }

    /// Millimetres of the pupil for a unit of the conjugate coordinate in the image, the mean over the light: the
    /// focal length times about 1 + (1 + e^2)/(16 F^2), because a paraboloid's outer zones have a longer focal length.
    pub(crate) fn mean_distance_mm(&self) -> f64 {
        let pupil = &self.pupil;
        let light: Vec<f64> = pupil.weight.iter().zip(&pupil.amplitude).map(|(w, a)| w * a * a).collect();
        let areas: Vec<f64> = pupil.spread(self.reference_mm).iter().map(|spread| 1.0 / spread).collect();
        (sums::dot(&light, &areas) / sums::pairwise(&light)).sqrt()
    }

    /// The distance of the image, which scales the sky; refused for given coefficients.
    pub(crate) fn image_distance_mm(&self) -> Result<f64> {
        let allowed = "the wavefront of a train, whose size against the air's is known";
        let refused = || Error::input("wavefront", "given coefficients", allowed, "");
        self.source.image_distance_mm().ok_or_else(refused)
    }
}

fn plan(waves: &[Wavefront], seeing: &Seeing, focal_mm: f64, size: SeenSize) -> Result<Plan> {
    let um_per_arcsec = focal_mm * UM_PER_MM / ARCSEC_PER_RADIAN;
    let (mut shortest, mut longest, mut blur_um) = (f64::INFINITY, 0.0_f64, 0.0_f64);
    for wave in waves {
        let unit_um = wave.wavelength_nm / 1000.0 * wave.image_focal_ratio()?;
        (shortest, longest) = (shortest.min(unit_um), longest.max(unit_um));
        blur_um = blur_um.max(seeing.fwhm_arcsec(wave.wavelength_nm) * um_per_arcsec);
    }
    let most_um = WIDEST_SHOWN * shortest;
    check_pixels(size.pixels, MOST_PIXELS)?;
    let given = size.half_width_um.unwrap_or((3.0 * blur_um.hypot(longest)).min(most_um));
    if !(given > 0.0 && given <= most_um * (1.0 + 1e-12)) {
        let allowed = format!("above 0 and up to {most_um:.0} um (120 wavelengths times focal ratio)");
        return Err(Error::input("half_width_um", given, allowed, "nanometres or arcseconds?"));
    }
    let pixel_um = 2.0 * given / size.pixels as f64;
    let least = (pixel_um / (SPACING * shortest)).ceil().max(1.0) as usize;
    // Pixels of an even count lie between the net's points unless two steps make one pixel.
    let steps = if size.pixels.is_multiple_of(2) { least.next_multiple_of(2) } else { least };
    let spacing_um = pixel_um / steps as f64;
    let room_um = (WIDEST * shortest - given).max(0.0);
    let margin_um = (2.5 * blur_um).max(12.0 * longest).min(room_um);
    let half = ((given + margin_um) / spacing_um).ceil() as usize;
    let half_width_um = half as f64 * spacing_um;
    let dark_um = (DARK_AROUND * blur_um - 2.0 * half_width_um).max(2.0 * half_width_um);
    let dark = (0.5 * dark_um / spacing_um).ceil() as usize;
    let side = 2 * (half + dark) + 1;
    if side > 3 * MOST_PIXELS {
        let mebibytes = (side as f64).powi(2) * 16.0 / 1_048_576.0;
        let found =
            format!("{} of {pixel_um:.2e} um (a net of {side} x {side}, {mebibytes:.0} MiB)", size.pixels);
        let allowed =
            "pixels so large that the net behind the picture has no more than 6144 points on a side";
        return Err(Error::input("pixels", found, allowed, "fewer pixels, or a wider picture"));
    }
    Ok(Plan { pixel_um, shown_um: given, steps, spacing_um, half_width_um, margin_um, dark })
}

/// The star of one wavelength, filtered.
struct Layer {
    values: Array2<f64>,
    whole_um2: f64,
    error: f64,
}

fn filtered(wave: &Wavefront, seeing: &Seeing, focal_mm: f64, plan: &Plan) -> Result<Layer> {
    let half = (plan.half_width_um / plan.spacing_um).round() as usize;
    let axis_um: Vec<f64> = (0..=2 * half).map(|i| (i as f64 - half as f64) * plan.spacing_um).collect();
    let star = wave.whole_star(&axis_um, plan.half_width_um * 2.0_f64.sqrt())?;
    // Cycles for each sample, over samples for each um, times wavelength and distance: the baseline in the pupil.
    let baseline_mm = wave.wavelength_nm / NM_PER_MM * wave.mean_distance_mm() * UM_PER_MM / plan.spacing_um;
    let transfer = |x: f64, y: f64| (seeing.transfer_at(x.hypot(y) * baseline_mm, wave.wavelength_nm), 0.0);
    let values = convolve::filtered(&star.image, plan.dark, transfer);
    let cell_um2 = plan.spacing_um * plan.spacing_um;
    let held_um2 = cell_um2 * sums::pairwise(&star.image.iter().copied().collect::<Vec<_>>());
    let um_per_arcsec = focal_mm * UM_PER_MM / ARCSEC_PER_RADIAN;
    let disc_per_um2 = |distance_um: f64| {
        seeing.disc_per_arcsec2(distance_um / um_per_arcsec, wave.wavelength_nm) / um_per_arcsec.powi(2)
    };
    // Light from outside the net is further off than the margin. What the filter takes around the dark frame comes
    // from the four nearest copies of the star, and from half as much further out.
    let outside_um2 = (star.whole_um2 - held_um2).max(0.0);
    let around_um = (2 * (half + plan.dark) + 1) as f64 * plan.spacing_um - plan.shown_um;
    let error = star.error
        + outside_um2 * disc_per_um2(plan.margin_um)
        + 1.5 * star.whole_um2 * (disc_per_um2(around_um) + 3.0 * disc_per_um2(around_um + plan.shown_um));
    Ok(Layer { values, whole_um2: star.whole_um2, error })
}

/// The pixels that are handed out.
fn shown(net: &Net, plan: &Plan, pixels: usize) -> (Vec<f64>, Array2<f64>) {
    let middle = (net.values.nrows() - 1) / 2;
    // In half pixels from the middle, so that an even count stays whole.
    let place = |i: usize| (2 * i + 1) as i64 - pixels as i64;
    let index = |i: usize| (middle as i64 + place(i) * plan.steps as i64 / 2) as usize;
    let axis_um = (0..pixels).map(|i| place(i) as f64 / 2.0 * plan.pixel_um).collect();
    (axis_um, Array2::from_shape_fn((pixels, pixels), |(i, j)| net.values[[index(i), index(j)]]))
}

/// The brightest point of the net within the part that is shown.
fn summit(net: &Net, shown_um: f64) -> ([f64; 2], f64) {
    let middle = 0.5 * (net.values.nrows() - 1) as f64;
    let at_um = |i: usize| (i as f64 - middle) * net.spacing_um;
    let mut best = (f64::NEG_INFINITY, [0.0; 2]);
    for ((i, j), &value) in net.values.indexed_iter() {
        let place = [at_um(j), at_um(i)];
        if value > best.0 && place.iter().all(|p| p.abs() <= shown_um) {
            best = (value, place);
        }
    }
    let [mut x, mut y] = best.1;
    let reach = 1.5 * net.spacing_um;
    for _ in 0..6 {
        let before = [x, y];
        x = roots::maximum(|x| net.at(x, y), x - reach, x + reach, 1e-6 * net.spacing_um).0;
        y = roots::maximum(|y| net.at(x, y), y - reach, y + reach, 1e-6 * net.spacing_um).0;
        if (x - before[0]).hypot(y - before[1]) < 1e-5 * net.spacing_um {
            break;
        }
    }
    ([x, y], net.at(x, y))
}

/// Full width at half of the peak, um: the mean over sixteen directions.
fn width_um(net: &Net, peak_um: [f64; 2], peak: f64) -> Result<f64> {
    let farthest_um = net.half_width_um - peak_um[0].abs().max(peak_um[1].abs());
    let in_direction = |i: u32| {
        let (sin, cos) = (TAU * f64::from(i) / 16.0).sin_cos();
        let above = |r: f64| net.at(peak_um[0] + r * cos, peak_um[1] + r * sin) - peak / 2.0;
        let steps = (farthest_um / net.spacing_um).max(0.0) as usize;
        roots::first_fall(above, net.spacing_um, steps, 1e-9 * net.spacing_um)
    };
    let radii: Option<Vec<f64>> = (0..16).map(in_direction).collect();
    let radii = radii.ok_or(Error::NotConverged {
        what: "the width of the star in seeing",
        reached: farthest_um,
        wanted: net.half_width_um,
    })?;
    Ok(2.0 * sums::pairwise(&radii) / radii.len() as f64)
}

impl SeenStar {
    /// Share of the star's light within each radius about the reference point.
    ///
    /// Units: um. Shapes: one share for each radius.
    /// Errors: [`Error::Input`] for radii that are negative, not finite, or beyond the net behind the picture
    /// (at least the picture's half width).
    /// Method: the filtered picture through a bicubic surface, by rings; the whole by Parseval's theorem over the
    /// pupil. Good to 1e-4 and the error of the picture.
    ///
    /// ```
    /// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, Seeing, SeenSize, Train};
    /// let train = Train::builder(Primary::new(150.0, FocalLengthMm(1200.0))).build()?;
    /// let wave = Prepared::new(&train).wavefront(Field::AXIS, Focus::LeastRms, 550.0)?;
    /// let seen = wave.in_seeing(&Seeing::from_fwhm(2.0, 550.0, 0.0)?, SeenSize::default(), None)?;
    /// let held = seen.encircled_energy(&[0.0, 6.0, 30.0])?;
    /// assert!(held[0] == 0.0 && held[1] < 0.5 && held[2] > 0.9 && held[2] < 1.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn encircled_energy(&self, radius_um: &[f64]) -> Result<Vec<f64>> {
        for (i, &radius) in radius_um.iter().enumerate() {
            if !(0.0..=self.net.half_width_um).contains(&radius) {
                let allowed = format!("from 0 to {:.1} um", self.net.half_width_um);
                return Err(Error::input(format!("radius_um[{i}]"), radius, allowed, "a wider picture?"));
            }
        }
        Ok(radius_um.iter().map(|&radius| self.energy_within(radius) / self.net.whole_um2).collect())
    }

    fn energy_within(&self, radius_um: f64) -> f64 {
        // A ring's spacing and the distance of its points are no more than the net's.
        let rings = 8 + (2.0 * radius_um / self.net.spacing_um) as usize;
        let terms = gauss::on_interval(rings, 0.0, radius_um).map(|(r, weight)| {
            let points = 16 + (TAU * r / self.net.spacing_um) as usize;
            let around = (0..points).map(|i| {
                let (sin, cos) = (TAU * (i as f64 + 0.5) / points as f64).sin_cos();
                self.net.at(r * cos, r * sin)
            });
            weight * 2.0 * PI * r * around.sum::<f64>() / points as f64
        });
        sums::pairwise(&terms.collect::<Vec<_>>())
    }

    /// The wavelength, nm; the mean one of a spectrum.
    pub fn wavelength_nm(&self) -> f64 {
        self.spectrum.as_ref().map_or(self.wavefront.wavelength_nm, Spectrum::mean_nm)
    }
}
