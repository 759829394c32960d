//! What one would see of a scene.

use numpy::{IntoPyArray, PyArray2};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{count_or, field, focus, maybe_number, wavelength};
use super::arrays::{Column, column};
use super::compute::compute;
use super::errors::{exception, refused};
use super::rays::draw;
use super::record::{getters, record};
use super::seeing::PySeeing;
use super::spectrum::PySpectrum;
use super::train::PyTrain;
use super::view_scenes::{PyEyepiece, PySensor, python_scene, scene};
use crate::{Focus, Spectrum, Through, View, ViewDifference, ViewOptions};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyView>()?;
    module.add_class::<PyViewDifference>()
}

#[pymethods]
impl PyTrain {
    /// Return what one would see of a scene at an eyepiece or on a sensor.
    ///
    /// The scene is blurred by the exact image of a star in its middle, all colours from one focus, by the air, and at
    /// an eyepiece by what the mean eye takes beyond diffraction. Every pixel is the mean over its square. A focus is
    /// given by name or by its shift.
    ///
    /// Units: arcmin (toward the focuser's side, and across), mm, nm, arcsec from the middle to the edge. Half width
    /// and pixels count at an eyepiece; without a half width the view is what the scene needs.
    /// Shapes: `pixels` on a side at an eyepiece; a sensor's rows and columns.
    /// Errors: InputError, also for a view wider than the field stop, a pixel larger than the disc, and a picture
    /// that would take more than about 1 GiB; NotConverged.
    /// Leaves out: that the star image changes over the view (coma grows in proportion to the distance from the axis);
    /// the noise of eye and sensor. Light of a star beyond 64 wavelengths times focal ratio, `tail_share`, is added
    /// as rings that fall off as 1/r^3: contrasts of a perfect annulus come out within 5e-5, those of a pupil
    /// with vanes, whose far light lies in spikes, within that share.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
    /// >>> planet, eyepiece = ct.BandedDisc(diameter_arcsec=20), ct.Eyepiece(focal_length_mm=6, field_stop_mm=8)
    /// >>> sharp = train.view(planet, eyepiece=eyepiece, pixels=65)
    /// >>> soft = train.view(planet, eyepiece=eyepiece, pixels=65, seeing=ct.Seeing(fwhm_arcsec=2))
    /// >>> assert soft.bands_left < sharp.bands_left < 1
    #[pyo3(signature = (scene, /, *, eyepiece=None, sensor=None, seeing=None, field_arcmin=None, focus=None, focus_shift_mm=None,
        wavelength_nm=None, spectrum=None, half_width_arcsec=None, pixels=None),
        text_signature = "($self, scene, /, *, eyepiece=None, sensor=None, seeing=None, field_arcmin=(0.0, 0.0), focus='peak', \
        focus_shift_mm=None, wavelength_nm=550.0, spectrum=None, half_width_arcsec=None, pixels=257)")]
    #[allow(clippy::too_many_arguments)]
    fn view(
        &self,
        py: Python<'_>,
        scene: &Bound<'_, PyAny>,
        eyepiece: Option<PyEyepiece>,
        sensor: Option<PySensor>,
        seeing: Option<PySeeing>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        focus: Option<&str>,
        focus_shift_mm: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
        spectrum: Option<PySpectrum>,
        half_width_arcsec: Option<&Bound<'_, PyAny>>,
        pixels: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyView> {
        let scene = self::scene(scene)?;
        let through: Through = match (eyepiece, sensor) {
            (Some(eyepiece), None) => eyepiece.0.into(),
            (None, Some(sensor)) => sensor.0.into(),
            (given, _) => {
                let found = if given.is_some() { "both" } else { "neither" };
                return Err(refused(py, "eyepiece", found, "an eyepiece or a sensor, one of the two", ""));
            }
        };
        let spectrum = match (spectrum, wavelength_nm) {
            (Some(_), Some(given)) => {
                let found = format!("{given} beside spectrum");
                return Err(refused(py, "wavelength_nm", &found, "one of the two, not both", ""));
            }
            (Some(spectrum), None) => spectrum.0,
            (None, given) => Spectrum::line(wavelength(given)?).map_err(|e| exception(py, e))?,
        };
        let usual = ViewOptions::default();
        let options = ViewOptions {
            field: field(field_arcmin)?,
            focus: self::focus(py, focus, focus_shift_mm, Focus::Peak)?,
            spectrum: Some(spectrum),
            seeing: seeing.map(|s| s.0),
            half_width_arcsec: maybe_number(half_width_arcsec, "half_width_arcsec")?,
            pixels: count_or(pixels, "pixels", usual.pixels)?,
        };
        let prepared = self.prepared().clone();
        compute(py, move || prepared.view(&scene, &through, &options)).map(PyView)
    }
}

/// A scene as it is seen.
///
/// Brightness 1 is, by `unit`: "disc_centre", the middle of the disc without bands and spots through a perfect mirror
/// of the full clear aperture that reflects everything and has nothing in its way, at the same magnification; or
/// "magnitude_zero_per_arcsec2", all light that such a mirror collects of a star of magnitude 0 on one square
/// arcsecond.
///
/// Units: arcsec on the sky from the middle of the view, x toward the focuser's side, y toward +y. Through the eyepiece
/// the sky stands on its head: +x points down and +y to the left, where the sky end of the tube is up.
/// Shapes: `image[i, j]`, row i at `y_arcsec[i]`, column j at `x_arcsec[j]`.
/// Errors: those of `Train.view`, which makes it.
/// Leaves out: what `Train.view` leaves out.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
/// >>> pair = ct.DoubleStar(separation_arcsec=2, first_magnitude=3, second_magnitude=3)
/// >>> seen = train.view(pair, sensor=ct.Sensor(pixel_um=1, columns=48, rows=32))
/// >>> assert seen.image.shape == (len(seen.y_arcsec), len(seen.x_arcsec)) and seen.star_gap < 0.1
#[pyclass(name = "View", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyView(pub(super) View);

#[pymethods]
impl PyView {
    /// Brightness; rows along y, columns along x.
    #[getter]
    fn image<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray2<f64>> {
        self.0.image.clone().into_pyarray(py)
    }

    /// Positions of the columns on the sky, arcsec.
    #[getter]
    fn x_arcsec<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.x_arcsec.iter().copied())
    }

    /// Positions of the rows on the sky, arcsec.
    #[getter]
    fn y_arcsec<'py>(&self, py: Python<'py>) -> Column<'py> {
        column(py, self.0.y_arcsec.iter().copied())
    }

    /// What was looked at.
    #[getter]
    fn scene(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        python_scene(py, &self.0.scene)
    }

    /// The eyepiece, or None.
    #[getter]
    fn eyepiece(&self) -> Option<PyEyepiece> {
        match self.0.through {
            Through::Eyepiece(eyepiece) => Some(PyEyepiece(eyepiece)),
            Through::Sensor(_) => None,
        }
    }

    /// The sensor, or None.
    #[getter]
    fn sensor(&self) -> Option<PySensor> {
        match self.0.through {
            Through::Eyepiece(_) => None,
            Through::Sensor(sensor) => Some(PySensor(sensor)),
        }
    }

    /// Return how far another view of the same scene on the same pixels differs from this one.
    ///
    /// Errors: InputError for another scene or other pixels.
    ///
    /// >>> planet, sensor = ct.BandedDisc(diameter_arcsec=20), ct.Sensor(pixel_um=2, columns=80, rows=80)
    /// >>> mirror = ct.Primary(clear_aperture_mm=200, focal_length_mm=1200)
    /// >>> after = ct.Train(primary=mirror)
    /// >>> before = after.with_primary(figure=[ct.TurnedEdge(width_mm=20, drop_nm=400)])
    /// >>> views = [train.view(planet, sensor=sensor) for train in (before, after)]
    /// >>> assert views[0].difference(views[1]).rms > 0.01
    #[pyo3(signature = (other, /))]
    fn difference(&self, py: Python<'_>, other: &Bound<'_, PyView>) -> PyResult<PyViewDifference> {
        self.0.difference(&other.get().0).map(PyViewDifference).map_err(|e| exception(py, e))
    }

    /// Draw the view as seen through the eyepiece; return the axes.
    ///
    /// The grey scale is even ("linear"), the square root of the brightness ("root") or its logarithm ("log");
    /// without a name even for a disc and the root for stars. `white` is the brightness that is drawn white.
    ///
    /// Units: arcsec on the sky. Errors: InputError for another scale.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
    /// >>> sensor = ct.Sensor(pixel_um=4, columns=64, rows=64)
    /// >>> axes = train.view(ct.BandedDisc(diameter_arcsec=20), sensor=sensor).plot()
    /// >>> assert "arcsec" in axes.get_xlabel()
    #[pyo3(signature = (ax=None, *, scale=None, white=None))]
    fn plot<'py>(
        slf: &Bound<'py, Self>,
        ax: Option<&Bound<'py, PyAny>>,
        scale: Option<&str>,
        white: Option<f64>,
    ) -> PyResult<Bound<'py, PyAny>> {
        let options = PyDict::new(slf.py());
        options.set_item("scale", scale)?;
        options.set_item("white", white)?;
        draw("view", slf.as_any(), ax, Some(&options))
    }
}

getters!(PyView, |view| {
    /// Distance of neighbouring pixels on the sky, arcsec.
    pixel_arcsec: f64 = view.pixel_arcsec;
    /// The same in the focal plane, um.
    pixel_um: f64 = view.pixel_um;
    /// What brightness 1 is: "disc_centre" or "magnitude_zero_per_arcsec2".
    unit: &'static str = view.unit.name();
    /// Light that arrives over that of a mirror of the full clear aperture which reflects everything, nothing in its
    /// way.
    throughput: f64 = view.throughput;
    /// The Strehl of a star in the middle, without air and eye.
    strehl: f64 = view.strehl;
    /// Share of the bands' own contrast, on these pixels, that is left; or None.
    bands_left: Option<f64> = view.bands_left;
    /// Share of the spots' own contrast, on these pixels, that is left; or None.
    spots_left: Option<f64> = view.spots_left;
    /// The darkest point between the two stars of a pair over the fainter one's peak; 1 where nothing parts them; or
    /// None.
    star_gap: Option<f64> = view.star_gap;
    /// Magnification, or None on a sensor.
    magnification: Option<f64> = view.magnification;
    /// Exit pupil, mm, or None on a sensor.
    exit_pupil_mm: Option<f64> = view.exit_pupil_mm;
    /// Diameter of the eyepiece's field on the sky, arcmin, or None on a sensor; the picture is dark beyond.
    true_field_arcmin: Option<f64> = view.true_field_arcmin;
    /// Pixels for a wavelength times focal ratio; below 2 fine detail comes back as false detail.
    pixels_per_lambda_f: f64 = view.pixels_per_lambda_f;
    /// Share of a star's light that was added as rings beyond the window in which a star is summed.
    tail_share: f64 = view.tail_share;
    /// Where the middle of the view stands in the telescope's field, arcmin.
    field_arcmin: (f64, f64) = (view.field.x_arcmin, view.field.y_arcmin);
    /// The air, or None.
    seeing: Option<PySeeing> = view.seeing.map(PySeeing);
    /// Colours of the light.
    spectrum: PySpectrum = PySpectrum(view.spectrum.clone());
});
record!(PyView, "View",
    attributes: ["image", "x_arcsec", "y_arcsec", "pixel_arcsec", "pixel_um", "unit", "throughput", "strehl", "bands_left",
        "spots_left", "star_gap", "magnification", "exit_pupil_mm", "true_field_arcmin", "pixels_per_lambda_f", "tail_share",
        "field_arcmin", "seeing", "spectrum", "scene", "eyepiece", "sensor"],
    shown: ["pixel_arcsec", "unit", "throughput", "strehl", "bands_left", "spots_left", "star_gap", "magnification",
        "exit_pupil_mm", "pixels_per_lambda_f"]);

/// How far two views of one scene are apart, each over its own mean brightness.
///
/// Units: shares of the mean brightness; arcsec.
/// Errors: those of `View.difference`, which makes it.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
/// >>> seen = train.view(ct.BandedDisc(diameter_arcsec=20), sensor=ct.Sensor(pixel_um=4, columns=40, rows=40))
/// >>> assert seen.difference(seen).greatest == 0
#[pyclass(name = "ViewDifference", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyViewDifference(ViewDifference);

getters!(PyViewDifference, |difference| {
    /// Root mean square of the differences over all pixels.
    rms: f64 = difference.rms;
    /// The greatest of them: the other view less the first.
    greatest: f64 = difference.greatest;
    /// Where it lies toward the focuser's side, arcsec.
    x_arcsec: f64 = difference.x_arcsec;
    /// Where it lies toward +y, arcsec.
    y_arcsec: f64 = difference.y_arcsec;
});
record!(PyViewDifference, "ViewDifference", attributes: ["rms", "greatest", "x_arcsec", "y_arcsec"],
    shown: ["rms", "greatest", "x_arcsec", "y_arcsec"]);
