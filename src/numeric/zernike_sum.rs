//! A sum of Zernike terms and its slopes at single points, without a list of all lower terms.

use super::zernike::norm;

/// A fixed sum of Zernike terms, ready to be evaluated anywhere.
///
/// Each term is Re or Im of (x + iy)^|m| times a polynomial in x^2 + y^2, so that value and slopes are smooth at the
/// centre and no angle is ever formed.
///
/// Units: those of the coefficients, which belong to terms of unit RMS over the unit disc; positions in radii of
/// the disc, slopes for each radius.
/// Source: the radial polynomial as rho^m P_k^(0,m)(2 rho^2 - 1) by the three-term recurrence of Abramowitz &
/// Stegun 1964, 22.7.1, and its derivative term by term. Against the Cartesian recurrence of
/// [`all_with_slopes`](super::zernike::all_with_slopes) it agrees to 1e-11 of the steepest slope up to order 40.
///
/// ```
/// use catoptric::numeric::zernike_sum::ZernikeSum;
/// let astigmatism = ZernikeSum::new(&[(2, 2, 1.0)]); // sqrt(6) (x^2 - y^2)
/// let (value, [by_x, by_y]) = astigmatism.value_and_slopes(0.5, 0.2);
/// assert!((value - 6.0_f64.sqrt() * 0.21).abs() < 1e-15);
/// assert!((by_x - 6.0_f64.sqrt()).abs() < 1e-15 && (by_y + 6.0_f64.sqrt() * 0.4).abs() < 1e-15);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct ZernikeSum {
    spokes: Vec<Spoke>,
}

/// All terms of one azimuthal order.
#[derive(Clone, Debug, PartialEq)]
struct Spoke {
    m: i32,
    /// Factor of P_k^(0,|m|) for k = 0, 1, ...
    factors: Vec<f64>,
}

impl ZernikeSum {
    /// The sum of terms given as (n, m, coefficient).
    ///
    /// Terms that do not exist (|m| above n, or n - |m| odd) count as 0.
    pub fn new(terms: &[(u32, i32, f64)]) -> Self {
        let mut spokes: Vec<Spoke> = Vec::new();
        for &(n, m, coefficient) in terms {
            let size = m.unsigned_abs();
            if size > n || !(n - size).is_multiple_of(2) {
                continue;
            }
            let place = spokes.iter().position(|s| s.m == m).unwrap_or(spokes.len());
            if place == spokes.len() {
                spokes.push(Spoke { m, factors: Vec::new() });
            }
            let (factors, k) = (&mut spokes[place].factors, ((n - size) / 2) as usize);
            if factors.len() <= k {
                factors.resize(k + 1, 0.0);
            }
            factors[k] += coefficient * norm(n, m);
        }
        Self { spokes }
    }

    /// The largest |m| of the sum.
    pub fn azimuthal_order(&self) -> u32 {
        self.spokes.iter().map(|s| s.m.unsigned_abs()).max().unwrap_or(0)
    }

    /// The largest n of the sum.
    pub fn radial_order(&self) -> u32 {
        let order = |s: &Spoke| s.m.unsigned_abs() + 2 * (s.factors.len().max(1) as u32 - 1);
        self.spokes.iter().map(order).max().unwrap_or(0)
    }

    /// The sum at a point, and its derivatives along x and y.
    pub fn value_and_slopes(&self, x: f64, y: f64) -> (f64, [f64; 2]) {
        let (mut value, mut slopes) = (0.0, [0.0; 2]);
        let t = 2.0 * (x * x + y * y) - 1.0;
        for spoke in &self.spokes {
            let (radial, by_t) = spoke.jacobi(t);
            let (part, [part_x, part_y]) = spoke.harmonic(x, y);
            value += part * radial;
            slopes[0] += part_x * radial + part * by_t * 4.0 * x;
            slopes[1] += part_y * radial + part * by_t * 4.0 * y;
        }
        (value, slopes)
    }
}

impl Spoke {
    /// Re (m >= 0) or Im (m < 0) of (x + iy)^|m|, with its derivatives.
    fn harmonic(&self, x: f64, y: f64) -> (f64, [f64; 2]) {
        let size = self.m.unsigned_abs();
        if size == 0 {
            return (1.0, [0.0; 2]);
        }
        let (mut re, mut im) = (1.0, 0.0);
        for _ in 1..size {
            (re, im) = (re * x - im * y, re * y + im * x);
        }
        let times = f64::from(size);
        if self.m > 0 {
            (re * x - im * y, [times * re, -times * im])
        } else {
            (re * y + im * x, [times * im, times * re])
        }
    }

    /// The factors' sum of P_k^(0,|m|)(t), and its derivative.
    fn jacobi(&self, t: f64) -> (f64, f64) {
        let m = f64::from(self.m.unsigned_abs());
        let first = self.factors.first().copied().unwrap_or(0.0);
        let (mut before, mut now) = ((1.0, 0.0), (0.5 * ((m + 2.0) * t - m), 0.5 * (m + 2.0)));
        let (mut value, mut slope) = (first, 0.0);
        for (k, factor) in self.factors.iter().enumerate().skip(1) {
            value += factor * now.0;
            slope += factor * now.1;
            let k = k as f64 + 1.0;
            let order = 2.0 * k + m;
            let rise = |p: f64| (order - 1.0) * (order * (order - 2.0) * t - m * m) * p;
            let fall = |p: f64| 2.0 * (k - 1.0) * (k + m - 1.0) * order * p;
            let scale = 1.0 / (2.0 * k * (k + m) * (order - 2.0));
            let by_t = (order - 1.0) * order * (order - 2.0) * now.0;
            let next =
                ((rise(now.0) - fall(before.0)) * scale, (rise(now.1) + by_t - fall(before.1)) * scale);
            (before, now) = (now, next);
        }
        (value, slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::zernike::{Indexing, all_with_slopes};

    #[test]
    fn agrees_with_the_cartesian_recurrence() {
        let (mut value, mut by_x, mut by_y) = (Vec::new(), Vec::new(), Vec::new());
        for j in (0..861).step_by(7) {
            let (n, m) = Indexing::Osa.order(j).expect("every number is a term");
            let sum = ZernikeSum::new(&[(n, m, 1.0)]);
            for (x, y) in [(0.0, 0.0), (0.3, -0.4), (-0.7, 0.1), (0.0, 1.0), (0.6, 0.8), (-1e-3, 2e-4)] {
                all_with_slopes(40, x, y, &mut value, &mut by_x, &mut by_y);
                let (v, [sx, sy]) = sum.value_and_slopes(x, y);
                let at = j as usize;
                assert!((v - value[at]).abs() < 1e-11, "{n} {m} at {x} {y}: {v}");
                // The steepest slope of any term is n^2 norm at the rim.
                let tolerance = 1e-11 * f64::from(n * n + 1) * norm(n, m);
                assert!((sx - by_x[at]).abs() < tolerance && (sy - by_y[at]).abs() < tolerance, "{n} {m}");
            }
        }
    }

    #[test]
    fn knows_its_orders() {
        let sum = ZernikeSum::new(&[(4, 0, 1.0), (7, -3, 2.0), (3, 2, 9.0)]);
        assert_eq!((sum.radial_order(), sum.azimuthal_order()), (7, 3), "(3, 2) is no term");
        assert_eq!(ZernikeSum::new(&[]).value_and_slopes(0.3, 0.1), (0.0, [0.0; 2]));
    }
}
