//! Many rays at once: those that the caller gives, and the library's own rings.

use numpy::{PyArray1, PyArrayMethods, PyReadonlyArray1, PyReadwriteArray1, PyUntypedArrayMethods};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, field, list, number, number_or};
use super::compute::{compute, compute_on_loan};
use super::errors::{exception, refused};
use super::record::{getters, record};
use super::train::PyTrain;
use crate::{RayColumn, RaySpot, Rays, RaysOut};

/// Up to this many rays a call does its work itself; more of them take long enough to be broken off with Ctrl-C.
const SHORT: usize = 100_000;

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyRaySpot>()
}

/// How many rays scatter in a plane square to the focuser's axis; the rays themselves are not kept.
///
/// Units: um in the plane, from where the axis meets it, `along` positive toward the sky end, `across` along +y; mm.
/// Weighted by the light of each ray: its weight times the reflectance of the mirrors.
/// Errors: those of `Train.spot_of_rays` and `Train.spot_of_rings`, which make it.
/// Leaves out: diffraction, and what lies between the rays.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=250, focal_length_mm=1250))
/// >>> spot = train.spot_of_rings(field_arcmin=(15, 0), rings=100, rays_per_ring=100)
/// >>> assert spot.rays == spot.passed == 10_000
/// >>> assert abs(spot.rms_radius_um / 11.2322 - 1) < 1e-4  # an exact ray trace of its own
#[pyclass(name = "RaySpot", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyRaySpot(pub(super) RaySpot);

getters!(PyRaySpot, |spot| {
    /// Rays that were traced.
    rays: usize = spot.rays;
    /// Rays that reach the plane.
    passed: usize = spot.passed;
    /// Light of all rays that reach the plane: the sum of their weights times the reflectance.
    light: f64 = spot.light;
    /// How far behind the paraxial focal plane the rays are caught, mm.
    focus_shift_mm: f64 = spot.focus_shift_mm;
    /// Where the centroid lies along, um.
    centroid_along_um: f64 = spot.centroid_um[0];
    /// Where the centroid lies across, um.
    centroid_across_um: f64 = spot.centroid_um[1];
    /// Root of the mean squared distance from the centroid, um.
    rms_radius_um: f64 = spot.rms_radius_um;
    /// The least and the greatest place along, um.
    along_range_um: (f64, f64) = spot.along_range_um.into();
    /// The least and the greatest place across, um.
    across_range_um: (f64, f64) = spot.across_range_um.into();
});
record!(PyRaySpot, "RaySpot",
    attributes: ["rays", "passed", "light", "focus_shift_mm", "centroid_along_um", "centroid_across_um", "rms_radius_um",
        "along_range_um", "across_range_um"],
    shown: ["rays", "passed", "focus_shift_mm", "centroid_along_um", "centroid_across_um", "rms_radius_um"]);

#[pymethods]
impl PyTrain {
    /// Return statistics of rays that you give, in the plane at a shift; no ray is kept.
    /// A ray is a whole straight line: where on it a ray starts does not matter, and parts above its start stop it too.
    ///
    /// Units: mm from the primary's vertex, z toward the sky; directions are unit vectors of the light's travel,
    /// downward, good to 1e-6; weights are the light of each ray.
    /// Shapes: `origins_mm` and `directions` are three columns x, y, z, as an array of shape (3, N) or a sequence of
    /// three; a column is N numbers, or one for all rays. Columns of float64 without gaps are read in place: do not
    /// change them meanwhile.
    /// Errors: InputError, also for rays of which none arrives.
    /// Leaves out: diffraction. A ray is placed to 1e-12 mm.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
    /// >>> rays = {"origins_mm": ([10, 50, 110], 0, 2000), "directions": (0, 0, -1)}
    /// >>> spot = train.spot_of_rays(**rays, focus_shift_mm=1.2)
    /// >>> assert (spot.rays, spot.passed) == (3, 2)  # the third goes by the mirror
    /// >>> assert abs(spot.centroid_along_um + 30) < 0.1  # 1/1000 behind the focus, on the other side
    #[pyo3(signature = (*, origins_mm, directions, weights=None, focus_shift_mm=None),
        text_signature = "($self, *, origins_mm, directions, weights=None, focus_shift_mm=0.0)")]
    fn spot_of_rays(
        &self,
        py: Python<'_>,
        origins_mm: &Bound<'_, PyAny>,
        directions: &Bound<'_, PyAny>,
        weights: Option<&Bound<'_, PyAny>>,
        focus_shift_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyRaySpot> {
        let given = Given::new(origins_mm, directions, weights)?;
        let shift_mm = number_or(focus_shift_mm, "focus_shift_mm", 0.0)?;
        let (rays, prepared) = (given.rays(py)?, self.prepared());
        compute_on_loan(py, rays.count() > SHORT, || prepared.spot_of_rays(&rays, shift_mm)).map(PyRaySpot)
    }

    /// Return where rays that you give land in the plane at a shift: a Table with the columns along_um, across_um,
    /// passed and light, or, with `out`, those arrays filled.
    /// Rays that do not arrive have passed False, and 0 in all other columns. `light` is a ray's weight times the
    /// reflectance.
    ///
    /// Units: um, from where the axis meets the plane; the rest, the rays and what a ray is: as `spot_of_rays`.
    /// Shapes: one entry a ray. `out` is (along_um, across_um, passed) or these and light, arrays of N without gaps,
    /// float64 but for passed, which is bool; it saves the making of the columns, which costs about as much as the
    /// tracing.
    /// Errors: InputError.
    ///
    /// >>> import numpy as np
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
    /// >>> rays = {"origins_mm": ([10, 50, 110], 0, 2000), "directions": (0, 0, -1)}
    /// >>> traced = train.trace_rays(**rays, focus_shift_mm=1.2)
    /// >>> assert traced["passed"].tolist() == [True, True, False]
    /// >>> assert abs(traced["along_um"][1] + 50) < 0.1
    /// >>> out = (np.empty(3), np.empty(3), np.empty(3, dtype=bool))
    /// >>> assert train.trace_rays(**rays, focus_shift_mm=1.2, out=out) is out
    /// >>> assert (out[0] == traced["along_um"]).all()
    #[pyo3(signature = (*, origins_mm, directions, weights=None, focus_shift_mm=None, out=None),
        text_signature = "($self, *, origins_mm, directions, weights=None, focus_shift_mm=0.0, out=None)")]
    fn trace_rays<'py>(
        &self,
        py: Python<'py>,
        origins_mm: &Bound<'py, PyAny>,
        directions: &Bound<'py, PyAny>,
        weights: Option<&Bound<'py, PyAny>>,
        focus_shift_mm: Option<&Bound<'py, PyAny>>,
        out: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let given = Given::new(origins_mm, directions, weights)?;
        let shift_mm = number_or(focus_shift_mm, "focus_shift_mm", 0.0)?;
        let (rays, prepared) = (given.rays(py)?, self.prepared());
        let arrays = if let Some(out) = out {
            three_or_four(out)?
        } else {
            // numpy asks for large pages, whose making costs least.
            let numpy = py.import("numpy")?;
            let made = |kind| numpy.call_method1("empty", (rays.count(), kind));
            [made("float64")?, made("float64")?, made("bool")?, made("float64")?].to_vec()
        };
        let mut along = buffer::<f64>(&arrays[0], "out[0]", "float64")?;
        let mut across = buffer::<f64>(&arrays[1], "out[1]", "float64")?;
        let mut passed = buffer::<bool>(&arrays[2], "out[2]", "bool")?;
        let mut light = arrays.get(3).map(|a| buffer::<f64>(a, "out[3]", "float64")).transpose()?;
        let columns = RaysOut {
            along_um: along.as_slice_mut()?,
            across_um: across.as_slice_mut()?,
            passed: passed.as_slice_mut()?,
            light: light.as_mut().map(PyReadwriteArray1::as_slice_mut).transpose()?,
        };
        compute_on_loan(py, rays.count() > SHORT, move || {
            prepared.trace_rays_into(&rays, shift_mm, columns)
        })?;
        if let Some(out) = out {
            return Ok(out.clone());
        }
        drop((along, across, passed, light));
        let columns = PyDict::new(py);
        for (name, array) in ["along_um", "across_um", "passed", "light"].into_iter().zip(arrays) {
            columns.set_item(name, array)?;
        }
        py.import("catoptric.table")?.call_method1("Table", (columns,))
    }

    /// Return statistics of a star's rays that hit the mirror on rings of equal area, at even angles; no ray is kept.
    /// `spot` integrates over the lit mirror instead, and has an error estimate.
    ///
    /// Units: arcmin (toward the focuser's side, and across), mm.
    /// Errors: InputError, also for a field point that no light reaches.
    /// Leaves out: what lies between the rays; the error falls with the square of the number of rings. The default is
    /// good to 1e-4 of the RMS radius of a bare paraboloid, and to 1e-3 where it has a steep edge.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=250, focal_length_mm=1250))
    /// >>> spot = train.spot_of_rings(field_arcmin=(15, 0), rings=10, rays_per_ring=20)
    /// >>> assert spot.rays == 200 and abs(spot.rms_radius_um / 11.2322 - 1) < 0.01
    #[pyo3(signature = (*, field_arcmin=None, focus_shift_mm=None, rings=None, rays_per_ring=None),
        text_signature = "($self, *, field_arcmin=(0.0, 0.0), focus_shift_mm=0.0, rings=128, rays_per_ring=128)")]
    fn spot_of_rings(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        focus_shift_mm: Option<&Bound<'_, PyAny>>,
        rings: Option<&Bound<'_, PyAny>>,
        rays_per_ring: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyRaySpot> {
        let star = field(field_arcmin)?;
        let shift_mm = number_or(focus_shift_mm, "focus_shift_mm", 0.0)?;
        let rings = count_or(rings, "rings", 128)?;
        let each = count_or(rays_per_ring, "rays_per_ring", 128)?;
        if rings.saturating_mul(each) <= SHORT {
            let prepared = self.prepared();
            return compute_on_loan(py, false, || prepared.spot_of_rings(star, shift_mm, rings, each))
                .map(PyRaySpot);
        }
        let prepared = self.prepared().clone();
        compute(py, move || prepared.spot_of_rings(star, shift_mm, rings, each)).map(PyRaySpot)
    }
}

/// A column as the caller gave it.
enum Held<'py> {
    Read(PyReadonlyArray1<'py, f64>),
    Copied(Vec<f64>),
    Same(f64),
}

impl<'py> Held<'py> {
    /// A column, in place where that can be. What its numbers are is looked at when they are traced.
    fn new(value: &Bound<'py, PyAny>, name: &str) -> PyResult<Self> {
        if let Ok(array) = value.cast::<PyArray1<f64>>()
            && array.is_contiguous()
            && let Ok(read) = array.try_readonly()
        {
            return Ok(Self::Read(read));
        }
        let dimensions = value.py().import("numpy")?.call_method1("ndim", (value,))?;
        if dimensions.extract::<usize>()? == 0 {
            return Ok(Self::Same(number(value, name)?));
        }
        Ok(Self::Copied(list(value, name)?))
    }

    fn column(&self) -> PyResult<RayColumn<'_>> {
        Ok(match self {
            Self::Read(array) => RayColumn::Each(array.as_slice()?),
            Self::Copied(values) => RayColumn::Each(values),
            Self::Same(value) => RayColumn::Same(*value),
        })
    }
}

/// Rays as the caller gave them.
struct Given<'py> {
    origins_mm: [Held<'py>; 3],
    directions: [Held<'py>; 3],
    weights: Option<Held<'py>>,
}

impl<'py> Given<'py> {
    fn new(
        origins_mm: &Bound<'py, PyAny>,
        directions: &Bound<'py, PyAny>,
        weights: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Self> {
        Ok(Self {
            origins_mm: three(origins_mm, "origins_mm")?,
            directions: three(directions, "directions")?,
            weights: weights.map(|w| Held::new(w, "weights")).transpose()?,
        })
    }

    fn rays(&self, py: Python<'_>) -> PyResult<Rays<'_>> {
        let [ox, oy, oz] = &self.origins_mm;
        let [dx, dy, dz] = &self.directions;
        let origin = [ox.column()?, oy.column()?, oz.column()?];
        let direction = [dx.column()?, dy.column()?, dz.column()?];
        let rays = Rays::new(origin, direction).map_err(|e| exception(py, e))?;
        match &self.weights {
            None => Ok(rays),
            Some(weights) => rays.weighted(weights.column()?).map_err(|e| exception(py, e)),
        }
    }
}

/// Three columns.
fn three<'py>(value: &Bound<'py, PyAny>, name: &str) -> PyResult<[Held<'py>; 3]> {
    let allowed = "three columns x, y, z: an array of shape (3, N), or three numbers or lists of N";
    let refusal = |found: &str, cause: &str| refused(value.py(), name, found, allowed, cause);
    let length = value.len().map_err(|_| refusal(&value.to_string(), ""))?;
    if length != 3 {
        let transposed = value.getattr("shape").ok().and_then(|s| s.extract::<(usize, usize)>().ok());
        let cause = match transposed {
            Some((_, 3)) => "a row for each ray? Give the transposed array",
            _ => "",
        };
        return Err(refusal(&format!("{length} columns"), cause));
    }
    let column = |i: usize| Held::new(&value.get_item(i).map_err(|_| refusal(&value.to_string(), ""))?, name);
    Ok([column(0)?, column(1)?, column(2)?])
}

/// The arrays that a caller wants filled.
fn three_or_four<'py>(out: &Bound<'py, PyAny>) -> PyResult<Vec<Bound<'py, PyAny>>> {
    let allowed = "a tuple of three arrays (along_um, across_um, passed), or four (and light)";
    match out.cast::<PyTuple>() {
        Ok(arrays) if matches!(arrays.len(), 3 | 4) => Ok(arrays.iter().collect()),
        _ => Err(refused(out.py(), "out", &out.get_type().to_string(), allowed, "")),
    }
}

/// One such array, borrowed for writing.
fn buffer<'py, T: numpy::Element>(
    array: &Bound<'py, PyAny>,
    name: &str,
    kind: &str,
) -> PyResult<PyReadwriteArray1<'py, T>> {
    let refusal = |found: &str, cause: &str| {
        let allowed = format!("a writable array of {kind}, one-dimensional and without gaps");
        refused(array.py(), name, found, &allowed, cause)
    };
    let Ok(found) = array.cast::<PyArray1<T>>() else {
        let found = array.getattr("dtype").map_or_else(|_| array.get_type().to_string(), |d| d.to_string());
        return Err(refusal(&found, "another type or shape?"));
    };
    if !found.is_contiguous() {
        return Err(refusal("an array with gaps", "a column of a larger array?"));
    }
    found.try_readwrite().map_err(|_| {
        refusal(
            "an array that cannot be written to now",
            "read-only, or shared with the rays or another column?",
        )
    })
}
