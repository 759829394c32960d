//! Star images of a train: in focus, and on both sides of it.

use ndarray::Axis;
use numpy::{PyArray1, PyArray2, PyArray3};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{focus, list, number_or, star};
use super::compute::compute;
use super::errors::refused;
use super::rays::draw;
use super::record::{arrays, getters, record};
use super::spectrum::PySpectrum;
use super::train::PyTrain;
use super::waves::{PyPsf, PyWavefront, light, psf_size};
use crate::{Focus, FocusSteps, ThroughFocus, TypicalFault, typical_faults};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyThroughFocus>()?;
    module.add_class::<PyTypicalFault>()?;
    module.add_function(wrap_pyfunction!(py_typical_faults, module)?)
}

/// Where the pictures are taken, from waves or mm.
fn steps(
    py: Python<'_>,
    defocus_waves: Option<&Bound<'_, PyAny>>,
    shift_mm: Option<&Bound<'_, PyAny>>,
) -> PyResult<FocusSteps> {
    match (defocus_waves, shift_mm) {
        (None, None) => Ok(FocusSteps::default()),
        (Some(waves), None) => Ok(FocusSteps::Waves(list(waves, "defocus_waves")?)),
        (None, Some(shift)) => Ok(FocusSteps::ShiftMm(list(shift, "shift_mm")?)),
        (Some(_), Some(_)) => {
            Err(refused(py, "shift_mm", "a list beside defocus_waves", "one of the two, not both", ""))
        }
    }
}

#[pymethods]
impl PyTrain {
    /// Return the image of a star by diffraction.
    ///
    /// Give a half width or a pixel with the number of pixels on a side; an odd number puts one on the
    /// reference point. A spectrum adds up its wavelengths, all seen from one focus: that of the mean
    /// wavelength.
    ///
    /// Units: arcmin, mm, nm, um; without a half width the picture reaches to twelve wavelengths times the
    /// focal ratio.
    /// Shapes: `pixels` on a side.
    /// Errors: InputError, also for a field point that no light reaches; NotConverged.
    /// Leaves out: polarisation and the scalar amplitude factor of a fast mirror (1e-3 of the peak at f/5).
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> star = train.psf()
    /// >>> assert star.image.shape == (129, 129) and abs(star.image[64, 64] - 1) < 1e-6
    /// >>> day = train.psf(spectrum=ct.Spectrum.photopic(), pixel_um=1, pixels=33)
    /// >>> assert abs(day.strehl - 1) < 1e-6 and abs(day.wavelength_nm - 560.192) < 1e-3
    #[pyo3(signature = (*, field_arcmin=None, focus=None, focus_shift_mm=None, wavelength_nm=None, spectrum=None,
        half_width_um=None, pixel_um=None, pixels=None, star_distance_mm=None),
        text_signature = "($self, *, field_arcmin=(0.0, 0.0), focus='least_rms', focus_shift_mm=None, wavelength_nm=550.0, \
        spectrum=None, half_width_um=None, pixel_um=None, pixels=129, star_distance_mm=None)")]
    #[allow(clippy::too_many_arguments)]
    fn psf(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        focus: Option<&str>,
        focus_shift_mm: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
        half_width_um: Option<&Bound<'_, PyAny>>,
        pixel_um: Option<&Bound<'_, PyAny>>,
        pixels: Option<&Bound<'_, PyAny>>,
        star_distance_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyPsf> {
        let star = star(field_arcmin, star_distance_mm)?;
        let focus = self::focus(py, focus, focus_shift_mm, Focus::LeastRms)?;
        let light = light(py, spectrum, wavelength_nm)?;
        let size = psf_size(py, half_width_um, pixel_um, pixels)?;
        let prepared = self.prepared().clone();
        compute(py, move || prepared.wavefront(star, focus, light.mean_nm())?.psf_of(size, &light)).map(PyPsf)
    }

    /// Return star images inside and outside of focus, all on one scale of brightness.
    ///
    /// Distances count from the focus that is named, in waves of defocus at the rim or in mm along the light;
    /// positive is outside of focus, the eyepiece drawn out. In every picture 1 is the peak of the perfect
    /// star in focus.
    ///
    /// Units: arcmin, mm, nm, um; without a half width the pictures hold the widest blur. One wave is
    /// 8 F^2 wavelengths of shift.
    /// Shapes: one picture a distance, `pixels` on a side.
    /// Errors: InputError, also for distances beyond 60 waves and strips of more than 128 MiB; NotConverged.
    /// Leaves out: what `psf` does.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1600))
    /// >>> strip = train.through_focus(defocus_waves=[-1, 0, 0.5], pixels=33)
    /// >>> assert strip.images.shape == (3, 33, 33) and strip.images[0, 16, 16] < 1e-4
    /// >>> assert abs(strip.images[2, 16, 16] - 4 / np.pi**2) < 1e-3  # sinc^2 of half a wave, paraxially
    #[pyo3(signature = (*, field_arcmin=None, focus=None, focus_shift_mm=None, wavelength_nm=None, spectrum=None,
        defocus_waves=None, shift_mm=None, half_width_um=None, pixel_um=None, pixels=None, star_distance_mm=None),
        text_signature = "($self, *, field_arcmin=(0.0, 0.0), focus='least_rms', focus_shift_mm=None, wavelength_nm=550.0, \
        spectrum=None, defocus_waves=(-4, -2, -1, 0, 1, 2, 4), shift_mm=None, half_width_um=None, pixel_um=None, pixels=129, \
        star_distance_mm=None)")]
    #[allow(clippy::too_many_arguments)]
    fn through_focus(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        focus: Option<&str>,
        focus_shift_mm: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
        defocus_waves: Option<&Bound<'_, PyAny>>,
        shift_mm: Option<&Bound<'_, PyAny>>,
        half_width_um: Option<&Bound<'_, PyAny>>,
        pixel_um: Option<&Bound<'_, PyAny>>,
        pixels: Option<&Bound<'_, PyAny>>,
        star_distance_mm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyThroughFocus> {
        let star = star(field_arcmin, star_distance_mm)?;
        let focus = self::focus(py, focus, focus_shift_mm, Focus::LeastRms)?;
        let light = light(py, spectrum, wavelength_nm)?;
        let size = psf_size(py, half_width_um, pixel_um, pixels)?;
        let steps = steps(py, defocus_waves, shift_mm)?;
        let prepared = self.prepared().clone();
        compute(py, move || {
            prepared.wavefront(star, focus, light.mean_nm())?.through_focus(&steps, size, &light)
        })
        .map(PyThroughFocus)
    }
}

#[pymethods]
impl PyWavefront {
    /// Return star images inside and outside of this wavefront's reference point: see `Train.through_focus`.
    ///
    /// Units: waves at the rim or mm along the light; um.
    /// Shapes: one picture a distance, `pixels` on a side.
    /// Errors: InputError, also for coefficients given without a focal ratio; NotConverged.
    ///
    /// >>> wave = ct.Wavefront.from_zernikes({11: 60.0}, indexing="noll", focal_ratio=8)
    /// >>> strip = wave.through_focus(defocus_waves=[-2, 2], pixels=33)
    /// >>> assert strip.profile[0, 0] != strip.profile[1, 0]  # spherical aberration: the sides differ
    #[pyo3(signature = (*, defocus_waves=None, shift_mm=None, half_width_um=None, pixel_um=None, pixels=None,
        spectrum=None),
        text_signature = "($self, *, defocus_waves=(-4, -2, -1, 0, 1, 2, 4), shift_mm=None, half_width_um=None, \
        pixel_um=None, pixels=129, spectrum=None)")]
    #[allow(clippy::too_many_arguments)]
    fn through_focus(
        &self,
        py: Python<'_>,
        defocus_waves: Option<&Bound<'_, PyAny>>,
        shift_mm: Option<&Bound<'_, PyAny>>,
        half_width_um: Option<&Bound<'_, PyAny>>,
        pixel_um: Option<&Bound<'_, PyAny>>,
        pixels: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
    ) -> PyResult<PyThroughFocus> {
        let size = psf_size(py, half_width_um, pixel_um, pixels)?;
        let steps = steps(py, defocus_waves, shift_mm)?;
        let wavefront = self.0.clone();
        compute(py, move || {
            let own = || crate::Spectrum::line(wavefront.wavelength_nm);
            let light = spectrum.map_or_else(own, |s| Ok(s.0))?;
            wavefront.through_focus(&steps, size, &light)
        })
        .map(PyThroughFocus)
    }
}

/// Star images at several distances from focus, all on one scale: 1 is the perfect star's peak in focus.
///
/// Units: mm along the light, waves of defocus at the rim (W020), um about the reference point; distances are
/// positive outside of focus.
/// Shapes: `images[k, i, j]`, picture k at `shift_mm[k]`, row i at `across_um[i]`, column j at `along_um[j]`;
/// `profile[k, i]`, the mean over azimuth at `profile_radius_um[i]`.
/// Errors: those of `Train.through_focus` and `Wavefront.through_focus`, which make it.
/// Leaves out: what `Psf` does.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1600))
/// >>> strip = train.through_focus(defocus_waves=[-2, 0, 2], pixels=33)
/// >>> assert strip.side == ("inside focus", "in focus", "outside focus")
/// >>> assert np.allclose(strip.shift_mm, [-2 * 8 * 64 * 550e-6, 0, 2 * 8 * 64 * 550e-6])
#[pyclass(name = "ThroughFocus", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyThroughFocus(pub(super) ThroughFocus);

arrays!(PyThroughFocus, |strip| {
    /// Intensity; picture, row across, column along; 1 is the perfect star's peak in focus.
    images: PyArray3 = strip.images;
    /// How far each plane lies behind the focus, mm; positive: outside of focus.
    shift_mm: PyArray1 = strip.shift_mm;
    /// The same in waves of defocus at the rim.
    defocus_waves: PyArray1 = strip.defocus_waves;
    /// Positions of the columns, um.
    along_um: PyArray1 = strip.along_um;
    /// Positions of the rows, um.
    across_um: PyArray1 = strip.across_um;
    /// Radii of the profiles, um.
    profile_radius_um: PyArray1 = strip.profile_radius_um;
    /// Intensity at those radii, the mean over azimuth: a row a picture.
    profile: PyArray2 = strip.profile;
    /// Share of the star's light within the largest circle that each picture holds.
    energy_in_circle: PyArray1 = strip.energy_in_circle;
});

#[pymethods]
impl PyThroughFocus {
    /// "inside focus", "in focus" or "outside focus" for each picture.
    #[getter]
    fn side<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, (0..self.0.images.len_of(Axis(0))).map(|k| self.0.side(k)))
    }

    /// Draw the strip, inside of focus on the left; return the axes.
    ///
    /// All pictures share one grey scale, whose white is the middle one of the brightest points of the defocused
    /// pictures, or `white`, so that several strips can share it; what is brighter is white, too.
    /// `own_scale=True` gives each its own and says so. The grey is the square root of the intensity ("root"), the
    /// intensity ("linear"), or its logarithm ("log").
    ///
    /// Errors: InputError for another scale, and for a white that is not above 0 or stands beside `own_scale`.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1600))
    /// >>> axes = train.through_focus(defocus_waves=[-2, 0, 2], pixels=33).plot()
    /// >>> assert "um" in axes.get_xlabel()
    #[pyo3(signature = (ax=None, *, scale="root", own_scale=false, white=None))]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        scale: &str,
        own_scale: bool,
        white: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("scale", scale)?;
        options.set_item("own_scale", own_scale)?;
        options.set_item("white", white)?;
        draw("through_focus", slf.as_any(), ax, Some(&options))
    }

    /// Draw the radial profiles of both sides beside each other; return the axes.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1600))
    /// >>> axes = train.through_focus(defocus_waves=[-2, 2], pixels=33).plot_profiles()
    /// >>> assert "um" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot_profiles<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        draw("through_focus_profiles", slf.as_any(), ax, None)
    }
}

getters!(PyThroughFocus, |strip| {
    /// Distance of neighbouring pixels, um.
    pixel_um: f64 = strip.pixel_um;
    /// Wavelength, nm; the mean of a spectrum.
    wavelength_nm: f64 = strip.wavefront.wavelength_nm;
    /// The light of the pictures.
    spectrum: PySpectrum = PySpectrum(strip.spectrum.clone());
    /// Focal length over the diameter that gathers light; for a lamp the distance of its image over it.
    focal_ratio: f64 = strip.focal_ratio;
    /// Diameter of the diagonal's shadow over the diameter that gathers light.
    obstruction_ratio: f64 = strip.wavefront.obstruction_ratio();
    /// Estimated error of the intensity, as a share of the perfect peak.
    error_estimate: f64 = strip.error_estimate;
    /// The wavefront in focus.
    wavefront: PyWavefront = strip.wavefront.clone().into();
});
record!(PyThroughFocus, "ThroughFocus",
    attributes: ["images", "shift_mm", "defocus_waves", "side", "along_um", "across_um", "pixel_um", "profile_radius_um",
        "profile", "energy_in_circle", "wavelength_nm", "spectrum", "focal_ratio", "obstruction_ratio", "error_estimate"],
    shown: ["pixel_um", "wavelength_nm", "focal_ratio", "obstruction_ratio", "error_estimate"]);

/// A train with one common fault, and what to look for in its star on both sides of focus.
///
/// Units: waves of wavefront, peak to valley, at the wavelength that was asked for.
/// Errors: those of `typical_faults`, which makes it.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1600))
/// >>> faults = {fault.name: fault for fault in ct.typical_faults(train)}
/// >>> assert faults["astigmatism"].train.primary.figure and faults["none"].train == train
#[pyclass(name = "TypicalFault", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyTypicalFault(pub(super) TypicalFault);

getters!(PyTypicalFault, |fault| {
    /// The name of the fault.
    name: String = fault.name.clone();
    /// The train that has it.
    train: PyTrain = PyTrain::from(fault.train.clone());
    /// Peak to valley of the wavefront at its focus of least RMS, waves.
    pv_waves: f64 = fault.pv_waves;
    /// What to look for.
    words: String = fault.words.clone();
});
record!(PyTypicalFault, "TypicalFault", attributes: ["name", "train", "pv_waves", "words"], shown: ["name", "pv_waves", "words"]);

/// Return copies of a train, each with one common fault of the same wavefront error, and the train itself.
///
/// "none", "undercorrected", "overcorrected", "turned-down edge", "raised edge", "zone", "astigmatism",
/// "pinching by three clips", "coma". The faults are added to the primary's own figure.
///
/// Units: waves, peak to valley of the wavefront at the focus of least RMS, on the axis; nm.
/// Errors: InputError for an error outside 0.01 to 4 waves.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1600))
/// >>> faults = ct.typical_faults(train, wavefront_waves=0.5)
/// >>> assert all(abs(fault.pv_waves - 0.5) < 0.01 for fault in faults[1:])
#[pyfunction(name = "typical_faults")]
#[pyo3(signature = (train, *, wavefront_waves=None, wavelength_nm=None),
    text_signature = "(train, *, wavefront_waves=0.5, wavelength_nm=550.0)")]
fn py_typical_faults(
    py: Python<'_>,
    train: &Bound<'_, PyTrain>,
    wavefront_waves: Option<&Bound<'_, PyAny>>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
) -> PyResult<Vec<PyTypicalFault>> {
    let waves = number_or(wavefront_waves, "wavefront_waves", 0.5)?;
    let wavelength_nm = super::arguments::wavelength(wavelength_nm)?;
    let train = train.get().train.clone();
    let faults = compute(py, move || typical_faults(&train, waves, wavelength_nm))?;
    Ok(faults.into_iter().map(PyTypicalFault).collect())
}
