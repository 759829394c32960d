//! How a node is spread over its neighbours on a square net, and how the spreading is undone.
//!
//! The kernel exp(b (sqrt(1 - z^2) - 1)) over ten points falls off so steeply, and its transform too, that the sum over the
//! net is the sum over the nodes to 2e-12 once the transform is divided out. The taps are polynomials of the node's
//! place between two points, fitted once.
//!
//! Source: Barnett, Magland & af Klinteberg 2019, SIAM J. Sci. Comput. 41 (the kernel), from memory.

use std::f64::consts::PI;
use std::sync::LazyLock;

use super::lanes::{TAP_LANES, Taps};
use crate::numeric::{chebyshev, gauss};

/// Points of the net that a node reaches on a side.
pub(super) const TAPS: usize = 10;
/// How much finer the net is than the reach in the image needs.
pub(super) const OVERSAMPLING: f64 = 2.0;
/// Steepness of the kernel for these two.
const STEEPNESS: f64 = 0.98 * PI * TAPS as f64 * (1.0 - 0.5 / OVERSAMPLING);
/// Terms of the taps' polynomials: 1e-13 of the kernel's middle.
const TERMS: usize = 15;
/// Gauss nodes for the kernel's transform over half of its width.
const TRANSFORM_NODES: usize = 60;
/// Terms of the transform's series.
const SERIES: usize = 24;

/// The kernel at a distance z from its middle, in half-widths.
fn bell(z: f64) -> f64 {
    (STEEPNESS * ((1.0 - z * z).max(0.0).sqrt() - 1.0)).exp()
}

/// Coefficients of the taps in 2 u - 1, u how far the first point lies beyond the kernel's edge.
pub(super) static POLYNOMIALS: LazyLock<Vec<Taps>> = LazyLock::new(|| {
    let mut table = vec![[0.0; TAP_LANES]; TERMS];
    for k in 0..TAPS {
        let tap = |s: f64| bell((k as f64 + 0.5 * (s + 1.0)) / (0.5 * TAPS as f64) - 1.0);
        for (row, c) in table.iter_mut().zip(powers(&chebyshev::series(tap, TERMS))) {
            row[k] = c;
        }
    }
    table
});

/// The kernel's transform as a series of (2 t/T)^2 - 1, T the largest turn.
static TRANSFORM: LazyLock<Vec<f64>> = LazyLock::new(|| {
    chebyshev::series(
        |s| {
            let turn = LARGEST_TURN * (0.5 * (s + 1.0)).max(0.0).sqrt();
            let nodes = gauss::on_interval(TRANSFORM_NODES, 0.0, PI / 2.0);
            // z = sin(angle) takes the root at the kernel's edge smoothly.
            let half: f64 = nodes.map(|(a, w)| w * a.cos() * bell(a.sin()) * (turn * a.sin()).cos()).sum();
            TAPS as f64 * half
        },
        SERIES,
    )
});

/// Half of the kernel's width times the largest phase of one step of the net, pi over the oversampling, and a hair more.
const LARGEST_TURN: f64 = 0.5 * TAPS as f64 * PI / OVERSAMPLING * 1.001;

/// The kernel's transform for a phase of one step of the net, radians: within +- pi over the oversampling.
pub(super) fn transform(step_rad: f64) -> f64 {
    let share = 0.5 * TAPS as f64 * step_rad / LARGEST_TURN;
    chebyshev::sum(&TRANSFORM, 2.0 * share * share - 1.0)
}

/// The first point that a node at `place` reaches, and the variable of its polynomials.
#[inline]
pub(super) fn first_and_variable(place: f64) -> (usize, f64) {
    let edge = place - 0.5 * TAPS as f64;
    let first = edge.ceil();
    (first as usize, 2.0 * (first - edge) - 1.0)
}

/// The same series by powers of its variable.
fn powers(series: &[f64]) -> Vec<f64> {
    let count = series.len();
    let (mut before, mut term) = (vec![0.0; count], vec![0.0; count]);
    (before[0], term[1]) = (1.0, 1.0);
    let mut sum = vec![0.0; count];
    for k in 0..count {
        for (s, b) in sum.iter_mut().zip(&before) {
            *s += series[k] * b;
        }
        let mut next = vec![0.0; count];
        for i in 0..count {
            next[i] = if i > 0 { 2.0 * term[i - 1] } else { 0.0 } - before[i];
        }
        (before, term) = (term, next);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wave::lanes::polynomials;

    #[test]
    fn polynomials_are_the_kernel() {
        let at: Vec<f64> = (0..=200).map(|i| f64::from(i) / 100.0 - 1.0).collect();
        let mut taps = vec![[0.0; TAP_LANES]; at.len()];
        polynomials(&POLYNOMIALS, &at, &mut taps);
        for (s, row) in at.iter().zip(&taps) {
            for k in 0..TAP_LANES {
                let z = (k as f64 + 0.5 * (s + 1.0)) / (0.5 * TAPS as f64) - 1.0;
                let truth = if k < TAPS { bell(z.min(1.0)) } else { 0.0 };
                // The root at the kernel's edge, where the kernel is 9e-11, is rounded off; inside the fit is exact.
                let allowed = if k == 0 || k == TAPS - 1 { 5e-11 } else { 1e-12 };
                assert!((row[k] - truth).abs() < allowed, "tap {k} at {s}: {} for {truth}", row[k]);
            }
        }
    }

    #[test]
    fn the_series_is_the_transform() {
        for i in 0..50 {
            let step = PI / OVERSAMPLING * f64::from(i) / 49.0;
            let half = gauss::on_interval(400, 0.0, 1.0)
                .map(|(z, weight)| weight * bell(z) * (0.5 * TAPS as f64 * step * z).cos());
            let truth = TAPS as f64 * half.sum::<f64>();
            assert!((transform(step) / truth - 1.0).abs() < 1e-11, "at {step}");
        }
    }
}
