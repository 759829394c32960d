//! Small dense symmetric matrices: Cholesky's factors, and a rank-revealing factor of a covariance.
//!
//! Matrices are lists in row order. The orders here are 2 to 30, where a general library's calls
//! cost more than the work.

/// The lower Cholesky factor of a positive definite matrix.
///
/// Source: Golub & Van Loan, Matrix Computations, 4th ed. 2013, section 4.2.
#[derive(Clone, Debug)]
pub(crate) struct Factor {
    order: usize,
    lower: Vec<f64>,
}

impl Factor {
    /// Room for a factor of this order.
    pub(crate) fn with_order(order: usize) -> Self {
        Self { order, lower: vec![0.0; order * order] }
    }

    /// The factor of `matrix`, of which only the lower triangle is read; none if it is not positive
    /// definite.
    pub(crate) fn of(matrix: &[f64], order: usize) -> Option<Self> {
        let mut factor = Self::with_order(order);
        factor.refill(matrix).then_some(factor)
    }

    /// Overwrites the factor with that of another matrix of the same order; false if that one is not
    /// positive definite.
    pub(crate) fn refill(&mut self, matrix: &[f64]) -> bool {
        let n = self.order;
        for i in 0..n {
            let (above, row) = self.lower.split_at_mut(i * n);
            for j in 0..=i {
                let mut sum = matrix[i * n + j];
                if j < i {
                    let other = &above[j * n..=j * n + j];
                    for (a, b) in row[..j].iter().zip(other) {
                        sum -= a * b;
                    }
                    row[j] = sum / other[j];
                } else {
                    for a in &row[..i] {
                        sum -= a * a;
                    }
                    if sum.is_nan() || sum <= 0.0 {
                        return false;
                    }
                    row[i] = sum.sqrt();
                }
            }
        }
        true
    }

    /// Replaces b by the solution x of L x = b.
    pub(crate) fn forward(&self, b: &mut [f64]) {
        let n = self.order;
        for i in 0..n {
            let row = &self.lower[i * n..=i * n + i];
            let known: f64 = row[..i].iter().zip(&b[..i]).map(|(a, x)| a * x).sum();
            b[i] = (b[i] - known) / row[i];
        }
    }

    /// Replaces b by the solution x of L' x = b.
    pub(crate) fn backward(&self, b: &mut [f64]) {
        let n = self.order;
        for i in (0..n).rev() {
            let x = b[i] / self.lower[i * n + i];
            b[i] = x;
            for (left, a) in b[..i].iter_mut().zip(&self.lower[i * n..i * n + i]) {
                *left -= a * x;
            }
        }
    }

    /// Replaces b by the solution x of L L' x = b.
    pub(crate) fn solve(&self, b: &mut [f64]) {
        self.forward(b);
        self.backward(b);
    }

    /// Replaces each of several columns by the solution of L x = column.
    ///
    /// `columns` is a matrix in row order with as many rows as the order and `width` columns.
    pub(crate) fn forward_columns(&self, columns: &mut [f64], width: usize) {
        let n = self.order;
        for i in 0..n {
            let (above, rest) = columns.split_at_mut(i * width);
            let row = &mut rest[..width];
            for (known, a) in above.chunks_exact(width).zip(&self.lower[i * n..i * n + i]) {
                for (left, x) in row.iter_mut().zip(known) {
                    *left -= a * x;
                }
            }
            let inverse = 1.0 / self.lower[i * n + i];
            for left in row {
                *left *= inverse;
            }
        }
    }

    /// Replaces z by L z.
    pub(crate) fn multiply(&self, z: &mut [f64]) {
        let n = self.order;
        for i in (0..n).rev() {
            z[i] = self.lower[i * n..=i * n + i].iter().zip(&z[..=i]).map(|(a, x)| a * x).sum();
        }
    }

    /// The logarithm of the determinant of the matrix, L L'.
    pub(crate) fn log_determinant(&self) -> f64 {
        let n = self.order;
        let product: f64 = (0..n).map(|i| self.lower[i * n + i]).product();
        if product.is_normal() {
            2.0 * libm::log(product)
        } else {
            2.0 * (0..n).map(|i| libm::log(self.lower[i * n + i])).sum::<f64>()
        }
    }
}

/// A thin factor L of a covariance, with L L' = K but for what pivoting left out.
#[derive(Clone, Debug)]
pub(crate) struct ThinFactor {
    /// How many columns were needed.
    pub(crate) rank: usize,
    /// One row of `rank` elements for each point.
    pub(crate) rows: Vec<f64>,
}

impl ThinFactor {
    /// Cholesky with the largest remaining variance first, until none is above `share` of the largest.
    ///
    /// A process sampled at points much closer than its length has a covariance of deficient
    /// numerical rank, on which the plain factorisation breaks down. Source: Higham, Accuracy and
    /// Stability of Numerical Algorithms, 2nd ed. 2002, section 10.3.
    pub(crate) fn of(covariance: &[f64], order: usize, share: f64) -> Self {
        let mut left: Vec<f64> = (0..order).map(|i| covariance[i * order + i]).collect();
        let limit = share * left.iter().copied().fold(0.0, f64::max);
        let mut columns: Vec<Vec<f64>> = Vec::new();
        while columns.len() < order {
            let (pivot, &largest) =
                left.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).unwrap_or((0, &0.0));
            if largest <= limit {
                break;
            }
            let root = largest.sqrt();
            let mut column: Vec<f64> = covariance[pivot * order..(pivot + 1) * order].to_vec();
            for known in &columns {
                let factor = known[pivot];
                for (value, other) in column.iter_mut().zip(known) {
                    *value -= factor * other;
                }
            }
            for (value, rest) in column.iter_mut().zip(&mut left) {
                *value /= root;
                *rest -= *value * *value;
            }
            left[pivot] = 0.0;
            columns.push(column);
        }
        let rank = columns.len();
        let mut rows = vec![0.0; order * rank];
        for (k, column) in columns.iter().enumerate() {
            for (i, value) in column.iter().enumerate() {
                rows[i * rank + k] = *value;
            }
        }
        Self { rank, rows }
    }
}

/// The sum of the products of two lists of a few elements, where longer sums' lanes would cost more than they save.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const MATRIX: [f64; 9] = [4.0, 2.0, -2.0, 2.0, 10.0, 2.0, -2.0, 2.0, 6.0];

    fn close(a: &[f64], b: &[f64]) -> bool {
        a.len() == b.len() && a.iter().zip(b).all(|(x, y)| (x - y).abs() < 1e-14)
    }

    #[test]
    fn a_factor_worked_by_hand() {
        // By hand: L = [2 0 0; 1 3 0; -1 1 2], determinant 144.
        let factor = Factor::of(&MATRIX, 3).expect("positive definite");
        assert!(close(&factor.lower, &[2.0, 0.0, 0.0, 1.0, 3.0, 0.0, -1.0, 1.0, 2.0]));
        assert!((factor.log_determinant() - 144.0_f64.ln()).abs() < 1e-15);
        let mut b = [4.0, 14.0, 6.0]; // MATRIX times (1, 1, 1)
        factor.solve(&mut b);
        assert!(b.iter().all(|x| (x - 1.0).abs() < 1e-15), "{b:?}");
        let mut columns = [2.0, 4.0, 4.0, 8.0, 2.0, 4.0]; // L times (1, 1, 1), and twice that
        factor.forward_columns(&mut columns, 2);
        assert!(close(&columns, &[1.0, 2.0, 1.0, 2.0, 1.0, 2.0]));
        let mut z = [1.0, 1.0, 1.0];
        factor.multiply(&mut z);
        assert!(close(&z, &[2.0, 4.0, 2.0]));
    }

    #[test]
    fn an_indefinite_matrix_has_no_factor() {
        assert!(Factor::of(&[1.0, 2.0, 2.0, 1.0], 2).is_none());
        assert!(Factor::of(&[f64::NAN], 1).is_none());
    }

    #[test]
    fn a_thin_factor_gives_back_its_covariance() {
        // Rank two by construction: the sum of two dyads.
        let (u, v) = ([1.0, 2.0, 3.0, 4.0], [1.0, -1.0, 1.0, -1.0]);
        let covariance: Vec<f64> = (0..16).map(|k| u[k / 4] * u[k % 4] + v[k / 4] * v[k % 4]).collect();
        let factor = ThinFactor::of(&covariance, 4, 1e-12);
        assert_eq!(factor.rank, 2);
        for (k, value) in covariance.iter().enumerate() {
            let (i, j) = (k / 4, k % 4);
            let row = |i: usize| &factor.rows[2 * i..2 * i + 2];
            assert!((dot(row(i), row(j)) - value).abs() < 1e-13);
        }
    }
}
