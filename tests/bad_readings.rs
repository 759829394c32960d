//! Readings as benches truly deliver them: single runs, holes, a zone read twice; and those that cannot be.

mod common;

use catoptric::{
    Error, FigureEstimate, KnifeEdgeReadings, MaskOpening, Problem, RadiusOfCurvatureMm, ReadingsIncrease,
    ReduceOptions, Result, TestSource, judge_refigure,
};
use common::{Row, assert_close, assert_close_relative, rows};

const NONE: f64 = f64::NAN;
/// Openings that touch, of a mirror of 200 mm and R 2400 mm.
const RIMS_MM: [f64; 5] = [20.0, 50.0, 70.0, 85.0, 98.0];
/// One run, nearly a paraboloid's.
const RUN: [f64; 4] = [0.31, 0.76, 1.26, 1.76];

fn between(rims_mm: &[f64]) -> Vec<MaskOpening> {
    let ring = |pair: &[f64]| MaskOpening { inner_radius_mm: pair[0], outer_radius_mm: pair[1] };
    rims_mm.windows(2).map(ring).collect()
}

fn read(rims_mm: &[f64], runs_mm: Vec<Vec<f64>>) -> Result<KnifeEdgeReadings> {
    let (radius, away) = (RadiusOfCurvatureMm(2400.0), ReadingsIncrease::AwayFromMirror);
    KnifeEdgeReadings::through_openings(200.0, radius, TestSource::Moving, away, between(rims_mm), runs_mm)
}

fn shifted(zero: f64) -> Vec<f64> {
    RUN.iter().map(|y| y + zero).collect()
}

fn with_hole(zone: usize) -> Vec<f64> {
    let mut run = shifted(2.0);
    run[zone] = NONE;
    run
}

fn few() -> ReduceOptions {
    ReduceOptions { draws: 400, ..ReduceOptions::default() }
}

fn figure(readings: &KnifeEdgeReadings) -> FigureEstimate {
    readings.reduce(few()).expect("a figure")
}

/// The faults of readings that are refused.
#[track_caller]
fn faults(readings: Result<KnifeEdgeReadings>) -> Vec<Problem> {
    match readings {
        Err(Error::Input(problems)) => problems,
        other => panic!("{other:?}"),
    }
}

#[track_caller]
fn one_fault(readings: Result<KnifeEdgeReadings>, field: &str, words: [&str; 3]) {
    let found = faults(readings);
    assert_eq!(found.len(), 1, "{found:?}");
    let [value, allowed, cause] = words;
    assert_eq!(found[0].field, field);
    assert!(found[0].value.contains(value), "{}", found[0]);
    assert!(found[0].allowed.contains(allowed), "{}", found[0]);
    assert!(found[0].cause.contains(cause), "{}", found[0]);
}

// What can be used.

#[test]
fn a_single_run_works_with_the_usual_noise_and_the_verdict_says_so() {
    let one = read(&RIMS_MM, vec![RUN.to_vec()]).expect("one run");
    // Closed form: half an Airy radius at 550 nm, F = R/(2D), carried to the axis by R/r.
    let usual = |middle_mm: f64| 0.5 * 1.219_669_89 * 550e-6 * 6.0 * 2400.0 / middle_mm;
    for (sigma, middle) in one.sigma_mm().iter().zip([35.0, 60.0, 77.5, 91.5]) {
        assert_close_relative(*sigma, usual(middle), 1e-9, "assumed noise, mm");
    }
    let five = read(&RIMS_MM, (0..5).map(|run| shifted(f64::from(run) / 3.0)).collect()).expect("five runs");
    let width = |readings| {
        let interval = figure(readings).strehl.noise;
        interval.high - interval.low
    };
    assert!(width(&one) > 2.0 * width(&five), "{} {}", width(&one), width(&five));
    let verdict = judge_refigure(&figure(&one), &figure(&five)).expect("a verdict");
    let told =
        verdict.reasons.iter().any(|told| told.starts_with("Before: one run") && told.contains("assumed"));
    assert!(told, "{:?}", verdict.reasons);
}

#[test]
fn three_zones_work_and_their_interval_is_wide() {
    let three = read(&[20.0, 60.0, 85.0, 98.0], vec![vec![0.42, 1.13, 1.75]; 2]).expect("three zones");
    let wide = figure(&three).strehl.total;
    assert!(wide.high - wide.low > 0.1, "{wide:?}");
    assert!(wide.low > 0.0 && wide.high <= 1.0);
}

#[test]
fn missing_readings_are_weighted_as_least_squares_weighs_them() {
    // tests/data/missing_readings.json: generalised least squares over the single readings, numpy.
    let table = &rows("missing_readings", "kind", "means")[0];
    let readings = read(&table.list("rims_mm"), table.table("runs_mm")).expect("readings with holes");
    let options =
        ReduceOptions { reading_sigma_mm: Some(table.list("sigma_mm")), radius_sigma_mm: Some(0.0), ..few() };
    let estimate = readings.reduce(options.clone()).expect("a figure");
    let level = estimate.zone_mean_mm.iter().sum::<f64>() / estimate.zone_mean_mm.len() as f64;
    for (found, truth) in estimate.zone_mean_mm.iter().zip(table.list("mean_mm")) {
        assert_close(found - level, truth, 1e-10, "zone mean, mm");
    }
    // Heights are linear in the means and blind to their common shift: so is their covariance.
    let operator = readings.figure_operator(&estimate.radius_mm, &options).expect("an operator").nm_per_mm;
    let covariance_mm2 = table.table("mean_covariance_mm2");
    for (i, row) in estimate.covariance_nm2.iter().enumerate() {
        for (j, found) in row.iter().enumerate() {
            let terms = (0..5).flat_map(|a| (0..5).map(move |b| (a, b)));
            let truth: f64 = terms.map(|(a, b)| operator[i][a] * covariance_mm2[a][b] * operator[j][b]).sum();
            assert_close(*found, truth, 1e-7, "covariance, nm^2");
        }
    }
    let fit = readings.conic_fit(&options).expect("a conic");
    for (name, found) in [("all", fit.all), ("without_outermost", fit.without_outermost)] {
        let truths: Vec<Row> = rows("missing_readings", "name", name);
        assert_close(found.conic, truths[0].number("conic"), 1e-9, "K");
        assert_close(found.conic_sigma, truths[0].number("conic_sigma"), 1e-9, "its standard error");
        assert_close(found.chi_square, truths[0].number("chi_square"), 1e-8, "chi-square");
    }
}

#[test]
fn a_hole_costs_its_zone_and_no_other() {
    let full = read(&RIMS_MM, vec![shifted(0.0), shifted(2.0), shifted(-1.0)]).expect("full runs");
    let holed = read(&RIMS_MM, vec![shifted(0.0), with_hole(2), shifted(-1.0)]).expect("a hole");
    // Runs that differ by their zeros alone: the means stay.
    for (a, b) in full.mean_mm().windows(2).zip(holed.mean_mm().windows(2)) {
        assert_close(a[1] - a[0], b[1] - b[0], 1e-9, "step between zones, mm");
    }
    assert_eq!(holed.runs_mm()[1][2], None);
    assert_eq!(holed.runs_mm()[1][3], Some(3.76));
    let text = serde_json::to_string(&holed).expect("text");
    assert_eq!(serde_json::from_str::<KnifeEdgeReadings>(&text).expect("readings"), holed);
}

#[test]
fn an_empty_field_of_a_table_is_a_missing_reading() {
    let (radius, away) = (RadiusOfCurvatureMm(2400.0), ReadingsIncrease::AwayFromMirror);
    let table = "inner_radius_mm,outer_radius_mm,run_1_mm,run_2_mm\n20,50,0.31,2.31\n50,70,0.76,\n70,85,1.26,3.26\n\
                 85,98,1.76,3.76\n";
    let from_text = KnifeEdgeReadings::from_csv_text(table, 200.0, radius, TestSource::Moving, away);
    let by_hand = read(&RIMS_MM, vec![RUN.to_vec(), with_hole(1)]).expect("a hole");
    assert_eq!(from_text.expect("a table with a hole"), by_hand);
    // An empty radius is no missing reading.
    let torn = table.replace("50,70", "50,");
    let error = KnifeEdgeReadings::from_csv_text(&torn, 200.0, radius, TestSource::Moving, away);
    let message = error.expect_err("a radius is missing").to_string();
    assert!(message.contains("line 3") && message.contains("outer_radius_mm"), "{message}");
}

// What cannot.

#[test]
fn one_or_two_zones_show_no_figure() {
    for zones in [1, 2] {
        let readings = read(&RIMS_MM[..=zones], vec![RUN[..zones].to_vec()]);
        let found = faults(readings);
        assert_eq!(found[0].field, "openings");
        assert!(found[0].value.contains(&format!("{zones} opening")), "{}", found[0]);
        assert!(found[0].allowed.contains("three or more"), "{}", found[0]);
    }
}

#[test]
fn runs_of_unequal_length_are_named() {
    let short = read(&RIMS_MM, vec![RUN.to_vec(), RUN[..3].to_vec()]);
    one_fault(short, "runs_mm[1]", ["3 readings", "each of the 4 openings", "Put NaN"]);
}

#[test]
fn a_run_of_one_reading_says_nothing() {
    let lone = read(&RIMS_MM, vec![RUN.to_vec(), vec![NONE, 0.8, NONE, NONE]]);
    one_fault(lone, "runs_mm[1]", ["1 reading", "two readings or more", ""]);
    let empty = read(&RIMS_MM, vec![RUN.to_vec(), vec![NONE; 4]]);
    one_fault(empty, "runs_mm[1]", ["0 readings", "two readings or more", ""]);
}

#[test]
fn a_zone_that_no_run_read_is_named() {
    let never = read(&RIMS_MM, vec![with_hole(1), with_hole(1)]);
    one_fault(never, "openings[1]", ["no reading", "in some run", "leave it out"]);
}

#[test]
fn a_zone_listed_twice_is_named_with_the_way_out() {
    let (radius, away) = (RadiusOfCurvatureMm(2400.0), ReadingsIncrease::AwayFromMirror);
    let mut twice = between(&RIMS_MM);
    twice.insert(2, twice[1]);
    let run = vec![0.31, 0.76, 0.77, 1.26, 1.76];
    let readings =
        KnifeEdgeReadings::through_openings(200.0, radius, TestSource::Moving, away, twice, vec![run]);
    one_fault(readings, "openings[2].inner_radius_mm", ["50", "not the one before", "one more run"]);
    // The way out, taken: the second reading in a run of its own, tied to the first by one zone more.
    let second = vec![NONE, 0.77, 1.26, NONE];
    read(&RIMS_MM, vec![RUN.to_vec(), second]).expect("the second reading as a run");
}

#[test]
fn runs_that_share_no_opening_are_two_masks() {
    let apart = read(&RIMS_MM, vec![vec![0.31, 0.76, NONE, NONE], vec![NONE, NONE, 1.26, 1.76]]);
    one_fault(apart, "runs_mm", ["without an opening in common", "chain of runs", "two masks"]);
    // A third run joins them.
    let third = vec![NONE, 0.77, 1.27, NONE];
    read(&RIMS_MM, vec![vec![0.31, 0.76, NONE, NONE], vec![NONE, NONE, 1.26, 1.76], third]).expect("a chain");
}

#[test]
fn an_infinite_or_wild_reading_is_named_by_its_place() {
    for wild in [f64::INFINITY, f64::NEG_INFINITY, 2e4] {
        let mut run = RUN.to_vec();
        run[3] = wild;
        one_fault(read(&RIMS_MM, vec![RUN.to_vec(), run]), "runs_mm[1][3]", ["", "stage position in mm", ""]);
    }
}

#[test]
fn all_faults_come_at_once() {
    let found = faults(read(&[20.0, 50.0, 70.0, 85.0, 150.0], vec![RUN[..3].to_vec(), vec![NONE; 4]]));
    let fields: Vec<&str> = found.iter().map(|fault| fault.field.as_str()).collect();
    for field in ["openings[3].outer_radius_mm", "runs_mm[0]", "runs_mm[1]"] {
        assert!(fields.contains(&field), "{fields:?}");
    }
}
