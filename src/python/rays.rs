//! Results of tracing: spots, the perfect star, the smallest diagonal.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{list, maybe_number, number, number_or, wavelength};
use super::arrays::{Column, column};
use super::errors::{exception, refused};
use super::once::Once;
use super::record::{getters, record};
use crate::{Airy, DiagonalFit, Spot};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PySpot>()?;
    module.add_class::<PyAiry>()?;
    module.add_class::<PyDiagonalFit>()
}

/// The scatter of one star's rays in a plane square to the focuser's axis.
///
/// Units: um in the plane, `along` positive toward the sky end, `across` along +y; mm on the mirror.
/// Shapes: the arrays have one entry a ray that arrives.
/// Leaves out: diffraction.
/// Errors: those of `Train.spot`, which makes it.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=250, focal_length_mm=1250))
/// >>> spot = train.spot(field_arcmin=(15, 0))
/// >>> assert spot.along_um.shape == spot.pupil_x_mm.shape and spot.stopped == {}
/// >>> assert abs(spot.tangential_coma_um - 41.0442) < 0.001  # an exact ray trace of its own
#[pyclass(name = "Spot", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySpot(pub(super) Spot);

getters!(PySpot, |spot| {
    /// Where the star stands, arcmin: toward the focuser's side, and across.
    field_arcmin: (f64, f64) = (spot.field.x_arcmin, spot.field.y_arcmin);
    /// How far behind the paraxial focal plane the spot is caught, mm.
    focus_shift_mm: f64 = spot.focus_shift_mm;
    /// Wavelength that was asked for, nm: rays know none, only the plane of the focus "peak" depends on it.
    wavelength_nm: Option<f64> = spot.wavelength_nm;
    /// Focal length over the diameter that gathers light.
    focal_ratio: f64 = spot.focal_ratio;
    /// Diameter of the diagonal's shadow over the diameter that gathers light.
    obstruction_ratio: f64 = spot.obstruction_ratio;
    /// Root of the mean squared distance from the centroid, um.
    rms_radius_um: f64 = spot.rms_radius_um;
    /// Radius about the centroid that holds 80 % of the light, um.
    radius_80_um: f64 = spot.radius_80_um;
    /// Where the centroid lies along, seen from the Gaussian image point, um.
    centroid_along_um: f64 = spot.centroid_um[0];
    /// Where the centroid lies across, seen from the Gaussian image point, um.
    centroid_across_um: f64 = spot.centroid_um[1];
    /// Length of the spot in the direction away from the axis, um.
    tangential_extent_um: f64 = spot.tangential_extent_um;
    /// Length of the spot square to that direction, um.
    sagittal_extent_um: f64 = spot.sagittal_extent_um;
    /// Mean of the two rim rays in the plane of the field minus the ray by the vertex, um, positive away from
    /// the axis.
    tangential_coma_um: f64 = spot.tangential_coma_um;
    /// The same of the two rim rays square to the plane of the field, um.
    sagittal_coma_um: f64 = spot.sagittal_coma_um;
    /// Share of the light on the clear aperture that arrives.
    lit_fraction: f64 = spot.light.lit_fraction;
    /// Estimated error of the RMS radius, um.
    error_um: f64 = spot.error_um;
});

#[pymethods]
impl PySpot {
    /// What each part stops, as a share of the light on the clear aperture.
    #[getter]
    fn stopped<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let stopped = PyDict::new(py);
        for share in &self.0.light.stopped {
            stopped.set_item(share.part.key(), share.fraction)?;
        }
        Ok(stopped)
    }

    /// Rays along, from the centroid, um.
    #[getter]
    fn along_um<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.points.along_um.iter().copied())
    }

    /// Rays across, from the centroid, um.
    #[getter]
    fn across_um<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.points.across_um.iter().copied())
    }

    /// Where each ray met the mirror, x, mm.
    #[getter]
    fn pupil_x_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.points.mirror_x_mm.iter().copied())
    }

    /// Where each ray met the mirror, y, mm.
    #[getter]
    fn pupil_y_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.points.mirror_y_mm.iter().copied())
    }

    /// Draw the spot with the Airy circle of a wavelength; return the axes.
    ///
    /// Units: nm; um from the middle to the edge of the picture, which else fits the spot.
    /// Errors: InputError for the wavelength.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> spot = train.spot(field_arcmin=(5, 0))
    /// >>> axes = spot.plot()
    /// >>> assert "um" in axes.get_xlabel()
    #[pyo3(signature = (ax=None, *, wavelength_nm=None, half_width_um=None),
        text_signature = "($self, ax=None, *, wavelength_nm=550.0, half_width_um=None)")]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        wavelength_nm: Option<&Bound<'py, PyAny>>,
        half_width_um: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let (options, wavelength_nm, spot) =
            (PyDict::new(slf.py()), wavelength(wavelength_nm)?, &slf.get().0);
        let star = Airy::new(spot.focal_ratio, spot.obstruction_ratio, wavelength_nm);
        options.set_item("wavelength_nm", wavelength_nm)?;
        options.set_item("half_width_um", maybe_number(half_width_um, "half_width_um")?)?;
        options.set_item("airy_radius_um", star.map_err(|e| exception(slf.py(), e))?.dark_ring_um(1))?;
        draw("spot", slf.as_any(), ax, Some(&options))
    }
}

record!(PySpot, "Spot",
    attributes: ["field_arcmin", "focus_shift_mm", "wavelength_nm", "focal_ratio", "obstruction_ratio", "rms_radius_um", "radius_80_um", "centroid_along_um",
        "centroid_across_um", "tangential_extent_um", "sagittal_extent_um", "tangential_coma_um", "sagittal_coma_um",
        "lit_fraction", "stopped", "error_um", "along_um", "across_um", "pupil_x_mm", "pupil_y_mm"],
    shown: ["field_arcmin", "focus_shift_mm", "wavelength_nm", "rms_radius_um", "radius_80_um", "lit_fraction"]);

/// Calls a picture of the package's drawing room.
pub(super) fn draw<'py>(
    picture: &str,
    result: &Bound<'py, PyAny>,
    ax: Option<&Bound<'py, PyAny>>,
    options: Option<&Bound<'py, PyDict>>,
) -> PyResult<Bound<'py, PyAny>> {
    result.py().import("catoptric.plotting")?.call_method(picture, (result, ax), options)
}

/// The textbook star of a circular or annular pupil without error.
///
/// Units: um in the focal plane; intensity 1 at the centre.
/// Source: Born & Wolf, Principles of Optics, chapter 8.
/// Leaves out: the real cone of a fast mirror, whose first dark ring lies 0.03/F^2 (relative) further out.
/// Errors: InputError.
///
/// >>> star = ct.Airy(focal_ratio=5, wavelength_nm=550)
/// >>> assert abs(star.dark_rings_um[0] - 1.2196698913 * 0.55 * 5) < 1e-9
#[pyclass(name = "Airy", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyAiry(pub(super) Airy, #[serde(skip)] Once<[f64; 5]>);

impl From<Airy> for PyAiry {
    fn from(star: Airy) -> Self {
        Self(star, Once::default())
    }
}

#[pymethods]
impl PyAiry {
    #[new]
    #[pyo3(signature = (*, focal_ratio, obstruction_ratio=None, wavelength_nm=None),
        text_signature = "(*, focal_ratio, obstruction_ratio=0.0, wavelength_nm=550.0)")]
    fn new(
        py: Python<'_>,
        focal_ratio: &Bound<'_, PyAny>,
        obstruction_ratio: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let focal_ratio = number(focal_ratio, "focal_ratio")?;
        let obstruction = number_or(obstruction_ratio, "obstruction_ratio", 0.0)?;
        Airy::new(focal_ratio, obstruction, wavelength(wavelength_nm)?)
            .map(Self::from)
            .map_err(|e| exception(py, e))
    }

    /// Radii of the first five dark rings, um.
    #[getter]
    fn dark_rings_um<'py>(&self, py: Python<'py>) -> PyResult<Column<'py>> {
        let radii = self.1.get(|| Ok([1, 2, 3, 4, 5].map(|ring| self.0.dark_ring_um(ring))))?;
        Ok(column(py, *radii))
    }

    /// Return the intensity at each radius, 1 in the centre.
    ///
    /// Units: um. Shapes: one entry a radius. Errors: InputError.
    ///
    /// >>> star = ct.Airy(focal_ratio=5)
    /// >>> assert star.intensity([0.0])[0] == 1 and star.intensity(star.dark_rings_um).max() < 1e-12
    #[pyo3(signature = (radius_um, /))]
    fn intensity<'py>(&self, py: Python<'py>, radius_um: &Bound<'py, PyAny>) -> PyResult<Column<'py>> {
        let radii = list(radius_um, "radius_um")?;
        Ok(column(py, radii.iter().map(|r| self.0.intensity(*r))))
    }

    /// Return the share of the light within each radius.
    ///
    /// Units: um. Shapes: one entry a radius. Errors: InputError.
    ///
    /// >>> star = ct.Airy(focal_ratio=5)
    /// >>> assert abs(star.encircled_energy(star.dark_rings_um)[0] - 0.837785) < 1e-6
    #[pyo3(signature = (radius_um, /))]
    fn encircled_energy<'py>(&self, py: Python<'py>, radius_um: &Bound<'py, PyAny>) -> PyResult<Column<'py>> {
        let radii = list(radius_um, "radius_um")?;
        if let Some(i) = radii.iter().position(|r| *r < 0.0) {
            let (field, found) = (format!("radius_um[{i}]"), radii[i].to_string());
            return Err(refused(py, &field, &found, "a radius of 0 or more", "a sign?"));
        }
        Ok(column(py, radii.iter().map(|r| self.0.encircled_energy(*r))))
    }
}

getters!(PyAiry, |star| {
    /// Focal length over diameter.
    focal_ratio: f64 = star.focal_ratio;
    /// Obstruction by diameter.
    obstruction_ratio: f64 = star.obstruction_ratio;
    /// Wavelength, nm.
    wavelength_nm: f64 = star.wavelength_nm;
    /// Full width at half maximum, um.
    fwhm_um: f64 = star.fwhm_um();
});
record!(PyAiry, "Airy", attributes: ["focal_ratio", "obstruction_ratio", "wavelength_nm", "fwhm_um", "dark_rings_um"],
    shown: ["focal_ratio", "obstruction_ratio", "wavelength_nm", "fwhm_um"]);

/// A diagonal that just serves a lit circle.
///
/// Units: mm; the offset counts toward the primary and equally away from the focuser.
/// Errors: those of `smallest_diagonal`, which makes it.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> fit = ct.smallest_diagonal(primary=mirror, axis_to_focus_mm=235, fully_lit_diameter_mm=15)
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=fit.minor_axis_mm), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> assert abs(train.fully_lit_diameter_mm - 15) < 1e-9
#[pyclass(name = "DiagonalFit", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyDiagonalFit(pub(super) DiagonalFit);

getters!(PyDiagonalFit, |fit| {
    /// Minor axis, mm.
    minor_axis_mm: f64 = fit.minor_axis_mm;
    /// Offset, mm.
    offset_mm: f64 = fit.offset_mm;
});
record!(PyDiagonalFit, "DiagonalFit", attributes: ["minor_axis_mm", "offset_mm"], shown: ["minor_axis_mm", "offset_mm"]);
