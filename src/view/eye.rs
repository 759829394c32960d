//! An eyepiece, and the eye behind it.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use crate::error::Findings;

/// The wavelength for which the eye's transfer function was fitted, nm.
const EYE_NM: f64 = 555.0;
/// A dioptre is one over a metre.
const MM_PER_METRE: f64 = 1000.0;
/// Largest exit pupil for which the eye's formula is asked, mm: beyond, the iris stops the beam in any case.
pub(super) const LARGEST_PUPIL_MM: f64 = 7.0;

/// An eyepiece: it magnifies and adds no error of its own.
///
/// The exit pupil is its focal length over the telescope's focal ratio, the magnification the telescope's focal length
/// over its own, the true field twice the arc tangent of half the field stop over the telescope's focal length.
///
/// Where the field stop lies beside the shoulder that seats on the focuser counts for the focus; the apparent field as
/// its maker states it, for a true field by the usual rule. Both may be left out.
///
/// Units: mm; degrees.
/// Errors: found when something is looked at.
/// Leaves out: the eyepiece's own errors, its distortion, and the light it loses.
///
/// ```
/// use catoptric::Eyepiece;
/// let eyepiece = Eyepiece::new(10.0, 12.0).shoulder_to_stop_mm(-3.0);
/// assert_eq!((eyepiece.exit_pupil_mm(5.0), eyepiece.magnification(1500.0)), (2.0, 150.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Eyepiece {
    /// Focal length, mm.
    pub focal_length_mm: f64,
    /// Diameter of the field stop, mm.
    pub field_stop_mm: f64,
    /// From the shoulder to the field stop, mm; positive: the stop lies outside, further from the tube's axis.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shoulder_to_stop_mm: Option<f64>,
    /// Apparent field as stated by the maker, from edge to edge, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub apparent_field_deg: Option<f64>,
}

impl Eyepiece {
    /// An eyepiece from its two numbers.
    ///
    /// ```
    /// assert_eq!(catoptric::Eyepiece::new(10.0, 12.0).field_stop_mm, 12.0);
    /// ```
    pub fn new(focal_length_mm: f64, field_stop_mm: f64) -> Self {
        Self { focal_length_mm, field_stop_mm, shoulder_to_stop_mm: None, apparent_field_deg: None }
    }

    /// The same eyepiece with the place of its field stop beside its shoulder, mm; positive: outside.
    ///
    /// ```
    /// assert_eq!(catoptric::Eyepiece::new(10.0, 12.0).shoulder_to_stop_mm(-3.0).shoulder_to_stop_mm, Some(-3.0));
    /// ```
    #[must_use]
    pub fn shoulder_to_stop_mm(self, shoulder_to_stop_mm: f64) -> Self {
        Self { shoulder_to_stop_mm: Some(shoulder_to_stop_mm), ..self }
    }

    /// The same eyepiece with its apparent field, from edge to edge, degrees.
    ///
    /// ```
    /// assert_eq!(catoptric::Eyepiece::new(10.0, 12.0).apparent_field_deg(68.0).apparent_field_deg, Some(68.0));
    /// ```
    #[must_use]
    pub fn apparent_field_deg(self, apparent_field_deg: f64) -> Self {
        Self { apparent_field_deg: Some(apparent_field_deg), ..self }
    }

    /// How far the image moves along the light for one dioptre at the eye, mm: the focal length squared over a metre.
    ///
    /// ```
    /// assert_eq!(catoptric::Eyepiece::new(20.0, 24.0).mm_per_dioptre(), 0.4);
    /// ```
    pub fn mm_per_dioptre(&self) -> f64 {
        self.focal_length_mm * self.focal_length_mm / MM_PER_METRE
    }

    /// Diameter of the light's exit behind a telescope of this focal ratio, mm.
    pub fn exit_pupil_mm(&self, focal_ratio: f64) -> f64 {
        self.focal_length_mm / focal_ratio
    }

    /// Magnification behind a telescope of this focal length.
    pub fn magnification(&self, telescope_mm: f64) -> f64 {
        telescope_mm / self.focal_length_mm
    }

    /// Diameter of the field on the sky behind a telescope of this focal length, arcmin.
    ///
    /// ```
    /// assert!((catoptric::Eyepiece::new(10.0, 12.0).true_field_arcmin(1500.0) - 27.502).abs() < 1e-3);
    /// ```
    pub fn true_field_arcmin(&self, telescope_mm: f64) -> f64 {
        2.0 * (self.field_stop_mm / (2.0 * telescope_mm)).atan().to_degrees() * 60.0
    }

    /// Notes what no eyepiece has; tells whether the focal length can be.
    pub(crate) fn note_sizes(&self, findings: &mut Findings) -> bool {
        let sound = findings.number(
            "focal_length_mm",
            self.focal_length_mm,
            |v| (0.5..=200.0).contains(&v),
            "an eyepiece of 0.5 to 200 mm",
            "the telescope's focal length, or centimetres?",
        );
        findings.number(
            "field_stop_mm",
            self.field_stop_mm,
            |v| (0.1..=200.0).contains(&v),
            "a field stop of 0.1 to 200 mm",
            "the apparent field in degrees?",
        );
        if let Some(place) = self.shoulder_to_stop_mm {
            findings.number(
                "shoulder_to_stop_mm",
                place,
                |v| v.abs() <= 200.0,
                "a place within 200 mm of the shoulder",
                "counted from the tube's axis instead of from the shoulder?",
            );
        }
        if let Some(field) = self.apparent_field_deg {
            findings.number(
                "apparent_field_deg",
                field,
                |v| (1.0..=150.0).contains(&v),
                "an apparent field of 1 to 150 degrees",
                "the true field, or the field stop in mm?",
            );
        }
        sound
    }

    /// The same, and an exit pupil that the eye cannot take in.
    pub(super) fn note_problems(&self, focal_ratio: f64, findings: &mut Findings) {
        let pupil = self.exit_pupil_mm(focal_ratio);
        if self.note_sizes(findings) && pupil > LARGEST_PUPIL_MM {
            let found = format!("{} (exit pupil {pupil:.2} mm)", self.focal_length_mm);
            let allowed = format!(
                "an exit pupil of at most {LARGEST_PUPIL_MM} mm, {:.1} mm of focal length",
                LARGEST_PUPIL_MM * focal_ratio
            );
            findings.fault(
                "focal_length_mm",
                found,
                &allowed,
                "the eye's own pupil would stop the mirror down",
            );
        }
    }
}

/// The mean eye's transfer of contrast, well corrected and looking through a pupil of its own.
///
/// M = (1 + (u/u1)^2)^-0.62 sqrt(D(u)), u1 = 21.95 - 5.512 d + 0.3922 d^2, with D the transfer of diffraction by the
/// same round pupil at 555 nm. For d from 2 to 6 mm; used here beyond, from 0 to 7 mm.
///
/// Units: cycles for each degree; mm.
/// Source: Watson 2013, A formula for the mean human optical modulation transfer function as a function of pupil size,
/// Journal of Vision 13(6):18 (the formula from two independent restatements).
/// Leaves out: scattered light within the eye; what retina and brain make of the image; and how much single eyes differ
/// from the mean of the 200 corrected ones behind the formula, which is the largest uncertainty of a view at an
/// eyepiece: a comparison of two views through the same eye stands on firmer ground than either.
///
/// ```
/// use catoptric::eye_mtf;
/// assert_eq!(eye_mtf(0.0, 3.0), 1.0);
/// assert!((eye_mtf(10.0, 3.0) - 0.562_616_845_632).abs() < 1e-12); // the formula in mpmath
/// ```
pub fn eye_mtf(cycles_per_deg: f64, pupil_mm: f64) -> f64 {
    aberrations(cycles_per_deg, pupil_mm) * diffraction(cycles_per_deg, pupil_mm).sqrt()
}

/// What the eye takes beyond diffraction, which the exit pupil has done already: M/D, and never above 1, which the
/// formula exceeds near the limit of small pupils. Below about 1.5 mm next to nothing is left of it.
pub(super) fn eye_beyond_diffraction(cycles_per_deg: f64, pupil_mm: f64) -> f64 {
    let limit = diffraction(cycles_per_deg, pupil_mm);
    if limit <= 0.0 { 1.0 } else { (aberrations(cycles_per_deg, pupil_mm) / limit.sqrt()).min(1.0) }
}

fn aberrations(cycles_per_deg: f64, pupil_mm: f64) -> f64 {
    let corner = 21.95 - 5.512 * pupil_mm + 0.3922 * pupil_mm * pupil_mm;
    (1.0 + (cycles_per_deg / corner).powi(2)).powf(-0.62)
}

/// The transfer of a round pupil: the overlap of two circles.
fn diffraction(cycles_per_deg: f64, pupil_mm: f64) -> f64 {
    let share = cycles_per_deg.abs() / (pupil_mm * 1e6 / EYE_NM * PI / 180.0);
    if share >= 1.0 { 0.0 } else { 2.0 / PI * (share.acos() - share * (1.0 - share * share).sqrt()) }
}
