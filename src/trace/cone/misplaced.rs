//! What a flat out of its place does, in the closed forms that a maker uses: of first order, beside the exact answers.

use std::f64::consts::SQRT_2;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::model::Misplacement;
use crate::trace::fold::Fold;
use crate::trace::prepared::Prepared;
use crate::units::{NM_PER_MM, RADIANS_PER_ARCMIN};

/// What a misplaced flat does to image, focus and lit circle, to first order in its moves and turns.
///
/// With L from the tube's axis to the focal plane, o the offset of the face, and the turns n (nod), r (roll) and t
/// (turn) about the face's centre: the image moves by 2 n (L + o) - (move toward primary + move toward focuser) along
/// and L (sqrt 2 r + t) across; the focal plane then lies by 2 n o - (both moves) beyond the image; it leans by
/// 2 n along and sqrt 2 r + t across. At a field radius the lean is a focus error of that angle times the radius, W020
/// of it over 8 F^2. A perfect flat makes no aberration, so refocusing and centring cure all but the lean.
///
/// Units: mm, arcmin, waves of `wavelength_nm`.
/// Source: own derivation, one reflection to first order; the angles are those of every textbook on collimation
/// (2, sqrt 2 and 1). W020 = dz/(8 F^2).
/// Leaves out: second order, a share of 3e-4 for each arcminute; [`Prepared::image_shift`] is exact. The lit circle's
/// move is that of the flat's two ends and two sides as the rim sees them, its own shape left as it is.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Misplacement, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let nods = Misplacement { nod_arcmin: 10.0, ..Misplacement::NONE };
/// let effects = Prepared::new(&train).misplacement_effects(&nods, 12.0, 550.0)?;
/// assert!(effects.tilt_along_arcmin == 20.0 && effects.image_along_mm > 1.3 && effects.image_along_mm < 1.5);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MisplacementEffects {
    /// The misplacement.
    pub misplaced: Misplacement,
    /// How far the image moves along, mm: positive toward the sky end.
    pub image_along_mm: f64,
    /// How far it moves across, mm.
    pub image_across_mm: f64,
    /// How far the focal plane then lies beyond the image, mm: the focuser moves in by it.
    pub longer_path_mm: f64,
    /// How far the focal plane leans along, arcmin: positive where its sky end lies further along the light.
    pub tilt_along_arcmin: f64,
    /// How far it leans across, arcmin.
    pub tilt_across_arcmin: f64,
    /// Field radius at which the next two hold, mm.
    pub field_radius_mm: f64,
    /// Greatest focus error at that radius by the lean, mm: on the other side it has the other sign.
    pub edge_defocus_mm: f64,
    /// The same as W020, waves.
    pub edge_defocus_waves: f64,
    /// Wavelength of these waves, nm.
    pub wavelength_nm: f64,
    /// How far the fully lit circle moves on the focal plane along, mm.
    pub lit_circle_along_mm: f64,
    /// How far it moves across, mm.
    pub lit_circle_across_mm: f64,
}

impl Prepared {
    /// What this misplacement of the train's flat would do, in closed form; one that the train has already is left out
    /// of account.
    ///
    /// Units: arcmin and mm in `misplaced`; mm; nm.
    /// Errors: [`Error::Input`] for a train without a diagonal, for a misplacement that cannot be, a negative field
    /// radius, or a wavelength that is not above 0.
    /// Source: see [`MisplacementEffects`].
    ///
    /// ```
    /// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Misplacement, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(70.0))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .build()?;
    /// let dropped = Misplacement { toward_primary_mm: 1.5, ..Misplacement::NONE };
    /// let effects = Prepared::new(&train).misplacement_effects(&dropped, 12.0, 550.0)?;
    /// assert!(effects.image_along_mm == -1.5 && effects.edge_defocus_waves == 0.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn misplacement_effects(
        &self,
        misplaced: &Misplacement,
        field_radius_mm: f64,
        wavelength_nm: f64,
    ) -> Result<MisplacementEffects> {
        let train = self.train();
        let (Some(diagonal), Some(plane)) = (train.diagonal(), train.focal_plane()) else {
            return Err(Error::input("diagonal", "nothing", "a train with a diagonal and a focal plane", ""));
        };
        if !(0.0..=plane.axis_to_focus_mm).contains(&field_radius_mm) {
            return Err(Error::input(
                "field_radius_mm",
                field_radius_mm,
                "from 0 to the distance of the focal plane",
                "a sign, or micrometres?",
            ));
        }
        if !(wavelength_nm > 0.0 && wavelength_nm <= 1e6) {
            return Err(Error::input("wavelength_nm", wavelength_nm, "above 0", "micrometres, or metres?"));
        }
        let fold_with = |misplaced| {
            let mut parts = train.to_parts();
            parts.diagonal = Some(crate::model::Diagonal { misplaced, ..*diagonal });
            // A train with a diagonal and a focal plane has a fold.
            parts.build().map(|train| Fold::of(&train))
        };
        let (Some(there), Some(here)) = (fold_with(Some(*misplaced))?, fold_with(None)?) else {
            return Err(Error::input("diagonal", "nothing", "a train with a diagonal and a focal plane", ""));
        };
        let radians = |arcmin: f64| arcmin * RADIANS_PER_ARCMIN;
        let (to_focus, offset) = (plane.axis_to_focus_mm, here.offset_mm);
        let nod = radians(misplaced.nod_arcmin);
        let moves = misplaced.toward_primary_mm + misplaced.toward_focuser_mm;
        let tilt_across_arcmin = SQRT_2 * misplaced.roll_arcmin + misplaced.turn_arcmin;
        let tilt_along_arcmin = 2.0 * misplaced.nod_arcmin;
        let image_along_mm = 2.0 * nod * (to_focus + offset) - moves;
        let image_across_mm = to_focus * radians(tilt_across_arcmin);
        let edge_defocus_mm = field_radius_mm * radians(tilt_along_arcmin.hypot(tilt_across_arcmin));
        let f_squared = self.focal_ratio().powi(2);
        let [there, here] = [self.lit_middle(&there), self.lit_middle(&here)];
        Ok(MisplacementEffects {
            misplaced: *misplaced,
            image_along_mm,
            image_across_mm,
            longer_path_mm: 2.0 * nod * offset - moves,
            tilt_along_arcmin,
            tilt_across_arcmin,
            field_radius_mm,
            edge_defocus_mm,
            edge_defocus_waves: edge_defocus_mm * NM_PER_MM / (8.0 * f_squared * wavelength_nm),
            wavelength_nm,
            lit_circle_along_mm: there[0] - here[0] + image_along_mm,
            lit_circle_across_mm: there[1] - here[1] + image_across_mm,
        })
    }

    /// The middle of what the flat's two ends, and its two sides, leave of the focal plane to the whole rim: unfolded.
    fn lit_middle(&self, fold: &Fold) -> [f64; 2] {
        let primary = self.train().primary();
        let (rim, focal) = (primary.clear_aperture_mm / 2.0, primary.focal_length_mm);
        let sagitta = rim * rim / (4.0 * focal);
        let face = fold.face();
        let radius = fold.minor_axis_mm / 2.0;
        // From the rim on one side by the flat's edge on the same side to the focal plane.
        let seen = |side: f64, reach: [f64; 3], axis: usize| {
            let edge = [0, 1, 2].map(|k| face.centre_mm[k] + side * reach[k]);
            side * rim + (edge[axis] - side * rim) * (focal - sagitta) / (edge[2] - sagitta)
        };
        let long = face.long.map(|v| v * SQRT_2 * radius);
        let short = face.short.map(|v| v * radius);
        [0.5 * (seen(1.0, long, 0) + seen(-1.0, long, 0)), 0.5 * (seen(1.0, short, 1) + seen(-1.0, short, 1))]
    }
}
