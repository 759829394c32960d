//! What one sees of a worn coating: where its parts lie, not how bright they are.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use crate::error::{Findings, Result};
use crate::model::{Coating, CoatingPatch, CoatingRing, Primary, Train};
use crate::numeric::gauss;
use crate::units::FocalLengthMm;

/// Steps that a smooth ring is laid in, and the nodes of each step's mean.
const STEPS: usize = 8;
const NODES: usize = 6;

/// How a ring's level changes across it.
///
/// ```
/// assert_eq!(catoptric::RingProfile::from_name("smooth"), Some(catoptric::RingProfile::Smooth));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RingProfile {
    /// The same from rim to rim.
    Flat,
    /// sin^2 across the ring: nothing at its rims, all of it half-way.
    Smooth,
}

impl RingProfile {
    /// Both profiles.
    pub const ALL: [Self; 2] = [Self::Flat, Self::Smooth];

    /// The name as files and other languages write it.
    ///
    /// ```
    /// assert_eq!(catoptric::RingProfile::Flat.key(), "flat");
    /// ```
    pub fn key(self) -> &'static str {
        match self {
            Self::Flat => "flat",
            Self::Smooth => "smooth",
        }
    }

    /// The profile of a name: `flat` or `smooth`.
    ///
    /// ```
    /// assert_eq!(catoptric::RingProfile::from_name("round"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|p| p.key() == name)
    }
}

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
        match self.profile {
            RingProfile::Flat => self.at_level(1.0).share(radius_mm),
            RingProfile::Smooth if (self.inner_radius_mm..self.outer_radius_mm).contains(&radius_mm) => {
                let width_mm = self.outer_radius_mm - self.inner_radius_mm;
                (PI * (radius_mm - self.inner_radius_mm) / width_mm).sin().powi(2)
            }
            RingProfile::Smooth => 0.0,
        }
    }

    /// The ring of a train that lies here, of one level throughout.
    fn at_level(&self, reflectance: f64) -> CoatingRing {
        CoatingRing::new(self.inner_radius_mm, self.outer_radius_mm, reflectance)
            .softness_mm(self.softness_mm)
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
        findings.within("outline", |f| {
            for (i, ring) in self.rings.iter().enumerate() {
                if ring.profile == RingProfile::Smooth && ring.softness_mm != 0.0 {
                    let allowed = "0 for a smooth ring, which fades from rim to rim as it is";
                    f.fault(&format!("rings[{i}].softness_mm"), ring.softness_mm, allowed, "");
                }
            }
        });
        findings.refuse()
    }

    /// The coating that has these levels: shares of the power, in the order of [`CoatingOutline::names`].
    ///
    /// A smooth ring becomes [`STEPS`] flat ones, each with the mean of its area: within a step it is wrong by up to a
    /// fifth of the ring's depth, in the mean by nothing
    /// (by 5e-6 of the light where a patch cuts across the steps).
    pub(super) fn coating(&self, levels: &[f64]) -> Coating {
        let (on_rings, on_patches) = levels[1..].split_at(self.rings.len());
        let mut coating = Coating::new(levels[0]);
        for (i, (ring, &level)) in self.rings.iter().zip(on_rings).enumerate() {
            if ring.profile == RingProfile::Flat {
                coating.rings.push(ring.at_level(level));
                continue;
            }
            let under = |r: f64| {
                let laid =
                    |value: f64, (ring, level): (&OutlineRing, &f64)| value + ring.share(r) * (level - value);
                self.rings[..i].iter().zip(on_rings).fold(levels[0], laid)
            };
            for (from, to) in self.steps(i) {
                let (mut sum, mut area) = (0.0, 0.0);
                for (square, weight) in gauss::on_interval(NODES, from * from, to * to) {
                    let r = square.sqrt();
                    sum += weight * (under(r) + ring.share(r) * (level - under(r)));
                    area += weight;
                }
                coating.rings.push(CoatingRing::new(from, to, sum / area));
            }
        }
        let patches = self.patches.iter().zip(on_patches);
        coating.patches = patches.map(|(patch, &level)| patch.at_level(level)).collect();
        coating
    }

    /// The steps that a smooth ring is cut into; where a ring under it begins or ends, one does as well.
    fn steps(&self, number: usize) -> Vec<(f64, f64)> {
        let ring = &self.rings[number];
        let (from, width) = (ring.inner_radius_mm, ring.outer_radius_mm - ring.inner_radius_mm);
        let mut cuts: Vec<f64> = (0..STEPS).map(|k| from + width * k as f64 / STEPS as f64).collect();
        let under = self.rings[..number].iter().flat_map(|r| [r.inner_radius_mm, r.outer_radius_mm]);
        cuts.extend(under.filter(|r| *r > from && *r < ring.outer_radius_mm));
        cuts.push(ring.outer_radius_mm);
        cuts.sort_by(f64::total_cmp);
        cuts.dedup_by(|b, a| *b - *a < 1e-9 * width);
        cuts.windows(2).map(|pair| (pair[0], pair[1])).collect()
    }
}
