//! Two surfaces as one system: a pair of components with the covariance that a common mask puts
//! between their readings.

use super::conditional::Conditional;
use super::evidence::Data;
use super::figure_model::FigureModel;
use super::linear::{Factor, dot};

/// What is known of one of the two surfaces before the pair is looked at.
#[derive(Clone, Copy)]
pub(crate) struct Side<'a> {
    pub(crate) model: &'a FigureModel,
    pub(crate) data: &'a Data,
}

/// A pair of components, conditioned on both sets of readings.
pub(crate) struct JointConditional {
    pub(crate) factor: Factor,
    /// Contrasts of both sets without the non-linear part of the edges, mm.
    pub(crate) target: Vec<f64>,
    /// As in [`Conditional`], for each surface.
    pub(crate) steep_sd_mm: [f64; 2],
    /// Logarithm of the joint probability density of the contrasts.
    pub(crate) log_density: f64,
}

impl JointConditional {
    /// Two surfaces whose conditionals are known, read through one mask.
    pub(crate) fn new(sides: [Side<'_>; 2], parts: [&Conditional; 2]) -> Option<Self> {
        let orders = sides.map(|side| side.model.order);
        let mut covariance = blocks(orders, [&parts[0].covariance, &parts[1].covariance]);
        let steep_sd_mm = parts.map(|part| part.steep_sd_mm);
        add_places(&mut covariance, sides);
        let steep = steep_sd_mm[0] * steep_sd_mm[1];
        add_cross(&mut covariance, orders, |i, j| {
            steep * sides[0].model.outermost[i] * sides[1].model.outermost[j]
        });
        let target = [parts[0].target.as_slice(), parts[1].target.as_slice()].concat();
        Self::finish(&covariance, target, steep_sd_mm)
    }

    fn finish(covariance: &[f64], target: Vec<f64>, steep_sd_mm: [f64; 2]) -> Option<Self> {
        let factor = Factor::of(covariance, target.len())?;
        let mut white = target.clone();
        factor.forward(&mut white);
        let constant = white.len() as f64 * libm::log(2.0 * std::f64::consts::PI);
        let log_density = -0.5 * (dot(&white, &white) + factor.log_determinant() + constant);
        Some(Self { factor, target, steep_sd_mm, log_density })
    }
}

/// Two covariances with nothing in common.
fn blocks(orders: [usize; 2], parts: [&[f64]; 2]) -> Vec<f64> {
    let size = orders[0] + orders[1];
    let mut matrix = vec![0.0; size * size];
    for (k, start) in [(0, 0), (1, orders[0])] {
        for (i, row) in parts[k].chunks_exact(orders[k]).enumerate() {
            let place = (start + i) * size + start;
            matrix[place..place + orders[k]].copy_from_slice(row);
        }
    }
    matrix
}

/// Adds what a mask that is common to both puts between their readings.
fn add_places(covariance: &mut [f64], sides: [Side<'_>; 2]) {
    let models = sides.map(|side| side.model);
    let count = models[0].rims.len();
    add_cross(covariance, models.map(|model| model.order), |i, j| {
        let row = |k: usize, c: usize| &models[k].contrasts[c * count..(c + 1) * count];
        let products =
            row(0, i).iter().zip(row(1, j)).zip(models[0].place_sd_mm.iter().zip(&models[1].place_sd_mm));
        products.map(|((a, b), (first, second))| a * b * first * second).sum()
    });
}

/// Adds to both off-diagonal blocks.
fn add_cross(matrix: &mut [f64], orders: [usize; 2], value: impl Fn(usize, usize) -> f64) {
    let size = orders[0] + orders[1];
    for i in 0..orders[0] {
        for j in 0..orders[1] {
            let added = value(i, j);
            matrix[i * size + orders[0] + j] += added;
            matrix[(orders[0] + j) * size + i] += added;
        }
    }
}
