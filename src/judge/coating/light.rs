//! What a train returns of the light, and how sharp: one train, in one colour or over a spectrum.

use crate::error::Result;
use crate::judge::changed_train::{with_coating, with_flat};
use crate::model::{Coating, Train};
use crate::trace::Prepared;
use crate::units::Field;
use crate::wave::{Focus, Spectrum, Wavefront};

/// What the coatings of a train do on the axis, the Strehl at the peak focus.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    /// Mean over the lit pupil of what both mirrors return, weighted over the spectrum.
    pub(super) both: f64,
    /// What the diagonal returns of it; 1 without one.
    pub(super) diagonal: f64,
    pub(super) amplitude_factor: f64,
    pub(super) strehl: f64,
    /// The same light over the glass without the metal's heights.
    pub(super) strehl_without_heights: f64,
    /// The glass under an even coat.
    pub(super) strehl_even: f64,
    pub(super) error: f64,
}

/// Whether the coatings depend on the colour.
fn is_coloured(train: &Train) -> bool {
    train.primary().coating.metal.is_some() || train.diagonal().is_some_and(|d| d.film.is_some())
}

/// Light and sharpness of a train.
pub(super) fn seen(prepared: &Prepared, spectrum: &Spectrum) -> Result<Seen> {
    let train = prepared.train();
    let wave = at_peak(prepared, spectrum.mean_nm())?;
    let bare = prepared.changed(&with_coating(train, Coating::default())?);
    let even = at_peak(&bare, spectrum.mean_nm())?;
    let without = if train.primary().coating.metal.is_some() { wave.strehl_over(&even) } else { wave.strehl };
    let light = light_of(prepared, spectrum, &wave)?;
    Ok(Seen {
        both: light.0,
        diagonal: diagonal(prepared, spectrum)?,
        amplitude_factor: light.1,
        strehl: wave.strehl,
        strehl_without_heights: without,
        strehl_even: even.strehl,
        error: wave.error_estimate.max(even.error_estimate),
    })
}

/// What both mirrors return, and the Strehl, of a train that differs in its coating alone.
pub(super) fn light_and_strehl(prepared: &Prepared, spectrum: &Spectrum) -> Result<(f64, f64)> {
    let wave = at_peak(prepared, spectrum.mean_nm())?;
    Ok((light_of(prepared, spectrum, &wave)?.0, wave.strehl))
}

/// What both mirrors return, whatever the focus, in the colour of which the coating is the same as in all.
pub(super) fn light(prepared: &Prepared, wavelength_nm: f64) -> Result<f64> {
    Ok(prepared.wavefront(Field::AXIS, Focus::Paraxial, wavelength_nm)?.mean_reflectance())
}

fn at_peak(prepared: &Prepared, wavelength_nm: f64) -> Result<Wavefront> {
    prepared.wavefront(Field::AXIS, Focus::Peak, wavelength_nm)
}

/// Mean reflectance and amplitude factor over a spectrum; `wave` is that of its mean wavelength.
fn light_of(prepared: &Prepared, spectrum: &Spectrum, wave: &Wavefront) -> Result<(f64, f64)> {
    // Where no film is, one colour speaks for all.
    if !is_coloured(prepared.train()) || spectrum.lines().len() == 1 {
        return Ok((wave.mean_reflectance(), wave.amplitude_factor));
    }
    let (mut both, mut factor) = (0.0, 0.0);
    for &(nm, share) in spectrum.lines() {
        let own = prepared.wavefront(Field::AXIS, Focus::Paraxial, nm)?;
        both += share * own.mean_reflectance();
        factor += share * own.amplitude_factor;
    }
    Ok((both, factor))
}

/// What the diagonal returns, weighted over the spectrum by what the primary's middle sends it.
fn diagonal(with: &Prepared, spectrum: &Spectrum) -> Result<f64> {
    let train = with.train();
    if train.diagonal().is_none() {
        return Ok(1.0);
    }
    let without = with.changed(&with_flat(train, 1.0)?);
    let (mut both, mut primary) = (0.0, 0.0);
    for &(nm, share) in spectrum.lines() {
        both += share * with.in_colour(nm)?.reflectance(0.0, 0.0);
        primary += share * without.in_colour(nm)?.reflectance(0.0, 0.0);
    }
    Ok(both / primary)
}
