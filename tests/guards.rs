//! Mistakes at the bench, made one by one on the readings of a known mirror: each is asked about, none is repaired.

mod common;

use catoptric::{
    Error, KnifeEdgeReadings, MaskOpening, Problem, RadiusOfCurvatureMm, ReadingsIncrease, ReduceOptions,
    Result, TestSource, inches,
};
use common::{assert_close, rows};

/// Everything that is told about a bench. The exact readings of the demo mirror after its refigure: tests/data/knife_edge.json,
/// normals and rays in mpmath.
#[derive(Clone)]
struct Told {
    clear_aperture_mm: f64,
    radius_of_curvature_mm: f64,
    source: TestSource,
    increase: ReadingsIncrease,
    rims_mm: Vec<(f64, f64)>,
    reading_mm: Vec<f64>,
}

impl Told {
    fn after(source: TestSource) -> Self {
        let table = rows("knife_edge", "name", "after");
        let key = match source {
            TestSource::Moving => "moving_source_mean_mm",
            TestSource::Fixed => "fixed_source_mean_mm",
        };
        Self {
            clear_aperture_mm: 318.0,
            radius_of_curvature_mm: 3116.0,
            source,
            increase: ReadingsIncrease::AwayFromMirror,
            rims_mm: table
                .iter()
                .map(|r| (r.number("inner_radius_mm"), r.number("outer_radius_mm")))
                .collect(),
            reading_mm: table.iter().map(|row| row.number(key)).collect(),
        }
    }

    fn but(mut self, change: impl FnOnce(&mut Self)) -> Self {
        change(&mut self);
        self
    }

    fn read(&self) -> Result<KnifeEdgeReadings> {
        let opening = |&(inner_radius_mm, outer_radius_mm)| MaskOpening { inner_radius_mm, outer_radius_mm };
        KnifeEdgeReadings::through_openings(
            self.clear_aperture_mm,
            RadiusOfCurvatureMm(self.radius_of_curvature_mm),
            self.source,
            self.increase,
            self.rims_mm.iter().map(opening).collect(),
            vec![self.reading_mm.clone(); 2],
        )
    }
}

fn moving() -> Told {
    Told::after(TestSource::Moving)
}

fn fixed() -> Told {
    Told::after(TestSource::Fixed)
}

fn scaled(told: Told, factor: f64) -> Told {
    told.but(|t| t.reading_mm.iter_mut().for_each(|reading| *reading *= factor))
}

fn with_radii(told: Told, factor: f64) -> Told {
    told.but(|t| t.rims_mm.iter_mut().for_each(|(a, b)| (*a, *b) = (*a * factor, *b * factor)))
}

/// The one question that readings meet, which are taken all the same.
#[track_caller]
fn asked(told: &Told) -> Problem {
    let problems = told.read().expect("only a question").problems();
    assert_eq!(problems.len(), 1, "{problems:?}");
    problems[0].clone()
}

#[track_caller]
fn refused(told: &Told) -> Problem {
    let Err(Error::Input(problems)) = told.read() else { panic!("taken") };
    assert_eq!(problems.len(), 1, "{problems:?}");
    problems[0].clone()
}

/// K without the outermost opening, radii exact.
fn conic(told: &Told) -> f64 {
    let options = ReduceOptions { radius_sigma_mm: Some(0.0), ..ReduceOptions::default() };
    told.read().expect("readings").conic_fit(&options).expect("a fit").without_outermost.conic
}

/// The conics of the demo mirror with each mistake made: own computation in numpy from the same exact readings, weights
/// by the noise of the data set's own page (0.110 to 0.030 mm).
const HALF: f64 = -0.494;
const DOUBLE: f64 = -1.976;

#[test]
fn the_right_bench_meets_no_question() {
    for told in [moving(), fixed()] {
        assert_eq!(told.read().expect("readings").problems(), []);
        assert_close(conic(&told), -0.987, 0.004, "K of the right bench");
    }
}

#[test]
fn moving_taken_as_fixed_and_focal_length_for_radius_are_twins() {
    let as_fixed = moving().but(|t| t.source = TestSource::Fixed);
    let focal_length = moving().but(|t| t.radius_of_curvature_mm = 1558.0);
    for told in [&as_fixed, &focal_length] {
        assert_close(conic(told), HALF, 0.003, "half the span");
        let question = asked(told);
        assert_eq!(question.field, "runs_mm");
        assert!(question.cause.contains("moving source taken as fixed"), "{question}");
        assert!(question.cause.contains("focal length given for radius of curvature"), "{question}");
        assert!(question.cause.contains("or the mirror really is"), "{question}");
    }
    twins(&as_fixed, &focal_length, 1.5e-3);
}

#[test]
fn fixed_taken_as_moving_and_twice_the_radius_are_twins() {
    let as_moving = fixed().but(|t| t.source = TestSource::Moving);
    let twice = moving().but(|t| t.radius_of_curvature_mm = 6232.0);
    for told in [&as_moving, &twice] {
        assert_close(conic(told), DOUBLE, 0.006, "twice the span");
        let question = asked(told);
        assert!(question.cause.contains("fixed source taken as moving"), "{question}");
        assert!(question.cause.contains("twice the radius of curvature given"), "{question}");
    }
    twins(&as_moving, &twice, 3e-3);
}

/// Two mistakes that no readings tell apart: their conics differ by less than (a/R)^2 = 0.0026 times the span, a third
/// of the standard error of K, and the question is the same.
fn twins(one: &Told, other: &Told, apart: f64) {
    assert_close(conic(one), conic(other), apart, "twins");
    let fit = |told: &Told| told.read().expect("readings").conic_fit(&ReduceOptions::default());
    let sigma = fit(one).expect("a fit").without_outermost.conic_sigma;
    assert!((conic(one) - conic(other)).abs() < sigma / 3.0, "{sigma}");
    assert_eq!(asked(one).cause, asked(other).cause);
}

#[test]
fn a_reversed_direction_and_a_reversed_list_cannot_be_told_apart() {
    let direction = moving().but(|t| t.increase = ReadingsIncrease::TowardMirror);
    let order = moving().but(|t| t.reading_mm.reverse());
    for told in [&direction, &order] {
        let fault = refused(told);
        assert_eq!(fault.field, "readings_increase");
        assert!(fault.cause.contains("increase the other way"), "{fault}");
        assert!(fault.cause.contains("listed from the rim inward"), "{fault}");
    }
    // As computed apart: -0.987 and -1.009 of a paraboloid's span.
    let span = |told: &Told| -> f64 {
        let text = refused(told).value;
        text.split_whitespace().nth(3).and_then(|word| word.parse().ok()).expect("a number")
    };
    assert_close(span(&direction), -0.987, 0.005, "direction");
    assert_close(span(&order), -1.009, 0.005, "order");
}

#[test]
fn inches_read_as_millimetres_look_like_a_sphere() {
    let in_inches = scaled(moving(), 1.0 / inches(1.0));
    // K = -0.040 with and -0.039 without the outermost opening.
    assert_close(conic(&in_inches), -0.039, 0.001, "inches");
    let question = asked(&in_inches);
    assert!(question.cause.contains("sphere"), "{question}");
    assert!(question.cause.contains("inches read as millimetres"), "{question}");
}

#[test]
fn millimetres_read_as_inches_are_no_mirror() {
    let fault = refused(&scaled(moving(), inches(1.0)));
    assert!(fault.value.contains("span of 25."), "{fault}");
    assert!(fault.cause.contains("millimetres read as inches"), "{fault}");
}

#[test]
fn diameters_given_for_radii_leave_the_mirror_or_a_quarter_of_the_span() {
    let Err(Error::Input(faults)) = with_radii(moving(), 2.0).read() else { panic!("taken") };
    assert!(faults.iter().all(|fault| fault.cause.contains("diameters given for radii")), "{faults:?}");
    // With the clear aperture doubled as well, or of a mask that covers the inner part alone, they stay inside.
    let wide = with_radii(moving(), 2.0).but(|t| t.clear_aperture_mm = 636.0);
    let inner = with_radii(moving(), 2.0).but(|t| {
        t.rims_mm.truncate(4);
        t.reading_mm.truncate(4);
        t.clear_aperture_mm = 450.0;
    });
    for told in [wide, inner] {
        let question = asked(&told);
        assert!(question.cause.contains("diameters of the openings given for radii"), "{question}");
    }
}

#[test]
fn halved_radii_leave_four_times_the_span() {
    let question = asked(&with_radii(moving(), 0.5));
    assert!(question.cause.contains("half radii of the openings"), "{question}");
}

#[test]
fn a_radius_of_curvature_off_by_a_little_is_harmless() {
    let off = moving().but(|t| t.radius_of_curvature_mm = 3126.0);
    assert_eq!(off.read().expect("readings").problems(), []);
    // Closed form: the span grows with R, by 10 mm in 3116.
    assert_close(conic(&off) / conic(&moving()), 3126.0 / 3116.0, 1e-4, "10 mm");
}

#[test]
fn one_size_in_other_units_than_the_rest_is_refused() {
    let small = refused(&with_radii(moving(), 1.0 / inches(1.0)));
    assert!(small.cause.contains("radii of the openings in inches"), "{small}");
    let aperture = moving().but(|t| t.clear_aperture_mm /= inches(1.0));
    let Err(Error::Input(faults)) = aperture.read() else { panic!("taken") };
    assert!(faults.iter().all(|fault| fault.cause.contains("clear aperture in other units")), "{faults:?}");
    let radius = refused(&moving().but(|t| t.radius_of_curvature_mm /= inches(1.0)));
    assert_eq!(radius.field, "radius_of_curvature_mm");
    assert!(radius.cause.contains("other units"), "{radius}");
}

/// Exact readings of a conic: the normal meets the axis at R - K z(r).
fn of_conic(conic: f64) -> Told {
    let radii: [f64; 5] = [31.622_777, 54.772_256, 70.710_678, 83.666_003, 94.868_330];
    let sag = |r: f64| r * r / 2400.0 / (1.0 + (1.0 - (1.0 + conic) * r * r / 2400.0_f64.powi(2)).sqrt());
    Told {
        clear_aperture_mm: 200.0,
        radius_of_curvature_mm: 2400.0,
        source: TestSource::Moving,
        increase: ReadingsIncrease::AwayFromMirror,
        rims_mm: radii.iter().map(|&r| (r, r)).collect(),
        reading_mm: radii.iter().map(|&r| 3.0 - conic * sag(r)).collect(),
    }
}

#[test]
fn what_a_mirror_may_truly_be_is_asked_about_and_reduced() {
    for (truth, named) in [(-0.5, "moving source"), (0.0, "sphere"), (0.1, "sphere"), (-2.0, "fixed source")]
    {
        let told = of_conic(truth);
        let question = asked(&told);
        assert!(question.cause.contains(named), "{truth}: {question}");
        let readings = told.read().expect("readings");
        let found = readings.conic_fit(&ReduceOptions::default()).expect("a fit").all.conic;
        // Higher orders, as documented: half of (a/R)^2 |K (1 + K)|.
        let left_out = 0.5 * (100.0_f64 / 2400.0).powi(2) * (truth * (1.0 + truth)).abs() + 1e-9;
        assert_close(found, truth, left_out, "K");
        let figure = readings.reduce(ReduceOptions { draws: 200, ..ReduceOptions::default() });
        // Closed form: the wavefront (1 + K) r^4/(4 R^3) has the RMS a^4/(4 R^3)/sqrt(180) at best focus; higher
        // orders and straight pieces between the rims change it by a few parts in a hundred.
        let rms_nm =
            (1.0 + truth).abs() * 100.0_f64.powi(4) / (4.0 * 2400.0_f64.powi(3)) / 180.0_f64.sqrt() * 1e6;
        let value = figure.expect("a figure").rms_nm.value;
        assert_close(value, rms_nm, 0.03 * rms_nm, "RMS, nm");
    }
}

#[test]
fn a_sphere_that_noise_tips_over_is_not_refused() {
    // One run on a slow mirror, whose noise is a third of the paraboloid's span.
    let told = of_conic(0.0).but(|t| {
        for (reading, noise) in t.reading_mm.iter_mut().zip([0.15, 0.05, 0.0, -0.05, -0.1]) {
            *reading += noise;
        }
    });
    assert_eq!(asked(&told).severity, catoptric::Severity::Warning);
}

#[test]
fn a_direction_that_noise_hides_is_asked_about() {
    // 100 mm at f/20: a paraboloid's readings span 0.25 mm, and half an Airy radius is 0.6 mm along the axis.
    let told = of_conic(-1.0).but(|t| {
        t.clear_aperture_mm = 100.0;
        t.radius_of_curvature_mm = 4000.0;
        t.rims_mm = [15.0, 27.0, 35.0, 42.0, 47.0].map(|r| (r, r)).to_vec();
        t.reading_mm = t.rims_mm.iter().map(|(r, _)| -r * r / 8000.0).collect();
    });
    let question = asked(&told);
    assert_eq!(question.field, "readings_increase");
    assert_eq!(question.severity, catoptric::Severity::Warning);
}

#[test]
fn a_turned_edge_alone_meets_no_question() {
    let table = rows("knife_edge", "name", "before");
    let told = moving().but(|t| {
        t.reading_mm = table.iter().map(|row| row.number("moving_source_mean_mm")).collect();
        // An edge three times as steep as the demo mirror's would be taken for the factor of two.
        let last = t.reading_mm.len() - 1;
        t.reading_mm[last] += 4.0;
    });
    let readings = told.read().expect("readings");
    let fit = readings.conic_fit(&ReduceOptions::default()).expect("a fit");
    assert!(fit.all.conic < -1.6, "{fit:?}");
    assert_eq!(readings.problems(), []);
}
