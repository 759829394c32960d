//! Units: constants, conversions, and the few newtypes that guard a silent factor of two.
//!
//! Lengths are millimetres, glass heights, wavefronts and wavelengths nanometres, spot sizes
//! micrometres, field angles and tilts arcminutes. The name of a quantity says which.

use serde::{Deserialize, Serialize};

/// The wavelength used when none is given, nm: green, near the eye's peak.
pub const DEFAULT_WAVELENGTH_NM: f64 = 550.0;

/// Nanometres in a millimetre.
pub const NM_PER_MM: f64 = 1.0e6;

/// Micrometres in a millimetre.
pub const UM_PER_MM: f64 = 1.0e3;

/// Radians in an arcminute.
pub const RADIANS_PER_ARCMIN: f64 = std::f64::consts::PI / 10_800.0;

/// Arcseconds in a radian.
pub const ARCSEC_PER_RADIAN: f64 = 648_000.0 / std::f64::consts::PI;

/// Millimetres in `value` inches.
///
/// Units: inches in, millimetres out; the inch is 25.4 mm exactly (international inch of 1959).
///
/// ```
/// assert_eq!(catoptric::inches(12.5), 317.5);
/// ```
pub fn inches(value: f64) -> f64 {
    value * 25.4
}

/// The focal length of a mirror, mm: half its radius of curvature at the vertex.
///
/// ```
/// use catoptric::{FocalLengthMm, RadiusOfCurvatureMm};
/// assert_eq!(FocalLengthMm::from(RadiusOfCurvatureMm(3116.0)), FocalLengthMm(1558.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FocalLengthMm(pub f64);

/// The radius of curvature of a mirror at its vertex, mm: twice its focal length.
///
/// ```
/// use catoptric::{FocalLengthMm, RadiusOfCurvatureMm};
/// assert_eq!(RadiusOfCurvatureMm::from(FocalLengthMm(1558.0)), RadiusOfCurvatureMm(3116.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct RadiusOfCurvatureMm(pub f64);

impl From<RadiusOfCurvatureMm> for FocalLengthMm {
    fn from(radius: RadiusOfCurvatureMm) -> Self {
        Self(radius.0 / 2.0)
    }
}

impl From<FocalLengthMm> for RadiusOfCurvatureMm {
    fn from(focal: FocalLengthMm) -> Self {
        Self(focal.0 * 2.0)
    }
}

/// Where a star stands, arcminutes from the axis of the tube.
///
/// `x_arcmin` is positive toward the focuser's side, `y_arcmin` completes a right-handed set
/// with +z toward the sky. The two are the angles whose tangents are the slopes of the
/// direction to the star, (tan x, tan y, 1).
///
/// ```
/// let field = catoptric::Field::arcmin(10.0, 0.0);
/// assert!(field.towards()[0] > 0.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Field {
    /// Angle toward the focuser's side, arcmin.
    pub x_arcmin: f64,
    /// Angle across, arcmin.
    pub y_arcmin: f64,
}

impl Field {
    /// The centre of the field.
    pub const AXIS: Self = Self { x_arcmin: 0.0, y_arcmin: 0.0 };

    /// A field point from its two angles in arcminutes.
    ///
    /// ```
    /// assert_eq!(catoptric::Field::arcmin(0.0, 0.0), catoptric::Field::AXIS);
    /// ```
    pub const fn arcmin(x_arcmin: f64, y_arcmin: f64) -> Self {
        Self { x_arcmin, y_arcmin }
    }

    /// Unit vector from the telescope toward the star.
    ///
    /// ```
    /// assert_eq!(catoptric::Field::AXIS.towards(), [0.0, 0.0, 1.0]);
    /// ```
    pub fn towards(self) -> [f64; 3] {
        let [x, y] = self.tangents();
        let length = (1.0 + x * x + y * y).sqrt();
        [x / length, y / length, 1.0 / length]
    }

    /// The tangents of the two angles: the star's image lies at minus these times the focal length.
    ///
    /// ```
    /// assert_eq!(catoptric::Field::AXIS.tangents(), [0.0, 0.0]);
    /// ```
    pub fn tangents(self) -> [f64; 2] {
        [(self.x_arcmin * RADIANS_PER_ARCMIN).tan(), (self.y_arcmin * RADIANS_PER_ARCMIN).tan()]
    }
}
