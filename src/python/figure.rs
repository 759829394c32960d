//! Figure layers that are not round.

use std::collections::BTreeMap;

use numpy::{IntoPyArray, PyArray2};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{indexing_named, number};
use super::errors::refused;
use super::model::sound;
use super::record::{getters, record};
use super::square_map::{map_getters, placed_map};
use crate::model::{FigureLayer, HeightMap, ZernikeTerms};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyZernikeTerms>()?;
    module.add_class::<PyHeightMap>()
}

/// A sum of Zernike circle polynomials over the clear aperture.
///
/// The unit radius is half the clear aperture. Azimuth runs from +x (the focuser's side) toward +y, the mirror seen
/// from the sky: positive orders go with the cosine, negative ones with the sine.
///
/// Units: nm of glass height (half of the wavefront); positive is a hill. For "noll" and "osa" a coefficient is the
/// term's RMS over the clear aperture; for "fringe" it is the height of its radial part at the rim.
/// Errors: InputError for indices that the numbering does not have or of a radial order above 40, and heights that cannot be.
/// Leaves out: what the given terms do not hold. Piston and tilt change no star: they are taken as they stand.
///
/// >>> figure = ct.ZernikeTerms(coefficients_nm={5: 12.0}, indexing="noll")  # 12 nm RMS of astigmatism
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, figure=[figure])
/// >>> wave = ct.Train(primary=mirror).wavefront(focus="paraxial")
/// >>> assert abs(wave.zernikes(indexing="noll")[5] - 24) < 0.1  # a hill h: W = 2h/(1 + (r/R)^2)
#[pyclass(name = "ZernikeTerms", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyZernikeTerms(pub(super) ZernikeTerms);

#[pymethods]
impl PyZernikeTerms {
    #[new]
    #[pyo3(signature = (*, coefficients_nm, indexing))]
    fn new(
        py: Python<'_>,
        coefficients_nm: BTreeMap<i64, Bound<'_, PyAny>>,
        indexing: &str,
    ) -> PyResult<Self> {
        let indexing = indexing_named(py, indexing)?;
        let mut terms = BTreeMap::new();
        for (j, height) in coefficients_nm {
            let field = format!("coefficients_nm[{j}]");
            let allowed = "an index of the list of terms, 0 or more";
            let index =
                u32::try_from(j).map_err(|_| refused(py, &field, &j.to_string(), allowed, "a sign?"))?;
            terms.insert(index, number(&height, "coefficient_nm")?);
        }
        let layer = ZernikeTerms::new(terms, indexing);
        sound(py, FigureLayer::from(layer.clone()).check(), Self(layer))
    }
}

getters!(PyZernikeTerms, |terms| {
    /// Glass height of each term by its index, nm.
    coefficients_nm: BTreeMap<u32, f64> = terms.coefficients_nm.clone();
    /// How the terms are numbered: "noll", "osa" or "fringe".
    indexing: &'static str = terms.indexing.name();
});
record!(PyZernikeTerms, "ZernikeTerms", attributes: ["coefficients_nm", "indexing"], shown: ["coefficients_nm", "indexing"]);

/// Heights of the glass on a net of square pixels.
///
/// `rows_run` says in which direction on the mirror, seen from the sky, one goes from one row to the next: "+x" (toward the
/// focuser), "-x", "+y" or "-y"; `columns_run` the same for columns. Neither has a default: a mirrored map is an error
/// that no number shows. A picture seen from the sky with its first row at the top runs "-y" and "+x".
///
/// Units: nm of glass height (half of the wavefront), positive is a hill; mm for a pixel's side.
/// Shapes: a table of 4 x 4 to 4096 x 4096 heights, each that of its pixel's middle, of any dtype and stride; NaN or
/// masked where nothing was measured. `centre_row` and `centre_column` say where the mirror's centre lies, counted from 0;
/// not given, in the middle of the table.
/// Errors: InputError; on a mirror when a pixel has no height that the clear aperture touches. With `hold_edge` a rim of
/// them, not deeper than 3 % of the radius and one pixel, takes the nearest measured height; holes are always refused.
/// Leaves out: ripples shorter than two pixels; one of n pixels is drawn (2 pi/n)^4/384 of its amplitude wrong (bicubic
/// splines: 4e-4 for 10 pixels). Piston and tilt change no star: they are taken as they stand.
///
/// >>> y, x = np.mgrid[-40:41, -40:41] * 4.0  # mm; rows run toward +y, columns toward +x
/// >>> hill = 30 * np.exp(-((x - 90) ** 2 + y**2) / 25**2)  # by the focuser's side
/// >>> layer = ct.HeightMap(height_nm=hill, pixel_mm=4, rows_run="+y", columns_run="+x")
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, figure=[layer])
/// >>> wave = ct.Train(primary=mirror).wavefront(focus="paraxial")
/// >>> row, column = np.unravel_index(np.nanargmax(wave.map_nm), wave.map_nm.shape)
/// >>> assert abs(wave.map_axis_mm[column] - 90) < 3 and abs(wave.map_axis_mm[row]) < 3
#[pyclass(name = "HeightMap", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyHeightMap(pub(super) HeightMap);

#[pymethods]
impl PyHeightMap {
    #[new]
    #[pyo3(signature = (*, height_nm, pixel_mm, rows_run, columns_run, centre_row=None, centre_column=None, hold_edge=false))]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        height_nm: &Bound<'_, PyAny>,
        pixel_mm: &Bound<'_, PyAny>,
        rows_run: &str,
        columns_run: &str,
        centre_row: Option<&Bound<'_, PyAny>>,
        centre_column: Option<&Bound<'_, PyAny>>,
        hold_edge: bool,
    ) -> PyResult<Self> {
        let map = placed_map!(
            HeightMap,
            py,
            height_nm,
            [pixel_mm, rows_run, columns_run],
            [centre_row, centre_column]
        );
        let map = if hold_edge { map.hold_edge() } else { map };
        sound(py, FigureLayer::from(map.clone()).check(), Self(map))
    }

    /// Read a map from a `.npy` file (numpy) or a `.fits` file (astropy, which must be installed).
    ///
    /// `unit` says what a number of the file is worth: "nm", "um", or "waves" of `wavelength_nm`. `kind` says what it
    /// measures: the glass ("surface"), or the "wavefront", which is halved. Neither has a default: each mix-up
    /// is silent. Of a FITS file the first picture is taken; its first row is row 0, whatever a viewer shows at the top.
    ///
    /// Units: mm for a pixel's side; the rest is that of the class.
    /// Errors: InputError for names that are not known, files of another kind and tables that are not
    /// two-dimensional; OSError where there is no such file.
    /// Leaves out: what the file's header says of units, scale and orientation.
    ///
    /// >>> import tempfile, pathlib
    /// >>> path = pathlib.Path(tempfile.mkdtemp()) / "mirror.npy"
    /// >>> np.save(path, np.full((40, 40), 0.1, dtype="float32"))
    /// >>> scale = {"pixel_mm": 5, "rows_run": "-y", "columns_run": "+x"}
    /// >>> layer = ct.HeightMap.from_file(path, **scale, unit="waves", kind="wavefront", wavelength_nm=633)
    /// >>> assert abs(layer.height_nm[0, 0] - 0.05 * 633) < 1e-5
    #[staticmethod]
    #[pyo3(signature = (path, *, pixel_mm, rows_run, columns_run, unit, kind, wavelength_nm=None, centre_row=None,
        centre_column=None, hold_edge=false))]
    #[allow(clippy::too_many_arguments)]
    fn from_file(
        py: Python<'_>,
        path: &Bound<'_, PyAny>,
        pixel_mm: &Bound<'_, PyAny>,
        rows_run: &str,
        columns_run: &str,
        unit: &str,
        kind: &str,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        centre_row: Option<&Bound<'_, PyAny>>,
        centre_column: Option<&Bound<'_, PyAny>>,
        hold_edge: bool,
    ) -> PyResult<Self> {
        let options = PyDict::new(py);
        options.set_item("unit", unit)?;
        options.set_item("kind", kind)?;
        options.set_item("wavelength_nm", wavelength_nm)?;
        let file = py.import("catoptric.height_map_file")?;
        let height_nm = file.call_method("read_height_nm", (path,), Some(&options))?;
        Self::new(py, &height_nm, pixel_mm, rows_run, columns_run, centre_row, centre_column, hold_edge)
    }

    /// Heights, nm, row by row; NaN where nothing was measured.
    #[getter]
    fn height_nm<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.0.height_nm.as_ref().clone().into_pyarray(py)
    }
}

map_getters!(PyHeightMap, height_nm);
getters!(PyHeightMap, |map| {
    /// Whether a narrow unmeasured rim takes the nearest measured height.
    hold_edge: bool = map.hold_edge;
});
record!(PyHeightMap, "HeightMap",
    attributes: ["height_nm", "pixel_mm", "rows_run", "columns_run", "centre_row", "centre_column", "hold_edge"],
    shown: ["rows", "columns", "pixel_mm", "rows_run", "columns_run"]);
