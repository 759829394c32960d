//! What one knife-edge reading is: the mean over an opening of the mask, and the bench it is taken on.

use serde::{Deserialize, Serialize};

use crate::units::RadiusOfCurvatureMm;

/// Whether the light source moves with the knife.
///
/// There is no default: the readings of a moving source are half of those of a fixed one.
///
/// ```
/// assert_eq!(catoptric::TestSource::from_name("moving"), Some(catoptric::TestSource::Moving));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TestSource {
    /// Source and knife move together.
    Moving,
    /// The source stays at the centre of curvature; the knife alone moves.
    Fixed,
}

impl TestSource {
    /// The source of a name: `moving` or `fixed`.
    ///
    /// ```
    /// assert_eq!(catoptric::TestSource::from_name("both"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "moving" => Some(Self::Moving),
            "fixed" => Some(Self::Fixed),
            _ => None,
        }
    }

    /// The source's name.
    ///
    /// ```
    /// assert_eq!(catoptric::TestSource::Fixed.name(), "fixed");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::Moving => "moving",
            Self::Fixed => "fixed",
        }
    }

    /// How much longer a reading is than with a moving source.
    pub(crate) fn gain(self) -> f64 {
        match self {
            Self::Moving => 1.0,
            Self::Fixed => 2.0,
        }
    }
}

/// Which way the stage's scale counts. There is no default.
///
/// ```
/// use catoptric::ReadingsIncrease;
/// assert_eq!(ReadingsIncrease::from_name("away_from_mirror"), Some(ReadingsIncrease::AwayFromMirror));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ReadingsIncrease {
    /// A larger reading lies further from the mirror.
    AwayFromMirror,
    /// A larger reading lies nearer to the mirror.
    TowardMirror,
}

impl ReadingsIncrease {
    /// The direction of a name: `away_from_mirror` or `toward_mirror`.
    ///
    /// ```
    /// assert_eq!(catoptric::ReadingsIncrease::from_name("up"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "away_from_mirror" => Some(Self::AwayFromMirror),
            "toward_mirror" => Some(Self::TowardMirror),
            _ => None,
        }
    }

    /// The direction's name.
    ///
    /// ```
    /// assert_eq!(catoptric::ReadingsIncrease::TowardMirror.name(), "toward_mirror");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::AwayFromMirror => "away_from_mirror",
            Self::TowardMirror => "toward_mirror",
        }
    }

    pub(crate) fn sign(self) -> f64 {
        match self {
            Self::AwayFromMirror => 1.0,
            Self::TowardMirror => -1.0,
        }
    }
}

/// One opening of the test mask, or a pair of pins: the ring of the mirror that a reading belongs to.
///
/// Units: mm from the mirror's centre. Equal radii stand for a reading at one radius.
///
/// ```
/// let opening = catoptric::MaskOpening { inner_radius_mm: 30.0, outer_radius_mm: 40.0 };
/// assert!((opening.area_radius_mm() - 35.355_339).abs() < 1e-6);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaskOpening {
    /// Inner radius, mm.
    pub inner_radius_mm: f64,
    /// Outer radius, mm.
    pub outer_radius_mm: f64,
}

impl MaskOpening {
    /// The radius that halves the opening's area, mm: that to which a reading belongs.
    pub fn area_radius_mm(&self) -> f64 {
        self.mean_square_mm2().sqrt()
    }

    /// Half way between the rims, mm.
    pub(crate) fn middle_mm(&self) -> f64 {
        f64::midpoint(self.inner_radius_mm, self.outer_radius_mm)
    }

    /// The difference of the rims' squares, mm^2.
    pub(crate) fn square_mm2(&self) -> f64 {
        self.outer_radius_mm.powi(2) - self.inner_radius_mm.powi(2)
    }

    pub(crate) fn mean_square_mm2(&self) -> f64 {
        f64::midpoint(self.inner_radius_mm.powi(2), self.outer_radius_mm.powi(2))
    }

    /// The reading of a perfect paraboloid, counted from that of its centre, mm away from the mirror.
    ///
    /// Units: mm.
    /// Source: the normal of a paraboloid at radius r meets the axis r^2/(2R) beyond the centre of curvature; light
    /// from a fixed source at R crosses it at r^2/R + r^4/(2R^3). Both exact (from the geometry of the
    /// parabola), here averaged over the opening's area.
    ///
    /// ```
    /// use catoptric::{MaskOpening, RadiusOfCurvatureMm, TestSource};
    /// let opening = MaskOpening { inner_radius_mm: 100.0, outer_radius_mm: 100.0 };
    /// assert_eq!(opening.ideal_reading_mm(TestSource::Moving, RadiusOfCurvatureMm(2000.0)), 2.5);
    /// assert_eq!(opening.ideal_reading_mm(TestSource::Fixed, RadiusOfCurvatureMm(2000.0)), 5.00625);
    /// ```
    pub fn ideal_reading_mm(&self, source: TestSource, radius_of_curvature: RadiusOfCurvatureMm) -> f64 {
        let r = radius_of_curvature.0;
        let first = source.gain() * self.mean_square_mm2() / (2.0 * r);
        let (a, b) = (self.inner_radius_mm.powi(2), self.outer_radius_mm.powi(2));
        match source {
            TestSource::Moving => first,
            TestSource::Fixed => first + (a * a + a * b + b * b) / (6.0 * r.powi(3)),
        }
    }
}
