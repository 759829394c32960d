//! What the wrappers of all maps on a square net share: where a table lies on the mirror, and how a map tells it.

use pyo3::prelude::*;

use super::arguments::choice;
use crate::model::AxisDirection;

/// A direction on the mirror by its name.
pub(super) fn direction(py: Python<'_>, name: &str, run: &str) -> PyResult<AxisDirection> {
    let allowed = "'+x', '-x', '+y' or '-y': where the next one lies, seen from the sky";
    choice(py, name, run, allowed, AxisDirection::from_name)
}

/// The map of a table, from arguments that bear the names of its fields.
macro_rules! placed_map {
    ($map:ident, $py:ident, $values:ident, [$pixel_mm:ident, $rows_run:ident, $columns_run:ident],
        [$centre_row:ident, $centre_column:ident]) => {{
        use $crate::python::arguments::{height_table, part_number, part_number_or};
        use $crate::python::square_map::direction;
        let map = $map::new(
            height_table($values, stringify!($values))?,
            part_number($pixel_mm, stringify!($pixel_mm))?,
            direction($py, stringify!($rows_run), $rows_run)?,
            direction($py, stringify!($columns_run), $columns_run)?,
        );
        let row = part_number_or($centre_row, stringify!($centre_row), map.centre_row)?;
        let column = part_number_or($centre_column, stringify!($centre_column), map.centre_column)?;
        map.centre(row, column)
    }};
}
pub(super) use placed_map;

/// Writes what all maps tell of their net.
macro_rules! map_getters {
    ($class:ident, $values:ident) => {
        getters!($class, |map| {
            /// Side of a pixel on the mirror, mm.
            pixel_mm: f64 = map.pixel_mm;
            /// Where the next row lies: "+x", "-x", "+y" or "-y".
            rows_run: &'static str = map.rows_run.name();
            /// Where the next column lies.
            columns_run: &'static str = map.columns_run.name();
            /// The row in which the mirror's centre lies, counted from 0.
            centre_row: f64 = map.centre_row;
            /// The column in which the mirror's centre lies, counted from 0.
            centre_column: f64 = map.centre_column;
            /// How many rows there are.
            rows: usize = map.$values.nrows();
            /// How many columns there are.
            columns: usize = map.$values.ncols();
        });
    };
}
pub(super) use map_getters;
