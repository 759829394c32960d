//! What a telescope gives behind an eyepiece: power, field, exit pupil, and how good the edge of the field is.

use serde::{Deserialize, Serialize};

use super::eye::{Eyepiece, LARGEST_PUPIL_MM};
use super::field_edge::{EdgeLight, EdgeSpot, MiddleFocus};
use crate::error::{Error, Findings, Result};
use crate::model::Primary;
use crate::numeric::pool;
use crate::trace::Prepared;
use crate::units::{DEFAULT_WAVELENGTH_NM, NM_PER_MM, RADIANS_PER_ARCMIN, UM_PER_MM};

/// Most eyepieces of one comparison.
const MOST_EYEPIECES: usize = 10_000;

/// The eye behind an eyepiece, and the light.
///
/// Units: mm; dioptres; nm.
///
/// ```
/// assert_eq!(catoptric::EyepieceOptions::default().eye_pupil_mm, None);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EyepieceOptions {
    /// Opening of the eye's iris, mm; not given: as wide as the exit pupil or wider. Centred on the exit pupil.
    pub eye_pupil_mm: Option<f64>,
    /// How far the eye can turn from the far to the near, dioptres: about 10 at twenty, 4 at forty, 1 at sixty years
    /// (from memory).
    pub accommodation_dioptres: f64,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
}

impl Default for EyepieceOptions {
    fn default() -> Self {
        Self { eye_pupil_mm: None, accommodation_dioptres: 0.0, wavelength_nm: DEFAULT_WAVELENGTH_NM }
    }
}

impl EyepieceOptions {
    fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        if let Some(pupil) = self.eye_pupil_mm {
            let allowed = "an iris of 0.5 to 10 mm";
            findings.number("eye_pupil_mm", pupil, |v| (0.5..=10.0).contains(&v), allowed, "a radius?");
        }
        findings.number(
            "accommodation_dioptres",
            self.accommodation_dioptres,
            |v| (0.0..=20.0).contains(&v),
            "0 to 20 dioptres",
            "a sign, or millimetres given for dioptres?",
        );
        let visible = |v: f64| (200.0..=2000.0).contains(&v);
        findings.number("wavelength_nm", self.wavelength_nm, visible, "200 to 2000 nm", "micrometres?");
        findings.refuse()
    }
}

/// What a telescope gives behind one eyepiece.
///
/// Where the iris is smaller than the exit pupil, only the middle of the mirror is used: the effective aperture is iris
/// times power, and all that follows (obstruction, edge, depth of focus) is that of the mirror masked to it.
///
/// Units: mm; arcmin on the sky, or at the eye, that is on the sky times the power; dioptres; nm.
/// Errors: those of [`Prepared::behind`], which makes it.
/// Source: exit pupil D f_e/f, power f/f_e, true field 2 atan(stop/(2 f)): paraxial optics of two lenses one focal
/// length each from the common focus. Depth: W020 = dz/(8F^2) is a quarter wave at dz = 2 lambda F^2.
/// Leaves out: the eyepiece's own errors, among them its field curvature, which adds to the mirror's; the offset of the
/// diagonal's shadow from the middle of the exit pupil; the drift of the exit pupil over the field.
///
/// ```
/// use catoptric::{Diagonal, Eyepiece, EyepieceOptions, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
///     .diagonal(Diagonal::new(79.4))
///     .focal_plane(FocalPlane::new(303.0))
///     .build()?;
/// let facts = Prepared::new(&train).behind(&Eyepiece::new(35.0, 40.0), EyepieceOptions::default())?;
/// assert!((facts.magnification - 58.0).abs() < 1e-12 && (facts.exit_pupil_mm - 7.0).abs() < 1e-12);
/// assert!((facts.shadow_mm - 7.0 * 79.4 / 406.0).abs() < 1e-12);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EyepieceFacts {
    /// The eyepiece.
    pub eyepiece: Eyepiece,
    /// The eye and the light.
    pub options: EyepieceOptions,
    /// Power.
    pub magnification: f64,
    /// Diameter of the exit pupil, mm.
    pub exit_pupil_mm: f64,
    /// Diameter of the field on the sky, from the field stop, arcmin.
    pub true_field_arcmin: f64,
    /// The same as apparent field over power, arcmin: a usual rule that takes no account of distortion; none where no
    /// apparent field is given.
    pub true_field_by_apparent_arcmin: Option<f64>,
    /// Diameter of the shadow of the diagonal (or of its holder) in the exit pupil, mm.
    pub shadow_mm: f64,
    /// Its share of the exit pupil's area.
    pub shadow_share: f64,
    /// Diameter of the mirror that the eye takes in, mm.
    pub effective_aperture_mm: f64,
    /// Focal length over it.
    pub effective_focal_ratio: f64,
    /// Shadow over what the iris lets pass, by diameter; 1 where the iris lies within the shadow.
    pub effective_obstruction_ratio: f64,
    /// Light that enters the eye over that in the exit pupil; without other parts than the shadow.
    pub eye_share: f64,
    /// Light at the field stop's edge; none where the eye sees none in the middle.
    pub edge_light: Option<EdgeLight>,
    /// Sharpness at the field stop's edge, for a star across.
    pub edge_spot: EdgeSpot,
    /// A quarter wave of defocus either way, mm in the focal plane.
    pub depth_of_focus_mm: f64,
    /// Focus travel for one dioptre at the eye, mm.
    pub mm_per_dioptre: f64,
    /// What deserves a word.
    pub cautions: Vec<String>,
}

impl EyepieceFacts {
    /// A length in the focal plane as an angle at the eye, arcmin: on the sky times the power.
    ///
    /// Units: um in, arcmin out: um / 1000 / f_e in radians, for f the telescope's and f_e the eyepiece's focal length
    /// (length/f) (f/f_e).
    ///
    /// ```
    /// use catoptric::{Eyepiece, EyepieceOptions, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0))).build()?;
    /// let facts = Prepared::new(&train).behind(&Eyepiece::new(20.0, 24.0), EyepieceOptions::default())?;
    /// assert!((facts.at_eye_arcmin(20.0) - 3.437_746_77).abs() < 1e-8); // a thousandth of a radian
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn at_eye_arcmin(&self, length_um: f64) -> f64 {
        length_um / UM_PER_MM / self.eyepiece.focal_length_mm / RADIANS_PER_ARCMIN
    }

    /// The edge's defocus at the eye, dioptres, the middle being in focus for a relaxed eye.
    ///
    /// Positive: the edge's light leaves converging, which no relaxed eye brings to a focus; an eye that has focused
    /// the middle with so much of its accommodation lets go of it and sees the edge sharp. A paraboloid's is h^2/(2 f)
    /// over the travel for a dioptre.
    ///
    /// ```
    /// use catoptric::{Eyepiece, EyepieceOptions, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0))).build()?;
    /// let facts = Prepared::new(&train).behind(&Eyepiece::new(20.0, 24.0), EyepieceOptions::default())?;
    /// let medial = 12.0 * 12.0 / 2000.0 / 0.4; // Schroeder, Astronomical Optics, chapter 6: medial radius f
    /// assert!((facts.edge_dioptres() / medial - 1.0).abs() < 0.01);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn edge_dioptres(&self) -> f64 {
        -self.edge_spot.defocus_mm / self.mm_per_dioptre
    }

    /// A quarter wave of defocus as dioptres at the eye.
    ///
    /// ```
    /// use catoptric::{Eyepiece, EyepieceOptions, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0))).build()?;
    /// let facts = Prepared::new(&train).behind(&Eyepiece::new(20.0, 24.0), EyepieceOptions::default())?;
    /// assert!((facts.depth_dioptres() - 2.0 * 550e-6 / 16.0 * 1000.0).abs() < 1e-12); // 2 lambda over E^2, in metres
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn depth_dioptres(&self) -> f64 {
        self.depth_of_focus_mm / self.mm_per_dioptre
    }

    /// How far inside of the focus the eye's accommodation still follows, mm in the focal plane.
    ///
    /// ```
    /// use catoptric::{Eyepiece, EyepieceOptions, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0))).build()?;
    /// let eye = EyepieceOptions { accommodation_dioptres: 2.0, ..EyepieceOptions::default() };
    /// assert_eq!(Prepared::new(&train).behind(&Eyepiece::new(20.0, 24.0), eye)?.accommodation_mm(), 0.8);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn accommodation_mm(&self) -> f64 {
        self.options.accommodation_dioptres * self.mm_per_dioptre
    }
}

impl Prepared {
    /// What this telescope gives behind an eyepiece.
    ///
    /// Units: mm; arcmin; dioptres.
    /// Errors: [`Error::Input`] for an eyepiece or an eye that cannot be.
    /// Method: closed forms of two lenses; the edge's light by the outline of the lit pupil ([`Prepared::light`]), its
    /// sharpness by exact rays ([`Prepared::spot_at`]).
    /// Leaves out: what [`EyepieceFacts`] leaves out.
    ///
    /// ```
    /// use catoptric::{Eyepiece, EyepieceOptions, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(400.0, FocalLengthMm(1800.0))).build()?;
    /// // An iris of 5 mm behind an exit pupil of 6.67 mm uses 300 mm of the mirror.
    /// let eye = EyepieceOptions { eye_pupil_mm: Some(5.0), ..EyepieceOptions::default() };
    /// let facts = Prepared::new(&train).behind(&Eyepiece::new(30.0, 36.0), eye)?;
    /// assert!((facts.effective_aperture_mm - 300.0).abs() < 1e-12 && (facts.eye_share - 0.5625).abs() < 1e-12);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn behind(&self, eyepiece: &Eyepiece, options: EyepieceOptions) -> Result<EyepieceFacts> {
        self.behind_one(eyepiece, options, None)
    }

    /// The same; the focus of the middle without an iris may be known already.
    fn behind_one(
        &self,
        eyepiece: &Eyepiece,
        options: EyepieceOptions,
        middle: Option<MiddleFocus>,
    ) -> Result<EyepieceFacts> {
        let mut findings = Findings::default();
        findings.within("eyepiece", |f| {
            eyepiece.note_sizes(f);
        });
        findings.refuse()?;
        options.check()?;
        let focal_mm = self.focal_length_mm();
        let exit_pupil_mm = eyepiece.exit_pupil_mm(self.focal_ratio());
        let shadow_mm = self.obstruction_ratio() * exit_pupil_mm;
        let magnification = eyepiece.magnification(focal_mm);
        let iris_mm = options.eye_pupil_mm.map_or(exit_pupil_mm, |p| p.min(exit_pupil_mm));
        let mut primary = self.train().primary().clone();
        if iris_mm < exit_pupil_mm {
            primary.mask_diameter_mm = Some(iris_mm * magnification);
        }
        let edge_mm = eyepiece.field_stop_mm / 2.0;
        let (edge_light, edge_spot) = if iris_mm > shadow_mm {
            let seen = self.with(&primary)?;
            let middle = match middle {
                Some(known) if primary == *self.train().primary() => known,
                _ => MiddleFocus::of(&seen)?,
            };
            (EdgeLight::at_radius(&seen, edge_mm)?, EdgeSpot::at(&seen, middle, 0.0, edge_mm)?)
        } else {
            (None, EdgeSpot::of_mirror(&primary, 0.0, edge_mm)?)
        };
        let effective_focal_ratio = eyepiece.focal_length_mm / iris_mm;
        let area = |outer_mm: f64| (outer_mm * outer_mm - shadow_mm * shadow_mm).max(0.0);
        let mut facts = EyepieceFacts {
            eyepiece: *eyepiece,
            options,
            magnification,
            exit_pupil_mm,
            true_field_arcmin: eyepiece.true_field_arcmin(focal_mm),
            true_field_by_apparent_arcmin: eyepiece.apparent_field_deg.map(|deg| deg * 60.0 / magnification),
            shadow_mm,
            shadow_share: self.obstruction_ratio().powi(2),
            effective_aperture_mm: iris_mm * magnification,
            effective_focal_ratio,
            effective_obstruction_ratio: (shadow_mm / iris_mm).min(1.0),
            eye_share: area(iris_mm) / area(exit_pupil_mm),
            edge_light,
            edge_spot,
            depth_of_focus_mm: 2.0 * options.wavelength_nm / NM_PER_MM * effective_focal_ratio.powi(2),
            mm_per_dioptre: eyepiece.mm_per_dioptre(),
            cautions: Vec::new(),
        };
        facts.cautions = cautions(self, &facts);
        Ok(facts)
    }

    /// The same for a list of eyepieces, in its order.
    ///
    /// Errors: as [`Prepared::behind`], with the place in the list; no eyepieces.
    ///
    /// ```
    /// use catoptric::{Eyepiece, EyepieceOptions, FocalLengthMm, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0))).build()?;
    /// let eyepieces = [Eyepiece::new(25.0, 27.0), Eyepiece::new(10.0, 11.0)];
    /// let facts = Prepared::new(&train).behind_each(&eyepieces, EyepieceOptions::default())?;
    /// assert_eq!(facts.iter().map(|f| f.magnification).collect::<Vec<_>>(), [40.0, 100.0]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn behind_each(
        &self,
        eyepieces: &[Eyepiece],
        options: EyepieceOptions,
    ) -> Result<Vec<EyepieceFacts>> {
        if !(1..=MOST_EYEPIECES).contains(&eyepieces.len()) {
            let found = format!("{} eyepieces", eyepieces.len());
            return Err(Error::input("eyepieces", found, format!("1 to {MOST_EYEPIECES} eyepieces"), ""));
        }
        let mut findings = Findings::default();
        for (i, eyepiece) in eyepieces.iter().enumerate() {
            findings.within(format!("eyepieces[{i}]"), |f| {
                eyepiece.note_sizes(f);
            });
        }
        findings.refuse()?;
        let middle = MiddleFocus::of(self)?;
        let each = pool::map_ordered(eyepieces.len(), eyepieces.len() > 1, |i| {
            self.behind_one(&eyepieces[i], options, Some(middle))
        });
        each.into_iter().collect()
    }

    /// This telescope with another primary.
    fn with(&self, primary: &Primary) -> Result<Self> {
        if primary == self.train().primary() {
            return Ok(self.clone());
        }
        let mut parts = self.train().to_parts();
        parts.primary = primary.clone();
        Ok(Self::new(&parts.build()?))
    }
}

/// What an observer would want to be told.
fn cautions(prepared: &Prepared, facts: &EyepieceFacts) -> Vec<String> {
    let mut cautions = Vec::new();
    let train = prepared.train();
    if let Some(tube) = train.drawtube()
        && facts.eyepiece.field_stop_mm > tube.bore_mm
    {
        cautions.push(format!(
            "the field stop ({} mm) is wider than the drawtube's bore ({} mm)",
            facts.eyepiece.field_stop_mm, tube.bore_mm
        ));
    }
    match facts.options.eye_pupil_mm {
        Some(iris) if iris <= facts.shadow_mm => cautions.push(format!(
            "the iris ({iris} mm) lies within the diagonal's shadow ({:.2} mm): the middle of the view is dark",
            facts.shadow_mm
        )),
        Some(iris) if iris < facts.exit_pupil_mm => cautions.push(format!(
            "the iris ({iris} mm) stops the mirror down to {:.0} mm",
            facts.effective_aperture_mm
        )),
        None if facts.exit_pupil_mm > LARGEST_PUPIL_MM => cautions.push(format!(
            "the exit pupil ({:.1} mm) is wider than an iris opens ({} mm)",
            facts.exit_pupil_mm,
            LARGEST_PUPIL_MM
        )),
        _ => {}
    }
    if let Some(by_rule) = facts.true_field_by_apparent_arcmin
        && (by_rule / facts.true_field_arcmin - 1.0).abs() > 0.25
    {
        cautions.push(format!(
            "field stop and apparent field disagree: {:.1} and {by_rule:.1} arcmin on the sky",
            facts.true_field_arcmin
        ));
    }
    cautions
}
