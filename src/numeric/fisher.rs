//! Fisher's distribution: whether one variance is larger than another by more than chance.

use super::student::{fraction, front};

/// The chance that the ratio of two estimates of one variance is at least `ratio`, the upper one with `above` degrees
/// of freedom, the lower one with `below`.
///
/// None unless `ratio` is finite and not negative, and both degrees of freedom are above 0 and finite.
///
/// Source: I_x(below/2, above/2) with x = below/(below + above ratio), Abramowitz & Stegun 1964, 26.6.2 and the
/// continued fraction 26.5.8. Good to 1e-12 absolute.
///
/// ```
/// // Tables of Fisher's distribution: 5 % lie above 3.326 for 5 and 10 degrees of freedom.
/// let chance = catoptric::numeric::fisher::chance_above(3.325_835, 5.0, 10.0).unwrap();
/// assert!((chance - 0.05).abs() < 1e-6);
/// ```
pub fn chance_above(ratio: f64, above: f64, below: f64) -> Option<f64> {
    let is_count = |freedom: f64| freedom > 0.0 && freedom.is_finite();
    if !(ratio >= 0.0 && ratio.is_finite() && is_count(above) && is_count(below)) {
        return None;
    }
    let (a, b) = (0.5 * below, 0.5 * above);
    let whole = below + above * ratio;
    let (x, rest) = (below / whole, above * ratio / whole);
    if rest <= 0.0 {
        return Some(1.0);
    }
    // The fraction converges fast on one side of the mean of the beta distribution.
    let chance = if x < (a + 1.0) / (a + b + 2.0) {
        front(x, a, b) * fraction(x, a, b) / a
    } else {
        1.0 - front(rest, b, a) * fraction(rest, b, a) / b
    };
    Some(chance.clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::student;

    #[test]
    fn chances_agree_with_an_independent_library() {
        // scipy 1.17.1: scipy.stats.f.sf.
        let golden = [
            (3.3, 5.0, 10.0, 0.051_061_613_842_072_92),
            (0.4, 9.0, 24.0, 0.922_771_166_547_201_7),
            (1.0, 3.0, 3.0, 0.500_000_000_000_000_1),
            (12.5, 2.0, 6.0, 0.007_250_511_899_566_983),
            (2.2, 9.0, 24.0, 0.059_585_437_080_497_426),
            (0.05, 40.0, 7.0, 0.999_999_999_968_430_7),
        ];
        for (ratio, above, below, truth) in golden {
            let chance = chance_above(ratio, above, below).expect("valid");
            assert!((chance - truth).abs() < 1e-12, "{ratio} {above} {below}: {chance} for {truth}");
        }
    }

    #[test]
    fn with_one_degree_above_it_is_the_square_of_students() {
        for (t, freedom) in [(0.3, 2.0), (1.7, 7.0), (4.0, 24.0)] {
            let chance = chance_above(t * t, 1.0, freedom).expect("valid");
            let truth = student::two_sided_chance(t, freedom).expect("valid");
            assert!((chance - truth).abs() < 1e-13, "{t} {freedom}");
        }
    }

    #[test]
    fn what_is_no_ratio_gets_none() {
        assert_eq!(chance_above(-1.0, 3.0, 3.0), None);
        assert_eq!(chance_above(f64::NAN, 3.0, 3.0), None);
        assert_eq!(chance_above(1.0, 0.0, 3.0), None);
        assert_eq!(chance_above(0.0, 3.0, 3.0), Some(1.0));
    }
}
