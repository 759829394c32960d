//! Numbers on a square net laid over the mirror: where its pixels lie, and which of them the mirror needs.

use ndarray::Array2;
use serde::Serializer;

use super::height_map::AxisDirection;
use crate::error::Findings;

/// Rows or columns on a side: 4096 x 4096 numbers are 128 MiB, and four times that when made ready.
const MOST_PIXELS: usize = 4096;
/// How far inward of the rim the edge may be held: a share of the rim's radius, and so many pixels more.
const HELD_SHARE: f64 = 0.03;
const HELD_PIXELS: f64 = 1.0;
/// A disc that leaves the net by less than this, in pixels, does not leave it.
const ROUNDING_PIXELS: f64 = 1e-6;

/// A look at a map, whatever its numbers mean.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SquareNet<'a> {
    pub(crate) pixel_mm: f64,
    pub(crate) rows_run: AxisDirection,
    pub(crate) columns_run: AxisDirection,
    pub(crate) centre_row: f64,
    pub(crate) centre_column: f64,
    pub(crate) values: &'a Array2<f64>,
    /// The field that holds the numbers, and what one of them is called.
    pub(super) field: &'static str,
    pub(super) noun: &'static str,
    /// Whether a narrow rim without numbers takes the nearest ones; none: this kind of map cannot.
    pub(super) hold_edge: Option<bool>,
}

/// What all maps on a square net share but the meaning of their numbers: how they are made, where their pixels lie, when
/// they are equal, and how files have them.
macro_rules! square_map {
    ($map:ident, $input:ident, $values:ident: $noun:literal $(, $hold_edge:ident)?) => {
        impl $map {
            /// A map whose middle is the mirror's centre.
            ///
            /// ```
            #[doc = concat!("use catoptric::{AxisDirection, ", stringify!($map), "};")]
            /// let net = ndarray::Array2::from_elem((40, 41), 0.9);
            #[doc = concat!("let map = ", stringify!($map), "::new(net, 5.0, AxisDirection::PlusY, AxisDirection::PlusX);")]
            /// assert_eq!((map.centre_row, map.centre_column), (19.5, 20.0));
            /// ```
            pub fn new(
                $values: Array2<f64>,
                pixel_mm: f64,
                rows_run: AxisDirection,
                columns_run: AxisDirection,
            ) -> Self {
                let (rows, columns) = $values.dim();
                Self {
                    pixel_mm,
                    rows_run,
                    columns_run,
                    centre_row: middle(rows),
                    centre_column: middle(columns),
                    $($hold_edge: false,)?
                    $values: Arc::new($values),
                }
            }

            /// The same map with the mirror's centre at another place of the net.
            ///
            /// ```
            #[doc = concat!("use catoptric::{AxisDirection, ", stringify!($map), "};")]
            /// let net = ndarray::Array2::from_elem((9, 9), 0.9);
            #[doc = concat!("let map = ", stringify!($map), "::new(net, 5.0, AxisDirection::PlusY, AxisDirection::PlusX);")]
            /// assert_eq!(map.centre(4.5, 3.0).place_mm(0, 0), [-15.0, -22.5]);
            /// ```
            #[must_use]
            pub fn centre(self, row: f64, column: f64) -> Self {
                Self { centre_row: row, centre_column: column, ..self }
            }

            /// Where the middle of a pixel lies on the mirror: x and y, mm.
            ///
            /// ```
            #[doc = concat!("use catoptric::{AxisDirection, ", stringify!($map), "};")]
            /// let net = ndarray::Array2::from_elem((9, 9), 0.9);
            #[doc = concat!("let map = ", stringify!($map), "::new(net, 5.0, AxisDirection::MinusX, AxisDirection::PlusY);")]
            /// assert_eq!(map.place_mm(8, 4), [-20.0, 0.0]);
            /// ```
            pub fn place_mm(&self, row: usize, column: usize) -> [f64; 2] {
                self.net().place_mm(row, column)
            }

            /// The map without the meaning of its numbers.
            pub(crate) fn net(&self) -> SquareNet<'_> {
                SquareNet {
                    pixel_mm: self.pixel_mm,
                    rows_run: self.rows_run,
                    columns_run: self.columns_run,
                    centre_row: self.centre_row,
                    centre_column: self.centre_column,
                    values: &self.$values,
                    field: stringify!($values),
                    noun: $noun,
                    hold_edge: None$(.or(Some(self.$hold_edge)))?,
                }
            }
        }

        /// Maps are equal where their numbers are, and missing in the same places.
        impl PartialEq for $map {
            fn eq(&self, other: &Self) -> bool {
                self.net().equals(&other.net())
            }
        }

        /// A map as files have it: a list of rows, and nothing where nothing was measured.
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct $input {
            pixel_mm: f64,
            rows_run: AxisDirection,
            columns_run: AxisDirection,
            #[serde(default)]
            centre_row: Option<f64>,
            #[serde(default)]
            centre_column: Option<f64>,
            $(#[serde(default)]
            $hold_edge: bool,)?
            $values: Vec<Vec<Option<f64>>>,
        }

        impl TryFrom<$input> for $map {
            type Error = String;

            fn try_from(input: $input) -> Result<Self, String> {
                let values = table(input.$values, stringify!($values), $noun)?;
                let map = Self::new(values, input.pixel_mm, input.rows_run, input.columns_run);
                $(let map = Self { $hold_edge: input.$hold_edge, ..map };)?
                let (row, column) = (map.centre_row, map.centre_column);
                Ok(map.centre(input.centre_row.unwrap_or(row), input.centre_column.unwrap_or(column)))
            }
        }
    };
}
pub(super) use square_map;

/// The row or column in the middle of so many.
pub(super) fn middle(count: usize) -> f64 {
    (count as f64 - 1.0) / 2.0
}

impl SquareNet<'_> {
    /// Where the middle of a pixel lies on the mirror: x and y, mm.
    pub(crate) fn place_mm(&self, row: usize, column: usize) -> [f64; 2] {
        let down = (row as f64 - self.centre_row) * self.pixel_mm;
        let across = (column as f64 - self.centre_column) * self.pixel_mm;
        let (rows, columns) = (self.rows_run.unit(), self.columns_run.unit());
        [0, 1].map(|i| down * rows[i] + across * columns[i])
    }

    /// The number of a pixel that may lie beyond the net; none where nothing was measured.
    pub(crate) fn measured(&self, row: i64, column: i64) -> Option<f64> {
        let at = (usize::try_from(row).ok()?, usize::try_from(column).ok()?);
        self.values.get(at).copied().filter(|h| h.is_finite())
    }

    /// Distance of a pixel's middle from the mirror's centre, in pixels.
    fn distance_pixels(&self, row: i64, column: i64) -> f64 {
        (row as f64 - self.centre_row).hypot(column as f64 - self.centre_column)
    }

    /// First and last row, first and last column, that a disc about the mirror's centre needs.
    pub(crate) fn needed(&self, rim_mm: f64) -> [i64; 4] {
        let reach = rim_mm / self.pixel_mm - ROUNDING_PIXELS;
        let ends = |centre: f64| [(centre - reach).floor() as i64, (centre + reach).ceil() as i64];
        let ([top, bottom], [left, right]) = (ends(self.centre_row), ends(self.centre_column));
        [top, bottom, left, right]
    }

    /// The unmeasured pixels that a disc of a radius needs: corners of the cells that it touches.
    pub(crate) fn gaps(&self, rim_mm: f64) -> Vec<(i64, i64)> {
        let [top, bottom, left, right] = self.needed(rim_mm);
        let reach = rim_mm / self.pixel_mm - ROUNDING_PIXELS;
        // How near a cell that begins here comes to the centre along one direction.
        let near = |from: i64, centre: f64| (from as f64 - centre).max(centre - from as f64 - 1.0).max(0.0);
        let touched = |row: i64, column: i64| {
            near(row, self.centre_row).hypot(near(column, self.centre_column)) < reach
        };
        let mut gaps = Vec::new();
        for row in top..=bottom {
            for column in left..=right {
                let is_needed = [(0, 0), (1, 0), (0, 1), (1, 1)]
                    .into_iter()
                    .any(|(up, back)| touched(row - up, column - back));
                if is_needed && self.measured(row, column).is_none() {
                    gaps.push((row, column));
                }
            }
        }
        gaps
    }

    /// Notes what is wrong with the net and with its numbers, which `is_odd` tells; what a number may be, and why one
    /// may not, stand in `allowed` and `cause`.
    pub(super) fn note_problems(
        &self,
        rim_mm: f64,
        is_odd: impl Fn(f64) -> bool,
        allowed: &str,
        cause: impl Fn(f64) -> &'static str,
        findings: &mut Findings,
    ) {
        let (rows, columns) = self.values.dim();
        if !(4..=MOST_PIXELS).contains(&rows) || !(4..=MOST_PIXELS).contains(&columns) {
            let wanted = format!("4 x 4 to 4096 x 4096 {}s, row by row", self.noun);
            let cause = "a list where a table is meant?";
            findings.fault(self.field, format!("{rows} x {columns}"), &wanted, cause);
            return;
        }
        let mut is_sound = findings.length("pixel_mm", self.pixel_mm);
        if self.rows_run.is_along_x() == self.columns_run.is_along_x() {
            let found = format!("{} beside rows_run = {}", self.columns_run.name(), self.rows_run.name());
            let allowed = "rows along one axis and columns along the other";
            findings.fault(
                "columns_run",
                found,
                allowed,
                "the direction in which the next column lies, not the next row",
            );
        }
        for (name, centre, count) in
            [("centre_row", self.centre_row, rows), ("centre_column", self.centre_column, columns)]
        {
            let allowed = format!("a place on the map: 0 to {}", count - 1);
            let inside = |v: f64| (0.0..=count as f64 - 1.0).contains(&v);
            is_sound &= findings.number(name, centre, inside, &allowed, "millimetres given for pixels?");
        }
        let odd = |h: &f64| !h.is_nan() && is_odd(*h);
        if let Some((at, value)) = self.values.indexed_iter().find(|(_, h)| odd(h)) {
            findings.fault(&format!("{}[{}][{}]", self.field, at.0, at.1), value, allowed, cause(*value));
            return;
        }
        if is_sound && rim_mm.is_finite() {
            self.note_gaps(rim_mm, findings);
        }
    }

    /// Notes where the map leaves the clear aperture uncovered.
    fn note_gaps(&self, rim_mm: f64, findings: &mut Findings) {
        let (rows, columns) = self.values.dim();
        let reach = rim_mm / self.pixel_mm;
        // A mirror of more pixels than the map has: nothing would be learned from listing those that miss.
        if reach > rows.min(columns) as f64 {
            findings.fault(
                "pixel_mm",
                self.pixel_mm,
                &format!("a map that covers the clear aperture, {reach:.1} pixels in radius, with {rows} x {columns}"),
                "the pixel's side on the mirror in mm: other units, or a map of another mirror?",
            );
            return;
        }
        let gaps = self.gaps(rim_mm);
        if gaps.is_empty() {
            return;
        }
        let deepest = gaps.iter().map(|&(i, j)| self.distance_pixels(i, j)).fold(f64::INFINITY, f64::min);
        let held_from = (1.0 - HELD_SHARE) * reach - HELD_PIXELS;
        if self.hold_edge == Some(true) && deepest >= held_from {
            findings.warning(
                self.field,
                format!("{} unmeasured pixels by the rim", gaps.len()),
                "a map that covers the clear aperture",
                &format!("each takes the {} of the nearest measured pixel, as hold_edge asks for", self.noun),
            );
            return;
        }
        let inside = gaps.iter().filter(|&&(i, j)| self.distance_pixels(i, j) <= reach).count();
        let share = 100.0 * inside as f64 / (std::f64::consts::PI * reach * reach);
        let found = format!(
            "{} pixels without a {} that the clear aperture needs ({inside} of them within it, {share:.2} % of its area; the deepest {:.2} mm inside its rim)",
            gaps.len(),
            self.noun,
            (reach - deepest) * self.pixel_mm,
        );
        let allowed = format!(
            "a {} in every pixel that touches the clear aperture, {:.3} mm in radius about row {}, column {}",
            self.noun, rim_mm, self.centre_row, self.centre_column,
        );
        let cause = match self.hold_edge {
            Some(_) if deepest >= held_from => {
                "an unmeasured rim: measure further out, or let hold_edge fill it with the nearest heights"
            }
            None if deepest >= held_from => "an unmeasured rim: the map must reach past the clear aperture",
            _ => "a hole in the map, another pixel_mm, or another centre?",
        };
        findings.fault(self.field, found, &allowed, cause);
    }

    /// Whether two maps are equal: the same numbers, missing in the same places.
    pub(super) fn equals(&self, other: &Self) -> bool {
        let plain =
            |m: &Self| (m.pixel_mm, m.rows_run, m.columns_run, m.centre_row, m.centre_column, m.hold_edge);
        let same = |(a, b): (&f64, &f64)| a - b == 0.0 || (a.is_nan() && b.is_nan());
        let numbers = || {
            self.values.dim() == other.values.dim() && self.values.iter().zip(other.values.iter()).all(same)
        };
        // Copies of a map share their numbers.
        plain(self) == plain(other) && (std::ptr::eq(self.values, other.values) || numbers())
    }
}

/// A table from the rows of a file, in which nothing stands where nothing was measured.
pub(super) fn table(rows: Vec<Vec<Option<f64>>>, field: &str, noun: &str) -> Result<Array2<f64>, String> {
    let (count, columns) = (rows.len(), rows.first().map_or(0, Vec::len));
    if let Some(odd) = rows.iter().position(|row| row.len() != columns) {
        let found = rows[odd].len();
        return Err(format!("{field}: row {odd} has {found} {noun}s, the first one {columns}"));
    }
    let values = rows.into_iter().flatten().map(|h| h.unwrap_or(f64::NAN)).collect();
    Array2::from_shape_vec((count, columns), values).map_err(|e| e.to_string())
}

/// Numbers row by row: JSON writes NaN as null, TOML as nan.
pub(super) fn as_rows<S: Serializer>(values: &Array2<f64>, to: S) -> Result<S::Ok, S::Error> {
    if values.iter().any(|h| h.is_infinite()) {
        return Err(serde::ser::Error::custom("an infinite number"));
    }
    to.collect_seq(values.rows().into_iter().map(|row| row.to_vec()))
}
