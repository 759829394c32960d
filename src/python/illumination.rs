//! Light over the field: at points of the focal plane, and against radius.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::light::{keys, stopped, table};
use super::rays::draw;
use super::record::{columns, getters, record};
use crate::{Illumination, RadialIllumination};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyIllumination>()?;
    module.add_class::<PyRadialIllumination>()
}

/// Light at points of the focal plane, and what each part stops.
///
/// Units: mm in the focal plane. Shapes: one entry a point.
/// Errors: those of `Train.illumination`, which makes it.
/// Leaves out: reflectances.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> light = train.illumination(along_mm=[0, 15], across_mm=[0, 0])
/// >>> assert light.relative[0] == 1 and light.relative[1] < 1
#[pyclass(name = "Illumination", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyIllumination(pub(super) Illumination);

#[pymethods]
impl PyIllumination {
    /// The share that each part stops, by part.
    #[getter]
    fn stopped<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        stopped(py, &self.0.stopped)
    }

    /// Draw the light at the points, relative to the axis; return the axes.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> light = train.illumination(along_mm=[-10, 0, 10], across_mm=[0, 0, 0])
    /// >>> assert "mm" in light.plot().get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("illumination_map", slf.as_any(), ax, None)
    }

    /// Return a Table of all columns; what a part stops stands under the part's name and `_share`.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> table = train.illumination(along_mm=[0, 15], across_mm=[0, 0]).to_table()
    /// >>> assert table.rows == 2 and "diagonal_shadow_share" in table
    fn to_table<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        table(slf.as_any(), &["along_mm", "across_mm", "absolute", "relative", "magnitudes", "limited_by"])
    }
}

columns!(PyIllumination, |value| {
    /// Positions along, mm; positive toward the sky end.
    along_mm = value.along_mm.iter().copied();
    /// Positions across, mm.
    across_mm = value.across_mm.iter().copied();
    /// Share of the light on the clear aperture that arrives.
    absolute = value.absolute.iter().copied();
    /// The same over its value in the middle of the field.
    relative = value.relative.iter().copied();
    /// Loss against the middle of the field, magnitudes; infinite where no light arrives.
    magnitudes = value.magnitudes();
});

getters!(PyIllumination, |light| {
    /// The opening that limits at every point, by its key; an empty text where none stops anything.
    limited_by: Vec<&'static str> = keys(&light.limited_by);
    /// Estimated error of the absolute values.
    error_estimate: f64 = light.error_estimate;
    /// How many points there are.
    points: usize = light.absolute.len();
});
record!(PyIllumination, "Illumination",
    attributes: ["along_mm", "across_mm", "absolute", "relative", "magnitudes", "stopped", "limited_by", "error_estimate"],
    shown: ["points", "error_estimate"]);

/// Light against radius in the focal plane: worst, mean and best over azimuth, and what each part stops.
///
/// Units: mm in the focal plane; `worst`, `mean` and `best` relative to the axis, `absolute_...` to the clear
/// aperture.
/// Shapes: one entry a radius.
/// Errors: those of `Train.illumination`, which makes it.
/// Leaves out: reflectances.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> light = train.illumination(radius_mm=[0, 10, 20])
/// >>> assert np.all(light.worst <= light.best) and abs(light.on_axis - light.absolute_mean[0]) < 1e-9
#[pyclass(name = "RadialIllumination", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyRadialIllumination(pub(super) RadialIllumination);

#[pymethods]
impl PyRadialIllumination {
    /// The share that each part stops, by part; the mean over azimuth.
    #[getter]
    fn stopped<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        stopped(py, &self.0.stopped)
    }

    /// Return a Table of all columns; what a part stops stands under the part's name and `_share`.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> table = train.illumination(radius_mm=[0, 10, 20]).to_table()
    /// >>> assert list(table)[:4] == ["radius_mm", "worst", "mean", "best"]
    fn to_table<'py>(slf: &Bound<'py, Self>) -> PyResult<Bound<'py, PyAny>> {
        table(
            slf.as_any(),
            &[
                "radius_mm",
                "worst",
                "mean",
                "best",
                "absolute_worst",
                "absolute_mean",
                "absolute_best",
                "worst_magnitudes",
                "worst_azimuth_deg",
                "best_azimuth_deg",
                "limited_by",
            ],
        )
    }

    /// Draw the light against the radius; return the axes.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> axes = train.illumination(radius_mm=[0, 10, 20]).plot()
    /// >>> assert "mm" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("illumination", slf.as_any(), ax, None)
    }

    /// Draw which part stops how much, against the radius; return the axes.
    ///
    /// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
    /// >>> axes = train.illumination(radius_mm=[0, 10, 20]).plot_shares()
    /// >>> assert "mm" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot_shares<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        draw("shares", slf.as_any(), ax, None)
    }
}

columns!(PyRadialIllumination, |value| {
    /// Radii, mm.
    radius_mm = value.radius_mm.iter().copied();
    /// The darkest azimuth, relative to the axis.
    worst = value.worst.iter().copied();
    /// The mean over azimuth, relative to the axis.
    mean = value.mean.iter().copied();
    /// The brightest azimuth, relative to the axis.
    best = value.best.iter().copied();
    /// Where the darkest place lies, degrees from the sky end toward +across.
    worst_azimuth_deg = value.worst_azimuth_deg.iter().copied();
    /// Where the brightest place lies, degrees from the sky end toward +across.
    best_azimuth_deg = value.best_azimuth_deg.iter().copied();
    /// Loss in the darkest azimuth against the middle of the field, magnitudes; infinite where no light arrives.
    worst_magnitudes = value.worst_magnitudes();
    /// The darkest azimuth, as a share of the light on the clear aperture.
    absolute_worst = value.absolute_worst();
    /// The mean over azimuth, as a share of the light on the clear aperture.
    absolute_mean = value.absolute_mean();
    /// The brightest azimuth, as a share of the light on the clear aperture.
    absolute_best = value.absolute_best();
});

getters!(PyRadialIllumination, |light| {
    /// The opening that limits in the darkest azimuth, by its key; an empty text where none stops anything.
    limited_by: Vec<&'static str> = keys(&light.limited_by);
    /// What the azimuths add to the error of mean, worst and best.
    azimuth_error_estimate: f64 = light.azimuth_error_estimate;
    /// Light on the axis, as a share of the light on the clear aperture.
    on_axis: f64 = light.on_axis;
    /// Estimated error of the absolute values.
    error_estimate: f64 = light.error_estimate;
    /// How many radii there are.
    points: usize = light.radius_mm.len();
});
record!(PyRadialIllumination, "RadialIllumination",
    attributes: ["radius_mm", "worst", "mean", "best", "absolute_worst", "absolute_mean", "absolute_best",
        "worst_magnitudes", "worst_azimuth_deg", "best_azimuth_deg", "on_axis", "stopped", "limited_by", "error_estimate",
        "azimuth_error_estimate"],
    shown: ["points", "on_axis", "error_estimate"]);
