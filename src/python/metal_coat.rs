//! Metal on the primary whose thickness counts, and the picture of a coating.

use numpy::{IntoPyArray, PyArray1, PyArray2};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, number, part_number, part_number_or, wavelength};
use super::coating::ring_profile;
use super::compute::compute;
use super::errors::exception;
use super::film::PyMetalFilm;
use super::model::sound;
use super::rays::draw;
use super::record::{getters, record};
use super::square_map::{map_getters, placed_map};
use super::train::PyTrain;
use crate::CoatingPicture;
use crate::film::{Metal, MetalFilm};
use crate::model::{MetalCoat, ThicknessMap, ThinPatch, ThinRing};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyThinRing>()?;
    module.add_class::<PyThinPatch>()?;
    module.add_class::<PyThicknessMap>()?;
    module.add_class::<PyMetalCoat>()?;
    module.add_class::<PyCoatingPicture>()
}

/// Points on a side of the picture of a coating.
const PICTURE_POINTS: usize = 201;

/// Any coat, to check a part on it.
fn coat() -> MetalCoat {
    MetalCoat::new(MetalFilm::new(Metal::Aluminium, 100.0))
}

/// A ring of the primary on which the metal has another thickness.
///
/// At a radius r the ring replaces the share 1/(1 + exp((r - outer)/softness)) times 1/(1 + exp((inner - r)/softness))
/// of the thickness that lies under it; without softness all of it between the two radii. A ring that begins in the
/// centre has no inner rim. With `profile` "smooth" it replaces the share sin^2(pi (r - inner)/(outer - inner)): nothing
/// at its two radii, all half-way; it has no softness.
///
/// Units: mm; nm of metal.
/// Errors: InputError, when put on a mirror that it leaves; a soft ring may end up to 30 softnesses beyond the clear
/// aperture.
/// Leaves out: metal that is not bulk-like (below about 10 nm it stands in islands).
///
/// >>> worn = ct.ThinRing(inner_radius_mm=112, outer_radius_mm=139, thickness_nm=40)
/// >>> film = ct.MetalFilm(metal="aluminium", thickness_nm=100)
/// >>> assert ct.MetalCoat(film=film, rings=[worn]).rings == (worn,)
#[pyclass(name = "ThinRing", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyThinRing(pub(super) ThinRing);

#[pymethods]
impl PyThinRing {
    #[new]
    #[pyo3(signature = (*, inner_radius_mm, outer_radius_mm, thickness_nm, softness_mm=None, profile=None),
        text_signature = "(*, inner_radius_mm, outer_radius_mm, thickness_nm, softness_mm=0.0, profile='flat')")]
    fn new(
        inner_radius_mm: &Bound<'_, PyAny>,
        outer_radius_mm: &Bound<'_, PyAny>,
        thickness_nm: &Bound<'_, PyAny>,
        softness_mm: Option<&Bound<'_, PyAny>>,
        profile: Option<&str>,
    ) -> PyResult<Self> {
        let ring = ThinRing::new(
            part_number(inner_radius_mm, "inner_radius_mm")?,
            part_number(outer_radius_mm, "outer_radius_mm")?,
            part_number(thickness_nm, "thickness_nm")?,
        );
        let ring = ring.softness_mm(part_number_or(softness_mm, "softness_mm", 0.0)?);
        let ring = ring.profile(ring_profile(thickness_nm.py(), profile)?);
        sound(thickness_nm.py(), coat().ring(ring).check(), Self(ring))
    }
}

getters!(PyThinRing, |ring| {
    /// Where the ring begins, mm from the mirror's centre.
    inner_radius_mm: f64 = ring.inner_radius_mm;
    /// Where the ring ends, mm.
    outer_radius_mm: f64 = ring.outer_radius_mm;
    /// Thickness of the metal there, nm.
    thickness_nm: f64 = ring.thickness_nm;
    /// Over which distance both rims of a flat ring fade, mm; 0 for hard rims.
    softness_mm: f64 = ring.softness_mm;
    /// "flat" or "smooth".
    profile: &'static str = ring.profile.key();
});
record!(PyThinRing, "ThinRing",
    attributes: ["inner_radius_mm", "outer_radius_mm", "thickness_nm", "softness_mm", "profile"],
    shown: ["inner_radius_mm", "outer_radius_mm", "thickness_nm", "softness_mm", "profile"]);

/// A round patch of the primary on which the metal has another thickness, with a hard or a soft rim.
///
/// At a distance d from its centre the patch replaces the share 1/(1 + exp((d - radius)/softness)) of the thickness
/// that lies under it; without softness all of it within the radius.
///
/// Units: mm, +x toward the focuser; nm of metal.
/// Errors: InputError, when put on a mirror that it leaves.
/// Leaves out: metal that is not bulk-like (below about 10 nm it stands in islands).
///
/// >>> worn = ct.ThinPatch(x_mm=-46, y_mm=71, radius_mm=36, thickness_nm=15, softness_mm=3)
/// >>> film = ct.MetalFilm(metal="aluminium", thickness_nm=100)
/// >>> assert ct.MetalCoat(film=film, patches=[worn]).patches == (worn,)
#[pyclass(name = "ThinPatch", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyThinPatch(pub(super) ThinPatch);

#[pymethods]
impl PyThinPatch {
    #[new]
    #[pyo3(signature = (*, x_mm, y_mm, radius_mm, thickness_nm, softness_mm=None),
        text_signature = "(*, x_mm, y_mm, radius_mm, thickness_nm, softness_mm=0.0)")]
    fn new(
        x_mm: &Bound<'_, PyAny>,
        y_mm: &Bound<'_, PyAny>,
        radius_mm: &Bound<'_, PyAny>,
        thickness_nm: &Bound<'_, PyAny>,
        softness_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let centre = [part_number(x_mm, "x_mm")?, part_number(y_mm, "y_mm")?];
        let (radius_mm, nm) =
            (part_number(radius_mm, "radius_mm")?, part_number(thickness_nm, "thickness_nm")?);
        let patch = ThinPatch::new(centre, radius_mm, nm);
        let patch = patch.softness_mm(part_number_or(softness_mm, "softness_mm", 0.0)?);
        sound(x_mm.py(), coat().patch(patch).check(), Self(patch))
    }
}

getters!(PyThinPatch, |patch| {
    /// Where its centre lies, mm toward the focuser's side.
    x_mm: f64 = patch.x_mm;
    /// Where its centre lies across, mm.
    y_mm: f64 = patch.y_mm;
    /// Distance from the centre at which half of it is left, mm.
    radius_mm: f64 = patch.radius_mm;
    /// Thickness of the metal in its middle, nm.
    thickness_nm: f64 = patch.thickness_nm;
    /// Over which distance its rim fades, mm; 0 for a hard rim.
    softness_mm: f64 = patch.softness_mm;
});
record!(PyThinPatch, "ThinPatch",
    attributes: ["x_mm", "y_mm", "radius_mm", "thickness_nm", "softness_mm"],
    shown: ["x_mm", "y_mm", "radius_mm", "thickness_nm", "softness_mm"]);

/// Thickness of the metal on a net of square pixels.
///
/// `rows_run` says in which direction on the mirror, seen from the sky, one goes from one row to the next: "+x" (toward
/// the focuser), "-x", "+y" or "-y"; `columns_run` the same for columns. Neither has a default: a mirrored map is an
/// error that no number shows.
///
/// Units: nm of metal; mm for a pixel's side.
/// Shapes: a table of 4 x 4 to 4096 x 4096 thicknesses, each that of its pixel's middle, of any dtype and stride.
/// `centre_row` and `centre_column` say where the mirror's centre lies, counted from 0; not given, in the middle of the
/// table.
/// Errors: InputError for thicknesses outside of 0 to 2000 nm; on a mirror when a pixel has none that the clear
/// aperture touches. Holes are refused; what lies beyond the mirror may be NaN.
/// Method: bicubic splines, held within the least and the greatest thickness of the map.
/// Leaves out: what is finer than two pixels.
///
/// >>> y, x = np.mgrid[-40:41, -40:41] * 4.0  # mm; rows run toward +y, columns toward +x
/// >>> worn = 90 - 60 * np.exp(-((x - 90) ** 2 + y**2) / 25**2)  # by the focuser's side
/// >>> measured = ct.ThicknessMap(thickness_nm=worn, pixel_mm=4, rows_run="+y", columns_run="+x")
/// >>> assert (measured.centre_row, measured.thickness_nm.max()) == (40, worn.max())
#[pyclass(name = "ThicknessMap", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyThicknessMap(pub(super) ThicknessMap);

#[pymethods]
impl PyThicknessMap {
    #[new]
    #[pyo3(signature = (*, thickness_nm, pixel_mm, rows_run, columns_run, centre_row=None, centre_column=None))]
    fn new(
        py: Python<'_>,
        thickness_nm: &Bound<'_, PyAny>,
        pixel_mm: &Bound<'_, PyAny>,
        rows_run: &str,
        columns_run: &str,
        centre_row: Option<&Bound<'_, PyAny>>,
        centre_column: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let map = placed_map!(
            ThicknessMap,
            py,
            thickness_nm,
            [pixel_mm, rows_run, columns_run],
            [centre_row, centre_column]
        );
        sound(py, coat().map(map.clone()).check(), Self(map))
    }

    /// Thicknesses, nm, row by row.
    #[getter]
    fn thickness_nm<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.0.thickness_nm.as_ref().clone().into_pyarray(py)
    }
}

map_getters!(PyThicknessMap, thickness_nm);
record!(PyThicknessMap, "ThicknessMap",
    attributes: ["thickness_nm", "pixel_mm", "rows_run", "columns_run", "centre_row", "centre_column"],
    shown: ["rows", "columns", "pixel_mm", "rows_run", "columns_run"]);

/// A coat of metal on the primary: one film, and rings and patches on which it is thinner or thicker.
///
/// Worn metal dims and is a hollow: both follow from the thickness at each place, at each wavelength. The height of the
/// perfect mirror that returns the same phase is counted from that of the even film in the mirror's centre, so that a
/// fresh even coat changes no star. The glass's own figure stands in the layers of the primary.
///
/// Units: nm of metal; mm on the mirror. The film's thickness is that of all places on which no ring, patch or map
/// lies; beside a map it only says which height counts as none.
/// Errors: InputError for metal that cannot be, and when put on a mirror that it leaves.
/// Source: MetalFilm, at the angle between the mirror's axis and its normal at each place.
/// Leaves out: that an even film moves the focus by its own height, some 0.1 um; the star's own field angle in that
/// (below 1e-5 of the reflectance and 0.01 nm within half a degree); the difference of both polarisations, of which the
/// mean counts: over an f/4 aluminium mirror 0.06 nm of height and up to 7e-4 of the reflectance between s and p at the
/// rim.
///
/// >>> film = ct.MetalFilm(metal="aluminium", thickness_nm=100)
/// >>> worn = ct.ThinRing(inner_radius_mm=112, outer_radius_mm=139, thickness_nm=40)
/// >>> coating = ct.Coating(metal=ct.MetalCoat(film=film, rings=[worn]))
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, coating=coating)
/// >>> wave = ct.Train(primary=mirror).wavefront(focus="peak")
/// >>> assert wave.strehl < 0.9 and wave.amplitude_factor > 0.999  # as bright as before, and a hollow of 60 nm
#[pyclass(name = "MetalCoat", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMetalCoat(pub(super) MetalCoat);

#[pymethods]
impl PyMetalCoat {
    #[new]
    #[pyo3(signature = (*, film, rings=Vec::new(), patches=Vec::new(), map=None),
        text_signature = "(*, film, rings=(), patches=(), map=None)")]
    fn new(
        py: Python<'_>,
        film: PyMetalFilm,
        rings: Vec<PyThinRing>,
        patches: Vec<PyThinPatch>,
        map: Option<PyThicknessMap>,
    ) -> PyResult<Self> {
        let coat = MetalCoat {
            film: film.0,
            rings: rings.into_iter().map(|r| r.0).collect(),
            patches: patches.into_iter().map(|p| p.0).collect(),
            map: map.map(|m| m.0),
        };
        sound(py, coat.check(), Self(coat))
    }

    /// Rings of another thickness; where two overlap, the later one lies over the earlier.
    #[getter]
    fn rings<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.rings.iter().map(|r| PyThinRing(*r)))
    }

    /// Patches laid over the rings, in their order.
    #[getter]
    fn patches<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.patches.iter().map(|p| PyThinPatch(*p)))
    }
}

getters!(PyMetalCoat, |coat| {
    /// The film wherever nothing else is said.
    film: PyMetalFilm = PyMetalFilm(coat.film);
    /// Thickness place by place instead of the film's own, or None.
    map: Option<PyThicknessMap> = coat.map.clone().map(PyThicknessMap);
});
record!(PyMetalCoat, "MetalCoat", attributes: ["film", "rings", "patches", "map"],
    shown: ["film", "rings", "patches", "map"]);

/// What the primary's coating does over a square net of places, seen from the sky, +x to the right.
///
/// Units: shares of unpolarised light that the primary alone returns; nm; positions in mm.
/// Shapes: tables with rows along y and columns along x, at `axis_mm`; NaN beyond the clear aperture.
/// Errors: none of its own; it is made by `Train.coating_picture`.
/// Leaves out: the diagonal, and what shadows the mirror.
///
/// >>> coating = ct.Coating(reflectance=0.9, rings=[ct.CoatingRing(inner_radius_mm=60, outer_radius_mm=80, reflectance=0.7)])
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, coating=coating))
/// >>> seen = train.coating_picture(size=101)
/// >>> assert seen.reflectance[50, 85] == 0.7 and seen.height_nm is None
#[pyclass(name = "CoatingPicture", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyCoatingPicture(CoatingPicture);

#[pymethods]
impl PyCoatingPicture {
    /// Positions of the rows and columns, mm.
    #[getter]
    fn axis_mm<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<f64>> {
        self.0.axis_mm.clone().into_pyarray(py)
    }

    /// Share of the power returned; rows along y, columns along x; NaN beyond the clear aperture.
    #[getter]
    fn reflectance<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.0.reflectance.mapv(|v| v.unwrap_or(f64::NAN)).into_pyarray(py)
    }

    /// Thickness of the metal, nm, or None where it does not count.
    #[getter]
    fn thickness_nm<'py>(&self, py: Python<'py>) -> Option<Bound<'py, PyArray2<f64>>> {
        Some(self.0.thickness_nm.as_ref()?.mapv(|v| v.unwrap_or(f64::NAN)).into_pyarray(py))
    }

    /// Height at which light turns around, counted from that over the even film in the centre, nm, or None.
    #[getter]
    fn height_nm<'py>(&self, py: Python<'py>) -> Option<Bound<'py, PyArray2<f64>>> {
        Some(self.0.height_nm.as_ref()?.mapv(|v| v.unwrap_or(f64::NAN)).into_pyarray(py))
    }

    /// Draw the reflectance over the mirror, or with `height=True` the height at which light turns around; return the
    /// axes.
    ///
    /// Errors: InputError for the height of a coating whose metal does not count.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
    /// >>> assert "mm" in train.coating_picture().plot().get_xlabel()
    #[pyo3(signature = (ax=None, *, height=false))]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        height: bool,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("height", height)?;
        draw("coating", slf.as_any(), ax, Some(&options))
    }
}

getters!(PyCoatingPicture, |picture| {
    /// Wavelength, nm.
    wavelength_nm: f64 = picture.wavelength_nm;
});
record!(PyCoatingPicture, "CoatingPicture",
    attributes: ["wavelength_nm", "axis_mm", "reflectance", "thickness_nm", "height_nm"],
    shown: ["wavelength_nm", "axis_mm", "reflectance", "thickness_nm", "height_nm"]);

#[pymethods]
impl PyTrain {
    /// Return the share of the power that mirror and flat return for light that met the mirror at (x, y).
    ///
    /// Units: mm on the mirror, +x toward the focuser; a share of unpolarised light at a wavelength, nm.
    /// Errors: InputError for wavelengths for which the metal's index is not known (250 to 3000 nm).
    /// Leaves out: that an even film moves the focus by its own height, some 0.1 um; the star's field angle (below 1e-5
    /// within half a degree); whether the light is stopped.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, coating=ct.Coating(reflectance=0.9))
    /// >>> assert ct.Train(primary=mirror).reflectance(30, 0) == 0.9
    #[pyo3(signature = (x_mm, y_mm, /, *, wavelength_nm=None),
        text_signature = "($self, x_mm, y_mm, /, *, wavelength_nm=550.0)")]
    fn reflectance(
        &self,
        py: Python<'_>,
        x_mm: &Bound<'_, PyAny>,
        y_mm: &Bound<'_, PyAny>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<f64> {
        let (x_mm, y_mm) = (number(x_mm, "x_mm")?, number(y_mm, "y_mm")?);
        let coloured = self.prepared().in_colour(wavelength(wavelength_nm)?).map_err(|e| exception(py, e))?;
        Ok(coloured.reflectance(x_mm, y_mm))
    }

    /// Return what the primary's coating does over its face at a wavelength, on a square net of `size` places a side.
    ///
    /// Units: nm.
    /// Errors: InputError for fewer than 2 or more than 2048 places a side, and wavelengths for which the metal's index
    /// is not known.
    ///
    /// >>> film = ct.MetalFilm(metal="aluminium", thickness_nm=100)
    /// >>> worn = ct.ThinRing(inner_radius_mm=60, outer_radius_mm=80, thickness_nm=40)
    /// >>> coating = ct.Coating(metal=ct.MetalCoat(film=film, rings=[worn]))
    /// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, coating=coating)
    /// >>> seen = ct.Train(primary=mirror).coating_picture(size=101)
    /// >>> assert abs(seen.height_nm[50, 85] + 60) < 0.5  # thinner by 60 nm, and a hollow of as much
    #[pyo3(signature = (*, wavelength_nm=None, size=None),
        text_signature = "($self, *, wavelength_nm=550.0, size=201)")]
    fn coating_picture(
        &self,
        py: Python<'_>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        size: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyCoatingPicture> {
        let (nm, size) = (wavelength(wavelength_nm)?, count_or(size, "size", PICTURE_POINTS)?);
        let prepared = self.prepared().clone();
        compute(py, move || prepared.coating_picture(nm, size)).map(PyCoatingPicture)
    }
}
