//! A coat of metal whose thickness differs from place to place.

use serde::{Deserialize, Serialize};

use super::coating::{RingProfile, note_patch, note_ring, patch_share, ring_share};
use super::coating_map::ThicknessMap;
use super::text::is_zero;
use crate::error::{Findings, Result};
use crate::film::MetalFilm;

/// What a thickness of metal may be.
pub(super) const THICKNESS: &str = "0 to 2000 nm";
pub(super) const THICKNESS_CAUSE: &str = "micrometres or angstroms given for nanometres?";

pub(super) fn is_thickness(nm: f64) -> bool {
    (0.0..=2000.0).contains(&nm)
}

fn check_thickness(nm: f64, findings: &mut Findings) {
    findings.number("thickness_nm", nm, is_thickness, THICKNESS, THICKNESS_CAUSE);
}

/// A ring of the mirror on which the metal has another thickness.
///
/// At a radius r the ring replaces the share 1/(1 + exp((r - outer)/softness)) times 1/(1 + exp((inner - r)/softness))
/// of the thickness that lies under it; without softness all of it between the two radii. A ring that begins in the
/// centre has no inner rim. A smooth ring replaces the share sin^2(pi (r - inner)/(outer - inner)): nothing at its two
/// radii, all half-way.
///
/// Units: mm; nm of metal.
/// Errors: found by the train's check; a soft ring may end up to 30 softnesses beyond the clear aperture; a smooth ring
/// has no softness.
/// Leaves out: metal that is not bulk-like (below about 10 nm it stands in islands).
///
/// ```
/// let worn = catoptric::ThinRing::new(112.0, 139.0, 40.0).softness_mm(1.5);
/// assert!((worn.share(112.0) - 0.5).abs() < 1e-7 && worn.share(125.0) > 0.999);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ThinRing {
    /// Where the ring begins, mm from the mirror's centre.
    pub inner_radius_mm: f64,
    /// Where the ring ends, mm.
    pub outer_radius_mm: f64,
    /// Thickness of the metal there, nm; of a smooth ring in its middle.
    pub thickness_nm: f64,
    /// Over which distance both rims of a flat ring fade, mm; 0 for hard rims.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub softness_mm: f64,
    /// How the thickness changes across the ring.
    #[serde(default, skip_serializing_if = "RingProfile::is_flat")]
    pub profile: RingProfile,
}

impl ThinRing {
    /// A ring with hard rims, from its two radii and the thickness of the metal, nm.
    ///
    /// ```
    /// assert_eq!(catoptric::ThinRing::new(112.0, 139.0, 40.0).softness_mm, 0.0);
    /// ```
    pub fn new(inner_radius_mm: f64, outer_radius_mm: f64, thickness_nm: f64) -> Self {
        let profile = RingProfile::Flat;
        Self { inner_radius_mm, outer_radius_mm, thickness_nm, softness_mm: 0.0, profile }
    }

    /// The same ring with soft rims.
    ///
    /// ```
    /// assert_eq!(catoptric::ThinRing::new(112.0, 139.0, 40.0).softness_mm(2.0).softness_mm, 2.0);
    /// ```
    #[must_use]
    pub fn softness_mm(self, softness_mm: f64) -> Self {
        Self { softness_mm, ..self }
    }

    /// The same ring with another profile.
    ///
    /// ```
    /// use catoptric::{RingProfile, ThinRing};
    /// let ring = ThinRing::new(112.0, 139.0, 40.0).profile(RingProfile::Smooth);
    /// assert!((ring.share(125.5) - 1.0).abs() < 1e-15 && ring.share(139.0) == 0.0);
    /// ```
    #[must_use]
    pub fn profile(self, profile: RingProfile) -> Self {
        Self { profile, ..self }
    }

    /// The share of the ring at a radius, 0 to 1.
    ///
    /// ```
    /// assert_eq!(catoptric::ThinRing::new(112.0, 139.0, 40.0).share(120.0), 1.0);
    /// ```
    pub fn share(&self, radius_mm: f64) -> f64 {
        ring_share(self.profile, [self.inner_radius_mm, self.outer_radius_mm], self.softness_mm, radius_mm)
    }
}

/// A round patch of the mirror on which the metal has another thickness, with a hard or a soft rim.
///
/// At a distance d from its centre the patch replaces the share 1/(1 + exp((d - radius)/softness)) of the thickness
/// that lies under it; without softness all of it within the radius.
///
/// Units: mm, +x toward the focuser; nm of metal.
/// Errors: found by the train's check.
/// Leaves out: metal that is not bulk-like (below about 10 nm it stands in islands).
///
/// ```
/// let worn = catoptric::ThinPatch::new([-46.0, 71.0], 36.0, 15.0).softness_mm(3.0);
/// assert!((worn.share(36.0) - 0.5).abs() < 1e-15 && worn.share(0.0) > 0.99999);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ThinPatch {
    /// Where its centre lies, mm toward the focuser's side.
    pub x_mm: f64,
    /// Where its centre lies across, mm.
    pub y_mm: f64,
    /// Distance from the centre at which half of it is left, mm.
    pub radius_mm: f64,
    /// Thickness of the metal in its middle, nm.
    pub thickness_nm: f64,
    /// Over which distance its rim fades, mm; 0 for a hard rim.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub softness_mm: f64,
}

impl ThinPatch {
    /// A patch with a hard rim, from its centre, its radius and the thickness of the metal, nm.
    ///
    /// ```
    /// assert_eq!(catoptric::ThinPatch::new([0.0, 0.0], 10.0, 40.0).softness_mm, 0.0);
    /// ```
    pub fn new([x_mm, y_mm]: [f64; 2], radius_mm: f64, thickness_nm: f64) -> Self {
        Self { x_mm, y_mm, radius_mm, thickness_nm, softness_mm: 0.0 }
    }

    /// The same patch with a soft rim.
    ///
    /// ```
    /// assert_eq!(catoptric::ThinPatch::new([0.0, 0.0], 10.0, 40.0).softness_mm(1.0).softness_mm, 1.0);
    /// ```
    #[must_use]
    pub fn softness_mm(self, softness_mm: f64) -> Self {
        Self { softness_mm, ..self }
    }

    /// The share of the patch at a distance from its centre, 0 to 1.
    ///
    /// ```
    /// assert_eq!(catoptric::ThinPatch::new([0.0, 0.0], 10.0, 40.0).share(12.0), 0.0);
    /// ```
    pub fn share(&self, distance_mm: f64) -> f64 {
        patch_share(self.radius_mm, self.softness_mm, distance_mm)
    }
}

/// A coat of metal on the primary: one film, and rings and patches on which it is thinner or thicker.
///
/// Worn metal dims and is a hollow: both follow from the thickness at each place, at each wavelength. The height of the
/// perfect mirror that returns the same phase is counted from that of the even film in the mirror's centre, so that a
/// fresh even coat changes no star. The glass's own figure stands in the layers of the primary.
///
/// Units: nm of metal; mm on the mirror. The film's thickness is that of all places on which no ring, patch or map
/// lies; beside a map it only says which height counts as none.
/// Errors: found by the train's check.
/// Source: [`MetalFilm`], at the angle between the mirror's axis and its normal at each place.
/// Leaves out: that an even film moves the focus by its own height, some 0.1 um; the star's own field angle in that
/// (below 1e-5 of the reflectance and 0.01 nm within half a degree); the difference of both polarisations, of which the
/// mean counts: over an f/4 aluminium mirror 0.06 nm of height and up to 7e-4 of the reflectance between s and p at the
/// rim; and what [`MetalFilm`] leaves out.
///
/// ```
/// use catoptric::{Coating, Field, FocalLengthMm, Focus, Metal, MetalCoat, MetalFilm, Prepared, Primary, ThinRing, Train};
/// let coat = MetalCoat::new(MetalFilm::new(Metal::Aluminium, 100.0)).ring(ThinRing::new(112.0, 139.0, 40.0));
/// let mirror = Primary::new(318.0, FocalLengthMm(1558.0)).coating(Coating::default().metal(coat));
/// let wave = Prepared::new(&Train::builder(mirror).build()?).wavefront(Field::AXIS, Focus::Peak, 550.0)?;
/// // As bright as before, and a hollow of 60 nm.
/// assert!(wave.strehl < 0.9 && wave.amplitude_factor > 0.999);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MetalCoat {
    /// The film wherever nothing else is said.
    pub film: MetalFilm,
    /// Rings of another thickness; where two overlap, the later one lies over the earlier.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rings: Vec<ThinRing>,
    /// Patches laid over the rings, in their order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub patches: Vec<ThinPatch>,
    /// Thickness place by place instead of the film's own; rings and patches lie over it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub map: Option<ThicknessMap>,
}

impl MetalCoat {
    /// An even coat.
    ///
    /// ```
    /// use catoptric::{Metal, MetalCoat, MetalFilm};
    /// assert_eq!(MetalCoat::new(MetalFilm::new(Metal::Silver, 90.0)).film.thickness_nm, 90.0);
    /// ```
    pub fn new(film: MetalFilm) -> Self {
        Self { film, rings: Vec::new(), patches: Vec::new(), map: None }
    }

    /// The same coat with one more ring laid over it.
    ///
    /// ```
    /// use catoptric::{Metal, MetalCoat, MetalFilm, ThinRing};
    /// let coat = MetalCoat::new(MetalFilm::new(Metal::Silver, 90.0)).ring(ThinRing::new(10.0, 20.0, 30.0));
    /// assert_eq!(coat.rings[0].thickness_nm, 30.0);
    /// ```
    #[must_use]
    pub fn ring(mut self, ring: ThinRing) -> Self {
        self.rings.push(ring);
        self
    }

    /// The same coat with one more patch laid over it.
    ///
    /// ```
    /// use catoptric::{Metal, MetalCoat, MetalFilm, ThinPatch};
    /// let coat = MetalCoat::new(MetalFilm::new(Metal::Silver, 90.0)).patch(ThinPatch::new([10.0, 0.0], 4.0, 30.0));
    /// assert_eq!(coat.patches.len(), 1);
    /// ```
    #[must_use]
    pub fn patch(mut self, patch: ThinPatch) -> Self {
        self.patches.push(patch);
        self
    }

    /// The same coat with its thickness given place by place.
    ///
    /// ```
    /// use catoptric::{AxisDirection, Metal, MetalCoat, MetalFilm, ThicknessMap};
    /// let net = ndarray::Array2::from_elem((9, 9), 80.0);
    /// let map = ThicknessMap::new(net, 30.0, AxisDirection::MinusY, AxisDirection::PlusX);
    /// assert!(MetalCoat::new(MetalFilm::new(Metal::Silver, 90.0)).map(map).map.is_some());
    /// ```
    #[must_use]
    pub fn map(self, map: ThicknessMap) -> Self {
        Self { map: Some(map), ..self }
    }

    /// Refuses a coat that cannot be, whatever mirror it lies on.
    ///
    /// ```
    /// use catoptric::{Metal, MetalCoat, MetalFilm, ThinRing};
    /// let coat = MetalCoat::new(MetalFilm::new(Metal::Silver, 90.0)).ring(ThinRing::new(10.0, 20.0, -3.0));
    /// assert!(coat.check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("metal", |f| self.note_problems(f64::INFINITY, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        findings.within("film", |f| self.film.note_problems(f));
        for (i, ring) in self.rings.iter().enumerate() {
            findings.within(format!("rings[{i}]"), |f| {
                let radii_mm = [ring.inner_radius_mm, ring.outer_radius_mm];
                note_ring(ring.profile, radii_mm, ring.softness_mm, rim_mm, f);
                check_thickness(ring.thickness_nm, f);
            });
        }
        for (i, patch) in self.patches.iter().enumerate() {
            findings.within(format!("patches[{i}]"), |f| {
                note_patch([patch.x_mm, patch.y_mm], patch.radius_mm, patch.softness_mm, rim_mm, f);
                check_thickness(patch.thickness_nm, f);
            });
        }
        if let Some(map) = &self.map {
            findings.within("map", |f| map.note_problems(rim_mm, f));
        }
    }
}
