//! One conic constant for the whole mirror: against exact conics, against an independent fit, and what it is not.

mod common;

use catoptric::{
    ConicFit, Correction, KnifeEdgeReadings, MaskOpening, RadiusOfCurvatureMm, ReadingsIncrease,
    ReduceOptions, TestSource,
};
use common::{Row, assert_close, assert_close_relative, rows};

const SOURCES: [(TestSource, &str, &str); 2] = [
    (TestSource::Moving, "moving_source_mean_mm", "moving_source_reading_mm"),
    (TestSource::Fixed, "fixed_source_mean_mm", "fixed_source_reading_mm"),
];

fn fenlight(name: &str) -> KnifeEdgeReadings {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/notebooks-demo/data/fenlight_");
    let source = if name.ends_with("fixed") { TestSource::Fixed } else { TestSource::Moving };
    let (radius, away) = (RadiusOfCurvatureMm(3116.0), ReadingsIncrease::AwayFromMirror);
    KnifeEdgeReadings::load_csv(format!("{folder}{name}.csv"), 318.0, radius, source, away)
        .expect("demo data")
}

fn exact_radii() -> ReduceOptions {
    ReduceOptions { radius_sigma_mm: Some(0.0), ..ReduceOptions::default() }
}

fn fit(readings: &KnifeEdgeReadings) -> ConicFit {
    readings.conic_fit(&exact_radii()).expect("a fit")
}

fn read(
    aperture_mm: f64,
    radius_mm: f64,
    source: TestSource,
    openings: Vec<MaskOpening>,
    reading_mm: Vec<f64>,
) -> KnifeEdgeReadings {
    let (radius, away) = (RadiusOfCurvatureMm(radius_mm), ReadingsIncrease::AwayFromMirror);
    KnifeEdgeReadings::through_openings(aperture_mm, radius, source, away, openings, vec![reading_mm])
        .expect("readings")
}

/// What higher orders do to K, as the documentation states it.
fn left_out(conic: f64, aperture_mm: f64, radius_mm: f64, source: TestSource) -> f64 {
    let steepness = (aperture_mm / 2.0 / radius_mm).powi(2);
    match source {
        TestSource::Moving => 0.5 * steepness * (conic * (1.0 + conic)).abs(),
        TestSource::Fixed => steepness * (1.0 + conic).abs() * (1.0 + conic.abs() / 2.0),
    }
}

#[test]
fn exact_conics_come_back() {
    // tests/data/knife_edge.json: normals and reflected rays in mpmath, zones at four radii.
    let zones = rows("knife_edge", "kind", "zone");
    for mirror in zones.chunks(4).take(12) {
        let (aperture, radius) =
            (mirror[0].number("clear_aperture_mm"), mirror[0].number("radius_of_curvature_mm"));
        let truth = mirror[0].number("conic");
        let at = |row: &Row| {
            let r = row.number("zone_radius_mm");
            MaskOpening { inner_radius_mm: r, outer_radius_mm: r }
        };
        for (source, _, key) in SOURCES {
            let reading_mm = mirror.iter().map(|row| row.number(key)).collect();
            let found = fit(&read(aperture, radius, source, mirror.iter().map(at).collect(), reading_mm));
            let allowed = left_out(truth, aperture, radius, source) + 1e-9;
            for estimate in [found.all, found.without_outermost] {
                assert_close(estimate.conic, truth, allowed, &format!("{source:?} {aperture} K {truth}"));
            }
        }
    }
}

#[test]
fn openings_count_by_their_area() {
    // tests/data/knife_edge.json: means over wide openings, quadrature in mpmath.
    for truth in [-1.0, -0.8, -1.2] {
        let table: Vec<Row> = rows("knife_edge", "name", "conic")
            .into_iter()
            .filter(|row| (row.number("conic") - truth).abs() < 1e-9)
            .collect();
        let ring = |row: &Row| MaskOpening {
            inner_radius_mm: row.number("inner_radius_mm"),
            outer_radius_mm: row.number("outer_radius_mm"),
        };
        for (source, key, _) in SOURCES {
            let reading_mm = table.iter().map(|row| row.number(key)).collect();
            let found = fit(&read(200.0, 2400.0, source, table.iter().map(ring).collect(), reading_mm));
            let allowed = left_out(truth, 200.0, 2400.0, source) + 1e-9;
            assert_close(found.all.conic, truth, allowed, &format!("{source:?} openings, K {truth}"));
        }
    }
}

/// The noise of one reading as the page of the demo data states it, mm.
const STATED_MM: [f64; 8] = [0.110, 0.070, 0.050, 0.040, 0.035, 0.030, 0.030, 0.040];

fn stated(readings: &KnifeEdgeReadings) -> ConicFit {
    let options = ReduceOptions { reading_sigma_mm: Some(STATED_MM.to_vec()), ..exact_radii() };
    readings.conic_fit(&options).expect("a fit")
}

#[test]
fn the_demo_mirror_agrees_with_an_independent_fit() {
    // Own computation apart from the library: numpy.linalg.lstsq of a zero and K on the means of the five runs, weighted by
    // the stated noise. K and chi-square a degree of freedom, with all openings and without the outermost.
    let golden = [("before", [-1.2547, 1260.9, -0.8913, 24.5]), ("after", [-1.0249, 12.6, -0.9892, 0.7])];
    for (name, [all, wild, inner, calm]) in golden {
        let found = stated(&fenlight(name));
        assert_close(found.all.conic, all, 1e-4, name);
        assert_close(found.without_outermost.conic, inner, 1e-4, name);
        assert_close(found.all.chi_square / 6.0, wild, 0.06, name);
        assert_close(found.without_outermost.chi_square / 5.0, calm, 0.06, name);
        assert_eq!((found.all.freedom, found.without_outermost.freedom), (6, 5));
    }
    // Estimated noise weighs other openings, which moves K of a mirror that is no conic, and hardly that of one that is.
    let (before, after) = (fit(&fenlight("before")), fit(&fenlight("after")));
    assert!((before.all.conic + 1.2547).abs() > 0.1);
    assert_close(before.without_outermost.conic, -0.8913, 0.01, "before, without the outermost");
    assert_close(after.without_outermost.conic, -0.9892, 0.001, "after, without the outermost");
    // The bench with the fixed source sees the same glass.
    let fixed = fit(&fenlight("after_fixed")).without_outermost;
    let apart = (fixed.conic - after.without_outermost.conic).abs();
    assert!(apart < 3.0 * fixed.conic_sigma.hypot(after.without_outermost.conic_sigma), "{apart}");
}

#[test]
fn a_turned_edge_moves_the_conic_and_the_glass_inside_of_it_does_not() {
    // tests/data/knife_edge.json: exact means over the demo mask. Truths -0.88 and -0.985, zones of a few nm beside; the
    // same independent fit gives the rest.
    for (name, truth, all) in [("before", -0.88, -1.2487), ("after", -0.985, -1.0245)] {
        let table = rows("knife_edge", "name", name);
        let ring = |row: &Row| MaskOpening {
            inner_radius_mm: row.number("inner_radius_mm"),
            outer_radius_mm: row.number("outer_radius_mm"),
        };
        for (source, key, _) in SOURCES {
            let reading_mm = table.iter().map(|row| row.number(key)).collect();
            let found = stated(&read(318.0, 3116.0, source, table.iter().map(ring).collect(), reading_mm));
            assert_close(found.all.conic, all, 2e-3, &format!("{name} {source:?}, all"));
            assert_close(found.without_outermost.conic, truth, 0.01, &format!("{name} {source:?}"));
        }
    }
}

#[test]
fn a_bad_chi_square_is_said() {
    let before = fit(&fenlight("before"));
    assert!(!before.all.fits() && !before.without_outermost.fits());
    assert_eq!(before.correction(), Correction::Under);
    assert!(before.words().contains("No conic fits these readings"), "{}", before.words());
    let after = fit(&fenlight("after"));
    assert!(after.without_outermost.fits(), "{after:?}");
    for found in [before, after] {
        assert!(found.words().contains("K is no headline"), "{}", found.words());
        assert!(found.words().contains(&found.correction().to_string()));
    }
}

/// One K, opening by opening, with noise that a caller states.
fn noisy(conic: f64, sigma_mm: f64) -> ConicFit {
    let radii: [f64; 5] = [31.0, 55.0, 71.0, 84.0, 95.0];
    let reading = |r: f64, noise: f64| -conic * r * r / 4800.0 + noise * sigma_mm;
    // Differences without slope against r^2, nearly, and of the noise's own size.
    let noise = [0.9, -1.2, -0.3, 1.1, -0.5];
    let reading_mm = radii.iter().zip(noise).map(|(&r, n)| reading(r, n)).collect();
    let at = |&r: &f64| MaskOpening { inner_radius_mm: r, outer_radius_mm: r };
    let readings = read(200.0, 2400.0, TestSource::Moving, radii.iter().map(at).collect(), reading_mm);
    let options = ReduceOptions { reading_sigma_mm: Some(vec![sigma_mm]), ..exact_radii() };
    readings.conic_fit(&options).expect("a fit")
}

#[test]
fn words_follow_the_departure_and_its_error() {
    assert_eq!(noisy(-1.0, 0.02).correction(), Correction::WithinNoise);
    assert_eq!(noisy(-1.2, 0.02).correction(), Correction::Over);
    assert_eq!(noisy(-0.8, 0.02).correction(), Correction::Under);
    assert_eq!(noisy(-0.8, 0.4).correction(), Correction::WithinNoise);
    assert!(noisy(-1.2, 0.02).words().contains("over-corrected"));
}

#[test]
fn the_standard_error_is_that_of_a_line_through_equal_noise() {
    // Closed form: the slope against r^2/(2R) of equal noise has the variance sigma^2 over the squares about the mean.
    let radii: [f64; 5] = [31.0, 55.0, 71.0, 84.0, 95.0];
    let lever: Vec<f64> = radii.iter().map(|r| r * r / 4800.0).collect();
    let error = |lever: &[f64]| {
        let mean = lever.iter().sum::<f64>() / lever.len() as f64;
        0.02 / lever.iter().map(|x| (x - mean).powi(2)).sum::<f64>().sqrt()
    };
    let found = noisy(-0.9, 0.02);
    assert_close_relative(found.all.conic_sigma, error(&lever), 1e-9, "standard error, all");
    assert_close_relative(found.without_outermost.conic_sigma, error(&lever[..4]), 1e-9, "without the last");
}

#[test]
fn three_openings_leave_nothing_to_check_the_conic_by() {
    let at = |r: f64| MaskOpening { inner_radius_mm: r, outer_radius_mm: r };
    let openings = vec![at(40.0), at(70.0), at(95.0)];
    let ideal = [40.0, 70.0, 95.0].map(|r: f64| r * r / 4800.0).to_vec();
    let found = fit(&read(200.0, 2400.0, TestSource::Moving, openings, ideal));
    assert_eq!((found.without_outermost.freedom, found.all.freedom), (0, 1));
    assert_close(found.without_outermost.p_value, 1.0, 0.0, "nothing left");
    assert!(found.words().contains("nothing is left over"), "{}", found.words());
}

#[test]
fn uncertain_radii_widen_the_error_and_calm_chi_square() {
    let readings = fenlight("after");
    let at = |sigma: f64| {
        let options = ReduceOptions { radius_sigma_mm: Some(sigma), ..ReduceOptions::default() };
        readings.conic_fit(&options).expect("a fit").all
    };
    assert!(at(1.0).conic_sigma > 1.5 * at(0.0).conic_sigma);
    assert!(at(1.0).chi_square < 0.5 * at(0.0).chi_square);
}

#[test]
fn a_conic_fit_survives_being_written_down() {
    let found = fit(&fenlight("after"));
    let text = serde_json::to_string(&found).expect("text");
    assert_eq!(serde_json::from_str::<ConicFit>(&text).expect("a fit"), found);
}
