//! What one sees of a worn coating: where its parts lie, not how bright they are.

use serde::{Deserialize, Serialize};

use crate::error::{Findings, Result};
use crate::model::{Coating, CoatingPatch, CoatingRing, Primary, RingProfile, Train};
use crate::units::FocalLengthMm;

/// Where a ring of another coating lies.
///
/// Units: mm from the mirror's centre.
/// Errors: found when a coating is fitted to it.
///
/// ```
/// let ring = catoptric::OutlineRing::smooth(112.0, 139.0);
/// assert!((ring.share(125.5) - 1.0).abs() < 1e-15 && ring.share(112.0) == 0.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutlineRing {
    /// Where the ring begins, mm.
    pub inner_radius_mm: f64,
    /// Where the ring ends, mm.
    pub outer_radius_mm: f64,
    /// How its level changes across it.
    pub profile: RingProfile,
    /// Over which distance a flat ring's rims fade, mm; 0 for hard rims.
    #[serde(default)]
    pub softness_mm: f64,
}

impl OutlineRing {
    /// A ring of one level, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::OutlineRing::flat(112.0, 139.0).share(120.0), 1.0);
    /// ```
    pub fn flat(inner_radius_mm: f64, outer_radius_mm: f64) -> Self {
        Self { inner_radius_mm, outer_radius_mm, profile: RingProfile::Flat, softness_mm: 0.0 }
    }

    /// A ring that fades to both sides as sin^2, mm.
    ///
    /// ```
    /// // A sixth of the width: sin^2(30 degrees).
    /// assert!((catoptric::OutlineRing::smooth(60.0, 90.0).share(65.0) - 0.25).abs() < 1e-15);
    /// ```
    pub fn smooth(inner_radius_mm: f64, outer_radius_mm: f64) -> Self {
        Self { inner_radius_mm, outer_radius_mm, profile: RingProfile::Smooth, softness_mm: 0.0 }
    }

    /// The same ring with rims that fade, mm; for a flat one.
    ///
    /// ```
    /// let soft = catoptric::OutlineRing::flat(112.0, 139.0).softness_mm(2.0);
    /// assert!((soft.share(112.0) - 0.5).abs() < 1e-5);
    /// ```
    #[must_use]
    pub fn softness_mm(self, softness_mm: f64) -> Self {
        Self { softness_mm, ..self }
    }

    /// The ring's share of what is seen at a radius, 0 to 1.
    ///
    /// ```
    /// assert_eq!(catoptric::OutlineRing::flat(112.0, 139.0).share(140.0), 0.0);
    /// ```
    pub fn share(&self, radius_mm: f64) -> f64 {
        self.at_level(1.0).share(radius_mm)
    }

    /// The ring of a train that lies here.
    fn at_level(&self, reflectance: f64) -> CoatingRing {
        CoatingRing::new(self.inner_radius_mm, self.outer_radius_mm, reflectance)
            .softness_mm(self.softness_mm)
            .profile(self.profile)
    }
}

/// Where a round patch of another coating lies.
///
/// Units: mm, +x toward the focuser.
/// Errors: found when a coating is fitted to it.
///
/// ```
/// let worn = catoptric::OutlinePatch::new([-46.0, 71.0], 36.0).softness_mm(3.0);
/// assert!((worn.share(-46.0, 71.0 + 36.0) - 0.5).abs() < 1e-15);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutlinePatch {
    /// Where its centre lies, mm toward the focuser's side.
    pub x_mm: f64,
    /// Where its centre lies across, mm.
    pub y_mm: f64,
    /// Distance from the centre at which half of it is left, mm.
    pub radius_mm: f64,
    /// Over which distance its rim fades, mm; 0 for a hard rim.
    #[serde(default)]
    pub softness_mm: f64,
}

impl OutlinePatch {
    /// A patch with a hard rim, from its centre and radius, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::OutlinePatch::new([0.0, 5.0], 10.0).share(0.0, 0.0), 1.0);
    /// ```
    pub fn new([x_mm, y_mm]: [f64; 2], radius_mm: f64) -> Self {
        Self { x_mm, y_mm, radius_mm, softness_mm: 0.0 }
    }

    /// The same patch with a soft rim, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::OutlinePatch::new([0.0, 5.0], 10.0).softness_mm(2.0).softness_mm, 2.0);
    /// ```
    #[must_use]
    pub fn softness_mm(self, softness_mm: f64) -> Self {
        Self { softness_mm, ..self }
    }

    /// The patch's share of what is seen at a place, mm, 0 to 1.
    ///
    /// ```
    /// assert_eq!(catoptric::OutlinePatch::new([0.0, 5.0], 10.0).share(0.0, 20.0), 0.0);
    /// ```
    pub fn share(&self, x_mm: f64, y_mm: f64) -> f64 {
        self.at_level(1.0).share((x_mm - self.x_mm).hypot(y_mm - self.y_mm))
    }

    /// The patch of a train that lies here.
    fn at_level(&self, reflectance: f64) -> CoatingPatch {
        CoatingPatch::new([self.x_mm, self.y_mm], self.radius_mm, reflectance).softness_mm(self.softness_mm)
    }
}

/// The shapes that one sees on a worn mirror: rings and patches with their places, no levels.
///
/// Rings replace what lies under them in their order, patches are laid over the rings, as in a [`Coating`].
///
/// Units: mm.
/// Errors: found when a coating is fitted to it: parts that leave the mirror.
/// Leaves out: how well the places are known. A rim drawn wrong by e moves a spot on a soft rim of softness s by up to
/// e/(4 s) of the step there; the fit's chi-square shows it, its intervals do not hold it.
///
/// ```
/// use catoptric::{CoatingOutline, OutlinePatch, OutlineRing};
/// let seen = CoatingOutline::default()
///     .ring(OutlineRing::smooth(112.0, 139.0))
///     .patch(OutlinePatch::new([-46.0, 71.0], 36.0).softness_mm(3.0));
/// // What a spot sees: the base, the ring, the patch.
/// let shares = seen.shares(0.0, -125.5);
/// assert!((shares[1] - 1.0).abs() < 1e-12 && shares.iter().sum::<f64>() - 1.0 < 1e-15);
/// assert_eq!(seen.names(), ["base", "rings[0]", "patches[0]"]);
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoatingOutline {
    /// Rings, in the order in which they lie over each other.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rings: Vec<OutlineRing>,
    /// Patches laid over the rings, in their order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub patches: Vec<OutlinePatch>,
}

impl CoatingOutline {
    /// The same outline with one more ring over the others.
    ///
    /// ```
    /// use catoptric::{CoatingOutline, OutlineRing};
    /// assert_eq!(CoatingOutline::default().ring(OutlineRing::flat(1.0, 2.0)).rings.len(), 1);
    /// ```
    #[must_use]
    pub fn ring(mut self, ring: OutlineRing) -> Self {
        self.rings.push(ring);
        self
    }

    /// The same outline with one more patch over all.
    ///
    /// ```
    /// use catoptric::{CoatingOutline, OutlinePatch};
    /// assert_eq!(CoatingOutline::default().patch(OutlinePatch::new([1.0, 2.0], 3.0)).patches.len(), 1);
    /// ```
    #[must_use]
    pub fn patch(mut self, patch: OutlinePatch) -> Self {
        self.patches.push(patch);
        self
    }

    /// The names of the parts in the order of their levels: `base`, `rings[0]`, ..., `patches[0]`, ...
    pub fn names(&self) -> Vec<String> {
        let rings = (0..self.rings.len()).map(|i| format!("rings[{i}]"));
        let patches = (0..self.patches.len()).map(|i| format!("patches[{i}]"));
        std::iter::once("base".to_owned()).chain(rings).chain(patches).collect()
    }

    /// What each part's level counts in the reflectance at a place, mm: the base, the rings, the patches. The shares
    /// add up to 1.
    pub fn shares(&self, x_mm: f64, y_mm: f64) -> Vec<f64> {
        let radius_mm = x_mm.hypot(y_mm);
        let rings = self.rings.iter().map(|ring| ring.share(radius_mm));
        let patches = self.patches.iter().map(|patch| patch.share(x_mm, y_mm));
        let mut counts = vec![1.0];
        for share in rings.chain(patches) {
            for count in &mut counts {
                *count *= 1.0 - share;
            }
            counts.push(share);
        }
        counts
    }

    /// Refuses parts that leave a mirror of this clear aperture, mm: by the rules of a train.
    pub(super) fn check(&self, clear_aperture_mm: f64) -> Result<()> {
        let mut findings = Findings::default();
        let coating = Coating {
            rings: self.rings.iter().map(|r| r.at_level(1.0)).collect(),
            patches: self.patches.iter().map(|p| p.at_level(1.0)).collect(),
            ..Coating::new(1.0)
        };
        let mirror = Primary::new(clear_aperture_mm, FocalLengthMm(8.0 * clear_aperture_mm)).coating(coating);
        if let Err(error) = Train::builder(mirror).build() {
            for p in error.problems() {
                let field = p.field.replace("primary.coating", "outline");
                findings.fault(&field, &p.value, &p.allowed, &p.cause);
            }
        }
        findings.refuse()
    }

    /// The coating that has these levels: shares of the power, in the order of [`CoatingOutline::names`].
    pub(super) fn coating(&self, levels: &[f64]) -> Coating {
        let (on_rings, on_patches) = levels[1..].split_at(self.rings.len());
        let (rings, patches) = (self.rings.iter().zip(on_rings), self.patches.iter().zip(on_patches));
        Coating {
            rings: rings.map(|(ring, &level)| ring.at_level(level)).collect(),
            patches: patches.map(|(patch, &level)| patch.at_level(level)).collect(),
            ..Coating::new(levels[0])
        }
    }
}
