//! Arrays on their way out.

use numpy::{IntoPyArray, PyArray1, PyArray2};
use pyo3::prelude::*;

/// A one-dimensional array of the caller's own.
pub(super) type Column<'py> = Bound<'py, PyArray1<f64>>;

/// The array of some values.
pub(super) fn column<'py>(py: Python<'py>, values: impl IntoIterator<Item = f64>) -> Column<'py> {
    values.into_iter().collect::<Vec<_>>().into_pyarray(py)
}

/// The two-dimensional array of rows of equal length.
pub(super) fn square<'py>(py: Python<'py>, rows: &[Vec<f64>]) -> Bound<'py, PyArray2<f64>> {
    let columns = rows.first().map_or(0, Vec::len);
    ndarray::Array2::from_shape_fn((rows.len(), columns), |(i, j)| rows[i][j]).into_pyarray(py)
}
