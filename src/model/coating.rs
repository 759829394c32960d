//! The coating: how much light each part of a mirror returns.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use super::coating_map::ReflectanceMap;
use super::metal_coat::MetalCoat;
use super::text::is_zero;
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

/// How a ring's share changes across it.
///
/// ```
/// assert_eq!(catoptric::RingProfile::from_name("smooth"), Some(catoptric::RingProfile::Smooth));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RingProfile {
    /// The same from rim to rim, but for the softness of the rims.
    #[default]
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

    /// Whether files leave it out.
    pub(super) fn is_flat(&self) -> bool {
        *self == Self::Flat
    }
}

/// The share of a ring at a radius: logistic functions of both rims, or sin^2 from rim to rim.
///
/// A hard ring holds its inner radius and not its outer one.
pub(crate) fn ring_share(
    profile: RingProfile,
    [inner_mm, outer_mm]: [f64; 2],
    softness_mm: f64,
    radius_mm: f64,
) -> f64 {
    if profile == RingProfile::Smooth {
        let is_within = radius_mm > inner_mm && radius_mm < outer_mm;
        let turn = PI * (radius_mm - inner_mm) / (outer_mm - inner_mm);
        if is_within { turn.sin().powi(2) } else { 0.0 }
    } else if softness_mm > 0.0 {
        let beyond = |d_mm: f64| 1.0 / (1.0 + (d_mm / softness_mm).exp());
        let inner = if inner_mm > 0.0 { beyond(inner_mm - radius_mm) } else { 1.0 };
        inner * beyond(radius_mm - outer_mm)
    } else {
        f64::from(u8::from((inner_mm..outer_mm).contains(&radius_mm)))
    }
}

/// The share of a patch at a distance from its centre.
pub(crate) fn patch_share(patch_mm: f64, softness_mm: f64, distance_mm: f64) -> f64 {
    let beyond_mm = distance_mm - patch_mm;
    if softness_mm > 0.0 {
        1.0 / (1.0 + (beyond_mm / softness_mm).exp())
    } else {
        f64::from(u8::from(beyond_mm <= 0.0))
    }
}

/// Notes what is wrong with the radii, the softness and the profile of a ring.
pub(super) fn note_ring(
    profile: RingProfile,
    [inner_mm, outer_mm]: [f64; 2],
    softness_mm: f64,
    rim_mm: f64,
    findings: &mut Findings,
) {
    findings.number(
        "inner_radius_mm",
        inner_mm,
        |v| v >= 0.0 && v < rim_mm,
        "a radius from 0 to less than half the clear aperture",
        "diameter given for radius?",
    );
    // What fades must be able to fade outside of the light.
    let room_mm = if softness_mm > 0.0 { 30.0 * softness_mm } else { 0.0 };
    findings.number(
        "outer_radius_mm",
        outer_mm,
        |v| v > inner_mm && v <= rim_mm * (1.0 + 1e-9) + room_mm,
        "a radius beyond the inner one and not beyond half the clear aperture",
        "diameter given for radius, or the two radii exchanged?",
    );
    findings.number(
        "softness_mm",
        softness_mm,
        |v| v == 0.0 || (v >= 1e-3 && v <= outer_mm - inner_mm),
        "0, or from 0.001 mm to the ring's width",
        "",
    );
    if profile == RingProfile::Smooth && softness_mm != 0.0 {
        let allowed = "0 for a smooth ring, which fades from rim to rim as it is";
        findings.fault("softness_mm", softness_mm, allowed, "a flat ring meant?");
    }
}

/// Notes what is wrong with the place, the radius and the softness of a patch.
pub(super) fn note_patch(
    [x_mm, y_mm]: [f64; 2],
    radius_mm: f64,
    softness_mm: f64,
    rim_mm: f64,
    findings: &mut Findings,
) {
    let (allowed, cause) = ("a place on the mirror, counted from its centre", "counted from the rim?");
    if findings.number("x_mm", x_mm, |x| x.abs() <= rim_mm, allowed, cause) {
        findings.number("y_mm", y_mm, |y| y.hypot(x_mm) <= rim_mm, allowed, cause);
    } else {
        findings.number("y_mm", y_mm, |y| y.abs() <= rim_mm, allowed, cause);
    }
    findings.number(
        "radius_mm",
        radius_mm,
        |v| v > 0.0 && v <= rim_mm,
        "above 0 and not beyond half the clear aperture",
        "diameter given for radius?",
    );
    findings.number(
        "softness_mm",
        softness_mm,
        |v| v == 0.0 || (v >= 1e-3 && v <= radius_mm),
        "0, or from 0.001 mm to the patch's radius",
        "",
    );
}

/// A ring of the mirror whose coating returns another share of the light than the rest.
///
/// At a radius r the ring replaces the share 1/(1 + exp((r - outer)/softness)) times 1/(1 + exp((inner - r)/softness))
/// of what lies under it; without softness all of it between the two radii. A ring that begins in the centre has no
/// inner rim. A smooth ring replaces the share sin^2(pi (r - inner)/(outer - inner)): nothing at its two radii, all
/// half-way.
///
/// Units: mm; the reflectance is a share of the power.
/// Errors: found by the train's check (0 <= inner < outer <= D/2, 0 < reflectance <= 1); a soft ring may end up to 30
/// softnesses beyond the clear aperture; a smooth ring has no softness.
/// What it leaves out: thin metal also is a hollow in the wavefront, up to 87 nm of glass where it
/// is gone; this ring changes the amplitude alone (a [`ThinRing`](crate::ThinRing) changes both).
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
    /// Share of the power that the ring returns; of a smooth one its middle.
    pub reflectance: f64,
    /// Over which distance both rims of a flat ring fade, mm; 0 for hard rims.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub softness_mm: f64,
    /// How it changes across the ring.
    #[serde(default, skip_serializing_if = "RingProfile::is_flat")]
    pub profile: RingProfile,
}

impl CoatingRing {
    /// A ring from its two radii and its reflectance.
    ///
    /// ```
    /// assert_eq!(catoptric::CoatingRing::new(112.0, 139.0, 0.74).reflectance, 0.74);
    /// ```
    pub fn new(inner_radius_mm: f64, outer_radius_mm: f64, reflectance: f64) -> Self {
        let profile = RingProfile::Flat;
        Self { inner_radius_mm, outer_radius_mm, reflectance, softness_mm: 0.0, profile }
    }

    /// The same ring with soft rims.
    ///
    /// ```
    /// let soft = catoptric::CoatingRing::new(112.0, 139.0, 0.74).softness_mm(2.0);
    /// assert!((soft.share(112.0) - 0.5).abs() < 1e-5 && soft.share(125.0) > 0.99);
    /// ```
    #[must_use]
    pub fn softness_mm(self, softness_mm: f64) -> Self {
        Self { softness_mm, ..self }
    }

    /// The same ring with another profile.
    ///
    /// ```
    /// use catoptric::{CoatingRing, RingProfile};
    /// let ring = CoatingRing::new(112.0, 139.0, 0.72).profile(RingProfile::Smooth);
    /// // A quarter of the width from a rim: sin^2(45 degrees).
    /// assert!((ring.share(112.0 + 27.0 / 4.0) - 0.5).abs() < 1e-15 && ring.share(112.0) == 0.0);
    /// ```
    #[must_use]
    pub fn profile(self, profile: RingProfile) -> Self {
        Self { profile, ..self }
    }

    /// The share of the ring at a radius, 0 to 1.
    ///
    /// ```
    /// assert_eq!(catoptric::CoatingRing::new(112.0, 139.0, 0.74).share(139.0), 0.0);
    /// ```
    pub fn share(&self, radius_mm: f64) -> f64 {
        ring_share(self.profile, [self.inner_radius_mm, self.outer_radius_mm], self.softness_mm, radius_mm)
    }

    fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        let radii_mm = [self.inner_radius_mm, self.outer_radius_mm];
        note_ring(self.profile, radii_mm, self.softness_mm, rim_mm, findings);
        check_reflectance(self.reflectance, findings);
    }
}

/// A round patch of the mirror whose coating returns another share of the light, with a hard or a soft rim.
///
/// At a distance d from its centre the patch replaces the share 1/(1 + exp((d - radius)/softness)) of what lies under
/// it; without softness all of it within the radius.
///
/// Units: mm, +x toward the focuser; the reflectance is a share of the power.
/// Errors: found by the train's check.
/// What it leaves out: that thin metal is a hollow in the wavefront as well; scattered light.
///
/// ```
/// let worn = catoptric::CoatingPatch::new([-46.0, 71.0], 36.0, 0.42).softness_mm(3.0);
/// assert!((worn.share(36.0) - 0.5).abs() < 1e-15 && worn.share(0.0) > 0.99999);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoatingPatch {
    /// Where its centre lies, mm toward the focuser's side.
    pub x_mm: f64,
    /// Where its centre lies across, mm.
    pub y_mm: f64,
    /// Distance from the centre at which half of it is left, mm.
    pub radius_mm: f64,
    /// Share of the power that its middle returns.
    pub reflectance: f64,
    /// Over which distance its rim fades, mm; 0 for a hard rim.
    #[serde(default)]
    pub softness_mm: f64,
}

impl CoatingPatch {
    /// A patch with a hard rim, from its centre, radius and reflectance.
    ///
    /// ```
    /// assert_eq!(catoptric::CoatingPatch::new([0.0, 0.0], 10.0, 0.5).softness_mm, 0.0);
    /// ```
    pub fn new([x_mm, y_mm]: [f64; 2], radius_mm: f64, reflectance: f64) -> Self {
        Self { x_mm, y_mm, radius_mm, reflectance, softness_mm: 0.0 }
    }

    /// The same patch with a soft rim.
    ///
    /// ```
    /// let soft = catoptric::CoatingPatch::new([0.0, 0.0], 10.0, 0.5).softness_mm(1.0);
    /// assert!(soft.share(11.0) > 0.25 && soft.share(9.0) < 0.75);
    /// ```
    #[must_use]
    pub fn softness_mm(self, softness_mm: f64) -> Self {
        Self { softness_mm, ..self }
    }

    /// The share of the patch at a distance from its centre, 0 to 1.
    ///
    /// ```
    /// assert_eq!(catoptric::CoatingPatch::new([0.0, 0.0], 10.0, 0.5).share(12.0), 0.0);
    /// ```
    pub fn share(&self, distance_mm: f64) -> f64 {
        patch_share(self.radius_mm, self.softness_mm, distance_mm)
    }

    fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        note_patch([self.x_mm, self.y_mm], self.radius_mm, self.softness_mm, rim_mm, findings);
        check_reflectance(self.reflectance, findings);
    }
}

/// The primary's coating: one reflectance, and rings and patches that replace it where they lie.
///
/// Two kinds of wear are told apart, and always by name. Haze, dust and pinholes dim: that is this part's own
/// reflectance, rings, patches and map. Thin metal dims and is a hollow in the wavefront: that is `metal`. Beside metal
/// the haze multiplies what the metal returns; without metal it is the share returned itself.
///
/// Units: shares of the power, at the wavelength in use.
/// Errors: found by the train's check.
/// Leaves out: where the light of pinholes goes. A share q of the area without metal returns 1 - q of the light, and
/// the image of a star has (1 - q)^2 of it: the difference, q (1 - q), goes into wide angles, which star images do not
/// show. Colour and polarisation of haze.
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
    /// Patches laid over the rings, in their order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub patches: Vec<CoatingPatch>,
    /// Shares place by place instead of the one reflectance; rings and patches lie over it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub map: Option<ReflectanceMap>,
    /// Share of the area that has lost its metal in pinholes too small to be seen one by one.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub pinhole_share: f64,
    /// The metal itself, where its thickness counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub metal: Option<MetalCoat>,
}

impl Coating {
    /// An even coating.
    ///
    /// ```
    /// assert_eq!(catoptric::Coating::new(0.88).reflectance, 0.88);
    /// ```
    pub fn new(reflectance: f64) -> Self {
        Self {
            reflectance,
            rings: Vec::new(),
            patches: Vec::new(),
            map: None,
            pinhole_share: 0.0,
            metal: None,
        }
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

    /// The same coating with one more patch laid over it.
    ///
    /// ```
    /// use catoptric::{Coating, CoatingPatch};
    /// let coating = Coating::new(0.9).patch(CoatingPatch::new([10.0, 0.0], 4.0, 0.5));
    /// assert_eq!(coating.patches.len(), 1);
    /// ```
    #[must_use]
    pub fn patch(mut self, patch: CoatingPatch) -> Self {
        self.patches.push(patch);
        self
    }

    /// A coating whose reflectance is given place by place.
    ///
    /// ```
    /// use catoptric::{AxisDirection, Coating, ReflectanceMap};
    /// let shares = ndarray::Array2::from_elem((9, 9), 0.9);
    /// let map = ReflectanceMap::new(shares, 30.0, AxisDirection::MinusY, AxisDirection::PlusX);
    /// assert!(Coating::of_map(map).map.is_some());
    /// ```
    pub fn of_map(map: ReflectanceMap) -> Self {
        Self { map: Some(map), ..Self::default() }
    }

    /// The same coating with a share of its area lost in pinholes.
    ///
    /// ```
    /// assert_eq!(catoptric::Coating::new(0.9).pinhole_share(0.02).pinhole_share, 0.02);
    /// ```
    #[must_use]
    pub fn pinhole_share(self, pinhole_share: f64) -> Self {
        Self { pinhole_share, ..self }
    }

    /// The same coating over a coat of metal whose thickness counts.
    ///
    /// ```
    /// use catoptric::{Coating, Metal, MetalCoat, MetalFilm};
    /// let coating = Coating::default().metal(MetalCoat::new(MetalFilm::new(Metal::Aluminium, 90.0)));
    /// assert!(coating.metal.is_some());
    /// ```
    #[must_use]
    pub fn metal(self, metal: MetalCoat) -> Self {
        Self { metal: Some(metal), ..self }
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
        for (i, patch) in self.patches.iter().enumerate() {
            findings.within(format!("patches[{i}]"), |f| patch.note_problems(rim_mm, f));
        }
        if let Some(map) = &self.map {
            findings.within("map", |f| map.note_problems(rim_mm, f));
            if self.reflectance < 1.0 {
                findings.fault(
                    "reflectance",
                    format!("{} beside a map", self.reflectance),
                    "one of the two: a map gives the shares themselves",
                    "multiply the map by it, if the map is relative",
                );
            }
        }
        findings.number(
            "pinhole_share",
            self.pinhole_share,
            |v| (0.0..1.0).contains(&v),
            "a share of the area from 0 to below 1",
            "per cent given for a share?",
        );
        if let Some(metal) = &self.metal {
            findings.within("metal", |f| metal.note_problems(rim_mm, f));
            let dims = self.map.is_some()
                || self.reflectance < 1.0
                || self.rings.iter().any(|r| r.reflectance < 1.0)
                || self.patches.iter().any(|p| p.reflectance < 1.0);
            if dims {
                findings.warning(
                    "reflectance",
                    "haze beside metal",
                    "what dims on top of the metal, whose own loss follows from its thickness",
                    "the metal's own reflectance given a second time?",
                );
            }
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
