//! The diagonal flat, and the focal plane that it sends the light to.

use serde::{Deserialize, Serialize};

use super::coating::{check_reflectance, full};
use super::misplacement::Misplacement;
use super::text::is_zero;
use crate::error::{Findings, Result};
use crate::film::MetalFilm;

/// The flat that turns the light to the focuser: an ellipse at 45 degrees whose minor axis is given.
///
/// The major axis is sqrt 2 times the minor one, so that along the tube it looks like a circle.
///
/// Units: mm. The offset is counted toward the primary and equally away from the focuser; the
/// face moves by sqrt 2 times that. Not given, it is that of the largest lit circle which this size serves.
/// The minor axis is that of the face that reflects; a bevel makes the glass wider, and a thickness longer, which the
/// light on its way down sees as the diagonal's shadow.
/// Errors: found by the train's check.
/// Leaves out: over a cone of f/4 the angles on a face with a film run from 38 to 52 degrees, over which bare
/// aluminium's unpolarised reflectance changes by 6e-3 from one side of the cone to the other and the mean of it by
/// 2e-4; the phase that a film adds there, a tilt that moves the image by 0.15 um, and 1.5 nm of wavefront besides; how
/// deep the bevel lies behind the face (its shadow moves by that depth times the field angle, 10 um for 1 mm at 30'),
/// and chamfers of the back.
///
/// ```
/// let diagonal = catoptric::Diagonal::new(70.0);
/// assert_eq!(diagonal.offset_mm, None);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Diagonal {
    /// Minor axis of the reflecting face, mm.
    pub minor_axis_mm: f64,
    /// Offset toward the primary and equally away from the focuser, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset_mm: Option<f64>,
    /// Share of the power returned.
    #[serde(default = "full")]
    pub reflectance: f64,
    /// The metal on its face, instead of a reflectance: at 45 degrees, unpolarised, at the wavelength in use.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub film: Option<MetalFilm>,
    /// Thickness of the glass, square to its face, mm; 0: a face alone.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub thickness_mm: f64,
    /// How the glass is cut around its rim; needed beside a thickness.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub edge: Option<FlatEdge>,
    /// Width of the bevel all around, as seen along the tube, mm: it returns no light to the focus, and shadows.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub bevel_mm: f64,
    /// How far the flat stands from its place; none: just there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub misplaced: Option<Misplacement>,
}

/// How the glass of a flat is cut around its rim.
///
/// A rim along the tube hides behind the face for a star on the axis; one square to the face stands out from behind it,
/// away from the focuser, by the thickness over sqrt 2.
///
/// ```
/// assert_eq!(catoptric::FlatEdge::AlongTube.key(), "along_tube");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FlatEdge {
    /// Parallel to the tube's axis: a slice of a round bar.
    AlongTube,
    /// Square to the face.
    SquareToFace,
}

impl FlatEdge {
    /// Both ways.
    pub const ALL: [Self; 2] = [Self::AlongTube, Self::SquareToFace];

    /// The name as files and other languages write it.
    ///
    /// ```
    /// assert_eq!(catoptric::FlatEdge::SquareToFace.key(), "square_to_face");
    /// ```
    pub fn key(self) -> &'static str {
        match self {
            Self::AlongTube => "along_tube",
            Self::SquareToFace => "square_to_face",
        }
    }
}

impl Diagonal {
    /// A diagonal of this minor axis, offset for the largest lit circle.
    ///
    /// ```
    /// assert_eq!(catoptric::Diagonal::new(70.0).reflectance, 1.0);
    /// ```
    pub fn new(minor_axis_mm: f64) -> Self {
        Self {
            minor_axis_mm,
            offset_mm: None,
            reflectance: full(),
            film: None,
            thickness_mm: 0.0,
            edge: None,
            bevel_mm: 0.0,
            misplaced: None,
        }
    }

    /// The same diagonal with its offset stated, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Diagonal::new(70.0).offset_mm(0.0).offset_mm, Some(0.0));
    /// ```
    #[must_use]
    pub fn offset_mm(self, offset_mm: f64) -> Self {
        Self { offset_mm: Some(offset_mm), ..self }
    }

    /// The same diagonal with another reflectance.
    ///
    /// ```
    /// assert_eq!(catoptric::Diagonal::new(70.0).reflectance(0.78).reflectance, 0.78);
    /// ```
    #[must_use]
    pub fn reflectance(self, reflectance: f64) -> Self {
        Self { reflectance, ..self }
    }

    /// The same diagonal with a film of metal on its face, from which its reflectance follows.
    ///
    /// ```
    /// use catoptric::{Diagonal, Metal, MetalFilm};
    /// assert!(Diagonal::new(70.0).film(MetalFilm::new(Metal::Silver, 90.0)).film.is_some());
    /// ```
    #[must_use]
    pub fn film(self, film: MetalFilm) -> Self {
        Self { film: Some(film), ..self }
    }

    /// The same diagonal of glass so thick, square to its face, and cut in this way, mm.
    ///
    /// ```
    /// use catoptric::{Diagonal, FlatEdge};
    /// let flat = Diagonal::new(70.0).thickness_mm(12.0, FlatEdge::AlongTube);
    /// assert_eq!((flat.thickness_mm, flat.edge), (12.0, Some(FlatEdge::AlongTube)));
    /// ```
    #[must_use]
    pub fn thickness_mm(self, thickness_mm: f64, edge: FlatEdge) -> Self {
        Self { thickness_mm, edge: Some(edge), ..self }
    }

    /// The same diagonal with a bevel around its face, as seen along the tube, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Diagonal::new(70.0).bevel_mm(0.8).bevel_mm, 0.8);
    /// ```
    #[must_use]
    pub fn bevel_mm(self, bevel_mm: f64) -> Self {
        Self { bevel_mm, ..self }
    }

    /// The same diagonal out of its place.
    ///
    /// ```
    /// use catoptric::{Diagonal, Misplacement};
    /// let flat = Diagonal::new(70.0).misplaced(Misplacement { nod_arcmin: 5.0, ..Misplacement::NONE });
    /// assert!(flat.misplaced.is_some());
    /// ```
    #[must_use]
    pub fn misplaced(self, misplaced: Misplacement) -> Self {
        Self { misplaced: Some(misplaced), ..self }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::Diagonal::new(-70.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("diagonal", |f| self.note_problems(f64::INFINITY, f));
        findings.refuse()
    }

    pub(super) fn note_problems(&self, clear_aperture_mm: f64, findings: &mut Findings) {
        findings.number(
            "minor_axis_mm",
            self.minor_axis_mm,
            |v| v > 0.0 && v < clear_aperture_mm,
            "a length above 0 and below the primary's clear aperture",
            "inches, or the primary's own diameter?",
        );
        if let Some(offset) = self.offset_mm {
            findings.number(
                "offset_mm",
                offset,
                |v| v.abs() <= self.minor_axis_mm / 2.0,
                "not beyond half the minor axis",
                "the offset counts toward the primary, not along the face",
            );
        }
        check_reflectance(self.reflectance, findings);
        if let Some(film) = &self.film {
            findings.within("film", |f| film.note_problems(f));
            if self.reflectance < 1.0 {
                findings.fault(
                    "reflectance",
                    format!("{} beside a film", self.reflectance),
                    "one of the two, not both",
                    "the film's reflectance follows from its metal and thickness",
                );
            }
        }
        // Beside a size that cannot be there is nothing to compare with.
        let minor_axis_mm = if self.minor_axis_mm > 0.0 { self.minor_axis_mm } else { f64::INFINITY };
        let is_thick = findings.number(
            "thickness_mm",
            self.thickness_mm,
            |t| t >= 0.0 && t <= minor_axis_mm,
            "from 0 to the minor axis",
            "inches, or a sign?",
        ) && self.thickness_mm > 0.0;
        if is_thick && self.edge.is_none() {
            findings.fault(
                "edge",
                "nothing",
                "along_tube or square_to_face beside a thickness",
                "the two ways of cutting the glass shadow differently",
            );
        }
        let is_bevel = findings.number(
            "bevel_mm",
            self.bevel_mm,
            |b| b >= 0.0 && b <= minor_axis_mm / 4.0,
            "from 0 to a quarter of the minor axis",
            "the bevel's width as seen along the tube, on one side",
        );
        // A face wider than the mirror has its own fault.
        let is_wider = minor_axis_mm + 2.0 * self.bevel_mm >= clear_aperture_mm;
        if is_bevel && is_wider && minor_axis_mm < clear_aperture_mm {
            let allowed = "a glass below the primary's clear aperture";
            findings.fault("bevel_mm", self.bevel_mm, allowed, "");
        }
        if let Some(misplaced) = &self.misplaced {
            findings.within("misplaced", |f| misplaced.note_problems(self.minor_axis_mm, f));
        }
    }
}

/// Where the image is looked at: the plane square to the focuser's axis.
///
/// Units: mm, from the axis of the tube.
/// Errors: found by the train's check (more than half the clear aperture, less than the focal length).
///
/// ```
/// assert_eq!(catoptric::FocalPlane::new(235.0).axis_to_focus_mm, 235.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FocalPlane {
    /// Distance from the axis of the tube to the focal plane, mm.
    pub axis_to_focus_mm: f64,
}

impl FocalPlane {
    /// A focal plane at this distance from the tube's axis.
    ///
    /// ```
    /// assert_eq!(catoptric::FocalPlane::new(235.0), catoptric::FocalPlane { axis_to_focus_mm: 235.0 });
    /// ```
    pub fn new(axis_to_focus_mm: f64) -> Self {
        Self { axis_to_focus_mm }
    }

    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::FocalPlane::new(-235.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("focal_plane", |f| self.note_problems(0.0, f64::INFINITY, f));
        findings.refuse()
    }

    pub(super) fn note_problems(
        &self,
        clear_aperture_mm: f64,
        focal_length_mm: f64,
        findings: &mut Findings,
    ) {
        findings.number(
            "axis_to_focus_mm",
            self.axis_to_focus_mm,
            |v| v > clear_aperture_mm / 2.0 && v < focal_length_mm,
            "more than half the clear aperture and less than the focal length",
            "counted from the tube's wall instead of its axis?",
        );
    }
}
