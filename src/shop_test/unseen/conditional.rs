//! One component after the readings: what a draw of it must be corrected by.

use super::evidence::{Component, Data, smooth_covariance};
use super::figure_model::FigureModel;
use super::linear::{Factor, dot};

/// The drop of an edge enters its own offset and scatter: this often it is found anew, half way.
const ROUNDS: usize = 2;

/// A component, conditioned on the readings.
#[derive(Clone, Debug)]
pub(crate) struct Conditional {
    pub(crate) component: Component,
    /// The covariance of the contrasts, edge and all.
    pub(crate) covariance: Vec<f64>,
    pub(crate) factor: Factor,
    /// The contrasts without what the square and the cube of the edge's slope add, mm.
    pub(crate) target: Vec<f64>,
    /// Standard deviation of the outermost reading because the edge is steep there, mm; signed, as the
    /// reading moves when the opening stands too far out.
    pub(crate) steep_sd_mm: f64,
}

impl Conditional {
    /// None if the covariance is not positive definite.
    pub(crate) fn new(model: &FigureModel, data: &Data, component: Component) -> Option<Self> {
        let q = model.order;
        let mut covariance = vec![0.0; q * q];
        smooth_covariance(model, data, &component, &mut covariance);
        let Some((index, drop_sd_nm)) = component.edge else {
            let factor = Factor::of(&covariance, q)?;
            return Some(Self {
                component,
                covariance,
                factor,
                target: data.contrast_mm.clone(),
                steep_sd_mm: 0.0,
            });
        };
        let edge = &model.edges[index];
        let smooth = Factor::of(&covariance, q)?;
        let white = |values: &[f64]| {
            let mut list = values.to_vec();
            smooth.forward(&mut list);
            list
        };
        let (y, e) = (white(&data.contrast_mm), white(&edge.shape.seen));
        let (s, c, o) = (white(&edge.square), white(&edge.cube), white(&model.outermost));
        let variance = drop_sd_nm * drop_sd_nm;
        let mut drop_nm = variance * dot(&e, &y) / (1.0 + variance * dot(&e, &e));
        for _ in 0..ROUNDS {
            let (g2, g3) = (drop_nm * drop_nm, drop_nm.powi(3));
            let rest: Vec<f64> = (0..q).map(|k| y[k] - g2 * s[k] + g3 * c[k]).collect();
            let scatter = (model.radius_sigma_mm * edge.steepness * drop_nm).powi(2);
            let shrink = scatter / (1.0 + scatter * dot(&o, &o));
            let eo = dot(&e, &o);
            let alpha = dot(&e, &e) - shrink * eo * eo;
            let beta = dot(&e, &rest) - shrink * eo * dot(&o, &rest);
            drop_nm = 0.5 * (drop_nm + beta * variance / (1.0 + variance * alpha));
        }
        let steep_sd_mm = model.radius_sigma_mm * edge.steepness * drop_nm;
        let seen = &edge.shape.seen;
        for (k, value) in covariance.iter_mut().enumerate() {
            let (i, j) = (k / q, k % q);
            *value += variance * seen[i] * seen[j]
                + steep_sd_mm * steep_sd_mm * model.outermost[i] * model.outermost[j];
        }
        let factor = Factor::of(&covariance, q)?;
        let (g2, g3) = (drop_nm * drop_nm, drop_nm.powi(3));
        let target = (0..q).map(|k| data.contrast_mm[k] - g2 * edge.square[k] + g3 * edge.cube[k]).collect();
        Some(Self { component, covariance, factor, target, steep_sd_mm })
    }

    /// Logarithm of the probability density of the contrasts in this component.
    pub(crate) fn log_density(&self) -> f64 {
        let mut white = self.target.clone();
        self.factor.forward(&mut white);
        let constant = white.len() as f64 * libm::log(2.0 * std::f64::consts::PI);
        -0.5 * (dot(&white, &white) + self.factor.log_determinant() + constant)
    }
}

/// Adds K A' `weight` to the heights at the points: the correction of a draw, in nm. That of the edge's drop comes back.
pub(crate) fn add_correction(
    model: &FigureModel,
    part: &Component,
    weight: &[f64],
    height_nm: &mut [f64],
) -> f64 {
    let q = model.order;
    let broad = part.broad_sd_nm * part.broad_sd_nm;
    let narrow = part.narrow_sd_nm * part.narrow_sd_nm;
    let conic = part.conic_sd_nm * part.conic_sd_nm * dot(&model.conic.seen, weight);
    let first: Vec<f64> = weight.iter().map(|u| broad * u).collect();
    let second: Vec<f64> = weight.iter().map(|u| narrow * u).collect();
    let crosses = model.broad.cross.chunks_exact(q).zip(model.narrow[part.length].cross.chunks_exact(q));
    for ((height, (broad, narrow)), conic_height) in
        height_nm.iter_mut().zip(crosses).zip(&model.conic.height)
    {
        *height += dot(broad, &first) + dot(narrow, &second) + conic * conic_height;
    }
    let Some((edge, drop_sd_nm)) = part.edge else { return 0.0 };
    let drop = drop_sd_nm * drop_sd_nm * dot(&model.edges[edge].shape.seen, weight);
    for (height, edge_height) in height_nm.iter_mut().zip(&model.edges[edge].shape.height) {
        *height += drop * edge_height;
    }
    drop
}
