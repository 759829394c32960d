//! The parts of a train.

use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{choice, list, maybe_part_number, part_number, part_number_or};
use super::coating::PyCoating;
use super::edge_layers::{PyCentralHill, PyEdgeRollOff, PyEdgeStep};
use super::errors::{exception, refused};
use super::figure::{PyHeightMap, PyZernikeTerms};
use super::rays::draw;
use super::record::{getters, record};
use crate::model::{
    Drawtube, FigureLayer, FocalPlane, Joined, Opening, Primary, PrimaryInput, RadialProfile, TurnedEdge,
    Zone,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyTurnedEdge>()?;
    module.add_class::<PyZone>()?;
    module.add_class::<PyRadialProfile>()?;
    module.add_class::<PyPrimary>()?;
    module.add_class::<PyFocalPlane>()?;
    module.add_class::<PyOpening>()?;
    module.add_class::<PyDrawtube>()
}

/// A part that has passed its check, or the exception with all its faults.
pub(super) fn sound<T>(py: Python<'_>, checked: crate::Result<()>, part: T) -> PyResult<T> {
    checked.map(|()| part).map_err(|e| exception(py, e))
}

/// An edge that turns down, or with a negative drop up, beyond a certain radius.
///
/// Height h = -drop ((r - (D/2 - width))/width)^power beyond D/2 - width, D the clear aperture.
///
/// Units: mm; nm of glass height.
/// Errors: InputError, when put on a mirror that it does not fit.
///
/// >>> edge = ct.TurnedEdge(width_mm=9, drop_nm=330)
/// >>> assert edge.power == 2.0
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, figure=[edge])
/// >>> assert 0.8 < ct.Train(primary=mirror).wavefront(focus="peak").strehl < 0.9
#[pyclass(name = "TurnedEdge", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyTurnedEdge(pub(super) TurnedEdge);

#[pymethods]
impl PyTurnedEdge {
    #[new]
    #[pyo3(signature = (*, width_mm, drop_nm, power=None), text_signature = "(*, width_mm, drop_nm, power=2.0)")]
    fn new(
        width_mm: &Bound<'_, PyAny>,
        drop_nm: &Bound<'_, PyAny>,
        power: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let edge = TurnedEdge::new(part_number(width_mm, "width_mm")?, part_number(drop_nm, "drop_nm")?);
        let edge = edge.power(part_number_or(power, "power", edge.power)?);
        sound(width_mm.py(), FigureLayer::from(edge).check(), Self(edge))
    }
}

getters!(PyTurnedEdge, |edge| {
    /// How far the edge reaches inward from the clear aperture's rim, mm.
    width_mm: f64 = edge.width_mm;
    /// How much too low the glass is at the rim, nm; negative for a raised edge.
    drop_nm: f64 = edge.drop_nm;
    /// The exponent of the roll-off.
    power: f64 = edge.power;
});
record!(PyTurnedEdge, "TurnedEdge", attributes: ["width_mm", "drop_nm", "power"], shown: ["width_mm", "drop_nm", "power"]);

/// A ring-shaped hill, or with a negative height hollow, with the profile of a Gaussian.
///
/// Height h = height exp(-((r - radius)/half_width)^2); a radius of 0 gives a central hill.
///
/// Units: mm; nm of glass height.
/// Errors: InputError, when put on a mirror that it leaves.
///
/// >>> hill = ct.Zone(radius_mm=95, half_width_mm=13, height_nm=28)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, figure=[hill])
/// >>> wave = ct.Train(primary=mirror).wavefront(focus="paraxial")
/// >>> assert abs(wave.pv_nm - 56) < 1  # a hill h: W = 2h/(1 + (r/R)^2)
#[pyclass(name = "Zone", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyZone(pub(super) Zone);

#[pymethods]
impl PyZone {
    #[new]
    #[pyo3(signature = (*, radius_mm, half_width_mm, height_nm))]
    fn new(
        radius_mm: &Bound<'_, PyAny>,
        half_width_mm: &Bound<'_, PyAny>,
        height_nm: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let zone = Zone::new(
            part_number(radius_mm, "radius_mm")?,
            part_number(half_width_mm, "half_width_mm")?,
            part_number(height_nm, "height_nm")?,
        );
        sound(radius_mm.py(), FigureLayer::from(zone).check(), Self(zone))
    }
}

getters!(PyZone, |zone| {
    /// Radius of the crest, mm.
    radius_mm: f64 = zone.radius_mm;
    /// Distance from the crest at which the height has fallen to 1/e, mm.
    half_width_mm: f64 = zone.half_width_mm;
    /// Height of the crest, nm; negative for a hollow.
    height_nm: f64 = zone.height_nm;
});
record!(PyZone, "Zone", attributes: ["radius_mm", "half_width_mm", "height_nm"],
    shown: ["radius_mm", "half_width_mm", "height_nm"]);

/// Heights at a list of radii, joined by a spline or straight in the square of the radius.
///
/// Inside the first and beyond the last point the height is held.
///
/// Units: mm; nm of glass height.
/// Shapes: two lists of equal length, two points or more, radii ascending.
/// Errors: InputError, when put on a mirror that it leaves or with points out of order.
/// Leaves out: ripples narrower than twice the distance of the points.
///
/// >>> profile = ct.RadialProfile(radius_mm=[0, 80, 159], height_nm=np.array([0, 12, -40]))
/// >>> assert profile.points == 3 and profile.joined == "spline"
#[pyclass(name = "RadialProfile", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyRadialProfile(pub(super) RadialProfile);

#[pymethods]
impl PyRadialProfile {
    #[new]
    #[pyo3(signature = (*, radius_mm, height_nm, joined="spline"))]
    fn new(
        py: Python<'_>,
        radius_mm: &Bound<'_, PyAny>,
        height_nm: &Bound<'_, PyAny>,
        joined: &str,
    ) -> PyResult<Self> {
        let joined = choice(py, "joined", joined, "'spline' or 'straight_in_area'", Joined::from_name)?;
        let profile = RadialProfile::new(list(radius_mm, "radius_mm")?, list(height_nm, "height_nm")?);
        let profile = profile.joined(joined);
        sound(py, FigureLayer::from(profile.clone()).check(), Self(profile))
    }

    /// Radii of the points, mm.
    #[getter]
    fn radius_mm<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<f64>> {
        self.0.radius_mm.clone().into_pyarray(py)
    }

    /// Heights at the points, nm.
    #[getter]
    fn height_nm<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<f64>> {
        self.0.height_nm.clone().into_pyarray(py)
    }
}

#[pymethods]
impl PyRadialProfile {
    /// Draw the height of the glass from the centre to the rim; return the axes.
    ///
    /// >>> flat = ct.RadialProfile(radius_mm=[0, 100], height_nm=[5, -5])
    /// >>> assert "nm" in flat.plot().get_ylabel()
    #[pyo3(signature = (ax=None, *, label=""))]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        label: &str,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("label", label)?;
        draw("figure_profile", slf.as_any(), ax, Some(&options))
    }
}

getters!(PyRadialProfile, |profile| {
    /// How the points are joined: "spline" or "straight_in_area".
    joined: &'static str = profile.joined.name();
    /// How many points there are.
    points: usize = profile.radius_mm.len();
});
record!(PyRadialProfile, "RadialProfile", attributes: ["radius_mm", "height_nm", "joined"], shown: ["points", "joined"]);

/// The primary mirror: a conic, its figure, its coating, and perhaps a mask in front of it.
///
/// Give the focal length or the radius of curvature, not both. Layers of the figure add. A mask stops the
/// mirror down and leaves the figure where it is.
///
/// Units: mm; conic constant -1 is a paraboloid.
/// Errors: InputError with all faults found.
/// Leaves out: a rim that is no circle, and what holds the mirror.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=318, radius_of_curvature_mm=3116, mask_diameter_mm=308)
/// >>> assert mirror.focal_length_mm == 1558 and mirror.conic == -1
/// >>> assert ct.Train(primary=mirror).focal_ratio == 1558 / 308
#[pyclass(name = "Primary", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyPrimary(pub(super) Primary);

#[pymethods]
impl PyPrimary {
    #[new]
    #[pyo3(signature = (*, clear_aperture_mm, focal_length_mm=None, radius_of_curvature_mm=None, conic=None,
        mask_diameter_mm=None, figure=Vec::new(), coating=None),
        text_signature = "(*, clear_aperture_mm, focal_length_mm=None, radius_of_curvature_mm=None, conic=-1.0, \
        mask_diameter_mm=None, figure=(), coating=None)")]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        clear_aperture_mm: &Bound<'_, PyAny>,
        focal_length_mm: Option<&Bound<'_, PyAny>>,
        radius_of_curvature_mm: Option<&Bound<'_, PyAny>>,
        conic: Option<&Bound<'_, PyAny>>,
        mask_diameter_mm: Option<&Bound<'_, PyAny>>,
        figure: Vec<Bound<'_, PyAny>>,
        coating: Option<PyCoating>,
    ) -> PyResult<Self> {
        let input = PrimaryInput {
            clear_aperture_mm: part_number(clear_aperture_mm, "clear_aperture_mm")?,
            focal_length_mm: maybe_part_number(focal_length_mm, "focal_length_mm")?,
            radius_of_curvature_mm: maybe_part_number(radius_of_curvature_mm, "radius_of_curvature_mm")?,
            conic: part_number_or(conic, "conic", -1.0)?,
            mask_diameter_mm: maybe_part_number(mask_diameter_mm, "mask_diameter_mm")?,
            coating: coating.map(|c| c.0).unwrap_or_default(),
            figure: figure.iter().enumerate().map(|(i, l)| layer(i, l)).collect::<PyResult<_>>()?,
        };
        let primary = Primary::try_from(input).map_err(|e| exception(py, e))?;
        sound(py, primary.check(), Self(primary))
    }

    /// The layers of the figure, in the order in which they were given.
    #[getter]
    fn figure<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, pyo3::types::PyTuple>> {
        let layers =
            self.0.figure.iter().map(|layer| python_layer(py, layer)).collect::<PyResult<Vec<_>>>()?;
        pyo3::types::PyTuple::new(py, layers)
    }
}

getters!(PyPrimary, |primary| {
    /// Diameter of the circle of glass that is meant to work, mm.
    clear_aperture_mm: f64 = primary.clear_aperture_mm;
    /// Focal length, mm.
    focal_length_mm: f64 = primary.focal_length_mm;
    /// Radius of curvature at the vertex, mm.
    radius_of_curvature_mm: f64 = 2.0 * primary.focal_length_mm;
    /// Conic constant.
    conic: f64 = primary.conic;
    /// Inner diameter of the mask, mm, or None.
    mask_diameter_mm: Option<f64> = primary.mask_diameter_mm;
    /// The reflecting layer.
    coating: PyCoating = PyCoating(primary.coating.clone());
});
record!(PyPrimary, "Primary",
    attributes: ["clear_aperture_mm", "focal_length_mm", "conic", "mask_diameter_mm", "figure", "coating"],
    shown: ["clear_aperture_mm", "focal_length_mm", "conic", "mask_diameter_mm", "figure", "coating"]);

impl PyPrimary {
    /// The constructor's arguments that make this mirror again.
    pub(super) fn keywords<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyDict>> {
        let keywords = PyDict::new(slf.py());
        for name in ["clear_aperture_mm", "focal_length_mm", "conic", "mask_diameter_mm", "figure", "coating"]
        {
            keywords.set_item(name, slf.getattr(name)?)?;
        }
        Ok(keywords)
    }
}

pub(super) fn layer(index: usize, value: &Bound<'_, PyAny>) -> PyResult<FigureLayer> {
    if let Ok(edge) = value.cast::<PyTurnedEdge>() {
        return Ok(edge.get().0.into());
    }
    if let Ok(edge) = value.cast::<PyEdgeRollOff>() {
        return Ok(edge.get().0.into());
    }
    if let Ok(step) = value.cast::<PyEdgeStep>() {
        return Ok(step.get().0.into());
    }
    if let Ok(hill) = value.cast::<PyCentralHill>() {
        return Ok(hill.get().0.into());
    }
    if let Ok(zone) = value.cast::<PyZone>() {
        return Ok(zone.get().0.into());
    }
    if let Ok(profile) = value.cast::<PyRadialProfile>() {
        return Ok(profile.get().0.clone().into());
    }
    if let Ok(terms) = value.cast::<PyZernikeTerms>() {
        return Ok(terms.get().0.clone().into());
    }
    if let Ok(map) = value.cast::<PyHeightMap>() {
        return Ok(map.get().0.clone().into());
    }
    if let Ok(ripple) = value.cast::<super::ripple::PyRipple>() {
        return Ok(ripple.get().0.into());
    }
    let (field, found) = (format!("figure[{index}]"), value.get_type().name()?.to_string());
    Err(refused(
        value.py(),
        &field,
        &found,
        "a TurnedEdge, EdgeRollOff, EdgeStep, Zone, CentralHill, RadialProfile, ZernikeTerms, HeightMap or Ripple",
        "",
    ))
}

pub(super) fn python_layer(py: Python<'_>, layer: &FigureLayer) -> PyResult<Py<PyAny>> {
    Ok(match layer {
        FigureLayer::TurnedEdge(edge) => Py::new(py, PyTurnedEdge(*edge))?.into_any(),
        FigureLayer::EdgeRollOff(edge) => Py::new(py, PyEdgeRollOff(*edge))?.into_any(),
        FigureLayer::EdgeStep(step) => Py::new(py, PyEdgeStep(*step))?.into_any(),
        FigureLayer::CentralHill(hill) => Py::new(py, PyCentralHill(*hill))?.into_any(),
        FigureLayer::Zone(zone) => Py::new(py, PyZone(*zone))?.into_any(),
        FigureLayer::RadialProfile(profile) => Py::new(py, PyRadialProfile(profile.clone()))?.into_any(),
        FigureLayer::ZernikeTerms(terms) => Py::new(py, PyZernikeTerms(terms.clone()))?.into_any(),
        FigureLayer::HeightMap(map) => Py::new(py, PyHeightMap(map.clone()))?.into_any(),
        FigureLayer::Ripple(ripple) => Py::new(py, super::ripple::PyRipple(*ripple))?.into_any(),
    })
}

/// Where the image is looked at: the plane square to the focuser's axis.
///
/// Units: mm from the axis of the tube.
/// Errors: InputError, when put into a train that it does not fit.
///
/// >>> assert ct.FocalPlane(axis_to_focus_mm=235).axis_to_focus_mm == 235
#[pyclass(name = "FocalPlane", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFocalPlane(pub(super) FocalPlane);

#[pymethods]
impl PyFocalPlane {
    #[new]
    #[pyo3(signature = (*, axis_to_focus_mm))]
    fn new(axis_to_focus_mm: &Bound<'_, PyAny>) -> PyResult<Self> {
        let plane = FocalPlane::new(part_number(axis_to_focus_mm, "axis_to_focus_mm")?);
        sound(axis_to_focus_mm.py(), plane.check(), Self(plane))
    }
}

getters!(PyFocalPlane, |plane| {
    /// Distance from the axis of the tube to the focal plane, mm.
    axis_to_focus_mm: f64 = plane.axis_to_focus_mm;
});
record!(PyFocalPlane, "FocalPlane", attributes: ["axis_to_focus_mm"], shown: ["axis_to_focus_mm"]);

/// A round opening in front of the mirror: the upper ring of a truss, the end of a tube.
///
/// Units: mm; the height counts from the primary's vertex toward the sky.
/// Errors: InputError, when put into a train.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> ring = ct.Opening(diameter_mm=318, above_vertex_mm=1650)
/// >>> light = ct.Train(primary=mirror, front_opening=ring).light(field_arcmin=(30, 0))
/// >>> assert 0.04 < light.stopped["front_opening"] < 0.07
#[pyclass(name = "Opening", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyOpening(pub(super) Opening);

#[pymethods]
impl PyOpening {
    #[new]
    #[pyo3(signature = (*, diameter_mm, above_vertex_mm))]
    fn new(diameter_mm: &Bound<'_, PyAny>, above_vertex_mm: &Bound<'_, PyAny>) -> PyResult<Self> {
        let opening = Opening::new(
            part_number(diameter_mm, "diameter_mm")?,
            part_number(above_vertex_mm, "above_vertex_mm")?,
        );
        sound(diameter_mm.py(), opening.check(), Self(opening))
    }
}

getters!(PyOpening, |opening| {
    /// Inner diameter, mm.
    diameter_mm: f64 = opening.diameter_mm;
    /// Height above the primary's vertex, mm.
    above_vertex_mm: f64 = opening.above_vertex_mm;
});
record!(PyOpening, "Opening", attributes: ["diameter_mm", "above_vertex_mm"], shown: ["diameter_mm", "above_vertex_mm"]);

/// The focuser's inner tube: a straight bore square to the tube's axis.
///
/// Units: mm; `outer_end_to_focus_mm` is positive where the focus lies outside the tube's outer end.
/// Errors: InputError, when put into a train that it does not fit.
/// Leaves out: threads, adapters and baffles inside the bore.
///
/// >>> tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
/// >>> assert tube.outer_end_to_focus_mm == 18
#[pyclass(name = "Drawtube", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyDrawtube(pub(super) Drawtube);

#[pymethods]
impl PyDrawtube {
    #[new]
    #[pyo3(signature = (*, bore_mm, length_mm, outer_end_to_focus_mm))]
    fn new(
        bore_mm: &Bound<'_, PyAny>,
        length_mm: &Bound<'_, PyAny>,
        outer_end_to_focus_mm: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let tube = Drawtube::new(
            part_number(bore_mm, "bore_mm")?,
            part_number(length_mm, "length_mm")?,
            part_number(outer_end_to_focus_mm, "outer_end_to_focus_mm")?,
        );
        sound(bore_mm.py(), tube.check(), Self(tube))
    }
}

getters!(PyDrawtube, |tube| {
    /// Inner diameter, mm.
    bore_mm: f64 = tube.bore_mm;
    /// Length from end to end, mm.
    length_mm: f64 = tube.length_mm;
    /// From the outer end to the focal plane, mm.
    outer_end_to_focus_mm: f64 = tube.outer_end_to_focus_mm;
});
record!(PyDrawtube, "Drawtube", attributes: ["bore_mm", "length_mm", "outer_end_to_focus_mm"],
    shown: ["bore_mm", "length_mm", "outer_end_to_focus_mm"]);
