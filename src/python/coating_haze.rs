//! Where haze throws the light.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{choice, part_number, wavelength};
use super::errors::exception;
use super::record::{getters, record};
use crate::{Autocorrelation, HazeHalo, HazeScatter};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyHazeScatter>()?;
    module.add_class::<PyHazeHalo>()
}

/// Haze as roughness: how high its grain is, how wide, and of which kind.
///
/// `form` is "gaussian" (exp(-(d/l)^2): grains of one size) or "exponential" (exp(-d/l): finer grain in the coarser).
///
/// Units: nm of glass (RMS), um.
/// Errors: InputError for grain that cannot be.
///
/// >>> grain = ct.HazeScatter(rms_nm=5, correlation_length_um=20, form="gaussian")
/// >>> assert abs(grain.halo().scattered_share - ct.scatter_loss(5)) < 1e-15
#[pyclass(name = "HazeScatter", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyHazeScatter(pub(super) HazeScatter);

#[pymethods]
impl PyHazeScatter {
    #[new]
    #[pyo3(signature = (*, rms_nm, correlation_length_um, form))]
    fn new(
        py: Python<'_>,
        rms_nm: &Bound<'_, PyAny>,
        correlation_length_um: &Bound<'_, PyAny>,
        form: &str,
    ) -> PyResult<Self> {
        let haze = HazeScatter {
            rms_nm: part_number(rms_nm, "rms_nm")?,
            correlation_length_um: part_number(correlation_length_um, "correlation_length_um")?,
            form: choice(py, "form", form, "'gaussian' or 'exponential'", Autocorrelation::from_name)?,
        };
        haze.check().map(|()| Self(haze)).map_err(|e| exception(py, e))
    }

    /// Return what the grain scatters, and how wide, at normal incidence.
    ///
    /// Units: nm; arcsec on the sky.
    /// Errors: InputError for a wavelength that cannot be.
    /// Source: Bennett & Porteus 1961, J. Opt. Soc. Am. 51, 123, for the share; for the halo the power spectrum of the
    /// heights, the first order of scattering (handbooks, from memory).
    /// Leaves out: obliquity beyond about 10 degrees; absorption by the haze itself; waves of a few millimetres and
    /// more, which are figure.
    ///
    /// >>> fine = ct.HazeScatter(rms_nm=20, correlation_length_um=0.2, form="exponential").halo()
    /// >>> assert len(fine.limits) == 2  # too high and too fine for the halo's size
    #[pyo3(signature = (*, wavelength_nm=None), text_signature = "($self, *, wavelength_nm=550.0)")]
    fn halo(&self, py: Python<'_>, wavelength_nm: Option<&Bound<'_, PyAny>>) -> PyResult<PyHazeHalo> {
        self.0.halo(wavelength(wavelength_nm)?).map(PyHazeHalo).map_err(|e| exception(py, e))
    }
}

getters!(PyHazeScatter, |haze| {
    /// Root mean square of the grain's heights, nm of glass.
    rms_nm: f64 = haze.rms_nm;
    /// Distance over which heights are related, um.
    correlation_length_um: f64 = haze.correlation_length_um;
    /// "gaussian" or "exponential".
    form: &'static str = haze.form.key();
});
record!(PyHazeScatter, "HazeScatter", attributes: ["rms_nm", "correlation_length_um", "form"],
    shown: ["rms_nm", "correlation_length_um", "form"]);

/// Where the light goes that haze scatters: what `HazeScatter.halo` returns.
///
/// Units: shares of the light that the mirror returns; arcsec on the sky.
/// Errors: none.
///
/// >>> halo = ct.HazeScatter(rms_nm=5, correlation_length_um=20, form="gaussian").halo()
/// >>> radius = np.log(2) ** 0.5 * 0.55 / (np.pi * 20) * 206264.806  # sqrt(ln 2) lambda/(pi l)
/// >>> assert abs(halo.half_energy_radius_arcsec - radius) < 1e-3
#[pyclass(name = "HazeHalo", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyHazeHalo(pub(super) HazeHalo);

getters!(PyHazeHalo, |halo| {
    /// Share of the returned light that leaves the image's core.
    scattered_share: f64 = halo.scattered_share;
    /// Half of the scattered light falls within this radius, arcsec on the sky.
    half_energy_radius_arcsec: f64 = halo.half_energy_radius_arcsec;
    /// Wavelength, nm.
    wavelength_nm: f64 = halo.wavelength_nm;
    /// What the model cannot say here, in sentences; empty within its limits.
    limits: Vec<String> = halo.limits.clone();
});
record!(PyHazeHalo, "HazeHalo", attributes: ["scattered_share", "half_energy_radius_arcsec", "wavelength_nm", "limits"],
    shown: ["scattered_share", "half_energy_radius_arcsec", "wavelength_nm"]);
