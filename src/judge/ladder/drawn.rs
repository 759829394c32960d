//! What the figures that the evidence allows show through each train's ring, draw beside draw.

use super::exact::Exact;
use super::options::LadderOptions;
use super::state::{FigureOf, Ground, State, open_radius_mm, rim_nm_per_rms, shadow_radius_mm};
use super::work::{RefigureAfter, WorkChange};
use crate::error::Result;
use crate::judge::evidence::Evidence;
use crate::numeric::random::Stream;
use crate::shop_test::{AllowedFigures, RingQuality, RoundRing};

/// Draws of a promise where no evidence says how many.
const DRAWS: usize = 2000;
/// Streams that shuffle: of the evidence on paper, and of the works from there on.
const NOW_STREAM: u64 = 0;
const WORK_STREAM: u64 = 160 << 32;

/// Where a range of figures comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Origin {
    /// Figures that readings allow.
    Readings,
    /// A range on paper: the size is known, the shape is assumed.
    Paper,
    /// A range that is promised.
    Promise,
}

/// Many figures of one mirror, all equally probable, and the one that stands for them in the exact train.
pub(super) struct Drawn {
    pub(super) origin: Origin,
    figures: AllowedFigures,
    plain: Plain,
    /// Strehl as the paper means it for the whole aperture: its value, and that of every figure.
    on_paper: Option<(f64, Vec<f64>)>,
}

/// The figure in the exact train.
enum Plain {
    /// Straight in r^2 between knots: radii, heights.
    Knots(Vec<f64>, Vec<f64>),
    /// Spherical aberration of this height at the rim, and the rim's radius.
    Fourth(f64, f64),
}

impl Plain {
    fn height_nm(&self, r_mm: f64) -> f64 {
        match self {
            Self::Fourth(rim_nm, rim_mm) => rim_nm * (r_mm / rim_mm).powi(4),
            Self::Knots(radius_mm, height_nm) => {
                let next = radius_mm.partition_point(|r| *r < r_mm).clamp(1, radius_mm.len() - 1);
                let square = |k: usize| radius_mm[k] * radius_mm[k];
                let share = (r_mm * r_mm - square(next - 1)) / (square(next) - square(next - 1));
                height_nm[next - 1] + share * (height_nm[next] - height_nm[next - 1])
            }
        }
    }
}

/// What the figures show through one train: the value of the plain one, then that of every drawn one.
pub(super) struct Seen {
    pub(super) strehl: (f64, Vec<f64>),
    pub(super) contrast: Vec<(f64, Vec<f64>)>,
}

impl Drawn {
    fn of_readings(figures: AllowedFigures, evidence: &crate::shop_test::FigureEstimate) -> Self {
        let plain = Plain::Knots(evidence.radius_mm.clone(), evidence.height_nm.clone());
        Self { origin: Origin::Readings, figures, plain, on_paper: None }
    }

    /// Multiples of spherical aberration, by the wavefront RMS of each, nm.
    fn fourth_order(origin: Origin, rms_nm: &[f64], plain_rms_nm: f64, rim_mm: f64, per_rms: f64) -> Self {
        let rim_nm: Vec<f64> = rms_nm.iter().map(|rms| rms * per_rms).collect();
        let figures = AllowedFigures::multiples(rim_mm, |r| (r / rim_mm).powi(4), &rim_nm);
        Self { origin, figures, plain: Plain::Fourth(plain_rms_nm * per_rms, rim_mm), on_paper: None }
    }

    fn of_evidence(evidence: &Evidence, stream: u64, rim_mm: f64, per_rms: f64) -> Result<Self> {
        if let Evidence::Readings(figure) = evidence {
            return Ok(Self::of_readings(AllowedFigures::of(figure)?, figure));
        }
        let draws = evidence.draws(stream)?;
        let plain_nm = evidence.rms_nm().value;
        let mut drawn = Self::fourth_order(Origin::Paper, &draws.rms_nm, plain_nm, rim_mm, per_rms);
        drawn.on_paper = Some((evidence.strehl().value, draws.strehl));
        Ok(drawn)
    }

    /// What all figures show through a train.
    ///
    /// The ring is round and knows neither vanes nor clips. Strehls are moved by what the exact train with the plain
    /// figure differs from it; contrasts by what the exact train with a perfect paraboloid differs from a perfect ring.
    /// What vanes do to a figure's loss of contrast beyond what they do to a perfect mirror's is left out: below their
    /// share of the area times that loss.
    pub(super) fn through(&self, state: &State, exact: &Exact, options: &LadderOptions) -> Seen {
        let ends = (shadow_radius_mm(&state.train), open_radius_mm(&state.train));
        let radius_mm = 2.0 * state.train.primary().focal_length_mm;
        let grid = &self.figures.grid;
        let ring = RoundRing::new(grid, ends, radius_mm, options.wavelength_nm, &options.details_arcsec);
        let (plain_strehl, plain_contrast) = ring.of_height(grid, |r| self.plain.height_nm(r));
        let (_, perfect_contrast) = ring.of_height(grid, |_| 0.0);
        let RingQuality { strehl, contrast } = self.figures.through(&ring);
        let moved = |value: f64, by: f64| (value + by).clamp(0.0, 1.0);
        let primary = state.train.primary();
        let is_open = primary.open_diameter_mm() >= primary.clear_aperture_mm;
        let strehl = match &self.on_paper {
            Some(on_paper) if is_open => on_paper.clone(),
            _ => {
                let by = exact.strehl - plain_strehl;
                (exact.strehl, strehl.iter().map(|v| moved(*v, by)).collect())
            }
        };
        let shifts = exact.contrast.iter().zip(perfect_contrast).map(|(exact, ring)| exact - ring);
        let contrast = contrast.iter().zip(plain_contrast).zip(shifts);
        let contrast = contrast
            .map(|((list, plain), by)| (moved(plain, by), list.iter().map(|v| moved(*v, by)).collect()));
        Seen { strehl, contrast: contrast.collect() }
    }
}

/// The figures of one row: as they are now and as the row leaves them.
pub(super) struct Sides<'a> {
    pub(super) before: Option<&'a Drawn>,
    pub(super) after: Option<&'a Drawn>,
}

/// All figures of a ladder.
pub(super) struct Figures {
    now: Option<Drawn>,
    /// For each work that is a refigure: the figures now, where they are drawn side by side with it, and those that it
    /// leaves.
    works: Vec<(Option<Drawn>, Option<Drawn>)>,
}

impl Figures {
    pub(super) fn new(ground: &Ground<'_>, options: &LadderOptions) -> Result<Self> {
        let rim_mm = ground.given.primary().clear_aperture_mm / 2.0;
        let per_rms = rim_nm_per_rms(ground.given, options.wavelength_nm);
        let on_stream = |stream: u64| options.seed.wrapping_add(stream);
        let of = |evidence: &Evidence, stream: u64| {
            Drawn::of_evidence(evidence, on_stream(stream), rim_mm, per_rms)
        };
        let now = ground.evidence.map(|evidence| of(evidence, NOW_STREAM)).transpose()?;
        let count = now.as_ref().map_or(DRAWS, |drawn| drawn.figures.len());
        let mut works = Vec::with_capacity(ground.works.len());
        for (i, work) in ground.works.iter().enumerate() {
            let stream = WORK_STREAM + i as u64;
            works.push(match &work.change {
                WorkChange::Refigure { after: RefigureAfter::PromisedRmsNm { least, greatest }, .. } => {
                    let even = |k: usize| least + (greatest - least) * (k as f64 + 0.5) / count as f64;
                    let mut rms_nm: Vec<f64> = (0..count).map(even).collect();
                    Stream::new(options.seed, stream).shuffle(&mut rms_nm);
                    let middle_nm = 0.5 * (least + greatest);
                    (None, Some(Drawn::fourth_order(Origin::Promise, &rms_nm, middle_nm, rim_mm, per_rms)))
                }
                WorkChange::Refigure { after: RefigureAfter::Measured(after), .. } => {
                    match (ground.evidence.and_then(Evidence::readings), after.readings()) {
                        (Some(before), Some(after)) => {
                            let [first, second] = AllowedFigures::side_by_side(before, after)?;
                            (Some(Drawn::of_readings(first, before)), Some(Drawn::of_readings(second, after)))
                        }
                        _ => (None, Some(of(after, 1 + i as u64)?)),
                    }
                }
                _ => (None, None),
            });
        }
        Ok(Self { now, works })
    }

    /// The figures behind a state, and those behind the train as it is that go with them.
    pub(super) fn sides(&self, figure: FigureOf) -> Sides<'_> {
        let now = self.now.as_ref();
        match figure {
            FigureOf::Now => Sides { before: now, after: now },
            FigureOf::Own => Sides { before: now, after: None },
            FigureOf::Work(i) => {
                Sides { before: self.works[i].0.as_ref().or(now), after: self.works[i].1.as_ref() }
            }
        }
    }
}
