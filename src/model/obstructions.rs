//! Thin parts that stand in the light: the spider's vanes, the diagonal's holder, the mirror's clips.

use serde::{Deserialize, Serialize};

use crate::error::{Findings, Result};

/// The vanes that carry the diagonal's holder, evenly spaced about the tube's axis.
///
/// Each vane is a thin wall along the tube, from the axis outward, beyond the light; what lies in the shadow of the diagonal
/// or the holder stops nothing further. A bent vane is an arc of a circle that leaves the axis at the stated angle and turns
/// toward greater angles, or with a negative radius toward smaller ones.
///
/// Units: mm; degrees from +x (the focuser's side) toward +y. The height is counted from the primary's vertex; not
/// given, it is that of the diagonal.
/// Errors: found by the train's check.
/// What it leaves out: the vanes' depth along the tube, which for a star off the axis makes a vane look thicker by depth
/// times field angle (0.3 mm for 30 mm at 30'); vanes that do not aim at the axis.
///
/// ```
/// let spider = catoptric::Spider::new(4, 1.0);
/// assert_eq!((spider.angle_deg, spider.bend_radius_mm), (45.0, None));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spider {
    /// How many vanes.
    pub vanes: u32,
    /// Thickness of a vane as the star sees it, mm.
    pub thickness_mm: f64,
    /// Direction of the first vane, degrees from +x toward +y.
    #[serde(default = "Spider::default_angle_deg")]
    pub angle_deg: f64,
    /// Height above the primary's vertex, mm; not given: the diagonal's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub above_vertex_mm: Option<f64>,
    /// Radius of bent vanes, mm; not given: straight ones.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bend_radius_mm: Option<f64>,
}

impl Spider {
    /// The first vane points midway between the focuser and the side of the tube.
    pub(crate) fn default_angle_deg() -> f64 {
        45.0
    }

    /// Straight vanes at the diagonal's height, the first at 45 degrees.
    ///
    /// ```
    /// assert_eq!(catoptric::Spider::new(3, 0.8).thickness_mm, 0.8);
    /// ```
    pub fn new(vanes: u32, thickness_mm: f64) -> Self {
        let angle_deg = Self::default_angle_deg();
        Self { vanes, thickness_mm, angle_deg, above_vertex_mm: None, bend_radius_mm: None }
    }

    /// The same spider turned, so that its first vane points at this angle, degrees.
    ///
    /// ```
    /// assert_eq!(catoptric::Spider::new(3, 0.8).angle_deg(60.0).angle_deg, 60.0);
    /// ```
    #[must_use]
    pub fn angle_deg(self, angle_deg: f64) -> Self {
        Self { angle_deg, ..self }
    }

    /// The same spider at a height above the vertex, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Spider::new(3, 0.8).above_vertex_mm(1300.0).above_vertex_mm, Some(1300.0));
    /// ```
    #[must_use]
    pub fn above_vertex_mm(self, above_vertex_mm: f64) -> Self {
        Self { above_vertex_mm: Some(above_vertex_mm), ..self }
    }

    /// The same spider with vanes bent to a radius, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Spider::new(3, 0.8).bend_radius_mm(220.0).bend_radius_mm, Some(220.0));
    /// ```
    #[must_use]
    pub fn bend_radius_mm(self, bend_radius_mm: f64) -> Self {
        Self { bend_radius_mm: Some(bend_radius_mm), ..self }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::Spider::new(0, 1.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("spider", |f| self.note_problems(Surroundings::UNKNOWN, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, around: Surroundings, findings: &mut Findings) {
        if !(1..=12).contains(&self.vanes) {
            findings.fault("vanes", self.vanes, "1 to 12 vanes", "a spider without vanes is left out");
        }
        // Above this vanes are no thin obstacles any more, and next to each other they would overlap.
        let widest = around.clear_aperture_mm / 10.0;
        findings.number(
            "thickness_mm",
            self.thickness_mm,
            |t| (1e-3..=widest).contains(&t),
            "from 0.001 mm to a tenth of the clear aperture",
            "the depth of the vane along the tube?",
        );
        note_angle(self.angle_deg, findings);
        around.note_height(self.above_vertex_mm, findings);
        if let Some(radius) = self.bend_radius_mm {
            // An arc from the axis reaches as far as the diameter of its circle; with a margin for stars off the axis.
            let least = 0.55 * around.aperture_or_nothing_mm();
            findings.number(
                "bend_radius_mm",
                radius,
                |r| r.abs() >= least.max(1e-3) && r.abs() <= 1e6,
                "at least 0.55 of the clear aperture, so that the arc reaches the rim",
                "the height of the arc?",
            );
            if around.is_known && !around.has_diagonal {
                findings.fault(
                    "bend_radius_mm",
                    radius,
                    "bent vanes beside a diagonal or a holder that hides where they meet",
                    "",
                );
            }
        }
    }
}

/// A round body on the tube's axis: the holder of the diagonal, as the star sees it.
///
/// Units: mm; the height is counted from the primary's vertex, and not given it is that of the diagonal.
/// Errors: found by the train's check.
/// What it leaves out: a holder that is not round; one that lies wholly behind the diagonal stops nothing.
///
/// ```
/// assert_eq!(catoptric::Holder::new(76.0).above_vertex_mm, None);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Holder {
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Height above the primary's vertex, mm; not given: the diagonal's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub above_vertex_mm: Option<f64>,
}

impl Holder {
    /// A holder at the diagonal's height.
    ///
    /// ```
    /// assert_eq!(catoptric::Holder::new(76.0).diameter_mm, 76.0);
    /// ```
    pub fn new(diameter_mm: f64) -> Self {
        Self { diameter_mm, above_vertex_mm: None }
    }

    /// The same holder at a height above the vertex, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Holder::new(76.0).above_vertex_mm(1320.0).above_vertex_mm, Some(1320.0));
    /// ```
    #[must_use]
    pub fn above_vertex_mm(self, above_vertex_mm: f64) -> Self {
        Self { above_vertex_mm: Some(above_vertex_mm), ..self }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::Holder::new(0.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("holder", |f| self.note_problems(Surroundings::UNKNOWN, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, around: Surroundings, findings: &mut Findings) {
        findings.number(
            "diameter_mm",
            self.diameter_mm,
            |d| d >= 1e-3 && d < around.clear_aperture_mm,
            "a length above 0 and below the primary's clear aperture",
            "the tube's own diameter?",
        );
        around.note_height(self.above_vertex_mm, findings);
    }
}

/// Clips that hold the mirror by its rim: rectangles that reach inward over the glass, evenly spaced.
///
/// Units: mm from the rim of the clear aperture inward; degrees from +x toward +y.
/// Errors: found by the train's check.
/// What it leaves out: the clips' thickness, and the bending of the glass under them, which is a figure of its own
/// (three clips that pinch: a trefoil among `ZernikeTerms`).
///
/// ```
/// assert_eq!(catoptric::MirrorClips::new(3, 20.0, 6.0).angle_deg, 0.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MirrorClips {
    /// How many clips.
    pub clips: u32,
    /// Width along the rim, mm.
    pub width_mm: f64,
    /// How far a clip's straight inner edge lies inside the rim, mm.
    pub reach_mm: f64,
    /// Direction of the first clip, degrees from +x toward +y.
    #[serde(default)]
    pub angle_deg: f64,
}

impl MirrorClips {
    /// Clips of a width and a reach, the first toward +x.
    ///
    /// ```
    /// assert_eq!(catoptric::MirrorClips::new(3, 20.0, 6.0).reach_mm, 6.0);
    /// ```
    pub fn new(clips: u32, width_mm: f64, reach_mm: f64) -> Self {
        Self { clips, width_mm, reach_mm, angle_deg: 0.0 }
    }

    /// The same clips turned, so that the first points at this angle, degrees.
    ///
    /// ```
    /// assert_eq!(catoptric::MirrorClips::new(3, 20.0, 6.0).angle_deg(30.0).angle_deg, 30.0);
    /// ```
    #[must_use]
    pub fn angle_deg(self, angle_deg: f64) -> Self {
        Self { angle_deg, ..self }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::MirrorClips::new(3, -20.0, 6.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("mirror_clips", |f| self.note_problems(Surroundings::UNKNOWN, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, around: Surroundings, findings: &mut Findings) {
        if !(1..=24).contains(&self.clips) {
            findings.fault("clips", self.clips, "1 to 24 clips", "a mirror without clips is left out");
        }
        let tenth = around.clear_aperture_mm / 10.0;
        findings.number(
            "reach_mm",
            self.reach_mm,
            |r| (1e-3..=tenth).contains(&r),
            "from 0.001 mm to a tenth of the clear aperture",
            "counted from the centre instead of from the rim?",
        );
        // Neighbours on the rim stay apart: each has at most half of its share of the chord.
        let room =
            around.clear_aperture_mm * (std::f64::consts::PI / f64::from(self.clips.max(2))).sin() / 2.0;
        let widest = room.clamp(0.0, 3.0 * tenth).max(tenth.min(1e-3));
        findings.number(
            "width_mm",
            self.width_mm,
            |w| (1e-3..=widest).contains(&w),
            "from 0.001 mm to 0.3 of the clear aperture, and half of the distance to the next clip",
            "",
        );
        note_angle(self.angle_deg, findings);
    }
}

/// What a check needs to know of the other parts.
#[derive(Clone, Copy)]
pub(super) struct Surroundings {
    /// Infinite where it is not known.
    pub(super) clear_aperture_mm: f64,
    /// A diagonal or a holder hides the tube's axis.
    pub(super) has_diagonal: bool,
    /// A diagonal gives a height to those that state none.
    pub(super) gives_height: bool,
    pub(super) is_known: bool,
}

impl Surroundings {
    const UNKNOWN: Self =
        Self { clear_aperture_mm: f64::INFINITY, has_diagonal: false, gives_height: false, is_known: false };

    fn aperture_or_nothing_mm(self) -> f64 {
        if self.clear_aperture_mm.is_finite() { self.clear_aperture_mm } else { 0.0 }
    }

    fn note_height(self, above_vertex_mm: Option<f64>, findings: &mut Findings) {
        match above_vertex_mm {
            Some(height) => {
                findings.length("above_vertex_mm", height);
            }
            None if self.is_known && !self.gives_height => findings.fault(
                "above_vertex_mm",
                "nothing",
                "a height above the vertex where no diagonal gives one",
                "",
            ),
            None => {}
        }
    }
}

fn note_angle(angle_deg: f64, findings: &mut Findings) {
    findings.number(
        "angle_deg",
        angle_deg,
        |a| a.abs() <= 360.0,
        "from -360 to 360 degrees",
        "arcminutes, or radians?",
    );
}
