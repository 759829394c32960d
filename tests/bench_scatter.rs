//! One surface on two benches: what the benches add beyond the noise of their readings.

mod common;

use catoptric::numeric::random::Stream;
use catoptric::{
    BenchScatter, Error, KnifeEdgeReadings, MaskOpening, RadiusOfCurvatureMm, ReadingsIncrease, TestSource,
    bench_scatter,
};
use common::{assert_close, rows};

fn fenlight(name: &str) -> KnifeEdgeReadings {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/notebooks-demo/data/fenlight_");
    let source = if name.ends_with("fixed") { TestSource::Fixed } else { TestSource::Moving };
    let (radius, away) = (RadiusOfCurvatureMm(3116.0), ReadingsIncrease::AwayFromMirror);
    KnifeEdgeReadings::load_csv(format!("{folder}{name}.csv"), 318.0, radius, source, away)
        .expect("demo data")
}

/// The demo mask and the exact readings of the demo mirror after its refigure with either source, mm: tests/data/knife_edge.json.
struct Mirror {
    openings: Vec<MaskOpening>,
    moving_mm: Vec<f64>,
    fixed_mm: Vec<f64>,
}

impl Mirror {
    fn after() -> Self {
        let table = rows("knife_edge", "name", "after");
        let all = |key: &str| table.iter().map(|row| row.number(key)).collect::<Vec<f64>>();
        let rims = all("inner_radius_mm").into_iter().zip(all("outer_radius_mm"));
        let opening = |(inner_radius_mm, outer_radius_mm)| MaskOpening { inner_radius_mm, outer_radius_mm };
        Self {
            openings: rims.map(opening).collect(),
            moving_mm: all("moving_source_mean_mm"),
            fixed_mm: all("fixed_source_mean_mm"),
        }
    }

    /// Five runs on a bench: noise of 1/r, a zero for each run, and a shift of each opening common to all runs.
    fn on_a_bench(&self, stream: &mut Stream, source: TestSource, scatter_mm: f64) -> KnifeEdgeReadings {
        let (exact, gain) = match source {
            TestSource::Moving => (&self.moving_mm, 1.0),
            TestSource::Fixed => (&self.fixed_mm, 2.0),
        };
        let shifted: Vec<f64> = exact.iter().map(|y| y + gain * scatter_mm * stream.normal()).collect();
        let runs_mm = (0..5).map(|_| {
            let zero = 5.0 * stream.uniform();
            let reading = |(y, o): (&f64, &MaskOpening)| {
                let middle_mm = f64::midpoint(o.inner_radius_mm, o.outer_radius_mm);
                y + zero + gain * 4.0 / middle_mm * stream.normal()
            };
            shifted.iter().zip(&self.openings).map(reading).collect()
        });
        let runs_mm = runs_mm.collect();
        let (radius, away) = (RadiusOfCurvatureMm(3116.0), ReadingsIncrease::AwayFromMirror);
        KnifeEdgeReadings::through_openings(318.0, radius, source, away, self.openings.clone(), runs_mm)
            .expect("readings")
    }
}

/// Many pairs of benches that truly scatter by so much.
fn pairs(seed: u64, count: u64, sources: [TestSource; 2], scatter_mm: f64) -> Vec<BenchScatter> {
    let mirror = Mirror::after();
    let pair = |number: u64| {
        let stream = &mut Stream::new(seed, number);
        let [first, second] = sources.map(|source| mirror.on_a_bench(stream, source, scatter_mm));
        bench_scatter(&first, &second).expect("one mirror")
    };
    (0..count).map(pair).collect()
}

const COUNT: u64 = 400;
const BOTH: [[TestSource; 2]; 2] =
    [[TestSource::Moving, TestSource::Moving], [TestSource::Moving, TestSource::Fixed]];

fn share(of: &[BenchScatter], is: impl Fn(&BenchScatter) -> bool) -> f64 {
    of.iter().filter(|found| is(found)).count() as f64 / of.len() as f64
}

#[test]
fn the_estimate_is_right_in_the_mean_of_squares() {
    for sources in BOTH {
        for truth_mm in [0.03, 0.1] {
            let found = pairs(21, COUNT, sources, truth_mm);
            let square = found.iter().map(|f| f.scatter_mm * f.scatter_mm).sum::<f64>() / found.len() as f64;
            // A variance from 7 degrees of freedom scatters by sqrt(2/7), more where the noise counts: three standard errors.
            let allowed = if truth_mm < 0.05 { 0.15 } else { 0.09 };
            let what = format!("{sources:?} {truth_mm} mm, variance over its truth");
            assert_close(square / (truth_mm * truth_mm), 1.0, allowed, &what);
        }
    }
}

#[test]
fn the_bound_holds_as_often_as_it_says() {
    for sources in BOTH {
        for truth_mm in [0.005, 0.03, 0.1] {
            let found = pairs(22, COUNT, sources, truth_mm);
            let held = share(&found, |f| f.upper_mm >= truth_mm);
            println!("{sources:?} {truth_mm} mm: bound holds in {held}");
            // 95 % of 400 scatter by 0.011; below the noise it may hold always.
            assert!(held > 0.95 - 0.033, "{sources:?} {truth_mm}: {held}");
            if truth_mm > 0.05 {
                assert!(held < 0.95 + 0.033, "{sources:?} {truth_mm}: {held}");
            }
        }
    }
}

#[test]
fn benches_without_scatter_are_rarely_accused() {
    for sources in BOTH {
        let found = pairs(23, COUNT, sources, 0.0);
        for level in [0.05, 0.5] {
            let accused = share(&found, |f| f.p_value < level);
            // Three standard errors of a share, sqrt(p (1 - p)/400).
            let allowed = 3.0 * (level * (1.0 - level) / COUNT as f64).sqrt();
            assert_close(accused, level, allowed, &format!("{sources:?}, p below {level}"));
        }
        // Where nothing is found, the bound still says how much could hide.
        assert!(found.iter().all(|f| f.upper_mm > 0.01 && f.upper_mm >= f.scatter_mm));
    }
}

#[test]
fn a_fixed_source_shows_the_scatter_doubled() {
    let found = BenchScatter { scatter_mm: 0.03, upper_mm: 0.05, p_value: 0.1, freedom: 7 };
    assert_close(found.reading_mm(TestSource::Moving), 0.03, 0.0, "moving");
    assert_close(found.reading_mm(TestSource::Fixed), 0.06, 0.0, "fixed");
}

#[test]
fn the_demo_benches_agree_within_their_noise() {
    // The demo data were made without scatter: the noise must explain the difference.
    let (first, second) = (fenlight("after"), fenlight("after_fixed"));
    let found = bench_scatter(&first, &second).expect("one mirror");
    assert!(found.p_value > 0.05, "{found:?}");
    assert_eq!(found.freedom, 7);
    // Sensitivity by hand: the outer openings' differences have a noise of about 0.02 mm in moving-source readings.
    assert!(found.scatter_mm < 0.02 && found.upper_mm > 0.01 && found.upper_mm < 0.06, "{found:?}");
    let turned = bench_scatter(&second, &first).expect("one mirror");
    assert_close(turned.scatter_mm, found.scatter_mm, 1e-12, "in either order");
    assert_close(turned.upper_mm, found.upper_mm, 1e-9, "in either order");
}

#[test]
fn another_surface_is_scatter_beyond_doubt() {
    let found = bench_scatter(&fenlight("before"), &fenlight("after")).expect("one mirror");
    assert!(found.p_value < 1e-6 && found.scatter_mm > 0.3, "{found:?}");
}

#[test]
fn pairs_that_cannot_be_compared_are_refused() {
    let first = fenlight("after");
    let again = |aperture_mm: f64, radius_mm: f64, openings: Vec<MaskOpening>| {
        let runs = first.runs_mm().iter();
        let runs = runs.map(|run| run[..openings.len()].iter().map(|y| y.expect("read")).collect()).collect();
        let (radius, away) = (RadiusOfCurvatureMm(radius_mm), ReadingsIncrease::AwayFromMirror);
        KnifeEdgeReadings::through_openings(aperture_mm, radius, TestSource::Moving, away, openings, runs)
            .expect("readings")
    };
    let openings = first.openings().to_vec();
    let cases = [
        (again(320.0, 3116.0, openings.clone()), "second.clear_aperture_mm"),
        (again(318.0, 3120.0, openings.clone()), "second.radius_of_curvature_mm"),
        (again(318.0, 3116.0, openings[..7].to_vec()), "second.openings"),
        (first.clone(), "second"),
    ];
    for (second, field) in cases {
        let Err(Error::Input(problems)) = bench_scatter(&first, &second) else { panic!("{field} taken") };
        assert_eq!(problems[0].field, field);
    }
}
