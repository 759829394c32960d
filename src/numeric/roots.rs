//! Where a function of one variable is zero, and where it is greatest.

/// Far above what either method needs, which is one to some dozens of steps.
const MAX_STEPS: usize = 2000;

/// A zero of `f` between `a` and `b`, to within `tolerance`.
///
/// Units: `tolerance` in those of `a` and `b`; where it is smaller than the rounding of the result,
/// that counts instead. None if the values at `a` and `b` have the same sign, or if `f` gives
/// something that is not a number. Where `f` jumps from one sign to the other, the jump is found.
///
/// Source: Brent 1973, Algorithms for Minimization without Derivatives, chapter 4: inverse
/// quadratic interpolation, kept safe by bisection.
///
/// ```
/// let root = catoptric::numeric::roots::bracketed(|x| x * x - 2.0, 0.0, 2.0, 1e-14);
/// assert!((root.unwrap() - 2.0_f64.sqrt()).abs() < 1e-14);
/// ```
pub fn bracketed(mut f: impl FnMut(f64) -> f64, a: f64, b: f64, tolerance: f64) -> Option<f64> {
    // Each point with its value: `across` has the other sign than `best`, the smaller of the two;
    // `before` was the best one step ago.
    let (mut before, mut best) = ((a, f(a)), (b, f(b)));
    if before.1 == 0.0 {
        return Some(a);
    }
    if best.1 != 0.0 && (before.1 > 0.0) == (best.1 > 0.0) {
        return None;
    }
    let mut across = before;
    let (mut step, mut step_before) = (b - a, b - a);
    for _ in 0..MAX_STEPS {
        if best.1.is_nan() || before.1.is_nan() {
            return None;
        }
        if (best.1 > 0.0) == (across.1 > 0.0) {
            across = before;
            step = best.0 - before.0;
            step_before = step;
        }
        if across.1.abs() < best.1.abs() {
            (before, best, across) = (best, across, best);
        }
        let enough = 2.0 * f64::EPSILON * best.0.abs() + 0.5 * tolerance.max(f64::MIN_POSITIVE);
        let half = 0.5 * (across.0 - best.0);
        if best.1 == 0.0 || half.abs() <= enough {
            return Some(best.0);
        }
        let longest = (3.0 * half.abs() - enough).min(step_before.abs());
        let interpolated = (step_before.abs() >= enough && before.1.abs() > best.1.abs())
            .then(|| interpolated_step(before, best, across))
            .filter(|s| 2.0 * s.abs() < longest && s * half >= 0.0);
        (step, step_before) = match interpolated {
            Some(new_step) => (new_step, step),
            None => (half, half),
        };
        before = best;
        best.0 += if step.abs() > enough { step } else { enough.copysign(half) };
        best.1 = f(best.0);
    }
    None
}

/// The step from `b` to the zero of the inverse parabola through three points, or of the straight
/// line where two of them are one.
fn interpolated_step(a: (f64, f64), b: (f64, f64), c: (f64, f64)) -> f64 {
    let s = b.1 / a.1;
    if a.0.to_bits() == c.0.to_bits() {
        return (c.0 - b.0) * s / (s - 1.0);
    }
    let (q, r) = (a.1 / c.1, b.1 / c.1);
    let numerator = s * ((c.0 - b.0) * q * (q - r) - (b.0 - a.0) * (r - 1.0));
    -numerator / ((q - 1.0) * (r - 1.0) * (s - 1.0))
}

/// The first place beyond 0 at which `f` falls to 0 or below, looked for step by step.
///
/// Units: `step` and `tolerance` in those of the place. None if no step of `steps` reaches it; a fall and rise between two steps
/// is missed.
///
/// ```
/// let fall = catoptric::numeric::roots::first_fall(|x| x.cos(), 0.1, 100, 1e-12);
/// assert!((fall.unwrap() - std::f64::consts::FRAC_PI_2).abs() < 1e-11);
/// ```
pub fn first_fall(mut f: impl FnMut(f64) -> f64, step: f64, steps: usize, tolerance: f64) -> Option<f64> {
    let below = (1..=steps).map(|k| step * k as f64).find(|place| f(*place) <= 0.0)?;
    bracketed(f, below - step, below, tolerance)
}

/// The place between `a` and `b` where `f` is greatest, and its value there.
///
/// Units: `tolerance` in those of `a` and `b`. With several maxima one of them is found; a function
/// that rises to an end is followed to within about the tolerance of that end, which itself is not
/// tried. Something that is not a number counts as lower than everything.
///
/// Source: Brent 1973, Algorithms for Minimization without Derivatives, chapter 5: parabolas, kept
/// safe by golden sections. The place of a smooth maximum cannot be told better than to about
/// 1e-8 of its width, because the value changes by less than its rounding; the value is then good
/// to rounding.
///
/// ```
/// let (place, value) = catoptric::numeric::roots::maximum(|x| x * (4.0 - x), 0.0, 3.0, 1e-8);
/// assert!((place - 2.0).abs() < 1e-7 && (value - 4.0).abs() < 1e-14);
/// ```
pub fn maximum(mut f: impl FnMut(f64) -> f64, a: f64, b: f64, tolerance: f64) -> (f64, f64) {
    let (low, high) = (a.min(b), a.max(b));
    let place = low + GOLDEN * (high - low);
    let value = f(place);
    let first = (place, if value.is_nan() { f64::NEG_INFINITY } else { value });
    climb(f, (low, high), [first; 3], (0.0, 0.0), tolerance)
}

/// The same where three places in ascending order are known with their values, which are numbers, the middle one the
/// highest: the first step is a parabola already.
pub(crate) fn maximum_between(
    f: impl FnMut(f64) -> f64,
    [before, top, after]: [(f64, f64); 3],
    tolerance: f64,
) -> (f64, f64) {
    let (second, third) = if before.1 > after.1 { (before, after) } else { (after, before) };
    let width = after.0 - before.0;
    climb(f, (before.0, after.0), [top, second, third], (width, width), tolerance)
}

/// The smaller part of a golden section, (3 - sqrt 5) / 2.
const GOLDEN: f64 = 0.381_966_011_250_105_15;

/// Brent's steps, from the three highest places and the last two steps.
fn climb(
    mut f: impl FnMut(f64) -> f64,
    (mut low, mut high): (f64, f64),
    [mut best, mut second, mut third]: [(f64, f64); 3],
    (mut step, mut step_before): (f64, f64),
    tolerance: f64,
) -> (f64, f64) {
    let mut valued = |x: f64| {
        let value = f(x);
        (x, if value.is_nan() { f64::NEG_INFINITY } else { value })
    };
    for _ in 0..MAX_STEPS {
        let middle = 0.5 * (low + high);
        let near = 2.0 * f64::EPSILON * best.0.abs() + tolerance.max(f64::MIN_POSITIVE) / 3.0;
        if (best.0 - middle).abs() <= 2.0 * near - 0.5 * (high - low) {
            break;
        }
        let parabolic = (step_before.abs() > near).then(|| parabola_step(best, second, third)).filter(|s| {
            let inside = low < best.0 + s && best.0 + s < high;
            inside && s.abs() < 0.5 * step_before.abs()
        });
        if let Some(new_step) = parabolic {
            (step, step_before) = (new_step, step);
            let place = best.0 + step;
            if place - low < 2.0 * near || high - place < 2.0 * near {
                step = near.copysign(middle - best.0);
            }
        } else {
            step_before = if best.0 < middle { high - best.0 } else { low - best.0 };
            step = GOLDEN * step_before;
        }
        let tried = valued(best.0 + if step.abs() >= near { step } else { near.copysign(step) });
        let (worse, better) = if tried.1 >= best.1 { (best, tried) } else { (tried, best) };
        if worse.0 < better.0 {
            low = worse.0;
        } else {
            high = worse.0;
        }
        if tried.1 >= best.1 {
            (best, second, third) = (tried, best, second);
        } else if tried.1 >= second.1 || is_same_place(second, best) {
            (second, third) = (tried, second);
        } else if tried.1 >= third.1 || is_same_place(third, best) || is_same_place(third, second) {
            third = tried;
        }
    }
    best
}

/// The step from `x` to the vertex of the parabola through three points; not a number, or endless,
/// where two of them are one.
fn parabola_step(x: (f64, f64), w: (f64, f64), v: (f64, f64)) -> f64 {
    let r = (x.0 - w.0) * (x.1 - v.1);
    let q = (x.0 - v.0) * (x.1 - w.1);
    ((x.0 - w.0) * r - (x.0 - v.0) * q) / (2.0 * (q - r))
}

fn is_same_place(a: (f64, f64), b: (f64, f64)) -> bool {
    a.0.to_bits() == b.0.to_bits()
}

/// Where a function that is nearly a parabola rises through zero, from three values of it; never outside of the
/// bracket, at whose lower end it is negative. A step below `enough` is the last one, and its end is not looked at.
///
/// Source: Muller's method (Muller 1956, Math. Tables Aids Comput. 10, 208), kept safe by bisection.
pub(crate) fn rising(
    mut f: impl FnMut(f64) -> f64,
    mut known: [(f64, f64); 3],
    (mut low, mut high): (f64, f64),
    enough: f64,
) -> f64 {
    for _ in 0..80 {
        let [a, b, c] = known;
        let (h1, h2) = (b.0 - a.0, c.0 - b.0);
        let (d1, d2) = ((b.1 - a.1) / h1, (c.1 - b.1) / h2);
        let curvature = (d2 - d1) / (h1 + h2);
        let slope = curvature * h2 + d2;
        let root = (slope * slope - 4.0 * curvature * c.1).sqrt();
        let mut next = c.0 - 2.0 * c.1 / (slope + root.copysign(slope));
        let inside = next > low && next < high;
        if inside && (next - c.0).abs() <= enough {
            return next;
        }
        if c.1 == 0.0 {
            return c.0;
        }
        if !inside {
            next = f64::midpoint(low, high);
            if high - low <= 1e-4 * enough {
                return next;
            }
        }
        let value = f(next);
        if value > 0.0 {
            high = next;
        } else {
            low = next;
        }
        known = [b, c, (next, value)];
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count_calls(f: impl Fn(f64) -> f64, a: f64, b: f64, tolerance: f64) -> (Option<f64>, usize) {
        let mut calls = 0;
        let root = bracketed(
            |x| {
                calls += 1;
                f(x)
            },
            a,
            b,
            tolerance,
        );
        (root, calls)
    }

    #[test]
    fn zeros_agree_with_thirty_digit_arithmetic() {
        // mpmath 1.4.1, findroot at 30 digits. The cubic is Wallis's, Newton's own example;
        // scipy 1.17.1's brentq takes 8 calls, one more is allowed.
        let (root, calls) = count_calls(|x| x * x * x - 2.0 * x - 5.0, 2.0, 3.0, 1e-15);
        assert!((root.expect("bracketed") - 2.094_551_481_542_326_6).abs() < 1e-15);
        assert!(calls <= 9, "{calls}");
        let (root, _) = count_calls(|x| x.cos() - x, 1.0, 0.0, 1e-15);
        assert!((root.expect("bracketed") - 0.739_085_133_215_160_6).abs() < 1e-15);
        let (root, _) = count_calls(|x| x - 0.9 * x.sin() - 1.0, 0.0, 4.0, 1e-15);
        assert!((root.expect("bracketed") - 1.862_086_686_874_532_3).abs() < 2e-15);
        // Abramowitz & Stegun 1964, table 9.5: the first zero of J1.
        let (root, _) = count_calls(libm::j1, 3.0, 5.0, 1e-14);
        assert!((root.expect("bracketed") - 3.831_705_970_207_512).abs() < 2e-14);
    }

    #[test]
    fn hard_zeros_are_found_within_the_tolerance() {
        // Closed form: each is zero, or jumps across it, at 0.3 only.
        let functions: [fn(f64) -> f64; 4] = [
            |x| (x - 0.3).powi(9),
            |x| if x < 0.3 { -1e-9 } else { 1.0 },
            |x| (x - 0.3).cbrt(),
            |x| (1e3 * (x - 0.3)).exp_m1(),
        ];
        for (k, f) in functions.into_iter().enumerate() {
            for (a, b) in [(0.0, 1.0), (-50.0, 1.0), (1e3, -1e-3)] {
                let (root, calls) = count_calls(f, a, b, 1e-6);
                assert!((root.expect("bracketed") - 0.3).abs() <= 1e-6, "{k}: {root:?}");
                assert!(calls < 200, "{k}: {calls}");
            }
        }
    }

    #[test]
    fn ends_signs_and_bad_values_are_told() {
        assert_eq!(bracketed(|x| x, 0.0, 1.0, 1e-9), Some(0.0));
        assert_eq!(bracketed(|x| x, -1.0, 0.0, 1e-9), Some(0.0));
        assert_eq!(bracketed(|x| x - 1.0, -1.0, 1.0, 1e-9), Some(1.0));
        assert_eq!(bracketed(|x| x * x + 1.0, -1.0, 1.0, 1e-9), None);
        assert_eq!(bracketed(|_| f64::NAN, -1.0, 1.0, 1e-9), None);
        assert_eq!(bracketed(|x| if x.abs() < 1.0 { f64::NAN } else { x }, -1.0, 1.0, 1e-9), None);
        assert!(bracketed(|x| x, -1.0, 2.0, 0.0).expect("bracketed").abs() < 1e-300);
    }

    #[test]
    fn maxima_agree_with_thirty_digit_arithmetic() {
        // mpmath 1.4.1, findroot of the derivative of J1 at 30 digits, and J1 there.
        // For the cosine scipy 1.17.1's bounded minimize_scalar takes 8 calls; one more is allowed.
        let (place, value) = maximum(libm::j1, 0.0, 4.0, 1e-8);
        assert!((place - 1.841_183_781_340_659_3).abs() < 3e-8, "{place}");
        assert!((value - 0.581_865_224_281_596_4).abs() < 1e-15);
        let mut calls = 0;
        let (place, _) = maximum(
            |x| {
                calls += 1;
                (x - 1.0).cos()
            },
            0.0,
            2.5,
            1e-6,
        );
        assert!((place - 1.0).abs() < 1e-6 && calls <= 9, "{place} after {calls}");
    }

    #[test]
    fn sharp_flat_and_shifted_maxima_are_found() {
        // Closed form: the place is in each function's own text.
        assert!((maximum(|x| -(x - 0.3).abs(), -1.0, 2.0, 1e-9).0 - 0.3).abs() < 1e-9);
        assert!((maximum(|x| -(x - 0.3).abs(), 2.0, -1.0, 1e-9).0 - 0.3).abs() < 1e-9);
        assert!((maximum(|x| -(x - 0.3).powi(4), -1.0, 2.0, 1e-4).0 - 0.3).abs() < 1e-3);
        let far = maximum(|x| -(x - 1558.25).powi(2), 1558.0, 1559.0, 1e-9).0;
        assert!((far - 1558.25).abs() < 1e-9, "{far}");
        assert!(maximum(|x| x, 0.0, 1.0, 1e-6).0 > 1.0 - 2e-6);
        assert!(maximum(|x| -x, 0.0, 1.0, 1e-6).0 < 2e-6);
    }

    #[test]
    fn what_is_not_a_number_is_avoided() {
        let (place, value) = maximum(|x| (1.0 - x).ln() + x.ln(), -0.5, 1.5, 1e-8);
        assert!((place - 0.5).abs() < 1e-6 && (value + 4.0_f64.ln()).abs() < 1e-12);
        let (_, value) = maximum(|_| f64::NAN, 0.0, 1.0, 1e-3);
        assert!(value.is_infinite() && value < 0.0);
    }
}
