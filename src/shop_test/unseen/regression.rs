//! A quantity as a quadratic function of several others, by least squares.

use super::linear::{Factor, dot};

/// So many rows are needed for each coefficient.
const ROWS_PER_TERM: usize = 4;
/// Added to the normal equations, as a share of their mean diagonal, for columns that move together.
const RIDGE: f64 = 1e-9;

/// A quadratic function; linear where there are too few rows for more.
#[derive(Clone, Debug)]
pub(crate) struct Quadratic {
    mean: Vec<f64>,
    scale: Vec<f64>,
    terms: usize,
    coefficient: Vec<f64>,
    /// The share of the values' variance that the function does not explain, corrected for its coefficients.
    pub(crate) residual_share: f64,
}

impl Quadratic {
    /// The fit to `values` over the columns of `rows`. None if the columns span nothing.
    pub(crate) fn fit(rows: &[Vec<f64>], values: &[f64]) -> Option<Self> {
        let (count, width) = (values.len(), rows.first()?.len());
        let of_rows = |f: &dyn Fn(&Vec<f64>) -> f64| rows.iter().map(f).sum::<f64>() / count as f64;
        let mean: Vec<f64> = (0..width).map(|k| of_rows(&|row| row[k])).collect();
        let deviation = (0..width).map(|k| of_rows(&|row| (row[k] - mean[k]).powi(2)).sqrt());
        let scale = deviation.map(|sd| if sd > 1e-300 { 1.0 / sd } else { 0.0 }).collect();
        let all = 1 + width + width * (width + 1) / 2;
        let terms = if ROWS_PER_TERM * all <= count { all } else { 1 + width };
        let mut fit = Self { mean, scale, terms, coefficient: Vec::new(), residual_share: 1.0 };
        let level = values.iter().sum::<f64>() / count as f64;
        let (mut normal, mut right) = (vec![0.0; terms * terms], vec![0.0; terms]);
        let mut list = Vec::with_capacity(terms);
        for (row, value) in rows.iter().zip(values) {
            fit.terms_of(row, &mut list);
            for (i, a) in list.iter().enumerate() {
                right[i] += a * (value - level);
                for (sum, b) in normal[i * terms..=i * terms + i].iter_mut().zip(&list) {
                    *sum += a * b;
                }
            }
        }
        let diagonal = (0..terms).map(|i| normal[i * terms + i]).sum::<f64>() / terms as f64;
        for i in 0..terms {
            normal[i * terms + i] += RIDGE * diagonal;
        }
        Factor::of(&normal, terms)?.solve(&mut right);
        fit.coefficient = right;
        let left: f64 = rows.iter().zip(values).map(|(row, v)| (v - level - fit.value(row)).powi(2)).sum();
        let whole: f64 = values.iter().map(|v| (v - level).powi(2)).sum();
        if whole > 0.0 {
            let freedom = (count as f64 - 1.0) / count.saturating_sub(terms).max(1) as f64;
            fit.residual_share = (left / whole * freedom).clamp(0.0, 1.0);
        } else {
            fit.residual_share = 0.0;
        }
        Some(fit)
    }

    /// The function less the mean of the values.
    pub(crate) fn value(&self, row: &[f64]) -> f64 {
        let mut list = Vec::with_capacity(self.terms);
        self.terms_of(row, &mut list);
        dot(&list, &self.coefficient)
    }

    fn terms_of(&self, row: &[f64], list: &mut Vec<f64>) {
        list.clear();
        list.push(1.0);
        list.extend(row.iter().zip(&self.mean).zip(&self.scale).map(|((v, m), s)| (v - m) * s));
        if self.terms > 1 + row.len() {
            for i in 0..row.len() {
                for j in 0..=i {
                    list.push(list[1 + i] * list[1 + j]);
                }
            }
        }
    }
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
            rows.iter().map(|r| 3.0 + r[0] + 0.5 * r[1] * r[2] + 0.5 * stream.normal()).collect();
        let fit = Quadratic::fit(&rows, &values).expect("columns that vary");
        // Closed form: variances 1, 0.25 and 0.25, the last of them noise.
        assert!((fit.residual_share - 0.25 / 1.5).abs() < 0.02, "{}", fit.residual_share);
        let step = fit.value(&[1.0, 2.0, 1.0]) - fit.value(&[0.0, 2.0, 1.0]);
        assert!((step - 1.0).abs() < 0.1, "{step}");
    }
}
