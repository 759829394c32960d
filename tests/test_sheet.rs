//! Test sheets: conversion, contradictions, what was not tested, draws.

mod common;

use std::f64::consts::TAU;

use catoptric::numeric::gauss::on_interval;
use catoptric::{
    Bounds, Field, FocalLengthMm, Focus, Indexing, Primary, SheetFigure, SurfaceOrWavefront, TestSheet,
    TestSheetInput, TurnedEdge, Wavefront,
};
use common::{assert_close, assert_close_relative, bare};

fn blank() -> TestSheetInput {
    TestSheetInput::new(300.0, 300.0, SurfaceOrWavefront::Wavefront, 632.8)
}

fn figure(input: TestSheetInput) -> SheetFigure {
    TestSheet::new(input).expect("a sound sheet").figure(550.0).expect("a figure")
}

fn fields(input: TestSheetInput) -> Vec<String> {
    let error = TestSheet::new(input).expect_err("refused");
    error.problems().iter().map(|p| p.field.clone()).collect()
}

fn assert_bounds(found: Bounds, low: f64, high: f64, what: &str) {
    assert_close(found.low, low, 1e-9 * high, &format!("{what}: low"));
    assert_close(found.high, high, 1e-9 * high, &format!("{what}: high"));
}

#[test]
fn everything_becomes_nanometres_of_wavefront() {
    // Closed form: 0.0065 waves stand for 0.00645 to 0.00655; twice that for glass.
    let waves = figure(TestSheetInput { rms_waves: Some(0.0065), pv_waves: Some(0.038), ..blank() });
    assert_bounds(waves.rms_nm, 0.00645 * 632.8, 0.00655 * 632.8, "RMS in waves");
    assert_close(waves.pv_nm.expect("given"), 24.0464, 1e-12, "PV, nm");
    let glass = figure(TestSheetInput {
        rms_nm: Some(12.5),
        surface_or_wavefront: SurfaceOrWavefront::Surface,
        ..blank()
    });
    assert_bounds(glass.rms_nm, 24.9, 25.1, "RMS of the glass");
    assert_close(glass.strehl.low, (-(TAU * 25.1 / 550.0).powi(2)).exp(), 1e-12, "exponential form");
    assert!(glass.contradictions.is_empty() && glass.words.starts_with("This means"));
}

#[test]
fn a_sheet_with_a_sound_rms_and_strehl_is_believed() {
    // An invented sheet; (2 pi 0.0065)^2 = 0.00167.
    let sheet = TestSheetInput {
        pv_waves: Some(0.038),
        rms_waves: Some(0.0065),
        strehl: Some(0.998),
        ..TestSheetInput::new(318.0, 312.0, SurfaceOrWavefront::Wavefront, 632.8)
    };
    let found = figure(sheet);
    assert_eq!(found.contradictions, Vec::<String>::new());
    // Closed form: 1 - (312/318)^2.
    assert_close(found.untested_share, 1.0 - (312.0_f64 / 318.0).powi(2), 1e-14, "untested share");
    // Sheets by the exact Strehl of smooth figures, by the square and by the first order are sound as well.
    let rms_waves: f64 = 0.0700;
    let square = (TAU * rms_waves).powi(2);
    for strehl in [(-square).exp(), (1.0 - 0.5 * square).powi(2), 1.0 - square] {
        let strehl = Some((strehl * 1e3).round() / 1e3);
        let found = figure(TestSheetInput { rms_waves: Some(0.07), strehl, ..blank() });
        assert!(found.contradictions.is_empty(), "{strehl:?}: {:?}", found.contradictions);
    }
}

#[test]
fn the_factor_of_two_is_found() {
    // 0.05 waves: exponential form 0.906; 0.1 waves: 0.674; 0.025: 0.976.
    let contradicted = |kind, rms_waves, strehl| {
        let input = TestSheetInput {
            rms_waves: Some(rms_waves),
            strehl: Some(strehl),
            surface_or_wavefront: kind,
            ..blank()
        };
        let found = figure(input);
        assert_eq!(found.contradictions.len(), 1, "{:?}", found.contradictions);
        assert!(found.words.contains("contradicts itself"));
        (found.contradictions[0].clone(), found.rms_nm)
    };
    let (words, rms) = contradicted(SurfaceOrWavefront::Surface, 0.05, 0.906);
    assert!(words.contains("factor of two") && words.contains("0.674"), "{words}");
    assert!(rms.holds(0.05 * 632.8) && rms.holds(0.1 * 632.8), "both are possible: {rms:?}");
    let (words, _) = contradicted(SurfaceOrWavefront::Wavefront, 0.05, 0.674);
    assert!(words.contains("declared as the wavefront"), "{words}");
    // 0.8 goes with 0.075 waves, one and a half times the RMS: no factor of two.
    let (words, _) = contradicted(SurfaceOrWavefront::Wavefront, 0.05, 0.8);
    assert!(!words.contains("factor of two"), "{words}");
}

#[test]
fn pv_bounds_the_rms() {
    let both = |pv_nm, rms_nm| figure(TestSheetInput { pv_nm: Some(pv_nm), rms_nm: Some(rms_nm), ..blank() });
    // Popoviciu: no shape has PV below 2 RMS.
    let impossible = both(50.0, 40.0);
    assert!(impossible.contradictions[0].contains("no shape"), "{:?}", impossible.contradictions);
    assert!(impossible.rms_nm.low < 25.0 && impossible.rms_nm.high > 40.0);
    assert!(both(100.0, 40.0).contradictions[0].contains("no smooth figure"));
    assert!(both(800.0, 40.0).contradictions[0].contains("spike"));
    for ratio in [3.46, 4.9, 5.66, 8.0] {
        assert!(both(40.0 * ratio, 40.0).contradictions.is_empty(), "{ratio}");
    }
}

#[test]
fn the_ratios_that_the_documentation_names() {
    // Closed forms: sqrt 12, 3 sqrt 5/2, 2 sqrt 6, 2 sqrt 8.
    let cases =
        [(4, 12.0_f64.sqrt()), (11, 1.5 * 5.0_f64.sqrt()), (6, 24.0_f64.sqrt()), (8, 32.0_f64.sqrt())];
    for (j, ratio) in cases {
        let terms = [(j, 10.0)].into();
        let wave = Wavefront::from_zernikes(&terms, Indexing::Noll, 0.0, None, 550.0).expect("terms");
        assert_close_relative(wave.pv_nm / wave.rms_nm, ratio, 1e-6, &format!("PV/RMS: Noll {j}"));
    }
}

#[test]
fn a_pv_alone_gives_a_range_that_is_called_an_assumption() {
    let found = figure(TestSheetInput { pv_nm: Some(120.0), ..blank() });
    assert_bounds(found.rms_nm, 119.5 / 12.0, 120.5 / 2.0, "RMS from PV");
    assert!(found.assumptions[0].contains("assumption"));
    let draws = found.rms_draws_nm(20_000, 4).expect("draws");
    assert!(draws.iter().all(|&rms| found.rms_nm.holds(rms)));
    // Even in the logarithm: mean of ln halfway, its standard error span/sqrt(12 n).
    let mean = draws.iter().map(|rms| rms.ln()).sum::<f64>() / 20_000.0;
    let (low, high) = (found.rms_nm.low.ln(), found.rms_nm.high.ln());
    assert_close(
        mean,
        f64::midpoint(low, high),
        4.0 * (high - low) / (240_000.0_f64).sqrt(),
        "mean of ln RMS",
    );
    assert_eq!(draws, found.rms_draws_nm(20_000, 4).expect("again"));
    assert_ne!(draws, found.rms_draws_nm(20_000, 5).expect("another seed"));
    for (rms, strehl) in draws.iter().zip(found.strehl_draws(20_000, 4).expect("draws")) {
        assert_close(strehl, (-(TAU * rms / 550.0).powi(2)).exp(), 1e-12, "exponential form");
    }
    assert!(found.rms_draws_nm(0, 1).is_err());
}

#[test]
fn a_strehl_bounds_the_rms_of_every_wavefront() {
    // |mean of exp(i phi)| >= 1 - variance/2: exact Strehl ratios of single terms stay above the low end's.
    for (j, nm) in [(6, 40.0), (8, 55.0), (11, 60.0), (22, 30.0), (14, 70.0)] {
        let wave =
            Wavefront::from_zernikes(&[(j, nm)].into(), Indexing::Noll, 0.0, None, 632.8).expect("terms");
        let strehl = Some(wave.strehl);
        let found = figure(TestSheetInput { strehl, ..blank() });
        assert!(found.rms_nm.low <= wave.rms_nm * (1.0 + 1e-6), "Noll {j}: {:?} for {nm}", found.rms_nm);
        // The exponential form is good to 0.02 below a tenth of a wave.
        if nm < 63.28 {
            let exponential = (-(TAU * nm / 632.8).powi(2)).exp();
            assert_close(exponential, wave.strehl, 0.02, &format!("exponential form: Noll {j}"));
        }
    }
}

#[test]
fn an_untested_ring_widens_the_range_as_the_edge_would() {
    let sheet = TestSheetInput {
        rms_nm: Some(0.01),
        ..TestSheetInput::new(318.0, 300.0, SurfaceOrWavefront::Wavefront, 632.8)
    };
    let found = figure(sheet);
    // The same edge by quadrature, piston removed: 550 nm of wavefront, growing with the square from 150 to 159 mm.
    let mean = |power: i32| {
        let ring: f64 = on_interval(20, 150.0, 159.0)
            .map(|(r, w)| w * 2.0 * r * (550.0 * ((r - 150.0) / 9.0).powi(2)).powi(power))
            .sum();
        ring / 159.0_f64.powi(2)
    };
    let rms = (mean(2) - mean(1).powi(2)).sqrt();
    assert_close(found.rms_nm.high, rms, 1e-3, "an unseen edge: RMS, nm");
    // The whole train with that edge: focus is moved, so its RMS is no larger, and the Strehl not below the ring's bound.
    let edge = Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 275.0));
    let wave = bare(edge).wavefront(Field::AXIS, Focus::LeastRms, 550.0).expect("a wavefront");
    assert!(wave.rms_nm < found.rms_nm.high, "{} nm", wave.rms_nm);
    assert!(found.strehl.holds(wave.strehl), "{} in {:?}", wave.strehl, found.strehl);
    assert!(found.words.contains("turned edge"), "{}", found.words);
}

#[test]
fn what_cannot_be_is_refused_by_name() {
    let rms = TestSheetInput { rms_nm: Some(10.0), ..blank() };
    assert_eq!(fields(blank()), ["rms_waves"]);
    assert_eq!(fields(TestSheetInput { strehl: Some(1.2), ..blank() }), ["strehl"]);
    assert_eq!(fields(TestSheetInput { strehl: Some(f64::NAN), ..blank() }), ["strehl"]);
    assert_eq!(fields(TestSheetInput { rms_nm: Some(0.0), ..blank() }), ["rms_nm"]);
    assert_eq!(fields(TestSheetInput { rms_waves: Some(0.01), ..rms }), ["rms_nm"]);
    assert_eq!(fields(TestSheetInput { wavelength_nm: 6328.0, ..rms }), ["wavelength_nm"]);
    assert_eq!(fields(TestSheetInput { wavelength_nm: 0.6328, ..rms }), ["wavelength_nm"]);
    assert_eq!(fields(TestSheetInput { tested_diameter_mm: 320.0, ..rms }), ["tested_diameter_mm"]);
    assert_eq!(fields(TestSheetInput { tested_diameter_mm: 100.0, ..rms }), ["tested_diameter_mm"]);
    assert_eq!(fields(TestSheetInput { pv_waves: Some(25.0), ..rms }), ["pv_waves"]);
    let sheet = TestSheet::new(rms).expect("sound");
    assert!(sheet.figure(55.0).is_err());
    let text = serde_json::to_string(&sheet).expect("JSON");
    assert_eq!(serde_json::from_str::<TestSheet>(&text).expect("back"), sheet);
    assert!(serde_json::from_str::<TestSheet>(&text.replace("10.0", "-10.0")).is_err());
}

#[test]
fn the_angstroms_are_named() {
    let rms = TestSheetInput { rms_nm: Some(10.0), wavelength_nm: 6328.0, ..blank() };
    let error = TestSheet::new(rms).expect_err("refused");
    assert!(error.to_string().contains("angstroms"), "{error}");
}
