//! Ripple of the figure, and what it scatters.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{number, number_or, part_number, part_number_or, wavelength};
use super::compute::compute;
use super::errors::{exception, refused};
use super::figure::PyHeightMap;
use super::model::sound;
use super::rays::draw;
use super::record::{getters, record};
use crate::{FigureLayer, Ripple};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyRipple>()?;
    module.add_function(wrap_pyfunction!(scatter_loss, module)?)
}

/// Ripple all over the glass: a Gaussian surface of chance with an isotropic power spectrum.
///
/// The spectral density of the height falls as f^(-slope) between the frequencies 1/longest_mm and 1/shortest_mm and is
/// 0 elsewhere: slope 0 is white, 2 to 3 is usual for polished glass (common practice, no source). The RMS about the
/// mean over the clear aperture is `rms_nm` exactly, whatever the seed.
///
/// Units: mm; nm of glass height (half of the wavefront).
/// Errors: InputError for ripple that cannot be; on a mirror for a longest wave beyond the clear aperture and a
/// shortest one below 1/160 of it.
/// Source: spectral synthesis on a net of ten pixels a wave, common practice, no source.
/// Leaves out: waves outside the two limits; any preferred direction, as of rings from a polishing stroke. The
/// shortest wave is drawn 4e-4 of its amplitude wrong, as on every map.
///
/// >>> rough = ct.Ripple(rms_nm=10, longest_mm=60, shortest_mm=25, seed=1)
/// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1600, figure=[rough])
/// >>> wave = ct.Train(primary=mirror).wavefront(focus="paraxial")
/// >>> assert abs(1 - wave.strehl - ct.scatter_loss(10)) < 0.001 and abs(wave.rms_nm - 20) < 0.2
#[pyclass(name = "Ripple", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyRipple(pub(super) Ripple);

#[pymethods]
impl PyRipple {
    #[new]
    #[pyo3(signature = (*, rms_nm, longest_mm, shortest_mm, seed, slope=None),
        text_signature = "(*, rms_nm, longest_mm, shortest_mm, seed, slope=2.0)")]
    fn new(
        py: Python<'_>,
        rms_nm: &Bound<'_, PyAny>,
        longest_mm: &Bound<'_, PyAny>,
        shortest_mm: &Bound<'_, PyAny>,
        seed: &Bound<'_, PyAny>,
        slope: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let ripple = Ripple::new(
            part_number(rms_nm, "rms_nm")?,
            part_number(longest_mm, "longest_mm")?,
            part_number(shortest_mm, "shortest_mm")?,
            self::seed(seed)?,
        );
        let ripple = ripple.slope(part_number_or(slope, "slope", ripple.slope)?);
        sound(py, FigureLayer::from(ripple).check(), Self(ripple))
    }

    /// Return the ripple as a map of heights on a mirror of this clear aperture.
    ///
    /// Units: mm.
    /// Shapes: an odd number of rows and columns, ten pixels for the shortest wave, eight pixels beyond the rim.
    /// Errors: InputError for ripple that cannot be on such a mirror.
    ///
    /// >>> rough = ct.Ripple(rms_nm=10, longest_mm=60, shortest_mm=25, seed=1)
    /// >>> layer = rough.as_layer(clear_aperture_mm=200)
    /// >>> assert layer.pixel_mm == 2.5 and layer.rows == 97
    #[pyo3(signature = (*, clear_aperture_mm))]
    fn as_layer(&self, py: Python<'_>, clear_aperture_mm: &Bound<'_, PyAny>) -> PyResult<PyHeightMap> {
        let (ripple, clear_mm) = (self.0, number(clear_aperture_mm, "clear_aperture_mm")?);
        compute(py, move || ripple.height_map(clear_mm)).map(PyHeightMap)
    }

    /// Draw the heights over a mirror of this clear aperture; return the axes.
    ///
    /// Units: mm. Errors: InputError for ripple that cannot be on such a mirror.
    ///
    /// >>> rough = ct.Ripple(rms_nm=10, longest_mm=60, shortest_mm=25, seed=1)
    /// >>> assert "mm" in rough.plot(clear_aperture_mm=200).get_xlabel()
    #[pyo3(signature = (ax=None, *, clear_aperture_mm=None), text_signature = "($self, ax=None, *, clear_aperture_mm=200.0)")]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        clear_aperture_mm: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("clear_aperture_mm", number_or(clear_aperture_mm, "clear_aperture_mm", 200.0)?)?;
        draw("ripple_map", slf.as_any(), ax, Some(&options))
    }
}

getters!(PyRipple, |ripple| {
    /// Root mean square over the clear aperture about the mean height, nm.
    rms_nm: f64 = ripple.rms_nm;
    /// Longest wave, mm.
    longest_mm: f64 = ripple.longest_mm;
    /// Shortest wave, mm.
    shortest_mm: f64 = ripple.shortest_mm;
    /// The power of the frequency with which the spectral density falls.
    slope: f64 = ripple.slope;
    /// Which surface of all that are possible.
    seed: u64 = ripple.seed;
});
record!(PyRipple, "Ripple", attributes: ["rms_nm", "longest_mm", "shortest_mm", "slope", "seed"],
    shown: ["rms_nm", "longest_mm", "shortest_mm", "slope", "seed"]);

/// Return the share of the light that a rough surface scatters out of the image's core.
///
/// 1 - exp(-(4 pi s cos i/lambda)^2) for a surface RMS s, seen at the angle i from the normal.
///
/// Units: nm of glass, nm, degrees.
/// Errors: InputError for values that cannot be.
/// Source: Bennett & Porteus 1961, J. Opt. Soc. Am. 51, 123.
/// Leaves out: all but heights of normal distribution in waves much shorter than the mirror.
///
/// >>> assert abs(ct.scatter_loss(10) - 0.050864) < 1e-6
/// >>> assert ct.scatter_loss(10, incidence_deg=45) < ct.scatter_loss(10)
#[pyfunction]
#[pyo3(signature = (rms_nm, /, *, wavelength_nm=None, incidence_deg=None),
    text_signature = "(rms_nm, /, *, wavelength_nm=550.0, incidence_deg=0.0)")]
fn scatter_loss(
    py: Python<'_>,
    rms_nm: &Bound<'_, PyAny>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
    incidence_deg: Option<&Bound<'_, PyAny>>,
) -> PyResult<f64> {
    let (rms_nm, wavelength_nm) = (number(rms_nm, "rms_nm")?, wavelength(wavelength_nm)?);
    let incidence_deg = number_or(incidence_deg, "incidence_deg", 0.0)?;
    crate::scatter_loss(rms_nm, wavelength_nm, incidence_deg).map_err(|e| exception(py, e))
}

/// A seed: a whole number that 64 bits hold.
pub(super) fn seed(value: &Bound<'_, PyAny>) -> PyResult<u64> {
    value
        .extract()
        .map_err(|_| refused(value.py(), "seed", &value.to_string(), "a whole number from 0 to 2^64 - 1", ""))
}
