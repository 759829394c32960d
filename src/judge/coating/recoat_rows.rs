//! One recoat by itself, and which of several are dominated.

use serde::{Deserialize, Serialize};

use super::effect::CoatingEffect;
use super::evidence::FreshCoat;
use super::light::seen;
use super::recoat::{RecoatOptions, RecoatWhat};
use crate::error::Result;
use crate::judge::changed_train::{with_coating, with_flat};
use crate::model::{Coating, Train};
use crate::shop_test::Interval;
use crate::trace::{Prepared, magnitudes};

/// Light within this is the same: the error of the pupil sums.
const SAME: f64 = 1e-9;

/// What one recoat returns.
///
/// Units: shares of the power, magnitudes, mm; the prices' own currency.
///
/// ```
/// use catoptric::{Coating, FocalLengthMm, FreshCoat, Primary, RecoatOptions, Train, recoat};
/// let mirror = Primary::new(356.0, FocalLengthMm(1673.0)).coating(Coating::new(0.85));
/// let options = RecoatOptions::new(vec![FreshCoat::new("standard", 0.91, 0.91)]);
/// let row = &recoat(&Train::builder(mirror).build()?, &options)?.rows[0];
/// assert!((row.gain - 0.06).abs() < 1e-12 && row.price.is_none() && (row.returned_of_lost - 1.0).abs() < 1e-12);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecoatRow {
    /// Which mirrors.
    pub what: RecoatWhat,
    /// Name of the fresh coat.
    pub coat: String,
    /// What both mirrors return afterwards.
    pub throughput: f64,
    /// That less what they return now: a share of the light that passes all parts.
    pub gain: f64,
    /// The gain as a star brighter by so many magnitudes.
    pub gain_magnitudes: f64,
    /// The gain over what is lost now against both mirrors under the first coat; 0 where nothing is.
    pub returned_of_lost: f64,
    /// Diameter under the first fresh coat that gathers as much, mm.
    pub acts_like_fresh_mm: f64,
    /// Strehl at the peak focus afterwards.
    pub strehl: f64,
    /// The star's peak afterwards over the peak now.
    pub peak_ratio: f64,
    /// What it costs, where that was told.
    pub price: Option<f64>,
    /// Gain over price; none without a price, or for nothing.
    pub gain_per_price: Option<f64>,
    /// Another returns as much or more for the same or less, and is better in one of both.
    pub dominated: bool,
    /// Interval of the gain, where something is uncertain.
    pub gain_interval: Option<Interval>,
    /// Interval of the gain in magnitudes.
    pub gain_magnitudes_interval: Option<Interval>,
    /// The mean gain over the years of the assumed ageing.
    pub aged_gain: Option<f64>,
    /// The train as it is afterwards.
    pub train: Train,
}

impl RecoatRow {
    pub(super) fn new(
        (effect, given): (&CoatingEffect, &Prepared),
        options: &RecoatOptions,
        (number, coat): (usize, &FreshCoat),
        what: RecoatWhat,
    ) -> Result<Self> {
        let (primary, diagonal) = (what != RecoatWhat::Diagonal, what != RecoatWhat::Primary);
        let mut train = effect.train.clone();
        if primary {
            train = with_coating(&train, Coating::new(coat.primary_reflectance))?;
        }
        if diagonal {
            train = with_flat(&train, coat.diagonal_reflectance)?;
        }
        let spectrum = &options.effect.spectrum;
        let after = seen(&given.changed(&train), spectrum)?;
        let now = effect.throughput;
        let first = &options.fresh[0];
        let whole = if train.diagonal().is_some() { first.throughput() } else { first.primary_reflectance };
        let gain = after.both - now;
        let drawn = |of: &dyn Fn(f64, f64) -> f64| {
            let values: Vec<f64> = effect
                .mirror_draws
                .iter()
                .map(|&(p, d)| {
                    let kept = if primary { after.both / after.diagonal } else { p };
                    of(p * d, kept * if diagonal { after.diagonal } else { d })
                })
                .collect();
            (!values.is_empty()).then(|| Interval::of(&values))
        };
        let price = options.price(number, what);
        let count = if effect.train.diagonal().is_some() { 2 } else { 1 };
        let fresh = u32::from(primary) + u32::from(diagonal && count == 2);
        let aged_gain = options
            .ageing
            .map(|age| after.both * age.mean_kept(fresh, count - fresh) - now * age.mean_kept(0, count));
        let peak = |strehl: f64, factor: f64, light: f64| strehl * factor * light;
        Ok(Self {
            what,
            coat: coat.name.clone(),
            throughput: after.both,
            gain,
            gain_magnitudes: magnitudes(now / after.both),
            returned_of_lost: if whole - now > SAME { gain / (whole - now) } else { 0.0 },
            acts_like_fresh_mm: train.primary().open_diameter_mm() * (after.both / whole).sqrt(),
            strehl: after.strehl,
            peak_ratio: peak(after.strehl, after.amplitude_factor, after.both)
                / peak(effect.strehl, effect.amplitude_factor, now),
            price,
            gain_per_price: price.filter(|p| *p > 0.0).map(|p| gain / p),
            dominated: false,
            gain_interval: drawn(&|now, then| then - now),
            gain_magnitudes_interval: drawn(&|now, then| magnitudes(now / then)),
            aged_gain,
            train,
        })
    }
}

/// Marks the rows that another one beats.
pub(super) fn dominate(rows: &mut [RecoatRow]) {
    let facts: Vec<(f64, f64)> = rows.iter().map(|row| (row.gain, row.price.unwrap_or(0.0))).collect();
    let beats =
        |a: (f64, f64), b: (f64, f64)| a.0 >= b.0 - SAME && a.1 <= b.1 && (a.0 > b.0 + SAME || a.1 < b.1);
    for (row, own) in rows.iter_mut().zip(&facts) {
        row.dominated = row.price.is_some() && facts.iter().any(|other| beats(*other, *own));
    }
}
