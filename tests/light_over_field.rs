//! Light over the field: against radius, along a field stop, over a sensor, and the fully lit circle.

mod common;

use catoptric::{
    Diagonal, Drawtube, Error, Field, FieldStopLight, FilterRing, FocalLengthMm, FocalPlane, LightMap,
    LitCircle, Misplacement, Opening, Part, Prepared, Primary, RadialIllumination, SensorFrame, SensorMask,
    Train, TrainBuilder, smallest_diagonal,
};
use common::{assert_close, everything, prepare};

fn primary() -> Primary {
    Primary::new(318.0, FocalLengthMm(1558.0))
}

/// A flat that is a little small, without offset.
fn lopsided() -> TrainBuilder {
    Train::builder(primary()).diagonal(Diagonal::new(63.0).offset_mm(0.0)).focal_plane(FocalPlane::new(235.0))
}

fn back<T: serde::Serialize + serde::de::DeserializeOwned>(value: &T) -> T {
    serde_json::from_str(&serde_json::to_string(value).expect("JSON")).expect("JSON of our own")
}

#[test]
fn worst_and_best_are_those_of_a_dense_round() {
    let turned = Misplacement { across_mm: 1.0, roll_arcmin: 6.0, ..Misplacement::NONE };
    let crooked = lopsided().diagonal(Diagonal::new(63.0).offset_mm(0.0).misplaced(turned));
    for telescope in [prepare(everything()), prepare(lopsided()), prepare(crooked)] {
        let radial = telescope.illumination_at_radii(&[0.0, 9.0, 17.0]).expect("light");
        for (k, radius) in [0.0, 9.0, 17.0].into_iter().enumerate() {
            let turns = (0..720).map(|i| (f64::from(i) * 0.5).to_radians());
            let (along, across): (Vec<f64>, Vec<f64>) =
                turns.map(|t| (radius * t.cos(), radius * t.sin())).unzip();
            let dense = telescope.illumination(&along, &across).expect("light").relative;
            let least = dense.iter().copied().fold(f64::INFINITY, f64::min);
            let most = dense.iter().copied().fold(0.0, f64::max);
            // No dense point is darker; half a degree beside the darkest place the light differs by less than 1e-5.
            assert!(radial.worst[k] <= least + 1e-9 && radial.worst[k] >= least - 2e-5, "{least}");
            assert!(radial.best[k] >= most - 1e-9 && radial.best[k] <= most + 2e-5, "{most}");
            let mean = dense.iter().sum::<f64>() / 720.0;
            let stated = radial.azimuth_error_estimate + radial.error_estimate;
            assert_close(radial.mean[k], mean, stated, "mean over azimuth");
        }
        assert_eq!(back(&radial), radial);
    }
}

#[test]
fn a_lopsided_ring_is_darkest_toward_the_primary() {
    let telescope = prepare(lopsided());
    let ring = telescope.field_stop_light(32.0, 36).expect("light");
    let radial = telescope.illumination_at_radii(&[16.0]).expect("light");
    assert_eq!((ring.worst_azimuth_deg, ring.best_azimuth_deg), (180.0, 0.0));
    assert_close(ring.worst, radial.worst[0], 1e-12, "ring and radius: worst");
    assert_close(ring.best, radial.best[0], 1e-12, "ring and radius: best");
    // 36 and 24 azimuths: the mean is smooth.
    assert_close(ring.mean, radial.mean[0], 1e-4, "ring and radius: mean");
    assert_close(ring.relative[18], ring.absolute[18] / ring.on_axis, 1e-14, "relative");
    assert!(ring.limited_by.iter().all(|p| *p == Some(Part::Diagonal)));
    let again: FieldStopLight = back(&ring);
    assert_eq!(again, ring);
    // An offset flat is nearly even.
    let even = prepare(lopsided().diagonal(Diagonal::new(63.0))).field_stop_light(32.0, 36).expect("light");
    assert!(even.best - even.worst < 0.4 * (ring.best - ring.worst), "{} {}", even.worst, even.best);
}

#[test]
fn a_map_is_the_light_at_its_points() {
    let telescope = prepare(lopsided().drawtube(Drawtube::new(30.0, 60.0, 20.0)));
    let frame = SensorFrame::new(24.0, 16.0).rotation_deg(30.0).centre_mm(2.0, -1.0);
    let map = telescope.light_map(frame, 7).expect("light");
    assert_eq!((map.rows, map.columns, map.absolute.len()), (7, 5, 35));
    let (along, across) = (map.along_mm(), map.across_mm());
    let points = telescope.illumination(&along, &across).expect("light");
    assert_eq!((&points.absolute, &points.stopped), (&map.absolute, &map.stopped));
    // Its four corners are those of a rectangle turned by 30 degrees.
    let corners = frame.corners_mm();
    for (corner, i) in corners.iter().zip([34, 4, 0, 30]) {
        assert_close(along[i], corner[0], 1e-12, "a corner along");
        assert_close(across[i], corner[1], 1e-12, "a corner across");
    }
    let (sin, cos) = 30.0_f64.to_radians().sin_cos();
    assert_close(corners[0][0], 2.0 + 12.0 * cos - 8.0 * sin, 1e-12, "turned from along toward across");
    assert_close(corners[0][1], -1.0 + 12.0 * sin + 8.0 * cos, 1e-12, "turned from along toward across");
    let darkest = map.darkest_corner();
    let least = [34, 4, 0, 30].map(|i| map.relative()[i]).into_iter().fold(f64::INFINITY, f64::min);
    assert_close(darkest.relative, least, 0.0, "the darkest corner");
    assert_close(darkest.magnitudes(), -2.5 * least.log10(), 1e-12, "in magnitudes");
    assert_eq!(back::<LightMap>(&map), map);
    // Mirror symmetry of a centred sensor.
    let even = telescope.light_map(SensorFrame::new(24.0, 16.0), 5).expect("light");
    for i in 0..even.rows {
        for j in 0..even.columns {
            let (one, other) = (i * even.columns + j, (i + 1) * even.columns - 1 - j);
            assert_close(even.absolute[one], even.absolute[other], 1e-10, "left and right of a sensor");
        }
    }
}

#[test]
fn a_sensor_mask_in_front_of_its_sensor_is_named() {
    let mask = SensorMask::new(18.0, 14.0, 12.0);
    let telescope = prepare(lopsided().diagonal(Diagonal::new(100.0)).sensor_mask(mask));
    let map = telescope.light_map(SensorFrame::new(17.6, 13.3), 9).expect("light");
    assert_eq!(map.limited_mostly_by(), Some(Part::SensorMask));
    assert_eq!(map.darkest_corner().limited_by, Some(Part::SensorMask));
    assert!(map.limited_by[4 * map.columns + map.columns / 2].is_none(), "nothing in the middle");
}

/// The largest share that any opening takes on a circle.
fn taken(telescope: &Prepared, radius_mm: f64) -> f64 {
    let turns = (0..72).map(|i| (f64::from(i) * 5.0).to_radians());
    let (along, across): (Vec<f64>, Vec<f64>) =
        turns.map(|t| (radius_mm * t.cos(), radius_mm * t.sin())).unzip();
    let light = telescope.illumination(&along, &across).expect("light");
    let bodies = [Part::DiagonalShadow, Part::Holder, Part::Spider, Part::MirrorClips, Part::Mask];
    let openings = light.stopped.iter().filter(|(part, _)| !bodies.contains(part));
    openings.flat_map(|(_, shares)| shares.iter().copied()).fold(0.0, f64::max)
}

#[test]
fn just_inside_the_lit_circle_nothing_is_taken_and_just_outside_something_is() {
    let mut masked = lopsided().diagonal(Diagonal::new(76.0));
    masked.primary.mask_diameter_mm = Some(300.0);
    for parts in [
        lopsided().diagonal(Diagonal::new(76.0)),
        lopsided().diagonal(Diagonal::new(84.0).offset_mm(1.0)).filter_ring(FilterRing::new(30.0, 60.0)),
        lopsided().diagonal(Diagonal::new(80.0)).front_opening(Opening::new(324.0, 1650.0)),
        masked,
    ] {
        let telescope = prepare(parts);
        let circle = telescope.fully_lit_circle();
        assert!(circle.limited_by.is_some() && circle.diameter_mm > 1.0, "{circle:?}");
        let radius = 0.5 * circle.diameter_mm;
        assert_close(taken(&telescope, radius - 1e-3), 0.0, 1e-12, "a micrometre inside");
        // The cut begins as the power 3/2 of the way: 0.3 mm outside it is there.
        assert!(taken(&telescope, radius + 0.3) > 1e-6, "0.3 mm outside of {circle:?}");
        assert_eq!(back::<LitCircle>(&circle), circle);
    }
}

#[test]
fn the_lit_circle_is_that_of_the_cone_but_for_coma() {
    // Closed form: the straight cone of the axis and of a lit circle, tests/data/diagonal.json holds it. Coma moves
    // the rim's rays
    // by about 3 h/(16 F^2), which is 0.8 % of h at f/4.9; measured: 1 %.
    for lit in [4.0, 12.0, 25.0] {
        let fit = smallest_diagonal(&primary(), 235.0, lit).expect("sound sizes");
        let flat = Diagonal::new(fit.minor_axis_mm).offset_mm(fit.offset_mm);
        let circle = prepare(lopsided().diagonal(flat)).fully_lit_circle();
        assert_close(circle.diameter_mm, lit, 0.02 * lit, "lit circle of a fitted flat");
        assert_eq!(circle.limited_by, Some(Part::Diagonal));
    }
    // The axis cone alone: a hair smaller and even the middle loses.
    let fit = smallest_diagonal(&primary(), 235.0, 0.0).expect("sound sizes");
    let small = lopsided().diagonal(Diagonal::new(fit.minor_axis_mm - 0.1).offset_mm(fit.offset_mm));
    let dark = LitCircle { diameter_mm: 0.0, limited_by: Some(Part::Diagonal) };
    assert_eq!(prepare(small).fully_lit_circle(), dark);
}

#[test]
fn the_lit_circle_of_a_drawtube_is_that_of_similar_triangles() {
    // Closed form: the rim's cone to an image at height h has the radius h + (R - h) u/(f - s) at a distance u before
    // the focus.
    let (bore, length, outer) = (34.0, 60.0, 20.0);
    let parts = lopsided().diagonal(Diagonal::new(110.0)).drawtube(Drawtube::new(bore, length, outer));
    let circle = prepare(parts).fully_lit_circle();
    let (rim, u) = (159.0, outer + length);
    let share = u / (1558.0 - rim * rim / (4.0 * 1558.0));
    let height = (0.5 * bore - rim * share) / (1.0 - share);
    assert_close(circle.diameter_mm, 2.0 * height, 0.02 * 2.0 * height, "lit circle of a drawtube");
    assert_eq!(circle.limited_by, Some(Part::DrawtubeInnerEnd));
    // Without openings nothing ends it.
    assert_eq!(common::paraboloid(318.0, 1558.0).fully_lit_circle().limited_by, None);
}

#[test]
fn beyond_the_drawtube_it_is_dark_and_a_dark_middle_is_an_error() {
    let telescope = prepare(everything());
    let far = telescope.illumination(&[60.0], &[0.0]).expect("a dark point");
    assert_eq!((far.absolute[0], far.relative[0]), (0.0, 0.0));
    assert!(far.magnitudes()[0].is_infinite());
    let ring = telescope.field_stop_light(120.0, 8).expect("a dark ring");
    assert!(ring.worst == 0.0 && ring.best == 0.0 && ring.mean == 0.0);
    let map = telescope.light_map(SensorFrame::new(4.0, 4.0).centre_mm(70.0, 0.0), 2).expect("a dark map");
    assert!(map.absolute.iter().all(|a| *a == 0.0));
    let mut hidden = everything().holder(catoptric::Holder::new(317.0));
    hidden.primary.mask_diameter_mm = Some(280.0);
    let dark = prepare(hidden);
    for error in [
        dark.illumination(&[1.0], &[0.0]).expect_err("dark"),
        dark.light_map(SensorFrame::new(4.0, 4.0), 3).expect_err("dark"),
        dark.field_stop_light(10.0, 8).expect_err("dark"),
        dark.illumination_at_radii(&[1.0]).map(|_: RadialIllumination| ()).expect_err("dark"),
    ] {
        assert!(matches!(error, Error::NoLight { .. }), "{error}");
    }
}

#[test]
fn sizes_places_and_counts_are_checked() {
    let telescope = common::paraboloid(318.0, 1558.0);
    let frame = SensorFrame::new(17.6, 13.3);
    for (bad, field) in [
        (SensorFrame::new(0.0, 13.3), "along_mm"),
        (SensorFrame::new(17.6, f64::NAN), "across_mm"),
        (SensorFrame::new(17.6, -3.0), "across_mm"),
        (SensorFrame::new(17.6, 1e5), "across_mm"),
        (frame.rotation_deg(1e4), "rotation_deg"),
        (frame.centre_mm(f64::INFINITY, 0.0), "centre_along_mm"),
        (frame.centre_mm(0.0, 2e3), "centre_across_mm"),
    ] {
        let error = telescope.light_map(bad, 5).expect_err("a bad frame");
        assert_eq!(error.problems()[0].field, field, "{error}");
    }
    for points in [0, 1, 402, 10_000_000, usize::MAX] {
        let error = telescope.light_map(frame, points).expect_err("a bad count");
        assert!(error.problems()[0].field == "points" && error.to_string().contains("MB"), "{error}");
    }
    for diameter in [-1.0, f64::NAN, 4000.0] {
        let error = telescope.field_stop_light(diameter, 36).expect_err("a bad diameter");
        assert_eq!(error.problems()[0].field, "diameter_mm", "{error}");
    }
    assert!(telescope.field_stop_light(30.0, 7).is_err() && telescope.field_stop_light(30.0, 3601).is_err());
}
