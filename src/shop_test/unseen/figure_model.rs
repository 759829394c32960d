//! The components of the prior as one mask sees them: all that is known before a reading is taken.

use super::linear::{ThinFactor, dot};
use super::prior::{FigurePrior, log_weights};
use super::reading_model::{Bench, Edge, contrast_covariance};
use crate::shop_test::two_way::contrasts;
use crate::wave::RadialGrid;

/// Variance that the factors of the kernels may leave out, as a share of the largest.
const LEFT_OUT: f64 = 1e-9;

/// A smooth process: its covariance for a standard deviation of 1, as points and contrasts see it.
#[derive(Clone, Debug)]
pub(crate) struct Process {
    /// Covariance of points with contrasts, points by contrasts.
    pub(crate) cross: Vec<f64>,
    /// Covariance of the contrasts.
    pub(crate) seen: Vec<f64>,
    /// Factor of the covariance of the points.
    pub(crate) factor: ThinFactor,
}

/// A known shape of unknown size, as points and contrasts see it.
#[derive(Clone, Debug)]
pub(crate) struct Shape {
    /// Height at the points for a size of 1.
    pub(crate) height: Vec<f64>,
    /// What the contrasts see of it, mm.
    pub(crate) seen: Vec<f64>,
}

/// An edge of one width and shape.
#[derive(Clone, Debug)]
pub(crate) struct EdgeModel {
    pub(crate) shape: Shape,
    /// What the square and the cube of its slope add to the contrasts, mm: g^2 and -g^3 of these.
    pub(crate) square: Vec<f64>,
    pub(crate) cube: Vec<f64>,
    /// Change of the outermost reading for each mm of its radius and nm of drop.
    pub(crate) steepness: f64,
    pub(crate) log_weight: f64,
}

/// Everything about a mirror, its mask and the prior that needs no reading.
#[derive(Clone, Debug)]
pub(crate) struct FigureModel {
    pub(crate) bench: Bench,
    pub(crate) prior: FigurePrior,
    pub(crate) grid: RadialGrid,
    /// Index of the inner and the outer rim among the points, and the gain, of each opening.
    pub(crate) rims: Vec<(usize, usize, f64)>,
    /// Contrasts by openings.
    pub(crate) contrasts: Vec<f64>,
    /// Contrasts are one fewer than the openings.
    pub(crate) order: usize,
    pub(crate) conic: Shape,
    pub(crate) broad: Process,
    pub(crate) narrow: Vec<Process>,
    pub(crate) edges: Vec<EdgeModel>,
    /// How the outermost reading enters the contrasts.
    pub(crate) outermost: Vec<f64>,
    /// Covariance of the contrasts from the radii of the openings and the scatter of the bench.
    pub(crate) radii: Vec<f64>,
    /// Standard deviation of each opening's reading from its place, mm.
    pub(crate) place_sd_mm: Vec<f64>,
    pub(crate) radius_sigma_mm: f64,
    /// What the bench adds to each opening in all its runs alike, mm.
    pub(crate) scatter_mm: f64,
}

impl FigureModel {
    /// Prepares the components of the prior for a bench whose openings stand at radii good to `radius_sigma_mm` and
    /// which adds `scatter_mm` to each.
    ///
    /// Heights are kept at `breaks_mm` as well. None if the rims of an opening are one radius.
    pub(crate) fn new(
        bench: Bench,
        radius_sigma_mm: f64,
        scatter_mm: f64,
        breaks_mm: &[f64],
    ) -> Option<Self> {
        let rim = bench.rim_radius_mm;
        let prior = FigurePrior::of_mirror(rim);
        let rims = bench.rings.iter().flat_map(|o| [o.inner_radius_mm, o.outer_radius_mm]);
        let grid = RadialGrid::new(rim, &rims.chain(breaks_mm.iter().copied()).collect::<Vec<f64>>());
        let eye = Eye::new(&bench, &grid)?;
        let conic = eye.shape(|r| (r / rim).powi(4));
        let broad = eye.process(prior.broad_length * rim);
        let narrow = prior.narrow_length.iter().map(|(length, _)| eye.process(length * rim)).collect();
        let place_sd_mm: Vec<f64> =
            bench.rings.iter().map(|o| bench.radius_gain(o) * radius_sigma_mm).collect();
        let variance: Vec<f64> = place_sd_mm.iter().map(|sd| sd * sd + scatter_mm * scatter_mm).collect();
        let last = bench.rings.len() - 1;
        Some(Self {
            conic,
            broad,
            narrow,
            edges: eye.edges(&prior),
            outermost: (0..eye.order()).map(|c| eye.rows[c * (last + 1) + last]).collect(),
            radii: contrast_covariance(&eye.rows, &variance),
            place_sd_mm,
            radius_sigma_mm,
            scatter_mm,
            order: eye.order(),
            rims: eye.rims,
            contrasts: eye.rows,
            grid,
            bench,
            prior,
        })
    }

    /// What the openings read of a figure, less the paraboloid's readings and but for the zero, mm.
    pub(crate) fn readings_mm(&self, height_nm: &[f64]) -> Vec<f64> {
        self.rims.iter().map(|&(inner, outer, gain)| gain * (height_nm[outer] - height_nm[inner])).collect()
    }

    /// Contrasts of a value for each opening.
    pub(crate) fn contrast(&self, of_opening: &[f64]) -> Vec<f64> {
        self.contrasts.chunks_exact(of_opening.len()).map(|row| dot(row, of_opening)).collect()
    }
}

/// Heights at points in, contrasts of readings out.
struct Eye<'a> {
    bench: &'a Bench,
    grid: &'a RadialGrid,
    rows: Vec<f64>,
    /// Index of the inner and the outer rim among the points, and the gain, of each opening.
    rims: Vec<(usize, usize, f64)>,
}

impl<'a> Eye<'a> {
    fn new(bench: &'a Bench, grid: &'a RadialGrid) -> Option<Self> {
        let rims = bench.rings.iter().map(|o| {
            let (inner, outer) = (grid.point_at(o.inner_radius_mm)?, grid.point_at(o.outer_radius_mm)?);
            (inner != outer).then(|| (inner, outer, bench.gain_mm_per_nm(o)))
        });
        let rims = rims.collect::<Option<Vec<_>>>()?;
        Some(Self { bench, grid, rows: contrasts(bench.rings.len()), rims })
    }

    fn order(&self) -> usize {
        self.rims.len() - 1
    }

    /// The contrasts of heights given at all points.
    fn see(&self, height: &[f64]) -> Vec<f64> {
        let readings: Vec<f64> =
            self.rims.iter().map(|&(inner, outer, gain)| gain * (height[outer] - height[inner])).collect();
        self.rows.chunks_exact(readings.len()).map(|row| dot(row, &readings)).collect()
    }

    fn shape(&self, height: impl Fn(f64) -> f64) -> Shape {
        let height: Vec<f64> = self.grid.radius_mm.iter().map(|&r| height(r)).collect();
        Shape { seen: self.see(&height), height }
    }

    /// The even process with Matern's 5/2 kernel of this length.
    fn process(&self, length_mm: f64) -> Process {
        let (radii, q) = (&self.grid.radius_mm, self.order());
        let n = radii.len();
        let mut covariance = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                let value = matern((radii[i] - radii[j]).abs() / length_mm)
                    + matern((radii[i] + radii[j]) / length_mm);
                covariance[i * n + j] = value;
                covariance[j * n + i] = value;
            }
        }
        let cross: Vec<f64> = covariance.chunks_exact(n).flat_map(|row| self.see(row)).collect();
        let mut seen = vec![0.0; q * q];
        for c in 0..q {
            let column: Vec<f64> = (0..n).map(|i| cross[i * q + c]).collect();
            seen[c * q..(c + 1) * q].copy_from_slice(&self.see(&column));
        }
        Process { cross, seen, factor: ThinFactor::of(&covariance, n, LEFT_OUT) }
    }

    fn edges(&self, prior: &FigurePrior) -> Vec<EdgeModel> {
        let width_weights = log_weights(&prior.edge_width_mm);
        let shape_weights = log_weights(&prior.edge_shape);
        let outermost = &self.bench.rings[self.bench.rings.len() - 1];
        let gain = self.bench.gain_mm_per_nm(outermost);
        let rim_radius_mm = self.bench.rim_radius_mm;
        let mut edges = Vec::with_capacity(width_weights.len() * shape_weights.len());
        for (&(width_mm, _), width_weight) in prior.edge_width_mm.iter().zip(&width_weights) {
            for (&(shape, _), shape_weight) in prior.edge_shape.iter().zip(&shape_weights) {
                let edge = Edge { width_mm, shape, rim_radius_mm };
                let (square, cube): (Vec<f64>, Vec<f64>) =
                    self.bench.rings.iter().map(|o| edge.square_and_cube_mm(self.bench, o)).unzip();
                let contrast = |values: &[f64]| -> Vec<f64> {
                    self.rows.chunks_exact(values.len()).map(|row| dot(row, values)).collect()
                };
                edges.push(EdgeModel {
                    shape: self.shape(|r| edge.height(r)),
                    square: contrast(&square),
                    cube: contrast(&cube),
                    steepness: gain * edge.slope_per_mm(outermost.outer_radius_mm),
                    log_weight: width_weight + shape_weight,
                });
            }
        }
        edges
    }
}

/// Matern's kernel of order 5/2 at a distance in units of its length.
///
/// Source: Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, equation 4.17.
fn matern(distance: f64) -> f64 {
    let s = 5.0_f64.sqrt() * distance;
    (1.0 + s + s * s / 3.0) * libm::exp(-s)
}
