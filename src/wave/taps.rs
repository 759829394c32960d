//! How a node is spread over its neighbours on a square net, and how the spreading is undone.
//!
//! The kernel exp(b (sqrt(1 - z^2) - 1)) over ten points falls off so steeply, and its transform too, that the sum over the
//! net is the sum over the nodes to 2e-12 once the transform is divided out. The taps are polynomials of the node's
//! place between two points, in pieces, fitted once.
//!
//! Source: Barnett, Magland & af Klinteberg 2019, SIAM J. Sci. Comput. 41 (the kernel), from memory.

use std::f64::consts::PI;
use std::sync::LazyLock;

use super::lanes::{PAIRS, Pairs, TAP_ROOM, Taps};
use crate::numeric::chebyshev;
use crate::numeric::simd::{Instructions, each_set};

/// Points of the net that a node reaches on a side.
pub(super) const TAPS: usize = 10;
/// How much finer the net is than the reach in the image needs.
pub(super) const OVERSAMPLING: f64 = 2.0;
/// Pieces into which the distance of two points is cut, and terms of the taps' polynomials on each: 1e-13 of the kernel's middle.
pub(super) const PIECES: usize = 16;
pub(super) const TERMS: usize = 7;
/// The largest phase of one step of the net, and a hair more.
const LARGEST_RAD: f64 = PI / OVERSAMPLING * 1.001;
/// Even steps for the transform of a kernel of few taps, over half of its width, and terms of its series.
const STEPS: usize = 60;
const SERIES: usize = 24;

/// The kernel for spreading nodes: right wherever the image asks within the reach.
pub(super) static SPREAD: LazyLock<Kernel> =
    LazyLock::new(|| Kernel::new(0.98 * PI * TAPS as f64 * (1.0 - 0.5 / OVERSAMPLING)));

/// The kernel between places of the image (`between.rs`): steeper, as next to nothing of the light has the farthest rates.
pub(super) static BETWEEN: LazyLock<Kernel> =
    LazyLock::new(|| Kernel::new(BETWEEN_STEEPNESS * PI * TAPS as f64 * (1.0 - 0.5 / OVERSAMPLING)));
const BETWEEN_STEEPNESS: f64 = 1.06;

/// Lines of a net that a line of a map reaches (`map_sums.rs`).
pub(super) const WIDE_TAPS: usize = 16;
const WIDE_STEEPNESS: f64 = 0.98 * PI * WIDE_TAPS as f64 * (1.0 - 0.5 / OVERSAMPLING);

/// The kernel for such lines at a distance z from its middle, in half-widths.
pub(super) fn wide_bell(z: f64) -> f64 {
    bell(WIDE_STEEPNESS, z)
}

/// Its transform: a picture asks for it once a column, so that it is summed anew each time, right to the last digits.
pub(super) static WIDE: LazyLock<Transform> = LazyLock::new(|| Transform::new(WIDE_TAPS, WIDE_STEEPNESS, 24));

/// The transform of a kernel, to be divided out of sums over a net.
#[derive(Clone, Debug)]
pub(super) struct Transform {
    /// Places from the kernel's middle, in points of the net, and what they count.
    terms: Vec<[f64; 2]>,
}

impl Transform {
    /// z = sin(angle) takes the root at the kernel's edge smoothly. The angle's function repeats and is next to nothing at that edge,
    /// so even steps are exact but for rounding, which the weights of Gauss nodes are not.
    fn new(width: usize, steepness: f64, steps: usize) -> Self {
        let half = 0.5 * width as f64;
        let step = PI / 2.0 / steps as f64;
        let term = |k: usize| {
            let (z, cos) = ((k as f64 + 0.5) * step).sin_cos();
            [half * z, 2.0 * half * step * cos * bell(steepness, z)]
        };
        Self { terms: (0..steps).map(term).collect() }
    }

    /// The transform for a phase of one step of the net, radians.
    pub(super) fn at(&self, step_rad: f64) -> f64 {
        self.terms.iter().map(|[place, weight]| weight * (step_rad * place).cos()).sum()
    }
}

/// What a place counts for its neighbours on a net.
pub(super) struct Kernel {
    /// Coefficients of the taps, piece after piece, from the highest power down: u, how far the first point lies beyond the
    /// kernel's edge, goes from -1 to 1 on each piece.
    pub(super) taps: Vec<Taps>,
    /// The same, each twice.
    pub(super) pairs: Vec<Pairs>,
    /// Its transform as a series of (2 p/P)^2 - 1, P the largest phase of one step of the net.
    transform: Vec<f64>,
}

/// The kernel at a distance z from its middle, in half-widths.
fn bell(steepness: f64, z: f64) -> f64 {
    // The root less 1, without what the difference would lose.
    (-steepness * z * z / (1.0 + (1.0 - z * z).max(0.0).sqrt())).exp()
}

impl Kernel {
    fn new(steepness: f64) -> Self {
        let mut taps = vec![[0.0; TAP_ROOM]; PIECES * TERMS];
        for (piece, rows) in taps.chunks_mut(TERMS).enumerate() {
            for k in 0..TAPS {
                let u = |s: f64| (piece as f64 + 0.5 * (s + 1.0)) / PIECES as f64;
                let tap = |s: f64| bell(steepness, (k as f64 + u(s)) / (0.5 * TAPS as f64) - 1.0);
                for (row, c) in rows.iter_mut().rev().zip(powers(&chebyshev::series(tap, TERMS))) {
                    row[k] = c;
                }
            }
        }
        let pairs =
            taps.iter().map(|row| std::array::from_fn::<f64, PAIRS, _>(|lane| row[lane / 2])).collect();
        let transform = Transform::new(TAPS, steepness, STEPS);
        let phase = |s: f64| LARGEST_RAD * (0.5 * (s + 1.0)).max(0.0).sqrt();
        Self { taps, pairs, transform: chebyshev::series(|s| transform.at(phase(s)), SERIES) }
    }

    /// The kernel's transform for a phase of one step of the net, radians: within +- pi over the oversampling.
    pub(super) fn transform(&self, step_rad: f64) -> f64 {
        let share = step_rad / LARGEST_RAD;
        chebyshev::sum(&self.transform, 2.0 * share * share - 1.0)
    }

    /// The same for many phases.
    pub(super) fn transforms(&self, set: Instructions, step_rad: impl Iterator<Item = f64>) -> Vec<f64> {
        let mut values: Vec<f64> = step_rad.collect();
        let count = values.len();
        values.resize(count.next_multiple_of(8), 0.0);
        transforms_of(set, &self.transform, &mut values);
        values.truncate(count);
        values
    }
}

each_set! {
    /// Phases of one step, eight after eight, turned into what a series says of them.
    fn transforms_of(series: &[f64], values: &mut [f64]) = transforms_of_with;
}

#[allow(clippy::inline_always)] // or it is compiled without the vector instructions of its caller
#[inline(always)]
fn transforms_of_with<const FUSED: bool>(series: &[f64], values: &mut [f64]) {
    for values in values.as_chunks_mut::<8>().0 {
        let mut x = *values;
        for x in &mut x {
            let share = *x / LARGEST_RAD;
            *x = 2.0 * share * share - 1.0;
        }
        *values = chebyshev::sums(series, x);
    }
}

/// The first point that a node at `place` reaches, and how far it lies beyond the kernel's edge.
#[inline]
pub(super) fn first_and_variable(place: f64) -> (usize, f64) {
    let edge = place - 0.5 * TAPS as f64;
    // Rounded up without a call of the library: places are never negative.
    let below = edge as usize;
    let first = below + usize::from(edge > below as f64);
    (first, first as f64 - edge)
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
    use crate::numeric::gauss;
    use crate::numeric::simd::Instructions;
    use crate::wave::lanes;

    const STEEPNESS: f64 = 0.98 * PI * TAPS as f64 * (1.0 - 0.5 / OVERSAMPLING);

    #[test]
    fn polynomials_are_the_kernel() {
        let at: Vec<f64> = (0..=200).map(|i| f64::from(i) / 200.0).collect();
        let (mut taps, mut pairs) = (vec![[0.0; TAP_ROOM]; at.len()], vec![[0.0; PAIRS]; at.len()]);
        for set in Instructions::ALL.into_iter().filter(|set| set.is_there()) {
            lanes::taps(set, &SPREAD.taps, &at, &mut taps);
            lanes::pairs(set, &SPREAD.pairs, &at, &mut pairs);
            for ((u, row), pair) in at.iter().zip(&taps).zip(&pairs) {
                for k in 0..TAP_ROOM {
                    let z = (k as f64 + u) / (0.5 * TAPS as f64) - 1.0;
                    let truth = if k < TAPS { bell(STEEPNESS, z.min(1.0)) } else { 0.0 };
                    // The root at the kernel's edge, where the kernel is 9e-11, is rounded off; inside the fit is exact.
                    let allowed = if k == 0 || k == TAPS - 1 { 5e-11 } else { 1e-12 };
                    assert!((row[k] - truth).abs() < allowed, "tap {k} at {u}: {} for {truth}", row[k]);
                    if k < TAPS {
                        assert_eq!([pair[2 * k], pair[2 * k + 1]].map(f64::to_bits), [row[k].to_bits(); 2]);
                    }
                }
            }
        }
    }

    #[test]
    fn the_series_is_the_transform() {
        for i in 0..50 {
            let step = PI / OVERSAMPLING * f64::from(i) / 49.0;
            let half = gauss::on_interval(400, 0.0, 1.0)
                .map(|(z, weight)| weight * bell(STEEPNESS, z) * (0.5 * TAPS as f64 * step * z).cos());
            let truth = TAPS as f64 * half.sum::<f64>();
            assert!((SPREAD.transform(step) / truth - 1.0).abs() < 1e-11, "at {step}");
        }
    }

    #[test]
    fn the_wide_transform_keeps_its_last_digits() {
        // mpmath 1.4.1, quad at 40 digits, of 16 cos(a) exp(b (cos(a) - 1)) cos(8 step sin(a)) over 0 to pi/2.
        let b = 0.98 * PI * 16.0 * 0.75;
        assert!((WIDE_STEEPNESS / b - 1.0).abs() < 1e-15);
        for (step, truth) in
            [(0.0, 3.265_367_233_616_099), (0.5, 2.651_109_901_454_244_4), (1.25, 0.870_170_217_034_239_4)]
        {
            let off = WIDE.at(step) - truth;
            assert!(off.abs() < 3e-15, "at {step}: {off:e}");
        }
    }
}
