//! Figures that the readings allow, known at further radii.

use super::draws::FigureDraws;
use super::posterior::Analysis;
use crate::error::Result;
use crate::shop_test::estimate::FigureEstimate;
use crate::shop_test::noise::ZoneMeans;
use crate::shop_test::options::ReduceOptions;

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
    let figures = analysis.figures(&evidence, done);
    Ok((analysis, figures))
}
