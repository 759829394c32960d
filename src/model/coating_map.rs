//! Maps of a coating: what each pixel of a picture of the mirror returns, or how thick its metal is.

use std::sync::Arc;

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::height_map::AxisDirection;
use super::metal_coat::{THICKNESS, THICKNESS_CAUSE, is_thickness};
use super::square_net::{SquareNet, as_rows, middle, square_map, table};
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

square_map!(ReflectanceMap, ReflectanceMapInput, reflectance: "share");

impl ReflectanceMap {
    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        let is_odd = |share: f64| !(share > 0.0 && share <= 1.0);
        let cause = |share: f64| if share > 1.0 { "per cent, or grey levels, given for shares?" } else { "" };
        self.net().note_problems(rim_mm, is_odd, "shares above 0 and not above 1", cause, findings);
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

square_map!(ThicknessMap, ThicknessMapInput, thickness_nm: "thickness");

impl ThicknessMap {
    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        let is_odd = |nm: f64| !is_thickness(nm);
        self.net().note_problems(rim_mm, is_odd, THICKNESS, |_| THICKNESS_CAUSE, findings);
    }
}
