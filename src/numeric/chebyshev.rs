//! Smooth functions as short Chebyshev series.

use std::f64::consts::PI;

/// Coefficients of the Chebyshev series through the Chebyshev points of -1 to 1.
pub(crate) fn series(f: impl Fn(f64) -> f64, count: usize) -> Vec<f64> {
    through(&(0..count).map(|i| f(point(i, count))).collect::<Vec<f64>>())
}

/// The same from the values at these points.
pub(crate) fn through(values: &[f64]) -> Vec<f64> {
    let count = values.len();
    let coefficient = |k: usize| {
        let terms = values.iter().enumerate().map(|(i, v)| v * (k as f64 * angle(i, count)).cos());
        terms.sum::<f64>() * if k == 0 { 1.0 } else { 2.0 } / count as f64
    };
    (0..count).map(coefficient).collect()
}

/// The coefficients of the powers of x in a series of so many terms at most: T(n+1) = 2 x T(n) - T(n-1).
///
/// Rounding grows by (1 + sqrt(2))^n in them: 1e3 for 8 terms, 2e5 for 14.
pub(crate) fn powers<const N: usize>(series: &[f64]) -> [f64; N] {
    let (mut below, mut of_order, mut found) = ([0.0; N], [0.0; N], [0.0; N]);
    of_order[0] = 1.0;
    for (n, coefficient) in series.iter().enumerate() {
        for (found, power) in found.iter_mut().zip(of_order) {
            *found += coefficient * power;
        }
        // T(1) is x itself.
        let times = if n == 0 { 1.0 } else { 2.0 };
        let next = std::array::from_fn(|p| if p > 0 { times * of_order[p - 1] } else { 0.0 } - below[p]);
        (below, of_order) = (of_order, next);
    }
    found
}

/// The Chebyshev point of a number, from +1 downward.
pub(crate) fn point(i: usize, count: usize) -> f64 {
    angle(i, count).cos()
}

fn angle(i: usize, count: usize) -> f64 {
    PI * (i as f64 + 0.5) / count as f64
}

/// A series at a place between -1 and 1.
#[inline]
pub(crate) fn sum(series: &[f64], x: f64) -> f64 {
    let [found] = sums(series, [x]);
    found
}

/// The same at some places side by side (Clenshaw's recurrence).
#[allow(clippy::inline_always)] // or it is compiled without the vector instructions of its caller
#[inline(always)]
pub(crate) fn sums<const N: usize>(series: &[f64], x: [f64; N]) -> [f64; N] {
    let (mut a, mut b, mut found) = ([0.0; N], [0.0; N], x);
    for c in series[1..].iter().rev() {
        let before = a;
        for lane in 0..N {
            a[lane] = 2.0 * x[lane] * a[lane] - b[lane] + c;
        }
        b = before;
    }
    for lane in 0..N {
        found[lane] = x[lane] * a[lane] - b[lane] + series[0];
    }
    found
}

/// Polynomials by their values at the Chebyshev points of -1 to 1.
#[derive(Clone, Debug)]
pub(crate) struct Points(Vec<(f64, f64)>);

impl Points {
    pub(crate) fn new(count: usize) -> Self {
        let factor =
            |i: usize| if i.is_multiple_of(2) { angle(i, count).sin() } else { -angle(i, count).sin() };
        Self((0..count).map(|i| (point(i, count), factor(i))).collect())
    }

    pub(crate) fn len(&self) -> usize {
        self.0.len()
    }

    /// What each value counts at a place between -1 and 1 (the barycentric formula).
    pub(crate) fn shares(&self, x: f64) -> Vec<f64> {
        let term = |(point, factor): &(f64, f64)| {
            let gap = x - point;
            // On a point its own term outweighs all others.
            factor / if gap == 0.0 { 1e-30 } else { gap }
        };
        let mut terms: Vec<f64> = self.0.iter().map(term).collect();
        let total: f64 = terms.iter().sum();
        for share in &mut terms {
            *share /= total;
        }
        terms
    }
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

    #[test]
    fn powers_are_those_of_the_polynomials() {
        // T(0) to T(4), Abramowitz & Stegun 1964, table 22.3: 1, x, 2x^2 - 1, 4x^3 - 3x, 8x^4 - 8x^2 + 1.
        let found = powers::<5>(&[1.0, 10.0, 100.0, 1000.0, 10_000.0]);
        let known: [f64; 5] = [1.0 - 100.0 + 10_000.0, 10.0 - 3000.0, 200.0 - 80_000.0, 4000.0, 80_000.0];
        assert_eq!(found.map(f64::to_bits), known.map(f64::to_bits));
        assert_eq!(powers::<4>(&[3.0]).map(f64::to_bits), [3.0_f64, 0.0, 0.0, 0.0].map(f64::to_bits));
    }

    #[test]
    fn shares_of_values_are_the_function() {
        let points = Points::new(16);
        for x in [-1.0, -0.3, 0.0, point(3, 16), 0.999, 1.0] {
            let shares = points.shares(x);
            let sum: f64 = shares.iter().enumerate().map(|(i, s)| s * point(i, 16).exp()).sum();
            assert!((sum - x.exp()).abs() < 1e-14, "at {x}");
        }
    }
}
