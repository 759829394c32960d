//! The colours of the light.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, list, maybe_number, number};
use super::arrays::{Column, column};
use super::errors::exception;
use super::record::{getters, record};
use crate::Spectrum;

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PySpectrum>()
}

/// Light of several wavelengths, each with its share of the energy.
///
/// The image in such light is the sum over weight/wavelength^2 of the images in single colours, each with 1
/// at the perfect peak, over the sum of weight/wavelength^2: a perfect star of fixed energy has a peak that
/// goes as 1/wavelength^2. So the perfect star has 1 at its centre here too. A weight is energy as the
/// receiver counts it: the source's light times the receiver's response.
///
/// Units: nm. Shapes: one weight a wavelength; wavelengths ascend; the weights are scaled to add up to 1.
/// Errors: InputError for lists of unequal length, wavelengths that cannot be or do not ascend, and weights
/// that are negative or all 0.
///
/// >>> two = ct.Spectrum(wavelength_nm=[500, 600], weight=[1, 3])
/// >>> assert two.weight.tolist() == [0.25, 0.75] and two.mean_nm == 575
#[pyclass(name = "Spectrum", module = "catoptric", frozen, eq, from_py_object)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySpectrum(pub(super) Spectrum);

#[pymethods]
impl PySpectrum {
    #[new]
    #[pyo3(signature = (*, wavelength_nm, weight))]
    fn new(py: Python<'_>, wavelength_nm: &Bound<'_, PyAny>, weight: &Bound<'_, PyAny>) -> PyResult<Self> {
        let (wavelength_nm, weight) = (list(wavelength_nm, "wavelength_nm")?, list(weight, "weight")?);
        Spectrum::of_lines(&wavelength_nm, &weight).map(Self).map_err(|e| exception(py, e))
    }

    /// Return what the eye in daylight sees: of a source of equal energy, or of a black body.
    ///
    /// Units: nm; kelvin.
    /// Errors: InputError for a count outside 1 to 31, a temperature outside 1000 to 100 000 K.
    /// Source: the CIE 1924 photopic luminous efficiency (colour-science), on the wavelengths of its Gauss rule;
    /// Planck's law.
    /// Leaves out: averages of cos(2 pi w/lambda), w a path, come out within 1e-6 for paths up to 1100 nm, 2e-5
    /// for 2200 nm and 6e-3 for 3300 nm with nine wavelengths; with fifteen within 5e-6 for 3300 nm. The
    /// dark-adapted eye, whose peak lies at 507 nm, sees otherwise.
    ///
    /// >>> day = ct.Spectrum.photopic()
    /// >>> assert len(day.wavelength_nm) == 9 and abs(day.mean_nm - 560.192) < 1e-3  # CIE 1924
    /// >>> assert ct.Spectrum.photopic(temperature_k=2856).mean_nm > day.mean_nm
    #[staticmethod]
    #[pyo3(signature = (*, count=None, temperature_k=None),
        text_signature = "(*, count=9, temperature_k=None)")]
    fn photopic(
        py: Python<'_>,
        count: Option<&Bound<'_, PyAny>>,
        temperature_k: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let (count, kelvin) = (count_or(count, "count", 9)?, maybe_number(temperature_k, "temperature_k")?);
        Spectrum::photopic_of(count, kelvin).map(Self).map_err(|e| exception(py, e))
    }

    /// Return a band of even energy between two wavelengths, as a sensor behind a filter counts it.
    ///
    /// Units: nm. Errors: InputError.
    /// Leaves out: the slopes of a real filter and the sensor's uneven response; give those as lines.
    ///
    /// >>> green = ct.Spectrum.band(from_nm=500, to_nm=600)
    /// >>> assert abs(green.mean_nm - 550) < 1e-9 and len(green.weight) == 9
    #[staticmethod]
    #[pyo3(signature = (*, from_nm, to_nm, count=None), text_signature = "(*, from_nm, to_nm, count=9)")]
    fn band(
        py: Python<'_>,
        from_nm: &Bound<'_, PyAny>,
        to_nm: &Bound<'_, PyAny>,
        count: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let (from_nm, to_nm) = (number(from_nm, "from_nm")?, number(to_nm, "to_nm")?);
        Spectrum::band(from_nm, to_nm, count_or(count, "count", 9)?).map(Self).map_err(|e| exception(py, e))
    }

    /// Wavelengths, nm, ascending.
    #[getter]
    fn wavelength_nm<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.lines().iter().map(|line| line.0))
    }

    /// Shares of the energy; they add up to 1.
    #[getter]
    fn weight<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.lines().iter().map(|line| line.1))
    }
}

getters!(PySpectrum, |spectrum| {
    /// The mean wavelength, nm, weighted by energy.
    mean_nm: f64 = spectrum.mean_nm();
    /// The shortest wavelength, nm.
    shortest_nm: f64 = spectrum.lines()[0].0;
    /// The longest wavelength, nm.
    longest_nm: f64 = spectrum.lines()[spectrum.lines().len() - 1].0;
});
record!(PySpectrum, "Spectrum",
    attributes: ["wavelength_nm", "weight"],
    shown: ["mean_nm", "shortest_nm", "longest_nm"]);
