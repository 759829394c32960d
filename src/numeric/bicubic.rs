//! A smooth surface through heights on a square net.

use ndarray::Array2;

use super::spline::{CubicSpline, End};

/// A bicubic surface through the points of a net; places without a value are left out.
///
/// In every cell it is the bicubic Hermite patch of value, both slopes and the mixed derivative at its corners. The
/// slopes are those of cubic splines along each unbroken run of a row or column (de Boor's not-a-knot ends), the
/// mixed derivative that of a spline through the row slopes along the columns. So value and slopes are continuous
/// everywhere, and on a full rectangle the second derivatives as well.
///
/// Units: positions in steps of the net from its first point; slopes for one step.
/// Shapes: a net of 2 x 2 points or more; NaN where there is no value.
/// Source: de Boor, Bicubic spline interpolation, J. Math. Phys. 41 (1962) 212 (from memory).
/// Leaves out: what varies faster than two steps. For a smooth surface f and a step d the error is about
/// d^4 (|f_xxxx| + |f_yyyy|)/384 within (never above five times that: Hall & Meyer 1976, from memory) and several times
/// that in the outermost two cells; for a wave that is n steps long (2 pi/n)^4/384 of its amplitude: 2e-2 at 4 steps, 4e-4 at 10, 3e-5 at 20.
///
/// ```
/// use catoptric::numeric::bicubic::Bicubic;
/// let net = ndarray::Array2::from_shape_fn((6, 7), |(i, j)| (i * i) as f64 - 3.0 * j as f64);
/// let (value, [by_row, by_column]) = Bicubic::through(&net).value_and_slopes(2.5, 4.25);
/// assert!((value - (6.25 - 12.75)).abs() < 1e-12);
/// assert!((by_row - 5.0).abs() < 1e-12 && (by_column + 3.0).abs() < 1e-12);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Bicubic {
    rows: usize,
    columns: usize,
    nodes: Vec<Node>,
}

/// Value, slope by row, slope by column, mixed derivative.
type Node = [f64; 4];

impl Bicubic {
    /// The surface through a net.
    pub fn through(net: &Array2<f64>) -> Self {
        let (rows, columns) = net.dim();
        let by_row = along_columns(net);
        let by_column = along_columns(&net.t().to_owned()).reversed_axes();
        let mixed = along_columns(&by_column);
        let nodes = net.indexed_iter().map(|(at, &value)| [value, by_row[at], by_column[at], mixed[at]]);
        Self { rows, columns, nodes: nodes.collect() }
    }

    /// Value and slopes at a place; the outermost cells reach on beyond the net.
    ///
    /// Not a number in a cell of which a corner has no value.
    #[inline]
    pub fn value_and_slopes(&self, row: f64, column: f64) -> (f64, [f64; 2]) {
        let cell = |place: f64, count: usize| (place.max(0.0) as usize).min(count - 2);
        let (i, j) = (cell(row, self.rows), cell(column, self.columns));
        let (across, down) = (Hermite::new(column - j as f64), Hermite::new(row - i as f64));
        let [mut value, mut by_row, mut by_column] = [0.0; 3];
        for k in 0..2 {
            let from = (i + k) * self.columns + j;
            let [a, b] = [&self.nodes[from], &self.nodes[from + 1]];
            // Value and slope by row side by side, as they lie in memory.
            let joined = |basis: &[f64; 4]| {
                [0, 1].map(|n| basis[0] * a[n] + basis[1] * a[n + 2] + basis[2] * b[n] + basis[3] * b[n + 2])
            };
            let ([f, f_row], [f_column, f_mixed]) = (joined(&across.value), joined(&across.slope));
            value += down.value[2 * k] * f + down.value[2 * k + 1] * f_row;
            by_row += down.slope[2 * k] * f + down.slope[2 * k + 1] * f_row;
            by_column += down.value[2 * k] * f_column + down.value[2 * k + 1] * f_mixed;
        }
        (value, [by_row, by_column])
    }
}

/// The cubic Hermite basis on a cell: value and slope at its start, then at its end.
struct Hermite {
    value: [f64; 4],
    slope: [f64; 4],
}

impl Hermite {
    #[inline]
    fn new(t: f64) -> Self {
        let (square, rest) = (t * t, 1.0 - t);
        Self {
            value: [(1.0 + 2.0 * t) * rest * rest, t * rest * rest, square * (3.0 - 2.0 * t), -square * rest],
            slope: [-6.0 * t * rest, rest * (1.0 - 3.0 * t), 6.0 * t * rest, t * (3.0 * t - 2.0)],
        }
    }
}

/// Slopes along each column, from splines over its unbroken runs; a point that stands alone is level.
fn along_columns(net: &Array2<f64>) -> Array2<f64> {
    let mut slopes = Array2::from_elem(net.dim(), f64::NAN);
    for (column, mut out) in net.columns().into_iter().zip(slopes.columns_mut()) {
        let mut from = 0;
        while from < column.len() {
            let run: Vec<f64> = column.iter().skip(from).copied().take_while(|v| v.is_finite()).collect();
            for (k, slope) in run_slopes(&run).enumerate() {
                out[from + k] = slope;
            }
            from += run.len().max(1);
        }
    }
    slopes
}

fn run_slopes(values: &[f64]) -> impl Iterator<Item = f64> + use<> {
    let places: Vec<f64> = (0..values.len()).map(|k| k as f64).collect();
    let spline = CubicSpline::new(&places, values, End::NotAKnot, End::NotAKnot).ok();
    places.into_iter().map(move |at| spline.as_ref().map_or(0.0, |s| s.value_and_slope(at).1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wave(row: f64, column: f64) -> f64 {
        (0.31 * row + 0.2).sin() * (0.23 * column).cos()
    }

    #[test]
    fn a_smooth_surface_comes_back_with_its_slopes() {
        let surface = Bicubic::through(&Array2::from_shape_fn((30, 26), |(i, j)| wave(i as f64, j as f64)));
        for k in 0..200 {
            let (row, column) = (4.0 + f64::from(k) * 0.105, 21.0 - f64::from(k) * 0.083);
            let (value, [by_row, by_column]) = surface.value_and_slopes(row, column);
            // d^4 f''''/384 for both directions: 0.31^4/384 + 0.23^4/384 = 3.1e-5; slopes by sqrt(3)/216 d^3 f''''.
            assert!((value - wave(row, column)).abs() < 3.2e-5, "at {row} {column}");
            let d = 1e-6;
            let secant = |a: f64, b: f64| (a - b) / (2.0 * d);
            let at = |r, c| surface.value_and_slopes(r, c).0;
            assert!((by_row - secant(at(row + d, column), at(row - d, column))).abs() < 1e-8);
            assert!((by_column - secant(at(row, column + d), at(row, column - d))).abs() < 1e-8);
        }
    }

    #[test]
    fn value_and_slopes_run_on_from_cell_to_cell_beside_a_gap() {
        let mut net =
            Array2::from_shape_fn((12, 12), |(i, j)| (1.3 * i as f64).sin() + (0.9 * (i * j) as f64).cos());
        net[[3, 8]] = f64::NAN;
        net[[0, 0]] = f64::NAN;
        let surface = Bicubic::through(&net);
        for k in 0..60 {
            let along = 4.0 + f64::from(k) * 0.1;
            let (a, b) = (surface.value_and_slopes(7.0 - 1e-12, along), surface.value_and_slopes(7.0, along));
            assert!(
                (a.0 - b.0).abs() < 1e-9 && (a.1[0] - b.1[0]).abs() < 1e-9 && (a.1[1] - b.1[1]).abs() < 1e-9
            );
        }
        assert!(surface.value_and_slopes(3.5, 7.5).0.is_nan(), "a corner has no value");
        assert!(surface.value_and_slopes(4.5, 7.5).0.is_finite());
    }
}
