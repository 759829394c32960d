//! Sums in a fixed order: the same bits always, and rounding errors that grow only with the
//! logarithm of the count.

/// Up to this many terms are added in lanes, without further halving.
const BLOCK: usize = 128;
const LANES: usize = 8;

/// The sum of `values` by pairwise summation.
///
/// The order of the additions depends on the count alone, so the same values give the same bits at
/// any number of threads. An empty list gives 0.
///
/// Source: Higham, Accuracy and Stability of Numerical Algorithms, 2nd ed. 2002, section 4.2. The
/// error is at most 20 + log2(n/64) units of rounding (1.1e-16) of the sum of the absolute values.
///
/// ```
/// let tenths = vec![0.1; 1_000_000];
/// assert!((catoptric::numeric::sums::pairwise(&tenths) - 1e5).abs() < 1e-9);
/// ```
pub fn pairwise(values: &[f64]) -> f64 {
    let count = values.len();
    if count <= BLOCK {
        return in_lanes(values);
    }
    let (left, right) = values.split_at(middle(count));
    pairwise(left) + pairwise(right)
}

/// The sum of the products of two lists, in the order of [`pairwise`].
///
/// Shapes: lists of one length; the tail of a longer one is not counted.
///
/// ```
/// assert_eq!(catoptric::numeric::sums::dot(&[1.0, 2.0, 3.0], &[4.0, 5.0, 6.0]), 32.0);
/// ```
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    let count = a.len().min(b.len());
    let (a, b) = (&a[..count], &b[..count]);
    if count <= BLOCK {
        let mut products = [0.0; BLOCK];
        for ((product, x), y) in products.iter_mut().zip(a).zip(b) {
            *product = x * y;
        }
        return in_lanes(&products[..count]);
    }
    let cut = middle(count);
    dot(&a[..cut], &b[..cut]) + dot(&a[cut..], &b[cut..])
}

/// Sums of several terms each, side by side: pairwise as [`pairwise`], up to [`BLOCK`] one after another, and without a list.
pub(crate) fn of_terms<const N: usize>(count: usize, terms: impl Fn(usize) -> [f64; N]) -> [f64; N] {
    fn part<const N: usize>(from: usize, to: usize, terms: &impl Fn(usize) -> [f64; N]) -> [f64; N] {
        let mut sums = [0.0; N];
        if to - from <= BLOCK {
            for i in from..to {
                for (sum, term) in sums.iter_mut().zip(terms(i)) {
                    *sum += term;
                }
            }
            return sums;
        }
        let cut = from + middle(to - from);
        let (left, right) = (part(from, cut, terms), part(cut, to, terms));
        for k in 0..N {
            sums[k] = left[k] + right[k];
        }
        sums
    }
    part(0, count, &terms)
}

/// Where a list is cut in two: near its middle, at a whole number of lanes.
fn middle(count: usize) -> usize {
    count / 2 / LANES * LANES
}

/// Eight running sums side by side, so that one addition need not wait for the last.
fn in_lanes(values: &[f64]) -> f64 {
    let mut lanes = [0.0; LANES];
    let chunks = values.chunks_exact(LANES);
    let rest: f64 = chunks.remainder().iter().sum();
    for chunk in chunks {
        for (lane, value) in lanes.iter_mut().zip(chunk) {
            *lane += value;
        }
    }
    let [a, b, c, d, e, f, g, h] = lanes;
    (((a + b) + (c + d)) + ((e + f) + (g + h))) + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers_are_added_exactly_at_every_count() {
        // Closed form: n (n + 1) / 2 and n (n + 1) (2n + 1) / 6, exact in binary at this size.
        let values: Vec<f64> = (1..=1000).map(f64::from).collect();
        for n in 0..=1000 {
            let count = n as f64;
            let list = &values[..n];
            assert_eq!(pairwise(list).to_bits(), (count * (count + 1.0) / 2.0).to_bits());
            let squares = count * (count + 1.0) * (2.0 * count + 1.0) / 6.0;
            assert_eq!(dot(list, list).to_bits(), squares.to_bits());
        }
    }

    #[test]
    fn long_sums_agree_with_the_exactly_rounded_ones() {
        // CPython 3.11 math.fsum, which rounds once.
        let roots: Vec<f64> = (1..=100_000).map(|k| f64::from(k).powf(-0.5)).collect();
        assert!((pairwise(&roots) / 630.996_758_662_378_7 - 1.0).abs() < 1e-15);
        let tenths = vec![0.1; 1_000_003];
        assert!((pairwise(&tenths) / 100_000.3 - 1.0).abs() < 1e-15);
        let plain: f64 = tenths.iter().sum();
        assert!((plain / 100_000.3 - 1.0).abs() > 1e-12, "the plain sum is worse");
    }

    #[test]
    fn sums_side_by_side_are_those_of_the_lists() {
        let [ones, squares] = of_terms(1000, |i| [1.0, (i * i) as f64]);
        // n (n - 1) (2n - 1) / 6.
        assert_eq!([ones, squares].map(f64::to_bits), [1000.0_f64, 332_833_500.0].map(f64::to_bits));
        let [tenths] = of_terms(1_000_003, |_| [0.1]);
        // 128 additions one after another, then 13 halvings: 141 units of rounding.
        assert!((tenths / 100_000.3 - 1.0).abs() < 1.6e-14);
        assert_eq!(of_terms(0, |_| [1.0]).map(f64::to_bits), [0]);
    }

    #[test]
    fn products_are_summed_in_the_order_of_the_plain_sum() {
        let a: Vec<f64> = (0..777).map(|k| f64::from(k).sin()).collect();
        let b: Vec<f64> = (0..777).map(|k| f64::from(3 * k).cos()).collect();
        let products: Vec<f64> = a.iter().zip(&b).map(|(x, y)| x * y).collect();
        assert_eq!(dot(&a, &b).to_bits(), pairwise(&products).to_bits());
        assert_eq!(dot(&a, &b[..5]).to_bits(), pairwise(&products[..5]).to_bits());
    }
}
