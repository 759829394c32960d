//! Roll-offs, steps and central hills: closed forms, exact paths, both sides of a step, and what must not be.

mod common;

use std::f64::consts::TAU;

use catoptric::{
    CentralHill, EdgeRollOff, EdgeStep, Field, FigureLayer, FocalLengthMm, Focus, KnifeBench, MaskOpening,
    MtfOptions, Prepared, Primary, RadiusOfCurvatureMm, Severity, TestSource, Train, TurnedEdge, Wavefront,
    expected_readings,
};
use common::{Row, assert_close, assert_close_relative, bare, rows, with_shadow};

const WAVELENGTH_NM: f64 = 550.0;

fn layer(row: &Row) -> FigureLayer {
    let n = |key| row.number(key);
    match row.text("layer") {
        "turned_edge" => TurnedEdge::new(n("width_mm"), n("drop_nm")).power(n("power")).into(),
        "edge_step" => EdgeStep::new(n("width_mm"), n("drop_nm")).into(),
        "edge_roll_off" => EdgeRollOff::new(n("reach_mm"), n("drop_nm")).into(),
        "central_hill" => CentralHill::new(n("radius_mm"), n("height_nm")).power(n("power")).into(),
        other => panic!("no layer {other}"),
    }
}

fn telescope(row: &Row, focal_length_mm: f64) -> Prepared {
    let mirror = Primary::new(row.number("clear_aperture_mm"), FocalLengthMm(focal_length_mm));
    with_shadow(mirror.layer(layer(row)), row.number("obstruction_ratio"))
}

fn at(telescope: &Prepared, focus: Focus) -> Wavefront {
    telescope.wavefront(Field::AXIS, focus, WAVELENGTH_NM).expect("a wavefront")
}

#[test]
fn edges_at_f20_follow_the_closed_forms() {
    // tests/data/edges.json: incomplete gamma functions (power edges), an elementary sum (steps), quadrature (roll-offs),
    // all with W = 2h. At f/20 the factor 1/(1 + (r/R)^2) departs from 1 by 1.6e-4 at most, which moves a phase of
    // 4 pi h/lambda, at most 13.7 radians here, by 2.1e-3, and the edge's part of the light by as much.
    for row in rows("edges", "kind", "closed_form") {
        let telescope = telescope(&row, 20.0 * row.number("clear_aperture_mm"));
        let found = at(&telescope, Focus::ShiftMm(0.0)).strehl;
        let what = format!("closed form at f/20: {}", row.text("layer"));
        assert_close(found, row.number("strehl"), 1e-4, &what);
    }
}

#[test]
fn edges_and_hills_agree_with_exact_paths() {
    // tests/data/edges.json: one-dimensional quadrature of exact paths by mpmath.
    for row in rows("edges", "kind", "exact") {
        let telescope = telescope(&row, row.number("focal_length_mm"));
        let what = format!("exact, f {}, {:?}", row.number("focal_length_mm"), layer(&row));
        for (focus, key) in
            [(Focus::ShiftMm(0.0), "paraxial"), (Focus::LeastRms, "least_rms"), (Focus::Peak, "peak")]
        {
            let wave = at(&telescope, focus);
            let truth = row.number(&format!("{key}_strehl"));
            assert_close(wave.strehl, truth, 1e-6, &format!("{what}, {key}"));
            let off = (wave.strehl - truth).abs();
            assert!(off <= wave.error_estimate + 1e-9, "{what}: stated {}, is {off}", wave.error_estimate);
        }
        let rms_nm = at(&telescope, Focus::LeastRms).rms_nm;
        assert_close_relative(rms_nm, row.number("least_rms_nm"), 1e-6, &format!("{what}, RMS"));
    }
}

#[test]
fn both_sides_of_a_step_are_seen() {
    // Closed form at f/20, a ring over a share p of the area, a depth W = 2g/(1 + (r/R)^2): PV is that depth, within
    // what the factor changes across the ring, 1.6e-4 of it.
    let step_nm = 40.0;
    let mirror = bare(Primary::new(200.0, FocalLengthMm(4000.0)).layer(EdgeStep::new(5.0, step_nm)));
    let wave = at(&mirror, Focus::ShiftMm(0.0));
    assert_close_relative(wave.pv_nm, 2.0 * step_nm, 3e-4, "PV across a step");
    let p: f64 = 1.0 - 0.95 * 0.95;
    assert_close_relative(wave.rms_nm, 2.0 * step_nm * (p * (1.0 - p)).sqrt(), 3e-4, "RMS across a step");
}

#[test]
fn contrast_across_a_step_is_that_of_the_picture_integral() {
    // Closed form: at f/20 a step of a half wave of wavefront (g = lambda/4) turns the ring's amplitude round, so that the
    // transfer function is that of a pupil which is +1 inside and -1 in the ring: sums of overlaps of circles.
    let rim = 100.0;
    let inner = 70.0;
    let mirror = bare(Primary::new(200.0, FocalLengthMm(4000.0)).layer(EdgeStep::new(30.0, 137.5)));
    let wave = at(&mirror, Focus::ShiftMm(0.0));
    // Area common to discs of radii a and b whose centres lie d apart (elementary).
    let common = |a: f64, b: f64, d: f64| -> f64 {
        let (small, large) = (a.min(b), a.max(b));
        if d <= large - small {
            return TAU / 2.0 * small * small;
        }
        if d >= a + b {
            return 0.0;
        }
        let half = |r: f64, s: f64| ((d * d + r * r - s * s) / (2.0 * d * r)).acos();
        let (u, v) = (half(a, b), half(b, a));
        a * a * (u - u.sin() * u.cos()) + b * b * (v - v.sin() * v.cos())
    };
    let cutoff = 2.0 * rim / (WAVELENGTH_NM * 1e-6 * 4000.0);
    for share in [0.04, 0.1, 0.2, 0.35, 0.5, 0.8] {
        let d = 2.0 * rim * share;
        // (2 inside - all) times itself, moved.
        let product = 4.0 * common(inner, inner, d) - 4.0 * common(rim, inner, d) + common(rim, rim, d);
        let truth = (product / (TAU / 2.0 * rim * rim)).abs();
        let options = MtfOptions { frequency_per_mm: Some(vec![share * cutoff]), spectrum: None };
        let found = wave.mtf(&options).expect("contrast");
        // sin(theta) for tan: 3e-4 of the scale at f/20, and the factor's 1.6e-4 of the phase.
        assert_close(
            found.contrast_along[0],
            truth,
            6e-4,
            &format!("contrast across a step, {share} of the cut-off"),
        );
    }
}

#[test]
fn a_step_has_no_slope_and_a_roll_off_has_its_own() {
    let mirror = || Primary::new(318.0, FocalLengthMm(1558.0));
    let along = |primary: Primary, r: f64| bare(primary).ray(Field::AXIS, r, 0.0).at_height_mm(1558.0)[0];
    // Level glass on both sides: rays go where they went, but for the height times the slope of the ray.
    for r in [152.0, 158.0] {
        assert_close(
            along(mirror().layer(EdgeStep::new(5.0, 300.0)), r),
            0.0,
            1e-4,
            "a ray beside a step, mm",
        );
    }
    // Law of reflection: twice the slope over one focal length, h' = -drop/reach exp(-(D/2 - r)/reach); 1 % for the
    // length of the ray.
    let slope = -400.0e-6 / 3.0 * (-4.0_f64 / 3.0).exp();
    let found = along(mirror().layer(EdgeRollOff::new(3.0, 400.0)), 155.0);
    assert_close_relative(found, -2.0 * slope * 1558.0, 1e-2, "a ray on a roll-off, mm");
    // A hill in the centre falls outward: its light is turned outward as well, to the ray's own side.
    let slope = -2.0 * 100.0e-6 / 50.0 * 0.4;
    let found = along(mirror().layer(CentralHill::new(50.0, 100.0)), 30.0);
    assert_close_relative(found, -2.0 * slope * 1558.0, 1e-2, "a ray on a central hill, mm");
}

#[test]
fn heights_have_their_sign() {
    // W = 2h/(1 + (r/R)^2): a drop is behind, a hill ahead.
    let profile = |layer: FigureLayer| -> Vec<f64> {
        let primary = Primary::new(318.0, FocalLengthMm(1558.0)).layer(layer);
        let map = at(&bare(primary), Focus::ShiftMm(0.0)).map(319).expect("a map");
        (159..319).map(|j| map.path_nm[[159, j]].expect("lit")).collect()
    };
    let share = |r: f64| 2.0 / (1.0 + (r / 3116.0).powi(2));
    let roll = profile(EdgeRollOff::new(3.0, 330.0).into());
    assert_close(roll[159] - roll[0], -330.0 * share(159.0), 1e-3, "a roll-off: W at the rim, nm");
    let truth = -330.0 * share(156.0) * (-1.0_f64).exp();
    assert_close(roll[156] - roll[0], truth, 1e-3, "a roll-off: W one reach from the rim, nm");
    let step = profile(EdgeStep::new(5.5, 90.0).into());
    assert_close(step[153] - step[0], 0.0, 1e-3, "a step: W inside of it, nm");
    assert_close(step[154] - step[0], -90.0 * share(154.0), 1e-3, "a step: W beyond it, nm");
    let raised = profile(EdgeStep::new(5.5, -90.0).into());
    assert!(raised[156] - raised[0] > 179.0, "a negative drop is a raised ring");
    let hill = profile(CentralHill::new(40.0, 60.0).into());
    assert_close(hill[0] - hill[100], 120.0, 1e-3, "a central hill: W in the middle, nm");
    assert_close(hill[20] - hill[100], 60.0 * share(20.0) * 0.25, 1e-3, "a central hill: W halfway, nm");
}

#[test]
fn a_masked_edge_is_gone_and_stays_where_it_was() {
    let mirror = || Primary::new(200.0, FocalLengthMm(1000.0));
    let open = at(&bare(mirror().layer(EdgeStep::new(10.0, 100.0))), Focus::Peak).strehl;
    let masked = bare(mirror().layer(EdgeStep::new(10.0, 100.0)).mask_diameter_mm(180.0));
    assert!(open < 0.8, "{open}");
    assert_close(at(&masked, Focus::Peak).strehl, 1.0, 1e-9, "masked step: Strehl");
    // Half masked: the ring that is left over its share of the open area (elementary, f/5: the factor is 2.5e-3).
    let half = bare(mirror().layer(EdgeStep::new(10.0, 60.0)).mask_diameter_mm(190.0));
    let p = 1.0 - (180.0_f64 / 190.0).powi(2);
    let truth = 1.0 - 4.0 * p * (1.0 - p) * (TAU * 60.0 / WAVELENGTH_NM).sin().powi(2);
    assert_close(at(&half, Focus::ShiftMm(0.0)).strehl, truth, 3e-3, "half masked step: Strehl");
    // A roll-off keeps its place: at the mask's rim it has fallen by the factor e for each reach.
    let rolled = bare(mirror().layer(EdgeRollOff::new(5.0, 200.0)).mask_diameter_mm(190.0));
    let same =
        bare(Primary::new(190.0, FocalLengthMm(1000.0)).layer(EdgeRollOff::new(5.0, 200.0 / 1.0_f64.exp())));
    let [masked, same] = [rolled, same].map(|t| at(&t, Focus::Peak).strehl);
    assert_close(masked, same, 1e-9, "a masked roll-off is a shallower one");
}

#[test]
fn the_knife_sees_the_slope_of_a_roll_off_and_nothing_of_a_step() {
    let opening = |inner_radius_mm, outer_radius_mm| MaskOpening { inner_radius_mm, outer_radius_mm };
    let openings = [opening(100.0, 140.0), opening(140.0, 158.0)];
    let primary = || Primary::new(318.0, RadiusOfCurvatureMm(3116.0));
    let read = |p: Primary| expected_readings(&p, &openings, TestSource::Moving).expect("readings");
    let (plain, stepped) = (read(primary()), read(primary().layer(EdgeStep::new(5.0, 300.0))));
    for (with, without) in stepped.iter().zip(&plain) {
        // The crossing moves with the height of the glass, 300 nm.
        assert_close(*with, *without, 4e-4, "a reading across a step, mm");
    }
    // First order in closed form: -2 R^2 (h(r2) - h(r1))/(r2^2 - r1^2); second order below X = R h'/r = 1.3e-2 of it.
    let edge = EdgeRollOff::new(4.0, 100.0);
    let rolled = read(primary().layer(edge));
    let height = |r: f64| -100.0 * (-(159.0 - r) / 4.0_f64).exp();
    let truth = -2.0 * 3116.0_f64.powi(2) * 1e-6 * (height(158.0) - height(140.0))
        / (158.0_f64.powi(2) - 140.0_f64.powi(2));
    assert_close_relative(rolled[1] - plain[1], truth, 1.5e-2, "a reading across a roll-off");
    assert!(rolled[1] > plain[1], "a turned-down edge crosses further out");
}

#[test]
fn a_picture_by_diffraction_shows_the_line_of_a_step() {
    // A sphere in its own focus and a narrow slit: the half-plane transform of a field that is e^(i phi) in a ring and 1
    // inside of it is a sum of logarithms, I = |U/2 + i H/(2 pi)|^2, H the integral of U(x')/(x - x') over the row (Rayleigh
    // 1917, Phil. Mag. 33, 161, from memory; derived anew for two levels). W = 2h at normal incidence; a slit of 0.1 um at
    // lambda R/D = 6.6 um changes it by (pi 0.05/6.6)^2/3 of its value at most. The light is within 3e-4 of normal incidence
    // along the mirror: (100/2400)^2 of the phase of 1.4 radians at most, 2.4e-3 radians of tilt between levels.
    let (inner, rim, drop_nm) = (70.0_f64, 100.0_f64, 60.0);
    let mirror = Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0).layer(EdgeStep::new(30.0, drop_nm));
    let bench = KnifeBench::new(TestSource::Moving, 0.0, 0.1).pixels(101);
    let picture = catoptric::knife_edge_picture(&mirror, &bench).expect("a picture");
    let phase = -2.0 * TAU * drop_nm / WAVELENGTH_NM;
    let mut checked = 0;
    for (i, y) in picture.axis_mm.iter().enumerate() {
        for (j, x) in picture.axis_mm.iter().enumerate() {
            let half = |r: f64| (r * r - y * y).max(0.0).sqrt();
            let (a, c) = (half(inner), half(rim));
            if c - x.abs() < 3.0 || (x.abs() - a).abs() < 3.0 || a == 0.0 {
                continue;
            }
            let log = |from: f64, to: f64| ((x - from) / (x - to)).abs().ln();
            let (level, ring) = (log(-a, a), log(-c, -a) + log(a, c));
            let (sin, cos) = phase.sin_cos();
            let (re, im) = if x.abs() > a { (cos, sin) } else { (1.0, 0.0) };
            let (h_re, h_im) = (level + ring * cos, ring * sin);
            let exact = (0.5 * re + h_im / TAU).powi(2) + (0.5 * im - h_re / TAU).powi(2);
            assert_close(picture.image[[i, j]], exact, 5e-3 * exact.max(0.2), "a step in focus");
            checked += 1;
        }
    }
    assert!(checked > 3000);
    // Turned-down glass sends its light beyond the axis: from the right-hand side of the mirror to the right of the
    // edge, past a knife that comes from the left.
    let near = |x: f64| {
        (0..101).min_by(|a, b| {
            let away = |k: &usize| (picture.axis_mm[*k] - x).abs();
            away(a).total_cmp(&away(b))
        })
    };
    let value = |x: f64| picture.image[[50, near(x).expect("pixels")]];
    assert!(value(70.0) > value(-70.0), "the line of the fall is lit on the side away from the knife");
}

#[test]
fn numbers_beyond_their_range_are_refused() {
    let with = |layer: FigureLayer| {
        let parts = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).layer(layer));
        parts.build().expect_err("a fault").problems().to_vec()
    };
    let named = |layer: FigureLayer, field: &str, value: &str, allowed: &str| {
        let problems = with(layer);
        let found = problems.iter().find(|p| p.field == format!("primary.figure[0].{field}"));
        let found = found.unwrap_or_else(|| panic!("{field} is not named in {problems:?}"));
        assert_eq!((found.value.as_str(), found.severity), (value, Severity::Fault), "{field}");
        assert!(found.allowed.contains(allowed), "{field}: {}", found.allowed);
    };
    for (value, text) in [(f64::NAN, "NaN"), (f64::INFINITY, "inf"), (0.0, "0"), (-2.0, "-2")] {
        named(EdgeRollOff::new(value, 90.0).into(), "reach_mm", text, "eighth of the clear aperture");
        named(EdgeStep::new(value, 90.0).into(), "width_mm", text, "half the clear aperture");
        named(CentralHill::new(value, 90.0).into(), "radius_mm", text, "half the clear aperture");
    }
    named(EdgeRollOff::new(40.0, 90.0).into(), "reach_mm", "40", "eighth");
    named(EdgeStep::new(160.0, 90.0).into(), "width_mm", "160", "half");
    named(CentralHill::new(160.0, 90.0).into(), "radius_mm", "160", "half");
    named(EdgeRollOff::new(4.0, 3e5).into(), "drop_nm", "300000", "nanometres");
    named(EdgeStep::new(4.0, f64::NAN).into(), "drop_nm", "NaN", "nanometres");
    named(CentralHill::new(4.0, -3e5).into(), "height_nm", "-300000", "nanometres");
    named(CentralHill::new(4.0, 3.0).power(0.5).into(), "power", "0.5", "1 to 50");
}

#[test]
fn layers_are_saved_and_read_back() {
    let mirror = Primary::new(318.0, FocalLengthMm(1558.0))
        .layer(EdgeRollOff::new(3.0, 330.0))
        .layer(EdgeStep::new(2.0, -40.0))
        .layer(CentralHill::new(30.0, 25.0).power(3.0));
    let train = Train::builder(mirror).build().expect("a sound train");
    for text in [train.to_json(), train.to_toml()] {
        assert!(
            text.contains("edge_roll_off") && text.contains("edge_step") && text.contains("central_hill")
        );
    }
    assert_eq!(Train::from_json(&train.to_json()).expect("JSON"), train);
    assert_eq!(Train::from_toml(&train.to_toml()).expect("TOML"), train);
    let unknown = train.to_json().replace("reach_mm", "reach_cm");
    assert!(Train::from_json(&unknown).is_err());
}
