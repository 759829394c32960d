//! Gauss-Legendre quadrature: nodes and weights that integrate polynomials of degree 2n - 1 exactly.

use std::f64::consts::PI;
use std::sync::OnceLock;

use nalgebra::DMatrix;

/// The largest number of nodes in one rule.
pub const MAX_NODES: usize = 512;

/// Newton's method gains nothing after this many steps from the asymptotic first guess.
const NEWTON_STEPS: usize = 6;

/// Nodes and weights of one quadrature rule on the interval from -1 to 1.
///
/// Shapes: both lists have the same length; the nodes rise.
///
/// ```
/// let rule = catoptric::numeric::gauss::gauss_legendre(2);
/// assert!((rule.nodes[1] - (1.0_f64 / 3.0).sqrt()).abs() < 1e-15);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// Where the integrand is taken, rising from -1 to 1, ends excluded.
    pub nodes: Vec<f64>,
    /// What each value counts; the weights add up to 2.
    pub weights: Vec<f64>,
}

/// The Gauss-Legendre rule of `n` nodes, computed at its first use and kept.
///
/// `n` is held within 1 and [`MAX_NODES`]; the length of `nodes` tells which rule came back.
/// [`on_interval`] has no such limit.
///
/// Source: the three-term recurrence of the Legendre polynomials (Abramowitz & Stegun 1964,
/// 22.7.10) in its difference form and in the angle, so that nodes and weights near the ends keep
/// their relative accuracy; first guess from Abramowitz & Stegun 22.16.6. Nodes are good to 3e-16,
/// weights to 1e-14 relative.
///
/// ```
/// let rule = catoptric::numeric::gauss::gauss_legendre(5);
/// let integral: f64 = rule.nodes.iter().zip(&rule.weights).map(|(x, w)| w * x.powi(8)).sum();
/// assert!((integral - 2.0 / 9.0).abs() < 1e-15);
/// ```
pub fn gauss_legendre(n: usize) -> &'static Rule {
    static RULES: [OnceLock<Rule>; MAX_NODES] = [const { OnceLock::new() }; MAX_NODES];
    let n = n.clamp(1, MAX_NODES);
    RULES[n - 1].get_or_init(|| compute(n))
}

/// Nodes and weights for an integral from `a` to `b`, as pairs `(node, weight)`.
///
/// Units: nodes in the unit of `a` and `b`, weights likewise. With `b < a` the weights are
/// negative, as the integral is. More than [`MAX_NODES`] nodes are dealt out over equal panels,
/// each with the same number of nodes, at least `n` in all; `n = 0` counts as 1.
///
/// ```
/// use catoptric::numeric::gauss::on_interval;
/// let integral: f64 = on_interval(12, 0.0, 2.0).map(|(x, w)| w * x.exp()).sum();
/// assert!((integral - (2.0_f64.exp() - 1.0)).abs() < 1e-14);
/// ```
pub fn on_interval(n: usize, a: f64, b: f64) -> impl Iterator<Item = (f64, f64)> {
    let panels = n.div_ceil(MAX_NODES).max(1);
    let rule = gauss_legendre(n.div_ceil(panels));
    let width = (b - a) / panels as f64;
    let half = 0.5 * width;
    (0..panels).flat_map(move |panel| {
        let middle = a + width * (panel as f64 + 0.5);
        let pairs = rule.nodes.iter().zip(&rule.weights);
        pairs.map(move |(x, w)| (middle + half * x, half * w))
    })
}

/// The Gauss rule of `n` nodes for weights that stand at single points: what it says of a polynomial of degree 2n - 1
/// or less is the weighted sum over the points.
///
/// Units: nodes in the unit of `at`; the new weights add up to the sum of the given ones.
/// Shapes: `weight` as long as `at`, which ascends; n is held within 1 and 32, and to the number of points with weight.
/// Source: the recurrence of the orthogonal polynomials (Stieltjes) and the eigenvalues of its matrix (Golub & Welsch
/// 1969, Math. Comp. 23, 221), from memory.
///
/// ```
/// let rule = catoptric::numeric::gauss::of_points(&[0.0, 1.0, 2.0, 3.0], &[1.0, 2.0, 2.0, 1.0], 2);
/// let cubes: f64 = rule.nodes.iter().zip(&rule.weights).map(|(x, w)| w * x.powi(3)).sum();
/// assert!((cubes - (2.0 + 16.0 + 27.0)).abs() < 1e-12);
/// ```
pub fn of_points(at: &[f64], weight: &[f64], n: usize) -> Rule {
    let sum = |values: &mut dyn Iterator<Item = f64>| -> f64 { values.sum() };
    let total = sum(&mut weight.iter().copied());
    let n = n.clamp(1, 32).min(weight.iter().filter(|w| **w > 0.0).count());
    if n == 0 || !total.is_finite() {
        return Rule { nodes: Vec::new(), weights: Vec::new() };
    }
    // Counted from the mean in units of the scatter: the recurrence then keeps its digits.
    let mean = sum(&mut at.iter().zip(weight).map(|(x, w)| w * x)) / total;
    let variance = sum(&mut at.iter().zip(weight).map(|(x, w)| w * (x - mean) * (x - mean))) / total;
    let scale = if variance > 0.0 { variance.sqrt() } else { 1.0 };
    let t: Vec<f64> = at.iter().map(|x| (x - mean) / scale).collect();
    let (mut before, mut now) = (vec![0.0; t.len()], vec![1.0; t.len()]);
    let (mut square_before, mut matrix) = (total, DMatrix::<f64>::zeros(n, n));
    for k in 0..n {
        let square = sum(&mut now.iter().zip(weight).map(|(p, w)| w * p * p));
        let first = sum(&mut now.iter().zip(weight).zip(&t).map(|((p, w), t)| w * t * p * p)) / square;
        let ratio = if k == 0 { 0.0 } else { square / square_before };
        matrix[(k, k)] = first;
        if k > 0 {
            matrix[(k, k - 1)] = ratio.sqrt();
            matrix[(k - 1, k)] = ratio.sqrt();
        }
        let next = (0..t.len()).map(|i| (t[i] - first) * now[i] - ratio * before[i]).collect();
        (before, now, square_before) = (now, next, square);
    }
    let eigen = matrix.symmetric_eigen();
    let mut pairs: Vec<(f64, f64)> = (0..n)
        .map(|j| (mean + scale * eigen.eigenvalues[j], total * eigen.eigenvectors[(0, j)].powi(2)))
        .collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (nodes, weights) = pairs.into_iter().unzip();
    Rule { nodes, weights }
}

fn compute(n: usize) -> Rule {
    let mut nodes = vec![0.0; n];
    let mut weights = vec![0.0; n];
    let count = n as f64;
    for k in 0..n.div_ceil(2) {
        let first = PI * (4 * k + 3) as f64 / (4 * n + 2) as f64;
        let mut angle = first + 1.0 / (8.0 * count * count * libm::tan(first));
        let mut slope = 1.0;
        for _ in 0..NEWTON_STEPS {
            let (value, new_slope) = legendre_in_angle(n, angle);
            slope = new_slope;
            angle -= value / slope;
            if (value / slope).abs() < 4.0 * f64::EPSILON * angle {
                break;
            }
        }
        let is_middle = 2 * k + 1 == n;
        let node = if is_middle { 0.0 } else { libm::cos(angle) };
        let weight = 2.0 / (slope * slope);
        nodes[k] = -node;
        nodes[n - 1 - k] = node;
        weights[k] = weight;
        weights[n - 1 - k] = weight;
    }
    Rule { nodes, weights }
}

/// `P_n(cos angle)` and its derivative with respect to the angle.
fn legendre_in_angle(n: usize, angle: f64) -> (f64, f64) {
    let half_sine = libm::sin(0.5 * angle);
    let one_minus_x = 2.0 * half_sine * half_sine;
    let (mut value, mut step) = (1.0, 0.0);
    for k in 0..n {
        let share = k as f64 / (k + 1) as f64;
        step = share * step - (1.0 + share) * one_minus_x * value;
        value += step;
    }
    // (1 - x^2) P_n' = n (P_{n-1} - x P_n), with P_{n-1} - x P_n = (1 - x) P_n - step.
    let slope = -(n as f64) * (one_minus_x * value - step) / libm::sin(angle);
    (value, slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn integrate(n: usize, a: f64, b: f64, f: impl Fn(f64) -> f64) -> f64 {
        on_interval(n, a, b).map(|(x, w)| w * f(x)).sum()
    }

    #[test]
    fn ten_nodes_agree_with_the_printed_table() {
        // Abramowitz & Stegun, Handbook of Mathematical Functions, 1964, table 25.4, n = 10.
        let table = [
            (0.148_874_338_981_631, 0.295_524_224_714_753),
            (0.433_395_394_129_247, 0.269_266_719_309_996),
            (0.679_409_568_299_024, 0.219_086_362_515_982),
            (0.865_063_366_688_985, 0.149_451_349_150_581),
            (0.973_906_528_517_172, 0.066_671_344_308_688),
        ];
        let rule = gauss_legendre(10);
        for (k, (node, weight)) in table.into_iter().enumerate() {
            assert!((rule.nodes[5 + k] - node).abs() < 6e-16);
            assert!((rule.nodes[4 - k] + node).abs() < 6e-16);
            assert!((rule.weights[5 + k] - weight).abs() < 6e-16);
        }
    }

    #[test]
    fn large_rules_agree_with_forty_digit_arithmetic() {
        // mpmath 1.4.1, Newton's method on the Legendre recurrence at 40 digits; k counts from +1.
        let golden = [
            (64, 1, 0.999_305_041_735_772_1, 0.001_783_280_721_696_433),
            (64, 32, 0.024_350_292_663_424_43, 0.048_690_957_009_139_72),
            (101, 7, 0.978_242_870_286_443_5, 0.006_419_518_270_177_545),
            (512, 1, 0.999_988_990_984_381_9, 2.825_263_737_393_469e-5),
            (512, 100, 0.818_809_677_059_186_8, 0.003_518_977_608_865_720_5),
            (512, 256, 0.003_064_962_185_159_396, 0.006_129_905_175_405_786),
        ];
        for (n, k, node, weight) in golden {
            let rule = gauss_legendre(n);
            assert!((rule.nodes[n - k] - node).abs() < 4e-16, "node {k} of {n}");
            let relative = rule.weights[n - k] / weight - 1.0;
            assert!(relative.abs() < 2e-14, "weight {k} of {n}: {relative:e}");
        }
    }

    #[test]
    fn every_rule_integrates_its_highest_power_exactly() {
        // Closed form: the integral of x^(2n-2) from -1 to 1 is 2/(2n-1).
        for n in 1..=MAX_NODES {
            let rule = gauss_legendre(n);
            assert!(rule.nodes.windows(2).all(|pair| pair[0] < pair[1]));
            assert!((rule.weights.iter().sum::<f64>() - 2.0).abs() < 1e-14);
            let power = i32::try_from(2 * n - 2).expect("small");
            let integral = integrate(n, -1.0, 1.0, |x| x.powi(power));
            let exact = 2.0 / (2 * n - 1) as f64;
            assert!((integral / exact - 1.0).abs() < 1e-12, "{n}: {integral}");
        }
    }

    #[test]
    fn an_interval_turned_round_changes_the_sign() {
        // Closed form: the integral of the sine over half a turn is 2.
        assert!((integrate(20, 0.0, PI, f64::sin) - 2.0).abs() < 1e-14);
        assert!((integrate(20, PI, 0.0, f64::sin) + 2.0).abs() < 1e-14);
    }

    #[test]
    fn more_nodes_than_one_rule_holds_are_dealt_over_panels() {
        let n = 2 * MAX_NODES + 1;
        assert_eq!(on_interval(n, 0.0, 1.0).count(), 3 * 342);
        // Closed form: the integral of cos(900 x) from 0 to 1.
        let integral = integrate(n, 0.0, 1.0, |x| (900.0 * x).cos());
        assert!((integral - 900.0_f64.sin() / 900.0).abs() < 1e-14);
    }

    #[test]
    fn numbers_out_of_range_give_the_nearest_rule() {
        assert_eq!(gauss_legendre(0).nodes, [0.0]);
        assert_eq!(gauss_legendre(9999).nodes.len(), MAX_NODES);
    }
}
