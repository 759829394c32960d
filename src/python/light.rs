//! Light: of one star, along a field stop, over a sensor; and what stops the rest.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arrays::column;
use super::rays::draw;
use super::record::{columns, getters, record};
use crate::{FieldStopLight, Light, LightMap, LitCircle, Part, SensorCorner};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyLight>()?;
    module.add_class::<PyFieldStopLight>()?;
    module.add_class::<PyLightMap>()?;
    module.add_class::<PySensorCorner>()?;
    module.add_class::<PyLitCircle>()
}

/// How much of one star's light reaches the image, and where the rest stays.
///
/// Units: shares of the light that falls on the clear aperture; `lit_fraction` and the shares in `stopped` add up to 1.
/// Errors: those of `Train.light`, which makes it.
/// Leaves out: reflectances.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=63, offset_mm=0), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> light = train.light(field_arcmin=(20, 0))  # the image falls toward the primary
/// >>> assert abs(light.lit_fraction + sum(light.stopped.values()) - 1) < 1e-12
/// >>> assert light.limited_by == "diagonal" and light.stopped["diagonal"] > 0.04
/// >>> assert light.lit_fraction < light.lit_without_shadow < 1
#[pyclass(name = "Light", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyLight(pub(super) Light);

#[pymethods]
impl PyLight {
    /// What each part stops, by part, in the order in which light meets them.
    #[getter]
    fn stopped<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let stopped = PyDict::new(py);
        self.0.stopped.iter().try_for_each(|share| stopped.set_item(share.part.key(), share.fraction))?;
        Ok(stopped)
    }

    /// What the image would gain if a part alone were taken away, by part: light that no other part stops as well.
    #[getter]
    fn returns_alone<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let returned = PyDict::new(py);
        self.0.stopped.iter().try_for_each(|s| returned.set_item(s.part.key(), s.returns_alone))?;
        Ok(returned)
    }
}

getters!(PyLight, |light| {
    /// Share that reaches the image.
    lit_fraction: f64 = light.lit_fraction;
    /// Share that would pass with the shadows of the diagonal and its holder left out.
    lit_without_shadow: f64 = light.lit_without_shadow();
    /// What the parts cost, magnitudes; infinite where no light arrives.
    magnitudes_lost: f64 = light.magnitudes_lost();
    /// The opening whose removal alone would return most, or where none alone returns anything the one that stops most, by
    /// its key; None where none stops anything. The shadows, vanes, clips and the mask, which stand in the light of
    /// every star, are left aside.
    limited_by: Option<&'static str> = light.limited_by.map(Part::key);
    /// Estimated error of the fractions.
    error_estimate: f64 = light.error_estimate;
});
record!(PyLight, "Light",
    attributes: ["lit_fraction", "lit_without_shadow", "magnitudes_lost", "stopped", "returns_alone", "limited_by", "error_estimate"],
    shown: ["lit_fraction", "lit_without_shadow", "magnitudes_lost", "limited_by", "error_estimate"]);

/// Light along the field stop of an eyepiece, against azimuth.
///
/// Units: mm; azimuths in degrees from +along (the sky end) toward +across; `relative`, `worst`, `mean` and `best` over
/// the light in the middle of the field.
/// Shapes: the arrays have one entry an azimuth.
/// Errors: those of `Train.field_stop_light`, which makes it.
/// Leaves out: reflectances.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=63, offset_mm=0), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> ring = train.field_stop_light(diameter_mm=30)
/// >>> assert ring.worst_azimuth_deg == 180 and ring.worst < ring.mean < ring.best
#[pyclass(name = "FieldStopLight", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFieldStopLight(pub(super) FieldStopLight);

#[pymethods]
impl PyFieldStopLight {
    /// The share that each part stops, by part.
    #[getter]
    fn stopped<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        stopped(py, &self.0.stopped)
    }

    /// Return a Table of all columns; what a part stops stands under the part's name and `_share`.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=63, offset_mm=0), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> assert train.field_stop_light(diameter_mm=30, azimuths=12).to_table().rows == 12
    fn to_table<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        table(slf.as_any(), &["azimuth_deg", "absolute", "relative", "magnitudes", "limited_by"])
    }

    /// Draw the ring as the eye sees it, and what stops the light along it; return the axes.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=63, offset_mm=0), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> axes = train.field_stop_light(diameter_mm=30).plot()
    /// >>> assert "azimuth" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("field_stop_light", slf.as_any(), ax, None)
    }
}

columns!(PyFieldStopLight, |value| {
    /// Azimuths, degrees from the sky end toward +across.
    azimuth_deg = value.azimuth_deg.iter().copied();
    /// Share of the light on the clear aperture that arrives.
    absolute = value.absolute.iter().copied();
    /// The same over its value in the middle of the field.
    relative = value.relative.iter().copied();
    /// Loss against the middle of the field, magnitudes; infinite where no light arrives.
    magnitudes = value.magnitudes();
});

getters!(PyFieldStopLight, |ring| {
    /// Diameter of the field stop, mm.
    diameter_mm: f64 = ring.diameter_mm;
    /// The opening that limits at every azimuth, by its key; an empty text where none stops anything.
    limited_by: Vec<&'static str> = keys(&ring.limited_by);
    /// The darkest place of the ring, relative to the middle of the field.
    worst: f64 = ring.worst;
    /// Where it lies, degrees.
    worst_azimuth_deg: f64 = ring.worst_azimuth_deg;
    /// The mean over azimuth.
    mean: f64 = ring.mean;
    /// The brightest place of the ring.
    best: f64 = ring.best;
    /// Where it lies, degrees.
    best_azimuth_deg: f64 = ring.best_azimuth_deg;
    /// Light in the middle of the field, as a share of the light on the clear aperture.
    on_axis: f64 = ring.on_axis;
    /// Estimated error of the absolute values.
    error_estimate: f64 = ring.error_estimate;
    /// What the azimuths add to the error of mean, worst and best.
    azimuth_error_estimate: f64 = ring.azimuth_error_estimate;
});
record!(PyFieldStopLight, "FieldStopLight",
    attributes: ["diameter_mm", "azimuth_deg", "absolute", "relative", "magnitudes", "stopped", "limited_by", "worst",
        "worst_azimuth_deg", "mean", "best", "best_azimuth_deg", "on_axis", "error_estimate", "azimuth_error_estimate"],
    shown: ["diameter_mm", "worst", "worst_azimuth_deg", "mean", "best", "best_azimuth_deg"]);

/// Light over a sensor.
///
/// Units: mm in the focal plane, degrees.
/// Shapes: the arrays have `rows` times `columns` entries, row by row: a row lies along the sensor's side across;
/// `along_mm` and `across_mm` say where each point lies.
/// Errors: those of `Train.light_map`, which makes it.
/// Leaves out: reflectances.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=63, offset_mm=0), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> sensor = train.light_map(along_mm=22, across_mm=15, points=9)
/// >>> corner = sensor.darkest_corner
/// >>> assert corner.limited_by == "diagonal" and corner.along_mm == -11
/// >>> assert sensor.relative.reshape(sensor.rows, sensor.columns).shape == (9, 6)
#[pyclass(name = "LightMap", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyLightMap(pub(super) LightMap);

#[pymethods]
impl PyLightMap {
    /// The share that each part stops, by part.
    #[getter]
    fn stopped<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        stopped(py, &self.0.stopped)
    }

    /// Return a Table of all columns; what a part stops stands under the part's name and `_share`.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=63, offset_mm=0), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> assert train.light_map(along_mm=22, across_mm=15, points=3).to_table().rows == 6
    fn to_table<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        table(slf.as_any(), &["along_mm", "across_mm", "absolute", "relative", "magnitudes", "limited_by"])
    }

    /// Draw the light over the sensor: lines in magnitudes, and which part limits where; return the axes.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=63, offset_mm=0), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> axes = train.light_map(along_mm=22, across_mm=15, points=9).plot()
    /// >>> assert "mm" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("sensor_light", slf.as_any(), ax, None)
    }
}

columns!(PyLightMap, |value| {
    /// Where each point lies along, mm; positive toward the sky end.
    along_mm = value.along_mm();
    /// Where each point lies across, mm.
    across_mm = value.across_mm();
    /// Share of the light on the clear aperture that arrives.
    absolute = value.absolute.iter().copied();
    /// The same over its value in the middle of the field.
    relative = value.relative();
    /// Loss against the middle of the field, magnitudes; infinite where no light arrives.
    magnitudes = value.magnitudes();
});

getters!(PyLightMap, |map| {
    /// Length of the sensor's side along, mm.
    side_along_mm: f64 = map.frame.along_mm;
    /// Length of its side across, mm.
    side_across_mm: f64 = map.frame.across_mm;
    /// How far it is turned from along toward across, degrees.
    rotation_deg: f64 = map.frame.rotation_deg;
    /// Where its centre lies along, mm.
    centre_along_mm: f64 = map.frame.centre_along_mm;
    /// Where its centre lies across, mm.
    centre_across_mm: f64 = map.frame.centre_across_mm;
    /// Points along its side along.
    rows: usize = map.rows;
    /// Points along its side across.
    columns: usize = map.columns;
    /// Light in the middle of the field, as a share of the light on the clear aperture.
    on_axis: f64 = map.on_axis;
    /// The opening that limits at every point, by its key; an empty text where none stops anything.
    limited_by: Vec<&'static str> = keys(&map.limited_by);
    /// The opening that takes most over the whole sensor; None where none stops anything.
    limited_mostly_by: Option<&'static str> = map.limited_mostly_by().map(Part::key);
    /// The corner with the least light.
    darkest_corner: PySensorCorner = PySensorCorner(map.darkest_corner());
    /// Estimated error of the absolute values.
    error_estimate: f64 = map.error_estimate;
});
record!(PyLightMap, "LightMap",
    attributes: ["side_along_mm", "side_across_mm", "rotation_deg", "centre_along_mm", "centre_across_mm", "rows", "columns",
        "along_mm", "across_mm", "absolute", "relative", "magnitudes", "on_axis", "stopped", "limited_by",
        "limited_mostly_by", "darkest_corner", "error_estimate"],
    shown: ["side_along_mm", "side_across_mm", "rows", "columns", "limited_mostly_by", "darkest_corner"]);

/// A corner of a sensor, and the light there.
///
/// Units: mm in the focal plane; `relative` over the light in the middle of the field.
/// Errors: those of `Train.light_map`, whose result has it.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=63, offset_mm=0), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> corner = train.light_map(along_mm=22, across_mm=15, points=3).darkest_corner
/// >>> assert corner.relative < 1 and corner.magnitudes > 0
#[pyclass(name = "SensorCorner", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySensorCorner(pub(super) SensorCorner);

getters!(PySensorCorner, |corner| {
    /// Where it lies along, mm.
    along_mm: f64 = corner.along_mm;
    /// Where it lies across, mm.
    across_mm: f64 = corner.across_mm;
    /// Light over that in the middle of the field.
    relative: f64 = corner.relative;
    /// The same as a loss, magnitudes; infinite where no light arrives.
    magnitudes: f64 = corner.magnitudes();
    /// The opening that limits there, by its key; None where none stops anything.
    limited_by: Option<&'static str> = corner.limited_by.map(Part::key);
});
record!(PySensorCorner, "SensorCorner",
    attributes: ["along_mm", "across_mm", "relative", "magnitudes", "limited_by"],
    shown: ["along_mm", "across_mm", "relative", "magnitudes", "limited_by"]);

/// The largest circle about the middle of the field over which no opening takes light.
///
/// Units: mm in the focal plane.
/// Errors: none of its own.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=90), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> tube = ct.Drawtube(bore_mm=32, length_mm=80, outer_end_to_focus_mm=0)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane, drawtube=tube)
/// >>> assert train.fully_lit_circle.limited_by == "drawtube_inner_end"
#[pyclass(name = "LitCircle", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyLitCircle(pub(super) LitCircle);

getters!(PyLitCircle, |circle| {
    /// Its diameter, mm; 0 where an opening takes light even in the middle.
    diameter_mm: f64 = circle.diameter_mm;
    /// The opening that ends it, by its key; None where nothing does within a fifth of the focal length.
    limited_by: Option<&'static str> = circle.limited_by.map(Part::key);
});
record!(PyLitCircle, "LitCircle", attributes: ["diameter_mm", "limited_by"], shown: ["diameter_mm", "limited_by"]);

pub(super) fn stopped<'py>(py: Python<'py>, parts: &[(Part, Vec<f64>)]) -> PyResult<Bound<'py, PyDict>> {
    let stopped = PyDict::new(py);
    for (part, shares) in parts {
        stopped.set_item(part.key(), column(py, shares.iter().copied()))?;
    }
    Ok(stopped)
}

/// The keys of parts; an empty text for none.
pub(super) fn keys(parts: &[Option<Part>]) -> Vec<&'static str> {
    parts.iter().map(|part| part.map_or("", Part::key)).collect()
}

/// The named columns of a result, and its shares, as the package's Table.
pub(super) fn table<'py>(result: &Bound<'py, PyAny>, names: &[&str]) -> PyResult<Bound<'py, PyAny>> {
    let columns = PyDict::new(result.py());
    for name in names {
        columns.set_item(name, result.getattr(*name)?)?;
    }
    for (part, shares) in result.getattr("stopped")?.cast::<PyDict>()? {
        columns.set_item(format!("{part}_share"), shares)?;
    }
    result.py().import("catoptric.table")?.call_method1("Table", (columns,))
}
