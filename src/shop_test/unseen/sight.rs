//! What figures that the readings allow show at the eyepiece.

use super::draws::FigureDraws;
use super::posterior::Analysis;
use crate::numeric::pool;
use crate::wave::{RadialSight, RadialView, Scratch};

/// So many of the draws are looked through: the ends of an interval then scatter by a tenth of its width.
const LOOKED_THROUGH: usize = 400;

/// Which of so many figures are looked through for what costs more than a Strehl: evenly chosen.
pub(crate) fn looked_through(count: usize) -> impl Iterator<Item = usize> {
    let looked = LOOKED_THROUGH.min(count);
    (0..looked).map(move |k| k * count / looked)
}

/// Contrast of details of these periods, arcsec, and light in the Airy disk, at the brightest focus: of evenly chosen
/// draws.
pub(crate) fn sights(analysis: &Analysis, figures: &FigureDraws, period_arcsec: &[f64]) -> Vec<RadialSight> {
    let rim = analysis.model.bench.rim_radius_mm;
    let ends = (analysis.options.obstruction_ratio * rim, rim);
    let (grid, pupil) = (&analysis.model.grid, &analysis.lit);
    let view = RadialView::new(grid, pupil, ends, analysis.options.wavelength_nm, period_arcsec);
    let rows: Vec<&[f64]> = figures.rows().collect();
    let looked: Vec<usize> = looked_through(rows.len()).collect();
    pool::map_ordered(looked.len(), true, |k| {
        let height_nm = rows[looked[k]];
        let mut scratch = Scratch::default();
        let defocus = pupil.quality(height_nm, &mut scratch).peak_defocus_rad;
        view.sight(pupil, height_nm, defocus, &mut scratch)
    })
}
