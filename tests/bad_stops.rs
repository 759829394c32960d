//! Parts beyond the flat, glass and misplacements that cannot be, and what a sound train is warned of.

mod common;

use catoptric::{
    Diagonal, Drawtube, Error, FilterRing, FlatEdge, FocalPlane, FocuserBoard, Misplacement, Opening, Part,
    Prepared, SensorMask, Severity, Train, TrainBuilder,
};
use common::{assert_close, everything};

/// A train that is refused for one fault, which names its field, the value, what is allowed and the likely cause.
#[track_caller]
fn refused(parts: TrainBuilder, field: &str, value: &str, allowed: &str, cause: &str) {
    let error = parts.build().expect_err(field);
    let problems = error.problems();
    assert_eq!(problems.len(), 1, "{field}: {error:?}");
    assert_eq!((problems[0].field.as_str(), problems[0].severity), (field, Severity::Fault));
    let found = [&problems[0].value, &problems[0].allowed, &problems[0].cause];
    for (text, wanted) in found.into_iter().zip([value, allowed, cause]) {
        assert!(text.contains(wanted), "{field}: `{wanted}` is not in `{text}`");
    }
}

/// What a train is warned of at a field: allowed and cause in one text.
#[track_caller]
fn warning(parts: TrainBuilder, field: &str) -> String {
    let problems = parts.build().expect("only a warning").problems();
    let found: Vec<_> = problems.iter().filter(|p| p.field == field).collect();
    assert_eq!(found.len(), 1, "{field}: {problems:?}");
    assert_eq!(found[0].severity, Severity::Warning);
    format!("{} | {}", found[0].allowed, found[0].cause)
}

fn complete() -> TrainBuilder {
    let flat = Diagonal::new(70.0).thickness_mm(12.0, FlatEdge::AlongTube).bevel_mm(0.6);
    everything()
        .diagonal(flat.misplaced(Misplacement { nod_arcmin: 2.0, across_mm: 0.3, ..Misplacement::NONE }))
        .focuser_board(FocuserBoard::new(60.0, 180.0))
        .filter_ring(FilterRing::new(44.0, 50.0))
        .sensor_mask(SensorMask::new(24.0, 17.0, 12.0).rotation_deg(30.0))
}

type Setter = fn(&mut TrainBuilder, f64);

fn board(t: &mut TrainBuilder) -> &mut FocuserBoard {
    t.focuser_board.as_mut().expect("a board")
}

fn ring(t: &mut TrainBuilder) -> &mut FilterRing {
    t.filter_ring.as_mut().expect("a ring")
}

fn mask(t: &mut TrainBuilder) -> &mut SensorMask {
    t.sensor_mask.as_mut().expect("a mask")
}

fn flat(t: &mut TrainBuilder) -> &mut Diagonal {
    t.diagonal.as_mut().expect("a flat")
}

fn misplaced(t: &mut TrainBuilder) -> &mut Misplacement {
    flat(t).misplaced.as_mut().expect("a misplacement")
}

const NUMBERS: [(&str, Setter); 16] = [
    ("focuser_board.hole_mm", |t, v| board(t).hole_mm = v),
    ("focuser_board.axis_to_board_mm", |t, v| board(t).axis_to_board_mm = v),
    ("filter_ring.diameter_mm", |t, v| ring(t).diameter_mm = v),
    ("filter_ring.before_focus_mm", |t, v| ring(t).before_focus_mm = v),
    ("sensor_mask.along_mm", |t, v| mask(t).along_mm = v),
    ("sensor_mask.across_mm", |t, v| mask(t).across_mm = v),
    ("sensor_mask.before_focus_mm", |t, v| mask(t).before_focus_mm = v),
    ("sensor_mask.rotation_deg", |t, v| mask(t).rotation_deg = v),
    ("diagonal.thickness_mm", |t, v| flat(t).thickness_mm = v),
    ("diagonal.bevel_mm", |t, v| flat(t).bevel_mm = v),
    ("diagonal.misplaced.toward_primary_mm", |t, v| misplaced(t).toward_primary_mm = v),
    ("diagonal.misplaced.toward_focuser_mm", |t, v| misplaced(t).toward_focuser_mm = v),
    ("diagonal.misplaced.across_mm", |t, v| misplaced(t).across_mm = v),
    ("diagonal.misplaced.nod_arcmin", |t, v| misplaced(t).nod_arcmin = v),
    ("diagonal.misplaced.roll_arcmin", |t, v| misplaced(t).roll_arcmin = v),
    ("diagonal.misplaced.turn_arcmin", |t, v| misplaced(t).turn_arcmin = v),
];

#[test]
fn the_complete_train_is_sound_and_comes_back_from_text() {
    let train = complete().build().expect("a sound train");
    assert_eq!(train.problems(), []);
    assert_eq!(Train::from_json(&train.to_json()).expect("JSON"), train);
    assert_eq!(Train::from_toml(&train.to_toml()).expect("TOML"), train);
    // What is at its default is not written.
    let plain = everything().build().expect("a sound train").to_json();
    for key in ["thickness_mm", "bevel_mm", "edge", "misplaced", "focuser_board", "sensor_mask"] {
        let key = format!("\"{key}\":");
        assert!(!plain.contains(&key), "{key}: {plain}");
        assert!(train.to_json().contains(&key), "{key}");
    }
}

#[test]
fn no_number_may_be_other_than_finite() {
    for (field, set) in NUMBERS {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let mut parts = complete();
            set(&mut parts, value);
            refused(parts, field, &value.to_string(), "", "not a finite number");
        }
    }
}

#[test]
fn numbers_beyond_their_range_are_refused() {
    let cases: [(usize, f64, &str, &str); 22] = [
        (0, 0.0, "a length above 0", "read as 0"),
        (1, -180.0, "a length above 0", "a sign"),
        (1, 100.0, "more than half the clear aperture", "wall instead of its axis?"),
        (2, -44.0, "a length above 0", "a sign"),
        (3, -1.0, "from 0 to less than the distance", "a sign"),
        (3, 235.0, "from 0 to less than the distance", "a sign"),
        (4, 0.0, "a length above 0", ""),
        (5, -17.0, "a length above 0", "a sign"),
        (6, -12.0, "from 0 to less than the distance", "a sign"),
        (6, 240.0, "from 0 to less than the distance", "a sign"),
        (7, 361.0, "from -360 to 360 degrees", "arcminutes, or radians?"),
        (8, -12.0, "from 0 to the minor axis", "a sign"),
        (8, 70.5, "from 0 to the minor axis", "inches"),
        (9, -0.5, "a quarter of the minor axis", "on one side"),
        (9, 18.0, "a quarter of the minor axis", "on one side"),
        (10, 36.0, "half the minor axis", "an error beside the place"),
        (11, -36.0, "half the minor axis", "an error beside the place"),
        (12, 40.0, "half the minor axis", "an error beside the place"),
        (13, 301.0, "from -300 to 300 arcmin", "arcseconds?"),
        (14, -301.0, "from -300 to 300 arcmin", "arcseconds?"),
        (15, 1e9, "from -300 to 300 arcmin", "arcseconds?"),
        (8, f64::MAX, "from 0 to the minor axis", "inches"),
    ];
    for (which, value, allowed, cause) in cases {
        let (field, set) = NUMBERS[which];
        let mut parts = complete();
        set(&mut parts, value);
        refused(parts, field, &value.to_string(), allowed, cause);
    }
}

#[test]
fn parts_are_refused_on_their_own_too() {
    assert!(FocuserBoard::new(f64::NAN, 180.0).check().is_err());
    assert!(FilterRing::new(44.0, -1.0).check().is_err());
    assert!(SensorMask::new(24.0, 17.0, 12.0).rotation_deg(400.0).check().is_err());
    assert!(Misplacement { roll_arcmin: 1e4, ..Misplacement::NONE }.check().is_err());
    assert!(Diagonal { thickness_mm: 12.0, ..Diagonal::new(70.0) }.check().is_err());
    assert!(complete().sensor_mask.expect("a mask").check().is_ok());
}

#[test]
fn thickness_asks_how_the_glass_is_cut() {
    let mut parts = complete();
    flat(&mut parts).edge = None;
    refused(parts, "diagonal.edge", "nothing", "along_tube or square_to_face", "shadow differently");
    let text = complete().build().expect("sound").to_json().replace("along_tube", "bevelled");
    assert!(matches!(Train::from_json(&text), Err(Error::Unreadable { .. })));
    let text = complete().build().expect("sound").to_json().replace("nod_arcmin", "tilt_arcmin");
    assert!(Train::from_json(&text).expect_err("an unknown key").to_string().contains("tilt_arcmin"));
}

#[test]
fn a_bevel_that_makes_the_glass_wider_than_the_mirror_is_refused() {
    let mut parts = complete();
    *flat(&mut parts) = Diagonal::new(300.0).bevel_mm(10.0);
    parts.focal_plane = Some(FocalPlane::new(800.0));
    parts.drawtube = None;
    refused(parts, "diagonal.bevel_mm", "10", "below the primary's clear aperture", "");
}

#[test]
fn parts_beyond_the_flat_ask_for_a_focal_plane() {
    let bare = || {
        let mut parts = everything();
        (parts.diagonal, parts.focal_plane, parts.drawtube) = (None, None, None);
        parts
    };
    let board = bare().focuser_board(FocuserBoard::new(60.0, 180.0));
    refused(board, "focal_plane", "nothing", "beside a focuser board", "");
    refused(
        bare().filter_ring(FilterRing::new(44.0, 50.0)),
        "focal_plane",
        "nothing",
        "beside a filter ring",
        "",
    );
    let mask = bare().sensor_mask(SensorMask::new(24.0, 17.0, 12.0));
    refused(mask, "focal_plane", "nothing", "beside a sensor mask", "");
}

#[test]
fn a_board_beyond_the_focus_is_a_warning() {
    let parts = complete().focuser_board(FocuserBoard::new(60.0, 240.0));
    assert!(warning(parts, "focuser_board.axis_to_board_mm").contains("beyond the focus"));
}

#[test]
fn openings_narrower_than_the_cone_of_the_axis_are_warnings() {
    // Width of the cone, u before the focus: D u/(f - D^2/(16 f)).
    let cone = |u: f64| 318.0 * u / (1558.0 - 318.0 * 318.0 / (16.0 * 1558.0));
    let cases: [(TrainBuilder, &str, f64); 5] = [
        (complete().focuser_board(FocuserBoard::new(11.0, 180.0)), "focuser_board.hole_mm", 55.0),
        (complete().filter_ring(FilterRing::new(10.0, 50.0)), "filter_ring.diameter_mm", 50.0),
        (complete().sensor_mask(SensorMask::new(2.0, 17.0, 12.0)), "sensor_mask.along_mm", 12.0),
        (complete().sensor_mask(SensorMask::new(17.0, 2.0, 12.0)), "sensor_mask.across_mm", 12.0),
        (complete().drawtube(Drawtube::new(13.0, 50.0, 18.0)), "drawtube.bore_mm", 68.0),
    ];
    for (parts, field, before) in cases {
        let text = warning(parts, field);
        let wanted = format!("the cone of the axis is {:.2} wide there", cone(before));
        assert!(text.contains(&wanted), "`{wanted}` is not in `{text}`");
    }
    let opening = warning(complete().front_opening(Opening::new(300.0, 1650.0)), "front_opening.diameter_mm");
    assert!(opening.contains("below the clear aperture"));
}

#[test]
fn a_diagonal_too_small_for_the_axis_says_what_it_costs() {
    let parts = everything().diagonal(Diagonal::new(40.0));
    let text = warning(parts.clone(), "diagonal.minor_axis_mm");
    let train = parts.clone().build().expect("only a warning");
    let lost = Prepared::new(&train).light(catoptric::Field::AXIS);
    let lost = lost.stopped.iter().find(|s| s.part == Part::Diagonal).expect("a flat").fraction;
    assert!(text.contains(&format!("{:.1} % of the light", 100.0 * lost)), "{text}");
    // The middle of the field behind a flat that leans is another star.
    let nods = Misplacement { nod_arcmin: 40.0, ..Misplacement::NONE };
    let leaning = parts.diagonal(Diagonal::new(40.0).misplaced(nods));
    let middle = Prepared::new(&leaning.clone().build().expect("only a warning"));
    let middle = middle.illumination(&[0.0], &[0.0]).expect("light");
    let (_, shares) = middle.stopped.iter().find(|(part, _)| *part == Part::Diagonal).expect("a flat");
    let text_leaning = warning(leaning, "diagonal.minor_axis_mm");
    assert!(text_leaning.contains(&format!("{:.1} % of the light", 100.0 * shares[0])), "{text_leaning}");
    assert!((shares[0] - lost).abs() > 1e-3, "another share than that of the star on the axis");
    // The largest mirror of this focal length whose cone it holds: found by halving from the closed form of the cone.
    let (mut low, mut high) = (1.0_f64, 318.0);
    for _ in 0..60 {
        let d = f64::midpoint(low, high);
        let k = d / (2.0 * (1558.0 - d * d / (16.0 * 1558.0)));
        if 2.0 * k * 235.0 / (1.0 - k * k) > 40.0 { high = d } else { low = d }
    }
    assert!(text.contains(&format!("{low:.0} mm")), "{low}: {text}");
    let served = Prepared::new(&train).served_aperture_mm().expect("a flat");
    assert_close(served, low, 1e-9, "served aperture, mm");
    // What passes is about the circle of that aperture; the flat's own offset serves another circle, to some 1e-3 of
    // the light.
    assert_close(1.0 - lost, (low / 318.0).powi(2), 5e-3, "served aperture: its share of the light");
}

#[test]
fn a_drawtube_in_the_light_says_what_its_notch_takes() {
    let tube = Drawtube::new(47.0, 90.0, 18.0);
    let text = warning(everything().drawtube(tube), "drawtube.length_mm");
    // Own sum of the rim beyond the tube's end, 51 mm wide (a wall of 2 mm), 127 mm from the axis.
    let (steps, half) = (200_000, 25.5);
    let area: f64 = (0..steps)
        .map(|i| {
            let y = half * (2.0 * (f64::from(i) + 0.5) / f64::from(steps) - 1.0);
            ((159.0_f64 * 159.0 - y * y).sqrt() - 127.0).max(0.0) * 2.0 * half / f64::from(steps)
        })
        .sum();
    let wanted = format!("{:.2} % of that light", 100.0 * area / (std::f64::consts::PI * 159.0 * 159.0));
    assert!(text.contains("inner end") && text.contains(&wanted), "`{wanted}` is not in `{text}`");
    assert!(text.contains("51.0 mm"), "{text}");
}
