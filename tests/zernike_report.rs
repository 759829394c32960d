//! Reports of Zernike coefficients: numbering, normalisation, a paraboloid's own term, draws.

mod common;

use std::collections::BTreeMap;

use catoptric::numeric::zernike::zernike;
use catoptric::{
    CoefficientUnit, Indexing, Normalisation, SurfaceOrWavefront, TestPlace, Wavefront, ZernikeReport,
    ZernikeReportInput,
};
use common::{assert_close, assert_close_relative, root_sum_square, rows};

fn input(coefficients: &[(u32, f64)]) -> ZernikeReportInput {
    ZernikeReportInput {
        coefficients: coefficients.iter().copied().collect(),
        indexing: Indexing::Noll,
        normalisation: Normalisation::Rms,
        unit: CoefficientUnit::Nm,
        wavelength_nm: None,
        surface_or_wavefront: SurfaceOrWavefront::Wavefront,
        test: TestPlace::AtFocus,
        tested_diameter_mm: 200.0,
        clear_aperture_mm: 200.0,
        radius_of_curvature_mm: 2400.0,
        coefficient_sigma_nm: 0.0,
    }
}

fn report(input: ZernikeReportInput) -> ZernikeReport {
    ZernikeReport::new(input).expect("a sound report")
}

fn fields(input: ZernikeReportInput) -> Vec<String> {
    let error = ZernikeReport::new(input).expect_err("refused");
    error.problems().iter().map(|p| p.field.clone()).collect()
}

#[test]
fn one_wavefront_in_every_numbering_and_normalisation() {
    // Textbook polynomials, Born & Wolf, section 9.2, and galsim 2.8.5: tests/data/zernike_report.json.
    for row in rows("zernike_report", "kind", "term") {
        let name = format!("{}, {}, {}", row.text("name"), row.text("indexing"), row.text("normalisation"));
        let given = report(ZernikeReportInput {
            indexing: Indexing::from_name(row.text("indexing")).expect("a numbering"),
            normalisation: Normalisation::from_name(row.text("normalisation")).expect("a normalisation"),
            ..input(&[(row.number("j") as u32, row.number("value_nm"))])
        });
        let found = given.reported_nm();
        assert_eq!(found.len(), 1);
        let noll = row.number("noll") as u32;
        assert_close_relative(found[&noll], row.number("noll_nm"), 1e-14, &format!("Noll: {name}"));
        let (n, m) = Indexing::Noll.order(noll).expect("a term");
        for k in 0..4 {
            let (x, y) = (row.number(&format!("x_{k}")), row.number(&format!("y_{k}")));
            let value = found[&noll] * zernike(n, m, f64::hypot(x, y), f64::atan2(y, x));
            assert_close(value, row.number(&format!("wavefront_{k}_nm")), 1e-11, &format!("nm: {name}"));
        }
    }
}

#[test]
fn glass_counts_twice_and_waves_are_of_the_report() {
    let given = report(ZernikeReportInput {
        unit: CoefficientUnit::Waves,
        wavelength_nm: Some(632.8),
        surface_or_wavefront: SurfaceOrWavefront::Surface,
        ..input(&[(11, 0.01)])
    });
    assert_close(given.reported_nm()[&11], 12.656, 1e-12, "a hundredth of a wave of glass, nm");
    let figure = given.figure(0.0, 550.0, 100, 1).expect("a figure");
    assert_close(figure.rms_nm, 12.656, 1e-9, "RMS, nm");
    let none = ZernikeReportInput { unit: CoefficientUnit::Waves, ..input(&[(11, 0.01)]) };
    assert_eq!(fields(none), ["wavelength_nm"]);
}

#[test]
fn focus_and_tilt_are_no_errors_of_the_mirror() {
    let figure = report(input(&[(1, 500.0), (2, 300.0), (3, -200.0), (4, 800.0)]));
    let figure = figure.figure(0.0, 550.0, 100, 1).expect("a figure");
    assert!(figure.coefficients_nm.is_empty());
    assert_close(figure.rms_nm, 0.0, 1e-9, "RMS, nm");
    assert_close(figure.strehl, 1.0, 1e-9, "Strehl");
}

#[test]
fn a_paraboloid_at_its_centre_of_curvature() {
    // Exact distances in 50-digit arithmetic, tests/data/zernike_report.json; the third-order value is the textbook's (from memory).
    for row in rows("zernike_report", "kind", "null") {
        let (diameter, radius) = (row.number("tested_diameter_mm"), row.number("radius_of_curvature_mm"));
        let third_order = row.number("third_order_nm");
        let perfect = report(ZernikeReportInput {
            test: TestPlace::AtCentreOfCurvature,
            tested_diameter_mm: diameter,
            clear_aperture_mm: diameter,
            radius_of_curvature_mm: radius,
            ..input(&[(4, 55.0), (11, row.number("noll_11_nm")), (37, row.number("noll_37_nm"))])
        });
        let null = perfect.null_nm();
        for j in [11, 37] {
            let truth = row.number(&format!("noll_{j}_nm"));
            assert_close(null[&j], truth, 1e-9, &format!("term of the paraboloid: Noll {j}, nm"));
        }
        // Between third order and exact lie terms of (a/R)^2.
        assert_close_relative(null[&11], third_order, (0.5 * diameter / radius).powi(2), "third order");
        for j in [22, 56] {
            assert_close(row.number(&format!("noll_{j}_nm")), 0.0, 1e-12, "terms that vanish, nm");
            assert!(!null.contains_key(&j));
        }
        let figure = perfect.figure(0.2, 550.0, 100, 1).expect("a figure");
        assert_close(figure.rms_nm, 0.0, 1e-8, "a perfect paraboloid: RMS, nm");
        assert!(figure.cautions.is_empty());
    }
}

#[test]
fn the_rim_of_a_paraboloid_lies_below_the_sphere() {
    // Noll 11 is positive at the rim; a rim that is too low is late, so the term is negative. A mirror that shows nothing at its
    // centre of curvature is a sphere: against the paraboloid its rim is high, under-corrected.
    let sphere = report(ZernikeReportInput { test: TestPlace::AtCentreOfCurvature, ..input(&[(5, 1e-9)]) });
    assert!(sphere.null_nm()[&11] < 0.0);
    let figure = sphere.figure(0.0, 550.0, 100, 1).expect("a figure");
    assert!(figure.coefficients_nm[&11] > 0.0);
    // Closed form: a sphere against a paraboloid, 2 r^4/(8R^3), less the star test's (r/R)^2 shares.
    assert_close_relative(figure.coefficients_nm[&11], 134.79, 1e-3, "a sphere: Noll 11, nm");
}

#[test]
fn a_report_with_the_other_sign_is_noticed() {
    let turned =
        ZernikeReportInput { test: TestPlace::AtCentreOfCurvature, ..input(&[(11, 134.8), (5, 3.0)]) };
    let figure = report(turned).figure(0.0, 550.0, 100, 1).expect("a figure");
    assert!(figure.cautions[0].contains("opposite sign"), "{:?}", figure.cautions);
    let nulled = ZernikeReportInput { test: TestPlace::AtCentreOfCurvature, ..input(&[(11, 4.0)]) };
    let figure = report(nulled).figure(0.0, 550.0, 100, 1).expect("a figure");
    assert!(figure.cautions[0].contains("with a null"), "{:?}", figure.cautions);
}

#[test]
fn terms_are_continued_over_the_whole_mirror() {
    // galsim 2.8.5 and a least-squares fit on a grid: tests/data/zernike_report.json.
    let row = &rows("zernike_report", "kind", "continued")[0];
    let given: Vec<(u32, f64)> = row
        .keys_after("given_")
        .map(|(key, rest)| (rest.trim_end_matches("_nm").parse().expect("an index"), row.number(key)))
        .collect();
    let figure = report(ZernikeReportInput {
        tested_diameter_mm: row.number("tested_diameter_mm"),
        clear_aperture_mm: row.number("clear_aperture_mm"),
        ..input(&given)
    })
    .figure(0.0, 550.0, 100, 1)
    .expect("a figure");
    for j in 5..23 {
        let found = figure.coefficients_nm.get(&j).copied().unwrap_or(0.0);
        assert_close(found, row.number(&format!("noll_{j}_nm")), 1e-9, &format!("continued: Noll {j}, nm"));
    }
    // Closed form: 1 - (150/160)^2.
    assert_close(figure.untested_share, 31.0 / 256.0, 1e-14, "untested share");
    assert!(figure.assumptions.iter().any(|a| a.contains("continued")));
}

#[test]
fn rms_and_strehl_are_those_of_the_pupil_integral() {
    // A clear circle: squares add up. Quarter-wave spherical aberration: Strehl 0.80030480 (tests/data/strehl.json has the
    // same, by quadrature; textbook value 0.80).
    let quarter = 550.0 / 4.0 / (1.5 * 5.0_f64.sqrt());
    let figure = report(input(&[(11, quarter)])).figure(0.0, 550.0, 100, 1).expect("a figure");
    assert_close(figure.strehl, 0.800_304_80, 1e-6, "quarter wave of spherical aberration: Strehl");
    let given = [(5, 12.0), (8, -9.0), (11, 20.0), (22, 4.0)];
    let figure = report(input(&given)).figure(0.0, 550.0, 100, 1).expect("a figure");
    assert_close_relative(figure.rms_nm, root_sum_square(given.map(|g| g.1)), 1e-10, "RMS");
    // On an annulus: least RMS over focus and tilt, by a scan of Noll 4 (the only one that matters for round terms).
    let round = report(input(&[(11, 40.0)])).figure(0.4, 550.0, 100, 1).expect("a figure");
    let rms = |focus: f64| {
        let terms: BTreeMap<u32, f64> = [(4, focus), (11, 40.0)].into();
        Wavefront::from_zernikes(&terms, Indexing::Noll, 0.4, None, 550.0).expect("terms").rms_nm
    };
    let least = (-400..=400).map(|k| rms(0.1 * f64::from(k))).fold(f64::INFINITY, f64::min);
    assert_close(round.rms_nm, least, 1e-2, "least RMS on an annulus, nm");
    assert!(round.rms_nm <= least + 1e-9);
}

#[test]
fn draws_without_uncertainty_are_the_value_itself() {
    let figure =
        report(input(&[(5, 30.0), (11, -45.0), (14, 20.0)])).figure(0.25, 550.0, 100, 3).expect("one");
    for (rms, strehl) in figure.rms_nm_draws.iter().zip(&figure.strehl_draws) {
        assert_close(*rms, figure.rms_nm, 1e-9, "draw: RMS, nm");
        assert_close(*strehl, figure.strehl, 1e-6, "draw: Strehl");
    }
    assert!(figure.assumptions.iter().any(|a| a.contains("taken as exact")));
    assert!(figure.words.starts_with("This means"));
}

#[test]
fn draws_scatter_as_the_coefficients_do() {
    let given = ZernikeReportInput { coefficient_sigma_nm: 3.0, ..input(&[(5, 40.0), (11, 0.0)]) };
    let figure = report(given.clone()).figure(0.0, 550.0, 20_000, 5).expect("a figure");
    // Closed form: the mean of RMS^2 is 40^2 + 2 x 3^2; its standard error over 20000 draws is below 2.
    let mean = figure.rms_nm_draws.iter().map(|r| r * r).sum::<f64>() / 20_000.0;
    assert_close(mean, 1618.0, 8.5, "mean square of the draws, nm^2");
    // The RMS is 40 + 3 z to first order: 95 % within 1.96 x 3, plus the second term's share of about 9/80.
    assert_close(figure.rms_nm_interval.low, 40.0 - 5.88 + 0.11, 0.25, "lower end, nm");
    assert_close(figure.rms_nm_interval.high, 40.0 + 5.88 + 0.11, 0.25, "upper end, nm");
    assert_eq!(figure, report(given).figure(0.0, 550.0, 20_000, 5).expect("again"));
}

#[test]
fn what_cannot_be_is_refused_by_name() {
    assert_eq!(fields(input(&[])), ["coefficients"]);
    assert_eq!(fields(input(&[(0, 1.0)])), ["coefficients[0]"]);
    assert_eq!(fields(input(&[(11, f64::NAN)])), ["coefficients[11]"]);
    assert_eq!(
        fields(ZernikeReportInput { indexing: Indexing::Fringe, ..input(&[(38, 1.0)]) }),
        ["coefficients[38]"]
    );
    assert_eq!(
        fields(ZernikeReportInput { tested_diameter_mm: 210.0, ..input(&[(5, 1.0)]) }),
        ["tested_diameter_mm"]
    );
    assert_eq!(
        fields(ZernikeReportInput { radius_of_curvature_mm: 300.0, ..input(&[(5, 1.0)]) }),
        ["radius_of_curvature_mm"]
    );
    assert_eq!(
        fields(ZernikeReportInput { coefficient_sigma_nm: -1.0, ..input(&[(5, 1.0)]) }),
        ["coefficient_sigma_nm"]
    );
    assert_eq!(
        fields(ZernikeReportInput { wavelength_nm: Some(0.6328), ..input(&[(5, 1.0)]) }),
        ["wavelength_nm"]
    );
    let sound = report(input(&[(5, 1.0)]));
    assert!(sound.figure(0.95, 550.0, 100, 1).is_err());
    assert!(sound.figure(0.0, 5500.0, 100, 1).is_err());
    assert!(sound.figure(0.0, 550.0, 0, 1).is_err());
    let text = serde_json::to_string(&sound).expect("JSON");
    assert_eq!(serde_json::from_str::<ZernikeReport>(&text).expect("back"), sound);
    assert!(serde_json::from_str::<ZernikeReport>(&text.replace("2400.0", "240.0")).is_err());
}
