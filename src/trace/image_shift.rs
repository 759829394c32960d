//! What a flat out of its place does to the image: it moves, turns, and the focal plane leans.

use serde::{Deserialize, Serialize};

use super::fold::{Disc, dot};
use super::prepared::Prepared;
use crate::units::RADIANS_PER_ARCMIN;

/// Where a flat out of its place sends the image, and how the focal plane leans against it.
///
/// The focuser stays; a perfect flat makes no aberration. The light by the mirror's vertex from a star on the axis meets the
/// focal plane at (`along_mm`, `across_mm`), and the way from the mirror to there is longer than to the plane in its place by
/// `longer_path_mm`. At (x, y) from that point, as the focal plane counts, the plane lies further along the light than the
/// image by `longer_path_mm` + x `defocus_along` + y `defocus_across`.
///
/// Units: mm, arcmin; `defocus_along` and `defocus_across` in mm of focus for each mm of the image.
/// Source: one reflection in the flat's plane, exact. For a small turn b, with the flat's face a length L from the focal plane:
/// `nod` moves the image by 2 b L and leans the plane by 2 b, `roll` by sqrt 2 b L and sqrt 2 b, `turn` by b L and b; the last two
/// also turn the image by as much as they lean the plane.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Misplacement, Prepared, Primary, Train};
/// let dropped = Misplacement { toward_primary_mm: 1.5, ..Misplacement::NONE };
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0).misplaced(dropped))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let shift = Prepared::new(&train).image_shift().expect("a diagonal");
/// assert!((shift.along_mm + 1.5).abs() < 1e-9 && (shift.longer_path_mm + 1.5).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ImageShift {
    /// Where the star on the axis lands, along, mm.
    pub along_mm: f64,
    /// Where it lands across, mm.
    pub across_mm: f64,
    /// How far the focal plane lies beyond the image there, along the light, mm; the focuser moves in by it.
    pub longer_path_mm: f64,
    /// How far the focal plane leans along, arcmin: positive where its sky end lies further along the light.
    pub tilt_along_arcmin: f64,
    /// How far it leans across, arcmin: positive where its side toward +y lies further along the light.
    pub tilt_across_arcmin: f64,
    /// How far the image is turned on the focal plane, arcmin: its own `along`, that of a flat in its place, turned toward
    /// `across` < 0.
    pub rotation_arcmin: f64,
    /// Focus error for each mm along, mm.
    pub defocus_along: f64,
    /// Focus error for each mm across, mm.
    pub defocus_across: f64,
}

impl ImageShift {
    /// How far the focal plane lies beyond the image at a point of the plane, counted from its own centre, mm.
    ///
    /// Leaves out: the image's own curvature.
    ///
    /// ```
    /// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Misplacement, Prepared, Primary, Train};
    /// let nods = Misplacement { nod_arcmin: 10.0, ..Misplacement::NONE };
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(70.0).misplaced(nods))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .build()?;
    /// let shift = Prepared::new(&train).image_shift().expect("a diagonal");
    /// let across_the_sensor = shift.defocus_mm(9.0, 0.0) - shift.defocus_mm(-9.0, 0.0);
    /// assert!((across_the_sensor.abs() - 18.0 * 2.0 * (10.0_f64 / 60.0).to_radians()).abs() < 1e-3);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn defocus_mm(&self, along_mm: f64, across_mm: f64) -> f64 {
        self.longer_path_mm
            + (along_mm - self.along_mm) * self.defocus_along
            + (across_mm - self.across_mm) * self.defocus_across
    }
}

impl Prepared {
    /// What the flat's misplacement does to the image; all 0 for a flat in its place, `None` without a diagonal.
    ///
    /// Units: mm, arcmin.
    /// Leaves out: the light that such a flat cuts off ([`Prepared::light`] has it), and the focuser's own errors.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
    /// let bare = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// assert!(Prepared::new(&bare).image_shift().is_none());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn image_shift(&self) -> Option<ImageShift> {
        let (fold, plane) = (self.fold()?, self.train().focal_plane()?);
        let disc = fold.beyond(plane.axis_to_focus_mm);
        let height_mm = dot(disc.centre_mm, disc.normal) / disc.normal[2];
        let from_centre = [0, 1, 2].map(|i| [0.0, 0.0, height_mm][i] - disc.centre_mm[i]);
        let arcmin = |sine: f64| sine.asin() / RADIANS_PER_ARCMIN;
        Some(ImageShift {
            along_mm: dot(from_centre, disc.along),
            across_mm: dot(from_centre, disc.across),
            longer_path_mm: height_mm - self.focal_length_mm(),
            tilt_along_arcmin: arcmin(disc.along[2]),
            tilt_across_arcmin: arcmin(disc.across[2]),
            rotation_arcmin: disc.along[1].atan2(disc.along[0]) / RADIANS_PER_ARCMIN,
            defocus_along: disc.along[2],
            defocus_across: disc.across[2],
        })
    }

    /// The focal plane in the unfolded space, where a flat out of its place makes it another one.
    pub(crate) fn tilted_focal_plane(&self) -> Option<Disc> {
        let (fold, plane) = (self.fold()?, self.train().focal_plane()?);
        fold.is_misplaced().then(|| fold.beyond(plane.axis_to_focus_mm))
    }
}
