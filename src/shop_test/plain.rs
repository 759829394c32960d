//! The plain reduction: heights at the rims of the openings, straight in r^2 between them.
//!
//! A reading is the mean over its opening's area of where the normals cross the axis, and that mean is, to
//! first order in the surface error, the height difference between the two rims of the opening and nothing else:
//!
//! ```text
//! reading = zero + ideal - 2 k R^2 [h(r2) - h(r1)]/(r2^2 - r1^2)      k = 1 moving, 2 fixed
//! ideal   = k (r1^2 + r2^2)/(4R), fixed source: + (r1^4 + r1^2 r2^2 + r2^4)/(6 R^3)
//! ```
//!
//! So openings that touch give the height at every rim. What lies between the rims, inside the first and
//! beyond the last is not measured; here it is taken as straight in r^2, which keeps each opening's mean slope; a gap
//! takes the slope of the nearer opening. A turned edge inside the last opening is therefore smeared over it.

use nalgebra::DMatrix;

use super::estimate::Draws;
use super::noise::ZoneMeans;
use super::options::ReduceOptions;
use super::readings::KnifeEdgeReadings;
use crate::numeric::{pool, random::Stream};
use crate::units::NM_PER_MM;
use crate::wave::{RadialGrid, RadialPupil, RadialQuality, Scratch};

/// Repeats handled in one piece by one thread.
const CHUNK: usize = 64;

/// Everything about a set of readings that does not depend on their values: one linear operator.
pub(super) struct Reduction {
    ideal_mm: Vec<f64>,
    /// Radii of the knots: the centre, the rims between openings, the mirror's rim.
    pub(super) rims_mm: Vec<f64>,
    /// Heights at the knots, nm, from errors of the openings, mm.
    to_knots: DMatrix<f64>,
    /// Heights at the grid's points, from heights at the knots.
    to_points: DMatrix<f64>,
    /// The product of the two, points by openings in row order: what ten thousand repeats go through.
    direct: Vec<f64>,
    grid: RadialGrid,
    pupil: RadialPupil,
}

impl Reduction {
    pub(super) fn new(readings: &KnifeEdgeReadings, options: &ReduceOptions) -> Self {
        let openings = readings.openings();
        let radius = readings.radius_of_curvature();
        let rim_mm = readings.clear_aperture_mm() / 2.0;
        let squares = knots_mm2(readings);
        let per_mm = nm_per_mm3(readings);
        let step = |zone: usize| per_mm * (squares[zone + 1] - squares[zone]);
        let to_knots =
            DMatrix::from_fn(
                squares.len(),
                openings.len(),
                |knot, zone| if zone < knot { step(zone) } else { 0.0 },
            );
        let rims_mm: Vec<f64> = squares.iter().map(|s| s.sqrt()).collect();
        let inner_mm = options.obstruction_ratio * rim_mm;
        let breaks_mm: Vec<f64> = rims_mm.iter().copied().chain([inner_mm]).collect();
        let grid = RadialGrid::new(rim_mm, &breaks_mm);
        let pupil = RadialPupil::new(&grid, inner_mm, rim_mm, radius.0, options.wavelength_nm);
        let to_points = between(&rims_mm, &grid.radius_mm);
        let ideal_mm = openings.iter().map(|o| o.ideal_reading_mm(readings.source(), radius)).collect();
        let direct = (&to_points * &to_knots).transpose().as_slice().to_vec();
        Self { ideal_mm, rims_mm, to_knots, to_points, direct, grid, pupil }
    }

    /// What the readings are too long by, mm, their mean taken off: the zero is free.
    pub(super) fn errors_mm(&self, mean_mm: &[f64]) -> Vec<f64> {
        less_the_mean(mean_mm.iter().zip(&self.ideal_mm).map(|(y, ideal)| y - ideal).collect())
    }

    fn knots_nm(&self, errors_mm: &[f64]) -> Vec<f64> {
        product(&self.to_knots, errors_mm)
    }

    pub(super) fn quality(&self, errors_mm: &[f64]) -> RadialQuality {
        let mut height_nm = Vec::new();
        self.heights(errors_mm, &mut height_nm);
        self.pupil.quality(&height_nm, &mut Scratch::default())
    }

    /// Heights at the grid's points, nm, from errors of the openings, mm.
    fn heights(&self, errors_mm: &[f64], height_nm: &mut Vec<f64>) {
        height_nm.clear();
        let rows = self.direct.chunks_exact(errors_mm.len());
        height_nm.extend(rows.map(|row| row.iter().zip(errors_mm).map(|(a, e)| a * e).sum::<f64>()));
    }

    /// Heights at the knots less the best-fitting parabola: what remains after refocusing.
    pub(super) fn heights_at_best_focus(&self, errors_mm: &[f64]) -> Vec<f64> {
        let knots = self.knots_nm(errors_mm);
        let (level, gain) = self.level_and_focus(&knots);
        knots.iter().zip(&self.rims_mm).map(|(h, r)| h - level - gain * r * r).collect()
    }

    /// Heights at best focus, nm, at any radii, for an error of 1 mm of each opening's mean reading: radii by openings.
    pub(super) fn operator(&self, radius_mm: &[f64]) -> DMatrix<f64> {
        let zones = self.ideal_mm.len();
        let between = between(&self.rims_mm, radius_mm);
        let of_zone = |zone: usize| {
            let mut unit = vec![0.0; zones];
            unit[zone] = 1.0;
            let (level, gain) = self.level_and_focus(&self.knots_nm(&unit));
            let heights = product(&between, &self.knots_nm(&unit));
            heights.iter().zip(radius_mm).map(|(h, r)| h - level - gain * r * r).collect::<Vec<f64>>()
        };
        let columns: Vec<Vec<f64>> = (0..zones).map(of_zone).collect();
        DMatrix::from_fn(radius_mm.len(), zones, |row, zone| columns[zone][row])
    }

    /// Covariance of the heights at best focus, nm^2, from the noise of the means, its uncertain scale included.
    pub(super) fn covariance(&self, means: &ZoneMeans, spread_mm: &DMatrix<f64>) -> DMatrix<f64> {
        let scales = means.scales();
        let spread = self.operator(&self.rims_mm) * spread_mm;
        &spread * spread.transpose() * (scales.iter().sum::<f64>() / scales.len() as f64)
    }

    /// The same figure from mean readings drawn again within their noise, whose scale is drawn as well.
    pub(super) fn repeat(
        &self,
        errors_mm: &[f64],
        means: &ZoneMeans,
        spread_mm: &DMatrix<f64>,
        options: &ReduceOptions,
    ) -> Draws {
        let scales: Vec<f64> = means.scales().iter().map(|scale| scale.sqrt()).collect();
        let (spread, columns) = (spread_mm.transpose().as_slice().to_vec(), spread_mm.ncols());
        let chunks = options.draws.div_ceil(CHUNK);
        let qualities = pool::map_ordered(chunks, true, |chunk| {
            let mut scratch = Scratch::default();
            let (mut noisy, mut normals) = (errors_mm.to_vec(), vec![0.0; columns]);
            let mut height_nm = Vec::new();
            let draws = chunk * CHUNK..options.draws.min((chunk + 1) * CHUNK);
            let draw = |draw: usize| {
                let mut stream = Stream::new(options.seed, draw as u64);
                let node = (stream.uniform() * scales.len() as f64) as usize;
                let scale = scales[node.min(scales.len() - 1)];
                normals.fill_with(|| scale * stream.normal());
                for ((value, error), row) in noisy.iter_mut().zip(errors_mm).zip(spread.chunks_exact(columns))
                {
                    *value = error + row.iter().zip(&normals).map(|(a, z)| a * z).sum::<f64>();
                }
                self.heights(&noisy, &mut height_nm);
                self.pupil.quality(&height_nm, &mut scratch)
            };
            draws.map(draw).collect::<Vec<_>>()
        });
        let mut all = Draws::default();
        qualities.into_iter().flatten().for_each(|quality| all.push(quality));
        all
    }

    fn level_and_focus(&self, knots_nm: &[f64]) -> (f64, f64) {
        self.pupil.level_and_focus(&self.grid, &product(&self.to_points, knots_nm))
    }
}

/// Squared radii of the knots, mm^2: the centre, where openings meet, the mirror's rim. Openings that leave a gap (or are single
/// radii) meet in the middle of it, by area.
pub(super) fn knots_mm2(readings: &KnifeEdgeReadings) -> Vec<f64> {
    let rim_mm = readings.clear_aperture_mm() / 2.0;
    let meeting = readings
        .openings()
        .windows(2)
        .map(|pair| f64::midpoint(pair[0].outer_radius_mm.powi(2), pair[1].inner_radius_mm.powi(2)));
    std::iter::once(0.0).chain(meeting).chain([rim_mm * rim_mm]).collect()
}

/// The rise of the surface, nm, for each mm by which a reading is too long and each mm^2 that r^2 grows: h(r2) - h(r1) =
/// -(reading's error) (r2^2 - r1^2)/(2 k R^2), summed from the centre outward.
pub(super) fn nm_per_mm3(readings: &KnifeEdgeReadings) -> f64 {
    -NM_PER_MM / (2.0 * readings.source().gain() * readings.radius_of_curvature().0.powi(2))
}

/// What mean readings are too long by, mm, the mean over the openings taken off.
pub(super) fn errors_mm(readings: &KnifeEdgeReadings, mean_mm: &[f64]) -> Vec<f64> {
    let (source, radius) = (readings.source(), readings.radius_of_curvature());
    let openings = readings.openings().iter();
    less_the_mean(openings.zip(mean_mm).map(|(o, y)| y - o.ideal_reading_mm(source, radius)).collect())
}

fn less_the_mean(mut errors_mm: Vec<f64>) -> Vec<f64> {
    let mean = errors_mm.iter().sum::<f64>() / errors_mm.len() as f64;
    for error in &mut errors_mm {
        *error -= mean;
    }
    errors_mm
}

/// Weights of the knots at each radius: straight in r^2.
fn between(knots_mm: &[f64], radius_mm: &[f64]) -> DMatrix<f64> {
    let squares: Vec<f64> = knots_mm.iter().map(|r| r * r).collect();
    let mut weights = DMatrix::zeros(radius_mm.len(), squares.len());
    for (row, r) in radius_mm.iter().enumerate() {
        let zone = squares.partition_point(|s| *s <= r * r).clamp(1, squares.len() - 1) - 1;
        let part = (r * r - squares[zone]) / (squares[zone + 1] - squares[zone]);
        weights[(row, zone)] = 1.0 - part;
        weights[(row, zone + 1)] = part;
    }
    weights
}

fn product(matrix: &DMatrix<f64>, vector: &[f64]) -> Vec<f64> {
    (0..matrix.nrows()).map(|i| matrix.row(i).iter().zip(vector).map(|(a, b)| a * b).sum()).collect()
}
