//! What a train returns of the light, and how sharp: one train, in one colour or over a spectrum.

use super::evidence::{with_coating, with_flat};
use crate::error::Result;
use crate::model::{Coating, Train};
use crate::trace::Prepared;
use crate::units::Field;
use crate::wave::{Focus, Spectrum, Wavefront};

/// What the coatings of a train do on the axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct Returned {
    /// Mean over the lit pupil of what the primary returns, weighted over the spectrum.
    pub(super) primary: f64,
    /// The same of both mirrors.
    pub(super) both: f64,
    pub(super) amplitude_factor: f64,
}

/// The same with the sharpness that goes with it, at the mean wavelength.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sharpness {
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

/// What comes back of the light, without looking for a focus.
pub(super) fn returned(train: &Train, spectrum: &Spectrum) -> Result<Returned> {
    let one = |train: &Train, nm: f64| Prepared::new(train).wavefront(Field::AXIS, Focus::Paraxial, nm);
    // Where no film is, one colour speaks for all.
    let lines = if is_coloured(train) { spectrum.lines().to_vec() } else { vec![(spectrum.mean_nm(), 1.0)] };
    let alone = with_flat(train, 1.0)?;
    let (mut both, mut primary, mut amplitude_factor) = (0.0, 0.0, 0.0);
    for (nm, share) in lines {
        let wave = one(train, nm)?;
        both += share * wave.mean_reflectance();
        amplitude_factor += share * wave.amplitude_factor;
        primary += share
            * if train.diagonal().is_some() {
                one(&alone, nm)?.mean_reflectance()
            } else {
                wave.mean_reflectance()
            };
    }
    Ok(Returned { primary, both, amplitude_factor })
}

/// Strehl at the peak focus, with and without what the coating does to it.
pub(super) fn sharpness(train: &Train, wavelength_nm: f64) -> Result<Sharpness> {
    let seen = |train: &Train| -> Result<Wavefront> {
        Prepared::new(train).wavefront(Field::AXIS, Focus::Peak, wavelength_nm)
    };
    let wave = seen(train)?;
    let even = seen(&with_coating(train, Coating::default())?)?;
    let without = if train.primary().coating.metal.is_some() { wave.strehl_over(&even) } else { wave.strehl };
    Ok(Sharpness {
        strehl: wave.strehl,
        strehl_without_heights: without,
        strehl_even: even.strehl,
        error: wave.error_estimate.max(even.error_estimate),
    })
}
