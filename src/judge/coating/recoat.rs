//! What a recoat returns: diagonal, primary or both, in one fresh coat or several.

use serde::{Deserialize, Serialize};

use super::effect::{CoatingEffect, EffectOptions, coating_effect};
use super::evidence::FreshCoat;
use super::recoat_rows::{RecoatRow, dominate};
use super::words;
use crate::error::{Findings, Result};
use crate::model::Train;
use crate::trace::Prepared;

/// The most fresh coats in one comparison.
const MOST_COATS: usize = 50;

/// Which mirrors are recoated.
///
/// ```
/// assert_eq!(catoptric::RecoatWhat::Both.key(), "both");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RecoatWhat {
    /// The diagonal alone.
    Diagonal,
    /// The primary alone.
    Primary,
    /// Both.
    Both,
}

impl RecoatWhat {
    /// The name as files and other languages write it.
    ///
    /// ```
    /// assert_eq!(catoptric::RecoatWhat::Primary.key(), "primary");
    /// ```
    pub fn key(self) -> &'static str {
        match self {
            Self::Diagonal => "diagonal",
            Self::Primary => "primary",
            Self::Both => "both",
        }
    }

    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Diagonal => "Recoating the diagonal",
            Self::Primary => "Recoating the primary",
            Self::Both => "Recoating both",
        }
    }
}

/// What a recoat costs, in any currency.
///
/// Errors: [`crate::Error::Input`] where it is used, for a price below 0.
///
/// ```
/// assert_eq!(catoptric::RecoatPrices { diagonal: 35.0, primary: 240.0, both: None }.of_both(), 275.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecoatPrices {
    /// The diagonal alone.
    pub diagonal: f64,
    /// The primary alone.
    pub primary: f64,
    /// Both; none: the sum.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub both: Option<f64>,
}

impl RecoatPrices {
    /// The price of both.
    pub fn of_both(&self) -> f64 {
        self.both.unwrap_or(self.diagonal + self.primary)
    }

    fn of(&self, what: RecoatWhat) -> f64 {
        match what {
            RecoatWhat::Diagonal => self.diagonal,
            RecoatWhat::Primary => self.primary,
            RecoatWhat::Both => self.of_both(),
        }
    }
}

/// How coats are assumed to age: each mirror keeps the same share of its light from year to year.
///
/// An assumption of the user's, not a measurement. Units: years; shares of the light a year.
///
/// ```
/// let ageing = catoptric::Ageing { years: 8.0, fresh_loss_per_year: 0.01, old_loss_per_year: 0.01 };
/// // Closed form: the mean of 0.99^t over eight years.
/// assert!((ageing.mean_kept(1, 0) - (1.0 - 0.99_f64.powi(8)) / (-8.0 * 0.99_f64.ln())).abs() < 1e-14);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ageing {
    /// Over how many years the mean is taken.
    pub years: f64,
    /// Share of its light that a fresh coat loses in a year.
    pub fresh_loss_per_year: f64,
    /// Share of its light that the old coat loses in a year.
    pub old_loss_per_year: f64,
}

impl Ageing {
    /// The mean over the years of what so many fresh and old mirrors keep of their light.
    pub fn mean_kept(&self, fresh: u32, old: u32) -> f64 {
        let rate = |share: f64| -(-share).ln_1p();
        let decay =
            f64::from(fresh) * rate(self.fresh_loss_per_year) + f64::from(old) * rate(self.old_loss_per_year);
        let whole = decay * self.years;
        if whole < 1e-12 { 1.0 } else { -(-whole).exp_m1() / whole }
    }

    fn note_problems(&self, findings: &mut Findings) {
        findings.number("years", self.years, |y| y > 0.0 && y <= 100.0, "above 0 and not above 100", "");
        for (field, value) in
            [("fresh_loss_per_year", self.fresh_loss_per_year), ("old_loss_per_year", self.old_loss_per_year)]
        {
            let allowed = "a share from 0 to 0.5";
            findings.number(
                field,
                value,
                |v| (0.0..=0.5).contains(&v),
                allowed,
                "per cent given for a share?",
            );
        }
    }
}

/// What is compared.
///
/// ```
/// use catoptric::{FreshCoat, RecoatOptions, RecoatPrices};
/// let options = RecoatOptions::new(vec![FreshCoat::new("standard", 0.91, 0.91)])
///     .prices(RecoatPrices { diagonal: 35.0, primary: 240.0, both: None });
/// assert_eq!(options.prices.len(), 1);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecoatOptions {
    /// The fresh coats on offer; losses count against the first.
    pub fresh: Vec<FreshCoat>,
    /// What they cost: one for all coats, or one for each; empty where prices are not known.
    pub prices: Vec<RecoatPrices>,
    /// How coats age; none: only the first day counts.
    pub ageing: Option<Ageing>,
    /// How each train is judged.
    pub effect: EffectOptions,
}

impl RecoatOptions {
    /// Coats without prices, judged in green light.
    ///
    /// ```
    /// assert_eq!(catoptric::RecoatOptions::new(vec![]).ageing, None);
    /// ```
    pub fn new(fresh: Vec<FreshCoat>) -> Self {
        Self { fresh, prices: Vec::new(), ageing: None, effect: EffectOptions::default() }
    }

    /// The same with prices that hold for every coat.
    ///
    /// ```
    /// use catoptric::{RecoatOptions, RecoatPrices};
    /// let prices = RecoatPrices { diagonal: 35.0, primary: 240.0, both: Some(260.0) };
    /// assert_eq!(RecoatOptions::new(vec![]).prices(prices).prices[0].of_both(), 260.0);
    /// ```
    #[must_use]
    pub fn prices(self, prices: RecoatPrices) -> Self {
        Self { prices: vec![prices], ..self }
    }

    /// The same judged in another way.
    ///
    /// ```
    /// use catoptric::{EffectOptions, RecoatOptions};
    /// let options = EffectOptions { seed: 5, ..EffectOptions::default() };
    /// assert_eq!(RecoatOptions::new(vec![]).effect(options).effect.seed, 5);
    /// ```
    #[must_use]
    pub fn effect(self, effect: EffectOptions) -> Self {
        Self { effect, ..self }
    }

    pub(super) fn price(&self, coat: usize, what: RecoatWhat) -> Option<f64> {
        let prices = self.prices.get(if self.prices.len() == 1 { 0 } else { coat })?;
        Some(prices.of(what))
    }

    fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        if self.fresh.is_empty() || self.fresh.len() > MOST_COATS {
            findings.fault("fresh", format!("{} coats", self.fresh.len()), "1 to 50 fresh coats", "");
        }
        for (i, coat) in self.fresh.iter().enumerate() {
            findings.within(format!("fresh[{i}]"), |f| coat.note_problems(f));
        }
        let count = self.prices.len();
        if count > 1 && count != self.fresh.len() {
            let allowed = format!("one for all coats, or {} for the coats", self.fresh.len());
            findings.fault("prices", format!("{count} lists of prices"), &allowed, "");
        }
        for (i, prices) in self.prices.iter().enumerate() {
            findings.within(format!("prices[{i}]"), |f| {
                let all = [
                    ("diagonal", Some(prices.diagonal)),
                    ("primary", Some(prices.primary)),
                    ("both", prices.both),
                ];
                for (field, price) in all.into_iter().filter_map(|(field, price)| Some((field, price?))) {
                    f.number(field, price, |p| p >= 0.0, "0 or more", "a sign?");
                }
            });
        }
        if let Some(ageing) = &self.ageing {
            findings.within("ageing", |f| ageing.note_problems(f));
        }
        findings.refuse()
    }
}

/// Recoats compared: what each returns, and for which price.
///
/// Units: shares of the power, magnitudes; the prices' own currency.
/// Shapes: one row for each fresh coat and each of diagonal, primary, both (primary alone for a train without a
/// diagonal), coat by coat.
/// Method: every row is a train of its own, evaluated as [`coating_effect`] does; the old coating is one pupil
/// integral. Losses count against both mirrors under the first coat. A row is dominated where another returns as much
/// or more for the same or less, and is better in one of both. Intervals come from draws of the lamp readings and of
/// the diagonal; fresh coats are taken as stated.
/// Leaves out: what a recoat risks (stripping that etches, a figure that changes under it), and that fresh coats
/// differ.
///
/// ```
/// use catoptric::{Coating, Diagonal, FocalLengthMm, FocalPlane, FreshCoat, Primary, RecoatOptions, RecoatPrices,
/// RecoatWhat, Train, recoat};
/// let mirror = Primary::new(356.0, FocalLengthMm(1673.0)).coating(Coating::new(0.85));
/// let train = Train::builder(mirror)
///     .diagonal(Diagonal::new(74.0).reflectance(0.78))
///     .focal_plane(FocalPlane::new(255.0))
///     .build()?;
/// let options = RecoatOptions::new(vec![FreshCoat::new("standard", 0.91, 0.91)])
///     .prices(RecoatPrices { diagonal: 35.0, primary: 240.0, both: None });
/// let rows = recoat(&train, &options)?.rows;
/// // Closed form: the diagonal returns 0.85 (0.91 - 0.78) of the 0.8281 - 0.663 that were lost.
/// assert!(rows[0].what == RecoatWhat::Diagonal && (rows[0].returned_of_lost - 0.1105 / 0.1651).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecoatComparison {
    /// The train as it is, against the first coat.
    pub effect: CoatingEffect,
    /// What was asked.
    pub options: RecoatOptions,
    /// One row for each coat and each choice of mirrors.
    pub rows: Vec<RecoatRow>,
    /// The comparison in sentences, best gain per price first.
    pub words: Vec<String>,
}

/// What recoating the diagonal, the primary or both returns.
///
/// Units, shapes, method, what it leaves out: [`RecoatComparison`].
/// Errors: [`crate::Error::Input`] for shares, prices and an ageing that cannot be; those of [`coating_effect`].
///
/// ```
/// use catoptric::{FocalLengthMm, FreshCoat, Primary, RecoatOptions, RecoatPrices, Train, recoat};
/// let train = Train::builder(Primary::new(356.0, FocalLengthMm(1673.0))).build()?;
/// let options = RecoatOptions::new(vec![FreshCoat::new("standard", 0.91, 0.91)])
///     .prices(RecoatPrices { diagonal: -35.0, primary: 240.0, both: None });
/// assert!(recoat(&train, &options).unwrap_err().to_string().contains("prices[0].diagonal"));
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn recoat(train: &Train, options: &RecoatOptions) -> Result<RecoatComparison> {
    options.check()?;
    let effect = coating_effect(train, &options.fresh[0], &options.effect)?;
    let given = Prepared::new(&effect.train);
    let mut rows = Vec::new();
    for (i, coat) in options.fresh.iter().enumerate() {
        let choices: &[RecoatWhat] = if train.diagonal().is_some() {
            &[RecoatWhat::Diagonal, RecoatWhat::Primary, RecoatWhat::Both]
        } else {
            &[RecoatWhat::Primary]
        };
        for &what in choices {
            rows.push(RecoatRow::new((&effect, &given), options, (i, coat), what)?);
        }
    }
    dominate(&mut rows);
    let mut comparison = RecoatComparison { effect, options: options.clone(), rows, words: Vec::new() };
    comparison.words = words::of_recoat(&comparison);
    Ok(comparison)
}
