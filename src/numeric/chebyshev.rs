//! Smooth functions as short Chebyshev series.

use std::f64::consts::PI;

/// Coefficients of the Chebyshev series through the Chebyshev points of -1 to 1.
pub(crate) fn series(f: impl Fn(f64) -> f64, count: usize) -> Vec<f64> {
    let values: Vec<f64> = (0..count).map(|i| f(point(i, count))).collect();
    let coefficient = |k: usize| {
        let terms = values.iter().enumerate().map(|(i, v)| v * (k as f64 * angle(i, count)).cos());
        terms.sum::<f64>() * if k == 0 { 1.0 } else { 2.0 } / count as f64
    };
    (0..count).map(coefficient).collect()
}

/// The Chebyshev point of a number, from +1 downward.
pub(crate) fn point(i: usize, count: usize) -> f64 {
    angle(i, count).cos()
}

fn angle(i: usize, count: usize) -> f64 {
    PI * (i as f64 + 0.5) / count as f64
}

/// A series at a place between -1 and 1 (Clenshaw's recurrence).
#[inline]
pub(crate) fn sum(series: &[f64], x: f64) -> f64 {
    let (mut a, mut b) = (0.0, 0.0);
    for c in series[1..].iter().rev() {
        (a, b) = (2.0 * x * a - b + c, a);
    }
    x * a - b + series[0]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_series_is_its_function() {
        let series = series(f64::exp, 16);
        for i in 0..=20 {
            let x = f64::from(i) / 10.0 - 1.0;
            assert!((sum(&series, x) - x.exp()).abs() < 1e-14);
        }
    }
}
