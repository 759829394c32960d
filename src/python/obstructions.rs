//! Thin parts that stand in the light: vanes, holder, clips.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count, maybe_part_number, part_number, part_number_or};
use super::model::sound;
use super::record::{getters, record};
use crate::model::{Holder, MirrorClips, Spider};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PySpider>()?;
    module.add_class::<PyHolder>()?;
    module.add_class::<PyMirrorClips>()
}

/// A count as the model holds it; the model says what it may be.
fn small_count(value: &Bound<'_, PyAny>, name: &str) -> PyResult<u32> {
    Ok(u32::try_from(count(value, name)?).unwrap_or(u32::MAX))
}

/// The vanes that carry the diagonal's holder, evenly spaced about the tube's axis.
///
/// Each vane is a thin wall along the tube, from the axis outward; what lies in the shadow of the diagonal or the
/// holder stops nothing further. A bent vane is an arc that leaves the axis at the stated angle and turns toward
/// greater angles, or with a negative radius toward smaller ones.
///
/// Units: mm; degrees from +x (the focuser's side) toward +y. The height above the primary's vertex is that of
/// the diagonal unless given.
/// Errors: InputError, when put into a train that it does not fit.
/// Leaves out: the vanes' depth along the tube (for a star off the axis a vane looks thicker by depth times
/// field angle, 0.3 mm for 30 mm at 30 arcmin); vanes that do not aim at the axis.
///
/// >>> spider = ct.Spider(vanes=4, thickness_mm=1.0)
/// >>> assert spider.angle_deg == 45 and spider.bend_radius_mm is None
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, spider=spider)
/// >>> assert 0.006 < train.light().stopped["spider"] < 0.007  # 4 x 124 mm^2 of 79 423
#[pyclass(name = "Spider", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySpider(pub(super) Spider);

#[pymethods]
impl PySpider {
    #[new]
    #[pyo3(signature = (*, vanes, thickness_mm, angle_deg=None, above_vertex_mm=None, bend_radius_mm=None),
        text_signature = "(*, vanes, thickness_mm, angle_deg=45.0, above_vertex_mm=None, bend_radius_mm=None)")]
    fn new(
        vanes: &Bound<'_, PyAny>,
        thickness_mm: &Bound<'_, PyAny>,
        angle_deg: Option<&Bound<'_, PyAny>>,
        above_vertex_mm: Option<&Bound<'_, PyAny>>,
        bend_radius_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let spider = Spider::new(small_count(vanes, "vanes")?, part_number(thickness_mm, "thickness_mm")?);
        let spider = Spider {
            angle_deg: part_number_or(angle_deg, "angle_deg", spider.angle_deg)?,
            above_vertex_mm: maybe_part_number(above_vertex_mm, "above_vertex_mm")?,
            bend_radius_mm: maybe_part_number(bend_radius_mm, "bend_radius_mm")?,
            ..spider
        };
        sound(vanes.py(), spider.check(), Self(spider))
    }
}

getters!(PySpider, |spider| {
    /// How many vanes.
    vanes: u32 = spider.vanes;
    /// Thickness of a vane as the star sees it, mm.
    thickness_mm: f64 = spider.thickness_mm;
    /// Direction of the first vane, degrees from +x toward +y.
    angle_deg: f64 = spider.angle_deg;
    /// Height above the primary's vertex, mm, or None for the diagonal's.
    above_vertex_mm: Option<f64> = spider.above_vertex_mm;
    /// Radius of bent vanes, mm, or None for straight ones.
    bend_radius_mm: Option<f64> = spider.bend_radius_mm;
});
record!(PySpider, "Spider",
    attributes: ["vanes", "thickness_mm", "angle_deg", "above_vertex_mm", "bend_radius_mm"],
    shown: ["vanes", "thickness_mm", "angle_deg", "above_vertex_mm", "bend_radius_mm"]);

/// A round body on the tube's axis: the holder of the diagonal, as the star sees it.
///
/// Units: mm; the height above the primary's vertex is that of the diagonal unless given.
/// Errors: InputError, when put into a train that it does not fit.
/// Leaves out: a holder that is not round; one that lies wholly behind the diagonal stops nothing.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> wide = train.with_holder(diameter_mm=84)
/// >>> assert wide.light().lit_fraction < train.light().lit_fraction and wide.obstruction_ratio == 84 / 318
#[pyclass(name = "Holder", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyHolder(pub(super) Holder);

#[pymethods]
impl PyHolder {
    #[new]
    #[pyo3(signature = (*, diameter_mm, above_vertex_mm=None))]
    fn new(diameter_mm: &Bound<'_, PyAny>, above_vertex_mm: Option<&Bound<'_, PyAny>>) -> PyResult<Self> {
        let holder = Holder {
            diameter_mm: part_number(diameter_mm, "diameter_mm")?,
            above_vertex_mm: maybe_part_number(above_vertex_mm, "above_vertex_mm")?,
        };
        sound(diameter_mm.py(), holder.check(), Self(holder))
    }
}

getters!(PyHolder, |holder| {
    /// Diameter, mm.
    diameter_mm: f64 = holder.diameter_mm;
    /// Height above the primary's vertex, mm, or None for the diagonal's.
    above_vertex_mm: Option<f64> = holder.above_vertex_mm;
});
record!(PyHolder, "Holder", attributes: ["diameter_mm", "above_vertex_mm"], shown: ["diameter_mm", "above_vertex_mm"]);

/// Clips that hold the mirror by its rim: rectangles that reach inward over the glass, evenly spaced.
///
/// Units: mm from the rim of the clear aperture inward; degrees from +x toward +y.
/// Errors: InputError, when put into a train that they do not fit.
/// Leaves out: the clips' thickness, and the bending of the glass under them, which is a figure of its own (three
/// clips that pinch: a trefoil among ZernikeTerms).
///
/// >>> clips = ct.MirrorClips(clips=3, width_mm=20, reach_mm=6)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, mirror_clips=clips)
/// >>> assert 0.004 < train.light().stopped["mirror_clips"] < 0.005  # 3 x 119 mm^2 of 79 423
#[pyclass(name = "MirrorClips", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMirrorClips(pub(super) MirrorClips);

#[pymethods]
impl PyMirrorClips {
    #[new]
    #[pyo3(signature = (*, clips, width_mm, reach_mm, angle_deg=None),
        text_signature = "(*, clips, width_mm, reach_mm, angle_deg=0.0)")]
    fn new(
        clips: &Bound<'_, PyAny>,
        width_mm: &Bound<'_, PyAny>,
        reach_mm: &Bound<'_, PyAny>,
        angle_deg: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let (width_mm, reach_mm) = (part_number(width_mm, "width_mm")?, part_number(reach_mm, "reach_mm")?);
        let tabs = MirrorClips::new(small_count(clips, "clips")?, width_mm, reach_mm);
        let tabs = tabs.angle_deg(part_number_or(angle_deg, "angle_deg", tabs.angle_deg)?);
        sound(clips.py(), tabs.check(), Self(tabs))
    }
}

getters!(PyMirrorClips, |tabs| {
    /// How many clips.
    clips: u32 = tabs.clips;
    /// Width along the rim, mm.
    width_mm: f64 = tabs.width_mm;
    /// How far a clip's straight inner edge lies inside the rim, mm.
    reach_mm: f64 = tabs.reach_mm;
    /// Direction of the first clip, degrees from +x toward +y.
    angle_deg: f64 = tabs.angle_deg;
});
record!(PyMirrorClips, "MirrorClips", attributes: ["clips", "width_mm", "reach_mm", "angle_deg"],
    shown: ["clips", "width_mm", "reach_mm", "angle_deg"]);
