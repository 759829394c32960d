//! Filters on a net that repeats: the product of two transforms.

use std::sync::Arc;

use ndarray::Array2;
use rustfft::num_complex::Complex64;
use rustfft::{Fft, FftPlanner};

use super::convolve::both_ways;

/// A filter on a net of some size whose edges meet: what leaves on one side comes back on the other.
#[derive(Clone, Debug)]
pub(crate) struct Filter {
    height: usize,
    width: usize,
    factors: Vec<Complex64>,
}

impl Filter {
    /// The filter that lets nothing pass.
    pub(crate) fn dark(height: usize, width: usize) -> Self {
        Self { height, width, factors: vec![Complex64::default(); height * width] }
    }

    /// Adds the transform of a kernel, each frequency of it turned into what counts by `made`, which is given row and
    /// column of the frequency and the real and the imaginary part of the transform there. The kernel's middle is its
    /// first entry.
    pub(crate) fn add(&mut self, kernel: &Array2<f64>, made: impl Fn(usize, usize, [f64; 2]) -> [f64; 2]) {
        let plane = self.transform(kernel, |planner, n| planner.plan_fft_forward(n));
        for (k, (factor, value)) in self.factors.iter_mut().zip(plane).enumerate() {
            let [re, im] = made(k / self.width, k % self.width, [value.re, value.im]);
            *factor += Complex64::new(re, im);
        }
    }

    /// A picture of the net's size, filtered.
    pub(crate) fn applied(&self, picture: &Array2<f64>) -> Array2<f64> {
        let mut plane = self.transform(picture, |planner, n| planner.plan_fft_forward(n));
        let scale = 1.0 / plane.len() as f64;
        for (value, factor) in plane.iter_mut().zip(&self.factors) {
            *value *= factor * scale;
        }
        let mut turned = vec![Complex64::default(); plane.len()];
        let mut planner = FftPlanner::new();
        both_ways(&mut plane, &mut turned, (self.height, self.width), |n| planner.plan_fft_inverse(n));
        Array2::from_shape_fn((self.height, self.width), |(i, j)| plane[i * self.width + j].re)
    }

    fn transform(
        &self,
        picture: &Array2<f64>,
        plan: impl Fn(&mut FftPlanner<f64>, usize) -> Arc<dyn Fft<f64>>,
    ) -> Vec<Complex64> {
        let mut plane: Vec<Complex64> = picture.iter().map(|&v| Complex64::new(v, 0.0)).collect();
        let mut turned = vec![Complex64::default(); plane.len()];
        let mut planner = FftPlanner::new();
        both_ways(&mut plane, &mut turned, (self.height, self.width), |n| plan(&mut planner, n));
        plane
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_filter_is_the_sum_over_its_kernel_around_the_net() {
        let (height, width) = (6, 10);
        let net = |seed: usize| {
            Array2::from_shape_fn((height, width), |(i, j)| ((7 * i + seed * j + i * j) % 13) as f64 - 5.0)
        };
        let (picture, kernel) = (net(3), net(5));
        let mut filter = Filter::dark(height, width);
        filter.add(&kernel, |_, _, value| value.map(|v| 0.5 * v));
        filter.add(&kernel, |_, _, value| value.map(|v| 0.5 * v));
        for ((i, j), found) in filter.applied(&picture).indexed_iter() {
            let mut wanted = 0.0;
            for ((k, l), share) in kernel.indexed_iter() {
                wanted += share * picture[[(i + height - k) % height, (j + width - l) % width]];
            }
            assert!((found - wanted).abs() < 1e-11, "at {i}, {j}");
        }
    }
}
