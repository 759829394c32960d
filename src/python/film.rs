//! Thin metal: what it returns, at which height, and how thick it is.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{choice, number, number_or, part_number, part_number_or, wavelength};
use super::errors::exception;
use super::model::sound;
use super::record::{getters, record};
use crate::{FilmResponse, Metal, MetalFilm, Overcoat, ThicknessFinding};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyOvercoat>()?;
    module.add_class::<PyMetalFilm>()?;
    module.add_class::<PyFilmResponse>()?;
    module.add_class::<PyThicknessFinding>()
}

/// A transparent layer over the metal, against wear or for reflectance.
///
/// Units: nm.
/// Errors: InputError, when laid over a film.
///
/// >>> assert ct.Overcoat(index=1.46, thickness_nm=175).index == 1.46
#[pyclass(name = "Overcoat", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyOvercoat(pub(super) Overcoat);

#[pymethods]
impl PyOvercoat {
    #[new]
    #[pyo3(signature = (*, index, thickness_nm))]
    fn new(index: &Bound<'_, PyAny>, thickness_nm: &Bound<'_, PyAny>) -> PyResult<Self> {
        let layer = Overcoat::new(part_number(index, "index")?, part_number(thickness_nm, "thickness_nm")?);
        let on_metal = MetalFilm::new(Metal::Aluminium, 0.0).overcoat(layer);
        sound(index.py(), on_metal.check(), Self(layer))
    }
}

getters!(PyOvercoat, |layer| {
    /// Index of refraction.
    index: f64 = layer.index;
    /// Thickness, nm.
    thickness_nm: f64 = layer.thickness_nm;
});
record!(PyOvercoat, "Overcoat", attributes: ["index", "thickness_nm"], shown: ["index", "thickness_nm"]);

/// Metal of a given thickness on glass, "aluminium" or "silver".
///
/// Thin metal returns less light, and returns it from another height: a film that is worn from 100 to 40 nm looks as bright as
/// before and is a hollow of 60 nm.
///
/// Units: nm.
/// Errors: InputError for a film that cannot be.
/// Source: Fresnel's amplitudes and the series of reflections between parallel faces (Born and Wolf, Principles of
/// Optics; from memory), with the metal's index of Rakic et al. 1998, Applied Optics 37, 5271.
/// Leaves out: metal that is not bulk-like (below about 10 nm), the metal's oxide (about 2 nm of height on aluminium, common
/// practice, no source), roughness.
///
/// >>> fresh = ct.MetalFilm(metal="aluminium", thickness_nm=100).response()
/// >>> worn = ct.MetalFilm(metal="aluminium", thickness_nm=40).response()
/// >>> assert abs(fresh.reflectance - worn.reflectance) < 0.005  # as bright
/// >>> assert abs(fresh.height_nm - worn.height_nm - 60) < 0.5  # and a hollow
#[pyclass(name = "MetalFilm", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMetalFilm(pub(super) MetalFilm);

#[pymethods]
impl PyMetalFilm {
    #[new]
    #[pyo3(signature = (*, metal, thickness_nm, glass_index=None, overcoat=None),
        text_signature = "(*, metal, thickness_nm, glass_index=1.474, overcoat=None)")]
    fn new(
        py: Python<'_>,
        metal: &str,
        thickness_nm: &Bound<'_, PyAny>,
        glass_index: Option<&Bound<'_, PyAny>>,
        overcoat: Option<PyOvercoat>,
    ) -> PyResult<Self> {
        let metal = choice(py, "metal", metal, "'aluminium' or 'silver'", Metal::from_name)?;
        let film = MetalFilm::new(metal, part_number(thickness_nm, "thickness_nm")?);
        let film = film.glass_index(part_number_or(glass_index, "glass_index", film.glass_index)?);
        let film = MetalFilm { overcoat: overcoat.map(|o| o.0), ..film };
        sound(py, film.check(), Self(film))
    }

    /// Return the metal's complex index as a pair (n, k).
    ///
    /// Units: nm. Errors: InputError outside of 250 to 3000 nm.
    /// Source: the Lorentz-Drude model of Rakic et al. 1998, Applied Optics 37, 5271.
    /// Leaves out: how the metal was laid down. Handbook rows of aluminium between 400 and 700 nm lie within 0.085 in n and 6.5 %
    /// in k of the model, which is 0.012 of reflectance.
    ///
    /// >>> n, k = ct.MetalFilm(metal="aluminium", thickness_nm=100).metal_index()
    /// >>> assert abs(n - 0.9656) < 1e-4 and abs(k - 6.4581) < 1e-4
    #[pyo3(signature = (*, wavelength_nm=None), text_signature = "($self, *, wavelength_nm=550.0)")]
    fn metal_index(&self, py: Python<'_>, wavelength_nm: Option<&Bound<'_, PyAny>>) -> PyResult<(f64, f64)> {
        self.0.metal.index(wavelength(wavelength_nm)?).map_err(|e| exception(py, e))
    }

    /// Return what the film does to light of a wavelength that meets it at an angle from the normal.
    ///
    /// Units: nm, degrees.
    /// Errors: InputError outside of 250 to 3000 nm, and of 0 to 89 degrees.
    ///
    /// >>> at_45 = ct.MetalFilm(metal="aluminium", thickness_nm=500).response(angle_deg=45)
    /// >>> assert abs(at_45.reflectance_s**2 - at_45.reflectance_p) < 1e-12  # true of any thick metal
    #[pyo3(signature = (*, wavelength_nm=None, angle_deg=None),
        text_signature = "($self, *, wavelength_nm=550.0, angle_deg=0.0)")]
    fn response(
        &self,
        py: Python<'_>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        angle_deg: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyFilmResponse> {
        let (wavelength_nm, angle_deg) =
            (wavelength(wavelength_nm)?, number_or(angle_deg, "angle_deg", 0.0)?);
        self.0.response(wavelength_nm, angle_deg).map(PyFilmResponse).map_err(|e| exception(py, e))
    }

    /// Return the thicknesses of such a film that return a given share of the light at normal incidence, within a tolerance; this
    /// film's own thickness does not count.
    ///
    /// Units: nm; shares of the power.
    /// Errors: InputError for shares that cannot be, also where no thickness agrees.
    /// Leaves out: haze, which dims without thinning: where it may be there, use a lamp.
    ///
    /// >>> film = ct.MetalFilm(metal="aluminium", thickness_nm=0)
    /// >>> found = film.thickness_from_reflectance(0.915, tolerance=0.01)
    /// >>> assert found.ranges_nm[0][1] is None and "cannot tell" in found.words
    #[pyo3(signature = (reflectance, /, *, tolerance, wavelength_nm=None),
        text_signature = "($self, reflectance, /, *, tolerance, wavelength_nm=550.0)")]
    fn thickness_from_reflectance(
        &self,
        reflectance: &Bound<'_, PyAny>,
        tolerance: &Bound<'_, PyAny>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyThicknessFinding> {
        let py = reflectance.py();
        let (value, tolerance) = (number(reflectance, "reflectance")?, number(tolerance, "tolerance")?);
        let found = self.0.thickness_from_reflectance(value, tolerance, wavelength(wavelength_nm)?);
        found.map(PyThicknessFinding).map_err(|e| exception(py, e))
    }

    /// Return the same from the share of a lamp's light that comes out of the mirror's bare, polished back.
    ///
    /// Units: nm; shares of the power.
    /// Errors: as `thickness_from_reflectance`.
    /// Leaves out: a ground back, absorption in the glass, pinholes, which add their own area.
    ///
    /// >>> film = ct.MetalFilm(metal="aluminium", thickness_nm=0)
    /// >>> low, high = film.thickness_from_lamp(0.002, tolerance=0.001).ranges_nm[0]
    /// >>> assert 25 < low < high < 60
    #[pyo3(signature = (transmittance, /, *, tolerance, wavelength_nm=None),
        text_signature = "($self, transmittance, /, *, tolerance, wavelength_nm=550.0)")]
    fn thickness_from_lamp(
        &self,
        transmittance: &Bound<'_, PyAny>,
        tolerance: &Bound<'_, PyAny>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyThicknessFinding> {
        let py = transmittance.py();
        let (value, tolerance) = (number(transmittance, "transmittance")?, number(tolerance, "tolerance")?);
        let found = self.0.thickness_from_lamp(value, tolerance, wavelength(wavelength_nm)?);
        found.map(PyThicknessFinding).map_err(|e| exception(py, e))
    }
}

getters!(PyMetalFilm, |film| {
    /// The metal's name.
    metal: &'static str = film.metal.name();
    /// Thickness, nm.
    thickness_nm: f64 = film.thickness_nm;
    /// Index of the glass under it.
    glass_index: f64 = film.glass_index;
    /// The layer over the metal, or None.
    overcoat: Option<PyOvercoat> = film.overcoat.map(PyOvercoat);
});
record!(PyMetalFilm, "MetalFilm", attributes: ["metal", "thickness_nm", "glass_index", "overcoat"],
    shown: ["metal", "thickness_nm", "glass_index", "overcoat"]);

/// What a film does to light of one wavelength and direction, for the electric field across the plane of incidence (s) and in
/// it (p); names without either are those of unpolarised light.
///
/// Units: shares of the power; nm above the glass.
/// Errors: none.
///
/// >>> thin = ct.MetalFilm(metal="aluminium", thickness_nm=10).response()
/// >>> assert abs(thin.reflectance + thin.transmittance + thin.absorptance - 1) < 1e-15
#[pyclass(name = "FilmResponse", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyFilmResponse(FilmResponse);

getters!(PyFilmResponse, |film| {
    /// Power returned.
    reflectance: f64 = film.reflectance();
    /// Power returned, s.
    reflectance_s: f64 = film.reflectance_s;
    /// Power returned, p.
    reflectance_p: f64 = film.reflectance_p;
    /// Power that goes on into the glass.
    transmittance: f64 = film.transmittance();
    /// Power that goes on into the glass, s.
    transmittance_s: f64 = film.transmittance_s;
    /// Power that goes on into the glass, p.
    transmittance_p: f64 = film.transmittance_p;
    /// Power that comes out of the glass's bare back: what an eye behind the mirror sees of a lamp.
    lamp_transmittance: f64 = film.lamp_transmittance();
    /// The same, s.
    lamp_transmittance_s: f64 = film.lamp_transmittance_s;
    /// The same, p.
    lamp_transmittance_p: f64 = film.lamp_transmittance_p;
    /// Power that stays in the metal.
    absorptance: f64 = film.absorptance();
    /// Height above the glass of the perfect mirror that returns the same phase, nm.
    height_nm: f64 = film.height_nm();
    /// The same, s, nm.
    height_s_nm: f64 = film.height_s_nm;
    /// The same, p, nm.
    height_p_nm: f64 = film.height_p_nm;
});
record!(PyFilmResponse, "FilmResponse",
    attributes: ["reflectance", "reflectance_s", "reflectance_p", "transmittance", "transmittance_s", "transmittance_p",
        "lamp_transmittance", "lamp_transmittance_s", "lamp_transmittance_p", "absorptance", "height_nm", "height_s_nm",
        "height_p_nm"],
    shown: ["reflectance", "transmittance", "absorptance", "height_nm"]);

/// What a measurement says of the thickness of a film.
///
/// Units: nm.
/// Errors: none.
///
/// >>> film = ct.MetalFilm(metal="aluminium", thickness_nm=12)
/// >>> found = film.thickness_from_reflectance(film.response().reflectance, tolerance=0.005)
/// >>> assert any(low < 12 and (high is None or high > 12) for low, high in found.ranges_nm)
#[pyclass(name = "ThicknessFinding", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyThicknessFinding(ThicknessFinding);

getters!(PyThicknessFinding, |found| {
    /// All stretches of thickness that agree, thin to thick, as pairs; None where everything thicker agrees as well.
    ranges_nm: Vec<(f64, Option<f64>)> = found.ranges.iter().map(|r| (r.low_nm, r.high_nm)).collect();
    /// How far apart the heights of the thinnest and thickest film that agree are, nm of glass.
    height_open_nm: f64 = found.height_open_nm;
    /// The finding in a sentence.
    words: &str = &found.words;
});
record!(PyThicknessFinding, "ThicknessFinding", attributes: ["ranges_nm", "height_open_nm", "words"], shown: ["words"]);
