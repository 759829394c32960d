//! Batches of diagonals, whole, in parts and piece by piece; light by size.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use numpy::{IntoPyArray, PyArray1, PyArray2};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{count, count_or, list, maybe_number, wavelength};
use super::arrays::column;
use super::compute::{compute, compute_counting};
use super::diagonal_comparison::PyDiagonalComparison;
use super::errors::{exception, refused};
use super::model::PyDrawtube;
use super::record::{columns, getters, record};
use super::train::PyTrain;
use crate::{DiagonalBatch, DiagonalBatchInput, DiagonalRow, Field, OffsetRule, Part, Train};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyDiagonalBatch>()?;
    module.add_class::<PyDiagonalChunks>()?;
    module.add_function(wrap_pyfunction!(py_compare_diagonals, module)?)?;
    module.add_function(wrap_pyfunction!(py_light_by_size, module)?)
}

/// A batch of diagonals: sizes x heights of the focal plane x drawtubes x trains.
///
/// Rows come train by train, within these height by height, drawtube by drawtube, and last size by size. Sizes
/// may come in any order, which is kept; one twice is refused. `axis_to_focus_mm` and `drawtubes` are each train's
/// own unless given. `offset` is "fitted" (that of the largest lit circle of each size) or "none", or give
/// `offset_mm`. Worst and mean over azimuth are those of `azimuths` even ones, from along.
///
/// Units: mm; arcsec for the full period of a detail on the sky; nm; prices in any currency.
/// Errors: InputError with all faults found.
/// Leaves out: what a row leaves out, see `DiagonalComparison`.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> batch = ct.DiagonalBatch(train, minor_axis_mm=[45, 63, 70], field_radius_mm=[0, 15])
/// >>> assert len(batch) == 3 and batch.run().clipped_axis.tolist() == [True, False, False]
#[pyclass(name = "DiagonalBatch", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyDiagonalBatch(pub(super) DiagonalBatch);

#[pymethods]
impl PyDiagonalBatch {
    #[new]
    #[pyo3(signature = (train, *, minor_axis_mm, field_radius_mm, axis_to_focus_mm=None, drawtubes=None, azimuths=None,
        detail_arcsec=None, wavelength_nm=None, price=None, offset=None, offset_mm=None),
        text_signature = "(train, *, minor_axis_mm, field_radius_mm, axis_to_focus_mm=None, drawtubes=None, azimuths=24, \
        detail_arcsec=None, wavelength_nm=550.0, price=None, offset='fitted', offset_mm=None)")]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        train: &Bound<'_, PyAny>,
        minor_axis_mm: &Bound<'_, PyAny>,
        field_radius_mm: &Bound<'_, PyAny>,
        axis_to_focus_mm: Option<&Bound<'_, PyAny>>,
        drawtubes: Option<Vec<PyDrawtube>>,
        azimuths: Option<&Bound<'_, PyAny>>,
        detail_arcsec: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        price: Option<&Bound<'_, PyAny>>,
        offset: Option<&str>,
        offset_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let radii = list(field_radius_mm, "field_radius_mm")?;
        let mut input = DiagonalBatchInput::new(trains(train)?, list(minor_axis_mm, "minor_axis_mm")?, radii);
        input.axis_to_focus_mm = maybe_list(axis_to_focus_mm, "axis_to_focus_mm")?;
        input.drawtubes = drawtubes.unwrap_or_default().into_iter().map(|tube| tube.0).collect();
        input.azimuths = count_or(azimuths, "azimuths", input.azimuths)?;
        input.detail_arcsec = maybe_list(detail_arcsec, "detail_arcsec")?;
        input.wavelength_nm = wavelength(wavelength_nm)?;
        input.price = maybe_list(price, "price")?;
        input.offset = match (offset, maybe_number(offset_mm, "offset_mm")?) {
            (None | Some("fitted"), None) => OffsetRule::Fitted,
            (Some("none"), None) => OffsetRule::None,
            (None, Some(length)) => OffsetRule::StatedMm(length),
            (Some(name), other) => {
                let allowed = "'fitted' or 'none', or offset_mm alone";
                let found =
                    if other.is_some() { format!("{name} beside offset_mm") } else { name.to_owned() };
                return Err(refused(py, "offset", &found, allowed, ""));
            }
        };
        input.check().map(Self).map_err(|e| exception(py, e))
    }

    fn __len__(&self) -> usize {
        self.0.len()
    }

    /// Drawtubes, as given; empty: each train's own.
    #[getter]
    fn drawtubes<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, self.0.input().drawtubes.iter().map(|tube| PyDrawtube(*tube)))
    }

    /// Return the part `k` (from 0) of `of` parts of the rows: joined in order they are the whole, bit for bit.
    ///
    /// Errors: InputError for a part that there is not.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> batch = ct.DiagonalBatch(ct.Train(primary=mirror), minor_axis_mm=[60, 70, 80], field_radius_mm=[0],
    /// ...     axis_to_focus_mm=[235])
    /// >>> assert [len(batch.part(k, of=2)) for k in range(2)] == [1, 2]
    #[pyo3(signature = (k, *, of))]
    fn part(&self, py: Python<'_>, k: &Bound<'_, PyAny>, of: &Bound<'_, PyAny>) -> PyResult<Self> {
        self.0.part(count(k, "k")?, count(of, "of")?).map(Self).map_err(|e| exception(py, e))
    }

    /// Return all rows beside one another. `progress(done, total)` is called some times a second; what it raises
    /// ends the work and comes back unchanged.
    ///
    /// Errors: InputError for more than a million rows, with the memory they would take.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> batch = ct.DiagonalBatch(ct.Train(primary=mirror), minor_axis_mm=[60, 70], field_radius_mm=[0],
    /// ...     axis_to_focus_mm=[235])
    /// >>> seen = []
    /// >>> rows = batch.run(progress=lambda done, total: seen.append((done, total)))
    /// >>> assert seen[-1] == (2, 2) and len(rows) == 2
    #[pyo3(signature = (*, progress=None))]
    fn run(&self, py: Python<'_>, progress: Option<&Bound<'_, PyAny>>) -> PyResult<PyDiagonalComparison> {
        let batch = self.0.clone();
        compute_counting(py, self.0.len(), progress, move |done| batch.run_counting(done))
            .map(PyDiagonalComparison)
    }

    /// Return the rows piece by piece, as tables of so many rows: memory does not grow with their number.
    ///
    /// Errors: InputError for pieces of no row, or of more than a million.
    ///
    /// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
    /// >>> batch = ct.DiagonalBatch(ct.Train(primary=mirror), minor_axis_mm=[60, 70, 80], field_radius_mm=[0],
    /// ...     axis_to_focus_mm=[235])
    /// >>> assert [table.rows for table in batch.chunks(rows=2)] == [2, 1]
    #[pyo3(signature = (*, rows))]
    fn chunks(&self, py: Python<'_>, rows: &Bound<'_, PyAny>) -> PyResult<PyDiagonalChunks> {
        let rows = count(rows, "rows")?;
        self.0.chunks(rows).map_err(|e| exception(py, e))?;
        Ok(PyDiagonalChunks { batch: Arc::new(self.0.clone()), next: AtomicUsize::new(0), rows })
    }
}

columns!(PyDiagonalBatch, |value| {
    /// Minor axes, as given, mm.
    minor_axis_mm = value.input().minor_axis_mm.iter().copied();
    /// Distances of the focal plane from the tube's axis, as given, mm; empty: each train's own.
    axis_to_focus_mm = value.input().axis_to_focus_mm.iter().copied();
    /// Radii in the focal plane, mm; the largest is called the edge.
    field_radius_mm = value.input().field_radius_mm.iter().copied();
    /// Full periods of the details, arcsec.
    detail_arcsec = value.input().detail_arcsec.iter().copied();
    /// Prices, as given; empty: not told.
    price = value.input().price.iter().copied();
});

getters!(PyDiagonalBatch, |batch| {
    /// Number of rows.
    rows: usize = batch.len();
    /// Number of trains.
    trains: usize = batch.input().trains.len();
    /// Azimuths around the field from which worst and mean are taken.
    azimuths: usize = batch.input().azimuths;
    /// Wavelength of the contrast, nm.
    wavelength_nm: f64 = batch.input().wavelength_nm;
});
record!(PyDiagonalBatch, "DiagonalBatch",
    attributes: ["rows", "trains", "minor_axis_mm", "axis_to_focus_mm", "drawtubes", "field_radius_mm", "azimuths",
        "detail_arcsec", "wavelength_nm", "price"],
    shown: ["rows", "trains", "azimuths", "wavelength_nm"]);

fn trains(given: &Bound<'_, PyAny>) -> PyResult<Vec<Train>> {
    if let Ok(train) = given.cast::<PyTrain>() {
        return Ok(vec![train.get().train.clone()]);
    }
    let wrong = |found: &Bound<'_, PyAny>| {
        let name = found.get_type().name().map_or_else(|_| String::new(), |n| n.to_string());
        refused(given.py(), "train", &name, "a Train or a list of them", "")
    };
    let mut trains = Vec::new();
    for item in given.try_iter().map_err(|_| wrong(given))? {
        let item = item?;
        trains.push(item.cast::<PyTrain>().map_err(|_| wrong(&item))?.get().train.clone());
    }
    Ok(trains)
}

fn maybe_list(value: Option<&Bound<'_, PyAny>>, name: &str) -> PyResult<Vec<f64>> {
    value.map_or_else(|| Ok(Vec::new()), |v| list(v, name))
}

/// The rows of a batch, piece by piece: what `DiagonalBatch.chunks` returns.
///
/// Units: those of the tables, in their columns' names. Errors: those of `DiagonalBatch.chunks`.
///
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> batch = ct.DiagonalBatch(ct.Train(primary=mirror), minor_axis_mm=[60, 70, 80], field_radius_mm=[0],
/// ...     axis_to_focus_mm=[235])
/// >>> pieces = batch.chunks(rows=1)
/// >>> assert next(pieces)["minor_axis_mm"].tolist() == [60]
#[pyclass(name = "DiagonalChunks", module = "catoptric", frozen)]
pub(super) struct PyDiagonalChunks {
    batch: Arc<DiagonalBatch>,
    next: AtomicUsize,
    rows: usize,
}

#[pymethods]
impl PyDiagonalChunks {
    fn __iter__(slf: Py<Self>) -> Py<Self> {
        slf
    }

    fn __next__<'py>(&self, py: Python<'py>) -> PyResult<Option<Bound<'py, PyAny>>> {
        let first = self.next.fetch_add(self.rows, Ordering::Relaxed);
        if first >= self.batch.len() {
            return Ok(None);
        }
        let (batch, range) = (self.batch.clone(), first..first + self.rows);
        let rows = compute(py, move || batch.rows(range, &AtomicUsize::new(0)))?;
        table(py, self.batch.input(), &rows, None).map(Some)
    }
}

/// A table of rows; with `dominated` where that is known.
pub(super) fn table<'py>(
    py: Python<'py>,
    input: &DiagonalBatchInput,
    rows: &[DiagonalRow],
    dominated: Option<&[bool]>,
) -> PyResult<Bound<'py, PyAny>> {
    let columns = PyDict::new(py);
    let number = |name: &str, of: &dyn Fn(&DiagonalRow) -> f64| {
        columns.set_item(name, column(py, rows.iter().map(of)))
    };
    let whole = |name: &str, of: &dyn Fn(&DiagonalRow) -> i64| {
        columns.set_item(name, rows.iter().map(of).collect::<Vec<_>>().into_pyarray(py))
    };
    let named = |name: &str, of: &dyn Fn(&DiagonalRow) -> Option<Part>| {
        columns.set_item(name, text(py, rows.iter().map(|r| of(r).map_or("", Part::key)))?)
    };
    let lost = |magnitudes: Option<f64>| magnitudes.unwrap_or(f64::INFINITY);
    whole("row", &|r| r.row as i64)?;
    if input.trains.len() > 1 {
        whole("train", &|r| r.train as i64)?;
    }
    if input.drawtubes.len() > 1 {
        whole("drawtube", &|r| r.drawtube.map_or(-1, |d| d as i64))?;
    }
    number("axis_to_focus_mm", &|r| r.axis_to_focus_mm)?;
    number("minor_axis_mm", &|r| r.minor_axis_mm)?;
    number("offset_mm", &|r| r.offset_mm)?;
    number("obstruction_ratio", &|r| r.obstruction_ratio)?;
    number("fully_lit_diameter_mm", &|r| r.fully_lit_diameter_mm)?;
    named("fully_lit_limited_by", &|r| r.fully_lit_limited_by)?;
    number("on_axis", &|r| r.on_axis)?;
    for (i, radius) in input.field_radius_mm.iter().enumerate() {
        number(&format!("relative_worst_at_{radius}_mm"), &|r| r.relative_worst[i])?;
        number(&format!("relative_mean_at_{radius}_mm"), &|r| r.relative_mean[i])?;
        number(&format!("absolute_worst_at_{radius}_mm"), &|r| r.absolute_worst(i))?;
    }
    named("edge_limited_by", &|r| r.edge_limited_by)?;
    for (i, detail) in input.detail_arcsec.iter().enumerate() {
        number(&format!("contrast_at_{detail}_arcsec"), &|r| r.contrast[i])?;
    }
    number("throughput", &|r| r.throughput)?;
    number("lost_on_axis_magnitudes", &|r| lost(r.lost_on_axis_magnitudes))?;
    number("lost_at_edge_magnitudes", &|r| lost(r.lost_at_edge_magnitudes))?;
    columns.set_item("clipped_axis", truths(py, rows.iter().map(|r| r.clipped_axis)))?;
    number("acts_as_aperture_mm", &|r| r.acts_as_aperture_mm)?;
    if !input.price.is_empty() {
        number("price", &|r| r.price.unwrap_or(0.0))?;
    }
    if let Some(dominated) = dominated {
        columns.set_item("dominated", truths(py, dominated.iter().copied()))?;
    }
    number("error_estimate", &|r| r.error_estimate)?;
    py.import("catoptric.table")?.call_method1("Table", (columns,))
}

pub(super) fn truths<'py>(py: Python<'py>, values: impl Iterator<Item = bool>) -> Bound<'py, PyArray1<bool>> {
    values.collect::<Vec<_>>().into_pyarray(py)
}

/// An array of words.
pub(super) fn text<'py>(
    py: Python<'py>,
    words: impl Iterator<Item = &'static str>,
) -> PyResult<Bound<'py, PyAny>> {
    py.import("numpy")?.call_method1("array", (words.collect::<Vec<_>>(), "U24"))
}

/// Return diagonals beside one another: sizes x heights of the focal plane x drawtubes x trains.
///
/// `train` is a Train or a list of them; for the other arguments see `DiagonalBatch`. `progress(done, total)` is
/// called some times a second.
///
/// Units: mm, arcsec, nm.
/// Errors: InputError with all faults found, and for more than a million rows (then `DiagonalBatch.chunks`).
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> found = ct.compare_diagonals(train, minor_axis_mm=[63, 70], field_radius_mm=[0, 15])
/// >>> assert abs(found.on_axis[1] - (1 - (70 / 318) ** 2)) < 1e-9
#[pyfunction(name = "compare_diagonals")]
#[pyo3(signature = (train, *, minor_axis_mm, field_radius_mm, axis_to_focus_mm=None, drawtubes=None, azimuths=None,
    detail_arcsec=None, wavelength_nm=None, price=None, offset=None, offset_mm=None, progress=None),
    text_signature = "(train, *, minor_axis_mm, field_radius_mm, axis_to_focus_mm=None, drawtubes=None, azimuths=24, \
    detail_arcsec=None, wavelength_nm=550.0, price=None, offset='fitted', offset_mm=None, progress=None)")]
#[allow(clippy::too_many_arguments)]
fn py_compare_diagonals(
    py: Python<'_>,
    train: &Bound<'_, PyAny>,
    minor_axis_mm: &Bound<'_, PyAny>,
    field_radius_mm: &Bound<'_, PyAny>,
    axis_to_focus_mm: Option<&Bound<'_, PyAny>>,
    drawtubes: Option<Vec<PyDrawtube>>,
    azimuths: Option<&Bound<'_, PyAny>>,
    detail_arcsec: Option<&Bound<'_, PyAny>>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
    price: Option<&Bound<'_, PyAny>>,
    offset: Option<&str>,
    offset_mm: Option<&Bound<'_, PyAny>>,
    progress: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyDiagonalComparison> {
    let batch = PyDiagonalBatch::new(
        py,
        train,
        minor_axis_mm,
        field_radius_mm,
        axis_to_focus_mm,
        drawtubes,
        azimuths,
        detail_arcsec,
        wavelength_nm,
        price,
        offset,
        offset_mm,
    )?;
    batch.run(py, progress)
}

/// Return the share of the light that passes by diagonals of many sizes in the train's place, counted in rays.
///
/// Each ray tells from which size on it passes and from which on it is shadowed, so that the cost hardly depends on
/// the number of sizes. A stated offset of the train's diagonal holds for all sizes; without one each size has its own.
///
/// Units: mm; arcmin for the stars, toward the focuser's side and across.
/// Shapes: one row a star, one column a size, in the order in which they were given.
/// Errors: InputError for a train without a diagonal, sizes that cannot be, no rays or more than ten million.
/// Leaves out: what lies between the rays; 10 000 are good to about 5e-4, 100 000 to 1e-4.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> light = ct.light_by_size(train, minor_axis_mm=[63, 70], x_arcmin=[0, 20], y_arcmin=[0, 0])
/// >>> assert light.shape == (2, 2) and abs(light[0, 1] - (1 - (70 / 318) ** 2)) < 1e-3
#[pyfunction(name = "light_by_size")]
#[pyo3(signature = (train, *, minor_axis_mm, x_arcmin, y_arcmin, rays=None),
    text_signature = "(train, *, minor_axis_mm, x_arcmin, y_arcmin, rays=10000)")]
fn py_light_by_size<'py>(
    py: Python<'py>,
    train: &Bound<'py, PyTrain>,
    minor_axis_mm: &Bound<'py, PyAny>,
    x_arcmin: &Bound<'py, PyAny>,
    y_arcmin: &Bound<'py, PyAny>,
    rays: Option<&Bound<'py, PyAny>>,
) -> PyResult<Bound<'py, PyArray2<f64>>> {
    let (x, y) = (list(x_arcmin, "x_arcmin")?, list(y_arcmin, "y_arcmin")?);
    if x.len() != y.len() {
        let found = format!("{} beside {} of x_arcmin", y.len(), x.len());
        return Err(refused(py, "y_arcmin", &found, "two lists of equal length", ""));
    }
    let fields: Vec<Field> = x.into_iter().zip(y).map(|(x, y)| Field::arcmin(x, y)).collect();
    let sizes = list(minor_axis_mm, "minor_axis_mm")?;
    let rays = count_or(rays, "rays", 10_000)?;
    let prepared = train.get().prepared().clone();
    let light = compute(py, move || prepared.light_by_size(&sizes, &fields, rays))?;
    let shape = (light.fields.len(), light.minor_axis_mm.len());
    Ok(ndarray::Array2::from_shape_fn(shape, |(i, k)| light.lit_fraction(i, k)).into_pyarray(py))
}
