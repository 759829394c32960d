//! A coating estimated from lamp readings, and what is uncertain about it.

use serde::{Deserialize, Serialize};

use super::coating_fit;
use super::coating_outline::CoatingOutline;
use super::coating_spots::CoatingSpots;
use super::estimate::Interval;
use crate::error::{Error, Result};
use crate::film::MetalFilm;

/// The most draws that are made at once.
const MOST_DRAWS: usize = 100_000;

/// What wore the coating; nobody but its owner can tell, and no default is right.
///
/// ```
/// use catoptric::{Metal, MetalFilm, Wear};
/// assert_ne!(Wear::Haze, Wear::ThinMetal(MetalFilm::new(Metal::Aluminium, 100.0)));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Wear {
    /// Dust, oxide, stains: light is lost, the shape is not.
    Haze,
    /// The metal itself is thinner: light is lost and the place is a hollow. The film is that of the base, where the
    /// metal is whole.
    ThinMetal(MetalFilm),
}

/// The level of one part of an outline.
///
/// Units: shares of the power.
///
/// ```
/// let spots = catoptric::CoatingSpots::from_csv_text("x_mm,y_mm,ratio_1,ratio_2\n40,0,0.96,0.95\n", 356.0, 0.90)?;
/// let base = &spots.fit(&Default::default())?.levels[0];
/// assert!(base.part == "base" && base.interval.low < base.reflectance);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoatingLevel {
    /// `base`, `rings[0]`, ..., `patches[0]`, ...
    pub part: String,
    /// Share of the power that the part returns; of a smooth ring half-way between its rims. Above 1 where the readings
    /// say so.
    pub reflectance: f64,
    /// Standard deviation of that share, the flat's own included.
    pub sigma: f64,
    /// The interval that holds the true share in 95 % of repeats, the flat's own uncertainty included.
    pub interval: Interval,
    /// How many spots see 5 % or more of it.
    pub spots: usize,
}

/// A spot beside what the levels make of it.
///
/// ```
/// let spots = catoptric::CoatingSpots::from_csv_text("x_mm,y_mm,r\n", 356.0, 0.9);
/// assert!(spots.is_err());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpotResidual {
    /// Number of the spot, from 0.
    pub spot: usize,
    /// Mean of its ratios.
    pub measured_ratio: f64,
    /// What the fitted levels make of it.
    pub expected_ratio: f64,
    /// Standard deviation of that mean.
    pub mean_sigma: f64,
    /// The difference in its own standard deviations; none where the spot alone settles a level.
    pub sigmas: Option<f64>,
}

/// A single ratio that does not fit with the other repeats of its spot. It stays in the fit, and raises the noise of
/// all.
///
/// ```
/// let rows = ["9,0,0.95,0.95,0.96", "40,0,0.96,0.95,0.95", "60,0,0.95,0.96,0.60", "80,0,0.95,0.94,0.95"];
/// let table = format!("x_mm,y_mm,ratio_1,ratio_2,ratio_3\n{}\n", rows.join("\n"));
/// let estimate = catoptric::CoatingSpots::from_csv_text(&table, 356.0, 0.90)?.fit(&Default::default())?;
/// let odd = &estimate.outliers[0];
/// assert_eq!((odd.spot, odd.repeat), (2, 2));
/// assert!(odd.levels_without[0] > estimate.levels[0].reflectance);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RatioOutlier {
    /// Number of the spot, from 0.
    pub spot: usize,
    /// Number of the repeat, from 0.
    pub repeat: usize,
    /// The ratio.
    pub ratio: f64,
    /// Distance from the other repeats, in standard deviations of a normal distribution that is as improbable.
    pub sigmas: f64,
    /// The levels that the rest gives, in the order of the estimate's.
    pub levels_without: Vec<f64>,
}

/// What an estimate is made again from.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Recipe {
    spots: CoatingSpots,
    outline: CoatingOutline,
}

/// The levels of a coating whose shapes are known, from lamp readings, with their uncertainty.
///
/// Units: shares of the power; ratios to the known flat.
/// Shapes: `levels`, both sides of `covariance`, and each list of `pulls` in the order base, rings, patches;
/// `residuals` and `pulls` one a spot.
/// Method: least squares of the spots' means, weighted by their repeats; what a part counts at a spot is what the train
/// has there, soft rims included. The noise of one ratio is pooled over the repeats of all spots, and the intervals are
/// Student's. Where the scatter between spots is larger than the noise within them allows (5 % by chance, Fisher's
/// ratio), the intervals widen by the root of chi-square over its degrees of freedom: then the outline, or the evenness
/// of its parts, is wrong.
/// Source: Golub & Van Loan, Matrix Computations, section 5.3; Fisher's ratio, Abramowitz & Stegun 1964, 26.6. The rule
/// of widening is common practice, no source.
/// Coverage: over 2000 simulated mirrors, with an exact and with an uncertain flat, each part's interval holds the
/// truth in 93.5 to 97.5 % of the cases (the repository's own test; such a count is good to 1.5 %).
/// Leaves out: errors of the outline's own places, the size of the lit spot ([`CoatingSpots`]), unevenness of parts
/// that few spots see.
///
/// ```
/// use catoptric::{CoatingOutline, CoatingSpots, OutlinePatch, Wear};
/// let table = "x_mm,y_mm,ratio_1,ratio_2,ratio_3\n40,0,0.96,0.95,0.95\n0,75,0.95,0.96,0.96\n-46,71,0.45,0.48,0.49\n";
/// let seen = CoatingOutline::default().patch(OutlinePatch::new([-46.0, 71.0], 36.0).softness_mm(3.0));
/// let estimate = CoatingSpots::from_csv_text(table, 356.0, 0.90)?.fit(&seen)?;
/// let patch = &estimate.levels[1];
/// assert!(patch.interval.low < 0.426 && 0.426 < patch.interval.high); // 0.90 x the mean of three ratios
/// assert_eq!(estimate.coating(Wear::Haze)?.patches[0].reflectance, patch.reflectance);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Recipe", into = "Recipe")]
pub struct CoatingEstimate {
    /// The readings.
    pub spots: CoatingSpots,
    /// The shapes.
    pub outline: CoatingOutline,
    /// Base, rings, patches.
    pub levels: Vec<CoatingLevel>,
    /// Covariance of the levels, the flat's own uncertainty and the widening included.
    pub covariance: Vec<Vec<f64>>,
    /// Standard deviation of one ratio: stated, or pooled over the repeats.
    pub ratio_sigma: f64,
    /// Degrees of freedom of that noise; none where it was stated.
    pub ratio_freedom: Option<usize>,
    /// Degrees of freedom of the levels' intervals; none for those of a normal distribution.
    pub level_freedom: Option<usize>,
    /// Sum of the squared distances of the spots' means from the fit, in units of their noise.
    pub chi_square: f64,
    /// Spots less parts.
    pub freedom: usize,
    /// How often chance alone gives a chi-square as large; none without a spot to spare.
    pub p_value: Option<f64>,
    /// By how much the intervals were widened since the shapes do not fit; 1 where they do.
    pub widened_by: f64,
    /// Each spot beside the fit.
    pub residuals: Vec<SpotResidual>,
    /// For each spot how far each level would move without it, shares of the power; none where a part would be unseen.
    pub pulls: Vec<Option<Vec<f64>>>,
    /// Single ratios that stand apart from the other repeats of their spot, the worst first; they are in the fit.
    pub outliers: Vec<RatioOutlier>,
    /// What all this says, in sentences.
    pub words: Vec<String>,
}

impl TryFrom<Recipe> for CoatingEstimate {
    type Error = Error;

    fn try_from(recipe: Recipe) -> Result<Self> {
        recipe.spots.fit(&recipe.outline)
    }
}

impl From<CoatingEstimate> for Recipe {
    fn from(estimate: CoatingEstimate) -> Self {
        Self { spots: estimate.spots, outline: estimate.outline }
    }
}

impl CoatingEstimate {
    /// The reflectances of all parts, in their order.
    pub fn reflectances(&self) -> Vec<f64> {
        self.levels.iter().map(|level| level.reflectance).collect()
    }

    /// Levels that are as probable as the estimated ones: one list a draw, in the order of the levels.
    ///
    /// The noise's own uncertainty is drawn as well (chi-square), and the flat's reflectance once a draw for all parts.
    ///
    /// Errors: [`Error::Input`] for no draws or more than 100 000.
    ///
    /// ```
    /// let table = "x_mm,y_mm,ratio_1,ratio_2,ratio_3\n40,0,0.96,0.95,0.95\n0,75,0.95,0.96,0.96\n";
    /// let estimate = catoptric::CoatingSpots::from_csv_text(table, 356.0, 0.90)?.fit(&Default::default())?;
    /// let draws = estimate.draws(500, 1)?;
    /// let within = draws.iter().filter(|d| (d[0] - 0.8595).abs() < 0.003).count();
    /// assert!(within > 250 && draws == estimate.draws(500, 1)?);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn draws(&self, count: usize, seed: u64) -> Result<Vec<Vec<f64>>> {
        if !(1..=MOST_DRAWS).contains(&count) {
            return Err(Error::input("draws", count, format!("1 to {MOST_DRAWS}"), ""));
        }
        Ok(coating_fit::draw_levels(self, count, seed))
    }

    /// What the fit sees at a place of the mirror, mm: a share of the power.
    ///
    /// ```
    /// let spots = catoptric::CoatingSpots::from_csv_text("x_mm,y_mm,ratio_1,ratio_2\n40,0,0.9,0.9\n", 356.0, 0.90)?;
    /// assert!((spots.fit(&Default::default())?.reflectance_at(0.0, 100.0) - 0.81).abs() < 1e-15);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn reflectance_at(&self, x_mm: f64, y_mm: f64) -> f64 {
        let shares = self.outline.shares(x_mm, y_mm);
        shares.iter().zip(&self.levels).map(|(share, level)| share * level.reflectance).sum()
    }
}
