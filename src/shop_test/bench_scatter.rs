//! What a bench adds to its readings in all runs alike, seen by reading one surface on two benches.

use nalgebra::{DMatrix, DVector, SymmetricEigen};
use serde::{Deserialize, Serialize};

use super::noise::ZoneMeans;
use super::opening::TestSource;
use super::options::ReduceOptions;
use super::readings::KnifeEdgeReadings;
use super::two_way::contrasts;
use crate::error::{Error, Result};
use crate::numeric::{chi_square, roots};

/// The scatter lies below its upper bound in this share of repeats, or more.
const SHARE: f64 = 0.95;

/// What a bench adds to the reading of each opening in all its runs alike, as far as two benches show it.
///
/// Units: mm of a reading with a moving source. Mask, air and eye turn the light by an angle, which a fixed source
/// shows doubled: see [`BenchScatter::reading_mm`].
///
/// ```
/// use catoptric::{BenchScatter, ReduceOptions, TestSource};
/// let found = BenchScatter { scatter_mm: 0.02, upper_mm: 0.05, p_value: 0.2, freedom: 7 };
/// let options = ReduceOptions { bench_scatter_mm: found.reading_mm(TestSource::Fixed), ..Default::default() };
/// assert_eq!(options.bench_scatter_mm, 0.04);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BenchScatter {
    /// Estimated standard deviation, mm of a moving-source reading; 0 where the noise explains all differences.
    pub scatter_mm: f64,
    /// It is no larger than this in 95 % of cases or more, mm of a moving-source reading.
    pub upper_mm: f64,
    /// Chance that two benches without scatter differ as much or more.
    pub p_value: f64,
    /// Degrees of freedom: openings less one, for the free zero.
    pub freedom: usize,
}

impl BenchScatter {
    /// The estimate in mm of a reading with this source: the `bench_scatter_mm` for the readings of such a bench.
    ///
    /// ```
    /// use catoptric::{BenchScatter, TestSource};
    /// let found = BenchScatter { scatter_mm: 0.02, upper_mm: 0.05, p_value: 0.2, freedom: 7 };
    /// assert_eq!(found.reading_mm(TestSource::Moving), 0.02);
    /// ```
    pub fn reading_mm(&self, source: TestSource) -> f64 {
        source.gain() * self.scatter_mm
    }
}

/// How much two benches scatter beyond the noise of their readings, from one surface read on both.
///
/// Both benches are taken to scatter alike, opening by opening independently; the zeros are free. Nothing else is: a
/// difference that grows with r^2 (a source that stands off the centre of curvature, a wrong scale of a stage) changes the
/// figure as a wrong conic would, so it counts as scatter.
/// Units: mm of a moving-source reading.
/// Errors: [`Error::Input`] for readings of two mirrors, through other openings, or the same ones given twice.
/// Method: estimate where the weighted squares of the differences equal their degrees of freedom (Paule & Mandel 1982,
/// J. Res. NBS 87, 377, from memory); bound where they equal the 5 % quantile of chi-square (Viechtbauer 2007, Stat. Med.
/// 26, 37, from memory), averaged over the scales that the noise of each bench may have; but never below what differences of
/// just the noise's size would give, or benches that agree by luck would prove too much.
/// Tried on invented benches of eight openings and five runs (400 pairs a case): the square of the estimate is right in the mean to
/// 3 %, the bound held in 97 % where the scatter is 0.1 mm beside means good to 0.012 (rim) to 0.054 mm (middle), and in 99 to 100 %
/// where it is 0.03 mm or less.
/// Leaves out: whatever both benches share. The radii of one mask move the readings of both alike and do not show; with eight
/// openings the estimate itself is uncertain by about a third, and an estimate of 0 proves only `upper_mm`.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource, bench_scatter};
/// let bench = |runs_mm| KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], runs_mm,
/// );
/// let first = bench(vec![vec![0.33, 0.75, 1.33, 1.88], vec![0.36, 0.74, 1.34, 1.87], vec![0.31, 0.76, 1.32, 1.89]])?;
/// let second = bench(vec![vec![5.35, 5.76, 6.32, 6.88], vec![5.32, 5.75, 6.34, 6.89], vec![5.34, 5.74, 6.33, 6.87]])?;
/// let found = bench_scatter(&first, &second)?;
/// assert!(found.p_value > 0.05 && found.upper_mm < 0.1);
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn bench_scatter(first: &KnifeEdgeReadings, second: &KnifeEdgeReadings) -> Result<BenchScatter> {
    check_pair(first, second)?;
    let (first, second) = (Side::new(first)?, Side::new(second)?);
    let difference_mm = &first.error_mm - &second.error_mm;
    let best = Differences::new(&difference_mm, &first.noise_mm2 + &second.noise_mm2);
    let mut possible = Vec::new();
    for scale in &first.scales {
        for other in &second.scales {
            let noise_mm2 = &first.noise_mm2 * *scale + &second.noise_mm2 * *other;
            possible.push(Differences::new(&difference_mm, noise_mm2));
        }
    }
    let freedom = difference_mm.len();
    let usual: Vec<Differences> = possible.iter().map(|d| d.of_the_noise(&best)).collect();
    let upper_mm2 = upper_mm2(&possible, freedom).max(upper_mm2(&usual, freedom));
    Ok(BenchScatter {
        scatter_mm: best.scatter_mm2(freedom as f64).sqrt(),
        upper_mm: upper_mm2.sqrt(),
        p_value: chance(&possible, 0.0, freedom),
        freedom,
    })
}

/// One bench's contrasts, brought to a moving source.
struct Side {
    error_mm: DVector<f64>,
    noise_mm2: DMatrix<f64>,
    scales: Vec<f64>,
}

impl Side {
    fn new(readings: &KnifeEdgeReadings) -> Result<Self> {
        let means = ZoneMeans::new(readings, &ReduceOptions::default())?;
        let (openings, source) = (readings.openings(), readings.source());
        let (zones, radius) = (openings.len(), readings.radius_of_curvature());
        let rows = DMatrix::from_row_slice(zones - 1, zones, &contrasts(zones));
        let errors = DVector::from_fn(zones, |zone, _| {
            (means.mean_mm[zone] - openings[zone].ideal_reading_mm(source, radius)) / source.gain()
        });
        let noise_mm2 = means.contrast_covariance().ok_or_else(|| {
            let allowed = "openings of comparable noise";
            Error::input("openings", "beyond what arithmetic holds", allowed, "an opening at the centre?")
        })?;
        Ok(Self {
            error_mm: rows * errors,
            noise_mm2: noise_mm2 / source.gain().powi(2),
            scales: means.scales(),
        })
    }
}

/// Squared differences of the two benches along the axes of their noise, and its variance there.
struct Differences {
    axes: DMatrix<f64>,
    noise_mm2: DVector<f64>,
    square_mm2: DVector<f64>,
}

impl Differences {
    fn new(difference_mm: &DVector<f64>, noise_mm2: DMatrix<f64>) -> Self {
        let noise = SymmetricEigen::new(noise_mm2);
        let along = noise.eigenvectors.transpose() * difference_mm;
        Self {
            square_mm2: along.component_mul(&along),
            noise_mm2: noise.eigenvalues,
            axes: noise.eigenvectors,
        }
    }

    /// The same noise, with differences that have just the size of another one.
    fn of_the_noise(&self, other: &Self) -> Self {
        let noise = &other.axes * DMatrix::from_diagonal(&other.noise_mm2) * other.axes.transpose();
        let square_mm2 = (self.axes.transpose() * noise * &self.axes).diagonal();
        Self { axes: self.axes.clone(), noise_mm2: self.noise_mm2.clone(), square_mm2 }
    }

    /// Weighted sum of squares if each bench scatters by this variance.
    fn weighed(&self, scatter_mm2: f64) -> f64 {
        let pairs = self.square_mm2.iter().zip(&self.noise_mm2);
        pairs.map(|(square, noise)| square / (noise + 2.0 * scatter_mm2)).sum()
    }

    /// The scatter at which the weighted sum of squares is `wanted`; 0 if it is less without any.
    fn scatter_mm2(&self, wanted: f64) -> f64 {
        // Each term is less than its square over twice the scatter.
        let far = self.square_mm2.sum() / (2.0 * wanted);
        roots::bracketed(|scatter| self.weighed(scatter) - wanted, 0.0, far, 1e-12 * far).unwrap_or(0.0)
    }
}

/// The scatter above which differences so small come in less than 5 % of cases; 0 if they do without any.
fn upper_mm2(possible: &[Differences], freedom: usize) -> f64 {
    let least = chi_square::quantile(1.0 - SHARE, freedom as f64);
    let far = possible.iter().map(|d| d.square_mm2.sum()).fold(0.0, f64::max) / (2.0 * least);
    roots::bracketed(|scatter| chance(possible, scatter, freedom) - SHARE, 0.0, far, 1e-12 * far)
        .unwrap_or(0.0)
}

/// Chance of differences as large or larger, if each bench scatters by this variance.
fn chance(possible: &[Differences], scatter_mm2: f64, freedom: usize) -> f64 {
    let above = possible.iter().map(|d| chi_square::share_above(d.weighed(scatter_mm2), freedom as f64));
    above.sum::<f64>() / possible.len() as f64
}

fn check_pair(first: &KnifeEdgeReadings, second: &KnifeEdgeReadings) -> Result<()> {
    let sizes = [
        ("second.clear_aperture_mm", second.clear_aperture_mm(), first.clear_aperture_mm()),
        ("second.radius_of_curvature_mm", second.radius_of_curvature().0, first.radius_of_curvature().0),
    ];
    for (field, found, wanted) in sizes {
        if (found - wanted).abs() > 1e-9 * wanted {
            let allowed = format!("the {wanted} of the first: one mirror has one");
            return Err(Error::input(field, found, allowed, "readings of two different mirrors?"));
        }
    }
    if first.openings() != second.openings() {
        let found = format!("{} openings that are not those of the first", second.openings().len());
        let allowed = "the openings of the first, at the same radii";
        return Err(Error::input("second.openings", found, allowed, "another mask?"));
    }
    if first == second {
        let allowed = "readings taken anew on another bench";
        return Err(Error::input("second", "the first once more", allowed, "the same file given twice?"));
    }
    Ok(())
}
