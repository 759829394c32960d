//! What a star shows of the telescope besides its wavefront: an artificial star's own error, the spikes of vanes.

use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{field, number, wavelength};
use super::compute::compute;
use super::record::{getters, record};
use super::train::PyTrain;
use crate::{ArtificialStar, Spikes};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyArtificialStar>()?;
    module.add_class::<PySpikes>()
}

/// A lamp in the place of a star, seen by a perfect bare mirror: what the distance alone does.
///
/// A paraboloid brings only light from infinity to a point; a near lamp looks over-corrected.
///
/// Units: mm, nm. The third-order term at the rim is negative: over-corrected.
/// Source: exact paths; the matching conic, -((d - 2f)/d)^2, has lamp and image in its foci.
/// Errors: those of `Train.artificial_star`, which makes it.
/// Leaves out: the mirror's own errors, which add to this; the diagonal, which may cut the longer cone; the lamp's
/// size.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
/// >>> near = train.artificial_star(30_000)
/// >>> assert abs(near.focus_moves_mm - 1558**2 / (30_000 - 1558)) < 1e-9
/// >>> assert near.strehl < 0.5 and near.spherical_nm < 0
#[pyclass(name = "ArtificialStar", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyArtificialStar(ArtificialStar);

getters!(PyArtificialStar, |near| {
    /// From the primary's vertex to the lamp, mm.
    distance_mm: f64 = near.distance_mm;
    /// How far behind the focus for the sky the image lies, mm.
    focus_moves_mm: f64 = near.focus_moves_mm;
    /// Third-order spherical aberration at the rim, nm of wavefront; negative: over-corrected.
    spherical_nm: f64 = near.spherical_nm;
    /// RMS of the wavefront at the focus where it is least, nm.
    rms_nm: f64 = near.rms_nm;
    /// Highest minus lowest point of it there, nm.
    pv_nm: f64 = near.pv_nm;
    /// The greatest Strehl that the perfect mirror shows on this lamp.
    strehl: f64 = near.strehl;
    /// The conic constant of the mirror that would be perfect at this distance.
    matching_conic: f64 = near.matching_conic;
    /// Wavelength, nm.
    wavelength_nm: f64 = near.wavelength_nm;
    /// Estimated error of the Strehl.
    error_estimate: f64 = near.error_estimate;
});
record!(PyArtificialStar, "ArtificialStar",
    attributes: ["distance_mm", "focus_moves_mm", "spherical_nm", "rms_nm", "pv_nm", "strehl", "matching_conic",
        "wavelength_nm", "error_estimate"],
    shown: ["distance_mm", "focus_moves_mm", "pv_nm", "rms_nm", "strehl", "matching_conic", "wavelength_nm"]);

/// What the vanes of a spider take from a star, and where they scatter it.
///
/// The share v of the light outside the shadows is stopped, (1 - v)^2 stays in the pattern that the star would
/// have without vanes, and v (1 - v) is spread square to the vanes: a spike on both sides for each straight one.
///
/// Units: shares of the light that would pass without vanes; degrees in the image, from `along` toward `across`;
/// arcsec on the sky and um in the focal plane for the first dark place of a spike, wavelength over thickness.
/// Source: Babinet's principle; diffraction of a slit (Born & Wolf, Principles of Optics, chapter 8, from memory).
/// Errors: those of `Train.spikes`, which makes it.
/// Leaves out: the light of spikes and rings that overlaps and interferes; uneven coatings; a lamp nearby, in whose
/// light a vane's shadow on the mirror is wider than the vane.
///
/// >>> flat, plane = ct.Diagonal(minor_axis_mm=70), ct.FocalPlane(axis_to_focus_mm=235)
/// >>> mirror = ct.Primary(clear_aperture_mm=318, focal_length_mm=1558)
/// >>> train = ct.Train(primary=mirror, diagonal=flat, focal_plane=plane)
/// >>> spikes = train.with_spider(vanes=3, thickness_mm=1.0).spikes()
/// >>> assert len(spikes.directions_deg) == 6
/// >>> assert abs(spikes.first_null_arcsec - 550e-6 / 1.0 * 206264.806) < 1e-3
#[pyclass(name = "Spikes", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PySpikes(Spikes);

#[pymethods]
impl PySpikes {
    /// Directions of the spikes, degrees, ascending; for bent vanes the middle of the fan that each draws.
    #[getter]
    fn directions_deg<'py>(&self, py: Python<'py>) -> Bound<'py, PyArray1<f64>> {
        self.0.directions_deg.clone().into_pyarray(py)
    }
}

getters!(PySpikes, |spikes| {
    /// What the vanes stop.
    blocked_share: f64 = spikes.blocked_share;
    /// What reaches the image, but outside of the pattern that the star would have without vanes.
    scattered_share: f64 = spikes.scattered_share;
    /// What is left in that pattern.
    left_in_pattern: f64 = spikes.left_in_pattern;
    /// Angle of the fan over which each spike is spread, degrees; 0 for straight vanes.
    fan_deg: f64 = spikes.fan_deg;
    /// First dark place of a spike's own pattern, arcsec from the star.
    first_null_arcsec: f64 = spikes.first_null_arcsec;
    /// The same in the focal plane, um.
    first_null_um: f64 = spikes.first_null_um;
    /// Share of a spike's light within its first dark places.
    share_within_first_null: f64 = spikes.share_within_first_null;
    /// How many spikes there are.
    spikes: usize = spikes.directions_deg.len();
    /// Wavelength, nm.
    wavelength_nm: f64 = spikes.wavelength_nm;
    /// Estimated error of the shares.
    error_estimate: f64 = spikes.error_estimate;
});
record!(PySpikes, "Spikes",
    attributes: ["blocked_share", "scattered_share", "left_in_pattern", "directions_deg", "fan_deg",
        "first_null_arcsec", "first_null_um", "share_within_first_null", "wavelength_nm", "error_estimate"],
    shown: ["blocked_share", "scattered_share", "left_in_pattern", "spikes", "fan_deg", "first_null_arcsec",
        "first_null_um", "wavelength_nm"]);

#[pymethods]
impl PyTrain {
    /// Return what an artificial star at a distance shows on a perfect bare mirror of this train's sizes.
    ///
    /// Units: mm from the primary's vertex; nm.
    /// Errors: InputError for a distance below twice the focal length.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558, conic=-0.9))
    /// >>> perfect = train.with_primary(conic=-1).artificial_star(50_000)
    /// >>> assert train.artificial_star(50_000) == perfect  # the mirror's own errors do not count
    #[pyo3(signature = (distance_mm, /, *, wavelength_nm=None),
        text_signature = "($self, distance_mm, /, *, wavelength_nm=550.0)")]
    fn artificial_star(
        &self,
        py: Python<'_>,
        distance_mm: &Bound<'_, PyAny>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<PyArtificialStar> {
        let (distance_mm, wavelength_nm) = (number(distance_mm, "distance_mm")?, wavelength(wavelength_nm)?);
        let prepared = self.prepared().clone();
        compute(py, move || prepared.artificial_star(distance_mm, wavelength_nm)).map(PyArtificialStar)
    }

    /// Return the smallest distance at which an artificial star adds no more than a wavefront error, mm.
    ///
    /// Units: nm of wavefront, highest minus lowest point at the focus of least RMS; mm from the vertex.
    /// Errors: InputError for an error that is not above 0 or that no distance makes so large.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> eighth_of_a_wave = train.smallest_star_distance(largest_pv_nm=550 / 8)
    /// >>> assert abs(train.artificial_star(eighth_of_a_wave).pv_nm - 550 / 8) < 0.01
    #[pyo3(signature = (*, largest_pv_nm))]
    fn smallest_star_distance(&self, py: Python<'_>, largest_pv_nm: &Bound<'_, PyAny>) -> PyResult<f64> {
        let largest_pv_nm = number(largest_pv_nm, "largest_pv_nm")?;
        let prepared = self.prepared().clone();
        compute(py, move || prepared.smallest_star_distance_mm(largest_pv_nm))
    }

    /// Return the spikes that the spider's vanes draw from a star, or None without a spider.
    ///
    /// Units: arcmin, nm.
    /// Errors: InputError.
    ///
    /// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=318, focal_length_mm=1558))
    /// >>> assert train.spikes() is None
    #[pyo3(signature = (*, field_arcmin=None, wavelength_nm=None),
        text_signature = "($self, *, field_arcmin=(0.0, 0.0), wavelength_nm=550.0)")]
    fn spikes(
        &self,
        py: Python<'_>,
        field_arcmin: Option<&Bound<'_, PyAny>>,
        wavelength_nm: Option<&Bound<'_, PyAny>>,
    ) -> PyResult<Option<PySpikes>> {
        let (field, wavelength_nm) = (field(field_arcmin)?, wavelength(wavelength_nm)?);
        let prepared = self.prepared().clone();
        Ok(compute(py, move || prepared.spikes(field, wavelength_nm))?.map(PySpikes))
    }
}
