//! What to measure next: how much narrower an interval would be after readings that are not taken yet.

use serde::{Deserialize, Serialize};

use super::draws::FigureDraws;
use super::linear::{Factor, dot};
use super::posterior::Analysis;
use super::reading_model::{Bench, contrast_covariance};
use crate::numeric::{pool, random::Stream};
use crate::shop_test::estimate::Interval;
use crate::shop_test::opening::MaskOpening;
use crate::shop_test::two_way::contrasts;

/// Runs of each proposal.
const RUNS: usize = 5;
/// So many of the draws make the new readings.
const TRIALS: usize = 120;
/// Fewer draws than this left by a new reading cannot tell an interval.
const LEAST_EFFECTIVE: f64 = 30.0;
const STREAM: u64 = 140 << 32;
/// Width of a narrow opening at the rim, mm, but no more than a tenth of the mirror's radius.
const NARROW_MM: f64 = 3.0;
/// How well the radii of a mask can be measured, mm: calipers and a steady hand. Common practice, no source.
pub(crate) const WELL_MEASURED_MM: f64 = 0.05;
/// An inner opening is proposed where more than this share of the radius is unread.
const CENTRE_SHARE: f64 = 0.15;

/// A measurement that could be taken next, and what it is expected to bring.
///
/// Units: those of the quantity (Strehl, or gain of Strehl).
/// Leaves out: what a steep edge adds beyond first order; the cost of the measurement.
///
/// ```
/// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
/// let readings = KnifeEdgeReadings::at_radii(
///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
///     &[40.0, 60.0, 80.0, 95.0], vec![vec![0.3333, 0.7500, 1.3333, 1.8802]],
/// )?;
/// let next = readings.reduce(Default::default())?.next_measurements()?;
/// assert!(next[0].half_width_then.is_none_or(|then| then < next[0].half_width_now));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NextMeasurement {
    /// What to do, in words.
    pub what: String,
    /// The openings to be read.
    pub openings: Vec<MaskOpening>,
    /// Half of the 95 % interval as it is.
    pub half_width_now: f64,
    /// The same after the measurement, on the average; none where fewer than 30 draws are left to tell it from.
    pub half_width_then: Option<f64>,
    /// How many draws of equal weight the new readings leave, on the average.
    pub effective_draws: f64,
}

/// Radii at which heights are kept for the sake of the proposals, mm.
pub(super) fn next_rims_mm(bench: &Bench) -> Vec<f64> {
    let outermost = bench.rings[bench.rings.len() - 1];
    vec![0.0, outermost.area_radius_mm(), narrow_mm(bench), bench.rim_radius_mm]
}

fn narrow_mm(bench: &Bench) -> f64 {
    bench.rim_radius_mm - NARROW_MM.min(0.1 * bench.rim_radius_mm)
}

/// What is proposed: openings to be read in new runs.
struct Proposal {
    what: String,
    openings: Vec<MaskOpening>,
}

fn proposals(bench: &Bench) -> Vec<Proposal> {
    let old = &bench.rings;
    let outermost = old[old.len() - 1];
    let rim = bench.rim_radius_mm;
    let ring = |inner_radius_mm, outer_radius_mm| MaskOpening { inner_radius_mm, outer_radius_mm };
    let proposal = |what: String, openings| Proposal { what, openings };
    let mut list = vec![proposal(format!("{RUNS} more runs through the same openings"), old.clone())];
    let middle = outermost.area_radius_mm();
    if outermost.outer_radius_mm - outermost.inner_radius_mm > 1e-3 * rim {
        let mut split = old.clone();
        split.pop();
        split.extend([ring(outermost.inner_radius_mm, middle), ring(middle, outermost.outer_radius_mm)]);
        list.push(proposal(format!("{RUNS} runs with the outermost opening split at {middle:.1} mm"), split));
    }
    let narrow = narrow_mm(bench);
    if narrow > outermost.inner_radius_mm + 1e-3 * rim {
        let more = [old.as_slice(), &[ring(narrow, rim)]].concat();
        list.push(proposal(
            format!("{RUNS} runs with a further opening from {narrow:.1} mm to the very rim at {rim:.1} mm"),
            more,
        ));
    }
    if rim - outermost.outer_radius_mm > 1e-3 * rim {
        let mut reaching = old.clone();
        reaching.pop();
        reaching.push(ring(outermost.inner_radius_mm, rim));
        list.push(proposal(
            format!("{RUNS} runs with the outermost opening widened to the very rim at {rim:.1} mm"),
            reaching,
        ));
    }
    if old[0].inner_radius_mm > CENTRE_SHARE * rim {
        let inner = old[0].inner_radius_mm;
        let more = [&[ring(0.0, inner)], old.as_slice()].concat();
        list.push(proposal(format!("{RUNS} runs with a further opening inside {inner:.1} mm"), more));
    }
    list
}

/// What each proposal would do to the 95 % interval of a quantity of the draws, the most useful first.
///
/// Source: preposterior analysis (Raiffa & Schlaifer, Applied Statistical Decision Theory, 1961, from memory) by
/// importance weights on the draws: some of them make the new readings, and all are weighed by how well they explain
/// them. `with_radii_measured` is the interval that the same readings give with radii known to [`WELL_MEASURED_MM`].
pub(crate) fn next_measurements(
    analysis: &Analysis,
    figures: &FigureDraws,
    quantity: &[f64],
    with_radii_measured: Option<Interval>,
) -> Vec<NextMeasurement> {
    let list = proposals(&analysis.model.bench);
    let found = pool::map_ordered(list.len(), true, |k| expected(analysis, figures, quantity, &list[k]));
    let mut found: Vec<(NextMeasurement, f64)> = found.into_iter().flatten().collect();
    let now = Interval::of(quantity);
    if let Some(then) = with_radii_measured {
        let next = NextMeasurement {
            what: format!("the radii of the openings measured to {WELL_MEASURED_MM} mm"),
            openings: analysis.model.bench.rings.clone(),
            half_width_now: 0.5 * (now.high - now.low),
            half_width_then: Some(0.5 * (then.high - then.low).min(now.high - now.low)),
            effective_draws: quantity.len() as f64,
        };
        found.push((next, 0.5 * (then.high - then.low)));
    }
    // Where the draws are too few for a number they still serve to rank.
    found.sort_by(|a, b| a.1.total_cmp(&b.1));
    found.into_iter().map(|(next, _)| next).collect()
}

fn expected(
    analysis: &Analysis,
    figures: &FigureDraws,
    quantity: &[f64],
    proposal: &Proposal,
) -> Option<(NextMeasurement, f64)> {
    let white = new_readings(analysis, figures, &proposal.openings)?;
    let order = proposal.openings.len() - 1;
    let total = quantity.len();
    let mut ranking: Vec<usize> = (0..total).collect();
    ranking.sort_by(|&a, &b| quantity[a].total_cmp(&quantity[b]));
    let sorted: Vec<f64> = ranking.iter().map(|&k| quantity[k]).collect();
    let now = Interval::of(quantity);
    let trials = TRIALS.min(total);
    let (mut width, mut effective) = (0.0, 0.0);
    let mut weights = vec![0.0; total];
    for trial in 0..trials {
        let truth = trial * total / trials;
        let mut stream = Stream::new(analysis.options.seed, STREAM + trial as u64);
        let seen: Vec<f64> =
            white[truth * order..(truth + 1) * order].iter().map(|y| y + stream.normal()).collect();
        for (weight, other) in weights.iter_mut().zip(white.chunks_exact(order)) {
            let distance: f64 = seen.iter().zip(other).map(|(a, b)| (a - b).powi(2)).sum();
            *weight = libm::exp(-0.5 * distance);
        }
        let sum: f64 = weights.iter().sum();
        if sum <= 0.0 {
            continue;
        }
        effective += sum * sum / weights.iter().map(|w| w * w).sum::<f64>();
        let in_order: Vec<f64> = ranking.iter().map(|&k| weights[k] / sum).collect();
        let then = Interval::of_rising(&sorted, &in_order);
        width += then.high - then.low;
    }
    let (effective_draws, half_width) = (effective / trials as f64, 0.5 * width / trials as f64);
    let next = NextMeasurement {
        what: proposal.what.clone(),
        openings: proposal.openings.clone(),
        half_width_now: 0.5 * (now.high - now.low),
        // More readings never know less: what exceeds it is the scatter of the trials, a few per cent.
        half_width_then: (effective_draws >= LEAST_EFFECTIVE)
            .then_some(half_width.min(0.5 * (now.high - now.low))),
        effective_draws,
    };
    Some((next, half_width))
}

/// Whitened contrasts of every draw's readings through a mask, without noise.
fn new_readings(analysis: &Analysis, figures: &FigureDraws, openings: &[MaskOpening]) -> Option<Vec<f64>> {
    let model = &analysis.model;
    let bench = &model.bench;
    let point = |radius_mm: f64| model.grid.point_at(radius_mm);
    let known = |opening: &MaskOpening| bench.rings.iter().position(|old| old == opening);
    let gauges = openings.iter().map(|opening| {
        let rims = (point(opening.inner_radius_mm)?, point(opening.outer_radius_mm)?);
        Some((rims.0, rims.1, bench.gain_mm_per_nm(opening), known(opening)))
    });
    let gauges = gauges.collect::<Option<Vec<_>>>()?;
    // The noise of one reading is that of the old ones, carried to other openings by 1/r.
    let one_reading = |k: usize| analysis.sigma_mm[k].powi(2);
    let scale = bench.rings.iter().enumerate().map(|(k, old)| one_reading(k) * old.middle_mm().powi(2));
    let scale = scale.sum::<f64>() / bench.rings.len() as f64;
    let variance: Vec<f64> = openings
        .iter()
        .map(|opening| {
            if let Some(k) = known(opening) {
                return one_reading(k) / RUNS as f64;
            }
            let place = bench.radius_gain(opening) * model.radius_sigma_mm;
            scale / opening.middle_mm().powi(2) / RUNS as f64 + place * place + model.scatter_mm.powi(2)
        })
        .collect();
    let (rows, order) = (contrasts(openings.len()), openings.len() - 1);
    let factor = Factor::of(&contrast_covariance(&rows, &variance), order)?;
    let mut white = Vec::with_capacity(order * figures.rows().len());
    for (height, shift) in figures.rows().zip(figures.shifts()) {
        let readings: Vec<f64> = gauges
            .iter()
            .map(|&(inner, outer, gain, known)| {
                gain * (height[outer] - height[inner]) + known.map_or(0.0, |k| shift[k])
            })
            .collect();
        let mut contrast: Vec<f64> =
            rows.chunks_exact(readings.len()).map(|row| dot(row, &readings)).collect();
        factor.forward(&mut contrast);
        white.extend(contrast);
    }
    Some(white)
}
