//! Weighted linear least squares by normal equations.

use nalgebra::{Cholesky, DMatrix, DVector};

use super::sums::{dot, pairwise};

/// A column counts as dependent on those before it when no more than this share of its weighted sum
/// of squares is left after they have taken theirs.
const LEAST_SHARE: f64 = 1e-12;

/// The coefficients c that make the weighted sum of squares of `values` - sum of c\[j\] `columns`\[j\]
/// least.
///
/// Shapes: each column, `weights` and `values` have `rows` elements; one coefficient comes back for
/// each column. Weights may be negative here and there, as those of a quadrature are that takes a
/// part away again.
///
/// None if the lengths differ, a number is not finite, or there is no one least sum: columns
/// dependent on each other to one part in 10^6, fewer rows than columns, or negative weights that
/// outweigh the others.
///
/// Source: Golub & Van Loan, Matrix Computations, 4th ed. 2013, section 5.3: normal equations of
/// the columns brought to one length, Cholesky's factors, and one step of refinement with the
/// residuals of the rows. The relative error is about 1e-16 times the square of the condition
/// number of the scaled columns without that step; with it nearly the number itself, up to 1e6.
/// All sums are in a fixed order.
///
/// ```
/// use catoptric::numeric::least_squares::weighted;
/// let columns = [vec![1.0; 4], vec![0.0, 1.0, 2.0, 3.0]];
/// let line = weighted(4, &columns, &[1.0; 4], &[1.0, 3.0, 5.0, 7.0]).unwrap();
/// assert!((line[0] - 1.0).abs() < 1e-14 && (line[1] - 2.0).abs() < 1e-14);
/// ```
pub fn weighted(rows: usize, columns: &[Vec<f64>], weights: &[f64], values: &[f64]) -> Option<Vec<f64>> {
    let usable = |list: &[f64]| list.len() == rows && list.iter().all(|value| value.is_finite());
    if !(usable(weights) && usable(values) && columns.iter().all(|column| usable(column))) {
        return None;
    }
    let lengths: Vec<f64> = columns.iter().map(|column| length(column, weights)).collect();
    if lengths.iter().any(|length| !length.is_normal()) {
        return None;
    }
    let scaled: Vec<Vec<f64>> = columns
        .iter()
        .zip(&lengths)
        .map(|(column, length)| column.iter().map(|element| element / length).collect())
        .collect();
    let weighed: Vec<Vec<f64>> = scaled.iter().map(|column| products(column, weights)).collect();
    let count = columns.len();
    // Only the lower triangle is read.
    let normal =
        DMatrix::from_fn(count, count, |i, j| if i < j { 0.0 } else { dot(&weighed[i], &scaled[j]) });
    let factors = Cholesky::new(normal)?;
    let pivots = factors.l_dirty().diagonal();
    if pivots.iter().any(|pivot| pivot * pivot < LEAST_SHARE) {
        return None;
    }
    let solve = |right: &[f64]| {
        let projections = weighed.iter().map(|column| dot(column, right));
        factors.solve(&DVector::from_iterator(count, projections))
    };
    let mut coefficients = solve(values);
    let mut residuals = values.to_vec();
    for (column, coefficient) in scaled.iter().zip(&coefficients) {
        for (residual, element) in residuals.iter_mut().zip(column) {
            *residual -= coefficient * element;
        }
    }
    coefficients += solve(&residuals);
    Some(coefficients.iter().zip(&lengths).map(|(coefficient, length)| coefficient / length).collect())
}

/// The root of a column's sum of squares, each weight taken without its sign.
fn length(column: &[f64], weights: &[f64]) -> f64 {
    let squares: Vec<f64> = column.iter().zip(weights).map(|(a, w)| w.abs() * a * a).collect();
    pairwise(&squares).sqrt()
}

fn products(column: &[f64], weights: &[f64]) -> Vec<f64> {
    column.iter().zip(weights).map(|(a, w)| a * w).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hard_regression_agrees_with_its_certified_values() {
        // NIST Statistical Reference Datasets, Longley (J. W. Longley 1967, J. Am. Stat. Assoc. 62,
        // 819): data and certified coefficients, which exact rational arithmetic confirms.
        #[rustfmt::skip]
        let data = [
            [60323.0, 83.0, 234_289.0, 2356.0, 1590.0, 107_608.0, 1947.0],
            [61122.0, 88.5, 259_426.0, 2325.0, 1456.0, 108_632.0, 1948.0],
            [60171.0, 88.2, 258_054.0, 3682.0, 1616.0, 109_773.0, 1949.0],
            [61187.0, 89.5, 284_599.0, 3351.0, 1650.0, 110_929.0, 1950.0],
            [63221.0, 96.2, 328_975.0, 2099.0, 3099.0, 112_075.0, 1951.0],
            [63639.0, 98.1, 346_999.0, 1932.0, 3594.0, 113_270.0, 1952.0],
            [64989.0, 99.0, 365_385.0, 1870.0, 3547.0, 115_094.0, 1953.0],
            [63761.0, 100.0, 363_112.0, 3578.0, 3350.0, 116_219.0, 1954.0],
            [66019.0, 101.2, 397_469.0, 2904.0, 3048.0, 117_388.0, 1955.0],
            [67857.0, 104.6, 419_180.0, 2822.0, 2857.0, 118_734.0, 1956.0],
            [68169.0, 108.4, 442_769.0, 2936.0, 2798.0, 120_445.0, 1957.0],
            [66513.0, 110.8, 444_546.0, 4681.0, 2637.0, 121_950.0, 1958.0],
            [68655.0, 112.6, 482_704.0, 3813.0, 2552.0, 123_366.0, 1959.0],
            [69564.0, 114.2, 502_601.0, 3931.0, 2514.0, 125_368.0, 1960.0],
            [69331.0, 115.7, 518_173.0, 4806.0, 2572.0, 127_852.0, 1961.0],
            [70551.0, 116.9, 554_894.0, 4007.0, 2827.0, 130_081.0, 1962.0],
        ];
        let certified = [
            -3_482_258.634_595_82,
            15.061_872_271_373_3,
            -0.358_191_792_925_910e-1,
            -2.020_229_803_816_83,
            -1.033_226_867_173_59,
            -0.511_041_056_535_807e-1,
            1_829.151_464_613_55,
        ];
        let values = data.map(|row| row[0]);
        let mut columns = vec![vec![1.0; 16]];
        columns.extend((1..7).map(|k| data.iter().map(|row| row[k]).collect::<Vec<f64>>()));
        let found = weighted(16, &columns, &[1.0; 16], &values).expect("independent columns");
        for (coefficient, truth) in found.iter().zip(certified) {
            // The scaled columns have condition number 4.3e4 (numpy.linalg.cond).
            assert!((coefficient / truth - 1.0).abs() < 1e-10, "{coefficient} for {truth}");
        }
    }

    fn parabola_columns() -> Vec<Vec<f64>> {
        let t: Vec<f64> = (0..8).map(|k| f64::from(k) / 4.0).collect();
        let squares = t.iter().map(|t| t * t).collect();
        vec![vec![1.0; 8], t, squares]
    }

    #[test]
    fn signed_weights_agree_with_rational_arithmetic() {
        // Python fractions, Gauss-Jordan: 313001/338109, 6850160/1014327, -1739104/1014327.
        let weights = [1.0, 2.0, 1.0, -0.1, 1.5, 1.0, -0.2, 1.0];
        let values = [3.0, 1.0, 4.0, 1.0, 5.0, 9.0, 2.0, 6.0];
        let found = weighted(8, &parabola_columns(), &weights, &values).expect("a least sum");
        let truth = [313_001.0 / 338_109.0, 6_850_160.0 / 1_014_327.0, -1_739_104.0 / 1_014_327.0];
        for (coefficient, truth) in found.iter().zip(truth) {
            assert!((coefficient - truth).abs() < 1e-13, "{coefficient} for {truth}");
        }
    }

    #[test]
    fn the_units_of_a_column_do_not_matter() {
        let values = [3.0, 1.0, 4.0, 1.0, 5.0, 9.0, 2.0, 6.0];
        let plain = weighted(8, &parabola_columns(), &[1.0; 8], &values).expect("a least sum");
        let mut columns = parabola_columns();
        columns[1].iter_mut().for_each(|element| *element *= 1e9);
        let other = weighted(8, &columns, &[1e-20; 8], &values).expect("a least sum");
        assert!((other[1] * 1e9 / plain[1] - 1.0).abs() < 1e-12);
        assert!((other[2] / plain[2] - 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_has_no_one_answer_gets_none() {
        let values = [1.0; 8];
        let mut columns = parabola_columns();
        columns.push(columns[1].iter().map(|t| 2.0 - 3.0 * t).collect());
        assert_eq!(weighted(8, &columns, &[1.0; 8], &values), None, "dependent columns");
        let columns = parabola_columns();
        let mut weights = [1.0; 8];
        weights[7] = -2.0;
        assert_eq!(weighted(8, &columns, &weights, &values), None, "a saddle");
        assert_eq!(
            weighted(2, &[vec![1.0, 1.0], vec![1.0, 2.0], vec![1.0, 4.0]], &[1.0; 2], &[1.0; 2]),
            None
        );
        assert_eq!(weighted(8, &columns, &[1.0; 7], &values), None, "lengths");
        assert_eq!(weighted(8, &columns, &[f64::NAN; 8], &values), None);
        assert_eq!(weighted(8, &[vec![0.0; 8]], &[1.0; 8], &values), None, "a column of zeros");
        assert_eq!(weighted(8, &[], &[1.0; 8], &values), Some(vec![]));
    }
}
