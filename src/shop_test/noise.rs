//! Zone means over runs with free zeros, and the noise of a reading.

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use super::options::ReduceOptions;
use super::readings::KnifeEdgeReadings;
use super::two_way::{Entry, TwoWay, contrasts};
use crate::error::{Error, Result};
use crate::numeric::chi_square;
use crate::units::NM_PER_MM;

/// Setting error of one reading before any repeats are seen, as a share of the Airy radius at the knife: 1.22
/// lambda R/D, moved along the axis by the lean R/r of the ray. Common practice, no source.
const PRIOR_SHARE: f64 = 0.5;
/// What that is worth, in degrees of freedom, for the scale common to all zones; and how much a zone leans
/// on that common scale.
const PRIOR_FREEDOM: f64 = 3.0;
const COMMON_FREEDOM: f64 = 6.0;
/// The weights of the fit are 1/sigma^2, and the sigmas come from the fit: this often in turn.
const ROUNDS: usize = 4;
/// How many factors stand for the uncertainty of the noise's scale.
const SCALES: usize = 5;
/// A reading as improbable as one so many standard deviations off is named: about 1 in 2000.
pub(super) const OUTLYING: f64 = 3.5;

/// A reading that does not fit with the other runs of its opening.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
/// let mut runs = vec![vec![0.33, 0.75, 1.33, 1.88]; 5];
/// runs[2][3] += 0.9;
/// let readings = KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], runs,
/// )?;
/// let outlier = readings.outliers()[0];
/// assert_eq!((outlier.run, outlier.opening), (2, 3));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Outlier {
    /// Index of the run, from 0.
    pub run: usize,
    /// Index of the opening, from 0 at the centre.
    pub opening: usize,
    /// Distance from what the other readings say, in standard deviations of a normal distribution that is as improbable;
    /// positive away from the mirror.
    pub sigmas: f64,
}

/// What the runs say about each opening.
#[derive(Clone, Debug)]
pub(super) struct ZoneMeans {
    /// Mean of each opening over the runs, the runs' zeros held together, mm away from the mirror. The mean of
    /// those zeros is still in it.
    pub(super) mean_mm: Vec<f64>,
    /// Noise of one reading, mm.
    pub(super) sigma_mm: Vec<f64>,
    /// Inverse covariance of the means when the zeros are free, 1/mm^2.
    pub(super) information: DMatrix<f64>,
    /// Degrees of freedom of the noise's common scale; infinite where the noise is stated.
    pub(super) freedom: f64,
    pub(super) outliers: Vec<Outlier>,
}

impl ZoneMeans {
    /// Two-way fit (opening + run) and the pooled noise, or the stated one.
    ///
    /// A zone's noise follows 1/r where nothing else is known (a fixed share of the Airy radius, carried to the axis by
    /// the lean of the ray: `delta R/r` where the source stands fixed, half of that where it moves with the knife);
    /// repeats pull the common scale and each zone toward what they show. With one run only the prior is left. No zone is
    /// better than its scale can be read.
    /// Source: the scale pools the zones with an inverse chi-square prior (Gelman et al., Bayesian Data Analysis, 3rd ed.
    /// 2013, section 2.6, from memory).
    pub(super) fn new(readings: &KnifeEdgeReadings, options: &ReduceOptions) -> Result<Self> {
        let (entries, runs) = (entries(readings), readings.runs_mm().len());
        if let Some(stated) = &options.reading_sigma_mm {
            let sigma_mm = stated_sigma(stated, readings.openings().len())?;
            let fit = TwoWay::fit(&entries, runs, &sigma_mm)?;
            let outliers = outliers(&fit, |zone, _| (sigma_mm[zone], f64::INFINITY));
            return Ok(Self::of(fit, sigma_mm, f64::INFINITY, outliers));
        }
        let shape = shape(readings);
        let focal_ratio = readings.radius_of_curvature().0 / (2.0 * readings.clear_aperture_mm());
        let prior_mm = PRIOR_SHARE * 1.219_669_89 * options.wavelength_nm / NM_PER_MM * focal_ratio;
        let pool = Pool { shape: &shape, prior_mm, least_mm2: step_mm(&entries).powi(2) / 12.0 };
        let mut sigma_mm: Vec<f64> = shape.iter().map(|u| u * prior_mm).collect();
        let mut fit = TwoWay::fit(&entries, runs, &sigma_mm)?;
        for _ in 0..ROUNDS {
            sigma_mm = pool.sigmas(&Scatter::of(&fit));
            fit = TwoWay::fit(&entries, runs, &sigma_mm)?;
        }
        let scatter = Scatter::of(&fit);
        let freedom = PRIOR_FREEDOM + scatter.freedom.iter().sum::<f64>();
        // Judged by the noise that the other readings show, or a wild one would hide itself.
        let outliers = outliers(&fit, |zone, square| {
            let mut others = scatter.clone();
            others.square[zone] = (others.square[zone] - square).max(0.0);
            others.freedom[zone] = (others.freedom[zone] - 1.0).max(0.0);
            (pool.sigmas(&others)[zone], COMMON_FREEDOM + others.freedom[zone])
        });
        Ok(Self::of(fit, sigma_mm, freedom, outliers))
    }

    fn of(fit: TwoWay, sigma_mm: Vec<f64>, freedom: f64, outliers: Vec<Outlier>) -> Self {
        Self { mean_mm: fit.mean_mm, sigma_mm, information: fit.information, freedom, outliers }
    }

    /// Covariance of the means' contrasts, mm^2, in row order; none if no arithmetic holds it.
    pub(super) fn contrast_covariance(&self) -> Option<DMatrix<f64>> {
        let zones = self.mean_mm.len();
        let rows = DMatrix::from_row_slice(zones - 1, zones, &contrasts(zones));
        (&rows * &self.information * rows.transpose()).cholesky().map(|factor| factor.inverse())
    }

    /// How the noise of the means is drawn again: columns to be added up with independent normals. The zero is free.
    pub(super) fn spread(&self) -> Option<DMatrix<f64>> {
        let zones = self.mean_mm.len();
        let rows = DMatrix::from_row_slice(zones - 1, zones, &contrasts(zones));
        Some(rows.transpose() * self.contrast_covariance()?.cholesky()?.l())
    }

    /// Factors on the squared noise that stand for the uncertainty of its scale, equally probable.
    ///
    /// They are nu over the quantiles of chi-square at the middles of equal shares: few runs leave the noise
    /// itself uncertain, which gives errors the long tails of Student's t. A stated noise has none.
    pub(super) fn scales(&self) -> Vec<f64> {
        if self.freedom.is_infinite() {
            return vec![1.0];
        }
        let share = |node: usize| (node as f64 + 0.5) / SCALES as f64;
        (0..SCALES).map(|node| self.freedom / chi_square::quantile(share(node), self.freedom)).collect()
    }
}

/// Squared residuals and what is left of the count of readings, zone by zone.
#[derive(Clone)]
struct Scatter {
    square: Vec<f64>,
    freedom: Vec<f64>,
}

impl Scatter {
    fn of(fit: &TwoWay) -> Self {
        let zones = fit.mean_mm.len();
        let mut found = Self { square: vec![0.0; zones], freedom: vec![0.0; zones] };
        for r in &fit.residuals {
            found.square[r.zone] += r.residual_mm * r.residual_mm;
            found.freedom[r.zone] += r.spare;
        }
        found
    }
}

/// The common scale of the noise, and what each zone makes of it.
struct Pool<'a> {
    shape: &'a [f64],
    prior_mm: f64,
    least_mm2: f64,
}

impl Pool<'_> {
    fn sigmas(&self, scatter: &Scatter) -> Vec<f64> {
        let seen: f64 = scatter.square.iter().zip(self.shape).map(|(s, u)| s / (u * u)).sum();
        let scale = (PRIOR_FREEDOM * self.prior_mm * self.prior_mm + seen)
            / (PRIOR_FREEDOM + scatter.freedom.iter().sum::<f64>());
        let zones = scatter.square.iter().zip(&scatter.freedom).zip(self.shape);
        let variance = zones.map(|((square, freedom), u)| {
            (COMMON_FREEDOM * scale * u * u + square) / (COMMON_FREEDOM + freedom)
        });
        variance.map(|v| v.max(self.least_mm2).sqrt()).collect()
    }
}

/// Readings far from what the others say of them, the worst first; `noise` gives the sigma of a zone and its degrees of
/// freedom without the square of what the reading itself adds.
fn outliers(fit: &TwoWay, noise: impl Fn(usize, f64) -> (f64, f64)) -> Vec<Outlier> {
    let mut found: Vec<Outlier> = fit
        .residuals
        .iter()
        .filter(|r| r.spare > 1e-6)
        .map(|r| {
            let (sigma, freedom) = noise(r.zone, r.residual_mm * r.residual_mm / r.spare);
            let sigmas = normal_of_student(r.residual_mm / (sigma * r.spare.sqrt()), freedom);
            Outlier { run: r.run, opening: r.zone, sigmas }
        })
        .filter(|outlier| outlier.sigmas.abs() > OUTLYING)
        .collect();
    found.sort_by(|a, b| b.sigmas.abs().total_cmp(&a.sigmas.abs()));
    found
}

/// The normal deviate that is as improbable as Student's t.
///
/// Source: Wallace 1959, Ann. Math. Stat. 30, 1121, from memory; good to 0.02 for five degrees of freedom or more.
pub(super) fn normal_of_student(t: f64, freedom: f64) -> f64 {
    if freedom.is_infinite() {
        return t;
    }
    let shrink = (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0);
    (shrink * (freedom * libm::log1p(t * t / freedom)).sqrt()).copysign(t)
}

impl KnifeEdgeReadings {
    /// Mean reading of each opening over all runs, mm, as the stage counts; the runs' zeros are held together.
    pub fn mean_mm(&self) -> Vec<f64> {
        let sign = self.readings_increase().sign();
        self.zone_means().mean_mm.iter().map(|m| sign * m).collect()
    }

    /// Noise of one reading of each opening, mm: from the repeats, and with few of them from what is usual (half of the
    /// Airy radius at the knife at 550 nm, worth three degrees of freedom).
    pub fn sigma_mm(&self) -> Vec<f64> {
        self.zone_means().sigma_mm
    }

    /// Readings that do not fit with the other runs of their opening, the worst first: as improbable as 3.5 standard
    /// deviations. Each raises the noise of all; look at it again.
    pub fn outliers(&self) -> Vec<Outlier> {
        self.zone_means().outliers
    }

    fn zone_means(&self) -> ZoneMeans {
        let means = ZoneMeans::new(self, &ReduceOptions::default());
        means.unwrap_or_else(|_| unreachable!("runs are joined: checked when the readings were made"))
    }
}

/// All readings that were taken, turned to count away from the mirror.
pub(super) fn entries(readings: &KnifeEdgeReadings) -> Vec<Entry> {
    let sign = readings.readings_increase().sign();
    let of_run = |(run, row): (usize, &Vec<Option<f64>>)| {
        let taken = row.iter().enumerate().filter_map(|(zone, reading)| Some((zone, (*reading)?)));
        taken.map(|(zone, reading)| Entry { run, zone, reading_mm: sign * reading }).collect::<Vec<_>>()
    };
    readings.runs_mm().iter().enumerate().flat_map(of_run).collect()
}

fn stated_sigma(stated: &[f64], zones: usize) -> Result<Vec<f64>> {
    match stated {
        [one] => Ok(vec![*one; zones]),
        list if list.len() == zones => Ok(list.to_vec()),
        list => {
            let allowed = format!("one number, or one for each of the {zones} openings");
            Err(Error::input("reading_sigma_mm", format!("{} numbers", list.len()), allowed, ""))
        }
    }
}

/// How the noise of a reading depends on its opening: how far along the axis the crossing moves for a step
/// across the knife.
fn shape(readings: &KnifeEdgeReadings) -> Vec<f64> {
    let scale = readings.source().gain() * readings.radius_of_curvature().0;
    readings.openings().iter().map(|o| scale / o.middle_mm()).collect()
}

/// The step of the scale: the largest of the usual ones of which every reading is a whole multiple.
fn step_mm(entries: &[Entry]) -> f64 {
    // A few readings may all be multiples of a coarse step by chance.
    let coarse = [0.1, 0.05, 0.02];
    let fine = [0.01, 0.005, 0.001];
    let coarse = if entries.len() >= 10 { &coarse[..] } else { &[] };
    let is_multiple = |step: f64| {
        entries.iter().all(|entry| {
            let steps = entry.reading_mm / step;
            (steps - steps.round()).abs() < 1e-6
        })
    };
    coarse.iter().chain(&fine).copied().find(|&step| is_multiple(step)).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop_test::{MaskOpening, ReadingsIncrease, TestSource};
    use crate::units::RadiusOfCurvatureMm;

    fn readings(runs_mm: Vec<Vec<f64>>) -> KnifeEdgeReadings {
        let rims = [20.0, 50.0, 70.0, 85.0, 95.0];
        let ring = |pair: &[f64]| MaskOpening { inner_radius_mm: pair[0], outer_radius_mm: pair[1] };
        KnifeEdgeReadings::through_openings(
            200.0,
            RadiusOfCurvatureMm(2400.0),
            TestSource::Moving,
            ReadingsIncrease::AwayFromMirror,
            rims.windows(2).map(ring).collect(),
            runs_mm,
        )
        .expect("a paraboloid's readings, nearly")
    }

    fn means(readings: &KnifeEdgeReadings) -> ZoneMeans {
        ZoneMeans::new(readings, &ReduceOptions::default()).expect("joined runs")
    }

    #[test]
    fn runs_with_free_zeros_give_plain_means_and_know_how_sure_they_are() {
        let three = means(&readings(vec![
            vec![0.31, 0.76, 1.26, 1.70],
            vec![2.31, 2.78, 3.24, 3.70],
            vec![5.31, 5.74, 6.27, 6.70],
        ]));
        // Closed form: without holes the contrasts of zone means are those of the plain means.
        assert!((three.mean_mm[1] - three.mean_mm[0] - 0.45).abs() < 1e-12);
        // (runs - 1)(zones - 1) and the prior's three, 9 in all; chi-square of 9 has its median at 8.342833 (tables).
        assert!((three.scales()[2] - 9.0 / 8.342_833).abs() < 1e-6);
    }

    #[test]
    fn one_run_has_the_noise_of_the_prior() {
        let one = means(&readings(vec![vec![0.31, 0.76, 1.26, 1.70]]));
        // Closed form: 0.5 x 1.21967 x 550e-6 mm x F 6 x R/r.
        let sigma = 0.5 * 1.219_669_89 * 550e-6 * 6.0 * 2400.0 / 35.0;
        assert!((one.sigma_mm[0] - sigma).abs() < 1e-12);
        assert_eq!(one.scales().len(), SCALES);
    }

    #[test]
    fn readings_that_repeat_exactly_are_no_better_than_their_step() {
        let exact = means(&readings(vec![vec![0.3, 0.8, 1.3, 1.7]; 200]));
        let finest = exact.sigma_mm.iter().copied().fold(f64::INFINITY, f64::min);
        // Closed form: the standard deviation of rounding to 0.1 mm.
        assert!((finest - 0.1 / 12.0_f64.sqrt()).abs() < 1e-12, "{finest}");
    }

    #[test]
    fn students_tail_is_carried_to_the_normal_one() {
        // Tables: two-sided 1 % is t = 3.250 with 9 degrees of freedom, 2.576 for the normal; 0.1 %: 4.781 and 3.291.
        assert!((normal_of_student(3.250, 9.0) - 2.576).abs() < 0.02);
        assert!((normal_of_student(-4.781, 9.0) + 3.291).abs() < 0.03);
    }

    #[test]
    fn a_stated_noise_is_taken_as_it_is() {
        let options = ReduceOptions { reading_sigma_mm: Some(vec![0.07]), ..ReduceOptions::default() };
        let readings = readings(vec![vec![0.31, 0.76, 1.26, 1.70]; 2]);
        let stated = ZoneMeans::new(&readings, &options).expect("joined runs");
        assert_eq!((stated.sigma_mm.as_slice(), stated.scales()), ([0.07; 4].as_slice(), vec![1.0]));
        let three = ReduceOptions { reading_sigma_mm: Some(vec![0.07; 3]), ..options };
        assert!(ZoneMeans::new(&readings, &three).is_err());
    }
}
