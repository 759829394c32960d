//! The star behind a pupil that the caller gives pixel by pixel.

use ndarray::{Array2, CowArray, Ix2};
use numpy::{PyArray1, PyArray2, PyArrayMethods, PyReadonlyArray2};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{height_table, number};
use super::compute::compute_on_loan;
use super::rays::draw;
use super::record::{arrays, getters, record};
use super::spectrum::PySpectrum;
use super::square_map::direction;
use super::waves::{light, psf_size};
use crate::{MapPsf, PupilMap};

/// Beyond so many pixels, of the map or the picture, times colours a call takes long enough to be broken off with Ctrl-C.
const LONG: usize = 1 << 22;

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyMapPsf>()?;
    module.add_function(wrap_pyfunction!(psf_of_map, module)?)
}

/// Return the image of a star behind a pupil that is given pixel by pixel: a path and an amplitude for each.
///
/// The map is even in the sine of the angle at the focus: a pixel x mm from the middle stands for light that meets the focus under
/// the sine x / `focal_length_mm`, from the mirror's +x side if x is positive. On the face of a paraboloid the sine is
/// (x/f)/(1 + r^2/(4 f^2)); a map that is even in mm there moves the picture by 2e-3 of the peak at f/4, 1.3e-3 at f/5 and 3e-4
/// at f/10. Where the middle lies does not matter. `rows_run` and `columns_run` say where the next row and column lie, as
/// in `HeightMap`.
///
/// Units: nm of wavefront (twice the glass height), positive where the wave is ahead, NaN where no light is; mm; um. `amplitude`
/// is the square root of the light that a pixel passes, 1 unless given. Without a half width the picture reaches to twelve
/// wavelengths times the focal ratio of the lit part, or as far as a map of few pixels allows. Give a wavelength or a spectrum.
/// Shapes: both tables alike, up to 4096 x 4096; `pixels` on a side of the picture. Arrays of float64 are read in place: do not
/// change them meanwhile.
/// Method: the sum over all pixels, good to 1e-14 of the peak.
/// Errors: InputError, also for a map without light and for a picture so wide that it would repeat itself.
/// Leaves out: what lies between the pixels; edges are staircases, which costs 1e-4 of the peak with 512 pixels over the mirror.
///
/// >>> y, x = np.mgrid[-1:1:64j, -1:1:64j]
/// >>> path = np.where(x**2 + y**2 < 1, 137.5 * (x**2 + y**2), np.nan)  # a quarter of a wave of defocus
/// >>> scale = {"pixel_mm": 3, "focal_length_mm": 1000, "rows_run": "+y", "columns_run": "+x"}
/// >>> star = ct.psf_of_map(path_nm=path, **scale, pixels=33)
/// >>> assert abs(star.strehl - 8 / np.pi**2) < 0.003  # sinc^2 of a quarter wave, on a disc of 64 pixels
#[pyfunction]
#[pyo3(signature = (*, path_nm, pixel_mm, focal_length_mm, rows_run, columns_run, amplitude=None, half_width_um=None, pixel_um=None,
    pixels=None, wavelength_nm=None, spectrum=None),
    text_signature = "(*, path_nm, pixel_mm, focal_length_mm, rows_run, columns_run, amplitude=None, half_width_um=None, pixel_um=None, \
    pixels=129, wavelength_nm=550.0, spectrum=None)")]
#[allow(clippy::too_many_arguments)]
fn psf_of_map(
    py: Python<'_>,
    path_nm: &Bound<'_, PyAny>,
    pixel_mm: &Bound<'_, PyAny>,
    focal_length_mm: &Bound<'_, PyAny>,
    rows_run: &str,
    columns_run: &str,
    amplitude: Option<&Bound<'_, PyAny>>,
    half_width_um: Option<&Bound<'_, PyAny>>,
    pixel_um: Option<&Bound<'_, PyAny>>,
    pixels: Option<&Bound<'_, PyAny>>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
    spectrum: Option<PySpectrum>,
) -> PyResult<PyMapPsf> {
    let size = psf_size(py, half_width_um, pixel_um, pixels)?;
    let light = light(py, spectrum, wavelength_nm)?;
    let path_nm = Numbers::new(path_nm, "path_nm")?;
    let amplitude = amplitude.map(|table| Numbers::new(table, "amplitude")).transpose()?;
    let map = PupilMap {
        pixel_mm: number(pixel_mm, "pixel_mm")?,
        focal_length_mm: number(focal_length_mm, "focal_length_mm")?,
        rows_run: direction(py, "rows_run", rows_run)?,
        columns_run: direction(py, "columns_run", columns_run)?,
        path_nm: path_nm.in_place(),
        amplitude: amplitude.as_ref().map(Numbers::in_place),
    };
    let is_long = light.lines().len() * map.path_nm.len().max(size.pixels.saturating_mul(size.pixels)) > LONG;
    compute_on_loan(py, is_long, || map.psf(size, &light)).map(PyMapPsf)
}

/// A table of numbers, NaN among them: an array of float64 as it is, anything else turned into one.
enum Numbers<'py> {
    Array(PyReadonlyArray2<'py, f64>),
    Made(Array2<f64>),
}

impl<'py> Numbers<'py> {
    fn new(value: &Bound<'py, PyAny>, name: &str) -> PyResult<Self> {
        let array = value.cast_exact::<PyArray2<f64>>().ok().and_then(|array| array.try_readonly().ok());
        array.map_or_else(|| height_table(value, name).map(Self::Made), |array| Ok(Self::Array(array)))
    }

    fn in_place(&self) -> CowArray<'_, f64, Ix2> {
        match self {
            Self::Array(array) => array.as_array().into(),
            Self::Made(table) => table.view().into(),
        }
    }
}

/// The image of a star behind a pupil that was given pixel by pixel.
///
/// Units: um in the focal plane about the point from which the map's wavefront is seen; `along` positive toward the sky end, +x of
/// the mirror. Intensity 1 is the centre of the star of the same amplitudes without path differences.
/// Shapes: `image[i, j]`, row i at `across_um[i]`, column j at `along_um[j]`.
/// Errors: those of `psf_of_map`, which makes it.
/// Leaves out: what lies between the map's pixels; compare two maps to learn how much.
///
/// >>> scale = {"pixel_mm": 5, "focal_length_mm": 1000, "rows_run": "+y", "columns_run": "+x"}
/// >>> star = ct.psf_of_map(path_nm=np.zeros((40, 40)), **scale, half_width_um=10, pixels=21)
/// >>> assert star.image.shape == (21, 21) and abs(star.strehl - 1) < 1e-12 and star.focal_ratio == 5
#[pyclass(name = "MapPsf", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMapPsf(MapPsf);

arrays!(PyMapPsf, |star| {
    /// Intensity; rows across, columns along; 1 is the perfect star's peak.
    image: PyArray2 = star.image;
    /// Positions of the columns, um.
    along_um: PyArray1 = star.along_um;
    /// Positions of the rows, um.
    across_um: PyArray1 = star.across_um;
});

#[pymethods]
impl PyMapPsf {
    /// Draw the star as seen through the eyepiece; return the axes.
    ///
    /// The grey scale is the square root of the intensity ("root"), the intensity ("linear"), or its logarithm ("log").
    /// Errors: InputError for another scale.
    ///
    /// >>> scale = {"pixel_mm": 5, "focal_length_mm": 1000, "rows_run": "+y", "columns_run": "+x"}
    /// >>> star = ct.psf_of_map(path_nm=np.zeros((40, 40)), **scale, half_width_um=10, pixels=21)
    /// >>> assert "um" in star.plot().get_xlabel()
    #[pyo3(signature = (ax=None, *, scale="root"))]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        scale: &str,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("scale", scale)?;
        draw("map_star_image", slf.as_any(), ax, Some(&options))
    }
}

getters!(PyMapPsf, |star| {
    /// Distance of neighbouring pixels, um.
    pixel_um: f64 = star.pixel_um;
    /// Wavelength, nm; the mean of a spectrum.
    wavelength_nm: f64 = star.spectrum.mean_nm();
    /// The light of the picture.
    spectrum: PySpectrum = PySpectrum(star.spectrum.clone());
    /// Intensity in the middle.
    strehl: f64 = star.strehl;
    /// Focal length over the longer side of the map's lit part.
    focal_ratio: f64 = star.focal_ratio;
    /// How many pixels of the map light passes.
    lit_pixels: usize = star.lit_pixels;
});
record!(PyMapPsf, "MapPsf",
    attributes: ["image", "along_um", "across_um", "pixel_um", "wavelength_nm", "strehl", "focal_ratio", "lit_pixels", "spectrum"],
    shown: ["pixel_um", "wavelength_nm", "strehl", "focal_ratio", "lit_pixels"]);
