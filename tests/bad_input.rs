//! Trains that cannot be: each fault names its field, the value found, what is allowed and the likely cause.

mod common;

use catoptric::{
    Airy, Coating, CoatingRing, Diagonal, Drawtube, Error, Field, FocalLengthMm, FocalPlane, Focus, Indexing,
    Opening, Primary, Problem, PsfSize, RadialProfile, Severity, Train, TrainBuilder, TurnedEdge, Wavefront,
    Zone, smallest_diagonal,
};
use common::{everything, paraboloid};

/// What a fault must say: the field exactly; value, allowed range and cause by a part of their text.
struct Expected<'a> {
    field: &'a str,
    value: &'a str,
    allowed: &'a str,
    cause: &'a str,
}

fn expected<'a>(field: &'a str, value: &'a str, allowed: &'a str, cause: &'a str) -> Expected<'a> {
    Expected { field, value, allowed, cause }
}

fn holds(problem: &Problem, wanted: &Expected<'_>) -> bool {
    problem.field == wanted.field
        && problem.value.contains(wanted.value)
        && problem.allowed.contains(wanted.allowed)
        && problem.cause.contains(wanted.cause)
}

/// A train that is refused for one reason, which its message spells out.
#[track_caller]
fn refused(parts: TrainBuilder, wanted: &Expected<'_>) {
    let error = parts.build().expect_err(wanted.field);
    refused_with(&error, wanted);
}

#[track_caller]
fn refused_with(error: &Error, wanted: &Expected<'_>) {
    let problems = error.problems();
    assert_eq!(problems.len(), 1, "{}: {error:?}", wanted.field);
    assert!(holds(&problems[0], wanted), "{}: {:?}", wanted.field, problems[0]);
    assert_eq!(problems[0].severity, Severity::Fault);
    let message = error.to_string();
    for text in [wanted.field, wanted.value, wanted.allowed, wanted.cause] {
        assert!(message.contains(text), "`{text}` is not in `{message}`");
    }
}

/// A train that is warned of for one reason.
#[track_caller]
fn warned(parts: TrainBuilder, wanted: &Expected<'_>) {
    let problems = parts.build().expect("only a warning").problems();
    let found = problems.iter().find(|p| holds(p, wanted));
    assert_eq!(found.map(|p| p.severity), Some(Severity::Warning), "{}: {problems:?}", wanted.field);
}

/// The train with every part, changed in one place.
fn changed(change: impl FnOnce(&mut TrainBuilder)) -> TrainBuilder {
    let mut parts = everything();
    change(&mut parts);
    parts
}

#[test]
fn the_sound_train_is_accepted() {
    let train = everything().build().expect("a sound train");
    assert_eq!(train.problems(), []);
}

/// The numbers of a train that must be lengths above 0, with a way to set each.
type Setter = fn(&mut TrainBuilder, f64);
const LENGTHS: [(&str, Setter); 10] = [
    ("primary.clear_aperture_mm", |t, v| t.primary.clear_aperture_mm = v),
    ("primary.focal_length_mm", |t, v| t.primary.focal_length_mm = v),
    ("primary.mask_diameter_mm", |t, v| t.primary.mask_diameter_mm = Some(v)),
    ("diagonal.minor_axis_mm", |t, v| t.diagonal.as_mut().expect("a diagonal").minor_axis_mm = v),
    ("focal_plane.axis_to_focus_mm", |t, v| t.focal_plane.as_mut().expect("a plane").axis_to_focus_mm = v),
    ("front_opening.diameter_mm", |t, v| t.front_opening.as_mut().expect("an opening").diameter_mm = v),
    ("front_opening.above_vertex_mm", |t, v| {
        t.front_opening.as_mut().expect("an opening").above_vertex_mm = v;
    }),
    ("drawtube.bore_mm", |t, v| t.drawtube.as_mut().expect("a tube").bore_mm = v),
    ("drawtube.length_mm", |t, v| t.drawtube.as_mut().expect("a tube").length_mm = v),
    ("primary.figure[0].width_mm", |t, v| t.primary.figure[0] = TurnedEdge::new(v, 90.0).into()),
];

/// The other numbers of a train.
const NUMBERS: [(&str, Setter); 12] = [
    ("primary.conic", |t, v| t.primary.conic = v),
    ("primary.coating.reflectance", |t, v| t.primary.coating.reflectance = v),
    ("primary.coating.rings[0].inner_radius_mm", |t, v| t.primary.coating.rings[0].inner_radius_mm = v),
    ("primary.coating.rings[0].outer_radius_mm", |t, v| t.primary.coating.rings[0].outer_radius_mm = v),
    ("primary.coating.rings[0].reflectance", |t, v| t.primary.coating.rings[0].reflectance = v),
    ("primary.figure[0].drop_nm", |t, v| t.primary.figure[0] = TurnedEdge::new(9.0, v).into()),
    ("primary.figure[0].power", |t, v| t.primary.figure[0] = TurnedEdge::new(9.0, 90.0).power(v).into()),
    ("primary.figure[1].radius_mm", |t, v| t.primary.figure[1] = Zone::new(v, 13.0, 28.0).into()),
    ("primary.figure[1].height_nm", |t, v| t.primary.figure[1] = Zone::new(95.0, 13.0, v).into()),
    ("diagonal.offset_mm", |t, v| t.diagonal.as_mut().expect("a diagonal").offset_mm = Some(v)),
    ("diagonal.reflectance", |t, v| t.diagonal.as_mut().expect("a diagonal").reflectance = v),
    ("drawtube.outer_end_to_focus_mm", |t, v| t.drawtube.as_mut().expect("a tube").outer_end_to_focus_mm = v),
];

#[test]
fn numbers_that_are_none_are_refused() {
    for (field, set) in LENGTHS.into_iter().chain(NUMBERS) {
        for (value, text) in [(f64::NAN, "NaN"), (f64::INFINITY, "inf"), (f64::NEG_INFINITY, "-inf")] {
            let error = changed(|t| set(t, value)).build().expect_err(field);
            let found = error.problems().iter().find(|p| p.field == field);
            let problem = found.unwrap_or_else(|| panic!("{field} = {value} is not named in {error}"));
            assert_eq!(problem.value, text, "{field}");
            assert!(problem.cause.contains("not a finite number"), "{field}: {problem}");
            assert!(!problem.allowed.is_empty(), "{field}: {problem}");
        }
    }
}

#[test]
fn sizes_that_are_negative_or_zero_are_refused() {
    for (field, set) in LENGTHS {
        for (value, text) in [(-3.0, "-3"), (0.0, "0")] {
            let error = changed(|t| set(t, value)).build().expect_err(field);
            let found = error.problems().iter().find(|p| p.field == field);
            let problem = found.unwrap_or_else(|| panic!("{field} = {value} is not named in {error}"));
            assert_eq!(problem.value, text, "{field}");
            assert!(!problem.allowed.is_empty() && !problem.cause.is_empty(), "{field}: {problem}");
        }
    }
}

#[test]
fn zones_that_leave_the_mirror_are_refused() {
    let with = |zone: Zone| changed(|t| t.primary.figure[1] = zone.into());
    let wanted = expected(
        "primary.figure[1].radius_mm",
        "190",
        "a radius from 0 to half the clear aperture",
        "diameter",
    );
    refused(with(Zone::new(190.0, 13.0, 28.0)), &wanted);
    let wanted = expected("primary.figure[1].radius_mm", "-4", "a radius from 0", "");
    refused(with(Zone::new(-4.0, 13.0, 28.0)), &wanted);
    let wanted = expected("primary.figure[1].half_width_mm", "0", "a length above 0", "empty cell");
    refused(with(Zone::new(95.0, 0.0, 28.0)), &wanted);
    let edge = changed(|t| t.primary.figure[0] = TurnedEdge::new(160.0, 90.0).into());
    refused(edge, &expected("primary.figure[0].width_mm", "160", "half the clear aperture", "diameter"));
    let profile = RadialProfile::new(vec![0.0, 100.0, 200.0], vec![0.0, 5.0, 0.0]);
    let wanted = expected("primary.figure[1].radius_mm[2]", "200", "half the clear aperture", "diameter");
    refused(changed(|t| t.primary.figure[1] = profile.into()), &wanted);
}

#[test]
fn profiles_that_are_no_profiles_are_refused() {
    let with = |radii: &[f64], heights: &[f64]| {
        let profile = RadialProfile::new(radii.to_vec(), heights.to_vec());
        changed(|t| t.primary.figure[1] = profile.into())
    };
    let wanted = expected("primary.figure[1].radius_mm[2]", "50", "ascending", "rim inward");
    refused(with(&[0.0, 90.0, 50.0], &[0.0, 5.0, 0.0]), &wanted);
    let wanted = expected("primary.figure[1].radius_mm[1]", "0", "none twice", "");
    refused(with(&[0.0, 0.0, 50.0], &[0.0, 5.0, 0.0]), &wanted);
    let wanted =
        expected("primary.figure[1].radius_mm", "2 radii beside 3 heights", "equal length", "cut short");
    refused(with(&[0.0, 90.0], &[0.0, 5.0, 0.0]), &wanted);
    let wanted = expected("primary.figure[1].radius_mm", "1 radii", "two points", "");
    refused(with(&[0.0], &[0.0]), &wanted);
    let wanted = expected("primary.figure[1].height_nm[1]", "NaN", "nanometres", "finite");
    refused(with(&[0.0, 90.0], &[0.0, f64::NAN]), &wanted);
}

#[test]
fn heights_in_other_units_are_refused() {
    let wanted = expected("primary.figure[0].drop_nm", "330000", "nanometres", "millimetres or inches");
    refused(changed(|t| t.primary.figure[0] = TurnedEdge::new(9.0, 330_000.0).into()), &wanted);
    let wanted = expected("primary.figure[0].power", "0.5", "from 1 to 50", "");
    refused(changed(|t| t.primary.figure[0] = TurnedEdge::new(9.0, 330.0).power(0.5).into()), &wanted);
}

#[test]
fn a_radius_of_curvature_for_the_focal_length_is_a_warning() {
    let parts = Train::builder(Primary::new(318.0, FocalLengthMm(3116.0)));
    let wanted =
        expected("primary.focal_length_mm", "3116", "f/9", "radius of curvature given for focal length?");
    warned(parts, &wanted);
    // A small mirror of that ratio is usual.
    let small = Train::builder(Primary::new(114.0, FocalLengthMm(1200.0))).build().expect("a sound train");
    assert_eq!(small.problems(), []);
}

#[test]
fn aperture_and_focal_length_exchanged_are_refused() {
    let parts = Train::builder(Primary::new(1558.0, FocalLengthMm(318.0)));
    refused(parts, &expected("primary.focal_length_mm", "318", "f/1", "exchanged"));
}

#[test]
fn a_conic_of_another_convention_is_a_warning_or_a_fault() {
    let parts = changed(|t| t.primary.conic = 1.0);
    warned(parts, &expected("primary.conic", "1", "near -1", "a sign"));
    let parts = Train::builder(Primary::new(300.0, FocalLengthMm(310.0)).conic(40.0));
    refused(parts, &expected("primary.conic", "40", "reaches the rim", "a sign?"));
}

#[test]
fn a_focal_length_and_a_radius_of_curvature_do_not_go_together() {
    let text =
        r#"{"primary": {"clear_aperture_mm": 318, "focal_length_mm": 1558, "radius_of_curvature_mm": 3116}}"#;
    let message = Train::from_json(text).expect_err("both given").to_string();
    for part in ["radius_of_curvature_mm", "3116", "1558", "one of the two", "twice the focal length"] {
        assert!(message.contains(part), "`{part}` is not in `{message}`");
    }
    let message =
        Train::from_json(r#"{"primary": {"clear_aperture_mm": 318}}"#).expect_err("neither").to_string();
    assert!(message.contains("focal_length_mm") && message.contains("radius_of_curvature_mm"), "{message}");
}

#[test]
fn a_reflectance_in_per_cent_is_refused() {
    let wanted = expected("primary.coating.reflectance", "88", "not above 1", "per cent given for a share?");
    refused(changed(|t| t.primary.coating = Coating::new(88.0)), &wanted);
    let wanted = expected("diagonal.reflectance", "90", "not above 1", "per cent given for a share?");
    refused(changed(|t| t.diagonal.as_mut().expect("a diagonal").reflectance = 90.0), &wanted);
    let wanted = expected("primary.coating.rings[0].reflectance", "71", "not above 1", "per cent");
    refused(changed(|t| t.primary.coating.rings[0].reflectance = 71.0), &wanted);
    let wanted = expected("primary.coating.reflectance", "0", "above 0", "");
    refused(changed(|t| t.primary.coating.reflectance = 0.0), &wanted);
}

#[test]
fn rings_of_the_coating_lie_on_the_mirror() {
    let with = |inner, outer| changed(|t| t.primary.coating.rings[0] = CoatingRing::new(inner, outer, 0.7));
    let wanted = expected(
        "primary.coating.rings[0].outer_radius_mm",
        "280",
        "not beyond half",
        "diameter given for radius",
    );
    refused(with(120.0, 280.0), &wanted);
    let wanted =
        expected("primary.coating.rings[0].outer_radius_mm", "120", "beyond the inner one", "exchanged");
    refused(with(140.0, 120.0), &wanted);
    let wanted = expected("primary.coating.rings[0].inner_radius_mm", "-1", "from 0", "diameter");
    refused(with(-1.0, 120.0), &wanted);
}

#[test]
fn masks_larger_than_the_mirror_are_refused() {
    let wanted =
        expected("primary.mask_diameter_mm", "330", "from 0.001 mm to the clear aperture", "outer diameter");
    refused(changed(|t| t.primary.mask_diameter_mm = Some(330.0)), &wanted);
}

#[test]
fn a_diagonal_larger_than_the_primary_is_refused() {
    for size in [318.0, 400.0] {
        let parts = changed(|t| t.diagonal = Some(Diagonal::new(size)));
        let value = size.to_string();
        let wanted =
            expected("diagonal.minor_axis_mm", &value, "below the primary's clear aperture", "inches");
        refused(parts, &wanted);
    }
}

#[test]
fn a_diagonal_smaller_than_the_cone_of_the_axis_is_a_warning() {
    let parts = changed(|t| t.diagonal = Some(Diagonal::new(40.0)));
    warned(
        parts,
        &expected("diagonal.minor_axis_mm", "40", "the cone of the axis needs", "stops the mirror down"),
    );
}

#[test]
fn an_offset_beyond_the_flat_is_refused() {
    let parts = changed(|t| t.diagonal = Some(Diagonal::new(70.0).offset_mm(36.0)));
    refused(parts, &expected("diagonal.offset_mm", "36", "half the minor axis", "toward the primary"));
}

#[test]
fn a_focal_plane_within_the_light_is_refused() {
    for to_focus in [159.0, 100.0] {
        let parts = changed(|t| {
            t.focal_plane = Some(FocalPlane::new(to_focus));
            t.drawtube = None;
        });
        let value = to_focus.to_string();
        let wanted = expected(
            "focal_plane.axis_to_focus_mm",
            &value,
            "more than half the clear aperture",
            "wall instead of its axis?",
        );
        refused(parts, &wanted);
    }
    for (to_focus, allowed, cause) in [
        (1558.0, "less than the focal length", "wall"),
        (1500.0, "well above the mirror", "counted from the mirror"),
    ] {
        let parts = changed(|t| {
            t.focal_plane = Some(FocalPlane::new(to_focus));
            t.drawtube = None;
        });
        refused(parts, &expected("focal_plane.axis_to_focus_mm", &to_focus.to_string(), allowed, cause));
    }
}

#[test]
fn a_diagonal_and_a_focal_plane_go_together() {
    let only = |t: &mut TrainBuilder| {
        t.drawtube = None;
        t.front_opening = None;
    };
    let parts = changed(|t| {
        only(t);
        t.focal_plane = None;
    });
    refused(parts, &expected("focal_plane", "nothing", "axis_to_focus_mm", "the diagonal stands where"));
    let parts = changed(|t| {
        only(t);
        t.diagonal = None;
    });
    refused(parts, &expected("diagonal", "nothing", "minor_axis_mm", "caught on the axis"));
    let parts = changed(|t| {
        t.diagonal = None;
        t.focal_plane = None;
    });
    refused(parts, &expected("focal_plane", "nothing", "beside a drawtube", ""));
}

#[test]
fn drawtubes_of_the_wrong_sign_are_noticed() {
    let wanted = expected("drawtube.outer_end_to_focus_mm", "300", "less than the distance", "a sign");
    refused(changed(|t| t.drawtube = Some(Drawtube::new(47.0, 50.0, 300.0))), &wanted);
    let wanted = expected("drawtube.outer_end_to_focus_mm", "-80", "beyond the focus", "a sign");
    warned(changed(|t| t.drawtube = Some(Drawtube::new(47.0, 50.0, -80.0))), &wanted);
    let wanted = expected("drawtube.length_mm", "90", "inner end", "not modelled");
    warned(changed(|t| t.drawtube = Some(Drawtube::new(47.0, 90.0, 18.0))), &wanted);
}

#[test]
fn an_opening_smaller_than_the_mirror_is_a_warning() {
    let parts = changed(|t| t.front_opening = Some(Opening::new(180.0, 1650.0)));
    warned(
        parts,
        &expected("front_opening.diameter_mm", "180", "stops the mirror down", "radius given for diameter?"),
    );
}

#[test]
fn unknown_keys_are_refused_by_name_and_place() {
    let places = [
        (r#"{"primary": {"clear_aperture_mm": 318, "focal_length_mm": 1558}, "spyder": 1}"#, "spyder"),
        (r#"{"primary": {"clear_aperture_mm": 318, "focal_length_mm": 1558, "aperture": 318}}"#, "aperture"),
        (
            r#"{"primary": {"clear_aperture_mm": 318, "focal_length_mm": 1558, "coating": {"reflectivity": 0.9}}}"#,
            "reflectivity",
        ),
        (
            r#"{"primary": {"clear_aperture_mm": 318, "focal_length_mm": 1558,
            "figure": [{"kind": "zone", "radius_mm": 9, "half_width_mm": 3, "height_nm": 2, "colour": 1}]}}"#,
            "colour",
        ),
        (
            r#"{"primary": {"clear_aperture_mm": 318, "focal_length_mm": 1558},
            "diagonal": {"minor_axis_mm": 70, "offset": 3}, "focal_plane": {"axis_to_focus_mm": 235}}"#,
            "offset",
        ),
    ];
    for (text, key) in places {
        let error = Train::from_json(text).expect_err(key);
        assert!(matches!(error, Error::Unreadable { .. }), "{key}: {error:?}");
        let message = error.to_string();
        assert!(
            message.contains(&format!("`{key}`")) && message.contains("unknown field"),
            "{key}: {message}"
        );
        // What would be allowed stands beside it.
        assert!(message.contains("expected"), "{key}: {message}");
    }
    let toml = "[primary]\nclear_aperture_mm = 318\nfocal_length_mm = 1558\nfocal_ratio = 4.9\n";
    let message = Train::from_toml(toml).expect_err("an unknown key").to_string();
    assert!(message.contains("focal_ratio") && message.contains("primary"), "{message}");
}

#[test]
fn text_in_the_place_of_a_number_is_refused() {
    let text = r#"{"primary": {"clear_aperture_mm": "12.5 in", "focal_length_mm": 1558}}"#;
    let message = Train::from_json(text).expect_err("text").to_string();
    assert!(message.contains("12.5 in") && message.contains("primary"), "{message}");
    let message =
        Train::from_toml("[primary]\nclear_aperture_mm = 318\n[[[").expect_err("no TOML").to_string();
    assert!(message.contains("TOML"), "{message}");
}

#[test]
fn reading_refuses_what_construction_refuses() {
    let text =
        r#"{"primary": {"clear_aperture_mm": 318, "focal_length_mm": 1558, "coating": {"reflectance": 88}}}"#;
    let wanted = expected("primary.coating.reflectance", "88", "not above 1", "per cent given for a share?");
    refused_with(&Train::from_json(text).expect_err("per cent"), &wanted);
    let serde: Result<Train, _> = serde_json::from_str(text);
    let message = serde.expect_err("the same by serde alone").to_string();
    assert!(message.contains("primary.coating.reflectance") && message.contains("per cent"), "{message}");
}

#[test]
fn all_faults_are_found_at_once() {
    let parts = changed(|t| {
        t.primary.coating.reflectance = 88.0;
        t.primary.figure[1] = Zone::new(190.0, -1.0, f64::NAN).into();
        t.primary.mask_diameter_mm = Some(0.0);
        t.diagonal = Some(Diagonal::new(-70.0).reflectance(0.0));
        t.focal_plane = Some(FocalPlane::new(-100.0));
        t.front_opening = Some(Opening::new(-1.0, f64::INFINITY));
        t.drawtube = Some(Drawtube::new(0.0, 50.0, 18.0));
    });
    let error = parts.build().expect_err("many faults");
    let fields: Vec<&str> = error.problems().iter().map(|p| p.field.as_str()).collect();
    let wanted = [
        "primary.mask_diameter_mm",
        "primary.coating.reflectance",
        "primary.figure[1].radius_mm",
        "primary.figure[1].half_width_mm",
        "primary.figure[1].height_nm",
        "diagonal.minor_axis_mm",
        "diagonal.reflectance",
        "focal_plane.axis_to_focus_mm",
        "front_opening.diameter_mm",
        "front_opening.above_vertex_mm",
        "drawtube.bore_mm",
    ];
    assert_eq!(fields, wanted);
    assert_eq!(error.to_string().lines().count(), wanted.len());
}

#[test]
fn sizes_are_judged_beside_a_fault_of_the_coating() {
    // The aperture and focal length are sound, so what is judged against them can be.
    let parts = changed(|t| {
        t.primary.coating.reflectance = 88.0;
        t.diagonal = Some(Diagonal::new(400.0));
        t.focal_plane = Some(FocalPlane::new(100.0));
        t.drawtube = None;
    });
    let error = parts.build().expect_err("three faults");
    let fields: Vec<&str> = error.problems().iter().map(|p| p.field.as_str()).collect();
    assert_eq!(
        fields,
        ["primary.coating.reflectance", "diagonal.minor_axis_mm", "focal_plane.axis_to_focus_mm"]
    );
}

#[test]
fn faults_beside_a_faulty_primary_are_found_too() {
    let parts = changed(|t| {
        t.primary.clear_aperture_mm = f64::NAN;
        t.diagonal = Some(Diagonal::new(-70.0));
        t.drawtube = Some(Drawtube::new(47.0, f64::NAN, 18.0));
    });
    let error = parts.build().expect_err("three faults");
    let fields: Vec<&str> = error.problems().iter().map(|p| p.field.as_str()).collect();
    assert_eq!(fields, ["primary.clear_aperture_mm", "diagonal.minor_axis_mm", "drawtube.length_mm"]);
}

#[test]
fn wavelengths_that_nobody_sees_are_refused() {
    let telescope = paraboloid(200.0, 1200.0);
    for (wavelength_nm, text, cause) in [
        (0.0, "0", ""),
        (5500.0, "5500", "angstroms given for nanometres?"),
        (0.55, "0.55", "micrometres given for nanometres?"),
        (-550.0, "-550", ""),
        (f64::NAN, "NaN", ""),
        (f64::INFINITY, "inf", ""),
    ] {
        let wanted = expected("wavelength_nm", text, "200 to 3000 nm", cause);
        let wavefront = telescope.wavefront(Field::AXIS, Focus::LeastRms, wavelength_nm);
        refused_with(&wavefront.expect_err("a wavelength"), &wanted);
        let terms = Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, None, wavelength_nm);
        refused_with(&terms.expect_err("a wavelength"), &wanted);
        refused_with(&telescope.airy(wavelength_nm).expect_err("a wavelength"), &wanted);
    }
}

#[test]
fn field_angles_and_shifts_of_other_units_are_refused() {
    let telescope = paraboloid(200.0, 1200.0);
    for (field, name, text) in [
        (Field::arcmin(3600.0, 0.0), "field_arcmin[0]", "3600"),
        (Field::arcmin(0.0, f64::NAN), "field_arcmin[1]", "NaN"),
        (Field::arcmin(f64::INFINITY, 0.0), "field_arcmin[0]", "inf"),
    ] {
        let wanted = expected(name, text, "within 600 arcmin", "arcseconds");
        refused_with(&telescope.spot_at(field, 0.0, 10).expect_err(name), &wanted);
        refused_with(&telescope.wavefront(field, Focus::Peak, 550.0).expect_err(name), &wanted);
        refused_with(&telescope.least_spot_shift_mm(field).expect_err(name), &wanted);
    }
    for (shift_mm, text) in [(500.0, "500"), (f64::NAN, "NaN"), (f64::NEG_INFINITY, "-inf")] {
        let wanted = expected("focus_shift_mm", text, "a quarter of the focal length", "micrometres");
        refused_with(&telescope.spot_at(Field::AXIS, shift_mm, 10).expect_err("a shift"), &wanted);
        let wavefront = telescope.wavefront(Field::AXIS, Focus::ShiftMm(shift_mm), 550.0);
        refused_with(&wavefront.expect_err("a shift"), &wanted);
    }
}

#[test]
fn star_images_that_cannot_be_are_refused() {
    let perfect = |focal_ratio| Wavefront::from_zernikes(&[].into(), Indexing::Noll, 0.0, focal_ratio, 550.0);
    let wavefront = perfect(Some(5.0)).expect("terms");
    let psf = |half_width_um, pixels| wavefront.psf(PsfSize { half_width_um, pixels }).expect_err("a size");
    refused_with(&psf(None, 1), &expected("pixels", "1", "2 to 2048", ""));
    refused_with(&psf(None, 100_000), &expected("pixels", "100000", "2 to 2048", ""));
    for (width, text) in [(0.0, "0"), (-1.0, "-1"), (f64::NAN, "NaN"), (1e4, "10000")] {
        refused_with(
            &psf(Some(width), 9),
            &expected("half_width_um", text, "above 0 and up to 550 um", "nanometres"),
        );
    }
    let none = perfect(None).expect("terms").psf(PsfSize::default()).expect_err("no focal ratio");
    refused_with(&none, &expected("focal_ratio", "nothing", "a focal ratio", ""));
    let energy = wavefront.encircled_energy(&[1.0, -2.0]).expect_err("a radius");
    refused_with(&energy, &expected("radius_um[1]", "-2", "from 0 to 550 um", ""));
    let energy = wavefront.encircled_energy(&[f64::NAN]).expect_err("a radius");
    refused_with(&energy, &expected("radius_um[0]", "NaN", "from 0", ""));
}

#[test]
fn terms_and_obstructions_that_cannot_be_are_refused() {
    let terms = |index, value, obstruction| {
        Wavefront::from_zernikes(&[(index, value)].into(), Indexing::Noll, obstruction, None, 550.0)
            .expect_err("terms")
    };
    refused_with(
        &terms(4, 20.0, 22.0),
        &expected("obstruction_ratio", "22", "by diameter", "per cent, or by area?"),
    );
    refused_with(&terms(4, f64::NAN, 0.0), &expected("coefficients[4]", "NaN", "finite", ""));
    refused_with(&terms(0, 1.0, 0.0), &expected("coefficients[0]", "0", "an index", "another indexing?"));
    let airy = Airy::new(0.5, 0.0, 550.0).expect_err("a focal ratio");
    refused_with(&airy, &expected("focal_ratio", "0.5", "1 or more", ""));
    let airy = Airy::new(5.0, 0.95, 550.0).expect_err("an obstruction");
    refused_with(&airy, &expected("obstruction_ratio", "0.95", "less than 0.95", "per cent"));
}

#[test]
fn lists_and_sizes_of_illumination_are_checked() {
    let telescope = paraboloid(318.0, 1558.0);
    let unequal = telescope.illumination(&[0.0, 1.0], &[0.0]).expect_err("unequal lists");
    refused_with(&unequal, &expected("across_mm", "1 positions beside 2", "two lists of equal length", ""));
    let far = telescope.illumination(&[0.0], &[9000.0]).expect_err("too far");
    refused_with(&far, &expected("across_mm[0]", "9000", "within one focal length", "micrometres"));
    let mirror = Primary::new(318.0, FocalLengthMm(1558.0));
    let size = smallest_diagonal(&mirror, 100.0, 10.0).expect_err("a focal plane in the light");
    refused_with(&size, &expected("axis_to_focus_mm", "100", "more than half the clear aperture", "wall"));
    let size = smallest_diagonal(&mirror, 235.0, 400.0).expect_err("a lit circle");
    refused_with(&size, &expected("fully_lit_diameter_mm", "400", "less than the clear aperture", ""));
    assert!(
        smallest_diagonal(&mirror, f64::NAN, 10.0).is_err()
            && smallest_diagonal(&mirror, 235.0, f64::NAN).is_err()
    );
}

#[test]
fn files_that_cannot_be_read_say_so() {
    let missing = Train::load("no/such/train.json").expect_err("no file");
    assert!(matches!(&missing, Error::File { path, .. } if path == "no/such/train.json"), "{missing:?}");
    let ending = Train::load(concat!(env!("CARGO_MANIFEST_DIR"), "/LICENSE")).expect_err("no ending");
    assert!(ending.to_string().contains(".json or .toml"), "{ending}");
}
