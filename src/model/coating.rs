//! The coating: how much light each part of a mirror returns.

use serde::{Deserialize, Serialize};

use crate::error::{Findings, Result};

/// Notes a fault unless `value` is a share of light that a mirror can return.
pub(super) fn check_reflectance(value: f64, findings: &mut Findings) {
    findings.number(
        "reflectance",
        value,
        |v| v > 0.0 && v <= 1.0,
        "a share above 0 and not above 1",
        if value > 1.0 { "per cent given for a share?" } else { "" },
    );
}

/// A ring of the mirror whose coating returns another share of the light than the rest.
///
/// Units: mm; the reflectance is a share of the power.
/// Errors: found by the train's check (0 <= inner < outer <= D/2, 0 < reflectance <= 1).
/// What it leaves out: thin metal also is a hollow in the wavefront, up to 87 nm of glass where it
/// is gone; this ring changes the amplitude alone.
///
/// ```
/// let ring = catoptric::CoatingRing::new(112.0, 139.0, 0.74);
/// assert!(ring.inner_radius_mm < ring.outer_radius_mm);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoatingRing {
    /// Where the ring begins, mm from the mirror's centre.
    pub inner_radius_mm: f64,
    /// Where the ring ends, mm.
    pub outer_radius_mm: f64,
    /// Share of the power that the ring returns.
    pub reflectance: f64,
}

impl CoatingRing {
    /// A ring from its two radii and its reflectance.
    ///
    /// ```
    /// assert_eq!(catoptric::CoatingRing::new(112.0, 139.0, 0.74).reflectance, 0.74);
    /// ```
    pub fn new(inner_radius_mm: f64, outer_radius_mm: f64, reflectance: f64) -> Self {
        Self { inner_radius_mm, outer_radius_mm, reflectance }
    }

    fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        findings.number(
            "inner_radius_mm",
            self.inner_radius_mm,
            |v| v >= 0.0 && v < rim_mm,
            "a radius from 0 to less than half the clear aperture",
            "diameter given for radius?",
        );
        findings.number(
            "outer_radius_mm",
            self.outer_radius_mm,
            |v| v > self.inner_radius_mm && v <= rim_mm * (1.0 + 1e-9),
            "a radius beyond the inner one and not beyond half the clear aperture",
            "diameter given for radius, or the two radii exchanged?",
        );
        check_reflectance(self.reflectance, findings);
    }
}

/// The primary's coating: one reflectance, and rings that replace it where they lie.
///
/// Units: shares of the power, at the wavelength in use.
/// Errors: found by the train's check.
/// What it leaves out: colour, polarisation and the phase of thin metal.
///
/// ```
/// use catoptric::{Coating, CoatingRing};
/// let worn = Coating::new(0.88).ring(CoatingRing::new(112.0, 139.0, 0.74));
/// assert_eq!(worn.rings.len(), 1);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Coating {
    /// Share of the power returned wherever no ring lies.
    #[serde(default = "full")]
    pub reflectance: f64,
    /// Rings that replace the coating; where two overlap, the later one counts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rings: Vec<CoatingRing>,
}

impl Coating {
    /// An even coating.
    ///
    /// ```
    /// assert_eq!(catoptric::Coating::new(0.88).reflectance, 0.88);
    /// ```
    pub fn new(reflectance: f64) -> Self {
        Self { reflectance, rings: Vec::new() }
    }

    /// The same coating with one more ring laid over it.
    ///
    /// ```
    /// use catoptric::{Coating, CoatingRing};
    /// let coating = Coating::new(0.9).ring(CoatingRing::new(10.0, 20.0, 0.5));
    /// assert_eq!(coating.rings[0].reflectance, 0.5);
    /// ```
    #[must_use]
    pub fn ring(mut self, ring: CoatingRing) -> Self {
        self.rings.push(ring);
        self
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::Coating::new(88.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("coating", |f| self.note_problems(f64::INFINITY, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        check_reflectance(self.reflectance, findings);
        for (i, ring) in self.rings.iter().enumerate() {
            findings.within(format!("rings[{i}]"), |f| ring.note_problems(rim_mm, f));
        }
    }
}

impl Default for Coating {
    /// A coating that returns all light.
    fn default() -> Self {
        Self::new(full())
    }
}

/// The reflectance of a coating that is not spoken of.
pub(super) fn full() -> f64 {
    1.0
}
