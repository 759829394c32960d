//! The plain reduction: heights at the rims of the openings, straight in r^2 between them.
//!
//! A reading is the mean over its opening's area of where the normals cross the axis, and that mean is, to
//! first order in the surface error, the height difference between the two rims of the opening and nothing else:
//!
//! ```text
//! reading = zero + k (r1^2 + r2^2)/(4R) - 2 k R^2 [h(r2) - h(r1)]/(r2^2 - r1^2)      k = 1 moving, 2 fixed
//! ```
//!
//! So openings that touch give the height at every rim. What lies between the rims, inside the first and
//! beyond the last is not measured; here it is taken as straight in r^2, which keeps each opening's
//! mean slope. A turned edge inside the last opening is therefore smeared over it.

use nalgebra::DMatrix;

use super::estimate::{Draws, Estimated, FigureEstimate, Measured};
use super::noise::ZoneMeans;
use super::options::ReduceOptions;
use super::readings::KnifeEdgeReadings;
use super::unseen::{Analysis, with_assumption};
use crate::error::Result;
use crate::numeric::{pool, random::Stream};
use crate::units::NM_PER_MM;
use crate::wave::{RadialGrid, RadialPupil, RadialQuality, Scratch};

/// Repeats handled in one piece by one thread.
const CHUNK: usize = 64;

impl KnifeEdgeReadings {
    /// The radial figure that the readings show, with what their noise makes uncertain.
    ///
    /// Units: nm of glass height, mm; see [`FigureEstimate`].
    /// Errors: [`crate::Error::Input`] for options that cannot be, and for openings or readings beyond the model of the
    /// total interval (figures whose crossings are off by 0.3 of the radius of curvature).
    /// Method: heights at the rims of the openings, straight in r^2 between them. The noise-only intervals come from
    /// repeating that reduction with readings redrawn within their noise; the total ones from figures of another model
    /// (a conic, broad and narrow zones, an edge), each of which gives the readings within noise and radii.
    /// Source: the closed form of the mean crossing over an opening, own derivation from the normal of a surface; zones at
    /// their area radius, common practice.
    /// Leaves out: the plain figure, terms of second order in the surface error (2 to 10 % of the signal of a narrow
    /// deep edge; the total interval has them) and an edge within the last opening, which it smears; the total
    /// interval, what its assumptions rule out: see [`FigureEstimate::assumption`].
    ///
    /// ```
    /// use catoptric::{KnifeEdgeReadings, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};
    /// // An ellipsoid, K = -0.80; its wavefront has RMS 26.96 nm (own computation from exact normals).
    /// let readings = KnifeEdgeReadings::at_radii(
    ///     200.0, RadiusOfCurvatureMm(2400.0), TestSource::Moving, ReadingsIncrease::AwayFromMirror,
    ///     &[31.622777, 54.772256, 70.710678, 83.666003, 94.868330],
    ///     vec![vec![0.166668, 0.500013, 0.833370, 1.166738, 1.500117]],
    /// )?;
    /// let figure = readings.reduce(Default::default())?;
    /// assert!((figure.rms_nm.value / 26.9588 - 1.0).abs() < 0.01);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn reduce(&self, options: ReduceOptions) -> Result<FigureEstimate> {
        options.check()?;
        let reduction = Reduction::new(self, &options);
        let means = ZoneMeans::new(self, options.wavelength_nm);
        let errors_mm = reduction.errors_mm(&means.mean_mm);
        let best = reduction.quality(&errors_mm);
        let draws = reduction.repeat(&errors_mm, &means.mean_sigma_mm(), &options);
        let (allowed, assumption) = with_assumption(&Analysis::new(self, &means, &options)?)?;
        let total = &allowed.draws;
        let height_nm = reduction.heights_at_best_focus(&errors_mm);
        let covariance = reduction.covariance(&means.mean_sigma_mm());
        Ok(FigureEstimate {
            readings: self.clone(),
            options,
            radius_mm: reduction.rims_mm.clone(),
            height_nm,
            covariance_nm2: (0..covariance.nrows())
                .map(|i| covariance.row(i).iter().copied().collect())
                .collect(),
            zone_mean_mm: means.mean_mm,
            zone_sigma_mm: means.sigma_mm,
            zone_error_mm: errors_mm,
            rms_nm: Measured::new(best.rms_nm, &draws.rms_nm, &total.rms_nm),
            pv_nm: Measured::new(best.pv_nm, &draws.pv_nm, &total.pv_nm),
            strehl: Measured::new(best.strehl, &draws.strehl, &total.strehl),
            strehl_least_rms: Measured::new(
                best.strehl_least_rms,
                &draws.strehl_least_rms,
                &total.strehl_least_rms,
            ),
            seen_rms_nm: Estimated::of(&allowed.seen_rms_nm),
            draws,
            total_draws: allowed.draws,
            assumption,
        })
    }
}

/// Everything about a set of readings that does not depend on their values: one linear operator.
struct Reduction {
    ideal_mm: Vec<f64>,
    /// Radii of the knots: the centre, the rims between openings, the mirror's rim.
    rims_mm: Vec<f64>,
    /// Heights at the knots, nm, from errors of the openings, mm.
    to_knots: DMatrix<f64>,
    /// Heights at the grid's points, from heights at the knots.
    to_points: DMatrix<f64>,
    grid: RadialGrid,
    pupil: RadialPupil,
}

impl Reduction {
    fn new(readings: &KnifeEdgeReadings, options: &ReduceOptions) -> Self {
        let openings = readings.openings();
        let radius = readings.radius_of_curvature();
        let rim_mm = readings.clear_aperture_mm() / 2.0;
        // Openings that leave a gap (or are single radii) meet in the middle of it, by area.
        let between = openings
            .windows(2)
            .map(|pair| f64::midpoint(pair[0].outer_radius_mm.powi(2), pair[1].inner_radius_mm.powi(2)));
        let squares: Vec<f64> = std::iter::once(0.0).chain(between).chain([rim_mm * rim_mm]).collect();
        // h(r2) - h(r1) = -(reading's error) (r2^2 - r1^2)/(2 k R^2), summed from the centre outward.
        let per_mm = -NM_PER_MM / (2.0 * readings.source().gain() * radius.0 * radius.0);
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
        let mut to_points = DMatrix::zeros(grid.radius_mm.len(), squares.len());
        for (point, r) in grid.radius_mm.iter().enumerate() {
            let zone = squares.partition_point(|s| *s <= r * r).clamp(1, squares.len() - 1) - 1;
            let part = (r * r - squares[zone]) / (squares[zone + 1] - squares[zone]);
            to_points[(point, zone)] = 1.0 - part;
            to_points[(point, zone + 1)] = part;
        }
        let ideal_mm = openings.iter().map(|o| o.ideal_reading_mm(readings.source(), radius)).collect();
        Self { ideal_mm, rims_mm, to_knots, to_points, grid, pupil }
    }

    /// What the readings are too long by, mm, their mean taken off: the zero is free.
    fn errors_mm(&self, mean_mm: &[f64]) -> Vec<f64> {
        let raw: Vec<f64> = mean_mm.iter().zip(&self.ideal_mm).map(|(y, ideal)| y - ideal).collect();
        let mean = raw.iter().sum::<f64>() / raw.len() as f64;
        raw.iter().map(|e| e - mean).collect()
    }

    fn knots_nm(&self, errors_mm: &[f64]) -> Vec<f64> {
        product(&self.to_knots, errors_mm)
    }

    fn quality(&self, errors_mm: &[f64]) -> RadialQuality {
        let height_nm = product(&self.to_points, &self.knots_nm(errors_mm));
        self.pupil.quality(&height_nm, &mut Scratch::default())
    }

    /// Heights at the knots less the best-fitting parabola: what remains after refocusing.
    fn heights_at_best_focus(&self, errors_mm: &[f64]) -> Vec<f64> {
        let knots = self.knots_nm(errors_mm);
        let (level, gain) = self.pupil.level_and_focus(&self.grid, &product(&self.to_points, &knots));
        knots.iter().zip(&self.rims_mm).map(|(h, r)| h - level - gain * r * r).collect()
    }

    /// Covariance of the heights at best focus, nm^2: the operator is linear in the readings.
    fn covariance(&self, sigma_mm: &[f64]) -> DMatrix<f64> {
        let columns: Vec<Vec<f64>> = (0..sigma_mm.len())
            .map(|zone| {
                let mut unit = vec![0.0; sigma_mm.len()];
                unit[zone] = sigma_mm[zone];
                self.heights_at_best_focus(&unit)
            })
            .collect();
        let spread = DMatrix::from_fn(self.rims_mm.len(), columns.len(), |knot, zone| columns[zone][knot]);
        &spread * spread.transpose()
    }

    /// The same figure from readings drawn again within their noise.
    fn repeat(&self, errors_mm: &[f64], sigma_mm: &[f64], options: &ReduceOptions) -> Draws {
        let chunks = options.draws.div_ceil(CHUNK);
        let qualities = pool::map_ordered(chunks, true, |chunk| {
            let draws = chunk * CHUNK..options.draws.min((chunk + 1) * CHUNK);
            let draw = |draw: usize| {
                let mut stream = Stream::new(options.seed, draw as u64);
                let noisy: Vec<f64> =
                    errors_mm.iter().zip(sigma_mm).map(|(e, sigma)| e + sigma * stream.normal()).collect();
                self.quality(&noisy)
            };
            draws.map(draw).collect::<Vec<_>>()
        });
        let mut all = Draws::default();
        qualities.into_iter().flatten().for_each(|quality| all.push(quality));
        all
    }
}

fn product(matrix: &DMatrix<f64>, vector: &[f64]) -> Vec<f64> {
    (0..matrix.nrows()).map(|i| matrix.row(i).iter().zip(vector).map(|(a, b)| a * b).sum()).collect()
}
