//! A rough surface of chance with a power spectrum of one slope between two frequencies.

use std::sync::Arc;

use ndarray::Array2;
use rustfft::num_complex::Complex64;
use rustfft::{Fft, FftPlanner};

use super::convolve::{both_ways, frequency};
use super::random::Stream;

/// A periodic surface on a square net whose spectral density falls as a power of the frequency.
///
/// Every wave of the net between `low` and `high` (cycles for each sample, both included) has an amplitude and a phase
/// of chance: two independent normal draws times f^(-slope/2). All others are absent. The scale is arbitrary.
///
/// Shapes: `size` x `size`.
/// Source: spectral synthesis of a Gaussian surface, common practice, no source.
///
/// ```
/// let surface = catoptric::numeric::rough::surface(32, [0.05, 0.2], 2.0, 7);
/// assert_eq!(surface, catoptric::numeric::rough::surface(32, [0.05, 0.2], 2.0, 7));
/// assert!(surface.sum().abs() < 1e-9 && surface.iter().any(|h| h.abs() > 0.1));
/// ```
pub fn surface(size: usize, [low, high]: [f64; 2], slope: f64, seed: u64) -> Array2<f64> {
    let mut draws = Stream::new(seed, 0);
    let mut plane = vec![Complex64::default(); size * size];
    for (k, wave) in plane.iter_mut().enumerate() {
        let f = frequency(k % size, size).hypot(frequency(k / size, size));
        if (low..=high).contains(&f) {
            let share = (f / low).powf(-0.5 * slope);
            *wave = Complex64::new(share * draws.normal(), share * draws.normal());
        }
    }
    let mut planner = FftPlanner::new();
    let mut turned = vec![Complex64::default(); size * size];
    let mut plan = |n: usize| -> Arc<dyn Fft<f64>> { planner.plan_fft_inverse(n) };
    both_ways(&mut plane, &mut turned, (size, size), &mut plan);
    Array2::from_shape_fn((size, size), |(i, j)| plane[i * size + j].re)
}
