//! The primary's coating.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{choice, part_number, part_number_or};
use super::metal_coat::PyMetalCoat;
use super::model::sound;
use super::record::{getters, record};
use super::square_map::{map_getters, placed_map};
use crate::model::{Coating, CoatingPatch, CoatingRing, ReflectanceMap, RingProfile};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyCoatingRing>()?;
    module.add_class::<PyCoatingPatch>()?;
    module.add_class::<PyReflectanceMap>()?;
    module.add_class::<PyCoating>()
}

/// A ring of the primary whose coating returns another share of the light.
///
/// At a radius r the ring replaces the share 1/(1 + exp((r - outer)/softness)) times 1/(1 + exp((inner - r)/softness))
/// of what lies under it; without softness all of it between the two radii. A ring that begins in the centre has no
/// inner rim. With `profile` "smooth" it replaces the share sin^2(pi (r - inner)/(outer - inner)): nothing at its two
/// radii, all half-way; it has no softness.
///
/// Units: mm; reflectance is a share of the power.
/// Errors: InputError, when put on a mirror that it leaves; a soft ring may end up to 30 softnesses beyond the clear
/// aperture.
/// Leaves out: the phase. Where the metal is thin the wavefront has a hollow as well, up to 87 nm of glass (ThinRing).
///
/// >>> worn = ct.CoatingRing(inner_radius_mm=112, outer_radius_mm=139, reflectance=0.74, profile="smooth")
/// >>> train = ct.Train(
/// ...     primary=ct.Primary(
/// ...         clear_aperture_mm=356, focal_length_mm=1673, coating=ct.Coating(reflectance=0.88, rings=[worn])
/// ...     )
/// ... )
/// >>> assert abs(train.reflectance(118.75, 0) - 0.81) < 1e-12  # half of the depth
#[pyclass(name = "CoatingRing", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoatingRing(pub(super) CoatingRing);

#[pymethods]
impl PyCoatingRing {
    #[new]
    #[pyo3(signature = (*, inner_radius_mm, outer_radius_mm, reflectance, softness_mm=None, profile=None),
        text_signature = "(*, inner_radius_mm, outer_radius_mm, reflectance, softness_mm=0.0, profile='flat')")]
    fn new(
        inner_radius_mm: &Bound<'_, PyAny>,
        outer_radius_mm: &Bound<'_, PyAny>,
        reflectance: &Bound<'_, PyAny>,
        softness_mm: Option<&Bound<'_, PyAny>>,
        profile: Option<&str>,
    ) -> PyResult<Self> {
        let ring = CoatingRing::new(
            part_number(inner_radius_mm, "inner_radius_mm")?,
            part_number(outer_radius_mm, "outer_radius_mm")?,
            part_number(reflectance, "reflectance")?,
        );
        let ring = ring.softness_mm(part_number_or(softness_mm, "softness_mm", 0.0)?);
        let ring = ring.profile(ring_profile(reflectance.py(), profile)?);
        sound(reflectance.py(), Coating::default().ring(ring).check(), Self(ring))
    }
}

getters!(PyCoatingRing, |ring| {
    /// Where the ring begins, mm from the mirror's centre.
    inner_radius_mm: f64 = ring.inner_radius_mm;
    /// Where the ring ends, mm.
    outer_radius_mm: f64 = ring.outer_radius_mm;
    /// Share of the power that the ring returns.
    reflectance: f64 = ring.reflectance;
    /// Over which distance both rims of a flat ring fade, mm; 0 for hard rims.
    softness_mm: f64 = ring.softness_mm;
    /// "flat" or "smooth".
    profile: &'static str = ring.profile.key();
});
record!(PyCoatingRing, "CoatingRing",
    attributes: ["inner_radius_mm", "outer_radius_mm", "reflectance", "softness_mm", "profile"],
    shown: ["inner_radius_mm", "outer_radius_mm", "reflectance", "softness_mm", "profile"]);

/// A round patch of the primary whose coating returns another share of the light, with a hard or a soft rim.
///
/// At a distance d from its centre the patch replaces the share 1/(1 + exp((d - radius)/softness)) of what lies
/// under it; without softness all of it within the radius.
///
/// Units: mm, +x toward the focuser; reflectance is a share of the power.
/// Errors: InputError, when put on a mirror that it leaves.
/// Leaves out: the phase (thin metal is a hollow as well); scattered light.
///
/// >>> worn = ct.CoatingPatch(x_mm=-46, y_mm=71, radius_mm=36, reflectance=0.42, softness_mm=3)
/// >>> coating = ct.Coating(reflectance=0.85, patches=[worn])
/// >>> mirror = ct.Primary(clear_aperture_mm=356, focal_length_mm=1673, coating=coating)
/// >>> assert 0.98 < ct.Train(primary=mirror).wavefront().amplitude_factor < 1
#[pyclass(name = "CoatingPatch", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoatingPatch(pub(super) CoatingPatch);

#[pymethods]
impl PyCoatingPatch {
    #[new]
    #[pyo3(signature = (*, x_mm, y_mm, radius_mm, reflectance, softness_mm=None),
        text_signature = "(*, x_mm, y_mm, radius_mm, reflectance, softness_mm=0.0)")]
    fn new(
        x_mm: &Bound<'_, PyAny>,
        y_mm: &Bound<'_, PyAny>,
        radius_mm: &Bound<'_, PyAny>,
        reflectance: &Bound<'_, PyAny>,
        softness_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let centre = [part_number(x_mm, "x_mm")?, part_number(y_mm, "y_mm")?];
        let (radius_mm, share) =
            (part_number(radius_mm, "radius_mm")?, part_number(reflectance, "reflectance")?);
        let patch = CoatingPatch::new(centre, radius_mm, share);
        let patch = patch.softness_mm(part_number_or(softness_mm, "softness_mm", patch.softness_mm)?);
        sound(x_mm.py(), Coating::default().patch(patch).check(), Self(patch))
    }
}

getters!(PyCoatingPatch, |patch| {
    /// Where its centre lies, mm toward the focuser's side.
    x_mm: f64 = patch.x_mm;
    /// Where its centre lies across, mm.
    y_mm: f64 = patch.y_mm;
    /// Distance from the centre at which half of it is left, mm.
    radius_mm: f64 = patch.radius_mm;
    /// Share of the power that its middle returns.
    reflectance: f64 = patch.reflectance;
    /// Over which distance its rim fades, mm; 0 for a hard rim.
    softness_mm: f64 = patch.softness_mm;
});
record!(PyCoatingPatch, "CoatingPatch",
    attributes: ["x_mm", "y_mm", "radius_mm", "reflectance", "softness_mm"],
    shown: ["x_mm", "y_mm", "radius_mm", "reflectance", "softness_mm"]);

/// Shares of the power that a mirror returns, on a net of square pixels: the coating as a picture shows it.
///
/// `rows_run` says in which direction on the mirror, seen from the sky, one goes from one row to the next: "+x" (toward
/// the focuser), "-x", "+y" or "-y"; `columns_run` the same for columns. Neither has a default: a mirrored map is an
/// error that no number shows. A picture seen from the sky with its first row at the top runs "-y" and "+x".
///
/// Units: shares of the power; mm for a pixel's side.
/// Shapes: a table of 4 x 4 to 4096 x 4096 shares, each that of its pixel's middle, of any dtype and stride.
/// `centre_row` and `centre_column` say where the mirror's centre lies, counted from 0; not given, in the middle of the
/// table.
/// Errors: InputError for shares that are not above 0 or are above 1; on a mirror when a pixel has no share that the
/// clear aperture touches. Holes are refused; what lies beyond the mirror may be NaN.
/// Method: bicubic splines, held within the least and the greatest share of the map.
/// Leaves out: what is finer than two pixels; the phase (thin metal is a hollow as well: ThicknessMap).
///
/// >>> y, x = np.mgrid[-40:41, -40:41] * 4.0  # mm; rows run toward +y, columns toward +x
/// >>> shares = 0.88 - 0.4 * np.exp(-((x - 90) ** 2 + y**2) / 25**2)  # worn by the focuser's side
/// >>> seen = ct.ReflectanceMap(reflectance=shares, pixel_mm=4, rows_run="+y", columns_run="+x")
/// >>> coating = ct.Coating(map=seen)
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=300, focal_length_mm=1500, coating=coating))
/// >>> assert abs(train.reflectance(90, 0) - 0.48) < 5e-3
#[pyclass(name = "ReflectanceMap", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyReflectanceMap(pub(super) ReflectanceMap);

#[pymethods]
impl PyReflectanceMap {
    #[new]
    #[pyo3(signature = (*, reflectance, pixel_mm, rows_run, columns_run, centre_row=None, centre_column=None))]
    fn new(
        py: Python<'_>,
        reflectance: &Bound<'_, PyAny>,
        pixel_mm: &Bound<'_, PyAny>,
        rows_run: &str,
        columns_run: &str,
        centre_row: Option<&Bound<'_, PyAny>>,
        centre_column: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let map = placed_map!(
            ReflectanceMap,
            py,
            reflectance,
            [pixel_mm, rows_run, columns_run],
            [centre_row, centre_column]
        );
        sound(py, Coating::of_map(map.clone()).check(), Self(map))
    }

    /// Shares of the power, row by row.
    #[getter]
    fn reflectance<'py>(&self, py: Python<'py>) -> Bound<'py, numpy::PyArray2<f64>> {
        numpy::IntoPyArray::into_pyarray(self.0.reflectance.as_ref().clone(), py)
    }
}

/// A ring's profile by its name; flat where none is given.
pub(super) fn ring_profile(py: Python<'_>, name: Option<&str>) -> PyResult<RingProfile> {
    choice(py, "profile", name.unwrap_or("flat"), "'flat' or 'smooth'", RingProfile::from_name)
}

map_getters!(PyReflectanceMap, reflectance);
record!(PyReflectanceMap, "ReflectanceMap",
    attributes: ["reflectance", "pixel_mm", "rows_run", "columns_run", "centre_row", "centre_column"],
    shown: ["rows", "columns", "pixel_mm", "rows_run", "columns_run"]);

/// The primary's coating: one reflectance, and rings and patches that replace it where they lie.
///
/// Two kinds of wear are told apart, and always by name. Haze, dust and pinholes dim: that is this part's own
/// reflectance, rings, patches and map. Thin metal dims and is a hollow in the wavefront: that is `metal`. Beside metal
/// the haze multiplies what the metal returns; without metal it is the share returned itself.
///
/// Units: shares of the power.
/// Errors: InputError for shares that cannot be, a map beside a reflectance below 1, and when put on a mirror that it
/// leaves.
/// Leaves out: where the light of pinholes goes. A share q of the area without metal returns 1 - q of the light, and
/// the image of a star has (1 - q)^2 of it: the difference, q (1 - q), goes into wide angles, which star images do not
/// show. Colour and polarisation of haze.
///
/// >>> worn = ct.CoatingRing(inner_radius_mm=112, outer_radius_mm=139, reflectance=0.44)
/// >>> coating = ct.Coating(reflectance=0.88, rings=[worn])
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, coating=coating)
/// >>> assert 0.95 < ct.Train(primary=mirror).wavefront().amplitude_factor < 1
#[pyclass(name = "Coating", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoating(pub(super) Coating);

#[pymethods]
impl PyCoating {
    #[new]
    #[pyo3(signature = (*, reflectance=None, rings=Vec::new(), patches=Vec::new(), map=None, pinhole_share=None, metal=None),
        text_signature = "(*, reflectance=1.0, rings=(), patches=(), map=None, pinhole_share=0.0, metal=None)")]
    fn new(
        py: Python<'_>,
        reflectance: Option<&Bound<'_, PyAny>>,
        rings: Vec<PyCoatingRing>,
        patches: Vec<PyCoatingPatch>,
        map: Option<PyReflectanceMap>,
        pinhole_share: Option<&Bound<'_, PyAny>>,
        metal: Option<PyMetalCoat>,
    ) -> PyResult<Self> {
        let coating = Coating {
            reflectance: part_number_or(reflectance, "reflectance", 1.0)?,
            rings: rings.into_iter().map(|r| r.0).collect(),
            patches: patches.into_iter().map(|p| p.0).collect(),
            map: map.map(|m| m.0),
            pinhole_share: part_number_or(pinhole_share, "pinhole_share", 0.0)?,
            metal: metal.map(|m| m.0),
        };
        sound(py, coating.check(), Self(coating))
    }

    /// Rings that replace the coating; where two overlap, the later one lies over the earlier.
    #[getter]
    fn rings<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, pyo3::types::PyTuple>> {
        pyo3::types::PyTuple::new(py, self.0.rings.iter().map(|r| PyCoatingRing(*r)))
    }

    /// Patches laid over the rings, in their order.
    #[getter]
    fn patches<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, pyo3::types::PyTuple>> {
        pyo3::types::PyTuple::new(py, self.0.patches.iter().map(|p| PyCoatingPatch(*p)))
    }
}

getters!(PyCoating, |coating| {
    /// Share of the power returned wherever no ring lies.
    reflectance: f64 = coating.reflectance;
    /// Shares place by place instead of the one reflectance, or None.
    map: Option<PyReflectanceMap> = coating.map.clone().map(PyReflectanceMap);
    /// Share of the area that has lost its metal in pinholes too small to be seen one by one.
    pinhole_share: f64 = coating.pinhole_share;
    /// The metal itself, where its thickness counts, or None.
    metal: Option<PyMetalCoat> = coating.metal.clone().map(PyMetalCoat);
});
record!(PyCoating, "Coating",
    attributes: ["reflectance", "rings", "patches", "map", "pinhole_share", "metal"],
    shown: ["reflectance", "rings", "patches", "map", "pinhole_share", "metal"]);
