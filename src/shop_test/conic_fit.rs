//! One conic constant for a whole mirror: a check on the bench, never the headline.

use std::fmt;

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use super::noise::ZoneMeans;
use super::options::ReduceOptions;
use super::readings::KnifeEdgeReadings;
use super::two_way::contrasts;
use crate::error::{Error, Result};
use crate::numeric::chi_square;

/// A departure below so many standard errors is no departure.
const SURE: f64 = 2.0;
/// Readings of a conic scatter more than this in one case of a hundred: then no conic fits.
const UNFITTING: f64 = 0.01;

/// Which way a mirror departs from the paraboloid as a whole.
///
/// ```
/// assert_eq!(catoptric::Correction::Over.to_string(), "over-corrected");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Correction {
    /// K below -1: a hyperboloid.
    Over,
    /// K above -1: an ellipsoid, a sphere, or beyond.
    Under,
    /// Within two standard errors of K = -1.
    WithinNoise,
}

impl fmt::Display for Correction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Over => "over-corrected",
            Self::Under => "under-corrected",
            Self::WithinNoise => "a paraboloid within the noise",
        })
    }
}

/// A conic constant with its standard error, and how well that conic explains the readings.
///
/// ```
/// use catoptric::ConicEstimate;
/// let found = ConicEstimate { conic: -0.98, conic_sigma: 0.02, chi_square: 5.1, freedom: 6, p_value: 0.53 };
/// assert!(found.fits());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConicEstimate {
    /// Conic constant K: -1 for a paraboloid, 0 for a sphere.
    pub conic: f64,
    /// Its standard error, that of the noise's own scale included; worth nothing where no conic fits.
    pub conic_sigma: f64,
    /// Squared departures of the mean readings from those of the conic, each over its variance.
    pub chi_square: f64,
    /// Openings less what was fitted: degrees of freedom of `chi_square`.
    pub freedom: usize,
    /// Chance that readings of a perfect conic depart as much or more; 1 where no degree of freedom is left.
    pub p_value: f64,
}

impl ConicEstimate {
    /// Whether a conic explains the readings; false below one chance in a hundred.
    ///
    /// ```
    /// use catoptric::ConicEstimate;
    /// let zoned = ConicEstimate { conic: -0.98, conic_sigma: 0.02, chi_square: 90.0, freedom: 6, p_value: 3e-17 };
    /// assert!(!zoned.fits());
    /// ```
    pub fn fits(&self) -> bool {
        self.p_value >= UNFITTING
    }
}

/// The conic that fits the readings best, with all openings and without the outermost one.
///
/// One number cannot describe a mirror with zones, nor one with a turned edge: quote Strehl and RMS of
/// [`KnifeEdgeReadings::reduce`], and use K to see at a glance whether the bench was described rightly.
///
/// ```
/// use catoptric::{Correction, KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
/// // An ellipsoid, K = -0.80: r^2/(2R) times 0.80.
/// let readings = KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.2667, 0.6000, 1.0667, 1.5042]; 5],
/// )?;
/// let fit = readings.conic_fit(&Default::default())?;
/// assert!((fit.all.conic + 0.80).abs() < 1e-3);
/// assert_eq!(fit.correction(), Correction::Under);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConicFit {
    /// From all openings; a turned edge alone moves it.
    pub all: ConicEstimate,
    /// Without the outermost opening, where edges turn.
    pub without_outermost: ConicEstimate,
}

impl ConicFit {
    /// Which way the mirror departs, by the fit without the outermost opening.
    ///
    /// A departure counts from two standard errors on; where the conic fits worse than the noise lets expect, they are
    /// widened by the root of chi-square over its degrees of freedom.
    /// Source of the widening: R. T. Birge, Phys. Rev. 40, 207 (1932), from memory.
    ///
    /// ```
    /// use catoptric::{ConicEstimate, ConicFit, Correction};
    /// let found = ConicEstimate { conic: -0.95, conic_sigma: 0.02, chi_square: 4.0, freedom: 4, p_value: 0.41 };
    /// let zoned = ConicEstimate { chi_square: 40.0, p_value: 4e-8, ..found };
    /// assert_eq!(ConicFit { all: found, without_outermost: found }.correction(), Correction::Under);
    /// assert_eq!(ConicFit { all: zoned, without_outermost: zoned }.correction(), Correction::WithinNoise);
    /// ```
    pub fn correction(&self) -> Correction {
        let ConicEstimate { conic, conic_sigma, chi_square, freedom, .. } = self.without_outermost;
        let widening = (chi_square / freedom.max(1) as f64).sqrt().max(1.0);
        match conic + 1.0 {
            departure if departure.abs() <= SURE * conic_sigma * widening => Correction::WithinNoise,
            departure if departure < 0.0 => Correction::Over,
            _ => Correction::Under,
        }
    }

    /// The fit in words, with what it is not good for.
    ///
    /// ```
    /// use catoptric::{ConicEstimate, ConicFit};
    /// let zoned = ConicEstimate { conic: -0.95, conic_sigma: 0.02, chi_square: 40.0, freedom: 4, p_value: 4e-8 };
    /// let words = ConicFit { all: zoned, without_outermost: zoned }.words();
    /// assert!(words.contains("No conic fits these readings") && words.contains("K is no headline"));
    /// ```
    pub fn words(&self) -> String {
        let shown = |fit: &ConicEstimate| {
            let digits = (1.0 - fit.conic_sigma.log10().floor()).clamp(1.0, 4.0) as usize;
            format!("K = {:.digits$} +- {:.digits$}", fit.conic, fit.conic_sigma)
        };
        let (all, inner) = (&self.all, &self.without_outermost);
        let whole = format!(
            "As a whole {}: {} without the outermost opening, {} with it.",
            self.correction(),
            shown(inner),
            shown(all)
        );
        let misfit = |fit: &ConicEstimate| format!("chi-square {:.1} at {}", fit.chi_square, fit.freedom);
        let how_well = match (inner.fits(), all.fits()) {
            (false, _) => format!("No conic fits these readings ({}): the mirror has zones.", misfit(inner)),
            (true, false) => {
                format!("No conic fits once the outermost opening counts ({}): a turned edge?", misfit(all))
            }
            (true, true) if inner.freedom == 0 => {
                "With so few openings nothing is left over to show whether a conic fits.".to_owned()
            }
            (true, true) => "A conic explains the readings within their noise.".to_owned(),
        };
        let caution =
            "K is no headline: one number cannot describe a mirror with zones; quote Strehl and RMS.";
        format!("{whole} {how_well} {caution}")
    }
}

impl KnifeEdgeReadings {
    /// The conic constant that fits the readings best, once with and once without the outermost opening.
    ///
    /// Each run keeps its free zero. Weights come from the noise of the readings, the radii of the openings and the scatter of
    /// the bench, as `options` state them or as they are assumed there; the other options do not count.
    /// Errors: [`Error::Input`] for options that cannot be, or openings that differ beyond what arithmetic holds.
    /// Source: a conic departs from its paraboloid by (1 + K) r^4/(8 R^3), which shortens the mean reading over an
    /// opening by (1 + K) k (r1^2 + r2^2)/(4R), k = 1 moving and 2 fixed (own derivation); generalised least squares, textbook.
    /// Leaves out: higher orders. With a the mirror's radius they move K by less than (a/R)^2 |K (1 + K)|/2 with a moving
    /// and (a/R)^2 |1 + K| (1 + |K|/2) with a fixed source: at f/5 by 0.0003 and 0.0025 at most from the paraboloid to the sphere,
    /// and not at all for those two where the source moves.
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, ReduceOptions, TestSource};
    /// let readings = KnifeEdgeReadings::at_radii(
    ///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    ///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 2.4]],
    /// )?;
    /// let options = ReduceOptions { reading_sigma_mm: Some(vec![0.03]), ..Default::default() };
    /// let fit = readings.conic_fit(&options)?;
    /// assert!(fit.all.conic < -1.2, "a turned edge");
    /// assert!((fit.without_outermost.conic + 1.0).abs() < 1e-3, "the glass inside of it");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn conic_fit(&self, options: &ReduceOptions) -> Result<ConicFit> {
        options.check()?;
        let means = ZoneMeans::new(self, options)?;
        let contrasted = Contrasted::new(self, &means, options).ok_or_else(unequal)?;
        let fit = |leave_outermost: bool| contrasted.fit(leave_outermost, &means.scales());
        Ok(ConicFit {
            all: fit(false).ok_or_else(unequal)?,
            without_outermost: fit(true).ok_or_else(unequal)?,
        })
    }
}

/// Everything about the mean readings that their free zero does not touch.
struct Contrasted {
    rows: DMatrix<f64>,
    /// Mean readings less those of the paraboloid, mm.
    error_mm: DVector<f64>,
    /// What K + 1 = 1 adds to them, mm.
    conic_mm: DVector<f64>,
    noise_mm2: DMatrix<f64>,
    /// Radii of the openings, and scatter of the bench.
    standing_mm2: DMatrix<f64>,
}

impl Contrasted {
    fn new(readings: &KnifeEdgeReadings, means: &ZoneMeans, options: &ReduceOptions) -> Option<Self> {
        let (openings, source) = (readings.openings(), readings.source());
        let (zones, radius) = (openings.len(), readings.radius_of_curvature());
        let rows = DMatrix::from_row_slice(zones - 1, zones, &contrasts(zones));
        let column = |of: &dyn Fn(usize) -> f64| DVector::from_fn(zones, |zone, _| of(zone));
        let error_mm = column(&|i| means.mean_mm[i] - openings[i].ideal_reading_mm(source, radius));
        let conic_mm = column(&|i| -source.gain() * openings[i].mean_square_mm2() / (2.0 * radius.0));
        let standing_mm2 = column(&|i| {
            let place_mm = source.gain() * openings[i].middle_mm() / radius.0 * options.radius_sigma_mm();
            place_mm.powi(2) + options.bench_scatter_mm.powi(2)
        });
        Some(Self {
            error_mm: &rows * error_mm,
            conic_mm: &rows * conic_mm,
            noise_mm2: means.contrast_covariance()?,
            standing_mm2: &rows * DMatrix::from_diagonal(&standing_mm2) * rows.transpose(),
            rows,
        })
    }

    /// The fit, its error and its chance averaged over the scales that the noise may have.
    fn fit(&self, leave_outermost: bool, scales: &[f64]) -> Option<ConicEstimate> {
        let fitted = if leave_outermost { 2 } else { 1 };
        let freedom = self.rows.nrows() - fitted;
        let (conic, _, chi_square) = self.least_squares(leave_outermost, 1.0)?;
        let (mut variance, mut chance) = (0.0, 0.0);
        for &scale in scales {
            let (_, of_conic, square) = self.least_squares(leave_outermost, scale)?;
            variance += of_conic / scales.len() as f64;
            chance += chi_square::share_above(square, freedom as f64) / scales.len() as f64;
        }
        Some(ConicEstimate { conic, conic_sigma: variance.sqrt(), chi_square, freedom, p_value: chance })
    }

    /// K, its variance and chi-square, for a noise of this scale.
    fn least_squares(&self, leave_outermost: bool, scale: f64) -> Option<(f64, f64, f64)> {
        let factor = (&self.noise_mm2 * scale + &self.standing_mm2).cholesky()?;
        // An opening with a mean of its own says nothing about K, but still joins the runs that read it.
        let columns = if leave_outermost {
            let outermost = self.rows.column(self.rows.ncols() - 1).into_owned();
            DMatrix::from_columns(&[self.conic_mm.clone(), outermost])
        } else {
            DMatrix::from_columns(std::slice::from_ref(&self.conic_mm))
        };
        let weighed = factor.solve(&columns);
        let covariance = (columns.transpose() * &weighed).cholesky()?.inverse();
        let found = &covariance * (weighed.transpose() * &self.error_mm);
        let rest = &self.error_mm - &columns * &found;
        let chi_square = rest.dot(&factor.solve(&rest));
        Some((found[0] - 1.0, covariance[(0, 0)], chi_square))
    }
}

fn unequal() -> Error {
    let allowed = "openings of comparable width, away from the centre";
    let cause = "an opening of no width, or at the centre?";
    Error::input("openings", "beyond what arithmetic holds", allowed, cause)
}
