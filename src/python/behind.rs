//! What a telescope gives behind an eyepiece and on a sensor.

use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};
use serde::{Deserialize, Serialize};

use super::arguments::{maybe_number, number_or, wavelength};
use super::arrays::column;
use super::compute::compute;
use super::errors::refused;
use super::rays::draw;
use super::record::{getters, record};
use super::seeing::PySeeing;
use super::train::PyTrain;
use super::view_scenes::{PyEyepiece, PySensor};
use crate::{EdgeLight, Eyepiece, EyepieceFacts, EyepieceOptions, Part, SensorFacts};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyEyepieceFacts>()?;
    module.add_class::<PySensorFacts>()?;
    module.add_function(wrap_pyfunction!(compare_eyepieces, module)?)
}

fn options(
    eye_pupil_mm: Option<&Bound<'_, PyAny>>,
    accommodation_dioptres: Option<&Bound<'_, PyAny>>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
) -> PyResult<EyepieceOptions> {
    Ok(EyepieceOptions {
        eye_pupil_mm: maybe_number(eye_pupil_mm, "eye_pupil_mm")?,
        accommodation_dioptres: number_or(accommodation_dioptres, "accommodation_dioptres", 0.0)?,
        wavelength_nm: wavelength(wavelength_nm)?,
    })
}

#[pymethods]
impl PyTrain {
    /// Return what this telescope gives behind an eyepiece: power, field, exit pupil, the edge of the field, depths.
    ///
    /// Where the iris (`eye_pupil_mm`) is smaller than the exit pupil, only the middle of the mirror is used, and all
    /// that follows is that of the mirror masked to it.
    ///
    /// Units: mm; dioptres; nm.
    /// Errors: InputError for an eyepiece or an eye that cannot be.
    /// Leaves out: the eyepiece's own errors; the offset of the diagonal's shadow in the exit pupil.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=400, focal_length_mm=1800))
    /// >>> eyepiece = ct.Eyepiece(focal_length_mm=30, field_stop_mm=36)
    /// >>> facts = train.behind(eyepiece, eye_pupil_mm=5)
    /// >>> assert facts.magnification == 60 and abs(facts.exit_pupil_mm - 20 / 3) < 1e-12
    /// >>> assert abs(facts.effective_aperture_mm - 300) < 1e-9
    #[pyo3(signature = (eyepiece, /, *, eye_pupil_mm=None, accommodation_dioptres=None, wavelength_nm=None),
        text_signature = "($self, eyepiece, /, *, eye_pupil_mm=None, accommodation_dioptres=0.0, wavelength_nm=550.0)")]
    fn behind(
        &self,
        py: Python<'_>,
        eyepiece: PyEyepiece,
        eye_pupil_mm: Option<&Bound<'_, PyAny>>,
        accommodation_dioptres: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyEyepieceFacts> {
        let options = options(eye_pupil_mm, accommodation_dioptres, wavelength_nm)?;
        let prepared = self.prepared().clone();
        compute(py, move || prepared.behind(&eyepiece.0, options)).map(PyEyepieceFacts)
    }

    /// Return what this telescope gives on a sensor in the middle of its field: scale, sampling, corners, depths.
    ///
    /// Columns lie along, rows across. With air, the pixels across the seeing's width are told too.
    ///
    /// Units: nm.
    /// Errors: InputError for a sensor or a wavelength that cannot be.
    /// Leaves out: the sensor's own depth, cover glass, rotation.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=406, focal_length_mm=2030))
    /// >>> facts = train.on_sensor(ct.Sensor(pixel_um=5, columns=3520, rows=2660), seeing=ct.Seeing(fwhm_arcsec=2))
    /// >>> assert abs(facts.pixel_arcsec - 0.508041) < 1e-6 and facts.pixels_per_seeing > 3
    #[pyo3(signature = (sensor, /, *, seeing=None, wavelength_nm=None),
        text_signature = "($self, sensor, /, *, seeing=None, wavelength_nm=550.0)")]
    fn on_sensor(
        &self,
        py: Python<'_>,
        sensor: PySensor,
        seeing: Option<PySeeing>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PySensorFacts> {
        let wavelength_nm = wavelength(wavelength_nm)?;
        let prepared = self.prepared().clone();
        let air = seeing.map(|s| s.0);
        compute(py, move || prepared.on_sensor(&sensor.0, air.as_ref(), wavelength_nm)).map(PySensorFacts)
    }
}

/// What a telescope gives behind one eyepiece.
///
/// The field's edge is the edge of the field stop. Its light (`edge_worst`, `edge_mean`, `edge_best` over azimuth) is
/// relative to the middle; its sharpness is that of exact rays for a star across, the middle being in focus at its
/// least spot. Where no light arrives, the sharpness is that of the mirror with nothing in its way
/// (`spot_of_bare_mirror`).
///
/// Units: mm; um in the focal plane; arcmin on the sky, or at the eye (`..._at_eye_arcmin`): on the sky times the
/// power; dioptres; magnitudes, None where no light arrives.
/// Errors: those of `Train.behind`, which makes it.
/// Source: exit pupil D f_e/f, power f/f_e, true field 2 atan(stop/(2 f)); a quarter wave of defocus, W020 = dz/(8F^2),
/// at dz = 2 lambda F^2.
/// Leaves out: the eyepiece's own errors, among them its field curvature, which adds to the mirror's; the offset of the
/// diagonal's shadow from the middle of the exit pupil; the drift of the exit pupil over the field.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=79.4), ct.FocalPlane(axis_to_focus_mm=303)
/// >>> mirror = ct.Primary(clear_aperture_mm=406, focal_length_mm=2030)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> facts = train.behind(ct.Eyepiece(focal_length_mm=31, field_stop_mm=40))
/// >>> assert abs(facts.shadow_mm - 6.2 * 79.4 / 406) < 1e-12
/// >>> assert facts.edge_worst <= facts.edge_mean <= facts.edge_best and facts.dimmed_by == "diagonal"
#[pyclass(name = "EyepieceFacts", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyEyepieceFacts(EyepieceFacts);

#[pymethods]
impl PyEyepieceFacts {
    /// What deserves a word.
    #[getter]
    fn cautions<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, &self.0.cautions)
    }

    /// Draw the exit pupil to scale, with the diagonal's shadow and the eye's iris; return the axes.
    ///
    /// Units: mm. Errors: ImportError without matplotlib.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1000))
    /// >>> axes = train.behind(ct.Eyepiece(focal_length_mm=25, field_stop_mm=27), eye_pupil_mm=4).plot()
    /// >>> assert "mm" in axes.get_ylabel()
    #[pyo3(signature = (ax=None))]
    fn plot<'py>(slf: &Bound<'py, Self>, ax: Option<&Bound<'py, PyAny>>) -> PyResult<Bound<'py, PyAny>> {
        let alone = PyTuple::new(slf.py(), [slf])?;
        draw("exit_pupils", alone.as_any(), ax, None)
    }
}

fn share(edge: Option<&EdgeLight>, pick: impl Fn(&EdgeLight) -> f64) -> f64 {
    // A dark middle has a dark edge.
    edge.map_or(0.0, pick)
}

getters!(PyEyepieceFacts, |facts| {
    /// The eyepiece.
    eyepiece: PyEyepiece = PyEyepiece(facts.eyepiece);
    /// Opening of the eye's iris, mm; None: as wide as the exit pupil or wider.
    eye_pupil_mm: Option<f64> = facts.options.eye_pupil_mm;
    /// How far the eye can turn from the far to the near, dioptres.
    accommodation_dioptres: f64 = facts.options.accommodation_dioptres;
    /// Wavelength, nm.
    wavelength_nm: f64 = facts.options.wavelength_nm;
    /// Power.
    magnification: f64 = facts.magnification;
    /// Diameter of the exit pupil, mm.
    exit_pupil_mm: f64 = facts.exit_pupil_mm;
    /// Diameter of the field on the sky, from the field stop, arcmin.
    true_field_arcmin: f64 = facts.true_field_arcmin;
    /// The same as apparent field over power, arcmin, a usual rule; None without an apparent field.
    true_field_by_apparent_arcmin: Option<f64> = facts.true_field_by_apparent_arcmin;
    /// Diameter of the shadow of the diagonal (or its holder) in the exit pupil, mm.
    shadow_mm: f64 = facts.shadow_mm;
    /// Its share of the exit pupil's area.
    shadow_share: f64 = facts.shadow_share;
    /// Diameter of the mirror that the eye takes in, mm.
    effective_aperture_mm: f64 = facts.effective_aperture_mm;
    /// Focal length over it.
    effective_focal_ratio: f64 = facts.effective_focal_ratio;
    /// Shadow over what the iris lets pass, by diameter; 1 where the iris lies within the shadow.
    effective_obstruction_ratio: f64 = facts.effective_obstruction_ratio;
    /// Light that enters the eye over that in the exit pupil.
    eye_share: f64 = facts.eye_share;
    /// Light at the darkest point of the edge, relative to the middle; 0 where the middle is dark.
    edge_worst: f64 = share(facts.edge_light.as_ref(), |edge| edge.worst);
    /// Mean light at the edge.
    edge_mean: f64 = share(facts.edge_light.as_ref(), |edge| edge.mean);
    /// Light at the brightest point of the edge.
    edge_best: f64 = share(facts.edge_light.as_ref(), |edge| edge.best);
    /// Magnitudes lost at the darkest point of the edge; None where no light arrives.
    edge_worst_magnitudes: Option<f64> = facts.edge_light.and_then(|edge| edge.worst_magnitudes());
    /// Magnitudes lost at the edge in the mean; None where no light arrives.
    edge_mean_magnitudes: Option<f64> = facts.edge_light.and_then(|edge| edge.mean_magnitudes());
    /// The part whose share grows most from the middle to the edge, shadows apart; None where nothing dims it.
    dimmed_by: Option<&'static str> = facts.edge_light.and_then(|edge| edge.dimmed_by).map(Part::key);
    /// Estimated error of the edge's light.
    error_estimate: f64 = share(facts.edge_light.as_ref(), |edge| edge.error_estimate);
    /// Tangential coma at the edge in the focal plane, um.
    edge_coma_um: f64 = facts.edge_spot.coma_um;
    /// The same at the eye, arcmin.
    edge_coma_at_eye_arcmin: f64 = facts.at_eye_arcmin(facts.edge_spot.coma_um);
    /// RMS radius of the edge's spot, all errors together, um.
    edge_rms_radius_um: f64 = facts.edge_spot.rms_radius_um;
    /// The same at the eye, arcmin.
    edge_rms_radius_at_eye_arcmin: f64 = facts.at_eye_arcmin(facts.edge_spot.rms_radius_um);
    /// Length of the edge's spot away from the axis, at the eye, arcmin.
    edge_length_at_eye_arcmin: f64 = facts.at_eye_arcmin(facts.edge_spot.length_um);
    /// RMS radius at the eye where the edge itself is brought to focus, arcmin.
    refocused_rms_radius_at_eye_arcmin: f64 = facts.at_eye_arcmin(facts.edge_spot.refocused_rms_radius_um);
    /// From the middle's focus to the edge's, mm; negative: nearer to the primary.
    edge_defocus_mm: f64 = facts.edge_spot.defocus_mm;
    /// The same at the eye, dioptres; positive: the edge's light leaves the eyepiece converging.
    edge_defocus_dioptres: f64 = facts.edge_dioptres();
    /// Whether no light arrives at the edge, so that its sharpness is that of the mirror alone.
    spot_of_bare_mirror: bool = facts.edge_spot.of_bare_mirror;
    /// A quarter wave of defocus either way, mm.
    depth_of_focus_mm: f64 = facts.depth_of_focus_mm;
    /// The same at the eye, dioptres.
    depth_of_focus_dioptres: f64 = facts.depth_dioptres();
    /// Focus travel for one dioptre at the eye, mm.
    mm_per_dioptre: f64 = facts.mm_per_dioptre;
    /// How far inside of the focus the eye's accommodation still follows, mm.
    accommodation_mm: f64 = facts.accommodation_mm();
});
record!(PyEyepieceFacts, "EyepieceFacts",
    attributes: ["eyepiece", "eye_pupil_mm", "accommodation_dioptres", "wavelength_nm", "magnification", "exit_pupil_mm",
        "true_field_arcmin", "true_field_by_apparent_arcmin", "shadow_mm", "shadow_share", "effective_aperture_mm",
        "effective_focal_ratio", "effective_obstruction_ratio", "eye_share", "edge_worst", "edge_mean", "edge_best",
        "edge_worst_magnitudes", "edge_mean_magnitudes", "dimmed_by", "error_estimate", "edge_coma_um",
        "edge_coma_at_eye_arcmin", "edge_rms_radius_um", "edge_rms_radius_at_eye_arcmin", "edge_length_at_eye_arcmin",
        "refocused_rms_radius_at_eye_arcmin", "edge_defocus_mm", "edge_defocus_dioptres", "spot_of_bare_mirror",
        "depth_of_focus_mm", "depth_of_focus_dioptres", "mm_per_dioptre", "accommodation_mm", "cautions"],
    shown: ["magnification", "exit_pupil_mm", "true_field_arcmin", "shadow_mm", "edge_worst", "dimmed_by",
        "edge_coma_at_eye_arcmin", "edge_defocus_dioptres"]);

/// What a telescope gives on a sensor that stands in the middle of its field, columns along, rows across.
///
/// The corners' light is relative to the middle; their sharpness is that of exact rays in the brightest corner, the
/// middle being in focus at its least spot. Where no light arrives, it is that of the mirror with nothing in its way.
///
/// Units: mm; um; arcsec and arcmin on the sky; pixels; magnitudes, None where no light arrives; nm.
/// Errors: those of `Train.on_sensor`, which makes it.
/// Source: scale 1/f; cut-off of the aperture 1/(lambda F), so that the coarsest pixel that takes it all is lambda F/2;
/// a quarter wave of defocus is dz = 2 lambda F^2, a blur of one pixel dz = pixel F.
/// Leaves out: the sensor's own depth, cover glass, rotation.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=406, focal_length_mm=2030))
/// >>> facts = train.on_sensor(ct.Sensor(pixel_um=5, columns=3520, rows=2660))
/// >>> assert facts.along_mm == 17.6 and abs(facts.depth_of_focus_mm - 0.0275) < 1e-12
/// >>> assert facts.nyquist_pixel_um == 1.375 and facts.pixels_per_seeing is None
#[pyclass(name = "SensorFacts", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySensorFacts(SensorFacts);

getters!(PySensorFacts, |facts| {
    /// The sensor.
    sensor: PySensor = PySensor(facts.sensor);
    /// Wavelength, nm.
    wavelength_nm: f64 = facts.wavelength_nm;
    /// Side of a pixel on the sky, arcsec.
    pixel_arcsec: f64 = facts.pixel_arcsec;
    /// Side along, mm.
    along_mm: f64 = facts.along_mm;
    /// Side across, mm.
    across_mm: f64 = facts.across_mm;
    /// Field along, arcmin.
    field_along_arcmin: f64 = facts.field_along_arcmin;
    /// Field across, arcmin.
    field_across_arcmin: f64 = facts.field_across_arcmin;
    /// Field from corner to corner, arcmin.
    field_diagonal_arcmin: f64 = facts.field_diagonal_arcmin;
    /// Full width at half maximum of this aperture's perfect star, um.
    star_fwhm_um: f64 = facts.star_fwhm_um;
    /// Pixels across it.
    pixels_per_fwhm: f64 = facts.pixels_per_fwhm;
    /// The coarsest pixel that takes the finest detail of the aperture, um.
    nyquist_pixel_um: f64 = facts.nyquist_pixel_um;
    /// Pixels for a wavelength times focal ratio; below 2 fine detail comes back as false detail.
    pixels_per_lambda_f: f64 = facts.pixels_per_lambda_f;
    /// Pixels across the seeing's full width at half maximum, or None without air.
    pixels_per_seeing: Option<f64> = facts.pixels_per_seeing;
    /// Light in the darkest corner, relative to the middle; 0 where the middle is dark.
    corner_worst: f64 = share(facts.corner_light.as_ref(), |edge| edge.worst);
    /// Mean light of the four corners.
    corner_mean: f64 = share(facts.corner_light.as_ref(), |edge| edge.mean);
    /// Light in the brightest corner.
    corner_best: f64 = share(facts.corner_light.as_ref(), |edge| edge.best);
    /// Magnitudes lost in the darkest corner; None where no light arrives.
    corner_worst_magnitudes: Option<f64> = facts.corner_light.and_then(|edge| edge.worst_magnitudes());
    /// The part whose share grows most from the middle to the corners, shadows apart; None where nothing dims them.
    dimmed_by: Option<&'static str> = facts.corner_light.and_then(|edge| edge.dimmed_by).map(Part::key);
    /// Estimated error of the corners' light.
    error_estimate: f64 = share(facts.corner_light.as_ref(), |edge| edge.error_estimate);
    /// Tangential coma in the corner, um.
    corner_coma_um: f64 = facts.corner_spot.coma_um;
    /// The same in pixels.
    corner_coma_pixels: f64 = facts.in_pixels(facts.corner_spot.coma_um);
    /// RMS radius of the corner's spot, all errors together, in pixels.
    corner_rms_radius_pixels: f64 = facts.in_pixels(facts.corner_spot.rms_radius_um);
    /// RMS radius in pixels where the corner itself is brought to focus.
    refocused_rms_radius_pixels: f64 = facts.in_pixels(facts.corner_spot.refocused_rms_radius_um);
    /// From the middle's focus to the corner's, mm; negative: nearer to the primary.
    corner_defocus_mm: f64 = facts.corner_spot.defocus_mm;
    /// Whether no light arrives in the corner, so that its sharpness is that of the mirror alone.
    spot_of_bare_mirror: bool = facts.corner_spot.of_bare_mirror;
    /// A quarter wave of defocus either way, mm.
    depth_of_focus_mm: f64 = facts.depth_of_focus_mm;
    /// Defocus either way that blurs a point over one pixel, by rays, mm.
    depth_of_pixel_mm: f64 = facts.depth_of_pixel_mm;
    /// Tilt of the sensor that puts a corner a quarter wave out of focus, arcmin.
    tilt_tolerance_arcmin: f64 = facts.tilt_tolerance_arcmin;
    /// Tilt that blurs a corner's star over one pixel, by rays, arcmin.
    tilt_of_pixel_arcmin: f64 = facts.tilt_of_pixel_arcmin;
});
record!(PySensorFacts, "SensorFacts",
    attributes: ["sensor", "wavelength_nm", "pixel_arcsec", "along_mm", "across_mm", "field_along_arcmin",
        "field_across_arcmin", "field_diagonal_arcmin", "star_fwhm_um", "pixels_per_fwhm", "nyquist_pixel_um",
        "pixels_per_lambda_f", "pixels_per_seeing", "corner_worst", "corner_mean", "corner_best",
        "corner_worst_magnitudes", "dimmed_by", "error_estimate", "corner_coma_um", "corner_coma_pixels",
        "corner_rms_radius_pixels", "refocused_rms_radius_pixels", "corner_defocus_mm", "spot_of_bare_mirror",
        "depth_of_focus_mm", "depth_of_pixel_mm", "tilt_tolerance_arcmin", "tilt_of_pixel_arcmin"],
    shown: ["pixel_arcsec", "field_along_arcmin", "field_across_arcmin", "pixels_per_fwhm", "corner_worst", "dimmed_by",
        "corner_coma_pixels", "depth_of_focus_mm", "wavelength_nm"]);

/// Return a Table that compares eyepieces behind one telescope, a row each, in the order given.
///
/// Columns: the numbers of `EyepieceFacts` that differ from row to row; `dimmed_by` is empty where nothing dims the
/// edge, magnitudes are infinite where no light arrives there.
///
/// Units: each column's own, in its name; mm, dioptres and nm of the arguments.
/// Errors: InputError for no eyepieces, for what is none, and for an eye that cannot be.
/// Leaves out: what `EyepieceFacts` leaves out.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1000))
/// >>> eyepieces = [ct.Eyepiece(focal_length_mm=f, field_stop_mm=f) for f in (32, 20, 8)]
/// >>> table = ct.compare_eyepieces(train, eyepieces)
/// >>> assert table.rows == 3 and table["magnification"].tolist() == [31.25, 50, 125]
#[pyfunction]
#[pyo3(signature = (train, eyepieces, /, *, eye_pupil_mm=None, accommodation_dioptres=None, wavelength_nm=None),
    text_signature = "(train, eyepieces, /, *, eye_pupil_mm=None, accommodation_dioptres=0.0, wavelength_nm=550.0)")]
fn compare_eyepieces<'py>(
    py: Python<'py>,
    train: &Bound<'py, PyTrain>,
    eyepieces: &Bound<'py, PyAny>,
    eye_pupil_mm: Option<&Bound<'py, PyAny>>,
    accommodation_dioptres: Option<&Bound<'py, PyAny>>,
    wavelength_nm: Option<&Bound<'py, PyAny>>,
) -> PyResult<Bound<'py, PyAny>> {
    let options = options(eye_pupil_mm, accommodation_dioptres, wavelength_nm)?;
    let mut list: Vec<Eyepiece> = Vec::new();
    for (i, item) in eyepieces.try_iter()?.enumerate() {
        let item = item?;
        let Ok(eyepiece) = item.cast::<PyEyepiece>() else {
            let found = item.get_type().name()?.to_string();
            return Err(refused(py, &format!("eyepieces[{i}]"), &found, "an Eyepiece", ""));
        };
        list.push(eyepiece.get().0);
    }
    let prepared = train.get().prepared().clone();
    let rows = compute(py, move || prepared.behind_each(&list, options))?;
    let columns = PyDict::new(py);
    for (name, value) in COLUMNS {
        columns.set_item(name, column(py, rows.iter().map(value)))?;
    }
    let limits = rows.iter().map(|row| row.edge_light.and_then(|e| e.dimmed_by).map_or("", Part::key));
    columns.set_item("dimmed_by", limits.collect::<Vec<_>>())?;
    py.import("catoptric.table")?.call_method1("Table", (columns,))
}

/// A column's name, and its value in a row.
type NamedColumn = (&'static str, fn(&EyepieceFacts) -> f64);

const COLUMNS: [NamedColumn; 23] = [
    ("focal_length_mm", |f| f.eyepiece.focal_length_mm),
    ("field_stop_mm", |f| f.eyepiece.field_stop_mm),
    ("magnification", |f| f.magnification),
    ("exit_pupil_mm", |f| f.exit_pupil_mm),
    ("true_field_arcmin", |f| f.true_field_arcmin),
    ("shadow_mm", |f| f.shadow_mm),
    ("shadow_share", |f| f.shadow_share),
    ("effective_aperture_mm", |f| f.effective_aperture_mm),
    ("effective_obstruction_ratio", |f| f.effective_obstruction_ratio),
    ("eye_share", |f| f.eye_share),
    ("edge_worst", |f| share(f.edge_light.as_ref(), |edge| edge.worst)),
    ("edge_mean", |f| share(f.edge_light.as_ref(), |edge| edge.mean)),
    ("edge_best", |f| share(f.edge_light.as_ref(), |edge| edge.best)),
    ("edge_worst_magnitudes", |f| {
        f.edge_light.and_then(|edge| edge.worst_magnitudes()).unwrap_or(f64::INFINITY)
    }),
    ("edge_coma_at_eye_arcmin", |f| f.at_eye_arcmin(f.edge_spot.coma_um)),
    ("edge_rms_radius_at_eye_arcmin", |f| f.at_eye_arcmin(f.edge_spot.rms_radius_um)),
    ("edge_length_at_eye_arcmin", |f| f.at_eye_arcmin(f.edge_spot.length_um)),
    ("refocused_rms_radius_at_eye_arcmin", |f| f.at_eye_arcmin(f.edge_spot.refocused_rms_radius_um)),
    ("edge_defocus_dioptres", EyepieceFacts::edge_dioptres),
    ("depth_of_focus_mm", |f| f.depth_of_focus_mm),
    ("depth_of_focus_dioptres", EyepieceFacts::depth_dioptres),
    ("mm_per_dioptre", |f| f.mm_per_dioptre),
    ("accommodation_mm", EyepieceFacts::accommodation_mm),
];
