//! Sines and cosines of whole lists, in a form that compilers turn into vector instructions.

use std::f64::consts::FRAC_2_PI;

/// A quarter turn in three parts: the first two have so few digits that a whole number below 2^20
/// times either is exact.
const QUARTER: [f64; 3] = [1.570_796_326_734_125_6, 6.077_100_506_303_966e-11, 2.022_266_248_795_950_6e-21];
/// Adding and taking away 1.5 x 2^52 rounds to the nearest whole number.
const ROUNDER: f64 = 6_755_399_441_055_744.0;

/// Fills the sines and cosines of angles in radians.
///
/// Absolute error below 3e-16 up to 1e5 radians, growing with the angle beyond. Source: the series
/// of Abramowitz & Stegun 1964, 4.3.65 and 4.3.66, within an eighth of a turn of the nearest quarter.
pub(crate) fn sines_and_cosines(angles: &[f64], sines: &mut Vec<f64>, cosines: &mut Vec<f64>) {
    sines.resize(angles.len(), 0.0);
    cosines.resize(angles.len(), 0.0);
    for ((angle, sine), cosine) in angles.iter().zip(sines.iter_mut()).zip(cosines.iter_mut()) {
        (*sine, *cosine) = sine_and_cosine(*angle);
    }
}

/// Sine and cosine of one angle in radians, without a branch.
#[allow(clippy::inline_always)] // or it is compiled without the vector instructions of its caller
#[inline(always)]
pub(crate) fn sine_and_cosine(angle: f64) -> (f64, f64) {
    let shifted = angle * FRAC_2_PI + ROUNDER;
    let quarters = shifted - ROUNDER;
    let turn = shifted.to_bits();
    let x = ((angle - quarters * QUARTER[0]) - quarters * QUARTER[1]) - quarters * QUARTER[2];
    let x2 = x * x;
    let odd = x + x * x2 * polynomial(&SINE, x2);
    let even = (1.0 - 0.5 * x2) + x2 * x2 * polynomial(&COSINE, x2);
    let is_odd = turn & 1 == 1;
    let (s, c) = if is_odd { (even, odd) } else { (odd, even) };
    let sine_sign = (turn & 2) << 62;
    let cosine_sign = ((turn + 1) & 2) << 62;
    (f64::from_bits(s.to_bits() ^ sine_sign), f64::from_bits(c.to_bits() ^ cosine_sign))
}

/// Coefficients of the series beyond x, from x^3, and beyond x^2, from x^4.
const SINE: [f64; 7] = [
    -1.0 / 6.0,
    1.0 / 120.0,
    -1.0 / 5040.0,
    1.0 / 362_880.0,
    -1.0 / 39_916_800.0,
    1.0 / 6_227_020_800.0,
    -1.0 / 1_307_674_368_000.0,
];
const COSINE: [f64; 7] = [
    1.0 / 24.0,
    -1.0 / 720.0,
    1.0 / 40_320.0,
    -1.0 / 3_628_800.0,
    1.0 / 479_001_600.0,
    -1.0 / 87_178_291_200.0,
    1.0 / 20_922_789_888_000.0,
];

#[allow(clippy::inline_always)] // or it is compiled without the vector instructions of its caller
#[inline(always)]
fn polynomial(coefficients: &[f64; 7], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sines_and_cosines_agree_with_the_library_of_the_language() {
        let angles: Vec<f64> = (-40_000..40_000).map(|k| f64::from(k) * 0.037_1 + 1e-3).collect();
        let (mut sines, mut cosines) = (Vec::new(), Vec::new());
        sines_and_cosines(&angles, &mut sines, &mut cosines);
        for ((angle, sine), cosine) in angles.iter().zip(&sines).zip(&cosines) {
            assert!((sine - libm::sin(*angle)).abs() < 4e-16, "sine of {angle}");
            assert!((cosine - libm::cos(*angle)).abs() < 4e-16, "cosine of {angle}");
        }
    }
}
