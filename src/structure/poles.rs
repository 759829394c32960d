//! The poles that carry the upper end: how their length goes with its height.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Findings, Result};

/// A straight pole between two rings, all poles alike.
///
/// Units: mm between its two fixings; degrees from the tube's axis.
/// Errors: [`Error::Input`] from each call: a length that cannot be, a slant outside 0 to less than 90 degrees.
/// Leaves out: that fixings which turn with the pole move by fractions of a millimetre.
///
/// ```
/// let poles = catoptric::Poles::new(1600.0, 12.0);
/// assert!((poles.per_mm() - 0.978_147_600_733_805_7).abs() < 1e-15); // cos 12 degrees, mpmath
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Poles {
    /// Length between the fixings, mm.
    pub length_mm: f64,
    /// Angle between a pole and the tube's axis, degrees.
    pub slant_deg: f64,
}

impl Poles {
    /// Poles from their length and slant.
    ///
    /// ```
    /// assert_eq!(catoptric::Poles::new(1600.0, 12.0).slant_deg, 12.0);
    /// ```
    pub fn new(length_mm: f64, slant_deg: f64) -> Self {
        Self { length_mm, slant_deg }
    }

    /// Refuses poles that cannot be.
    ///
    /// ```
    /// assert!(catoptric::Poles::new(1600.0, 90.0).check().is_err(), "poles that lie flat carry nothing");
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("poles", |f| self.note_problems(f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, findings: &mut Findings) {
        findings.length("length_mm", self.length_mm);
        findings.number(
            "slant_deg",
            self.slant_deg,
            |v| (0.0..90.0).contains(&v),
            "from 0 to less than 90 degrees, from the tube's axis",
            "counted from the rings instead of from the axis?",
        );
    }

    /// Height of a pole along the tube's axis, mm.
    fn height_mm(&self) -> f64 {
        self.length_mm * self.slant_deg.to_radians().cos()
    }

    /// Length for each millimetre of the upper end's height, to first order: the cosine of the slant.
    ///
    /// ```
    /// assert_eq!(catoptric::Poles::new(1600.0, 0.0).per_mm(), 1.0);
    /// ```
    pub fn per_mm(&self) -> f64 {
        self.slant_deg.to_radians().cos()
    }

    /// What the length changes by where the upper end rises by so much, mm: exact for a pole between two rings.
    ///
    /// Units: mm, positive: away from the primary, and longer.
    /// Errors: [`Error::Input`] for poles that cannot be and an upper end lowered onto the lower one.
    /// Source: length^2 = height^2 + span^2, the span between the rings' fixings unchanged: hypot(z + dz, s) - length.
    /// The first order `per_mm` times dz is too small by dz^2 sin^2(slant)/(2 length).
    ///
    /// ```
    /// let poles = catoptric::Poles::new(500.0, 0.6_f64.acos().to_degrees()); // 300 high, 400 across
    /// assert!((poles.change_mm(-80.0)? - (220.0_f64.hypot(400.0) - 500.0)).abs() < 1e-9);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn change_mm(&self, rise_mm: f64) -> Result<f64> {
        self.check()?;
        let height_mm = self.height_mm();
        if !(rise_mm.is_finite() && rise_mm > -height_mm) {
            let allowed = format!("more than minus the height of the poles, {height_mm:.1} mm");
            return Err(Error::input("rise_mm", rise_mm, allowed, "a height given for its change?"));
        }
        let span_mm = self.length_mm * self.slant_deg.to_radians().sin();
        let new_mm = (height_mm + rise_mm).hypot(span_mm);
        // The difference of two squares over the sum: no digits are lost for a small rise.
        Ok(rise_mm * (2.0 * height_mm + rise_mm) / (new_mm + self.length_mm))
    }
}
