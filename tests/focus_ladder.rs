//! The focus ladder: heights of shoulders, what has to move, and what follows for the diagonal.

#![allow(clippy::float_cmp)] // whole millimetres, and the same call asked twice: equal to the last bit

mod common;

use catoptric::{
    Camera, Diagonal, Drawtube, Error, Eyepiece, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser,
    Holder, MoveOptions, Mover, Opening, Poles, Prepared, Primary, Sensor, Spider, Train, smallest_diagonal,
};
use common::{assert_close, assert_close_relative, rows};

/// The invented 406 mm f/5 with its front ring.
fn train(axis_to_focus_mm: f64) -> Train {
    Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
        .diagonal(Diagonal::new(79.4))
        .focal_plane(FocalPlane::new(axis_to_focus_mm))
        .front_opening(Opening::new(460.0, 2150.0))
        .build()
        .expect("a sound train")
}

fn eyepiece(focal_length_mm: f64, place_mm: f64) -> Eyepiece {
    Eyepiece::new(focal_length_mm, 40.0).shoulder_to_stop_mm(place_mm)
}

fn ladder(focuser: Focuser, items: Vec<FocusItem>) -> FocusLadder {
    FocusLadder::new(&train(303.0), focuser, items).expect("a sound ladder")
}

fn one(item: FocusItem) -> f64 {
    ladder(Focuser::new(250.0, 320.0), vec![item]).rungs[0].shoulder_mm
}

#[test]
fn a_stop_outside_its_shoulder_brings_the_shoulder_nearer_to_the_axis() {
    // On paper: shoulder + place of the stop = 303 mm, the image's height.
    assert_close(one(FocusItem::new("outside", eyepiece(31.0, 18.0))), 285.0, 1e-12, "stop outside");
    assert_close(one(FocusItem::new("inside", eyepiece(31.0, -6.0))), 309.0, 1e-12, "stop inside");
    let camera = FocusItem::new("camera", Camera::new(44.0).adapters_mm(8.5));
    assert_close(one(camera), 250.5, 1e-12, "back distance and adapters");
}

#[test]
fn a_near_object_s_image_lies_further_out() {
    // Truth: tests/data/focus.json, the mirror equation by sympy and one reflected ray in mpmath.
    for row in rows("focus", "kind", "near").iter().filter(|r| r.number("focal_length_mm") == 2030.0) {
        let item =
            FocusItem::new("near", Camera::new(0.0)).object_distance_mm(row.number("object_distance_mm"));
        let image_mm = ladder(Focuser::new(250.0, 320.0), vec![item]).rungs[0].image_mm;
        // A height of up to 2400 mm is good to its own last digits.
        assert_close(image_mm - 303.0, row.number("shift_mm"), 1e-12 * image_mm, "image of a near object");
    }
}

#[test]
fn dioptres_move_the_eyepiece_as_thin_lenses_say() {
    // Truth: tests/data/focus.json, a thin lens with the eye at its back focal point, by sympy.
    for row in rows("focus", "kind", "eye") {
        let sound = FocusItem::new("eye", eyepiece(row.number("eyepiece_mm"), 2.0));
        let moved = one(sound.clone().eye_dioptres(row.number("eye_dioptres"))) - one(sound);
        assert_close(moved, row.number("shift_mm"), 1e-12, "an eye without its glasses");
    }
}

#[test]
fn a_short_sighted_eye_needs_the_eyepiece_moved_inward() {
    let sound = one(FocusItem::new("sound", eyepiece(24.0, 2.0)));
    let short = one(FocusItem::new("short-sighted", eyepiece(24.0, 2.0)).eye_dioptres(-4.0));
    let far = one(FocusItem::new("far-sighted", eyepiece(24.0, 2.0)).eye_dioptres(4.0));
    assert!(short < sound && sound < far);
    // Rays, so that no formula can hide a sign: an eyepiece nearer to the image than its focal length sends light that
    // diverges, as a short-sighted eye wants it. Heights of a ray from the image's middle, at the lens and 1 m behind.
    let image_to_lens_mm = 24.0 + (short - sound);
    let slope_before = 0.01;
    let height_mm = slope_before * image_to_lens_mm;
    let slope_behind = slope_before - height_mm / 24.0;
    assert!(slope_behind > 0.0, "the ray goes on away from the axis");
}

#[test]
fn what_misses_the_travel_says_by_how_much_and_on_which_side() {
    let items = vec![
        FocusItem::new("too far out", eyepiece(24.0, -20.0)),
        FocusItem::new("within", eyepiece(24.0, 0.0)),
        FocusItem::new("too far in", Camera::new(55.0)),
    ];
    let found = ladder(Focuser::new(270.0, 310.0), items);
    let misses: Vec<f64> = found.rungs.iter().map(|rung| rung.misses_by_mm).collect();
    assert_eq!(misses, [13.0, 0.0, -22.0]);
    assert_eq!(found.rungs[0].extension_mm(), Some(13.0), "a tube of 13 mm helps");
    assert_eq!(found.rungs[2].extension_mm(), None, "no tube helps");
    assert_eq!((found.reached(), found.spread_mm()), (1, 75.0));
    // 75 mm of shoulders on 40 mm of travel: no shift serves all three, any two neighbours can be served.
    assert_eq!(found.shifts_for_all_mm(), None);
    assert_eq!(found.least_shift_mm(), -13.0);
    assert_eq!(found.out_of_reach(-13.0), ["too far in"]);
}

/// The slow way to the least shift: every hundredth of a millimetre is tried.
fn best_by_trying(found: &FocusLadder) -> (usize, f64) {
    let mut best = (0, f64::INFINITY);
    for step in -20_000_i32..=20_000 {
        let shift = f64::from(step) / 100.0;
        let served = found.items.len() - found.out_of_reach(shift).len();
        if served > best.0 || (served == best.0 && shift.abs() < best.1.abs()) {
            best = (served, shift);
        }
    }
    best
}

#[test]
fn the_least_shift_is_the_one_found_by_trying_all() {
    let mut chance = 1_u64;
    let mut next = |below: u64| {
        // Knuth's linear congruential generator, The Art of Computer Programming, volume 2, section 3.3.4.
        chance = chance.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (chance >> 33) % below
    };
    for _ in 0..20 {
        let items: Vec<FocusItem> = (0..=next(7))
            .map(|i| FocusItem::new(format!("camera {i}"), Camera::new(next(9000) as f64 / 100.0 - 30.0)))
            .collect();
        let found = ladder(Focuser::new(270.0, 270.0 + next(6000) as f64 / 100.0), items);
        let (served, shift) = best_by_trying(&found);
        assert_eq!(found.items.len() - found.out_of_reach(found.least_shift_mm()).len(), served);
        assert_close(found.least_shift_mm().abs(), shift.abs(), 1e-6, "least shift");
    }
}

#[test]
fn poles_change_as_the_distance_between_their_ends() {
    // Truth: tests/data/focus.json, the ends in coordinates, mpmath.
    for row in rows("focus", "kind", "pole") {
        let poles = Poles::new(row.number("length_mm"), row.number("slant_deg"));
        let rise = row.number("rise_mm");
        let change = poles.change_mm(rise).expect("sound poles");
        assert_close(change, row.number("change_mm"), 1e-12 * poles.length_mm, "exact change");
        assert_close(poles.per_mm(), row.number("cosine"), 1e-15, "first order");
        // What the first order leaves out: dz^2 sin^2/(2 l), itself good to a share dz/l.
        let second = rise * rise * (1.0 - poles.per_mm().powi(2)) / (2.0 * poles.length_mm);
        let left = change - poles.per_mm() * rise;
        assert_close(left, second, 2.0 * second * rise.abs() / poles.length_mm + 1e-12, "second order");
    }
}

#[test]
fn a_primary_moved_toward_the_focuser_moves_the_focus_out() {
    let camera = FocusItem::new("camera", Camera::new(55.0).sensor(Sensor::new(5.0, 3520, 2660)));
    let found = ladder(Focuser::new(270.0, 310.0), vec![camera]);
    let options = MoveOptions {
        poles: Some(Poles::new(1600.0, 12.0)),
        fully_lit_diameter_mm: 20.0,
        ..MoveOptions::default()
    };
    let moves = found.moves(options).expect("moves");
    assert_eq!(moves.needed_mm, 22.0);
    let [primary, poles, focuser] = &moves.moves[..] else { panic!("three movers") };
    assert_eq!([primary.mover, poles.mover, focuser.mover], [Mover::Primary, Mover::Poles, Mover::Focuser]);

    // The primary goes 22 mm toward the sky. On paper: the flat stays in the tube, so it stands 22 mm lower above the
    // vertex; of the focal length 22 mm more are left beyond it. The front ring, too, is 22 mm nearer to the vertex.
    assert_eq!((primary.primary_mm, primary.axis_to_focus_mm), (22.0, 325.0));
    let flat_height = |axis_to_focus_mm: f64| 2030.0 - axis_to_focus_mm;
    assert_eq!(flat_height(303.0) - flat_height(primary.axis_to_focus_mm), 22.0);
    let ring = |train: &Train| train.front_opening().map(|o| o.above_vertex_mm);
    assert_eq!((ring(&found.train), ring(&primary.train)), (Some(2150.0), Some(2128.0)));
    // Shorter poles do the same to the train.
    assert_eq!((poles.upper_end_mm, &poles.train), (-22.0, &primary.train));
    assert!(poles.pole_change_mm < 0.0 && poles.pole_change_mm > poles.pole_change_first_order_mm);
    // A focuser of lower profile leaves the train as it is.
    assert_eq!((focuser.focuser_mm, &focuser.train), (-22.0, &found.train));
    for way in &moves.moves {
        assert!(way.out_of_reach.is_empty() && way.within_limits, "{:?}", way.mover);
    }

    // The moved train's ladder says the same as the move promised.
    let after = FocusLadder::new(&primary.train, found.focuser, found.items.clone()).expect("a sound ladder");
    assert_eq!(after.rungs[0].shoulder_mm, 270.0);
    // Consequences, from the calls that own them.
    let fit = smallest_diagonal(found.train.primary(), 325.0, 20.0).expect("a diagonal");
    assert_eq!(primary.smallest, fit);
    assert!(primary.smallest.minor_axis_mm > moves.smallest.minor_axis_mm);
    let radius_mm = 17.6_f64.hypot(13.3) / 2.0;
    assert_close(moves.edge_radius_mm, radius_mm, 1e-12, "corner of the sensor");
    let light = Prepared::new(&primary.train).illumination_at_radii(&[radius_mm]).expect("light");
    let edge = primary.edge_light.expect("light");
    // Axis and edge are asked for in one call here, one by one there: the same bits.
    assert_eq!((edge.worst, edge.mean, edge.best), (light.worst[0], light.mean[0], light.best[0]));
    assert!(edge.mean < moves.edge_light.expect("light").mean, "a longer way from the flat dims the edge");
}

#[test]
fn stated_heights_of_holder_and_vanes_go_with_the_upper_end() {
    let mut parts = train(303.0).to_parts();
    parts.holder = Some(Holder::new(84.0).above_vertex_mm(1760.0));
    parts.spider = Some(Spider::new(4, 1.0).above_vertex_mm(1770.0));
    let train = parts.build().expect("a sound train");
    let camera = FocusItem::new("camera", Camera::new(55.0));
    let found = FocusLadder::new(&train, Focuser::new(270.0, 310.0), vec![camera]).expect("a ladder");
    let moved = &found.moves(MoveOptions::default()).expect("moves").moves[0].train;
    assert_eq!(moved.holder().and_then(|h| h.above_vertex_mm), Some(1738.0));
    assert_eq!(moved.spider().and_then(|s| s.above_vertex_mm), Some(1748.0));
    // Seen from the axis, the same is in the way: the obstruction by diameter stays.
    let ratio = |train: &Train| Prepared::new(train).obstruction_ratio();
    assert_eq!(ratio(moved), ratio(&train));
}

#[test]
fn a_focus_too_far_out_asks_for_the_opposite() {
    let item = FocusItem::new("24 mm", eyepiece(24.0, -20.0)); // its shoulder at 323 mm, 13 mm too far out
    let found = ladder(Focuser::new(270.0, 310.0), vec![item]);
    let options = MoveOptions { poles: Some(Poles::new(1600.0, 12.0)), ..MoveOptions::default() };
    let moves = found.moves(options).expect("moves").moves;
    assert_eq!((moves[0].primary_mm, moves[0].axis_to_focus_mm), (-13.0, 290.0));
    assert_eq!(moves[1].upper_end_mm, 13.0);
    assert!(moves[1].pole_change_mm > moves[1].pole_change_first_order_mm, "longer poles");
    assert_eq!(moves[2].focuser_mm, 13.0, "a spacer");
    assert!(moves.iter().all(|m| m.out_of_reach.is_empty()));
}

#[test]
fn a_combination_keeps_to_the_limits_and_shares_the_rest() {
    let camera = FocusItem::new("camera", Camera::new(55.0));
    let found = ladder(Focuser::new(270.0, 310.0), vec![camera]);
    let limits = MoveOptions {
        primary_limit_mm: Some(8.0),
        focuser_limit_mm: Some(5.0),
        poles: Some(Poles::new(1600.0, 12.0)),
        ..MoveOptions::default()
    };
    let moves = found.moves(limits).expect("moves").moves;
    let within: Vec<bool> = moves.iter().map(|m| m.within_limits).collect();
    assert_eq!(within, [false, true, false, true]);
    let all = &moves[3];
    assert_eq!((all.primary_mm, all.focuser_mm, all.upper_end_mm), (8.0, -5.0, -9.0));
    assert_eq!((all.image_shift_mm, all.axis_to_focus_mm), (17.0, 320.0));
    assert!(all.out_of_reach.is_empty());
    // Without poles nothing is left for the rest, and it says so.
    let moves = found.moves(MoveOptions { poles: None, ..limits }).expect("moves").moves;
    assert_eq!(moves[2].mover, Mover::Combination);
    assert_eq!(moves[2].out_of_reach, ["camera"]);
}

#[test]
fn with_extension_tubes_everything_comes_to_focus() {
    // Shoulders at 323, 303 and 248 mm on a travel of 270 to 310: the lowest asks for 22 mm, then the others stand at
    // 345 and 325, and tubes of 35 and 15 mm bring them down to 310.
    let items = vec![
        FocusItem::new("out", eyepiece(24.0, -20.0)),
        FocusItem::new("within", eyepiece(24.0, 0.0)),
        FocusItem::new("in", Camera::new(55.0)),
    ];
    let found = ladder(Focuser::new(270.0, 310.0).tube(47.0, 66.0), items);
    let tubes = MoveOptions { extension_tubes: true, ..MoveOptions::default() };
    let moves = found.moves(tubes).expect("moves");
    assert_eq!((moves.needed_mm, moves.out_of_reach.len()), (22.0, 0));
    for way in &moves.moves {
        assert_eq!(way.extensions_mm, [35.0, 15.0, 0.0], "{:?}", way.mover);
        assert!(way.out_of_reach.is_empty());
    }
    // The lowest shoulder stands at 270 mm after a move of the primary: the tube's end at 204, outside of the light. A
    // focuser of lower profile stands at 248: its tube reaches to 182 mm, 21 mm into it.
    let reaches: Vec<f64> = moves.moves.iter().map(|m| m.tube_in_light_mm).collect();
    assert_eq!(reaches, [0.0, 21.0]);
    // Nothing too far in: nothing moves, tubes do it all.
    let out = ladder(Focuser::new(270.0, 310.0), vec![FocusItem::new("out", eyepiece(24.0, -20.0))]);
    let moves = out.moves(tubes).expect("moves");
    assert_eq!((moves.needed_mm, &moves.moves[0].extensions_mm[..]), (0.0, &[13.0][..]));
    // Without tubes the same ladder serves two of three, and says which it leaves.
    let without = found.moves(MoveOptions::default()).expect("moves");
    assert_eq!((without.needed_mm, &without.out_of_reach[..]), (-13.0, &["in".to_owned()][..]));
}

#[test]
fn a_move_into_the_light_is_impossible_and_says_why() {
    let item = FocusItem::new("24 mm", eyepiece(24.0, -60.0)); // its shoulder at 363 mm
    let found = ladder(Focuser::new(205.0, 225.0), vec![item]); // 138 mm too far out
    let moves = found.moves(MoveOptions::default()).expect("moves");
    let movers: Vec<Mover> = moves.moves.iter().map(|m| m.mover).collect();
    assert_eq!(movers, [Mover::Focuser]);
    assert_eq!(moves.impossible[0].0, Mover::Primary);
    assert!(moves.impossible[0].1.contains("axis_to_focus_mm"), "{}", moves.impossible[0].1);
}

#[test]
fn the_moving_tube_stands_where_the_shoulder_does() {
    let items =
        vec![FocusItem::new("31 mm", eyepiece(31.0, 18.0)), FocusItem::new("camera", Camera::new(30.0))];
    let found = ladder(Focuser::new(270.0, 310.0).tube(47.0, 70.0), items);
    let tube = |outer_end_to_focus_mm| Drawtube::new(47.0, 70.0, outer_end_to_focus_mm);
    assert_eq!(found.train_for(0).expect("a train").drawtube(), Some(&tube(18.0)));
    assert_eq!(found.train_for(1).expect("a train").drawtube(), Some(&tube(30.0)));
    // The camera's shoulder stands at 273 mm: the tube's inner end at 203 mm, just at the rim of the light.
    assert_eq!(found.rungs[1].tube_in_light_mm, 0.0);
    let deeper = ladder(Focuser::new(260.0, 310.0).tube(47.0, 75.0), found.items.clone());
    assert_eq!(deeper.rungs[1].tube_in_light_mm, 5.0);
    assert!(deeper.rungs[1].cautions[0].contains("5.0 mm into the light"), "{:?}", deeper.rungs[1].cautions);
}

#[test]
fn a_field_stop_wider_than_the_drawtube_is_flagged() {
    let wide = FocusItem::new("40 mm", Eyepiece::new(40.0, 46.0).shoulder_to_stop_mm(0.0));
    let found = ladder(Focuser::new(250.0, 310.0).tube(43.0, 40.0), vec![wide.clone()]);
    assert!(found.rungs[0].cautions[0].contains("wider than the drawtube"), "{:?}", found.rungs[0].cautions);
    let found = ladder(Focuser::new(250.0, 310.0).tube(47.0, 40.0), vec![wide]);
    assert!(found.rungs[0].cautions.is_empty());
}

#[test]
fn a_longer_way_out_costs_what_the_lit_share_says() {
    // The axis cone in closed form: 2 r/(1 - k^2), k = D/(2 (f - s)), r = k L; shared by every diagonal here.
    let found = ladder(Focuser::new(270.0, 310.0), vec![FocusItem::new("camera", Camera::new(55.0))]);
    let moves = found.moves(MoveOptions::default()).expect("moves");
    let k = 406.0 / (2.0 * (2030.0 - 406.0 * 406.0 / (16.0 * 2030.0)));
    let axis_cone_mm = |l: f64| 2.0 * k * l / (1.0 - k * k);
    assert_close_relative(moves.smallest.minor_axis_mm, axis_cone_mm(303.0), 1e-12, "before");
    assert_close_relative(moves.moves[0].smallest.minor_axis_mm, axis_cone_mm(325.0), 1e-12, "after");
    assert_close_relative(
        moves.moves[0].smallest.offset_mm,
        axis_cone_mm(325.0) * k / 2.0,
        1e-12,
        "offset after",
    );
}

// Bad input.

#[track_caller]
fn refused(error: &Error, field: &str, allowed: &str, cause: &str) {
    let problems = error.problems();
    let found =
        problems.iter().any(|p| p.field == field && p.allowed.contains(allowed) && p.cause.contains(cause));
    assert!(found, "{field}: {error}");
}

fn refusal(focuser: Focuser, items: Vec<FocusItem>) -> Error {
    FocusLadder::new(&train(303.0), focuser, items).expect_err("refused")
}

#[test]
fn focusers_that_cannot_be_are_refused() {
    let camera = || vec![FocusItem::new("camera", Camera::new(55.0))];
    let error = refusal(Focuser::new(310.0, 270.0), camera());
    refused(&error, "focuser.racked_out_mm", "not below racked_in_mm", "exchanged");
    let error = refusal(Focuser::new(60.0, 100.0), camera());
    refused(&error, "focuser.racked_in_mm", "more than half the clear aperture", "tube's wall");
    let error = refusal(Focuser::new(f64::NAN, 310.0), camera());
    refused(&error, "focuser.racked_in_mm", "a length", "not a finite number");
    let half = Focuser { bore_mm: Some(47.0), ..Focuser::new(270.0, 310.0) };
    refused(&refusal(half, camera()), "focuser.tube_length_mm", "both or neither", "");
    // A travel of nothing is a fixed holder: allowed.
    assert!(Focuser::new(300.0, 300.0).check().is_ok());
}

#[test]
fn things_that_cannot_be_focused_are_refused() {
    let focuser = Focuser::new(270.0, 310.0);
    refused(&refusal(focuser, vec![]), "items", "1 to", "");
    let near = FocusItem::new("near", Camera::new(55.0)).object_distance_mm(4060.0);
    refused(
        &refusal(focuser, vec![near]),
        "items[0].object_distance_mm",
        "beyond the centre of curvature",
        "metres",
    );
    let dioptres = FocusItem::new("eye", eyepiece(24.0, 0.0)).eye_dioptres(60.0);
    refused(
        &refusal(focuser, vec![dioptres]),
        "items[0].eye_dioptres",
        "within 25 dioptres",
        "millimetres given",
    );
    let camera = FocusItem::new("camera", Camera::new(55.0)).eye_dioptres(1.0);
    refused(&refusal(focuser, vec![camera]), "items[0].eye_dioptres", "0 beside a camera", "no eye");
    let nowhere = FocusItem::new("24 mm", Eyepiece::new(24.0, 27.0));
    refused(
        &refusal(focuser, vec![nowhere]),
        "items[0].eyepiece.shoulder_to_stop_mm",
        "field stop's place",
        "caliper",
    );
    let from_axis = FocusItem::new("24 mm", eyepiece(24.0, 303.0));
    refused(
        &refusal(focuser, vec![from_axis]),
        "items[0].eyepiece.shoulder_to_stop_mm",
        "within 200 mm",
        "tube's axis",
    );
    let adapters = FocusItem::new("camera", Camera::new(55.0).adapters_mm(-3.0));
    refused(&refusal(focuser, vec![adapters]), "items[0].camera.adapters_mm", "0 to 500 mm", "a sign");
    let nameless = FocusItem::new(" ", Camera::new(55.0));
    refused(&refusal(focuser, vec![nameless]), "items[0].name", "a name", "");
    // All faults at once.
    let both = refusal(Focuser::new(310.0, 270.0), vec![]);
    assert_eq!(both.problems().len(), 2);
    let bare = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0))).build().expect("a mirror");
    let camera = vec![FocusItem::new("camera", Camera::new(55.0))];
    let error = FocusLadder::new(&bare, focuser, camera).expect_err("no focuser at a bare mirror");
    refused(&error, "train.focal_plane", "a focal plane beside the tube", "bare mirror");
}

#[test]
fn moves_that_cannot_be_asked_for_are_refused() {
    let found = ladder(Focuser::new(270.0, 310.0), vec![FocusItem::new("camera", Camera::new(55.0))]);
    let flat = MoveOptions { poles: Some(Poles::new(1600.0, 90.0)), ..MoveOptions::default() };
    refused(
        &found.moves(flat).expect_err("flat poles"),
        "poles.slant_deg",
        "less than 90 degrees",
        "from the rings",
    );
    let away = MoveOptions { primary_limit_mm: Some(-5.0), ..MoveOptions::default() };
    refused(&found.moves(away).expect_err("negative"), "primary_limit_mm", "0 or more", "a sign");
    let wide = MoveOptions { fully_lit_diameter_mm: 500.0, ..MoveOptions::default() };
    refused(
        &found.moves(wide).expect_err("wide"),
        "fully_lit_diameter_mm",
        "less than the clear aperture",
        "",
    );
    assert!(found.train_for(1).is_err(), "one thing alone");
    assert!(Poles::new(100.0, 60.0).change_mm(-60.0).is_err(), "poles 50 mm high");
}

#[test]
fn items_come_back_from_json_and_unknown_keys_do_not() {
    let item = FocusItem::new("chimney", eyepiece(24.0, -2.0)).eye_dioptres(-1.5).object_distance_mm(60e3);
    let text = serde_json::to_string(&item).expect("JSON");
    assert_eq!(serde_json::from_str::<FocusItem>(&text).expect("an item"), item);
    let other = text.replace("eye_dioptres", "glasses");
    assert!(serde_json::from_str::<FocusItem>(&other).is_err());
    assert!(!serde_json::to_string(&Focuser::new(270.0, 310.0)).expect("JSON").contains("bore"));
}
