//! Facts behind an eyepiece and on a sensor: closed forms, exact rays, directions, bad input.

#![allow(clippy::float_cmp)] // whole millimetres, and the same call asked twice: equal to the last bit

mod common;

use std::f64::consts::PI;

use catoptric::{
    Airy, Diagonal, Drawtube, Error, Eyepiece, EyepieceFacts, EyepieceOptions, FocalLengthMm, FocalPlane,
    Misplacement, Part, Prepared, Primary, Seeing, Sensor, SensorFacts, TurnedEdge,
};
use common::{assert_close, assert_close_relative, bare, paraboloid, prepare, rows};

/// The invented 406 mm f/5 with its drawtube.
fn ponds(minor_axis_mm: f64) -> Prepared {
    prepare(
        catoptric::Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
            .diagonal(Diagonal::new(minor_axis_mm))
            .focal_plane(FocalPlane::new(303.0))
            .drawtube(Drawtube::new(47.0, 70.0, 18.0)),
    )
}

fn behind(telescope: &Prepared, eyepiece: Eyepiece) -> EyepieceFacts {
    telescope.behind(&eyepiece, EyepieceOptions::default()).expect("facts")
}

fn with_iris(telescope: &Prepared, eyepiece: Eyepiece, iris_mm: f64) -> EyepieceFacts {
    let options = EyepieceOptions { eye_pupil_mm: Some(iris_mm), ..EyepieceOptions::default() };
    telescope.behind(&eyepiece, options).expect("facts")
}

fn on_sensor(telescope: &Prepared, sensor: Sensor) -> SensorFacts {
    telescope.on_sensor(&sensor, None, 550.0).expect("facts")
}

#[test]
fn the_exit_pupil_is_where_the_lenses_put_the_rim() {
    // Truth: tests/data/focus.json, rays through two lenses, mpmath.
    for row in rows("focus", "kind", "pupil") {
        let telescope = paraboloid(row.number("clear_aperture_mm"), row.number("focal_length_mm"));
        let facts = behind(&telescope, Eyepiece::new(row.number("eyepiece_mm"), 5.0));
        assert_close_relative(facts.exit_pupil_mm, row.number("exit_pupil_mm"), 1e-14, "exit pupil");
        let beyond_mm = facts.eyepiece.focal_length_mm.powi(2) / row.number("focal_length_mm");
        assert_close_relative(beyond_mm, row.number("beyond_focal_point_mm"), 1e-13, "as its page says");
    }
}

#[test]
fn power_field_and_shadow_are_those_of_the_closed_forms() {
    let facts = behind(&ponds(79.4), Eyepiece::new(31.0, 40.0).apparent_field_deg(78.0));
    assert_close_relative(facts.magnification, 2030.0 / 31.0, 1e-15, "power");
    // 2 atan(20/2030), Python's own arithmetic.
    assert_close(facts.true_field_arcmin, 67.736_661_037, 1e-9, "true field from the field stop");
    let by_rule = facts.true_field_by_apparent_arcmin.expect("an apparent field");
    assert_close(by_rule, 78.0 * 60.0 * 31.0 / 2030.0, 1e-12, "apparent field over power");
    assert_close(facts.shadow_mm, 6.2 * 79.4 / 406.0, 1e-13, "shadow in the exit pupil");
    assert_close(facts.shadow_share, (79.4_f64 / 406.0).powi(2), 1e-15, "its share of the area");
    assert_eq!((facts.eye_share, facts.effective_obstruction_ratio), (1.0, facts.shadow_mm / 6.2));
    assert_close_relative(facts.effective_aperture_mm, 406.0, 1e-15, "the whole mirror");
}

#[test]
fn an_iris_smaller_than_the_exit_pupil_masks_the_mirror() {
    let (telescope, eyepiece) = (ponds(79.4), Eyepiece::new(31.0, 40.0));
    let shadow_mm = 6.2 * 79.4 / 406.0;
    for iris_mm in [2.0, 3.0, 4.5, 6.0] {
        let facts = with_iris(&telescope, eyepiece, iris_mm);
        assert_close_relative(facts.effective_aperture_mm, 406.0 * iris_mm / 6.2, 1e-14, "aperture in use");
        assert_close_relative(facts.effective_focal_ratio, 31.0 / iris_mm, 1e-15, "its focal ratio");
        assert_close_relative(facts.effective_obstruction_ratio, shadow_mm / iris_mm, 1e-13, "obstruction");
        let area = |d: f64| PI / 4.0 * (d * d - shadow_mm * shadow_mm);
        assert_close_relative(facts.eye_share, area(iris_mm) / area(6.2), 1e-12, "light that enters");
        assert!(facts.cautions[0].contains("stops the mirror down"), "{:?}", facts.cautions);
        // The rest is that of the train with a mask of this diameter, asked directly.
        let mut parts = telescope.train().to_parts();
        parts.primary.mask_diameter_mm = Some(iris_mm * 2030.0 / 31.0);
        let masked = prepare(parts);
        let light = masked.illumination_at_radii(&[20.0]).expect("light");
        assert_close(facts.edge_light.expect("light").mean, light.mean[0], 1e-12, "edge through the iris");
    }
    // Coma's length goes with the square of the aperture.
    let whole = behind(&telescope, eyepiece).edge_spot.coma_um;
    let half = with_iris(&telescope, eyepiece, 3.1).edge_spot.coma_um;
    // 1/(12 F^2) is what the third order leaves out: 0.3 % at f/5, 0.08 % at f/10.
    assert_close_relative(half / whole, 0.25, 4e-3, "coma through half of the aperture");
}

#[test]
fn an_iris_within_the_shadow_sees_nothing() {
    let facts = with_iris(&ponds(101.6), Eyepiece::new(50.0, 40.0), 2.0); // a shadow of 2.5 mm in 10 mm
    assert_eq!((facts.eye_share, facts.effective_obstruction_ratio), (0.0, 1.0));
    assert!(facts.edge_light.is_none() && facts.edge_spot.of_bare_mirror);
    assert!(facts.cautions[0].contains("within the diagonal's shadow"), "{:?}", facts.cautions);
}

#[test]
fn the_edge_is_as_sharp_as_the_exact_trace_says() {
    // Truth: tests/data/coma.json, exact rays in 34 digits: paraxial plane, least spot, and the shift between them.
    for row in rows("coma", "kind", "field").iter().filter(|r| r.number("field_b_arcmin") == 0.0) {
        let [aperture, focal] = ["clear_aperture_mm", "focal_length_mm"].map(|key| row.number(key));
        let tangent = (row.number("field_a_arcmin").abs() / 60.0).to_radians().tan();
        let facts = behind(&paraboloid(aperture, focal), Eyepiece::new(12.0, 2.0 * focal * tangent));
        let spot = facts.edge_spot;
        assert_close_relative(spot.coma_um, row.number("tangential_coma_um"), 1e-6, "coma");
        assert_close_relative(spot.rms_radius_um, row.number("rms_spot_um"), 1e-6, "flat plane");
        let least = row.number("least_spot_rms_um");
        assert_close_relative(spot.refocused_rms_radius_um, least, 1e-6, "refocused");
        assert_close_relative(spot.defocus_mm, row.number("least_spot_shift_mm"), 1e-6, "edge's focus");
        // At the eye: an image's length over the eyepiece's focal length.
        let arcmin = spot.coma_um / 12_000.0 * 60.0 * 180.0 / PI;
        assert_close_relative(facts.at_eye_arcmin(spot.coma_um), arcmin, 1e-14, "at the eye");
    }
}

#[test]
fn third_order_limits_of_the_edge() {
    // Schroeder, Astronomical Optics, chapter 6: tangential coma 3 t/(16 F^2) on the sky, medial surface of radius f.
    // At f/40 and 0.2 degrees the next order is 1/(12 F^2) = 5e-5 and t^2 = 1e-5.
    let (aperture, focal, stop) = (100.0, 4000.0, 28.0);
    let facts = behind(&paraboloid(aperture, focal), Eyepiece::new(20.0, stop));
    let t = stop / 2.0 / focal;
    let sky_arcmin = 3.0 * t / (16.0 * 1600.0) * 180.0 * 60.0 / PI;
    let at_eye = facts.at_eye_arcmin(facts.edge_spot.coma_um);
    assert_close_relative(at_eye, sky_arcmin * facts.magnification, 2e-4, "coma on the sky times power");
    let medial_mm = -(stop / 2.0_f64).powi(2) / (2.0 * focal);
    assert_close_relative(facts.edge_spot.defocus_mm, medial_mm, 2e-3, "medial surface");
    assert_close_relative(facts.edge_dioptres(), -medial_mm / 0.4, 2e-3, "the same in dioptres");
    // Twice the field: four times the defocus, twice the coma.
    let twice = behind(&paraboloid(aperture, focal), Eyepiece::new(20.0, 2.0 * stop));
    assert_close_relative(twice.edge_spot.defocus_mm / facts.edge_spot.defocus_mm, 4.0, 1e-3, "square");
    assert_close_relative(twice.edge_spot.coma_um / facts.edge_spot.coma_um, 2.0, 1e-4, "in proportion");
}

#[test]
fn the_edge_comes_to_focus_nearer_to_the_mirror_and_leaves_the_eyepiece_converging() {
    let facts = behind(&paraboloid(250.0, 1250.0), Eyepiece::new(20.0, 36.0));
    assert!(facts.edge_spot.defocus_mm < 0.0 && facts.edge_dioptres() > 0.0);
    // A ray by a thin lens: from an image beyond its focal length the light comes out converging.
    let distance_mm = 20.0 - facts.edge_spot.defocus_mm;
    assert!(1.0 / 20.0 - 1.0 / distance_mm > 0.0);
}

#[test]
fn a_flat_that_turns_gives_the_middle_of_the_eyepiece_another_star() {
    // A turn b about the tube's axis moves the image by b times the way from flat to focus, toward +y; the star that
    // takes its place stands as far to the other side, and brings the coma of its own height: 3 theta/(16 F^2),
    // Schroeder, Astronomical Optics, chapter 6.
    let turned = Misplacement { turn_arcmin: 60.0, ..Misplacement::NONE };
    let telescope = prepare(
        catoptric::Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
            .diagonal(Diagonal::new(140.0).offset_mm(0.0).misplaced(turned))
            .focal_plane(FocalPlane::new(303.0)),
    );
    let shift_mm = 303.0 * 1_f64.to_radians();
    let coma_um = |height_mm: f64| 3.0 * height_mm / (16.0 * 25.0) * 1e3;
    for field_stop_mm in [0.2, 2.0] {
        let edge = behind(&telescope, Eyepiece::new(20.0, field_stop_mm)).edge_spot;
        // The edge that is looked at lies toward +y, nearer to the image of the star on the axis.
        let height_mm = shift_mm - 0.5 * field_stop_mm;
        assert!(!edge.of_bare_mirror);
        assert_close_relative(edge.coma_um, coma_um(height_mm), 0.02, "coma of the star that stands there");
    }
}

#[test]
fn a_quarter_wave_of_defocus_is_what_the_depth_says() {
    // W020 = dz/(8 F^2) (design, and Schroeder chapter 10): a quarter of 550 nm at f/5 is 27.5 um.
    let facts = behind(&paraboloid(250.0, 1250.0), Eyepiece::new(20.0, 20.0));
    assert_close(facts.depth_of_focus_mm, 0.0275, 1e-15, "2 lambda F^2");
    // By the exact wavefront on the axis: PV of defocus is a quarter wave; a real cone's differs by 1/(8F^2), 0.5 %.
    let telescope = paraboloid(250.0, 1250.0);
    let wave = telescope
        .wavefront(catoptric::Field::AXIS, catoptric::Focus::ShiftMm(facts.depth_of_focus_mm), 550.0)
        .expect("a wavefront");
    assert_close_relative(wave.pv_nm, 550.0 / 4.0, 6e-3, "a quarter wave");
    // Dioptres over the exit pupil E: 2 lambda/E^2 in metres; at 4 mm 0.06875.
    assert_close(facts.depth_dioptres(), 2.0 * 550e-9 / 0.004_f64.powi(2), 1e-13, "in dioptres");
}

#[test]
fn the_edge_is_as_bright_as_illumination_says_and_names_what_limits() {
    let eyepiece = Eyepiece::new(31.0, 40.0);
    for (minor_axis_mm, part) in [(70.0, Part::Diagonal), (101.6, Part::DrawtubeInnerEnd)] {
        let telescope = ponds(minor_axis_mm);
        let edge = behind(&telescope, eyepiece).edge_light.expect("light");
        let light = telescope.illumination_at_radii(&[20.0]).expect("light");
        assert_eq!((edge.worst, edge.mean, edge.best), (light.worst[0], light.mean[0], light.best[0]));
        assert_eq!(edge.dimmed_by, Some(part), "{minor_axis_mm} mm");
        let lost = edge.worst_magnitudes().expect("light");
        assert_close(10_f64.powf(-0.4 * lost), edge.worst, 1e-14, "magnitudes");
    }
    // A bare mirror dims nothing, however wide the field.
    let edge = behind(&paraboloid(200.0, 1000.0), eyepiece).edge_light.expect("light");
    assert_eq!(edge.dimmed_by, None);
    assert_eq!(edge.mean_magnitudes().map(|m| m.abs() < 1e-9), Some(true));
}

#[test]
fn a_field_stop_beyond_the_drawtube_is_flagged_and_dark() {
    let narrow = prepare(
        catoptric::Train::builder(Primary::new(100.0, FocalLengthMm(1000.0)))
            .diagonal(Diagonal::new(30.0))
            .focal_plane(FocalPlane::new(120.0))
            .drawtube(Drawtube::new(20.0, 30.0, -1.0)),
    );
    let facts = behind(&narrow, Eyepiece::new(30.0, 40.0));
    assert!(facts.cautions[0].contains("wider than the drawtube's bore"), "{:?}", facts.cautions);
    let edge = facts.edge_light.expect("the middle is lit");
    assert_eq!((edge.worst, edge.best, edge.worst_magnitudes()), (0.0, 0.0, None));
    // The mirror's own coma is told all the same.
    assert!(facts.edge_spot.of_bare_mirror && facts.edge_spot.coma_um > 0.0);
}

#[test]
fn the_middle_is_focused_where_a_turned_edge_puts_it() {
    // With an error of the figure the middle's least spot is not paraxial; the edge's defocus counts from there, so
    // that the mirror's own curvature of field is nearly what a perfect one has.
    let mirror = Primary::new(250.0, FocalLengthMm(1250.0));
    let worn = bare(mirror.clone().layer(TurnedEdge::new(10.0, 200.0)));
    let eyepiece = Eyepiece::new(20.0, 30.0);
    let (perfect, worn) = (behind(&bare(mirror), eyepiece), behind(&worn, eyepiece));
    assert_close(worn.edge_spot.defocus_mm, perfect.edge_spot.defocus_mm, 0.01, "curvature of the field");
}

#[test]
fn a_sensor_s_numbers_are_the_closed_forms() {
    let (telescope, sensor) = (ponds(88.9), Sensor::new(5.0, 3520, 2660));
    let facts = on_sensor(&telescope, sensor);
    // 5 um over 2030 mm in arcseconds; sides 17.6 x 13.3 mm; Python's own arithmetic.
    assert_close(facts.pixel_arcsec, 0.508_041_394_7, 1e-9, "scale");
    assert_close(facts.field_along_arcmin, 29.804_908_46, 1e-7, "field along");
    assert_close(facts.field_across_arcmin, 22.523_087_93, 1e-7, "field across");
    assert_close(facts.field_diagonal_arcmin, 37.357_855_2, 1e-7, "field from corner to corner");
    assert_close(facts.nyquist_pixel_um, 0.55 * 5.0 / 2.0, 1e-12, "lambda F/2");
    assert_close(facts.pixels_per_lambda_f, 0.55, 1e-12, "pixels for lambda F");
    let star = Airy::new(5.0, 88.9 / 406.0, 550.0).expect("a star");
    assert_close_relative(facts.star_fwhm_um, star.fwhm_um(), 1e-12, "the obstructed star's width");
    assert_close_relative(facts.pixels_per_fwhm, star.fwhm_um() / 5.0, 1e-12, "pixels across it");
    assert_close(facts.depth_of_focus_mm, 0.0275, 1e-15, "a quarter wave");
    assert_close(facts.depth_of_pixel_mm, 0.025, 1e-15, "a blur of one pixel");
    let half_mm = 17.6_f64.hypot(13.3) / 2.0;
    let tilt = (0.0275 / half_mm).atan().to_degrees() * 60.0;
    assert_close_relative(facts.tilt_tolerance_arcmin, tilt, 1e-12, "tilt for a quarter wave");
    assert!(facts.tilt_of_pixel_arcmin < facts.tilt_tolerance_arcmin);
    let air = Seeing::from_fwhm(2.0, 550.0, 0.0).expect("air");
    let seen = telescope.on_sensor(&sensor, Some(&air), 550.0).expect("facts");
    // The seeing's width and r0 are tied by a constant of six digits.
    let pixels = seen.pixels_per_seeing.expect("air");
    assert_close(pixels, 2.0 / 0.508_041_394_7, 1e-5, "pixels across the seeing");
}

#[test]
fn a_sensor_s_corners_are_as_bright_as_illumination_says() {
    let (telescope, sensor) = (ponds(70.0), Sensor::new(5.0, 3520, 2660));
    let facts = on_sensor(&telescope, sensor);
    let corners =
        telescope.illumination(&[8.8, 8.8, -8.8, -8.8], &[6.65, -6.65, 6.65, -6.65]).expect("light").relative;
    let light = facts.corner_light.expect("light");
    assert_eq!(light.worst, corners.iter().copied().fold(f64::INFINITY, f64::min));
    assert_eq!(light.best, corners.iter().copied().fold(0.0, f64::max));
    assert_close(light.mean, corners.iter().sum::<f64>() / 4.0, 1e-15, "mean of the corners");
    assert_eq!(light.dimmed_by, Some(Part::Diagonal));
    // Of a bare mirror all corners are alike, and as sharp as the exact rays of the same radius.
    let row = &rows("coma", "kind", "field")[2];
    let [aperture, focal] = ["clear_aperture_mm", "focal_length_mm"].map(|key| row.number(key));
    let radius_mm = focal * (row.number("field_a_arcmin") / 60.0).to_radians().tan();
    // A line of pixels, so that the corner lies within half a pixel of the axis's plane.
    let line = Sensor::new(2.0 * radius_mm, 1000, 1);
    assert_close_relative(line.size_mm()[0] / 2.0, radius_mm, 1e-12, "half the line");
    let spot = on_sensor(&paraboloid(aperture, focal), line);
    let length_mm = radius_mm.hypot(radius_mm / 1000.0);
    let coma = row.number("tangential_coma_um") * length_mm / radius_mm;
    assert_close_relative(spot.corner_spot.coma_um, coma, 1e-6, "coma in the corner");
    assert_close_relative(spot.in_pixels(coma), coma / (2.0 * radius_mm), 1e-14, "in pixels");
}

#[test]
fn many_eyepieces_are_the_single_ones_in_order() {
    let telescope = ponds(79.4);
    let eyepieces = [Eyepiece::new(31.0, 40.0), Eyepiece::new(13.0, 17.0), Eyepiece::new(5.0, 7.0)];
    let all = telescope.behind_each(&eyepieces, EyepieceOptions::default()).expect("facts");
    for (facts, eyepiece) in all.iter().zip(eyepieces) {
        assert_eq!(facts, &behind(&telescope, eyepiece));
    }
}

#[track_caller]
fn refused(error: &Error, field: &str, allowed: &str, cause: &str) {
    let problems = error.problems();
    let found =
        problems.iter().any(|p| p.field == field && p.allowed.contains(allowed) && p.cause.contains(cause));
    assert!(found, "{field}: {error}");
}

#[test]
fn what_cannot_be_is_refused() {
    let telescope = paraboloid(200.0, 1000.0);
    let ask = |eyepiece: Eyepiece, options: EyepieceOptions| {
        telescope.behind(&eyepiece, options).expect_err("refused")
    };
    let usual = EyepieceOptions::default();
    let error = ask(Eyepiece::new(1000.0, 10.0), usual);
    refused(&error, "eyepiece.focal_length_mm", "0.5 to 200 mm", "telescope's focal length");
    let error = ask(Eyepiece::new(f64::NAN, 10.0), usual);
    refused(&error, "eyepiece.focal_length_mm", "0.5 to 200 mm", "finite");
    let error = ask(Eyepiece::new(10.0, 10.0).apparent_field_deg(0.5), usual);
    refused(&error, "eyepiece.apparent_field_deg", "1 to 150 degrees", "true field");
    let error = ask(Eyepiece::new(10.0, 10.0), EyepieceOptions { eye_pupil_mm: Some(0.0), ..usual });
    refused(&error, "eye_pupil_mm", "0.5 to 10 mm", "radius");
    let error = ask(Eyepiece::new(10.0, 10.0), EyepieceOptions { accommodation_dioptres: -3.0, ..usual });
    refused(&error, "accommodation_dioptres", "0 to 20", "sign");
    let error = ask(Eyepiece::new(10.0, 10.0), EyepieceOptions { wavelength_nm: 0.55, ..usual });
    refused(&error, "wavelength_nm", "200 to 2000 nm", "micrometres");
    refused(&telescope.behind_each(&[], usual).expect_err("none"), "eyepieces", "1 to", "");
    let two = [Eyepiece::new(10.0, 10.0), Eyepiece::new(10.0, -1.0)];
    let error = telescope.behind_each(&two, usual).expect_err("the second");
    refused(&error, "eyepieces[1].field_stop_mm", "0.1 to 200 mm", "apparent field");
    let error = telescope.on_sensor(&Sensor::new(5.0, 0, 10), None, 550.0).expect_err("no pixels");
    refused(&error, "sensor.columns", "1 or more", "");
    let error = telescope.on_sensor(&Sensor::new(f64::NAN, 10, 10), None, 550.0).expect_err("NaN");
    refused(&error, "sensor.pixel_um", "0.05 to 1000 um", "");
    let error = telescope.on_sensor(&Sensor::new(500.0, 9000, 10), None, 550.0).expect_err("too wide");
    refused(&error, "sensor.columns", "within half the focal length", "millimetres");
}

#[test]
fn an_exit_pupil_wider_than_an_iris_is_allowed_and_said() {
    let facts = behind(&paraboloid(400.0, 1600.0), Eyepiece::new(40.0, 40.0));
    assert_eq!(facts.exit_pupil_mm, 10.0);
    assert!(facts.cautions[0].contains("wider than an iris"), "{:?}", facts.cautions);
    let by_hand = behind(&paraboloid(400.0, 1600.0), Eyepiece::new(10.0, 10.0).apparent_field_deg(100.0));
    assert!(by_hand.cautions[0].contains("disagree"), "{:?}", by_hand.cautions);
}
