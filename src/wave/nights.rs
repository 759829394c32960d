//! On how many nights a change of the telescope would show through the air.

use std::f64::consts::TAU;

use ndarray::Axis;
use serde::{Deserialize, Serialize};

use super::otf;
use super::seeing::Seeing;
use super::wavefront::Wavefront;
use crate::error::{Error, Result};
use crate::numeric::{gauss, pool, sums};
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM, UM_PER_MM};

/// Half width of the star's picture behind a contrast, in wavelengths times focal ratio, and its spacing.
const HALF_WIDTH: f64 = 100.0;
const SPACING: f64 = 0.45;
/// What a contrast from such a picture is good to but for the light beyond it.
const CONTRAST_ERROR: f64 = 1e-4;
/// Details that are looked at, as shares of the telescope's finest.
const DETAILS: usize = 60;
/// Frequencies of the integral behind a peak.
const FREQUENCIES: usize = 80;
const MOST_NIGHTS: usize = 10_000;

/// When a change counts as seen.
///
/// Source: common practice, no source. A twentieth of full contrast turns a marking of 20 % into one that differs by 1
/// %, about what a trained eye tells side by side; a tenth of the star's peak is 0.1 mag, about what an eye tells of
/// two stars. Neither is a law: give your own.
///
/// ```
/// assert_eq!(catoptric::ShowsWhen::default().contrast_change, 0.05);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShowsWhen {
    /// Least change of contrast at any detail, of full contrast.
    pub contrast_change: f64,
    /// Least change of the star's peak, as a share of the larger of the two.
    pub peak_change: f64,
}

impl Default for ShowsWhen {
    fn default() -> Self {
        Self { contrast_change: 0.05, peak_change: 0.1 }
    }
}

/// On which nights a change of the telescope would show, night by night.
///
/// Units: arcsec for the seeing (long exposure, at the zenith, at 550 nm) and for the detail, the length of one cycle
/// of light and dark lines; contrasts and peaks are shares of what full contrast and the perfect star without air
/// have.
/// Shapes: one entry a night.
/// Method: contrasts from the exact transfer function, at 59 even details along and across, times the seeing's transfer; the
/// peak, at the reference point, as the integral over all details and directions of a star's picture that reaches out to 100
/// wavelengths times focal ratio, scaled by the pupil's own energy.
/// Leaves out: what [`Seeing`] leaves out; patterns that lie aslant. Contrasts are good to 1e-5 and peaks to 1e-3 of themselves.
/// Where the exact transfer function does not settle, as with a rough map of heights, contrasts come from the picture too and are
/// good to the light beyond it, about 2e-3; `error_estimate` says which.
///
/// ```
/// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, ShowsWhen, Train, TurnedEdge, nights_that_show};
/// let wave = |mirror: Primary| {
///     let telescope = Prepared::new(&Train::builder(mirror).build()?);
///     telescope.wavefront(Field::AXIS, Focus::Peak, 550.0)
/// };
/// let mirror = Primary::new(318.0, FocalLengthMm(1558.0));
/// let (before, after) = (wave(mirror.clone().conic(-0.85))?, wave(mirror)?);
/// let nights = nights_that_show(&before, &after, &[0.5, 1.0, 4.0], ShowsWhen::default())?;
/// assert!(nights.shows[0] && !nights.shows[2] && nights.count() < 3);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NightsThatShow {
    /// The nights, as given.
    pub fwhm_arcsec: Vec<f64>,
    /// The largest change of contrast over details, after less before.
    pub contrast_change: Vec<f64>,
    /// Length of a cycle where it is largest, arcsec.
    pub detail_arcsec: Vec<f64>,
    /// The star's peak before, of the perfect star's without air.
    pub peak_before: Vec<f64>,
    /// The star's peak after.
    pub peak_after: Vec<f64>,
    /// Whether the change would show.
    pub shows: Vec<bool>,
    /// When it counts as seen.
    pub shows_when: ShowsWhen,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Estimated largest error of a change of contrast: all light beyond both pictures.
    pub error_estimate: f64,
}

/// On which of some nights a change of the telescope would show.
///
/// Units: arcsec, full width at half maximum of the long exposure at the zenith and at 550 nm.
/// Errors: [`Error::Input`] for no nights or more than 10 000, for widths that cannot be, wavefronts of different
/// wavelengths or of given coefficients, criteria outside 0 to 1; [`Error::NotConverged`].
///
/// ```
/// use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, ShowsWhen, Train, nights_that_show};
/// let telescope = Prepared::new(&Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?);
/// let wave = telescope.wavefront(Field::AXIS, Focus::Peak, 550.0)?;
/// let same = nights_that_show(&wave, &wave, &[1.0], ShowsWhen::default())?;
/// assert_eq!((same.count(), same.contrast_change[0]), (0, 0.0));
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn nights_that_show(
    before: &Wavefront,
    after: &Wavefront,
    fwhm_arcsec: &[f64],
    shows_when: ShowsWhen,
) -> Result<NightsThatShow> {
    let nights = checked(before, after, fwhm_arcsec, shows_when)?;
    let wavelength_nm = before.wavelength_nm;
    let cut_off = cut_off_per_arcsec(before).max(cut_off_per_arcsec(after));
    let cycles: Vec<f64> = (1..DETAILS).map(|i| cut_off * i as f64 / DETAILS as f64).collect();
    let [before, after] = [Sight::new(before, &cycles)?, Sight::new(after, &cycles)?];
    let night = |i: usize| {
        let air = &nights[i];
        let (mut change, mut detail) = (0.0_f64, f64::INFINITY);
        for (k, &c) in cycles.iter().enumerate() {
            for direction in 0..2 {
                let telescope = after.contrasts[k][direction] - before.contrasts[k][direction];
                let combined = air.transfer_at(c * after.baseline_mm, wavelength_nm) * telescope;
                if combined.abs() > change.abs() {
                    (change, detail) = (combined, 1.0 / c);
                }
            }
        }
        // Two telescopes that are alike differ nowhere; any detail will do.
        let detail = if detail.is_finite() { detail } else { 1.0 / cycles[0] };
        (change, detail, before.peak(air, wavelength_nm), after.peak(air, wavelength_nm))
    };
    let found = pool::map_ordered(nights.len(), true, night);
    let shows = |&(change, _, before, after): &(f64, f64, f64, f64)| {
        change.abs() >= shows_when.contrast_change
            || (after - before).abs() >= shows_when.peak_change * before.max(after)
    };
    Ok(NightsThatShow {
        fwhm_arcsec: fwhm_arcsec.to_vec(),
        contrast_change: found.iter().map(|n| n.0).collect(),
        detail_arcsec: found.iter().map(|n| n.1).collect(),
        peak_before: found.iter().map(|n| n.2).collect(),
        peak_after: found.iter().map(|n| n.3).collect(),
        shows: found.iter().map(shows).collect(),
        shows_when,
        wavelength_nm,
        error_estimate: before.error + after.error,
    })
}

fn checked(
    before: &Wavefront,
    after: &Wavefront,
    fwhm_arcsec: &[f64],
    shows_when: ShowsWhen,
) -> Result<Vec<Seeing>> {
    if !(1..=MOST_NIGHTS).contains(&fwhm_arcsec.len()) {
        return Err(Error::input("fwhm_arcsec", fwhm_arcsec.len(), format!("1 to {MOST_NIGHTS} nights"), ""));
    }
    if before.wavelength_nm.to_bits() != after.wavelength_nm.to_bits() {
        let found = format!("{} nm beside {} nm", after.wavelength_nm, before.wavelength_nm);
        return Err(Error::input("after", found, "wavefronts of one wavelength", ""));
    }
    for (field, value) in
        [("least_contrast_change", shows_when.contrast_change), ("least_peak_change", shows_when.peak_change)]
    {
        if !(value > 0.0 && value <= 1.0) {
            return Err(Error::input(field, value, "a share above 0 and up to 1", "per cent?"));
        }
    }
    let night = |(i, &fwhm): (usize, &f64)| {
        Seeing::from_fwhm(fwhm, crate::units::DEFAULT_WAVELENGTH_NM, 0.0).map_err(|e| match e.problems() {
            [only] => Error::input(format!("fwhm_arcsec[{i}]"), fwhm, &only.allowed, &only.cause),
            _ => e,
        })
    };
    fwhm_arcsec.iter().enumerate().map(night).collect()
}

/// What a telescope makes of details without air.
struct Sight {
    /// Frequencies at which the mean over all directions is known, cycles for each arcsec, with the weights of their
    /// integral.
    around: Vec<(f64, f64)>,
    /// The mean over all directions of the transfer function, real part.
    mean: Vec<f64>,
    /// Contrast along and across at the frequencies asked for, with its estimated error.
    contrasts: Vec<[f64; 2]>,
    error: f64,
    /// The baseline for one cycle for each arcsec, mm.
    baseline_mm: f64,
    /// From the integral of mean times frequency to the peak.
    scale: f64,
}

impl Sight {
    fn new(wave: &Wavefront, cycles_per_arcsec: &[f64]) -> Result<Self> {
        let unit_um = wave.wavelength_nm / 1000.0 * wave.image_focal_ratio()?;
        let half = (HALF_WIDTH / SPACING) as usize;
        let spacing_um = SPACING * unit_um;
        let axis_um: Vec<f64> = (0..=2 * half).map(|i| (i as f64 - half as f64) * spacing_um).collect();
        let whole = wave.whole_star(&axis_um, HALF_WIDTH * 2.0_f64.sqrt() * unit_um)?;
        let star = whole.image;
        let um_per_arcsec = wave.image_distance_mm()? * UM_PER_MM / ARCSEC_PER_RADIAN;
        let share = spacing_um * spacing_um / whole.whole_um2;
        let lines = |axis: usize| -> Vec<f64> {
            star.lanes(Axis(axis)).into_iter().map(|lane| sums::pairwise(&lane.to_vec())).collect()
        };
        // Summed across, the light along; and the other way round.
        let projections = [lines(0), lines(1)];
        let contrast = |line: &[f64], cycles: f64| {
            let turn = TAU * cycles / um_per_arcsec;
            let part = |f: fn(f64) -> f64| -> Vec<f64> {
                line.iter().zip(&axis_um).map(|(light, x)| light * f(turn * x)).collect()
            };
            share * sums::pairwise(&part(f64::cos)).hypot(sums::pairwise(&part(f64::sin)))
        };
        // The exact contrasts, or where they do not settle the picture's.
        let frequency_per_mm: Vec<f64> =
            cycles_per_arcsec.iter().map(|c| c / um_per_arcsec * UM_PER_MM).collect();
        let (contrasts, error) = match otf::contrasts(wave, &frequency_per_mm) {
            Ok(exact) => exact,
            Err(Error::NotConverged { .. }) => {
                let pictured =
                    cycles_per_arcsec.iter().map(|&c| [0, 1].map(|d| contrast(&projections[d], c)));
                // No pattern holds more than all light beyond the picture.
                (
                    pictured.collect(),
                    CONTRAST_ERROR + (1.0 - share * sums::pairwise(&projections[0])).max(0.0),
                )
            }
            Err(other) => return Err(other),
        };
        // All pixels that are as far from the reference point count together.
        let mut rings = vec![0.0; 2 * half * half + 1];
        for ((i, j), light) in star.indexed_iter() {
            rings[i.abs_diff(half).pow(2) + j.abs_diff(half).pow(2)] += light;
        }
        let rings: Vec<(f64, f64)> = rings
            .into_iter()
            .enumerate()
            .filter(|(_, light)| *light > 0.0)
            .map(|(square, light)| (spacing_um * (square as f64).sqrt(), light))
            .collect();
        let around: Vec<(f64, f64)> =
            gauss::on_interval(FREQUENCIES, 0.0, um_per_arcsec / (unit_um * 0.99)).collect();
        let mean_at = |i: usize| {
            let turn = TAU * around[i].0 / um_per_arcsec;
            let terms: Vec<f64> = rings.iter().map(|(r, light)| light * libm::j0(turn * r)).collect();
            share * sums::pairwise(&terms)
        };
        Ok(Self {
            mean: pool::map_ordered(around.len(), true, mean_at),
            contrasts,
            error,
            baseline_mm: wave.wavelength_nm / NM_PER_MM * wave.mean_distance_mm() * UM_PER_MM / um_per_arcsec,
            scale: TAU * whole.whole_um2 / (um_per_arcsec * um_per_arcsec),
            around,
        })
    }

    /// The intensity at the reference point through the air.
    fn peak(&self, air: &Seeing, wavelength_nm: f64) -> f64 {
        let terms = self.around.iter().zip(&self.mean).map(|(&(cycles, weight), mean)| {
            weight * cycles * mean * air.transfer_at(cycles * self.baseline_mm, wavelength_nm)
        });
        self.scale * sums::pairwise(&terms.collect::<Vec<_>>())
    }
}

/// Where the telescope's contrast ends, cycles for each arcsec.
fn cut_off_per_arcsec(wave: &Wavefront) -> f64 {
    2.0 * wave.source.rim() / (wave.wavelength_nm / NM_PER_MM) / ARCSEC_PER_RADIAN
}

impl NightsThatShow {
    /// How many of the nights show the change.
    ///
    /// ```
    /// # use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, ShowsWhen, Train, nights_that_show};
    /// # let telescope = Prepared::new(&Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?);
    /// # let wave = telescope.wavefront(Field::AXIS, Focus::Peak, 550.0)?;
    /// assert_eq!(nights_that_show(&wave, &wave, &[1.0, 2.0], ShowsWhen::default())?.count(), 0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn count(&self) -> usize {
        self.shows.iter().filter(|s| **s).count()
    }

    /// The finding in words.
    ///
    /// ```
    /// # use catoptric::{Field, Focus, FocalLengthMm, Prepared, Primary, ShowsWhen, Train, nights_that_show};
    /// # let telescope = Prepared::new(&Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?);
    /// # let wave = telescope.wavefront(Field::AXIS, Focus::Peak, 550.0)?;
    /// let words = nights_that_show(&wave, &wave, &[1.0, 2.0], ShowsWhen::default())?.words();
    /// assert!(words.starts_with("The change would show on none of the 2 nights"));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn words(&self) -> String {
        let (count, nights) = (self.count(), self.shows.len());
        let on = match (count, nights) {
            (0, 1) => "not show on the one night".to_owned(),
            (1, 1) => "show on the one night".to_owned(),
            (0, _) => format!("show on none of the {nights} nights"),
            (c, n) if c == n => format!("show on all of the {nights} nights"),
            _ => format!("show on {count} of the {nights} nights"),
        };
        let shown = self.fwhm_arcsec.iter().zip(&self.shows);
        let worst = shown.clone().filter(|(_, s)| **s).map(|(f, _)| *f).fold(0.0, f64::max);
        let up_to = if count > 0 && count < nights {
            format!(", up to a seeing of {worst:.1} arcsec")
        } else {
            String::new()
        };
        let best = (0..nights)
            .max_by(|&a, &b| self.contrast_change[a].abs().total_cmp(&self.contrast_change[b].abs()))
            .unwrap_or(0);
        let change = self.contrast_change[best];
        let largest = if change.abs() > self.error_estimate {
            let kind = if change > 0.0 { "gain" } else { "loss" };
            format!(
                " The largest {kind} of contrast is {:.3}, at details of {:.2} arcsec in a seeing of {:.1} \
                 arcsec.",
                change.abs(),
                self.detail_arcsec[best],
                self.fwhm_arcsec[best]
            )
        } else {
            " No contrast changes by more than its error.".to_owned()
        };
        format!(
            "The change would {on}{up_to}: counted are nights on which the contrast at some detail changes \
             by {} or more, or the star's peak by {} or more of itself.{largest}",
            self.shows_when.contrast_change, self.shows_when.peak_change
        )
    }
}
