//! Copies of a train with one part changed.

use pyo3::PyClass;
use pyo3::exceptions::PyTypeError;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyString, PyTuple};

use super::errors::refused;
use super::flat::PyDiagonal;
use super::model::{PyDrawtube, PyFocalPlane, PyOpening, PyPrimary};
use super::obstructions::{PyHolder, PyMirrorClips, PySpider};
use super::train::PyTrain;
use crate::TrainBuilder;

#[pymethods]
impl PyTrain {
    /// Return a copy with another primary, or with some of the primary's values changed.
    ///
    /// Units: keywords as those of Primary; a focal length and a radius of curvature replace each other.
    /// Errors: InputError with all faults found.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> assert train.with_primary(radius_of_curvature_mm=3000).primary.focal_length_mm == 1500
    #[pyo3(signature = (part=None, /, **changes))]
    fn with_primary(
        &self,
        py: Python<'_>,
        part: Option<PyPrimary>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = Bound::new(py, part.unwrap_or_else(|| self.primary()))?;
        let keywords = PyPrimary::keywords(&current)?;
        if let Some(changes) = changes {
            if changes.contains("radius_of_curvature_mm")? && !changes.contains("focal_length_mm")? {
                keywords.del_item("focal_length_mm")?;
            }
            keywords.update(changes.as_mapping())?;
        }
        let primary: PyPrimary = py.get_type::<PyPrimary>().call((), Some(&keywords))?.extract()?;
        self.changed(py, TrainBuilder { primary: primary.0, ..self.train.to_parts() })
    }

    /// Return a copy with another diagonal, with some of its values changed, or without one (None).
    ///
    /// Units: keywords as those of Diagonal. Errors: InputError with all faults found.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> larger = train.with_diagonal(minor_axis_mm=80)
    /// >>> assert larger.with_diagonal(flat) == train
    #[pyo3(signature = (*part, **changes))]
    fn with_diagonal(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.diagonal().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let diagonal = changed::<PyDiagonal>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { diagonal: diagonal.map(|p| p.0), ..self.train.to_parts() })
    }

    /// Return a copy with another focal plane, with its value changed, or without one (None).
    ///
    /// Units: keywords as those of FocalPlane. Errors: InputError with all faults found.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> assert train.with_focal_plane(axis_to_focus_mm=250).focal_plane.axis_to_focus_mm == 250
    #[pyo3(signature = (*part, **changes))]
    fn with_focal_plane(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.focal_plane().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let focal_plane = changed::<PyFocalPlane>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { focal_plane: focal_plane.map(|p| p.0), ..self.train.to_parts() })
    }

    /// Return a copy with another front opening, with some of its values changed, or without one (None).
    ///
    /// Units: keywords as those of Opening. Errors: InputError with all faults found.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> ringed = train.with_front_opening(diameter_mm=360, above_vertex_mm=1650)
    /// >>> assert ringed.front_opening.diameter_mm == 360
    /// >>> assert ringed.with_front_opening(None) == train
    #[pyo3(signature = (*part, **changes))]
    fn with_front_opening(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.front_opening().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let front_opening = changed::<PyOpening>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { front_opening: front_opening.map(|p| p.0), ..self.train.to_parts() })
    }

    /// Return a copy with another drawtube, with some of its values changed, or without one (None).
    ///
    /// Units: keywords as those of Drawtube. Errors: InputError with all faults found.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> tube = ct.Drawtube(bore_mm=47, length_mm=50, outer_end_to_focus_mm=18)
    /// >>> wider = train.with_drawtube(tube).with_drawtube(bore_mm=60)
    /// >>> assert wider.drawtube.bore_mm == 60 and wider.drawtube.length_mm == 50
    #[pyo3(signature = (*part, **changes))]
    fn with_drawtube(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.drawtube().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let drawtube = changed::<PyDrawtube>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { drawtube: drawtube.map(|p| p.0), ..self.train.to_parts() })
    }

    /// Return a copy with another spider, with some of its values changed, or without one (None).
    ///
    /// Units: keywords as those of Spider. Errors: InputError with all faults found.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> vaned = train.with_spider(vanes=4, thickness_mm=1.0)
    /// >>> assert vaned.with_spider(angle_deg=0).spider.angle_deg == 0
    /// >>> assert vaned.with_spider(None) == train
    #[pyo3(signature = (*part, **changes))]
    fn with_spider(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.spider().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let spider = changed::<PySpider>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { spider: spider.map(|p| p.0), ..self.train.to_parts() })
    }

    /// Return a copy with another holder of the diagonal, with some of its values changed, or without one (None).
    ///
    /// Units: keywords as those of Holder. Errors: InputError with all faults found.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> held = train.with_holder(diameter_mm=76)
    /// >>> assert held.holder.diameter_mm == 76 and held.with_holder(None) == train
    #[pyo3(signature = (*part, **changes))]
    fn with_holder(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.holder().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let holder = changed::<PyHolder>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { holder: holder.map(|p| p.0), ..self.train.to_parts() })
    }

    /// Return a copy with other mirror clips, with some of its values changed, or without one (None).
    ///
    /// Units: keywords as those of MirrorClips. Errors: InputError with all faults found.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> clipped = train.with_mirror_clips(clips=3, width_mm=20, reach_mm=6)
    /// >>> assert clipped.with_mirror_clips(reach_mm=4).mirror_clips.reach_mm == 4
    #[pyo3(signature = (*part, **changes))]
    fn with_mirror_clips(
        &self,
        py: Python<'_>,
        part: &Bound<'_, PyTuple>,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let current = self.mirror_clips().map(|part| Bound::new(py, part)).transpose()?.map(Bound::into_any);
        let mirror_clips = changed::<PyMirrorClips>(py, current, part, changes)?;
        self.changed(py, TrainBuilder { mirror_clips: mirror_clips.map(|p| p.0), ..self.train.to_parts() })
    }
}

/// A part changed by keywords, replaced by another, or taken out.
pub(super) fn changed<'py, T>(
    py: Python<'py>,
    current: Option<Bound<'py, PyAny>>,
    part: &Bound<'py, PyTuple>,
    changes: Option<&Bound<'py, PyDict>>,
) -> PyResult<Option<T>>
where
    T: PyClass<Frozen = pyo3::pyclass::boolean_struct::True> + Clone + Sync,
{
    let unwrap = |part: Bound<'py, PyAny>| Ok(part.cast::<T>()?.get().clone());
    let class = py.get_type::<T>();
    if let Some(odd) = part.iter().find(|p| !p.is_none() && !p.is_instance(&class).unwrap_or(false)) {
        let (found, wanted) = (odd.get_type().name()?, class.name()?);
        return Err(PyTypeError::new_err(format!("{found} given for a {wanted}; its values go by keyword")));
    }
    let given = match part.len() {
        0 => current,
        1 => Some(part.get_item(0)?).filter(|p| !p.is_none()),
        more => return Err(refused(py, "part", &format!("{more} parts"), "one part, or None", "")),
    };
    let Some(changes) = changes else { return given.map(unwrap).transpose() };
    let keywords = PyDict::new(py);
    if let Some(part) = given {
        // Its attributes by name, and what is a part of its own as it is.
        for name in part.call_method0("to_dict")?.cast::<PyDict>()?.keys() {
            keywords.set_item(&name, part.getattr(name.cast::<PyString>()?)?)?;
        }
    }
    keywords.update(changes.as_mapping())?;
    unwrap(class.call((), Some(&keywords))?).map(Some)
}
