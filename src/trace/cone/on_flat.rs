//! The light cone where the plane of the diagonal cuts it: an ellipse, exactly, and what the usual rules say of it.

use std::f64::consts::SQRT_2;

use serde::{Deserialize, Serialize};

use super::{DiagonalFit, Envelope, check_cone};
use crate::error::{Error, Result};
use crate::model::Primary;

/// A rule of thumb about the diagonal.
///
/// D is the clear aperture, f the focal length, F their ratio, L the distance from the tube's axis to the focal plane,
/// i the diameter of the fully lit circle, a the minor axis. Source of all: common practice, no source.
///
/// ```
/// use catoptric::ConeRule;
/// assert_eq!(ConeRule::AxisConeOverFocalRatio.formula(), "L/F");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ConeRule {
    /// Minor axis for the axis alone, L/F: cut square instead of at 45 degrees, the rim taken at the vertex.
    AxisConeOverFocalRatio,
    /// Minor axis i + L (D - i)/f: similar triangles, with the same two neglects.
    SimilarTriangles,
    /// Minor axis L/F + i: the cone of the axis and the lit circle added, which is too much.
    ConePlusField,
    /// Minor axis as the cone's own diameter where it crosses the axis: right but for the cut at 45 degrees.
    CrossingDiameter,
    /// Offset a/(4F): the slope of the axis cone for that of the cone to the lit circle.
    OffsetOverFocalRatio,
    /// Offset a (D - a)/(4 (f - L)): the slope from the flat's rim to the mirror's, the sagitta neglected.
    OffsetFromRims,
}

impl ConeRule {
    /// All rules, those for the minor axis first.
    pub const ALL: [Self; 6] = [
        Self::AxisConeOverFocalRatio,
        Self::SimilarTriangles,
        Self::ConePlusField,
        Self::CrossingDiameter,
        Self::OffsetOverFocalRatio,
        Self::OffsetFromRims,
    ];

    /// The rule as it is written.
    pub fn formula(self) -> &'static str {
        match self {
            Self::AxisConeOverFocalRatio => "L/F",
            Self::SimilarTriangles => "i + L (D - i)/f",
            Self::ConePlusField => "L/F + i",
            Self::CrossingDiameter => "i + L (D - i)/(f - sagitta)",
            Self::OffsetOverFocalRatio => "a/(4F)",
            Self::OffsetFromRims => "a (D - a)/(4 (f - L))",
        }
    }

    /// What the rule gives: `"minor axis"` or `"offset"`.
    pub fn quantity(self) -> &'static str {
        match self {
            Self::OffsetOverFocalRatio | Self::OffsetFromRims => "offset",
            _ => "minor axis",
        }
    }
}

/// What a rule of thumb says, beside the exact value.
///
/// Units: mm and per cent; an error is the rule's value less the exact one.
///
/// ```
/// use catoptric::{ConeRule, FocalLengthMm, Primary, cone_on_flat};
/// let cone = cone_on_flat(&Primary::new(318.0, FocalLengthMm(1558.0)), 235.0, 0.0)?;
/// let rule = cone.rules.iter().find(|r| r.rule == ConeRule::AxisConeOverFocalRatio).expect("it is there");
/// assert!(rule.error_percent < -1.2 && rule.error_percent > -1.4, "L/F is too small");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RuleError {
    /// The rule.
    pub rule: ConeRule,
    /// What it says, mm.
    pub approximate_mm: f64,
    /// What is right, mm.
    pub exact_mm: f64,
    /// The rule's value less the right one, mm.
    pub error_mm: f64,
    /// The same in per cent of the right one; 0 where that is 0.
    pub error_percent: f64,
}

/// The cone of light to a fully lit circle, cut by the plane of the diagonal.
///
/// The cut is an ellipse, longer than a flat of axis ratio sqrt 2 is and moved toward the primary. `x` counts from the
/// tube's axis toward the focuser; seen along the tube the face's points keep their x.
///
/// Units: mm; slopes and ratios have none.
/// Source: own derivation. With r = i/2 + k L the cone x^2 + y^2 = (r - k x)^2 on the plane z = f - L + x is
/// (1 - k^2)(x + r k/(1 - k^2))^2 + y^2 = r^2/(1 - k^2); every point of it lies r - k x from the axis, so the circle
/// about (-o, 0) that holds it all has the radius max(r/(1 + k) + o, r/(1 - k) - o). Checked with mpmath
/// (tests/data/make_cone.py).
/// Leaves out: what a conic other than the paraboloid and a figure change, micrometres.
///
/// ```
/// use catoptric::{FocalLengthMm, Primary, cone_on_flat};
/// let cone = cone_on_flat(&Primary::new(318.0, FocalLengthMm(1558.0)), 235.0, 15.0)?;
/// assert!(cone.axis_ratio > 2_f64.sqrt() && cone.primary_end_mm.abs() > cone.sky_end_mm);
/// assert!(cone.unoffset_minor_axis_mm > cone.smallest.minor_axis_mm);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConeOnFlat {
    /// From the tube's axis to the focal plane, mm.
    pub axis_to_focus_mm: f64,
    /// Diameter of the fully lit circle, mm.
    pub fully_lit_diameter_mm: f64,
    /// Height of the mirror's rim over its vertex, mm.
    pub rim_sagitta_mm: f64,
    /// What the cone's radius gains for each millimetre away from the focal plane.
    pub slope: f64,
    /// The cone's diameter where it crosses the tube's axis, mm.
    pub crossing_diameter_mm: f64,
    /// Half the ellipse's long axis, in the face, mm.
    pub half_long_axis_mm: f64,
    /// Half the ellipse's short axis, mm.
    pub half_short_axis_mm: f64,
    /// Long axis over short axis.
    pub axis_ratio: f64,
    /// How far the ellipse's centre lies toward the primary and equally away from the focuser, mm.
    pub centre_offset_mm: f64,
    /// The same measured in the face, mm: sqrt 2 times that.
    pub centre_in_face_mm: f64,
    /// x of the ellipse's end toward the sky, mm.
    pub sky_end_mm: f64,
    /// x of the ellipse's end toward the primary, mm: negative.
    pub primary_end_mm: f64,
    /// The smallest flat, with its offset.
    pub smallest: DiagonalFit,
    /// Minor axis of the smallest flat without offset, mm: it must reach the end toward the primary. That of the
    /// smallest flat and twice its offset make it up.
    pub unoffset_minor_axis_mm: f64,
    /// What the usual rules say instead.
    pub rules: Vec<RuleError>,
}

/// What a flat leaves free around the cone: negative where it is too small.
///
/// Units: mm, seen along the tube; sqrt 2 times that in the face toward its two ends.
///
/// ```
/// use catoptric::{FocalLengthMm, Primary, cone_on_flat};
/// let cone = cone_on_flat(&Primary::new(318.0, FocalLengthMm(1558.0)), 235.0, 15.0)?;
/// let room = cone.clearance(70.0, None)?;
/// assert!((room.sky_end_mm - room.primary_end_mm).abs() < 1e-3 * room.sky_end_mm + 0.1 && room.holds_cone());
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConeClearance {
    /// The flat's minor axis, mm.
    pub minor_axis_mm: f64,
    /// Its offset, mm.
    pub offset_mm: f64,
    /// Beyond the cone's end toward the sky, mm.
    pub sky_end_mm: f64,
    /// Beyond the cone's end toward the primary, mm.
    pub primary_end_mm: f64,
    /// On each side, where the cone is widest, mm.
    pub across_mm: f64,
}

impl ConeClearance {
    /// The least of all, mm: how wide a ring of the flat stays unused all round.
    ///
    /// The cone's rim comes nearest to the flat's at one of its two ends.
    pub fn smallest_mm(&self) -> f64 {
        self.sky_end_mm.min(self.primary_end_mm)
    }

    /// Whether all of the cone falls on the flat.
    pub fn holds_cone(&self) -> bool {
        self.smallest_mm() >= 0.0
    }
}

impl ConeOnFlat {
    /// The smallest minor axis, mm, of a flat that stands at this offset.
    ///
    /// Units: mm. Errors: [`Error::Input`] for an offset that is no number or beyond the cone.
    /// Source: the flat's circle about (-o, 0) must hold both ends; the distance squared of the cone's points from
    /// there is a quadratic in x that opens upward, so no point between them lies further out.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary, cone_on_flat};
    /// let cone = cone_on_flat(&Primary::new(318.0, FocalLengthMm(1558.0)), 235.0, 15.0)?;
    /// let fit = cone.smallest;
    /// assert!((cone.minor_axis_at_offset_mm(fit.offset_mm)? - fit.minor_axis_mm).abs() < 1e-9);
    /// assert!((cone.minor_axis_at_offset_mm(0.0)? - cone.unoffset_minor_axis_mm).abs() < 1e-9);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn minor_axis_at_offset_mm(&self, offset_mm: f64) -> Result<f64> {
        let far_mm = self.crossing_diameter_mm;
        check_offset(offset_mm, far_mm)?;
        Ok(2.0 * (self.sky_end_mm + offset_mm).max(-self.primary_end_mm - offset_mm))
    }

    /// What a flat of this size leaves free around the cone; the offset, not given, is that of the ellipse's centre.
    ///
    /// Units: mm. Errors: [`Error::Input`] for a minor axis that is not above 0, or an offset beyond half of it.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary, cone_on_flat};
    /// let cone = cone_on_flat(&Primary::new(318.0, FocalLengthMm(1558.0)), 235.0, 0.0)?;
    /// assert!(!cone.clearance(40.0, None)?.holds_cone());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn clearance(&self, minor_axis_mm: f64, offset_mm: Option<f64>) -> Result<ConeClearance> {
        if !(minor_axis_mm > 0.0 && minor_axis_mm <= 1e6) {
            return Err(Error::input("minor_axis_mm", minor_axis_mm, "a length above 0", "a sign?"));
        }
        let radius_mm = minor_axis_mm / 2.0;
        let offset_mm = offset_mm.unwrap_or(self.centre_offset_mm);
        check_offset(offset_mm, radius_mm)?;
        // Half the flat's width where the cone is widest; beyond its end there is none.
        let beside_mm = offset_mm - self.centre_offset_mm;
        let half_width_mm = (radius_mm * radius_mm - beside_mm * beside_mm).max(0.0).sqrt();
        Ok(ConeClearance {
            minor_axis_mm,
            offset_mm,
            sky_end_mm: radius_mm - offset_mm - self.sky_end_mm,
            primary_end_mm: radius_mm + offset_mm + self.primary_end_mm,
            across_mm: half_width_mm - self.half_short_axis_mm,
        })
    }
}

fn check_offset(offset_mm: f64, most_mm: f64) -> Result<()> {
    if offset_mm.abs() <= most_mm {
        return Ok(());
    }
    Err(Error::input(
        "offset_mm",
        offset_mm,
        format!("within {most_mm:.1} mm on either side"),
        "the offset counts toward the primary, not along the face",
    ))
}

/// The light cone on the plane of the diagonal: its ellipse, the smallest flats, and how much the usual rules err.
///
/// Units: mm. A lit diameter of 0 asks for the axis alone.
/// Errors: those of [`crate::smallest_diagonal`].
/// Source: see [`ConeOnFlat`].
///
/// ```
/// use catoptric::{FocalLengthMm, Primary, cone_on_flat, inches};
/// let mirror = Primary::new(inches(8.0), FocalLengthMm(inches(48.0)));
/// let cone = cone_on_flat(&mirror, inches(6.3), inches(0.43))?;
/// assert!((cone.smallest.offset_mm - inches(0.056_646_22)).abs() < inches(1e-7)); // Dakin 1962
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn cone_on_flat(
    primary: &Primary,
    axis_to_focus_mm: f64,
    fully_lit_diameter_mm: f64,
) -> Result<ConeOnFlat> {
    check_cone(primary, axis_to_focus_mm, fully_lit_diameter_mm)?;
    let envelope = Envelope::new(primary, axis_to_focus_mm);
    let k = envelope.slope(fully_lit_diameter_mm);
    let radius_mm = fully_lit_diameter_mm / 2.0 + k * axis_to_focus_mm;
    let shrink = (1.0 - k) * (1.0 + k);
    let smallest = envelope.diagonal(fully_lit_diameter_mm);
    let (half_long_axis_mm, half_short_axis_mm) = (SQRT_2 * radius_mm / shrink, radius_mm / shrink.sqrt());
    let (aperture, focal) = (primary.clear_aperture_mm, primary.focal_length_mm);
    let (ratio, minor) = (focal / aperture, smallest.minor_axis_mm);
    let rules = ConeRule::ALL.map(|rule| {
        let (approximate_mm, exact_mm) = match rule {
            ConeRule::AxisConeOverFocalRatio => {
                (axis_to_focus_mm / ratio, envelope.diagonal(0.0).minor_axis_mm)
            }
            ConeRule::SimilarTriangles => {
                let lit = fully_lit_diameter_mm;
                (lit + axis_to_focus_mm * (aperture - lit) / focal, minor)
            }
            ConeRule::ConePlusField => (axis_to_focus_mm / ratio + fully_lit_diameter_mm, minor),
            ConeRule::CrossingDiameter => (2.0 * radius_mm, minor),
            ConeRule::OffsetOverFocalRatio => (minor / (4.0 * ratio), smallest.offset_mm),
            ConeRule::OffsetFromRims => {
                (minor * (aperture - minor) / (4.0 * (focal - axis_to_focus_mm)), smallest.offset_mm)
            }
        };
        let error_mm = approximate_mm - exact_mm;
        let error_percent = if exact_mm == 0.0 { 0.0 } else { 100.0 * error_mm / exact_mm };
        RuleError { rule, approximate_mm, exact_mm, error_mm, error_percent }
    });
    Ok(ConeOnFlat {
        axis_to_focus_mm,
        fully_lit_diameter_mm,
        rim_sagitta_mm: focal - envelope.rim_to_focus_mm,
        slope: k,
        crossing_diameter_mm: 2.0 * radius_mm,
        half_long_axis_mm,
        half_short_axis_mm,
        axis_ratio: half_long_axis_mm / half_short_axis_mm,
        centre_offset_mm: smallest.offset_mm,
        centre_in_face_mm: SQRT_2 * smallest.offset_mm,
        sky_end_mm: radius_mm / (1.0 + k),
        primary_end_mm: -radius_mm / (1.0 - k),
        smallest,
        unoffset_minor_axis_mm: 2.0 * radius_mm / (1.0 - k),
        rules: rules.to_vec(),
    })
}
