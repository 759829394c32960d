//! Contrast of the perfect aperture, clear or obstructed, in closed form.

use std::f64::consts::PI;

use crate::error::{Error, Result};

/// Contrast of a perfect circular aperture with a round central obstruction.
///
/// Units: the frequency as a share of the cut-off D/(lambda f), the obstruction by diameter. 1 at frequency 0, 0 at the
/// cut-off and beyond.
/// Errors: [`Error::Input`] for a frequency below 0 and an obstruction that cannot be.
/// Source: O'Neill 1956, J. Opt. Soc. Am. 46, 285 (with the erratum, p. 1096): overlap areas of circles.
/// Leaves out: the cone of a fast mirror. On the axis of a paraboloid of focal ratio F the cut-off lies at
/// 2 sin(theta)/lambda, by 1/(16 F^2) of itself lower (2.5e-3 at f/5).
///
/// ```
/// use catoptric::perfect_mtf;
/// // A clear aperture at half of its cut-off: 2/3 - sqrt(3)/(2 pi), closed form.
/// assert!((perfect_mtf(0.5, 0.0)? - (2.0 / 3.0 - 3.0_f64.sqrt() / (2.0 * std::f64::consts::PI))).abs() < 1e-15);
/// assert!(perfect_mtf(0.8, 0.3)? > perfect_mtf(0.8, 0.0)?, "an obstruction raises the finest detail");
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn perfect_mtf(frequency_ratio: f64, obstruction_ratio: f64) -> Result<f64> {
    if !(frequency_ratio >= 0.0 && frequency_ratio.is_finite()) {
        let allowed = "0 or more, as a share of the cut-off";
        return Err(Error::input("frequency_ratio", frequency_ratio, allowed, ""));
    }
    if !(0.0..0.95).contains(&obstruction_ratio) {
        let allowed = "from 0 to less than 0.95, by diameter";
        return Err(Error::input("obstruction_ratio", obstruction_ratio, allowed, "per cent, or by area?"));
    }
    Ok(annulus(frequency_ratio, obstruction_ratio))
}

/// The same without checks.
pub(super) fn annulus(frequency_ratio: f64, obstruction_ratio: f64) -> f64 {
    let (apart, e) = (2.0 * frequency_ratio, obstruction_ratio);
    let common = lens(apart, 1.0, 1.0) + lens(apart, e, e) - 2.0 * lens(apart, 1.0, e);
    (common / (PI * (1.0 - e * e))).max(0.0)
}

/// Area common to two circles, the first not smaller than the second, whose centres lie this far apart.
fn lens(apart: f64, large: f64, small: f64) -> f64 {
    if apart >= large + small {
        return 0.0;
    }
    if apart <= large - small {
        return PI * small * small;
    }
    let (a2, l2, s2) = (apart * apart, large * large, small * small);
    let product =
        (small + large - apart) * (apart + small - large) * (apart - small + large) * (apart + small + large);
    // Twice the area of the triangle of both centres and a crossing, from its sides; angles by their tangents, which keep
    // their digits where the lens is thin.
    let kite = 0.5 * product.max(0.0).sqrt();
    let at_small = kite.atan2(0.5 * (a2 + s2 - l2));
    let at_large = kite.atan2(0.5 * (a2 + l2 - s2));
    s2 * at_small + l2 * at_large - kite
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contrast_falls_to_nothing_at_the_cut_off() {
        assert!((annulus(0.0, 0.3) - 1.0).abs() < 1e-15);
        assert!(annulus(1.0, 0.3).abs() < 1e-15 && annulus(7.0, 0.0).abs() < 1e-15);
        // Closed form near the cut-off of a clear aperture: (8 sqrt 2/(3 pi)) (1 - n)^(3/2).
        let near = annulus(1.0 - 1e-6, 0.0) / (8.0 * 2.0_f64.sqrt() / (3.0 * PI) * 1e-9);
        assert!((near - 1.0).abs() < 1e-5, "{near}");
    }
}
