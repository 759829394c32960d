//! The light cone on the flat, the shadow, and a flat out of its place.

use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{field, maybe_number, number, number_or, wavelength};
use super::compute::compute;
use super::errors::{exception, refused};
use super::model::PyPrimary;
use super::rays::PyDiagonalFit;
use super::record::{getters, record};
use super::train::PyTrain;
use crate::{ConeClearance, ConeOnFlat, DiagonalShadow, Misplacement, MisplacementEffects, RuleError};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyConeOnFlat>()?;
    module.add_class::<PyConeClearance>()?;
    module.add_class::<PyRuleError>()?;
    module.add_class::<PyDiagonalShadow>()?;
    module.add_class::<PyMisplacementEffects>()?;
    module.add_function(wrap_pyfunction!(cone_on_flat, module)?)
}

#[pymethods]
impl PyTrain {
    /// Return the light cone to a lit circle on the plane of this train's diagonal.
    ///
    /// Units: mm. Errors: InputError for a train without diagonal, or a lit circle that cannot be.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> assert train.cone_on_flat().clearance(minor_axis_mm=70).holds_cone
    #[pyo3(signature = (*, fully_lit_diameter_mm=None), text_signature = "($self, *, fully_lit_diameter_mm=0.0)")]
    fn cone_on_flat(
        &self,
        py: Python<'_>,
        fully_lit_diameter_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyConeOnFlat> {
        let lit_mm = number_or(fully_lit_diameter_mm, "fully_lit_diameter_mm", 0.0)?;
        let Some(plane) = self.train.focal_plane() else {
            return Err(refused(
                py,
                "focal_plane",
                "nothing",
                "a train with a diagonal and a focal plane",
                "",
            ));
        };
        crate::cone_on_flat(self.train.primary(), plane.axis_to_focus_mm, lit_mm)
            .map(PyConeOnFlat)
            .map_err(|e| exception(py, e))
    }

    /// Return the shadow of diagonal and holder on the mirror for a star.
    ///
    /// Units: arcmin; mm on the plane of the mirror's vertex. Errors: InputError for a train without diagonal.
    /// Leaves out: vanes; the mirror's own depth under the shadow (2 um at f/5 and 30').
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> shadow = train.diagonal_shadow()
    /// >>> assert abs(shadow.by_diameter - 70 / 318) < 1e-9 and abs(shadow.by_area - (70 / 318) ** 2) < 1e-9
    #[pyo3(signature = (*, field_arcmin=None), text_signature = "($self, *, field_arcmin=(0.0, 0.0))")]
    fn diagonal_shadow(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyDiagonalShadow> {
        let (star, prepared) = (field(field_arcmin)?, self.prepared().clone());
        compute(py, move || prepared.diagonal_shadow(star)).map(PyDiagonalShadow)
    }

    /// Return what a flat out of its place would do, in closed form: moves and turns as those of `Misplacement`.
    ///
    /// Units: mm toward the primary, toward the focuser and along +y; arcmin about the face's centre; nm.
    /// Errors: InputError for a train without diagonal, or for values that cannot be.
    /// Source: one reflection to first order: the beam turns by 2 (nod), sqrt 2 (roll) and 1 (turn) times the angle.
    /// Leaves out: second order, a share of 3e-4 for each arcminute.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> effects = train.misplacement_effects(nod_arcmin=10, field_radius_mm=12)
    /// >>> assert effects.tilt_along_arcmin == 20 and effects.image_along_mm > 0
    #[pyo3(signature = (*, toward_primary_mm=None, toward_focuser_mm=None, across_mm=None, nod_arcmin=None,
        roll_arcmin=None, turn_arcmin=None, field_radius_mm=None, wavelength_nm=None),
        text_signature = "($self, *, toward_primary_mm=0.0, toward_focuser_mm=0.0, across_mm=0.0, nod_arcmin=0.0, \
        roll_arcmin=0.0, turn_arcmin=0.0, field_radius_mm=0.0, wavelength_nm=550.0)")]
    #[allow(clippy::too_many_arguments)]
    fn misplacement_effects(
        &self,
        py: Python<'_>,
        toward_primary_mm: Option<&Bound<'_, PyAny>>,
        toward_focuser_mm: Option<&Bound<'_, PyAny>>,
        across_mm: Option<&Bound<'_, PyAny>>,
        nod_arcmin: Option<&Bound<'_, PyAny>>,
        roll_arcmin: Option<&Bound<'_, PyAny>>,
        turn_arcmin: Option<&Bound<'_, PyAny>>,
        field_radius_mm: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyMisplacementEffects> {
        let misplaced = Misplacement {
            toward_primary_mm: number_or(toward_primary_mm, "toward_primary_mm", 0.0)?,
            toward_focuser_mm: number_or(toward_focuser_mm, "toward_focuser_mm", 0.0)?,
            across_mm: number_or(across_mm, "across_mm", 0.0)?,
            nod_arcmin: number_or(nod_arcmin, "nod_arcmin", 0.0)?,
            roll_arcmin: number_or(roll_arcmin, "roll_arcmin", 0.0)?,
            turn_arcmin: number_or(turn_arcmin, "turn_arcmin", 0.0)?,
        };
        let radius_mm = number_or(field_radius_mm, "field_radius_mm", 0.0)?;
        self.prepared()
            .misplacement_effects(&misplaced, radius_mm, wavelength(wavelength_nm)?)
            .map(PyMisplacementEffects)
            .map_err(|e| exception(py, e))
    }
}

/// Return the light cone on the plane of the diagonal: its ellipse, the smallest flats, how much the usual rules err.
///
/// Units: mm. A lit diameter of 0 asks for the axis alone. Errors: InputError.
/// Source: the cone that the lit circle sends back to the rim, cut at 45 degrees (closed form).
///
/// >>> mm = ct.inches
/// >>> mirror = ct.Primary(clear_aperture_mm=mm(8), focal_length_mm=mm(48))
/// >>> cone = ct.cone_on_flat(primary=mirror, axis_to_focus_mm=mm(6.3), fully_lit_diameter_mm=mm(0.43))
/// >>> assert abs(cone.smallest.offset_mm - mm(0.05664622)) < 1e-5  # Dakin 1962
/// >>> assert cone.unoffset_minor_axis_mm > cone.smallest.minor_axis_mm
#[pyfunction]
#[pyo3(signature = (*, primary, axis_to_focus_mm, fully_lit_diameter_mm=None),
    text_signature = "(*, primary, axis_to_focus_mm, fully_lit_diameter_mm=0.0)")]
fn cone_on_flat(
    py: Python<'_>,
    primary: PyPrimary,
    axis_to_focus_mm: &Bound<'_, PyAny>,
    fully_lit_diameter_mm: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyConeOnFlat> {
    let axis_to_focus_mm = number(axis_to_focus_mm, "axis_to_focus_mm")?;
    let lit_mm = number_or(fully_lit_diameter_mm, "fully_lit_diameter_mm", 0.0)?;
    crate::cone_on_flat(&primary.0, axis_to_focus_mm, lit_mm).map(PyConeOnFlat).map_err(|e| exception(py, e))
}

/// The cone of light to a fully lit circle, cut by the plane of the diagonal: an ellipse.
///
/// x counts from the tube's axis toward the focuser, as seen along the tube; the offset counts toward the primary and
/// equally away from the focuser.
///
/// Units: mm.
/// Errors: those of `cone_on_flat`, which makes it.
/// Leaves out: what a conic other than the paraboloid and a figure change, micrometres.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> cone = ct.cone_on_flat(primary=mirror, axis_to_focus_mm=235)
/// >>> simple = cone.rules[0]
/// >>> assert simple.formula == "L/F" and -1.4 < simple.error_percent < -1.2
#[pyclass(name = "ConeOnFlat", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyConeOnFlat(ConeOnFlat);

#[pymethods]
impl PyConeOnFlat {
    /// What the usual rules say instead, and by how much they err.
    #[getter]
    fn rules<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.rules.iter().map(|r| PyRuleError(*r)))
    }

    /// Return the smallest minor axis of a flat that stands at this offset, mm.
    ///
    /// Units: mm. Errors: InputError for an offset beyond the cone.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> cone = ct.cone_on_flat(primary=mirror, axis_to_focus_mm=235, fully_lit_diameter_mm=15)
    /// >>> assert abs(cone.minor_axis_at_offset_mm(0) - cone.unoffset_minor_axis_mm) < 1e-9
    #[pyo3(signature = (offset_mm, /))]
    fn minor_axis_at_offset_mm(&self, py: Python<'_>, offset_mm: &Bound<'_, PyAny>) -> PyResult<f64> {
        let offset_mm = number(offset_mm, "offset_mm")?;
        self.0.minor_axis_at_offset_mm(offset_mm).map_err(|e| exception(py, e))
    }

    /// Return what a flat of this size leaves free around the cone; the offset, not given, is that of the ellipse.
    ///
    /// Units: mm. Errors: InputError.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> cone = ct.cone_on_flat(primary=mirror, axis_to_focus_mm=235)
    /// >>> room = cone.clearance(minor_axis_mm=70, offset_mm=0)
    /// >>> assert room.sky_end_mm > room.primary_end_mm  # a flat without offset has least room there
    #[pyo3(signature = (*, minor_axis_mm, offset_mm=None))]
    fn clearance(
        &self,
        py: Python<'_>,
        minor_axis_mm: &Bound<'_, PyAny>,
        offset_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyConeClearance> {
        let (minor_mm, offset_mm) =
            (number(minor_axis_mm, "minor_axis_mm")?, maybe_number(offset_mm, "offset_mm")?);
        self.0.clearance(minor_mm, offset_mm).map(PyConeClearance).map_err(|e| exception(py, e))
    }
}

getters!(PyConeOnFlat, |cone| {
    /// From the tube's axis to the focal plane, mm.
    axis_to_focus_mm: f64 = cone.axis_to_focus_mm;
    /// Diameter of the fully lit circle, mm.
    fully_lit_diameter_mm: f64 = cone.fully_lit_diameter_mm;
    /// Height of the mirror's rim over its vertex, mm.
    rim_sagitta_mm: f64 = cone.rim_sagitta_mm;
    /// What the cone's radius gains for each millimetre away from the focal plane.
    slope: f64 = cone.slope;
    /// The cone's diameter where it crosses the tube's axis, mm.
    crossing_diameter_mm: f64 = cone.crossing_diameter_mm;
    /// Half the ellipse's long axis, in the face, mm.
    half_long_axis_mm: f64 = cone.half_long_axis_mm;
    /// Half the ellipse's short axis, mm.
    half_short_axis_mm: f64 = cone.half_short_axis_mm;
    /// Long axis over short axis; a flat has sqrt 2.
    axis_ratio: f64 = cone.axis_ratio;
    /// How far the ellipse's centre lies toward the primary and equally away from the focuser, mm.
    centre_offset_mm: f64 = cone.centre_offset_mm;
    /// The same measured in the face, mm.
    centre_in_face_mm: f64 = cone.centre_in_face_mm;
    /// Place x of the ellipse's end toward the sky, mm.
    sky_end_mm: f64 = cone.sky_end_mm;
    /// Place x of the ellipse's end toward the primary, mm: negative.
    primary_end_mm: f64 = cone.primary_end_mm;
    /// The smallest flat, with its offset.
    smallest: PyDiagonalFit = PyDiagonalFit(cone.smallest);
    /// Minor axis of the smallest flat without offset, mm.
    unoffset_minor_axis_mm: f64 = cone.unoffset_minor_axis_mm;
});
record!(PyConeOnFlat, "ConeOnFlat",
    attributes: ["axis_to_focus_mm", "fully_lit_diameter_mm", "rim_sagitta_mm", "slope", "crossing_diameter_mm",
        "half_long_axis_mm", "half_short_axis_mm", "axis_ratio", "centre_offset_mm", "centre_in_face_mm", "sky_end_mm",
        "primary_end_mm", "smallest", "unoffset_minor_axis_mm", "rules"],
    shown: ["half_long_axis_mm", "half_short_axis_mm", "centre_offset_mm", "unoffset_minor_axis_mm"]);

/// What a flat leaves free around the cone: negative where it is too small.
///
/// Units: mm, seen along the tube; sqrt 2 times that in the face toward its two ends.
/// Errors: those of `ConeOnFlat.clearance`, which makes it.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> room = ct.cone_on_flat(primary=mirror, axis_to_focus_mm=235).clearance(minor_axis_mm=40)
/// >>> assert not room.holds_cone and room.smallest_mm < 0
#[pyclass(name = "ConeClearance", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyConeClearance(ConeClearance);

getters!(PyConeClearance, |room| {
    /// The flat's minor axis, mm.
    minor_axis_mm: f64 = room.minor_axis_mm;
    /// Its offset, mm.
    offset_mm: f64 = room.offset_mm;
    /// Beyond the cone's end toward the sky, mm.
    sky_end_mm: f64 = room.sky_end_mm;
    /// Beyond the cone's end toward the primary, mm.
    primary_end_mm: f64 = room.primary_end_mm;
    /// On each side, where the cone is widest, mm.
    across_mm: f64 = room.across_mm;
    /// The least of the two ends, mm, which is the least all round.
    smallest_mm: f64 = room.smallest_mm();
    /// Whether all of the cone falls on the flat.
    holds_cone: bool = room.holds_cone();
});
record!(PyConeClearance, "ConeClearance",
    attributes: ["minor_axis_mm", "offset_mm", "sky_end_mm", "primary_end_mm", "across_mm", "smallest_mm",
        "holds_cone"],
    shown: ["minor_axis_mm", "offset_mm", "sky_end_mm", "primary_end_mm", "across_mm", "holds_cone"]);

/// What a rule of thumb about the diagonal says, beside the exact value.
///
/// In `formula` D is the clear aperture, f the focal length, F their ratio, L the distance from the tube's axis to the
/// focal plane, i the diameter of the lit circle, a the minor axis. Source of the rules: common practice, no source.
///
/// Units: mm and per cent; an error is the rule's value less the exact one.
/// Errors: those of `cone_on_flat`, which makes it.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> rules = ct.cone_on_flat(primary=mirror, axis_to_focus_mm=235, fully_lit_diameter_mm=15).rules
/// >>> rule = next(rule for rule in rules if rule.formula == "a/(4F)")
/// >>> assert rule.quantity == "offset" and rule.error_percent > 2
#[pyclass(name = "RuleError", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyRuleError(RuleError);

getters!(PyRuleError, |error| {
    /// The rule as it is written.
    formula: &'static str = error.rule.formula();
    /// What it gives: "minor axis" or "offset".
    quantity: &'static str = error.rule.quantity();
    /// What it says, mm.
    approximate_mm: f64 = error.approximate_mm;
    /// What is right, mm.
    exact_mm: f64 = error.exact_mm;
    /// The rule's value less the right one, mm.
    error_mm: f64 = error.error_mm;
    /// The same in per cent of the right one.
    error_percent: f64 = error.error_percent;
});
record!(PyRuleError, "RuleError",
    attributes: ["formula", "quantity", "approximate_mm", "exact_mm", "error_mm", "error_percent"],
    shown: ["quantity", "approximate_mm", "exact_mm", "error_mm", "error_percent"]);

/// The shadow of diagonal and holder on the mirror, for a star.
///
/// Units: mm on the plane of the mirror's vertex, x toward the focuser; obstructions have none.
/// Errors: those of `Train.diagonal_shadow`, which makes it.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70, offset_mm=0), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> assert train.diagonal_shadow(field_arcmin=(20, 0)).centre_x_mm < -7.6
#[pyclass(name = "DiagonalShadow", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyDiagonalShadow(DiagonalShadow);

getters!(PyDiagonalShadow, |shadow| {
    /// Where the star stands, arcmin.
    field_arcmin: (f64, f64) = (shadow.field.x_arcmin, shadow.field.y_arcmin);
    /// Middle of the diagonal's shadow, x, mm.
    centre_x_mm: f64 = shadow.centre_x_mm;
    /// Its y, mm.
    centre_y_mm: f64 = shadow.centre_y_mm;
    /// Its extent along x, mm.
    along_mm: f64 = shadow.along_mm;
    /// Its extent along y, mm.
    across_mm: f64 = shadow.across_mm;
    /// Middle of the holder's shadow, x, mm, or None.
    holder_x_mm: Option<f64> = shadow.holder_x_mm;
    /// Its y, mm, or None.
    holder_y_mm: Option<f64> = shadow.holder_y_mm;
    /// Diameter of the holder's shadow, mm, or None.
    holder_diameter_mm: Option<f64> = shadow.holder_diameter_mm;
    /// The larger extent of both shadows together over the diameter that gathers light.
    by_diameter: f64 = shadow.by_diameter;
    /// Area of both shadows together over the area that gathers light, as the star sees both.
    by_area: f64 = shadow.by_area;
});
record!(PyDiagonalShadow, "DiagonalShadow",
    attributes: ["field_arcmin", "centre_x_mm", "centre_y_mm", "along_mm", "across_mm", "holder_x_mm", "holder_y_mm",
        "holder_diameter_mm", "by_diameter", "by_area"],
    shown: ["centre_x_mm", "centre_y_mm", "along_mm", "across_mm", "by_diameter", "by_area"]);

/// What a misplaced flat does to image, focus and lit circle, to first order in its moves and turns.
///
/// Units: mm, arcmin, waves of `wavelength_nm`.
/// Errors: those of `Train.misplacement_effects`, which makes it.
/// Leaves out: second order; the lit circle's own shape.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> assert train.misplacement_effects(toward_primary_mm=1.5).image_along_mm == -1.5
#[pyclass(name = "MisplacementEffects", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMisplacementEffects(MisplacementEffects);

getters!(PyMisplacementEffects, |effects| {
    /// The flat's move toward the primary, mm.
    toward_primary_mm: f64 = effects.misplaced.toward_primary_mm;
    /// Toward the focuser, mm.
    toward_focuser_mm: f64 = effects.misplaced.toward_focuser_mm;
    /// Along +y, mm.
    across_mm: f64 = effects.misplaced.across_mm;
    /// Its turn about the line parallel to y, arcmin.
    nod_arcmin: f64 = effects.misplaced.nod_arcmin;
    /// About the face's long axis, arcmin.
    roll_arcmin: f64 = effects.misplaced.roll_arcmin;
    /// About the line parallel to the tube's axis, arcmin.
    turn_arcmin: f64 = effects.misplaced.turn_arcmin;
    /// How far the image moves along, mm: positive toward the sky end.
    image_along_mm: f64 = effects.image_along_mm;
    /// How far it moves across, mm.
    image_across_mm: f64 = effects.image_across_mm;
    /// How far the focal plane then lies beyond the image, mm: the focuser moves in by it.
    longer_path_mm: f64 = effects.longer_path_mm;
    /// How far the focal plane leans along, arcmin: positive where its sky end lies further along the light.
    tilt_along_arcmin: f64 = effects.tilt_along_arcmin;
    /// How far it leans across, arcmin.
    tilt_across_arcmin: f64 = effects.tilt_across_arcmin;
    /// Field radius at which the next two hold, mm.
    field_radius_mm: f64 = effects.field_radius_mm;
    /// Greatest focus error at that radius by the lean, mm.
    edge_defocus_mm: f64 = effects.edge_defocus_mm;
    /// The same as W020, waves.
    edge_defocus_waves: f64 = effects.edge_defocus_waves;
    /// Wavelength of these waves, nm.
    wavelength_nm: f64 = effects.wavelength_nm;
    /// How far the fully lit circle moves along, mm.
    lit_circle_along_mm: f64 = effects.lit_circle_along_mm;
    /// How far it moves across, mm.
    lit_circle_across_mm: f64 = effects.lit_circle_across_mm;
});
record!(PyMisplacementEffects, "MisplacementEffects",
    attributes: ["toward_primary_mm", "toward_focuser_mm", "across_mm", "nod_arcmin", "roll_arcmin", "turn_arcmin",
        "image_along_mm", "image_across_mm", "longer_path_mm", "tilt_along_arcmin", "tilt_across_arcmin",
        "field_radius_mm", "edge_defocus_mm", "edge_defocus_waves", "wavelength_nm", "lit_circle_along_mm",
        "lit_circle_across_mm"],
    shown: ["image_along_mm", "image_across_mm", "longer_path_mm", "tilt_along_arcmin", "tilt_across_arcmin",
        "edge_defocus_waves", "lit_circle_along_mm", "lit_circle_across_mm"]);
