//! Edges and hills of further shapes: a roll-off without a start, a sharp step, a hill in the centre.

use serde::{Deserialize, Serialize};

use super::figure::{HEIGHT, HEIGHT_CAUSE, TALLEST_NM};
use crate::error::Findings;

/// The longest reach of a roll-off, as a share of half the clear aperture: beyond, it is no edge but a figure.
const LONGEST_REACH: f64 = 0.25;

/// An edge that falls off without a start: each `reach_mm` nearer to the rim it is e times as deep.
///
/// Height h = -drop exp(-(D/2 - r)/reach), where D is the clear aperture; a negative drop is a raised edge. The layer
/// stays tied to the clear aperture when a mask stops the mirror down.
///
/// Units: mm and nm of glass height.
/// Errors: found by the train's check (reach from 0.001 mm to an eighth of the clear aperture).
/// Source: common practice, no source.
/// Leaves out: nothing of the formula; at the centre it ends in a cone of slope drop/reach exp(-D/(2 reach)), 0.018
/// of drop/reach for the longest reach.
///
/// ```
/// use catoptric::{FocalLengthMm, Primary, Train, EdgeRollOff};
/// let mirror = Primary::new(318.0, FocalLengthMm(1558.0)).layer(EdgeRollOff::new(3.0, 400.0));
/// assert!(Train::builder(mirror).build().is_ok());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgeRollOff {
    /// Distance along the radius over which the depth changes by a factor e, mm.
    pub reach_mm: f64,
    /// How much too low the glass is at the rim, nm; negative for a raised edge.
    pub drop_nm: f64,
}

impl EdgeRollOff {
    /// A roll-off from its two numbers.
    ///
    /// ```
    /// assert_eq!(catoptric::EdgeRollOff::new(3.0, 400.0).reach_mm, 3.0);
    /// ```
    pub fn new(reach_mm: f64, drop_nm: f64) -> Self {
        Self { reach_mm, drop_nm }
    }

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        findings.number(
            "reach_mm",
            self.reach_mm,
            |v| v >= 1e-3 && v <= LONGEST_REACH * rim_mm,
            "a reach above 0 (0.001 mm or more), at most an eighth of the clear aperture",
            "diameter given for reach, or other units?",
        );
        findings.number("drop_nm", self.drop_nm, |v| v.abs() <= TALLEST_NM, HEIGHT, HEIGHT_CAUSE);
    }
}

/// A sharp step down (or up): a ring at the rim that lies lower than the rest, level on both sides.
///
/// Height h = -drop beyond D/2 - width, where D is the clear aperture; a negative drop is a raised ring. The layer stays
/// tied to the clear aperture when a mask stops the mirror down.
///
/// Units: mm and nm of glass height.
/// Errors: found by the train's check (width from 0.001 mm to half the clear aperture).
/// Source: Strehl of a ring over a share p of the light, 1 - 4 p (1 - p) sin^2(2 pi drop/lambda) (elementary).
/// Leaves out: the slope of the step itself. Rays, spots and the readings of a knife edge see level glass on both sides
/// and nothing of the step; waves (Strehl, star images, contrast, pictures by diffraction) see all of it.
///
/// ```
/// use catoptric::{EdgeStep, Field, Focus, FocalLengthMm, Prepared, Primary, Train};
/// let mirror = Primary::new(200.0, FocalLengthMm(4000.0)).layer(EdgeStep::new(5.0, 60.0));
/// let mirror = Prepared::new(&Train::builder(mirror).build()?);
/// let strehl = mirror.wavefront(Field::AXIS, Focus::ShiftMm(0.0), 550.0)?.strehl;
/// let share = 1.0 - 0.95_f64.powi(2);
/// let lost = 4.0 * share * (1.0 - share) * (std::f64::consts::TAU * 60.0 / 550.0).sin().powi(2);
/// assert!((strehl - (1.0 - lost)).abs() < 1e-4);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgeStep {
    /// Width of the low ring, inward from the clear aperture's rim, mm.
    pub width_mm: f64,
    /// How much too low the glass is there, nm; negative for a raised ring.
    pub drop_nm: f64,
}

impl EdgeStep {
    /// A step from its two numbers.
    ///
    /// ```
    /// assert_eq!(catoptric::EdgeStep::new(5.0, 60.0).drop_nm, 60.0);
    /// ```
    pub fn new(width_mm: f64, drop_nm: f64) -> Self {
        Self { width_mm, drop_nm }
    }

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        findings.number(
            "width_mm",
            self.width_mm,
            |v| v >= 1e-3 && v <= rim_mm,
            "a width above 0 (0.001 mm or more) and not beyond half the clear aperture",
            "diameter given for width, or other units?",
        );
        findings.number("drop_nm", self.drop_nm, |v| v.abs() <= TALLEST_NM, HEIGHT, HEIGHT_CAUSE);
    }
}

/// A hill in the centre, or with a negative height a hole, that ends at a stated radius.
///
/// Height h = height (1 - r/radius)^power inside the radius, nothing beyond. Its middle is a tip; a smooth one is a
/// [`crate::Zone`] of radius 0.
///
/// Units: mm and nm of glass height.
/// Errors: found by the train's check (radius above 0 and within half the clear aperture, power at least 1).
/// Source: common practice, no source.
///
/// ```
/// let hole = catoptric::CentralHill::new(30.0, -80.0).power(3.0);
/// assert_eq!((hole.height_nm, hole.power), (-80.0, 3.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CentralHill {
    /// Where the hill ends, mm.
    pub radius_mm: f64,
    /// Height in the middle, nm; negative for a hole.
    pub height_nm: f64,
    /// The exponent; 2 unless given.
    #[serde(default = "CentralHill::default_power")]
    pub power: f64,
}

impl CentralHill {
    /// A hill whose height falls as the square of the distance from where it ends.
    ///
    /// ```
    /// assert_eq!(catoptric::CentralHill::new(30.0, 80.0).power, 2.0);
    /// ```
    pub fn new(radius_mm: f64, height_nm: f64) -> Self {
        Self { radius_mm, height_nm, power: Self::default_power() }
    }

    /// The same hill with another exponent.
    ///
    /// ```
    /// assert_eq!(catoptric::CentralHill::new(30.0, 80.0).power(1.0).power, 1.0);
    /// ```
    #[must_use]
    pub fn power(self, power: f64) -> Self {
        Self { power, ..self }
    }

    fn default_power() -> f64 {
        2.0
    }

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        findings.number(
            "radius_mm",
            self.radius_mm,
            |v| v >= 1e-3 && v <= rim_mm,
            "a radius above 0 (0.001 mm or more) and not beyond half the clear aperture",
            "diameter given for radius, or other units?",
        );
        findings.number("height_nm", self.height_nm, |v| v.abs() <= TALLEST_NM, HEIGHT, HEIGHT_CAUSE);
        findings.number("power", self.power, |v| (1.0..=50.0).contains(&v), "an exponent from 1 to 50", "");
    }
}
