//! Maps of a coating: what each pixel of a picture of the mirror returns, or how thick its metal is.

use std::sync::Arc;

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::height_map::AxisDirection;
use super::metal_coat::{THICKNESS, THICKNESS_CAUSE, is_thickness};
use super::square_net::{SquareNet, as_rows, middle, table};
use crate::error::Findings;

/// Shares of the power that a mirror returns, on a net of square pixels: the coating as a picture shows it.
///
/// `rows_run` says in which direction on the mirror (seen from the sky) one goes from one row to the next,
/// `columns_run` the same for columns. Neither has a default: a mirrored map is an error that no number shows. A
/// picture seen from the sky whose first row is at the top has `rows_run` = `-y` and `columns_run` = `+x`.
///
/// Units: shares of the power; mm for a pixel's side.
/// Shapes: 4 x 4 to 4096 x 4096 shares, each that of its pixel's middle.
/// Errors: found by the train's check: shares above 0 and not above 1, and one in every cell of four neighbouring
/// pixels that the clear aperture touches; what lies beyond may be NaN. Holes are refused.
/// Method: bicubic splines ([`numeric::bicubic`](crate::numeric::bicubic)), held within the least and the greatest
/// share of the map, beyond which a spline swings beside a sharp edge.
/// Leaves out: what is finer than two pixels, which a picture does not show either; the phase (thin metal is a hollow
/// as well).
///
/// ```
/// use catoptric::{AxisDirection, Coating, FocalLengthMm, Primary, ReflectanceMap, Train};
/// let shares = ndarray::Array2::from_elem((41, 41), 0.88);
/// let map = ReflectanceMap::new(shares, 10.0, AxisDirection::MinusY, AxisDirection::PlusX);
/// let mirror = Primary::new(318.0, FocalLengthMm(1558.0)).coating(Coating::of_map(map));
/// assert!(Train::builder(mirror).build().is_ok());
/// ```
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(try_from = "ReflectanceMapInput")]
pub struct ReflectanceMap {
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
    /// Shares of the power, shared by all copies of the map.
    #[serde(serialize_with = "as_rows")]
    pub reflectance: Arc<Array2<f64>>,
}

impl ReflectanceMap {
    /// A map whose middle is the mirror's centre.
    ///
    /// ```
    /// use catoptric::{AxisDirection, ReflectanceMap};
    /// let net = ndarray::Array2::from_elem((40, 41), 0.9);
    /// let map = ReflectanceMap::new(net, 5.0, AxisDirection::PlusY, AxisDirection::PlusX);
    /// assert_eq!((map.centre_row, map.centre_column), (19.5, 20.0));
    /// ```
    pub fn new(
        reflectance: Array2<f64>,
        pixel_mm: f64,
        rows_run: AxisDirection,
        columns_run: AxisDirection,
    ) -> Self {
        let (rows, columns) = reflectance.dim();
        Self {
            pixel_mm,
            rows_run,
            columns_run,
            centre_row: middle(rows),
            centre_column: middle(columns),
            reflectance: Arc::new(reflectance),
        }
    }

    /// The same map with the mirror's centre at another place of the net.
    ///
    /// ```
    /// use catoptric::{AxisDirection, ReflectanceMap};
    /// let net = ndarray::Array2::from_elem((9, 9), 0.9);
    /// let map = ReflectanceMap::new(net, 5.0, AxisDirection::PlusY, AxisDirection::PlusX).centre(4.5, 3.0);
    /// assert_eq!(map.place_mm(0, 0), [-15.0, -22.5]);
    /// ```
    #[must_use]
    pub fn centre(self, row: f64, column: f64) -> Self {
        Self { centre_row: row, centre_column: column, ..self }
    }

    /// Where the middle of a pixel lies on the mirror: x and y, mm.
    ///
    /// ```
    /// use catoptric::{AxisDirection, ReflectanceMap};
    /// let net = ndarray::Array2::from_elem((9, 9), 0.9);
    /// let map = ReflectanceMap::new(net, 5.0, AxisDirection::MinusX, AxisDirection::PlusY);
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
            values: &self.reflectance,
            field: "reflectance",
            noun: "share",
            hold_edge: None,
        }
    }

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        let is_odd = |share: f64| !(share > 0.0 && share <= 1.0);
        let cause = |share: f64| if share > 1.0 { "per cent, or grey levels, given for shares?" } else { "" };
        self.net().note_problems(rim_mm, is_odd, "shares above 0 and not above 1", cause, findings);
    }
}

/// Maps are equal where their numbers are, and missing in the same places.
impl PartialEq for ReflectanceMap {
    fn eq(&self, other: &Self) -> bool {
        self.net().equals(&other.net())
    }
}

/// A map as files have it: a list of rows, and nothing where nothing was measured.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ReflectanceMapInput {
    pixel_mm: f64,
    rows_run: AxisDirection,
    columns_run: AxisDirection,
    #[serde(default)]
    centre_row: Option<f64>,
    #[serde(default)]
    centre_column: Option<f64>,
    reflectance: Vec<Vec<Option<f64>>>,
}

impl TryFrom<ReflectanceMapInput> for ReflectanceMap {
    type Error = String;

    fn try_from(input: ReflectanceMapInput) -> Result<Self, String> {
        let values = table(input.reflectance, "reflectance", "share")?;
        let map = Self::new(values, input.pixel_mm, input.rows_run, input.columns_run);
        let (row, column) =
            (input.centre_row.unwrap_or(map.centre_row), input.centre_column.unwrap_or(map.centre_column));
        Ok(map.centre(row, column))
    }
}

/// Thickness of the metal on a net of square pixels.
///
/// `rows_run` says in which direction on the mirror (seen from the sky) one goes from one row to the next,
/// `columns_run` the same for columns. Neither has a default: a mirrored map is an error that no number shows.
///
/// Units: nm of metal; mm for a pixel's side.
/// Shapes: 4 x 4 to 4096 x 4096 thicknesses, each that of its pixel's middle.
/// Errors: found by the train's check: 0 to 2000 nm, and one in every cell of four neighbouring pixels that the clear
/// aperture touches; what lies beyond may be NaN. Holes are refused.
/// Method: bicubic splines ([`numeric::bicubic`](crate::numeric::bicubic)), held within the least and the greatest
/// thickness of the map, beyond which a spline swings beside a sharp edge.
/// Leaves out: what is finer than two pixels.
///
/// ```
/// use catoptric::{AxisDirection, Metal, MetalCoat, MetalFilm, ThicknessMap};
/// let thickness_nm = ndarray::Array2::from_elem((41, 41), 80.0);
/// let map = ThicknessMap::new(thickness_nm, 10.0, AxisDirection::MinusY, AxisDirection::PlusX);
/// let coat = MetalCoat::new(MetalFilm::new(Metal::Aluminium, 80.0)).map(map);
/// assert!(coat.map.is_some());
/// ```
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(try_from = "ThicknessMapInput")]
pub struct ThicknessMap {
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
    /// Thicknesses, nm, shared by all copies of the map.
    #[serde(serialize_with = "as_rows")]
    pub thickness_nm: Arc<Array2<f64>>,
}

impl ThicknessMap {
    /// A map whose middle is the mirror's centre.
    ///
    /// ```
    /// use catoptric::{AxisDirection, ThicknessMap};
    /// let net = ndarray::Array2::from_elem((40, 41), 80.0);
    /// let map = ThicknessMap::new(net, 5.0, AxisDirection::PlusY, AxisDirection::PlusX);
    /// assert_eq!((map.centre_row, map.centre_column), (19.5, 20.0));
    /// ```
    pub fn new(
        thickness_nm: Array2<f64>,
        pixel_mm: f64,
        rows_run: AxisDirection,
        columns_run: AxisDirection,
    ) -> Self {
        let (rows, columns) = thickness_nm.dim();
        Self {
            pixel_mm,
            rows_run,
            columns_run,
            centre_row: middle(rows),
            centre_column: middle(columns),
            thickness_nm: Arc::new(thickness_nm),
        }
    }

    /// The same map with the mirror's centre at another place of the net.
    ///
    /// ```
    /// use catoptric::{AxisDirection, ThicknessMap};
    /// let net = ndarray::Array2::from_elem((9, 9), 80.0);
    /// let map = ThicknessMap::new(net, 5.0, AxisDirection::PlusY, AxisDirection::PlusX).centre(4.5, 3.0);
    /// assert_eq!(map.place_mm(0, 0), [-15.0, -22.5]);
    /// ```
    #[must_use]
    pub fn centre(self, row: f64, column: f64) -> Self {
        Self { centre_row: row, centre_column: column, ..self }
    }

    /// Where the middle of a pixel lies on the mirror: x and y, mm.
    ///
    /// ```
    /// use catoptric::{AxisDirection, ThicknessMap};
    /// let net = ndarray::Array2::from_elem((9, 9), 80.0);
    /// let map = ThicknessMap::new(net, 5.0, AxisDirection::MinusX, AxisDirection::PlusY);
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
            values: &self.thickness_nm,
            field: "thickness_nm",
            noun: "thickness",
            hold_edge: None,
        }
    }

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        let is_odd = |nm: f64| !is_thickness(nm);
        self.net().note_problems(rim_mm, is_odd, THICKNESS, |_| THICKNESS_CAUSE, findings);
    }
}

/// Maps are equal where their numbers are, and missing in the same places.
impl PartialEq for ThicknessMap {
    fn eq(&self, other: &Self) -> bool {
        self.net().equals(&other.net())
    }
}

/// A map as files have it: a list of rows, and nothing where nothing was measured.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ThicknessMapInput {
    pixel_mm: f64,
    rows_run: AxisDirection,
    columns_run: AxisDirection,
    #[serde(default)]
    centre_row: Option<f64>,
    #[serde(default)]
    centre_column: Option<f64>,
    thickness_nm: Vec<Vec<Option<f64>>>,
}

impl TryFrom<ThicknessMapInput> for ThicknessMap {
    type Error = String;

    fn try_from(input: ThicknessMapInput) -> Result<Self, String> {
        let values = table(input.thickness_nm, "thickness_nm", "thickness")?;
        let map = Self::new(values, input.pixel_mm, input.rows_run, input.columns_run);
        let (row, column) =
            (input.centre_row.unwrap_or(map.centre_row), input.centre_column.unwrap_or(map.centre_column));
        Ok(map.centre(row, column))
    }
}
