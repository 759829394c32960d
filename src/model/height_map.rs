//! A figure layer given by heights on a square net.

use std::sync::Arc;

use ndarray::Array2;
use serde::{Deserialize, Serialize, Serializer};

use super::figure::{HEIGHT, HEIGHT_CAUSE, TALLEST_NM};
use crate::error::Findings;

/// Rows or columns on a side: 4096 x 4096 heights are 128 MiB, and four times that when made ready.
const MOST_PIXELS: usize = 4096;
/// How far inward of the rim the edge may be held: a share of the rim's radius, and so many pixels more.
const HELD_SHARE: f64 = 0.03;
const HELD_PIXELS: f64 = 1.0;
/// A disc that leaves the net by less than this, in pixels, does not leave it.
const ROUNDING_PIXELS: f64 = 1e-6;

/// A direction on the mirror, seen from the sky: +x toward the focuser's side, +y a quarter turn from there.
///
/// ```
/// use catoptric::AxisDirection;
/// assert_eq!(AxisDirection::from_name("-y"), Some(AxisDirection::MinusY));
/// assert_eq!(AxisDirection::MinusY.unit(), [0.0, -1.0]);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum AxisDirection {
    /// Toward the focuser.
    #[serde(rename = "+x")]
    PlusX,
    /// Away from the focuser.
    #[serde(rename = "-x")]
    MinusX,
    /// Toward +y.
    #[serde(rename = "+y")]
    PlusY,
    /// Toward -y.
    #[serde(rename = "-y")]
    MinusY,
}

impl AxisDirection {
    /// The direction of a name: `+x`, `-x`, `+y` or `-y`.
    ///
    /// ```
    /// assert_eq!(catoptric::AxisDirection::from_name("up"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::PlusX, Self::MinusX, Self::PlusY, Self::MinusY].into_iter().find(|d| d.name() == name)
    }

    /// The direction's name in files.
    ///
    /// ```
    /// assert_eq!(catoptric::AxisDirection::PlusX.name(), "+x");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::PlusX => "+x",
            Self::MinusX => "-x",
            Self::PlusY => "+y",
            Self::MinusY => "-y",
        }
    }

    fn is_along_x(self) -> bool {
        matches!(self, Self::PlusX | Self::MinusX)
    }

    /// The unit vector.
    ///
    /// ```
    /// assert_eq!(catoptric::AxisDirection::MinusX.unit(), [-1.0, 0.0]);
    /// ```
    pub fn unit(self) -> [f64; 2] {
        match self {
            Self::PlusX => [1.0, 0.0],
            Self::MinusX => [-1.0, 0.0],
            Self::PlusY => [0.0, 1.0],
            Self::MinusY => [0.0, -1.0],
        }
    }
}

/// Heights of the glass on a net of square pixels.
///
/// `rows_run` says in which direction on the mirror (seen from the sky) one goes from one row to the next, `columns_run`
/// the same for columns. Neither has a default: a mirrored map is an error that no number shows. A picture seen from the
/// sky whose first row is at the top has `rows_run` = `-y` and `columns_run` = `+x`.
///
/// Units: nm of glass height (half of the wavefront), positive is a hill; mm for a pixel's side.
/// Shapes: 4 x 4 to 4096 x 4096 heights, each that of its pixel's middle; NaN where nothing was measured.
/// Errors: found by the train's check: every cell of four neighbouring pixels that the clear aperture touches must have
/// been measured. With `hold_edge` a rim of unmeasured pixels, not deeper than 3 % of the clear aperture's radius and one
/// pixel, takes the height of the nearest measured one (the mean of equally near ones); holes further inside are
/// always refused.
/// Method: bicubic splines ([`numeric::bicubic`](crate::numeric::bicubic)), so that heights and slopes are
/// continuous. Beyond the clear aperture the height is held.
/// Leaves out: ripples shorter than two pixels. A ripple n pixels long is drawn (2 pi/n)^4/384 of its amplitude wrong: 4e-4
/// for 10 pixels. A held rim is level in the direction in which it was held, so that a mirror's slope s mm/mm costs s
/// times the rim's width there. Piston and tilt are taken as they stand: both are harmless, since a wavefront has its
/// piston removed and a tilt only moves the image.
///
/// ```
/// use catoptric::{AxisDirection, FocalLengthMm, HeightMap, Primary, Train};
/// // Glass that rises by 2 nm for each mm toward the focuser: a tilt, which changes no star.
/// let heights = ndarray::Array2::from_shape_fn((21, 21), |(_, j)| 20.0 * j as f64);
/// let map = HeightMap::new(heights, 10.0, AxisDirection::MinusY, AxisDirection::PlusX);
/// assert_eq!((map.centre_row, map.place_mm(0, 20)), (10.0, [100.0, 100.0]));
/// assert!(Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).layer(map.clone())).build().is_ok());
/// assert!(Train::builder(Primary::new(220.0, FocalLengthMm(1200.0)).layer(map)).build().is_err());
/// ```
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(try_from = "HeightMapInput")]
pub struct HeightMap {
    /// Side of a pixel on the mirror, mm.
    pub pixel_mm: f64,
    /// Where the next row lies.
    pub rows_run: AxisDirection,
    /// Where the next column lies.
    pub columns_run: AxisDirection,
    /// The row, counted from 0, in which the mirror's centre lies; a fraction between two rows.
    pub centre_row: f64,
    /// The column in which the mirror's centre lies.
    pub centre_column: f64,
    /// Whether a narrow unmeasured rim takes the height of the nearest measured pixel.
    pub hold_edge: bool,
    /// Heights, nm, shared by all copies of the map; NaN where nothing was measured.
    #[serde(serialize_with = "as_rows")]
    pub height_nm: Arc<Array2<f64>>,
}

impl HeightMap {
    /// A map whose middle is the mirror's centre.
    ///
    /// ```
    /// use catoptric::{AxisDirection, HeightMap};
    /// let map = HeightMap::new(ndarray::Array2::zeros((40, 41)), 5.0, AxisDirection::PlusY, AxisDirection::PlusX);
    /// assert_eq!((map.centre_row, map.centre_column, map.hold_edge), (19.5, 20.0, false));
    /// ```
    pub fn new(
        height_nm: Array2<f64>,
        pixel_mm: f64,
        rows_run: AxisDirection,
        columns_run: AxisDirection,
    ) -> Self {
        let middle = |count: usize| (count as f64 - 1.0) / 2.0;
        let (rows, columns) = height_nm.dim();
        Self {
            pixel_mm,
            rows_run,
            columns_run,
            centre_row: middle(rows),
            centre_column: middle(columns),
            hold_edge: false,
            height_nm: Arc::new(height_nm),
        }
    }

    /// The same map with the mirror's centre at another place of the net.
    ///
    /// ```
    /// use catoptric::{AxisDirection, HeightMap};
    /// let map = HeightMap::new(ndarray::Array2::zeros((9, 9)), 5.0, AxisDirection::PlusY, AxisDirection::PlusX);
    /// assert_eq!(map.centre(4.5, 3.0).place_mm(0, 0), [-15.0, -22.5]);
    /// ```
    #[must_use]
    pub fn centre(self, row: f64, column: f64) -> Self {
        Self { centre_row: row, centre_column: column, ..self }
    }

    /// The same map, a narrow unmeasured rim of which is held.
    ///
    /// ```
    /// use catoptric::{AxisDirection, HeightMap};
    /// let map = HeightMap::new(ndarray::Array2::zeros((9, 9)), 5.0, AxisDirection::PlusY, AxisDirection::PlusX);
    /// assert!(map.hold_edge().hold_edge);
    /// ```
    #[must_use]
    pub fn hold_edge(self) -> Self {
        Self { hold_edge: true, ..self }
    }

    /// Where the middle of a pixel lies on the mirror: x and y, mm.
    ///
    /// ```
    /// use catoptric::{AxisDirection, HeightMap};
    /// let map = HeightMap::new(ndarray::Array2::zeros((9, 9)), 5.0, AxisDirection::MinusX, AxisDirection::PlusY);
    /// assert_eq!(map.place_mm(8, 4), [-20.0, 0.0]);
    /// ```
    pub fn place_mm(&self, row: usize, column: usize) -> [f64; 2] {
        let down = (row as f64 - self.centre_row) * self.pixel_mm;
        let across = (column as f64 - self.centre_column) * self.pixel_mm;
        let (rows, columns) = (self.rows_run.unit(), self.columns_run.unit());
        [0, 1].map(|i| down * rows[i] + across * columns[i])
    }

    /// The height of a pixel that may lie beyond the net, nm; none where nothing was measured.
    pub(crate) fn measured_nm(&self, row: i64, column: i64) -> Option<f64> {
        let at = (usize::try_from(row).ok()?, usize::try_from(column).ok()?);
        self.height_nm.get(at).copied().filter(|h| h.is_finite())
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
                if is_needed && self.measured_nm(row, column).is_none() {
                    gaps.push((row, column));
                }
            }
        }
        gaps
    }

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        let (rows, columns) = self.height_nm.dim();
        if !(4..=MOST_PIXELS).contains(&rows) || !(4..=MOST_PIXELS).contains(&columns) {
            let allowed = "4 x 4 to 4096 x 4096 heights, row by row";
            findings.fault(
                "height_nm",
                format!("{rows} x {columns}"),
                allowed,
                "a list where a table is meant?",
            );
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
        let odd = |h: &f64| !h.is_nan() && h.abs() > TALLEST_NM;
        if let Some((at, height)) = self.height_nm.indexed_iter().find(|(_, h)| odd(h)) {
            findings.fault(&format!("height_nm[{}][{}]", at.0, at.1), height, HEIGHT, HEIGHT_CAUSE);
            return;
        }
        if is_sound && rim_mm.is_finite() {
            self.note_gaps(rim_mm, findings);
        }
    }

    /// Notes where the map leaves the clear aperture uncovered.
    fn note_gaps(&self, rim_mm: f64, findings: &mut Findings) {
        let (rows, columns) = self.height_nm.dim();
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
        if self.hold_edge && deepest >= held_from {
            findings.warning(
                "height_nm",
                format!("{} unmeasured pixels by the rim", gaps.len()),
                "a map that covers the clear aperture",
                "each takes the height of the nearest measured pixel, as hold_edge asks for",
            );
            return;
        }
        let inside = gaps.iter().filter(|&&(i, j)| self.distance_pixels(i, j) <= reach).count();
        let share = 100.0 * inside as f64 / (std::f64::consts::PI * reach * reach);
        let found = format!(
            "{} pixels without a height that the clear aperture needs ({inside} of them within it, {share:.2} % of its area; the deepest {:.2} mm inside its rim)",
            gaps.len(),
            (reach - deepest) * self.pixel_mm,
        );
        let allowed = format!(
            "a height in every pixel that touches the clear aperture, {:.3} mm in radius about row {}, column {}",
            rim_mm, self.centre_row, self.centre_column,
        );
        let cause = if deepest >= held_from {
            "an unmeasured rim: measure further out, or let hold_edge fill it with the nearest heights"
        } else {
            "a hole in the map, another pixel_mm, or another centre?"
        };
        findings.fault("height_nm", found, &allowed, cause);
    }
}

/// Maps are equal where their heights are, and missing in the same places.
impl PartialEq for HeightMap {
    fn eq(&self, other: &Self) -> bool {
        let plain =
            |m: &Self| (m.pixel_mm, m.rows_run, m.columns_run, m.centre_row, m.centre_column, m.hold_edge);
        let same = |(a, b): (&f64, &f64)| a == b || (a.is_nan() && b.is_nan());
        plain(self) == plain(other)
            && self.height_nm.dim() == other.height_nm.dim()
            && self.height_nm.iter().zip(other.height_nm.iter()).all(same)
    }
}

/// A map as files have it: a list of rows, and nothing where nothing was measured.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct HeightMapInput {
    pixel_mm: f64,
    rows_run: AxisDirection,
    columns_run: AxisDirection,
    #[serde(default)]
    centre_row: Option<f64>,
    #[serde(default)]
    centre_column: Option<f64>,
    #[serde(default)]
    hold_edge: bool,
    height_nm: Vec<Vec<Option<f64>>>,
}

impl TryFrom<HeightMapInput> for HeightMap {
    type Error = String;

    fn try_from(input: HeightMapInput) -> Result<Self, String> {
        let (rows, columns) = (input.height_nm.len(), input.height_nm.first().map_or(0, Vec::len));
        if let Some(odd) = input.height_nm.iter().position(|row| row.len() != columns) {
            let found = input.height_nm[odd].len();
            return Err(format!("height_nm: row {odd} has {found} heights, the first one {columns}"));
        }
        let heights = input.height_nm.into_iter().flatten().map(|h| h.unwrap_or(f64::NAN)).collect();
        let heights = Array2::from_shape_vec((rows, columns), heights).map_err(|e| e.to_string())?;
        let map = Self::new(heights, input.pixel_mm, input.rows_run, input.columns_run);
        let (row, column) =
            (input.centre_row.unwrap_or(map.centre_row), input.centre_column.unwrap_or(map.centre_column));
        Ok(Self { hold_edge: input.hold_edge, ..map.centre(row, column) })
    }
}

/// Heights row by row: JSON writes NaN as null, TOML as nan.
fn as_rows<S: Serializer>(heights: &Array2<f64>, to: S) -> Result<S::Ok, S::Error> {
    if heights.iter().any(|h| h.is_infinite()) {
        return Err(serde::ser::Error::custom("an infinite height"));
    }
    to.collect_seq(heights.rows().into_iter().map(|row| row.to_vec()))
}
