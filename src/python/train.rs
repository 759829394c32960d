//! The train, and the door to everything that can be asked of it.

use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, field, focus, focus_named, list, number, number_or, star, wavelength};
use super::beyond_the_flat::{PyFilterRing, PyFocuserBoard, PySensorMask};
use super::compute::compute;
use super::errors::{exception, python_problems, refused};
use super::flat::PyDiagonal;
use super::illumination::{PyIllumination, PyRadialIllumination};
use super::light::{PyFieldStopLight, PyLight, PyLightMap, PyLitCircle};
use super::model::{PyDrawtube, PyFocalPlane, PyOpening, PyPrimary};
use super::obstructions::{PyHolder, PyMirrorClips, PySpider};
use super::rays::{PyAiry, PyDiagonalFit, PySpot};
use super::record::record;
use super::waves::PyWavefront;
use crate::{Focus, LitCircle, Prepared, SensorFrame, Train, TrainBuilder};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyTrain>()?;
    module.add_function(wrap_pyfunction!(smallest_diagonal, module)?)
}

/// The whole optical train: a description that has passed its checks.
///
/// Every part but the primary may be left out; without a diagonal the light is caught on the axis at the
/// focal length. A diagonal and a focal plane go together.
///
/// Errors: InputError with all faults found.
/// Leaves out: errors of alignment other than the diagonal's (`Misplacement`).
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> assert round(train.focal_ratio, 2) == 4.90 and round(train.obstruction_ratio, 3) == 0.220
/// >>> assert train.with_primary(conic=-0.97).primary.conic == -0.97
#[pyclass(name = "Train", module = "catoptric", frozen, eq)]
#[derive(Serialize, Deserialize)]
#[serde(from = "Train", into = "Train")]
pub(super) struct PyTrain {
    pub(super) train: Train,
    /// Compiled when first needed.
    prepared: OnceLock<Prepared>,
    /// Until then the nearest train of those that it was changed from that was compiled: what is equal will be shared.
    changed_from: Mutex<Option<Prepared>>,
    /// Found when first asked for.
    lit_circle: OnceLock<LitCircle>,
}

impl From<Train> for PyTrain {
    fn from(train: Train) -> Self {
        Self { train, prepared: OnceLock::new(), changed_from: Mutex::default(), lit_circle: OnceLock::new() }
    }
}

impl Clone for PyTrain {
    fn clone(&self) -> Self {
        Self {
            train: self.train.clone(),
            prepared: self.prepared.clone(),
            changed_from: Mutex::new(self.changed_from().clone()),
            lit_circle: self.lit_circle.clone(),
        }
    }
}

impl From<PyTrain> for Train {
    fn from(train: PyTrain) -> Self {
        train.train
    }
}

impl PartialEq for PyTrain {
    fn eq(&self, other: &Self) -> bool {
        self.train == other.train
    }
}

impl PyTrain {
    pub(super) fn prepared(&self) -> &Prepared {
        self.prepared.get_or_init(|| match self.changed_from().take() {
            Some(other) => other.changed(&self.train),
            None => Prepared::new(&self.train),
        })
    }

    fn changed_from(&self) -> MutexGuard<'_, Option<Prepared>> {
        self.changed_from.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// This train with some parts changed.
    pub(super) fn changed(&self, py: Python<'_>, parts: TrainBuilder) -> PyResult<Self> {
        let train = parts.build_after(&self.train).map_err(|e| exception(py, e))?;
        let nearest = self.prepared.get().cloned().or_else(|| self.changed_from().clone());
        Ok(Self { changed_from: Mutex::new(nearest), ..Self::from(train) })
    }

    pub(super) fn build(py: Python<'_>, parts: TrainBuilder) -> PyResult<Self> {
        parts.build().map(Self::from).map_err(|e| exception(py, e))
    }
}

#[pymethods]
impl PyTrain {
    #[new]
    #[pyo3(signature = (*, primary, diagonal=None, focal_plane=None, front_opening=None, drawtube=None, spider=None,
        holder=None, mirror_clips=None, focuser_board=None, filter_ring=None, sensor_mask=None))]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        primary: PyPrimary,
        diagonal: Option<PyDiagonal>,
        focal_plane: Option<PyFocalPlane>,
        front_opening: Option<PyOpening>,
        drawtube: Option<PyDrawtube>,
        spider: Option<PySpider>,
        holder: Option<PyHolder>,
        mirror_clips: Option<PyMirrorClips>,
        focuser_board: Option<PyFocuserBoard>,
        filter_ring: Option<PyFilterRing>,
        sensor_mask: Option<PySensorMask>,
    ) -> PyResult<Self> {
        let parts = TrainBuilder {
            primary: primary.0,
            diagonal: diagonal.map(|p| p.0),
            focal_plane: focal_plane.map(|p| p.0),
            front_opening: front_opening.map(|p| p.0),
            drawtube: drawtube.map(|p| p.0),
            spider: spider.map(|p| p.0),
            holder: holder.map(|p| p.0),
            mirror_clips: mirror_clips.map(|p| p.0),
            focuser_board: focuser_board.map(|p| p.0),
            filter_ring: filter_ring.map(|p| p.0),
            sensor_mask: sensor_mask.map(|p| p.0),
        };
        Self::build(py, parts)
    }

    /// The primary mirror.
    #[getter]
    pub(super) fn primary(&self) -> PyPrimary {
        PyPrimary(self.train.primary().clone())
    }

    /// The flat, or None.
    #[getter]
    pub(super) fn diagonal(&self) -> Option<PyDiagonal> {
        self.train.diagonal().copied().map(PyDiagonal)
    }

    /// The focal plane beside the tube, or None.
    #[getter]
    pub(super) fn focal_plane(&self) -> Option<PyFocalPlane> {
        self.train.focal_plane().copied().map(PyFocalPlane)
    }

    /// The opening in front, or None.
    #[getter]
    pub(super) fn front_opening(&self) -> Option<PyOpening> {
        self.train.front_opening().copied().map(PyOpening)
    }

    /// The focuser's inner tube, or None.
    #[getter]
    pub(super) fn drawtube(&self) -> Option<PyDrawtube> {
        self.train.drawtube().copied().map(PyDrawtube)
    }

    /// The vanes that carry the diagonal, or None.
    #[getter]
    pub(super) fn spider(&self) -> Option<PySpider> {
        self.train.spider().copied().map(PySpider)
    }

    /// The diagonal's holder, or None.
    #[getter]
    pub(super) fn holder(&self) -> Option<PyHolder> {
        self.train.holder().copied().map(PyHolder)
    }

    /// Clips over the mirror's rim, or None.
    #[getter]
    pub(super) fn mirror_clips(&self) -> Option<PyMirrorClips> {
        self.train.mirror_clips().copied().map(PyMirrorClips)
    }

    /// Focal length over the diameter that gathers light.
    #[getter]
    fn focal_ratio(&self) -> f64 {
        self.prepared().focal_ratio()
    }

    /// Diameter of the diagonal's shadow over the diameter that gathers light; 0 without a diagonal.
    #[getter]
    fn obstruction_ratio(&self) -> f64 {
        self.prepared().obstruction_ratio()
    }

    /// The diagonal's offset in use, mm, or None without a diagonal.
    #[getter]
    fn diagonal_offset_mm(&self) -> Option<f64> {
        self.prepared().diagonal_offset_mm()
    }

    /// Diameter of the largest lit circle that the diagonal serves, mm; negative when it is too small
    /// even for the axis; None without a diagonal.
    #[getter]
    fn fully_lit_diameter_mm(&self) -> Option<f64> {
        self.prepared().fully_lit_diameter_mm()
    }

    /// Return warnings: what is unusual or costs light, though it can be computed.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> assert train.problems() == []
    /// >>> small = train.with_diagonal(minor_axis_mm=40)
    /// >>> assert small.problems()[0].field == "diagonal.minor_axis_mm"
    fn problems(&self, py: Python<'_>) -> PyResult<Vec<Py<PyAny>>> {
        python_problems(py, &self.train.problems())
    }

    /// Return the train as JSON; every number comes back bit for bit.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> assert ct.Train.from_json(train.to_json()) == train
    fn to_json(&self) -> String {
        self.train.to_json()
    }

    /// Return a train read from JSON.
    ///
    /// Errors: InputError with the field for text that is no train, unknown keys included, and with all
    /// faults of a train that cannot be.
    ///
    /// >>> train = ct.Train.from_json('{"primary": {"clear_aperture_mm": 318, "focal_length_mm": 1558}}')
    /// >>> assert train.primary.conic == -1
    #[staticmethod]
    #[pyo3(signature = (text, /))]
    fn from_json(py: Python<'_>, text: &str) -> PyResult<Self> {
        Train::from_json(text).map(Self::from).map_err(|e| exception(py, e))
    }

    /// Return the train as TOML; every number comes back bit for bit.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> assert ct.Train.from_toml(train.to_toml()) == train
    fn to_toml(&self) -> String {
        self.train.to_toml()
    }

    /// Return a train read from TOML.
    ///
    /// Errors: as `from_json`.
    ///
    /// >>> train = ct.Train.from_toml("primary = { clear_aperture_mm = 318, focal_length_mm = 1558 }")
    /// >>> assert train.primary.conic == -1
    #[staticmethod]
    #[pyo3(signature = (text, /))]
    fn from_toml(py: Python<'_>, text: &str) -> PyResult<Self> {
        Train::from_toml(text).map(Self::from).map_err(|e| exception(py, e))
    }

    /// Return a train read from a file whose name ends in .json or .toml.
    ///
    /// Errors: OSError where the file cannot be read, else as `from_json`.
    ///
    /// >>> import tempfile, pathlib
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> path = pathlib.Path(tempfile.mkdtemp()) / "train.toml"
    /// >>> train.save(path)
    /// >>> assert ct.Train.load(path) == train
    #[staticmethod]
    #[pyo3(signature = (path, /))]
    fn load(py: Python<'_>, path: std::path::PathBuf) -> PyResult<Self> {
        Train::load(path).map(Self::from).map_err(|e| exception(py, e))
    }

    /// Write the train to a file whose name ends in .json or .toml.
    ///
    /// Errors: OSError where the file cannot be written, InputError for another ending.
    ///
    /// >>> import tempfile, pathlib
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> path = pathlib.Path(tempfile.mkdtemp()) / "train.json"
    /// >>> train.save(path)
    /// >>> assert path.read_text() == train.to_json()
    #[pyo3(signature = (path, /))]
    fn save(&self, py: Python<'_>, path: std::path::PathBuf) -> PyResult<()> {
        self.train.save(path).map_err(|e| exception(py, e))
    }

    /// Return the spot of a star: where its rays cross the plane of a focus, and how far they scatter.
    /// A focus is given by name ("paraxial", "least_spot", "least_rms" or "peak") or by its shift. The
    /// wavelength counts for "peak" alone; `points` is about how many rays are handed out, the statistics do
    /// not depend on it.
    ///
    /// Units: arcmin (toward the focuser's side, and across), mm, nm.
    /// Errors: InputError, also for a field point that no light reaches.
    /// Leaves out: diffraction.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=250, focal_length_mm=1250))
    /// >>> spot = train.spot(field_arcmin=(15, 0))
    /// >>> assert abs(spot.rms_radius_um - 11.2322) < 0.001  # an exact ray trace of its own
    /// >>> assert spot.centroid_along_um < 0  # the flare points away from the axis, as does the image
    #[pyo3(signature = (*, field_arcmin=None, focus=None, focus_shift_mm=None, wavelength_nm=None, points=None),
        text_signature = "($self, *, field_arcmin=(0.0, 0.0), focus='paraxial', focus_shift_mm=None, wavelength_nm=550.0, \
        points=2000)")]
    fn spot(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        focus: Option<&str>,
        focus_shift_mm: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        points: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PySpot> {
        let star = field(field_arcmin)?;
        let focus = self::focus(py, focus, focus_shift_mm, Focus::Paraxial)?;
        let wavelength_nm = wavelength(wavelength_nm)?;
        let prepared = self.prepared().clone();
        let points = count_or(points, "points", 2000)?;
        compute(py, move || prepared.spot(star, focus, wavelength_nm, points)).map(PySpot)
    }

    /// Return the shift behind the paraxial focus at which a star is in focus by a rule, mm.
    ///
    /// Units: mm, positive further from the primary; arcmin; nm (the wavelength counts for "peak" alone).
    /// Errors: InputError, NotConverged.
    ///
    /// >>> sphere = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, conic=0))
    /// >>> assert sphere.best_focus(by="least_rms") < 0  # its rim focuses nearer
    /// >>> assert sphere.best_focus(by="paraxial") == 0
    #[pyo3(signature = (*, by="least_spot", field_arcmin=None, wavelength_nm=None, star_distance_mm=None),
        text_signature = "($self, *, by='least_spot', field_arcmin=(0.0, 0.0), wavelength_nm=550.0, star_distance_mm=None)")]
    fn best_focus(
        &self,
        py: Python<'_>,
        by: &str,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        star_distance_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<f64> {
        let (by, star) = (focus_named(py, "by", by)?, star(field_arcmin, star_distance_mm)?);
        let wavelength_nm = wavelength(wavelength_nm)?;
        let prepared = self.prepared().clone();
        compute(py, move || prepared.best_focus_mm(by, star, wavelength_nm))
    }

    /// Return the wavefront of a star seen from a focus.
    /// A focus is given by name ("paraxial", "least_spot", "least_rms" or "peak") or by its shift. With a distance
    /// the star is an artificial one so far from the mirror's vertex, and the shift counts from its own image.
    ///
    /// Units: arcmin (toward the focuser's side, and across), mm, nm.
    /// Errors: InputError, also for a field point that no light reaches; NotConverged.
    ///
    /// >>> sphere = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, conic=0))
    /// >>> assert abs(sphere.wavefront().rms_nm - 134.8524) < 1e-3  # exact paths, refocused
    #[pyo3(signature = (*, field_arcmin=None, focus=None, focus_shift_mm=None, wavelength_nm=None,
        star_distance_mm=None),
        text_signature = "($self, *, field_arcmin=(0.0, 0.0), focus='least_rms', focus_shift_mm=None, wavelength_nm=550.0, \
        star_distance_mm=None)")]
    fn wavefront(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        focus: Option<&str>,
        focus_shift_mm: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        star_distance_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyWavefront> {
        let star = star(field_arcmin, star_distance_mm)?;
        let focus = self::focus(py, focus, focus_shift_mm, Focus::LeastRms)?;
        let wavelength_nm = wavelength(wavelength_nm)?;
        let prepared = self.prepared().clone();
        compute(py, move || prepared.wavefront(star, focus, wavelength_nm)).map(PyWavefront::from)
    }

    /// Return the illumination against radius in the focal plane, or at points of it.
    ///
    /// Give radius_mm for the worst, mean and best over azimuth, or along_mm and across_mm for single points.
    /// Units: mm in the focal plane; `along` is positive toward the sky end.
    /// Errors: InputError.
    /// Leaves out: reflectances.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> light = train.illumination(radius_mm=[0, 10, 20])
    /// >>> assert abs(light.mean[0] - 1) < 1e-12 and light.worst[2] <= light.mean[2] <= light.best[2]
    /// >>> points = train.illumination(along_mm=[-15, 15], across_mm=[0, 0])
    /// >>> assert points.absolute.shape == (2,)
    #[pyo3(signature = (*, radius_mm=None, along_mm=None, across_mm=None))]
    fn illumination(
        &self,
        py: Python<'_>,
        radius_mm: Option<&Bound<'_, PyAny>>,
        along_mm: Option<&Bound<'_, PyAny>>,
        across_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Py<PyAny>> {
        let prepared = self.prepared().clone();
        match (radius_mm, along_mm, across_mm) {
            (Some(radius), None, None) => {
                let radii = list(radius, "radius_mm")?;
                let light = compute(py, move || prepared.illumination_at_radii(&radii))?;
                Ok(Py::new(py, PyRadialIllumination(light))?.into_any())
            }
            (None, Some(along), Some(across)) => {
                let (along, across) = (list(along, "along_mm")?, list(across, "across_mm")?);
                let light = compute(py, move || prepared.illumination(&along, &across))?;
                Ok(Py::new(py, PyIllumination(light))?.into_any())
            }
            _ => Err(refused(
                py,
                "radius_mm",
                "other arguments",
                "radius_mm alone, or along_mm and across_mm",
                "",
            )),
        }
    }

    /// Return how much of a star's light reaches the image, what each part stops, and what its removal would return.
    ///
    /// Units: arcmin; mm from the vertex to an artificial star, not given: a star of the sky; shares of the light on the clear
    /// aperture, good to 1e-9.
    /// Errors: InputError.
    /// Leaves out: reflectances.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> light = train.light()
    /// >>> assert abs(light.lit_fraction + sum(light.stopped.values()) - 1) < 1e-12
    /// >>> assert abs(light.stopped["diagonal_shadow"] - (70 / 318) ** 2) < 1e-9
    /// >>> assert train.light(star_distance_mm=40_000).limited_by is None
    #[pyo3(signature = (*, field_arcmin=None, star_distance_mm=None),
        text_signature = "($self, *, field_arcmin=(0.0, 0.0), star_distance_mm=None)")]
    fn light(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        star_distance_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyLight> {
        let star = star(field_arcmin, star_distance_mm)?;
        let prepared = self.prepared().clone();
        let checked = move || {
            star.check(prepared.focal_length_mm())?;
            Ok(prepared.light(star))
        };
        compute(py, checked).map(PyLight)
    }

    /// Return the light over a sensor: `points` along its longer side, and as many along the other as keep the spacing.
    ///
    /// Units: mm in the focal plane; the side along_mm lies along the tube, and the sensor is turned from along toward across by
    /// rotation_deg about its centre.
    /// Errors: InputError, also for a middle of the field that no light reaches, and for more than 401 points a side.
    /// Leaves out: reflectances. Points beyond the drawtube are dark: zeros.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> sensor = train.light_map(along_mm=17.6, across_mm=13.3, points=5)
    /// >>> assert sensor.relative.max() <= 1.001 and (sensor.rows, sensor.columns) == (5, 4)
    #[pyo3(signature = (*, along_mm, across_mm, rotation_deg=None, centre_along_mm=None, centre_across_mm=None, points=None),
        text_signature = "($self, *, along_mm, across_mm, rotation_deg=0.0, centre_along_mm=0.0, centre_across_mm=0.0, \
        points=33)")]
    #[allow(clippy::too_many_arguments)]
    fn light_map(
        &self,
        py: Python<'_>,
        along_mm: &Bound<'_, PyAny>,
        across_mm: &Bound<'_, PyAny>,
        rotation_deg: Option<&Bound<'_, PyAny>>,
        centre_along_mm: Option<&Bound<'_, PyAny>>,
        centre_across_mm: Option<&Bound<'_, PyAny>>,
        points: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyLightMap> {
        let frame = SensorFrame::new(number(along_mm, "along_mm")?, number(across_mm, "across_mm")?)
            .rotation_deg(number_or(rotation_deg, "rotation_deg", 0.0)?)
            .centre_mm(
                number_or(centre_along_mm, "centre_along_mm", 0.0)?,
                number_or(centre_across_mm, "centre_across_mm", 0.0)?,
            );
        let points = count_or(points, "points", 33)?;
        let prepared = self.prepared().clone();
        compute(py, move || prepared.light_map(frame, points)).map(PyLightMap)
    }

    /// Return the light along the field stop of an eyepiece, at even azimuths.
    ///
    /// Units: mm; azimuths count from the sky end toward +across.
    /// Errors: InputError, also for a middle of the field that no light reaches; 8 to 3600 azimuths.
    /// Leaves out: reflectances. A ring beyond the drawtube is dark: zeros.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> ring = train.field_stop_light(diameter_mm=40)
    /// >>> assert ring.worst <= ring.relative.min() and ring.relative.max() <= ring.best
    #[pyo3(signature = (*, diameter_mm, azimuths=None), text_signature = "($self, *, diameter_mm, azimuths=72)")]
    fn field_stop_light(
        &self,
        py: Python<'_>,
        diameter_mm: &Bound<'_, PyAny>,
        azimuths: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyFieldStopLight> {
        let (diameter_mm, azimuths) =
            (number(diameter_mm, "diameter_mm")?, count_or(azimuths, "azimuths", 72)?);
        let prepared = self.prepared().clone();
        compute(py, move || prepared.field_stop_light(diameter_mm, azimuths)).map(PyFieldStopLight)
    }

    /// The largest circle in the focal plane over which no opening takes light, all parts counted, and what ends it.
    #[getter]
    fn fully_lit_circle(&self) -> PyLitCircle {
        let circle = self.lit_circle.get_or_init(|| self.prepared().fully_lit_circle());
        PyLitCircle(*circle)
    }

    /// Return the perfect star of this train's focal ratio and obstruction.
    ///
    /// Units: nm. Errors: InputError.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> assert abs(train.airy().fwhm_um - 1.02899 * 0.55 * train.focal_ratio) < 1e-4
    #[pyo3(signature = (*, wavelength_nm=None), text_signature = "($self, *, wavelength_nm=550.0)")]
    fn airy(&self, py: Python<'_>, wavelength_nm: Option<&Bound<'_, PyAny>>) -> PyResult<PyAiry> {
        self.prepared().airy(wavelength(wavelength_nm)?).map(PyAiry::from).map_err(|e| exception(py, e))
    }
}

record!(PyTrain, "Train",
    attributes: ["primary", "diagonal", "focal_plane", "front_opening", "drawtube", "spider", "holder", "mirror_clips",
        "focuser_board", "filter_ring", "sensor_mask"],
    shown: ["primary", "diagonal", "focal_plane", "front_opening", "drawtube", "spider", "holder", "mirror_clips",
        "focuser_board", "filter_ring", "sensor_mask"]);

/// Return the smallest diagonal that serves a fully lit circle, with its offset.
///
/// Units: mm. Errors: InputError.
/// Source: the cone that the lit circle sends back to the rim, cut at 45 degrees (closed form).
///
/// >>> mm = ct.inches
/// >>> mirror = ct.Primary(clear_aperture_mm=mm(8), focal_length_mm=mm(48))
/// >>> fit = ct.smallest_diagonal(primary=mirror, axis_to_focus_mm=mm(6.3), fully_lit_diameter_mm=mm(0.43))
/// >>> assert abs(fit.minor_axis_mm - mm(1.43423950)) < 1e-5  # Dakin 1962
#[pyfunction]
#[pyo3(signature = (*, primary, axis_to_focus_mm, fully_lit_diameter_mm=None),
    text_signature = "(*, primary, axis_to_focus_mm, fully_lit_diameter_mm=0.0)")]
fn smallest_diagonal(
    py: Python<'_>,
    primary: PyPrimary,
    axis_to_focus_mm: &Bound<'_, PyAny>,
    fully_lit_diameter_mm: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyDiagonalFit> {
    let axis_to_focus_mm = number(axis_to_focus_mm, "axis_to_focus_mm")?;
    let lit_mm = number_or(fully_lit_diameter_mm, "fully_lit_diameter_mm", 0.0)?;
    crate::smallest_diagonal(&primary.0, axis_to_focus_mm, lit_mm)
        .map(PyDiagonalFit)
        .map_err(|e| exception(py, e))
}
