//! A figure layer given by heights on a square net.

use std::sync::Arc;

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::figure::{HEIGHT, HEIGHT_CAUSE, TALLEST_NM};
use super::square_net::{SquareNet, as_rows, middle, square_map, table};
use crate::error::Findings;

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

    pub(crate) fn is_along_x(self) -> bool {
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

square_map!(HeightMap, HeightMapInput, height_nm: "height", hold_edge);

impl HeightMap {
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

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        let is_odd = |height: f64| height.abs() > TALLEST_NM;
        self.net().note_problems(rim_mm, is_odd, HEIGHT, |_| HEIGHT_CAUSE, findings);
    }
}
