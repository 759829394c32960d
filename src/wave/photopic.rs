//! How strongly the eye in daylight counts each wavelength.

/// The first wavelength of [`LUMINOUS_EFFICIENCY`] and the step from one to the next, nm.
pub(super) const FIRST_NM: f64 = 360.0;
pub(super) const STEP_NM: f64 = 5.0;

/// The luminous efficiency V of the CIE 1924 photopic standard observer, 360 to 830 nm in steps of 5 nm.
///
/// Source: colour-science 0.4.7, `SDS_LEFS["CIE 1924 Photopic Standard Observer"]`, every fifth value. Averages of smooth
/// functions over these points agree with those over all of its points, 1 nm apart, within 1e-7 to 1e-6.
pub(super) const LUMINOUS_EFFICIENCY: [f64; 95] = [
    3.917e-06, 6.965e-06, 1.239e-05, 2.202e-05, 3.9e-05, 6.4e-05, 0.00012, 0.000217, 0.000396, 0.00064,
    0.00121, 0.00218, 0.004, 0.0073, 0.0116, 0.01684, 0.023, 0.0298, 0.038, 0.048, 0.06, 0.0739, 0.09098,
    0.1126, 0.13902, 0.1693, 0.20802, 0.2586, 0.323, 0.4073, 0.503, 0.6082, 0.71, 0.7932, 0.862, 0.9148501,
    0.954, 0.9803, 0.9949501, 1.0, 0.995, 0.9786, 0.952, 0.9154, 0.87, 0.8163, 0.757, 0.6949, 0.631, 0.5668,
    0.503, 0.4412, 0.381, 0.321, 0.265, 0.217, 0.175, 0.1382, 0.107, 0.0816, 0.061, 0.04458, 0.032, 0.0232,
    0.017, 0.01192, 0.00821, 0.005723, 0.004102, 0.002929, 0.002091, 0.001484, 0.001047, 0.00074, 0.00052,
    0.0003611, 0.0002492, 0.0001719, 0.00012, 8.48e-05, 6e-05, 4.24e-05, 3e-05, 2.12e-05, 1.499e-05,
    1.06e-05, 7.4657e-06, 5.2578e-06, 3.7029e-06, 2.6078e-06, 1.8366e-06, 1.2934e-06, 9.1093e-07, 6.4153e-07,
    4.5181e-07,
];

/// Light of a black body at a wavelength, in any unit.
///
/// Source: Planck's law with the second radiation constant 1.438 776 877e-2 m K (CODATA 2018, exact).
pub(super) fn black_body(wavelength_nm: f64, temperature_k: f64) -> f64 {
    const SECOND_NM_K: f64 = 1.438_776_877e7;
    // Counted from 560 nm, where it is 1, so that no temperature leaves the range of the numbers.
    let shape = |nm: f64| (SECOND_NM_K / (nm * temperature_k)).exp_m1() * nm.powi(5);
    shape(560.0) / shape(wavelength_nm)
}
