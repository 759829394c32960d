//! The record of a sweep of masks, and its making.

use std::sync::atomic::{AtomicUsize, Ordering};

use serde::{Deserialize, Serialize};

use super::advice;
use super::of_figure;
use super::of_train;
use super::options::MaskOptions;
use crate::error::{Error, Result};
use crate::judge::evidence::Evidence;
use crate::model::Train;
use crate::shop_test::{FigureEstimate, Interval};
use crate::trace::obstruction_ratio;
use crate::units::DEFAULT_WAVELENGTH_NM;

/// What is masked: a train as it stands, or a figure with all that its readings leave open.
///
/// With a figure the train, if there is one, gives the shadow, the coating and the vanes; its own figure does not
/// count.
///
/// ```
/// use catoptric::{FocalLengthMm, MaskSubject, Primary, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// assert_eq!(MaskSubject::from(&train).clear_aperture_mm(), 200.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MaskSubject {
    /// A train with all its parts.
    Train(Box<Train>),
    /// A figure estimated from readings, and perhaps the train that its mirror stands in.
    Figure {
        /// The figure.
        figure: Box<FigureEstimate>,
        /// The train.
        train: Option<Box<Train>>,
    },
}

impl From<&Train> for MaskSubject {
    fn from(train: &Train) -> Self {
        Self::Train(Box::new(train.clone()))
    }
}

impl From<&FigureEstimate> for MaskSubject {
    fn from(figure: &FigureEstimate) -> Self {
        Self::Figure { figure: Box::new(figure.clone()), train: None }
    }
}

impl From<(&FigureEstimate, &Train)> for MaskSubject {
    fn from((figure, train): (&FigureEstimate, &Train)) -> Self {
        Self::Figure { figure: Box::new(figure.clone()), train: Some(Box::new(train.clone())) }
    }
}

impl MaskSubject {
    /// The figure behind some evidence, in a train if there is one.
    ///
    /// Errors: [`Error::Input`] for numbers on paper: a sheet leaves no figure to mask, and a report's belongs into a
    /// train, as Zernike terms.
    ///
    /// ```
    /// use catoptric::{Evidence, MaskSubject, SurfaceOrWavefront, TestSheet, TestSheetInput};
    /// let sheet = TestSheet::new(TestSheetInput {
    ///     rms_nm: Some(20.0),
    ///     ..TestSheetInput::new(200.0, 200.0, SurfaceOrWavefront::Wavefront, 632.8)
    /// })?;
    /// assert!(MaskSubject::of_evidence(&Evidence::from(&sheet.figure(550.0)?), None).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn of_evidence(evidence: &Evidence, train: Option<&Train>) -> Result<Self> {
        let Some(figure) = evidence.readings() else {
            let cause = "a report's coefficients can be masked as the Zernike terms of a train's primary";
            return Err(Error::input("evidence", evidence.name(), "a figure estimated from readings", cause));
        };
        Ok(Self::Figure { figure: Box::new(figure.clone()), train: train.map(|t| Box::new(t.clone())) })
    }

    /// Clear aperture of the mirror, mm.
    pub fn clear_aperture_mm(&self) -> f64 {
        match self {
            Self::Train(train) => train.primary().clear_aperture_mm,
            Self::Figure { figure, .. } => figure.readings.clear_aperture_mm(),
        }
    }

    /// The steps of a sweep over so many diameters, as its count of what is done goes.
    pub fn steps(&self, diameters: usize, options: &MaskOptions) -> usize {
        match self {
            Self::Train(_) => of_train::steps(diameters),
            Self::Figure { figure, .. } => of_figure::steps(figure.options.draws, diameters, options),
        }
    }

    /// The same of a figure that is not reduced yet, with so many draws.
    ///
    /// ```
    /// use catoptric::{MaskOptions, MaskSubject};
    /// let options = MaskOptions::strehl_alone();
    /// assert!(MaskSubject::steps_of_draws(4000, 9, &options) > MaskSubject::steps_of_draws(500, 9, &options));
    /// ```
    pub fn steps_of_draws(draws: usize, diameters: usize, options: &MaskOptions) -> usize {
        of_figure::steps(draws, diameters, options)
    }
}

/// A quantity: of a train alone its value, of a figure with its uncertainty the median with the interval that holds 95
/// % of the figures that the readings allow.
///
/// ```
/// let value = catoptric::MaskValue { value: 0.9, interval: None };
/// assert_eq!(value.ends(), (0.9, 0.9));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaskValue {
    /// The value, or the median.
    pub value: f64,
    /// The interval; none where there are no draws.
    pub interval: Option<Interval>,
}

impl MaskValue {
    /// A value without an interval.
    pub(super) fn plain(value: f64) -> Self {
        Self { value, interval: None }
    }

    /// The median and the interval of some draws.
    pub(super) fn of(draws: &[f64]) -> Self {
        let found = crate::shop_test::Estimated::of(draws);
        Self { value: found.median, interval: Some(found.total) }
    }

    /// The same times a factor.
    pub(super) fn times(self, factor: f64) -> Self {
        let interval = self.interval.map(|i| Interval { low: factor * i.low, high: factor * i.high, ..i });
        Self { value: factor * self.value, interval }
    }

    /// Both ends of the interval, or the value twice.
    pub fn ends(&self) -> (f64, f64) {
        self.interval.map_or((self.value, self.value), |i| (i.low, i.high))
    }
}

/// What a mirror shows through a mask of one inner diameter, each at its own brightest focus.
///
/// Units: mm, arcsec; shares of 1.
/// Shapes: `contrast`, `contrast_gain` and `seeing_contrast` have one entry for each detail; empty where not computed.
///
/// ```
/// use catoptric::{FocalLengthMm, MaskOptions, Primary, Train, mask_sweep};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let row = &mask_sweep(&train, &[180.0], &MaskOptions::strehl_alone())?.rows[0];
/// assert!((row.light - 0.81).abs() < 1e-9 && (row.strehl.value - 1.0).abs() < 1e-6);
/// assert!((row.peak_brightness.value - 0.81 * 0.81).abs() < 1e-6);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaskRow {
    /// Inner diameter of the mask, mm.
    pub diameter_mm: f64,
    /// Strehl.
    pub strehl: MaskValue,
    /// Light, as a share of that of the open mirror.
    pub light: f64,
    /// Peak of a star's image over that of a perfect figure on the open mirror: Strehl times light squared, where the
    /// coating is even.
    pub peak_brightness: MaskValue,
    /// Strehl times light: the share of the open mirror's light that is where a perfect figure would send it.
    pub core_light: MaskValue,
    /// How far the brightest focus lies from that of the open mirror, mm; positive further from the primary.
    pub focus_shift_mm: f64,
    /// The period beyond which nothing is resolved, wavelength over diameter, arcsec.
    pub cutoff_arcsec: f64,
    /// Full width of a star's image at half of its peak, arcsec.
    pub fwhm_arcsec: Option<MaskValue>,
    /// Contrast of each detail in still air.
    pub contrast: Vec<MaskValue>,
    /// What the mask adds to the contrast of each detail over that of the open mirror, figure by figure.
    pub contrast_gain: Vec<MaskValue>,
    /// Contrast of each detail through the stated air.
    pub seeing_contrast: Vec<MaskValue>,
    /// Share of the light through the mask within the Airy disk of the open mirror without obstruction: one circle for
    /// all diameters.
    pub airy_energy: Option<MaskValue>,
    /// The same within the Airy disk of the masked mirror itself.
    pub own_airy_energy: Option<MaskValue>,
    /// Share of the figures whose Strehl rises by the stated amount or more over that of the open mirror; none without
    /// draws.
    pub probability_rises: Option<f64>,
    /// Share of the figures whose peak brightness rises over that of the open mirror; none without draws.
    pub probability_brighter: Option<f64>,
    /// Share of the figures for which this diameter holds, by the rule of [`MaskSweep::plateau_mm`]; of a train 0 or 1.
    pub holds: f64,
    /// Estimated error of the Strehl.
    pub error_estimate: f64,
}

/// What is left when the recommended mask is on: what a perfect figure would still add.
///
/// Units: shares of 1; mm.
/// Shapes: one entry for each detail.
///
/// ```
/// use catoptric::{FocalLengthMm, MaskOptions, Primary, Train, TurnedEdge, mask_sweep};
/// let mirror = Primary::new(200.0, FocalLengthMm(1200.0)).layer(TurnedEdge::new(4.0, 500.0));
/// let sweep = mask_sweep(&Train::builder(mirror).build()?, &[192.0], &MaskOptions::strehl_alone())?;
/// let left = sweep.left_after_mask.expect("a mask that helps");
/// assert!(left.strehl.value < 0.01 && left.peak_brightness.value > 0.1);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeftAfterMask {
    /// Inner diameter of the mask, mm.
    pub diameter_mm: f64,
    /// Strehl that a perfect figure would add behind the same mask.
    pub strehl: MaskValue,
    /// Contrast that a perfect figure would add behind the same mask.
    pub contrast: Vec<MaskValue>,
    /// Contrast that a perfect figure without a mask has over the figure as it is with the mask.
    pub contrast_full: Vec<MaskValue>,
    /// Peak brightness that a perfect figure without a mask has over the figure as it is with the mask.
    pub peak_brightness: MaskValue,
    /// Contrast that a perfect figure has over the figure as it is, both without a mask.
    pub contrast_unmasked: Vec<MaskValue>,
}

/// What a mask can be, beside a refigure.
///
/// Hardly anything: less than 0.1 of Strehl and less than 0.05 of contrast at each detail; where no details are asked
/// for, less than 0.1 of the peak brightness. Common practice, no source.
///
/// ```
/// assert_eq!(catoptric::MaskAnswer::MaskDoesIt.to_string(), "a mask does it");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MaskAnswer {
    /// A perfect figure would hardly add anything to the open mirror.
    NothingToMend,
    /// Behind the mask a perfect figure without one would hardly add anything.
    MaskDoesIt,
    /// A mask helps for certain, but a perfect figure would add what can be seen.
    MaskHelps,
    /// No mask of the sweep helps for certain.
    Refigure,
}

impl std::fmt::Display for MaskAnswer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::NothingToMend => "nothing to mend",
            Self::MaskDoesIt => "a mask does it",
            Self::MaskHelps => "a mask helps, a refigure would do more",
            Self::Refigure => "no mask helps for certain: refigure",
        })
    }
}

/// A mirror behind masks of several inner diameters.
///
/// The figure stays where it is; the mask takes the edge away from it, and each mask has its own brightest focus. Of a
/// train every number is the exact pupil integral with all its parts. Of a figure estimated from readings each is
/// computed for figures that the readings allow, unseen edges among them, on the round pupil with the shadow.
///
/// Units: mm, arcsec, nm; shares of 1.
/// Shapes: one row for each diameter, in the order given.
/// Leaves out: what is not rotationally symmetric, and of a figure the vanes and an uneven coating except in `light`.
/// Contrast, width and energy of a figure are those of 400 of its draws, with the radius on the mirror taken for the
/// pupil's (see [`crate::Worth`]).
///
/// ```
/// use catoptric::{FocalLengthMm, MaskOptions, Primary, Train, TurnedEdge, mask_sweep};
/// let mirror = Primary::new(200.0, FocalLengthMm(1200.0)).layer(TurnedEdge::new(4.0, 500.0));
/// let train = Train::builder(mirror).build()?;
/// let sweep = mask_sweep(&train, &[200.0, 196.0, 192.0, 188.0], &MaskOptions::strehl_alone())?;
/// assert!(sweep.rows[2].strehl.value > 0.99 && sweep.unmasked.strehl.value < 0.95);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaskSweep {
    /// The mirror without a mask.
    pub unmasked: MaskRow,
    /// The masks.
    pub rows: Vec<MaskRow>,
    /// The diameters of the sweep, from the smallest to the largest in a row, that hold for 95 % of the figures; none
    /// where none does.
    ///
    /// A diameter holds for a figure if its Strehl is not below that of the open mirror by more than 0.002, and if its
    /// core light comes within 0.05 of the best that any diameter of the sweep, or no mask, gives for this figure.
    /// Common practice, no source.
    pub plateau_mm: Option<(f64, f64)>,
    /// The diameter to take: of the plateau's whose core light shows no difference from the best (0.005) the one that
    /// holds for the most figures, of those alike the widest; none where no mask is better than none.
    pub recommended_mm: Option<f64>,
    /// Why this diameter, or why none.
    pub reason: String,
    /// What the mask leaves to a perfect figure, at the recommended diameter; none without one.
    pub left_after_mask: Option<LeftAfterMask>,
    /// The mask beside a refigure.
    pub answer: MaskAnswer,
    /// The answer in a sentence or two.
    pub words: String,
    /// What it rests on, and what it leaves out.
    pub remarks: Vec<String>,
    /// What was computed.
    pub options: MaskOptions,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Clear aperture of the mirror, mm.
    pub clear_aperture_mm: f64,
    /// Diameter of the shadow over the clear aperture.
    pub obstruction_ratio: f64,
    /// Figures behind the intervals; 0 for a train.
    pub draws: usize,
    /// Their seed; none for a train.
    pub seed: Option<u64>,
}

/// A mirror behind masks of several inner diameters.
///
/// Units: mm; see [`MaskSweep`].
/// Errors: [`Error::Input`] for no diameters, diameters beyond the clear aperture, inside the shadow or given twice,
/// details that the open mirror does not resolve, a train of another mirror; those of [`Prepared::wavefront`](crate::Prepared::wavefront).
/// Cost, on one core: of a train some 10 ms a diameter for the Strehl and as much for the star image, and 50 ms for
/// each detail; several times that with vanes. Of a figure some 0.2 ms a draw for the Strehl at 100 diameters together,
/// and some 20 ms a diameter for the rest.
///
/// ```
/// use catoptric::{FocalLengthMm, MaskOptions, Primary, Train, mask_sweep};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let error = mask_sweep(&train, &[210.0], &MaskOptions::default()).unwrap_err();
/// assert_eq!(error.problems()[0].field, "diameters_mm[0]");
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn mask_sweep(
    what: impl Into<MaskSubject>,
    diameters_mm: &[f64],
    options: &MaskOptions,
) -> Result<MaskSweep> {
    mask_sweep_counting(what, diameters_mm, options, &AtomicUsize::new(0))
}

/// The same, with a count of the steps that are done, out of [`MaskSubject::steps`].
///
/// Errors: those of [`mask_sweep`].
///
/// ```
/// use std::sync::atomic::AtomicUsize;
/// use catoptric::{FocalLengthMm, MaskOptions, MaskSubject, Primary, Train, mask_sweep_counting};
/// let what = MaskSubject::from(&Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?);
/// let (done, options) = (AtomicUsize::new(0), MaskOptions::strehl_alone());
/// mask_sweep_counting(what.clone(), &[190.0, 180.0], &options, &done)?;
/// assert_eq!(done.into_inner(), what.steps(2, &options));
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn mask_sweep_counting(
    what: impl Into<MaskSubject>,
    diameters_mm: &[f64],
    options: &MaskOptions,
    done: &AtomicUsize,
) -> Result<MaskSweep> {
    let what = what.into();
    let setting = Setting::of(&what, options);
    let limits = (setting.clear_mm, setting.shadow_mm, setting.wavelength_nm);
    let options = &options.settled(setting.clear_mm, setting.wavelength_nm);
    options.check(diameters_mm, limits)?;
    let asked = Asked { diameters_mm, options, setting: &setting, done };
    let found = match &what {
        MaskSubject::Train(train) => of_train::rows(train, &asked)?,
        MaskSubject::Figure { figure, train } => of_figure::rows(figure, train.as_deref(), &asked)?,
    };
    let sweep = advice::sweep(found, &asked)?;
    done.store(what.steps(diameters_mm.len(), options), Ordering::Relaxed);
    Ok(sweep)
}

/// What the sizes are.
pub(super) struct Setting {
    pub(super) clear_mm: f64,
    pub(super) shadow_mm: f64,
    pub(super) wavelength_nm: f64,
}

impl Setting {
    fn of(what: &MaskSubject, options: &MaskOptions) -> Self {
        let shadow_of = |train: &Train| obstruction_ratio(train) * train.primary().open_diameter_mm();
        let (shadow_mm, usual_nm) = match what {
            MaskSubject::Train(train) => (shadow_of(train), DEFAULT_WAVELENGTH_NM),
            MaskSubject::Figure { figure, train } => {
                let stated = figure.options.obstruction_ratio * what.clear_aperture_mm();
                (train.as_deref().map_or(stated, shadow_of), figure.options.wavelength_nm)
            }
        };
        Self {
            clear_mm: what.clear_aperture_mm(),
            shadow_mm,
            wavelength_nm: options.wavelength_nm.unwrap_or(usual_nm),
        }
    }
}

/// A request, checked.
pub(super) struct Asked<'a> {
    pub(super) diameters_mm: &'a [f64],
    pub(super) options: &'a MaskOptions,
    pub(super) setting: &'a Setting,
    pub(super) done: &'a AtomicUsize,
}

impl Asked<'_> {
    /// The open mirror first, then the masks: mm.
    pub(super) fn openings_mm(&self) -> Vec<f64> {
        std::iter::once(self.setting.clear_mm).chain(self.diameters_mm.iter().copied()).collect()
    }

    /// Counts one more step as done.
    pub(super) fn count(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
    }
}

/// Contrast of each detail that a perfect figure has in a row.
pub(super) type PerfectContrast<'a> = dyn Fn(usize) -> Result<Vec<f64>> + 'a;

/// Rows without advice, the open mirror first, and what the advice needs besides.
pub(super) struct Found<'a> {
    /// The open mirror first.
    pub(super) rows: Vec<MaskRow>,
    /// Strehl of each figure, row by row.
    pub(super) strehl: Vec<Vec<f64>>,
    /// What a perfect figure has in a row: contrast of each detail.
    pub(super) perfect_contrast: Box<PerfectContrast<'a>>,
    /// Figures drawn; 0 for a train.
    pub(super) draws: usize,
    pub(super) seed: Option<u64>,
    pub(super) remarks: Vec<String>,
}
