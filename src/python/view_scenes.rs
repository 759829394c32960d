//! What is looked at, and through what: scenes, eyepieces, sensors.

use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{
    count, count_or, list, maybe_number, maybe_part_number, number, part_number, part_number_or,
};
use super::arrays::{Column, column};
use super::errors::{exception, refused};
use super::record::{getters, record};
use super::ripple::seed;
use crate::{BandedDisc, DiscSpot, DoubleStar, Eyepiece, FieldStar, Scene, Sensor, StarField};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyDiscSpot>()?;
    module.add_class::<PyBandedDisc>()?;
    module.add_class::<PyDoubleStar>()?;
    module.add_class::<PyStarField>()?;
    module.add_class::<PyEyepiece>()?;
    module.add_class::<PySensor>()?;
    module.add_function(wrap_pyfunction!(eye_mtf, module)?)
}

/// A scene that has passed its checks.
fn sound<T>(py: Python<'_>, scene: Scene, made: T) -> PyResult<T> {
    scene.check().map(|()| made).map_err(|e| exception(py, e))
}

/// The scene that an argument is.
pub(super) fn scene(value: &Bound<'_, PyAny>) -> PyResult<Scene> {
    if let Ok(disc) = value.cast::<PyBandedDisc>() {
        return Ok(disc.get().0.clone().into());
    }
    if let Ok(pair) = value.cast::<PyDoubleStar>() {
        return Ok(pair.get().0.into());
    }
    if let Ok(field) = value.cast::<PyStarField>() {
        return Ok(field.get().0.clone().into());
    }
    let found = value.get_type().name()?.to_string();
    Err(refused(value.py(), "scene", &found, "a BandedDisc, DoubleStar or StarField", ""))
}

/// A scene as an object of Python.
pub(super) fn python_scene(py: Python<'_>, scene: &Scene) -> PyResult<Py<PyAny>> {
    Ok(match scene {
        Scene::BandedDisc(disc) => Py::new(py, PyBandedDisc(disc.clone()))?.into_any(),
        Scene::DoubleStar(pair) => Py::new(py, PyDoubleStar(*pair))?.into_any(),
        Scene::StarField(field) => Py::new(py, PyStarField(field.clone()))?.into_any(),
    })
}

/// A round spot on a disc, darker than what lies around it, or brighter.
///
/// Units: arcsec on the sky from the disc's middle: x toward the focuser's side, y toward +y.
/// Errors: InputError, when put on a disc that it leaves.
///
/// >>> shadow = ct.DiscSpot(x_arcsec=8, y_arcsec=0, diameter_arcsec=1, contrast=0.8)
/// >>> assert ct.BandedDisc(diameter_arcsec=45, spots=[shadow]).spots == (shadow,)
#[pyclass(name = "DiscSpot", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyDiscSpot(pub(super) DiscSpot);

#[pymethods]
impl PyDiscSpot {
    #[new]
    #[pyo3(signature = (*, x_arcsec, y_arcsec, diameter_arcsec, contrast))]
    fn new(
        x_arcsec: &Bound<'_, PyAny>,
        y_arcsec: &Bound<'_, PyAny>,
        diameter_arcsec: &Bound<'_, PyAny>,
        contrast: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        Ok(Self(DiscSpot {
            x_arcsec: number(x_arcsec, "x_arcsec")?,
            y_arcsec: number(y_arcsec, "y_arcsec")?,
            diameter_arcsec: number(diameter_arcsec, "diameter_arcsec")?,
            contrast: number(contrast, "contrast")?,
        }))
    }
}

getters!(PyDiscSpot, |spot| {
    /// Place of its middle toward the focuser's side, arcsec.
    x_arcsec: f64 = spot.x_arcsec;
    /// The same toward +y, arcsec.
    y_arcsec: f64 = spot.y_arcsec;
    /// Diameter, arcsec.
    diameter_arcsec: f64 = spot.diameter_arcsec;
    /// Share by which it is darker than its surroundings; negative for a bright spot.
    contrast: f64 = spot.contrast;
});
record!(PyDiscSpot, "DiscSpot", attributes: ["x_arcsec", "y_arcsec", "diameter_arcsec", "contrast"],
    shown: ["x_arcsec", "y_arcsec", "diameter_arcsec", "contrast"]);

/// An invented planet in the middle of the view: a disc that darkens toward its limb, with dark bands and spots.
///
/// Brightness 1 is the middle of the disc without bands and spots; toward the limb it falls as
/// 1 - k (1 - sqrt(1 - r^2/R^2)). Straight bands lie evenly spaced across the disc; each is darker by
/// `band_contrast` in its middle and by 1/e of that half of its width away, exp(-(2 d/width)^4); the width is a tenth
/// of the diameter where not given. Spots have sharp rims. `detail_contrast` is the RMS of fine streaks of
/// chance, drawn from `seed`.
///
/// Units: arcsec on the sky; degrees: `tilt_deg` is the direction of the pole from +x (the focuser's side) toward
/// +y. At 0 the bands lie level as seen through the eyepiece.
/// Errors: InputError for sizes and contrasts that cannot be, and bands that overlap.
/// Leaves out: phase, a flattened globe, bands that curve.
///
/// >>> planet = ct.BandedDisc(diameter_arcsec=45, band_contrast=0.25)
/// >>> assert planet.band_count == 4 and planet.band_width_arcsec == 4.5
#[pyclass(name = "BandedDisc", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyBandedDisc(pub(super) BandedDisc);

#[pymethods]
impl PyBandedDisc {
    #[new]
    #[pyo3(signature = (*, diameter_arcsec, band_count=None, band_contrast=None, band_width_arcsec=None, limb_darkening=None,
        tilt_deg=None, spots=Vec::new(), detail_contrast=None, seed=None),
        text_signature = "(*, diameter_arcsec, band_count=4, band_contrast=0.3, band_width_arcsec=None, limb_darkening=0.5, \
        tilt_deg=0.0, spots=(), detail_contrast=0.0, seed=1)")]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        diameter_arcsec: &Bound<'_, PyAny>,
        band_count: Option<&Bound<'_, PyAny>>,
        band_contrast: Option<&Bound<'_, PyAny>>,
        band_width_arcsec: Option<&Bound<'_, PyAny>>,
        limb_darkening: Option<&Bound<'_, PyAny>>,
        tilt_deg: Option<&Bound<'_, PyAny>>,
        spots: Vec<PyDiscSpot>,
        detail_contrast: Option<&Bound<'_, PyAny>>,
        seed: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let usual = BandedDisc::new(part_number(diameter_arcsec, "diameter_arcsec")?);
        let disc = BandedDisc {
            band_count: count_or(band_count, "band_count", usual.band_count)?,
            band_contrast: part_number_or(band_contrast, "band_contrast", usual.band_contrast)?,
            band_width_arcsec: maybe_part_number(band_width_arcsec, "band_width_arcsec")?,
            limb_darkening: part_number_or(limb_darkening, "limb_darkening", usual.limb_darkening)?,
            tilt_deg: part_number_or(tilt_deg, "tilt_deg", usual.tilt_deg)?,
            spots: spots.into_iter().map(|s| s.0).collect(),
            detail_contrast: part_number_or(detail_contrast, "detail_contrast", usual.detail_contrast)?,
            seed: seed.map_or(Ok(usual.seed), self::seed)?,
            ..usual
        };
        sound(py, disc.clone().into(), Self(disc))
    }

    /// Round spots.
    #[getter]
    fn spots<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.spots.iter().map(|s| PyDiscSpot(*s)))
    }
}

getters!(PyBandedDisc, |disc| {
    /// Diameter, arcsec.
    diameter_arcsec: f64 = disc.diameter_arcsec;
    /// Number of dark bands.
    band_count: usize = disc.band_count;
    /// Share by which the middle of a band is darker.
    band_contrast: f64 = disc.band_contrast;
    /// Full width of a band where its contrast is 1/e, arcsec.
    band_width_arcsec: f64 = disc.width_arcsec();
    /// Linear limb darkening k, 0 to 1.
    limb_darkening: f64 = disc.limb_darkening;
    /// Direction of the pole, degrees from +x toward +y.
    tilt_deg: f64 = disc.tilt_deg;
    /// RMS of the fine streaks, as a share of the brightness.
    detail_contrast: f64 = disc.detail_contrast;
    /// Which streaks.
    seed: u64 = disc.seed;
});
record!(PyBandedDisc, "BandedDisc",
    attributes: ["diameter_arcsec", "band_count", "band_contrast", "band_width_arcsec", "limb_darkening", "tilt_deg", "spots",
        "detail_contrast", "seed"],
    shown: ["diameter_arcsec", "band_count", "band_contrast", "band_width_arcsec", "limb_darkening", "tilt_deg"]);

/// Two stars, the point halfway between them in the middle of the view.
///
/// Units: arcsec; degrees: `position_angle_deg` is the direction on the sky from the first star to the second, from +x
/// (the focuser's side) toward +y; how the tube stands to north is not known here. Magnitudes.
/// Errors: InputError.
///
/// >>> pair = ct.DoubleStar(separation_arcsec=0.8, first_magnitude=4, second_magnitude=6)
/// >>> assert pair.position_angle_deg == 0
#[pyclass(name = "DoubleStar", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyDoubleStar(pub(super) DoubleStar);

#[pymethods]
impl PyDoubleStar {
    #[new]
    #[pyo3(signature = (*, separation_arcsec, first_magnitude, second_magnitude, position_angle_deg=None),
        text_signature = "(*, separation_arcsec, first_magnitude, second_magnitude, position_angle_deg=0.0)")]
    fn new(
        py: Python<'_>,
        separation_arcsec: &Bound<'_, PyAny>,
        first_magnitude: &Bound<'_, PyAny>,
        second_magnitude: &Bound<'_, PyAny>,
        position_angle_deg: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let pair = DoubleStar::new(
            part_number(separation_arcsec, "separation_arcsec")?,
            part_number(first_magnitude, "first_magnitude")?,
            part_number(second_magnitude, "second_magnitude")?,
        );
        let pair = pair.position_angle_deg(part_number_or(position_angle_deg, "position_angle_deg", 0.0)?);
        sound(py, pair.into(), Self(pair))
    }
}

getters!(PyDoubleStar, |pair| {
    /// Distance of the two, arcsec.
    separation_arcsec: f64 = pair.separation_arcsec;
    /// Direction from the first to the second, degrees from +x toward +y.
    position_angle_deg: f64 = pair.position_angle_deg;
    /// Magnitude of the first.
    first_magnitude: f64 = pair.first_magnitude;
    /// Magnitude of the second.
    second_magnitude: f64 = pair.second_magnitude;
});
record!(PyDoubleStar, "DoubleStar",
    attributes: ["separation_arcsec", "position_angle_deg", "first_magnitude", "second_magnitude"],
    shown: ["separation_arcsec", "position_angle_deg", "first_magnitude", "second_magnitude"]);

/// Stars, at stated places or at places of chance.
///
/// Units: arcsec on the sky from the middle of the view: x toward the focuser's side, y toward +y. Magnitudes.
/// Shapes: three lists of equal length.
/// Errors: InputError.
///
/// >>> three = ct.StarField(x_arcsec=[0, 4, -6], y_arcsec=[0, 2, 3], magnitude=[5, 8, 8.5])
/// >>> assert three.star_count == 3
#[pyclass(name = "StarField", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyStarField(pub(super) StarField);

#[pymethods]
impl PyStarField {
    #[new]
    #[pyo3(signature = (*, x_arcsec, y_arcsec, magnitude))]
    fn new(
        py: Python<'_>,
        x_arcsec: &Bound<'_, PyAny>,
        y_arcsec: &Bound<'_, PyAny>,
        magnitude: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let lists = [list(x_arcsec, "x_arcsec")?, list(y_arcsec, "y_arcsec")?, list(magnitude, "magnitude")?];
        let [x, y, magnitude] = &lists;
        if x.len() != y.len() || x.len() != magnitude.len() {
            let found = format!("{} and {} places, {} magnitudes", x.len(), y.len(), magnitude.len());
            return Err(refused(py, "magnitude", &found, "three lists of equal length", ""));
        }
        let star = |i: usize| FieldStar { x_arcsec: x[i], y_arcsec: y[i], magnitude: magnitude[i] };
        let field = StarField::new((0..x.len()).map(star).collect());
        sound(py, field.clone().into(), Self(field))
    }

    /// Return a square field of chance: places evenly spread, 10^0.6 times as many stars with each magnitude.
    ///
    /// Units: arcsec from the middle to the field's edge; magnitudes.
    /// Errors: InputError.
    /// Source: equal stars evenly spread in space.
    ///
    /// >>> field = ct.StarField.of_chance(half_width_arcsec=60, count=80, faintest_magnitude=13, seed=4)
    /// >>> assert field.star_count == 80 and field.magnitude.max() <= 13
    #[staticmethod]
    #[pyo3(signature = (*, half_width_arcsec, count, faintest_magnitude, seed))]
    fn of_chance(
        py: Python<'_>,
        half_width_arcsec: &Bound<'_, PyAny>,
        count: &Bound<'_, PyAny>,
        faintest_magnitude: &Bound<'_, PyAny>,
        seed: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let half_width = number(half_width_arcsec, "half_width_arcsec")?;
        if half_width <= 0.0 {
            let found = half_width.to_string();
            return Err(refused(py, "half_width_arcsec", &found, "above 0", "a sign?"));
        }
        let field = StarField::of_chance(
            half_width,
            self::count(count, "count")?,
            number(faintest_magnitude, "faintest_magnitude")?,
            self::seed(seed)?,
        );
        sound(py, field.clone().into(), Self(field))
    }

    /// Places toward the focuser's side, arcsec.
    #[getter]
    fn x_arcsec<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.stars.iter().map(|s| s.x_arcsec))
    }

    /// Places toward +y, arcsec.
    #[getter]
    fn y_arcsec<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.stars.iter().map(|s| s.y_arcsec))
    }

    /// Magnitudes.
    #[getter]
    fn magnitude<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.stars.iter().map(|s| s.magnitude))
    }
}

getters!(PyStarField, |field| {
    /// How many stars there are.
    star_count: usize = field.stars.len();
});
record!(PyStarField, "StarField", attributes: ["x_arcsec", "y_arcsec", "magnitude"], shown: ["star_count"]);

/// An eyepiece: it magnifies and adds no error of its own.
///
/// The exit pupil is its focal length over the focal ratio, the magnification the telescope's focal length over its
/// own, the true field 2 atan(field stop/(2 f)). `shoulder_to_stop_mm`, positive where the field stop lies outside of the
/// shoulder that seats on the focuser, counts for the focus (`Train.focus_ladder`); `apparent_field_deg`, as its maker
/// states it, for a true field by the usual rule (`Train.behind`).
///
/// Units: mm; degrees.
/// Errors: InputError, when something is looked at: sizes that cannot be, an exit pupil above 7 mm.
/// Leaves out: the eyepiece's own errors, and the light it loses.
///
/// >>> eyepiece = ct.Eyepiece(focal_length_mm=6, field_stop_mm=8)
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
/// >>> seen = train.view(ct.BandedDisc(diameter_arcsec=20), eyepiece=eyepiece, pixels=33)
/// >>> assert seen.magnification == 200 and seen.exit_pupil_mm == 1
#[pyclass(name = "Eyepiece", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyEyepiece(pub(super) Eyepiece);

#[pymethods]
impl PyEyepiece {
    #[new]
    #[pyo3(signature = (*, focal_length_mm, field_stop_mm, shoulder_to_stop_mm=None, apparent_field_deg=None))]
    fn new(
        focal_length_mm: &Bound<'_, PyAny>,
        field_stop_mm: &Bound<'_, PyAny>,
        shoulder_to_stop_mm: Option<&Bound<'_, PyAny>>,
        apparent_field_deg: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        Ok(Self(Eyepiece {
            focal_length_mm: number(focal_length_mm, "focal_length_mm")?,
            field_stop_mm: number(field_stop_mm, "field_stop_mm")?,
            shoulder_to_stop_mm: maybe_number(shoulder_to_stop_mm, "shoulder_to_stop_mm")?,
            apparent_field_deg: maybe_number(apparent_field_deg, "apparent_field_deg")?,
        }))
    }
}

getters!(PyEyepiece, |eyepiece| {
    /// Focal length, mm.
    focal_length_mm: f64 = eyepiece.focal_length_mm;
    /// Diameter of the field stop, mm.
    field_stop_mm: f64 = eyepiece.field_stop_mm;
    /// From the shoulder to the field stop, mm, positive outside; or None.
    shoulder_to_stop_mm: Option<f64> = eyepiece.shoulder_to_stop_mm;
    /// Apparent field as stated by the maker, degrees; or None.
    apparent_field_deg: Option<f64> = eyepiece.apparent_field_deg;
    /// How far the image moves along the light for one dioptre at the eye, mm.
    mm_per_dioptre: f64 = eyepiece.mm_per_dioptre();
});
record!(PyEyepiece, "Eyepiece",
    attributes: ["focal_length_mm", "field_stop_mm", "shoulder_to_stop_mm", "apparent_field_deg"],
    shown: ["focal_length_mm", "field_stop_mm", "shoulder_to_stop_mm", "apparent_field_deg"]);

/// A sensor in the focal plane: each pixel integrates over its whole square.
///
/// Units: um. Columns lie along (x on the sky), rows across (y).
/// Errors: InputError, when something is looked at.
/// Leaves out: noise, gaps between pixels, colour masks.
///
/// >>> sensor = ct.Sensor(pixel_um=3.75, columns=64, rows=48)
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
/// >>> seen = train.view(ct.BandedDisc(diameter_arcsec=20), sensor=sensor)
/// >>> assert seen.image.shape == (48, 64) and seen.pixels_per_lambda_f < 2  # undersampled
#[pyclass(name = "Sensor", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySensor(pub(super) Sensor);

#[pymethods]
impl PySensor {
    #[new]
    #[pyo3(signature = (*, pixel_um, columns, rows))]
    fn new(
        pixel_um: &Bound<'_, PyAny>,
        columns: &Bound<'_, PyAny>,
        rows: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let pixel_um = number(pixel_um, "pixel_um")?;
        Ok(Self(Sensor::new(pixel_um, count(columns, "columns")?, count(rows, "rows")?)))
    }
}

getters!(PySensor, |sensor| {
    /// Side of a pixel, um.
    pixel_um: f64 = sensor.pixel_um;
    /// Pixels along.
    columns: usize = sensor.columns;
    /// Pixels across.
    rows: usize = sensor.rows;
});
record!(PySensor, "Sensor", attributes: ["pixel_um", "columns", "rows"], shown: ["pixel_um", "columns", "rows"]);

/// Return the mean eye's transfer of contrast through a pupil of its own.
///
/// (1 + (u/u1)^2)^-0.62 sqrt(D(u)), u1 = 21.95 - 5.512 d + 0.3922 d^2, D the transfer of diffraction at 555 nm. Fitted
/// for pupils d of 2 to 6 mm. A view at an eyepiece takes this over D, never above 1: diffraction is in the star image
/// already.
///
/// Units: cycles for each degree; mm.
/// Shapes: one entry a frequency.
/// Errors: InputError for negative frequencies and pupils outside 0.1 to 7 mm.
/// Source: Watson 2013, Journal of Vision 13(6):18.
/// Leaves out: scattered light within the eye; what retina and brain make of the image; how much single eyes differ
/// from the mean of 200 corrected ones, the largest uncertainty of a view.
///
/// >>> assert abs(ct.eye_mtf([10.0], pupil_mm=3)[0] - 0.562616845632) < 1e-11  # mpmath
#[pyfunction]
#[pyo3(signature = (cycles_per_deg, /, *, pupil_mm))]
fn eye_mtf<'py>(
    py: Python<'py>,
    cycles_per_deg: &Bound<'py, PyAny>,
    pupil_mm: &Bound<'py, PyAny>,
) -> PyResult<Column<'py>> {
    let (cycles, pupil) = (list(cycles_per_deg, "cycles_per_deg")?, number(pupil_mm, "pupil_mm")?);
    if !(0.1..=7.0).contains(&pupil) {
        return Err(refused(py, "pupil_mm", &pupil.to_string(), "0.1 to 7 mm", ""));
    }
    if let Some(u) = cycles.iter().find(|u| **u < 0.0) {
        return Err(refused(py, "cycles_per_deg", &u.to_string(), "0 or more", ""));
    }
    Ok(column(py, cycles.into_iter().map(|u| crate::eye_mtf(u, pupil))))
}
