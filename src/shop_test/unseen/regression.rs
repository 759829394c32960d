//! How much of a quantity's variance a quadratic function of several others explains.

use super::linear::{Factor, dot};

/// So many rows are needed for each coefficient.
const ROWS_PER_TERM: usize = 4;
/// Added to the correlations, for columns that move together.
const RIDGE: f64 = 1e-9;

/// The share of the variance of `values` that a quadratic function of the columns of `rows` does not explain;
/// linear where there are too few rows for that.
pub(crate) fn residual_share(rows: &[Vec<f64>], values: &[f64]) -> f64 {
    let (count, width) = (values.len(), rows.first().map_or(0, Vec::len));
    let standard = standardised(rows);
    let quadratic = width + width * (width + 1) / 2;
    let terms = if ROWS_PER_TERM * quadratic <= count { quadratic } else { width };
    let with_products = |row: &Vec<f64>| {
        let mut list = row.clone();
        if terms > width {
            for (i, a) in row.iter().enumerate() {
                list.extend(row[..=i].iter().map(|b| a * b));
            }
        }
        list
    };
    let rows = standardised(&standard.iter().map(with_products).collect::<Vec<_>>());
    let Some(slope) = slopes(&rows, values) else { return 1.0 };
    let mean = values.iter().sum::<f64>() / count as f64;
    let left: f64 =
        rows.iter().zip(values).map(|(row, value)| (value - mean - dot(row, &slope)).powi(2)).sum();
    let whole: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    if whole <= 0.0 {
        return 0.0;
    }
    let share = left / whole * (count as f64 - 1.0) / (count.saturating_sub(terms + 1).max(1)) as f64;
    share.clamp(0.0, 1.0)
}

/// Coefficients of the least-squares plane through `values` over columns of mean 0.
pub(crate) fn slopes(rows: &[Vec<f64>], values: &[f64]) -> Option<Vec<f64>> {
    let (count, terms) = (values.len(), rows.first().map_or(0, Vec::len));
    let mean = values.iter().sum::<f64>() / count as f64;
    let (mut normal, mut right) = (vec![0.0; terms * terms], vec![0.0; terms]);
    for (row, value) in rows.iter().zip(values) {
        for (i, a) in row.iter().enumerate() {
            right[i] += a * (value - mean);
            for (sum, b) in normal[i * terms..=i * terms + i].iter_mut().zip(row) {
                *sum += a * b;
            }
        }
    }
    let trace: f64 = (0..terms).map(|i| normal[i * terms + i]).sum::<f64>() / terms.max(1) as f64;
    for i in 0..terms {
        normal[i * terms + i] += RIDGE * trace;
    }
    Factor::of(&normal, terms)?.solve(&mut right);
    Some(right)
}

/// Columns shifted and scaled to mean 0 and variance 1; a column that does not vary becomes 0.
fn standardised(rows: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let (count, width) = (rows.len() as f64, rows.first().map_or(0, Vec::len));
    let mut rows = rows.to_vec();
    for column in 0..width {
        let mean = rows.iter().map(|row| row[column]).sum::<f64>() / count;
        let sd = (rows.iter().map(|row| (row[column] - mean).powi(2)).sum::<f64>() / count).sqrt();
        let scale = if sd > 1e-300 { 1.0 / sd } else { 0.0 };
        for row in &mut rows {
            row[column] = (row[column] - mean) * scale;
        }
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::random::Stream;

    #[test]
    fn a_quadratic_function_leaves_only_its_noise() {
        let mut stream = Stream::new(4, 0);
        let rows: Vec<Vec<f64>> = (0..4000).map(|_| (0..3).map(|_| stream.normal()).collect()).collect();
        let values: Vec<f64> =
            rows.iter().map(|r| r[0] + 0.5 * r[1] * r[2] + 0.5 * stream.normal()).collect();
        // Closed form: variances 1, 0.25 and 0.25, the last of them noise.
        let share = residual_share(&rows, &values);
        assert!((share - 0.25 / 1.5).abs() < 0.02, "{share}");
    }
}
