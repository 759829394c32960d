//! Filters on a net of samples, by Fourier transform.

use ndarray::Array2;
use rustfft::num_complex::Complex64;
use rustfft::{Fft, FftPlanner};

/// A picture filtered by a transfer function, as if all around it were dark.
///
/// `transfer` is given the frequencies along a row (x) and along a column (y) in cycles for each sample, from -1/2 to 1/2, and
/// returns the real and the imaginary part of the factor there. The picture is laid into a dark one that is larger by at least
/// `margin` samples on every side, so that what the filter spreads beyond an edge does not come back at the other.
///
/// Shapes: any; the result has the picture's own.
/// Source: the convolution theorem.
/// Leaves out: what a filter spreads further than `margin`, which comes back from the other side.
///
/// ```
/// use catoptric::numeric::convolve::filtered;
/// let point = ndarray::arr2(&[[0.0, 1.0, 0.0, 0.0]]);
/// let moved_by_one = filtered(&point, 4, |x, _| {
///     let (sin, cos) = (std::f64::consts::TAU * x).sin_cos();
///     (cos, -sin)
/// });
/// assert!((moved_by_one[[0, 2]] - 1.0).abs() < 1e-12 && moved_by_one[[0, 1]].abs() < 1e-12);
/// ```
pub fn filtered(
    picture: &Array2<f64>,
    margin: usize,
    transfer: impl Fn(f64, f64) -> (f64, f64),
) -> Array2<f64> {
    let (rows, columns) = picture.dim();
    if picture.is_empty() {
        return picture.clone();
    }
    let (height, width) = (quick_size(rows + 2 * margin), quick_size(columns + 2 * margin));
    let mut planner = FftPlanner::new();
    let mut plane = vec![Complex64::default(); height * width];
    for ((i, j), &value) in picture.indexed_iter() {
        plane[i * width + j].re = value;
    }
    let mut turned = vec![Complex64::default(); height * width];
    both_ways(&mut plane, &mut turned, (height, width), |n| planner.plan_fft_forward(n));
    let scale = 1.0 / (height * width) as f64;
    for (k, value) in plane.iter_mut().enumerate() {
        let (re, im) = transfer(frequency(k % width, width), frequency(k / width, height));
        *value *= Complex64::new(scale * re, scale * im);
    }
    both_ways(&mut plane, &mut turned, (height, width), |n| planner.plan_fft_inverse(n));
    Array2::from_shape_fn((rows, columns), |(i, j)| plane[i * width + j].re)
}

/// The frequency of an entry of a transform of n samples, in cycles for each sample, from -1/2 to 1/2.
pub(crate) fn frequency(k: usize, n: usize) -> f64 {
    (if 2 * k > n { k as f64 - n as f64 } else { k as f64 }) / n as f64
}

/// Transforms every row and then every column in place.
pub(crate) fn both_ways(
    plane: &mut [Complex64],
    turned: &mut [Complex64],
    (height, width): (usize, usize),
    mut plan: impl FnMut(usize) -> std::sync::Arc<dyn Fft<f64>>,
) {
    plan(width).process(plane);
    transpose(plane, turned, width);
    plan(height).process(turned);
    transpose(turned, plane, height);
}

fn transpose(from: &[Complex64], to: &mut [Complex64], width: usize) {
    let height = from.len() / width;
    for (i, row) in from.chunks(width).enumerate() {
        for (j, value) in row.iter().enumerate() {
            to[j * height + i] = *value;
        }
    }
}

/// The next size that has no prime factor above 5.
pub(crate) fn quick_size(least: usize) -> usize {
    let smooth = |n: &usize| {
        let mut rest = *n;
        for prime in [2, 3, 5] {
            while rest.is_multiple_of(prime) {
                rest /= prime;
            }
        }
        rest == 1
    };
    // A power of two lies below twice any number.
    (least.max(1)..=2 * least.max(1)).find(smooth).unwrap_or(least)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_filter_is_the_sum_over_its_own_response() {
        // The obvious way: every sample spread by the response (1/4, 1/2, 1/4) along rows and a delay of 2 along columns.
        let picture = Array2::from_shape_fn((7, 12), |(i, j)| ((3 * i + 5 * j) % 11) as f64 - 2.0);
        let found = filtered(&picture, 3, |x, y| {
            let (sin, cos) = (2.0 * std::f64::consts::TAU * y).sin_cos();
            let spread = 0.5 + 0.5 * (std::f64::consts::TAU * x).cos();
            (spread * cos, -spread * sin)
        });
        let at = |i: i32, j: i32| {
            let inside = (0..7).contains(&i) && (0..12).contains(&j);
            if inside { picture[[i as usize, j as usize]] } else { 0.0 }
        };
        for ((i, j), value) in found.indexed_iter() {
            let (i, j) = (i as i32 - 2, j as i32);
            let wanted = 0.25 * at(i, j - 1) + 0.5 * at(i, j) + 0.25 * at(i, j + 1);
            assert!((value - wanted).abs() < 1e-13, "at {i}, {j}");
        }
    }

    #[test]
    fn sizes_are_quick_and_no_smaller() {
        assert_eq!([1, 7, 11, 13, 1000, 1025].map(quick_size), [1, 8, 12, 15, 1000, 1080]);
    }
}
