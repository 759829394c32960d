//! Weighted quantiles, and intervals that hold a share of draws.

/// The weighted quantile at `q`, with straight lines between the values.
///
/// Each value stands in the middle of the stretch that its weight takes of the whole; before the
/// first middle and after the last one the extreme value holds. Values of weight 0 do not count.
///
/// Shapes: `values` and `weights` are of one length, in any order. None if the lengths differ, a
/// number is not finite, a weight is negative, `q` is not within 0 and 1, or no weight is left.
///
/// Source: with equal weights this is definition 5 of Hyndman & Fan 1996, The American Statistician
/// 50, 361 (Hazen's); the step to weights is the natural one, no source.
///
/// ```
/// use catoptric::numeric::stats::quantile_weighted;
/// assert_eq!(quantile_weighted(&[3.0, 1.0, 2.0], &[1.0; 3], 0.5), Some(2.0));
/// ```
pub fn quantile_weighted(values: &[f64], weights: &[f64], q: f64) -> Option<f64> {
    let usable = |&(value, weight): &(f64, f64)| value.is_finite() && weight.is_finite() && weight >= 0.0;
    let mut pairs: Vec<(f64, f64)> = values.iter().copied().zip(weights.iter().copied()).collect();
    if values.len() != weights.len() || !(0.0..=1.0).contains(&q) || !pairs.iter().all(usable) {
        return None;
    }
    pairs.retain(|&(_, weight)| weight > 0.0);
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let goal = q * pairs.iter().map(|&(_, weight)| weight).sum::<f64>();
    let mut passed = 0.0;
    let mut before: Option<(f64, f64)> = None;
    for (value, weight) in pairs {
        let middle = passed + 0.5 * weight;
        if goal <= middle {
            return Some(
                before
                    .map_or(value, |(place, low)| low + (value - low) * ((goal - place) / (middle - place))),
            );
        }
        before = Some((middle, value));
        passed += weight;
    }
    before.map(|(_, value)| value)
}

/// The quantile at `q` of draws that are `sorted` upward, each of the same weight.
///
/// The definition and the source are those of [`quantile_weighted`]. None if the draws are not sorted,
/// one is not finite, there are none, or `q` is not within 0 and 1.
///
/// ```
/// use catoptric::numeric::stats::quantile_sorted;
/// assert_eq!(quantile_sorted(&[1.0, 2.0, 4.0, 8.0], 0.5), Some(3.0));
/// ```
pub fn quantile_sorted(sorted: &[f64], q: f64) -> Option<f64> {
    if !is_rising(sorted) || !(0.0..=1.0).contains(&q) {
        return None;
    }
    let last = sorted.len() - 1;
    let place = (q * sorted.len() as f64 - 0.5).clamp(0.0, last as f64);
    let below = place.floor();
    let (low, high) = (sorted[below as usize], sorted[last.min(below as usize + 1)]);
    Some(low + (high - low) * (place - below))
}

/// The interval that leaves the same share of the draws out on either side.
///
/// Shapes: `sorted` rises. Its ends are quantiles, [`quantile_sorted`]; none as there, and for a
/// `share` that is not above 0 and at most 1.
///
/// ```
/// let draws: Vec<f64> = (0..100).map(f64::from).collect();
/// let interval = catoptric::numeric::stats::equal_tailed(&draws, 0.5);
/// assert_eq!(interval, Some((24.5, 74.5)));
/// ```
pub fn equal_tailed(sorted: &[f64], share: f64) -> Option<(f64, f64)> {
    if !is_share(share) {
        return None;
    }
    let tail = 0.5 * (1.0 - share);
    Some((quantile_sorted(sorted, tail)?, quantile_sorted(sorted, 1.0 - tail)?))
}

/// The shortest interval between two of the draws that holds the share; of equals the lowest.
///
/// Shapes: `sorted` rises. None as for [`equal_tailed`].
///
/// Source: Chen & Shao 1999, J. Comput. Graph. Stat. 8, 69: of all intervals from draw j to draw
/// j + \[n share\] the shortest. For one peak it tends to the interval of highest density; with two
/// peaks apart it covers the gap between them.
///
/// ```
/// let draws = [0.0, 5.0, 5.5, 6.0, 6.2, 9.0];
/// assert_eq!(catoptric::numeric::stats::shortest_interval(&draws, 0.5), Some((5.0, 6.2)));
/// ```
pub fn shortest_interval(sorted: &[f64], share: f64) -> Option<(f64, f64)> {
    if !is_share(share) || !is_rising(sorted) {
        return None;
    }
    let steps = ((share * sorted.len() as f64).floor() as usize).min(sorted.len() - 1);
    let ends = sorted.iter().copied().zip(sorted[steps..].iter().copied());
    ends.min_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))
}

/// Whether there are draws, in order and finite: finite ends and order leave no room for others.
fn is_rising(sorted: &[f64]) -> bool {
    let ends = sorted.first().zip(sorted.last());
    ends.is_some_and(|(low, high)| low.is_finite() && high.is_finite()) && sorted.is_sorted()
}

fn is_share(share: f64) -> bool {
    share > 0.0 && share <= 1.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::random::{Stream, normal_quantile};

    const VALUES: [f64; 6] = [3.1, -2.0, 7.5, 0.4, 5.5, 1.2];

    fn assert_close(found: Option<f64>, truth: f64) {
        let found = found.expect("valid");
        assert!((found - truth).abs() < 1e-14, "{found} for {truth}");
    }

    #[test]
    fn quantiles_agree_with_independent_ones() {
        // numpy 2.4.6: numpy.quantile(method="hazen"), and for weights numpy.interp through the
        // middles of the cumulated weights.
        let mut sorted = VALUES;
        sorted.sort_by(f64::total_cmp);
        let even = [(0.0, -2.0), (0.1, -1.76), (0.25, 0.4), (0.5, 2.15), (0.9, 7.3), (1.0, 7.5)];
        for (q, truth) in even {
            assert_close(quantile_weighted(&VALUES, &[0.7; 6], q), truth);
            assert_close(quantile_sorted(&sorted, q), truth);
        }
        let weights = [1.0, 2.0, 0.5, 3.0, 0.0, 1.5];
        let uneven = [
            (0.0, -2.0),
            (0.1, -2.0),
            (0.25, -1.04),
            (0.5, 0.577_777_777_777_777_7),
            (0.9, 4.273_333_333_333_334),
            (1.0, 7.5),
        ];
        for (q, truth) in uneven {
            assert_close(quantile_weighted(&VALUES, &weights, q), truth);
        }
    }

    #[test]
    fn quantiles_of_the_mirrored_values_are_mirrored() {
        let weights = [1.0, 2.0, 0.5, 3.0, 0.0, 1.5];
        let mirrored = VALUES.map(|value| -value);
        for k in 0..=40 {
            let q = f64::from(k) / 40.0;
            let there = quantile_weighted(&mirrored, &weights, 1.0 - q).expect("valid");
            assert_close(quantile_weighted(&VALUES, &weights, q), -there);
        }
    }

    #[test]
    fn intervals_of_many_draws_agree_with_the_distributions() {
        let mut draws = vec![0.0; 200_000];
        Stream::new(5, 0).fill_normal(&mut draws);
        draws.sort_by(f64::total_cmp);
        // Closed form for the normal distribution: both intervals are +- the quantile at 0.9.
        let end = normal_quantile(0.9);
        let (low, high) = equal_tailed(&draws, 0.8).expect("valid");
        // The standard deviation of a quantile: sqrt(p (1 - p) / n) / density = 0.0038; five allowed.
        assert!((low + end).abs() < 0.02 && (high - end).abs() < 0.02);
        let (low, high) = shortest_interval(&draws, 0.8).expect("valid");
        // Its place is told worse than its length, which is at a minimum there.
        assert!((high - low - 2.0 * end).abs() < 0.03 && (high + low).abs() < 0.3);
        // Closed form for the exponential distribution: from 0 to -ln(0.2), and
        // from -ln(0.9) to -ln(0.1).
        let mut stream = Stream::new(5, 1);
        let mut draws: Vec<f64> = (0..200_000).map(|_| -stream.uniform().ln()).collect();
        draws.sort_by(f64::total_cmp);
        let (low, high) = shortest_interval(&draws, 0.8).expect("valid");
        assert!(low < 0.02 && (high + 0.2_f64.ln()).abs() < 0.03, "{low} {high}");
        let (low, high) = equal_tailed(&draws, 0.8).expect("valid");
        assert!((low + 0.9_f64.ln()).abs() < 0.005 && (high + 0.1_f64.ln()).abs() < 0.04);
    }

    #[test]
    fn the_whole_share_is_the_whole_range() {
        let draws = [1.0, 2.0, 4.0];
        assert_eq!(shortest_interval(&draws, 1.0), Some((1.0, 4.0)));
        assert_eq!(equal_tailed(&draws, 1.0), Some((1.0, 4.0)));
        assert_eq!(shortest_interval(&[3.0], 0.5), Some((3.0, 3.0)));
        assert_eq!(equal_tailed(&[3.0], 0.5), Some((3.0, 3.0)));
    }

    #[test]
    fn bad_input_gets_none() {
        assert_eq!(quantile_weighted(&[], &[], 0.5), None);
        assert_eq!(quantile_weighted(&[1.0], &[0.0], 0.5), None);
        assert_eq!(quantile_weighted(&[1.0, 2.0], &[1.0], 0.5), None);
        assert_eq!(quantile_weighted(&[1.0], &[-1.0], 0.5), None);
        assert_eq!(quantile_weighted(&[f64::NAN], &[1.0], 0.5), None);
        assert_eq!(quantile_weighted(&[1.0], &[1.0], 1.5), None);
        assert_eq!(quantile_sorted(&[2.0, 1.0], 0.5), None);
        assert_eq!(quantile_sorted(&[f64::NAN], 0.5), None);
        assert_eq!(equal_tailed(&[1.0], 0.0), None);
        assert_eq!(shortest_interval(&[], 0.5), None);
        assert_eq!(shortest_interval(&[1.0], f64::NAN), None);
        assert_eq!(shortest_interval(&[2.0, 1.0], 0.5), None);
    }
}
