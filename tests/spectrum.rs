//! Light of several colours: the eye's weights, bands, and the Strehl over a spectrum.

mod common;

use std::f64::consts::TAU;

use catoptric::Spectrum;
use common::assert_close;

/// Average over a spectrum.
fn average(spectrum: &Spectrum, f: impl Fn(f64) -> f64) -> f64 {
    spectrum.lines().iter().map(|(nm, share)| share * f(*nm)).sum()
}

#[test]
fn the_eye_by_day_is_that_of_1924() {
    // CIE 1924 photopic observer, colour-science 0.4.7, all its values at 1 nm: mean 560.191 867 6 nm, and the averages of
    // cos(2 pi w/lambda) for paths w (numpy, apart from this library; tests/python/test_spectrum.py does it again).
    let day = Spectrum::photopic();
    assert_close(day.mean_nm(), 560.191_867_6, 1e-4, "mean of V");
    for (path_nm, truth, tolerance) in AVERAGES {
        let found = average(&day, |nm| (TAU * path_nm / nm).cos());
        assert_close(found, truth, tolerance, &format!("V-weighted average of cos, path {path_nm} nm"));
    }
}
