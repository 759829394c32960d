//! What the readings say of themselves: their noise as an operator, misread openings, where doubt comes from, what more
//! runs or other openings would do, and what a gain is worth.

use catoptric::numeric::random::Stream;
use catoptric::{
    Cause, CoefficientUnit, FigureEstimate, Indexing, Judgement, KnifeEdgeReadings, Normalisation,
    RadiusOfCurvatureMm, ReadingsIncrease, ReduceOptions, SurfaceOrWavefront, TestPlace, TestSource, Verdict,
    ZernikeFigure, ZernikeReport, ZernikeReportInput, judge_refigure,
};

mod common;
use common::assert_close;

fn fenlight(name: &str) -> KnifeEdgeReadings {
    let path = format!("{}/notebooks-demo/data/fenlight_{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let (radius, away) = (RadiusOfCurvatureMm(3116.0), ReadingsIncrease::AwayFromMirror);
    KnifeEdgeReadings::load_csv(path, 318.0, radius, TestSource::Moving, away).expect("demo data")
}

/// The same readings, each changed by its run and opening.
fn changed(readings: &KnifeEdgeReadings, change: impl Fn(usize, f64, &[f64]) -> f64) -> KnifeEdgeReadings {
    let rows = readings.runs_mm().iter().map(|run| {
        let run: Vec<f64> = run.iter().map(|y| y.expect("all were taken")).collect();
        run.iter().enumerate().map(|(zone, y)| change(zone, *y, &run)).collect()
    });
    KnifeEdgeReadings::through_openings(
        readings.clear_aperture_mm(),
        readings.radius_of_curvature(),
        readings.source(),
        readings.readings_increase(),
        readings.openings().to_vec(),
        rows.collect(),
    )
    .expect("readings that can be")
}

fn options() -> ReduceOptions {
    ReduceOptions { obstruction_ratio: 0.22, radius_sigma_mm: Some(0.0), ..ReduceOptions::default() }
}

fn figure(name: &str) -> FigureEstimate {
    fenlight(name).reduce(options()).expect("a figure")
}

fn verdict(before: &str, after: &str) -> Verdict {
    judge_refigure(&figure(before), &figure(after)).expect("a verdict")
}

#[test]
fn the_operator_is_the_reduction() {
    let readings = fenlight("before");
    let figure = figure("before");
    let operator = readings.figure_operator(&figure.radius_mm, &options()).expect("an operator");
    for shift_mm in [0.0, 7.0] {
        let errors: Vec<f64> = figure.zone_error_mm.iter().map(|e| e + shift_mm).collect();
        let heights = operator.height_nm(&errors);
        // A common zero is pure focus: it changes nothing, but for the digits that 7 mm take from an error of 1 mm.
        let largest = figure.height_nm.iter().fold(0.0_f64, |most, h| most.max(h.abs()));
        let allowed = if shift_mm > 0.0 { 1e-11 } else { 1e-12 } * largest;
        for (found, full) in heights.iter().zip(&figure.height_nm) {
            assert!((found - full).abs() <= allowed, "{found} for {full}");
        }
    }
}

#[test]
fn standard_deviations_agree_with_ten_thousand_resamples() {
    let readings = fenlight("after");
    let sigma_mm = [0.30, 0.20, 0.12, 0.10, 0.09, 0.08, 0.07, 0.06];
    let stated = ReduceOptions { reading_sigma_mm: Some(sigma_mm.to_vec()), ..options() };
    let figure = readings.reduce(stated.clone()).expect("a figure");
    let operator = readings.figure_operator(&figure.radius_mm, &stated).expect("an operator");
    let (runs, repeats, knots) = (readings.runs_mm().len(), 10_000, figure.radius_mm.len());
    let mut rows = Vec::with_capacity(repeats);
    for repeat in 0..repeats {
        let mut stream = Stream::new(2027, repeat as u64);
        let mut mean = vec![0.0; sigma_mm.len()];
        for _ in 0..runs {
            let zero = 3.0 * stream.normal();
            for (sum, sigma) in mean.iter_mut().zip(sigma_mm) {
                *sum += (zero + sigma * stream.normal()) / runs as f64;
            }
        }
        rows.push(operator.height_nm(&mean));
    }
    let mean = |i: usize| rows.iter().map(|row| row[i]).sum::<f64>() / repeats as f64;
    let means: Vec<f64> = (0..knots).map(mean).collect();
    let covariance = |i: usize, j: usize| {
        rows.iter().map(|row| (row[i] - means[i]) * (row[j] - means[j])).sum::<f64>() / (repeats - 1) as f64
    };
    let sd = figure.height_sigma_nm();
    for i in 0..knots {
        // Ten thousand draws know a standard deviation to 0.7 %.
        assert!((covariance(i, i).sqrt() / sd[i] - 1.0).abs() < 0.03, "knot {i}");
        for j in 0..i {
            let found = covariance(i, j) / (covariance(i, i) * covariance(j, j)).sqrt();
            assert_close(
                found,
                figure.covariance_nm2[i][j] / (sd[i] * sd[j]),
                0.05,
                &format!("knots {i}, {j}"),
            );
        }
    }
}

#[test]
fn a_handful_of_runs_leaves_the_noise_itself_uncertain() {
    let readings = fenlight("after");
    let plain = figure("after");
    let stated = ReduceOptions { reading_sigma_mm: Some(plain.zone_sigma_mm.clone()), ..options() };
    let known = readings.reduce(stated).expect("a figure");
    let width = |f: &FigureEstimate| f.rms_nm.noise.high - f.rms_nm.noise.low;
    assert!(width(&plain) > 1.01 * width(&known), "{} against {}", width(&plain), width(&known));
    let scattered = readings.reduce(ReduceOptions { bench_scatter_mm: 0.1, ..options() }).expect("a figure");
    let total = |f: &FigureEstimate| f.strehl.total.high - f.strehl.total.low;
    assert!(total(&scattered) > total(&plain), "a bench that scatters leaves more open");
}

#[test]
fn a_misread_opening_is_named_and_exchanged_ones_ask_for_a_second_look() {
    let sound = figure("after");
    assert!(!sound.second_look && sound.zone_checks.iter().all(|check| !check.is_suspect()));
    let misread = changed(&fenlight("after"), |zone, y, _| if zone == 3 { y + 0.3 } else { y });
    let found = misread.reduce(options()).expect("a figure");
    let named: Vec<usize> = found.zone_checks.iter().filter(|c| c.is_suspect()).map(|c| c.opening).collect();
    assert!(named.contains(&3), "{named:?}");
    assert!(found.zone_checks[3].error_mm > 0.15, "{:?}", found.zone_checks[3]);
    // The flexible figure swallows the error as a zone: the Strehl falls in silence.
    assert!(found.strehl.value < sound.strehl.value - 0.03);
    let exchanged = changed(&fenlight("after"), |zone, y, run| match zone {
        3 => run[4],
        4 => run[3],
        _ => y,
    });
    assert!(exchanged.reduce(options()).expect("a figure").second_look);
}

#[test]
fn the_edge_of_the_old_figure_is_certain_and_its_width_is_not() {
    // The scenario: turned down by 330 nm over 9 mm; the outermost opening begins 9.5 mm from the rim.
    let before = figure("before").edge;
    assert!(before.is_certain() && before.fall_nm.total.low < -250.0, "{before:?}");
    assert!(before.least_width_mm < 3.0 && before.greatest_width_mm >= 9.0, "{before:?}");
    // After the refigure 60 nm over 3 mm are left, and a conic constant of -0.985.
    let after = figure("after").edge.fall_nm;
    assert!(after.total.low < -60.0 && after.total.high > -60.0, "{after:?}");
}

#[test]
fn the_mean_figure_has_a_covariance_that_holds_the_unseen() {
    let found = figure("before");
    let smooth = &found.smooth;
    let rim = smooth.radius_mm.len() - 1;
    assert_close(smooth.radius_mm[rim], 159.0, 1e-9, "it reaches the rim");
    assert!(smooth.radius_mm.is_sorted());
    let noise = found.height_sigma_nm();
    assert!(smooth.sigma_nm()[rim] > 5.0 * noise[noise.len() - 1], "the rim is not seen");
    for (i, row) in smooth.covariance_nm2.iter().enumerate() {
        for (j, value) in row.iter().enumerate() {
            assert!((value - smooth.covariance_nm2[j][i]).abs() < 1e-9);
        }
    }
    // The true figure of the scenario at 100 mm, flat but for a zone, lies below the edge's knee.
    assert!(smooth.height_nm[rim] < smooth.height_nm[rim - 4] - 100.0, "turned down");
}

#[test]
fn doubt_is_shared_out_without_a_rest() {
    let found = verdict("after", "touch_up");
    let sum: f64 = found.details.as_ref().expect("readings").contributions.iter().map(|c| c.share).sum();
    assert_close(sum, 1.0, 1e-9, "shares");
    assert_eq!(found.details.as_ref().expect("readings").contributions[0].cause, Cause::Unseen);
    // An independent programme with the same model found 89 % of the variance beyond any number of runs.
    assert_close(found.details.as_ref().expect("readings").settling.floor_share, 0.89, 0.04, "floor");
    assert_eq!(found.details.as_ref().expect("readings").settling.further_runs, None);
    assert!(found.reasons.iter().any(|reason| reason.contains("change the method")));
}

#[test]
fn a_known_bench_scatter_takes_its_share() {
    let reduce = |name| {
        let scattered = ReduceOptions { bench_scatter_mm: 0.3, ..options() };
        fenlight(name).reduce(scattered).expect("a figure")
    };
    let found = judge_refigure(&reduce("after"), &reduce("touch_up")).expect("a verdict");
    let of = |cause: fn(&Cause) -> bool| -> f64 {
        found
            .details
            .as_ref()
            .expect("readings")
            .contributions
            .iter()
            .filter(|c| cause(&c.cause))
            .map(|c| c.share)
            .sum()
    };
    let (bench, noise) = (of(|c| *c == Cause::Bench), of(|c| matches!(c, Cause::Noise { .. })));
    assert!(bench > noise && bench > 0.1, "bench {bench}, noise {noise}");
}

#[test]
fn an_opening_that_reaches_the_rim_is_the_best_advice() {
    let advice = figure("after").next_measurements().expect("advice");
    assert!(advice[0].what.contains("very rim"), "{}", advice[0].what);
    let runs = advice.iter().find(|next| next.what.contains("more runs")).expect("it is always proposed");
    let then = runs.half_width_then.expect("draws enough");
    // An independent programme: 0.0148 now, five more runs 0.0145, one opening that reaches the rim 0.004.
    assert_close(runs.half_width_now, 0.0148, 0.001, "now");
    assert_close(then, 0.0145, 0.001, "after five more runs");
    let reaching = advice.iter().find(|next| next.what.contains("widened")).expect("the rim is not reached");
    assert_close(reaching.half_width_then.expect("draws enough"), 0.004, 0.001, "to the rim");
}

#[test]
fn a_gain_is_worth_contrast_and_light() {
    let worth = verdict("before", "after").details.expect("readings").worth;
    for (period, change) in worth.period_arcsec.iter().zip(&worth.contrast) {
        assert!(change.gain.total.low > 0.0, "{period} arcsec: {change:?}");
        assert!(change.after.total.high < 1.0);
    }
    // A perfect aperture of 318 mm with a shadow of 0.22: 0.7496 of the light within the clear aperture's Airy radius
    // (integral of the annular pattern in scipy), contrast 0.1849, 0.4821 and 0.7166 (closed form: overlap of circles).
    // A Strehl of 0.99 takes about a hundredth of each.
    let perfect = [0.1849, 0.4821, 0.7166];
    for (change, perfect) in worth.contrast.iter().zip(perfect) {
        assert!((0.97..1.0).contains(&(change.after.median / perfect)), "{change:?} of {perfect}");
    }
    let best = worth.airy_light.after.median / 0.7496;
    assert!((0.97..1.0).contains(&best), "{best}");
    assert!(worth.airy_light.gain.total.low > 0.05, "{:?}", worth.airy_light.gain);
    assert!(worth.words().contains("2 arcsec"));
}

fn report(coefficient_nm: f64, obstruction_ratio: f64) -> ZernikeFigure {
    ZernikeReport::new(ZernikeReportInput {
        coefficients: [(11, coefficient_nm)].into(),
        indexing: Indexing::Noll,
        normalisation: Normalisation::Rms,
        unit: CoefficientUnit::Nm,
        wavelength_nm: None,
        surface_or_wavefront: SurfaceOrWavefront::Wavefront,
        test: TestPlace::AtFocus,
        tested_diameter_mm: 318.0,
        clear_aperture_mm: 318.0,
        radius_of_curvature_mm: 3116.0,
        coefficient_sigma_nm: 5.0,
    })
    .and_then(|report| report.figure(obstruction_ratio, 550.0, 2000, 1))
    .expect("a report's figure")
}

#[test]
fn two_reports_of_nearly_one_figure_cannot_be_told() {
    let found = judge_refigure(&report(20.0, 0.22), &report(19.0, 0.22)).expect("a verdict");
    // 1 nm of difference against 5 nm of sigma in each: P = Phi(1/(5 sqrt 2)) = 0.556.
    assert_close(found.probability_better, 0.556, 0.04, "chance");
    assert!(found.strehl_gain.total.low < 0.0 && found.strehl_gain.total.high > 0.0);
    assert!(judge_refigure(&report(20.0, 0.0), &report(19.0, 0.22)).is_err(), "two obstructions");
}

#[test]
fn what_nobody_could_see_is_no_verdict() {
    let mut sharp = report(20.0, 0.22);
    sharp.strehl_draws.fill(sharp.strehl);
    let mut other = sharp.clone();
    other.strehl_draws.fill(sharp.strehl + 5e-6);
    let found = judge_refigure(&sharp, &other).expect("a verdict");
    assert_eq!(found.judgement, Judgement::CannotTell);
    assert!(found.words.contains("no difference that could be seen"), "{}", found.words);
}

#[test]
fn far_from_finished_the_rms_decides() {
    // Conics of K = -3 and -5, read exactly: r^2/(2R) grows with -K. Their Strehls are chance light.
    let read = |conic: f64| {
        let radii = [40.0_f64, 70.0, 95.0, 115.0, 130.0, 145.0, 156.0];
        let run: Vec<f64> = radii.iter().map(|r| -conic * r * r / (2.0 * 3116.0)).collect();
        let (radius, away) = (RadiusOfCurvatureMm(3116.0), ReadingsIncrease::AwayFromMirror);
        KnifeEdgeReadings::at_radii(318.0, radius, TestSource::Moving, away, &radii, vec![run; 4])
            .and_then(|readings| readings.reduce(options()))
            .expect("a figure")
    };
    let found = judge_refigure(&read(-3.0), &read(-5.0)).expect("a verdict");
    assert_eq!(found.judgement, Judgement::Worse, "{}", found.words);
    assert!(found.words.contains("RMS"), "{}", found.words);
}

#[test]
fn openings_behind_the_diagonal_saw_nothing_that_is_lit() {
    let hidden = ReduceOptions { obstruction_ratio: 0.94, ..options() };
    let inner = KnifeEdgeReadings::at_radii(
        318.0,
        RadiusOfCurvatureMm(3116.0),
        TestSource::Moving,
        ReadingsIncrease::AwayFromMirror,
        &[40.0, 60.0, 80.0],
        vec![vec![0.257, 0.578, 1.027]; 2],
    );
    let error = inner.expect("readings").reduce(hidden).expect_err("all in the shadow");
    assert!(error.to_string().contains("shadow"), "{error}");
}
