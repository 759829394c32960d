//! What a worn coating costs: light told apart from shape.

use serde::{Deserialize, Serialize};

use super::evidence::{FreshCoat, MeasuredCoating};
use super::light::{Seen, light, light_and_strehl, seen};
use super::words;
use crate::error::{Error, Findings, Result};
use crate::judge::changed_train::with_coating;
use crate::model::Train;
use crate::numeric::pool;
use crate::numeric::random::Stream;
use crate::shop_test::{Interval, Wear};
use crate::trace::{Prepared, magnitudes};
use crate::units::{DEFAULT_WAVELENGTH_NM, Field};
use crate::wave::{HazeHalo, HazeScatter, Spectrum};

/// The most draws that are evaluated: each is a train of its own.
const MOST_DRAWS: usize = 2000;
/// Fewer than this share of draws that can be is no interval.
const LEAST_POSSIBLE: f64 = 0.5;
/// Draws of the diagonal come from streams that those of the primary never use.
const OF_DIAGONAL: u64 = 1 << 40;

/// How a coating is judged.
///
/// Units: nm; shares of the power.
///
/// ```
/// let options = catoptric::EffectOptions::default();
/// assert_eq!((options.draws, options.seed), (100, 1));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EffectOptions {
    /// The light; the Strehl is that of its mean wavelength.
    pub spectrum: Spectrum,
    /// Roughness of the haze, where it is known; it takes nothing from the throughput, which the lamp has measured.
    pub haze: Option<HazeScatter>,
    /// Lamp readings of the primary: its coating, in place of the train's own, with intervals.
    pub measured: Option<MeasuredCoating>,
    /// Standard deviation of the diagonal's reflectance.
    pub diagonal_sigma: f64,
    /// How many coatings as probable as the measured one make the intervals; under thin metal each is a train of its
    /// own.
    pub draws: usize,
    /// Seed of these draws.
    pub seed: u64,
}

impl Default for EffectOptions {
    fn default() -> Self {
        let line = Spectrum::line(DEFAULT_WAVELENGTH_NM).unwrap_or_else(|_| unreachable!("green light"));
        Self { spectrum: line, haze: None, measured: None, diagonal_sigma: 0.0, draws: 100, seed: 1 }
    }
}

/// What the coating of a train costs on the axis.
///
/// Units: shares of the power, magnitudes, mm. `throughput` is what primary and diagonal together return of the light
/// that passes all parts; `of_clear_aperture` counts what the parts stop as well. Losses count against the fresh coat
/// that was stated.
/// Method: the exact pupil of the train, sum w A^2 / sum w; Strehl at the peak focus. The shape's loss is that of the
/// peak per light that arrives: Strehl times `amplitude_factor` over the Strehl of the same glass under an even coat.
/// Source of the scattered shares: pinholes q (1 - q), the light of Babinet's complementary screen (Born & Wolf,
/// chapter 8; from memory); haze by Bennett & Porteus 1961, see [`HazeHalo`].
/// Leaves out: the field off the axis (the coating's part in it is the same to first order); in
/// `strehl_without_heights` the reference point is that of the even coat (second order in the unevenness). Intervals
/// hold the noise of lamp readings and the stated one of the diagonal; not errors of the outline, nor of the film's
/// model.
///
/// ```
/// use catoptric::{Coating, Diagonal, EffectOptions, FocalLengthMm, FocalPlane, FreshCoat, Primary, Train,
/// coating_effect};
/// let mirror = Primary::new(356.0, FocalLengthMm(1673.0)).coating(Coating::new(0.85));
/// let train = Train::builder(mirror)
///     .diagonal(Diagonal::new(74.0).reflectance(0.78))
///     .focal_plane(FocalPlane::new(255.0))
///     .build()?;
/// let effect = coating_effect(&train, &FreshCoat::new("standard", 0.91, 0.91), &EffectOptions::default())?;
/// assert!((effect.throughput - 0.85 * 0.78).abs() < 1e-12);
/// // Closed form: -2.5 log10 of the product of the reflectances.
/// assert!((effect.magnitudes_lost - 0.446_216).abs() < 1e-6);
/// assert!((effect.acts_like_fresh_mm - 356.0 * (0.663_f64 / 0.8281).sqrt()).abs() < 1e-9);
/// assert!(effect.shape_loss.abs() < 1e-9, "an even coat blurs nothing");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoatingEffect {
    /// The train as it was judged, with its measured coating where there is one.
    pub train: Train,
    /// The coat against which losses count.
    pub fresh: FreshCoat,
    /// How it was judged.
    pub options: EffectOptions,
    /// Share of the light on the clear aperture that passes all parts.
    pub lit_fraction: f64,
    /// Mean over the lit pupil of what the primary returns.
    pub primary_reflectance: f64,
    /// What the diagonal returns; 1 without one.
    pub diagonal_reflectance: f64,
    /// Mean over the lit pupil of what both return.
    pub throughput: f64,
    /// That times the lit fraction.
    pub of_clear_aperture: f64,
    /// What both mirrors lose, magnitudes: -2.5 log10 of the throughput.
    pub magnitudes_lost: f64,
    /// What of it a fresh coat would return, magnitudes.
    pub fresh_gain_magnitudes: f64,
    /// Share of the fresh coat's light that is lost.
    pub light_loss: f64,
    /// Diameter of a mirror under the fresh coat that gathers as much, the shadow in proportion, mm.
    pub acts_like_fresh_mm: f64,
    /// The same under a coat that returns all, mm.
    pub acts_like_perfect_mm: f64,
    /// Strehl at the peak focus.
    pub strehl: f64,
    /// The same light over the glass without the metal's heights.
    pub strehl_without_heights: f64,
    /// The same glass under an even coat.
    pub strehl_even: f64,
    /// What the unevenness of the amplitude leaves of the peak per light: mean(A)^2/mean(A^2).
    pub amplitude_factor: f64,
    /// Share of the peak per light that the coating takes: 1 - Strehl x amplitude factor / Strehl of the even coat.
    pub shape_loss: f64,
    /// Share of the light that would be returned without pinholes, and that they spread into wide angles.
    pub pinhole_scatter: f64,
    /// What haze scatters, where its roughness was stated.
    pub halo: Option<HazeHalo>,
    /// Throughputs of draws of the measured coating and the diagonal; empty where nothing is uncertain.
    pub throughput_draws: Vec<f64>,
    /// What the primary and the diagonal return in each of these draws.
    pub mirror_draws: Vec<(f64, f64)>,
    /// Interval of the throughput.
    pub throughput_interval: Option<Interval>,
    /// Interval of the loss in magnitudes.
    pub magnitudes_lost_interval: Option<Interval>,
    /// Interval of the diameter under the fresh coat, mm.
    pub acts_like_fresh_interval_mm: Option<Interval>,
    /// Interval of the Strehl, for thin metal.
    pub strehl_interval: Option<Interval>,
    /// Share of the draws that a mirror can have; the others (a base brighter than its film) were left out.
    pub possible_share: f64,
    /// Estimated error of the Strehls.
    pub error_estimate: f64,
    /// All this in sentences: light first, then shape, then what scatters.
    pub words: Vec<String>,
}

/// What the coating of a train costs on the axis, against a fresh coat.
///
/// Units, method, what it leaves out: [`CoatingEffect`].
/// Errors: [`Error::Input`] for shares that cannot be, readings of another mirror, a coating that the readings do not
/// allow; those of [`Prepared::wavefront`].
///
/// ```
/// use catoptric::{EffectOptions, FocalLengthMm, FreshCoat, Primary, Train, coating_effect};
/// let train = Train::builder(Primary::new(356.0, FocalLengthMm(1673.0))).build()?;
/// let error = coating_effect(&train, &FreshCoat::new("standard", 91.0, 0.91), &EffectOptions::default()).unwrap_err();
/// assert!(error.to_string().contains("per cent"));
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn coating_effect(train: &Train, fresh: &FreshCoat, options: &EffectOptions) -> Result<CoatingEffect> {
    check(train, fresh, options)?;
    let train = match &options.measured {
        Some(measured) => with_coating(train, measured.coating()?)?,
        None => train.clone(),
    };
    let prepared = Prepared::new(&train);
    let found = seen(&prepared, &options.spectrum)?;
    let halo = options.haze.map(|haze| haze.halo(options.spectrum.mean_nm())).transpose()?;
    let drawn = draws(&prepared, found, options)?;
    let lit_fraction = prepared.light(Field::AXIS).lit_fraction;
    let open_mm = train.primary().open_diameter_mm();
    let fresh_throughput =
        if train.diagonal().is_some() { fresh.throughput() } else { fresh.primary_reflectance };
    let acts_like = |both: f64| open_mm * (both / fresh_throughput).sqrt();
    let throughput_draws: Vec<f64> = drawn.mirrors.iter().map(|(p, d)| p * d).collect();
    let interval = |of: &dyn Fn(f64) -> f64| {
        let values: Vec<f64> = throughput_draws.iter().map(|t| of(*t)).collect();
        (!values.is_empty()).then(|| Interval::of(&values))
    };
    let pinholes = train.primary().coating.pinhole_share;
    let mut effect = CoatingEffect {
        lit_fraction,
        primary_reflectance: found.both / found.diagonal,
        diagonal_reflectance: found.diagonal,
        throughput: found.both,
        of_clear_aperture: lit_fraction * found.both,
        magnitudes_lost: magnitudes(found.both),
        fresh_gain_magnitudes: magnitudes(found.both / fresh_throughput),
        light_loss: 1.0 - found.both / fresh_throughput,
        acts_like_fresh_mm: acts_like(found.both),
        acts_like_perfect_mm: open_mm * found.both.sqrt(),
        strehl: found.strehl,
        strehl_without_heights: found.strehl_without_heights,
        strehl_even: found.strehl_even,
        amplitude_factor: found.amplitude_factor,
        shape_loss: 1.0 - found.strehl * found.amplitude_factor / found.strehl_even,
        pinhole_scatter: pinholes * (1.0 - pinholes),
        halo,
        throughput_interval: interval(&|t| t),
        magnitudes_lost_interval: interval(&magnitudes),
        acts_like_fresh_interval_mm: interval(&acts_like),
        strehl_interval: (!drawn.strehls.is_empty()).then(|| Interval::of(&drawn.strehls)),
        throughput_draws,
        mirror_draws: drawn.mirrors,
        possible_share: drawn.possible_share,
        error_estimate: found.error,
        words: Vec::new(),
        train,
        fresh: fresh.clone(),
        options: options.clone(),
    };
    effect.words = words::of_effect(&effect);
    Ok(effect)
}

fn check(train: &Train, fresh: &FreshCoat, options: &EffectOptions) -> Result<()> {
    let mut findings = Findings::default();
    findings.within("fresh", |f| fresh.note_problems(f));
    let allowed = "a standard deviation from 0 to 0.2";
    let sigma = options.diagonal_sigma;
    let is_sound =
        findings.number("diagonal_sigma", sigma, |s| (0.0..=0.2).contains(&s), allowed, "per cent?");
    if is_sound && sigma > 0.0 && train.diagonal().is_none() {
        findings.fault("diagonal_sigma", sigma, "0 for a train without a diagonal", "");
    }
    if !(2..=MOST_DRAWS).contains(&options.draws) {
        findings.fault("draws", options.draws, "2 to 2000", "each draw is a train of its own");
    }
    if let Some(measured) = &options.measured {
        findings.within("measured", |f| measured.note_problems(train, f));
    }
    findings.refuse()?;
    options.haze.map_or(Ok(()), |haze| haze.check())
}

/// Draws of what the mirrors return, and of the Strehl.
struct Drawn {
    mirrors: Vec<(f64, f64)>,
    strehls: Vec<f64>,
    possible_share: f64,
}

/// Coatings as probable as the measured one.
fn draws(given: &Prepared, found: Seen, options: &EffectOptions) -> Result<Drawn> {
    let (primary, diagonal) = (found.both / found.diagonal, found.diagonal);
    let flat = |k: usize| {
        let shift = options.diagonal_sigma * Stream::new(options.seed, OF_DIAGONAL + k as u64).normal();
        if options.diagonal_sigma > 0.0 { (diagonal + shift).clamp(1e-3, 1.0) } else { diagonal }
    };
    let Some(measured) = &options.measured else {
        let count = if options.diagonal_sigma > 0.0 { options.draws } else { 0 };
        let mirrors = (0..count).map(|k| (primary, flat(k))).collect();
        return Ok(Drawn { mirrors, strehls: Vec::new(), possible_share: 1.0 });
    };
    let levels = measured.estimate.draws(options.draws, options.seed)?;
    let each = match measured.wear {
        Wear::Haze => of_haze(given, measured, found, &levels)?,
        Wear::ThinMetal(_) => of_metal(given, measured, options, &levels)?,
    };
    let possible_share = each.len() as f64 / options.draws as f64;
    if possible_share < LEAST_POSSIBLE {
        let found = format!("{:.0} % of the draws", 100.0 * possible_share);
        let allowed = "levels that a mirror can have in half of the draws at least";
        let cause = "a base brighter than the stated film, or levels about 1: another film, or haze?";
        return Err(Error::input("measured", found, allowed, cause));
    }
    let mirrors = each.iter().map(|(k, both, _)| (both / diagonal, flat(*k))).collect();
    let strehls = each.iter().filter_map(|(_, _, strehl)| *strehl).collect();
    Ok(Drawn { mirrors, strehls, possible_share })
}

/// Draws that a mirror can have: their numbers, what both mirrors return, the Strehl where it changes.
type Possible = Vec<(usize, f64, Option<f64>)>;

/// Under haze the mean over the pupil is a sum over the levels, each with a weight of its own: one train a level tells
/// them.
fn of_haze(
    given: &Prepared,
    measured: &MeasuredCoating,
    found: Seen,
    levels: &[Vec<f64>],
) -> Result<Possible> {
    let own = measured.estimate.reflectances();
    let mut weights = vec![0.0; own.len()];
    for part in 1..own.len() {
        // Half of it is a level that can be, and far from rounding.
        let mut changed = own.clone();
        changed[part] *= 0.5;
        let train = with_coating(given.train(), measured.coating_at(&changed)?)?;
        let light = light(&given.changed(&train), DEFAULT_WAVELENGTH_NM)?;
        weights[part] = (found.both - light) / (own[part] - changed[part]);
    }
    let rest: f64 = weights.iter().zip(&own).map(|(w, level)| w * level).sum();
    weights[0] = (found.both - rest) / own[0];
    let possible = levels.iter().enumerate().filter(|(_, draw)| measured.coating_at(draw).is_ok());
    let light = |draw: &[f64]| weights.iter().zip(draw).map(|(w, level)| w * level).sum::<f64>();
    Ok(possible.map(|(k, draw)| (k, light(draw), None)).collect())
}

/// Thin metal is not linear in its levels: a train for each draw.
fn of_metal(
    given: &Prepared,
    measured: &MeasuredCoating,
    options: &EffectOptions,
    levels: &[Vec<f64>],
) -> Result<Possible> {
    let one = |k: usize| -> Option<Result<(usize, f64, Option<f64>)>> {
        // A level that no mirror can have is no draw of it.
        let coating = measured.coating_at(&levels[k]).ok()?;
        let found = with_coating(given.train(), coating)
            .and_then(|drawn| light_and_strehl(&given.changed(&drawn), &options.spectrum));
        Some(found.map(|(both, strehl)| (k, both, Some(strehl))))
    };
    pool::map_ordered(levels.len(), true, one).into_iter().flatten().collect()
}
