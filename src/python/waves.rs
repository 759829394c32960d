//! Results of diffraction: the wavefront and the star image.

use std::collections::BTreeMap;

use numpy::{IntoPyArray, PyArray1, PyArray2, PyArrayMethods};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, indexing_named, list, maybe_number, number, number_or, wavelength};
use super::compute::compute;
use super::errors::{exception, refused};
use super::estimate::table_of;
use super::mtf::{PyMtf, PyOtf, mtf_options};
use super::once::Once;
use super::rays::{PyAiry, draw};
use super::record::{arrays, getters, record};
use super::spectrum::PySpectrum;
use crate::{Airy, Psf, PsfSize, Spectrum, Wavefront};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyWavefront>()?;
    module.add_class::<PyPsf>()
}

/// Points on a side of the picture of a wavefront.
const MAP_POINTS: usize = 161;

/// The size of a star image from its arguments: a half width or a pixel, and how many pixels on a side.
pub(super) fn psf_size(
    py: Python<'_>,
    half_width_um: Option<&Bound<'_, PyAny>>,
    pixel_um: Option<&Bound<'_, PyAny>>,
    pixels: Option<&Bound<'_, PyAny>>,
) -> PyResult<PsfSize> {
    let pixels = count_or(pixels, "pixels", PsfSize::default().pixels)?;
    let half_width_um = maybe_number(half_width_um, "half_width_um")?;
    match (half_width_um, maybe_number(pixel_um, "pixel_um")?) {
        (half_width_um, None) => Ok(PsfSize { half_width_um, pixels }),
        (None, Some(pixel_um)) if pixel_um > 0.0 => Ok(PsfSize::of_pixels(pixel_um, pixels)),
        (None, Some(pixel_um)) => Err(refused(py, "pixel_um", &pixel_um.to_string(), "a size above 0", "")),
        (Some(half), Some(pixel_um)) if pixel_um > 2.0 * half => {
            let allowed = format!("a pixel smaller than the field of {} um", 2.0 * half);
            Err(refused(py, "pixel_um", &pixel_um.to_string(), &allowed, "nanometres?"))
        }
        (Some(half), Some(pixel_um)) => {
            let found = format!("{pixel_um} beside half_width_um = {half}");
            let allowed = "one of the two, with the number of pixels on a side";
            Err(refused(py, "pixel_um", &found, allowed, ""))
        }
    }
}

/// The light of a picture: a spectrum, or one wavelength.
pub(super) fn light(
    py: Python<'_>,
    spectrum: Option<PySpectrum>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
) -> PyResult<Spectrum> {
    match (spectrum, wavelength_nm) {
        (Some(spectrum), None) => Ok(spectrum.0),
        (None, given) => Spectrum::line(wavelength(given)?).map_err(|e| exception(py, e)),
        (Some(_), Some(nm)) => {
            let found = format!("{nm} beside a spectrum");
            Err(refused(py, "wavelength_nm", &found, "one of the two, not both", ""))
        }
    }
}

/// The wavefront of a star seen from its reference point in the image.
///
/// W = -(d.Q + |P - Q|), piston removed; positive where the wave is ahead, so that a hill of glass h gives
/// 2h/(1 + (r/R)^2). RMS and PV are not weighted by the amplitude; the Strehl is.
///
/// Units: nm, mm, um.
/// Leaves out: polarisation and the scalar amplitude factor of a fast mirror, together about 1e-3 of the peak
/// at f/5.
/// Errors: those of `Train.wavefront` and `from_zernikes`, which make it.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
/// >>> wave = train.with_primary(conic=-0.9).wavefront(focus="least_rms")
/// >>> assert wave.focus_shift_mm < 0 and wave.strehl < 1 and wave.amplitude_factor == 1
#[pyclass(name = "Wavefront", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyWavefront(pub(super) Wavefront, #[serde(skip)] Once<WavefrontMap>);

impl From<Wavefront> for PyWavefront {
    fn from(wavefront: Wavefront) -> Self {
        Self(wavefront, Once::default())
    }
}

/// The picture and its axis as arrays that nobody writes to.
type WavefrontMap = (Py<PyArray2<f64>>, Py<PyArray1<f64>>);

#[pymethods]
impl PyWavefront {
    /// Return the wavefront of Zernike coefficients on a circular or annular pupil.
    ///
    /// Units: nm by index; the obstruction counts by diameter. A star image needs the focal ratio as well.
    /// Errors: InputError for indices, obstructions and focal ratios that cannot be.
    ///
    /// >>> quarter_wave = {4: 550 / (8 * np.sqrt(3))}  # defocus, PV a quarter of 550 nm
    /// >>> wave = ct.Wavefront.from_zernikes(quarter_wave, indexing="noll")
    /// >>> assert abs(wave.strehl - 8 / np.pi**2) < 1e-6  # sinc^2 of a quarter wave
    #[staticmethod]
    #[pyo3(signature = (coefficients, *, indexing, obstruction_ratio=None, focal_ratio=None, wavelength_nm=None),
        text_signature = "(coefficients, *, indexing, obstruction_ratio=0.0, focal_ratio=None, wavelength_nm=550.0)")]
    fn from_zernikes(
        py: Python<'_>,
        coefficients: BTreeMap<i64, Bound<'_, PyAny>>,
        indexing: &str,
        obstruction_ratio: Option<&Bound<'_, PyAny>>,
        focal_ratio: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let indexing = indexing_named(py, indexing)?;
        let coefficients: BTreeMap<u32, f64> = coefficients
            .into_iter()
            .map(|(j, value)| {
                let allowed = "an index of the list of terms, 0 or more";
                let index = u32::try_from(j)
                    .map_err(|_| refused(py, &format!("coefficients[{j}]"), &j.to_string(), allowed, ""))?;
                Ok((index, number(&value, "coefficient_nm")?))
            })
            .collect::<PyResult<_>>()?;
        let obstruction = number_or(obstruction_ratio, "obstruction_ratio", 0.0)?;
        let focal_ratio = maybe_number(focal_ratio, "focal_ratio")?;
        let wavelength_nm = wavelength(wavelength_nm)?;
        compute(py, move || {
            Wavefront::from_zernikes(&coefficients, indexing, obstruction, focal_ratio, wavelength_nm)
        })
        .map(Self::from)
    }

    /// The wavefront on a square net of mirror points, nm; NaN where no light is. Rows along y, columns along
    /// x. Made once; read-only.
    #[getter]
    fn map_nm(&self, py: Python<'_>) -> PyResult<Py<PyArray2<f64>>> {
        Ok(self.map(py)?.0.clone_ref(py))
    }

    /// Positions of the rows and columns of `map_nm`, mm (pupil radii for given coefficients). Read-only.
    #[getter]
    fn map_axis_mm(&self, py: Python<'_>) -> PyResult<Py<PyArray1<f64>>> {
        Ok(self.map(py)?.1.clone_ref(py))
    }

    /// Return Zernike coefficients by index, nm: circle polynomials fitted at once over the lit pupil.
    ///
    /// Units: nm, RMS over the clear circle for "noll" and "osa", height at the rim for "fringe".
    /// Errors: InputError for names and numbers of terms that cannot be.
    /// Leaves out: on an obstructed pupil the circle's terms are no longer orthogonal; their squares do not
    /// add up.
    ///
    /// >>> wave = ct.Wavefront.from_zernikes({11: 20.0}, indexing="noll", focal_ratio=5)
    /// >>> terms = wave.zernikes(indexing="noll", terms=15)
    /// >>> assert abs(terms[11] - 20) < 1e-6 and abs(terms[4]) < 1e-6
    #[pyo3(signature = (*, indexing, terms=None), text_signature = "($self, *, indexing, terms=36)")]
    fn zernikes(
        &self,
        py: Python<'_>,
        indexing: &str,
        terms: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<BTreeMap<u32, f64>> {
        let indexing = indexing_named(py, indexing)?;
        let (wavefront, terms) = (self.0.clone(), count_or(terms, "terms", 36)?);
        let terms = u32::try_from(terms).unwrap_or(u32::MAX);
        compute(py, move || wavefront.zernikes(indexing, terms))
    }

    /// Return the image of the star in the plane of the reference point.
    ///
    /// Give a half width or a pixel with the number of pixels on a side; an odd number puts one on the
    /// reference point. A spectrum adds up its wavelengths; without one the light is this wavefront's.
    ///
    /// Units: um; without a half width the picture reaches to twelve wavelengths times the focal ratio.
    /// Shapes: `pixels` on a side.
    /// Errors: InputError, also for coefficients given without a focal ratio; NotConverged.
    ///
    /// >>> wave = ct.Wavefront.from_zernikes({11: 20.0}, indexing="noll", focal_ratio=5)
    /// >>> star = wave.psf(half_width_um=10, pixels=21)
    /// >>> assert star.image.shape == (21, 21) and abs(star.image[10, 10] - wave.strehl) < 1e-6
    /// >>> day = wave.psf(pixel_um=0.5, pixels=31, spectrum=ct.Spectrum.photopic())
    /// >>> assert day.pixel_um == 0.5 and abs(day.wavelength_nm - 560.192) < 1e-3
    #[pyo3(signature = (*, half_width_um=None, pixel_um=None, pixels=None, spectrum=None),
        text_signature = "($self, *, half_width_um=None, pixel_um=None, pixels=129, spectrum=None)")]
    fn psf(
        &self,
        py: Python<'_>,
        half_width_um: Option<&Bound<'_, PyAny>>,
        pixel_um: Option<&Bound<'_, PyAny>>,
        pixels: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
    ) -> PyResult<PyPsf> {
        let size = psf_size(py, half_width_um, pixel_um, pixels)?;
        let wavefront = self.0.clone();
        compute(py, move || match spectrum {
            Some(spectrum) => wavefront.psf_of(size, &spectrum.0),
            None => wavefront.psf(size),
        })
        .map(PyPsf)
    }

    /// Return the contrast against spatial frequency.
    ///
    /// Units: cycles for each mm in the focal plane; without any, 33 even steps from 0 to the cut-off. Without a
    /// spectrum the wavefront's wavelength counts.
    /// Errors: InputError for frequencies below 0, and for coefficients given without a focal ratio; NotConverged.
    ///
    /// >>> wave = ct.Wavefront.from_zernikes({}, indexing="noll", obstruction_ratio=0.2, focal_ratio=5)
    /// >>> mtf = wave.mtf(frequency_per_mm=[0.3 / (550e-6 * 5)])
    /// >>> assert abs(mtf.contrast_mean[0] - 0.56649757) < 1e-6  # O'Neill 1956
    #[pyo3(signature = (*, frequency_per_mm=None, spectrum=None))]
    fn mtf(
        &self,
        py: Python<'_>,
        frequency_per_mm: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
    ) -> PyResult<PyMtf> {
        let (wavefront, options) = (self.0.clone(), mtf_options(frequency_per_mm, spectrum)?);
        compute(py, move || wavefront.mtf(&options)).map(PyMtf)
    }

    /// Return the complex transfer function for frequencies that run in one direction.
    ///
    /// Units: degrees from along toward across; cycles for each mm. Otherwise as `mtf`.
    /// Errors: those of `mtf`; InputError for azimuths beyond a turn.
    ///
    /// >>> wave = ct.Wavefront.from_zernikes({8: 60.0}, indexing="noll", focal_ratio=5)
    /// >>> across = wave.otf(azimuth_deg=90, frequency_per_mm=[100])
    /// >>> assert abs(across.imaginary[0]) < 1e-6  # coma along has no phase across
    #[pyo3(signature = (*, azimuth_deg=None, frequency_per_mm=None, spectrum=None),
        text_signature = "($self, *, azimuth_deg=0.0, frequency_per_mm=None, spectrum=None)")]
    fn otf(
        &self,
        py: Python<'_>,
        azimuth_deg: Option<&Bound<'_, PyAny>>,
        frequency_per_mm: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
    ) -> PyResult<PyOtf> {
        let (wavefront, options) = (self.0.clone(), mtf_options(frequency_per_mm, spectrum)?);
        let azimuth_deg = number_or(azimuth_deg, "azimuth_deg", 0.0)?;
        compute(py, move || wavefront.otf(azimuth_deg, &options)).map(PyOtf)
    }

    /// Return the share of the star's light within each radius about the reference point.
    ///
    /// Units: um. Shapes: one entry a radius. Errors: InputError.
    ///
    /// >>> wave = ct.Wavefront.from_zernikes({11: 0.0}, indexing="noll", focal_ratio=5)
    /// >>> assert abs(wave.encircled_energy([1.2196698913 * 0.55 * 5])[0] - 0.837785) < 1e-5
    #[pyo3(signature = (radius_um, /))]
    fn encircled_energy<'py>(
        &self,
        py: Python<'py>,
        radius_um: &Bound<'py, PyAny>,
    ) -> PyResult<Bound<'py, PyArray1<f64>>> {
        encircled_energy(py, &self.0, None, radius_um)
    }

    /// Draw the wavefront over the face of the mirror; return the axes.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> axes = train.with_primary(conic=-0.9).wavefront().plot()
    /// >>> assert "mm" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        draw("wavefront_map", slf.as_any(), ax, None)
    }
}

impl PyWavefront {
    fn map(&self, py: Python<'_>) -> PyResult<&WavefrontMap> {
        self.1.get(|| {
            let map = self.0.map(MAP_POINTS).map_err(|e| exception(py, e))?;
            let path_nm = map.path_nm.mapv(|w| w.unwrap_or(f64::NAN)).into_pyarray(py);
            let axis_mm = map.axis_mm.into_pyarray(py);
            let _ = path_nm.try_readwrite()?.make_nonwriteable();
            let _ = axis_mm.try_readwrite()?.make_nonwriteable();
            Ok((path_nm.unbind(), axis_mm.unbind()))
        })
    }
}

getters!(PyWavefront, |wavefront| {
    /// Where the star stands, arcmin: toward the focuser's side, and across.
    field_arcmin: (f64, f64) = (wavefront.field().x_arcmin, wavefront.field().y_arcmin);
    /// Distance of an artificial star from the vertex, mm, or None for a star of the sky.
    star_distance_mm: Option<f64> = wavefront.star_distance_mm();
    /// Wavelength, nm.
    wavelength_nm: f64 = wavefront.wavelength_nm;
    /// How far the reference point lies behind the paraxial focus, mm.
    focus_shift_mm: f64 = wavefront.focus_shift_mm();
    /// Where the reference point lies along, from the Gaussian image point, um.
    reference_along_um: f64 = wavefront.reference_um()[0];
    /// Where the reference point lies across, from the Gaussian image point, um.
    reference_across_um: f64 = wavefront.reference_um()[1];
    /// Root mean square over the lit pupil, nm.
    rms_nm: f64 = wavefront.rms_nm;
    /// Highest minus lowest point, nm.
    pv_nm: f64 = wavefront.pv_nm;
    /// Peak at the reference point over that of the same light without wavefront error.
    strehl: f64 = wavefront.strehl;
    /// What an uneven coating costs the peak beyond the light it loses.
    amplitude_factor: f64 = wavefront.amplitude_factor;
    /// Estimated error of the Strehl.
    error_estimate: f64 = wavefront.error_estimate;
    /// Diameter of the diagonal's shadow over the diameter that gathers light.
    obstruction_ratio: f64 = wavefront.obstruction_ratio();
    /// Focal length over the diameter that gathers light, or None for coefficients given without one.
    focal_ratio: Option<f64> = wavefront.focal_ratio();
});
record!(PyWavefront, "Wavefront",
    attributes: ["field_arcmin", "star_distance_mm", "wavelength_nm", "focus_shift_mm", "reference_along_um", "reference_across_um", "rms_nm",
        "pv_nm", "strehl", "amplitude_factor", "error_estimate", "obstruction_ratio", "focal_ratio", "map_nm", "map_axis_mm"],
    shown: ["field_arcmin", "star_distance_mm", "wavelength_nm", "focus_shift_mm", "rms_nm", "pv_nm", "strehl"]);
fn encircled_energy<'py>(
    py: Python<'py>,
    wavefront: &Wavefront,
    spectrum: Option<&Spectrum>,
    radius_um: &Bound<'py, PyAny>,
) -> PyResult<Bound<'py, PyArray1<f64>>> {
    let radii = list(radius_um, "radius_um")?;
    let (wavefront, spectrum) = (wavefront.clone(), spectrum.cloned());
    let energies = compute(py, move || match spectrum {
        Some(spectrum) => wavefront.encircled_energy_of(&radii, &spectrum),
        None => wavefront.encircled_energy(&radii),
    })?;
    Ok(energies.into_pyarray(py))
}

/// The image of a star by diffraction: intensity over that of the perfect star's peak with the same light.
///
/// Units: um in the focal plane, about the reference point; `along` positive toward the sky end.
/// Shapes: `image[i, j]`, row i at `across_um[i]`, column j at `along_um[j]`.
/// Leaves out: polarisation and the scalar amplitude factor (1e-3 of the peak at f/5), and the pixel's own
/// width.
/// Errors: those of `Train.psf` and `Wavefront.psf`, which make it.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
/// >>> star = train.psf(half_width_um=10, pixels=41)
/// >>> assert star.image.shape == (len(star.across_um), len(star.along_um))
/// >>> assert abs(star.fwhm_um / star.airy.fwhm_um - 1) < 0.01
#[pyclass(name = "Psf", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyPsf(pub(super) Psf);

arrays!(PyPsf, |star| {
    /// Intensity; rows across, columns along; 1 is the perfect star's peak.
    image: PyArray2 = star.image;
    /// Positions of the columns, um.
    along_um: PyArray1 = star.along_um;
    /// Positions of the rows, um.
    across_um: PyArray1 = star.across_um;
});

#[pymethods]
impl PyPsf {
    /// The perfect star of the same focal ratio, obstruction and wavelength.
    #[getter]
    fn airy(&self, py: Python<'_>) -> PyResult<PyAiry> {
        let wavefront = &self.0.wavefront;
        Airy::new(self.0.focal_ratio, wavefront.obstruction_ratio(), wavefront.wavelength_nm)
            .map(PyAiry::from)
            .map_err(|e| exception(py, e))
    }

    /// Return the share of the star's light within each radius about the reference point.
    ///
    /// Units: um. Shapes: one entry a radius. Errors: InputError.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> star = train.psf(half_width_um=10, pixels=41)
    /// >>> assert abs(star.encircled_energy([star.airy.dark_rings_um[0]])[0] - 0.8378) < 0.002
    #[pyo3(signature = (radius_um, /))]
    fn encircled_energy<'py>(
        &self,
        py: Python<'py>,
        radius_um: &Bound<'py, PyAny>,
    ) -> PyResult<Bound<'py, PyArray1<f64>>> {
        encircled_energy(py, &self.0.wavefront, Some(&self.0.spectrum), radius_um)
    }

    /// Return a Table of the light ring by ring, between the dark rings of the perfect star, beside that star's own.
    ///
    /// The first row is the disc within the first dark ring. The rings are those of the mean wavelength.
    ///
    /// Units: um; shares of all the star's light. Shapes: a row a ring.
    /// Errors: InputError for no rings or more than 60.
    /// Leaves out: for the perfect star the real cone of a fast mirror, which shifts 1e-3 of the light at f/5.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> rings = train.psf(half_width_um=10, pixels=41).ring_energy(rings=3)
    /// >>> assert len(rings["share"]) == 3 and abs(rings["perfect_share"][0] - 0.837785) < 1e-6
    #[pyo3(signature = (*, rings=None), text_signature = "($self, *, rings=5)")]
    fn ring_energy<'py>(
        &self,
        py: Python<'py>,
        rings: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let (star, rings) = (self.0.clone(), count_or(rings, "rings", 5)?);
        let rings = compute(py, move || star.ring_energy(rings))?;
        let columns = PyDict::new(py);
        columns.set_item("inner_radius_um", rings.inner_radius_um.into_pyarray(py))?;
        columns.set_item("outer_radius_um", rings.outer_radius_um.into_pyarray(py))?;
        columns.set_item("share", rings.share.into_pyarray(py))?;
        columns.set_item("perfect_share", rings.perfect_share.into_pyarray(py))?;
        table_of(&columns)
    }

    /// Return the share of the star's light within a rectangle about the reference point.
    ///
    /// Units: um, half of each side. Errors: InputError.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> star = train.psf(half_width_um=10, pixels=41)
    /// >>> square = star.rectangle_energy(half_along_um=5, half_across_um=5)
    /// >>> assert star.encircled_energy([5])[0] < square < 1
    #[pyo3(signature = (*, half_along_um, half_across_um))]
    fn rectangle_energy(
        &self,
        py: Python<'_>,
        half_along_um: &Bound<'_, PyAny>,
        half_across_um: &Bound<'_, PyAny>,
    ) -> PyResult<f64> {
        let sides = (number(half_along_um, "half_along_um")?, number(half_across_um, "half_across_um")?);
        let star = self.0.clone();
        compute(py, move || star.rectangle_energy(sides.0, sides.1))
    }

    /// Draw the star as seen through the eyepiece; return the axes.
    ///
    /// The grey scale is the square root of the intensity ("root"), the intensity ("linear"), or its
    /// logarithm ("log").
    ///
    /// Units: um from the middle to the edge of the picture, else five radii of the first dark ring.
    /// Errors: InputError for another scale.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> axes = train.psf(half_width_um=10, pixels=41).plot(scale="log")
    /// >>> assert "um" in axes.get_xlabel()
    #[pyo3(signature = (ax=None, *, scale="root", half_width_um=None))]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        scale: &str,
        half_width_um: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("scale", scale)?;
        options.set_item("half_width_um", maybe_number(half_width_um, "half_width_um")?)?;
        draw("star_image", slf.as_any(), ax, Some(&options))
    }

    /// Draw the encircled energy beside that of the perfect star; return the axes.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> axes = train.psf(half_width_um=10, pixels=41).plot_energy()
    /// >>> assert "um" in axes.get_xlabel()
    #[pyo3(signature = (ax=None))]
    fn plot_energy<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyAny>> {
        draw("energy", slf.as_any(), ax, None)
    }
}

getters!(PyPsf, |star| {
    /// Distance of neighbouring pixels, um.
    pixel_um: f64 = star.pixel_um;
    /// Arcseconds on the sky for each pixel, or None for coefficients alone.
    pixel_arcsec: Option<f64> = star.pixel_arcsec();
    /// Wavelength, nm; the mean of a spectrum.
    wavelength_nm: f64 = star.wavefront.wavelength_nm;
    /// The light of the picture.
    spectrum: PySpectrum = PySpectrum(star.spectrum.clone());
    /// Intensity at the reference point.
    strehl: f64 = star.strehl();
    /// Greatest intensity in the plane.
    peak: f64 = star.peak;
    /// Where it lies along, um.
    peak_along_um: f64 = star.peak_um[0];
    /// Where it lies across, um.
    peak_across_um: f64 = star.peak_um[1];
    /// Full width at half of the peak, um: the mean over sixteen directions.
    fwhm_um: f64 = star.fwhm_um;
    /// The same along.
    fwhm_along_um: f64 = star.fwhm_along_um;
    /// The same across.
    fwhm_across_um: f64 = star.fwhm_across_um;
    /// Focal length over the diameter that gathers light; for a lamp the distance of its image over it.
    focal_ratio: f64 = star.focal_ratio;
    /// Diameter of the diagonal's shadow over the diameter that gathers light.
    obstruction_ratio: f64 = star.wavefront.obstruction_ratio();
    /// Estimated error of the intensity, as a share of the perfect peak.
    error_estimate: f64 = star.error_estimate;
    /// The wavefront behind the picture.
    wavefront: PyWavefront = star.wavefront.clone().into();
});
record!(PyPsf, "Psf",
    attributes: ["image", "along_um", "across_um", "pixel_um", "wavelength_nm", "strehl", "peak", "peak_along_um",
        "peak_across_um", "fwhm_um", "fwhm_along_um", "fwhm_across_um", "focal_ratio", "obstruction_ratio", "error_estimate", "spectrum"],
    shown: ["pixel_um", "wavelength_nm", "strehl", "peak", "fwhm_um", "focal_ratio", "obstruction_ratio"]);
