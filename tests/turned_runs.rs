//! Astigmatism told apart by turning the mirror.

mod common;

use catoptric::numeric::random::Stream;
use catoptric::{
    Astigmatism, AstigmatismEstimate, AstigmatismOrigin, Bounds, MaskOpening, ReadingsIncrease, TestSource,
    TurnedRun, TurnedRuns, TurnedRunsInput,
};
use common::{Row, assert_close, rows};

const RADII: [f64; 4] = [50.0, 90.0, 125.0, 145.0];
/// Noise of one reading at the rim, mm; it goes with 1/r.
const READING_MM: f64 = 0.02;
const RESEATING_MM: f64 = 0.015;

/// Exact readings by normals and rays in numpy, tests/data/turned.json.
fn input(set: &str, source: TestSource) -> (TurnedRunsInput, Row) {
    let mut found: Vec<Row> =
        rows("turned", "set", set).into_iter().filter(|r| r.text("source") == source.name()).collect();
    let runs = found
        .iter()
        .map(|row| TurnedRun {
            mirror_angle_deg: row.number("mirror_angle_deg"),
            mask_angle_deg: row.number("mask_angle_deg"),
            readings_mm: RADII.iter().map(|r| 40.0 + row.number(&format!("reading_at_{r}_mm"))).collect(),
        })
        .collect();
    let at = |&r: &f64| MaskOpening { inner_radius_mm: r, outer_radius_mm: r };
    let input = TurnedRunsInput {
        clear_aperture_mm: 300.0,
        radius_of_curvature_mm: 3000.0,
        source,
        readings_increase: ReadingsIncrease::AwayFromMirror,
        openings: RADII.iter().map(at).collect(),
        runs,
        zero_kept: true,
        reseating_sigma_mm: Some(1e-3),
    };
    (input, found.remove(0))
}

fn estimate(input: TurnedRunsInput) -> AstigmatismEstimate {
    TurnedRuns::new(input).expect("sound runs").estimate().expect("an estimate")
}

fn noisy(mut input: TurnedRunsInput, seed: u64) -> TurnedRunsInput {
    let mut stream = Stream::new(seed, 9);
    for run in &mut input.runs {
        let seat = RESEATING_MM * stream.normal();
        for (reading, r) in run.readings_mm.iter_mut().zip(RADII) {
            *reading += seat + READING_MM * 150.0 / r * stream.normal();
        }
    }
    input
}

/// Difference of two diameters' directions, degrees.
fn turn_between(a: f64, b: f64) -> f64 {
    (a - b + 90.0).rem_euclid(180.0) - 90.0
}

#[test]
fn exact_readings_give_amplitude_and_axis_back() {
    // The slope formula leaves out (r/R)^2/2, 1.2e-3 at the rim of this mirror, for a moving source, and twice that for a fixed one.
    for (source, share) in [(TestSource::Moving, 1.3e-3), (TestSource::Fixed, 4e-3)] {
        for set in ["glass_four", "both_all", "tilted_mask"] {
            let (input, truth) = input(set, source);
            let glass = estimate(input).glass.expect("the glass stands apart");
            let amplitude = truth.number("glass_amplitude_nm");
            assert_close(glass.amplitude_nm, amplitude, share * amplitude, &format!("{set}: amplitude, nm"));
            let off = turn_between(glass.axis_deg.expect("both parts"), truth.number("glass_axis_deg"));
            assert_close(off, 0.0, 0.1, &format!("{set}: axis, degrees"));
        }
        for set in ["stand_all", "both_all"] {
            let (input, truth) = input(set, source);
            let stand = estimate(input).stand.expect("the stand stands apart");
            let amplitude = truth.number("stand_amplitude_nm");
            assert_close(stand.amplitude_nm, amplitude, share * amplitude, &format!("{set}: stand, nm"));
            let off = turn_between(stand.axis_deg.expect("both parts"), truth.number("stand_axis_deg"));
            assert_close(off, 0.0, 0.1, &format!("{set}: axis of the stand, degrees"));
        }
    }
}

#[test]
fn what_the_angles_cannot_hold_apart_is_not_given() {
    let moving = |set| input(set, TestSource::Moving).0;
    // Mirror at 0 and 90, mask fixed: the part along the mask, and nothing of the stand.
    let two = estimate(moving("glass_two"));
    let glass = two.glass.expect("one part");
    assert!(!glass.is_whole() && glass.sine_nm.is_none() && glass.axis_deg.is_none());
    assert_close(glass.cosine_nm.expect("along the mask"), 120.0, 0.2, "along the mask, nm");
    assert_eq!((two.stand, two.origin), (None, AstigmatismOrigin::TurnsWithTheMirror));
    // The same glass at 45 degrees to the mask: nothing is seen, and that is no finding.
    let hidden = estimate(moving("glass_hidden"));
    assert_eq!(hidden.origin, AstigmatismOrigin::CannotTell);
    assert!(hidden.words.contains("one direction"), "{}", hidden.words);
    // Mask turned, mirror not: the sum alone.
    let mask = estimate(moving("mask_only"));
    assert_eq!((mask.glass, mask.stand, mask.origin), (None, None, AstigmatismOrigin::CannotTell));
    // Closed form: 70 at 30 + 10 degrees and 50 at 55 degrees: phasors of the doubled angles.
    let (x, y) = [(70.0, 40.0_f64), (50.0, 55.0)].iter().fold((0.0, 0.0), |(x, y), (k, a)| {
        let (sin, cos) = (2.0 * a.to_radians()).sin_cos();
        (x + k * cos, y + k * sin)
    });
    let together = mask.together.expect("the sum");
    assert_close(together.amplitude_nm, f64::hypot(x, y), 0.2, "glass and stand together, nm");
    let axis = 0.5 * f64::atan2(y, x).to_degrees();
    assert_close(turn_between(together.axis_deg.expect("both parts"), axis), 0.0, 0.1, "axis, degrees");
    assert!(mask.words.contains("cannot tell glass from stand"), "{}", mask.words);
    // A fixed mask never shows the stand, however often the mirror is turned.
    assert!(estimate(moving("tilted_mask")).stand.is_none());
}

#[test]
fn the_stand_does_not_spoil_the_glass() {
    // A mask that stays: the stand's astigmatism is the same shift in all runs. Truth: 100 nm at 40 degrees, with 40 nm in the stand.
    let (input, _) = input("tilted_mask", TestSource::Moving);
    let found = estimate(input);
    assert_eq!(found.origin, AstigmatismOrigin::TurnsWithTheMirror);
    assert!(found.words.contains("of the stand these runs say nothing"), "{}", found.words);
}

#[test]
fn a_hill_shortens_the_reading_along_it_and_the_scale_may_count_either_way() {
    let (input, truth) = input("glass_two", TestSource::Moving);
    assert!(
        input.runs[0].readings_mm[3] < input.runs[1].readings_mm[3],
        "the hill ({}) lies along the mask in the first run",
        truth.number("glass_axis_deg")
    );
    let mut other = input.clone();
    other.readings_increase = ReadingsIncrease::TowardMirror;
    for reading in other.runs.iter_mut().flat_map(|run| &mut run.readings_mm) {
        *reading = 100.0 - *reading;
    }
    let cosine = |input| estimate(input).glass.and_then(|g| g.cosine_nm).expect("along the mask");
    assert_close(cosine(other), cosine(input), 1e-9, "the scale turned round, nm");
}

/// How often each kind of interval holds its truth, in 400 draws.
fn coverage(set: &str, known: bool) -> [f64; 3] {
    let (clean, truth) = input(set, TestSource::Moving);
    let amplitude = truth.number("glass_amplitude_nm");
    let reference = truth.number("mask_angle_deg") - truth.number("mirror_angle_deg");
    let angle = 2.0 * (truth.number("glass_axis_deg") - reference).to_radians();
    let mut held = [0; 3];
    for seed in 0..400 {
        let mut input = noisy(clean.clone(), seed);
        input.reseating_sigma_mm = known.then_some(RESEATING_MM);
        let glass = estimate(input).glass.expect("apart");
        let holds = |b: Option<Bounds>, truth: f64| b.is_some_and(|b| b.holds(truth));
        held[0] += i32::from(holds(glass.cosine_interval_nm, amplitude * angle.cos()));
        held[1] += i32::from(holds(glass.sine_interval_nm, amplitude * angle.sin()));
        held[2] += i32::from(glass.amplitude_interval_nm.holds(amplitude));
    }
    held.map(|h| f64::from(h) / 400.0)
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    for (set, known) in [("glass_four", true), ("both_all", false), ("both_all", true)] {
        let [cosine, sine, amplitude] = coverage(set, known);
        println!("{set}, noise known: {known}: {cosine} {sine} {amplitude}");
        // 400 draws of a chance of 0.95 scatter by 0.011; three and a half of that.
        assert_close(cosine, 0.95, 0.038, &format!("coverage of the cosine, {set}"));
        assert_close(sine, 0.95, 0.038, &format!("coverage of the sine, {set}"));
        assert!(amplitude >= 0.93, "at least 95 in 100, {set}: {amplitude}");
    }
}

#[test]
fn a_sound_mirror_is_called_astigmatic_once_in_twenty() {
    // The stand has 90 nm, the glass none: 400 draws, chance 0.05, scatter 0.011.
    let (clean, _) = input("stand_all", TestSource::Moving);
    let mut called = 0;
    let mut found = 0;
    for seed in 0..400 {
        let input = TurnedRunsInput { reseating_sigma_mm: None, ..noisy(clean.clone(), 1000 + seed) };
        let estimate = estimate(input);
        let chance = |a: Option<Astigmatism>| a.expect("apart").chance_of_none;
        called += i32::from(chance(estimate.glass) < 0.05);
        found += i32::from(chance(estimate.stand) < 0.05);
    }
    assert_close(f64::from(called) / 400.0, 0.05, 0.038, "false alarms");
    assert!(found > 380, "90 nm in the stand: seen {found} times");
}

#[test]
fn what_cannot_be_is_refused_by_name() {
    let sound = input("glass_four", TestSource::Moving).0;
    let fields = |change: &dyn Fn(&mut TurnedRunsInput)| {
        let mut input = sound.clone();
        change(&mut input);
        let error = TurnedRuns::new(input).expect_err("refused");
        error.problems().iter().map(|p| p.field.clone()).collect::<Vec<_>>()
    };
    assert_eq!(fields(&|i| i.zero_kept = false), ["zero_kept"]);
    assert_eq!(fields(&|i| i.runs.truncate(1)), ["runs"]);
    assert_eq!(fields(&|i| i.radius_of_curvature_mm = 300.0), ["radius_of_curvature_mm"]);
    assert_eq!(fields(&|i| i.runs[1].mirror_angle_deg = f64::NAN), ["runs[1].mirror_angle_deg"]);
    assert_eq!(fields(&|i| i.runs[2].readings_mm.truncate(2)), ["runs[2].readings_mm"]);
    assert_eq!(fields(&|i| i.openings[3].outer_radius_mm = 290.0), ["openings[3].outer_radius_mm"]);
    assert_eq!(fields(&|i| i.reseating_sigma_mm = Some(-1.0)), ["reseating_sigma_mm"]);
    // Four runs for three numbers leave one to tell the scatter from.
    let few = TurnedRunsInput { reseating_sigma_mm: None, ..sound.clone() };
    let error = TurnedRuns::new(few).expect("sound").estimate().expect_err("too few");
    assert!(error.to_string().contains("1 more runs"), "{error}");
    let runs = TurnedRuns::new(sound).expect("sound");
    let text = serde_json::to_string(&runs).expect("JSON");
    assert_eq!(serde_json::from_str::<TurnedRuns>(&text).expect("back"), runs);
    assert!(
        serde_json::from_str::<TurnedRuns>(&text.replace("\"zero_kept\":true", "\"zero_kept\":false"))
            .is_err()
    );
}
