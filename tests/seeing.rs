//! Stars through the air: Kolmogorov's law, its limits, and nights on which a change shows.

mod common;

use std::f64::consts::{PI, TAU};

use catoptric::numeric::gauss::on_interval;
use catoptric::numeric::roots;
use catoptric::{
    ARCSEC_PER_RADIAN, Error, Field, FocalLengthMm, Focus, Indexing, Prepared, Primary, PsfSize, Seeing,
    SeenSize, SeenStar, ShowsWhen, Spectrum, TurnedEdge, Wavefront, nights_that_show,
};
use common::{assert_close, assert_close_relative, bare, everything, prepare, with_shadow};

const WAVELENGTH_NM: f64 = 550.0;

fn seeing(fwhm_arcsec: f64) -> Seeing {
    Seeing::from_fwhm(fwhm_arcsec, WAVELENGTH_NM, 0.0).expect("a seeing")
}

fn of_r0(r0_mm: f64) -> Seeing {
    Seeing::from_r0(r0_mm, WAVELENGTH_NM, 0.0).expect("a seeing")
}

fn at(telescope: &Prepared, focus: Focus) -> Wavefront {
    telescope.wavefront(Field::AXIS, focus, WAVELENGTH_NM).expect("a wavefront")
}

fn seen(wave: &Wavefront, air: &Seeing) -> SeenStar {
    wave.in_seeing(air, SeenSize::default(), None).expect("a star in seeing")
}

/// A perfect mirror whose cone is so slow that the textbook's pupil is its own: f/30.
fn slow() -> Wavefront {
    at(&bare(Primary::new(200.0, FocalLengthMm(6000.0))), Focus::Paraxial)
}

/// Transfer function of a clear circular pupil at a share of its cut-off (Born & Wolf, from memory).
fn clear_circle(n: f64) -> f64 {
    if n < 1.0 { 2.0 / PI * (n.acos() - n * (1.0 - n * n).sqrt()) } else { 0.0 }
}

/// A perfect star through a clear circle of diameter D and air of r0, at a distance in wavelengths/D: a Hankel
/// transform of the product of both transfer functions; 1 is the perfect star's peak.
fn textbook(d_over_r0: f64, distance: f64) -> f64 {
    let terms = on_interval(300, 0.0, PI / 2.0).map(|(angle, weight)| {
        let n = angle.sin();
        let air = (-3.441_938_59 * (n * d_over_r0).powf(5.0 / 3.0)).exp();
        weight * angle.cos() * n * clear_circle(n) * air * libm::j0(TAU * n * distance)
    });
    8.0 * terms.sum::<f64>()
}

// The law.

#[test]
fn an_arcsecond_is_eleven_centimetres() {
    // Own computation from Fried's law, mpmath: 0.975863 lambda/r0.
    assert_close(seeing(1.0).r0_mm(WAVELENGTH_NM), 110.7074, 1e-3, "r0 of 1 arcsec at 550 nm");
    assert_close(of_r0(110.7074).fwhm_arcsec(WAVELENGTH_NM), 1.0, 1e-6, "the way back");
}

#[test]
fn colour_and_height_change_r0_as_fried_says() {
    // Fried 1966: r0 goes as lambda^(6/5) cos(z)^(3/5); the width as lambda/r0.
    let air = Seeing::from_r0(100.0, 500.0, 60.0).expect("a seeing");
    assert_close_relative(air.r0_mm(500.0), 100.0 * 0.5_f64.powf(0.6), 1e-12, "r0 at 60 degrees");
    assert_close_relative(
        air.r0_mm(1000.0) / air.r0_mm(500.0),
        2.0_f64.powf(1.2),
        1e-12,
        "r0 at double length",
    );
    let ratio = air.fwhm_arcsec(1000.0) / air.fwhm_arcsec(500.0);
    assert_close_relative(ratio, 2.0_f64.powf(-0.2), 1e-12, "width at double length");
}

#[test]
fn the_long_exposure_is_frieds() {
    let air = of_r0(80.0);
    for share in [0.0, 0.1, 0.5, 1.0, 2.0] {
        let cycles = share * 80.0 / (WAVELENGTH_NM * 1e-6) / ARCSEC_PER_RADIAN;
        let truth = (-3.441_938_59 * f64::powf(share, 5.0 / 3.0)).exp();
        assert_close(air.transfer(cycles, WAVELENGTH_NM), truth, 1e-8, &format!("Fried's law: {share} r0"));
    }
}

#[test]
fn a_short_exposure_takes_the_tilt_out() {
    // Fried 1966: the exponent times 1 - alpha (lambda nu/D)^(1/3); 1 at the telescope's limit where alpha is 1.
    let (r0, diameter) = (80.0, 200.0);
    let air = of_r0(r0);
    for (alpha, share) in [(1.0, 0.2), (1.0, 0.7), (0.5, 0.4), (0.0, 0.3)] {
        let cycles = share * diameter / (WAVELENGTH_NM * 1e-6) / ARCSEC_PER_RADIAN;
        let exponent = 3.441_938_59 * f64::powf(share * diameter / r0, 5.0 / 3.0);
        let truth = (-exponent * (1.0 - alpha * share.cbrt())).exp();
        let short = air.short_exposure(diameter, alpha).expect("a short exposure");
        assert_close(
            short.transfer(cycles, WAVELENGTH_NM),
            truth,
            1e-8,
            &format!("tilt out: {alpha}, {share}"),
        );
    }
    let limit = diameter / (WAVELENGTH_NM * 1e-6) / ARCSEC_PER_RADIAN;
    let near = air.short_exposure(diameter, 1.0).expect("a short exposure");
    assert_close(near.transfer(limit, WAVELENGTH_NM), 1.0, 1e-7, "no air at the telescope's limit");
}

// A star through telescope and air.

#[test]
fn a_perfect_star_through_the_air_is_the_textbooks() {
    // Closed transfer functions of circle and air, by a Hankel transform above. At f/30 the zones' scales differ by
    // 7e-5.
    let wave = slow();
    for r0 in [1000.0, 200.0, 50.0, 20.0] {
        let found = seen(&wave, &of_r0(r0));
        let peak = textbook(200.0 / r0, 0.0);
        assert_close_relative(found.peak, peak, 1e-4, &format!("peak, D/r0 {:.1}", 200.0 / r0));
        assert_close_relative(found.at_reference, peak, 1e-4, &format!("at the reference point, r0 {r0}"));
        let half =
            roots::bracketed(|x| textbook(200.0 / r0, x) - peak / 2.0, 0.1, 20.0, 1e-10).expect("a width");
        let unit_arcsec = WAVELENGTH_NM * 1e-6 / 200.0 * ARCSEC_PER_RADIAN;
        assert_close_relative(found.fwhm_arcsec, 2.0 * half * unit_arcsec, 2e-4, &format!("width, r0 {r0}"));
        // All pixels of a row through the middle.
        let middle = found.image.nrows() / 2;
        for j in (0..found.image.ncols()).step_by(8) {
            let distance = found.along_um[j] / (WAVELENGTH_NM / 1000.0 * 30.0);
            let truth = textbook(200.0 / r0, distance);
            let what = format!("pixel at {distance:.2} lambda F, r0 {r0}");
            assert_close(found.image[[middle, j]], truth, 1e-4 * peak + found.error_estimate, &what);
        }
        assert!(found.error_estimate < 2e-4 * found.peak, "{}", found.error_estimate);
    }
}

#[test]
fn a_telescope_as_wide_as_r0() {
    // Own mpmath computation: full width 1.41532 lambda/D (galsim agrees, tests/python/test_seeing.py).
    let found = seen(&slow(), &of_r0(200.0));
    let unit_arcsec = WAVELENGTH_NM * 1e-6 / 200.0 * ARCSEC_PER_RADIAN;
    assert_close(found.fwhm_arcsec / unit_arcsec, 1.41532, 1e-3, "width of D/r0 = 1 in lambda/D");
}

#[test]
fn a_fast_mirror_departs_by_the_scales_of_its_zones_alone() {
    // The peak on the axis of a perfect mirror does not know its cone: the textbook's, whatever the focal ratio. The
    // mean scale of the zones leaves 0.026/F^2 of it (measured), as the page of the star says.
    for focal_ratio in [4.0, 5.0, 8.0] {
        let wave = at(&bare(Primary::new(200.0, FocalLengthMm(200.0 * focal_ratio))), Focus::Paraxial);
        for r0 in [200.0, 50.0] {
            let found = seen(&wave, &of_r0(r0)).at_reference / textbook(200.0 / r0, 0.0) - 1.0;
            assert!(found.abs() < 0.03 / (focal_ratio * focal_ratio), "f/{focal_ratio}, r0 {r0}: {found:e}");
        }
    }
}

#[test]
fn without_air_the_star_is_the_telescopes_own() {
    let telescope = prepare(everything());
    let wave = telescope.wavefront(Field::arcmin(4.0, 2.0), Focus::Peak, WAVELENGTH_NM).expect("a wavefront");
    let size = SeenSize { half_width_um: Some(25.0), pixels: 51 };
    let through = wave.in_seeing(&of_r0(1e6), size, None).expect("a star");
    let own = wave.psf(PsfSize { half_width_um: Some(25.0), pixels: 51 }).expect("a star");
    for (a, b) in through.image.iter().zip(&own.image) {
        assert!((a - b).abs() < 5e-6, "{a} against {b}");
    }
    assert_close_relative(through.fwhm_um, own.fwhm_um, 2e-3, "width without air");
    let radii = [2.0, 5.0, 10.0, 20.0];
    let (a, b) =
        (through.encircled_energy(&radii).expect("shares"), wave.encircled_energy(&radii).expect("shares"));
    for (a, b) in a.iter().zip(&b) {
        assert_close(*a, *b, 3e-4, "energy without air");
    }
}

#[test]
fn in_bad_air_only_the_disc_is_left() {
    // Kolmogorov's disc alone is 0.975863 lambda/r0 wide. A telescope's transfer function falls off in proportion to
    // the frequency, so what it adds goes as r0/D.
    let wave = at(&bare(Primary::new(400.0, FocalLengthMm(12_000.0))), Focus::Paraxial);
    let excess = |r0: f64| seen(&wave, &of_r0(r0)).fwhm_arcsec / of_r0(r0).fwhm_arcsec(WAVELENGTH_NM) - 1.0;
    let (bad, worse) = (excess(16.0), excess(8.0));
    assert!(worse > 0.0 && worse < 8.0 / 400.0, "{worse}");
    assert_close(bad / worse, 2.0, 0.3, "what the telescope adds goes as r0/D");
}

#[test]
fn seeing_moves_light_and_loses_none() {
    // All of the picture's net, and what the disc's wing carries beyond: 1 - (share within) goes as r^(-5/3).
    let wave = slow();
    let found = wave
        .in_seeing(&seeing(1.0), SeenSize { half_width_um: Some(600.0), pixels: 301 }, None)
        .expect("a star");
    let radii: Vec<f64> = (0..60).map(|i| 10.0 * f64::from(i)).collect();
    let held = found.encircled_energy(&radii).expect("shares");
    assert!(held.windows(2).all(|pair| pair[1] >= pair[0]), "{held:?}");
    assert!(held[59] > 0.985 && held[59] < 1.0, "{}", held[59]);
    // The textbook's: the integral of the disc, as r times J1 over the transfer functions.
    let (d_over_r0, unit_um) = (200.0 / seeing(1.0).r0_mm(WAVELENGTH_NM), WAVELENGTH_NM / 1000.0 * 30.0);
    for (radius, share) in radii.iter().zip(&held).skip(1).step_by(6) {
        let distance = radius / unit_um;
        let terms = on_interval(600, 0.0, PI / 2.0).map(|(angle, weight)| {
            let n = angle.sin();
            let air = (-3.441_938_59 * (n * d_over_r0).powf(5.0 / 3.0)).exp();
            weight * angle.cos() * clear_circle(n) * air * libm::j1(TAU * n * distance)
        });
        let truth = TAU * distance * terms.sum::<f64>();
        assert_close(*share, truth, 2e-4, &format!("share within {radius} um"));
    }
}

#[test]
fn colours_add_as_their_shares_say() {
    let wave = at(&with_shadow(Primary::new(200.0, FocalLengthMm(3000.0)), 0.2), Focus::Paraxial);
    let spectrum = Spectrum::of_lines(&[500.0, 600.0], &[2.0, 1.0]).expect("light");
    let size = SeenSize { half_width_um: Some(60.0), pixels: 41 };
    let both = wave.in_seeing(&seeing(2.0), size, Some(&spectrum)).expect("a star");
    let alone = |nm: f64| {
        let line = Spectrum::line(nm).expect("a line");
        wave.in_seeing(&seeing(2.0), size, Some(&line)).expect("a star").image
    };
    let (a, b) = (2.0 / 500.0_f64.powi(2), 1.0 / 600.0_f64.powi(2));
    let sum = (alone(500.0) * a + alone(600.0) * b) / (a + b);
    for (found, truth) in both.image.iter().zip(&sum) {
        assert!((found - truth).abs() < 1e-3 * both.peak, "{found} against {truth}");
    }
}

#[test]
fn an_even_number_of_pixels_lies_between() {
    let wave = slow();
    let size = |pixels| SeenSize { half_width_um: Some(60.0), pixels };
    let even = wave.in_seeing(&seeing(1.0), size(40), None).expect("a star");
    assert_close(even.along_um[20], 1.5, 1e-12, "first pixel beside the middle");
    let odd = wave.in_seeing(&seeing(1.0), size(41), None).expect("a star");
    assert_close(odd.along_um[20], 0.0, 1e-12, "the middle pixel");
    assert_close(odd.image[[20, 20]], odd.at_reference, 1e-12, "the middle pixel is the reference point");
    let truth = textbook(200.0 / seeing(1.0).r0_mm(WAVELENGTH_NM), 1.5 * 2.0_f64.sqrt() / 16.5);
    assert_close_relative(even.image[[20, 20]], truth, 1e-4, "a pixel beside the middle");
}

#[test]
fn coma_keeps_its_side_in_the_air() {
    // The star stands toward +x: its flare points away from the axis, to -along.
    let telescope = bare(Primary::new(200.0, FocalLengthMm(800.0)));
    let wave = telescope.wavefront(Field::arcmin(20.0, 0.0), Focus::LeastRms, WAVELENGTH_NM).expect("one");
    let found =
        wave.in_seeing(&seeing(1.0), SeenSize { half_width_um: Some(40.0), pixels: 81 }, None).expect("one");
    let balance = |lane: usize| -> f64 {
        found
            .image
            .indexed_iter()
            .map(|((i, j), v)| v * if lane == 0 { found.across_um[i] } else { found.along_um[j] })
            .sum()
    };
    let from_peak = balance(1) / found.image.sum() - found.peak_um[0];
    assert!(from_peak < -1.0, "{from_peak} um");
    assert!((balance(0) / found.image.sum()).abs() < 0.01, "no side across");
}

// Nights.

#[test]
fn a_peak_in_the_air_is_the_textbooks() {
    let wave = slow();
    let nights: Vec<f64> =
        [1000.0, 200.0, 50.0, 20.0].iter().map(|r0| of_r0(*r0).fwhm_arcsec(550.0)).collect();
    let found = nights_that_show(&wave, &wave, &nights, ShowsWhen::default()).expect("nights");
    for (i, r0) in [1000.0, 200.0, 50.0, 20.0].into_iter().enumerate() {
        let truth = textbook(200.0 / r0, 0.0);
        assert_close_relative(found.peak_before[i], truth, 1e-4, &format!("peak of a night, r0 {r0}"));
    }
    assert_eq!(found.count(), 0);
}

#[test]
fn a_change_of_contrast_is_that_of_masks_in_closed_form() {
    // Two clear circles, 200 and 160 mm: the change at each detail is the difference of their transfer functions times
    // the air's.
    // At f/200, where the cone's part of the exact transfer function is below its stated error.
    let mirror = |mask: f64| Primary::new(200.0, FocalLengthMm(40_000.0)).mask_diameter_mm(mask);
    let (before, after) =
        (at(&bare(mirror(160.0)), Focus::Paraxial), at(&bare(mirror(200.0)), Focus::Paraxial));
    let found = nights_that_show(&before, &after, &[0.5, 1.0, 3.0], ShowsWhen::default()).expect("nights");
    let cut = 200.0 / (WAVELENGTH_NM * 1e-6) / ARCSEC_PER_RADIAN;
    for i in 0..3 {
        let air = seeing(found.fwhm_arcsec[i]);
        let change = |k: usize| {
            let n = k as f64 / 60.0;
            (clear_circle(n) - clear_circle(n * 1.25)) * air.transfer(n * cut, WAVELENGTH_NM)
        };
        let truth = (1..60).map(change).fold(0.0, f64::max);
        assert_close(found.contrast_change[i], truth, found.error_estimate, &format!("night {i}"));
        assert!(found.error_estimate <= 2e-5, "{}", found.error_estimate);
    }
}

#[test]
fn better_nights_show_more() {
    let mirror = Primary::new(318.0, FocalLengthMm(1558.0));
    let spoiled = mirror.clone().layer(TurnedEdge::new(9.0, 330.0));
    let (before, after) = (at(&bare(spoiled), Focus::Peak), at(&bare(mirror), Focus::Peak));
    let nights = [0.4, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0];
    let found = nights_that_show(&before, &after, &nights, ShowsWhen::default()).expect("nights");
    assert!(found.contrast_change.windows(2).all(|p| p[0] > p[1]), "{:?}", found.contrast_change);
    assert!(found.shows.windows(2).all(|p| p[0] || !p[1]), "{:?}", found.shows);
    assert!(found.peak_after.iter().zip(&found.peak_before).all(|(a, b)| a > b));
    let strict = ShowsWhen { contrast_change: 0.5, peak_change: 0.9 };
    let none = nights_that_show(&before, &after, &nights, strict).expect("nights");
    assert!(none.count() == 0 && found.count() > 0, "{}", found.words());
    assert!(none.words().contains("none of the 7 nights"), "{}", none.words());
}

// What cannot be.

#[test]
fn air_that_cannot_be_is_refused() {
    let refused = |found: Result<Seeing, Error>, field: &str, cause: &str| {
        let error = found.expect_err(field);
        let problem = &error.problems()[0];
        assert!(problem.field == field && problem.cause.contains(cause), "{error}");
    };
    let fwhm = |value: f64| Seeing::from_fwhm(value, WAVELENGTH_NM, 0.0);
    refused(fwhm(0.0), "fwhm_arcsec", "no seeing");
    refused(fwhm(-1.0), "fwhm_arcsec", "");
    refused(fwhm(f64::NAN), "fwhm_arcsec", "");
    refused(fwhm(120.0), "fwhm_arcsec", "milliarcseconds");
    refused(fwhm(0.0003), "fwhm_arcsec", "arcminutes");
    refused(Seeing::from_fwhm(1.0, 5500.0, 0.0), "wavelength_nm", "angstroms");
    refused(Seeing::from_r0(0.11, WAVELENGTH_NM, 0.0), "r0_mm", "metres");
    refused(Seeing::from_r0(-100.0, WAVELENGTH_NM, 0.0), "r0_mm", "");
    refused(Seeing::from_fwhm(1.0, WAVELENGTH_NM, 85.0), "zenith_angle_deg", "horizon");
    refused(Seeing::from_fwhm(1.0, WAVELENGTH_NM, -1.0), "zenith_angle_deg", "");
    refused(seeing(1.0).short_exposure(0.0, 1.0), "diameter_mm", "");
    refused(seeing(1.0).short_exposure(200.0, 2.0), "alpha", "");
}

#[test]
fn pictures_and_nights_that_cannot_be_are_refused() {
    let refused = |found: Error, field: &str| assert_eq!(found.problems()[0].field, field, "{found}");
    let wave = slow();
    let sized = |half_width_um, pixels| {
        wave.in_seeing(&seeing(1.0), SeenSize { half_width_um, pixels }, None).expect_err("a size")
    };
    refused(sized(None, 1), "pixels");
    refused(sized(None, 100_000), "pixels");
    refused(sized(Some(0.0), 101), "half_width_um");
    refused(sized(Some(f64::NAN), 101), "half_width_um");
    refused(sized(Some(1e9), 101), "half_width_um");
    refused(sized(Some(1.0), 2000), "pixels");
    let terms = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0).expect("terms");
    refused(terms.in_seeing(&seeing(1.0), SeenSize::default(), None).expect_err("no size"), "wavefront");
    let star = seen(&wave, &seeing(1.0));
    refused(star.encircled_energy(&[1.0, -1.0]).expect_err("a sign"), "radius_um[1]");
    let nights = |fwhm: &[f64], when| nights_that_show(&wave, &wave, fwhm, when).expect_err("nights");
    refused(nights(&[], ShowsWhen::default()), "fwhm_arcsec");
    refused(nights(&[1.0, 0.0], ShowsWhen::default()), "fwhm_arcsec[1]");
    refused(nights(&[1.0], ShowsWhen { contrast_change: 0.0, peak_change: 0.1 }), "least_contrast_change");
    refused(nights(&[1.0], ShowsWhen { contrast_change: 0.1, peak_change: 10.0 }), "least_peak_change");
    let blue = bare(Primary::new(200.0, FocalLengthMm(6000.0)));
    let blue = blue.wavefront(Field::AXIS, Focus::Paraxial, 450.0).expect("a wavefront");
    refused(nights_that_show(&wave, &blue, &[1.0], ShowsWhen::default()).expect_err("colours"), "after");
}

#[test]
fn a_saved_star_comes_back_the_same() {
    let star = seen(&slow(), &seeing(1.5).short_exposure(200.0, 1.0).expect("short"));
    let back: SeenStar = serde_json::from_str(&serde_json::to_string(&star).expect("text")).expect("a star");
    assert_eq!(back, star);
    assert!(back.image.iter().zip(&star.image).all(|(a, b)| a.to_bits() == b.to_bits()));
}
