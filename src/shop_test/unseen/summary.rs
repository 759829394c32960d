//! The figures that the readings allow, summed up: their mean with its covariance, and what they say of the edge.

use serde::{Deserialize, Serialize};

use super::evidence::Evidence;
use super::posterior::{Analysis, Posterior};
use crate::model::RadialProfile;
use crate::shop_test::estimate::Estimated;

/// The mean of the figures that the readings allow, with its full covariance.
///
/// A smooth curve: the figures are, between the rims of the openings, what the assumptions make of the readings
/// (continuous with their slopes and curvatures but where an edge begins). Focus and level are taken off each.
/// Units: mm, nm of glass height, nm^2.
/// Shapes: one entry for each radius; the covariance has so many rows and columns.
/// Leaves out: a mean of many edges is rounder than any of them, so that its Strehl is no estimate of the mirror's; take
/// that from the draws. Between two of its radii a cubic spline misses the mean by less than its standard deviation.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
/// let readings = KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
/// )?;
/// let smooth = readings.reduce(Default::default())?.smooth;
/// assert_eq!(smooth.covariance_nm2.len(), smooth.radius_mm.len());
/// let sigma = smooth.sigma_nm();
/// assert!(sigma[sigma.len() - 1] > sigma[sigma.len() / 2], "the edge is known worst");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SmoothFigure {
    /// Radii, from the centre to the rim, mm.
    pub radius_mm: Vec<f64>,
    /// Mean height of the glass at best focus, nm.
    pub height_nm: Vec<f64>,
    /// Covariance of the heights: noise, radii, and what the readings cannot see, nm^2.
    pub covariance_nm2: Vec<Vec<f64>>,
}

impl SmoothFigure {
    /// Standard deviations of the heights, nm.
    pub fn sigma_nm(&self) -> Vec<f64> {
        (0..self.radius_mm.len()).map(|i| self.covariance_nm2[i][i].max(0.0).sqrt()).collect()
    }

    /// The mean figure as a layer for a primary.
    pub fn as_layer(&self) -> RadialProfile {
        RadialProfile::new(self.radius_mm.clone(), self.height_nm.clone())
    }
}

/// What the readings say of a turned or raised edge.
///
/// Units: nm of glass, mm.
/// Leaves out: with a fall that may be nothing, the widths are those that were assumed.
///
/// ```
/// use catoptric::{EdgeFinding, Estimated, Interval};
/// let fall_nm = Estimated { median: -250.0, total: Interval { low: -400.0, high: -150.0, share: 0.95 } };
/// let edge = EdgeFinding { fall_nm, least_width_mm: 1.4, greatest_width_mm: 11.0 };
/// assert!(edge.is_certain());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgeFinding {
    /// Height of the glass at the rim over that at the inner rim of the outermost opening, at best focus, nm: negative
    /// where the edge is turned down.
    pub fall_nm: Estimated,
    /// The edge is wider than this with a probability of 0.95, mm; widths are looked for from 1 to 15 mm.
    pub least_width_mm: f64,
    /// The edge is narrower than this with a probability of 0.95, mm.
    pub greatest_width_mm: f64,
}

impl EdgeFinding {
    /// Whether the interval of the fall leaves out that there is none.
    pub fn is_certain(&self) -> bool {
        self.fall_nm.total.low > 0.0 || self.fall_nm.total.high < 0.0
    }

    pub(crate) fn of(analysis: &Analysis, evidence: &Evidence, posterior: &Posterior) -> Self {
        let (grid, prior) = (&analysis.model.grid, &analysis.model.prior);
        let (inner, _, _) = analysis.model.rims[analysis.model.rims.len() - 1];
        let rim = grid.radius_mm.len() - 1;
        let square = grid.radius_mm[rim].powi(2) - grid.radius_mm[inner].powi(2);
        let falls: Vec<f64> = posterior
            .figures
            .rows()
            .map(|height_nm| {
                let (_, gain) = analysis.lit.level_and_focus(grid, height_nm);
                height_nm[rim] - height_nm[inner] - gain * square
            })
            .collect();
        let weights = evidence.edge_weights();
        let all: f64 = weights.iter().sum();
        let widths: Vec<f64> = prior.edge_width_mm.iter().map(|(width, _)| *width).collect();
        let by_width: Vec<f64> =
            weights.chunks_exact(prior.edge_shape.len()).map(|row| row.iter().sum()).collect();
        let width_at = |share: f64| {
            let mut passed = 0.0;
            let found = widths.iter().zip(&by_width).find(|(_, weight)| {
                passed += **weight;
                passed >= share * all
            });
            found.map_or(widths[widths.len() - 1], |(width, _)| *width)
        };
        Self {
            fall_nm: Estimated::of(&falls),
            least_width_mm: width_at(0.05),
            greatest_width_mm: width_at(0.95),
        }
    }
}

/// The mean of some draws at every second node, the centre and the rim.
pub(crate) fn smooth_figure(analysis: &Analysis, posterior: &Posterior) -> SmoothFigure {
    let grid = &analysis.model.grid;
    let last = grid.radius_mm.len() - 1;
    let centre = grid.point_at(0.0).unwrap_or(0);
    let kept: Vec<usize> = [centre].into_iter().chain((1..grid.nodes).step_by(2)).chain([last]).collect();
    let radius_mm: Vec<f64> = kept.iter().map(|&point| grid.radius_mm[point]).collect();
    let at_focus: Vec<Vec<f64>> = posterior
        .figures
        .rows()
        .map(|height_nm| {
            let (level, gain) = analysis.lit.level_and_focus(grid, height_nm);
            let flat = |(&point, r): (&usize, &f64)| height_nm[point] - level - gain * r * r;
            kept.iter().zip(&radius_mm).map(flat).collect()
        })
        .collect();
    let count = at_focus.len() as f64;
    let mean: Vec<f64> =
        (0..kept.len()).map(|k| at_focus.iter().map(|row| row[k]).sum::<f64>() / count).collect();
    let mut covariance_nm2 = vec![vec![0.0; kept.len()]; kept.len()];
    for row in &at_focus {
        let off: Vec<f64> = row.iter().zip(&mean).map(|(h, m)| h - m).collect();
        for (sums, a) in covariance_nm2.iter_mut().zip(&off) {
            for (sum, b) in sums.iter_mut().zip(&off) {
                *sum += a * b;
            }
        }
    }
    for value in covariance_nm2.iter_mut().flatten() {
        *value /= count - 1.0;
    }
    SmoothFigure { radius_mm, height_nm: mean, covariance_nm2 }
}
