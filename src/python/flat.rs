//! The diagonal flat: its glass, its place, and what a flat out of its place does.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{choice, maybe_part_number, number, part_number, part_number_or};
use super::film::PyMetalFilm;
use super::model::sound;
use super::record::{getters, record};
use crate::model::{Diagonal, FlatEdge, Misplacement};
use crate::trace::ImageShift;

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyDiagonal>()?;
    module.add_class::<PyMisplacement>()?;
    module.add_class::<PyImageShift>()
}

/// The flat that turns the light to the focuser: an ellipse at 45 degrees.
///
/// The offset counts toward the primary and equally away from the focuser; not given, it is that of the
/// largest lit circle which this size serves. The minor axis is that of the reflecting face; a bevel makes the
/// glass wider, and a thickness longer, which the light on its way down sees as the diagonal's shadow. The
/// glass is cut around its rim parallel to the tube's axis ("along_tube") or square to its face
/// ("square_to_face"), which is needed beside a thickness.
///
/// Units: mm; the bevel as seen along the tube, on one side; reflectance is a share of the power.
/// Errors: InputError, when put into a train that it does not fit.
/// Leaves out: errors of its surface; beside a film, the spread of angles over the cone: at f/4 they run from 38 to 52
/// degrees, over which bare aluminium's unpolarised reflectance changes by 6e-3 from side to side and the mean of it by
/// 2e-4, and its phase by a tilt that moves the image by 0.15 um and 1.5 nm of wavefront besides; how deep the bevel
/// lies behind the face (its shadow moves by that depth times the field angle, 10 um for 1 mm at 30 arcmin).
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> assert flat.offset_mm is None and 3 < train.diagonal_offset_mm < 4
/// >>> thick = train.with_diagonal(thickness_mm=14, edge="square_to_face")
/// >>> shadow = thick.illumination(along_mm=[0], across_mm=[0]).stopped["diagonal_shadow"][0]
/// >>> import math
/// >>> stadium_mm2 = math.pi * 35**2 + 70 * 14 / math.sqrt(2)  # closed form
/// >>> assert abs(shadow - stadium_mm2 / (math.pi * 159**2)) < 1e-9
#[pyclass(name = "Diagonal", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyDiagonal(pub(super) Diagonal);

#[pymethods]
impl PyDiagonal {
    #[new]
    #[pyo3(signature = (*, minor_axis_mm, offset_mm=None, reflectance=None, thickness_mm=None, edge=None, bevel_mm=None,
        misplaced=None, film=None),
        text_signature = "(*, minor_axis_mm, offset_mm=None, reflectance=1.0, thickness_mm=0.0, edge=None, bevel_mm=0.0, \
        misplaced=None, film=None)")]
    #[allow(clippy::too_many_arguments)]
    fn new(
        minor_axis_mm: &Bound<'_, PyAny>,
        offset_mm: Option<&Bound<'_, PyAny>>,
        reflectance: Option<&Bound<'_, PyAny>>,
        thickness_mm: Option<&Bound<'_, PyAny>>,
        edge: Option<&str>,
        bevel_mm: Option<&Bound<'_, PyAny>>,
        misplaced: Option<PyMisplacement>,
        film: Option<PyMetalFilm>,
    ) -> PyResult<Self> {
        let py = minor_axis_mm.py();
        let named = |key: &str| FlatEdge::ALL.into_iter().find(|edge| edge.key() == key);
        let edge =
            edge.map(|key| choice(py, "edge", key, "'along_tube' or 'square_to_face'", named)).transpose()?;
        let diagonal = Diagonal {
            minor_axis_mm: part_number(minor_axis_mm, "minor_axis_mm")?,
            offset_mm: maybe_part_number(offset_mm, "offset_mm")?,
            reflectance: part_number_or(reflectance, "reflectance", 1.0)?,
            thickness_mm: part_number_or(thickness_mm, "thickness_mm", 0.0)?,
            edge,
            bevel_mm: part_number_or(bevel_mm, "bevel_mm", 0.0)?,
            misplaced: misplaced.map(|m| m.0),
            film: film.map(|f| f.0),
        };
        sound(py, diagonal.check(), Self(diagonal))
    }
}

getters!(PyDiagonal, |diagonal| {
    /// Minor axis of the reflecting face, mm.
    minor_axis_mm: f64 = diagonal.minor_axis_mm;
    /// The offset as stated, mm, or None; `Train.diagonal_offset_mm` tells the one in use.
    offset_mm: Option<f64> = diagonal.offset_mm;
    /// Share of the power returned.
    reflectance: f64 = diagonal.reflectance;
    /// Thickness of the glass, square to its face, mm.
    thickness_mm: f64 = diagonal.thickness_mm;
    /// How the glass is cut around its rim, "along_tube" or "square_to_face", or None.
    edge: Option<&'static str> = diagonal.edge.map(FlatEdge::key);
    /// Width of the bevel all around, as seen along the tube, mm.
    bevel_mm: f64 = diagonal.bevel_mm;
    /// How far the flat stands from its place, or None.
    misplaced: Option<PyMisplacement> = diagonal.misplaced.map(PyMisplacement);
    /// The metal on its face, from which its reflectance follows at 45 degrees, unpolarised, at the wavelength in use;
    /// or None.
    film: Option<PyMetalFilm> = diagonal.film.map(PyMetalFilm);
});
record!(PyDiagonal, "Diagonal",
    attributes: ["minor_axis_mm", "offset_mm", "reflectance", "thickness_mm", "edge", "bevel_mm", "misplaced", "film"],
    shown: ["minor_axis_mm", "offset_mm", "reflectance", "thickness_mm", "edge", "bevel_mm", "misplaced", "film"]);

/// A flat out of its place: moved along three directions, and turned about three lines through the centre of its face.
///
/// The moves are toward the primary, toward the focuser and across (+y). `nod_arcmin` turns about the line parallel
/// to y, and where it is positive sends the image toward `along` > 0, the sky end; `roll_arcmin` turns about the
/// face's long axis, `turn_arcmin` about the line parallel to the tube's axis, and where they are positive they send
/// the image toward +y. The beam turns by 2, sqrt 2 and 1 times these angles. All three together: first roll, then
/// nod, then turn. The focuser and whatever it carries stay where they are, and so do holder and spider.
///
/// Units: mm; arcmin; all 0 unless given.
/// Errors: InputError for moves beyond half the minor axis and turns beyond 5 degrees.
///
/// >>> flat = ct.Diagonal(minor_axis_mm=70, misplaced=ct.Misplacement(turn_arcmin=10))
/// >>> plane = ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> import math
/// >>> assert abs(train.image_shift().across_mm - 235 * math.tan(math.radians(10 / 60))) < 1e-9
/// >>> assert abs(train.wavefront(focus="paraxial").strehl - 1) < 1e-6  # a flat makes no aberration
#[pyclass(name = "Misplacement", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMisplacement(pub(super) Misplacement);

#[pymethods]
impl PyMisplacement {
    #[new]
    #[pyo3(signature = (*, toward_primary_mm=None, toward_focuser_mm=None, across_mm=None, nod_arcmin=None,
        roll_arcmin=None, turn_arcmin=None),
        text_signature = "(*, toward_primary_mm=0.0, toward_focuser_mm=0.0, across_mm=0.0, nod_arcmin=0.0, \
        roll_arcmin=0.0, turn_arcmin=0.0)")]
    fn new(
        py: Python<'_>,
        toward_primary_mm: Option<&Bound<'_, PyAny>>,
        toward_focuser_mm: Option<&Bound<'_, PyAny>>,
        across_mm: Option<&Bound<'_, PyAny>>,
        nod_arcmin: Option<&Bound<'_, PyAny>>,
        roll_arcmin: Option<&Bound<'_, PyAny>>,
        turn_arcmin: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let misplaced = Misplacement {
            toward_primary_mm: part_number_or(toward_primary_mm, "toward_primary_mm", 0.0)?,
            toward_focuser_mm: part_number_or(toward_focuser_mm, "toward_focuser_mm", 0.0)?,
            across_mm: part_number_or(across_mm, "across_mm", 0.0)?,
            nod_arcmin: part_number_or(nod_arcmin, "nod_arcmin", 0.0)?,
            roll_arcmin: part_number_or(roll_arcmin, "roll_arcmin", 0.0)?,
            turn_arcmin: part_number_or(turn_arcmin, "turn_arcmin", 0.0)?,
        };
        sound(py, misplaced.check(), Self(misplaced))
    }
}

getters!(PyMisplacement, |misplaced| {
    /// Toward the primary, mm.
    toward_primary_mm: f64 = misplaced.toward_primary_mm;
    /// Toward the focuser, mm.
    toward_focuser_mm: f64 = misplaced.toward_focuser_mm;
    /// Across, along +y, mm.
    across_mm: f64 = misplaced.across_mm;
    /// About the line through the face's centre parallel to y, arcmin.
    nod_arcmin: f64 = misplaced.nod_arcmin;
    /// About the face's long axis, arcmin.
    roll_arcmin: f64 = misplaced.roll_arcmin;
    /// About the line through the face's centre parallel to the tube's axis, arcmin.
    turn_arcmin: f64 = misplaced.turn_arcmin;
});
record!(PyMisplacement, "Misplacement",
    attributes: ["toward_primary_mm", "toward_focuser_mm", "across_mm", "nod_arcmin", "roll_arcmin", "turn_arcmin"],
    shown: ["toward_primary_mm", "toward_focuser_mm", "across_mm", "nod_arcmin", "roll_arcmin", "turn_arcmin"]);

/// Where a flat out of its place sends the image, and how the focal plane leans against it.
///
/// The light by the mirror's vertex from a star on the axis meets the focal plane at (along_mm, across_mm), and the way
/// from the mirror to there is longer than to the plane in its place by longer_path_mm.
///
/// Units: mm, arcmin; defocus_along and defocus_across in mm of focus for each mm of the image.
/// Errors: those of `Train.image_shift`, which makes it.
/// Source: one reflection in the flat's plane, exact.
///
/// >>> flat = ct.Diagonal(minor_axis_mm=70, misplaced=ct.Misplacement(toward_primary_mm=1.5))
/// >>> plane = ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> shift = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane).image_shift()
/// >>> assert abs(shift.along_mm + 1.5) < 1e-9 and abs(shift.longer_path_mm + 1.5) < 1e-9
#[pyclass(name = "ImageShift", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyImageShift(pub(super) ImageShift);

getters!(PyImageShift, |shift| {
    /// Where the star on the axis lands, along, mm.
    along_mm: f64 = shift.along_mm;
    /// Where it lands across, mm.
    across_mm: f64 = shift.across_mm;
    /// How far the focal plane lies beyond the image there, along the light, mm; the focuser moves in by it.
    longer_path_mm: f64 = shift.longer_path_mm;
    /// How far the focal plane leans along, arcmin: positive where its sky end lies further along the light.
    tilt_along_arcmin: f64 = shift.tilt_along_arcmin;
    /// How far it leans across, arcmin: positive where its side toward +y lies further along the light.
    tilt_across_arcmin: f64 = shift.tilt_across_arcmin;
    /// How far the image is turned on the focal plane, arcmin: its `along` toward `across` < 0.
    rotation_arcmin: f64 = shift.rotation_arcmin;
    /// Focus error for each mm along, mm.
    defocus_along: f64 = shift.defocus_along;
    /// Focus error for each mm across, mm.
    defocus_across: f64 = shift.defocus_across;
});

#[pymethods]
impl PyImageShift {
    /// Return how far the focal plane lies beyond the image at a point of the plane, counted from its own centre, mm.
    ///
    /// Units: mm. Errors: InputError for what is not a number.
    /// Leaves out: the image's own curvature.
    ///
    /// >>> flat = ct.Diagonal(minor_axis_mm=70, misplaced=ct.Misplacement(nod_arcmin=10))
    /// >>> plane = ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> shift = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane).image_shift()
    /// >>> ends = shift.defocus_mm(along_mm=9, across_mm=0) - shift.defocus_mm(along_mm=-9, across_mm=0)
    /// >>> import math
    /// >>> assert abs(ends - 18 * 2 * math.radians(10 / 60)) < 1e-3  # twice the nod
    #[pyo3(signature = (*, along_mm, across_mm))]
    fn defocus_mm(&self, along_mm: &Bound<'_, PyAny>, across_mm: &Bound<'_, PyAny>) -> PyResult<f64> {
        Ok(self.0.defocus_mm(number(along_mm, "along_mm")?, number(across_mm, "across_mm")?))
    }
}

record!(PyImageShift, "ImageShift",
    attributes: ["along_mm", "across_mm", "longer_path_mm", "tilt_along_arcmin", "tilt_across_arcmin", "rotation_arcmin",
        "defocus_along", "defocus_across"],
    shown: ["along_mm", "across_mm", "longer_path_mm", "tilt_along_arcmin", "tilt_across_arcmin"]);
