//! What a perfect paraboloid shows when it is tested at its centre of curvature without a null.

use crate::numeric::gauss::on_interval;
use crate::numeric::zernike::{norm, radial};
use crate::units::NM_PER_MM;

/// Radial orders that are computed: 6 and 10 vanish by symmetry, 12 is below 1e-9 nm down to f/3.
const ORDERS: [u32; 2] = [4, 8];
/// Nodes in r^2: the wavefront is nearly a polynomial of low order.
const NODES: usize = 40;

/// Wavefront of a paraboloid seen from near its centre of curvature, as terms (n, coefficient) of unit RMS, nm.
///
/// Light from P = (0, 0, R + e) meets the paraboloid z = r^2/2R at Q and comes back to P:
/// W = 2 (R + e - |P - Q|), positive where the wave is ahead. |P - Q|^2 = (R + e)^2 - e r^2/R + r^4/4R^2, so at e = 0
/// W = -r^4/(4R^3) to third order: the rim of a paraboloid lies below the sphere about its centre of curvature, and its wave is late.
/// e = a^2/4R, a the radius of the tested circle, is where the defocus term vanishes, as an interferometer is set up: there W is a
/// function of (r/a)^2 - (r/a)^4, even about the radius that halves the area, and defocus is odd.
///
/// Source: own derivation, exact; coefficients by quadrature.
/// Leaves out: a camera that pictures the mirror with distortion; one that maps tan of the angle instead of r makes
/// (r/R)^2/2 more of r, 2e-3 at the rim at f/4 and four times that in the term. Where the interferometer really
/// stood matters by less than 1e-3 of the term at f/4.
pub(super) fn paraboloid_at_centre_of_curvature(tested_diameter_mm: f64, radius_mm: f64) -> Vec<(u32, f64)> {
    let rim = 0.5 * tested_diameter_mm;
    let shift = rim * rim / (4.0 * radius_mm);
    ORDERS.iter().map(|&n| (n, coefficient(n, rim, radius_mm, shift))).collect()
}

/// The coefficient of the term (n, 0) of unit RMS over the circle, nm.
fn coefficient(n: u32, rim: f64, radius_mm: f64, shift_mm: f64) -> f64 {
    let term = |square: f64| {
        let path = path_mm(square * rim * rim, radius_mm, shift_mm);
        path * norm(n, 0) * radial(n, 0, square.sqrt())
    };
    NM_PER_MM * on_interval(NODES, 0.0, 1.0).map(|(square, weight)| weight * term(square)).sum::<f64>()
}

/// 2 (R + e - |P - Q|), written so that nothing cancels, mm.
fn path_mm(square_mm2: f64, radius_mm: f64, shift_mm: f64) -> f64 {
    let far = radius_mm + shift_mm;
    let excess = square_mm2 * (square_mm2 / (4.0 * radius_mm * radius_mm) - shift_mm / radius_mm);
    -2.0 * excess / (far + (far * far + excess).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_term_is_that_of_the_textbook() {
        // W = -r^4/(4R^3); r^4 holds 1/(6 sqrt 5) of Noll 11 (Born & Wolf, section 9.2; from memory). Next order: (a/R)^2.
        for (diameter, radius) in [(200.0_f64, 2400.0_f64), (318.0, 3116.0), (400.0, 16000.0)] {
            let third_order =
                -NM_PER_MM * (0.5 * diameter).powi(4) / (4.0 * radius.powi(3)) / (6.0 * 5.0_f64.sqrt());
            let terms = paraboloid_at_centre_of_curvature(diameter, radius);
            let share = terms[0].1 / third_order - 1.0;
            assert!(share.abs() < (0.5 * diameter / radius).powi(2), "{diameter}, {radius}: {share:e}");
        }
    }
}
