//! One mask, what it leaves to a refigure, and when a mask can raise the peak at all.

use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde::{Deserialize, Serialize};

use super::arguments::{number, wavelength};
use super::errors::exception;
use super::record::{getters, record};
use crate::{LeftAfterMask, MaskRow, MaskValue, MaskingBound};

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add_class::<PyMaskRow>()?;
    module.add_class::<PyLeftAfterMask>()?;
    module.add_class::<PyMaskingBound>()?;
    module.add_function(wrap_pyfunction!(py_masking_bound, module)?)
}

/// What a mirror shows through a mask of one inner diameter, at its own brightest focus.
///
/// Every `..._interval` holds 95 % of the figures that the readings allow; of a train it is None, lists of them are
/// empty.
///
/// Units: mm, arcsec; shares of 1.
/// Shapes: contrasts have one entry a detail; empty where not computed.
/// Errors: those of `mask_sweep`.
///
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200))
/// >>> row = ct.mask_sweep(train, diameters_mm=[180], detail_arcsec=[], star_image=False).at(diameter_mm=180)
/// >>> assert abs(row.peak_brightness - 0.81**2) < 1e-6 and row.fwhm_arcsec is None
#[pyclass(name = "MaskRow", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMaskRow(pub(super) MaskRow);

fn values(list: &[MaskValue]) -> Vec<f64> {
    list.iter().map(|v| v.value).collect()
}

fn ends(value: &MaskValue) -> Option<(f64, f64)> {
    value.interval.map(|i| (i.low, i.high))
}

fn intervals(list: &[MaskValue]) -> Vec<(f64, f64)> {
    list.iter().filter_map(ends).collect()
}

getters!(PyMaskRow, |row| {
    /// Inner diameter of the mask, mm.
    diameter_mm: f64 = row.diameter_mm;
    /// Strehl.
    strehl: f64 = row.strehl.value;
    /// Its interval.
    strehl_interval: Option<(f64, f64)> = ends(&row.strehl);
    /// Light, as a share of that of the open mirror.
    light: f64 = row.light;
    /// Strehl times light: the share of the open mirror's light that is where a perfect figure would send it.
    core_light: f64 = row.core_light.value;
    /// Its interval.
    core_light_interval: Option<(f64, f64)> = ends(&row.core_light);
    /// Peak of a star's image over that of a perfect figure on the open mirror.
    peak_brightness: f64 = row.peak_brightness.value;
    /// Its interval.
    peak_brightness_interval: Option<(f64, f64)> = ends(&row.peak_brightness);
    /// How far the brightest focus lies from that of the open mirror, mm; positive further from the primary.
    focus_shift_mm: f64 = row.focus_shift_mm;
    /// The period beyond which nothing is resolved, wavelength over diameter, arcsec.
    cutoff_arcsec: f64 = row.cutoff_arcsec;
    /// Full width of a star's image at half of its peak, arcsec; None where not computed.
    fwhm_arcsec: Option<f64> = row.fwhm_arcsec.map(|v| v.value);
    /// Contrast of each detail in still air.
    contrast: Vec<f64> = values(&row.contrast);
    /// Their intervals.
    contrast_intervals: Vec<(f64, f64)> = intervals(&row.contrast);
    /// What the mask adds to the contrast of each detail over that of the open mirror.
    contrast_gain: Vec<f64> = values(&row.contrast_gain);
    /// Their intervals.
    contrast_gain_intervals: Vec<(f64, f64)> = intervals(&row.contrast_gain);
    /// Contrast of each detail through the stated air; empty without one.
    seeing_contrast: Vec<f64> = values(&row.seeing_contrast);
    /// Share of the light through the mask within the Airy disk of the open mirror without obstruction; None where not
    /// computed.
    airy_energy: Option<f64> = row.airy_energy.map(|v| v.value);
    /// The same within the Airy disk of the masked mirror itself; None where not computed.
    own_airy_energy: Option<f64> = row.own_airy_energy.map(|v| v.value);
    /// Share of the figures whose Strehl rises by the stated amount or more; None for a train.
    probability_rises: Option<f64> = row.probability_rises;
    /// Share of the figures whose peak brightness rises; None for a train.
    probability_brighter: Option<f64> = row.probability_brighter;
    /// Share of the figures for which the diameter holds; of a train 0 or 1.
    holds: f64 = row.holds;
    /// Estimated error of the Strehl.
    error_estimate: f64 = row.error_estimate;
});
record!(PyMaskRow, "MaskRow",
    attributes: ["diameter_mm", "strehl", "strehl_interval", "light", "core_light", "core_light_interval",
        "peak_brightness", "peak_brightness_interval", "focus_shift_mm", "cutoff_arcsec", "fwhm_arcsec", "contrast", "contrast_intervals",
        "contrast_gain", "contrast_gain_intervals", "seeing_contrast", "airy_energy", "own_airy_energy",
        "probability_rises", "probability_brighter", "holds", "error_estimate"],
    shown: ["diameter_mm", "strehl", "light", "core_light"]);

/// What is left for a refigure when the recommended mask is on.
///
/// Every `..._interval` holds 95 % of the figures that the readings allow; of a train it is None, lists of them are
/// empty.
///
/// Units: mm; shares of 1.
/// Shapes: contrasts have one entry a detail.
/// Errors: those of `mask_sweep`.
///
/// >>> edge = ct.TurnedEdge(width_mm=4, drop_nm=500)
/// >>> train = ct.Train(primary=ct.Primary(clear_aperture_mm=200, focal_length_mm=1200, figure=[edge]))
/// >>> left = ct.mask_sweep(train, diameters_mm=[192], detail_arcsec=[1.0], star_image=False).left_after_mask
/// >>> assert left.strehl < 0.01 and 0 < left.contrast_full[0] < left.contrast_unmasked[0]
#[pyclass(name = "LeftAfterMask", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyLeftAfterMask(pub(super) LeftAfterMask);

getters!(PyLeftAfterMask, |left| {
    /// Inner diameter of the mask, mm.
    diameter_mm: f64 = left.diameter_mm;
    /// Strehl that a perfect figure would add behind the same mask.
    strehl: f64 = left.strehl.value;
    /// Its interval.
    strehl_interval: Option<(f64, f64)> = ends(&left.strehl);
    /// Contrast that a perfect figure would add behind the same mask.
    contrast: Vec<f64> = values(&left.contrast);
    /// Their intervals.
    contrast_intervals: Vec<(f64, f64)> = intervals(&left.contrast);
    /// Contrast that a perfect figure without a mask has over the figure as it is with the mask.
    contrast_full: Vec<f64> = values(&left.contrast_full);
    /// Their intervals.
    contrast_full_intervals: Vec<(f64, f64)> = intervals(&left.contrast_full);
    /// Contrast that a perfect figure has over the figure as it is, both without a mask.
    contrast_unmasked: Vec<f64> = values(&left.contrast_unmasked);
    /// Their intervals.
    contrast_unmasked_intervals: Vec<(f64, f64)> = intervals(&left.contrast_unmasked);
    /// Peak brightness that a perfect figure without a mask has over the figure as it is with the mask.
    peak_brightness: f64 = left.peak_brightness.value;
    /// Its interval.
    peak_brightness_interval: Option<(f64, f64)> = ends(&left.peak_brightness);
});
record!(PyLeftAfterMask, "LeftAfterMask",
    attributes: ["diameter_mm", "strehl", "strehl_interval", "contrast", "contrast_intervals", "contrast_full",
        "contrast_full_intervals", "contrast_unmasked", "contrast_unmasked_intervals", "peak_brightness",
        "peak_brightness_interval"],
    shown: ["diameter_mm", "strehl", "contrast_full", "peak_brightness"]);

/// A ring that stands a step above or below the rest of a perfect mirror, and what a mask over it does to the peak.
///
/// With the share p of the area and the phase phi = 4 pi g/lambda of a step g of glass the peak is 1 - 4 p (1 - p) s of
/// the perfect one, s = sin^2(phi/2); a mask leaves (1 - p)^2. So it raises the peak where s > (2 - p)/(4 (1 - p)): for
/// a narrow ring steps from lambda/8 to 3 lambda/8, and never for two thirds of the area or more.
///
/// Units: nm; shares of the area and of the perfect open mirror's peak.
/// Errors: those of `masking_bound`.
/// Source: own derivation, above.
/// Leaves out: refocusing, which a real edge allows (`mask_sweep` has it); W = 2g, which is 2g/(1 + (r/R)^2) in truth.
///
/// >>> bound = ct.masking_bound(area_share=0.05, surface_step_nm=100)
/// >>> assert bound.raises_peak and bound.masked_peak > bound.open_peak
#[pyclass(name = "MaskingBound", module = "catoptric", frozen, eq)]
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PyMaskingBound(MaskingBound);

getters!(PyMaskingBound, |bound| {
    /// Share of the lit area that the ring takes.
    area_share: f64 = bound.area_share;
    /// Height of the ring over the rest, nm of glass.
    surface_step_nm: f64 = bound.surface_step_nm;
    /// Wavelength, nm.
    wavelength_nm: f64 = bound.wavelength_nm;
    /// Peak of the open mirror, of which the perfect one has 1: its Strehl.
    open_peak: f64 = bound.open_peak;
    /// Peak with the ring masked.
    masked_peak: f64 = bound.masked_peak;
    /// Whether a mask over the ring raises the peak.
    raises_peak: bool = bound.raises_peak;
    /// The smallest and the largest step, nm of glass, within the first half wave, at which a mask over a ring of this
    /// share raises the peak; None where none does.
    raising_step_nm: Option<(f64, f64)> = bound.raising_step_nm;
});
record!(PyMaskingBound, "MaskingBound",
    attributes: ["area_share", "surface_step_nm", "wavelength_nm", "open_peak", "masked_peak", "raises_peak",
        "raising_step_nm"],
    shown: ["area_share", "surface_step_nm", "open_peak", "masked_peak", "raises_peak"]);

/// Return when a mask over a stepped ring of an otherwise perfect mirror raises the peak, in closed form.
///
/// `area_share` is the ring's share of the lit area, `surface_step_nm` its height over the rest, either sign.
///
/// Units: nm of glass; nm.
/// Errors: InputError for a share outside 0 to 1, a step that is not finite, a wavelength that cannot be.
///
/// >>> low, high = ct.masking_bound(area_share=1e-9, surface_step_nm=0, wavelength_nm=800).raising_step_nm
/// >>> assert abs(low - 100) < 1e-3 and abs(high - 300) < 1e-3
#[pyfunction(name = "masking_bound")]
#[pyo3(signature = (*, area_share, surface_step_nm, wavelength_nm=None),
    text_signature = "(*, area_share, surface_step_nm, wavelength_nm=550.0)")]
fn py_masking_bound(
    py: Python<'_>,
    area_share: &Bound<'_, PyAny>,
    surface_step_nm: &Bound<'_, PyAny>,
    wavelength_nm: Option<&Bound<'_, PyAny>>,
) -> PyResult<PyMaskingBound> {
    let (share, step) = (number(area_share, "area_share")?, number(surface_step_nm, "surface_step_nm")?);
    crate::masking_bound(share, step, wavelength(wavelength_nm)?)
        .map(PyMaskingBound)
        .map_err(|e| exception(py, e))
}
