//! The star of a perfect mirror: Airy's pattern, clear and obstructed, and the pattern of a real cone of light.

mod common;

use catoptric::{Airy, Field, FocalLengthMm, Focus, Indexing, Prepared, Primary, Psf, PsfSize, Wavefront};
use common::{Row, assert_close, assert_close_relative, rows, with_shadow};

const WAVELENGTH_NM: f64 = 550.0;

/// A star image whose pixels lie a whole number to the unit lambda F from the middle.
fn picture(wavefront: &Wavefront, pixels_per_unit: usize, units: usize) -> Psf {
    let pixels = 2 * pixels_per_unit * units + 1;
    let unit_um = WAVELENGTH_NM / 1000.0 * wavefront.focal_ratio().expect("a focal ratio");
    let half_width_um = unit_um * pixels as f64 / (2 * pixels_per_unit) as f64;
    wavefront.psf(PsfSize { half_width_um: Some(half_width_um), pixels }).expect("a star image")
}

/// Radii of the dark rings along +along, um: zeros of the amplitude, which is the root of the intensity with a sign that
/// turns at each dark ring, through eight neighbouring pixels.
fn dark_rings_um(star: &Psf) -> Vec<f64> {
    let middle = star.along_um.len() / 2;
    let radius_um = &star.along_um[middle..];
    let root: Vec<f64> = (middle..star.along_um.len()).map(|j| star.image[[middle, j]].sqrt()).collect();
    let darkest = (4..root.len() - 4).filter(|&i| root[i] <= root[i - 1] && root[i] <= root[i + 1]);
    darkest
        .map(|i| {
            // The sign turns just before the darkest pixel or just after it: the smoother of the two.
            let signed = |turn: usize| -> Vec<f64> {
                (i - 4..i + 4).map(|k| if k < turn { root[k] } else { -root[k] }).collect()
            };
            let (before, after) = (signed(i), signed(i + 1));
            let amplitude = if roughness(&before) < roughness(&after) { before } else { after };
            zero(&radius_um[i - 4..i + 4], &amplitude)
        })
        .collect()
}

/// The highest difference of evenly spaced values: small for a smooth function.
fn roughness(values: &[f64]) -> f64 {
    let mut differences = values.to_vec();
    while differences.len() > 1 {
        differences = differences.windows(2).map(|w| w[1] - w[0]).collect();
    }
    differences[0].abs()
}

/// Where the polynomial through given points, taken as a function of the value, is zero (Neville's scheme).
fn zero(places: &[f64], values: &[f64]) -> f64 {
    let mut column = places.to_vec();
    for step in 1..places.len() {
        for i in 0..places.len() - step {
            let (a, b) = (values[i], values[i + step]);
            column[i] = (b * column[i] - a * column[i + 1]) / (b - a);
        }
    }
    column[0]
}

/// Holds dark rings, energies and width of a star against a row of the table, all to one share.
fn hold_star(wavefront: &Wavefront, row: &Row, share: f64, label: &str) {
    let star = picture(wavefront, 32, 4);
    let unit_um = WAVELENGTH_NM / 1000.0 * wavefront.focal_ratio().expect("a focal ratio");
    let rings = dark_rings_um(&star);
    for k in 1..=3 {
        let truth = row.number(&format!("dark_ring_{k}_lambda_f")) * unit_um;
        assert_close_relative(rings[k - 1], truth, share, &format!("dark ring {k}: {label}"));
        let energy = wavefront.encircled_energy(&[truth]).expect("an energy")[0];
        let inside = row.number(&format!("energy_inside_dark_ring_{k}"));
        assert_close(energy, inside, share, &format!("energy inside dark ring {k}: {label}"));
    }
    assert_close_relative(
        star.fwhm_um,
        row.number("fwhm_lambda_f") * unit_um,
        share,
        &format!("FWHM: {label}"),
    );
    assert_close_relative(star.fwhm_along_um, star.fwhm_um, share, &format!("FWHM along: {label}"));
    assert_close_relative(star.fwhm_across_um, star.fwhm_um, share, &format!("FWHM across: {label}"));
}

/// Holds single intensities, as shares of the peak.
fn hold_intensities(wavefront: &Wavefront, row: &Row, share: f64, label: &str) {
    let star = picture(wavefront, 4, 12);
    let middle = star.along_um.len() / 2;
    for (key, rest) in row.keys_after("intensity_at_") {
        let units: f64 = rest.trim_end_matches("_lambda_f").parse().expect("a radius");
        let step = (4.0 * units).round() as usize;
        for at in [
            [middle, middle + step],
            [middle, middle - step],
            [middle + step, middle],
            [middle - step, middle],
        ] {
            assert_close(star.image[at], row.number(key), share, &format!("intensity: {label}"));
        }
    }
    assert_close(star.image[[middle, middle]], 1.0, share, &format!("intensity in the middle: {label}"));
}

fn perfect(telescope: &Prepared) -> Wavefront {
    telescope.wavefront(Field::AXIS, Focus::ShiftMm(0.0), WAVELENGTH_NM).expect("a wavefront")
}

// Truth of the tests in this file: own mpmath table, tests/data/airy.json. Kind `textbook`: Born & Wolf, Principles of
// Optics, chapter 8, [2 J1(v)/v - e^2 2 J1(e v)/(e v)]^2/(1 - e^2)^2. Kind `paraboloid`: the one-dimensional integral of
// J0(2 pi R s/lambda) r dr with s = sin(theta), the straight line's slope from zone r to the focus.

#[test]
fn the_closed_form_agrees_with_the_table() {
    for row in &rows("airy", "kind", "textbook") {
        let obstruction = row.number("obstruction_ratio");
        let (unit_um, label) = (0.55 * 5.0, format!("closed form, obstruction {obstruction}"));
        let star = Airy::new(5.0, obstruction, WAVELENGTH_NM).expect("a star");
        for k in 1..=3 {
            let truth = row.number(&format!("dark_ring_{k}_lambda_f"));
            assert_close(star.dark_ring_um(k) / unit_um, truth, 1e-12, &format!("dark ring {k}: {label}"));
            let inside = row.number(&format!("energy_inside_dark_ring_{k}"));
            let energy = star.encircled_energy(truth * unit_um);
            assert_close(energy, inside, 1e-12, &format!("energy inside dark ring {k}: {label}"));
        }
        assert_close(star.fwhm_um() / unit_um, row.number("fwhm_lambda_f"), 1e-12, &format!("FWHM: {label}"));
        for (key, rest) in row.keys_after("intensity_at_") {
            let units: f64 = rest.trim_end_matches("_lambda_f").parse().expect("a radius");
            assert_close(
                star.intensity(units * unit_um),
                row.number(key),
                1e-14,
                &format!("intensity: {label}"),
            );
        }
    }
}

#[test]
fn a_slow_traced_train_shows_the_textbooks_star() {
    // At f/200 the real cone's pattern lies 0.031/F^2 = 8e-7 from the textbook's.
    for row in &rows("airy", "kind", "textbook") {
        let obstruction = row.number("obstruction_ratio");
        let telescope = with_shadow(Primary::new(200.0, FocalLengthMm(40_000.0)), obstruction);
        let label = format!("f/200 traced, textbook, obstruction {obstruction}");
        hold_star(&perfect(&telescope), row, 1e-5, &label);
        hold_intensities(&perfect(&telescope), row, 1e-6, &label);
        let airy = telescope.airy(WAVELENGTH_NM).expect("a star");
        assert_close(airy.obstruction_ratio, obstruction, 1e-15, "obstruction by diameter");
    }
}

#[test]
fn a_traced_train_shows_the_star_of_the_real_cone() {
    for row in &rows("airy", "kind", "paraboloid") {
        let (aperture, focal) = (row.number("clear_aperture_mm"), row.number("focal_length_mm"));
        let obstruction = row.number("obstruction_ratio");
        let telescope = with_shadow(Primary::new(aperture, FocalLengthMm(focal)), obstruction);
        let label = format!("f/{:.1} traced, real cone, obstruction {obstruction}", focal / aperture);
        hold_star(&perfect(&telescope), row, 1e-6, &label);
        hold_intensities(&perfect(&telescope), row, 1e-9, &label);
    }
}

#[test]
fn the_real_cones_first_dark_ring_lies_further_out() {
    // 0.0284446/F^2 relative as 1/F goes to 0: own expansion, s = (r/f)(1 - r^2/4f^2) put into J0 and integrated with
    // mpmath; the next term is smaller by about 1/(2 F^2).
    for focal in [800.0, 1000.0, 1200.0] {
        let ratio: f64 = focal / 200.0;
        let telescope = with_shadow(Primary::new(200.0, FocalLengthMm(focal)), 0.0);
        let ring_um = dark_rings_um(&picture(&perfect(&telescope), 32, 4))[0];
        let textbook_um = telescope.airy(WAVELENGTH_NM).expect("a star").dark_ring_um(1);
        let excess = (ring_um / textbook_um - 1.0) * ratio.powi(2);
        assert_close_relative(
            excess,
            0.028_444_6,
            0.03 / ratio.powi(2),
            "the real cone's first ring, excess times F^2",
        );
    }
}

#[test]
fn a_perfect_wavefront_of_terms_shows_the_textbooks_star() {
    for row in &rows("airy", "kind", "textbook") {
        let obstruction = row.number("obstruction_ratio");
        let wavefront =
            Wavefront::from_zernikes(&[].into(), Indexing::Noll, obstruction, Some(5.0), WAVELENGTH_NM)
                .expect("terms");
        let label = format!("terms, textbook, obstruction {obstruction}");
        hold_star(&wavefront, row, 1e-6, &label);
        hold_intensities(&wavefront, row, 1e-9, &label);
    }
}

#[test]
fn all_of_the_light_is_in_the_pattern() {
    // Conservation: the energy outside a radius of u lambda F is about 2/(pi^2 u) for a clear pupil (Born & Wolf,
    // chapter 8, the mean of Rayleigh's 1 - J0^2 - J1^2 at large v), so energy plus that tail is the whole.
    let telescope = with_shadow(Primary::new(200.0, FocalLengthMm(1200.0)), 0.0);
    let (unit_um, wavefront) = (0.55 * 6.0, perfect(&telescope));
    for units in [20.0, 60.0] {
        let inside = wavefront.encircled_energy(&[units * unit_um]).expect("an energy")[0];
        let tail = 2.0 / (std::f64::consts::PI.powi(2) * units);
        // The tail swings by its own share of 1/(2 pi u), and the real cone widens it by 1/(8 F^2).
        assert_close(inside + tail, 1.0, tail * (0.32 / units + 0.01), "energy inside and outside");
    }
}

#[test]
fn energy_grows_with_the_radius_in_any_order_of_asking() {
    let telescope = with_shadow(Primary::new(200.0, FocalLengthMm(1000.0)), 0.22);
    let wavefront = perfect(&telescope);
    let radii = [7.0, 0.0, 1.0, 30.0, 3.0, 3.0];
    let together = wavefront.encircled_energy(&radii).expect("energies");
    for (radius, share) in radii.iter().zip(&together) {
        let alone = wavefront.encircled_energy(&[*radius]).expect("an energy")[0];
        assert_close(*share, alone, 1e-6, "one radius at a time");
    }
    assert!(together[1] < together[2] && together[2] < together[4], "{together:?}");
    assert!(together[4] < together[0] && together[0] < together[3] && together[3] < 1.0, "{together:?}");
    assert_close(together[1], 0.0, 0.0, "nothing within no radius");
}
