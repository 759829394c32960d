//! Readings in, figures that they allow out, and what each of those is worth.

use super::draws::{FigureDraws, LANES, ROLE_BITS, choose};
use super::evidence::{Data, Evidence};
use super::figure_model::FigureModel;
use super::next_reading::next_rims_mm;
use super::reading_model::Bench;
use crate::error::{Error, Result};
use crate::numeric::pool;
use crate::shop_test::estimate::Draws;
use crate::shop_test::noise::ZoneMeans;
use crate::shop_test::options::ReduceOptions;
use crate::shop_test::readings::KnifeEdgeReadings;
use crate::wave::{RadialPupil, Scratch};

/// A figure whose slope moves the crossing by more than this share of the radius of curvature is outside
/// the expansion of a reading.
const STEEPEST: f64 = 0.3;
/// Draws made in one piece by one thread: whole blocks of lanes.
const CHUNK: usize = 16 * LANES;

/// A set of readings made ready.
#[derive(Clone, Debug)]
pub(crate) struct Analysis {
    pub(crate) model: FigureModel,
    pub(crate) data: Data,
    /// All that light reaches, and the part of it that the openings saw.
    pub(crate) lit: RadialPupil,
    seen: RadialPupil,
    pub(crate) options: ReduceOptions,
    /// Runs that were taken, and the noise of one reading of each opening, mm.
    pub(crate) runs: usize,
    pub(crate) sigma_mm: Vec<f64>,
}

/// Figures that the readings allow, each by what it is worth.
#[derive(Clone, Debug)]
pub(crate) struct Posterior {
    pub(crate) figures: FigureDraws,
    pub(crate) draws: Draws,
    /// RMS of the wavefront over the part that the openings saw, at its own focus of least RMS, nm.
    pub(crate) seen_rms_nm: Vec<f64>,
}

impl Analysis {
    /// Errors: [`Error::Input`] for openings so unequal that no covariance can be worked with, and for figures
    /// so steep that a reading is no longer a difference of heights.
    pub(in crate::shop_test) fn new(
        readings: &KnifeEdgeReadings,
        means: &ZoneMeans,
        options: &ReduceOptions,
    ) -> Result<Self> {
        Self::with_breaks(readings, means, options, &[])
    }

    /// The same with some more radii at which the figures are known and quadratures stop, mm.
    pub(in crate::shop_test) fn with_breaks(
        readings: &KnifeEdgeReadings,
        means: &ZoneMeans,
        options: &ReduceOptions,
        more_breaks_mm: &[f64],
    ) -> Result<Self> {
        let bench = Bench::new(readings);
        let (rim, radius) = (bench.rim_radius_mm, bench.radius_of_curvature_mm);
        let inner = options.obstruction_ratio * rim;
        let unequal = || unexplained("openings", "openings of comparable width");
        let mut breaks_mm = vec![inner];
        breaks_mm.extend(next_rims_mm(&bench));
        breaks_mm.extend(more_breaks_mm);
        let model = FigureModel::new(bench, options.radius_sigma_mm(), options.bench_scatter_mm, &breaks_mm)
            .ok_or_else(unequal)?;
        let data = Data::new(&model, means).ok_or_else(unequal)?;
        let largest = data.contrast_mm.iter().fold(0.0_f64, |most, y| most.max(y.abs()));
        if largest > STEEPEST * radius {
            let allowed = format!("errors of the crossing below {} mm", STEEPEST * radius);
            return Err(Error::input("runs_mm", largest, allowed, "another unit, or radius of curvature?"));
        }
        let rings = &model.bench.rings;
        let first = rings.first().map_or(0.0, |o| o.inner_radius_mm);
        let last = rings.last().map_or(rim, |o| o.outer_radius_mm);
        let pupil =
            |from: f64, to: f64| RadialPupil::new(&model.grid, from, to, radius, options.wavelength_nm);
        if last <= inner {
            let allowed =
                format!("an opening that reaches beyond the diagonal's shadow, {inner} mm from the middle");
            return Err(Error::input(
                "obstruction_ratio",
                options.obstruction_ratio,
                allowed,
                "radius for diameter?",
            ));
        }
        let seen_from = first.max(inner);
        let (lit, seen) = (pupil(inner, rim), pupil(seen_from, last));
        Ok(Self {
            lit,
            seen,
            options: options.clone(),
            data,
            model,
            runs: readings.runs_mm().len(),
            sigma_mm: means.sigma_mm.clone(),
        })
    }

    /// The weights of the components of the prior after the readings.
    pub(crate) fn evidence(&self) -> Result<Evidence> {
        let nothing = || unexplained("runs_mm", "readings of a radial figure");
        Evidence::new(&self.model, &self.data).ok_or_else(nothing)
    }

    /// Draws of the figure; `role` tells sets of one seed apart.
    pub(crate) fn posterior(&self, evidence: &Evidence, role: u64) -> Posterior {
        let chosen = choose(evidence, self.options.draws, self.options.seed, role);
        self.draw(evidence, &chosen, role)
    }

    /// One draw for each of the components chosen.
    pub(crate) fn draw(&self, evidence: &Evidence, chosen: &[usize], role: u64) -> Posterior {
        Posterior::joined(self.in_pieces(evidence, chosen, role, |figures| self.worth(figures)))
    }

    /// The figures of the posterior of role 0 alone; `done` is called after each of their [`pieces_of_draws`].
    pub(crate) fn figures(&self, evidence: &Evidence, done: impl Fn() + Sync) -> FigureDraws {
        let chosen = choose(evidence, self.options.draws, self.options.seed, 0);
        let pieces = self.in_pieces(evidence, &chosen, 0, |figures| {
            done();
            figures
        });
        let joined = pieces.into_iter().reduce(|mut all, piece| {
            all.append(piece);
            all
        });
        joined.unwrap_or_else(|| unreachable!("draws are 100 or more"))
    }

    /// What is made of figures, one for each of the components chosen, piece by piece in their order.
    fn in_pieces<T: Send>(
        &self,
        evidence: &Evidence,
        chosen: &[usize],
        role: u64,
        made: impl Fn(FigureDraws) -> T + Sync,
    ) -> Vec<T> {
        pool::map_ordered(pieces_of_draws(chosen.len()), true, |piece| {
            let first = piece * CHUNK;
            let indices = &chosen[first..chosen.len().min(first + CHUNK)];
            let streams = (self.options.seed, (role << ROLE_BITS) + first as u64);
            made(FigureDraws::new(&self.model, &self.data, evidence, indices, streams))
        })
    }

    /// What each of some figures is worth.
    pub(crate) fn worth(&self, figures: FigureDraws) -> Posterior {
        let mut scratch = Scratch::default();
        let mut found = Posterior { draws: Draws::default(), seen_rms_nm: Vec::new(), figures };
        for height_nm in found.figures.rows() {
            found.draws.push(self.lit.quality(height_nm, &mut scratch));
            found.seen_rms_nm.push(self.seen.rms_and_pv_nm(height_nm, &mut scratch).0);
        }
        found
    }
}

impl Posterior {
    /// Pieces put in a row: one or more.
    pub(crate) fn joined(pieces: Vec<Self>) -> Self {
        let mut pieces = pieces.into_iter();
        let mut all = pieces.next().unwrap_or_else(|| unreachable!("draws are 100 or more"));
        for piece in pieces {
            all.draws.append(piece.draws);
            all.seen_rms_nm.extend(piece.seen_rms_nm);
            all.figures.append(piece.figures);
        }
        all
    }
}

/// Pieces in which so many draws are made.
pub(crate) fn pieces_of_draws(draws: usize) -> usize {
    draws.div_ceil(CHUNK)
}

fn unexplained(field: &str, allowed: &str) -> Error {
    Error::input(field, "beyond what arithmetic holds", allowed, "an opening of no width, or at the centre?")
}
