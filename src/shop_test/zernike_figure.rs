//! What an interferometer's report means for the wavefront of the whole mirror.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use super::estimate::Interval;
use super::evidence::{Bounds, untested_share};
use super::zernike_report::{TestPlace, ZernikeReport};
use crate::error::{Error, Result};
use crate::numeric::gauss::on_interval;
use crate::numeric::least_squares;
use crate::numeric::random::Stream;
use crate::numeric::zernike::{Indexing, norm, radial, zernike};
use crate::units::DEFAULT_WAVELENGTH_NM;
use crate::wave::Wavefront;

/// Piston, tilts and focus: what moving the reference point removes.
const MOVED: u32 = 4;
/// Nodes for the draws: along the radius in r^2, and around; exact for polynomials of order 40.
const RINGS: usize = 24;
const SPOKES: usize = 64;

/// The wavefront error of the whole mirror that a report shows.
///
/// The report's terms less those of a perfect paraboloid, over the whole clear aperture at the focus of least RMS (and
/// without tilt) on the annulus that the diagonal leaves.
///
/// Units: nm of wavefront; `coefficients_nm` by Noll's index, of unit RMS over the clear aperture, from 5 on.
/// Source: `strehl` is the exact pupil integral; intervals hold 95 % of draws with every coefficient redrawn from a normal
/// distribution of `coefficient_sigma_nm`.
/// Leaves out: all that the terms cannot show, a turned edge above all; correlation between coefficients; the mirror's slope, (r/R)^2
/// of the error (0.4 % at the rim at f/4). Where the tested circle is smaller than the mirror its polynomials are
/// continued to the rim, which `assumptions` says.
///
/// ```
/// use catoptric::*;
/// let report = ZernikeReport::new(ZernikeReportInput {
///     coefficients: [(5, 0.010), (11, -0.020)].into(),
///     indexing: Indexing::Noll,
///     normalisation: Normalisation::Rms,
///     unit: CoefficientUnit::Waves,
///     wavelength_nm: Some(632.8),
///     surface_or_wavefront: SurfaceOrWavefront::Wavefront,
///     test: TestPlace::AtFocus,
///     tested_diameter_mm: 200.0,
///     clear_aperture_mm: 200.0,
///     radius_of_curvature_mm: 2400.0,
///     coefficient_sigma_nm: 2.0,
/// })?;
/// let figure = report.figure(0.0, 550.0, 400, 1)?;
/// assert!((figure.rms_nm - 632.8 * 0.0005_f64.sqrt()).abs() < 1e-9);
/// assert!(figure.strehl_interval.holds(figure.strehl));
/// # Ok::<(), Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Continued", into = "Continued")]
pub struct ZernikeFigure {
    /// The report behind it.
    pub report: ZernikeReport,
    /// Diameter of the diagonal's shadow over the clear aperture.
    pub obstruction_ratio: f64,
    /// Wavelength of the Strehl, nm.
    pub wavelength_nm: f64,
    /// Seed of the draws.
    pub seed: u64,
    /// Coefficients beyond focus, nm, by Noll's index, over the clear aperture.
    pub coefficients_nm: BTreeMap<u32, f64>,
    /// RMS of the wavefront over the lit annulus, nm.
    pub rms_nm: f64,
    /// 95 % of its draws.
    pub rms_nm_interval: Bounds,
    /// Strehl at the focus of least RMS.
    pub strehl: f64,
    /// 95 % of its draws.
    pub strehl_interval: Bounds,
    /// RMS of each draw, nm.
    pub rms_nm_draws: Vec<f64>,
    /// Strehl of each draw.
    pub strehl_draws: Vec<f64>,
    /// Share of the clear aperture's area that was not tested.
    pub untested_share: f64,
    /// What is assumed and not measured.
    pub assumptions: Vec<String>,
    /// What is odd about the report.
    pub cautions: Vec<String>,
    /// What all this means, in one sentence.
    pub words: String,
}

/// What it is written down as; all else follows from it.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Continued {
    report: ZernikeReport,
    obstruction_ratio: f64,
    wavelength_nm: f64,
    draws: usize,
    seed: u64,
}

impl TryFrom<Continued> for ZernikeFigure {
    type Error = Error;

    fn try_from(from: Continued) -> Result<Self> {
        from.report.figure(from.obstruction_ratio, from.wavelength_nm, from.draws, from.seed)
    }
}

impl From<ZernikeFigure> for Continued {
    fn from(figure: ZernikeFigure) -> Self {
        Self {
            draws: figure.strehl_draws.len(),
            report: figure.report,
            obstruction_ratio: figure.obstruction_ratio,
            wavelength_nm: figure.wavelength_nm,
            seed: figure.seed,
        }
    }
}

impl ZernikeFigure {
    pub(super) fn of(
        report: &ZernikeReport,
        obstruction_ratio: f64,
        wavelength_nm: f64,
        draws: usize,
        seed: u64,
    ) -> Result<Self> {
        if !(100..=100_000).contains(&draws) {
            return Err(Error::input("draws", draws, "100 to 100000 repeats", ""));
        }
        let input = report.input();
        let growth = input.clear_aperture_mm / input.tested_diameter_mm;
        let reported = beyond_focus(&report.reported_nm());
        let mut tested = reported.clone();
        for (j, value) in report.null_nm() {
            *tested.entry(j).or_insert(0.0) -= value;
        }
        let coefficients_nm = beyond_focus(&continued(&tested, growth));
        let wavefront = at_least_rms(&coefficients_nm, obstruction_ratio, wavelength_nm)?;
        let draws = Drawn::new(&tested, &reported, growth, obstruction_ratio, wavelength_nm)?.draws(
            input.coefficient_sigma_nm,
            draws,
            seed,
        );
        let untested_share = untested_share(input.tested_diameter_mm, input.clear_aperture_mm);
        let mut figure = Self {
            report: report.clone(),
            obstruction_ratio,
            wavelength_nm,
            seed,
            rms_nm: wavefront.rms_nm,
            rms_nm_interval: interval(&draws.0, wavefront.rms_nm),
            strehl: wavefront.strehl,
            strehl_interval: interval(&draws.1, wavefront.strehl),
            coefficients_nm,
            rms_nm_draws: draws.0,
            strehl_draws: draws.1,
            untested_share,
            assumptions: assumptions(report, untested_share),
            cautions: cautions(report, &reported, &tested),
            words: String::new(),
        };
        figure.words = figure.sentence();
        Ok(figure)
    }

    fn sentence(&self) -> String {
        let largest = self.coefficients_nm.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        let most = largest.map_or(String::new(), |(j, value)| {
            format!(", most of it in term {j} of Noll's list ({value:+.1} nm)")
        });
        let spread = if self.report.input().coefficient_sigma_nm > 0.0 {
            format!(" ({:.3} to {:.3})", self.strehl_interval.low, self.strehl_interval.high)
        } else {
            " (coefficients taken as exact)".to_owned()
        };
        let terms = match self.report.input().coefficients.len() {
            1 => "one term".to_owned(),
            count => format!("{count} terms"),
        };
        format!(
            "This means a wavefront RMS of {:.1} nm beyond focus{most}, and a Strehl of {:.3}{spread} at {} nm, as far as \
             {terms} can show it.",
            self.rms_nm, self.strehl, self.wavelength_nm
        )
    }
}

fn beyond_focus(coefficients_nm: &BTreeMap<u32, f64>) -> BTreeMap<u32, f64> {
    coefficients_nm.range(MOVED + 1..).map(|(&j, &value)| (j, value)).collect()
}

/// The same polynomials as terms over a circle `growth` times as large.
///
/// A term of order n becomes terms of the same m and of orders up to n; its products with them are polynomials, so the
/// quadrature is exact.
fn continued(coefficients_nm: &BTreeMap<u32, f64>, growth: f64) -> BTreeMap<u32, f64> {
    if growth <= 1.0 {
        return coefficients_nm.clone();
    }
    let mut sum = BTreeMap::new();
    for (&j, &value) in coefficients_nm {
        let Some((n, m)) = Indexing::Noll.order(j) else { continue };
        let size = m.unsigned_abs();
        for lower in (size..=n).step_by(2) {
            let product = |square: f64| {
                let rho = square.sqrt();
                radial(n, size, rho * growth) * radial(lower, size, rho)
            };
            let integral: f64 = on_interval(RINGS, 0.0, 1.0).map(|(s, w)| w * product(s)).sum();
            let share = integral * norm(n, m) * norm(lower, m) / if m == 0 { 1.0 } else { 2.0 };
            if let Some(k) = Indexing::Noll.index(lower, m) {
                *sum.entry(k).or_insert(0.0) += value * share;
            }
        }
    }
    sum
}

/// The wavefront of these terms, with the focus and the tilt that make its RMS over the annulus least.
fn at_least_rms(
    coefficients_nm: &BTreeMap<u32, f64>,
    obstruction_ratio: f64,
    wavelength_nm: f64,
) -> Result<Wavefront> {
    let seen = |terms: &BTreeMap<u32, f64>| {
        Wavefront::from_zernikes(terms, Indexing::Noll, obstruction_ratio, None, wavelength_nm)
    };
    let found = seen(coefficients_nm)?.zernikes(Indexing::Noll, MOVED)?;
    let mut focused = coefficients_nm.clone();
    focused.extend(found.into_iter().map(|(j, value)| (j, -value)));
    seen(&focused)
}

/// Terms at the nodes of the annulus, focus and tilt taken out of each: a draw is a sum of columns.
struct Drawn {
    weight: Vec<f64>,
    /// The wavefront of the report, nm.
    middle: Vec<f64>,
    /// What one nm of each reported coefficient adds.
    columns: Vec<Vec<f64>>,
    wavelength_nm: f64,
}

impl Drawn {
    fn new(
        tested: &BTreeMap<u32, f64>,
        reported: &BTreeMap<u32, f64>,
        growth: f64,
        obstruction_ratio: f64,
        wavelength_nm: f64,
    ) -> Result<Self> {
        let mut points = Vec::with_capacity(RINGS * SPOKES);
        let mut weight = Vec::with_capacity(RINGS * SPOKES);
        for (square, share) in on_interval(RINGS, obstruction_ratio * obstruction_ratio, 1.0) {
            for spoke in 0..SPOKES {
                points.push((square.sqrt(), TAU * (spoke as f64 + 0.5) / SPOKES as f64));
                weight.push(share / (SPOKES as f64 * (1.0 - obstruction_ratio * obstruction_ratio)));
            }
        }
        let at_nodes = |j: u32, growth: f64| -> Vec<f64> {
            let (n, m) = Indexing::Noll.order(j).unwrap_or((0, 0));
            points.iter().map(|&(rho, theta)| zernike(n, m, rho * growth, theta)).collect()
        };
        let moved: Vec<Vec<f64>> = (1..=MOVED).map(|j| at_nodes(j, 1.0)).collect();
        let focused = |mut column: Vec<f64>| {
            let shares = least_squares::weighted(column.len(), &moved, &weight, &column).ok_or(
                Error::NotConverged { what: "the focus of a term", reached: f64::EPSILON, wanted: 1e-9 },
            )?;
            for (term, share) in moved.iter().zip(shares) {
                column.iter_mut().zip(term).for_each(|(c, t)| *c -= share * t);
            }
            Ok(column)
        };
        let mut middle = vec![0.0; points.len()];
        for (&j, &value) in tested {
            middle.iter_mut().zip(at_nodes(j, growth)).for_each(|(sum, term)| *sum += value * term);
        }
        let middle = focused(middle)?;
        let columns = reported.keys().map(|&j| focused(at_nodes(j, growth))).collect::<Result<_>>()?;
        Ok(Self { weight, middle, columns, wavelength_nm })
    }

    /// RMS in nm and Strehl of each draw.
    fn draws(&self, sigma_nm: f64, count: usize, seed: u64) -> (Vec<f64>, Vec<f64>) {
        let mut stream = Stream::new(seed, 0);
        let mut path = self.middle.clone();
        let mut one = || {
            path.copy_from_slice(&self.middle);
            for column in &self.columns {
                let step = sigma_nm * stream.normal();
                path.iter_mut().zip(column).for_each(|(sum, term)| *sum += step * term);
            }
            self.quality(&path)
        };
        (0..count).map(|_| one()).unzip()
    }

    fn quality(&self, path_nm: &[f64]) -> (f64, f64) {
        let per_nm = TAU / self.wavelength_nm;
        let [mut square, mut re, mut im] = [0.0; 3];
        for (path, weight) in path_nm.iter().zip(&self.weight) {
            let (sin, cos) = (per_nm * path).sin_cos();
            square += weight * path * path;
            re += weight * cos;
            im += weight * sin;
        }
        (square.sqrt(), re * re + im * im)
    }
}

/// What 95 % of the draws lie in; the value itself is always within.
fn interval(draws: &[f64], value: f64) -> Bounds {
    let Interval { low, high, .. } = Interval::of(draws);
    Bounds { low: low.min(value), high: high.max(value) }
}

fn assumptions(report: &ZernikeReport, untested: f64) -> Vec<String> {
    let input = report.input();
    let mut list = Vec::new();
    if input.coefficient_sigma_nm == 0.0 {
        list.push("The coefficients are taken as exact: no uncertainty was given.".to_owned());
    }
    if untested > 0.0 {
        list.push(format!(
            "The terms are continued over the outer {:.1} % of the area, which were not tested; a turned edge there is not seen.",
            100.0 * untested
        ));
    }
    if input.test == TestPlace::AtCentreOfCurvature {
        list.push(
            "A perfect paraboloid's own aberration was subtracted; the interferometer's picture of the mirror is taken to be free of \
             distortion."
                .to_owned(),
        );
    }
    list
}

/// Whether the report's sign or a null term look mistaken.
fn cautions(
    report: &ZernikeReport,
    reported: &BTreeMap<u32, f64>,
    tested: &BTreeMap<u32, f64>,
) -> Vec<String> {
    let size = |terms: &BTreeMap<u32, f64>| terms.values().map(|v| v * v).sum::<f64>().sqrt();
    let null = report.null_if_at_centre_nm();
    if size(&null) < 0.1 * DEFAULT_WAVELENGTH_NM {
        return Vec::new();
    }
    if report.input().test == TestPlace::AtFocus {
        let left = |sign: f64| {
            let mut terms = reported.clone();
            for (&j, &value) in &null {
                *terms.entry(j).or_insert(0.0) -= sign * value;
            }
            size(&terms)
        };
        let left = left(1.0).min(left(-1.0));
        return if left < 0.25 * size(reported) {
            vec![format!(
                "These are nearly a paraboloid's own terms at its centre of curvature: with those taken off {left:.0} nm of RMS would be \
                 left, not {:.0}. Was it tested there without a null?",
                size(reported)
            )]
        } else {
            Vec::new()
        };
    }
    let mut turned: BTreeMap<u32, f64> = reported.iter().map(|(&j, &value)| (j, -value)).collect();
    for (&j, &value) in &null {
        *turned.entry(j).or_insert(0.0) -= value;
    }
    let mut list = Vec::new();
    if size(&turned) < 0.25 * size(tested) {
        list.push(format!(
            "With the opposite sign of all coefficients {:.0} nm of RMS would be left, not {:.0}: is a hollow positive in this report?",
            size(&turned),
            size(tested)
        ));
    } else if size(reported) < 0.25 * size(tested) {
        list.push(format!(
            "Without a paraboloid's own aberration taken off {:.0} nm of RMS would be left, not {:.0}: tested with a null, or \
             taken off already?",
            size(reported),
            size(tested)
        ));
    }
    list
}
