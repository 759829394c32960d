//! The diagonal: its size and offset, and the light that it and the other parts let through.

mod common;

use catoptric::{
    Diagonal, Drawtube, Field, FocalLengthMm, FocalPlane, Light, Opening, Part, Prepared, Primary,
    RADIANS_PER_ARCMIN, Train, inches, smallest_diagonal,
};
use common::{Row, assert_close, assert_close_relative, everything, prepare, rows};

/// The train of a row of kind `light`.
fn telescope(row: &Row) -> Prepared {
    let primary = Primary::new(row.number("clear_aperture_mm"), FocalLengthMm(row.number("focal_length_mm")));
    let flat = Diagonal::new(row.number("minor_axis_mm"));
    let flat = if row.flag("offset_is_default") { flat } else { flat.offset_mm(row.number("offset_mm")) };
    let mut parts =
        Train::builder(primary).diagonal(flat).focal_plane(FocalPlane::new(row.number("axis_to_focus_mm")));
    if let Some(diameter) = row.optional("front_opening_diameter_mm") {
        parts = parts.front_opening(Opening::new(diameter, row.number("front_opening_above_vertex_mm")));
    }
    if let Some(bore) = row.optional("drawtube_bore_mm") {
        let (length, outer) =
            (row.number("drawtube_length_mm"), row.number("drawtube_outer_end_to_focus_mm"));
        parts = parts.drawtube(Drawtube::new(bore, length, outer));
    }
    prepare(parts)
}

fn field(row: &Row) -> Field {
    Field::arcmin(row.number("field_a_arcmin"), row.number("field_b_arcmin"))
}

fn share(light: &Light, parts: &[Part]) -> f64 {
    light.stopped.iter().filter(|s| parts.contains(&s.part)).map(|s| s.fraction).sum()
}

fn label(claim: &str, row: &Row) -> String {
    format!("{claim}: {} at ({}, {}) mm", row.text("name"), row.number("along_mm"), row.number("across_mm"))
}

/// The star whose image falls on a point of the focal plane.
fn star_of_image(focal_mm: f64, along_mm: f64, across_mm: f64) -> Field {
    let angle = |image_mm: f64| (-image_mm / focal_mm).atan() / RADIANS_PER_ARCMIN;
    Field::arcmin(angle(along_mm), angle(across_mm))
}

#[test]
fn the_published_worked_example() {
    // Dakin 1962, in Texereau, How to Make a Telescope, 2nd ed. 1984, appendix G, and Suiter, Star Testing Astronomical
    // Telescopes, appendix C: D 8, f 48, L 6.3, lit field 0.43 inches; minor axis 1.43423950, offset 0.05664622 inches.
    let mirror = Primary::new(inches(8.0), FocalLengthMm(inches(48.0)));
    let fit = smallest_diagonal(&mirror, inches(6.3), inches(0.43)).expect("sound sizes");
    assert_close(fit.minor_axis_mm / 25.4, 1.434_239_50, 1e-7, "Dakin 1962: minor axis, inches");
    assert_close(fit.offset_mm / 25.4, 0.056_646_22, 1e-7, "Dakin 1962: offset, inches");
}

// Truth of the next three tests: own table, tests/data/diagonal.json (lines of the cone in mpmath; row integrals in scipy).

#[test]
fn sizes_and_offsets_agree_with_lines_of_the_cone() {
    for row in rows("diagonal", "kind", "size").iter().filter(|r| r.number("fully_lit_diameter_mm") >= 0.0) {
        let mirror =
            Primary::new(row.number("clear_aperture_mm"), FocalLengthMm(row.number("focal_length_mm")));
        let (to_focus, lit) = (row.number("axis_to_focus_mm"), row.number("fully_lit_diameter_mm"));
        let fit = smallest_diagonal(&mirror, to_focus, lit).expect("sound sizes");
        let (minor, offset) = (row.number("minor_axis_mm"), row.number("offset_mm"));
        assert_close_relative(fit.minor_axis_mm, minor, 1e-12, "cone: minor axis");
        assert_close_relative(fit.offset_mm, offset, 1e-12, "cone: offset");
    }
}

#[test]
fn the_offset_of_a_size_is_that_of_the_lit_circle_it_serves() {
    for row in rows("diagonal", "kind", "size") {
        let mirror =
            Primary::new(row.number("clear_aperture_mm"), FocalLengthMm(row.number("focal_length_mm")));
        let parts = Train::builder(mirror)
            .diagonal(Diagonal::new(row.number("minor_axis_mm")))
            .focal_plane(FocalPlane::new(row.number("axis_to_focus_mm")));
        let telescope = prepare(parts);
        let offset = telescope.diagonal_offset_mm().expect("a diagonal");
        assert_close_relative(offset, row.number("offset_mm"), 1e-9, "offset from the size alone");
        let lit = telescope.fully_lit_diameter_mm().expect("a diagonal");
        // A lit circle is the small difference of large ones: to a share of the minor axis.
        let tolerance = 1e-9 * row.number("minor_axis_mm");
        assert_close(lit, row.number("fully_lit_diameter_mm"), tolerance, "lit circle from the size alone");
    }
}

#[test]
fn the_light_that_arrives_agrees_with_the_table() {
    for row in &rows("diagonal", "kind", "light") {
        let telescope = telescope(row);
        let offset = telescope.diagonal_offset_mm().expect("a diagonal");
        assert_close(
            offset,
            row.number("offset_mm"),
            1e-9 * row.number("minor_axis_mm"),
            &label("offset", row),
        );
        let light = telescope.light(field(row));
        // What is promised, and the table's own stated accuracy.
        let tolerance = 1e-9 + row.number("rows_minus_columns");
        assert_close(light.lit_fraction, row.number("lit_fraction"), tolerance, &label("lit fraction", row));
        for (key, parts) in [
            ("stopped_by_front_opening", &[Part::FrontOpening][..]),
            ("stopped_by_diagonal_shadow", &[Part::DiagonalShadow]),
            ("stopped_by_diagonal", &[Part::Diagonal]),
            ("stopped_by_drawtube", &[Part::DrawtubeInnerEnd, Part::DrawtubeOuterEnd]),
        ] {
            assert_close(share(&light, parts), row.number(key), tolerance, &label(key, row));
        }
    }
}

#[test]
fn illumination_is_the_light_of_the_star_that_lands_there() {
    for row in &rows("diagonal", "kind", "light") {
        let telescope = telescope(row);
        let points = [[0.0, 0.0], [row.number("along_mm"), row.number("across_mm")]];
        let lit = telescope.illumination(&points.map(|p| p[0]), &points.map(|p| p[1])).expect("light");
        let tolerance = 1e-9 + row.number("rows_minus_columns");
        assert_close(lit.absolute[1], row.number("lit_fraction"), tolerance, &label("illumination", row));
        assert_close(lit.relative[1], lit.absolute[1] / lit.absolute[0], 1e-14, &label("relative", row));
        assert_close(lit.relative[0], 1.0, 0.0, &label("relative in the middle", row));
    }
}

/// Trains with something that stops light nearly everywhere in the field, and field points over it.
fn busy_trains() -> Vec<(Prepared, Vec<Field>)> {
    let points = [(0.0, 0.0), (9.0, 0.0), (-9.0, 0.0), (4.0, 7.0), (-15.0, 11.0), (24.0, -3.0)];
    let mut masked = everything();
    masked.primary.mask_diameter_mm = Some(290.0);
    let mut tight = everything();
    tight.diagonal = Some(Diagonal::new(52.0).offset_mm(0.0));
    tight.front_opening = Some(Opening::new(322.0, 1700.0));
    [everything(), masked, tight]
        .into_iter()
        .map(|parts| {
            let focal = parts.primary.focal_length_mm;
            (prepare(parts), points.iter().map(|&(a, b)| star_of_image(focal, a, b)).collect())
        })
        .collect()
}

#[test]
fn the_outline_and_the_rays_agree() {
    for (telescope, fields) in busy_trains() {
        // A mask is a circle about the middle, as the rings of rays are: the next test.
        for field in fields.into_iter().filter(|_| telescope.train().primary().mask_diameter_mm.is_none()) {
            let (exact, sampled) = (telescope.light(field), telescope.light_by_rays(field));
            let tolerance = sampled.error_estimate;
            assert_close(exact.lit_fraction, sampled.lit_fraction, tolerance, "outline against rays: lit");
            for (a, b) in exact.stopped.iter().zip(&sampled.stopped) {
                assert_eq!(a.part, b.part);
                assert_close(a.fraction, b.fraction, tolerance, &format!("outline against rays: {}", a.part));
            }
        }
    }
}

#[test]
fn the_rays_state_their_error_for_a_mask() {
    // Closed form: the mask's area over the clear aperture's.
    for step in 0..33 {
        let mask_mm = 150.0 + 5.0 * f64::from(step);
        let primary = Primary::new(318.0, FocalLengthMm(1558.0)).mask_diameter_mm(mask_mm);
        let telescope = common::bare(primary);
        let (truth, sampled) = ((mask_mm / 318.0).powi(2), telescope.light_by_rays(Field::AXIS));
        let exact = telescope.light(Field::AXIS);
        assert_close(exact.lit_fraction, truth, 1e-12, "a mask by its outline: lit");
        let what = format!("a mask of {mask_mm} mm by rays: lit");
        assert_close(sampled.lit_fraction, truth, sampled.error_estimate, &what);
    }
}

#[test]
fn no_light_is_lost_or_counted_twice() {
    for (telescope, fields) in busy_trains() {
        for field in fields {
            for light in [telescope.light(field), telescope.light_by_rays(field)] {
                let whole = light.lit_fraction + light.stopped.iter().map(|s| s.fraction).sum::<f64>();
                assert_close(whole, 1.0, 1e-12, "lit and stopped together");
            }
        }
    }
}

#[test]
fn left_and_right_are_alike() {
    for (telescope, fields) in busy_trains() {
        for field in fields {
            let mirrored = Field::arcmin(field.x_arcmin, -field.y_arcmin);
            let (one, other) = (telescope.light(field), telescope.light(mirrored));
            assert_close(one.lit_fraction, other.lit_fraction, 1e-10, "mirror symmetry: lit");
            let spot = |f| telescope.spot_at(f, 0.0, 10).expect("a spot");
            let (one, other) = (spot(field), spot(mirrored));
            // Exact to rounding; where rays are sampled, to the sampling of both.
            let sampled = one.error_um > 1e-5 * one.rms_radius_um;
            let stated = if sampled { one.error_um + other.error_um } else { 1e-9 * one.rms_radius_um };
            assert_close(one.rms_radius_um, other.rms_radius_um, stated, "mirror symmetry: RMS spot");
            let across_um = one.centroid_um[1] + other.centroid_um[1];
            assert_close(across_um, 0.0, stated, "mirror symmetry: centroid across");
        }
    }
}

#[test]
fn a_flat_without_offset_dims_toward_the_primary() {
    let lit = |offset: Option<f64>, along: f64| {
        let mut flat = Diagonal::new(50.0);
        flat.offset_mm = offset;
        let parts = Train::builder(Primary::new(250.0, FocalLengthMm(1250.0)))
            .diagonal(flat)
            .focal_plane(FocalPlane::new(200.0));
        prepare(parts).illumination(&[along], &[0.0]).expect("light").absolute[0]
    };
    // The light to along < 0 meets the end of the flat that is nearer to the primary, where the cone is wider.
    let (below, above) = (lit(Some(0.0), -10.0), lit(Some(0.0), 10.0));
    assert!(below < above - 0.05, "{below} toward the primary, {above} toward the sky");
    // The default offset evens the two ends out, nearly: what stays is a quarter of that, and of the other sign.
    let (below, above) = (lit(None, -10.0), lit(None, 10.0));
    assert!((below - above).abs() < 0.03, "{below} toward the primary, {above} toward the sky");
}

#[test]
fn a_diagonal_that_just_fits_stops_nothing_within_its_circle() {
    let primary = Primary::new(318.0, FocalLengthMm(1558.0));
    let lit_mm = 12.0;
    let fit = smallest_diagonal(&primary, 235.0, lit_mm).expect("sound sizes");
    let stopped = |minor_axis_mm: f64, radius_mm: f64| {
        let parts = Train::builder(primary.clone())
            .diagonal(Diagonal::new(minor_axis_mm).offset_mm(fit.offset_mm))
            .focal_plane(FocalPlane::new(235.0));
        let telescope = prepare(parts);
        let around = (0..12).map(|i| (f64::from(i) * std::f64::consts::FRAC_PI_6).sin_cos());
        around
            .map(|(s, c)| {
                share(
                    &telescope.light(star_of_image(1558.0, radius_mm * c, radius_mm * s)),
                    &[Part::Diagonal],
                )
            })
            .fold(0.0, f64::max)
    };
    // The envelope ends in the circle of straight rays; coma moves rays in the image by 0.2 % of their way off the
    // axis, so a hair inside nothing is lost and a little outside something is.
    assert_close(stopped(fit.minor_axis_mm, 0.49 * lit_mm), 0.0, 1e-12, "just inside of the lit circle");
    assert!(stopped(fit.minor_axis_mm, 0.53 * lit_mm) > 1e-6, "just outside of the lit circle");
    assert!(stopped(fit.minor_axis_mm - 0.5, 0.49 * lit_mm) > 1e-6, "a smaller flat");
}

#[test]
fn a_mirror_alone_is_lit_wholly() {
    let telescope = common::paraboloid(318.0, 1558.0);
    for field in [Field::AXIS, Field::arcmin(30.0, -20.0)] {
        let light = telescope.light(field);
        assert_close(light.lit_fraction, 1.0, 1e-12, "bare mirror: lit");
        assert!(light.stopped.is_empty());
    }
}

#[test]
fn a_star_that_the_front_opening_hides_is_an_error() {
    let parts = everything().front_opening(Opening::new(40.0, 9000.0));
    let telescope = prepare(parts);
    let error = telescope.spot_at(Field::arcmin(400.0, 0.0), 0.0, 10).expect_err("no light");
    assert!(matches!(error, catoptric::Error::NoLight { .. }), "{error}");
    assert!(error.to_string().contains("front opening"), "{error}");
}
