//! Transfer functions by slower roads, for tests: far finer sums, and kept or dropped points.

use super::overlap::Fineness;
use super::plane::Plane;
use super::row::Turned;
pub(in crate::wave) use super::transfer::Curves;
use super::transfer::{curves, curves_from};
use crate::error::Result;
use crate::wave::spectrum::Spectrum;
use crate::wave::wavefront::Wavefront;

/// The transfer functions as they are handed out, with their stated error.
pub(in crate::wave) fn stated(wave: &Wavefront, azimuths_deg: &[f64], per_mm: &[f64]) -> Result<Curves> {
    curves(wave, &Spectrum::line(wave.wavelength_nm)?, azimuths_deg, per_mm, None)
}

/// The same on twice as many nodes of each panel and piece.
pub(in crate::wave) fn finer(wave: &Wavefront, azimuths_deg: &[f64], per_mm: &[f64]) -> Result<Curves> {
    let fineness = (0..2).fold(Fineness::CURVES, |fineness, _| fineness.finer());
    curves_from(fineness, wave, &Spectrum::line(wave.wavelength_nm)?, azimuths_deg, per_mm, None)
}

/// One value by the obvious sum over a square net of kept or dropped points, which knows no rows, bands or crossings.
pub(in crate::wave) fn dense(wave: &Wavefront, azimuth_deg: f64, per_mm: f64, side: u32) -> Result<[f64; 2]> {
    let plane = Plane::new(&wave.source, wave.reference_mm, wave.image_focal_ratio()?);
    let turned = Turned::new(&plane, azimuth_deg.to_radians());
    let shift = per_mm * wave.wavelength_nm * 1e-6;
    let (reach, mut values) = (turned.reach(), Vec::new());
    let step = 2.0 * reach / f64::from(side);
    let mut at = |x: f64, y: f64| {
        let m = turned.m(x, y);
        let lit = plane.values(m, &mut values);
        if lit { plane.light(m) } else { None }
    };
    let (mut re, mut im, mut energy) = (0.0, 0.0, 0.0);
    for i in 0..side {
        for j in 0..side {
            // A net that is turned a little lies along no vane.
            let (a, b) = (step * (f64::from(i) + 0.5) - reach, step * (f64::from(j) + 0.37) - reach);
            let (x, y) = (a * 0.995_004_165 - b * 0.099_833_417, a * 0.099_833_417 + b * 0.995_004_165);
            if let Some(light) = at(x, y) {
                energy += light.amplitude * light.amplitude;
            }
            let Some(forward) = at(x - 0.5 * shift, y) else { continue };
            let Some(back) = at(x + 0.5 * shift, y) else { continue };
            let product = forward.amplitude * back.amplitude;
            let phase = std::f64::consts::TAU / wave.wavelength_nm * (forward.path_nm - back.path_nm);
            re += product * phase.cos();
            im += product * phase.sin();
        }
    }
    Ok([re / energy, im / energy])
}
