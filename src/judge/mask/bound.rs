//! When a mask over a stepped ring raises the peak of a star's image: in closed form.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::wave::check_wavelength;

/// A ring that stands a step above or below the rest of a perfect mirror, and what a mask over it does to the peak.
///
/// With the share p of the area and the phase phi = 4 pi g/lambda of a step g of glass the peak is, in units of that of
/// the perfect open mirror, |1 - p + p e^(i phi)|^2 = 1 - 4 p (1 - p) s, s = sin^2(phi/2). A mask over the ring leaves
/// (1 - p)^2. So it raises the peak where s > (2 - p)/(4 (1 - p)). For a narrow ring that is s > 1/2: steps from
/// lambda/8 to 3 lambda/8 of glass, and the same a half wave further on. A wider ring has to be worse, and one of two
/// thirds of the area or more is never worth masking by the peak.
///
/// Units: nm; shares of the area and of the perfect open mirror's peak.
/// Source: own derivation, above.
/// Leaves out: refocusing, which a real edge allows (the sweep has it); W = 2g, which is 2g/(1 + (r/R)^2) in truth (1 %
/// of the step at f/5).
///
/// ```
/// let bound = catoptric::masking_bound(0.05, 100.0, 550.0)?;
/// assert!(bound.raises_peak && bound.masked_peak == 0.95 * 0.95);
/// // 4 x 0.05 x 0.95 sin^2(2 pi 100/550), from 1.
/// assert!((bound.open_peak - (1.0 - 0.19 * 0.827_430)).abs() < 1e-6);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaskingBound {
    /// Share of the lit area that the ring takes.
    pub area_share: f64,
    /// Height of the ring over the rest, nm of glass; either sign.
    pub surface_step_nm: f64,
    /// Wavelength, nm.
    pub wavelength_nm: f64,
    /// Peak of the open mirror, of which the perfect one has 1: its Strehl.
    pub open_peak: f64,
    /// Peak with the ring masked.
    pub masked_peak: f64,
    /// Whether a mask over the ring raises the peak.
    pub raises_peak: bool,
    /// The smallest and the largest step, nm of glass, at which a mask over a ring of this share raises the peak,
    /// within the first half wave; none where none does.
    pub raising_step_nm: Option<(f64, f64)>,
}

/// When a mask over a stepped ring of an otherwise perfect mirror raises the peak.
///
/// Units: share of the lit area; nm of glass; nm.
/// Errors: [`Error::Input`] for a share outside 0 to 1, a step that is not finite or beyond 1 mm, a wavelength that
/// cannot be.
///
/// ```
/// // A narrow ring: from an eighth to three eighths of a wave of glass.
/// let (least, most) = catoptric::masking_bound(1e-9, 0.0, 800.0)?.raising_step_nm.expect("a narrow ring");
/// assert!((least - 100.0).abs() < 1e-3 && (most - 300.0).abs() < 1e-3);
/// assert_eq!(catoptric::masking_bound(0.7, 200.0, 800.0)?.raising_step_nm, None);
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn masking_bound(area_share: f64, surface_step_nm: f64, wavelength_nm: f64) -> Result<MaskingBound> {
    if !(area_share > 0.0 && area_share < 1.0) {
        let cause = if area_share >= 1.0 { "per cent?" } else { "" };
        let allowed = "a share of the lit area, above 0 and below 1";
        return Err(Error::input("area_share", area_share, allowed, cause));
    }
    if !(-1e6..=1e6).contains(&surface_step_nm) {
        let allowed = "a finite height of glass, up to 1 000 000 nm either way";
        return Err(Error::input("surface_step_nm", surface_step_nm, allowed, "millimetres or micrometres?"));
    }
    check_wavelength(wavelength_nm)?;
    let p = area_share;
    // The half phase repeats with half a wave of glass.
    let turns = (2.0 * surface_step_nm / wavelength_nm).rem_euclid(1.0);
    let s = libm::sin(PI * turns).powi(2);
    let least_s = (2.0 - p) / (4.0 * (1.0 - p));
    let raising_step_nm = (least_s < 1.0).then(|| {
        let least_nm = libm::asin(least_s.sqrt()) / (2.0 * PI) * wavelength_nm;
        (least_nm, 0.5 * wavelength_nm - least_nm)
    });
    Ok(MaskingBound {
        area_share,
        surface_step_nm,
        wavelength_nm,
        open_peak: 1.0 - 4.0 * p * (1.0 - p) * s,
        masked_peak: (1.0 - p).powi(2),
        raises_peak: s > least_s,
        raising_step_nm,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::random::Stream;

    #[test]
    fn the_bound_agrees_with_the_exact_change_of_the_peak() {
        let mut stream = Stream::new(7, 0);
        let (mut raised, mut lowered) = (0, 0);
        for _ in 0..20_000 {
            let p = 0.999 * stream.uniform() + 0.0005;
            let step_nm = 3000.0 * (stream.uniform() - 0.5);
            let wavelength_nm = 400.0 + 300.0 * stream.uniform();
            let bound = masking_bound(p, step_nm, wavelength_nm).expect("a bound");
            // The obvious way: the sum of two phasors, squared, with and without the second.
            let phi = 4.0 * PI * step_nm / wavelength_nm;
            let open = (1.0 - p + p * phi.cos()).powi(2) + (p * phi.sin()).powi(2);
            let masked = (1.0 - p) * (1.0 - p);
            assert!((bound.open_peak - open).abs() < 1e-12 && (bound.masked_peak - masked).abs() < 1e-15);
            if (masked - open).abs() > 1e-12 {
                assert_eq!(bound.raises_peak, masked > open, "{p} {step_nm} {wavelength_nm}");
                raised += usize::from(masked > open);
                lowered += usize::from(masked < open);
            }
            if let Some((least, most)) = bound.raising_step_nm {
                let within = step_nm.rem_euclid(0.5 * wavelength_nm);
                let inside = within > least && within < most;
                if (within - least).abs() > 1e-6 && (within - most).abs() > 1e-6 {
                    assert_eq!(inside, bound.raises_peak, "{p} {step_nm} {wavelength_nm}");
                }
            } else {
                assert!(p >= 2.0 / 3.0 && !bound.raises_peak);
            }
        }
        assert!(raised > 1000 && lowered > 1000, "{raised} {lowered}");
    }

    #[test]
    fn bad_values_are_named() {
        for (p, step, wavelength, field) in [
            (0.0, 1.0, 550.0, "area_share"),
            (5.0, 1.0, 550.0, "area_share"),
            (f64::NAN, 1.0, 550.0, "area_share"),
            (0.1, f64::INFINITY, 550.0, "surface_step_nm"),
            (0.1, 1.0, 0.55, "wavelength_nm"),
        ] {
            let error = masking_bound(p, step, wavelength).expect_err("refused");
            assert_eq!(error.problems()[0].field, field);
        }
    }
}
