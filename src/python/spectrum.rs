//! The colours of the light.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, field, list, maybe_number, number};
use super::arrays::{Column, column};
use super::compute::compute;
use super::errors::exception;
use super::record::{getters, record};
use super::train::PyTrain;
use super::waves::PyWavefront;
use crate::{Focus, SpectralStrehl, Spectrum, StrehlApproximations};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PySpectrum>()?;
    module.add_class::<PySpectralStrehl>()?;
    module.add_class::<PyStrehlApproximations>()
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

/// The Strehl over a spectrum, at one reference point for all colours.
///
/// Units: nm, mm. Shapes: one entry a wavelength of the spectrum.
/// Errors: those of `Train.strehl` and `Wavefront.spectral_strehl`, which make it.
/// Source: the exact pupil integral at every wavelength, weighted with weight/wavelength^2.
/// Leaves out: polarisation and the scalar amplitude factor of a fast mirror (1e-3 of the peak at f/5); how well
/// the wavelengths stand for the spectrum, which `Spectrum.photopic` says.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, conic=-0.97))
/// >>> seen = train.strehl(spectrum=ct.Spectrum.photopic())
/// >>> assert seen.strehl_by_wavelength[1] < seen.strehl < seen.strehl_by_wavelength[6]
#[pyclass(name = "SpectralStrehl", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySpectralStrehl(SpectralStrehl);

#[pymethods]
impl PySpectralStrehl {
    /// The Strehl at each wavelength of the spectrum, seen from the same reference point.
    #[getter]
    fn strehl_by_wavelength<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.strehl_by_wavelength.iter().copied())
    }
}

getters!(PySpectralStrehl, |found| {
    /// The Strehl over the spectrum.
    strehl: f64 = found.strehl;
    /// The mean wavelength, nm, at which a focus of greatest Strehl is found.
    wavelength_nm: f64 = found.spectrum.mean_nm();
    /// How far the reference point lies behind the paraxial focus, mm.
    focus_shift_mm: f64 = found.focus_shift_mm;
    /// Estimated error of the Strehl.
    error_estimate: f64 = found.error_estimate;
    /// The light.
    spectrum: PySpectrum = PySpectrum(found.spectrum.clone());
});
record!(PySpectralStrehl, "SpectralStrehl",
    attributes: ["strehl", "wavelength_nm", "strehl_by_wavelength", "focus_shift_mm", "error_estimate", "spectrum"],
    shown: ["strehl", "wavelength_nm", "focus_shift_mm", "error_estimate"]);

/// Two approximations of the Strehl, by the RMS alone, beside the exact value.
///
/// Units: waves for the RMS.
/// Errors: none; `Wavefront.strehl_approximations` makes it.
/// Source: Marechal's (1 - 2 pi^2 s^2)^2 and the exponential exp(-(2 pi s)^2), s the RMS in waves (Mahajan, from
/// memory).
/// Leaves out: all of the wavefront but its RMS. Marechal's form rises again past 0.225 waves; the exponential
/// one fails for thin steep edges. `warning` says where and by how much, and is empty where both are within
/// 0.01 of the exact value.
///
/// >>> wave = ct.Wavefront.from_zernikes({11: 165.0}, indexing="noll")
/// >>> by = wave.strehl_approximations()
/// >>> assert by.strehl_marechal > 0.5 and "rises again" in by.warning
#[pyclass(name = "StrehlApproximations", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyStrehlApproximations(StrehlApproximations);

getters!(PyStrehlApproximations, |by| {
    /// Root mean square of the wavefront, waves.
    rms_waves: f64 = by.rms_waves;
    /// The exact pupil integral.
    strehl: f64 = by.strehl;
    /// Marechal's form, (1 - 2 pi^2 s^2)^2.
    strehl_marechal: f64 = by.strehl_marechal;
    /// The exponential form, exp(-(2 pi s)^2).
    strehl_exponential: f64 = by.strehl_exponential;
    /// Where a form fails here, and by how much; empty where both are within 0.01 of the exact value.
    warning: String = by.warning.clone();
});
record!(PyStrehlApproximations, "StrehlApproximations",
    attributes: ["rms_waves", "strehl", "strehl_marechal", "strehl_exponential", "warning"],
    shown: ["rms_waves", "strehl", "strehl_marechal", "strehl_exponential"]);

#[pymethods]
impl PyWavefront {
    /// Return the Strehl over a spectrum, seen from this wavefront's own reference point.
    ///
    /// Errors: NotConverged where a wavelength does not come to 1e-6.
    ///
    /// >>> wave = ct.Wavefront.from_zernikes({11: 30.0}, indexing="noll")
    /// >>> alone = wave.spectral_strehl(ct.Spectrum(wavelength_nm=[550], weight=[1]))
    /// >>> assert alone.strehl == wave.strehl
    #[pyo3(signature = (spectrum, /))]
    fn spectral_strehl(&self, py: Python<'_>, spectrum: PySpectrum) -> PyResult<PySpectralStrehl> {
        let wavefront = self.0.clone();
        compute(py, move || wavefront.spectral_strehl(&spectrum.0)).map(PySpectralStrehl)
    }

    /// Return the Strehl by Marechal's form and by the exponential one, beside the exact value.
    ///
    /// >>> quarter_wave = {4: 550 / (8 * np.sqrt(3))}  # defocus
    /// >>> by = ct.Wavefront.from_zernikes(quarter_wave, indexing="noll").strehl_approximations()
    /// >>> assert by.strehl_marechal < by.strehl < by.strehl_exponential and not by.warning
    fn strehl_approximations(&self) -> PyStrehlApproximations {
        PyStrehlApproximations(self.0.strehl_approximations())
    }
}

#[pymethods]
impl PyTrain {
    /// Return the Strehl of a star, exact, over a spectrum: by default what the eye sees by day.
    /// The reference point is one for all wavelengths; that of "peak" is found at the spectrum's mean.
    ///
    /// Units: arcmin (toward the focuser's side, and across), mm.
    /// Errors: InputError, also for a field point that no light reaches; NotConverged.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, conic=-0.97))
    /// >>> green = train.strehl(spectrum=ct.Spectrum(wavelength_nm=[550], weight=[1]))
    /// >>> assert green.strehl == train.wavefront(focus="peak").strehl
    /// >>> assert abs(train.strehl().strehl - green.strehl) < 0.02
    #[pyo3(signature = (*, field_arcmin=None, focus=None, focus_shift_mm=None, spectrum=None),
        text_signature = "($self, *, field_arcmin=(0.0, 0.0), focus='peak', focus_shift_mm=None, spectrum=None)")]
    fn strehl(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        focus: Option<&str>,
        focus_shift_mm: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
    ) -> PyResult<PySpectralStrehl> {
        let star = field(field_arcmin)?;
        let focus = super::arguments::focus(py, focus, focus_shift_mm, Focus::Peak)?;
        let spectrum = spectrum.map_or_else(Spectrum::photopic, |s| s.0);
        let prepared = self.prepared().clone();
        compute(py, move || prepared.spectral_strehl(star, focus, &spectrum)).map(PySpectralStrehl)
    }
}
