//! One edge against the readings: how well each pair of width and drop explains them, whatever the smooth figure inside.

use super::evidence::{Catalogue, Component, smooth_covariance};
use super::linear::{Factor, dot};
use super::posterior::Analysis;
use super::reading_model::Bench;
use crate::numeric::gauss::on_interval;

/// Millimetres in a nanometre.
const MM_PER_NM: f64 = 1e-6;
/// Quadrature nodes on each piece of an opening.
const NODES: usize = 12;
/// Where the normal leans so far that the crossing lies at five radii of curvature, no reading is a mean of crossings.
const LEAST_LEAN: f64 = 0.2;
/// A smooth component of less than this logarithm of the weight of the best is not followed.
const LEAST_LOG_WEIGHT: f64 = -45.0;

/// An edge as a function of the radius, for a drop of 1 nm.
pub(in crate::shop_test) trait EdgeHeight {
    /// Height, nm for each nm of drop.
    fn height(&self, radius_mm: f64) -> f64;
    /// Slope, nm/mm for each nm of drop; 0 at a jump.
    fn slope_per_mm(&self, radius_mm: f64) -> f64;
    /// Radii at which a quadrature must stop, rising; what lies inward of the first has no slope to speak of.
    fn joints_mm(&self) -> Vec<f64>;
}

/// One edge of unit drop, as the contrasts of one bench see it.
#[derive(Clone, Debug)]
pub(in crate::shop_test) struct SeenEdge {
    /// First order: contrasts for each nm of drop, mm.
    linear: Vec<f64>,
    /// Opening by opening: shares of its area, and k R h'/r there, for each nm of drop.
    lean: Vec<Vec<(f64, f64)>>,
    /// Change of the outermost reading for each mm of its radius and nm of drop.
    steepness: f64,
    contrasts: Vec<f64>,
    radius_mm: f64,
}

impl SeenEdge {
    fn new(analysis: &Analysis, edge: &dyn EdgeHeight) -> Self {
        let (model, bench) = (&analysis.model, &analysis.model.bench);
        let readings: Vec<f64> = bench
            .rings
            .iter()
            .map(|o| {
                bench.gain_mm_per_nm(o) * (edge.height(o.outer_radius_mm) - edge.height(o.inner_radius_mm))
            })
            .collect();
        let lean = (0..bench.rings.len()).map(|i| lean(bench, i, edge)).collect();
        let last = &bench.rings[bench.rings.len() - 1];
        Self {
            linear: model.contrast(&readings),
            lean,
            steepness: bench.gain_mm_per_nm(last) * edge.slope_per_mm(last.outer_radius_mm),
            contrasts: model.contrasts.clone(),
            radius_mm: bench.radius_of_curvature_mm,
        }
    }

    /// What the contrasts read of the edge, mm: all orders of the slope; none where its rays do not come back.
    fn readings_mm(&self, drop_nm: f64) -> Option<Vec<f64>> {
        let mut beyond = vec![0.0; self.lean.len()];
        for (sum, nodes) in beyond.iter_mut().zip(&self.lean) {
            for &(share, per_nm) in nodes {
                let x = drop_nm * per_nm;
                if 1.0 + x < LEAST_LEAN {
                    return None;
                }
                // R/(1 + x) less its first two terms, which the height difference has.
                *sum += share * self.radius_mm * x * x / (1.0 + x);
            }
        }
        let rows = self.contrasts.chunks_exact(beyond.len());
        Some(rows.zip(&self.linear).map(|(row, first)| drop_nm * first + dot(row, &beyond)).collect())
    }

    /// The most that a drop of 1 nm changes any contrast, mm.
    pub(in crate::shop_test) fn strength_mm(&self) -> f64 {
        self.linear.iter().fold(0.0, |most, v| most.max(v.abs()))
    }
}

fn lean(bench: &Bench, ring: usize, edge: &dyn EdgeHeight) -> Vec<(f64, f64)> {
    let opening = &bench.rings[ring];
    let joints = edge.joints_mm();
    let Some(first) = joints.first() else { return Vec::new() };
    let (from, to) = (opening.inner_radius_mm.max(*first), opening.outer_radius_mm);
    let mut ends = vec![from, to];
    ends.extend(joints.iter().filter(|r| **r > from && **r < to));
    ends.sort_by(f64::total_cmp);
    let steepness = bench.gain * bench.radius_of_curvature_mm * MM_PER_NM;
    let mut nodes = Vec::new();
    for pair in ends.windows(2).filter(|pair| pair[1] > pair[0]) {
        for (s, weight) in on_interval(NODES, 0.0, 1.0) {
            // Cubed steps: a power that is no whole number may begin at the piece's start.
            let r = pair[0] + (pair[1] - pair[0]) * s * s * s;
            let area = weight * 3.0 * s * s * (pair[1] - pair[0]) * r * 2.0 / opening.square_mm2();
            nodes.push((area, steepness * edge.slope_per_mm(r) / r));
        }
    }
    nodes
}

/// One smooth figure of chance: its weight, and the inverse covariance of the contrasts.
#[derive(Clone, Debug)]
struct Smooth {
    component: Component,
    /// Logarithm of the weight before the readings over the root of the determinant.
    log_ceiling: f64,
    inverse: Vec<f64>,
    /// The inverse times the outermost reading's column, and that column's own product.
    outermost: Vec<f64>,
    outermost_square: f64,
}

/// Whether the openings are taken to stand where they are said to, or a little off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::shop_test) enum Places {
    /// The outermost reading of a steep edge is as uncertain as its radius.
    AsUncertain,
    /// For the figure that gives the mean readings back.
    AsStated,
}

/// All smooth figures of the prior against which an edge is tried.
#[derive(Clone, Debug)]
pub(in crate::shop_test) struct EdgeCurve<'a> {
    analysis: &'a Analysis,
    smooth: Vec<Smooth>,
}

impl<'a> EdgeCurve<'a> {
    pub(in crate::shop_test) fn new(analysis: &'a Analysis) -> Self {
        let (model, data) = (&analysis.model, &analysis.data);
        let q = model.order;
        let (mut covariance, mut factor) = (vec![0.0; q * q], Factor::with_order(q));
        let of_component = |(component, log_weight): &(Component, f64)| {
            smooth_covariance(model, data, component, &mut covariance);
            factor.refill(&covariance).then(|| {
                let mut inverse = vec![0.0; q * q];
                for (i, row) in inverse.chunks_exact_mut(q).enumerate() {
                    row[i] = 1.0;
                    factor.solve(row);
                }
                let mut outermost = model.outermost.clone();
                factor.solve(&mut outermost);
                Smooth {
                    component: *component,
                    log_ceiling: log_weight - 0.5 * factor.log_determinant(),
                    inverse,
                    outermost_square: dot(&outermost, &model.outermost),
                    outermost,
                }
            })
        };
        let catalogue = Catalogue::new(model, &data.scales);
        Self { analysis, smooth: catalogue.smooth().iter().filter_map(of_component).collect() }
    }

    pub(in crate::shop_test) fn seen(&self, edge: &dyn EdgeHeight) -> SeenEdge {
        SeenEdge::new(self.analysis, edge)
    }

    /// What is left of the readings without the edge, and the variance that the radii add at the outermost one.
    fn rest(&self, seen: &SeenEdge, drop_nm: f64, places: Places) -> Option<(Vec<f64>, f64)> {
        let edge = seen.readings_mm(drop_nm)?;
        let contrast = &self.analysis.data.contrast_mm;
        let rest = contrast.iter().zip(&edge).map(|(y, e)| y - e).collect();
        let moved_mm = match places {
            Places::AsUncertain => self.analysis.model.radius_sigma_mm * seen.steepness * drop_nm,
            Places::AsStated => 0.0,
        };
        Some((rest, moved_mm * moved_mm))
    }

    /// Logarithm of each smooth figure's weight with what is left.
    fn log_weights(&self, rest: &[f64], moved_mm2: f64) -> Vec<f64> {
        let q = rest.len();
        let of_smooth = |smooth: &Smooth| {
            let mut square = 0.0;
            for (row, r) in smooth.inverse.chunks_exact(q).zip(rest) {
                square += r * dot(row, rest);
            }
            // The outermost reading's own variance: an update of rank one.
            let widened = 1.0 + moved_mm2 * smooth.outermost_square;
            square -= moved_mm2 * dot(&smooth.outermost, rest).powi(2) / widened;
            smooth.log_ceiling - 0.5 * (square + widened.ln())
        };
        self.smooth.iter().map(of_smooth).collect()
    }

    /// -2 ln of the likelihood of a drop, up to a constant; infinite where its rays do not come back.
    pub(in crate::shop_test) fn deviance(&self, seen: &SeenEdge, drop_nm: f64, places: Places) -> f64 {
        let Some((rest, moved_mm2)) = self.rest(seen, drop_nm, places) else { return f64::INFINITY };
        let logs = self.log_weights(&rest, moved_mm2);
        let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let near = logs.iter().filter(|l| **l - best > LEAST_LOG_WEIGHT);
        -2.0 * (best + near.map(|l| libm::exp(l - best)).sum::<f64>().ln())
    }

    /// Mean height of the smooth figure inside an edge, at the model's points, nm; none where its rays do not come back.
    pub(in crate::shop_test) fn smooth_nm(
        &self,
        seen: &SeenEdge,
        drop_nm: f64,
        places: Places,
    ) -> Option<Vec<f64>> {
        let (rest, moved_mm2) = self.rest(seen, drop_nm, places)?;
        let (model, q) = (&self.analysis.model, rest.len());
        let logs = self.log_weights(&rest, moved_mm2);
        let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut total = 0.0;
        let (mut conic, mut broad) = (vec![0.0; q], vec![0.0; q]);
        let mut narrow = vec![vec![0.0; q]; model.narrow.len()];
        for (smooth, log) in self.smooth.iter().zip(&logs).filter(|(_, l)| **l - best > LEAST_LOG_WEIGHT) {
            let weight = libm::exp(log - best);
            total += weight;
            let moved =
                moved_mm2 * dot(&smooth.outermost, &rest) / (1.0 + moved_mm2 * smooth.outermost_square);
            let part = &smooth.component;
            for (c, row) in smooth.inverse.chunks_exact(q).enumerate() {
                let pull = weight * (dot(row, &rest) - moved * smooth.outermost[c]);
                conic[c] += part.conic_sd_nm.powi(2) * pull;
                broad[c] += part.broad_sd_nm.powi(2) * pull;
                narrow[part.length][c] += part.narrow_sd_nm.powi(2) * pull;
            }
        }
        let of_conic = dot(&model.conic.seen, &conic);
        let at_point = |point: usize| {
            let cross = |process: &[f64], pull: &[f64]| dot(&process[point * q..(point + 1) * q], pull);
            let of_narrow: f64 =
                model.narrow.iter().zip(&narrow).map(|(p, pull)| cross(&p.cross, pull)).sum();
            (of_conic * model.conic.height[point] + cross(&model.broad.cross, &broad) + of_narrow) / total
        };
        Some((0..model.grid.radius_mm.len()).map(at_point).collect())
    }
}
