//! Figures that the readings allow, known at further radii.

use super::draws::{FigureDraws, LANES, ROLE_BITS, choose};
use super::posterior::Analysis;
use crate::error::Result;
use crate::numeric::pool;
use crate::shop_test::estimate::FigureEstimate;
use crate::shop_test::noise::ZoneMeans;
use crate::shop_test::options::ReduceOptions;

/// Draws made in one piece by one thread: whole blocks of lanes.
const CHUNK: usize = 16 * LANES;

/// Figures that the readings of an estimate allow, drawn anew on a grid that has some more radii for breaks.
///
/// Each draw is of the same component, conic and edge as that of the estimate with the same number; its smooth zones
/// are others, for their factors depend on the grid. Ends of intervals differ by what draws scatter (0.004 for the
/// Strehl).
/// Errors: those of [`crate::KnifeEdgeReadings::reduce`].
pub(crate) fn figures_at(
    figure: &FigureEstimate,
    options: &ReduceOptions,
    breaks_mm: &[f64],
    done: impl Fn() + Sync,
) -> Result<(Analysis, FigureDraws)> {
    options.check()?;
    let means = ZoneMeans::new(&figure.readings, options)?;
    let analysis = Analysis::with_breaks(&figure.readings, &means, options, breaks_mm)?;
    let like_the_estimate =
        ReduceOptions { obstruction_ratio: figure.options.obstruction_ratio, ..options.clone() };
    // The weights know nothing of the grid, nor of the shadow.
    let evidence = if like_the_estimate == figure.options {
        figure.prepared()?.2.clone()
    } else {
        analysis.evidence()?
    };
    let chosen = choose(&evidence, options.draws, options.seed, 0);
    let pieces = pool::map_ordered(chosen.len().div_ceil(CHUNK), true, |piece| {
        let first = piece * CHUNK;
        let indices = &chosen[first..chosen.len().min(first + CHUNK)];
        let streams = (options.seed, first as u64);
        let figures = FigureDraws::new(&analysis.model, &analysis.data, &evidence, indices, streams);
        done();
        figures
    });
    debug_assert!(chosen.len() as u64 <= 1 << ROLE_BITS);
    let mut pieces = pieces.into_iter();
    let mut all = pieces.next().unwrap_or_else(|| unreachable!("draws are 100 or more"));
    pieces.for_each(|piece| all.append(piece));
    Ok((analysis, all))
}

/// Pieces in which so many draws are made.
pub(crate) fn pieces(draws: usize) -> usize {
    draws.div_ceil(CHUNK)
}
