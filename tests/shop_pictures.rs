//! Predicted shop tests: readings through openings, knife-edge shadows, grating bands.

mod common;

use std::f64::consts::{PI, TAU};

use catoptric::{
    Error, FocalLengthMm, GratingBench, GratingPicture, KnifeBench, KnifeFrom, KnifePicture, MaskOpening,
    Primary, RadiusOfCurvatureMm, TestSource, TurnedEdge, Zone, expected_readings, grating_picture,
    knife_edge_picture,
};
use common::{Row, assert_close, assert_close_relative, rows};

const SOURCES: [TestSource; 2] = [TestSource::Moving, TestSource::Fixed];

fn opening(inner_radius_mm: f64, outer_radius_mm: f64) -> MaskOpening {
    MaskOpening { inner_radius_mm, outer_radius_mm }
}

/// The mirror of a row of the table, its edge and bump included.
fn mirror_of(row: &Row) -> Primary {
    let aperture = row.number("clear_aperture_mm");
    let mut mirror = Primary::new(aperture, RadiusOfCurvatureMm(row.number("radius_of_curvature_mm")))
        .conic(row.number("conic"));
    if let Some(width) = row.optional("edge_width_mm") {
        // The table's edge begins where it says; this one begins its width inside of the rim.
        assert_close(row.number("edge_begins_mm") + width, aperture / 2.0, 1e-12, "the edge ends at the rim");
        mirror = mirror.layer(TurnedEdge::new(width, row.number("edge_drop_nm")));
    }
    if let Some(radius) = row.optional("bump_radius_mm") {
        mirror =
            mirror.layer(Zone::new(radius, row.number("bump_half_width_mm"), row.number("bump_height_nm")));
    }
    mirror
}

#[test]
fn readings_of_zones_are_those_of_exact_normals() {
    // tests/data/knife_edge.json: exact normals and reflections by mpmath.
    for row in rows("knife_edge", "kind", "zone") {
        let at = [opening(row.number("zone_radius_mm"), row.number("zone_radius_mm"))];
        for (source, key) in SOURCES.into_iter().zip(["moving_source_reading_mm", "fixed_source_reading_mm"])
        {
            let found = expected_readings(&mirror_of(&row), &at, source).expect("readings")[0];
            assert_close(found, row.number(key), 1e-9, &format!("reading of a zone: {key}"));
        }
    }
}

#[test]
fn readings_through_openings_are_area_means_with_edges_and_bumps() {
    for row in rows("knife_edge", "kind", "opening") {
        let at = [opening(row.number("inner_radius_mm"), row.number("outer_radius_mm"))];
        for (source, key) in SOURCES.into_iter().zip(["moving_source_mean_mm", "fixed_source_mean_mm"]) {
            let found = expected_readings(&mirror_of(&row), &at, source).expect("readings")[0];
            assert_close(found, row.number(key), 1e-9, &format!("mean reading: {key} {}", row.text("name")));
        }
    }
}

#[test]
fn readings_of_a_paraboloid_are_its_closed_forms() {
    // The closed forms of `MaskOpening::ideal_reading_mm`.
    let mirror = Primary::new(318.0, FocalLengthMm(1558.0));
    let openings = [opening(0.0, 60.0), opening(60.0, 112.0), opening(112.0, 159.0), opening(140.0, 140.0)];
    for source in SOURCES {
        let found = expected_readings(&mirror, &openings, source).expect("readings");
        for (reading, at) in found.iter().zip(&openings) {
            let ideal = at.ideal_reading_mm(source, RadiusOfCurvatureMm(3116.0));
            assert_close(*reading, ideal, 1e-10, &format!("paraboloid: {source:?}"));
        }
    }
}

#[test]
fn an_edge_of_a_fractional_power_is_averaged_right() {
    // Against a midpoint sum of a million rings over the definition of the edge.
    let (width, drop_mm, power, rim, radius) = (9.0, 330e-6, 1.5, 159.0, 3116.0);
    let mirror = Primary::new(2.0 * rim, RadiusOfCurvatureMm(radius))
        .layer(TurnedEdge::new(width, 330.0).power(power));
    let (inner, outer) = (145.0, 158.0);
    let rings = 1_000_000;
    let (mut sum, mut area) = (0.0, 0.0);
    for i in 0..rings {
        let r: f64 = inner + (outer - inner) * (f64::from(i) + 0.5) / f64::from(rings);
        let depth = ((r - (rim - width)) / width).max(0.0);
        let z = r * r / (2.0 * radius) - drop_mm * depth.powf(power);
        let slope = r / radius - drop_mm * power * depth.powf(power - 1.0) / width;
        sum += r * (z + r / slope - radius);
        area += r;
    }
    let found =
        expected_readings(&mirror, &[opening(inner, outer)], TestSource::Moving).expect("readings")[0];
    assert_close(found, sum / area, 1e-8, "a fractional edge's reading");
}

/// The pixel nearest to a point of the mirror.
fn value_at(image: &ndarray::Array2<f64>, axis_mm: &[f64], x_mm: f64, y_mm: f64) -> f64 {
    let step = axis_mm[1] - axis_mm[0];
    let index = |v: f64| ((v - axis_mm[0]) / step).round() as usize;
    image[[index(y_mm), index(x_mm)]]
}

fn knife(primary: &Primary, bench: &KnifeBench) -> KnifePicture {
    knife_edge_picture(primary, bench).expect("a picture")
}

fn grating(primary: &Primary, bench: &GratingBench) -> GratingPicture {
    grating_picture(primary, bench).expect("a picture")
}

fn sphere() -> Primary {
    Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0)
}

fn paraboloid() -> Primary {
    Primary::new(318.0, FocalLengthMm(1558.0))
}

#[test]
fn a_perfect_mirror_in_focus_shows_the_logarithm() {
    // I = 1/4 + (ln((c+x)/(c-x))/(2 pi))^2 on a row of half length c, the slit narrow: the Hilbert transform of a
    // constant over a stretch (Rayleigh 1917, Phil. Mag. 33, 161, from memory; derived anew). A slit of 0.1 um at
    // lambda R/D = 6.6 um changes it by (pi 0.05/6.6)^2/3 of its value at most.
    for source in SOURCES {
        let picture = knife(&sphere(), &KnifeBench::new(source, 0.0, 0.1).pixels(101));
        for (i, y) in picture.axis_mm.iter().enumerate() {
            for (j, x) in picture.axis_mm.iter().enumerate() {
                let half = (100.0_f64.powi(2) - y * y).max(0.0).sqrt();
                if half - x.abs() > 3.0 {
                    let exact = 0.25 + (((half + x) / (half - x)).ln() / TAU).powi(2);
                    let slit = (PI * 0.05 / 6.6_f64).powi(2) / 3.0;
                    assert_close(picture.image[[i, j]], exact, slit, "a perfect mirror in focus");
                }
            }
        }
    }
}

#[test]
fn inside_of_focus_the_shadow_moves_with_the_knife() {
    // Common practice (Texereau, How to Make a Telescope, from memory): inside of focus the shadow enters from the
    // knife's side, outside from the other one.
    for source in SOURCES {
        for (stage_mm, from) in [
            (-4.0, KnifeFrom::Left),
            (4.0, KnifeFrom::Left),
            (-4.0, KnifeFrom::Right),
            (4.0, KnifeFrom::Right),
        ] {
            let picture =
                knife(&sphere(), &KnifeBench::new(source, stage_mm, 20.0).knife_from(from).pixels(81));
            let with = (stage_mm < 0.0) == (from == KnifeFrom::Left);
            let dark = if with { -1.0 } else { 1.0 };
            for image in [&picture.image, &picture.ray_image] {
                let of = |side: f64| value_at(image, &picture.axis_mm, side * 60.0, 10.0);
                assert!(of(dark) < 0.1 && of(-dark) > 0.8, "{source:?} {stage_mm} {from:?}: {}", of(dark));
            }
        }
    }
}

#[test]
fn the_shadow_goes_on_the_way_the_knife_goes() {
    // Inside of focus, knife from the left: the further to the right its edge, the further right the shadow's border.
    let border = |edge_um: f64| {
        let picture =
            knife(&sphere(), &KnifeBench::new(TestSource::Moving, -4.0, 10.0).edge_um(edge_um).pixels(101));
        let middle = picture.ray_image.row(50);
        let first_bright = middle.iter().position(|v| *v > 0.5).expect("some light");
        picture.axis_mm[first_bright]
    };
    assert!(border(-150.0) < border(0.0) && border(0.0) < border(150.0));
    // Rays: the edge stands where x (2 s/R) does, s the distance from focus for a sphere and a moving source.
    assert_close(border(150.0), 150e-3 * 2400.0 / (2.0 * 4.0), 3.0, "the shadow's border, mm");
}

#[test]
fn a_hill_is_lit_from_the_side_opposite_to_the_knife() {
    // Common practice (Texereau, How to Make a Telescope, from memory); by rays: the right flank of a central hill
    // sends its light further to the right, past a knife from the left.
    let hill = sphere().layer(Zone::new(0.0, 30.0, 80.0));
    let picture = knife(&hill, &KnifeBench::new(TestSource::Moving, 0.0, 10.0).pixels(101));
    for image in [&picture.image, &picture.ray_image] {
        let right = value_at(image, &picture.axis_mm, 25.0, 0.0);
        let left = value_at(image, &picture.axis_mm, -25.0, 0.0);
        assert!(right > left + 0.3, "right {right}, left {left}");
    }
}

#[test]
fn a_turned_down_edge_sends_its_light_beyond_the_axis() {
    // A flatter zone crosses further out: its light is outside of its own focus when the knife stands at the rest's,
    // that is, still on the zone's side. A knife from the left so darkens the left rim and not the right one.
    let turned = sphere().layer(TurnedEdge::new(12.0, 400.0));
    let picture = knife(&turned, &KnifeBench::new(TestSource::Moving, 0.0, 20.0).pixels(201));
    for image in [&picture.image, &picture.ray_image] {
        let right = value_at(image, &picture.axis_mm, 95.0, 0.0);
        let left = value_at(image, &picture.axis_mm, -95.0, 0.0);
        assert!(right > 0.7 && left < 0.3, "right {right}, left {left}");
    }
}

#[test]
fn the_knife_from_the_other_side_gives_the_picture_in_a_looking_glass() {
    let mirror = paraboloid().layer(TurnedEdge::new(9.0, 150.0)).layer(Zone::new(70.0, 13.0, 40.0));
    let bench = KnifeBench::new(TestSource::Fixed, 3.0, 15.0).edge_um(12.0).pixels(61);
    let left = knife(&mirror, &bench);
    let right = knife(&mirror, &bench.clone().edge_um(-12.0).knife_from(KnifeFrom::Right));
    for i in 0..61 {
        for j in 0..61 {
            assert_close(left.image[[i, j]], right.image[[i, 60 - j]], 2e-5, "looking glass: waves");
            assert_close(left.image[[i, j]], left.image[[60 - i, j]], 0.0, "above is as below");
            assert_close(left.ray_image[[i, j]], right.ray_image[[i, 60 - j]], 1e-9, "looking glass: rays");
        }
    }
}

#[test]
fn far_from_the_light_the_knife_takes_nothing_or_all() {
    for source in SOURCES {
        let mean = |edge_um: f64| {
            let picture =
                knife(&paraboloid(), &KnifeBench::new(source, 2.0, 20.0).edge_um(edge_um).pixels(61));
            let lit = |v: &&(f64, f64)| v.0.hypot(v.1) < 140.0;
            let places: Vec<(f64, f64)> =
                picture.axis_mm.iter().flat_map(|y| picture.axis_mm.iter().map(|x| (*x, *y))).collect();
            let values: Vec<f64> = places
                .iter()
                .filter(lit)
                .map(|(x, y)| value_at(&picture.image, &picture.axis_mm, *x, *y))
                .collect();
            values.iter().sum::<f64>() / values.len() as f64
        };
        // What is left is diffraction from the rim: (lambda R/D)/(2 pi^2 distance) of the light, about 3e-4 at 1 mm.
        assert_close(mean(-2000.0), 1.0, 2e-3, "the whole light passes");
        assert_close(mean(2000.0), 0.0, 2e-3, "none passes");
    }
}

#[test]
fn no_light_is_made_or_lost() {
    // What passes one knife is stopped by the other: along each row both together carry the light of the row, but for
    // what diffraction throws beyond the picture, the less the further from focus.
    let mirror = paraboloid().layer(TurnedEdge::new(9.0, 150.0));
    let mut before = 0.0;
    for stage_mm in [2.0, 8.0, 30.0] {
        let bench = KnifeBench::new(TestSource::Moving, stage_mm, 20.0).pixels(401);
        let (left, right) =
            (knife(&mirror, &bench), knife(&mirror, &bench.clone().knife_from(KnifeFrom::Right)));
        let pixel = left.axis_mm[1] - left.axis_mm[0];
        let shares = [80, 140, 200, 260].map(|i| {
            let half = (159.0_f64.powi(2) - left.axis_mm[i].powi(2)).sqrt();
            assert!(left.image.row(i).iter().all(|v| *v >= 0.0));
            (left.image.row(i).sum() + right.image.row(i).sum()) * pixel / (2.0 * half)
        });
        println!("{stage_mm}: {shares:?}");
        let least = shares.into_iter().fold(f64::INFINITY, f64::min);
        assert!(least > before && shares.iter().all(|s| *s < 1.005), "{stage_mm}: {shares:?}");
        before = least;
    }
    assert!(before > 0.99, "{before}");
}

#[test]
fn a_wide_slit_shows_what_rays_show() {
    // Diffraction blurs the knife's plane by lambda R/D = 5.4 um: against a slit of 250 um it changes the share that passes
    // by some hundredths near rims and by little elsewhere.
    let mirror = paraboloid().layer(Zone::new(90.0, 25.0, 60.0));
    for source in SOURCES {
        let picture = knife(&mirror, &KnifeBench::new(source, 2.0, 250.0).edge_um(20.0).pixels(101));
        let mut differences = Vec::new();
        for (i, y) in picture.axis_mm.iter().enumerate() {
            for (j, x) in picture.axis_mm.iter().enumerate() {
                if x.hypot(*y) < 145.0 {
                    differences.push((picture.image[[i, j]] - picture.ray_image[[i, j]]).abs());
                }
            }
        }
        let mean = differences.iter().sum::<f64>() / differences.len() as f64;
        println!("{source:?}: mean {mean:.4}, most {:.4}", differences.iter().copied().fold(0.0, f64::max));
        assert!(mean < 0.01);
    }
}

#[test]
fn waves_come_nearer_to_rays_as_the_wavelength_shrinks() {
    let mean = |wavelength_nm: f64| {
        let bench =
            KnifeBench::new(TestSource::Moving, 2.0, 100.0).wavelengths_nm(vec![wavelength_nm]).pixels(81);
        let picture = knife(&paraboloid(), &bench);
        let differences = picture.image.iter().zip(&picture.ray_image).map(|(a, b)| (a - b).abs());
        differences.sum::<f64>() / picture.image.len() as f64
    };
    let means = [2000.0, 1000.0, 500.0, 250.0].map(mean);
    println!("{means:?}");
    for pair in means.windows(2) {
        assert!(pair[1] < 0.75 * pair[0], "{means:?}");
    }
}

#[test]
fn a_mask_leaves_its_openings() {
    let openings = vec![opening(0.0, 40.0), opening(80.0, 120.0)];
    let bench = KnifeBench::new(TestSource::Moving, 1.0, 20.0).openings(openings).pixels(81);
    let picture = knife(&paraboloid(), &bench);
    for (i, y) in picture.axis_mm.iter().enumerate() {
        for (j, x) in picture.axis_mm.iter().enumerate() {
            let r = x.hypot(*y);
            let lit = r < 40.0 || (80.0..120.0).contains(&r);
            assert!(lit || picture.ray_image[[i, j]] == 0.0);
            // Outside of a mask's openings only diffraction shows, and it falls off fast.
            if (50.0..70.0).contains(&r) {
                assert!(picture.image[[i, j]] < 0.12, "{x} {y}: {}", picture.image[[i, j]]);
            }
        }
    }
}

#[test]
fn a_zone_in_its_own_focus_is_grey_on_both_sides() {
    // What a knife-edge reading is: at the reading of an opening both of its sides look alike.
    let mirror = paraboloid().conic(-0.9).layer(Zone::new(100.0, 20.0, 30.0));
    let ring = [opening(96.0, 104.0)];
    for source in SOURCES {
        let reading = expected_readings(&mirror, &ring, source).expect("readings")[0];
        let sides = |stage_mm: f64| {
            let bench = KnifeBench::new(source, stage_mm, 30.0).openings(ring.to_vec()).pixels(201);
            let picture = knife(&mirror, &bench);
            let of = |side: f64| {
                let at = |x: f64| value_at(&picture.image, &picture.axis_mm, side * x, 0.0);
                (97..=103).map(|x| at(f64::from(x))).sum::<f64>() / 7.0
            };
            of(1.0) - of(-1.0)
        };
        assert_close(sides(reading), 0.0, 0.02, "alike at the reading");
        // Inside of the zone's focus a knife from the left darkens the left.
        assert!(sides(reading - 0.5) > 0.1 && sides(reading + 0.5) < -0.1, "{source:?}");
    }
}

/// Where the ray of a zone crosses the plane at `stage_mm`, um: by angles with the axis, the normal's from R - K z.
fn crossing_by_angles_um(radius: f64, conic: f64, source: TestSource, stage_mm: f64, r: f64) -> f64 {
    let root = (1.0 - (1.0 + conic) * (r / radius).powi(2)).sqrt();
    let z = r * r / radius / (1.0 + root);
    let slit = if source == TestSource::Moving { radius + stage_mm } else { radius };
    let normal = r.atan2(radius - conic * z - z);
    let outward = r.atan2(slit - z);
    let homeward = 2.0 * normal - outward;
    (r - (radius + stage_mm - z) * homeward.tan()) * 1e3
}

#[test]
fn transversal_aberrations_are_exact() {
    // The normal of a conic meets the axis at R - K z (from its equation); the law of reflection in angles.
    for (conic, stage_mm) in [(-1.0, -10.0), (-1.0, 12.5), (0.0, 5.0), (-0.8, -3.0), (-1.3, 0.7), (0.2, 2.0)]
    {
        for source in SOURCES {
            let bench = GratingBench::new(source, stage_mm, 4.0).slit_width_um(20.0).pixels(11);
            let mirror = paraboloid().conic(conic);
            let picture = grating(&mirror, &bench);
            let behind = knife(&mirror, &KnifeBench::new(source, stage_mm, 20.0).pixels(11));
            for (i, r) in picture.zone_radius_mm.iter().enumerate().skip(1) {
                let truth = crossing_by_angles_um(3116.0, conic, source, stage_mm, *r);
                // 1e-6 of the largest crossing here, or 1e-6 um.
                let share = 1e-6 * truth.abs().max(1.0);
                assert_close(picture.zone_crossing_um[i], truth, share, "transversal aberration");
                assert_close(behind.zone_crossing_um[i], truth, share, "transversal aberration, knife");
            }
        }
    }
}

#[test]
fn ray_bands_lie_where_the_transversals_meet_the_gaps() {
    let (lines, stage_mm, phase) = (4.0, -12.0, 0.15);
    for conic in [-1.0, 0.0] {
        // A slit of 0.1 um is narrow: away from the borders of the bars a point is bright or dark.
        let bench = GratingBench::new(TestSource::Moving, stage_mm, lines)
            .slit_width_um(0.1)
            .phase(phase)
            .pixels(121);
        let picture = grating(&paraboloid().conic(conic), &bench);
        let mut seen = 0;
        for (i, y) in picture.axis_mm.iter().enumerate() {
            for (j, x) in picture.axis_mm.iter().enumerate() {
                let r = x.hypot(*y);
                if !(1.0..=158.0).contains(&r) {
                    continue;
                }
                let crossing = crossing_by_angles_um(3116.0, conic, TestSource::Moving, stage_mm, r) * x / r;
                let place = (crossing * 1e-3 * lines - phase).rem_euclid(1.0);
                let to_border = (place - 0.25).abs().min((place - 0.75).abs());
                if to_border > 1e-3 {
                    seen += 1;
                    let open = !(0.25..0.75).contains(&place);
                    // A share of a slit of 0.1 um, from places in a grating of 250 um: ten digits are left.
                    assert_close(picture.ray_image[[i, j]], f64::from(open), 1e-10, "a band");
                }
            }
        }
        assert!(seen > 9000, "{seen}");
    }
}

#[test]
fn two_sheared_copies_interfere_as_two_beams() {
    // So fine a grating that orders 0 and +1 alone overlap near the left rim. For a sphere and a slit on the axis at the
    // distance e from its centre the path is 2R + 2e + x^2 e/R^2 (+ next order in e/R), so that the two beams give
    // c0^2 + c1^2 + 2 c0 c1 g cos(2 pi (W(x) - W(x + shear))/lambda + 2 pi phase): two-beam interference.
    let (radius, e, lines, wavelength_mm, phase, width_um) = (2400.0, 0.4, 50.0, 550e-6, 0.1, 5.0);
    let bench =
        GratingBench::new(TestSource::Moving, e, lines).slit_width_um(width_um).phase(phase).pixels(201);
    let picture = grating(&sphere(), &bench);
    let shear = wavelength_mm * (radius + e) * lines;
    assert!(shear > 65.0 && shear < 67.0);
    let path = |x: f64| {
        let z = radius - (radius * radius - x * x).sqrt();
        2.0 * (x * x + (radius + e - z).powi(2)).sqrt()
    };
    let contrast = (PI * width_um * 1e-3 * lines).sin() / (PI * width_um * 1e-3 * lines);
    let mut seen = 0;
    for (j, x) in picture.axis_mm.iter().enumerate() {
        // Here orders -1 and +3 lie in the dark.
        if *x > 100.5 - 3.0 * shear && *x < -100.5 + shear {
            seen += 1;
            let turn = TAU * ((path(x + shear) - path(*x)) / wavelength_mm - phase);
            let exact = 0.25 + 1.0 / (PI * PI) + 2.0 * 0.5 / PI * contrast * turn.cos();
            assert_close(picture.image[[100, j]], exact, 1e-6, "two beams");
        }
    }
    assert!(seen > 40);
}

#[test]
fn coarse_gratings_show_what_rays_show() {
    let mean = |lines: f64, stage_mm: f64| {
        let picture =
            grating(&paraboloid(), &GratingBench::new(TestSource::Moving, stage_mm, lines).pixels(81));
        let differences = picture.image.iter().zip(&picture.ray_image).map(|(a, b)| (a - b).abs());
        differences.sum::<f64>() / picture.image.len() as f64
    };
    // The light of an order is sheared by lambda R lines: with the stage the bands widen, with the lines they shear.
    for stage_mm in [-20.0, 24.0] {
        let (coarse, fine) = (mean(2.0, stage_mm), mean(8.0, stage_mm));
        println!("{stage_mm}: {coarse:.4} {fine:.4}");
        assert!(coarse < 0.4 * fine && coarse < 0.05, "{coarse} {fine}");
    }
}

#[test]
fn bands_of_a_sphere_are_straight_and_those_of_a_paraboloid_bend() {
    // Common practice (Ronchi bands at the centre of curvature): inside of focus the bands of a paraboloid bulge outward,
    // as its outer zones focus further out, where the beam is wider still.
    let crossing = |mirror: &Primary, stage_mm: f64| {
        let picture = grating(mirror, &GratingBench::new(TestSource::Moving, stage_mm, 4.0).pixels(11));
        let last = picture.zone_crossing_um.len() - 1;
        let ratio = picture.zone_crossing_um[last] / picture.zone_crossing_um[last / 2];
        ratio / 2.0
    };
    let ball = paraboloid().conic(0.0);
    assert_close_relative(crossing(&ball, -10.0), 1.0, 0.01, "a sphere's transversal grows as the radius");
    assert!(crossing(&paraboloid(), -10.0) > 1.1);
    assert!(crossing(&paraboloid(), 14.0) < 0.95);
}

#[test]
fn results_say_how_good_they_are() {
    let mirror = paraboloid().layer(TurnedEdge::new(3.0, 400.0)).layer(Zone::new(95.0, 10.0, 90.0));
    for stage_mm in [-15.0, 0.0, 30.0] {
        let picture = knife(&mirror, &KnifeBench::new(TestSource::Moving, stage_mm, 20.0).pixels(41));
        println!("knife at {stage_mm}: {:e}", picture.error_estimate);
        assert!(picture.error_estimate > 0.0 && picture.error_estimate < 1e-5);
        for source in SOURCES {
            let bands =
                grating(&mirror, &GratingBench::new(source, stage_mm, 5.0).slit_width_um(60.0).pixels(41));
            println!("grating at {stage_mm}: {:e}", bands.error_estimate);
            assert!(bands.error_estimate > 0.0 && bands.error_estimate < 1e-3);
        }
    }
}

#[test]
fn bad_benches_are_refused_by_name() {
    let knife_error = |bench: KnifeBench| match knife_edge_picture(&paraboloid(), &bench) {
        Err(Error::Input(problems)) => problems[0].clone(),
        other => panic!("not refused: {:?}", other.map(|p| p.error_estimate)),
    };
    let good = KnifeBench::new(TestSource::Moving, 2.0, 20.0).pixels(21);
    for width in [0.0, -5.0, f64::NAN, 0.02, 20_000.0] {
        let problem = knife_error(KnifeBench { slit_width_um: width, ..good.clone() });
        assert_eq!(problem.field, "slit_width_um");
    }
    assert!(knife_error(KnifeBench { slit_width_um: 0.02, ..good.clone() }).cause.contains("millimetres"));
    let problem = knife_error(KnifeBench { stage_mm: 3116.0, ..good.clone() });
    assert!(problem.field == "stage_mm" && problem.cause.contains("from the mirror"));
    assert_eq!(knife_error(KnifeBench { stage_mm: f64::NAN, ..good.clone() }).field, "stage_mm");
    let problem = knife_error(good.clone().wavelengths_nm(vec![550.0, 0.55]));
    assert!(problem.field == "wavelength_nm" && problem.cause.contains("micrometres"));
    assert_eq!(knife_error(good.clone().wavelengths_nm(vec![])).field, "wavelength_nm");
    assert_eq!(knife_error(good.clone().pixels(1)).field, "pixels");
    assert_eq!(knife_error(good.clone().edge_um(f64::INFINITY)).field, "edge_um");
    for openings in
        [vec![opening(50.0, 40.0)], vec![opening(0.0, 200.0)], vec![opening(0.0, 50.0), opening(40.0, 60.0)]]
    {
        assert!(knife_error(good.clone().openings(openings)).field.starts_with("openings["));
    }
    // Far from focus with a wide slit one row would not fit the memory allowed.
    let heavy = KnifeBench::new(TestSource::Moving, 700.0, 2000.0);
    let problem = knife_error(heavy);
    assert!(problem.field == "stage_mm" && problem.allowed.contains("32 MiB"));

    let grating_error = |bench: GratingBench| match grating_picture(&paraboloid(), &bench) {
        Err(Error::Input(problems)) => problems[0].clone(),
        other => panic!("not refused: {:?}", other.map(|p| p.error_estimate)),
    };
    let good = GratingBench::new(TestSource::Moving, -10.0, 4.0).pixels(21);
    let problem = grating_error(GratingBench { lines_per_mm: 100.0, ..good.clone() });
    assert!(problem.field == "lines_per_mm" && problem.cause.contains("inch"));
    assert_eq!(grating_error(GratingBench { lines_per_mm: 0.15, ..good.clone() }).field, "lines_per_mm");
    assert_eq!(grating_error(good.clone().phase(2.0)).field, "phase");
    assert_eq!(grating_error(good.clone().slit_width_um(0.0)).field, "slit_width_um");
    assert_eq!(grating_error(GratingBench { source: TestSource::Fixed, ..good }).field, "slit_width_um");

    let steep = paraboloid().layer(Zone::new(100.0, 0.5, 90_000.0));
    let error = expected_readings(&steep, &[opening(90.0, 110.0)], TestSource::Moving).unwrap_err();
    assert_eq!(error.problems()[0].field, "primary.figure");
    let error = expected_readings(&paraboloid(), &[opening(90.0, 160.0)], TestSource::Moving).unwrap_err();
    assert_eq!(error.problems()[0].field, "openings[0].outer_radius_mm");
}
