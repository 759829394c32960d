//! Figures that readings allow, seen through any ring of the mirror: behind another mask, another shadow.

use super::draws::FigureDraws;
use super::paired::paired_draws;
use super::sight::looked_through;
use crate::error::Result;
use crate::numeric::pool;
use crate::shop_test::estimate::FigureEstimate;
use crate::wave::{RadialGrid, RadialPupil, RadialView, Scratch};

/// Figures drawn in one piece by one thread.
const CHUNK: usize = 128;

/// Figures on one grid of radii, all equally probable.
#[derive(Clone, Debug)]
pub(crate) struct AllowedFigures {
    pub(crate) grid: RadialGrid,
    heights_nm: Vec<Vec<f64>>,
}

/// The part of a round mirror that light reaches, made ready for many figures.
#[derive(Clone, Debug)]
pub(crate) struct RoundRing {
    pupil: RadialPupil,
    view: RadialView,
}

/// What each of many figures shows through one ring.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct RingQuality {
    /// Strehl at the brightest focus, of every figure.
    pub(crate) strehl: Vec<f64>,
    /// For each detail its contrast there, of the figures that [`looked_through`] names.
    pub(crate) contrast: Vec<Vec<f64>>,
}

impl AllowedFigures {
    /// The figures behind the total intervals of an estimate, in their order.
    pub(crate) fn of(figure: &FigureEstimate) -> Result<Self> {
        let prepared = figure.prepared()?;
        let (_, analysis, evidence) = &*prepared;
        Ok(Self::from_draws(&analysis.model.grid, &analysis.figures(evidence, || ())))
    }

    /// Figures before and after, side by side.
    pub(crate) fn side_by_side(before: &FigureEstimate, after: &FigureEstimate) -> Result<[Self; 2]> {
        let pairs = paired_draws(before, after)?;
        let [first, second] = &pairs.analyses;
        Ok([
            Self::from_draws(&first.model.grid, &pairs.before.figures),
            Self::from_draws(&second.model.grid, &pairs.after.figures),
        ])
    }

    /// Multiples of one shape, given by its height over the radius.
    pub(crate) fn multiples(rim_mm: f64, height_nm: impl Fn(f64) -> f64, of: &[f64]) -> Self {
        let grid = RadialGrid::new(rim_mm, &[]);
        let shape: Vec<f64> = grid.radius_mm.iter().map(|&r| height_nm(r)).collect();
        let heights_nm = of.iter().map(|size| shape.iter().map(|h| size * h).collect()).collect();
        Self { grid, heights_nm }
    }

    fn from_draws(grid: &RadialGrid, draws: &FigureDraws) -> Self {
        Self { grid: grid.clone(), heights_nm: draws.rows().map(<[f64]>::to_vec).collect() }
    }

    pub(crate) fn len(&self) -> usize {
        self.heights_nm.len()
    }

    /// What all figures show through a ring.
    pub(crate) fn through(&self, ring: &RoundRing) -> RingQuality {
        let count = self.len();
        let pieces = pool::map_ordered(count.div_ceil(CHUNK), count > CHUNK, |piece| {
            let mut scratch = Scratch::default();
            let rows = &self.heights_nm[piece * CHUNK..count.min((piece + 1) * CHUNK)];
            let of = |height_nm: &Vec<f64>| {
                let quality = ring.pupil.quality(height_nm, &mut scratch);
                (quality.strehl, quality.peak_defocus_rad)
            };
            rows.iter().map(of).collect::<Vec<(f64, f64)>>()
        });
        let peaks: Vec<(f64, f64)> = pieces.into_iter().flatten().collect();
        let looked: Vec<usize> = looked_through(count).collect();
        let sights = pool::map_ordered(looked.len(), true, |k| {
            let draw = looked[k];
            ring.view.sight(&ring.pupil, &self.heights_nm[draw], peaks[draw].1, &mut Scratch::default())
        });
        let details = sights.first().map_or(0, |s| s.contrast.len());
        RingQuality {
            strehl: peaks.iter().map(|p| p.0).collect(),
            contrast: (0..details).map(|d| sights.iter().map(|s| s.contrast[d]).collect()).collect(),
        }
    }
}

impl RoundRing {
    /// The ring between two radii of a mirror, for details of these periods, arcsec.
    pub(crate) fn new(
        grid: &RadialGrid,
        (inner_mm, outer_mm): (f64, f64),
        radius_of_curvature_mm: f64,
        wavelength_nm: f64,
        period_arcsec: &[f64],
    ) -> Self {
        let pupil = RadialPupil::between(grid, (inner_mm, outer_mm), radius_of_curvature_mm, wavelength_nm);
        let view = RadialView::new(grid, &pupil, (inner_mm, outer_mm), wavelength_nm, period_arcsec);
        Self { pupil, view }
    }

    /// Strehl at the brightest focus and contrasts of one figure, by its height over the radius.
    pub(crate) fn of_height(&self, grid: &RadialGrid, height_nm: impl Fn(f64) -> f64) -> (f64, Vec<f64>) {
        let heights: Vec<f64> = grid.radius_mm.iter().map(|&r| height_nm(r)).collect();
        let mut scratch = Scratch::default();
        let quality = self.pupil.quality(&heights, &mut scratch);
        let sight = self.view.sight(&self.pupil, &heights, quality.peak_defocus_rad, &mut scratch);
        (quality.strehl, sight.contrast)
    }

    /// RMS of the wavefront of one figure at the focus of least RMS, nm.
    pub(crate) fn rms_nm(&self, grid: &RadialGrid, height_nm: impl Fn(f64) -> f64) -> f64 {
        let heights: Vec<f64> = grid.radius_mm.iter().map(|&r| height_nm(r)).collect();
        self.pupil.rms_and_pv_nm(&heights, &mut Scratch::default()).0
    }
}
