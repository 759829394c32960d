//! What figures that the readings allow show at the eyepiece.

use super::draws::FigureDraws;
use super::posterior::Analysis;
use crate::numeric::pool;
use crate::wave::{RadialSight, RadialView, Scratch};

/// So many of the draws are looked through: the ends of an interval then scatter by a tenth of its width.
pub(super) const LOOKED_THROUGH: usize = 400;

/// Contrast of details of these periods, arcsec, and light in the Airy disk, at the brightest focus: of evenly chosen
/// draws.
pub(crate) fn sights(analysis: &Analysis, figures: &FigureDraws, period_arcsec: &[f64]) -> Vec<RadialSight> {
    let rim = analysis.model.bench.rim_radius_mm;
    let ends = (analysis.options.obstruction_ratio * rim, rim);
    let (grid, pupil) = (&analysis.model.grid, &analysis.lit);
    let view = RadialView::new(grid, pupil, ends, analysis.options.wavelength_nm, period_arcsec);
    let rows: Vec<&[f64]> = figures.rows().collect();
    let looked = LOOKED_THROUGH.min(rows.len());
    pool::map_ordered(looked, true, |k| {
        let height_nm = rows[k * rows.len() / looked];
        let mut scratch = Scratch::default();
        let defocus = pupil.quality(height_nm, &mut scratch).peak_defocus_rad;
        view.sight(pupil, height_nm, defocus, &mut scratch)
    })
}
