//! Student's distribution: how far a mean may stray where its own noise is only estimated.

use super::random::normal_quantile;
use super::roots;

/// Beyond this many degrees of freedom the normal distribution is as good: 95 % points agree to 2e-6.
const NORMAL_FROM: f64 = 1e6;
/// Steps of the continued fraction; a few hundred suffice up to [`NORMAL_FROM`] away from its slow middle.
const MOST_STEPS: u32 = 10_000;

/// The chance that a draw of Student's distribution is at least `t` from 0, on either side.
///
/// `freedom` (degrees of freedom) need not be whole. None unless `t` is finite and `freedom` above 0 (infinity allowed).
///
/// Source: I_x(nu/2, 1/2) with x = nu/(nu + t^2), Abramowitz & Stegun 1964, 26.7.1 and the continued fraction
/// 26.5.8. Good to 1e-10.
///
/// ```
/// // Tables of Student's distribution: 5 % lie beyond 2.776 for 4 degrees of freedom.
/// let chance = catoptric::numeric::student::two_sided_chance(2.776_445, 4.0).unwrap();
/// assert!((chance - 0.05).abs() < 1e-6);
/// ```
pub fn two_sided_chance(t: f64, freedom: f64) -> Option<f64> {
    if !t.is_finite() || freedom.is_nan() || freedom <= 0.0 {
        return None;
    }
    if freedom > NORMAL_FROM {
        return Some(libm::erfc(t.abs() / std::f64::consts::SQRT_2));
    }
    let x = freedom / (freedom + t * t);
    let (a, b) = (0.5 * freedom, 0.5);
    if x >= 1.0 {
        return Some(1.0);
    }
    // The fraction converges fast on one side of the mean of the beta distribution.
    let chance = if x < (a + 1.0) / (a + b + 2.0) {
        front(x, a, b) * fraction(x, a, b) / a
    } else {
        1.0 - front(1.0 - x, b, a) * fraction(1.0 - x, b, a) / b
    };
    Some(chance.clamp(0.0, 1.0))
}

/// The distance from 0 that the share `1 - outside` of all draws stay within.
///
/// None unless `outside` lies between 0 and 1 (from 1e-12) and `freedom` is at least 1.
///
/// ```
/// // Tables: 12.706 for one degree of freedom, 1.960 for very many.
/// use catoptric::numeric::student::two_sided_point;
/// assert!((two_sided_point(0.05, 1.0).unwrap() - 12.706_205).abs() < 1e-5);
/// assert!((two_sided_point(0.05, f64::INFINITY).unwrap() - 1.959_964).abs() < 1e-6);
/// ```
pub fn two_sided_point(outside: f64, freedom: f64) -> Option<f64> {
    if !(1e-12..1.0).contains(&outside) || freedom.is_nan() || freedom < 1.0 {
        return None;
    }
    let normal = normal_quantile(1.0 - 0.5 * outside);
    if freedom > NORMAL_FROM {
        return Some(normal);
    }
    // With one degree of freedom (the widest case) the point is below 2/(pi outside).
    let far = normal + 1.0 / outside;
    let miss = |t: f64| two_sided_chance(t, freedom).map_or(f64::NAN, |chance| chance - outside);
    roots::bracketed(miss, 0.0, far, 1e-12 * far)
}

pub(super) fn front(x: f64, a: f64, b: f64) -> f64 {
    let whole = libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b);
    libm::exp(whole + a * libm::log(x) + b * libm::log1p(-x))
}

/// The continued fraction of the incomplete beta function, by the method of Lentz.
pub(super) fn fraction(x: f64, a: f64, b: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let kept = |value: f64| if value.abs() < TINY { TINY } else { value };
    let (mut upper, mut lower) = (1.0, 1.0 / kept(1.0 - (a + b) * x / (a + 1.0)));
    let mut product = lower;
    for step in 1..=MOST_STEPS {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for term in [even, odd] {
            lower = 1.0 / kept(1.0 + term * lower);
            upper = kept(1.0 + term / upper);
            change = lower * upper;
            product *= change;
        }
        if (change - 1.0).abs() < 1e-15 {
            break;
        }
    }
    product
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chances_agree_with_closed_forms() {
        // Abramowitz & Stegun 26.7.3 and 26.7.4: freedom 1 is 1 - 2 atan(t)/pi, freedom 2 is 1 - t/sqrt(2 + t^2),
        // freedom 4 is 1 - sin(a)(1 + cos^2(a)/2) with tan a = t/2.
        for t in [0.0, 0.01, 0.5, 1.0, 2.0, 7.0, 60.0] {
            let one = 1.0 - 2.0 * f64::atan(t) / std::f64::consts::PI;
            let two = 1.0 - t / f64::sqrt(2.0 + t * t);
            let (sin, cos) = f64::atan(t / 2.0).sin_cos();
            let four = 1.0 - sin * (1.0 + 0.5 * cos * cos);
            for (freedom, truth) in [(1.0, one), (2.0, two), (4.0, four)] {
                let chance = two_sided_chance(t, freedom).expect("valid");
                assert!((chance - truth).abs() < 1e-12, "{t}, {freedom}: {chance} for {truth}");
                assert_eq!(two_sided_chance(-t, freedom), Some(chance));
            }
        }
    }

    #[test]
    fn points_agree_with_an_independent_library() {
        // scipy 1.17.1, scipy.stats.t.isf(outside/2, freedom).
        let golden = [
            (0.05, 1.0, 12.706_204_736_174_705),
            (0.05, 2.5, 3.574_654_842_003_683_4),
            (0.05, 7.0, 2.364_624_251_592_784_4),
            (0.01, 3.0, 5.840_909_309_733_357),
            (0.5, 12.3, 0.694_957_871_939_356),
            (0.05, 250.0, 1.969_498_393_421_153_8),
            (0.001, 90_000.0, 3.290_634_842_836_747),
        ];
        for (outside, freedom, truth) in golden {
            let point = two_sided_point(outside, freedom).expect("valid");
            assert!((point / truth - 1.0).abs() < 1e-9, "{outside}, {freedom}: {point} for {truth}");
        }
    }

    #[test]
    fn what_is_no_distribution_gets_none() {
        assert_eq!(two_sided_chance(f64::NAN, 3.0), None);
        assert_eq!(two_sided_chance(1.0, 0.0), None);
        assert_eq!(two_sided_point(0.0, 3.0), None);
        assert_eq!(two_sided_point(0.05, f64::NAN), None);
    }
}
