//! A photograph of the mirror turned to reflectance.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{height_table, maybe_part_number, part_number, part_number_or};
use super::coating::PyReflectanceMap;
use super::errors::exception;
use super::once::Once;
use super::record::{getters, record};
use super::square_map::direction;
use crate::{KnownPatch, PhotoCheck, ReflectancePhoto, ReflectancePhotoInput};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyKnownPatch>()?;
    module.add_class::<PyReflectancePhoto>()?;
    module.add_class::<PyPhotoCheck>()
}

/// A round patch of the mirror, or of a card on it, whose reflectance is known.
///
/// Units: mm, +x toward the focuser; shares of the power. `sigma` is the reflectance's standard deviation.
/// Errors: InputError, when a photograph is made of it.
///
/// >>> assert ct.KnownPatch(x_mm=0, y_mm=60, radius_mm=8, reflectance=0.18).sigma == 0
#[pyclass(name = "KnownPatch", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyKnownPatch(KnownPatch);

#[pymethods]
impl PyKnownPatch {
    #[new]
    #[pyo3(signature = (*, x_mm, y_mm, radius_mm, reflectance, sigma=None),
        text_signature = "(*, x_mm, y_mm, radius_mm, reflectance, sigma=0.0)")]
    fn new(
        x_mm: &Bound<'_, PyAny>,
        y_mm: &Bound<'_, PyAny>,
        radius_mm: &Bound<'_, PyAny>,
        reflectance: &Bound<'_, PyAny>,
        sigma: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let centre = [part_number(x_mm, "x_mm")?, part_number(y_mm, "y_mm")?];
        let share = part_number(reflectance, "reflectance")?;
        let patch = KnownPatch::new(centre, part_number(radius_mm, "radius_mm")?, share);
        Ok(Self(patch.sigma(part_number_or(sigma, "sigma", 0.0)?)))
    }
}

getters!(PyKnownPatch, |patch| {
    /// Where its centre lies, mm toward the focuser's side.
    x_mm: f64 = patch.x_mm;
    /// Where its centre lies across, mm.
    y_mm: f64 = patch.y_mm;
    /// Radius within which all is of this reflectance, mm.
    radius_mm: f64 = patch.radius_mm;
    /// Share of the power that it returns.
    reflectance: f64 = patch.reflectance;
    /// Standard deviation of that share.
    sigma: f64 = patch.sigma;
});
record!(PyKnownPatch, "KnownPatch", attributes: ["x_mm", "y_mm", "radius_mm", "reflectance", "sigma"],
    shown: ["x_mm", "y_mm", "radius_mm", "reflectance", "sigma"]);

/// A photograph of the mirror, turned to reflectance by a dark and a bright patch that are known.
///
/// reflectance = `scale` x value + `offset`. The values must be linear in light: raw counts, not a picture made for the
/// eye. To check it, expose twice as long (values less those of a covered lens must double), and ask a third known
/// patch (`check`). `rows_run` and `columns_run` ("+x", "-x", "+y", "-y": where the next one lies on the mirror, seen
/// from the sky) have no default.
///
/// Units: mm for a pixel's side on the mirror; shares of the power.
/// Errors: InputError with all faults found: values saturated or cut off on the mirror, patches off it or with fewer
/// than nine pixels, reflectances closer than 0.1, a bright patch darker than the dark one.
/// Leaves out: uneven lighting and the lens's own fall-off, which enter the map in full: divide by a photograph of an
/// even card.
///
/// >>> picture = np.where(np.arange(40) < 10, 240.0, 940.0) + np.arange(40) % 2 + np.zeros((40, 1))  # 40 + 1000 R
/// >>> photo = ct.ReflectancePhoto(values=picture, pixel_mm=5, rows_run="-y", columns_run="+x", clear_aperture_mm=190,
/// ...     dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=0.20),
/// ...     bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=0.90))
/// >>> assert abs(photo.scale - 1e-3) < 1e-5 and abs(photo.map().reflectance[20, 20] - 0.9) < 2e-3
#[pyclass(name = "ReflectancePhoto", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyReflectancePhoto(ReflectancePhoto, #[serde(skip)] Once<f64>);

#[pymethods]
impl PyReflectancePhoto {
    /// Mean reflectance over the clear aperture.
    #[getter]
    fn mean_reflectance(&self) -> PyResult<f64> {
        self.1.get(|| Ok(self.0.mean_reflectance())).copied()
    }

    #[new]
    #[pyo3(signature = (*, values, pixel_mm, rows_run, columns_run, clear_aperture_mm, dark, bright, centre_row=None,
        centre_column=None, saturates_at=None))]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        values: &Bound<'_, PyAny>,
        pixel_mm: &Bound<'_, PyAny>,
        rows_run: &str,
        columns_run: &str,
        clear_aperture_mm: &Bound<'_, PyAny>,
        dark: PyKnownPatch,
        bright: PyKnownPatch,
        centre_row: Option<&Bound<'_, PyAny>>,
        centre_column: Option<&Bound<'_, PyAny>>,
        saturates_at: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let input = ReflectancePhotoInput::new(
            height_table(values, "values")?,
            part_number(pixel_mm, "pixel_mm")?,
            direction(py, "rows_run", rows_run)?,
            direction(py, "columns_run", columns_run)?,
            part_number(clear_aperture_mm, "clear_aperture_mm")?,
            dark.0,
            bright.0,
        );
        let input = ReflectancePhotoInput {
            centre_row: part_number_or(centre_row, "centre_row", input.centre_row)?,
            centre_column: part_number_or(centre_column, "centre_column", input.centre_column)?,
            saturates_at: maybe_part_number(saturates_at, "saturates_at")?,
            ..input
        };
        ReflectancePhoto::new(input).map(|photo| Self(photo, Once::default())).map_err(|e| exception(py, e))
    }

    /// Return what the photograph makes of a third patch that is known.
    ///
    /// Units: shares of the power. Errors: InputError for a patch off the mirror or with fewer than nine pixels.
    ///
    /// >>> picture = np.where(np.arange(40) < 10, 240.0, 940.0) + np.arange(40) % 2 + np.zeros((40, 1))
    /// >>> photo = ct.ReflectancePhoto(values=picture, pixel_mm=5, rows_run="-y", columns_run="+x", clear_aperture_mm=190,
    /// ...     dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=0.20),
    /// ...     bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=0.90))
    /// >>> assert photo.check(ct.KnownPatch(x_mm=0, y_mm=60, radius_mm=12, reflectance=0.90)).agrees
    #[pyo3(signature = (third, /))]
    fn check(&self, py: Python<'_>, third: PyKnownPatch) -> PyResult<PyPhotoCheck> {
        self.0.check(&third.0).map(PyPhotoCheck).map_err(|e| exception(py, e))
    }

    /// Return the map of reflectance, for `Coating(map=...)`.
    ///
    /// What lies less than a pixel inside the rim, where the background mixes in, takes the value of the next pixel
    /// inward; pixels beyond the clear aperture by more than two are left out (NaN).
    /// Errors: InputError where a pixel on the mirror comes out above 1 or not above 0: nothing is cut off.
    ///
    /// >>> picture = np.where(np.arange(40) < 10, 240.0, 940.0) + np.arange(40) % 2 + np.zeros((40, 1))
    /// >>> photo = ct.ReflectancePhoto(values=picture, pixel_mm=5, rows_run="-y", columns_run="+x", clear_aperture_mm=190,
    /// ...     dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=0.20),
    /// ...     bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=0.90))
    /// >>> assert abs(photo.map().reflectance[20, 5] - 0.2) < 2e-3
    fn map(&self, py: Python<'_>) -> PyResult<PyReflectanceMap> {
        self.0.map().map(PyReflectanceMap).map_err(|e| exception(py, e))
    }

    /// The dark patch of known reflectance.
    #[getter]
    fn dark(&self) -> PyKnownPatch {
        PyKnownPatch(self.0.input().dark)
    }

    /// The bright patch of known reflectance.
    #[getter]
    fn bright(&self) -> PyKnownPatch {
        PyKnownPatch(self.0.input().bright)
    }
}

getters!(PyReflectancePhoto, |photo| {
    /// Reflectance for a unit of brightness.
    scale: f64 = photo.scale;
    /// Reflectance at brightness 0.
    offset: f64 = photo.offset;
    /// Standard deviation of the scale.
    scale_sigma: f64 = photo.scale_sigma;
    /// Standard deviation of the offset.
    offset_sigma: f64 = photo.offset_sigma;
    /// Standard deviation of a pixel's reflectance from its own noise.
    pixel_sigma: f64 = photo.pixel_sigma;
    /// Side of a pixel on the mirror, mm.
    pixel_mm: f64 = photo.input().pixel_mm;
    /// Clear aperture, mm.
    clear_aperture_mm: f64 = photo.input().clear_aperture_mm;
    /// Where the next row lies.
    rows_run: &'static str = photo.input().rows_run.name();
    /// Where the next column lies.
    columns_run: &'static str = photo.input().columns_run.name();
    /// The row in which the mirror's centre lies.
    centre_row: f64 = photo.input().centre_row;
    /// The column in which the mirror's centre lies.
    centre_column: f64 = photo.input().centre_column;
});
record!(PyReflectancePhoto, "ReflectancePhoto",
    attributes: ["scale", "offset", "scale_sigma", "offset_sigma", "pixel_sigma", "mean_reflectance", "pixel_mm", "clear_aperture_mm",
        "rows_run", "columns_run", "centre_row", "centre_column", "dark", "bright"],
    shown: ["scale", "offset", "mean_reflectance", "pixel_sigma"]);

/// A third known patch beside what a photograph makes of it.
///
/// Units: shares of the power.
/// Errors: none.
///
/// >>> picture = np.where(np.arange(40) < 10, 240.0, 940.0) + np.arange(40) % 2 + np.zeros((40, 1))
/// >>> photo = ct.ReflectancePhoto(values=picture, pixel_mm=5, rows_run="-y", columns_run="+x", clear_aperture_mm=190,
/// ...     dark=ct.KnownPatch(x_mm=-75, y_mm=0, radius_mm=15, reflectance=0.20),
/// ...     bright=ct.KnownPatch(x_mm=50, y_mm=0, radius_mm=15, reflectance=0.90))
/// >>> third = photo.check(ct.KnownPatch(x_mm=0, y_mm=60, radius_mm=12, reflectance=0.80))
/// >>> assert third.sigmas > 3 and not third.agrees
#[pyclass(name = "PhotoCheck", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyPhotoCheck(PhotoCheck);

getters!(PyPhotoCheck, |check| {
    /// What the patch is known to return.
    expected: f64 = check.expected;
    /// What the photograph says.
    found: f64 = check.found;
    /// Standard deviation of the difference.
    sigma: f64 = check.sigma;
    /// The difference in these.
    sigmas: f64 = check.sigmas;
    /// Whether it lies within 1.96 of them.
    agrees: bool = check.agrees;
});
record!(PyPhotoCheck, "PhotoCheck", attributes: ["expected", "found", "sigma", "sigmas", "agrees"],
    shown: ["expected", "found", "sigma", "agrees"]);
