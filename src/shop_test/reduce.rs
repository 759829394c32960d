//! Readings in, a figure with both of its intervals out.

use std::sync::Arc;

use nalgebra::DMatrix;

use super::estimate::{Draws, Estimated, FigureEstimate, Kept, Measured};
use super::noise::ZoneMeans;
use super::options::ReduceOptions;
use super::plain::Reduction;
use super::readings::KnifeEdgeReadings;
use super::unseen::{Analysis, EdgeFinding, assumed_ends, smooth_figure, zone_checks};
use crate::error::{Error, Result};

/// Weight of the largest narrow zones above which the readings deserve a second look.
const SUSPECT_WEIGHT: f64 = 0.5;

/// The plain reduction as what it is: a linear operator from mean readings to heights.
///
/// Units: mm of reading, nm of glass height at best focus.
/// Shapes: a row for each radius, a column for each opening.
/// Errors: none; made by [`KnifeEdgeReadings::figure_operator`].
/// Leaves out: what the plain reduction leaves out.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
/// let readings = KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.9302]],
/// )?;
/// let figure = readings.reduce(Default::default())?;
/// let operator = readings.figure_operator(&figure.radius_mm, &Default::default())?;
/// let height_nm = operator.height_nm(&figure.zone_error_mm);
/// assert!((height_nm[4] - figure.height_nm[4]).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct FigureOperator {
    /// Radii of the heights, mm.
    pub radius_mm: Vec<f64>,
    /// Height at each radius for each mm by which an opening's mean reading exceeds that of the paraboloid, nm/mm.
    pub nm_per_mm: Vec<Vec<f64>>,
}

impl FigureOperator {
    /// Heights, nm, from what the mean readings are too long by, mm; a common zero changes nothing.
    pub fn height_nm(&self, error_mm: &[f64]) -> Vec<f64> {
        self.nm_per_mm.iter().map(|row| row.iter().zip(error_mm).map(|(a, e)| a * e).sum()).collect()
    }
}

impl KnifeEdgeReadings {
    /// The radial figure that the readings show, with what their noise makes uncertain.
    ///
    /// Units: nm of glass height, mm; see [`FigureEstimate`].
    /// Errors: [`crate::Error::Input`] for options that cannot be, and for openings or readings beyond the model of the
    /// total interval (figures whose crossings are off by 0.3 of the radius of curvature).
    /// Method: heights at the rims of the openings, straight in r^2 between them. The noise-only intervals come from
    /// repeating that reduction with readings redrawn within their noise; the total ones from figures of another model
    /// (a conic, broad and narrow zones, an edge), each of which gives the readings within noise and radii.
    /// Source: the closed form of the mean crossing over an opening, own derivation from the normal of a surface; zones at
    /// their area radius, common practice.
    /// Leaves out: the plain figure, terms of second order in the surface error (2 to 10 % of the signal of a narrow
    /// deep edge; the total interval has them) and an edge within the last opening, which it smears; the total
    /// interval, what its assumptions rule out: see [`FigureEstimate::assumption`].
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// // An ellipsoid, K = -0.80; its wavefront has RMS 26.96 nm (own computation from exact normals).
    /// let readings = KnifeEdgeReadings::at_radii(
    ///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    ///     &[31.622777, 54.772256, 70.710678, 83.666003, 94.868330],
    ///     vec![vec![0.166668, 0.500013, 0.833370, 1.166738, 1.500117]],
    /// )?;
    /// let figure = readings.reduce(Default::default())?;
    /// assert!((figure.rms_nm.value / 26.9588 - 1.0).abs() < 0.01);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn reduce(&self, options: ReduceOptions) -> Result<FigureEstimate> {
        options.check()?;
        let means = ZoneMeans::new(self, &options)?;
        let reduction = Reduction::new(self, &options);
        let errors_mm = reduction.errors_mm(&means.mean_mm);
        let spread_mm = means.spread().ok_or_else(unequal)?;
        let best = reduction.quality(&errors_mm);
        let draws = reduction.repeat(&errors_mm, &means, &spread_mm, &options);
        let analysis = Analysis::new(self, &means, &options)?;
        let evidence = analysis.evidence()?;
        let allowed = analysis.posterior(&evidence, 0);
        let assumed_ends = assumed_ends(&analysis.model.prior, &allowed);
        let total = &allowed.draws;
        let covariance = reduction.covariance(&means, &spread_mm);
        Ok(FigureEstimate {
            readings: self.clone(),
            radius_mm: reduction.rims_mm.clone(),
            height_nm: reduction.heights_at_best_focus(&errors_mm),
            covariance_nm2: rows(&covariance),
            zone_mean_mm: means.mean_mm,
            zone_sigma_mm: means.sigma_mm,
            zone_error_mm: errors_mm,
            rms_nm: Measured::new(best.rms_nm, &draws.rms_nm, &total.rms_nm),
            pv_nm: Measured::new(best.pv_nm, &draws.pv_nm, &total.pv_nm),
            strehl: Measured::new(best.strehl, &draws.strehl, &total.strehl),
            strehl_least_rms: Measured::new(
                best.strehl_least_rms,
                &draws.strehl_least_rms,
                &total.strehl_least_rms,
            ),
            seen_rms_nm: Estimated::of(&allowed.seen_rms_nm),
            smooth: smooth_figure(&analysis, &allowed),
            edge: EdgeFinding::of(&analysis, &evidence, &allowed),
            zone_checks: zone_checks(&analysis, &evidence),
            second_look: evidence.weight_of_largest_zones() > SUSPECT_WEIGHT,
            draws,
            total_draws: allowed.draws,
            assumed_ends,
            options,
            kept: Kept(Arc::new((self.clone(), analysis, evidence))),
        })
    }

    /// The plain reduction alone, repeated with readings drawn again within their noise, whose scale is drawn as well.
    ///
    /// Errors: those of [`KnifeEdgeReadings::reduce`]. Leaves out: everything that the readings cannot see.
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, ReduceOptions, TestSource};
    /// let readings = KnifeEdgeReadings::at_radii(
    ///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    ///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]; 5],
    /// )?;
    /// let repeats = readings.repeat_with_noise(&ReduceOptions { draws: 10_000, ..Default::default() })?;
    /// assert_eq!(repeats.strehl.len(), 10_000);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn repeat_with_noise(&self, options: &ReduceOptions) -> Result<Draws> {
        options.check()?;
        let means = ZoneMeans::new(self, options)?;
        let reduction = Reduction::new(self, options);
        let spread_mm = means.spread().ok_or_else(unequal)?;
        Ok(reduction.repeat(&reduction.errors_mm(&means.mean_mm), &means, &spread_mm, options))
    }

    /// The exact operator of the plain reduction, from mean readings to heights at best focus at any radii.
    ///
    /// Units: mm, nm. Errors: [`Error::Input`] for a radius off the mirror, and for options that cannot be.
    pub fn figure_operator(&self, radius_mm: &[f64], options: &ReduceOptions) -> Result<FigureOperator> {
        options.check()?;
        let rim_mm = self.clear_aperture_mm() / 2.0;
        if let Some(r) = radius_mm.iter().find(|r| !(0.0..=rim_mm * (1.0 + 1e-9)).contains(*r)) {
            let allowed = format!("0 to {rim_mm} mm, half the clear aperture");
            return Err(Error::input("radius_mm", r, allowed, "diameters given for radii?"));
        }
        let operator = Reduction::new(self, options).operator(radius_mm);
        Ok(FigureOperator { radius_mm: radius_mm.to_vec(), nm_per_mm: rows(&operator) })
    }
}

fn rows(matrix: &DMatrix<f64>) -> Vec<Vec<f64>> {
    matrix.row_iter().map(|row| row.iter().copied().collect()).collect()
}

pub(super) fn unequal() -> Error {
    let allowed = "openings of comparable width, away from the centre";
    Error::input(
        "openings",
        "beyond what arithmetic holds",
        allowed,
        "an opening of no width, or at the centre?",
    )
}
