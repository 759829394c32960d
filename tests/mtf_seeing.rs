//! Contrast through the air: closed forms, colours one by one, and the picture of the same star.

mod common;

use std::f64::consts::PI;

use catoptric::{
    ARCSEC_PER_RADIAN, Field, FocalLengthMm, Focus, Indexing, Mtf, MtfOptions, Prepared, Primary, Seeing,
    SeenSize, ShowsWhen, Spectrum, TurnedEdge, Wavefront, nights_that_show,
};
use common::{assert_close, bare, everything, prepare, with_shadow};

const WAVELENGTH_NM: f64 = 550.0;

fn seeing(fwhm_arcsec: f64) -> Seeing {
    Seeing::from_fwhm(fwhm_arcsec, WAVELENGTH_NM, 0.0).expect("a seeing")
}

fn at(telescope: &Prepared, focus: Focus) -> Wavefront {
    telescope.wavefront(Field::AXIS, focus, WAVELENGTH_NM).expect("a wavefront")
}

/// A perfect mirror at f/200: its cone, 1/(16 F^2), is 1.6e-6.
fn slow() -> Wavefront {
    at(&bare(Primary::new(100.0, FocalLengthMm(20_000.0))), Focus::Paraxial)
}

fn mtf(wave: &Wavefront, frequency_per_mm: &[f64], spectrum: Option<&Spectrum>) -> Mtf {
    let options =
        MtfOptions { frequency_per_mm: Some(frequency_per_mm.to_vec()), spectrum: spectrum.cloned() };
    wave.mtf(&options).expect("contrast")
}

/// Transfer function of a clear circular pupil at a share of its cut-off (Born & Wolf, from memory).
fn clear_circle(n: f64) -> f64 {
    if n < 1.0 { 2.0 / PI * (n.acos() - n * (1.0 - n * n).sqrt()) } else { 0.0 }
}

/// Fried 1966, long exposure, from the constants of the law: baseline and r0 in mm.
fn fried(baseline_mm: f64, r0_mm: f64) -> f64 {
    (-(4.8 * libm::tgamma(1.2)).powf(5.0 / 6.0) * (baseline_mm / r0_mm).powf(5.0 / 3.0)).exp()
}

#[test]
fn one_colour_is_the_product_of_both_closed_forms() {
    let wave = slow();
    let shares = [0.0, 0.05, 0.2, 0.5, 0.9, 1.2];
    let cutoff_per_mm = 1.0 / (WAVELENGTH_NM * 1e-6 * 200.0);
    let still = mtf(&wave, &shares.map(|n| n * cutoff_per_mm), None);
    for r0_mm in [30.0, 100.0, 400.0] {
        let air = Seeing::from_r0(r0_mm, WAVELENGTH_NM, 0.0).expect("a seeing");
        let seen = still.in_seeing(&air).expect("contrast in the air");
        assert_eq!(seen.seeing, Some(air));
        for (k, n) in shares.into_iter().enumerate() {
            let wanted = clear_circle(n) * fried(n * 100.0, r0_mm);
            assert_close(seen.contrast_along[k], wanted, 1e-5, "air: along");
            assert_close(seen.contrast_across[k], wanted, 1e-5, "air: across");
            assert_close(seen.contrast_mean[k], wanted, 1e-5, "air: mean");
            assert_close(seen.perfect_clear[k], wanted, 1e-5, "air: perfect");
        }
        let again = seen.in_seeing(&air).expect("again");
        for k in 0..shares.len() {
            assert_close(again.contrast_mean[k], seen.contrast_mean[k], 1e-12, "air: it counts once");
        }
    }
}

#[test]
fn colours_are_filtered_one_by_one() {
    let telescope = prepare(everything());
    let wave = telescope.wavefront(Field::arcmin(6.0, -3.0), Focus::LeastRms, WAVELENGTH_NM).expect("one");
    let air = Seeing::from_fwhm(1.2, 500.0, 30.0).expect("a seeing");
    let (colours, weights) = ([460.0, 560.0, 650.0], [0.2, 0.5, 0.3]);
    let spectrum = Spectrum::of_lines(&colours, &weights).expect("light");
    let frequency = [0.0, 12.0, 50.0, 120.0];
    let seen = mtf(&wave, &frequency, Some(&spectrum)).in_seeing(&air).expect("contrast in the air");
    // By hand: complex values of each colour times Fried's law on the baseline lambda nu f, weighted with the energy.
    for (k, nu) in frequency.into_iter().enumerate() {
        for (azimuth_deg, found) in [(0.0, seen.contrast_along[k]), (90.0, seen.contrast_across[k])] {
            let (mut re, mut im) = (0.0, 0.0);
            for (nm, share) in colours.into_iter().zip(weights) {
                let line = Some(Spectrum::line(nm).expect("a line"));
                let options = MtfOptions { frequency_per_mm: Some(vec![nu]), spectrum: line };
                let otf = wave.otf(azimuth_deg, &options).expect("a transfer function");
                let left = fried(nu * nm * 1e-6 * 1558.0, air.r0_mm(nm));
                re += share * left * otf.real[0];
                im += share * left * otf.imaginary[0];
            }
            // The baseline on the real cone is longer by (1 + e^2)/(16 F^2), 2.7e-3.
            assert_close(found, f64::hypot(re, im), 2e-3, "colours: one by one");
        }
        let there = seen.at_azimuth(90.0).expect("a transfer function").contrast()[k];
        assert_close(there, seen.contrast_across[k], 2e-5, "colours: the same at an azimuth");
    }
}

#[test]
fn the_picture_through_the_air_has_this_contrast() {
    // Kolmogorov's wings reach far: a picture of 30 arcsec holds all but a hundredth of the light.
    let telescope = bare(Primary::new(200.0, FocalLengthMm(3000.0)).layer(TurnedEdge::new(8.0, 200.0)));
    let wave = at(&telescope, Focus::Peak);
    let air = seeing(1.0);
    let half_um = 290.0;
    let size = SeenSize { half_width_um: Some(half_um), pixels: 581 };
    let star = wave.in_seeing(&air, size, None).expect("a star");
    let held = star.encircled_energy(&[half_um]).expect("a share")[0];
    let frequency = [20.0, 40.0, 70.0];
    let seen = mtf(&wave, &frequency, None).in_seeing(&air).expect("contrast in the air");
    for (k, nu) in frequency.into_iter().enumerate() {
        let turn = std::f64::consts::TAU * nu * 1e-3;
        let part: f64 =
            star.image.indexed_iter().map(|((_, j), v)| v * (turn * star.along_um[j]).cos()).sum();
        let whole = star.image.sum() / held;
        assert_close(part / whole, seen.contrast_along[k], 4e-3, "picture: its own contrast");
    }
}

#[test]
fn the_equivalent_aperture_stands_in_the_same_air() {
    let wave = slow();
    let spectrum = Spectrum::of_lines(&[480.0, 620.0], &[1.0, 2.0]).expect("light");
    let seen = mtf(&wave, &[0.0], Some(&spectrum)).in_seeing(&seeing(2.0)).expect("contrast");
    // A perfect mirror is its own equal in any air.
    let same_mm = seen.equivalent_aperture_mm(2.5).expect("an aperture");
    assert_close(same_mm, 100.0, 0.01, "aperture: a perfect mirror equals itself");
    // A turned one is worth less, and in the air of one colour as much as without.
    let turned = at(
        &bare(Primary::new(200.0, FocalLengthMm(1200.0)).layer(TurnedEdge::new(15.0, 300.0))),
        Focus::Peak,
    );
    let still = mtf(&turned, &[0.0], None);
    let (a, b) = (
        still.equivalent_aperture_mm(1.5).expect("an aperture"),
        still.in_seeing(&seeing(1.5)).expect("contrast").equivalent_aperture_mm(1.5).expect("an aperture"),
    );
    assert!(a < 195.0, "{a}");
    assert_close(a, b, 0.01, "aperture: one colour's air cancels");
    let detail = seen.at_detail(2.5).expect("contrast");
    let n = 480e-6 * ARCSEC_PER_RADIAN / 2.5 / 100.0;
    let colour = |nm: f64, share: f64| {
        let baseline_mm = nm * 1e-6 * ARCSEC_PER_RADIAN / 2.5;
        share / 3.0 * clear_circle(n * nm / 480.0) * fried(baseline_mm, seeing(2.0).r0_mm(nm))
    };
    assert_close(
        detail.contrast_mean,
        colour(480.0, 1.0) + colour(620.0, 2.0),
        1e-5,
        "aperture: the contrast",
    );
    assert_close(detail.perfect_clear, detail.contrast_mean, 1e-5, "aperture: the perfect one");
}

#[test]
fn the_best_air_takes_nothing_and_any_air_takes_something() {
    let wave = at(&with_shadow(Primary::new(318.0, FocalLengthMm(1558.0)), 0.22), Focus::LeastRms);
    let still = mtf(&wave, &[0.0, 20.0, 100.0, 300.0], None);
    let best = still.in_seeing(&Seeing::from_r0(1e6, WAVELENGTH_NM, 0.0).expect("air")).expect("contrast");
    let short = still.in_seeing(&seeing(2.0).short_exposure(318.0, 1.0).expect("air")).expect("contrast");
    let long = still.in_seeing(&seeing(2.0)).expect("contrast");
    for k in 0..4 {
        assert_close(best.contrast_mean[k], still.contrast_mean[k], 1e-5, "best air: nothing lost");
        assert!(long.contrast_mean[k] <= short.contrast_mean[k], "a short exposure is sharper");
        assert!(k == 0 || short.contrast_mean[k] < still.contrast_mean[k]);
    }
    assert_close(long.contrast_mean[0], 1.0, 1e-15, "any air: all of the light at frequency 0");
    assert!(long.error_estimate <= still.error_estimate);
}

#[test]
fn coefficients_have_no_size_against_the_air() {
    let terms = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, Some(5.0), 550.0).expect("terms");
    let refused = mtf(&terms, &[10.0], None).in_seeing(&seeing(1.0)).expect_err("no size");
    assert_eq!(refused.problems()[0].field, "wavefront");
}

#[test]
fn contrast_in_the_air_comes_back_from_text() {
    let seen = mtf(&slow(), &[0.0, 2.0], None).in_seeing(&seeing(1.5)).expect("contrast");
    let back: Mtf = serde_json::from_str(&serde_json::to_string(&seen).expect("text")).expect("contrast");
    assert_eq!(back, seen);
}

#[test]
fn nights_know_the_contrast_to_a_hundred_thousandth() {
    // Two clear circles at f/200: the change at each detail is the difference of their transfer functions times the air's.
    let mirror = |mask: f64| Primary::new(200.0, FocalLengthMm(40_000.0)).mask_diameter_mm(mask);
    let (before, after) =
        (at(&bare(mirror(160.0)), Focus::Paraxial), at(&bare(mirror(200.0)), Focus::Paraxial));
    let found = nights_that_show(&before, &after, &[0.5, 1.0, 3.0], ShowsWhen::default()).expect("nights");
    assert!(found.error_estimate <= 2e-5, "{}", found.error_estimate);
    for i in 0..3 {
        let r0_mm = seeing(found.fwhm_arcsec[i]).r0_mm(WAVELENGTH_NM);
        let change = |k: u32| {
            let n = f64::from(k) / 60.0;
            (clear_circle(n) - clear_circle(n * 1.25)) * fried(200.0 * n, r0_mm)
        };
        let truth = (1..60).map(change).fold(0.0, f64::max);
        assert_close(found.contrast_change[i], truth, 1e-5, &format!("nights: the exact change, {i}"));
    }
}
