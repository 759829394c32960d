//! A figure estimated from readings, and what is uncertain about it.

use serde::{Deserialize, Serialize};

use super::options::ReduceOptions;
use super::readings::KnifeEdgeReadings;
use crate::model::{Joined, Primary, RadialProfile};
use crate::numeric::stats;

/// The share of repeats that an interval holds.
const SHARE: f64 = 0.95;

/// An interval that holds a stated share of the repeats.
///
/// ```
/// let interval = catoptric::Interval { low: 0.69, high: 0.72, share: 0.95 };
/// assert!(interval.low < interval.high);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Share of the repeats between them.
    pub share: f64,
}

/// A value with the interval that its repeats span.
///
/// The interval is the hull of the shortest and the equal-tailed one: equal tails alone fail where a Strehl
/// is pressed against 1.
///
/// ```
/// use catoptric::{Interval, Measured};
/// let strehl = Measured { value: 0.71, noise: Interval { low: 0.69, high: 0.72, share: 0.95 } };
/// assert!(strehl.noise.low < strehl.value);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// The value from the mean readings.
    pub value: f64,
    /// What the noise of the readings alone makes of it.
    pub noise: Interval,
}

impl Measured {
    pub(crate) fn new(value: f64, draws: &[f64]) -> Self {
        Self { value, noise: Interval::of(draws) }
    }
}

impl Interval {
    pub(crate) fn of(draws: &[f64]) -> Self {
        let mut sorted = draws.to_vec();
        sorted.sort_by(f64::total_cmp);
        let ends = [stats::shortest_interval(&sorted, SHARE), stats::equal_tailed(&sorted, SHARE)];
        let (low, high) = ends
            .into_iter()
            .flatten()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), (a, b)| (l.min(a), h.max(b)));
        Self { low, high, share: SHARE }
    }
}

/// Repeats of a reduction with readings drawn again within their noise: lists of one length.
///
/// Draw number i of two estimates with one seed use the same stream of noise for the same opening.
///
/// ```
/// assert!(catoptric::Draws::default().strehl.is_empty());
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Draws {
    /// Strehl at the brightest focus.
    pub strehl: Vec<f64>,
    /// Strehl at the focus of least RMS.
    pub strehl_least_rms: Vec<f64>,
    /// RMS of the wavefront at the focus of least RMS, nm.
    pub rms_nm: Vec<f64>,
    /// PV of the wavefront at the focus of least RMS, nm.
    pub pv_nm: Vec<f64>,
}

/// The radial figure that a set of readings shows.
///
/// Units: mm, nm of glass height (hill positive) at best focus; RMS, PV and Strehl are those of the wavefront.
/// Shapes: `radius_mm`, `height_nm` and both sides of `covariance_nm2` have one entry a knot; the zone lists
/// one an opening.
/// Leaves out: whatever the readings cannot see. The intervals hold reading noise only; an edge inside
/// the last opening lies outside of them.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
/// let readings = KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.9302]],
/// )?;
/// let figure = readings.reduce(Default::default())?;
/// let last = figure.height_nm.len() - 1;
/// assert!(figure.height_nm[last] < figure.height_nm[last - 1], "a longer reading at the rim: turned down");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FigureEstimate {
    /// The readings behind it.
    pub readings: KnifeEdgeReadings,
    /// How they were reduced.
    pub options: ReduceOptions,
    /// Radii of the knots: centre, rims between openings, rim of the mirror, mm.
    pub radius_mm: Vec<f64>,
    /// Surface heights at the knots, nm; between them straight in r^2.
    pub height_nm: Vec<f64>,
    /// Covariance of the heights from reading noise, nm^2.
    pub covariance_nm2: Vec<Vec<f64>>,
    /// Mean reading of each opening, each run's zero taken off, mm away from the mirror.
    pub zone_mean_mm: Vec<f64>,
    /// Noise of one reading of each opening, mm.
    pub zone_sigma_mm: Vec<f64>,
    /// Mean reading less that of the paraboloid, mm; the mean over openings taken off.
    pub zone_error_mm: Vec<f64>,
    /// RMS of the wavefront at the focus of least RMS, nm.
    pub rms_nm: Measured,
    /// PV of the wavefront at the focus of least RMS, nm.
    pub pv_nm: Measured,
    /// Strehl at the brightest focus, where an observer focuses.
    pub strehl: Measured,
    /// Strehl at the focus of least RMS.
    pub strehl_least_rms: Measured,
    /// The repeats behind the intervals.
    pub draws: Draws,
}

impl FigureEstimate {
    /// Standard deviations of the heights from reading noise, nm.
    pub fn height_sigma_nm(&self) -> Vec<f64> {
        (0..self.radius_mm.len()).map(|i| self.covariance_nm2[i][i].max(0.0).sqrt()).collect()
    }

    /// The figure as a layer for a primary.
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// # let readings = KnifeEdgeReadings::at_radii(
    /// #     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    /// #     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
    /// # )?;
    /// let figure = readings.reduce(Default::default())?;
    /// assert_eq!(figure.as_layer().radius_mm.last(), Some(&100.0));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn as_layer(&self) -> RadialProfile {
        RadialProfile::new(self.radius_mm.clone(), self.height_nm.clone()).joined(Joined::StraightInArea)
    }

    /// A paraboloid of the tested size with the figure on it.
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// # let readings = KnifeEdgeReadings::at_radii(
    /// #     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    /// #     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
    /// # )?;
    /// assert_eq!(readings.reduce(Default::default())?.primary().focal_length_mm, 1200.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn primary(&self) -> Primary {
        Primary::new(self.readings.clear_aperture_mm(), self.readings.radius_of_curvature())
            .layer(self.as_layer())
    }
}
