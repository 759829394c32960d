//! Predicted shop tests: what a tester will read and see at the centre of curvature.

use numpy::{IntoPyArray, PyArray2};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{choice, count_or, list, maybe_number, number, number_or, wavelength};
use super::arrays::{Column, column};
use super::bench::openings;
use super::compute::compute;
use super::errors::python_problems;
use super::model::PyPrimary;
use super::rays::draw;
use super::record::{getters, record};
use crate::{
    GratingBench, GratingPicture, KnifeBench, KnifeFrom, KnifePicture, MaskOpening, TestSource,
    expected_readings, grating_picture, knife_edge_picture,
};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyKnifePicture>()?;
    module.add_class::<PyGratingPicture>()?;
    module.add_function(wrap_pyfunction!(py_expected_readings, module)?)?;
    module.add_function(wrap_pyfunction!(py_knife_edge_picture, module)?)?;
    module.add_function(wrap_pyfunction!(py_grating_picture, module)?)
}

/// Return the readings that a mirror gives through the openings of a mask, without noise.
///
/// A reading is the mean over the opening's area of where the light of each zone crosses the axis: for a
/// moving source where the normal meets it, for a fixed source where the reflected ray does, to all orders.
/// The free zero is the centre of curvature of the conic's vertex; readings count away from the mirror.
/// Give the openings by inner and outer radius, or single radii.
///
/// Units: mm.
/// Shapes: one reading an opening.
/// Errors: InputError for a mirror that cannot be, openings that leave the clear aperture, and a figure so
/// steep that its light does not come back to the bench.
/// Source: the normal and the law of reflection; a paraboloid reads r^2/(2R) with a moving source, exactly.
/// Leaves out: that an eye balances two grey tones, and diffraction: see `knife_edge_picture`.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
/// >>> openings = dict(inner_radius_mm=[20, 50, 75], outer_radius_mm=[50, 75, 100])
/// >>> reading_mm = ct.expected_readings(mirror, source="moving", **openings)
/// >>> assert abs(reading_mm[2] - (75**2 + 100**2) / (4 * 2400)) < 1e-9
/// >>> bench = dict(clear_aperture_mm=200, radius_of_curvature_mm=2400, source="moving")
/// >>> bench |= dict(readings_increase="away_from_mirror") | openings
/// >>> readings = ct.KnifeEdgeReadings(runs_mm=reading_mm, **bench)
/// >>> assert readings.run_count == 1
#[pyfunction(name = "expected_readings")]
#[pyo3(signature = (primary, *, source, inner_radius_mm=None, outer_radius_mm=None, radius_mm=None))]
fn py_expected_readings<'py>(
    py: Python<'py>,
    primary: PyPrimary,
    source: &str,
    inner_radius_mm: Option<&Bound<'py, PyAny>>,
    outer_radius_mm: Option<&Bound<'py, PyAny>>,
    radius_mm: Option<&Bound<'py, PyAny>>,
) -> PyResult<Column<'py>> {
    let source = source_named(py, source)?;
    let openings = openings(py, inner_radius_mm, outer_radius_mm, radius_mm)?;
    Ok(column(py, compute(py, move || expected_readings(&primary.0, &openings, source))?))
}

/// Return the picture that a knife edge near the centre of curvature shows of a mirror.
///
/// The slit stands on the axis, parallel to the edge, and its points do not interfere. With a moving source
/// slit and knife lie in one plane; a fixed slit stays at the vertex's centre of curvature. Several
/// wavelengths share the light equally. `inner_radius_mm` and `outer_radius_mm` are the openings of a mask
/// in front of the mirror.
///
/// Units: `stage_mm` from the centre of curvature of the conic's vertex, positive away from the mirror, the
/// zero of `expected_readings`; `edge_um` from the axis to the tester's right; nm.
/// Shapes: `pixels` on a side; an odd number puts one on the centre.
/// Errors: InputError for a bench or a mirror that cannot be, and where a row's waves would take more than
/// 32 MiB; NotConverged where the brightness does not come to 1e-5.
/// Source: half of the field and half of its Hilbert transform, row by row (Rayleigh 1917, from memory).
/// Leaves out: the sideways distance e of slit and knife, which parts the focal lines by e^2/(2R); the
/// coating; the blur of the eye.
///
/// >>> sphere = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, conic=0)
/// >>> seen = ct.knife_edge_picture(sphere, source="moving", stage_mm=-3, slit_width_um=20, pixels=41)
/// >>> assert seen.image[20, 8] < 0.2 < 0.8 < seen.image[20, 32]  # inside of focus: from the knife's side
#[pyfunction(name = "knife_edge_picture")]
#[pyo3(signature = (primary, *, source, stage_mm, slit_width_um, edge_um=None, knife_from="left", wavelength_nm=None,
    inner_radius_mm=None, outer_radius_mm=None, pixels=None),
    text_signature = "(primary, *, source, stage_mm, slit_width_um, edge_um=0.0, knife_from='left', \
    wavelength_nm=550.0, inner_radius_mm=None, outer_radius_mm=None, pixels=257)")]
#[allow(clippy::too_many_arguments)]
fn py_knife_edge_picture(
    py: Python<'_>,
    primary: PyPrimary,
    source: &str,
    stage_mm: &Bound<'_, PyAny>,
    slit_width_um: &Bound<'_, PyAny>,
    edge_um: Option<&Bound<'_, PyAny>>,
    knife_from: &str,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
    inner_radius_mm: Option<&Bound<'_, PyAny>>,
    outer_radius_mm: Option<&Bound<'_, PyAny>>,
    pixels: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyKnifePicture> {
    let standing = KnifeBench::new(
        source_named(py, source)?,
        number(stage_mm, "stage_mm")?,
        number(slit_width_um, "slit_width_um")?,
    );
    let bench = KnifeBench {
        edge_um: number_or(edge_um, "edge_um", standing.edge_um)?,
        knife_from: choice(py, "knife_from", knife_from, "'left' or 'right'", KnifeFrom::from_name)?,
        wavelengths_nm: wavelengths(wavelength_nm)?,
        openings: mask(py, inner_radius_mm, outer_radius_mm)?,
        pixels: count_or(pixels, "pixels", standing.pixels)?,
        ..standing
    };
    compute(py, move || knife_edge_picture(&primary.0, &bench)).map(PyKnifePicture)
}

/// Return the bands that a grating near the centre of curvature shows of a mirror.
///
/// The bars of the grating are as wide as its gaps and stand upright. Without a slit's width the light of a
/// moving source comes through the same grating; a fixed source needs its slit. Several wavelengths share
/// the light equally.
///
/// Units: `stage_mm` from the centre of curvature of the conic's vertex, positive away from the mirror;
/// `phase` in periods, the distance by which the middle of a gap lies to the tester's right of the axis; nm.
/// Shapes: `pixels` on a side; an odd number puts one on the centre.
/// Errors: InputError for a bench or a mirror that cannot be, and for a grating so coarse that more than 800
/// orders count; NotConverged where the error estimate exceeds 1e-3.
/// Source: Ronchi 1964, Appl. Opt. 3, 437 (from memory): sheared copies of the mirror, one an order.
/// Leaves out: the sideways distance of source and eye, the coating, the blur of the eye.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
/// >>> bands = ct.grating_picture(mirror, source="moving", stage_mm=-10, lines_per_mm=4, pixels=41)
/// >>> assert bands.image.shape == (41, 41) and bands.slit_width_um is None
#[pyfunction(name = "grating_picture")]
#[pyo3(signature = (primary, *, source, stage_mm, lines_per_mm, phase=None, slit_width_um=None, wavelength_nm=None,
    inner_radius_mm=None, outer_radius_mm=None, pixels=None),
    text_signature = "(primary, *, source, stage_mm, lines_per_mm, phase=0.0, slit_width_um=None, \
    wavelength_nm=550.0, inner_radius_mm=None, outer_radius_mm=None, pixels=257)")]
#[allow(clippy::too_many_arguments)]
fn py_grating_picture(
    py: Python<'_>,
    primary: PyPrimary,
    source: &str,
    stage_mm: &Bound<'_, PyAny>,
    lines_per_mm: &Bound<'_, PyAny>,
    phase: Option<&Bound<'_, PyAny>>,
    slit_width_um: Option<&Bound<'_, PyAny>>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
    inner_radius_mm: Option<&Bound<'_, PyAny>>,
    outer_radius_mm: Option<&Bound<'_, PyAny>>,
    pixels: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyGratingPicture> {
    let standing = GratingBench::new(
        source_named(py, source)?,
        number(stage_mm, "stage_mm")?,
        number(lines_per_mm, "lines_per_mm")?,
    );
    let bench = GratingBench {
        phase: number_or(phase, "phase", standing.phase)?,
        slit_width_um: maybe_number(slit_width_um, "slit_width_um")?,
        wavelengths_nm: wavelengths(wavelength_nm)?,
        openings: mask(py, inner_radius_mm, outer_radius_mm)?,
        pixels: count_or(pixels, "pixels", standing.pixels)?,
        ..standing
    };
    compute(py, move || grating_picture(&primary.0, &bench)).map(PyGratingPicture)
}

fn source_named(py: Python<'_>, name: &str) -> PyResult<TestSource> {
    choice(py, "source", name, "'moving' or 'fixed'", TestSource::from_name)
}

/// One wavelength, or a list of them.
fn wavelengths(value: Option<&Bound<'_, PyAny>>) -> PyResult<Vec<f64>> {
    let several = value.is_some_and(|v| {
        let dimensions = v.py().import("numpy").and_then(|np| np.call_method1("ndim", (v,)));
        dimensions.and_then(|n| n.extract::<usize>()).is_ok_and(|n| n > 0)
    });
    match value {
        Some(value) if several => list(value, "wavelength_nm"),
        _ => Ok(vec![wavelength(value)?]),
    }
}

/// The openings of a mask, none where none are given.
fn mask(
    py: Python<'_>,
    inner: Option<&Bound<'_, PyAny>>,
    outer: Option<&Bound<'_, PyAny>>,
) -> PyResult<Vec<MaskOpening>> {
    if inner.is_none() && outer.is_none() { Ok(Vec::new()) } else { openings(py, inner, outer, None) }
}

/// The mirror behind a knife edge: its brightness by diffraction, and what rays alone would show.
///
/// Seen from behind the knife, looking at the mirror: +x to the right, +y up, as from the sky. Brightness 1
/// is the mirror without the knife; it may exceed 1 beside a bright rim.
///
/// Units: mm on the mirror; brightness has none; crossings in um.
/// Shapes: `image[i, j]` and `ray_image[i, j]`, row i at y = `axis_mm[i]`, column j at x = `axis_mm[j]`.
/// Errors: those of `knife_edge_picture`, which makes it.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
/// >>> seen = ct.knife_edge_picture(mirror, source="fixed", stage_mm=1, slit_width_um=20, pixels=31)
/// >>> assert seen.image.shape == seen.ray_image.shape == (31, 31) and seen.error_estimate < 1e-5
#[pyclass(name = "KnifePicture", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyKnifePicture(KnifePicture);

#[pymethods]
impl PyKnifePicture {
    /// Return what is odd about the picture, though it can be computed.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
    /// >>> seen = ct.knife_edge_picture(mirror, source="moving", stage_mm=1, slit_width_um=900, pixels=11)
    /// >>> assert seen.problems()[0].field == "slit_width_um"
    fn problems(&self, py: Python<'_>) -> PyResult<Vec<Py<PyAny>>> {
        python_problems(py, &self.0.problems())
    }

    /// Draw the mirror as the tester sees it, or with `rays=True` as rays alone would show it; return the axes.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
    /// >>> seen = ct.knife_edge_picture(mirror, source="moving", stage_mm=1, slit_width_um=20, pixels=31)
    /// >>> axes = seen.plot()
    /// >>> assert "mm" in axes.get_xlabel()
    #[pyo3(signature = (ax=None, *, rays=false))]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        rays: bool,
    ) -> PyResult<Bound<'py, PyAny>> {
        draw_either("knife_shadow", slf.as_any(), ax, rays)
    }
}

getters!(PyKnifePicture, |picture| {
    /// The mirror that is looked at.
    primary: PyPrimary = PyPrimary(picture.primary.clone());
    /// Whether the slit moves with the knife: "moving" or "fixed".
    source: &'static str = picture.bench.source.name();
    /// Where the knife stands, mm from the vertex's centre of curvature, positive away from the mirror.
    stage_mm: f64 = picture.bench.stage_mm;
    /// Where its edge stands, um to the right of the axis.
    edge_um: f64 = picture.bench.edge_um;
    /// The side it comes from: "left" or "right".
    knife_from: &'static str = picture.bench.knife_from.name();
    /// Width of the slit, um.
    slit_width_um: f64 = picture.bench.slit_width_um;
    /// Pixels on a side.
    pixels: usize = picture.bench.pixels;
    /// Estimated error of `image`.
    error_estimate: f64 = picture.error_estimate;
});
record!(PyKnifePicture, "KnifePicture",
    attributes: ["primary", "source", "stage_mm", "edge_um", "knife_from", "slit_width_um", "wavelength_nm",
        "inner_radius_mm", "outer_radius_mm", "pixels", "image", "ray_image", "axis_mm", "zone_radius_mm",
        "zone_crossing_um", "error_estimate"],
    shown: ["source", "stage_mm", "edge_um", "knife_from", "slit_width_um", "wavelength_nm", "pixels",
        "error_estimate"]);

/// The mirror behind a grating: its brightness by diffraction, and what rays alone would show.
///
/// Seen from behind the grating, looking at the mirror: +x to the right, +y up, as from the sky. Brightness
/// 1 is the mirror without the grating before the eye.
///
/// Units: mm on the mirror; brightness has none; crossings in um.
/// Shapes: `image[i, j]` and `ray_image[i, j]`, row i at y = `axis_mm[i]`, column j at x = `axis_mm[j]`.
/// Errors: those of `grating_picture`, which makes it.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
/// >>> bands = ct.grating_picture(mirror, source="moving", stage_mm=12, lines_per_mm=4, pixels=31)
/// >>> assert bands.ray_image.max() <= 1 and bands.zone_crossing_um[-1] < 0  # outside: rays have crossed
#[pyclass(name = "GratingPicture", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyGratingPicture(GratingPicture);

#[pymethods]
impl PyGratingPicture {
    /// Return what is odd about the picture, though it can be computed.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
    /// >>> bands = ct.grating_picture(mirror, source="moving", stage_mm=-1, lines_per_mm=30, pixels=11)
    /// >>> assert "inch" in bands.problems()[0].cause
    fn problems(&self, py: Python<'_>) -> PyResult<Vec<Py<PyAny>>> {
        python_problems(py, &self.0.problems())
    }

    /// Draw the mirror as the tester sees it, or with `rays=True` as rays alone would show it; return the axes.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
    /// >>> bands = ct.grating_picture(mirror, source="moving", stage_mm=-10, lines_per_mm=4, pixels=31)
    /// >>> axes = bands.plot(rays=True)
    /// >>> assert "mm" in axes.get_xlabel()
    #[pyo3(signature = (ax=None, *, rays=false))]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        rays: bool,
    ) -> PyResult<Bound<'py, PyAny>> {
        draw_either("grating_bands", slf.as_any(), ax, rays)
    }
}

getters!(PyGratingPicture, |picture| {
    /// The mirror that is looked at.
    primary: PyPrimary = PyPrimary(picture.primary.clone());
    /// Whether the source moves with the grating: "moving" or "fixed".
    source: &'static str = picture.bench.source.name();
    /// Where the grating stands, mm from the vertex's centre of curvature, positive away from the mirror.
    stage_mm: f64 = picture.bench.stage_mm;
    /// Lines (a bar and a gap each) in a millimetre.
    lines_per_mm: f64 = picture.bench.lines_per_mm;
    /// Where the middle of a gap stands, periods to the right of the axis.
    phase: f64 = picture.bench.phase;
    /// Width of the slit, um, or None where the light comes through the grating itself.
    slit_width_um: Option<f64> = picture.bench.slit_width_um;
    /// Pixels on a side.
    pixels: usize = picture.bench.pixels;
    /// Estimated error of `image`.
    error_estimate: f64 = picture.error_estimate;
});
record!(PyGratingPicture, "GratingPicture",
    attributes: ["primary", "source", "stage_mm", "lines_per_mm", "phase", "slit_width_um", "wavelength_nm",
        "inner_radius_mm", "outer_radius_mm", "pixels", "image", "ray_image", "axis_mm", "zone_radius_mm",
        "zone_crossing_um", "error_estimate"],
    shown: ["source", "stage_mm", "lines_per_mm", "phase", "slit_width_um", "wavelength_nm", "pixels",
        "error_estimate"]);

fn draw_either<'py>(
    picture: &str,
    result: &Bound<'py, PyAny>,
    ax: Option<&Bound<'py, PyAny>>,
    rays: bool,
) -> PyResult<Bound<'py, PyAny>> {
    let options = PyDict::new(result.py());
    options.set_item("rays", rays)?;
    draw(picture, result, ax, Some(&options))
}

/// Writes the arrays that both kinds of picture hold.
macro_rules! arrays {
    ($class:ident) => {
        #[pymethods]
        impl $class {
            /// Brightness of each point of the mirror by diffraction; rows along y, columns along x.
            #[getter]
            fn image<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
                self.0.image.clone().into_pyarray(py)
            }

            /// The share of the source's light that rays bring past knife or grating from each point.
            #[getter]
            fn ray_image<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
                self.0.ray_image.clone().into_pyarray(py)
            }

            /// Positions of rows and columns, mm.
            #[getter]
            fn axis_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
                column(py, self.0.axis_mm.iter().copied())
            }

            /// Radii from the centre to the rim, mm.
            #[getter]
            fn zone_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
                column(py, self.0.zone_radius_mm.iter().copied())
            }

            /// Where the rays of each of these zones cross the plane of knife or grating, um from the axis, positive
            /// on the zone's own side.
            #[getter]
            fn zone_crossing_um<'py>(&self, py: Python<'py>) -> Column<'py> {
                column(py, self.0.zone_crossing_um.iter().copied())
            }

            /// Wavelengths, nm, with equal shares of the light.
            #[getter]
            fn wavelength_nm<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
                PyTuple::new(py, &self.0.bench.wavelengths_nm)
            }

            /// Inner radii of the mask's openings, mm; empty without a mask.
            #[getter]
            fn inner_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
                column(py, self.0.bench.openings.iter().map(|o| o.inner_radius_mm))
            }

            /// Outer radii of the mask's openings, mm; empty without a mask.
            #[getter]
            fn outer_radius_mm<'py>(&self, py: Python<'py>) -> Column<'py> {
                column(py, self.0.bench.openings.iter().map(|o| o.outer_radius_mm))
            }
        }
    };
}
arrays!(PyKnifePicture);
arrays!(PyGratingPicture);
